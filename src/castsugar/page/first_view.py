"""What the page shows before anybody moved: corners, marks, settings, limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from castsugar.columns import COLUMN
from castsugar.errors import CastsugarError
from castsugar.kitchen.heat import HOTTEST
from castsugar.limits import Requirement
from castsugar.mix.text import parse_recipe
from castsugar.page.desk import Desk, base_of, keys_of, parts_of
from castsugar.page.region import Triangle, triangle_of
from castsugar.plausible import RANGES
from castsugar.report import numbers
from castsugar.report.cautions import chosen, topics_of
from castsugar.report.field import FIELDS
from castsugar.report.screen import EXAMPLE, closing
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

#: Marks of mixes on the triangle, at most.
_MARKS = 50

#: Steps of the sliders in SI units shown, and in US ones.
_STEPS = {"cook": (1.0, 1.0), "throat": (0.1, 0.005)}

#: Coldest cook of the slider. [C]
_COLDEST = 90.0

#: Said beside what is shown of a case.
_UNPROVED = "What is said of pressures is an estimate about an unproved case."


def first_view(desk: Desk, *, read_only: bool = False) -> dict[str, Any]:
    """Return what the page needs before its first answer."""
    world, triangle = desk.world, triangle_of(desk.world)
    base, show = base_of(world), Shown(world.units)
    pairs = zip(triangle.corners, triangle.bounds, strict=True)
    wider = zip(triangle.corners, triangle.view, strict=True)
    name = desk.path.name
    return {
        "hash": desk.hash,
        "name": name,
        "read_only": read_only,
        "example": EXAMPLE.format(file=name) if world.invented else "",
        "units": world.units,
        "corners": list(triangle.corners),
        "bounds": {item: list(ends) for item, ends in pairs},
        "view": {item: list(ends) for item, ends in wider},
        "ingredients": _ingredients(desk),
        "recipes": [
            {"name": known, "text": text, "parts": parts_of(text)}
            for known, text in world.recipes.items()
        ],
        "marks": _marks(desk, triangle),
        "base": base or None,
        "start": desk.start,
        "settings": list(_settings(desk, show)),
        "limits": [one for need in world.limits for one in _limits(need, desk.start)],
        "missing": _missing(desk),
        "safety": _safety(desk),
    }


def _ingredients(desk: Desk) -> list[str]:
    """Return the names that may be typed, those of the bench first."""
    known = desk.world.database
    used = [n for text in desk.world.recipes.values() for n, _ in parts_of(text)]
    names = [*used, *desk.world.bench.premixes, *known.known_names()]
    return list(dict.fromkeys(names))


def _missing(desk: Desk) -> list[str]:
    """Return what the bench file would have to state for the rest of the page."""
    world, found = desk.world, []
    if world.kitchen is None:
        found.append('add [kitchen] with cook = "119 C 8 min"')
    if world.motor is None:
        found.append("add [motor]")
    if not world.limits:
        found.append("add [limits]")
    return found


def _safety(desk: Desk) -> list[str]:
    """Return the cautions that stand on the page whatever is asked."""
    kitchen, motor = desk.world.kitchen, desk.world.motor
    topics = topics_of(("evaluate",), kitchen, motor)
    found = chosen(desk.world.database.cautions, {}, topics, shown=2)
    pressed = [_UNPROVED] if motor is not None else []
    return [*found.lines, *pressed, closing(len(found.lines), found.count)]


# ----------------------------------------------------------------------------
# Settings and limits.


def _settings(desk: Desk, show: Shown) -> Iterator[dict[str, Any]]:
    """Yield the settings that the bench states, with the range of their sliders."""
    world, start = desk.world, desk.start
    si = show.system == SI
    if world.kitchen is not None:
        cook = world.kitchen.cook
        held = len({*cook.temperatures}) == 1
        now = to_celsius(cook.pour_temperature)
        ends = (min(_COLDEST, now), max(to_celsius(HOTTEST), now))
        yield {
            "key": "cook",
            "label": "cook at" if held else "cook",
            "text": start["cook"],
            "unit": "C" if si else "F",
            **_slider(show, "temperature", now if held else math.nan, ends, "cook"),
        }
        if held:
            minutes = cook.duration / 60.0
            yield {
                "key": "minutes",
                "label": "for, min",
                "text": start["minutes"],
                "unit": "min",
                **_plain_slider(minutes, _around(minutes, "minutes"), 0.5),
            }
    if start["throat"]:
        now = 1e3 * (world.bench.motor or {})["throat"]
        ends = _around(now, "throat diameter")
        yield {
            "key": "throat",
            "label": "throat",
            "text": start["throat"],
            "unit": show.unit("length"),
            **_slider(show, "length", now, ends, "throat"),
        }
    if start["grains"]:
        now = float(start["grains"])
        yield {
            "key": "grains",
            "label": "grains",
            "text": start["grains"],
            "unit": "",
            **_plain_slider(now, (1.0, max(RANGES["segments"].soft_high, now)), 1.0),
        }


def _around(value: float, name: str) -> tuple[float, float]:
    """Return half and twice a value, as far as that is usual."""
    known = RANGES[name]
    low, high = max(0.5 * value, known.soft_low), min(2.0 * value, known.soft_high)
    return min(low, value), max(high, value)


def _slider(
    show: Shown, kind: str, now: float, ends: tuple[float, float], key: str
) -> dict[str, Any]:
    """Return a slider in the units shown; without ends for what is no number."""
    if math.isnan(now):
        return {"value": None, "low": None, "high": None, "step": None}
    values = [numbers.tidy(show.number(kind, x)) for x in (now, *ends)]
    step = _STEPS[key][show.system != SI]
    return _plain_slider(values[0], (values[1], values[2]), step)


def _plain_slider(now: float, ends: tuple[float, float], step: float) -> dict[str, Any]:
    """Return a slider whose ends are multiples of its step."""
    low, high = math.ceil(ends[0] / step - 1e-9), math.floor(ends[1] / step + 1e-9)
    tidy = numbers.tidy
    return {
        "value": tidy(now),
        "low": tidy(low * step),
        "high": tidy(high * step),
        "step": step,
    }


def _limits(need: Requirement, start: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the sides of a limit, each with a box."""
    share = need.probability
    chance = "" if share is None else f"{numbers.percent(share)} %"
    keys = zip(keys_of(need), ("at most", "at least"), strict=True)
    return [
        {
            "key": key,
            "label": FIELDS[need.column].label,
            "sense": sense,
            "text": start["limits"][key],
            "unit": COLUMN[need.column].unit,
            "probability": chance,
            "whose": need.whose,
        }
        for key, sense in keys
        if key
    ]


# ----------------------------------------------------------------------------
# Marks on the triangle.


def _marks(desk: Desk, triangle: Triangle) -> list[dict[str, Any]]:
    """Return base, measured mixes and recipes in the plane, the nearest first."""
    world = desk.world
    base = base_of(world)
    laws = (world.bench.motor or {}).get("burn_law", ())
    burned = [str(law["recipe"]) for law in laws if law.get("recipe")]
    told = [("base", base, world.recipes[base])] if base else []
    told += [("measured", _called(text), text) for text in dict.fromkeys(burned)]
    told += [("recipe", n, t) for n, t in world.recipes.items() if n != base]
    found: list[dict[str, Any]] = []
    for kind, name, text in told:
        try:
            at, others = triangle.split(world, text)
        except CastsugarError:
            continue  # a recipe that no mix can be made of has no place
        if not others:
            found.append({"kind": kind, "name": name, "at": at})
    middle = found[0]["at"] if found else [0.0, 0.0, 0.0]
    found.sort(key=lambda mark: math.dist(mark["at"], middle))
    return found[:_MARKS]


def _called(recipe: str) -> str:
    """Return the shares of a recipe, as people say them."""
    parts = parse_recipe(recipe).parts
    whole = math.fsum(x for _, x in parts)
    return "/".join(numbers.typed(100.0 * x / whole) for _, x in parts)
