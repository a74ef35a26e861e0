"""Regular points of a region of mixes: corners, edge midpoints, centre, lattice."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.decide.region import Region, tidy

#: Finest lattice: parts of what lies above the lowest fractions.
_FINEST = 1000

#: Most lattice points of the box around a region that are tried.
_MOST = 400_000


def fill(
    region: Region, count: int, seed: int, *, step: float | None = None
) -> FloatArray:
    """Return points that fill a region evenly.

    Parameters
    ----------
    region : Region
    count : int
        About how many; ignored with a `step`.
    seed : int
        Of the random mixtures of corners that fill a region too thin for a lattice.
    step : float, optional
        Of the lattice. [mass fraction]

    Returns
    -------
    ndarray, shape (n, k)
        Always with corners, edge midpoints and centre first.
    """
    ends = region.corners[region.edges]
    special = np.vstack([region.corners, region.centre, ends.mean(axis=1)])
    if region.dimension == 0:
        return special[:1]
    if step is not None:
        return tidy(np.vstack([special, lattice(region, step)]))
    points = _lattice_of(region, count)
    if len(points) < count // 2:
        rng = np.random.default_rng([seed, 11])
        shares = rng.dirichlet(np.ones(len(region.corners)), count - len(points))
        points = np.vstack([points, shares @ region.corners])
    return tidy(np.vstack([special, points]))


def _lattice_of(region: Region, count: int) -> FloatArray:
    """Return the coarsest lattice tried that has `count` points inside."""
    room = _room(region)
    parts = 4
    while True:
        points = lattice(region, room / parts)
        if len(points) >= count or parts >= _FINEST:
            return points
        growth = (count / max(len(points), 1)) ** (1.0 / region.dimension)
        finer = min(math.ceil(parts * min(max(growth, 1.1), 2.0)), _FINEST)
        if math.comb(finer + region.dimension, region.dimension) > _MOST:
            return points
        parts = finer


def _room(region: Region) -> float:
    """Return what is left of 1 above the lowest fraction of every ingredient."""
    return float(1.0 - region.corners.min(axis=0).sum())


def lattice(region: Region, step: float) -> FloatArray:
    """Return the mixes of a region at whole steps above its lowest fractions.

    These are the points of a simplex lattice in pseudo-components that the region holds
    (J. A. Cornell, *Experiments with Mixtures*, from memory). An ingredient that takes
    up the rest is not a multiple of the step where the room is not.
    """
    low, high = region.corners.min(axis=0), region.corners.max(axis=0)
    free = np.flatnonzero(high > low + 1e-12)
    most = np.floor((high - low)[free] / step + 1e-9).astype(np.int64)
    total = math.floor(_room(region) / step + 1e-9)
    counts = _compositions(total, most)
    points = np.tile(low, (len(counts), 1))
    points[:, free] += step * counts
    rest = 1.0 - points.sum(axis=1)
    points[:, free[-1]] += rest
    return points[region.contains(points)]


def _compositions(total: int, most: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return all ways to write `total` as a sum of whole numbers up to `most`."""
    found = np.zeros((1, 0), dtype=np.int64)
    left = np.array([total])
    for index, top in enumerate(most):
        later = int(most[index + 1 :].sum())
        least, largest = np.maximum(left - later, 0), np.minimum(left, top)
        options = np.maximum(largest - least + 1, 0)
        row = np.repeat(np.arange(len(found)), options)
        place = np.arange(len(row)) - np.repeat(np.cumsum(options) - options, options)
        value = least[row] + place
        found = np.hstack([found[row], value[:, None]])
        left = left[row] - value
    return found
