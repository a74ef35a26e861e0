"""What is done after an alarm: a correction whose effect is known, or one end only.

No number that an alarm touches keeps an interval that it has not earned. What a
correction leaves of each fault is printed by ``benchmarks/validation``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.motor.firing.alarms import UNUSUAL, Alarm, alarms_of
from castsugar.motor.firing.channel import STEADY, Channel, find_burning
from castsugar.motor.firing.one_sensor import (
    BURST_WINDOW,
    HEATED,
    burst_of,
    recovery_of,
    thrust_ends,
)
from castsugar.motor.firing.quantities import AT_LEAST, AT_MOST, Stand
from castsugar.motor.firing.signal import noise_of, smoothed, window_of
from castsugar.motor.firing.witnesses import pair_of, pressure_by_thrust

#: A zero that heat moved grew as the root of time, so that this power of the share of
#: the burn time is taken; its standard uncertainty over the burning, in parts of the
#: shift at burnout (a rectangle from a third of it to all of it).
HEAT_POWER, HEAT_DOUBT = 0.5, 0.19

#: Part of the burn time before the end of the thrust in which a clogged line already
#: holds the pressure up. Our rule.
_LAST = 0.15

#: Beyond this share of the peak the shift is not known well enough for an interval: of
#: simulated zeros moved by 10 % the interval covered 64 of 100.
MOST_HEATED = 0.08


#: Pressure and thrust to what their tests find.
Judge = Callable[[Channel | None, Channel | None], tuple[Alarm, ...]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Treated:
    """A recording after its alarms."""

    #: Corrected.
    pressure: Channel | None
    thrust: Channel | None
    #: Name of a sensor -> "at least" or "at most" of all that hangs on it.
    bounds: Mapping[str, str] = field(default_factory=dict)
    #: The same of its peak alone.
    peak_bounds: Mapping[str, str] = field(default_factory=dict)
    timed_by_thrust: bool = False  # whether the burn time is that of the thrust
    no_law: str = ""  # why neither a rate nor an exponent follow; empty if they may
    done: tuple[str, ...] = ()  # what was corrected


def without_burst(channel: Channel) -> Channel:
    """Return the course with the running median in place of what stands alone."""
    from scipy.ndimage import maximum_filter1d

    _, _, allowed = burst_of(channel)
    window = window_of(channel.time, STEADY, BURST_WINDOW)
    over = channel.course - smoothed(channel.value, window)
    near = maximum_filter1d((over > allowed).astype(np.int8), window) > 0
    # Bursts side by side hide in the narrow median: what is near one is held against
    # a wide one. Elsewhere a sharp end of the burning is the grain's own.
    wide = smoothed(channel.value, 2 * window + 1)
    off = near & (np.abs(channel.course - wide) > 0.5 * allowed)
    b = channel.burning
    off &= (channel.time > b.start) & (channel.time < b.end)
    return _again(channel, np.where(off, wide, channel.value))


def cooled(channel: Channel, ends: float) -> tuple[Channel, float]:
    """Return the course without a zero that heat moved, and the shift over the peak.

    Where that is more than 8 %, the course as it was.

    During the burning the shift grows as the root of time; after it, it is what was
    fitted there.
    """
    found = recovery_of(channel, ends)
    if found is None:
        return channel, 0.0
    b, t = channel.burning, channel.time
    late = np.maximum(t, ends)
    at_end = found.size * math.exp(min((found.begin - ends) / found.time, 1.0))
    w = np.clip((t - b.start) / (ends - b.start), 0.0, 1.0)
    shift = at_end * np.exp((ends - late) / found.time)
    value = channel.value - w * found.line(late) - w**HEAT_POWER * shift
    zero = channel.zero
    doubt = math.hypot(zero.uncertainty, HEAT_DOUBT * abs(at_end))
    corrected = _again(channel, value)
    corrected = replace(corrected, zero=replace(zero, uncertainty=doubt))
    size = at_end / corrected.peak
    return (channel if abs(size) > MOST_HEATED else corrected), size


def _again(channel: Channel, value: FloatArray) -> Channel:
    """Return a channel with another course."""
    course = smoothed(value)
    steady = smoothed(value, window_of(channel.time, STEADY))
    top = int(np.argmax(course))
    noise = noise_of(value)
    return replace(
        channel,
        value=value,
        course=course,
        steady=steady,
        noise=noise,
        peak=float(course[top]),
        peak_time=float(channel.time[top]),
        burning=find_burning(
            channel.time,
            value,
            noise=noise,
            share=channel.burning.share,
            course=steady,
        ),
        _found={},
    )


def until(channel: Channel, thrust: Channel, ends: float, stand: Stand) -> Channel:
    """Return a channel whose burning ends when the thrust does.

    Shortly before, the pressure is no higher than the thrust says. A slow sensor would
    have needed none of this: what was cut off is a doubt of the whole.
    """
    whole = channel.impulse()
    told = pressure_by_thrust(pair_of(channel, thrust, stand))
    late = channel.time > ends - _LAST * channel.burning.lasting
    if told is not None:
        value = np.where(late, np.minimum(channel.value, told), channel.value)
        channel = replace(channel, value=value)
    found = _cut(channel, min(ends, channel.burning.end))
    gone = 0.5 * (whole - found.impulse()) / found.burning.lasting
    doubt = math.hypot(found.zero.uncertainty, gone)
    return replace(found, zero=replace(found.zero, uncertainty=doubt))


def _cut(channel: Channel, end: float) -> Channel:
    """Return a channel whose burning ends early."""
    burning = replace(channel.burning, end=end)
    return replace(channel, burning=burning, latest=end, _found={})


# ----------------------------------------------------------------------------
# From alarms to what is left of the results.


def treat(
    pressure: Channel | None, thrust: Channel | None, stand: Stand, judge: Judge
) -> tuple[Treated, tuple[Alarm, ...]]:
    """Correct what can be corrected, and bound what cannot.

    Parameters
    ----------
    judge : callable
        Pressure and thrust -> alarms.

    Returns
    -------
    treated : Treated
    alarms : tuple of Alarm
        Of the recording as it was read.
    """
    alarms = judge(pressure, thrust)
    found = _corrected(Treated(pressure=pressure, thrust=thrust), stand, alarms)
    left = _left(found, pressure, alarms, judge)
    slag, slow = slagged(alarms), slowed(alarms)
    bounds = {**_bounds(left, known=slag or bool(found.bounds)), **found.bounds}
    late = {"pressure": AT_LEAST} if slow or slag else {}
    short = {a.sensor: AT_LEAST for a in alarms if a.test == "burst" and _unusual(a)}
    peaks = {**short, **late, **bounds, **found.peak_bounds}
    told = replace(
        found,
        bounds=bounds,
        peak_bounds=peaks,
        timed_by_thrust=(slow or slag) and thrust is not None,
        no_law=_no_law(alarms),
    )
    return told, alarms


def _left(
    found: Treated, read: Channel | None, alarms: Sequence[Alarm], judge: Judge
) -> Sequence[Alarm]:
    """Return the alarms that a corrected pressure does not answer.

    A correction takes alarms away and never adds one; that of the thrust alone leaves
    all of them.
    """
    if found.pressure is read:
        return alarms
    again = {(a.test, a.sensor) for a in alarms_of(judge(found.pressure, found.thrust))}
    return [a for a in alarms if (a.test, a.sensor) in again]


def _unusual(alarm: Alarm) -> bool:
    """Return whether it is a burst at ignition: a peak too short to be read."""
    return alarm.level == UNUSUAL


def slagged(alarms: Sequence[Alarm]) -> bool:
    """Return whether the pressure comes back as behind a clogged line."""
    if alarms_of(alarms, "start"):
        return False  # a line that slag clogs starts in time, a slow sensor does not
    late = bool(alarms_of(alarms, "length"))
    came_back = _of(alarms, "pressure", "recovery")
    return any(late or a.value > HEATED for a in came_back)


def slowed(alarms: Sequence[Alarm]) -> bool:
    """Return whether the pressure comes after the thrust as behind a slow sensor."""
    known = slagged(alarms) or bool(alarms_of(alarms, "limit"))
    return bool(alarms_of(alarms, *_SLOW)) and not known


def _of(alarms: Sequence[Alarm], sensor: str, *tests: str) -> list[Alarm]:
    return [a for a in alarms_of(alarms, *tests) if a.sensor == sensor]


def _corrected(found: Treated, stand: Stand, alarms: Sequence[Alarm]) -> Treated:
    """Take bursts, heated zeros and what a clogged line adds out of the sensors."""
    for name in ("pressure", "thrust"):
        if _of(alarms, name, "burst"):
            found = _smoothed(found, name)
        late = name == "pressure" and bool(alarms_of(alarms, "start"))
        if _of(alarms, name, "recovery") and not late:
            slag = name == "pressure" and slagged(alarms)
            sure = not alarms_of(alarms, "lag")
            found = _ended(found, stand) if slag else _cooled(found, name, sure=sure)
    return found


def _smoothed(found: Treated, name: str) -> Treated:
    """Take bursts out of a sensor."""
    channel = without_burst(_named(found, name))
    size, _, allowed = burst_of(channel)
    peaks = {**found.peak_bounds, **({name: AT_MOST} if size > allowed else {})}
    done = (*found.done, f"{name}: what stood alone was taken out")
    return _with(found, channel, peak_bounds=peaks, done=done)


def _cooled(found: Treated, name: str, *, sure: bool) -> Treated:
    """Take a zero that heat moved out of a sensor, if that is sure and not too far."""
    channel, ends = _named(found, name), burning_ends(found.pressure, found.thrust)
    cool, shift = cooled(channel, ends)
    if sure and abs(shift) <= MOST_HEATED:
        done = (*found.done, f"{name}: a zero that grew with heat was taken away")
        return _with(found, cool, done=done)
    bound = AT_MOST if shift > 0.0 else AT_LEAST
    channel = _cut(channel, min(ends, channel.burning.end))
    return _with(found, channel, bounds={**found.bounds, name: bound})


def _ended(found: Treated, stand: Stand) -> Treated:
    """Count the pressure until the thrust ends."""
    channel = _named(found, "pressure")
    if found.thrust is None:
        return replace(found, bounds={**found.bounds, "pressure": AT_MOST})
    ends = burning_ends(channel, found.thrust)
    done = (*found.done, "pressure: counted until the thrust ends")
    return _with(found, until(channel, found.thrust, ends, stand), done=done)


def _named(found: Treated, name: str) -> Channel:
    """Return a sensor that has an alarm."""
    channel = found.pressure if name == "pressure" else found.thrust
    assert channel is not None
    return channel


def _with(found: Treated, channel: Channel, **more: Any) -> Treated:
    """Return a recording with another course of one sensor."""
    if channel.name == "pressure":
        return replace(found, pressure=channel, **more)
    return replace(found, thrust=channel, **more)


def burning_ends(pressure: Channel | None, thrust: Channel | None) -> float:
    """Return the end of the burning: of the thrust, which empties first. [s]"""
    if thrust is not None:
        return thrust_ends(thrust)
    return math.nan if pressure is None else pressure.burning.end


def _bounds(alarms: Sequence[Alarm], *, known: bool) -> dict[str, str]:
    """Return which end of each sensor is left.

    Whichever sensor is at fault, both statements hold: a thrust above that of any
    nozzle means a pressure that is higher or a thrust that is lower. Where the cause is
    `known`, a trend says nothing more.
    """
    if limits := alarms_of(alarms, "limit"):
        return {alarm.sensor: AT_LEAST for alarm in limits}
    found: dict[str, str] = {}
    for alarm in alarms_of(alarms, "mean"):
        high = alarm.value > alarm.limit
        found = {
            "pressure": AT_LEAST if high else AT_MOST,
            "thrust": AT_MOST if high else AT_LEAST,
        }
    tests = ("clip",) if known else ("clip", "trend", "wobble")
    return found | {a.sensor: AT_LEAST for a in alarms_of(alarms, *tests)}


#: Tests that a slow sensor fails, or a clogged line.
_SLOW = ("lag", "start", "length")

#: Tests that a correction answers; the rate may be read after it.
_ANSWERED = ("burst", "hum", "zero", "recovery")


def _no_law(alarms: Sequence[Alarm]) -> str:
    """Return why the recording shows no burn law; empty if it may."""
    bad = [
        a
        for a in alarms_of(alarms)
        if a.sensor != "thrust" and (a.test not in _ANSWERED or slagged(alarms))
    ]
    return bad[0].text if bad else ""


def cause_of(alarms: Sequence[Alarm]) -> tuple[str, str]:
    """Name the likely cause, and say what points to it; empty without an alarm."""
    late = _of(alarms, "pressure", "recovery") if slagged(alarms) else []
    told = (
        (_of(alarms, "pressure", "limit"), _AT_LIMIT.format("pressure sensor")),
        (_of(alarms, "thrust", "limit"), _AT_LIMIT.format("load cell")),
        (
            [*alarms_of(alarms, "length"), *late] if slagged(alarms) else [],
            "a port or line clogged with slag, or a slow sensor",
        ),
        (alarms_of(alarms, "start"), _SLOW_WORDS),
        (_of(alarms, "pressure", "recovery"), _HEATED.format("pressure sensor")),
        (_of(alarms, "pressure", "clip", "trend"), _AT_LIMIT.format("pressure sensor")),
        (_of(alarms, "thrust", "clip"), _AT_LIMIT.format("load cell")),
        (alarms_of(alarms, "lag", "length"), _SLOW_WORDS),
        (_of(alarms, "thrust", "trend", "wobble"), _AT_LIMIT.format("load cell")),
        (_of(alarms, "thrust", "recovery"), _HEATED.format("load cell")),
        (alarms_of(alarms, "burst"), "a burst from outside: radio, a loose plug"),
        (alarms_of(alarms, "hum"), "hum of the mains in a cable or supply"),
        (alarms_of(alarms, "mean"), "a calibration, or a throat not as stated"),
        (alarms_of(alarms, "wobble"), "a zero that jumped, or a loose connection"),
    )
    return next(((words, found[0].text) for found, words in told if found), ("", ""))


_SLOW_WORDS = "a slow pressure sensor, a long line, or two clocks"
_AT_LIMIT = "the {} or its amplifier was at its limit"
_HEATED = "heat moved the zero of the {}"
