"""One sensor of a static test, from raw samples to a course above zero."""

from __future__ import annotations

import itertools
import math
from dataclasses import field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.firing.signal import (
    FEW,
    FEWEST,
    WINDOW,
    Zero,
    as_read,
    at_limit,
    bridge,
    clipped,
    fit_zero,
    flat_top,
    gaps,
    noise_of,
    smoothed,
    window_of,
    without_lag,
)

# ----------------------------------------------------------------------------
# When a motor burns: start and end by a threshold, and the integral between.
#
# The burning is one stretch of the running median of 50 ms, zero taken away: from its
# first and last time at 35 % of the highest, outward until it falls below a share of it
# (5 % by default; common practice, no source: published rules use 5 % or 10 %). So no
# lone sample at rest, no spike of a supply and no igniter long before has a say. The
# crossing lies on the straight line between two samples. Because the rule is a choice,
# its effect is part of the doubt of everything that hangs on it.

#: Share of the peak at which burning starts and ends.
THRESHOLD = 0.05

#: A threshold stands at least this many times the noise above zero. Our rule.
_BURNING_OVER_NOISE = 5.0

#: The running median that start and end are read from [s], and the share of its highest
#: that is burning beyond doubt. Our rules.
STEADY, BURNING = 0.05, 0.35

#: A signal that stands there for less than this is a burst, or no motor. [s] Our rule.
_SHORTEST = 0.2

#: A reading at rest after the burning that lies this part of the peak below that before
#: it is no drift. Our rule.
_FALLEN = 0.1

#: Fewest samples within the burning.
FEWEST_BURNING = 10

#: With fewer than these within the burning its peak is a lower limit: nothing says how
#: high it stood between two of them. Our rule.
FEWEST_FOR_PEAK = 20

#: Dips below the threshold that are told apart have this many samples.
_DIP = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Burning:
    """Start and end of the burning."""

    start: float  # [s]
    end: float  # [s]
    share: float  # of the peak; above the asked one where noise forbids it
    level: float  # signal at both ends [unit of the signal]
    dips: int  # times that the signal falls below the level between
    longest_dip: float = 0.0  # [s]

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
    course : ndarray, shape (n,), optional
        The running median of the values, if it is known already.

    Raises
    ------
    InputError
        Fewer than 10 samples between, a record that starts or ends above the level.
    """
    if course is None:
        course = smoothed(values, window_of(time, STEADY))
    peak = float(course.max())
    # The noise of a running median of n samples is 1.25 / sqrt(n) that of one.
    quiet = 1.25 * noise / np.sqrt(window_of(time, STEADY))
    level = max(share * peak, _BURNING_OVER_NOISE * quiet)
    if not peak >= level > 0.0:
        raise InputError(
            "no burning found: the signal never stands clearly above zero; if the "
            "sensor is not at zero before ignition, do not take its zero as read"
        )
    above = course >= level
    first, last = _stretch(above, course >= max(BURNING * peak, level))
    if first == 0 or last == len(values) - 1:
        which, what = ("starts", "before ignition")
        if first:
            which, what = ("ends", "until well after burnout")
        raise InputError(
            f"the recording {which} during the burning (above "
            f"{100 * level / peak:.2g} % of the peak); record from {what}"
        )
    if last - first + 1 < FEWEST_BURNING:
        raise InputError(
            f"only {last - first + 1} samples lie within the burning; at least "
            f"{FEWEST_BURNING} are needed: record faster"
        )
    return Burning(
        start=_between(time, course, first - 1, level),
        end=_between(time, course, last, level),
        share=level / peak,
        level=level,
        **_dips(time[first : last + 1], above[first : last + 1]),
    )


def _stretch(above: BoolArray, certain: BoolArray) -> tuple[int, int]:
    """Return the first and last sample of the stretch about what certainly burns."""
    sure = np.flatnonzero(certain)
    below = np.flatnonzero(~above)
    before, after = below[below < sure[0]], below[below > sure[-1]]
    first = int(before[-1]) + 1 if before.size else 0
    last = int(after[0]) - 1 if after.size else len(above) - 1
    return first, last


def _between(time: FloatArray, values: FloatArray, at: int, level: float) -> float:
    """Return when the line from one sample to the next meets a level."""
    a, b = values[at], values[at + 1]
    return float(time[at] + (level - a) / (b - a) * (time[at + 1] - time[at]))


def crossings(
    time: FloatArray, course: FloatArray, first_level: float, last_level: float
) -> tuple[float, float]:
    """Return when a course first rises to a level and last falls to another.

    Looked for outward from where it certainly burns; NaN where it never does. [s]
    """
    found = []
    for level, last in ((first_level, False), (last_level, True)):
        sure = course >= max(BURNING * float(course.max()), level)
        if not sure.any():
            return math.nan, math.nan
        ends = _stretch(course >= level, sure)
        at = ends[1] if last else ends[0] - 1
        inside = 0 <= at < len(course) - 1
        found.append(_between(time, course, at, level) if inside else math.nan)
    return found[0], found[1]


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


#: The tail of a burning ends where the running median falls below this share of the
#: peak, or so many times the noise at rest. Our rule.
_GONE, _GONE_NOISE = 0.01, 3.0


def tail_of(channel: Channel) -> tuple[FloatArray, FloatArray]:
    """Return the tail behind the burning, until it cannot be told from zero.

    Returns
    -------
    time, value : ndarray, shape (n,)
        From the end of the burning [s]; never below zero. [unit of the sensor]
    """
    end = channel.burning.end
    gone = max(_GONE * channel.steady_peak, _GONE_NOISE * channel.noise)
    quiet = channel.time[(channel.time > end) & (channel.steady < gone)]
    last = float(quiet[0]) if quiet.size else float(channel.time[-1])
    time, value = cut(channel.time, channel.steady, end, last)
    return time - end, np.maximum(value, 0.0)


def integral_noise(time: FloatArray, start: float, end: float, noise: float) -> float:
    """Return the standard uncertainty of an integral from the noise of samples."""
    t = time[(time >= start) & (time <= end)]
    weights = np.gradient(t)
    return float(noise * np.sqrt((weights**2).sum()))


# ----------------------------------------------------------------------------
# One sensor of a static test, from raw samples to a course above zero.

#: A peak stands this many times the noise above zero, or nothing burned. Our rule.
_OVER_NOISE = 8.0

#: Quiet of this part of the burning, in one piece, makes it two; a gap in the times
#: matters if it is longer than this part of the burning. Our rules.
_QUIET_BETWEEN, _LONG = 0.3, 0.01

#: Share of the peak that is the first sign of a burning. Our rule.
_FIRST_SIGN = 0.01

#: A record that stands at this share of its peak again after the burning holds two;
#: before it, an igniter. Our rule.
SECOND = 0.2

#: Share of the range that a record may stand above its lowest level at its ends.
_QUIET = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """How a sensor's samples are taken."""

    share: float  # of the peak, where burning starts and ends
    taken_as_read: bool = False  # take no zero away
    ceiling: float = np.inf  # highest reading of the sensor [unit of the sensor]
    least_peak: float = 0.0  # a peak below is no burning [unit of the sensor]
    lag: float = 0.0  # time constant of the sensor, which is corrected; 0: none [s]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Channel:
    """A sensor's course, zero taken away, gaps bridged."""

    name: str
    time: FloatArray  # (n,) [s]
    value: FloatArray  # (n,) [unit of the sensor]
    #: Running medians: of five values, and of 50 ms, (n,).
    course: FloatArray
    steady: FloatArray
    noise: float  # standard deviation of a sample about its neighbours
    #: That of a sample at rest before the burning, lone spikes included.
    rest_noise: float
    zero: Zero
    burning: Burning
    #: Highest running median of five samples.
    peak: float  # [unit of the sensor]
    peak_time: float  # [s]
    bridged: BoolArray  # (n,)
    gap: BoolArray  # (n - 1,)
    at_limit: BoolArray  # samples at the stated limit of the sensor, (n,)
    flat: int  # equal readings at the top that make the sensor suspect
    latest: float = math.inf  # no burning is counted beyond [s]
    _found: dict[float, Burning] = field(default_factory=dict, repr=False)

    def impulse(self) -> float:
        """Return the integral over the burning. [unit of the sensor, s]"""
        return self.between(self.burning)

    def between(self, burning: Burning) -> float:
        """Return the integral between other limits. [unit of the sensor, s]"""
        return integral(self.time, self.value, burning.start, burning.end)

    @property
    def steady_peak(self) -> float:
        """Return the highest running median of 50 ms. [unit of the sensor]"""
        return float(self.steady.max())

    def around(self) -> tuple[float, float]:
        """Return start and end with half a burn time of rest on each side. [s]"""
        b = self.burning
        first, last = b.start - 0.5 * b.lasting, b.end + 0.5 * b.lasting
        return max(first, float(self.time[0])), min(last, float(self.time[-1]))

    def bridged_impulse(self) -> float:
        """Return the part of the integral that lies under bridged samples and gaps."""
        step, open_ = np.diff(self.time), self._open()
        height = 0.5 * (self.value[1:] + self.value[:-1])
        return float((step * height)[open_].sum())

    def limits(self, share: float | None = None) -> Burning:
        """Return start and end; with limits at another share of the peak.

        Shares near 1 are taken as half-way to the peak.
        """
        if share is None:
            return self.burning
        share = min(share, 0.5 * (1.0 + self.burning.share))
        if share not in self._found:
            found = find_burning(
                self.time, self.value, noise=self.noise, share=share, course=self.steady
            )
            end = min(found.end, self.latest)
            self._found[share] = replace(found, end=end)
        return self._found[share]

    @property
    def within(self) -> int:
        """Return the number of samples within the burning."""
        b = self.burning
        return int(((self.time >= b.start) & (self.time <= b.end)).sum())

    @property
    def is_sparse(self) -> bool:
        """Whether too few samples lie within the burning for a peak, or a law."""
        return self.within < FEWEST_FOR_PEAK

    @property
    def blunted(self) -> float:
        """Return by how much a slow sensor may have blunted the peak.

        Its highest sample over the running median, where five samples take longer
        than what counts as steady; else 0. [unit of the sensor]
        """
        lasting = (WINDOW - 1) * float(np.median(np.diff(self.time)))
        if lasting <= STEADY:
            return 0.0
        return max(float(self.value.max()) - self.peak, 0.0)

    @property
    def bridged_share(self) -> float:
        """Return the share of the burn time that samples do not cover."""
        return float(np.diff(self.time)[self._open()].sum() / self.burning.lasting)

    def _open(self) -> BoolArray:
        """Mark intervals of the burning that samples do not cover."""
        middle = 0.5 * (self.time[1:] + self.time[:-1])
        inside = (middle > self.burning.start) & (middle < self.burning.end)
        long = np.diff(self.time) > _LONG * self.burning.lasting
        bridged = (self.gap & long) | self.bridged[1:] | self.bridged[:-1]
        return np.asarray(bridged & inside)


def prepare(
    name: str,
    time: FloatArray,
    values: FloatArray,
    rules: Rules,
) -> Channel:
    """Turn raw samples into a course above zero, with its burning.

    Parameters
    ----------
    name : str
        Of what is measured, for messages.
    time, values : ndarray, shape (n,)
        Times rise; NaN is a dropout.

    Raises
    ------
    InputError
        No burning, a signal upside down, a record without quiet samples before
        ignition, one that starts or ends during the burning.
    """
    check_samples(name, time, values)
    read, bridged = bridge(time, values)
    filled, more = without_lag(time, read, rules.lag)
    noise = more * noise_of(read)
    _check_found(name, filled, max(_OVER_NOISE * noise, rules.least_peak))
    zero = as_read()
    if not rules.taken_as_read:
        zero = _found_zero(name, time, filled, noise)
    value = filled - zero.at(time)
    course, steady = (smoothed(value, n) for n in (WINDOW, window_of(time, STEADY)))
    top = int(np.argmax(course))
    if not course[top] > 0.0:
        raise InputError(
            f"{name}: no burning found; taken as read, nothing stands above zero: let "
            "the zero be taken away (--zero line)"
        )
    burning = find_burning(time, value, noise=noise, share=rules.share, course=steady)
    channel = Channel(
        name=name,
        time=time,
        value=value,
        course=course,
        steady=steady,
        noise=noise,
        rest_noise=_rest_noise(time, value, burning.start, noise),
        zero=zero,
        burning=burning,
        peak=float(course[top]),
        peak_time=float(time[top]),
        bridged=bridged,
        gap=gaps(time),
        at_limit=at_limit(read, rules.ceiling) | clipped(read),
        flat=flat_top(read),
    )
    _check_one(channel)
    _check_whole(channel)
    return channel


def _check_one(channel: Channel) -> None:
    """Refuse two burnings in one record."""
    name, burning, steady = channel.name, channel.burning, channel.steady
    do = (
        "if the file holds two firings, or an igniter long before the grain, cut it "
        "and keep one"
    )
    if burning.longest_dip > _QUIET_BETWEEN * burning.lasting:
        raise InputError(
            f"{name}: {burning.longest_dip:.2g} s of quiet lie between two burnings, "
            f"{burning.start:.4g} s to {burning.end:.4g} s in all; {do}"
        )
    after = channel.time > channel.limits(min(THRESHOLD, burning.share)).end
    other = float(steady[after].max(initial=0.0))
    if other > SECOND * channel.steady_peak:
        at = float(channel.time[after][np.argmax(steady[after])])
        raise InputError(
            f"{name}: stands at {100 * other / channel.steady_peak:.2g} % of its peak "
            f"again at {at:.4g} s, after the burning ended; {do}"
        )


def _check_whole(channel: Channel) -> None:
    """Refuse a burst, and a reading that falls away."""
    name, peak, zero = channel.name, channel.steady_peak, channel.zero
    high = channel.steady >= BURNING * peak
    lasting = float(np.diff(channel.time)[high[1:] & high[:-1]].sum())
    if lasting < _SHORTEST:
        quiet = channel.burning.start - float(channel.time[0])
        raise InputError(
            f"{name}: a burst: {_shown(name, peak)} and above a third of it for "
            f"{lasting:.2g} s only, after {quiet:.3g} s of quiet; a case or a nozzle "
            "that let go, an igniter alone, or a knock on the stand: nothing is told "
            "of a burning"
        )
    if zero.drift < -_FALLEN * peak:
        raise InputError(
            f"{name}: after the burning it reads {_shown(name, -zero.drift)} less than "
            "before: case or nozzle let go, or the sensor came off; nothing is told of "
            "such a firing"
        )


def _rest_noise(
    time: FloatArray, value: FloatArray, start: float, noise: float
) -> float:
    """Return the standard deviation at rest; that about neighbours if it is unknown."""
    rest = value[time < start - STEADY]
    return noise if rest.size < FEWEST else float(np.std(rest))


def _found_zero(name: str, time: FloatArray, filled: FloatArray, noise: float) -> Zero:
    """Return the zero line; the limits of the results have no say in it."""
    rough = filled - np.interp(time, time[[0, -1]], _end_levels(filled))
    burning = find_burning(time, rough, noise=noise, share=THRESHOLD)
    first = find_burning(time, rough, noise=noise, share=_FIRST_SIGN)
    steady = smoothed(rough, window_of(time, STEADY))
    peak = float(steady.max())
    early = steady[time < first.start] > SECOND * peak
    starts = [first.start, burning.start]
    if early.any():  # an igniter: the zero is what was read before it
        starts = [float(time[np.argmax(early)]), *starts]
    for least, start in itertools.product((FEWEST, FEW), starts):
        found = fit_zero(
            time, filled, start=start, end=burning.end, peak=peak, least=least
        )
        if found is not None:
            return found
    raise InputError(
        f"{name}: fewer than {FEW} quiet samples before ignition; the zero of the "
        "sensor is unknown: record earlier, or say --zero as-read"
    )


def check_samples(name: str, time: FloatArray, values: FloatArray) -> None:
    """Refuse samples that are no record."""
    if time.ndim != 1 or time.shape != values.shape:
        raise InputError(
            f"{name}: times have shape {time.shape} and readings {values.shape}; give "
            "one reading for each time"
        )
    if len(time) < 3 * FEWEST:
        raise InputError(
            f"{name}: {len(time)} samples are no recording; at least {3 * FEWEST}"
        )
    if not np.isfinite(time).all():
        raise InputError(
            f"{name}: a time is no finite number; times must rise, leave such samples "
            "out"
        )
    late = np.flatnonzero(~(np.diff(time) > 0.0))
    if late.size:
        i = int(late[0]) + 1
        raise InputError(
            f"{name}: sample {i + 1} at {time[i]:.9g} s does not come after the one "
            f"before at {time[i - 1]:.9g} s; times must rise"
        )
    if not np.isfinite(values).any():
        raise InputError(f"{name}: no reading at all, every sample is missing")


def _check_found(name: str, filled: FloatArray, least: float) -> None:
    """Refuse a record without a burning, or upside down, or cut off."""
    course = smoothed(filled)
    first, last = _end_levels(filled)
    lowest, highest = float(course.min()), float(course.max())
    up, down = highest - max(first, last), min(first, last) - lowest
    if down > 2.0 * max(up, 0.0) and down > least:
        raise InputError(
            f"{name} falls {_shown(name, down)} below its zero and never rises as far: "
            f"the sensor reads upside down; turn it with --invert-{name}"
        )
    over = highest - lowest
    for level, what, other, do in (
        (first, "starts", "case or nozzle let go", "before ignition"),
        (last, "ends", "its zero moved that far", "until well after burnout"),
    ):
        if over > least and level - lowest > _QUIET * over:
            raise InputError(
                f"{name}: the recording {what} during the burning, at "
                f"{100 * (level - lowest) / over:.3g} % of the peak above its lowest "
                f"reading, or {other}; record {do}"
            )
    if not up > least:
        raise InputError(
            f"{name}: no burning found; the highest reading stands "
            f"{_shown(name, max(up, 0.0))} above the quiet ones, and more than "
            f"{_shown(name, least)} is needed"
        )


def _end_levels(filled: FloatArray) -> tuple[float, float]:
    """Return the median reading of the first and of the last samples."""
    count = int(np.clip(len(filled) // 100, 5, 200))
    return float(np.median(filled[:count])), float(np.median(filled[-count:]))


def _shown(name: str, value: float) -> str:
    """Write a reading with its unit."""
    return f"{1e-6 * value:.3g} MPa" if name == "pressure" else f"{value:.3g} N"
