"""The delay column: how it burns down, with the grain and then alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from castsugar.motor.burn_law import burn_rate
from castsugar.motor.delay import Delay
from castsugar.numerics import running_integral
from castsugar.plot import style
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.report import numbers
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def delay(found: Delay, *, ax: Axes | None = None, units: str = "si") -> Axes:
    """Draw the length of a delay column that is left, against time from ignition.

    Parameters
    ----------
    found : Delay
        Of :func:`castsugar.firing.delay_time` or
        :func:`castsugar.firing.delay_length`.
    ax : Axes, optional
        New ones by default.
    units : str
        "si" (mm) or "us" (in).

    Returns
    -------
    Axes
        The band holds 95 of 100 columns (or as many as the settings say) at the end of
        thrust and at the end of the column, and runs straight between.

    Examples
    --------
    >>> from castsugar.firing import Thrusting, delay_time
    >>> from castsugar.motor import BurnLaw
    >>> from castsugar.motor.burn_law import Band
    >>> band = Band(low=1e5, high=3e6, rate=3e-3, exponent=0.5)
    >>> slow = BurnLaw(name="invented", bands=(band,), log_rate_u=0.05)
    >>> found = delay_time(slow, Thrusting.constant(1e6, 2.0), length=12e-3)
    >>> delay(found).get_xlabel()
    'time from ignition, s'
    """
    show, axes = Shown(units), style.new_axes() if ax is None else ax
    unit = show.unit("length")
    style.dress(axes, f"delay column left, {unit}", x="time from ignition, s")
    scale = show.span("length", 1e3)
    whole, thrust = found.length.value, found.thrusting.burn_time
    left = [max(x, 0.0) for x in (found.left.low, found.left.value, found.left.high)]
    ends = [max(x, 0.0) for x in (found.time.low, found.time.value, found.time.high)]
    lit = min(found.settings.ignition_lag, thrust)
    time = np.linspace(lit, thrust, 60)
    rate = burn_rate(
        found.law,
        np.interp(time, found.thrusting.time, found.thrusting.pressure),
    )
    gone = running_integral(time, rate)
    gone *= (whole - left[1]) / gone[-1] if gone[-1] > 0.0 else 1.0
    axes.plot(
        [0.0, *time, thrust + ends[1]],
        scale * np.r_[whole, whole - gone, 0.0],
        color=style.BLUE,
        label="best estimate",
    )
    corners = scale * np.array([[whole, left[0], 0.0], [whole, left[2], 0.0]])
    last = thrust + ends[2]
    x = np.array([lit, thrust, thrust + ends[0], last])
    low = np.interp(x, [lit, thrust, thrust + ends[0]], corners[0], right=0.0)
    high = np.interp(x, [lit, thrust, last], corners[1])
    style.band(axes, x, low, high, style.BLUE)
    axes.axvspan(0.0, thrust, facecolor=style.SOFT, alpha=0.12, linewidth=0.0)
    axes.set_xlim(0.0, 1.08 * last)
    axes.set_ylim(0.0, 1.08 * scale * max(whole, found.length.high))
    marks = [("thrust ends", thrust)]
    if found.lasts:
        marks.append(("column through", thrust + ends[1]))
    style.moments(axes, marks)
    return axes


def delay_drawing(
    found: Delay, title: str, *, show: Shown, invented: bool = False
) -> Drawing:
    """Return the picture of a delay column."""
    share = numbers.percent(found.settings.probability)
    scale = show.span("length", 1e3)
    length = show.typed("length", numbers.three(1e3 * found.length.value))
    told, low, high = numbers.with_band(
        found.time.value, found.time.low, found.time.high
    )
    words = f"A column of {length} is through {told} s after thrust ({low} to {high})."
    spent = found.burned
    burned, least, most = numbers.with_band(
        scale * spent.value, scale * spent.low, scale * spent.high
    )
    notes = [
        f"Of it {burned} {show.unit('length')} ({least} to {most}) burn while the "
        "motor thrusts, shaded.",
        f"Band: {share} % of columns at the end of thrust and of the column, straight "
        "between. By your strands of the delay mix; other temperatures are not "
        "modelled.",
        "A delay is to be tried on the ground. No claim of safety.",
    ]

    def draw(width: int) -> Sheet:
        head = f"{'EXAMPLE: ' if invented else ''}{title}"
        sheet = Sheet("delay", head, width=width, words=words, below=[words])
        axes = sheet.panel(240.0, below=36.0)
        delay(found, ax=axes, units=show.system)
        sheet.notes(notes)
        return sheet

    return draw
