"""Check the tables of a user's TOML file: strict keys, units, one clear line."""

from __future__ import annotations

import datetime
import functools
import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, ClassVar, Protocol

from castsugar import plausible, units
from castsugar.checks import day, meant
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# On which line of a TOML text a key or a table stands.
#
# The reader of the standard library says no lines. This scan knows headers, dotted and
# quoted keys, and skips strings and arrays over several lines; it checks nothing.

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_KEY = re.compile(rf"\s*({_PART}(?:\s*\.\s*{_PART})*)\s*=")
_HEAD = re.compile(rf"\s*(\[\[?)\s*({_PART}(?:\s*\.\s*{_PART})*)\s*\]")


@dataclass(frozen=True, slots=True)
class Entry:
    """A header or a key: line from 1, full path, count in its array of tables."""

    line: int
    path: tuple[str, ...]
    index: int
    is_head: bool = False


def entries(text: str) -> Iterator[Entry]:
    """Yield every header and key of a text, in order."""
    counts: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    index, state = 0, _State()
    for number, line in enumerate(text.removeprefix("\ufeff").split("\n"), 1):
        if state.open:
            state.read(line)
            continue
        head = _HEAD.match(line)
        if head:
            table, index = _parts(head[2]), 0
            if head[1] == "[[":
                index = counts.get(table, 0)
                counts[table] = index + 1
            yield Entry(number, table, index, is_head=True)
            continue
        key = _KEY.match(line)
        if key:
            yield Entry(number, (*table, *_parts(key[1])), index)
            state.read(line[key.end() :])


def _parts(dotted: str) -> tuple[str, ...]:
    """Return the names of a dotted key, quotes taken off."""
    return tuple(
        part[1:-1] if part[0] in "\"'" else part for part in re.findall(_PART, dotted)
    )


class _State:
    """Whether a value goes on: inside a long string, or inside brackets."""

    def __init__(self) -> None:
        self.quote, self.depth = "", 0

    @property
    def open(self) -> bool:
        """Whether the next line belongs to the value."""
        return bool(self.quote) or self.depth > 0

    def read(self, text: str) -> None:
        """Read one line, or the rest of one."""
        place = 0
        while place < len(text):
            if self.quote:
                end = text.find(self.quote, place)
                if end < 0:
                    return
                self.quote, place = "", end + 3
                continue
            place = self._step(text, place)

    def _step(self, text: str, place: int) -> int:
        """Read one token outside of long strings; return where the next starts."""
        mark = text[place]
        if mark == "#":
            return len(text)
        if text.startswith(('"""', "'''"), place):
            self.quote = mark * 3
            return place + 3
        if mark in "\"'":
            pattern = r'"(?:[^"\\]|\\.)*"' if mark == '"' else r"'[^']*'"
            found = re.compile(pattern).match(text, place)
            return found.end() if found else len(text)
        self.depth += (mark in "[{") - (mark in "]}")
        return place + 1


# ----------------------------------------------------------------------------
# Check the tables of a user's TOML file: strict keys, units, one clear line.

#: Kinds of values that are no quantity of :mod:`castsugar.units`, and how they are
#: written.
PLAIN = {
    "text": "text in quotes",
    "texts": "a list of texts in quotes",
    "number": "a number without quotes",
    "numbers": "a list of numbers",
    "number or text": "a number, or text in quotes",
    "whole": "a whole number",
    "flag": "true or false",
    "table": "a table of its own",
}

_KINDS = {str: "text", bool: "flag", list: "texts", type(None): "table"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table."""

    #: A quantity of units.UNITS, or one of PLAIN; by the range, or else by the example,
    #: if none is given.
    kind: str = ""
    required: bool = False
    default: Any = None  # for a key that is left out
    choices: tuple[str, ...] = ()  # what a text may be; empty: anything
    #: What it means, and a value as the file holds it; None for a table.
    about: str = ""
    example: Any = None
    range: str = ""  # a key of plausible.RANGES: what is possible, what usual
    instead_of: str = ""  # the key of the table that it may not stand beside
    needs: tuple[str, ...] = ()  # keys of the table of which it needs one

    def __post_init__(self) -> None:
        """Take the kind of the range or of the example."""
        kind = _KINDS.get(type(self.example), "number")
        if self.range:
            listed = "numbers" if isinstance(self.example, list) else "number"
            kind = plausible.RANGES[self.range].quantity or listed
        object.__setattr__(self, "kind", self.kind or kind)

    @property
    def wanted(self) -> str:
        """Say what is to be given."""
        return self.about + ("" if self.example is None else f", {self.example!r}")


Keys = Mapping[str, Key]

#: The key by which a table or an entry says that nobody measured it.
INVENTED = "invented"


class Table:
    """Base of the tables of the bench file, each a declaration that nobody makes.

    Its attributes are :class:`Key`; the reader, the complaints about it, the options
    of the command line and ``castsugar init --explain`` go by them. What is read is a
    dict of the keys. The docstring says what the table is.
    """

    #: How its head is written, which commands use it, its keys in their order.
    HEAD: ClassVar[str]
    USED: ClassVar[str]
    KEYS: ClassVar[Keys] = {}

    def __init_subclass__(cls, *, head: str = "", used: str = "") -> None:
        """Keep what is said of a table; one that extends another may say nothing."""
        own = {name: one for name, one in vars(cls).items() if isinstance(one, Key)}
        cls.KEYS = {**cls.KEYS, **own}
        cls.HEAD = head or getattr(cls, "HEAD", "")
        cls.USED = used or getattr(cls, "USED", "")


def key(about: str, example: Any = None, known: str = "", **said: Any) -> Any:
    """Return a key of a table; `known` is its range, `about` if that is one."""
    known = known or (about if about in plausible.RANGES else "")
    return Key(about=about, example=example, range=known, **said)


#: A key that must be given.
needed = functools.partial(key, required=True)


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

    def inner(self, key: str, index: int = 0) -> Place:
        """Return the table under a key of this one."""
        table = f"{self.table}.{key}" if self.table else key
        return Place(self.path, self.text, table, index)

    def line(self, key: str = "") -> int:
        """Return the line (from 1) of a key, or of its table if it is absent."""
        table = tuple(self.table.split(".")) if self.table else ()
        wanted = (*table, key) if key else table
        found = list(entries(self.text))
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

    @contextmanager
    def named(self, key: str = "") -> Iterator[None]:
        """Put file, line, table and key before every error inside."""
        try:
            yield
        except CastsugarError as error:
            raise self.fail(key, f"- {error}") from None


@dataclass(frozen=True, slots=True)
class Options:
    """The command line: keys are options."""

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that names the option."""
        return InputError(f"--{key.replace('_', '-')} {fault}")


def read_table(raw: Any, keys: Keys | type[Table], place: Where) -> dict[str, Any]:
    """Check one table and return its values in SI.

    Parameters
    ----------
    raw : object
        As the TOML reader gave it.
    keys : mapping of str to Key, or Table
        All that is allowed.

    Returns
    -------
    dict
        Every key; quantities as floats in SI.

    Raises
    ------
    InputError
        File, line, key, what was got, what is allowed.
    """
    if isinstance(keys, type):
        keys = keys.KEYS
    _check_names(raw, keys, place)
    found = {}
    for name, key in keys.items():
        if name not in raw:
            if key.required:
                raise place.fail(name, f"is missing; give {key.wanted}")
            found[name] = key.default
            continue
        found[name] = _value(raw[name], name, key, place)
        if key.range:
            check_range(found[name], name, key.range, place)
    for name in raw:
        _check_beside(name, keys, raw, place)
    return found


def _check_beside(name: str, keys: Keys, raw: Mapping[str, Any], place: Where) -> None:
    """Refuse a key beside the one that it stands for, or without one that it needs."""
    key = keys[name]
    if key.instead_of and key.instead_of in raw:
        raise place.fail(name, f"and {key.instead_of} are both given; give one")
    if key.needs and not set(key.needs) & set(raw):
        first = key.needs[0]
        todo = f"give that too: {first} = {keys[first].example!r}"
        raise place.fail(name, f"needs {first}; {todo}")


def _check_names(raw: Any, keys: Keys, place: Where) -> None:
    """Refuse what is no table, and keys that are not allowed."""
    if not isinstance(raw, Mapping):
        raise place.fail("", "must be a table")
    for name in raw:
        if name not in keys:
            near = nearest_names(name, list(keys))
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise place.fail(name, f"is not known; {hint}allowed: {', '.join(keys)}")


def check_range(value: Any, name: str, known: str, place: Where) -> None:
    """Refuse numbers that are impossible; remark on those that are not usual.

    Parameters
    ----------
    name : str
        Key of the table.
    known : str
        Key of :data:`castsugar.plausible.RANGES`.

    Raises
    ------
    InputError
    """
    for one in value if isinstance(value, tuple) else (value,):
        plausible.checked(known, one, lambda words: place.fail(name, words))


def _value(raw: Any, name: str, key: Key, place: Where) -> Any:
    """Check one value."""
    if key.kind == "table":
        return raw
    if key.kind in _READERS:
        return _READERS[key.kind](raw, name, place)
    if key.kind == "text":
        return _text(raw, name, key, place)
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise place.fail(name, f"is {raw!r}; write a number with its unit in quotes")
    try:
        signed = bool(key.range) and plausible.RANGES[key.range].signed
        return units.parse(str(raw), key.kind, signed=signed).value
    except InputError as error:
        raise place.fail(name, f"- {error}") from None


def _text(raw: Any, name: str, key: Key, place: Where) -> str:
    if name == "date" and _is_day(raw):
        return _day(raw, name, place)
    if not isinstance(raw, str):
        raise place.fail(name, f"is {raw!r}; it must be text in quotes")
    if key.choices and raw not in key.choices:
        raise place.fail(name, f"is {raw!r}; {meant(raw, key.choices)}")
    return raw


def _is_day(raw: Any) -> bool:
    """Whether a date names a day: words such as "spring of 2026" do not."""
    if isinstance(raw, str):
        return re.search(r"[0-9]+[-/.][0-9]+[-/.][0-9]+", raw) is not None
    return isinstance(raw, datetime.date)


def _day(raw: Any, name: str, place: Where) -> str:
    try:
        return day(raw)
    except InputError as error:
        raise place.fail(name, str(error)) from None


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
