"""The zero of a sensor: what it reads before ignition and after burnout.

The zero runs straight from the middle of the quiet samples before the burning to the
middle of those after it. After burnout, half a burn time is left out, so that the
motor has emptied. How the zero went during the burning nobody knows: all of the drift
may have come at once. So the standard uncertainty holds that of a rectangle as wide as
the drift, beside that of the two means. Our rule; common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

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
    rule : str
        "line", "before only", "as read".
    """

    before: float
    after: float
    time_before: float
    time_after: float
    uncertainty: float
    rule: str

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
    shape = abs(after - before) / (2.0 * math.sqrt(3.0))
    return Zero(
        before=before,
        after=after,
        time_before=float(time[first].mean()),
        time_after=float(time[last].mean()),
        uncertainty=math.hypot(0.5 * u_before, 0.5 * u_after, shape),
        rule="line",
    )


def _mean(values: FloatArray) -> tuple[float, float]:
    """Return the mean and its standard error, slow noise included."""
    count = min(_BLOCKS, len(values) // 2)
    means = [float(part.mean()) for part in np.array_split(values, count)]
    return float(values.mean()), float(np.std(means, ddof=1)) / math.sqrt(count)
