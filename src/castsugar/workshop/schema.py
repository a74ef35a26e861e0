"""Check the tables of a user's TOML file: strict keys, units, one clear line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from castsugar import units
from castsugar.errors import InputError, nearest_names

#: Kinds of values that are no quantity of :mod:`castsugar.units`.
PLAIN = ("text", "number", "numbers", "flag", "choice", "table")


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


@dataclass(frozen=True, slots=True)
class Place:
    """Where a table stands: file, its name, and its count in an array of tables."""

    path: Path
    text: str
    table: str
    index: int = 0

    def line(self, key: str = "") -> int:
        """Return the line (from 1) of a key, or of the table's head if it is absent."""
        inside, count, head = self.table == "", 0, 1
        pattern = re.compile(rf'\s*(?:"{re.escape(key)}"|{re.escape(key)})\s*[=.]')
        for number, line in enumerate(self.text.splitlines(), start=1):
            found = re.match(r"\s*(\[\[?)\s*([^\]]+?)\s*\]", line)
            if found:
                same = found[2].replace(" ", "") == self.table
                inside = same and (found[1] == "[" or count == self.index)
                count += same
                head = number if inside else head
            elif inside and key and pattern.match(line):
                return number
        return head

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that says file, line, table and key."""
        name = f"[{self.table}] " if self.table else ""
        return InputError(f"{self.path}, line {self.line(key)}: {name}{key} {fault}")


def read_table(raw: Any, keys: Keys, place: Place) -> dict[str, Any]:
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
        raise InputError(
            f"{place.path}, line {place.line()}: [{place.table}] must be a table"
        )
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


def _value(raw: Any, name: str, key: Key, place: Place) -> Any:
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


def _text(raw: Any, name: str, key: Key, place: Place) -> str:
    if not isinstance(raw, str):
        raise place.fail(name, f"is {raw!r}; it must be text in quotes")
    if key.choices and raw not in key.choices:
        raise place.fail(name, f"is {raw!r}; allowed: {', '.join(key.choices)}")
    return raw


def _flag(raw: Any, name: str, place: Place) -> bool:
    if not isinstance(raw, bool):
        raise place.fail(name, f"is {raw!r}; it must be true or false")
    return raw


def _numbers(raw: Any, name: str, place: Place) -> tuple[float, ...]:
    if not isinstance(raw, list):
        raise place.fail(name, f"is {raw!r}; it must be a list of numbers")
    return tuple(_number(value, name, place) for value in raw)


def _number(raw: Any, name: str, place: Place) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float) or raw != raw:
        raise place.fail(name, f"is {raw!r}; it must be a number without quotes")
    return float(raw)


_READERS = {"number": _number, "numbers": _numbers, "flag": _flag}
