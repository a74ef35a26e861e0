"""A static test as a picture: the recording and what it says."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.expectation import Expected
from castsugar.report import numbers
from castsugar.report.firing import told
from castsugar.report.firing_annexes import zero_words
from castsugar.report.firing_rows import Asked, bands, channels, firing_row, limit_rule
from castsugar.report.shown import Shown
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

Course = tuple[str, str, FloatArray]

#: Width of what was recorded [px].
THIN = 1.6

#: Readings beyond are no readings.
_ABSURD = 1e12

#: Clocks that start beyond count from their first sample. [s]
_LATE = 1e4

#: Drawn before and after the burning, in burn times; an expected one may take this
#: many.
_BEFORE, _AFTER, _EXPECTED = 0.2, 0.5, 3.0

#: A band or a case limit above this many times the highest course is not drawn.
_CEILING = 2.0

#: Stretches closer than this part of the picture are one.
_MERGED = 1.0 / 300.0

#: Outside of the times that were drawn.
_NOWHERE = (np.nan, np.nan)

_SAFETY = "No claim of safety: one grain, on a stand, once."


def firing_chart(
    test: StaticTest, asked: Asked, show: Shown, invented: bool = False
) -> str:
    """Return the picture of a reduced firing as SVG text, at most 800 points a line.

    The title says so where numbers are `invented`, an example's.
    """
    reduction, start = test.reduction, test.reduction.burning.start
    lead = reduction.pressure or reduction.thrust
    assert lead is not None  # as start and end were found
    first, stop = _window(test, lead.time)
    part = slice(first, stop)
    sensors = channels(test)
    courses = [_scaled(channel, test, show)[part] for channel in sensors]
    time, courses = thinned(lead.time[part], courses)
    origin, x_label = clock(lead.time)
    panels = [
        _panel(test, channel, course, (time, origin), show)
        for channel, course in zip(sensors, courses, strict=True)
    ]
    notes = [*_cause_notes(test, show), *_result_notes(test, asked, show)]
    notes += _rule_notes(test)
    if test.expected is not None:
        top = _top(test, courses[0], show, pressure=reduction.pressure is not None)
        notes.append(_expected_note(test.expected, start - origin, top, show))
    notes += _limit_notes(test, show)
    head = "EXAMPLE, invented: " if invented else ""
    if stop - first != len(lead.time):
        ends = " s to ".join(_seconds(float(t) - origin) for t in lead.time[[0, -1]])
        notes.append(f"Drawn is the burning; the recording runs {ends} s.")
    return line_chart(
        LineChart(
            title=f"{head}Static test: {asked.file}",
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


def _scaled(channel: Channel, test: StaticTest, show: Shown) -> FloatArray:
    """Return a course as drawn, absolute pressure or thrust, in the unit shown."""
    if channel.name == "pressure":
        return _in(test.reduction.absolute_pressure()[1], show)
    return _in(channel.value, show, "force")


def _in(values: FloatArray, show: Shown, kind: str = "pressure") -> FloatArray:
    """Return pressures [Pa] or forces [N] in the unit shown."""
    scale = 1e-6 if kind == "pressure" else 1.0
    return np.asarray(scale * values * show.span(kind, 1.0))


def _seconds(time: float) -> str:
    """Write a time of the recording, to a millisecond."""
    return numbers.at_place(time, -3)


def _panel(
    test: StaticTest,
    channel: Channel,
    course: FloatArray,
    clocked: tuple[FloatArray, float],
    show: Shown,
) -> Panel:
    """Return the panel of one sensor; its times and where their clock starts."""
    time, origin = clocked
    pressure, burning = channel.name == "pressure", channel.burning
    series = [Series("recorded", course, width=THIN)]
    top, allowable = _top(test, course, show, pressure=pressure), _allowable(test, show)
    if test.expected is not None:
        since = time - test.reduction.burning.start
        rest = test.reduction.stand.ambient_pressure if pressure else None
        series.append(_expected_series(test.expected, since, (top, rest), show))
    if pressure and allowable <= top:
        series.append(Series("allowed pressure", np.full(time.shape, allowable)))
    banded = pressure and test.expected is not None
    band = "Band: 95 of 100 predicted firings lie inside, at each time"
    moments = (burning.start, channel.peak_time, burning.end)
    return Panel(
        "chamber pressure, absolute" if pressure else "thrust",
        show.unit("pressure" if pressure else "force"),
        tuple(series),
        band=band if banded else "",
        ceiling=top if banded else np.inf,
        from_zero=not any((s.values < 0.0).any() for s in series),
        spans=tuple(_spans(channel, time, origin)),
        events=tuple(
            Event(name, at - origin)
            for name, at in zip(("start", "peak", "end"), moments, strict=True)
        ),
    )


def _expected_series(
    expected: Expected,
    since: FloatArray,
    ends: tuple[float, float | None],
    show: Shown,
) -> Series:
    """Return what was predicted, from the start of burning on; the band up to a top.

    Of the pressure if that of the air is given beside the top, else of the thrust.
    """
    top, ambient = ends
    best, name = expected.course, "predicted, best estimate"

    def line(values: FloatArray) -> FloatArray:
        return np.interp(since, best.time, values, left=np.nan, right=np.nan)

    if ambient is None:
        return Series(name, _in(line(best.thrust), show, "force"))
    low, high = (
        # A draw without stable pressure stands above every other one: infinite.
        np.interp(since, expected.time, np.minimum(_in(edge, show), top), *_NOWHERE)
        for edge in (expected.low, expected.high)
    )
    return Series(name, _in(line(best.pressure), show), low, high)


def _top(test: StaticTest, course: FloatArray, show: Shown, *, pressure: bool) -> float:
    """Return the highest value that may be drawn: twice what was recorded or best."""
    found = float(np.nanmax(course))
    if test.expected is not None:
        best = test.expected.course
        drawn = (best.pressure, "pressure") if pressure else (best.thrust, "force")
        found = max(found, float(_in(drawn[0], show, drawn[1]).max()))
    return _CEILING * found


def _allowable(test: StaticTest, show: Shown) -> float:
    """Return the allowed pressure in the unit shown; NaN without a case."""
    if test.hardware is None:
        return math.nan
    return show.number("pressure", 1e-6 * test.hardware.allowable)


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


def _cause_notes(test: StaticTest, show: Shown) -> list[str]:
    """Say what is likely wrong with the recording, and what points to it."""
    cause, evidence = test.reduction.cause, test.reduction.evidence
    return [f"Doubted: {cause} (likely): {show.said(evidence)}."] if cause else []


def _result_notes(test: StaticTest, asked: Asked, show: Shown) -> list[str]:
    """Return what the firing says, in one line."""
    row = firing_row(test, asked) | bands(test)
    labels = {
        "characteristic_velocity_m_s": "c*",
        "specific_impulse_s": "Isp",
        "total_impulse_N_s": "impulse",
        "burn_time_s": "burn time",
    }
    parts = [
        f"{label} {told(key, row, show)}"
        for key, label in labels.items()
        if not math.isnan(row[key])
    ]
    mix = f"Mix {asked.mix}. " if asked.mix else ""
    return [f"{mix}Delivered (95 % bands in brackets): {'; '.join(parts)}."]


def _rule_notes(test: StaticTest) -> list[str]:
    """Say how start, end and zero were found."""
    share, sensors = test.reduction.stand.share, channels(test)
    rules = "; ".join(limit_rule(channel, share) for channel in sensors)
    zeros = "; ".join(f"{c.name}: {zero_words(c)}" for c in sensors)
    return [f"Start and end: {rules}.", f"Zero taken away: {zeros}."]


def _expected_note(expected: Expected, start: float, top: float, show: Shown) -> str:
    """Say what the prediction is, and what the picture hides of it."""
    text = (
        f"Predicted: lit all at once at the start of burning, {_seconds(start)} s; no "
        "erosive burning, no cracks."
    )
    if expected.failed:
        text += (
            f" {expected.failed} of {expected.draws} draws have no stable pressure and "
            "stand above the picture."
        )
    elif float(_in(expected.high, show).max()) > top:
        text += " The band goes on above the picture."
    return text


def _limit_notes(test: StaticTest, show: Shown) -> list[str]:
    """Say where the limit of the case lies if the picture does not reach it."""
    allowable, pressure = _allowable(test, show), test.reduction.pressure
    if math.isnan(allowable) or pressure is None:
        return []
    if allowable <= _top(test, _scaled(pressure, test, show), show, pressure=True):
        return []
    rating = f"{numbers.typed(allowable)} {show.unit('pressure')}"
    return [f"Your rating, {rating}, lies above the picture."]


# ----------------------------------------------------------------------------
# A recording just as it was read: for one that was refused.


def raw_chart(file: str, time: FloatArray, courses: Sequence[Course]) -> str:
    """Return the picture of a recording just as it was read, as SVG text.

    Where the times [s] do not rise throughout, samples are counted instead. Courses are
    label, unit and values; NaN leaves a gap.

    Raises
    ------
    InputError
        No sample, no course, a course of another length.
    """
    t = np.asarray(time, dtype=float)
    notes = ["Nothing was reduced: readings as they stand in the file."]
    origin, label, unit = 0.0, "sample, counted from 1", ""
    if np.isfinite(t).all() and (np.diff(t) > 0.0).all() and t.size:
        (origin, label), unit = clock(t), "s"
    else:
        falls = int(np.count_nonzero(~(np.diff(t) > 0.0)))
        where = "at 1 place" if falls == 1 else f"at {falls} places"
        notes.append(f"The times do not rise {where}, so samples are counted instead.")
        t = np.arange(1.0, t.size + 1.0)
    values = []
    for name, _, course in courses:
        found = np.asarray(course, dtype=float)
        known = np.isfinite(found) & (np.abs(np.nan_to_num(found)) < _ABSURD)
        missing = int(found.size - known.sum())
        if missing:
            notes.append(f"{name}: {missing} missing or absurd readings left out.")
        values.append(np.where(known, found, np.nan))
    x, drawn = thinned(t - origin, values)
    panels = [
        Panel(name, words, (Series("as read", line, width=THIN),))
        for (name, words, _), line in zip(courses, drawn, strict=True)
    ]
    return line_chart(
        LineChart(
            title=f"As read: {file}",
            x_label=label,
            x_unit=unit,
            x=x,
            panels=tuple(panels),
            notes=tuple(notes),
        )
    )


def clock(time: FloatArray) -> tuple[float, str]:
    """Return where the clock of the picture starts [s], and its name."""
    if abs(float(time[0])) < _LATE:
        return 0.0, "time"
    return float(time[0]), "time from the first sample"
