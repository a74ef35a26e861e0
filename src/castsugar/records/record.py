"""What a batch record holds, line by line."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any

from castsugar.frozen import dataclass
from castsugar.mix.mix import PROCESSES
from castsugar.plausible import RANGES

# ----------------------------------------------------------------------------
# What a batch is: what was made, what was foreseen, and what happened to it since.
#
# One file a batch, ``<date>-<number of the day>.jsonl``: UTF-8, one JSON object a line.
# Line 1 says what was made, every later line is an event. castsugar only adds lines;
# without a chain of hashes it cannot tell whether another program changed one. Numbers
# are SI with the unit in the key, but for prediction columns, results of a firing and
# measurements, which keep their own keys. A number that is missing is null, an infinite
# one the text "inf".
#
# :class:`castsugar.records.batch.Batch` answers what is in it.
#
# Line 1, ``"event": "made"``: ``schema``, ``id``, and what :class:`Made` holds, the
# masses as `mass_fractions`, `batch_kg`, `planned_kg`, `actual_kg` and `cup_kg`, the
# pressure as `pressure_Pa`. Records of once have no `cup_kg`, no `process`, and no
# `scatter` in their `bench`.
#
# Events have ``event``, ``date``, ``note`` and
#
# observed: `text`, `temperature_K` or null, `flow_class` or "".
# measured: `measurement`: kind and keys of a kitchen measurement as typed, as under
#   [[kitchen.measured]] of a bench file.
# cast: `mass_kg`, all grains that will be fired together.
# grains: `grains`, the same one by one as cast: `outer_m`, `core_m`, `length_m`,
#   `mass_kg`.
# burned: `file` of strands (relative to the record), `sha256`, `mix` in it, `strands`.
# fired: `file` of a recording, `sha256`, `options` as typed (names of the options of
#   ``castsugar firing``), `results` as :func:`castsugar.records.prediction.results_of`
#   gives them, and `case_may_hold_MPa` where that was known. A firing that was filmed
#   has `frames` among its options, its frames in words as `file`, and the SHA-256 of
#   batch and options.
# corrected: `line` (from 1) that is wrong; the note says what.
# closed: `outcome`: used, partly or discarded.

SCHEMA = "castsugar.batch/1"
SUFFIX = ".jsonl"

#: How a batch is called: date and number of the day.
IDENTITY = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})-([1-9][0-9]{0,5})", re.ASCII)

#: What a batch may end as.
OUTCOMES = ("used", "partly", "discarded")

#: How a mix may have flowed, as in the column `flow_class`.
FLOWS = ("runny", "pours", "thick", "tamp", "no flow")


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenBench:
    """What mattered of the bench file on the day.

    Attributes
    ----------
    file : str
        Relative to the folder of the record, "/" between the parts.
    sha256 : str
        Of the whole file.
    kitchen, motor, lots, scatter : str
        Tables as TOML text that :func:`castsugar.bench.bench.check_bench` reads;
        empty where the file had none.
    strands : mapping of str to str
        File that [motor] reads (relative to the bench file) to its sha256.
    """

    file: str
    sha256: str
    kitchen: str = ""
    motor: str = ""
    lots: str = ""
    scatter: str = ""
    strands: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What was made: line 1 of a record.

    Attributes
    ----------
    date : str
        "2026-11-25".
    recipe, name : str
        As typed; the label, or "".
    fractions : mapping of str to float
        Catalogue name to mass fraction, as planned.
    batch : float
        Planned mass on the scale. [kg]
    planned, actual : mapping of str to float
        Catalogue name to mass on the scale; `actual` holds only what was stated. [kg]
    cups : mapping of str to float
        Catalogue name to what of it stays in its cup and is not cooked. [kg]
    lots : mapping of str to mapping
        Catalogue name to what was known of bag or bottle.
    cook : str
        As typed; "" without one.
    process : str
        One of :data:`castsugar.mix.mix.PROCESSES`; "" in records of once.
    water_lost : float
        Share of the recipe's water that the predictions take to leave.
    pressure : float
        Of the predictions. [Pa]
    predictions : mapping of str to value
        A row of :data:`castsugar.columns.COLUMNS`: of the masses as made, by bench file
        and version of that day; NaN and infinity are floats again.
    minutes : float or None
        How long the one temperature of the cook is held. [min]
    bench : FrozenBench or None
        What mattered of the bench file on the day; None without one.
    versions : mapping of str to str
        Program to its version on the day.
    note : str
        Free words.

    Examples
    --------
    >>> made = Made(
    ...     date="2026-11-25",
    ...     recipe="KNO3:65 sucrose:35",
    ...     name="",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     batch=0.2,
    ...     planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    ...     actual={"sucrose": 0.0701},
    ... )
    >>> made.on_scale
    {'potassium nitrate': 0.13, 'sucrose': 0.0701}
    """

    date: str
    recipe: str
    name: str
    fractions: Mapping[str, float]
    batch: float
    planned: Mapping[str, float]
    actual: Mapping[str, float] = field(default_factory=dict)
    cups: Mapping[str, float] = field(default_factory=dict)
    lots: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    cook: str = ""
    minutes: float | None = None
    process: str = ""
    water_lost: float = 0.0
    pressure: float = 0.0
    bench: FrozenBench | None = None
    predictions: Mapping[str, Any] = field(default_factory=dict)
    versions: Mapping[str, str] = field(default_factory=dict)
    note: str = ""

    @property
    def on_scale(self) -> dict[str, float]:
        """Masses as read off the scale, as planned where not stated. [kg]"""
        return {name: self.actual.get(name, m) for name, m in self.planned.items()}

    @property
    def masses(self) -> dict[str, float]:
        """Masses as made, in the pan: without what stays in a cup. [kg]"""
        return {n: m - self.cups.get(n, 0.0) for n, m in self.on_scale.items()}

    @property
    def mass(self) -> float:
        """Mass as made, in the pan. [kg]"""
        return sum(self.masses.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened to a batch after it was made.

    Attributes
    ----------
    kind : str
        observed, measured, cast, grains, burned, fired, corrected or closed.
    date : str
        "2026-11-25".
    note : str
        Free words.
    values : mapping
        The keys of its kind, as in the file.
    line : int
        Line of the file, from 1; 0 while it is in no file.

    Examples
    --------
    >>> Event(kind="closed", date="2026-11-25", values={"outcome": "used"}).line
    0
    """

    kind: str
    date: str
    note: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)
    line: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A file that a batch points at.

    Attributes
    ----------
    line : int
        Line of the record that says so.
    sha256 : str
        Of the file when it was linked.
    mix : str
        Of strands: the name of the mix in the file; "" if it names none.
    options : mapping of str to str
        Of a firing: options of ``castsugar firing`` as typed, for example
        ``{"throat": "8 mm", "propellant_mass": "180 g"}``.
    results : mapping of str to value
        Of a firing: what it was reduced to on the day, columns of
        ``castsugar firing --csv``; those without a number are left out.
    date : str
        Of that line, "2026-11-25".
    path : pathlib.Path
        Where the file is.
    """

    line: int
    date: str
    path: Path
    sha256: str
    mix: str = ""
    options: Mapping[str, str] = field(default_factory=dict)
    results: Mapping[str, Any] = field(default_factory=dict)

    @property
    def is_filmed(self) -> bool:
        """Whether a firing was filmed: then there is no file, and its name says how."""
        return "frames" in self.options


# ----------------------------------------------------------------------------
# The keys of the lines of a record, and what checks each. Loads nothing heavy.

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


#: Keys of a measured grain, and what each is.
GRAIN: dict[str, str] = {
    "outer_m": "outer diameter",
    "core_m": "core diameter",
    "length_m": "segment length",
    "mass_kg": "propellant mass",
}


def _grains(value: Any) -> bool:
    checks = {key: _within(name) for key, name in GRAIN.items()}
    return (
        isinstance(value, list)
        and bool(value)
        and all(
            isinstance(one, dict)
            and one.keys() == checks.keys()
            and all(check(one[key]) for key, check in checks.items())
            and one["core_m"] < one["outer_m"]
            for one in value
        )
    )


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

#: Keys that line 1 may have beside those, and what they are in records of once.
MADE_MORE: dict[str, Field] = {
    "cup_kg": _MASSES,
    "process": Field(lambda v: v in ("", *PROCESSES), f"'' or of {PROCESSES}"),
}
MADE_ONCE: dict[str, Any] = {"cup_kg": {}, "process": ""}

#: Keys of its `bench`.
BENCH: dict[str, Field] = {
    "file": _TEXT,
    "sha256": _SHA,
    "kitchen": _TEXT,
    "motor": _TEXT,
    "lots": _TEXT,
    "scatter": _TEXT,
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
    "cast": {
        "mass_kg": Field(
            _within("propellant mass"), f"a mass {_must('propellant mass')} kg"
        )
    },
    "grains": {
        "grains": Field(
            _grains, f"a list of grains, each with {', '.join(GRAIN)} that can be"
        )
    },
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
