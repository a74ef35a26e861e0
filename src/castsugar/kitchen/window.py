"""The pour window: at which temperatures a mix pours without breaking its sugar."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.heat import degradation_rate
from castsugar.kitchen.validity import ICE_POINT

#: Temperatures looked at [K], and halvings of the distance between them.
GRID = np.arange(90.0, 150.1, 5.0) + ICE_POINT
_HALVINGS = 6

#: Which rows pour when the cook ends at a temperature.
Pours = Callable[[float, NDArray[np.intp]], BoolArray]


def pour_window(
    pours: Pours, count: int, hottest: float
) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest temperature of the first stretch that pours.

    Parameters
    ----------
    pours : callable
        Of a temperature [K] and row numbers, says which of those rows pour.
    count : int
        Rows.
    hottest : float
        Where the sugar's limit lies; nothing above counts. [K]

    Returns
    -------
    low, high : ndarray, shape (count,)
        [K], within 0.1 K; NaN where there is no window between 90 C and the limit.
    """
    if hottest < GRID[0]:
        nothing = np.full(count, np.nan)
        return nothing, nothing.copy()
    top = min(hottest, float(GRID[-1]))
    grid = np.append(GRID[top > GRID], top)
    rows = np.arange(count)
    fine = np.stack([pours(float(t), rows) for t in grid], axis=1)
    some = fine.any(axis=1)
    first = fine.argmax(axis=1)
    broken = ~fine & (np.arange(grid.size) > first[:, None])
    last = np.where(broken.any(axis=1), broken.argmax(axis=1) - 1, grid.size - 1)
    low, high = grid[first], grid[last]
    before = np.flatnonzero(some & (first > 0))
    after = np.flatnonzero(some & (last < grid.size - 1))
    low[before] = _edge(pours, before, grid[first[before] - 1], low[before])
    high[after] = _edge(pours, after, grid[last[after] + 1], high[after])
    return np.where(some, low, np.nan), np.where(some, high, np.nan)


def _edge(
    pours: Pours, rows: NDArray[np.intp], outside: FloatArray, inside: FloatArray
) -> FloatArray:
    """Halve the distance between a temperature that pours and one that does not.

    Rows that look at the same temperature are asked together.
    """
    outside, inside = outside.copy(), inside.copy()
    for _ in range(_HALVINGS):
        middle = 0.5 * (outside + inside)
        for temperature in np.unique(middle):
            same = middle == temperature
            fine = pours(float(temperature), rows[same])
            here = np.flatnonzero(same)
            inside[here[fine]] = temperature
            outside[here[~fine]] = temperature
    return inside


def degradation_limit(cook: Cook, limit: float) -> float:
    """Return the end temperature at which a cook, shifted as a whole, reaches a limit.

    Parameters
    ----------
    cook : Cook
        Its shape is kept.
    limit : float
        Share of degraded sugar.

    Returns
    -------
    float
        [K], between 40 and 200 C.

    Examples
    --------
    >>> round(degradation_limit(Cook.hold(392.15, 600.0), 0.02) - 273.15)
    122
    """
    target = -np.log1p(-limit)
    times, temperatures = cook.nodes()
    shifts = temperatures - cook.pour_temperature
    low, high = 40.0 + ICE_POINT, 200.0 + ICE_POINT
    for _ in range(50):
        middle = 0.5 * (low + high)
        at = np.clip(middle + shifts, ICE_POINT, 200.0 + ICE_POINT)
        if float(np.sum(times * degradation_rate(at))) > target:
            high = middle
        else:
            low = middle
    return float(low)
