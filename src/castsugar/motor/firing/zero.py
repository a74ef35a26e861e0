"""The zero of a sensor: what it reads before ignition and after burnout.

The zero runs straight from the middle of the quiet samples before the burning to the
middle of those after it. After burnout, half a burn time is left out, so that the
motor has emptied. Where the quiet samples creep as fast as the line rises, the drift is
that creep. What it does not explain came during the burning, nobody knows when: all of
it may have come at once. So the standard uncertainty holds that of a rectangle as wide
as the unexplained drift, beside that of the two means. Our rule; common practice, no
source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import BoolArray, FloatArray

#: Fewest quiet samples that make a zero.
FEWEST = 10

#: Share of a burn time that is left out before ignition and after burnout.
_BEFORE, _AFTER = 0.02, 0.5

#: Standard uncertainty of the zero over the peak where nothing follows the burning,
#: so that the drift is unknown. Assumed.
_UNKNOWN_DRIFT = 0.005

#: Parts that quiet samples are cut into, so that slow noise counts.
_BLOCKS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Zero:
    """The zero line of a sensor.

    Attributes
    ----------
    before, after : float
        Mean reading before and after; NaN for none. [unit of the sensor]
    time_before, time_after : float
        Middle of the quiet samples. [s]
    uncertainty : float
        Standard, of the mean zero over the burning. [unit of the sensor]
    sudden : float
        Part of the drift, without sign, that the creep of the quiet samples does not
        explain: it may have come at once, at any time of the burning.
    rule : str
        "line", "before only", "as read".
    """

    before: float
    after: float
    time_before: float
    time_after: float
    uncertainty: float
    rule: str
    sudden: float = 0.0

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


def as_read(uncertainty: float = 0.0) -> Zero:
    """Return the zero of a sensor that is taken at its word."""
    gone = math.nan
    return Zero(
        before=gone,
        after=gone,
        time_before=gone,
        time_after=gone,
        uncertainty=uncertainty,
        rule="as read",
    )


def fit_zero(
    time: FloatArray,
    values: FloatArray,
    *,
    start: float,
    end: float,
    peak: float,
) -> Zero | None:
    """Return the zero line of a record; None without quiet samples before.

    Parameters
    ----------
    time, values : ndarray, shape (n,)
    start, end : float
        Of the burning, roughly. [s]
    peak : float
        Highest reading over the zero, roughly. [unit of the sensor]
    """
    lasting = end - start
    first = time < start - _BEFORE * lasting
    last = time > end + _AFTER * lasting
    if first.sum() < FEWEST:
        return None
    before, u_before = _mean(values[first])
    if last.sum() < FEWEST:
        return Zero(
            before=before,
            after=math.nan,
            time_before=float(time[first].mean()),
            time_after=math.nan,
            uncertainty=math.hypot(u_before, _UNKNOWN_DRIFT * abs(peak)),
            rule="before only",
        )
    after, u_after = _mean(values[last])
    middles = float(time[first].mean()), float(time[last].mean())
    rise, u_rise = _creep(time, values, (first, last), middles[1] - middles[0])
    drift = abs(after - before)
    sudden = min(max(abs(after - before - rise), u_rise), drift)
    shape = sudden / (2.0 * math.sqrt(3.0))
    return Zero(
        before=before,
        after=after,
        time_before=middles[0],
        time_after=middles[1],
        uncertainty=math.hypot(0.5 * u_before, 0.5 * u_after, shape),
        rule="line",
        sudden=sudden,
    )


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
    """Return the mean and its standard error, slow noise included."""
    count = min(_BLOCKS, len(values) // 2)
    means = [float(part.mean()) for part in np.array_split(values, count)]
    return float(values.mean()), float(np.std(means, ddof=1)) / math.sqrt(count)
