"""Samples of a sensor: noise, steps, dropouts, a sensor at its limit.

Kernels on plain arrays; nothing here knows what was measured.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from castsugar.arrays import BoolArray, FloatArray

#: Standard deviation over median absolute deviation, normal: 1 / 0.67449.
_MAD = 1.4826

#: Samples of the running median that a single sample is held against.
_WINDOW = 5

#: A sample is a dropout or a spike if it stands off from its neighbours by this many
#: times the noise and by this share of the range. Our rule.
_STANDS_OFF, _SHARE = 10.0, 0.1

#: Equal readings in a row at the very top that make a sensor suspect. Our rule.
_FLAT = 5

#: Levels that make readings come in steps, and the widest step over the range that a
#: usable converter has (7 bits). Our rules.
_FEWEST_LEVELS, _COARSEST = 10, 0.01

#: Equal readings at the top that prove it, where there is noise. Our rule.
_CLIPPED = 20

#: A gap in the times is longer than this many usual intervals. Our rule.
_GAP = 3.0


def step_of(values: FloatArray) -> float:
    """Return the smallest difference between two different readings; 0 if none."""
    levels = np.unique(values[np.isfinite(values)])
    if levels.size < 2:
        return 0.0
    apart = np.diff(levels)
    # Readings that differ by rounding of the file alone are one reading.
    apart = apart[apart > 1e-9 * np.ptp(levels)]
    return float(apart.min())


def noise_of(values: FloatArray) -> float:
    """Return the standard deviation of a single sample about a smooth course.

    From the differences of neighbours, whose median is not moved by the burning
    itself. Where most neighbours are equal, because the readings come in steps wider
    than the noise, that of rounding, step / sqrt(12).
    """
    known = values[np.isfinite(values)]
    if known.size < 3:
        return 0.0
    found = _wiggle(known)
    return found if found > 0.0 else _rounding(known)


def _wiggle(values: FloatArray) -> float:
    """Return the noise that neighbours show; 0 where most of them are equal."""
    if values.size < 3:
        return 0.0
    off = values[1:-1] - 0.5 * (values[:-2] + values[2:])
    # The variance of y1 - (y0 + y2) / 2 is 1.5 times that of a sample.
    return float(_MAD * np.median(np.abs(off)) / np.sqrt(1.5))


def _rounding(values: FloatArray) -> float:
    """Return the noise of rounding; 0 where the levels are too few to be steps."""
    levels = np.unique(values)
    if levels.size < _FEWEST_LEVELS:
        return 0.0
    step = min(step_of(values), _COARSEST * float(np.ptp(levels)))
    return float(step / np.sqrt(12.0))


def smoothed(values: FloatArray) -> FloatArray:
    """Return the running median of 5 samples."""
    return np.asarray(median_filter(values, size=_WINDOW, mode="nearest"), dtype=float)


def gaps(time: FloatArray) -> BoolArray:
    """Mark intervals (n - 1) that are much longer than the usual one."""
    apart = np.diff(time)
    return np.asarray(apart > _GAP * np.median(apart))


def bridge(time: FloatArray, values: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Replace missing samples and lone spikes by the straight line over them.

    A spike is one or two samples that stand off from the running median of five by
    10 times the noise and by a tenth of the range.

    Parameters
    ----------
    time, values : ndarray, shape (n,)
        NaN is missing.

    Returns
    -------
    values : ndarray, shape (n,)
    bridged : ndarray of bool, shape (n,)
    """
    missing = ~np.isfinite(values)
    filled = _line_over(time, values, missing)
    off = np.abs(filled - smoothed(filled))
    limit = max(_STANDS_OFF * noise_of(filled), _SHARE * float(np.ptp(filled)))
    lone = (off > limit) & _lonely(off > limit)
    bridged = missing | lone
    return _line_over(time, filled, bridged), bridged


def _lonely(marked: BoolArray) -> BoolArray:
    """Keep marks that stand in runs of one or two."""
    edges = np.flatnonzero(np.diff(np.r_[False, marked, False].astype(np.int8)))
    kept = np.zeros(marked.shape, dtype=bool)
    for first, stop in edges.reshape(-1, 2):
        kept[first:stop] = stop - first <= 2
    return kept


def _line_over(time: FloatArray, values: FloatArray, gone: BoolArray) -> FloatArray:
    if not gone.any() or gone.all():
        return values
    return np.where(gone, np.interp(time, time[~gone], values[~gone]), values)


def at_limit(values: FloatArray, ceiling: float) -> BoolArray:
    """Mark samples at or above the highest reading of a sensor, to 0.1 %."""
    return np.asarray(values >= ceiling - 1e-3 * abs(ceiling))


def clipped(values: FloatArray) -> BoolArray:
    """Mark readings at the very top that cannot be but a sensor at its limit.

    Twenty or more equal ones in a row, where all others are noisy.
    """
    nothing = np.zeros(values.shape, dtype=bool)
    if flat_top(values) < _CLIPPED:
        return nothing
    top = values >= values.max() - 1e-9 * abs(float(values.max()))
    least = 1e-9 * float(np.ptp(values))
    return np.asarray(top) if _wiggle(values[~top]) > least else nothing


def flat_top(values: FloatArray) -> int:
    """Return how many equal readings in a row stand at the very top, if suspect.

    Five or more are, where other samples near the top do move from one to the next;
    0 otherwise. A rectangle without noise is not suspect, a trapezium without noise is.
    """
    top = float(np.nanmax(values))
    level = values >= top - 1e-9 * abs(top)
    edges = np.flatnonzero(np.diff(np.r_[False, level, False].astype(np.int8)))
    longest = int(np.diff(edges.reshape(-1, 2), axis=1).max())
    high = values > 0.5 * top
    moves = np.abs(np.diff(values))[(high & ~level)[1:] & high[:-1]]
    if longest < _FLAT or moves.size < _FLAT or np.median(moves) == 0.0:
        return 0
    return longest
