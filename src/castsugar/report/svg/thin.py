"""Long records for a picture: lowest and highest value of every column of pixels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError

#: Columns that a record is cut into; each gives two points.
COLUMNS = 400


def thinned(
    x: FloatArray, courses: Sequence[FloatArray], columns: int = COLUMNS
) -> tuple[FloatArray, list[FloatArray]]:
    """Return courses with at most two points a column, so that spikes stay.

    The points of a column are its lowest and its highest value, in the order in which
    they come; they stand at a quarter and at three quarters of it. Columns without a
    sample are left out, a course without any reading in a column leaves a gap there.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising.
    courses : sequence of ndarray, shape (n,)
        NaN is missing.
    columns : int

    Raises
    ------
    InputError
        A course that has not as many values as there are x.

    Examples
    --------
    >>> x = np.arange(6.0)
    >>> at, (course,) = thinned(x, [np.array([0.0, 9.0, 1.0, 1.0, -5.0, 2.0])], 2)
    >>> at.tolist(), course.tolist()
    ([0.625, 1.875, 3.125, 4.375], [0.0, 9.0, -5.0, 2.0])
    """
    if any(course.shape != x.shape for course in courses):
        raise InputError("each course needs one value for each x")
    if x.size <= 2 * columns:
        return x, list(courses)
    edges = np.linspace(x[0], x[-1], columns + 1)
    inner = np.searchsorted(x, edges[1:-1])
    first, stop = np.r_[0, inner], np.r_[inner, x.size]
    filled = stop > first
    first, stop = first[filled], stop[filled]
    left, right = edges[:-1][filled], edges[1:][filled]
    at = np.stack([0.75 * left + 0.25 * right, 0.25 * left + 0.75 * right], axis=1)
    return at.ravel(), [_envelope(course, first, stop) for course in courses]


def _envelope(
    values: FloatArray, first: NDArray[np.intp], stop: NDArray[np.intp]
) -> FloatArray:
    """Return lowest and highest value of each part, in the order they come."""
    found = np.full((len(first), 2), np.nan)
    for row, (a, b) in enumerate(zip(first, stop, strict=True)):
        part = values[a:b]
        known = np.isfinite(part)
        if known.any():
            low = int(np.argmin(np.where(known, part, np.inf)))
            high = int(np.argmax(np.where(known, part, -np.inf)))
            found[row] = part[[min(low, high), max(low, high)]]
    return found.ravel()
