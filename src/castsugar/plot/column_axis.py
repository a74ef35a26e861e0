"""A column on an axis: its name, values in the units shown, its range, its limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes

from castsugar.arrays import FloatArray
from castsugar.limits import YOURS, Limit
from castsugar.plot import style
from castsugar.plot.sheet import Sheet
from castsugar.report.field import CHANCE
from castsugar.report.search_words import bound_words, chance_of, field_of
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: Columns that run over decades: their axis is logarithmic.
_DECADES = "pour_viscosity"

#: Columns of pressures in the motor: they begin at 0, a limit is the allowed pressure.
PRESSURES, _MARGIN = "peak_pressure", "pressure_margin_percent"

#: A logarithmic axis reaches so many times beyond limits, or above its lowest value.
_FAR, _ABOVE = 30.0, 1e3

#: Narrower axes name limits in fewer words. [px]
_BROAD = 400.0

#: What a panel has beside its axes. [px]
_SIDES = 56.0


def named(column: str, show: Shown) -> str:
    """Return how a column heads its axis, unit included."""
    one, share = field_of(column), chance_of(column)[1]
    if share is None:
        return one.headed(show)
    return style.headed(
        f"{one.named(show)}, {share:g} of 100 below", show.unit(one.kind)
    )


def scaled(column: str, values: ArrayLike, show: Shown) -> FloatArray:
    """Return values of a column in the units shown; shares of draws of 100."""
    kind = field_of(column).kind
    flat = np.asarray(values, dtype=float)
    if kind == CHANCE:
        return 100.0 * flat
    return np.array([show.number(kind, x) for x in flat.ravel()]).reshape(flat.shape)


def range_of(
    column: str,
    core: FloatArray,
    more: FloatArray,
    anchors: FloatArray,
    room: float = 1.0,
) -> tuple[float, float]:
    """Return the range of an axis: `core` and `anchors` in full, others nearby.

    Of `more` what lies within `room` ranges of them: what is far off would flatten what
    can be chosen. Over decades, what lies within a factor of the anchors.
    """
    core, more = core[np.isfinite(core)], more[np.isfinite(more)]
    if column.startswith(_DECADES):
        known = np.concatenate([core, more])
        known = known[known > 0.0]
        least = known.min(initial=np.inf)
        lowest = anchors.min() / _FAR if len(anchors) else 0.0
        highest = anchors.max() * _FAR if len(anchors) else _ABOVE * least
        known = np.append(np.clip(known, lowest, highest), anchors)
        return (known.min() / 1.2, known.max() * 1.2) if len(known) else (1.0, 10.0)
    core = np.append(core, anchors)
    if not len(core):
        core = more if len(more) else np.array([0.0, 1.0])
    low, high = float(core.min()), float(core.max())
    reach = room * ((high - low) or 0.05 * abs(high) or 1.0)
    near = np.append(np.clip(more, low - reach, high + reach), [low, high])
    low, high = float(near.min()), float(near.max())
    wide = (high - low) or 0.1 * abs(high) or 1.0
    if column.startswith(PRESSURES):
        return 0.0, high + 0.05 * wide
    return low - 0.05 * wide, high + 0.05 * wide


def set_range(
    axes: Axes, column: str, ends: tuple[float, float], label: str = ""
) -> None:
    """Dress axes, with the range of y: logarithmic where the column runs over decades.

    The label stands above, in as many lines as it needs.
    """
    room = axes.get_window_extent().width
    style.dress(axes, "\n".join(style.wrapped(label, room, bold=True)))
    if column.startswith(_DECADES):
        style.logarithmic(axes, "y", *ends)
    else:
        axes.set_ylim(*ends)
        axes.ticklabel_format(axis="y", useOffset=False, style="plain")


def panel(sheet: Sheet, label: str, height: float, x: str = "") -> Axes:
    """Return axes below what is there, with room for a label above and one for x."""
    room = sheet.inner - _SIDES
    above = len(style.wrapped(label, room, bold=True))
    below = len(style.wrapped(x, room)) if x else 0
    return sheet.panel(
        height, above=14.0 + 13.0 * above, below=(24.0 if x else 18.0) + 14.0 * below
    )


def name_x(axes: Axes, label: str) -> None:
    """Write what x is, in as many lines as it needs."""
    lines = style.wrapped(label, axes.get_window_extent().width)
    axes.set_xlabel("\n".join(lines), fontsize=style.SIZE, color=style.INK)


def held(values: FloatArray, ends: tuple[float, float], column: str) -> FloatArray:
    """Return values no farther off an axis than they must be to leave it."""
    low, high = ends
    if column.startswith(_DECADES):
        return np.clip(values, low / 10.0, high * 10.0)
    return np.clip(values, 2.0 * low - high, 2.0 * high - low)


def limits_on(column: str, limits: Sequence[Limit]) -> list[Limit]:
    """Return the limits that stand on an axis.

    The allowed pressure stands on that of any pressure, and of the margin to it.
    """
    base = chance_of(column)[0]
    found = [one for one in limits if one.key == base]
    for one in limits:
        if one in found or not one.key.startswith(PRESSURES):
            continue
        if base.startswith(PRESSURES):
            found.append(one)
        elif base == _MARGIN and one.whose != YOURS:
            found.append(Limit(column=base, sense=">=", value=0.0))
    return found


def draw_limit(
    axes: Axes,
    column: str,
    limit: Limit,
    show: Shown,
    *,
    across: bool = False,
    reach: float = 3.0,
) -> None:
    """Draw a limit of the y axis, or of the x axis, with the side that breaks it.

    The allowed pressure looks as on every other picture, or is told at the edge where
    it is farther up than `reach` times the axis.
    """
    at = float(scaled(limit.key, limit.value, show))
    words = bound_words(limit, show)
    if limit.key.startswith(PRESSURES) and limit.sense == "<=" and not across:
        whose = limit.whose if limit.whose == YOURS else "allowed"
        words = f"{whose} {show.bound('pressure', limit.value)}"
        style.allowed(axes, at, words, reach=reach)
        if at <= axes.get_ylim()[1]:
            _move_aside(axes, at)
        return
    low, high = axes.get_xlim() if across else axes.get_ylim()
    first, last = (at, high) if limit.sense == "<=" else (low, at)
    shade, line = (
        (axes.axvspan, axes.axvline) if across else (axes.axhspan, axes.axhline)
    )
    shade(first, last, facecolor=style.INK, alpha=0.1, linewidth=0.0)
    line(at, color=style.INK, linewidth=2.0, solid_capstyle="butt")
    if across:
        axes.set_xlim(low, high)
    else:
        axes.set_ylim(low, high)
    room = axes.get_window_extent().width
    if limit.probability is not None and limit.column != column and room > _BROAD:
        words += f", in {100.0 * limit.probability:g} of 100"
    _name_limit(axes, at, words, above=limit.sense == ">=", across=across)


def _name_limit(
    axes: Axes, at: float, words: str, *, above: bool, across: bool
) -> None:
    """Write what a limit is beside its line: where no curve passes, if there is such.

    On the side that keeps it, if both are free.
    """
    frame = axes.get_window_extent()
    wide, high = style.width_of(words, style.SMALL, bold=True), 1.4 * style.SMALL
    here = axes.transData.transform((at, 1.0) if across else (1.0, at))
    sides = (3.0, -3.0 - (wide if across else high))[:: 1 if above else -1]
    along = (
        _along(frame.y0, frame.y1 - high)
        if across
        else _along(frame.x0, frame.x1 - wide)
    )
    spots = [
        (here[0] + side, place) if across else (place, here[1] + side)
        for side in sides
        for place in along
    ]
    left, low = _freest(axes, spots, (wide, high))
    axes.annotate(
        words,
        (0.0, 0.0),
        (left - frame.x0, low - frame.y0 + 0.3 * style.SMALL),
        xycoords="axes fraction",
        textcoords="offset pixels",
        fontsize=style.SMALL,
        fontweight="bold",
        color=style.INK,
        bbox=style.HALO,
    )


def _move_aside(axes: Axes, at: float) -> None:
    """Move the name of the allowed pressure along its line to where no curve passes.

    It was the last thing that was written, at the right end.
    """
    text, frame = axes.texts[-1], axes.get_window_extent()
    wide = style.width_of(text.get_text(), style.SMALL, bold=True)
    low = float(axes.transData.transform((1.0, at))[1]) + 3.0
    spots = [(float(x), low) for x in _along(frame.x0, frame.x1 - wide)]
    left = _freest(axes, spots, (wide, style.SMALL))[0]
    if left != spots[0][0]:
        text.xy = ((left - frame.x0) / frame.width, at)  # type: ignore[attr-defined]
        text.set_position((0.0, 3.0))
        text.set_horizontalalignment("left")


def _along(first: float, last: float) -> FloatArray:
    """Return places along a line, the last one first. [px]"""
    return np.linspace(last - 4.0, first + 4.0, 9)


def _freest(
    axes: Axes, spots: Sequence[tuple[float, float]], size: tuple[float, float]
) -> tuple[float, float]:
    """Return the first of the lower left corners at which fewest points lie below.

    Those that leave the axes count for none. [px]
    """
    frame, dots = axes.get_window_extent(), _dots(axes)
    met = []
    for spot in spots:
        off, (right, top) = dots - np.asarray(spot), np.add(spot, size)
        hits = int(((off > -2.0) & (off < size)).all(axis=1).sum())
        out = spot[0] < frame.x0 or right > frame.x1 or spot[1] < frame.y0
        met.append(len(dots) + 1 if out or top > frame.y1 else hits)
    return spots[int(np.argmin(met))]


def _dots(axes: Axes) -> FloatArray:
    """Return points along the curves, and of marks. [px]"""
    found = [np.full((1, 2), np.nan)]
    for line in axes.get_lines():
        at = np.asarray(line.get_xydata(), dtype=float)
        if line.get_transform() == axes.transData and len(at):
            pixels, last = axes.transData.transform(at), len(at) - 1.0
            solid = line.get_linestyle() != "None"
            place = np.linspace(0.0, last, 400 if solid else len(at))
            found.append(
                np.column_stack([np.interp(place, range(len(at)), v) for v in pixels.T])
            )
    return np.vstack(found)
