"""Recipes that a scale can weigh, near a mix."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.optimize.multistart import apart
from castsugar.optimize.problem import Judge, Problem
from castsugar.optimize.region import ROUNDING, Row, as_arrays, fill
from castsugar.optimize.shadow_prices import Found
from castsugar.optimize.space import Space, occupied

#: Most recipes that are evaluated.
_MOST = 1024

#: Steps of a mix for strands: whole percents, else finer where none fits.
_PERCENTS = (0.01, 0.005, 0.001)

#: A recipe in whole percents is weighed as such while no share is off by more than
#: this: what a part in whole percents shows. Ours.
_SAME = 5e-4

#: Rounding brings no limit nearer by more than this part of its value, where a recipe
#: does that: with an objective that is flat it would jump to another pressure. Ours.
_NEARER = 0.05

#: Whole percents are the answer if they cost less than this share of the objective.
WHOLE_COST = 1e-3

#: Steps around the rounded-down mass that are tried, for few and for many ingredients;
#: how much farther where none of these keeps the limits, and how many are looked at.
_WIDE, _NARROW, _FEW = (-1, 0, 1, 2), (0, 1), 5
_FARTHER, _LOOKED_AT = 10, 100_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighable:
    """The best recipe in whole percents, or in steps of the scale, near a mix."""

    #: What is weighed: whole steps of the scale, if its step is known, (k,). [kg]
    masses: FloatArray
    #: As it is written; what the masses are differs by _SAME at most, (k,).
    fractions: FloatArray
    values: Mapping[str, float]  # column to value
    #: What rounding costs of the objective, in its unit; below 0 it gains, which only a
    #: mix that was not the best allows.
    loss: float
    #: Whether it keeps all limits, as written and as weighed; if not, it violates them
    #: least.
    feasible: bool
    tried: int
    roomy: bool = True  # whether it brings no limit much nearer: 5 % of its value
    #: Why its own row of the table forbids it all the same (the 95 % pressure exceeds
    #: what the case may hold, the second solver disagrees); empty if it does not.
    refused: str = ""

    @property
    def offered(self) -> bool:
        """Whether it may be weighed."""
        return self.feasible and not self.refused


def neighbours(
    space: Space,
    choice: Mapping[str, str],
    fractions: FloatArray,
    *,
    farther: bool = False,
    kept_to: float | None = None,
) -> FloatArray:
    """Return recipes in whole steps of the scale near a mix, nearest first, (n, k).

    They keep the rows of the space. Within a step or two of the mix, or up to ten
    farther where there are few ingredients.

    Parameters
    ----------
    space, choice, fractions
        Of the mix, (k,).
    kept_to : float, optional
        Share of the batch of which a fixed part, and each part of a fixed ratio, may
        miss half: a step of the scale by default.

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
    ways: Sequence[int] = _WIDE if len(used) <= _FEW else _NARROW
    if farther:
        more = int(0.5 * (_LOOKED_AT ** (1.0 / len(used)) - len(ways)))
        more = max(0, min(more, _FARTHER))
        ways = range(ways[0] - more, ways[-1] + more + 1)
    counts = down + np.array(list(itertools.product(ways, repeat=len(used))))
    good = (counts.sum(axis=1) == total) & (counts >= 0).all(axis=1)
    found = np.zeros((int(good.sum()), len(fractions)))
    found[:, used] = counts[good] / total
    half = 0.5 * (kept_to or 1.0 / total)
    fixed = _within(found, space, occupied(space.fixed_rows(), choice), half)
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
    """Say which mixes keep rows, if every part may miss its share by so much."""
    matrix, limits = as_arrays(space.columns, rows)
    most = limits + beyond * np.abs(matrix).sum(axis=1) + ROUNDING
    kept = (mixes @ matrix.T <= most).all(axis=1)
    return np.asarray(kept)


def whole_percents(space: Space, count: int, seed: int) -> FloatArray:
    """Return recipes in whole percents that fill a space, (n, k), each once.

    Corners, centre, edge midpoints and a lattice, each as the nearest recipe; in half
    or tenth percents, or unrounded, where the space holds none in whole ones.

    Parameters
    ----------
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
                near = neighbours(scale, region.choice, point, kept_to=_PERCENTS[-1])
            except InputError:
                continue
            found += near[region.contains(near)][:1].tolist()
        if found:
            mixes = np.array(found)
            break
    _, first = np.unique(mixes.round(9), axis=0, return_index=True)
    return mixes[np.sort(first)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Near:
    """Recipes near an answer: as written, what is weighed, and what that makes."""

    fractions: FloatArray
    masses: FloatArray
    made: FloatArray

    @property
    def others(self) -> NDArray[np.intp]:
        """Return those that are weighed otherwise than written."""
        off = np.abs(self.made - self.fractions).max(axis=1)
        return np.flatnonzero(off > ROUNDING)

    @property
    def asked(self) -> FloatArray:
        """Return what is to be evaluated: as written, then the others as weighed."""
        return np.vstack([self.fractions, self.made[self.others]])


def _near(space: Space, found: Found, scale: Space, *, farther: bool) -> _Near:
    """Return the recipes near an answer that the scale weighs as they are written."""
    kept = _PERCENTS[-1]
    if scale.batch is not None and scale.scale_step is not None:
        kept = scale.scale_step / scale.batch
    mixes = neighbours(
        space, found.choice, found.fractions, farther=farther, kept_to=kept
    )
    masses = _masses(mixes, scale)
    made = masses / masses.sum(axis=1, keepdims=True)
    same = np.abs(made - mixes).max(axis=1) <= _SAME
    if not same.any():
        raise InputError(
            "no recipe near it in whole percents is one in whole steps of the scale"
        )
    return _Near(fractions=mixes[same], masses=masses[same], made=made[same])


def _bests(
    problem: Problem, found: Found, near: Mapping[str, _Near]
) -> dict[str, Weighable]:
    """Return the best recipe of each, all evaluated in one batch."""
    if not near:
        return {}
    judge = Judge.of(found.goal, problem.columns, found.trials.values)
    asked = [one.asked for one in near.values()]
    values = np.asarray(problem.evaluate(np.vstack(asked)), dtype=float)
    parts = np.split(values, np.cumsum([len(some) for some in asked])[:-1])
    each = zip(near.items(), parts, strict=True)
    return {name: _best(one, own, judge, found) for (name, one), own in each}


def _best(near: _Near, values: FloatArray, judge: Judge, found: Found) -> Weighable:
    """Return the best of recipes near an answer.

    Those that keep the limits go first; among them those that cost little and bring no
    limit much nearer.
    """
    count, columns = len(near.fractions), list(found.values)
    beyond = judge.standing(values)[1][count:]
    values = values[:count]
    objective, violation = judge.standing(values)
    violation[near.others] = np.maximum(violation[near.others], beyond)
    sign = 1.0 if found.goal.maximise else -1.0
    loss = sign * (found.objective - values[:, columns.index(found.goal.objective)])
    roomy = _roomy(judge, values, found)
    fine = roomy & (loss < WHOLE_COST * abs(found.objective) + ROUNDING)
    row = int(np.lexsort((objective, ~fine, violation))[0])
    return Weighable(
        masses=near.masses[row],
        fractions=near.fractions[row],
        values=dict(zip(columns, values[row].tolist(), strict=True)),
        loss=float(loss[row]),
        feasible=bool(violation[row] <= 0.0),
        tried=count,
        roomy=bool(roomy[row]),
    )


def _masses(mixes: FloatArray, space: Space) -> FloatArray:
    """Return what is weighed of recipes, in whole steps that keep the total. [kg]

    The largest remainders are rounded up. In no steps where none is known.
    """
    if space.batch is None or space.scale_step is None:
        return mixes * (space.batch or 1.0)
    total = round(space.batch / space.scale_step)
    counts = np.floor(mixes * total + 1e-9)
    rest = mixes * total - counts
    place = np.argsort(np.argsort(-rest, axis=1, kind="stable"), axis=1)
    counts += place < total - counts.sum(axis=1, keepdims=True)
    return np.asarray(counts * space.scale_step)


def _roomy(judge: Judge, values: FloatArray, found: Found) -> BoolArray:
    """Say which recipes bring no limit much nearer than the answer does."""
    own = np.array([found.values[name] for name in found.values])
    before, after = judge.outputs(own)[1:], judge.outputs(values)[:, 1:]
    return np.asarray((after >= before - _NEARER).all(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rounded:
    """The recipes of a mix for the scale."""

    #: In whole percents; in steps of the scale.
    percents: Weighable | None = None
    weighable: Weighable | None = None
    gap: str = ""  # why one of them is missing; empty if none is

    def chosen(self, objective: float) -> str:
        """Return which is the answer: "percents", "weighable" or "best".

        Whole percents where they keep every limit, bring none much nearer and cost less
        than a thousandth of the exact objective, else steps of the scale, else the
        exact mix.
        """
        whole = self.percents
        whole = whole if whole is not None and whole.offered else None
        little = WHOLE_COST * abs(objective) + ROUNDING
        if whole and whole.roomy and whole.loss < little:
            return "percents"
        if self.weighable is not None and self.weighable.offered:
            return "weighable"
        return "percents" if whole else "best"

    def of(self, found: Found) -> Weighable | Found:
        """Return the recipe of a found mix that is the answer."""
        known = {"percents": self.percents, "weighable": self.weighable}
        return known.get(self.chosen(found.objective)) or found


def rounded(problem: Problem, space: Space, found: Found) -> Rounded:
    """Return an answer in whole percents and in steps of the scale.

    One batch: all recipes within a step or two of it; if none of these keeps the
    limits, as in a corner between two, those farther away.
    """
    percents = replace(
        space, batch=1.0, scale_step=0.01, purchases=space.shares_at_hand()
    )
    scales = {"percents": percents}
    if space.batch is not None and space.scale_step is not None:
        scales["weighable"] = space
    made: dict[str, Weighable] = {}
    gaps = []
    for farther in (False, True):
        near = {}
        for name, scale in scales.items():
            try:
                near[name] = _near(scale, found, space, farther=farther)
            except InputError as error:
                made.pop(name, None)
                gaps.append(str(error))
        made |= _bests(problem, found, near)
        lacking = [name for name in near if not made[name].feasible]
        scales = {name: scales[name] for name in lacking if found.violation <= 0.0}
    return Rounded(**made, gap="; ".join(gaps))
