"""What the page shows before anybody moved: corners, marks, settings, limits."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from castsugar.bench.world import World
from castsugar.errors import CastsugarError
from castsugar.kitchen.heat import HOTTEST
from castsugar.mix.text import parse_recipe
from castsugar.page.desk import Desk, base_of, parts_of
from castsugar.page.region import Triangle, triangle_of
from castsugar.page.state import limit_keys, limit_label
from castsugar.plausible import RANGES
from castsugar.report import numbers
from castsugar.report.cautions import chosen, topics_of
from castsugar.report.numbers import tidy
from castsugar.report.screen import EXAMPLE, closing
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

#: Marks of mixes on the triangle, at most.
_MARKS = 50

#: Coldest cook of the slider. [C]
_COLDEST = 90.0

#: Said beside what is shown of a case.
_UNPROVED = "What is said of pressures is an estimate about an unproved case."


def first_view(desk: Desk, system: str, *, read_only: bool = False) -> dict[str, Any]:
    """Return what the page needs before its first answer, in some units."""
    world, triangle = desk.world, triangle_of(desk.world)
    start, show = desk.starts[system], Shown(system)
    name = desk.path.name
    return {
        "hash": desk.hash,
        "name": name,
        "read_only": read_only,
        "example": EXAMPLE.format(file=name) if world.invented else "",
        "corners": list(triangle.corners),
        "bounded": "bounds of the search" if triangle.searched else "bounds about base",
        "bounds": [list(ends) for ends in triangle.bounds],
        "view": [list(ends) for ends in triangle.view],
        "ingredients": _ingredients(desk),
        "recipes": [
            {"name": known, "parts": parts_of(text)}
            for known, text in world.recipes.items()
        ],
        "marks": _marks(desk, triangle),
        "start": start,
        "settings": list(_settings(desk, start, show)),
        "limits": [
            _limit(world, show, *known) for known in limit_keys(world.bench.limits)
        ],
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


def _settings(
    desk: Desk, start: Mapping[str, Any], show: Shown
) -> Iterator[dict[str, Any]]:
    """Yield the settings that the bench states, those of one number with a slider."""
    si, world = show.system == SI, desk.world
    if start["minutes"]:
        ends = [show.number("temperature", x) for x in (_COLDEST, to_celsius(HOTTEST))]
        yield _setting("cook", "cook at", "C" if si else "F", _slider(ends, 1.0))
        slider = _slider(_around(float(start["minutes"]), "minutes"), 0.5)
        yield _setting("minutes", "for, min", "", slider)
    elif start["cook"]:
        yield _setting("cook", "cook", "", {})
    if start["throat"]:
        now = 1e3 * (world.bench.motor or {})["throat"]
        ends = [show.number("length", x) for x in _around(now, "throat diameter")]
        slider = _slider(ends, 0.1 if si else 0.005)
        yield _setting("throat", "throat", show.unit("length"), slider)
    if start["grains"]:
        most = max(RANGES["segments"].soft_high, float(start["grains"]))
        yield _setting("grains", "grains", "", _slider((1.0, most), 1.0))


def _setting(
    key: str, label: str, unit: str, slider: Mapping[str, float]
) -> dict[str, Any]:
    return {"key": key, "label": label, "unit": unit, **slider}


def _around(value: float, name: str) -> tuple[float, float]:
    """Return half and twice a value, as far as that is usual."""
    known = RANGES[name]
    low, high = max(0.5 * value, known.soft_low), min(2.0 * value, known.soft_high)
    return min(low, value), max(high, value)


def _slider(ends: Sequence[float], step: float) -> dict[str, float]:
    """Return a slider whose ends are multiples of its step."""
    low, high = math.ceil(ends[0] / step - 1e-9), math.floor(ends[1] / step + 1e-9)
    return {"low": tidy(low * step), "high": tidy(high * step), "step": step}


def _limit(
    world: World, show: Shown, key: str, column: str, side: str
) -> dict[str, str]:
    """Return one end of a limit, which has a box."""
    share = world.bench.limits[column]["probability"]
    chance = "" if share is None else f"in {numbers.percent(share)} %"
    return {"key": key, "label": limit_label(key, show), "chance": chance}


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
