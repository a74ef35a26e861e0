"""The mixes of three varying ingredients, evenly over the part that a space spans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.measure import Measure
from castsugar.decide.outcome import Outcome
from castsugar.decide.problem import Problem
from castsugar.decide.region import Region
from castsugar.errors import InputError
from castsugar.numerics import triangle

#: About so many mixes lie on the lattice; so many steps at most.
COUNT, _FINEST = 500, 80

#: A mix lies in the plane if its other ingredients are so near. [mass fraction]
_SAME = 1e-6

#: Tried mixes beside the space are on the picture if it grows no more than so much.
_GROWTH = 1.4

Shares = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """A triangular lattice of mixes, and how they stand.

    Shares are those of the three among themselves; they sum to 1.

    Attributes
    ----------
    corners : tuple of three str
    places : tuple of three int
        Their columns in the space.
    fixed : mapping
        The other ingredients of the mixes. [mass fraction]
    total : float
        What the three make up. [mass fraction]
    low : tuple of three floats
        Least share of each: the lattice lies in the triangle above them.
    step : float
        Of the shares.
    shares : ndarray, shape (n, 3)
    columns : tuple of str
    values : ndarray, shape (n, c)
        NaN where a mix failed.
    limits : ndarray, shape (n, m)
        Scaled slack of each limit, 0 or more where kept; NaN where a mix failed.
    rows : ndarray, shape (n, r)
        Slack of each row of the space. [mass fraction]
    outline : ndarray, shape (q, 3)
        Corners of the space, in order around it.
    base : ndarray, shape (k,)
        The best mix: what lies in the plane has its other ingredients.
    """

    corners: tuple[str, str, str]
    places: tuple[int, int, int]
    fixed: Mapping[str, float]
    total: float
    low: Shares
    step: float
    shares: FloatArray
    columns: tuple[str, ...]
    values: FloatArray
    limits: FloatArray
    rows: FloatArray
    outline: FloatArray
    base: FloatArray

    @property
    def fractions(self) -> FloatArray:
        """Return the mixes of the lattice as fractions of the space, (n, k)."""
        return _mixes(self.shares, self.base, list(self.places), self.total)

    def shares_of(self, fractions: FloatArray) -> Shares | None:
        """Return the shares of the three in a mix, (k,); None beside the plane."""
        return _shares(fractions, self.base, self.places)


def _shares(
    fractions: FloatArray, base: FloatArray, places: tuple[int, int, int]
) -> Shares | None:
    """Return the shares of three in a mix; None if the others are not as in `base`."""
    free = list(places)
    other = np.delete(np.abs(fractions - base), free)
    if other.max(initial=0.0) > _SAME:
        return None
    first, second, third = (fractions[free] / fractions[free].sum()).tolist()
    return first, second, third


def recipe_fractions(
    outcome: Outcome, recipe: Mapping[str, float]
) -> FloatArray | None:
    """Return a recipe as fractions of the space; None with other ingredients."""
    names = outcome.task.space.columns
    if not set(recipe) <= set(names):
        return None
    amounts = np.array([recipe.get(name, 0.0) for name in names], dtype=float)
    return amounts / amounts.sum()


def plane(outcome: Outcome, problem: Problem | None = None) -> Plane:
    """Evaluate a lattice over the space of the best mix's choice, in one batch.

    Parameters
    ----------
    outcome : Outcome
    problem : Problem, optional
        To evaluate further columns, too; it has those of the task.

    Raises
    ------
    InputError
        Unless exactly three ingredients vary.
    """
    measure = Measure.of(outcome)
    names = outcome.task.space.columns
    corners = measure.region.corners
    varies = np.ptp(corners, axis=0) > _SAME
    free = np.flatnonzero(varies).tolist()
    if len(free) != 3:
        raise InputError(
            f"a map needs three varying ingredients; here {len(free)} vary: "
            f"{', '.join(names[k] for k in free) or 'none'}"
        )
    a, b, c = free
    base = np.asarray(outcome.found.fractions, dtype=float)
    total = float(1.0 - base[~varies].sum())
    low = _lowest(outcome, base, (a, b, c), corners[:, free].min(axis=0) / total)
    shares, step = _lattice(measure.region, low, base, free, total)
    mixes = _mixes(shares, base, free, total)
    asked = problem or outcome.task.problem()
    columns = tuple(asked.columns)
    values = np.asarray(asked.evaluate(mixes), dtype=float)
    own = values[:, [columns.index(name) for name in measure.columns]]
    return Plane(
        corners=(names[a], names[b], names[c]),
        places=(a, b, c),
        fixed={
            names[k]: float(base[k])
            for k in np.flatnonzero(~varies).tolist()
            if base[k] > 0.0
        },
        total=total,
        low=(float(low[0]), float(low[1]), float(low[2])),
        step=step,
        shares=shares,
        columns=columns,
        values=values,
        limits=measure.limits(own),
        rows=measure.rows(mixes),
        outline=_around(corners[:, free] / total),
        base=base,
    )


def _lowest(
    outcome: Outcome, base: FloatArray, places: tuple[int, int, int], low: FloatArray
) -> FloatArray:
    """Return the least shares of the picture: of the space, and mixes tried nearby."""
    room = 1.0 - float(low.sum())
    for recipe in outcome.task.tried.values():
        mix = recipe_fractions(outcome, recipe)
        shares = None if mix is None else _shares(mix, base, places)
        if shares is None:
            continue
        lower = np.minimum(low, shares)
        if 1.0 - float(lower.sum()) <= _GROWTH * room:
            low = lower
    return low


def _mixes(
    shares: FloatArray, base: FloatArray, free: list[int], total: float
) -> FloatArray:
    """Return shares of three as fractions of the whole mix, (n, k)."""
    mixes = np.repeat(base[None], len(shares), axis=0)
    mixes[:, free] = total * shares
    return mixes


def _lattice(
    region: Region, low: FloatArray, base: FloatArray, free: list[int], total: float
) -> tuple[FloatArray, float]:
    """Return lattice points inside a region and just around it, and their step.

    A point is kept if a neighbour, one step off, may lie inside.
    """
    room = 1.0 - float(low.sum())
    matrix = region.matrix[:, free]
    reach = matrix.max(axis=1) - matrix.min(axis=1)
    parts = 24
    while True:
        step = room / parts
        shares = low + room * triangle(1.0 / parts)
        slack = region.slack(_mixes(shares, base, free, total))
        near = (slack >= -total * step * reach - 1e-9).all(axis=1)
        if near.sum() >= COUNT or parts >= _FINEST:
            return shares[near], step
        parts += 2


def _around(corners: FloatArray) -> FloatArray:
    """Return points of a convex outline in order around their middle."""
    right, up = (corners[:, k] - corners[:, k].mean() for k in (2, 0))
    turn = np.arctan2(up, right + 0.5 * up)
    return np.asarray(corners[np.argsort(turn, kind="stable")])
