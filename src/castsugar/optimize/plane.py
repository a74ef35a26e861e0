"""The mixes of three ingredients that a picture shows, and their distance to limits."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.numerics import triangle
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.problem import Goal, Judge, Problem
from castsugar.optimize.region import Region
from castsugar.optimize.space import Space

# ----------------------------------------------------------------------------
# How far mixes are from every limit and every row of the space.

#: A limit counts as kept down to this scaled slack: what the search left of rounding.
TOLERANCE = 1e-7

#: A row of the space counts as kept down to this. [mass fraction]
ROW_TOLERANCE = 1e-9

#: Slacks are not followed farther down: beyond lie numbers that stand for "jams".
_DEEP = -3.0

#: What a mix that failed breaks.
FAILED = "not computed"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measure:
    """Slacks of mixes of one choice of the space."""

    judge: Judge
    region: Region  # of the choice that the best mix made
    columns: tuple[str, ...]  # of the values

    @classmethod
    def of(cls, outcome: Outcome) -> Measure:
        """Return the measure of an outcome."""
        found = outcome.found
        columns = tuple(outcome.task.problem().columns)
        choice = dict(found.choice)
        regions = outcome.task.space.regions()
        return cls(
            judge=Judge.of(found.goal, columns, found.trials.values),
            region=next(r for r in regions if dict(r.choice) == choice),
            columns=columns,
        )

    @property
    def names(self) -> tuple[str, ...]:
        """Return what a mix can break: the names of the columns of :meth:`slack`."""
        limits = (limit.name for limit in self.judge.goal.limits)
        return (FAILED, *limits, *self.region.row_names)

    def limits(self, values: FloatArray) -> FloatArray:
        """Return scaled slacks of the limits, (n, m), 0 or more where kept.

        NaN where a mix failed.
        """
        slack: FloatArray = np.maximum(self.judge.outputs(values)[:, 1:], _DEEP)
        return slack + TOLERANCE

    def rows(self, fractions: FloatArray) -> FloatArray:
        """Return slacks of the rows of the space, (n, rows), 0 or more where kept."""
        return self.region.slack(fractions) + ROW_TOLERANCE

    def slack(self, fractions: FloatArray, values: FloatArray) -> FloatArray:
        """Return slacks of :attr:`names`, (n, 1 + m + rows), 0 or more where kept."""
        limits = self.limits(values)
        failed = ~np.isfinite(self.judge.outputs(values)).all(axis=1)
        return np.hstack(
            [
                np.where(failed, -1.0, 1.0)[:, None],
                np.where(np.isfinite(limits), limits, 1.0),
                self.rows(fractions),
            ]
        )


def varying(space: Space, choice: Mapping[str, str]) -> dict[str, int]:
    """Return the slots whose bounds leave them room, each with its column."""
    return {
        slot: space.columns.index(choice.get(slot, slot))
        for slot, (low, high) in space.bounds.items()
        if low < high
    }


def broken(goal: Goal, values: Mapping[str, float]) -> tuple[str, ...]:
    """Return the names of the limits that a mix breaks, as far as computed."""
    return tuple(
        limit.name
        for limit in goal.limits
        if float(limit.slack(np.asarray(values[limit.column])))
        < -TOLERANCE * abs(limit.value)
    )


def unknown(goal: Goal, values: Mapping[str, float]) -> tuple[str, ...]:
    """Return the names of the limits whose column could not be computed of a mix."""
    return tuple(
        limit.name for limit in goal.limits if math.isnan(values[limit.column])
    )


def keeping(goal: Goal, columns: tuple[str, ...], values: FloatArray) -> BoolArray:
    """Say which rows of values, (n, c), keep all limits and have an objective."""
    judge = Judge.of(goal, columns, values)
    objective, violation = judge.standing(values)
    return np.asarray(np.isfinite(objective) & (violation <= TOLERANCE))


# ----------------------------------------------------------------------------
# The mixes of three varying ingredients, evenly over the part that a space spans.

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
    """

    corners: tuple[str, str, str]
    places: tuple[int, int, int]  # their columns in the space
    fixed: Mapping[str, float]  # the other ingredients of the mixes [mass fraction]
    total: float  # what the three make up [mass fraction]
    low: Shares  # least share of each: the lattice lies in the triangle above them
    step: float  # of the shares
    shares: FloatArray  # (n, 3)
    columns: tuple[str, ...]
    values: FloatArray  # NaN where a mix failed, (n, c)
    #: Scaled slack of each limit, 0 or more where kept; NaN where a mix failed, (n, m).
    limits: FloatArray
    rows: FloatArray  # slack of each row of the space, (n, r) [mass fraction]
    outline: FloatArray  # corners of the space, in order around it, (q, 3)
    #: The best mix: what lies in the plane has its other ingredients, (k,).
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
