r"""When a motor burns: start and end by a threshold, and the integral between.

The burning runs from the first to the last time that a signal, zero taken away, stands
at a share of its peak (5 % by default; common practice, no source: published rules use
5 % or 10 %). The crossing lies on the straight line between two samples. Because the
rule is a choice, its effect is part of the doubt of everything that hangs on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.firing.signal import smoothed

#: Share of the peak at which burning starts and ends.
THRESHOLD = 0.05

#: A threshold stands at least this many times the noise above zero. Our rule.
_OVER_NOISE = 5.0

#: Fewest samples within the burning.
FEWEST = 10

#: Dips below the threshold that are told apart have this many samples.
_DIP = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Burning:
    """Start and end of the burning.

    Attributes
    ----------
    start, end : float
        [s]
    share : float
        Of the peak; above the asked one where noise forbids it.
    level : float
        Signal at both ends. [unit of the signal]
    dips : int
        Times that the signal falls below the level between.
    longest_dip : float
        [s]
    """

    start: float
    end: float
    share: float
    level: float
    dips: int
    longest_dip: float = 0.0

    @property
    def lasting(self) -> float:
        """Return end less start. [s]"""
        return self.end - self.start


def find_burning(
    time: FloatArray,
    values: FloatArray,
    *,
    noise: float,
    share: float = THRESHOLD,
    course: FloatArray | None = None,
) -> Burning:
    """Find where a signal rises above a share of its peak, and where it falls below.

    Parameters
    ----------
    time, values : ndarray, shape (n,)
        Zero taken away.
    noise : float
        Standard deviation of a sample. [unit of the signal]
    share : float
    course : ndarray, shape (n,), optional
        The running median of the values, if it is known already.

    Raises
    ------
    InputError
        Fewer than 10 samples between, a record that starts or ends above the level.
    """
    if course is None:
        course = smoothed(values)
    peak = float(course.max())
    level = max(share * peak, _OVER_NOISE * noise)
    if not peak >= level > 0.0:
        raise InputError(
            "no burning found: the signal never stands clearly above zero; if the "
            "sensor is not at zero before ignition, do not take its zero as read"
        )
    above = course >= level
    places = np.flatnonzero(above)
    first, last = int(places[0]), int(places[-1])
    if first == 0 or last == len(values) - 1:
        which, what = ("starts", "before ignition")
        if first:
            which, what = ("ends", "until well after burnout")
        raise InputError(
            f"the recording {which} during the burning (above "
            f"{100 * level / peak:.2g} % of the peak); record from {what}"
        )
    if last - first + 1 < FEWEST:
        raise InputError(
            f"only {last - first + 1} samples lie within the burning; at least "
            f"{FEWEST} are needed: record faster"
        )
    return Burning(
        start=_crossing(time, values, first, level, rising=True),
        end=_crossing(time, values, last, level, rising=False),
        share=level / peak,
        level=level,
        **_dips(time[first : last + 1], above[first : last + 1]),
    )


def _crossing(
    time: FloatArray, values: FloatArray, at: int, level: float, *, rising: bool
) -> float:
    """Return the time of a crossing next to a sample.

    The running median shifts a corner by up to two samples, so the samples themselves
    are looked at there.
    """
    near = range(max(at - 3, 0), min(at + 4, len(values)) - 1)
    for i in near if rising else reversed(near):
        a, b = values[i], values[i + 1]
        if (a < level <= b) if rising else (a >= level > b):
            share = (level - a) / (b - a)
            return float(time[i] + share * (time[i + 1] - time[i]))
    return float(time[at])


def _dips(time: FloatArray, above: NDArray[np.bool_]) -> dict[str, Any]:
    """Return how often the signal is below, and for how long at most."""
    edges = np.flatnonzero(np.diff(np.r_[True, above, True].astype(np.int8)))
    pairs = edges.reshape(-1, 2)
    pairs = pairs[np.diff(pairs, axis=1)[:, 0] >= _DIP]
    lasting = time[pairs[:, 1]] - time[pairs[:, 0]]
    return {"dips": len(pairs), "longest_dip": float(lasting.max(initial=0.0))}


def integral(time: FloatArray, values: FloatArray, start: float, end: float) -> float:
    """Return the integral of a course of straight pieces between two times.

    Examples
    --------
    >>> t = np.array([0.0, 1.0, 2.0])
    >>> integral(t, np.array([0.0, 2.0, 2.0]), 0.5, 1.5)
    1.75
    """
    t, y = cut(time, values, start, end)
    return float(np.trapezoid(y, t))


def cut(
    time: FloatArray, values: FloatArray, start: float, end: float
) -> tuple[FloatArray, FloatArray]:
    """Return the course between two times, with samples at both ends."""
    inside = (time > start) & (time < end)
    t = np.concatenate(([start], time[inside], [end]))
    ends = np.interp([start, end], time, values)
    return t, np.concatenate((ends[:1], values[inside], ends[1:]))


def integral_noise(time: FloatArray, start: float, end: float, noise: float) -> float:
    """Return the standard uncertainty of an integral from the noise of samples."""
    t = time[(time >= start) & (time <= end)]
    weights = np.gradient(t)
    return float(noise * np.sqrt((weights**2).sum()))
