"""A static test as a document and as one row: units in the names."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from castsugar.data.records import Caution
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.expectation import LEVEL, Agreement
from castsugar.motor.firing.inference import InferredLaw
from castsugar.motor.firing.quantities import Measured, Stand
from castsugar.motor.firing.reduction import Reduction
from castsugar.report.firing import letter_words
from castsugar.report.firing_law import exponent_interval, rate_interval
from castsugar.report.firing_read import limit_rule
from castsugar.report.firing_words import KINDS, Asked, ideal_missing
from castsugar.static_test import StaticTest

Row = dict[str, Any]

SCHEMA = "castsugar.firing/1"

#: Unit of each sensor in files, and its size.
_UNITS = {"pressure": ("MPa", 1e-6), "thrust": ("N", 1.0)}


def firing_document(
    test: StaticTest, asked: Asked, cautions: Sequence[Caution]
) -> dict[str, Any]:
    """Return everything but versions, for JSON. Pressures are absolute.

    A result that is a lower limit (`at_least`) has no uncertainty and no interval.
    """
    reduction = test.reduction
    return {
        "schema": SCHEMA,
        "file": asked.file,
        "mix": asked.mix,
        "as_typed": dict(asked.typed),
        "assumptions": list(asked.assumptions),
        "stand": _stand(reduction.stand),
        "results": {
            name: _measured(reduction.results[name], kind.key, kind.scale)
            for name, kind in KINDS.items()
            if name in reduction.results
        },
        "impulse_letter": _letter(reduction),
        "efficiency": _efficiency(test),
        "sensors": [_sensor(c, reduction.stand) for c in _channels(reduction)],
        "other_limits": [_effect(s, r) for s, r in reduction.effects.items()],
        "inferred_law": None if test.inferred is None else _law(test.inferred),
        "reason_for_no_law": test.no_law,
        "known_law": _known(test),
        "agreement": None if test.agreement is None else _agreement(test.agreement),
        "expected": None if test.expected is None else test.expected.to_dict(),
        "look_again": [*reduction.cautions, *test.cautions],
        "cautions": [caution.text for caution in cautions],
    }


def _channels(reduction: Reduction) -> list[Channel]:
    return [c for c in (reduction.pressure, reduction.thrust) if c is not None]


def _measured(measured: Measured, unit: str, scale: float = 1.0) -> Row:
    """Return a result; a lower limit without what it does not have."""
    found = {k.removesuffix("_"): v for k, v in measured.to_dict(unit, scale).items()}
    if measured.at_least:
        for key in found:
            if key.startswith(("standard_uncertainty", "low_95", "high_95")):
                found[key] = math.nan
    return found


def _letter(reduction: Reduction) -> str:
    impulse = reduction.results.get("total_impulse")
    return "" if impulse is None else letter_words(impulse)


def _stand(stand: Stand) -> Row:
    def milli(value: float | None) -> float:
        return math.nan if value is None else 1e3 * value

    return {
        "propellant_mass_g": 1e3 * stand.propellant_mass,
        "propellant_mass_relative_uncertainty": stand.mass_u,
        "throat_before_mm": milli(stand.throat_diameter),
        "throat_after_mm": milli(stand.throat_after),
        "throat_uncertainty_mm": 1e3 * stand.throat_u,
        "ambient_pressure_kPa": 1e-3 * stand.ambient_pressure,
        "ambient_pressure_uncertainty_kPa": 1e-3 * stand.ambient_u,
        "pressure_calibration_relative_uncertainty": stand.pressure_calibration_u,
        "thrust_calibration_relative_uncertainty": stand.thrust_calibration_u,
        "limits_percent_of_peak": 100.0 * stand.share,
    }


def _efficiency(test: StaticTest) -> Row:
    velocity = test.characteristic_velocity_efficiency
    impulse = test.specific_impulse_efficiency
    return {
        "characteristic_velocity": None
        if velocity is None
        else _measured(velocity, ""),
        "specific_impulse": None if impulse is None else _measured(impulse, ""),
        "reason_for_none": ideal_missing(test),
        "ideal_characteristic_velocity_m_s": _ideal(
            test, "characteristic_velocity_m_s"
        ),
        "ideal_specific_impulse_s": _ideal(test, "specific_impulse_s"),
        "propellant_over_grain_without_voids": test.density_ratio,
    }


def _ideal(test: StaticTest, key: str) -> float:
    return float(test.row.get(key, math.nan))


def _sensor(channel: Channel, stand: Stand) -> Row:
    """Return what one sensor read and what was done to it; zero as the sensor reads."""
    unit, scale = _UNITS[channel.name]
    zero, b = channel.zero, channel.burning
    return {
        "sensor": channel.name,
        "samples": len(channel.time),
        "first_s": float(channel.time[0]),
        "last_s": float(channel.time[-1]),
        f"noise_{unit}": scale * channel.noise,
        "zero_rule": zero.rule,
        f"zero_before_{unit}": scale * zero.before,
        f"zero_after_{unit}": scale * zero.after,
        f"zero_uncertainty_{unit}": scale * zero.uncertainty,
        "gaps_in_time": int(channel.gap.sum()),
        "samples_bridged": int(channel.bridged.sum()),
        "share_of_burn_time_not_recorded": channel.bridged_share,
        "samples_at_limit": int(channel.at_limit.sum()),
        "equal_readings_at_top": channel.flat,
        "dips": b.dips,
        "burning_rule": limit_rule(channel, stand.share),
        "burning_start_s": b.start,
        "burning_end_s": b.end,
        "burning_share_of_peak": b.share,
        f"burning_level_above_zero_{unit}": scale * b.level,
        f"peak_above_zero_{unit}": scale * channel.peak,
        "peak_at_s": channel.peak_time,
    }


def _effect(share: float, results: dict[str, float]) -> Row:
    """Return the results with other limits."""
    keys = {name: f"{name}_{KINDS[name].key}" for name in results}
    return {
        "limits_percent_of_peak": 100.0 * share,
        **{keys[name]: KINDS[name].scale * value for name, value in results.items()},
    }


def _law(inferred: InferredLaw) -> Row:
    """Return the burn law that the firing shows."""
    low, high = rate_interval(inferred)
    below, above = exponent_interval(inferred)
    pressure = inferred.burnt.pressure
    return {
        "centre_pressure_MPa": 1e-6 * inferred.centre,
        "rate_at_centre_mm_s": 1e3 * inferred.rate,
        "rate_at_centre_low_95_mm_s": 1e3 * low,
        "rate_at_centre_high_95_mm_s": 1e3 * high,
        "exponent_told": inferred.told,
        "exponent": inferred.exponent,
        "exponent_low_95": below,
        "exponent_high_95": above,
        "covariance_of_ln_rate_and_exponent": inferred.covariance.tolist(),
        "standard_uncertainty_by_input": {
            name: {"ln_rate": rate, "exponent": n}
            for name, (rate, n) in inferred.parts.items()
        },
        "kn_low": inferred.kn_range[0],
        "kn_high": inferred.kn_range[1],
        "pressure_low_MPa": 1e-6 * float(pressure.min()),
        "pressure_high_MPa": 1e-6 * float(pressure.max()),
    }


def _known(test: StaticTest) -> Row | None:
    law = test.law
    if law is None:
        return None
    low, high = law.tested
    return {
        "name": law.name,
        "origin": law.origin,
        "lowest_tested_pressure_MPa": 1e-6 * low,
        "highest_tested_pressure_MPa": 1e-6 * high,
    }


def _agreement(found: Agreement) -> Row:
    return {
        "pressure_MPa": 1e-6 * found.pressure,
        "rate_of_firing_mm_s": 1e3 * found.rate_firing,
        "rate_of_law_mm_s": 1e3 * found.rate_law,
        "rate_ratio": found.ratio,
        "rate_ratio_low_95": found.ratio_low,
        "rate_ratio_high_95": found.ratio_high,
        "exponent_difference": found.exponent_difference,
        "probability_if_alike": found.probability,
        "disagrees_below_probability": LEVEL,
        "agrees": found.agrees,
        "outside_tested_pressures": found.outside,
    }


def firing_row(test: StaticTest, asked: Asked) -> dict[str, Any]:
    """Return one row with the same columns for every firing; NaN for what is missing.

    A result that is a lower limit has its value, no uncertainty, and `at_least`.
    """
    reduction, stand = test.reduction, test.reduction.stand
    row: Row = {
        "file": asked.file,
        "mix": asked.mix,
        **_stand(stand),
        "burning_start_s": reduction.burning.start,
        "burning_end_s": reduction.burning.end,
    }
    for name, kind in KINDS.items():
        row |= _cells(name, kind.key, reduction.results.get(name), kind.scale)
    row["impulse_letter"] = _letter(reduction)
    row |= _cells(
        "characteristic_velocity_efficiency",
        "",
        test.characteristic_velocity_efficiency,
    )
    row |= _cells("specific_impulse_efficiency", "", test.specific_impulse_efficiency)
    row |= {
        "propellant_over_grain_without_voids": test.density_ratio,
        **_law_cells(test),
        **_expected_cells(test),
        "look_again": "; ".join([*reduction.cautions, *test.cautions]),
    }
    return row


def _cells(name: str, unit: str, found: Measured | None, scale: float = 1.0) -> Row:
    """Return the cells of one result."""
    end = f"_{unit}" if unit else ""
    row: Row = {
        f"{name}{end}": math.nan,
        f"{name}_uncertainty{end}": math.nan,
        f"{name}_at_least": math.nan,
    }
    if found is not None:
        u = math.nan if found.at_least else scale * found.u
        values = (scale * found.value, u, float(found.at_least))
        row = dict(zip(row, values, strict=True))
    return row


def _law_cells(test: StaticTest) -> Row:
    """Return the cells of the burn law and of the comparison."""
    gone = math.nan
    law, found = test.inferred, test.agreement
    return {
        "law_centre_pressure_MPa": gone if law is None else 1e-6 * law.centre,
        "law_rate_at_centre_mm_s": gone if law is None else 1e3 * law.rate,
        "law_ln_rate_uncertainty": gone if law is None else law.log_rate_u,
        "law_exponent": gone if law is None else law.exponent,
        "law_exponent_uncertainty": gone if law is None else law.exponent_u,
        "law_exponent_told": gone if law is None else float(law.told),
        "known_law_origin": "" if test.law is None else test.law.origin,
        "rate_over_known_law": gone if found is None else found.ratio,
        "probability_if_alike": gone if found is None else found.probability,
        "agrees": gone if found is None else float(found.agrees),
    }


def _expected_cells(test: StaticTest) -> Row:
    """Return the cells of what was expected."""
    gone = math.nan
    best = None if test.expected is None else test.expected.best
    return {
        "expected_peak_pressure_MPa": gone
        if best is None
        else 1e-6 * best.peak_pressure,
        "expected_burn_time_s": gone if best is None else best.burn_time,
        "expected_total_impulse_N_s": gone if best is None else best.total_impulse,
    }
