"""What batches taught, as data: rows with units in their keys, and their fields."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.data.records import Syrup
from castsugar.kitchen.parameters import PARAMETERS, Belief
from castsugar.motor.burn_law import BurnLaw
from castsugar.records.learning.burn_laws import band_of, centre_of
from castsugar.records.learning.checks import COVERAGE, Check, end_of_band
from castsugar.records.learning.learnt import COLUMNS, Learning
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, INTERVAL, TEXT, Field

Row = dict[str, Any]

#: Unit of a quantity that batches measure -> kind.
_KINDS = {
    "g": "mass",
    "Pa s": "viscosity",
    "mm/s": "rate",
    "m/s": "velocity",
    "MPa": "pressure",
    "s": "time",
    "N s": "impulse",
    "%": "fraction",
    "K": "temperature difference",
}


def kinds_of(unit: str) -> str:
    """Return the kind of a quantity in a unit."""
    return _KINDS.get(unit, "number")


def predicted(kind: str) -> Field:
    """Return what was predicted, as a field of a kind."""
    viscous = kind == "viscosity"
    return Field(
        key="predicted",
        label="predicted",
        kind=kind,
        meaning="as predicted, in `unit`",
        factor_of=viscous,
        endless="jams" if viscous else "no limit",
    )


def _field(key: str, meaning: str, kind: str = "number") -> Field:
    return Field(key=key, label=key.replace("_", " "), kind=kind, meaning=meaning)


def _texts(**meanings: str) -> tuple[Field, ...]:
    return tuple(_field(key, meaning, TEXT) for key, meaning in meanings.items())


#: Of what was predicted and measured: rows of CSV and JSON.
CHECKS = (
    *_texts(batch="of which", quantity="what was measured", unit="of the numbers"),
    predicted("number"),
    _field("measured", "later, in `unit`"),
    *_texts(
        verdict="inside or outside its 95 % band",
        counted="yes if it tests the band, else no",
        outcome="of the batch: discarded, or empty",
        note="why it does not count, or a remark",
    ),
)

_ALARMS = (
    *_texts(batch="of which", file="the recording"),
    _field("peak_pressure_MPa", "measured, absolute", "pressure"),
    _field("above_band_high_MPa", "upper end of its 95 % band, if above", "pressure"),
    _field("above_allowed_MPa", "allowed pressure of the case, if above", "pressure"),
)
_PARAMETERS = (
    *_texts(name="of the parameter", meaning="in words", unit="of the numbers"),
    _field("now", "median as the bench file has it"),
    _field("saved", "median after saving"),
    *_texts(origin="where it comes from after saving"),
)
_LAWS = (
    *_texts(recipe="the mix"),
    _field("strands", "how many, all files together"),
    _field("strands_from_batches", "how many of them batches brought"),
    _field("pressure_MPa", "at which the rates are told, absolute", "pressure"),
    *(
        one
        for side, words in (
            ("now", "of the bench file"),
            ("all_strands", "of all strands together"),
            ("saved", "of the bench file after saving"),
        )
        for one in (
            _field(f"{side}_rate_mm_s", f"burning rate {words}", "rate"),
            _field(f"{side}_n", f"exponent {words}"),
            _field(f"{side}_origin", f"origin of the law {words}", TEXT),
        )
    ),
)
_FIRINGS = (
    *_texts(batch="of which", file="the recording"),
    _field("line", "of the record"),
    _field("efficiency", "delivered over ideal c*"),
    _field("shared_standard_uncertainty", "part that all firings share"),
    *_texts(
        read_anew="yes if the recording was reduced again, else no",
        why_not_read_anew="why not",
        why_not="why it does not count; empty if it does",
    ),
)
_EFFICIENCY = (
    _field("efficiency", "delivered over ideal c*, mean over firings"),
    _field("standard_uncertainty", "of the mean"),
    _field("shared_standard_uncertainty", "part that no number of firings reduces"),
    _field("scatter_between_firings", "standard deviation beyond their own"),
    _field("next_percent", "standard uncertainty of one more firing", "fraction"),
    _field("firings", "how many"),
    _field("statistic_q", "Cochran's Q; none for one firing"),
    _field("probability_if_alike", "of so large a Q without scatter"),
    *_texts(not_used_because="why predictions do not use it"),
)
_TALLY = (
    _field("counted", "comparisons that test a band"),
    _field("inside", "of those, inside"),
    _field("over_a_factor_of_10", "bands so wide"),
    _field("expected_inside", "of bands of 95 %"),
    _field("probability_of_so_few", "inside, if the bands hold (binomial)"),
    _field("share_inside", "observed; its exact 95 % interval (Clopper, Pearson)"),
)
_PREDICTED = (
    *_texts(name="recipe", cook="as typed", fault="why it is not predicted"),
    *(FIELDS[key] for key in COLUMNS),
)

#: The document ``castsugar.learn/2``.
PARTS: dict[str, Part] = {
    "bench": Part(meaning="the bench file"),
    "folder": Part(meaning="of the records"),
    "alarms": Part(meaning="peaks above band or case", fields=_ALARMS, many=True),
    "checks": Part(
        meaning="predictions against measurements", fields=CHECKS, many=True
    ),
    "not_checked": Part(meaning="what no prediction answers: batch, quantity, why"),
    "tally": Part(meaning="how many lie inside", fields=_TALLY),
    "predictions_now": Part(meaning="as of now", fields=_PREDICTED, many=True),
    "predictions_saved": Part(meaning="after saving", fields=_PREDICTED, many=True),
    "kitchen_parameters": Part(
        meaning="medians and 95 %", fields=_PARAMETERS, many=True
    ),
    "burning_rate_laws": Part(meaning="by mix", fields=_LAWS, many=True),
    "firings": Part(meaning="c* efficiency of each", fields=_FIRINGS, many=True),
    "characteristic_velocity_efficiency": Part(
        meaning="of all firings together", fields=_EFFICIENCY, needed=False
    ),
    "batches": Part(meaning="those that count"),
    "left_out": Part(meaning="why, and which batches, files, lines"),
    "bench_file": Part(meaning="saved, written, removed, not_written"),
}


def learn_parts(
    learning: Learning, syrup: Syrup, folder: str, *, saved: bool
) -> dict[str, Any]:
    """Return the document of what batches taught, without what all documents have."""
    planned = learning.planned
    parts: dict[str, Any] = {
        "bench": learning.bench.path.as_posix(),
        "folder": folder,
        "alarms": [_alarm(a) for a in learning.alarms],
        "checks": checks_of(learning.checks),
        "not_checked": [
            {"batch": s.batch, "quantity": s.quantity, "why": s.why}
            for s in learning.skipped
        ],
        "tally": _tally(learning),
        "predictions_now": _predictions(learning, "before"),
        "predictions_saved": _predictions(learning, "after"),
        "kitchen_parameters": parameters_of(learning, syrup),
        "burning_rate_laws": laws_of(learning),
        "firings": firings_of(learning),
        "batches": [b.id for b in learning.material.batches],
        "left_out": _left_out(learning),
        "bench_file": {
            "saved": saved,
            "written": list(planned.written),
            "removed": list(planned.removed),
            "not_written": list(planned.refused),
        },
    }
    if learning.firing.efficiency is not None:
        parts["characteristic_velocity_efficiency"] = efficiency_of(learning)
    return parts


def _alarm(alarm: Any) -> Row:
    return {
        "batch": alarm.batch,
        "file": alarm.file,
        "peak_pressure_MPa": 1e-6 * alarm.measured,
        "above_band_high_MPa": 1e-6 * alarm.band_high,
        "above_allowed_MPa": 1e-6 * alarm.allowed,
    }


def checks_of(checks: Sequence[Check]) -> list[Row]:
    """Return every prediction with its measurement."""
    return [
        {
            "batch": check.batch,
            "quantity": check.quantity,
            "unit": check.unit,
            "predicted": check.predicted,
            f"predicted{INTERVAL}": (check.low, check.high),
            "measured": check.measured,
            "verdict": "inside" if check.inside else "outside",
            "counted": "yes" if check.counts else "no",
            "outcome": "discarded" if check.discarded else "",
            "note": check.note,
        }
        for check in checks
    ]


def _tally(learning: Learning) -> Row:
    found = learning.tally
    return {
        "counted": found.count,
        "inside": found.inside,
        "over_a_factor_of_10": found.wide,
        "expected_inside": found.expected,
        "probability_of_so_few": found.so_few,
        "share_inside": found.inside / found.count if found.count else math.nan,
        f"share_inside{INTERVAL}": (found.share_low, found.share_high),
    }


def _predictions(learning: Learning, side: str) -> list[Row]:
    return [
        {"name": m.name, "cook": m.cook, "fault": m.fault} | with_band(getattr(m, side))
        for m in learning.moved
    ]


def with_band(row: Mapping[str, Any]) -> Row:
    """Return predictions with the 95 % band of the pour viscosity."""
    key = "pour_viscosity_Pa_s"
    low, middle, high = (
        float(row.get(k, math.nan))
        for k in ("pour_viscosity_p10_Pa_s", key, "pour_viscosity_p90_Pa_s")
    )
    if math.isnan(middle) or math.isnan(low):
        return dict(row)
    band = (end_of_band(low, middle), end_of_band(high, middle))
    return {**row, key + INTERVAL: band}


def parameters_of(learning: Learning, syrup: Syrup) -> list[Row]:
    """Return the parameters of the kitchen now and after saving.

    The first two lie off from solids and grade of the syrup, and are told as it stands.
    """
    kitchen = learning.kitchen
    rows = []
    for place, parameter in enumerate(PARAMETERS):
        zero, size, label, unit = 0.0, 1.0, parameter.label, parameter.unit
        if parameter.name == "syrup_solids":
            zero = 100.0 * syrup.dry_solids_fraction
            size = 100.0 * syrup.dry_solids_uncertainty
            label, unit = f"dry solids of the {syrup.name}", "%"
        elif parameter.name == "syrup_grade":
            zero = syrup.viscosity_dextrose_equivalent
            label = f"dextrose equivalent as the viscosity of the {syrup.name} shows it"
        row: Row = {"name": parameter.name, "meaning": label, "unit": unit}
        for side, belief in (
            ("now", kitchen.before.belief),
            ("saved", kitchen.after.belief),
        ):
            low, middle, high = (zero + size * x for x in _ends(belief, place))
            row |= {side: middle, side + INTERVAL: (low, high)}
        rows.append(row | {"origin": kitchen.after.belief.origins[place]})
    return rows


def _ends(belief: Belief, place: int) -> tuple[float, ...]:
    """Return lower end of the 95 % band, median, upper end."""
    step = COVERAGE * float(belief.spreads()[place])
    outward = PARAMETERS[place].outward
    return tuple(float(outward(belief.mean[place] + x)) for x in (-step, 0.0, step))


def laws_of(learning: Learning) -> list[Row]:
    """Return the law of every mix that has strands or stands in the bench file."""
    rows = []
    for mix, after in zip(learning.burning.mixes, learning.laws, strict=True):
        pressure = centre_of(mix)
        row: Row = {
            "recipe": mix.recipe,
            "strands": mix.strands,
            "strands_from_batches": mix.from_batches,
            "pressure_MPa": 1e-6 * pressure,
        }
        for side, law in (
            ("now", mix.before),
            ("all_strands", mix.fitted),
            ("saved", after),
        ):
            row |= _law(side, law, pressure)
        rows.append(row)
    return rows


def _law(side: str, law: BurnLaw | None, pressure: float) -> Row:
    if law is None:
        keys = ("rate_mm_s", "n")
        return {f"{side}_origin": "", **{f"{side}_{key}": math.nan for key in keys}}
    band = band_of(law, pressure)
    return {
        f"{side}_rate_mm_s": 1e3 * band.rate,
        f"{side}_rate_mm_s{INTERVAL}": (1e3 * band.rate_low, 1e3 * band.rate_high),
        f"{side}_n": band.exponent,
        f"{side}_n{INTERVAL}": (band.exponent_low, band.exponent_high),
        f"{side}_origin": band.origin,
    }


def firings_of(learning: Learning) -> list[Row]:
    """Return the efficiency of every firing."""
    return [
        {
            "batch": fired.batch.id,
            "file": fired.link.path.name,
            "line": fired.link.line,
            "efficiency": fired.efficiency,
            f"efficiency{INTERVAL}": _around(fired.efficiency, fired.u),
            "shared_standard_uncertainty": fired.shared_u,
            "read_anew": "yes" if fired.test is not None else "no",
            "why_not_read_anew": fired.why_frozen,
            "why_not": fired.why_not,
        }
        for fired in learning.firing.firings
    ]


def efficiency_of(learning: Learning) -> Row:
    """Return the mean over firings, which there must be."""
    found = learning.firing.efficiency
    assert found is not None
    return {
        "efficiency": found.value,
        f"efficiency{INTERVAL}": _around(found.value, found.u),
        "standard_uncertainty": found.u,
        "shared_standard_uncertainty": found.shared,
        "scatter_between_firings": found.scatter,
        "next_percent": 100.0 * found.next_u / found.value,
        "firings": found.count,
        "statistic_q": found.statistic,
        "probability_if_alike": found.probability,
        "not_used_because": learning.no_efficiency,
    }


def _around(value: float, u: float) -> tuple[float, float]:
    """Return the 95 % band of a normal result."""
    return value - COVERAGE * u, value + COVERAGE * u


def _left_out(learning: Learning) -> Row:
    material, kitchen = learning.material, learning.kitchen
    return {
        "batches": {why: list(names) for why, names in material.left_out.items()},
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
            {"batch": f.batch, "line": f.line, "file": f.path.as_posix()}
            | {"fault": f.fault, "done": f.done}
            for f in learning.faults
        ],
        "contradictions": [o.sentence() for o in kitchen.contradictions],
        "stale_notes": list(kitchen.stale),
        "unusable": [
            {"of": name, "fault": why}
            for name, why in (*kitchen.unusable, *learning.burning.unusable)
        ],
        "recordings_linked_twice": [name for name, _ in learning.firing.twice],
        "older_recipes_not_predicted": learning.not_shown,
    }
