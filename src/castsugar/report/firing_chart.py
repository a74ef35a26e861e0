"""A static test as a picture: the recording and what it says."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.expectation import Expected
from castsugar.report.firing_raw import THIN, clock, raw_chart
from castsugar.report.firing_read import limit_rule, seconds, zero_words
from castsugar.report.firing_words import KINDS, Asked, told
from castsugar.report.strand_units import short
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import (
    Event,
    LineChart,
    Panel,
    Series,
    Span,
    runs,
    thinned,
)
from castsugar.static_test import StaticTest

__all__ = ["firing_chart", "raw_chart"]

#: Drawn before and after the burning, in burn times; an expected one may take this
#: many.
_BEFORE, _AFTER, _EXPECTED = 0.2, 0.5, 3.0

#: A band or a case limit above this many times the highest course is not drawn.
_CEILING = 2.0

#: Stretches closer than this part of the picture are one.
_MERGED = 1.0 / 300.0

_SAFETY = "No claim of safety: one grain, on a stand, once."


def firing_chart(test: StaticTest, asked: Asked) -> str:
    """Return the picture of a reduced firing, as SVG text.

    Parameters
    ----------
    test : StaticTest
    asked : Asked

    Returns
    -------
    str
        The burning and what is around it; at most 800 points a line.
    """
    reduction, start = test.reduction, test.reduction.burning.start
    lead = reduction.pressure or reduction.thrust
    assert lead is not None  # as start and end were found
    first, stop = _window(test, lead.time)
    part = slice(first, stop)
    channels = [c for c in (reduction.pressure, reduction.thrust) if c is not None]
    courses = [_scaled(channel, test)[part] for channel in channels]
    time, courses = thinned(lead.time[part], courses)
    origin, x_label = clock(lead.time)
    panels = [
        _panel(test, channel, course, time, origin)
        for channel, course in zip(channels, courses, strict=True)
    ]
    notes = [*_result_notes(test, asked), *_rule_notes(test, channels)]
    if test.expected is not None:
        top = _top(test, courses[0], pressure=reduction.pressure is not None)
        notes.append(_expected_note(test.expected, start - origin, top))
    notes += _limit_notes(test)
    whole = stop - first == len(lead.time)
    if not whole:
        ends = (seconds(float(t) - origin) for t in (lead.time[0], lead.time[-1]))
        notes.append(
            f"Drawn is the burning; the recording runs {' s to '.join(ends)} s."
        )
    return line_chart(
        LineChart(
            title=f"Static test: {asked.file}",
            x_label=x_label,
            x_unit="s",
            x=time - origin,
            panels=tuple(panels),
            notes=(*notes, _SAFETY),
            names_at_ends=False,
        )
    )


def _window(test: StaticTest, time: FloatArray) -> tuple[int, int]:
    """Return first sample and end of the part to draw."""
    burning = test.reduction.burning
    lasting = burning.lasting
    low, high = burning.start - _BEFORE * lasting, burning.end + _AFTER * lasting
    if test.expected is not None:
        longest = min(float(test.expected.time[-1]), _EXPECTED * lasting)
        high = max(high, burning.start + longest + 0.05 * lasting)
    first, stop = np.searchsorted(time, [low, high])
    return max(int(first) - 1, 0), int(stop) + 1


def _scaled(channel: Channel, test: StaticTest) -> FloatArray:
    """Return a course as drawn: absolute pressure [MPa], thrust [N]."""
    if channel.name == "pressure":
        return np.asarray(1e-6 * test.reduction.absolute_pressure()[1])
    return channel.value


def _panel(
    test: StaticTest,
    channel: Channel,
    course: FloatArray,
    time: FloatArray,
    origin: float,
) -> Panel:
    """Return the panel of one sensor."""
    pressure = channel.name == "pressure"
    series = [Series("recorded", course, width=THIN)]
    top = _top(test, course, pressure=pressure)
    if test.expected is not None:
        since = time - test.reduction.burning.start
        rest = test.reduction.stand.ambient_pressure if pressure else None
        series.append(_expected_series(test.expected, since, top, rest))
    allowable = _allowable(test)
    if pressure and allowable <= top:
        series.append(Series("case may hold", np.full(time.shape, allowable)))
    values = [s.values[np.isfinite(s.values)] for s in series]
    lowest = min((float(v.min()) for v in values if v.size), default=0.0)
    banded = pressure and test.expected is not None
    b = channel.burning
    return Panel(
        "chamber pressure, absolute" if pressure else "thrust",
        "MPa" if pressure else "N",
        tuple(series),
        band="Band: 90 of 100 expected firings lie inside, at each time"
        if banded
        else "",
        ceiling=top if banded else np.inf,
        from_zero=lowest >= 0.0,
        spans=tuple(_spans(channel, time, origin)),
        events=(
            Event("start", b.start - origin),
            Event("peak", channel.peak_time - origin),
            Event("end", b.end - origin),
        ),
    )


def _expected_series(
    expected: Expected, since: FloatArray, top: float, ambient: float | None
) -> Series:
    """Return what was expected, from the start of burning on; the band up to `top`.

    Of the pressure if that of the air is given, else of the thrust.
    """
    best, name = expected.best, "expected, best estimate"
    # Two points after burnout, so that the line comes down.
    over = np.flatnonzero(since > best.burn_time)[2:]

    def line(values: FloatArray, rest: float) -> FloatArray:
        course = np.interp(since, best.time, values, left=np.nan, right=rest)
        course[over] = np.nan
        return course

    if ambient is None:
        return Series(name, line(best.thrust, 0.0))
    low, high = (
        # A draw without stable pressure stands above every other one: infinite.
        np.interp(since, expected.time, np.minimum(1e-6 * edge, top), np.nan, np.nan)
        for edge in (expected.low, expected.high)
    )
    return Series(name, 1e-6 * line(best.pressure, ambient), low, high)


def _top(test: StaticTest, course: FloatArray, *, pressure: bool) -> float:
    """Return the highest value that may be drawn: twice what was recorded or best."""
    found = float(np.nanmax(course))
    if test.expected is not None:
        best = test.expected.best
        peak = 1e-6 * best.peak_pressure if pressure else float(best.thrust.max())
        found = max(found, peak)
    return _CEILING * found


def _allowable(test: StaticTest) -> float:
    """Return what the case may hold, absolute; NaN without a case. [MPa]"""
    return math.nan if test.hardware is None else 1e-6 * test.hardware.allowable


def _spans(channel: Channel, time: FloatArray, origin: float) -> list[Span]:
    """Return what was bridged, and where the sensor was at its limit."""
    reach = channel.bridged.copy()
    reach[1:] |= channel.gap
    reach[:-1] |= channel.gap
    found = []
    for name, marked in (
        (f"{channel.name}: not recorded, bridged", reach),
        (f"{channel.name}: sensor at its limit", channel.at_limit),
    ):
        ends = _merged(channel.time, marked, _MERGED * float(np.ptp(time)))
        found += [Span(name, low - origin, high - origin) for low, high in ends]
    low, high = float(time[0]) - origin, float(time[-1]) - origin
    return [s for s in found if s.high >= low and s.low <= high]


def _merged(
    time: FloatArray, marked: BoolArray, gap: float
) -> list[tuple[float, float]]:
    """Return where samples are marked; stretches closer than `gap` are one. [s]"""
    found: list[tuple[float, float]] = []
    for first, stop in runs(marked):
        low, high = float(time[first]), float(time[stop - 1])
        if found and low - found[-1][1] <= gap:
            found[-1] = (found[-1][0], high)
        else:
            found.append((low, high))
    return found


def _result_notes(test: StaticTest, asked: Asked) -> list[str]:
    """Return what the firing says, in one line."""
    results, parts = test.reduction.results, []
    for name in (
        "characteristic_velocity",
        "specific_impulse",
        "total_impulse",
        "burn_time",
    ):
        if name in results:
            value, ends = told(results[name])
            kind = KINDS[name]
            label = kind.label.removeprefix("delivered ")
            interval = f" ({ends})" if ends else ""
            parts.append(f"{label} {value} {kind.unit}{interval}")
    mix = f"Mix {asked.mix}. " if asked.mix else ""
    said = "; ".join(parts)
    return [f"{mix}Delivered (95 % intervals in brackets): {said}."]


def _rule_notes(test: StaticTest, channels: Sequence[Channel]) -> list[str]:
    """Say how start, end and zero were found."""
    share = test.reduction.stand.share
    rules = "; ".join(limit_rule(channel, share) for channel in channels)
    zeros = "; ".join(f"{c.name}: {zero_words(c)}" for c in channels)
    return [f"Start and end: {rules}.", f"Zero taken away: {zeros}."]


def _expected_note(expected: Expected, start: float, top: float) -> str:
    """Say what the expectation is, and what the picture hides of it."""
    text = (
        f"Expected: lit at the start of burning, {seconds(start)} s; quasi-steady, no "
        "ignition peak, no erosive burning, no cracks."
    )
    if expected.failed:
        text += (
            f" {expected.failed} of {expected.draws} draws have no stable pressure and "
            "stand above the picture."
        )
    elif 1e-6 * float(expected.high.max()) > top:
        text += " The band goes on above the picture."
    return text


def _limit_notes(test: StaticTest) -> list[str]:
    """Say where the limit of the case lies if the picture does not reach it."""
    allowable, pressure = _allowable(test), test.reduction.pressure
    if math.isnan(allowable) or pressure is None:
        return []
    if allowable <= _top(test, _scaled(pressure, test), pressure=True):
        return []
    return [f"The case may hold {short(allowable, 3)} MPa, by your rating: above."]
