"""Whole pictures of firings: with heading, panels, keys and what is to be known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from castsugar.arrays import FloatArray
from castsugar.comparison.change import PressureBand
from castsugar.errors import InputError
from castsugar.motor.fired_mixes import Firing
from castsugar.motor.firing.expectation import Expected
from castsugar.plot import firings, style
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.report import numbers
from castsugar.report.firing import told
from castsugar.report.firing_annexes import zero_words
from castsugar.report.firing_rows import Asked, bands, channels, firing_row, limit_rule
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest

#: What a picture of a prediction does not hold.
_SCOPE = (
    "Curves are best estimates, bands hold 95 of 100 draws at each time. The grain "
    "lights all at once; no erosive burning, no cracks. No claim of safety."
)
_SAFETY = "No claim of safety: one grain, on a stand, once."
_NO_CLAIM = "No claim of safety."

#: Heights of a panel alone, and of one of two. [px]
_TALL, _FLAT = 260.0, 170.0


def trace_drawing(  # noqa: PLR0913 - keyword-only options
    found: Sequence[PressureBand],
    *,
    allowed: float = math.nan,
    peaks: Mapping[str, float] | None = None,
    thrust: str = "",
    notes: Sequence[str] = (),
    show: Shown,
    invented: bool = False,
) -> Drawing:
    """Return the picture of firings that are foreseen, a curve and a band a mix.

    Parameters
    ----------
    allowed : float
        Pressure that the case may hold. [Pa]
    peaks : mapping of str to float, optional
        Name to the peak that 95 of 100 next batches stay below, which is written. [Pa]
    thrust : str
        "ideal" or "delivered": a second panel has the thrust; empty for none.
    notes : sequence of str
        Under which conditions it holds.

    Raises
    ------
    InputError
        No mix has a pressure.
    """
    fired = {b.name: b.expected for b in found if b.expected is not None}
    if not fired:
        why = "; ".join(f"{b.name}: {b.reason}" for b in found) or "none was given"
        raise InputError(f"no mix has a pressure that can be drawn ({why})")
    highest = {
        name: show.amount("pressure", 1e-6 * peak)
        for name, peak in (peaks or {}).items()
        if name in fired and math.isfinite(peak)
    }
    said = [*map(show.said, notes), *_peaks_told(highest), *_left_out(found)]
    names = ", ".join(fired)
    best = "; ".join(
        f"{name}: peak {show.amount('pressure', 1e-6 * e.course.peak_pressure)}, "
        f"burn time {numbers.significant(e.course.burn_time)} s"
        for name, e in fired.items()
    )
    of = ("pressure", *(("thrust",) if thrust else ()))

    def draw(width: int) -> Sheet:
        sheet = Sheet(
            "trace",
            f"{'EXAMPLE: ' if invented else ''}{' and '.join(of).capitalize()} against "
            f"time: {names}",
            width=width,
            words=f"Best estimates. {best}.",
        )
        panels = []
        for quantity in of:
            last = quantity == of[-1]
            axes = sheet.panel(_FLAT if thrust else _TALL, below=36.0 if last else 22.0)
            firings.trace(fired, quantity, allowed=allowed, ax=axes, units=show.system)
            if quantity == "thrust":
                style.dress(axes, f"thrust, {thrust}, {show.unit('force')}")
            if not last:
                axes.set_xlabel("")
            panels.append(axes)
        sheet.keys(*panels)
        sheet.notes([*said, _SCOPE])
        return sheet

    return draw


def growth_drawing(
    fired: Mapping[str, Firing], *, show: Shown, invented: bool = False
) -> Drawing:
    """Return the picture of throats that wear."""
    before = "EXAMPLE: " if invented else ""

    def draw(width: int) -> Sheet:
        title = f"{before}Throat against time: {', '.join(fired)}"
        words = "The throat diameter from ignition to the end of the tail."
        sheet = Sheet("throat", title, width=width, words=words)
        axes = sheet.panel(_TALL, below=36.0)
        firings.growth(fired, ax=axes, units=show.system)
        sheet.keys(axes)
        sheet.notes(
            [
                "From throat to throat_after of [motor], straight over the burnt mass; "
                "level where throat_after is not stated.",
                _NO_CLAIM,
            ]
        )
        return sheet

    return draw


def _peaks_told(highest: Mapping[str, str]) -> list[str]:
    """Say below what 95 of 100 peaks stay."""
    told = "; ".join(f"{name} {words}" for name, words in highest.items())
    return [f"95 of 100 peaks of next batches stay below: {told}."] if told else []


def _left_out(found: Sequence[PressureBand]) -> list[str]:
    """Say which mix has no curve or no upper end of its band."""
    notes = []
    for one in found:
        if one.expected is None:
            notes.append(f"{one.name}: not drawn, {one.reason}.")
        elif one.expected.failed:
            many = f"{one.expected.failed} of {one.expected.draws} draws"
            notes.append(
                f"{one.name}: {many} have no stable pressure and stand above the "
                "picture."
            )
    return notes


def firing_drawing(
    test: StaticTest, asked: Asked, show: Shown, *, invented: bool = False
) -> Drawing:
    """Return the picture of a recorded firing: a panel a sensor, and what it says."""
    sensors = [channel.name for channel in channels(test)]
    notes = [*_doubted(test, show), *_rules(test), *_expectation(test, show)]
    result = _result(test, asked, show)

    def draw(width: int) -> Sheet:
        head = "EXAMPLE, invented: " if invented else ""
        title = f"{head}Static test: {asked.file}"
        sheet = Sheet("firing", title, width=width, words=result)
        panels = []
        for name in sensors:
            last = name == sensors[-1]
            height = _TALL if len(sensors) == 1 else _FLAT
            axes = sheet.panel(height, below=36.0 if last else 22.0)
            firings.firing(test, name, ax=axes, units=show.system)
            if not last:
                axes.set_xlabel("")
            panels.append(axes)
        sheet.keys(*panels)
        sheet.notes([result, *notes, _SAFETY])
        return sheet

    return draw


def _doubted(test: StaticTest, show: Shown) -> list[str]:
    """Say what is likely wrong with the recording, and what points to it."""
    cause, evidence = test.reduction.cause, test.reduction.evidence
    return [f"Doubted: {cause} (likely): {show.said(evidence)}."] if cause else []


def _result(test: StaticTest, asked: Asked, show: Shown) -> str:
    """Return what the firing says, in one line."""
    row = firing_row(test, asked) | bands(test)
    labels = {
        "characteristic_velocity_m_s": "c*",
        "specific_impulse_s": "Isp",
        "total_impulse_N_s": "impulse",
        "burn_time_s": "burn time",
    }
    parts = "; ".join(
        f"{label} {told(key, row, show)}"
        for key, label in labels.items()
        if not math.isnan(row[key])
    )
    mix = f"Mix {asked.mix}. " if asked.mix else ""
    return f"{mix}Delivered (95 % bands in brackets): {parts}."


def _rules(test: StaticTest) -> list[str]:
    """Say how start, end and zero were found, and what of the recording is drawn."""
    share, sensors = test.reduction.stand.share, channels(test)
    rules = "; ".join(limit_rule(channel, share) for channel in sensors)
    zeros = "; ".join(f"{c.name}: {zero_words(c)}" for c in sensors)
    time = sensors[0].time
    origin, (low, high) = firings.clock(time)[0], firings.window(test)
    notes = [f"Start and end: {rules}.", f"Zero taken away: {zeros}."]
    if low > time[0] or high < time[-1]:
        ends = [numbers.at_place(float(t) - origin, -3) for t in time[[0, -1]]]
        notes.append(
            f"Drawn is the burning; the recording runs {ends[0]} s to {ends[1]} s."
        )
    return notes


def _expectation(test: StaticTest, show: Shown) -> list[str]:
    """Say what the prediction is, and what the picture hides of it."""
    expected: Expected | None = test.expected
    if expected is None:
        return []
    notes = [
        "Predicted: lit all at once at the start of burning; no erosive burning, no "
        "cracks. Band: 95 of 100 predicted firings lie inside, at each time."
    ]
    if expected.failed:
        notes.append(
            f"{expected.failed} of {expected.draws} draws have no stable pressure and "
            "stand above the picture."
        )
    return notes


def raw_drawing(
    file: str, time: FloatArray, courses: Sequence[tuple[str, FloatArray]]
) -> Drawing:
    """Return the picture of a recording just as it was read.

    Raises
    ------
    InputError
        When it is drawn: no sample, no course, a course of another length.
    """

    def draw(width: int) -> Sheet:
        sheet = Sheet("reading", f"As read: {file}", width=width)
        axes = [sheet.panel(_FLAT, below=36.0) for _ in courses]
        remarks = firings.as_read(time, courses, axes)
        whole = "Nothing was reduced: readings as they stand in the file."
        sheet.notes([whole, *remarks])
        return sheet

    return draw
