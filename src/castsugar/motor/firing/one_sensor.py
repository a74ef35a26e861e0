r"""What one sensor's recording says of its own faults.

Four tests: a zero that comes back slowly after the burning, a burst, a top that is cut
off, hum of the mains. None of them clears a sensor: a soft limit leaves no trace in the
pressure alone. Thresholds come from an earlier study, which is not kept here (2,000
simulated sound firings, then a second fleet); how often each finds what, on firings of
a third simulator, is printed by ``benchmarks/validation``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.polynomial import Polynomial

from castsugar.arrays import BoolArray, FloatArray
from castsugar.frozen import dataclass
from castsugar.motor.firing.alarms import ALARM, NOT_TOLD, UNUSUAL, Alarm
from castsugar.motor.firing.channel import (
    BURNING,
    STEADY,
    Channel,
    crossings,
)
from castsugar.motor.firing.signal import smoothed, step_of, window_of
from castsugar.numerics import running_integral

#: The zero is looked at from this time after the burning: share of the burn time, and
#: at least so many seconds. A record that goes on for less than this share of the burn
#: time is not told: of heated zeros 8 % are found at 0.3, 78 % at 0.6, 97 % at 2.
SETTLED: Final = (0.06, 0.060)
LONG_ENOUGH = 0.6

#: Parts of that rest; the times tried over its length; F and the amplitude (share of
#: the peak) that make an alarm. F of sound records stays below 4.8 in 99.5 of 100.
PARTS, TIMES = 60, np.geomspace(0.03, 1.0, 25)
RECOVERY_F, RECOVERY_SIZE = 6.0, 0.012

#: An amplitude above this share of the peak, or one that is gone within this time [s],
#: is no heated zero but a clogged line, or a slow sensor. Our rules.
HEATED, QUICK = 0.15, 0.15

#: A burst stands off by this share of the peak and twice the noise at rest; by the
#: second where the rest is spiky (its noise more than twice that of neighbours). The
#: first tenth of the burning is left out: an igniter may burn there.
BURST, BURST_SPIKY, SPIKY, IGNITION = 0.03, 0.06, 2.0, 0.1
#: Samples of the running median that it is held against, and the longest time that
#: they may span [s]: 65 samples a second. Our rule.
BURST_WINDOW, _BURST_SPAN = 13, 0.2

#: A top that is cut off: medians of blocks of the middle of the burning; levels with
#: 10 to 90 % of the blocks above, and below the third highest block by these shares of
#: it; chi that makes an alarm. A step of one digit above the share of the peak is not
#: told.
CLIP_BLOCKS, MIDDLE, CLIP = 100, 0.84, 8.0
_BELOW_TOP: Final = (0.002, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12)
_FEWEST_BLOCKS, _FEWEST_BELOW, _FEWEST_ABOVE, _BEYOND = 40, 7, 5, 0.7
COARSE = 0.005

#: Frequencies of the mains and their doubles [Hz]; F that makes an alarm; an amplitude
#: below this share of the peak only is unusual. Our rule.
MAINS: Final = (50.0, 60.0, 100.0, 120.0)
HUM_F, HUM_SIZE, _CYCLES, _FEWEST_REST = 9.0, 0.002, 2.0, 20


def judge_sensor(channel: Channel, ends: float) -> tuple[Alarm, ...]:
    """Return what a recording says of its own sensor.

    Parameters
    ----------
    ends : float
        When the burning ended by the sensor that is trusted with it. [s]
    """
    return (
        *judge_clip(channel),
        *judge_recovery(channel, ends),
        *judge_burst(channel),
    )


def _alarm(channel: Channel, test: str, value: float, limit: float, text: str) -> Alarm:
    return Alarm(
        test=test, sensor=channel.name, level=ALARM, value=value, limit=limit, text=text
    )


def _not_told(channel: Channel, test: str, why: str) -> Alarm:
    return Alarm(
        test=test, sensor=channel.name, level=NOT_TOLD, value=math.nan,
        limit=math.nan, text=why,
    )  # fmt: skip


# ----------------------------------------------------------------------------
# The zero after the burning.


def thrust_ends(thrust: Channel) -> float:
    """Return when the thrust has fallen to 2 % of its peak, or into its noise. [s]"""
    level = max(0.02 * thrust.steady_peak, 4.0 * thrust.rest_noise)
    end = crossings(thrust.time, thrust.steady, level, level)[1]
    return thrust.burning.end if math.isnan(end) else end


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """A reading after the burning as a line and an exponential."""

    begin: float  # where it is looked at from [s]
    #: level + slope (t - begin) + size exp(-(t - begin) / time); [unit of the sensor]
    #: and s.
    level: float
    slope: float
    size: float
    time: float
    ratio: float  # F of the exponential against the line alone

    def line(self, time: FloatArray) -> FloatArray:
        """Return the line. [unit of the sensor]"""
        return np.asarray(self.level + self.slope * (time - self.begin))


def recovery_of(channel: Channel, ends: float) -> Recovery | None:
    """Return how the reading comes back to its zero; None if not told."""
    lasting = channel.burning.lasting
    begin = ends + max(SETTLED[0] * lasting, SETTLED[1])
    after = channel.time >= begin
    if channel.time[-1] - ends < LONG_ENOUGH * lasting or after.sum() < PARTS // 2:
        return None
    t, z = _parts(channel.time[after], channel.value[after])
    whole = float(channel.time[-1]) - begin
    x = (t - begin) / whole
    line = np.stack([np.ones_like(x), x])
    plain, _ = _left(line, z)
    fits = [(*_left(np.stack([*line, np.exp(-x / one)]), z), one) for one in TIMES]
    left, (level, slope, size), one = min(fits, key=lambda fit: fit[0])
    return Recovery(
        begin=begin,
        level=float(level),
        slope=float(slope) / whole,
        size=float(size),
        time=float(one) * whole,
        ratio=0.5 * (plain - left) / max(left / (len(t) - 4), 1e-30),
    )


def _parts(time: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return time and reading of equal parts; the middle half of each, by size."""
    if len(time) <= PARTS:
        return time, values
    cut = np.array_split(np.arange(len(time)), PARTS)
    middle = [
        np.sort(values[i])[len(i) // 4 : len(i) - len(i) // 4].mean() for i in cut
    ]
    return np.array([time[i].mean() for i in cut]), np.array(middle)


def _left(base: FloatArray, values: FloatArray) -> tuple[float, FloatArray]:
    """Return the sum of squares about a least-squares fit, and its coefficients."""
    found = np.linalg.lstsq(base.T, values, rcond=None)[0]
    left = float(((values - found @ base) ** 2).sum())
    return left, np.asarray(found, dtype=float)


def judge_recovery(channel: Channel, ends: float) -> Iterator[Alarm]:
    """Say if the reading comes back to its zero long after the burning."""
    found = recovery_of(channel, ends)
    if found is None:
        yield _not_told(
            channel,
            "recovery",
            f"{channel.name}: recorded for less than 0.6 burn times after burnout, so "
            "a zero that moved by heat is not seen; record two",
        )
        return
    share = abs(found.size) / channel.steady_peak
    if found.ratio <= RECOVERY_F or share <= RECOVERY_SIZE:
        return
    if found.time < QUICK:
        yield _alarm(
            channel, "lag", found.time, QUICK,
            f"{channel.name}: comes back within {found.time:.2g} s; heat takes longer",
        )  # fmt: skip
    yield _alarm(
        channel, "recovery", share, RECOVERY_SIZE,
        f"{channel.name}: comes back from {100 * share:.2g} % of the peak over "
        f"{found.time:.2g} s after the burning",
    )  # fmt: skip


# ----------------------------------------------------------------------------
# A burst.


@np.errstate(invalid="ignore")
def burst_of(channel: Channel, *, igniting: bool = False) -> tuple[float, float, float]:
    """Return by how much a burst stands off, when, and what is allowed. [unit, s]

    After the first tenth of the burning, or in it.
    """
    b = channel.burning
    early = b.start + IGNITION * b.lasting
    inside = (channel.time > early) & (channel.time < b.end)
    wide = smoothed(channel.value, window_of(channel.time, STEADY, BURST_WINDOW))
    if igniting:
        inside = (channel.time > b.start) & (channel.time <= early)
    off = np.where(inside, channel.course - wide, -np.inf)
    at = int(np.argmax(off))
    spiky = channel.rest_noise > SPIKY * channel.noise
    share = BURST_SPIKY if spiky else BURST
    allowed = share * channel.steady_peak + 2.0 * channel.rest_noise
    return float(off[at]), float(channel.time[at]), allowed


def gas_of_burst(channel: Channel, area: float, velocity: float) -> tuple[float, float]:
    """Return how long the burst lasts [s], and the least gas that would make it [kg].

    What leaves more through the throat while it stands, ``sum (p - p0) A_t dt / c*``;
    what the chamber holds more comes on top. A grain makes no such gas: above its
    balance the pressure can only fall.

    Parameters
    ----------
    area : float
        Of the throat. [m2]
    velocity : float
        Delivered c*. [m/s]
    """
    size, at, _ = burst_of(channel)
    wide = smoothed(channel.value, window_of(channel.time, STEADY, BURST_WINDOW))
    near = np.abs(channel.time - at) < STEADY
    over = np.where(near, channel.value - wide, 0.0)
    stands = over > 0.5 * size
    step = np.gradient(channel.time)
    gas = float((over * step)[stands].sum()) * area / velocity
    return float(step[stands].sum()), gas


def judge_burst(channel: Channel) -> Iterator[Alarm]:
    """Say if a few samples stand off from those about them."""
    interval = float(np.median(np.diff(channel.time)))
    if interval * BURST_WINDOW > _BURST_SPAN:
        text = f"{channel.name}: too few samples a second to tell a burst"
        yield _not_told(channel, "burst", text)
        return
    size, at, allowed = burst_of(channel, igniting=True)
    if size > allowed:
        yield Alarm(
            test="burst", sensor=channel.name, level=UNUSUAL,
            value=size / channel.steady_peak, limit=allowed / channel.steady_peak,
            text=f"{channel.name}: stands {100 * size / channel.steady_peak:.2g} % of "
            f"the peak above its course for a few samples at {at:.3g} s, at ignition: "
            "igniter or burst; a short peak may be higher than what is told",
        )  # fmt: skip
    size, at, allowed = burst_of(channel)
    if size > allowed:
        yield _alarm(
            channel, "burst", size / channel.steady_peak, allowed / channel.steady_peak,
            f"{channel.name}: samples at {at:.3g} s stand alone, "
            f"{100 * size / channel.steady_peak:.2g} % of the peak above those about "
            "them",
        )  # fmt: skip


# ----------------------------------------------------------------------------
# A top that is cut off.


def clip_of(channel: Channel) -> float:
    """Return chi of the level that explains the course best.

    The course of the middle of the burning as a polynomial cut off at a level, against
    a polynomial of one degree more; NaN where no level can be tried.
    """
    b = channel.burning
    edge = 0.5 * (1.0 - MIDDLE) * b.lasting
    ends = np.searchsorted(channel.time, (b.start + edge, b.end - edge))
    blocks = min(CLIP_BLOCKS, int(ends[1] - ends[0]))
    if blocks < _FEWEST_BLOCKS:
        return math.nan
    cut = np.array_split(channel.value[ends[0] : ends[1]], blocks)
    y = np.array([np.median(part) for part in cut])
    x = np.linspace(-1.0, 1.0, blocks)
    smooth = float(((y - Polynomial.fit(x, y, 6, domain=[-1, 1])(x)) ** 2).sum())
    levels = [*np.quantile(y, np.arange(0.1, 1.0, 0.1))]
    levels += [np.sort(y)[-3] * (1.0 - share) for share in _BELOW_TOP]
    left = min(_cut_off(x, y, float(level)) for level in levels)
    if not math.isfinite(left):
        return 0.0
    return blocks * math.log(max(smooth, 1e-30) / max(left, 1e-30))


def _cut_off(x: FloatArray, y: FloatArray, level: float) -> float:
    """Return the sum of squares about a polynomial cut off; infinite for no cut."""
    flat = y > level
    if flat.sum() < _FEWEST_ABOVE or (~flat).sum() < _FEWEST_BELOW:
        return math.inf
    top = float(y[flat].mean())
    fit = Polynomial.fit(x[~flat], y[~flat], 5, domain=[-1, 1])(x)
    if np.mean(fit[flat] > top) <= _BEYOND:
        return math.inf
    return float(((y - np.minimum(fit, top)) ** 2).sum())


def judge_clip(channel: Channel) -> Iterator[Alarm]:
    """Say if the top of the course is cut off."""
    burning = channel.value[channel.value > BURNING * channel.peak]
    coarse = step_of(burning) > COARSE * channel.peak or channel.rest_noise == 0.0
    if coarse or channel.rest_noise > SPIKY * channel.noise:
        why = "read in coarse steps" if coarse else "noisy at rest"
        text = f"{channel.name}: {why}, so a limit of the sensor is not looked for"
        yield _not_told(channel, "clip", text)
        return
    chi = clip_of(channel)
    if math.isnan(chi):
        text = f"{channel.name}: too few samples to look for a limit of the sensor"
        yield _not_told(channel, "clip", text)
    elif chi > CLIP:
        yield _alarm(
            channel, "clip", chi, CLIP,
            f"{channel.name}: its top looks cut off",
        )  # fmt: skip


# ----------------------------------------------------------------------------
# Hum of the mains.


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """A sine of the mains in the readings at rest."""

    ratio: float  # F of the sine against a line alone
    #: Amplitude, and the highest mean of 0.1 s. [unit of the sensor]
    size: float
    peak: float
    #: Of the mains, and what the samples make of it. [Hz]
    frequency: float
    seen: float


def hum_of(time: FloatArray, value: FloatArray) -> Hum | None:
    """Return the hum at rest; None where the rest is too short for two cycles."""
    rest, peak = _before(time, value)
    t, z = time[rest] - time[0], value[rest]
    if len(t) < _FEWEST_REST:
        return None
    rate = 1.0 / float(np.median(np.diff(time)))
    base = np.stack([np.ones_like(t), t])
    plain, _ = _left(base, z)
    best = None
    for frequency in MAINS:
        seen = abs(frequency - rate * round(frequency / rate))
        if seen * float(np.ptp(t)) < _CYCLES:
            continue
        wave = 2.0 * math.pi * frequency * t
        left, found = _left(np.stack([*base, np.cos(wave), np.sin(wave)]), z)
        ratio = 0.5 * (plain - left) / max(left / (len(t) - 4), 1e-30)
        if best is None or ratio > best.ratio:
            size = math.hypot(*found[2:].tolist())
            best = Hum(
                ratio=ratio, size=size, peak=peak, frequency=frequency, seen=seen
            )
    return best


def _before(time: FloatArray, value: FloatArray) -> tuple[BoolArray, float]:
    """Return which readings lie before the burning, whatever hum they hold; the peak.

    Means of 0.1 s, over the reading at the start.
    """
    from scipy.ndimage import uniform_filter1d

    mean = uniform_filter1d(value, window_of(time, 0.1), mode="nearest")
    over = mean - np.median(mean[: max(len(mean) // 50, 5)])
    peak = float(over.max())
    high = int(np.argmax(over > BURNING * peak))
    low = np.flatnonzero(over[:high] < 0.03 * peak)
    until = time[low[-1]] - 0.060 if low.size else time[0]
    return np.asarray(time < until), peak


def judge_hum(name: str, hum: Hum | None) -> Iterator[Alarm]:
    """Say if the mains hum in the recording."""
    if hum is None or not hum.ratio > HUM_F:
        return
    share = hum.size / hum.peak
    yield Alarm(
        test="hum", sensor=name, level=ALARM if share > HUM_SIZE else UNUSUAL,
        value=share, limit=HUM_SIZE,
        text=f"{name}: hums at {hum.frequency:g} Hz, {100 * share:.2g} % of the peak: "
        "mains in the cable or the supply",
    )  # fmt: skip


def without_hum(time: FloatArray, value: FloatArray, hum: Hum) -> FloatArray | None:
    """Return the course as means over one period of the hum, as the samples show it.

    None where that is longer than 0.1 s: the burning itself would be smoothed.
    """
    half = 0.5 / hum.seen
    if half > 0.05:
        return None
    total = running_integral(time, value)
    first, last = np.maximum(time - half, time[0]), np.minimum(time + half, time[-1])
    whole = np.interp(last, time, total) - np.interp(first, time, total)
    return np.asarray(whole / (last - first))
