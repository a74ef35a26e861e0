"""Mixes that may be burned as strands next, and those burned before."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.limits import Requirement
from castsugar.optimize.multistart import apart
from castsugar.optimize.region import Region, fill
from castsugar.optimize.rounding import neighbours
from castsugar.optimize.space import Space
from castsugar.optimize.task import TableProblem, Task

# ----------------------------------------------------------------------------
# Mixes of a space that can be weighed and keep what the burn law does not decide.

#: Columns that the burn law decides.
OF_THE_BURN_LAW = (
    "peak_pressure_MPa",
    "peak_pressure_p95_MPa",
    "pressure_margin_percent",
)

#: Steps of a recipe that are tried, coarsest first: whole percents where they fit.
_STEPS = (0.01, 0.005, 0.001)

#: Mixes of all regions together, about.
_COUNT = 240

#: Fewer than this share of them that keep the requirements: look at so many times more.
_FEW, _FINER = 0.2, 6

#: More than so many times that are thinned out, corners excepted.
_MOST = 3

#: From here on a pressure counts as none [MPa] (as in the motor columns).
_BEYOND = 1e3

_PRESSURE = "peak_pressure_MPa"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Mixes to choose tests from, and to be certain about.

    Attributes
    ----------
    fractions : ndarray, shape (n, k)
        In the columns of the space.
    kept : bool
        Whether they keep the requirements; False: no mix looked at does, and these are
        all of them.
    looked_at : int
    step : float or None
        Of the recipes; None: not rounded.
    left_out : tuple of str
        Requirements that the burn law decides; not asked here.
    pressure : ndarray, shape (n,)
        Expected peak pressure in the motor; NaN where none. [Pa]
    """

    fractions: FloatArray
    kept: bool
    looked_at: int
    step: float | None
    left_out: tuple[str, ...]
    pressure: FloatArray


def feasible_mixes(task: Task, *, count: int = _COUNT) -> Candidates:
    """Return recipes in whole percents that fill the space and keep the requirements.

    Corners, edge midpoints, centre and a lattice, each as the nearest recipe in whole
    percents that the space holds (half or tenth percents, or unrounded, where the space
    holds none).

    Parameters
    ----------
    task : Task
        Its requirements on pressure and margin are left out: what decides them is what
        the tests are for.
    count : int
        About how many mixes.

    Raises
    ------
    InputError
        If no mix is in the space.
    """
    asked = [r for r in task.requirements if r.column not in OF_THE_BURN_LAW]
    mixes, step = _recipes(task, count)
    kept, pressure = _judged(task, asked, mixes)
    if kept.sum() < _FEW * len(mixes):
        mixes, step = _recipes(task, _FINER * count)
        kept, pressure = _judged(task, asked, mixes)
    chosen = kept if kept.any() else np.ones(len(mixes), dtype=bool)
    left_out = [r for r in task.requirements if r not in asked]
    names = [limit.name for r in left_out for limit in r.limits()]
    return Candidates(
        fractions=mixes[chosen],
        kept=bool(kept.any()),
        looked_at=len(mixes),
        step=step,
        left_out=tuple(names),
        pressure=pressure[chosen],
    )


def _recipes(task: Task, count: int) -> tuple[FloatArray, float | None]:
    """Return mixes in the coarsest step that the space holds, and the step."""
    regions = task.space.regions()
    each = max(8, count // len(regions))
    points = [_points(region, each, task.effort.seed) for region in regions]
    for step in _STEPS:
        found = [
            mix
            for region, mixes in zip(regions, points, strict=True)
            for mix in _rounded(task.space, region, mixes, step)
        ]
        if found:
            return _unlike(np.array(found)), step
    return _unlike(np.vstack(points)), None


def _points(region: Region, count: int, seed: int) -> FloatArray:
    """Return points that fill a region; corners are never thinned out."""
    points = fill(region, count, seed)
    corners = len(region.corners) if region.dimension else 1
    stride = math.ceil((len(points) - corners) / (_MOST * count)) or 1
    return np.vstack([points[:corners], points[corners::stride]])


def _rounded(
    space: Space, region: Region, points: FloatArray, step: float
) -> Iterator[FloatArray]:
    """Yield the nearest recipe in whole steps to each point, where there is one."""
    scale = replace(space, purchases={}, batch=1.0, scale_step=step)
    for point in points:
        try:
            near = neighbours(scale, region.choice, point)
        except InputError:
            continue
        inside = near[region.contains(near)]
        if len(inside):
            yield inside[0]


def _unlike(mixes: FloatArray) -> FloatArray:
    """Return mixes without doubles, in their order."""
    _, first = np.unique(mixes.round(9), axis=0, return_index=True)
    return mixes[np.sort(first)]


def _judged(
    task: Task, asked: Sequence[Requirement], mixes: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """Return which mixes keep the requirements, and their pressures. [Pa]"""
    pressure = np.full(len(mixes), np.nan)
    kept = np.ones(len(mixes), dtype=bool)
    settings, wanted = task.settings, [r.column for r in asked]
    if settings.motor is not None:
        wanted.append(_PRESSURE)
    if not wanted:
        return kept, pressure
    problem = TableProblem(
        settings=settings,
        wanted=tuple(dict.fromkeys(wanted)),
        chances=tuple(dict.fromkeys(c for r in asked for c in r.chances())),
    )
    found = dict(zip(problem.columns, problem.evaluate(mixes).T, strict=True))
    for limit in (limit for r in asked for limit in r.limits()):
        kept &= limit.slack(found[limit.column]) >= 0.0
    if settings.motor is not None:
        known = found[_PRESSURE]
        sane = np.isfinite(known) & (known > 0.0) & (known < _BEYOND)
        pressure[sane] = 1e6 * known[sane]
    return kept, pressure


# ----------------------------------------------------------------------------
# Mixes burned and mixes to choose from, in common components.

#: Mixes whose fractions differ by less are one.
SAME = 1e-6

#: New mixes differ by this share of the mass, or by this part of the widest difference
#: where that is less (assumed: nearer ones are replicates in all but name).
_APART, _SHARE = 0.03, 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pool:
    """Mixes burned and mixes to choose from, in components that hold both.

    Attributes
    ----------
    columns : tuple of str
        Of the space.
    components : tuple of str
        Of the mixes below: those of the measured mixes, then further ones of the space;
        without those that no mix holds.
    names : tuple of str
        Of the measured mixes.
    measured : ndarray, shape (m, q)
    mixes : ndarray, shape (n, q)
        Of the space.
    repeatable : ndarray, shape (r, q)
        Those of `measured` that the space has all ingredients for.
    new : ndarray of int, shape (c,)
        Those of `mixes` that a test of its own is worth: apart from measured ones and
        from each other, the farthest out first. All, if none is.
    """

    columns: tuple[str, ...]
    components: tuple[str, ...]
    names: tuple[str, ...]
    measured: FloatArray
    mixes: FloatArray
    repeatable: FloatArray
    new: NDArray[np.int64]

    @classmethod
    def of(cls, task: Task, candidates: Candidates, count: int) -> Pool:
        """Return the mixes of a task, for `count` new ones."""
        columns, motor = task.space.columns, task.settings.motor
        burned: tuple[str, ...] = ()
        shares = np.empty((0, 0))
        names: tuple[str, ...] = ()
        if motor is not None and motor.burning.law.mixes:
            burned = motor.burning.components
            shares = np.array([m.fractions for m in motor.burning.law.mixes])
            names = tuple(m.name for m in motor.burning.law.mixes)
        components = tuple(dict.fromkeys([*burned, *columns]))
        measured = _placed(shares, burned, components)
        mixes = _placed(candidates.fractions, columns, components)
        used = np.flatnonzero(np.vstack([measured, mixes]).max(axis=0) > 0.0)
        inside = np.array([c in columns for c in components])
        fitting = measured[:, ~inside].max(axis=1, initial=0.0) <= SAME
        return cls(
            columns=columns,
            components=tuple(components[i] for i in used),
            names=names,
            measured=measured[:, used],
            mixes=mixes[:, used],
            repeatable=measured[fitting][:, used],
            new=_new(mixes, measured, count),
        )

    def recipe(self, mix: FloatArray) -> dict[str, float]:
        """Return a mix by name, in the order of the components."""
        pairs = zip(self.components, mix.tolist(), strict=True)
        return {name: share for name, share in pairs if share > 0.0}


def _placed(
    fractions: FloatArray, names: tuple[str, ...], components: tuple[str, ...]
) -> FloatArray:
    """Return fractions of some names as fractions of all components."""
    found = np.zeros((len(fractions), len(components)))
    for place, name in enumerate(names):
        found[:, components.index(name)] = fractions[:, place]
    return found


def _new(mixes: FloatArray, measured: FloatArray, count: int) -> NDArray[np.int64]:
    """Return mixes apart from measured ones and each other, farthest out first."""
    middle = mixes.mean(axis=0)
    order = np.argsort(-apart(middle, mixes).round(9), kind="stable")
    wide = 2.0 * float(apart(middle, mixes).max())
    for share in (1.0, 0.5, 0.25, 0.0):
        found = _spaced(mixes, measured, order, share * min(_APART, _SHARE * wide))
        if len(found) >= count:
            break
    return np.array(found or order, dtype=np.int64)


def _spaced(
    mixes: FloatArray, measured: FloatArray, order: NDArray[np.int64], space: float
) -> list[int]:
    """Return the first mixes of an order that keep a distance."""
    taken, found = [*measured], list[int]()
    for index in order.tolist():
        mix = mixes[index]
        if not taken or apart(mix, np.array(taken)).min() > max(space - SAME, SAME):
            taken.append(mix)
            found.append(index)
    return found
