"""Recipes that a scale can weigh, near a mix."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.optimize.multistart import apart
from castsugar.optimize.problem import Judge, Problem
from castsugar.optimize.region import ROUNDING, Row, as_arrays, fill
from castsugar.optimize.shadow_prices import Found
from castsugar.optimize.space import Space, occupied

#: Most recipes that are evaluated.
_MOST = 1024

#: Steps of a mix for strands: whole percents, else finer where none fits.
_PERCENTS = (0.01, 0.005, 0.001)

#: Steps around the rounded-down mass that are tried, for few and for many ingredients.
_WIDE, _NARROW, _FEW = (-1, 0, 1, 2), (0, 1), 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighable:
    """The best recipe in whole steps of the scale near a mix.

    Attributes
    ----------
    masses : ndarray, shape (k,)
        [kg]
    fractions : ndarray, shape (k,)
    values : mapping
        Column to value.
    loss : float
        What rounding costs of the objective, in its unit; below 0 it gains, which only
        a mix that was not the best allows.
    feasible : bool
        Whether it keeps all limits; if not, it violates them least.
    tried : int
    refused : str
        Why its own row of the table forbids it all the same (the 95 % pressure exceeds
        what the case may hold, the second solver disagrees); empty if it does not.
    """

    masses: FloatArray
    fractions: FloatArray
    values: Mapping[str, float]
    loss: float
    feasible: bool
    tried: int
    refused: str = ""

    @property
    def offered(self) -> bool:
        """Whether it may be weighed."""
        return self.feasible and not self.refused


def neighbours(
    space: Space, choice: Mapping[str, str], fractions: FloatArray
) -> FloatArray:
    """Return recipes in whole steps of the scale near a mix, nearest first, (n, k).

    They keep the rows of the space; a fixed part is rounded to the nearest step.

    Raises
    ------
    InputError
        Without batch and scale step, or if no such recipe is in the space.

    Examples
    --------
    >>> space = Space(bounds={"a": (0, 1), "b": (0, 0.4)}, batch=0.1, scale_step=0.01)
    >>> neighbours(space, {}, np.array([0.63, 0.37])).tolist()
    [[0.6, 0.4], [0.7, 0.3], [0.8, 0.2]]
    """
    if space.batch is None or space.scale_step is None:
        raise InputError(
            "rounding to a scale needs the batch and the step of the scale"
        )
    total = round(space.batch / space.scale_step)
    used = np.flatnonzero(fractions > 0.0)
    down = np.floor(fractions[used] * total + 1e-9).astype(np.int64)
    ways = _WIDE if len(used) <= _FEW else _NARROW
    counts = down + np.array(list(itertools.product(ways, repeat=len(used))))
    good = (counts.sum(axis=1) == total) & (counts >= 0).all(axis=1)
    found = np.zeros((int(good.sum()), len(fractions)))
    found[:, used] = counts[good] / total
    fixed = _within(found, space, occupied(space.fixed_rows(), choice), 0.5 / total)
    others = (*space.movable_rows(), *space.scope)
    free = _within(found, space, occupied(others, choice), 0.0)
    found = found[fixed & free]
    if not len(found):
        raise InputError(
            f"no recipe in steps of {1e3 * space.scale_step:g} g of a batch of "
            f"{1e3 * space.batch:g} g lies in the space; weigh a larger batch"
        )
    order = np.argsort(apart(fractions, found), kind="stable")
    return found[order[:_MOST]]


def _within(
    mixes: FloatArray, space: Space, rows: Sequence[Row], beyond: float
) -> BoolArray:
    """Say which mixes keep rows."""
    matrix, limits = as_arrays(space.columns, rows)
    kept = (mixes @ matrix.T <= limits + beyond + ROUNDING).all(axis=1)
    return np.asarray(kept)


def whole_percents(space: Space, count: int, seed: int) -> FloatArray:
    """Return recipes in whole percents that fill a space, (n, k), each once.

    Corners, centre, edge midpoints and a lattice, each as the nearest recipe; in half
    or tenth percents, or unrounded, where the space holds none in whole ones.

    Parameters
    ----------
    space : Space
    count : int
        About how many.
    seed : int
        As for :func:`castsugar.optimize.region.fill`.

    Raises
    ------
    InputError
        If no mix is in the space.
    """
    regions = space.regions()
    each = max(8, count // len(regions))
    points = [(one, point) for one in regions for point in fill(one, each, seed)]
    mixes = np.array([point for _, point in points])
    for step in _PERCENTS:
        scale = replace(space, purchases={}, batch=1.0, scale_step=step)
        found = []
        for region, point in points:
            try:
                near = neighbours(scale, region.choice, point)
            except InputError:
                continue
            found += near[region.contains(near)][:1].tolist()
        if found:
            mixes = np.array(found)
            break
    _, first = np.unique(mixes.round(9), axis=0, return_index=True)
    return mixes[np.sort(first)]


def weigh_out(problem: Problem, space: Space, found: Found) -> Weighable:
    """Return the best recipe near an answer that the user's scale can weigh.

    One batch: all recipes within a step or two of the answer.

    Parameters
    ----------
    problem, space
        Of the search.
    found : Found

    Raises
    ------
    InputError
        As for :func:`neighbours`.
    """
    mixes = neighbours(space, found.choice, found.fractions)
    values = np.asarray(problem.evaluate(mixes), dtype=float)
    judge = Judge.of(found.goal, problem.columns, found.trials.values)
    row = judge.order(values)[0]
    columns = list(problem.columns)
    objective = float(values[row, columns.index(found.goal.objective)])
    sign = 1.0 if found.goal.maximise else -1.0
    return Weighable(
        masses=mixes[row] * (space.batch or 0.0),
        fractions=mixes[row],
        values=dict(zip(columns, values[row].tolist(), strict=True)),
        loss=sign * (found.objective - objective),
        feasible=bool(judge.standing(values[row])[1] <= 0.0),
        tried=len(mixes),
    )
