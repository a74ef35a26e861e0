"""Regular points of a triangle, and lines through a recipe. Floor 0."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def triangle(step: float) -> FloatArray:
    """Return all triples of multiples of `step` that sum to 1.

    Parameters
    ----------
    step : float
        A whole fraction of 1.

    Returns
    -------
    ndarray, shape (n, 3)
        Ordered by the first, then the second share.

    Examples
    --------
    >>> triangle(0.5).tolist()[:3]
    [[0.0, 0.0, 1.0], [0.0, 0.5, 0.5], [0.0, 1.0, 0.0]]
    """
    count = round(1.0 / step)
    points = [
        (i, j, count - i - j) for i in range(count + 1) for j in range(count + 1 - i)
    ]
    return np.array(points, dtype=float) / count


def with_fixed(shares: FloatArray, total: float, fixed: Sequence[float]) -> FloatArray:
    """Return shares scaled to `total`, with fixed shares appended to every row."""
    rest = np.tile(np.asarray(fixed, dtype=float), (len(shares), 1))
    return np.hstack([total * shares, rest])


def along(recipe: Sequence[float], index: int, values: Sequence[float]) -> FloatArray:
    """Return recipes in which one share runs and the others keep their ratio.

    Parameters
    ----------
    recipe : sequence of float
        Mass fractions that sum to 1.
    index : int
        The share that runs.
    values : sequence of float
        Its values, 0 to 1.

    Examples
    --------
    >>> along([0.6, 0.2, 0.2], 0, [0.5]).tolist()
    [[0.5, 0.25, 0.25]]
    """
    base = np.asarray(recipe, dtype=float)
    rest = base.copy()
    rest[index] = 0.0
    rest = rest / rest.sum()
    out = np.outer(1.0 - np.asarray(values, dtype=float), rest)
    out[:, index] = values
    return out


def in_steps(shares: Sequence[float], total: int) -> list[int]:
    """Return whole numbers in proportion to shares that sum to `total`.

    Largest remainder: every number is less than 1 from its exact part.

    Parameters
    ----------
    shares : sequence of float
        0 or more, not all 0.
    total : int

    Examples
    --------
    >>> in_steps([1.0, 1.0, 1.0], 10), in_steps([0.6, 0.2, 0.2], 7)
    ([4, 3, 3], [4, 2, 1])
    """
    exact = np.asarray(shares, dtype=float)
    exact = total * exact / exact.sum()
    found = np.floor(exact + 1e-9)
    order = np.argsort(-(exact - found), kind="stable")
    found[order[: total - int(found.sum())]] += 1.0
    return [int(n) for n in found]
