"""The triangle of the page: three ingredients, their view, and the mixes in it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from castsugar.bench.world import World
from castsugar.errors import CastsugarError
from castsugar.frozen import dataclass
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import item_name
from castsugar.report import numbers

#: What stands in the boxes of a bench without recipes.
FIRST = "KNO3:60 powdered sugar:20 corn syrup:20"

#: How far the view goes beyond the bounds, and half the width of bounds that the bench
#: does not state. [%]
_WIDER, _USUAL = 5.0, 10.0

#: Marks of mixes, at most.
_MARKS = 50

Told = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Triangle:
    """Three ingredients as the bench types them, with bounds in per cent of the mix.

    `searched` says whether the bench states these bounds, for its search.
    """

    bounds: dict[str, tuple[float, float]]
    searched: bool

    @property
    def view(self) -> list[tuple[float, float]]:
        """Bounds a little wider, within the triangle. [%]"""
        return [
            (max(low - _WIDER, 0.0), min(high + _WIDER, 100.0))
            for low, high in self.bounds.values()
        ]

    def told(self) -> Told:
        """Return what the page draws."""
        return {
            "corners": list(self.bounds),
            "bounds": list(self.bounds.values()),
            "bounded": f"bounds {'of the search' if self.searched else 'about base'}",
            "view": self.view,
        }

    def split(self, world: World, recipe: str) -> tuple[list[float], dict[str, float]]:
        """Return shares of a recipe at the corners [%], and those of other parts."""
        shares, known = _shares(world.bench.recipe_text(recipe)), world.database
        held = {item_name(known, name): x for name, x in shares.items()}
        own = [item_name(known, name) for name in self.bounds]
        at = [round(100.0 * held.pop(name, 0.0), 4) for name in own]
        return at, {name: x for name, x in held.items() if x}


def base_of(world: World) -> str:
    """Return the name of the mix that others are held against; empty without one."""
    return "base" if "base" in world.recipes else next(iter(world.recipes), "")


def _shares(recipe: str) -> dict[str, float]:
    """Return the share of each part, by the name typed."""
    parts = parse_recipe(recipe).parts
    whole = math.fsum(x for _, x in parts)
    return {name: x / whole for name, x in parts}


def triangle_of(world: World) -> Triangle:
    """Return the three ingredients with the widest bounds, else those of the base."""
    bounds = dict(_searched(world))
    searched = len(bounds) > 2
    if not searched:
        shares = _shares(world.recipes.get(base_of(world), FIRST))
        most = sorted(shares, key=lambda name: -shares[name])[:3]
        bounds = {name: _about(100.0 * shares[name]) for name in most}
    known = {item_name(world.database, name) for name in bounds}
    for name in _shares(FIRST):
        if len(bounds) < 3 and item_name(world.database, name) not in known:
            bounds[name] = (0.0, 2.0 * _USUAL)
    wide = sorted(bounds, key=lambda name: bounds[name][0] - bounds[name][1])[:3]
    return Triangle({name: bounds[name] for name in bounds if name in wide}, searched)


def _about(share: float) -> tuple[float, float]:
    return max(share - _USUAL, 0.0), min(share + _USUAL, 100.0)


def _searched(world: World) -> Iterator[tuple[str, tuple[float, float]]]:
    """Yield the bounds of a search in per cent; of a slot its first ingredient."""
    search = world.bench.search or {}
    for name, share in (search.get("ingredients") or {}).items():
        low, high = share if isinstance(share, tuple) else (share, share)
        typed = (search.get("choices") or {}).get(name, (name,))[0]
        yield typed, (numbers.tidy(100.0 * low), numbers.tidy(100.0 * high))


def marks_of(world: World, triangle: Triangle) -> list[Told]:
    """Return base, measured mixes and recipes in the plane, the nearest first."""
    base, found = base_of(world), list[Told]()
    laws = (world.bench.motor or {}).get("burn_law", ())
    burned = dict.fromkeys(str(law["recipe"]) for law in laws if law.get("recipe"))
    told = [("base", base, world.recipes[base])] if base else []
    told += [("measured", _called(text), text) for text in burned]
    told += [("recipe", n, t) for n, t in world.recipes.items() if n != base]
    for kind, name, text in told:
        try:
            at, others = triangle.split(world, text)
        except CastsugarError:
            continue  # a recipe that no mix can be made of has no place
        if not others:
            found.append({"kind": kind, "name": name, "at": at})
    middle = found[0]["at"] if found else []
    return sorted(found, key=lambda mark: math.dist(mark["at"], middle))[:_MARKS]


def _called(recipe: str) -> str:
    """Return the shares of a recipe, as people say them."""
    return "/".join(numbers.typed(100.0 * x) for x in _shares(recipe).values())
