"""What is typed on the page: a recipe, and boxes that stand for values of the bench."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from functools import partial
from typing import Any

from castsugar import plausible, units
from castsugar.bench.search_tables import CASE
from castsugar.bench.world import World
from castsugar.columns import COLUMN
from castsugar.errors import CastsugarError, InputError
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import HOTTEST, parse_cook
from castsugar.mix.text import parse_recipe
from castsugar.plausible import RANGES
from castsugar.report import numbers
from castsugar.report.field import FIELDS
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

#: Parts of a recipe, and characters of a box, at most.
_MOST_PARTS, _LONGEST = 20, 200

#: Coldest cook of its slider. [C]
_COLDEST = 90.0

#: What stands in the boxes of a bench without recipes.
FIRST = "KNO3:60 powdered sugar:20 corn syrup:20"

#: Kind of number -> quantity that is typed, where these differ.
_QUANTITY = {"flame temperature": "temperature", "fraction": "relative_change"}

_NUMBER = re.compile(r"-?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")

#: What differs from the bench: keys of boxes and values, a cook read, a throat in m, a
#: limit in the unit of its column.
Settings = tuple[tuple[str, Any], ...]


class BoxError(InputError):
    """What is wrong with one box; `key` names it."""

    def __init__(self, key: str, error: str | CastsugarError) -> None:
        super().__init__(" ".join(str(error).split()))
        self.key = key


@dataclass(frozen=True, slots=True)
class Box:
    """One value of the bench that is tried on the page.

    Attributes
    ----------
    key, label : str
    start : str
        The value of the bench, as a box holds it.
    place : tuple of str
        The way to the value in the tables of the bench.
    read : function
        From the text of the box to the value.
    unit : str
        Of a plain number.
    slider : tuple of float, or None
        Lowest, highest, step.
    chance : str
        In how many of 100 draws a limit must hold.
    """

    key: str
    label: str
    start: str
    place: tuple[str, ...] = ()
    read: Callable[[str], Any] = str
    unit: str = ""
    slider: tuple[float, float, float] | None = None
    chance: str = ""

    def told(self) -> dict[str, Any]:
        """Return what the page is told of it."""
        return {k: v for k, v in asdict(self).items() if k not in ("place", "read")}


def boxes_of(world: World, show: Shown) -> dict[str, Box]:
    """Return the boxes of a bench by their keys, in some units."""
    every = (*_cook(world, show), *_motor(world, show), *_limits(world, show))
    return {one.key: one for one in every}


def _cook(world: World, show: Shown) -> Iterator[Box]:
    if world.kitchen is None:
        return
    cook, kind = world.kitchen.cook, "temperature"
    if len({*cook.temperatures}) > 1:
        yield Box("cook", "cook", str(world.bench.kitchen["cook"]))
        return
    unit, long = ("C" if show.system == SI else "F"), cook.duration / 60.0
    now, *ends = (
        show.number(kind, x)
        for x in (to_celsius(cook.pour_temperature), _COLDEST, to_celsius(HOTTEST))
    )
    yield Box(
        "cook", "cook at", f"{_typed(now)} {unit}", unit=unit, slider=_slider(*ends)
    )
    slider = _slider(0.5 * long, 2.0 * long, 0.5)
    yield Box("minutes", "for, min", _typed(long), slider=slider)


def _motor(world: World, show: Shown) -> Iterator[Box]:
    motor, kind = world.bench.motor, "length"
    if motor is None:
        return
    now = show.number(kind, 1e3 * motor["throat"])
    yield Box(
        "throat",
        "throat",
        show.typed(kind, 1e3 * motor["throat"]),
        ("motor", "throat"),
        lambda text: plausible.read(text, "throat diameter", where="throat").value,
        show.unit(kind),
        slider=_slider(0.5 * now, 2.0 * now, 0.1 if show.system == SI else 0.005),
    )
    count = motor["grain"].get("segments")
    if count is not None:
        slider = _slider(1.0, max(RANGES["segments"].soft_high, count))
        place = ("motor", "grain", "segments")
        yield Box("grains", "grains", f"{count:g}", place, _grains, slider=slider)


def _limits(world: World, show: Shown) -> Iterator[Box]:
    for column, limit in world.bench.limits.items():
        one, share = FIELDS[column], limit["probability"]
        for side in ("at_most", "at_least"):
            if (value := limit[side]) is None:
                continue
            if value == CASE:
                value = 1e-6 * world.stated_motor.allowable
            label = f"{one.named(show)}, {side.replace('_', ' ')}"
            yield Box(
                f"{column}-{side}",
                label,
                show.typed(one.kind, float(value)).replace("\u2212", "-"),
                ("limits", column, side),
                partial(_limit, column, label, show),
                show.unit(one.kind),
                chance="" if share is None else f"in {numbers.percent(share)} %",
            )


def _typed(number: float) -> str:
    return numbers.typed(numbers.tidy(number))


def _slider(low: float, high: float, step: float = 1.0) -> tuple[float, float, float]:
    """Return a slider whose ends are multiples of its step."""
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return numbers.tidy(first * step), numbers.tidy(last * step), step


# ----------------------------------------------------------------------------
# What is typed.


@dataclass(frozen=True, slots=True)
class State:
    """A recipe as a command takes it, settings, and units to show them in.

    Attributes
    ----------
    typed : mapping
        All of it, as typed.
    cook : tuple of str
        Options of a command for a cook that is not that of the bench.
    own : tuple of str
        What is set on the page alone, in words: commands take it from the bench file.
    """

    recipe: str
    settings: Settings
    units: str
    typed: Mapping[str, Any]
    cook: tuple[str, ...]
    own: tuple[str, ...]


def read_state(typed: Any, boxes: Mapping[str, Mapping[str, Box]]) -> State:
    """Check a state as typed.

    Parameters
    ----------
    typed : mapping
        `parts` as pairs of name and amount, `units`, and the text of each box by its
        key; what is empty or left out is that of the bench.
    boxes : mapping
        Those of the bench by units, its own first.
    """
    if not isinstance(typed, Mapping):
        raise BoxError("parts", "the state of the page is no table of boxes")
    system = typed.get("units") or next(iter(boxes))
    if system not in tuple(boxes):
        known = " or ".join(units.SHOWN_AS)
        raise BoxError("units", f"units are {system!r}; allowed: {known}")
    own, read, words = boxes[system], {}, []
    texts = {
        key: _text(key, typed[key]) for key in sorted({*typed} - {"parts", "units"})
    }
    recipe, cook = _recipe(typed.get("parts")), _cook_of(texts, own)
    if cook:
        read["cook"] = _boxed("cook", parse_cook, *cook[1::2])
    for key in {**own, **texts}:
        if not (text := texts.get(key)):
            continue
        if key not in own:
            raise BoxError(key, f"{key!r} is not asked: the bench states none")
        found = _boxed(key, own[key].read, text)
        if found != own[key].read(own[key].start):
            read[key] = found
            words.append(f"{own[key].label} {text}")
    return State(recipe, tuple(sorted(read.items())), system, typed, cook, tuple(words))


def _cook_of(texts: dict[str, str], own: Mapping[str, Box]) -> tuple[str, ...]:
    """Take the cook out of what is typed; return its options, none of the bench's."""
    stated = [own[key].start if key in own else "" for key in ("cook", "minutes")]
    typed = [texts.pop(key, "") for key in ("cook", "minutes")]
    cook, minutes = typed[0] or stated[0], typed[1]
    if not minutes and len(cook.split()) < 3:  # else it states its own time
        minutes = stated[1]
    if [cook, minutes] == stated:
        return ()
    return ("--cook", cook, *(["--minutes", minutes] if minutes else []))


def _boxed(key: str, read: Callable[..., Any], *texts: str) -> Any:
    """Return what is read; an error names its box, a remark says nothing."""
    try:
        with plausible.collected():
            return read(*texts)
    except CastsugarError as error:
        raise BoxError(key, error) from None


def _text(key: str, typed: Any) -> str:
    """Return what stands in a box."""
    plain = isinstance(typed, str) and len(typed) <= _LONGEST
    if not plain or not f"{typed} ".isprintable():
        raise BoxError(key, f"{key} is no text of at most {_LONGEST} characters")
    return " ".join(typed.split())


def _recipe(typed: Any) -> str:
    """Return names and amounts as one recipe."""
    if not isinstance(typed, list) or not 0 < len(typed) <= _MOST_PARTS:
        raise BoxError("parts", f"a recipe has 1 to {_MOST_PARTS} parts")
    if any(not isinstance(pair, list) or len(pair) != 2 for pair in typed):
        raise BoxError("parts", "a part of a recipe is a name and an amount")
    pairs = [[_text("parts", text) for text in pair] for pair in typed]
    parts = [pair for pair in pairs if any(pair)]
    text = " ".join(f"{name}:{amount}" for name, amount in parts)
    read = _boxed("parts", lambda: parse_recipe(text, where="recipe"))
    if [name for name, _ in read.parts] != [name for name, _ in parts]:
        raise BoxError("parts", "a name holds no ':', '=', ',' or ';'; one part a box")
    return text


def parts_of(recipe: str) -> list[list[str]]:
    """Return names and amounts of a recipe as texts; percent as parts."""
    read = parse_recipe(recipe)
    scale = 1.0 if read.basis == "parts" else 100.0
    return [[name, f"{scale * amount:.8g}"] for name, amount in read.parts]


def _grains(text: str) -> int:
    known = RANGES["segments"]
    low, high = int(known.hard_low), int(known.hard_high)
    if not re.fullmatch("[0-9]{1,3}", text) or not low <= int(text) <= high:
        raise InputError(f"grains is {text!r}; allowed: {low} to {high}, whole")
    return int(text)


def _limit(column: str, label: str, show: Shown, text: str) -> float | str:
    """Read a limit: with its unit, without one in that of the page, or "case"."""
    kind = FIELDS[column].kind
    if text == CASE and kind == "pressure" and label.endswith("at most"):
        return CASE
    number = text.removesuffix(show.unit(kind)).strip()
    quantity = _QUANTITY.get(kind, kind)
    if _NUMBER.fullmatch(number):
        value = show.back(kind, float(number))
    elif quantity in units.UNITS:
        value = units.parse(text, quantity, where=label).value
        value = units.convert(value, quantity, COLUMN[column].unit)
    else:
        raise InputError(f"{label} is {text!r}; write a plain number such as 10")
    known = plausible.range_of_limit(column)
    return plausible.checked(known, value, plausible.said_at(label))
