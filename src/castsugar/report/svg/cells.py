"""Hexagonal cells around lattice points, one path for each colour."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.canvas import number
from castsugar.report.svg.colour import BINS


def hexagon(pitch: float) -> tuple[float, str]:
    """Return how a cell of a lattice is drawn from its upper corner.

    Parameters
    ----------
    pitch : float
        Distance of neighbouring lattice points [px].

    Returns
    -------
    tuple
        Distance of the upper corner from the centre [px]; relative path data.
    """
    radius = pitch / math.sqrt(3.0)
    x, y, side = number(0.5 * pitch), number(0.5 * radius), number(radius)
    return radius, f"l{x} {y}v{side}l-{x} {y}-{x}-{y}v-{side}z"


def cells_path(centres: FloatArray, pitch: float) -> str:
    """Return one path with a hexagon around each centre.

    Parameters
    ----------
    centres : ndarray, shape (n, 2)
        [px].
    pitch : float
        Distance of neighbours [px].
    """
    radius, shape = hexagon(pitch)
    rows: Iterable[tuple[float, float]] = centres.tolist()
    return "".join(f"M{number(x)} {number(y - radius)}{shape}" for x, y in rows)


def bins_of(values: FloatArray, low: float, high: float) -> IntArray:
    """Return the colour class of each finite value, 0 to BINS - 1.

    Examples
    --------
    >>> bins_of(np.array([1.0, 2.0, 3.0]), 1.0, 3.0).tolist()
    [0, 32, 63]
    """
    if high == low:
        return np.full(values.shape, BINS // 2, dtype=np.int64)
    share = (values - low) / (high - low)
    return np.asarray(np.clip(share * BINS, 0, BINS - 1).astype(np.int64))


def paths_by_bin(
    centres: FloatArray, bins: IntArray, pitch: float
) -> list[tuple[int, str]]:
    """Return (class, path) for each colour class that occurs, rising."""
    return [
        (int(index), cells_path(centres[bins == index], pitch))
        for index in np.unique(bins)
    ]
