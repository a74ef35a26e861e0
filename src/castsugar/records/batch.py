"""A batch as its record tells it, and how the lines are checked and written."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from castsugar.columns import renamed
from castsugar.errors import DataError, InputError, nearest_names
from castsugar.frozen import dataclass
from castsugar.records.record import (
    BENCH,
    EVENT,
    IDENTITY,
    KINDS,
    MADE,
    MADE_MORE,
    MADE_ONCE,
    SCHEMA,
    SUFFIX,
    Event,
    Field,
    FrozenBench,
    Link,
    Made,
)

# ----------------------------------------------------------------------------
# A batch as its file tells it: what was made, what was foreseen, what was measured.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """A batch as its file tells it.

    What a later "corrected" line points at is set aside: `measurements`,
    `strand_files` and `firings` leave it out, a corrected "closed" line opens the batch
    again, a corrected correction counts no more. If line 1 itself was corrected,
    `is_sound` is False: what was made is not what the record says.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    id : str
        Day and number: "2026-11-25-1".
    made : Made
        Line 1 of the file.
    events : tuple of Event
        In the order of the file.
    """

    path: Path
    id: str
    made: Made
    events: tuple[Event, ...]

    @property
    def predictions(self) -> Mapping[str, Any]:
        """What was foreseen, a row of :data:`castsugar.columns.COLUMNS`."""
        return self.made.predictions

    @property
    def set_aside(self) -> dict[int, str]:
        """Lines that were corrected, and what is wrong with them."""
        return corrected_lines(self.events)

    @property
    def is_sound(self) -> bool:
        """Whether what was made stands uncorrected."""
        return 1 not in self.set_aside

    @property
    def standing(self) -> tuple[Event, ...]:
        """The events that were not corrected, corrections left out, by date."""
        if not self.events:
            return ()
        gone = self.set_aside
        stay = [e for e in self.events if e.line not in gone and e.kind != "corrected"]
        return tuple(sorted(stay, key=lambda e: (e.date, e.line)))

    @property
    def outcome(self) -> str:
        """What became of it: one of :data:`OUTCOMES`, or "" while it is open."""
        closed = [e for e in self.standing if e.kind == "closed"]
        return str(closed[-1].values["outcome"]) if closed else ""

    @property
    def cast_mass(self) -> float | None:
        """Mass of the grains as they were cast, the last one told. [kg]"""
        told = [e.values for e in self.standing if e.kind in ("cast", "grains")]
        if not told:
            return None
        return math.fsum(one["mass_kg"] for one in told[-1].get("grains", told[-1:]))

    @property
    def grains(self) -> tuple[Mapping[str, float], ...]:
        """The grains as last measured, with the keys of the file."""
        told = [e for e in self.standing if e.kind == "grains"]
        return tuple(told[-1].values["grains"]) if told else ()

    @property
    def degraded(self) -> float:
        """Degraded share of its sugar, as predicted; 0 where unknown or under 0.1 %."""
        percent = self.predictions.get("sugar_degraded_percent", math.nan)
        return 0.01 * float(percent) if float(percent) >= 0.1 else 0.0

    def __repr__(self) -> str:
        """Say which batch it is, not all that is known of it."""
        state = self.outcome or "open"
        return (
            f"Batch({self.id}, {state}: {self.made.recipe}, {len(self.events)} events)"
        )

    def measurements(self) -> list[dict[str, Any]]:
        """Return the kitchen measurements, checked: values in SI.

        Each has the keys of :data:`castsugar.bench.tables.MEASUREMENTS`, as
        :meth:`castsugar.bench.bench.Bench.with_measurement` takes them; recipe,
        cook and mass are those of the batch where none was stated.

        Raises
        ------
        InputError
            File and line, for keys that this version does not know.
        """
        from castsugar.bench.bench import read_measurement

        return [
            read_measurement(e.values["measurement"], Spot(self.path, e.line))
            for e in self.standing
            if e.kind == "measured"
        ]

    def strand_files(self) -> list[Link]:
        """Return the files of strands, for :func:`~castsugar.readings.strand_files`."""
        return [self._link(e) for e in self.standing if e.kind == "burned"]

    def firings(self) -> list[Link]:
        """Return the recordings of static tests, with what they were reduced to."""
        return [self._link(e) for e in self.standing if e.kind == "fired"]

    def changed_files(self) -> list[tuple[int, Path, str]]:
        """Return linked files that are not as they were: line, path, fault in words."""
        from castsugar.files.reading import sha256_of

        found = []
        filed = [link for link in self.firings() if not link.is_filmed]
        for link in (*self.strand_files(), *filed):
            try:
                if sha256_of(link.path) != link.sha256:
                    found.append((link.line, link.path, "has changed since"))
            except InputError:
                found.append((link.line, link.path, "is not there any more"))
        return sorted(found)

    def recipe_as_made(self) -> str:
        """Return the masses as made, in the pan, as a recipe text, parts in grams."""
        if not self.made.actual:
            return self.made.recipe
        return " ".join(f"{n}:{1e3 * m:.10g}" for n, m in self.made.masses.items())

    def _link(self, event: Event) -> Link:
        values = event.values
        return Link(
            line=event.line,
            date=event.date,
            path=self.path.parent / values["file"],
            sha256=values["sha256"],
            mix=values.get("mix", ""),
            options=values.get("options", {}),
            results=values.get("results", {}),
        )


@dataclass(frozen=True, slots=True)
class Spot:
    """A line of a record, for the messages of :mod:`castsugar.bench.schema`."""

    path: Path
    line: int

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that names file, line and key."""
        return InputError(f"{self.path}, line {self.line}: {key} {fault}")


def corrected_lines(events: tuple[Event, ...]) -> dict[int, str]:
    """Return the lines that a correction points at which is not corrected itself."""
    found: dict[int, str] = {}
    for event in reversed(events):
        if event.kind == "corrected" and event.line not in found:
            found.setdefault(int(event.values["line"]), event.note)
    return found


# ----------------------------------------------------------------------------
# Lines of a record: checked when read, whole when written. Loads nothing heavy.

#: Significant digits of a number in a record.
DIGITS = 10


#: Key in line 1 -> attribute of what was made, in the order of the file.
_MADE = {
    "date": "date",
    "recipe": "recipe",
    "name": "name",
    "mass_fractions": "fractions",
    "lots": "lots",
    "batch_kg": "batch",
    "planned_kg": "planned",
    "actual_kg": "actual",
    "cup_kg": "cups",
    "cook": "cook",
    "minutes": "minutes",
    "process": "process",
    "water_lost": "water_lost",
    "pressure_Pa": "pressure",
    "bench": "bench",
    "predictions": "predictions",
    "versions": "versions",
    "note": "note",
}


class _Wrong(Exception):
    """What is wrong with a value."""


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number; missing is null, infinite is the text inf")


#: Made once: thousands of lines pass through it.
_DECODER = json.JSONDecoder(parse_constant=_no_constant)


def decode(data: bytes, path: Path) -> Batch:
    """Check the bytes of a record.

    Raises
    ------
    DataError
        File, line and what is wrong.
    """
    if not data.strip():
        raise DataError(f"{path} is empty; it is no record of a batch")
    found: list[Any] = []
    for count, line in enumerate(data.removesuffix(b"\n").split(b"\n"), start=1):
        try:
            raw = _parse(line)
            found.append(_made(raw, path) if count == 1 else _event(raw, count))
        except _Wrong as wrong:
            raise _damaged(path, count, str(wrong)) from None
    return Batch(
        path=path, id=path.name[: -len(SUFFIX)], made=found[0], events=tuple(found[1:])
    )


def _damaged(path: Path, line: int, fault: str) -> DataError:
    return DataError(f"{path}, line {line}: {' '.join(fault.split())}")


def _parse(line: bytes) -> dict[str, Any]:
    """Read one line of JSON."""
    try:
        raw = _DECODER.decode(line.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise _Wrong(f"byte {error.start + 1} is not UTF-8") from None
    except RecursionError:
        raise _Wrong("nested too deeply") from None
    except ValueError as error:
        raise _Wrong(f"not valid JSON: {error}") from None
    if not isinstance(raw, dict):
        raise _Wrong("must be an object in braces")
    return raw


def _check(raw: Mapping[str, Any], fields: Mapping[str, Field], what: str) -> None:
    """Check that all keys are there, no other, each with a good value."""
    for key, field in fields.items():
        if key not in raw:
            raise _Wrong(f"{what} has no {key!r}")
        if not field.check(raw[key]):
            raise _Wrong(f"{key!r} is {_short(raw[key])}; it must be {field.must}")
    if len(raw) > len(fields):
        strange = next(key for key in raw if key not in fields)
        raise _Wrong(f"{strange!r} is not known in {what}")


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _made(raw: dict[str, Any], path: Path) -> Made:
    """Check line 1."""
    if raw.get("schema") != SCHEMA:
        raise _Wrong(f"schema is {_short(raw.get('schema'))}; this reads {SCHEMA!r}")
    raw = MADE_ONCE | raw
    _check(raw, MADE | MADE_MORE, "line 1")
    if f"{raw['id']}{SUFFIX}" != path.name:
        raise _Wrong(
            f"holds batch {_short(raw['id'])}, but the file is called {path.name}: a "
            "copy or renamed"
        )
    called = IDENTITY.fullmatch(raw["id"])
    if called is None or called[1] != raw["date"]:
        raise _Wrong(
            f"'id' is {_short(raw['id'])}; it must be the date {raw['date']} and a "
            "number"
        )
    if set(raw["actual_kg"]) - set(raw["planned_kg"]):
        raise _Wrong("'actual_kg' names something that was not planned")
    for name, cup in raw["cup_kg"].items():
        if not cup < raw["actual_kg"].get(name, raw["planned_kg"].get(name, 0.0)):
            raise _Wrong(f"'cup_kg' of {_short(name)} must be below its mass")
    bench = raw["bench"]
    if bench is not None:
        bench.setdefault("scatter", "")
        _check(bench, BENCH, "'bench'")
    told = {name: raw[key] for key, name in _MADE.items()}
    told["bench"] = None if bench is None else FrozenBench(**bench)
    told["predictions"] = renamed(_floats(raw["predictions"]))
    return Made(**told)


_FLOATS = {None: math.nan, "inf": math.inf, "-inf": -math.inf}


def _floats(row: dict[str, Any]) -> dict[str, Any]:
    """Turn what stands for missing or infinite numbers back into them."""
    for key, value in row.items():
        if type(value) is not float and value in _FLOATS:
            row[key] = _FLOATS[value]
    return row


def _event(raw: dict[str, Any], line: int) -> Event:
    """Check a later line."""
    kind = raw.get("event")
    if not isinstance(kind, str) or kind not in KINDS:
        near = nearest_names(kind, KINDS) if isinstance(kind, str) else []
        hint = f"did you mean {near[0]!r}? " if near else ""
        known = ", ".join(KINDS)
        raise _Wrong(f"event {_short(kind)} is not known; {hint}allowed: {known}")
    _check(raw, EVENT | KINDS[kind], f"event {kind!r}")
    values = {key: raw[key] for key in KINDS[kind]}
    if kind == "corrected" and values["line"] >= line:
        raise _Wrong(f"'line' is {values['line']}; it must be an earlier line")
    return Event(
        kind=kind, date=raw["date"], note=raw["note"], values=values, line=line
    )


def encode_made(made: Made, identity: str) -> bytes:
    """Return line 1 of a record."""
    raw = {key: getattr(made, name) for key, name in _MADE.items()}
    if made.bench is not None:
        raw["bench"] = {key: getattr(made.bench, key) for key in BENCH}
    return _line({"schema": SCHEMA, "event": "made", "id": identity, **raw})


def encode_event(event: Event) -> bytes:
    """Return the line of an event."""
    raw = {"event": event.kind, "date": event.date, "note": event.note}
    return _line(raw | dict(event.values))


def _line(raw: Mapping[str, Any]) -> bytes:
    text = json.dumps(plain(raw), ensure_ascii=False, allow_nan=False)
    try:
        return text.encode("utf-8") + b"\n"
    except UnicodeEncodeError:
        raise InputError("a text of this entry is not UTF-8; nothing written") from None


def plain(value: Any) -> Any:
    """Return plain values for JSON: floats to the digits of a record.

    A number that is missing becomes null, an infinite one the text "inf".
    """
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, float):
        if math.isnan(value):
            return None
        if math.isinf(value):
            return "inf" if value > 0.0 else "-inf"
        return float(f"{value:.{DIGITS}g}")
    return value
