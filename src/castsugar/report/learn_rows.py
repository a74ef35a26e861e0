"""What batches taught, as plain rows: units in the keys."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from castsugar.data.records import Caution, Syrup
from castsugar.motor.burn_law import BurnLaw
from castsugar.records.learning.alarms import Alarm
from castsugar.records.learning.burn_laws import MixLaw, band_of, centre_of
from castsugar.records.learning.checks import Check
from castsugar.records.learning.efficiency import Combined, Fired
from castsugar.records.learning.learnt import Learning
from castsugar.report.kitchen_belief import outcome_rows, parameter_rows

Row = dict[str, Any]

SCHEMA = "castsugar.learn/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a document says beside what was learnt.

    Attributes
    ----------
    syrup : Syrup
        The one of the kitchen.
    folder : str
        Of the records.
    saved : bool
        Whether what was learnt went into the bench file.
    cautions : sequence of Caution
    versions : mapping of str to str
    command : str
    """

    syrup: Syrup
    folder: str
    cautions: Sequence[Caution]
    saved: bool = False
    versions: Mapping[str, str] = field(default_factory=dict)
    command: str = ""


def learn_rows(learning: Learning, told: Told) -> Row:
    """Return everything as plain values."""
    material, kitchen = learning.material, learning.kitchen
    return {
        "schema": SCHEMA,
        "versions": dict(told.versions),
        "bench": learning.bench.path.as_posix(),
        "folder": told.folder,
        "alarms": [alarm_row(a) for a in learning.alarms],
        "warnings": list(learning.warnings),
        "batches": [b.id for b in material.batches],
        "left_out": {why: list(names) for why, names in material.left_out.items()},
        "damaged": [{"file": d.path.name, "fault": d.fault} for d in material.damaged],
        "corrected_lines": [
            {"batch": name, "line": line, "why": why}
            for name, line, why in material.corrected
        ],
        "off_plan": [
            {"batch": name, "mass_percent": 100.0 * share}
            for name, share in material.off_plan
        ],
        "files": [
            {
                "batch": f.batch,
                "line": f.line,
                "file": f.path.as_posix(),
                "fault": f.fault,
                "done": f.done,
            }
            for f in learning.faults
        ],
        "kitchen": {
            "before": parameter_rows(kitchen.before.belief, told.syrup),
            "after": parameter_rows(kitchen.after.belief, told.syrup),
            "measurements": outcome_rows(kitchen.outcomes),
            "of_the_bench": kitchen.own,
            "stale_notes": list(kitchen.stale),
            "unusable": [_unusable(pair) for pair in kitchen.unusable],
        },
        "burn_laws": law_rows(learning),
        "strands_unusable": [_unusable(pair) for pair in learning.burning.unusable],
        "recordings_linked_twice": [name for name, _ in learning.firing.twice],
        "firings": [firing_row(fired) for fired in learning.firing.firings],
        "characteristic_velocity_efficiency": efficiency_row(
            learning.firing.efficiency, learning
        ),
        "predictions": [
            {
                "name": m.name,
                "cook": m.cook,
                "before": m.before,
                "after": m.after,
                "fault": m.fault,
            }
            for m in learning.moved
        ],
        "checks": [check_row(check) for check in learning.checks],
        "not_checked": [
            {"batch": s.batch, "quantity": s.quantity, "why": s.why}
            for s in learning.skipped
        ],
        "tally": _tally(learning),
        "bench_file": {
            "saved": told.saved,
            "written": list(learning.planned.written),
            "removed": list(learning.planned.removed),
            "not_written": list(learning.planned.refused),
        },
        "cautions": [c.text for c in told.cautions],
    }


def _unusable(pair: tuple[str, str]) -> Row:
    return {"of": pair[0], "fault": pair[1]}


def alarm_row(alarm: Alarm) -> Row:
    """Return a firing whose peak was too high; null where it was not, or unknown."""

    def mega(pressure: float) -> float | None:
        return 1e-6 * pressure if math.isfinite(pressure) else None

    return {
        "batch": alarm.batch,
        "file": alarm.file,
        "peak_pressure_MPa": mega(alarm.measured),
        "above_band_high_95_MPa": mega(alarm.band_high),
        "above_allowed_MPa": mega(alarm.allowed),
    }


def law_rows(learning: Learning) -> list[Row]:
    """Return the burn law of every mix that has strands or stands in the bench file."""
    both = zip(learning.burning.mixes, learning.laws, strict=True)
    return [law_row(mix, after) for mix, after in both]


def law_row(mix: MixLaw, after: BurnLaw | None) -> Row:
    """Return the burn law of a mix: before, after saving, and of all its strands."""
    pressure = centre_of(mix)
    return {
        "recipe": mix.recipe,
        "mass_fractions": dict(mix.fractions),
        "strands": mix.strands,
        "strands_from_batches": mix.from_batches,
        "files": [
            {"file": s.path.name, "mix": s.mix, "batches": list(s.batches)}
            for s in mix.sources
        ],
        "pressure_MPa": 1e-6 * pressure,
        "before": _law(mix.before, pressure),
        "after": _law(after, pressure),
        "all_strands": _law(mix.fitted, pressure),
        "reason_for_no_law": mix.result.reason if mix.result is not None else "",
        "look_again": list(mix.result.cautions) if mix.result is not None else [],
    }


def _law(law: BurnLaw | None, pressure: float) -> Row | None:
    if law is None:
        return None
    band = band_of(law, pressure)
    return {
        "rate_mm_s": 1e3 * band.rate,
        "rate_low_95_mm_s": 1e3 * band.rate_low,
        "rate_high_95_mm_s": 1e3 * band.rate_high,
        "exponent": band.exponent,
        "exponent_low_95": band.exponent_low,
        "exponent_high_95": band.exponent_high,
        "origin": band.origin,
    }


def firing_row(fired: Fired) -> Row:
    """Return the efficiency of a firing."""
    return {
        "batch": fired.batch.id,
        "line": fired.link.line,
        "file": fired.link.path.name,
        "read_anew": fired.test is not None,
        "why_not_read_anew": fired.why_frozen,
        "characteristic_velocity_efficiency": fired.efficiency,
        "standard_uncertainty": fired.u,
        "shared_standard_uncertainty": fired.shared_u,
        "counts": not fired.why_not,
        "why_not": fired.why_not,
    }


def efficiency_row(found: Combined | None, learning: Learning) -> Row | None:
    """Return the mean over firings."""
    if found is None:
        return None
    return {
        "value": found.value,
        "standard_uncertainty": found.u,
        "shared_standard_uncertainty": found.shared,
        "scatter_between_firings": found.scatter,
        "next_percent": 100.0 * found.next_u / found.value,
        "firings": found.count,
        "statistic_q": found.statistic,
        "probability_if_alike": found.probability,
        "not_used_because": learning.no_efficiency,
    }


def check_row(check: Check) -> Row:
    """Return one prediction beside its measurement."""
    return {
        "batch": check.batch,
        "quantity": check.quantity,
        "unit": check.unit,
        "predicted": check.predicted,
        "low_95": check.low,
        "high_95": check.high,
        "measured": check.measured,
        "inside": check.inside,
        "counts": check.counts,
        "discarded": check.discarded,
        "note": check.note,
    }


def _tally(learning: Learning) -> Row:
    found = learning.tally
    return {
        "counted": found.count,
        "inside": found.inside,
        "bands_over_a_factor_of_10": found.wide,
        "expected_inside": found.expected,
        "probability_of_so_few": found.so_few,
        "share_inside_low_95": found.share_low,
        "share_inside_high_95": found.share_high,
        "too_few_to_tell": found.few,
    }


def ratios(check: Check) -> tuple[float, float, float]:
    """Return band and measurement over the prediction; NaN where there is none."""
    base = check.predicted
    if not (base > 0.0 and math.isfinite(base)):
        return math.nan, math.nan, math.nan
    return check.low / base, check.measured / base, check.high / base
