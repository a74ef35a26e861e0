"""The triangle of the page: its corners and view, and where mixes keep the limits."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from castsugar.bench.world import World
from castsugar.columns import COLUMN
from castsugar.draw_set import MANY
from castsugar.errors import CastsugarError
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import item_name
from castsugar.page.boxes import FIRST, BoxError
from castsugar.page.desk import Asked, base_of
from castsugar.report import numbers
from castsugar.report.field import FIELDS
from castsugar.report.shown import Shown
from castsugar.survey import Survey, lattice, survey

#: How far the view goes beyond the bounds, and half the width of bounds that the bench
#: does not state. [%]
_WIDER, _USUAL = 5.0, 10.0

#: Step while a hand moves. [%]
_COARSE = 2.0

#: Column that most is best of where the bench has no goal.
GOAL = "density_impulse_kg_s_m3"


@dataclass(frozen=True, slots=True)
class Triangle:
    """Three ingredients as the bench types them, with bounds in per cent of the mix.

    `searched` says whether the bench states these bounds, for its search.
    """

    corners: tuple[str, ...]
    bounds: tuple[tuple[float, float], ...]
    searched: bool

    @property
    def view(self) -> tuple[tuple[float, float], ...]:
        """Bounds a little wider, within the triangle. [%]"""
        wider = ((low - _WIDER, high + _WIDER) for low, high in self.bounds)
        return tuple((max(low, 0.0), min(high, 100.0)) for low, high in wider)

    def split(self, world: World, recipe: str) -> tuple[list[float], dict[str, float]]:
        """Return shares of a recipe at the corners [%], and those of other parts."""
        parts = parse_recipe(world.bench.recipe_text(recipe)).parts
        whole, known = math.fsum(x for _, x in parts), world.database
        shares = {item_name(known, name): x / whole for name, x in parts}
        own = [item_name(known, name) for name in self.corners]
        others = {name: x for name, x in shares.items() if x and name not in own}
        return [round(100.0 * shares.get(name, 0.0), 4) for name in own], others


def triangle_of(world: World) -> Triangle:
    """Return the three ingredients with the widest bounds, else those of the base."""
    search = world.bench.search or {}
    bounds = dict(_searched(search))
    searched = len(bounds) > 2
    if not searched:
        bounds = dict(_around(world))
    known = {item_name(world.database, name) for name in bounds}
    for name, _ in parse_recipe(FIRST).parts:
        if len(bounds) < 3 and item_name(world.database, name) not in known:
            bounds[name] = (0.0, 2.0 * _USUAL)
    wide = sorted(bounds, key=lambda name: bounds[name][0] - bounds[name][1])[:3]
    corners = tuple(name for name in bounds if name in wide)
    return Triangle(corners, tuple(bounds[name] for name in corners), searched)


def _searched(search: Mapping[str, Any]) -> Iterator[tuple[str, tuple[float, float]]]:
    """Yield the bounds of a search in per cent; of a slot its first ingredient."""
    for name, share in (search.get("ingredients") or {}).items():
        low, high = share if isinstance(share, tuple) else (share, share)
        typed = (search.get("choices") or {}).get(name, (name,))[0]
        yield typed, (numbers.tidy(100.0 * low), numbers.tidy(100.0 * high))


def _around(world: World) -> Iterator[tuple[str, tuple[float, float]]]:
    """Yield bounds around the three largest parts of the base, in per cent."""
    name = base_of(world)
    parts = parse_recipe(world.recipes[name] if name else FIRST).parts
    whole = math.fsum(x for _, x in parts)
    for part, x in sorted(parts, key=lambda one: -one[1])[:3]:
        share = 100.0 * x / whole
        yield part, (max(share - _USUAL, 0.0), min(share + _USUAL, 100.0))


def surveyed(
    triangle: Triangle, asked: Asked, recipe: str, *, coarse: bool = False
) -> Survey:
    """Judge the mixes of a view, 256 draws each.

    What stands at no corner keeps its share of the recipe.
    """
    try:
        _, others = triangle.split(asked.world, recipe)
        rest = 100.0 * (1.0 - math.fsum(others.values()))
        found = lattice(triangle.view, rest, least=_COARSE * coarse)
        if not len(found.shares):
            raise BoxError("parts", "the other parts leave no mix of the triangle")
        return survey(
            asked.question.for_table(MANY + 1),
            asked.limits,
            found,
            triangle.corners,
            others,
        )
    except CastsugarError as error:
        raise BoxError("parts", error) from None


def region(
    triangle: Triangle, found: Survey, asked: Asked, show: Shown
) -> dict[str, Any]:
    """Return lines of the limits, areas, the best mix and one sentence.

    Points are pairs of per cent of the first and of the last corner.
    """
    grid, distances = found.lattice, found.distances
    allowed = asked.allowed
    above, unknown = found.pressed(allowed) if allowed == allowed else (None, None)
    return {
        "limits": [
            {"label": FIELDS[one.limit.key].named(show), "lines": grid.lines(distance)}
            for one, distance in zip(found.judged, distances, strict=True)
        ],
        "kept": grid.areas(np.minimum.reduce(distances)) if distances else [],
        "above": [] if above is None else grid.areas(above),
        "unknown": [] if unknown is None else grid.areas(unknown),
        "best": _best(triangle, found, asked),
        "words": "; ".join(_words(found, asked)) + ".",
    }


def goal_of(asked: Asked) -> tuple[str, float]:
    """Return the column that is best when most (1) or least (-1)."""
    search = asked.world.bench.search or {}
    for key, sign in (("maximise", 1.0), ("minimise", -1.0)):
        if search.get(key) in COLUMN:
            return str(search[key]), sign
    return GOAL, 1.0


def _best(triangle: Triangle, found: Survey, asked: Asked) -> list[float] | None:
    """Return the best mix by the goal that keeps bounds and every limit."""
    column, sign = goal_of(asked)
    values = sign * np.asarray(found.columns.get(column, np.nan), dtype=float)
    low, high = np.transpose(triangle.bounds)
    shares = found.lattice.shares
    inside = ((shares > low - 1e-9) & (shares < high + 1e-9)).all(axis=1)
    values = np.where(found.kept & inside, values, np.nan)
    if np.isnan(values).all():
        return None
    best: list[float] = shares[int(np.nanargmax(values))].tolist()
    return best


def _words(found: Survey, asked: Asked) -> Iterator[str]:
    """Say in a sentence what the areas hold."""
    count, allowed = len(found.lattice.shares), asked.allowed
    shown = f"{numbers.count(count, 'mix', 'mixes')} shown"
    if not found.judged:
        yield f"{shown}; the bench states no limits"
        return
    yield f"{shown}: {int(found.kept.sum()) or 'none'} keep all limits"
    if allowed == allowed:
        above, unknown = (int((x > 0.0).sum()) for x in found.pressed(allowed))
        yield f"the expected peak of {above or 'none'} is above the case"
        yield f"of {unknown or 'none'} it is not known well enough: burn strands there"
    for one in found.judged:
        if np.isnan(one.values).all():
            yield f"{FIELDS[one.limit.key].label} is not computed: {one.reasons[0]}"
