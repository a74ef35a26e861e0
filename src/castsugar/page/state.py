"""What the page asks: texts as typed, checked by the library's own readers."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import field
from functools import partial
from typing import Any, TypeVar

from castsugar import plausible, units
from castsugar.bench.search_tables import CASE
from castsugar.columns import COLUMN
from castsugar.errors import CastsugarError, InputError
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.mix.text import parse_recipe
from castsugar.report.field import FIELDS
from castsugar.report.shown import Shown
from castsugar.units import to_celsius

#: Parts of a recipe, and characters of a box, at most.
_MOST_PARTS, _LONGEST = 20, 200

_NUMBER = re.compile(r"-?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")

#: Kind of number -> quantity that is typed, where these differ.
_QUANTITY = {
    "flame temperature": "temperature",
    "rate": "burn_rate",
    "fraction": "relative_change",
}

Read = TypeVar("Read")


class BoxError(InputError):
    """What is wrong with one box; `key` names it."""

    def __init__(self, key: str, message: str) -> None:
        super().__init__(message)
        self.key = key


@dataclass(frozen=True, slots=True)
class Settings:
    """What is asked beside the recipe; None leaves it to the bench.

    Attributes
    ----------
    cook : Cook or None
    throat : float or None
        [m]
    grains : int or None
    limits : tuple of (str, float or str)
        Key of a limit, as :func:`limit_keys` makes it, and its value: in the unit of
        its column, or the word "case".
    """

    cook: Cook | None = None
    throat: float | None = None
    grains: int | None = None
    limits: tuple[tuple[str, float | str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A recipe as a command takes it, settings, and units to show them in.

    `typed` is all of it as typed; `own` says what is that of the page alone: commands
    take it from the bench file.
    """

    recipe: str
    typed: Mapping[str, Any] = field(compare=False)
    settings: Settings = field(default_factory=Settings)
    units: str = units.SHOWN_AS[0]

    @property
    def own(self) -> list[str]:
        """What is set on the page, the cook aside, in words."""
        typed, own, show = self.typed, self.settings, Shown(self.units)
        limits = typed.get("limits") or {}
        return [
            *([f"throat {typed['throat']}"] if own.throat is not None else []),
            *([f"{own.grains} grains"] if own.grains is not None else []),
            *(f"{limit_label(key, show)} {limits[key]}" for key, _ in own.limits),
        ]


def limit_keys(limits: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, str, str]]:
    """Return key, column and side of each end that the limits of a bench state."""
    return [
        (f"{column}-{side}", column, side)
        for column, limit in limits.items()
        for side in ("at_most", "at_least")
        if limit[side] is not None
    ]


def limit_label(key: str, show: Shown) -> str:
    """Return what people call a limit.

    Examples
    --------
    >>> limit_label("pour_viscosity_Pa_s-at_most", Shown())
    'pour viscosity, at most'
    """
    column, _, side = key.partition("-")
    return f"{FIELDS[column].named(show)}, {side.replace('_', ' ')}"


def cook_text(cook: Cook) -> str:
    """Return a cook as an option of a command takes it.

    Examples
    --------
    >>> cook_text(parse_cook("119 C", "8"))
    '0 min 119 C, 8 min 119 C'
    """
    points = zip(cook.times, cook.temperatures, strict=True)
    return ", ".join(f"{t / 60:g} min {to_celsius(x):.6g} C" for t, x in points)


def read_state(typed: Any, starts: Mapping[str, Mapping[str, Any]]) -> State:
    """Check a state as typed.

    Parameters
    ----------
    typed : mapping
        `parts` as pairs of name and amount; `cook`, `minutes`, `throat`, `grains`,
        `limits` by key, `units`: all texts, an empty one is that of the bench.
    starts : mapping
        The same of the bench by units, its own first.
    """
    if not isinstance(typed, Mapping):
        raise BoxError("parts", "the state of the page is no table of boxes")
    parts = _parts(typed.get("parts"))
    text = " ".join(f"{name}:{amount}" for name, amount in parts)
    read = _boxed("parts", lambda: parse_recipe(text, where="recipe"))
    if [name for name, _ in read.parts] != [name for name, _ in parts]:
        raise BoxError("parts", "a name holds no ':', '=', ',' or ';'; one part a box")
    system = _text(typed, "units") or next(iter(starts))
    if system not in starts:
        known = " or ".join(units.SHOWN_AS)
        raise BoxError("units", f"units are {system!r}; allowed: {known}")
    start = starts[system]
    return State(
        recipe=text,
        typed=typed,
        settings=Settings(
            cook=_cook(typed, start),
            throat=_throat(_own(typed, start, "throat")),
            grains=_grains(_own(typed, start, "grains")),
            limits=_limits(typed.get("limits") or {}, start["limits"], Shown(system)),
        ),
        units=system,
    )


def _boxed(key: str, read: Callable[[], Read]) -> Read:
    """Return what is read; an error names its box, a remark says nothing."""
    try:
        with plausible.collected():
            return read()
    except CastsugarError as error:
        raise BoxError(key, " ".join(str(error).split())) from None


def _text(typed: Mapping[str, Any], key: str) -> str:
    """Return what stands in a box."""
    found = typed.get(key)
    if found is None:
        return ""
    plain = isinstance(found, str) and len(found) <= _LONGEST
    if not plain or not f"{found} ".isprintable():
        raise BoxError(key, f"{key} is no text of at most {_LONGEST} characters")
    return " ".join(found.split())


def _parts(typed: Any) -> list[tuple[str, str]]:
    """Return names and amounts as typed."""
    if not isinstance(typed, list) or not 0 < len(typed) <= _MOST_PARTS:
        raise BoxError("parts", f"a recipe has 1 to {_MOST_PARTS} parts")
    if any(not isinstance(pair, list) or len(pair) != 2 for pair in typed):
        raise BoxError("parts", "a part of a recipe is a name and an amount")
    read = ([_text({"parts": text}, "parts") for text in pair] for pair in typed)
    return [(name, amount) for name, amount in read]


def _cook(typed: Mapping[str, Any], start: Mapping[str, Any]) -> Cook | None:
    """Return the cook; None if it is that of the bench."""
    cook, minutes = _text(typed, "cook"), _text(typed, "minutes")
    if not cook and not minutes:
        return None
    cook = cook or start["cook"]
    if not minutes and _is_temperature(cook):
        minutes = start["minutes"]
    if (cook, minutes) == (start["cook"], start["minutes"]):
        return None
    return _boxed("cook", lambda: parse_cook(cook, minutes or None))


def _is_temperature(text: str) -> bool:
    try:
        units.parse(text, "temperature")
    except InputError:
        return False
    return True


def _own(typed: Mapping[str, Any], start: Mapping[str, Any], key: str) -> str:
    """Return what is typed of a setting of the motor; empty if it is the bench's."""
    text = _text(typed, key)
    if text in ("", start[key]):
        return ""
    if not start[key]:
        raise BoxError(key, f"{key} is not asked: the bench has none; add [motor]")
    return text


def _throat(text: str) -> float | None:
    """Return a throat [m]; None for an empty text."""
    if not text:
        return None
    read = partial(plausible.read, text, "throat diameter", where="throat")
    return _boxed("throat", read).value


def _grains(text: str) -> int | None:
    """Return a number of grains; None for an empty text."""
    if not text:
        return None
    known = plausible.RANGES["segments"]
    low, high = int(known.hard_low), int(known.hard_high)
    if not re.fullmatch("[0-9]{1,3}", text) or not low <= int(text) <= high:
        raise BoxError("grains", f"grains is {text!r}; allowed: {low} to {high}, whole")
    return int(text)


def _limits(
    typed: Any, start: Mapping[str, str], show: Shown
) -> tuple[tuple[str, float | str], ...]:
    """Return the limits that differ from those of the bench."""
    if not isinstance(typed, Mapping):
        raise BoxError("limits", "limits are no table of keys and texts")
    found = []
    for key in sorted(typed, key=str):
        if key not in start:
            known = ", ".join(limit_label(one, show) for one in start) or "none"
            raise BoxError(
                "limits", f"{key!r} is no limit of the bench; known: {known}"
            )
        text = _text(typed, key)
        if text not in ("", start[key]):
            found.append((key, _boxed(key, partial(_limit, key, text, show))))
    return tuple(found)


def _limit(key: str, text: str, show: Shown) -> float | str:
    """Read a limit: with its unit, without one in that of the page, or "case"."""
    column, _, side = key.partition("-")
    kind, label = FIELDS[column].kind, limit_label(key, show)
    if text == CASE and (kind, side) == ("pressure", "at_most"):
        return CASE
    quantity = _QUANTITY.get(kind, kind)
    if quantity in units.UNITS:
        text = f"{text} {show.unit(kind)}" if _NUMBER.fullmatch(text) else text
        value = units.parse(text, quantity, where=label).value
        value = units.convert(value, quantity, COLUMN[column].unit)
    else:
        number = text.removesuffix(show.unit(kind)).strip()
        if not _NUMBER.fullmatch(number):
            raise InputError(f"{label} is {text!r}; write a plain number such as 10")
        value = show.back(kind, float(number))
    return plausible.checked(
        plausible.range_of_limit(column), value, plausible.said_at(label)
    )
