"""Check the tables of a user's TOML file: strict keys, units, one clear line."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from castsugar import units
from castsugar.errors import InputError, nearest_names
from castsugar.workshop import lines

#: Kinds of values that are no quantity of :mod:`castsugar.units`.
PLAIN = (
    "text",
    "texts",
    "number",
    "numbers",
    "number or text",
    "whole",
    "flag",
    "choice",
    "table",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table.

    Attributes
    ----------
    kind : str
        A quantity of :data:`castsugar.units.UNITS`, or one of :data:`PLAIN`.
    required : bool
    default : object
        For a key that is left out.
    choices : tuple of str
        For the kind ``"choice"``.
    about : str
        What it is, for messages and examples.
    """

    kind: str
    required: bool = False
    default: Any = None
    choices: tuple[str, ...] = ()
    about: str = ""


Keys = Mapping[str, Key]


class Where(Protocol):
    """Where a table stands, for messages."""

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error about one key; about the table if the key is empty."""
        ...


@dataclass(frozen=True, slots=True)
class Place:
    """A table of a file: its dotted name, and its count in an array of tables."""

    path: Path
    text: str
    table: str
    index: int = 0

    def line(self, key: str = "") -> int:
        """Return the line (from 1) of a key, or of its table if it is absent."""
        table = tuple(self.table.split(".")) if self.table else ()
        wanted = (*table, key) if key else table
        found = list(lines.entries(self.text))
        for path in (wanted, table):
            for entry in found:
                if entry.path == path and entry.index == self.index:
                    return entry.line
        inside = (e.line for e in found if e.path[: len(wanted)] == wanted)
        return next(inside, 1)

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that says file, line, table and key."""
        name = f"[{self.table}] " if self.table else ""
        shown = key if key.isprintable() else repr(key)
        where = f"{self.path}, line {self.line(key)}: {name}{shown}".rstrip()
        return InputError(f"{where} {fault}")


@dataclass(frozen=True, slots=True)
class Options:
    """The command line: keys are options."""

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that names the option."""
        return InputError(f"--{key.replace('_', '-')} {fault}")


def read_table(raw: Any, keys: Keys, place: Where) -> dict[str, Any]:
    """Check one table and return its values in SI.

    Parameters
    ----------
    raw : object
        As the TOML reader gave it.
    keys : mapping of str to Key
        All that is allowed.
    place : Place

    Returns
    -------
    dict
        Every key; quantities as floats in SI.

    Raises
    ------
    InputError
        File, line, key, what was got, what is allowed.
    """
    if not isinstance(raw, Mapping):
        raise place.fail("", "must be a table")
    for key in raw:
        if key not in keys:
            near = nearest_names(key, list(keys))
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise place.fail(key, f"is not known; {hint}allowed: {', '.join(keys)}")
    found = {}
    for name, key in keys.items():
        if name not in raw:
            if key.required:
                raise place.fail(name, f"is missing; give {key.about or key.kind}")
            found[name] = key.default
            continue
        found[name] = _value(raw[name], name, key, place)
    return found


def _value(raw: Any, name: str, key: Key, place: Where) -> Any:
    """Check one value."""
    if key.kind == "table":
        return raw
    if key.kind in _READERS:
        return _READERS[key.kind](raw, name, place)
    if key.kind in ("text", "choice"):
        return _text(raw, name, key, place)
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise place.fail(name, f"is {raw!r}; write a number with its unit in quotes")
    try:
        return units.parse(str(raw), key.kind).value
    except InputError as error:
        raise place.fail(name, f"- {error}") from None


def _text(raw: Any, name: str, key: Key, place: Where) -> str:
    if isinstance(raw, datetime.date) and name == "date":
        return raw.isoformat()
    if not isinstance(raw, str):
        raise place.fail(name, f"is {raw!r}; it must be text in quotes")
    if key.choices and raw not in key.choices:
        raise place.fail(name, f"is {raw!r}; allowed: {', '.join(key.choices)}")
    return raw


def _flag(raw: Any, name: str, place: Where) -> bool:
    if not isinstance(raw, bool):
        raise place.fail(name, f"is {raw!r}; it must be true or false")
    return raw


def _numbers(raw: Any, name: str, place: Where) -> tuple[float, ...]:
    if not isinstance(raw, list):
        raise place.fail(name, f"is {raw!r}; it must be a list of numbers")
    return tuple(_number(value, name, place) for value in raw)


def _number(raw: Any, name: str, place: Where) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise place.fail(name, f"is {raw!r}; it must be a number without quotes")
    try:
        value = float(raw)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise place.fail(name, "is not a finite number")
    return value


def _number_or_text(raw: Any, name: str, place: Where) -> float | str:
    return raw if isinstance(raw, str) else _number(raw, name, place)


def _whole(raw: Any, name: str, place: Where) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int) or raw < 0:
        raise place.fail(name, f"is {raw!r}; it must be a whole number, 0 or more")
    return raw


def _texts(raw: Any, name: str, place: Where) -> tuple[str, ...]:
    if not isinstance(raw, list) or not all(isinstance(item, str) for item in raw):
        raise place.fail(name, f"is {raw!r}; it must be a list of texts in quotes")
    return tuple(raw)


_READERS = {
    "number": _number,
    "numbers": _numbers,
    "number or text": _number_or_text,
    "whole": _whole,
    "texts": _texts,
    "flag": _flag,
}
