"""What must be said first about a batch: pressure, faults of measuring, slips."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from castsugar import plausible
from castsugar.constants import COVERAGE
from castsugar.data.load import Database
from castsugar.mix.weighing import BROWNED
from castsugar.motor.firing.faults import explain_efficiency, impossible
from castsugar.motor.firing.quantities import AT_LEAST, Measured
from castsugar.motor.pressure_table import untold
from castsugar.records.batch import Batch
from castsugar.records.prediction import allowed_pressure, bound_of
from castsugar.records.record import Link
from castsugar.report import numbers
from castsugar.report.limit_words import no_upper_limit
from castsugar.report.screen import Finding
from castsugar.report.shown import Shown
from castsugar.units import to_celsius

#: A line is off by more than a slip of the hand beyond this ratio to its plan, or this
#: share of the batch. Common practice, no source.
_RATIO, _SHARE = 1.5, 0.20

#: A ratio between these looks like a decimal point that moved.
_TENFOLD = (8.0, 12.5)

#: How the flag of a case that may burst ends.
_STOP = "do not fire it"


def warnings(batch: Batch, database: Database, show: Shown) -> list[Finding]:
    """Return what stands above everything else about a batch."""
    found = [*_predicted(batch.predictions, show)]
    for link in batch.firings():
        found += _fired(link, batch.predictions, show)
    if not batch.is_sound:
        why = f"Do not rely on it, what was made was corrected: {batch.set_aside[1]}"
        found.append(Finding("MISFIT", why))
    found += _masses(batch, show)
    found += _temperatures(batch, database, show)
    if not batch.outcome:
        found += _pan(batch, database, show)
    return found


def highest_pressure(row: Mapping[str, Any], show: Shown, none: str) -> str:
    """Say how high the pressure goes and what is allowed; `none`: if it has no end."""
    high = float(row.get("peak_pressure_p95_MPa", math.nan))
    if math.isinf(high):
        return no_upper_limit()
    if math.isnan(high):
        return none
    told = f"95 of 100 next batches stay below {show.amount('pressure', high)}"
    allowed = allowed_pressure(row)
    return (
        f"{told}, allowed is {show.amount('pressure', allowed)}"
        if allowed > 0.0
        else told
    )


def _predicted(row: Mapping[str, Any], show: Shown) -> Iterator[Finding]:
    status = str(row.get("status") or "ok")
    if status.startswith("not computed"):
        yield Finding("CANNOT TELL", f"Predictions {status}.")
    for flag in str(row.get("flags") or "").split("; "):
        if flag.startswith(BROWNED) and status == "ok":
            yield Finding("CAUTION", f"Predicted: {flag}.")
        if flag.endswith(_STOP):
            told = flag.removesuffix(_STOP).rstrip(": ,;")
            top = highest_pressure(row, show, "no stable pressure")
            high = row.get("peak_pressure_p95_MPa", math.nan)
            values = {
                "peak_pressure_p95_MPa": high,
                "allowed_pressure_MPa": allowed_pressure(row),
            }
            yield Finding("DO NOT", f"fire it in this case: {told}; {top}.", values)
    if why := untold(row):
        yield Finding("CANNOT TELL", f"No pressure is told, so no margin: {why}.")


def _fired(link: Link, predicted: Mapping[str, Any], show: Shown) -> Iterator[Finding]:
    row, line = link.results, f"line {link.line}"
    peak = row.get("peak_pressure_MPa", math.nan)
    allowed = row.get("case_may_hold_MPa", allowed_pressure(predicted))
    high = peak + COVERAGE * row.get("peak_pressure_uncertainty_MPa", 0.0)
    if high > allowed:
        was = "was" if peak > allowed else "may have been"
        yield Finding(
            "DO NOT",
            f"fire this case again: {line}, the peak pressure "
            f"{show.amount('pressure', peak)} {was} above the allowed pressure "
            f"{show.amount('pressure', allowed)}.",
            {"peak_pressure_MPa": peak, "allowed_pressure_MPa": allowed},
        )
    elif high <= allowed and bound_of(row, "peak_pressure") == AT_LEAST:
        yield Finding(
            "DO NOT",
            f"fire this case again before you know its peak: {line}, the sensor was at "
            "its limit, so the case may have held more than is allowed.",
        )
    for text in _faults(link):
        yield Finding("MISFIT", f"Line {link.line}, suspect reading: {text}.")


def _faults(link: Link) -> Iterator[str]:
    """Yield what firing says of results that are not possible, or not likely."""
    row = link.results
    keys = (
        "characteristic_velocity_m_s",
        "specific_impulse_s",
        "thrust_coefficient",
    )
    given = {
        key.removesuffix("_m_s").removesuffix("_s"): Measured(value=row[key], parts={})
        for key in keys
        if key in row
    }
    yield from impossible(given)
    for name in ("characteristic_velocity", "specific_impulse"):
        efficiency = row.get(f"{name}_efficiency")
        if efficiency is not None:
            eroded = "throat_after" in link.options
            if text := explain_efficiency(efficiency, eroded=eroded):
                yield text
            return


def _masses(batch: Batch, show: Shown) -> Iterator[Finding]:
    made = batch.made
    for name, mass in made.actual.items():
        plan = made.planned[name]
        if plan > 0.0 and not _close(mass, plan, made.batch):
            weighed, planned = (show.typed("mass", 1e3 * x) for x in (mass, plan))
            off = show.difference("mass", 1e3 * (mass - plan), 0.0, 0.0)[0]
            yield Finding(
                "CAUTION",
                f"{name}: {weighed} on the scale, {planned} planned, off by {off} "
                f"{show.unit('mass')}: "
                f"{_how(mass / plan)}",
            )


def _close(mass: float, plan: float, batch: float) -> bool:
    near = 1.0 / _RATIO <= mass / plan <= _RATIO
    return near and abs(mass - plan) <= _SHARE * batch


def _how(ratio: float) -> str:
    low, high = _TENFOLD
    if low <= ratio <= high:
        return "ten times too much?"
    if low <= 1.0 / ratio <= high:
        return "a tenth of it?"
    return f"{numbers.factor(ratio)} times the plan, is that so?"


def _temperatures(batch: Batch, database: Database, show: Shown) -> Iterator[Finding]:
    """Say which temperatures are dangerous, or cannot be."""
    for event in batch.standing:
        kelvin = event.values.get("temperature_K") if event.kind == "observed" else None
        if kelvin is None:
            continue
        celsius = to_celsius(kelvin)
        odd = plausible.doubt("observed temperature", kelvin)
        if odd:
            text = f"Line {event.line}: the bulk temperature {odd}."
            yield Finding("CAUTION", text)
        facts = {"bulk_temperature": celsius}
        for caution in database.cautions_for(("kitchen",), facts):
            if caution.quantity == "bulk_temperature" and caution.level == "stop":
                yield Finding(
                    "DO NOT",
                    f"heat like that again: line {event.line}, bulk at "
                    f"{show.typed('temperature', celsius)}; beyond "
                    f"{show.typed('temperature', caution.limit)} no verdict is given.",
                    {"bulk_temperature_C": celsius},
                )


def _pan(batch: Batch, database: Database, show: Shown) -> Iterator[Finding]:
    mass = 1e3 * sum(batch.made.on_scale.values())
    raised = [
        caution
        for caution in database.cautions_for(("kitchen",), {"batch_mass": mass})
        if caution.quantity == "batch_mass" and caution.level != "caution"
    ]
    if not raised:
        return
    worst = max(raised, key=lambda caution: caution.limit)
    told, limit = (show.typed("mass", x) for x in (mass, worst.limit))
    text = f"cook {told} in one pan: more than {limit}; cook several small batches."
    yield Finding("DO NOT", text, {"batch_mass_g": mass})
