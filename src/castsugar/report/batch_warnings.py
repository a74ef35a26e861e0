"""What must be said first about a batch: pressure, faults of measuring, slips."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from castsugar import plausible
from castsugar.data.load import Database
from castsugar.mix.weighing import BROWNED
from castsugar.motor.firing.faults import explain_efficiency, impossible
from castsugar.motor.firing.quantities import COVERAGE, Measured
from castsugar.motor.pressure_table import untold
from castsugar.records.batch import Batch
from castsugar.records.record import Link
from castsugar.units import to_celsius

#: A line is off by more than a slip of the hand beyond this ratio to its plan, or this
#: share of the batch. Common practice, no source.
_RATIO, _SHARE = 1.5, 0.20

#: A ratio between these looks like a decimal point that moved.
_TENFOLD = (8.0, 12.5)

#: How evaluate, weigh and firing end what they say of a case that may burst.
_STOP = "do not fire it"


def warnings(batch: Batch, database: Database) -> list[str]:
    """Return what stands above everything else about a batch, a sentence each.

    Parameters
    ----------
    batch : Batch
    database : Database
        Of the cautions.
    """
    found = [*_foreseen(batch.predictions)]
    for link in batch.firings():
        found += _fired(link, batch.predictions)
    found += _masses(batch)
    found += _temperatures(batch, database)
    return found


def _foreseen(row: Mapping[str, Any]) -> Iterator[str]:
    """Say what was foreseen of the case, and what could not be foreseen."""
    status = str(row.get("status") or "ok")
    if status.startswith("not computed"):
        yield f"Foreseen: {status}."
    best = row.get("peak_pressure_MPa", math.nan)
    high = row.get("peak_pressure_p95_MPa", math.nan)
    for flag in str(row.get("flags") or "").split("; "):
        if flag.startswith(BROWNED) and status == "ok":
            yield f"Foreseen: {flag}."
        if flag.endswith(_STOP):
            top = f"{high:.3g} MPa" if math.isfinite(high) else "no limit"
            told = f" (best {best:.3g} MPa, 95 %: {top}"
            holds = _holds(row)
            told += f"; it may hold {holds:.3g} MPa)" if holds > 0.0 else ")"
            yield f"Foreseen: {flag}{'' if math.isnan(best) else told}."
    if why := untold(row):
        yield f"Foreseen: no pressure is told, so no margin: {why}."


def _holds(row: Mapping[str, Any]) -> float:
    """Return what the case may hold, from 95 % pressure and margin. [MPa]"""
    high = row.get("peak_pressure_p95_MPa", math.nan)
    margin = 0.01 * row.get("pressure_margin_percent", math.nan)
    if not (math.isfinite(high) and math.isfinite(margin)):
        return math.nan
    return float(high / (1.0 - margin))


def _fired(link: Link, foreseen: Mapping[str, Any]) -> Iterator[str]:
    """Say what a firing did to the case, and what in it is not likely."""
    row, line = link.results, f"Line {link.line}"
    peak = row.get("peak_pressure_MPa", math.nan)
    holds = row.get("case_may_hold_MPa", _holds(foreseen))
    high = peak + COVERAGE * row.get("peak_pressure_uncertainty_MPa", 0.0)
    if high > holds:
        was = "was" if peak > holds else "may have been"
        yield (
            f"{line}: the peak pressure, {peak:.3g} MPa, {was} above what the case may "
            f"hold, {holds:.3g} MPa. Do not fire this case again."
        )
    elif high <= holds and row.get("peak_pressure_at_least"):
        yield (
            f"{line}: the sensor was at its limit, so nobody knows whether the case "
            "held more than it may. Do not fire it again before you know."
        )
    for text in _faults(link):
        yield f"{line}: look again: {text}."


def _faults(link: Link) -> Iterator[str]:
    """Yield what firing says of results that are not possible, or not likely."""
    row = link.results
    given = {
        name: Measured(value=row[key], parts={})
        for name, key in (
            ("characteristic_velocity", "characteristic_velocity_m_s"),
            ("specific_impulse", "specific_impulse_s"),
            ("thrust_coefficient", "thrust_coefficient"),
        )
        if key in row
    }
    yield from impossible(given)
    for name in ("characteristic_velocity", "specific_impulse"):
        efficiency = row.get(f"{name}_efficiency")
        if efficiency is not None:
            eroded = "throat_after" in link.options
            text = explain_efficiency(efficiency, eroded=eroded)
            if text:
                yield text
            return


def _masses(batch: Batch) -> Iterator[str]:
    """Say which masses look like a slip of the pen."""
    made = batch.made
    for name, mass in made.actual.items():
        plan = made.planned[name]
        if plan > 0.0 and not _close(mass, plan, made.batch):
            yield (
                f"{name}: {1e3 * mass:.6g} g on the scale, {1e3 * plan:.6g} g planned: "
                f"off by {1e3 * (mass - plan):+.6g} g: {_how(mass / plan)}"
            )


def _close(mass: float, plan: float, batch: float) -> bool:
    near = 1.0 / _RATIO <= mass / plan <= _RATIO
    return near and abs(mass - plan) <= _SHARE * batch


def _how(ratio: float) -> str:
    """Ask what the ratio of a mass to its plan looks like."""
    low, high = _TENFOLD
    if low <= ratio <= high:
        return "ten times too much?"
    if low <= 1.0 / ratio <= high:
        return "a tenth of it?"
    return f"{ratio:.2g} times the plan, is that so?"


def _temperatures(batch: Batch, database: Database) -> Iterator[str]:
    """Say which temperatures are dangerous, or cannot be."""
    for event in batch.standing:
        kelvin = event.values.get("temperature_K") if event.kind == "observed" else None
        if kelvin is None:
            continue
        celsius = to_celsius(kelvin)
        odd = plausible.doubt("observed temperature", kelvin)
        if odd:
            yield f"Line {event.line}: the bulk temperature {odd}."
        facts = {"bulk_temperature": celsius}
        for caution in database.cautions_for(("kitchen",), facts):
            if caution.quantity == "bulk_temperature" and caution.level == "stop":
                yield f"Line {event.line}: {celsius:.4g} C. {caution.text}"
