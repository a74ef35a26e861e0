"""Samples of a sensor: noise, steps, dropouts, limits, and its zero."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import BoolArray, FloatArray
from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# Samples of a sensor: noise, steps, dropouts, a sensor at its limit.
#
# Kernels on plain arrays; nothing here knows what was measured.

#: Standard deviation over median absolute deviation, normal: 1 / 0.67449.
_MAD = 1.4826

#: Samples of the running median that a single sample is held against.
WINDOW = 5

#: A sample is a dropout or a spike if it stands off from its neighbours by this many
#: times the noise and by this share of the range. Our rule.
_STANDS_OFF, _SHARE = 10.0, 0.1

#: Equal readings in a row at the very top that make a sensor suspect. Our rule.
_FLAT = 5

#: Levels that make readings come in steps, and the widest step over the range that a
#: usable converter has (7 bits). Our rules.
_FEWEST_LEVELS, _COARSEST = 10, 0.01

#: Equal readings at the top that prove it, where there is noise; where readings come
#: in steps that the noise does not cross, equal ones are natural. Our rules.
_CLIPPED, _COARSE_STEP = 20, 0.5

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


def smoothed(values: FloatArray, window: int = WINDOW) -> FloatArray:
    """Return the running median of so many samples, an odd number."""
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(values, size=window, mode="nearest"), dtype=float)


def window_of(time: FloatArray, lasting: float, least: int = 3) -> int:
    """Return the odd number of samples, `least` or more, that so many seconds hold."""
    interval = float(np.median(np.diff(time)))
    return max(least, 2 * round(0.5 * (lasting / interval - 1.0)) + 1)


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
    0 otherwise: a top without noise is not suspect.
    """
    top = float(np.nanmax(values))
    level = values >= top - 1e-9 * abs(top)
    edges = np.flatnonzero(np.diff(np.r_[False, level, False].astype(np.int8)))
    longest = int(np.diff(edges.reshape(-1, 2), axis=1).max())
    high = values > 0.5 * top
    moves = np.abs(np.diff(values))[(high & ~level)[1:] & high[:-1]]
    steps = step_of(values) > _COARSE_STEP * _wiggle(values)
    if steps or longest < _FLAT or moves.size < _FLAT or np.median(moves) == 0.0:
        return 0
    return longest


def without_lag(
    time: FloatArray, values: FloatArray, lag: float
) -> tuple[FloatArray, float]:
    """Return what a sensor of first order was shown, and by how much noise grows.

    ``p + lag dp/dt``, the slope that of a straight line through the samples of one time
    constant, at least three.

    Parameters
    ----------
    time, values : ndarray, shape (n,)
    lag : float
        Time constant; 0 returns the values. [s]
    """
    if lag <= 0.0:
        return values, 1.0
    step = float(np.median(np.diff(time)))
    half = max(round(0.5 * lag / step), 1)
    offset = np.arange(-half, half + 1)
    kernel = -offset / float((offset**2).sum())  # convolution turns it round
    rise, run = (
        np.convolve(
            np.pad(one, half, mode="reflect", reflect_type="odd"), kernel, "valid"
        )
        for one in (values, time)
    )
    return values + lag * rise / run, math.hypot(
        1.0, lag / step / math.sqrt(float((offset**2).sum()))
    )


# ----------------------------------------------------------------------------
# The zero of a sensor: what it reads before ignition and after burnout.
#
# The zero runs straight from the middle of the quiet samples before the burning to the
# middle of those after it. After burnout, half a burn time is left out, so that the
# motor has emptied. Where the quiet samples creep as fast as the line rises, the drift
# is that creep. What it does not explain came during the burning, nobody knows when:
# all of it may have come at once. So the standard uncertainty holds that of a rectangle
# as wide as the unexplained drift, beside that of the two means. Our rule; common
# practice, no source.

#: Fewest quiet samples that make a zero, and fewest that make a doubtful one: what
#: loggers of 30 samples a second have before an ignition by hand. Our rule.
FEWEST, FEW = 10, 3

#: Standard uncertainty of a doubtful zero over the peak, beside that of its mean.
#: Assumed.
_FEW_DOUBT = 0.01

#: Share of a burn time that is left out before ignition and after burnout.
_BEFORE, _AFTER = 0.02, 0.5

#: Standard uncertainty of the zero over the peak where nothing follows the burning,
#: so that the drift is unknown. Assumed.
_UNKNOWN_DRIFT = 0.005

#: A drift above this part of the peak is never taken for creep: all of it may have come
#: at once. 1.0 and 5.1 % were seen in sound recordings of thrust.
_LARGE_DRIFT = 0.05

#: Parts that quiet samples are cut into, so that slow noise counts.
_BLOCKS = 8

#: Samples of the running median that quiet samples are held against, and how many times
#: the noise they may stand off: what a supply or a radio adds to single samples, all to
#: one side, is no zero. Our rule.
_NEAR, _SPIKE = 25, 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Zero:
    """The zero line of a sensor."""

    #: Mean reading before and after; NaN for none. [unit of the sensor]
    before: float
    after: float
    #: Middle of the quiet samples. [s]
    time_before: float
    time_after: float
    #: Standard, of the mean zero over the burning. [unit of the sensor]
    uncertainty: float
    rule: str  # "line", "before only", "as read"
    #: How many quiet samples there are before the burning, if too few; else 0.
    few: int = 0

    @property
    def drift(self) -> float:
        """Return after less before; NaN where one is unknown."""
        return self.after - self.before

    def at(self, time: ArrayLike) -> FloatArray:
        """Return the zero at some times. [unit of the sensor]"""
        t = np.asarray(time, dtype=float)
        if self.rule == "as read":
            return np.zeros(t.shape)
        if math.isnan(self.after):
            return np.full(t.shape, self.before)
        share = (t - self.time_before) / (self.time_after - self.time_before)
        return np.asarray(self.before + share * self.drift)


def as_read() -> Zero:
    """Return the zero of a sensor that is taken at its word."""
    gone = math.nan
    return Zero(
        before=gone,
        after=gone,
        time_before=gone,
        time_after=gone,
        uncertainty=0.0,
        rule="as read",
    )


def fit_zero(
    time: FloatArray,
    values: FloatArray,
    *,
    start: float,
    end: float,
    peak: float,
    least: int = FEWEST,
) -> Zero | None:
    """Return the zero line of a record; None with fewer than `least` quiet before.

    Parameters
    ----------
    time, values : ndarray, shape (n,)
    start, end : float
        Of the burning, roughly. [s]
    peak : float
        Highest reading over the zero, roughly. [unit of the sensor]
    """
    lasting = end - start
    first = calm(values, time < start - _BEFORE * lasting)
    last = calm(values, time > end + _AFTER * lasting)
    count = int(first.sum())
    if count < least:
        return None
    before, u_before = _mean(values[first])
    few = 0
    if count < FEWEST:
        few, u_before = count, math.hypot(u_before, _FEW_DOUBT * abs(peak))
    if last.sum() < FEWEST:
        return Zero(
            before=before,
            after=math.nan,
            time_before=float(time[first].mean()),
            time_after=math.nan,
            uncertainty=math.hypot(u_before, _UNKNOWN_DRIFT * abs(peak)),
            rule="before only",
            few=few,
        )
    after, u_after = _mean(values[last])
    middles = float(time[first].mean()), float(time[last].mean())
    rise = u_rise = 0.0
    if not few:
        rise, u_rise = _creep(time, values, (first, last), middles[1] - middles[0])
    drift = abs(after - before)
    # What the creep of the quiet samples does not explain may have come at once, at any
    # time of the burning.
    sudden = min(max(abs(after - before - rise), u_rise), drift)
    if drift > _LARGE_DRIFT * abs(peak):
        sudden = drift
    shape = sudden / (2.0 * math.sqrt(3.0))
    return Zero(
        before=before,
        after=after,
        time_before=middles[0],
        time_after=middles[1],
        uncertainty=math.hypot(0.5 * u_before, 0.5 * u_after, shape),
        rule="line",
        few=few,
    )


def calm(values: FloatArray, part: BoolArray) -> BoolArray:
    """Return a part of the samples without those that stand off from their neighbours.

    Where that would leave less than half of them, all are kept.
    """
    chosen = values[part]
    if chosen.size < FEWEST:
        return part
    off = np.abs(chosen - smoothed(chosen, _NEAR))
    near = off <= max(_SPIKE * noise_of(chosen), step_of(chosen))
    if 2 * near.sum() < near.size:
        return part
    kept = part.copy()
    kept[part] = near
    return kept


def _creep(
    time: FloatArray,
    values: FloatArray,
    parts: tuple[BoolArray, BoolArray],
    apart: float,
) -> tuple[float, float]:
    """Return by how much the zero rises at the slope of the quiet samples, and its u.

    The mean of the slopes before and after, each weighted by its own doubt.
    """
    weights, slopes = [], []
    for part in parts:
        slope, u = _slope(time[part], values[part])
        if not u > 0.0:
            return slope * apart, 0.0
        weights.append(u**-2)
        slopes.append(slope)
    rise = float(np.average(slopes, weights=weights))
    return apart * rise, apart / math.sqrt(sum(weights))


def _slope(time: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return the slope and its standard error, slow noise included."""
    count = min(_BLOCKS, len(values) // 2)
    x = np.array([part.mean() for part in np.array_split(time, count)])
    y = np.array([part.mean() for part in np.array_split(values, count)])
    x, y = x - x.mean(), y - y.mean()
    square = float((x**2).sum())
    slope = float((x * y).sum()) / square
    left = float(((y - slope * x) ** 2).sum()) / (count - 2)
    return slope, math.sqrt(left / square)


def _mean(values: FloatArray) -> tuple[float, float]:
    """Return the mean and its standard error, slow noise included if enough tell it."""
    count = min(_BLOCKS, len(values) // 2 if len(values) >= FEWEST else len(values))
    means = [float(part.mean()) for part in np.array_split(values, count)]
    return float(values.mean()), float(np.std(means, ddof=1)) / math.sqrt(count)
