"""The keys of the lines of a record, and what checks each. Loads nothing heavy."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from castsugar.plausible import RANGES
from castsugar.workshop.batches.record import FLOWS, OUTCOMES, SCHEMA

_PLAIN_KINDS = frozenset([str, int, bool, type(None)])


@dataclass(frozen=True, slots=True)
class Field:
    """What checks the value of a key, and how it must be in words."""

    check: Callable[[Any], bool]
    must: str


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _number(value: Any) -> bool:
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
    )


def _or_null(check: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: value is None or check(value)


def _table(check: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, dict) and all(map(check, value.values()))


def _within(name: str, *, zero: bool = False) -> Callable[[Any], bool]:
    """Return what checks a number in SI against the range of a quantity.

    Whole records pass here: what is possible is looked up once.
    """
    low, high = RANGES[name].hard
    room = 1e-9 * high
    low = 0.0 if zero else low - room
    return lambda value: _number(value) and low <= value <= high + room


def _must(name: str) -> str:
    """Return in words what is possible, in SI."""
    low, high = RANGES[name].hard
    return f"from {low:.10g} to {high:.10g}"


def _plain(value: Any) -> bool:
    """Return whether a value is plain: thousands of rows pass here."""
    kind = type(value)
    if kind is float:
        return math.isfinite(value)
    return kind in _PLAIN_KINDS


def _date(value: Any) -> bool:
    return isinstance(value, str) and is_date(value)


def is_date(text: str) -> bool:
    """Return whether a text is a day of the calendar, written 2026-11-25."""
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


_TEXT = Field(_text, "text")
_DATE = Field(_date, "a date such as 2026-11-25")
_MASSES = Field(
    _table(_within("mass on the scale", zero=True)),
    f"names with masses {_must('mass on the scale')} kg, or 0",
)
_PLAIN = Field(_table(_plain), "names with numbers or text")
_SHA = Field(lambda v: _text(v) and len(v) == 64, "a SHA-256 of 64 digits")

#: Keys of line 1.
MADE: dict[str, Field] = {
    "schema": Field(lambda v: v == SCHEMA, repr(SCHEMA)),
    "event": Field(lambda v: v == "made", "'made' in line 1"),
    "id": _TEXT,
    "date": _DATE,
    "recipe": _TEXT,
    "name": _TEXT,
    "mass_fractions": Field(
        _table(_within("share of the mix")), "names with shares from 0 to 1"
    ),
    "lots": Field(
        _table(lambda v: isinstance(v, dict)), "names with what is known of each"
    ),
    "batch_kg": Field(_within("batch"), f"a mass {_must('batch')} kg"),
    "planned_kg": _MASSES,
    "actual_kg": _MASSES,
    "cook": _TEXT,
    "minutes": Field(
        _or_null(_within("minutes")), f"a number {_must('minutes')} or null"
    ),
    "water_lost": Field(_within("water lost"), "a share from 0 to 1"),
    "pressure_Pa": Field(
        _within("chamber pressure"), f"a pressure {_must('chamber pressure')} Pa"
    ),
    "bench": Field(_or_null(lambda v: isinstance(v, dict)), "a table or null"),
    "predictions": _PLAIN,
    "versions": Field(_table(_text), "names with versions"),
    "note": _TEXT,
}

#: Keys that line 1 may have beside those.
MADE_MORE: dict[str, Field] = {"cup_kg": _MASSES}

#: Keys of its `bench`.
BENCH: dict[str, Field] = {
    "file": _TEXT,
    "sha256": _SHA,
    "kitchen": _TEXT,
    "motor": _TEXT,
    "lots": _TEXT,
    "strands": Field(_table(_text), "files with their SHA-256"),
}

#: Keys of every event.
EVENT: dict[str, Field] = {"event": _TEXT, "date": _DATE, "note": _TEXT}

#: Keys of each kind of event, beside those of all.
KINDS: dict[str, dict[str, Field]] = {
    "observed": {
        "text": _TEXT,
        "temperature_K": Field(
            _or_null(_within("observed temperature")),
            f"a temperature {_must('observed temperature')} K or null",
        ),
        "flow_class": Field(lambda v: v in ("", *FLOWS), f"'' or of {FLOWS}"),
    },
    "measured": {"measurement": _PLAIN},
    "burned": {
        "file": _TEXT,
        "sha256": _SHA,
        "mix": _TEXT,
        "strands": Field(lambda v: isinstance(v, int) and v > 0, "a count above 0"),
    },
    "fired": {"file": _TEXT, "sha256": _SHA, "options": _PLAIN, "results": _PLAIN},
    "corrected": {"line": Field(lambda v: type(v) is int and v > 0, "a line, from 1")},
    "closed": {"outcome": Field(lambda v: v in OUTCOMES, f"one of {OUTCOMES}")},
}
