"""A batch as plain rows: its document, its events in words, foreseen beside seen."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castsugar.motor.pressure_table import untold
from castsugar.records.batch import Batch
from castsugar.records.record import Event
from castsugar.report.batch_list import printable
from castsugar.report.kitchen import one_digit
from castsugar.report.layout import number, wrapped
from castsugar.units import to_celsius


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """One thing that was foreseen, beside what was seen.

    Attributes
    ----------
    label, foreseen : str
    seen : tuple of (text, line)
        Empty if it was not looked at.
    """

    label: str
    foreseen: str
    seen: tuple[tuple[str, int], ...] = ()


def batch_document(batch: Batch) -> dict[str, Any]:
    """Return a batch as plain values, units in the keys."""
    made = batch.made
    return {
        "schema": "castsugar.batch_shown/1",
        "id": batch.id,
        "state": state(batch),
        "date": made.date,
        "recipe": made.recipe,
        "name": made.name,
        "mass_fractions": dict(made.fractions),
        "batch_kg": made.batch,
        "planned_kg": dict(made.planned),
        "actual_kg": dict(made.actual),
        "cup_kg": dict(made.cups),
        "lots": {name: dict(lot) for name, lot in made.lots.items()},
        "cook": made.cook,
        "minutes": made.minutes,
        "water_lost": made.water_lost,
        "pressure_Pa": made.pressure,
        "predictions": dict(batch.predictions),
        "events": [_event_row(e) for e in batch.events],
        "set_aside": [{"line": k, "why": w} for k, w in batch.set_aside.items()],
        "changed_files": [
            {"line": line, "file": path.as_posix(), "fault": fault}
            for line, path, fault in batch.changed_files()
        ],
        "versions": dict(made.versions),
        "note": made.note,
    }


def _event_row(event: Event) -> dict[str, Any]:
    row = {"line": event.line, "event": event.kind, "date": event.date}
    return row | dict(event.values) | {"note": event.note}


def events_document(
    batch: Batch, events: Sequence[Event], warnings: Sequence[str] = ()
) -> dict[str, Any]:
    """Return what was added to a batch as plain values."""
    return {
        "schema": "castsugar.batch_added/1",
        "id": batch.id,
        "state": state(batch),
        "warnings": list(warnings),
        "events": [_event_row(e) for e in events],
    }


def state(batch: Batch) -> str:
    """Say what became of a batch."""
    return batch.outcome or "open"


def event_lines(batch: Batch, events: Sequence[Event]) -> list[str]:
    """Return events as lines: number, date, words; those set aside say so."""
    gone = batch.set_aside
    lines = []
    for event in events:
        words = event_words(event)
        if event.line in gone:
            words = f"WRONG ({gone[event.line]}): {words}"
        if event.note and event.kind != "corrected":
            words += f" [{event.note}]"
        head = f"  {event.line:>3}  {event.date}  "
        lines += wrapped(printable(words), " " * len(head), head)
    return [f"{line}\n" for line in lines]


def event_words(event: Event) -> str:
    """Say what an event is."""
    return _WORDS[event.kind](event)


def _observed(event: Event) -> str:
    values = event.values
    parts = [values["text"]] if values["text"] else []
    if values["temperature_K"] is not None:
        parts.append(f"at {to_celsius(values['temperature_K']):.4g} C")
    if values["flow_class"]:
        parts.append(f"flow: {values['flow_class']}")
    return "seen: " + ", ".join(parts)


def _measured(event: Event) -> str:
    entry = dict(event.values["measurement"])
    kind = entry.pop("kind")
    hidden = ("recipe", "cook", "minutes", "batch", "date")
    shown = ", ".join(f"{k} {v}" for k, v in entry.items() if k not in hidden)
    return f"measured: {kind}, {shown}"


def _burned(event: Event) -> str:
    values = event.values
    mix = f" of {values['mix']!r}" if values["mix"] else ""
    return f"strands: {values['strands']}{mix} in {values['file']}"


def _fired(event: Event) -> str:
    row = event.values["results"]
    told = [
        f"{label} {_with_doubt(row, key, unit)}"
        for label, key, unit, _ in _FIRED
        if key_of(key, unit) in row
    ]
    return f"fired: {event.values['file']}; " + ", ".join(told)


def _corrected(event: Event) -> str:
    return f"correction of line {event.values['line']}: {event.note}"


def _closed(event: Event) -> str:
    return f"closed: {event.values['outcome']}"


_WORDS: dict[str, Callable[[Event], str]] = {
    "observed": _observed,
    "measured": _measured,
    "burned": _burned,
    "fired": _fired,
    "corrected": _corrected,
    "closed": _closed,
}

#: Results of a firing: label, key, unit in the key, unit on the screen.
_FIRED = (
    ("peak pressure", "peak_pressure", "MPa", "MPa"),
    ("c*", "characteristic_velocity", "m_s", "m/s"),
    ("c* efficiency", "characteristic_velocity_efficiency", "", ""),
    ("burn time", "burn_time", "s", "s"),
    ("total impulse", "total_impulse", "N_s", "N s"),
)


def key_of(name: str, unit: str) -> str:
    """Return the column of a result."""
    return f"{name}_{unit}" if unit else name


def _with_doubt(row: Mapping[str, Any], name: str, unit: str) -> str:
    """Write a result with its uncertainty, both to the digits that this allows."""
    value = row[key_of(name, unit)]
    doubt = row.get(key_of(f"{name}_uncertainty", unit), math.nan)
    shown = {u: s for _, _, u, s in _FIRED}[unit]
    text = f"{value:.3g}"
    if isinstance(doubt, float) and doubt > 0.0:
        decimals = 1 - math.floor(math.log10(doubt))
        text = f"{number(value, decimals)} ±{number(doubt, decimals)}"
    if row.get(f"{name}_at_least"):
        text = f"at least {text}"
    return f"{text} {shown}".rstrip()


def beside(batch: Batch) -> Iterator[Beside]:
    """Yield what was foreseen of a batch, each beside what was seen."""
    row = batch.predictions
    stand = batch.standing
    flows = _values(stand, "observed", "flow_class")
    if row.get("flow_class") not in ("not asked", "not computed", None) or flows:
        yield Beside(label="flow at the pour", foreseen=_flow(row), seen=flows)
        yield Beside(label="pour viscosity, 10-90 %, Pa s", foreseen=_band(row))
        yield _water(batch)
    yield from _of_firings(batch)


def _values(
    events: Sequence[Event], kind: str, key: str
) -> tuple[tuple[str, int], ...]:
    return tuple(
        (str(e.values[key]), e.line) for e in events if e.kind == kind and e.values[key]
    )


def _flow(row: Mapping[str, Any]) -> str:
    chance = row.get("pours_probability", math.nan)
    if not math.isfinite(chance):
        return "-"
    return f"{row['flow_class']}; pours: {100.0 * chance:.0f} %"


def _band(row: Mapping[str, Any]) -> str:
    low, high = (row.get(f"pour_viscosity_p{p}_Pa_s", math.nan) for p in (10, 90))
    if math.isnan(low) or math.isnan(high):
        return "-"
    return f"{one_digit(low)}-{one_digit(high)}"


def _water(batch: Batch) -> Beside:
    """Return the water that leaves: foreseen, and off the pan's weight."""
    share = batch.predictions.get("water_as_weighed_percent", math.nan) / 100.0
    lost = batch.made.water_lost * share
    weighed = [
        (f"{1e3 * m['lost']:.3g} of {1e3 * m['batch']:.4g}", line)
        for line, m in zip(_lines(batch, "measured"), batch.measurements(), strict=True)
        if m["kind"] == "pan weight"
    ]
    grams = 1e3 * lost * batch.made.mass
    text = f"{grams:.2g} of {1e3 * batch.made.mass:.4g}"
    return Beside(label="water that leaves, g", foreseen=text, seen=tuple(weighed))


def _lines(batch: Batch, kind: str) -> list[int]:
    return [e.line for e in batch.standing if e.kind == kind]


def _of_firings(batch: Batch) -> Iterator[Beside]:
    """Yield what a motor was to do, beside its firings."""
    row, firings = batch.predictions, batch.firings()
    velocity = row.get("characteristic_velocity_m_s", math.nan)
    ideal = f"{velocity:.0f} m/s ideal" if math.isfinite(velocity) else "-"
    told = {
        "peak_pressure": _peak(row),
        "characteristic_velocity": ideal,
        "burn_time": _expected(firings, "expected_burn_time_s", "s"),
        "total_impulse": _expected(firings, "expected_total_impulse_N_s", "N s"),
    }
    for label, key, unit, _ in _FIRED:
        seen = tuple(
            (_with_doubt(f.results, key, unit), f.line)
            for f in firings
            if key_of(key, unit) in f.results
        )
        foreseen = told.get(key, "-")
        if seen or foreseen != "-":
            yield Beside(label=label, foreseen=foreseen, seen=seen)


def _expected(firings: Sequence[Any], key: str, unit: str) -> str:
    """Return what the last firing was to do, with the throat that it had."""
    found = [f.results[key] for f in firings if key in f.results]
    return f"{found[-1]:.3g} {unit}" if found else "-"


def _peak(row: Mapping[str, Any]) -> str:
    best = row.get("peak_pressure_MPa", math.nan)
    high = row.get("peak_pressure_p95_MPa", math.nan)
    if math.isnan(best):
        return "not told" if untold(row) else "-"
    limit = f"{high:.3g}" if math.isfinite(high) else "no limit"
    return f"{best:.3g} MPa, 95 %: {limit}"
