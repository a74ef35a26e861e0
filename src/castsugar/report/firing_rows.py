"""A static test as rows and as a document: units in the names."""

from __future__ import annotations

import math
from typing import Any

from castsugar.constants import COVERAGE
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.firing.alarms import Alarm
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.expectation import LEVEL
from castsugar.motor.firing.frames import Filmed
from castsugar.motor.firing.inference import InferredLaw
from castsugar.motor.firing.quantities import AT_LEAST, Measured, Stand
from castsugar.motor.nozzle import impulse_class
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import INTERVAL, TEXT, Field, fields, row_in_order
from castsugar.static_test import StaticTest


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed, and what was assumed as nothing was; the mix may have no name.

    `recipe` is that of the mix, as typed.
    """

    file: str
    mix: str = ""
    recipe: str = ""
    typed: tuple[tuple[str, str], ...] = ()
    assumptions: tuple[str, ...] = ()


# ----------------------------------------------------------------------------
# What the documents hold. A row has the same columns for every firing.

#: Name of a result in a reduction, its unit in keys, label, kind, meaning.
_RESULTS = (
    ("peak_pressure", "MPa", "peak pressure", "pressure", "absolute"),
    ("mean_pressure", "MPa", "mean pressure", "pressure",
     "over the burn time, absolute"),
    ("burn_time", "s", "burn time", "time", "between start and end of burning"),
    ("total_impulse", "N_s", "total impulse", "impulse", "of the thrust"),
    ("characteristic_velocity", "m_s", "delivered c*", "velocity", ""),
    ("specific_impulse", "s", "delivered Isp", "specific impulse", ""),
    ("steady_peak_pressure", "MPa", "highest 50 ms", "pressure",
     "highest running median of 50 ms, absolute"),
    ("mean_thrust", "N", "mean thrust", "force", "over the burn time"),
    ("peak_thrust", "N", "peak thrust", "force", ""),
    ("thrust_coefficient", "", "thrust coefficient", "number", ""),
    ("characteristic_velocity_efficiency", "", "c* efficiency", "number",
     "of the ideal"),
    ("specific_impulse_efficiency", "", "Isp efficiency", "number", "of the ideal"),
    ("nozzle_efficiency", "", "nozzle efficiency", "number",
     "thrust coefficient over that of an ideal nozzle of this expansion"),
    ("mean_rate", "mm_s", "mean burning rate", "rate",
     "of a filmed firing: web over burn time"),
    ("mass_flow", "g_s", "mean mass flow", "mass flow", "of a filmed firing"),
)  # fmt: skip


def _key(name: str, unit: str) -> str:
    return f"{name}_{unit}".rstrip("_")


#: Key of a result -> its name in a reduction, and its unit in keys.
NAMES = {_key(name, unit): (name, unit) for name, unit, *_ in _RESULTS}
RESULTS = fields(
    *((_key(name, unit), label, kind, about)
      for name, unit, label, kind, about in _RESULTS)
)  # fmt: skip

_STAND = fields(
    ("propellant_mass_g", "propellant that burned", "mass", ""),
    ("propellant_mass_relative_uncertainty", "its uncertainty", "number", "standard"),
    ("igniter_mass_g", "igniter", "mass", "its gas counts as 0.9 of propellant"),
    ("throat_before_mm", "throat before", "length", "diameter"),
    ("throat_after_mm", "throat after", "length", "diameter"),
    ("throat_uncertainty_mm", "uncertainty of a throat", "length", "standard"),
    ("ambient_pressure_kPa", "pressure of the air", "air pressure", ""),
    ("ambient_pressure_uncertainty_kPa", "its uncertainty", "air pressure", "standard"),
    ("pressure_calibration_relative_uncertainty", "calibration of the pressure sensor",
     "number", "standard uncertainty"),
    ("thrust_calibration_relative_uncertainty", "calibration of the load cell",
     "number", "standard uncertainty"),
    ("pressure_lag_s", "lag of the pressure sensor", "time", "stated and corrected"),
    ("limits_percent_of_peak", "threshold, of the peak", "fraction",
     "where burning starts and ends"),
)  # fmt: skip
_LAW = fields(
    ("law_centre_pressure_MPa", "centre of the law", "pressure", "absolute"),
    ("law_rate_at_centre_mm_s", "rate there", "rate", "of the grain"),
    ("law_ln_rate_uncertainty", "u(ln rate)", "number", "standard"),
    ("law_exponent", "n", "number", "of the firing"),
    ("law_exponent_uncertainty", "u(n)", "number", "standard"),
    ("law_exponent_told", "n resolved", "number", "1 or 0"),
    (
        "law_lack_of_fit",
        "lack of fit",
        "number",
        "0.2 usual; above 4 no n, above 6 not the drawn grain",
    ),
)
_ORIGIN = fields(("known_law_origin", "law known before", TEXT, ""))
_AGREEMENT = fields(
    ("rate_over_known_law", "rate over that law", "number", ""),
    (
        "web_of_known_law_over_web",
        "web ratio",
        "number",
        "web that law burns in that time over the web",
    ),
    ("probability_if_alike", "p if alike", "number", "of a difference as large"),
    ("agrees", "agrees", "number", "1 or 0"),
)
_EXPECTED = fields(
    ("expected_peak_pressure_MPa", "predicted peak", "pressure", "best estimate"),
    ("expected_burn_time_s", "predicted burn time", "time", "best estimate"),
    ("expected_total_impulse_N_s", "predicted impulse", "impulse", "best estimate"),
)


def _doubts(name: str, unit: str, label: str, kind: str, _: str) -> tuple[Field, ...]:
    """Return the columns beside a result: standard uncertainty, lower limit."""
    return fields(
        (_key(f"{name}_uncertainty", unit), f"u({label})", kind,
         "standard uncertainty"),
        (f"{name}_bound", "bound", TEXT, "'at least', 'at most', or empty: a value"),
    )  # fmt: skip


FIELDS = (
    *fields(("file", "file", TEXT, "of the recording"), ("mix", "mix", TEXT, "")),
    *_STAND,
    *fields(
        ("timed_by", "timed by", TEXT, "the recording, or frames of a video"),
        ("burning_start_s", "start of burning", "time", "on the clock of the file"),
        ("burning_end_s", "end of burning", "time", "on the clock of the file"),
    ),
    *(column for one, line in zip(RESULTS, _RESULTS, strict=True)
      for column in (one, *_doubts(*line))),
    *fields(
        ("impulse_letter", "size", TEXT, "letter of the impulse; no approval"),
        ("propellant_over_grain_without_voids", "of a grain without voids", "number",
         "mass of the propellant over that of the grain without voids"),
    ),
    *_LAW, *_ORIGIN, *_AGREEMENT, *_EXPECTED,
    *fields(
        ("alarms", "alarms", TEXT, "tests of the recording that found a fault"),
        ("likely_cause", "likely cause", TEXT, "of the alarms"),
        ("suspects", "suspects", TEXT, "that the three efficiencies point to"),
        ("corrected", "corrected", TEXT, "what was done to the recording"),
        ("not_told", "not told", TEXT, "results that lack an input"),
        ("look_again", "look again", TEXT, "what looks like a fault of measuring"),
    ),
)  # fmt: skip

THRESHOLDS = fields(
    ("limits_percent_of_peak", "threshold, of the peak", "fraction", ""),
    ("burn_time_s", "burn time", "time", ""),
    ("characteristic_velocity_m_s", "c*", "velocity", ""),
    ("total_impulse_N_s", "impulse", "impulse", ""),
)
BUDGET = fields(
    ("result", "result", TEXT, "its name"),
    ("input", "input", TEXT, ""),
    ("share_percent", "of the uncertainty", "fraction", "share of the variance"),
)

PARTS: dict[str, Part] = {
    "firing": Part(meaning="the row, as of --csv, with its bands", fields=FIELDS),
    "as_typed": Part(meaning="inputs as typed"),
    "ideal": Part(meaning="of the mix at the mean pressure"),
    "uncertainty_budget": Part(meaning="of every result", fields=BUDGET, many=True),
    "sensors": Part(meaning="what each read, and what was done to it"),
    "other_thresholds": Part(
        meaning="the results with others", fields=THRESHOLDS, many=True
    ),
    "inferred_law": Part(meaning="burning-rate law that the firing shows, or null"),
    "reason_for_no_law": Part(meaning="empty if there is one"),
    "reason_for_no_efficiency": Part(meaning="empty if there is one"),
    "agreement": Part(meaning="with the law that was known before, or null"),
    "expected": Part(meaning="what was predicted, with 95 % bands, or null"),
    "filmed": Part(meaning="what a filmed firing takes and tells, or null"),
    "not_told": Part(meaning="what is not told, and why"),
    "tests": Part(meaning="what every test of the recording found", many=True),
    "rate_points": Part(meaning="web burnt, pressure and rate of it", many=True),
    "look_again": Part(meaning="what looks like a fault of measuring"),
}


def firing_parts(test: StaticTest, asked: Asked) -> dict[str, Any]:
    """Return what the JSON holds beside what every document does.

    A result that is a lower limit has no uncertainty and no interval.
    """
    stand = test.reduction.stand
    return {
        "firing": firing_row(test, asked) | bands(test),
        "as_typed": dict(asked.typed),
        "ideal": {
            key: float(test.row.get(key, math.nan))
            for key in ("characteristic_velocity_m_s", "specific_impulse_s")
        },
        "uncertainty_budget": [
            {"result": name, "input": part, "share_percent": 100.0 * share}
            for name, found in test.results.items()
            for part, share in found.shares().items()
        ],
        "sensors": [_sensor(c, stand) for c in channels(test)],
        "other_thresholds": thresholds(test),
        "inferred_law": None if test.inferred is None else _law(test.inferred),
        "reason_for_no_law": test.no_law,
        "reason_for_no_efficiency": ideal_missing(test),
        "agreement": None if test.agreement is None else _agreement(test),
        "expected": None if test.expected is None else test.expected.to_dict(),
        "filmed": None if test.filmed is None else _filmed(test.filmed),
        "not_told": (
            test.reduction.not_told
            if test.filmed is None
            else dict(test.filmed.not_told)
        ),
        "tests": [_test(alarm) for alarm in test.alarms],
        "rate_points": rate_points(test),
        "look_again": [*test.cautions],
    }


def _filmed(filmed: Filmed) -> dict[str, Any]:
    """Return what was taken of a filmed firing, and its row for the burn model."""
    found: dict[str, Any] = {
        "first_frame": filmed.frames.first,
        "last_frame": filmed.frames.last,
        "frames_a_second": filmed.frames.rate,
        "characteristic_velocity_efficiency_taken": filmed.efficiency,
        "its_ln_uncertainty": filmed.efficiency_u,
    }
    if (mean := filmed.mean_rate) is not None:
        found |= {
            "rate_pressure_MPa": 1e-6 * mean.centre,
            "rate_at_that_pressure_mm_s": 1e3 * mean.rate,
            "rate_ln_uncertainty": mean.log_rate_u,
            "rate_ln_uncertainty_shared": mean.shared_u,
        }
    return found


def firing_row(test: StaticTest, asked: Asked) -> dict[str, Any]:
    """Return one row with the same columns for every firing; NaN for what is missing.

    A result that is a lower limit has its value, no uncertainty, and its bound.
    """
    reduction, law, found = test.reduction, test.inferred, test.agreement
    filmed = test.filmed
    row: dict[str, Any] = dict.fromkeys((f.key for f in FIELDS), math.nan)
    row |= {"file": asked.file, "mix": asked.mix, **_stand(reduction.stand)}
    row["timed_by"] = f"frames {filmed.frames}" if filmed else "recording"
    if filmed is None:
        row["burning_start_s"] = reduction.burning.start
        row["burning_end_s"] = reduction.burning.end
    results = test.results
    for key, (name, unit) in NAMES.items():
        row[f"{name}_bound"] = ""
        if (one := results.get(name)) is not None:
            scale = scale_of(unit)
            row[key] = scale * one.value
            doubt = math.nan if one.bound else scale * one.u
            row[_key(f"{name}_uncertainty", unit)] = doubt
            row[f"{name}_bound"] = one.bound
    row["impulse_letter"] = letter_of(test)
    row["propellant_over_grain_without_voids"] = test.density_ratio
    row["known_law_origin"] = "" if test.law is None else test.law.origin
    if law is not None:
        rate, n = (1e3 * law.rate, law.log_rate_u), (law.exponent, law.exponent_u)
        fit = float(law.told), law.lack_of_fit
        row |= row_in_order(_LAW, 1e-6 * law.centre, *rate, *n, *fit)
    row |= _rate_filmed(filmed)
    if found is not None:
        agrees = float(found.agrees)
        ratios = found.ratio, test.web_ratio
        row |= row_in_order(_AGREEMENT, *ratios, found.probability, agrees)
    if test.expected is not None:
        best = test.expected.best
        peak = 1e-6 * best.peak_pressure
        row |= row_in_order(_EXPECTED, peak, best.burn_time, best.total_impulse)
    row["alarms"] = test.alarm_names
    row["likely_cause"], row["suspects"] = reduction.cause, test.suspects
    row["corrected"] = "; ".join(reduction.done)
    row["not_told"] = "; ".join(f"{k}: {v}" for k, v in reduction.not_told.items())
    row["look_again"] = "; ".join(test.cautions)
    return row


def _rate_filmed(filmed: Filmed | None) -> dict[str, float]:
    """Return what a filmed firing has in the columns of a burn law."""
    if filmed is None or (mean := filmed.mean_rate) is None:
        return {}
    told = (1e-6 * mean.centre, 1e3 * mean.rate, mean.log_rate_u)
    return row_in_order(_LAW, *told, math.nan, math.nan, 0.0, math.nan)


def _test(alarm: Alarm) -> dict[str, Any]:
    """Return what one test found."""
    return {
        "test": alarm.test,
        "sensor": alarm.sensor,
        "level": alarm.level,
        "value": alarm.value,
        "limit": alarm.limit,
        "text": alarm.text,
    }


#: What a rate point holds: the r-p points that a picture of strands takes.
_POINT = ("web_mm", "pressure_MPa", "rate_mm_s")


def rate_points(test: StaticTest) -> list[dict[str, float]]:
    """Return web, pressure and rate of each part of the burning; none without a law."""
    if test.inferred is None:
        return []
    burnt = test.inferred.burnt
    return [
        dict(zip(_POINT, (1e3 * web, 1e-6 * p, 1e3 * rate), strict=True))
        for web, p, rate in zip(
            burnt.web.tolist(),
            burnt.pressure.tolist(),
            burnt.rate.tolist(),
            strict=True,
        )
    ]


def scale_of(unit: str) -> float:
    """Return what an SI value is multiplied by for a unit of a key."""
    return {"MPa": 1e-6, "g_s": 1e3, "mm_s": 1e3}.get(unit, 1.0)


def bands(test: StaticTest) -> dict[str, tuple[float, float]]:
    """Return the 95 % bands of results, of the rate and of what was predicted."""
    found: dict[str, tuple[float, float]] = {}
    results, expected = test.results, test.expected
    for key, (name, unit) in NAMES.items():
        ends = {}
        one = results.get(name)
        if one is not None and not one.bound and one.u > 0.0:
            ends[key] = one.interval
        if expected is not None and name in expected.bands:
            ends[f"expected_{key}"] = expected.bands[name]
        for of, band in ends.items():
            low, high = (scale_of(unit) * end for end in band)
            found[of + INTERVAL] = (low, high)
    if test.inferred is not None:
        low, high = rate_interval(test.inferred)
        found["law_rate_at_centre_mm_s_interval"] = (1e3 * low, 1e3 * high)
        found["law_exponent_interval"] = exponent_interval(test.inferred)
    return found


def channels(test: StaticTest) -> list[Channel]:
    """Return the sensors of a firing, pressure first."""
    found = (test.reduction.pressure, test.reduction.thrust)
    return [channel for channel in found if channel is not None]


def _stand(stand: Stand) -> dict[str, Any]:
    before, after = (
        math.nan if wide is None else 1e3 * wide
        for wide in (stand.throat_diameter, stand.throat_after)
    )
    return row_in_order(
        _STAND, 1e3 * (stand.propellant_mass or math.nan), stand.mass_u,
        1e3 * stand.igniter_mass,
        before, after, 1e3 * stand.throat_u,
        1e-3 * stand.ambient_pressure, 1e-3 * stand.ambient_u,
        stand.pressure_calibration_u, stand.thrust_calibration_u,
        stand.pressure_lag, 100.0 * stand.share,
    )  # fmt: skip


def _sensor(channel: Channel, stand: Stand) -> dict[str, Any]:
    """Return what one sensor read and what was done to it; zero as the sensor reads."""
    unit = {"pressure": "MPa", "thrust": "N"}[channel.name]
    scale, zero, b = scale_of(unit), channel.zero, channel.burning
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


def thresholds(test: StaticTest) -> list[dict[str, float]]:
    """Return the results with other thresholds."""
    names = ("burn_time", "characteristic_velocity", "total_impulse")
    keys = dict(zip(names, (one.key for one in THRESHOLDS[1:]), strict=True))
    return [
        {
            THRESHOLDS[0].key: 100.0 * share,
            **{keys[name]: value for name, value in results.items()},
        }
        for share, results in test.reduction.effects.items()
    ]


def _law(inferred: InferredLaw) -> dict[str, Any]:
    """Return the burning-rate law that the firing shows."""
    low, high = rate_interval(inferred)
    pressure = inferred.burnt.pressure
    return {
        "centre_pressure_MPa": 1e-6 * inferred.centre,
        "rate_at_centre_mm_s": 1e3 * inferred.rate,
        "rate_at_centre_mm_s_interval": (1e3 * low, 1e3 * high),
        "exponent_told": inferred.told,
        "reason_for_no_exponent": inferred.why_not_told,
        "lack_of_fit": inferred.lack_of_fit,
        "exponent": inferred.exponent,
        "exponent_interval": exponent_interval(inferred),
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


def _agreement(test: StaticTest) -> dict[str, Any]:
    found, law = test.agreement, test.law
    assert found is not None
    assert law is not None
    return {
        "known_law": law.name,
        "origin": law.origin,
        "tested_pressures_MPa": [1e-6 * p for p in law.tested],
        "pressure_MPa": 1e-6 * found.pressure,
        "rate_of_firing_mm_s": 1e3 * found.rate_firing,
        "rate_of_law_mm_s": 1e3 * found.rate_law,
        "rate_ratio": found.ratio,
        "rate_ratio_interval": (found.ratio_low, found.ratio_high),
        "exponent_difference": found.exponent_difference,
        "probability_if_alike": found.probability,
        "disagrees_below_probability": LEVEL,
        "agrees": found.agrees,
        "outside_tested_pressures": found.outside,
    }


def rate_interval(inferred: InferredLaw) -> tuple[float, float]:
    """Return the 95 % interval of the rate at the centre. [m/s]"""
    factor = math.exp(COVERAGE * inferred.log_rate_u)
    return inferred.rate / factor, inferred.rate * factor


def exponent_interval(inferred: InferredLaw) -> tuple[float, float]:
    """Return the 95 % interval of the exponent."""
    half = COVERAGE * inferred.exponent_u
    return inferred.exponent - half, inferred.exponent + half


def letter_words(impulse: Measured) -> str:
    """Return the letter of a total impulse, and its neighbours if they are possible.

    Examples
    --------
    >>> letter_words(Measured(value=39.9, parts={"calibration": 0.4}))
    'E (F possible)'
    >>> letter_words(Measured(value=30.0, parts={"calibration": 0.4}))
    'E'
    """
    letter = _letter(impulse.value)
    if impulse.bound == AT_LEAST:
        return f"{letter} or larger"
    others = [x for x in map(_letter, impulse.interval) if x not in (letter, "-")]
    return f"{letter} ({' or '.join(others)} possible)" if others else letter


def _letter(impulse: float) -> str:
    """Return the letter of an impulse; a dash for what has none."""
    try:
        return impulse_class(impulse)
    except InputError:
        return "-"


def letter_of(test: StaticTest) -> str:
    """Return the letter of a firing; empty without a thrust."""
    impulse = test.reduction.results.get("total_impulse")
    return "" if impulse is None else letter_words(impulse)


def limit_rule(channel: Channel, asked_share: float) -> str:
    """Say by which rule burning starts and ends."""
    share = channel.burning.share
    over = " over the air" if channel.name == "pressure" else ""
    text = (
        f"first and last time at {chosen_share(share)} % of the peak of the "
        f"{channel.name}{over}"
    )
    if share > asked_share * 1.001:
        text += f" ({chosen_share(asked_share)} % lies in the noise)"
    return text


def chosen_share(share: float) -> str:
    """Write a share that was chosen, in per cent."""
    return numbers.typed(100.0 * share)


def ideal_missing(test: StaticTest) -> str:
    """Say why there is no ideal value to compare with; empty if there is one."""
    if test.mix is None:
        return "no mix was given; give --mix"
    if test.filmed is not None:
        return "c* was taken, not measured"
    if test.row.get("status", "ok") != "ok":
        return f"the model has none for this mix: {test.row['status']}"
    if "mean_pressure" not in test.reduction.results:
        return "no pressure was recorded, and the ideal values hang on it"
    return ""
