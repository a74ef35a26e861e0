"""Where the mixes of the triangle keep the limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from castsugar.columns import COLUMN
from castsugar.draw_set import MANY
from castsugar.errors import CastsugarError
from castsugar.page.boxes import BoxError
from castsugar.page.desk import Asked, Page
from castsugar.page.triangle import triangle_of
from castsugar.report import numbers
from castsugar.report.field import FIELDS
from castsugar.report.shown import Shown
from castsugar.survey import Survey, lattice, survey

#: Step while a hand moves. [%]
_COARSE = 2.0

#: Column that most is best of where the bench has no goal.
GOAL = "density_impulse_kg_s_m3"


def surveyed(asked: Asked, recipe: str, *, coarse: bool = False) -> Survey:
    """Judge the mixes of a view, 256 draws each.

    What stands at no corner keeps its share of the recipe.
    """
    triangle, question = triangle_of(asked.world), asked.question.for_table(MANY + 1)
    try:
        _, others = triangle.split(asked.world, recipe)
        rest = 100.0 * (1.0 - math.fsum(others.values()))
        found = lattice(triangle.view, rest, least=_COARSE * coarse)
        if not len(found.shares):
            raise BoxError("parts", "the other parts leave no mix of the triangle")
        return survey(question, asked.limits, found, [*triangle.bounds], others)
    except CastsugarError as error:
        raise BoxError("parts", error) from None


def region(page: Page, typed: Any, *, coarse: bool = False) -> dict[str, Any]:
    """Return lines of the limits, areas, the best mix and one sentence.

    Points are pairs of per cent of the first and of the last corner.
    """
    state = page.state(typed)
    asked, show = page.asked(state.settings), Shown(state.units)
    found = surveyed(asked, state.recipe, coarse=coarse)
    grid, distances, allowed = found.lattice, found.distances, asked.allowed
    pressed = found.pressed(allowed) if allowed == allowed else ()
    above, unknown = [grid.areas(x) for x in pressed] or ([], [])
    return {
        "limits": [
            {"label": FIELDS[one.limit.key].named(show), "lines": grid.lines(distance)}
            for one, distance in zip(found.judged, distances, strict=True)
        ],
        "kept": grid.areas(np.minimum.reduce(distances)) if distances else [],
        "above": above,
        "unknown": unknown,
        "best": _best(found, asked),
        "words": "; ".join(_words(found, asked)) + ".",
    }


def goal_of(asked: Asked) -> tuple[str, float]:
    """Return the column that is best when most (1) or least (-1)."""
    search = asked.world.bench.search or {}
    for key, sign in (("maximise", 1.0), ("minimise", -1.0)):
        if search.get(key) in COLUMN:
            return str(search[key]), sign
    return GOAL, 1.0


def _best(found: Survey, asked: Asked) -> list[float] | None:
    """Return the best mix by the goal that keeps bounds and every limit."""
    column, sign = goal_of(asked)
    low, high = np.transpose([*triangle_of(asked.world).bounds.values()])
    shares = found.lattice.shares
    inside = ((shares > low - 1e-9) & (shares < high + 1e-9)).all(axis=1)
    values = sign * np.asarray(found.columns.get(column, np.nan), dtype=float)
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
