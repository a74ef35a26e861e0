"""Mixes of a space that can be weighed and keep what the burn law does not decide."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.decide.filling import fill
from castsugar.decide.region import Region
from castsugar.decide.requirement import Requirement
from castsugar.decide.rounding import neighbours
from castsugar.decide.space import Space
from castsugar.decide.table import TableProblem
from castsugar.decide.task import Task
from castsugar.errors import InputError

#: Columns that the burn law decides.
OF_THE_BURN_LAW = (
    "chamber_pressure_MPa",
    "chamber_pressure_p95_MPa",
    "pressure_margin",
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

_PRESSURE = "chamber_pressure_MPa"


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
