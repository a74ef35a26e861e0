"""Firings against time: those that are foreseen, those that were recorded."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.motor.fired_mixes import Firing
from castsugar.motor.firing.expectation import Expected
from castsugar.motor.transient import Course
from castsugar.plot import style
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from castsugar.motor.firing.channel import Channel
    from castsugar.static_test import StaticTest

#: What is drawn against time -> its label and the kind of its unit.
QUANTITIES = {
    "pressure": ("chamber pressure, absolute", "pressure"),
    "thrust": ("thrust", "force"),
}

#: A picture reaches so many times as far, and as high, as its curves; bands go on.
REACH = 2.5

#: Columns of a long recording: of each the highest and the lowest sample are drawn.
_COLUMNS = 400

#: Stretches closer than this part of the picture are one.
_MERGED = 1.0 / 300.0

#: Drawn before and after the burning, in burn times; an expected one may take so many.
_BEFORE, _AFTER, _EXPECTED = 0.2, 0.5, 3.0

#: Clocks that start beyond count from their first sample. [s]
_LATE = 1e4


def trace(
    fired: Mapping[str, Expected | Firing | Course],
    quantity: str = "pressure",
    *,
    allowed: float = math.nan,
    ax: Axes | None = None,
    units: str = "si",
) -> Axes:
    """Draw firings that are foreseen against time, with the bands they have.

    Parameters
    ----------
    fired : mapping of str to Expected, Firing or Course
        Name of each to what was computed of it; of an ``Expected`` the 95 % band of its
        draws at each time is shaded too.
    quantity : str
        "pressure" or "thrust".
    allowed : float
        Pressure that the case may hold, drawn if it is given. [Pa]
    ax : Axes, optional
        New ones by default.
    units : str
        "si" (MPa, N) or "us" (psi, lbf).

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        Nothing to draw, an unknown quantity.

    See Also
    --------
    castsugar.motor.firings : the firings of mixes in a motor.

    Examples
    --------
    >>> from castsugar import Conditions, Hardware, Mix
    >>> from castsugar.motor import BurnModel, HollowCylinder, firings
    >>> grain = HollowCylinder(
    ...     outer_diameter=0.030, core_diameter=0.010, segment_length=0.050
    ... )
    >>> motor = Hardware(grain=grain, throat_diameter=8e-3, burning=BurnModel())
    >>> mixes = [Mix.weigh("KNO3:65 sucrose:35")]
    >>> rows = Conditions(motor=motor).rows(mixes, confirm=False)
    >>> trace({"mine": firings(motor, mixes, rows)[0]}).get_xlabel()
    'time from ignition, s'
    """
    if not fired or quantity not in QUANTITIES:
        raise InputError(
            f"nothing to draw of {quantity!r}; give firings, and one of "
            f"{', '.join(QUANTITIES)}"
        )
    show = Shown(units)
    axes = style.new_axes() if ax is None else ax
    label, kind = QUANTITIES[quantity]
    style.dress(axes, style.headed(label, show.unit(kind)), x="time from ignition, s")
    courses = {name: _course(one) for name, one in fired.items()}
    ends = [REACH * max(c.burn_time for c in courses.values())]
    ends.append(max(_last(one) for one in fired.values()))
    most = max(float(getattr(c, quantity).max()) for c in courses.values())
    top = _in(np.array(REACH * most), quantity, show)
    for k, (name, one) in enumerate(fired.items()):
        colour, dashes = style.LINES[k % 6], style.DASHES[k % 6]
        course = courses[name]
        values = _in(getattr(course, quantity), quantity, show)
        axes.plot(course.time, values, color=colour, linestyle=dashes, label=name)
        if isinstance(one, Expected):
            low, high = (_in(e, quantity, show) for e in _band_of(one, quantity))
            style.band(axes, one.time, low, np.minimum(high, 2.0 * top), colour)
    axes.set_xlim(0.0, min(ends))
    axes.set_ylim(0.0, min(float(top), 1.05 * axes.get_ylim()[1]))
    if quantity == "pressure":
        limit = show.number("pressure", 1e-6 * allowed)
        style.allowed(axes, limit, f"allowed {show.bound('pressure', 1e-6 * allowed)}")
    return axes


def growth(
    fired: Mapping[str, Expected | Firing | Course],
    *,
    ax: Axes | None = None,
    units: str = "si",
) -> Axes:
    """Draw how the throat of firings that are foreseen grows, against time.

    Parameters
    ----------
    fired : mapping of str to Expected, Firing or Course
        Name of each to what was computed of it.
    ax : Axes, optional
        New ones by default.
    units : str
        "si" (mm) or "us" (in).

    Returns
    -------
    Axes
        Straight over the burnt mass, from the throat before to the one that the motor
        states for after; level where it states none.

    Raises
    ------
    InputError
        Nothing to draw.

    Examples
    --------
    >>> from castsugar import Conditions, Hardware, Mix
    >>> from castsugar.motor import BurnModel, HollowCylinder, firings
    >>> grain = HollowCylinder(
    ...     outer_diameter=0.030, core_diameter=0.010, segment_length=0.050
    ... )
    >>> motor = Hardware(
    ...     grain=grain, throat_diameter=8e-3, throat_after=8.4e-3, burning=BurnModel()
    ... )
    >>> mixes = [Mix.weigh("KNO3:65 sucrose:35")]
    >>> rows = Conditions(motor=motor).rows(mixes, confirm=False)
    >>> axes = growth({"mine": firings(motor, mixes, rows)[0]})
    >>> axes.get_xlabel()
    'time from ignition, s'
    """
    if not fired:
        raise InputError("nothing to draw; give one firing or more, by name")
    show, axes = Shown(units), style.new_axes() if ax is None else ax
    label = style.headed("throat diameter", show.unit("length"))
    style.dress(axes, label, x="time from ignition, s")
    for k, (name, one) in enumerate(fired.items()):
        course = _course(one)
        across = 1e3 * np.sqrt(4.0 * course.throat_area / np.pi)
        axes.plot(
            course.time,
            show.span("length", 1.0) * across,
            color=style.LINES[k % 6],
            linestyle=style.DASHES[k % 6],
            label=name,
        )
    axes.set_xlim(0.0)
    return axes


def firing(
    test: StaticTest,
    quantity: str = "",
    *,
    ax: Axes | None = None,
    units: str = "si",
) -> Axes:
    """Draw a recording, and what was predicted of it with its 95 % band.

    Parameters
    ----------
    test : StaticTest
        As :func:`castsugar.firing.review` returns it.
    quantity : str
        "pressure" or "thrust"; by default pressure where it was recorded.
    ax : Axes, optional
        New ones by default; against the time of the recording.
    units : str
        "si" or "us".

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        For a quantity that was not recorded.

    Examples
    --------
    >>> import numpy as np
    >>> from castsugar.firing import Recorded, Stand, reduce_recording, review
    >>> time = np.arange(0.0, 3.0, 0.001)
    >>> burning = (time > 1.0) & (time < 2.0)
    >>> recorded = Recorded(time=time, pressure=2e6 * burning)
    >>> axes = firing(review(reduce_recording(recorded, Stand())))
    >>> axes.get_xlabel()
    'time, s'
    """
    reduction, show = test.reduction, Shown(units)
    quantity = quantity or ("pressure" if reduction.pressure else "thrust")
    channel = getattr(reduction, quantity, None) if quantity in QUANTITIES else None
    if channel is None:
        raise InputError(f"{quantity!r} was not recorded; draw the other one")
    label, kind = QUANTITIES[quantity]
    axes = style.new_axes() if ax is None else ax
    time, origin = channel.time, clock(channel.time)[0]
    style.dress(axes, style.headed(label, show.unit(kind)), x=clock(time)[1])
    low, high = window(test)
    part = slice(*(int(i) for i in np.searchsorted(time, [low, high])))
    values = channel.value if quantity == "thrust" else reduction.absolute_pressure()[1]
    _shade(axes, channel, (low, high), origin)
    drawn = thinned(time[part] - origin, _in(values, quantity, show)[part])
    axes.plot(*drawn, color=style.BLUE, linewidth=1.4, label="recorded")
    top = REACH * float(np.nanmax(drawn[1]))
    if test.expected is not None:
        _predicted(axes, test, quantity, show)
        best = getattr(test.expected.course, quantity)
        top = max(top, REACH * float(_in(best, quantity, show).max()))
    axes.set_xlim(low - origin, high - origin)
    axes.set_ylim(min(0.0, float(np.nanmin(drawn[1]))), min(top, axes.get_ylim()[1]))
    if quantity == "pressure" and test.hardware is not None:
        held = 1e-6 * test.hardware.allowable
        words = f"allowed {show.bound('pressure', held)}"
        style.allowed(axes, show.number("pressure", held), words)
    burning = channel.burning
    times = (burning.start, channel.peak_time, burning.end)
    pairs = zip(("start", "peak", "end"), times, strict=True)
    style.moments(axes, ((name, at - origin) for name, at in pairs))
    return axes


def _course(one: Expected | Firing | Course) -> Course:
    """Return the best estimate against time."""
    if isinstance(one, Course):
        return one
    return one.course if isinstance(one, Expected) else one.course()


def _last(one: Expected | Firing | Course) -> float:
    """Return when a curve or its band ends. [s]"""
    return float((one.time if isinstance(one, Expected) else _course(one).time)[-1])


def _band_of(one: Expected, quantity: str) -> tuple[FloatArray, FloatArray]:
    if quantity == "pressure":
        return one.low, one.high
    return one.thrust_low, one.thrust_high


def _in(values: FloatArray, quantity: str, show: Shown) -> FloatArray:
    """Return pressures [Pa] or thrusts [N] in the unit shown."""
    scale = 1e-6 if quantity == "pressure" else 1.0
    return np.asarray(scale * values * show.span(QUANTITIES[quantity][1], 1.0))


def _predicted(axes: Axes, test: StaticTest, quantity: str, show: Shown) -> None:
    """Draw what was predicted, from the start of burning on."""
    expected = test.expected
    assert expected is not None
    start = test.reduction.burning.start
    time = test.reduction.pressure or test.reduction.thrust
    assert time is not None
    start -= clock(time.time)[0]
    course, colour = expected.course, style.ORANGE
    values = _in(getattr(course, quantity), quantity, show)
    name = "predicted, best estimate"
    if quantity == "thrust":
        name = "predicted thrust, delivered"
    axes.plot(
        course.time + start, values, color=colour, linestyle=style.DASHES[1], label=name
    )
    low, high = (_in(e, quantity, show) for e in _band_of(expected, quantity))
    most = 2.0 * REACH * float(values.max())
    style.band(axes, expected.time + start, low, np.minimum(high, most), colour)


def _shade(
    axes: Axes, channel: Channel, ends: tuple[float, float], origin: float
) -> None:
    """Hatch what was bridged, and where the sensor stood at its limit."""
    reach = channel.bridged.copy()
    reach[1:] |= channel.gap
    reach[:-1] |= channel.gap
    for words, hatch, marked in (
        ("not recorded, bridged", "//", reach),
        ("sensor at its limit", "xx", channel.at_limit),
    ):
        found = _merged(channel.time, marked, _MERGED * (ends[1] - ends[0]))
        inside = [s for s in found if s[1] >= ends[0] and s[0] <= ends[1]]
        for place, (low, high) in enumerate(inside):
            axes.axvspan(
                low - origin,
                high - origin,
                facecolor="none",
                edgecolor=style.SOFT,
                linewidth=0.0,
                hatch=hatch,
                label="_" * bool(place) + f"{channel.name}: {words}",
            )


def _merged(
    time: FloatArray, marked: BoolArray, gap: float
) -> list[tuple[float, float]]:
    """Return where samples are marked; stretches closer than `gap` are one. [s]"""
    edges = np.diff(np.r_[False, marked, False].astype(int))
    found: list[tuple[float, float]] = []
    pairs = (np.flatnonzero(edges == 1), np.flatnonzero(edges == -1))
    for first, stop in zip(*pairs, strict=True):
        low, high = float(time[first]), float(time[stop - 1])
        if found and low - found[-1][1] <= gap:
            found[-1] = (found[-1][0], high)
        else:
            found.append((low, high))
    return found


def window(test: StaticTest) -> tuple[float, float]:
    """Return the part of a recording that is drawn. [s]"""
    burning = test.reduction.burning
    low = burning.start - _BEFORE * burning.lasting
    high = burning.end + _AFTER * burning.lasting
    if test.expected is not None:
        longest = min(float(test.expected.time[-1]), _EXPECTED * burning.lasting)
        high = max(high, burning.start + longest + 0.05 * burning.lasting)
    return low, high


def clock(time: FloatArray) -> tuple[float, str]:
    """Return where the clock of the picture starts [s], and its label."""
    if abs(float(time[0])) < _LATE:
        return 0.0, "time, s"
    return float(time[0]), "time from the first sample, s"


def thinned(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the highest and the lowest sample of each column of a picture.

    Examples
    --------
    >>> x, y = thinned(np.arange(10_000.0), np.sin(np.arange(10_000.0)))
    >>> len(x) <= 800, bool(y.max() > 0.999)
    (True, True)
    """
    count = len(x)
    if count <= 2 * _COLUMNS:
        return x, y
    known = np.where(np.isfinite(y), y, 0.0)
    starts = np.linspace(0, count, _COLUMNS + 1).astype(int)
    kept = [
        first + place
        for first, stop in pairwise(starts)
        for place in sorted(
            {int(known[first:stop].argmin()), int(known[first:stop].argmax())}
        )
    ]
    return x[kept], y[kept]


def as_read(
    time: FloatArray, courses: Sequence[tuple[str, FloatArray]], axes: Sequence[Axes]
) -> list[str]:
    """Draw a recording just as it was read, a course on each Axes; return remarks.

    Where the times [s] do not rise throughout, samples are counted instead; NaN leaves
    a gap.

    Raises
    ------
    InputError
        No sample, no course, a course of another length.
    """
    t, remarks = np.asarray(time, dtype=float), []
    if not t.size or not courses or any(len(c) != t.size for _, c in courses):
        raise InputError("nothing was read; a course needs a value for each time")
    label = "sample, counted from 1"
    if np.isfinite(t).all() and (np.diff(t) > 0.0).all():
        origin, label = clock(t)
        t = t - origin
    else:
        falls = int(np.count_nonzero(~(np.diff(t) > 0.0)))
        where = "at 1 place" if falls == 1 else f"at {falls} places"
        remarks.append(
            f"The times do not rise {where}, so samples are counted instead."
        )
        t = np.arange(1.0, t.size + 1.0)
    for one, (name, course) in zip(axes, courses, strict=True):
        values = np.asarray(course, dtype=float)
        known = np.isfinite(values) & (np.abs(np.nan_to_num(values)) < _ABSURD)
        if missing := int(values.size - known.sum()):
            remarks.append(f"{name}: {missing} missing or absurd readings left out.")
        style.dress(one, name, x=label)
        drawn = thinned(t, np.where(known, values, np.nan))
        one.plot(*drawn, color=style.BLUE, linewidth=1.4)
    return remarks


#: Readings beyond are no readings.
_ABSURD = 1e12
