"""What batches taught, as data: rows with units in their keys, and their fields."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from castsugar.constants import COVERAGE
from castsugar.data.records import Syrup
from castsugar.kitchen.parameters import PARAMETERS, Belief
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.efficiency import Efficiency
from castsugar.motor.firing.quantities import Measured
from castsugar.records.learning.burn_laws import band_of, centre_of
from castsugar.records.learning.checks import Check, Skipped, end_of_band
from castsugar.records.learning.firings import Fired
from castsugar.records.learning.learnt import COLUMNS, Learning
from castsugar.report.batch_list import damaged_of
from castsugar.report.document import Part, part, read_parts
from castsugar.report.field import (
    INTERVAL,
    TEXT,
    Banded,
    Field,
    Row,
    chosen,
    row_of,
)

Rows = list[dict[str, Any]]

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


def predicted_of(check: Check) -> dict[str, Any]:
    """Return what was predicted as a row, for :func:`predicted`."""
    band = (check.low, check.high)
    return {"predicted": check.predicted, f"predicted{INTERVAL}": band}


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
    _field("nozzle_efficiency", "delivered over ideal thrust coefficient"),
    *_texts(
        efficiency_bound="at least or at most, then without a band; else empty",
        nozzle_efficiency_bound="the same",
    ),
    _field("rate_mm_s", "burning rate, at the temperature of the strands", "rate"),
    _field("rate_pressure_MPa", "at which it holds, absolute", "pressure"),
    *_texts(
        read_anew="yes if the recording was reduced again, else no",
        why_not_read_anew="why not",
        alarms="tests of the recording that raised an alarm",
        left_out="why nothing is learnt from it; empty if something is",
        accepted="why it counts although it is doubted; empty if nobody said so",
    ),
)
_FORECASTS = (
    *_texts(batch="of which", file="the recording"),
    *(
        _field(f"{key}_MPa", f"peak of the firing {meaning}, absolute", "pressure")
        for key, meaning in (
            ("predicted", "that half of the next batches stay below, nothing learnt"),
            ("by_rate", "with the burning rates learnt, the c* efficiency not"),
            ("now", "with both learnt"),
            ("measured", "as it was"),
        )
    ),
)
_EFFICIENCIES = (
    *_texts(quantity="c*, nozzle, or impulse: their product"),
    *(
        one
        for side, words in (("now", "of the bench file"), ("saved", "after saving"))
        for one in (
            _field(f"{side}_efficiency", f"delivered over ideal, {words}"),
            _field(f"{side}_next_efficiency", f"of the next firing, {words}"),
            _field(f"{side}_scatter_percent", f"firing to firing, {words}", "fraction"),
            _field(f"{side}_firings", f"that tell it, {words}"),
        )
    ),
)
_TALLY = (
    _field("counted", "comparisons that test a band"),
    _field("inside", "of those, inside"),
    _field("over_a_factor_of_10", "bands so wide"),
    _field("expected_inside", "of bands of 95 %"),
    _field("probability_of_so_few", "inside, if the bands hold (binomial)"),
    _field("share_inside", "observed; its exact 95 % interval (Clopper, Pearson)"),
)
_INFLATIONS = (
    *_texts(quantity="what was measured"),
    _field("count", "comparisons that count"),
    _field("factor", "by which its uncertainty turned out too small; 1: it did not"),
)
_PREDICTED = (
    *_texts(name="recipe", cook="as typed", fault="why it is not predicted"),
    *chosen(COLUMNS),
)


def _alarms(learning: Learning, *_: Any) -> Rows:
    return [
        row_of(
            _ALARMS,
            alarm,
            peak_pressure_MPa=1e-6 * alarm.measured,
            above_band_high_MPa=1e-6 * alarm.band_high,
            above_allowed_MPa=1e-6 * alarm.allowed,
        )
        for alarm in learning.alarms
    ]


def checks_of(checks: Sequence[Check]) -> Rows:
    """Return every prediction with its measurement."""
    return [
        row_of(
            CHECKS,
            check,
            predicted=Banded(check.predicted, check.low, check.high),
            verdict="inside" if check.inside else "outside",
            counted="yes" if check.counts else "no",
            outcome="discarded" if check.discarded else "",
        )
        for check in checks
    ]


def skipped_of(skipped: Iterable[Skipped], *keys: str) -> Rows:
    """Return what no prediction answers."""
    return [{key: getattr(one, key) for key in keys} for one in skipped]


def _tally(learning: Learning, *_: Any) -> Row:
    found = learning.tally
    share = found.inside / found.count if found.count else math.nan
    return row_of(
        _TALLY,
        found,
        counted=found.count,
        over_a_factor_of_10=found.wide,
        expected_inside=found.expected,
        probability_of_so_few=found.so_few,
        share_inside=Banded(share, found.share_low, found.share_high),
    )


def _predictions(learning: Learning, side: str) -> Rows:
    return [
        {"name": m.name, "cook": m.cook, "fault": m.fault} | with_band(getattr(m, side))
        for m in learning.moved
    ]


def with_band(row: Row) -> dict[str, Any]:
    """Return predictions with the 95 % band of the pour viscosity."""
    key = "pour_viscosity_Pa_s"
    low, middle, high = (
        float(row.get(k, math.nan))
        for k in ("pour_viscosity_p10_Pa_s", key, "pour_viscosity_p90_Pa_s")
    )
    if math.isnan(middle) or math.isnan(low):
        return dict(row)
    return {**row, key + INTERVAL: [end_of_band(x, middle) for x in (low, high)]}


def parameters_of(learning: Learning, syrup: Syrup) -> Rows:
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
        now, saved = (
            Banded(*(zero + size * x for x in _told(side.belief, place)))
            for side in (kitchen.before, kitchen.after)
        )
        origin = kitchen.after.belief.origins[place]
        more = {"meaning": label, "unit": unit, "origin": origin}
        rows.append(row_of(_PARAMETERS, parameter, now=now, saved=saved, **more))
    return rows


def _told(belief: Belief, place: int) -> Iterable[float]:
    step = COVERAGE * float(belief.spreads()[place])
    outward = PARAMETERS[place].outward
    return (float(outward(belief.mean[place] + x)) for x in (0.0, -step, step))


def laws_of(learning: Learning, *_: Any) -> Rows:
    """Return the law of every mix that has strands or stands in the bench file."""
    rows = []
    for mix, after in zip(learning.burning.mixes, learning.laws, strict=True):
        pressure = centre_of(mix)
        row = {
            "recipe": mix.recipe,
            "strands": mix.strands,
            "strands_from_batches": mix.from_batches,
            "pressure_MPa": 1e-6 * pressure,
        }
        sides = {"now": mix.before, "all_strands": mix.fitted, "saved": after}
        for side, law in sides.items():
            row |= _law(side, law, pressure)
        rows.append(row)
    return rows


def _law(side: str, law: BurnLaw | None, pressure: float) -> Row:
    rate, n, origin = (f"{side}_{key}" for key in ("rate_mm_s", "n", "origin"))
    if law is None:
        return {origin: "", rate: math.nan, n: math.nan}
    band = band_of(law, pressure)
    return {
        rate: 1e3 * band.rate,
        rate + INTERVAL: (1e3 * band.rate_low, 1e3 * band.rate_high),
        n: band.exponent,
        n + INTERVAL: (band.exponent_low, band.exponent_high),
        origin: band.origin,
    }


def firings_of(learning: Learning, *_: Any) -> Rows:
    """Return what every firing tells."""
    return [
        row_of(
            _FIRINGS,
            fired,
            batch=fired.batch.id,
            file=fired.link.path.name,
            line=fired.link.line,
            efficiency=_around(fired.velocity),
            nozzle_efficiency=_around(fired.nozzle),
            efficiency_bound=fired.velocity.bound if fired.velocity else "",
            nozzle_efficiency_bound=fired.nozzle.bound if fired.nozzle else "",
            read_anew="no" if fired.test is None else "yes",
            why_not_read_anew=fired.why_frozen,
            alarms=", ".join(fired.alarms),
            **_rate(fired),
        )
        for fired in learning.firing.firings
    ]


def _around(found: Measured | None) -> Banded:
    if found is None:
        return Banded(math.nan, math.nan, math.nan)
    if found.bound:
        return Banded(found.value, math.nan, math.nan)
    return Banded(found.value, *found.interval)


def _rate(fired: Fired) -> dict[str, Any]:
    rate = fired.rate
    if rate is None:
        return dict.fromkeys(("rate_mm_s", "rate_pressure_MPa"), math.nan)
    ends = (1e3 * rate.value * math.exp(k * COVERAGE * rate.u) for k in (0, -1, 1))
    return {"rate_mm_s": Banded(*ends), "rate_pressure_MPa": 1e-6 * rate.pressure}


def forecasts_of(learning: Learning, *_: Any) -> Rows:
    """Return how the forecast of every firing moved."""
    return [
        row_of(
            _FORECASTS,
            one,
            predicted_MPa=1e-6 * one.predicted,
            by_rate_MPa=1e-6 * one.by_rate,
            now_MPa=1e-6 * one.now,
            measured_MPa=1e-6 * one.measured,
        )
        for one in learning.forecasts
    ]


def efficiencies_of(learning: Learning, *_: Any) -> Rows:
    """Return the efficiencies of c*, of the nozzle, and their product."""
    names = ("characteristic_velocity", "nozzle", "impulse")
    return [
        {"quantity": label}
        | _efficiency("now", getattr(learning.efficiencies[0], name))
        | _efficiency("saved", getattr(learning.efficiencies[1], name))
        for label, name in zip(("c*", "nozzle", "impulse"), names, strict=True)
    ]


def _efficiency(side: str, found: Efficiency) -> dict[str, Any]:
    scatter = (found.scatter, found.scatter_low, found.scatter_high)
    banded = {
        "efficiency": (found.median, found.low, found.high),
        "next_efficiency": (found.median, found.next_low, found.next_high),
        "scatter_percent": tuple(100.0 * x for x in scatter),
    }
    row: dict[str, Any] = {f"{side}_firings": found.count}
    for key, (value, low, high) in banded.items():
        row |= {f"{side}_{key}": value, f"{side}_{key}{INTERVAL}": (low, high)}
    return row


def _left_out(learning: Learning, *_: Any) -> Row:
    material, kitchen = learning.material, learning.kitchen
    return {
        "batches": {why: list(names) for why, names in material.left_out.items()},
        "damaged": damaged_of(material.damaged),
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


def _bench_file(learning: Learning, told: Any, _: Path) -> Row:
    planned = learning.planned
    return {
        "saved": told.saved,
        "written": list(planned.written),
        "removed": list(planned.removed),
        "not_written": list(planned.refused),
    }


#: The document ``castsugar.learn/2``: of what was learnt, of what a screen says beside
#: it, and of the folder.
PARTS: dict[str, Part] = {
    "bench": part("the bench file", lambda found, *_: found.bench.path.as_posix()),
    "folder": part("of the records", lambda _, told, folder: folder.as_posix()),
    "alarms": part("peaks above band or case", _alarms, _ALARMS),
    "checks": part(
        "predictions against measurements",
        lambda found, *_: checks_of(found.checks),
        CHECKS,
    ),
    "not_checked": part(
        "what no prediction answers: batch, quantity, why",
        lambda found, *_: skipped_of(found.skipped, "batch", "quantity", "why"),
    ),
    "tally": Part(meaning="how many lie inside", fields=_TALLY, read=_tally),
    "inflation_factors": part(
        "of quantities compared three times or more",
        lambda found, *_: [row_of(_INFLATIONS, one) for one in found.inflations],
        _INFLATIONS,
    ),
    "predictions_now": part(
        "as of now", lambda found, *_: _predictions(found, "before"), _PREDICTED
    ),
    "predictions_saved": part(
        "after saving", lambda found, *_: _predictions(found, "after"), _PREDICTED
    ),
    "kitchen_parameters": part(
        "medians and 95 %",
        lambda found, told, _: parameters_of(found, told.syrup),
        _PARAMETERS,
    ),
    "burning_rate_laws": part("by mix", laws_of, _LAWS),
    "firings": part("what each tells", firings_of, _FIRINGS),
    "forecasts": part("of firings, and what moved them", forecasts_of, _FORECASTS),
    "efficiencies": part(
        "of all firings together, as a pair", efficiencies_of, _EFFICIENCIES
    ),
    "batches": part(
        "those that count", lambda found, *_: [b.id for b in found.material.batches]
    ),
    "left_out": part("why, and which batches, files, lines", _left_out),
    "bench_file": part("saved, written, removed, not_written", _bench_file),
}

learn_parts = partial(read_parts, PARTS)
