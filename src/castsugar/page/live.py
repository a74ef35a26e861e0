"""The page as its server calls it: plain values in, plain values out."""

from __future__ import annotations

import math
from os import PathLike
from typing import Any

from castsugar.bench.world import World
from castsugar.bench.world import read as read_world
from castsugar.errors import CastsugarError
from castsugar.mix.text import parse_recipe
from castsugar.page.answer import quick, rest
from castsugar.page.boxes import parts_of
from castsugar.page.desk import Desk, base_of
from castsugar.page.region import Triangle, region, surveyed, triangle_of
from castsugar.report import numbers
from castsugar.report.shown import Shown

#: Marks of mixes on the triangle, at most.
_MARKS = 50

Told = dict[str, Any]


class Page(Desk):
    """One opened bench.

    Parameters
    ----------
    path : path
        Of the bench file.
    read_only : bool
        Said to the page; nothing here writes.

    Notes
    -----
    Every answer is a dict of texts, and of numbers where a curve is drawn. A state that
    cannot be read raises :class:`castsugar.page.boxes.BoxError` with the key of its
    box. One call at a time.
    """

    def __init__(self, path: str | PathLike[str], *, read_only: bool = False) -> None:
        super().__init__(path)
        self.read_only = read_only

    def bench(self, units: Any = None) -> Told:
        """Return what the page needs before its first answer, in some units."""
        world, triangle, start = self.world, triangle_of(self.world), self.start(units)
        recipes = {name: parts_of(text) for name, text in world.recipes.items()}
        used = [name for parts in recipes.values() for name, _ in parts]
        names = [*used, *world.bench.premixes, *world.database.known_names()]
        return {
            "hash": self.hash,
            "name": self.path.name,
            "read_only": self.read_only,
            "corners": list(triangle.corners),
            "bounded": "bounds of the search"
            if triangle.searched
            else "bounds about base",
            "bounds": triangle.bounds,
            "view": triangle.view,
            "ingredients": list(dict.fromkeys(names)),
            "recipes": recipes,
            "marks": _marks(world, triangle),
            "start": start,
            "boxes": [box.told() for box in self.boxes[start["units"]].values()],
        }

    def reload(self, units: Any = None) -> Told:
        """Read the file again, show it; a broken one changes nothing."""
        self._open(read_world(self.path))
        return self.bench(units)

    def answer(self, state: Any) -> Told:
        """Return the quick answer to a state as typed."""
        return quick(self, self.state(state))

    def rest(self, state: Any) -> Told:
        """Return the whole answer to a state as typed."""
        return rest(self, self.state(state))

    def region(self, state: Any, *, coarse: bool = False) -> Told:
        """Return where mixes keep the limits under the settings of a state."""
        read, triangle = self.state(state), triangle_of(self.world)
        asked = self.asked(read.settings)
        found = surveyed(triangle, asked, read.recipe, coarse=coarse)
        return region(triangle, found, asked, Shown(read.units))


def _marks(world: World, triangle: Triangle) -> list[Told]:
    """Return base, measured mixes and recipes in the plane, the nearest first."""
    base = base_of(world)
    laws = (world.bench.motor or {}).get("burn_law", ())
    burned = dict.fromkeys(str(law["recipe"]) for law in laws if law.get("recipe"))
    told = [("base", base, world.recipes[base])] if base else []
    told += [("measured", _called(text), text) for text in burned]
    told += [("recipe", n, t) for n, t in world.recipes.items() if n != base]
    found: list[Told] = []
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
    parts = parse_recipe(recipe).parts
    whole = math.fsum(x for _, x in parts)
    return "/".join(numbers.typed(100.0 * x / whole) for _, x in parts)
