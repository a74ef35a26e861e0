"""One ingredient more or less, the others in ratio: what the best mix would become."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.comparison.directions import DECADES, Directions, Way, directions
from castsugar.errors import unknown_name
from castsugar.limits import Limit
from castsugar.optimize.problem import Goal
from castsugar.optimize.search import Outcome
from castsugar.report.search_words import (
    PLAIN,
    Asked,
    axis_label,
    best_words,
    bound_words,
    is_stated,
    label_of,
    note_of,
    state_lines,
    stop_words,
)
from castsugar.report.svg.axes import Scale, padded, padded_decades
from castsugar.report.svg.canvas import (
    INK,
    SOFT,
    Point,
    Stroke,
    Svg,
    TextStyle,
    markup,
    moves,
    wrapped,
)
from castsugar.report.svg.colour import draw_symbol, symbol_of
from castsugar.report.svg.legend import Key, draw_heading, draw_keys, draw_notes
from castsugar.report.svg.line import Area, colour_of, draw_grid, draw_x_axis
from castsugar.report.svg.place import Box, Taken, text_box
from castsugar.report.svg.series import runs

_WIDTH, _MARGIN, _LEFT = 600.0, 24.0, 84.0
_INNER, _SIZE, _SMALL = _WIDTH - 2.0 * _MARGIN, 16.0, 15.0

#: A logarithmic panel shows so many times the largest limit, and of the smallest.
_REACH = 30.0

#: Another shows so many ranges of the values that keep all around them, unless that is
#: less than a part of the whole.
_BEYOND, _LEAST = 2.0, 0.05

#: Reaches below this are none. [percent of the mix]
_NONE = 0.05


def trace_plot(
    outcome: Outcome, columns: Sequence[str] | None = None, *, asked: Asked = PLAIN
) -> str:
    """Draw every ingredient of the best mix along its own direction.

    Parameters
    ----------
    outcome : Outcome
    columns : sequence of str, optional
        Columns of the search, one panel each; by default the objective and those with
        a limit.
    asked : Asked
        Ingredients as typed.

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        If no ingredient can vary alone.
    UnknownNameError
        For a column that the search did not compute.
    """
    goal = outcome.found.goal
    known = list(outcome.task.problem().columns)
    wanted = columns or [goal.objective, *(limit.column for limit in goal.limits)]
    wanted = list(dict.fromkeys(wanted))
    for name in wanted:
        if name not in known:
            raise unknown_name("column", name, known)
    ran = directions(outcome)
    title = f"{asked.before}Effect of each ingredient"
    svg = Svg(_WIDTH, 0.0, title, _description(ran, wanted))
    best = best_words(outcome)
    around = f"Around the {best}: one runs, the others keep their ratio."
    top = draw_heading(svg, title, [*state_lines(outcome), around], _MARGIN)
    keys = [_key(outcome, asked, k, way) for k, way in enumerate(ran.ways)]
    top = draw_keys(svg, keys, _MARGIN, top, _INNER)
    x = _x_scale(ran)
    height = {1: 300.0, 2: 210.0, 3: 165.0}.get(len(wanted), 130.0)
    for name in wanted:
        top = _draw_head(svg, goal, name, top)
        _draw_panel(svg, _panel(ran, goal, name, x, (top + height, top)))
        top += height + 10.0
    top = _draw_x_axis(svg, x, top - 10.0, best)
    top = draw_keys(svg, _ground_keys(is_stated(outcome)), _MARGIN, top, _INNER)
    svg.height = draw_notes(svg, [note_of(wanted)], _MARGIN, top) + 8.0
    return svg.to_text()


def _key(outcome: Outcome, asked: Asked, index: int, way: Way) -> Key:
    """Return the key of a curve: how far the ingredient can go, and what stops it."""
    share = 100.0 * way.share
    words = f"{asked.name(way.ingredient)} {share:.1f} %"
    ends = []
    for reach, stop, less in zip(
        way.reach, way.stops, ("no less", "no more"), strict=True
    ):
        far = less
        if abs(100.0 * reach) >= _NONE:
            far = f"{'down' if reach < 0.0 else 'up'} to {share + 100.0 * reach:.1f} %"
        why = stop_words(outcome, stop, asked)
        ends.append(f"{far} ({why})" if why else far)
    if any(way.stops):
        words += f": {', '.join(ends)}"
    return Key("line", colour_of(index), words, symbol=symbol_of(index))


def _x_scale(ran: Directions) -> Scale:
    """Return the scale of the change. [percent of the mix]"""
    low = min(float(way.change[0]) for way in ran.ways)
    high = max(float(way.change[-1]) for way in ran.ways)
    return Scale(*padded(100.0 * low, 100.0 * high, 0.03), _LEFT, _WIDTH - _MARGIN)


def _draw_head(svg: Svg, goal: Goal, name: str, top: float) -> float:
    """Write what a panel shows; return the y below it [px]."""
    words = axis_label(name)
    if name == goal.objective:
        words += ": more is better" if goal.maximise else ": less is better"
    y = top
    for line in wrapped(words, _INNER, _SIZE):
        y += 19.0
        svg.text((_MARGIN, y), line, TextStyle(_SIZE, bold=True))
    return y + 8.0


def _draw_x_axis(svg: Svg, x: Scale, top: float, best: str) -> float:
    """Write ticks and label of the x axis; return the y below them [px]."""
    ticks = [
        (value, ("+" if value > 0.0 else "") + words.replace("-", "\u2212"))
        for value, words in x.ticks(6)
    ]
    label = f"percent of the mix more (+) or less (\u2212) than in the {best}"
    return draw_x_axis(svg, x, top, [label], ticks=ticks) + 16.0


def _description(ran: Directions, columns: Sequence[str]) -> str:
    """Say in words what the picture shows."""
    names = ", ".join(way.ingredient for way in ran.ways)
    labels = ", ".join(label_of(name) for name in columns)
    return (
        f"{labels}, with more or less of {names}; the other ingredients keep their "
        "ratio. Lines are thick where all limits are kept."
    )


# ----------------------------------------------------------------------------
# What a panel shows.


@dataclass(frozen=True, slots=True)
class _Curve:
    """An ingredient: x rising, values with NaN for gaps, whether all is kept."""

    x: FloatArray
    values: FloatArray
    kept: BoolArray


@dataclass(frozen=True, slots=True)
class _Panel:
    """A column on the page: scales, limits on it, curves, value of the best mix."""

    area: Area
    limits: tuple[Limit, ...]
    curves: tuple[_Curve, ...]
    best: float


def _panel(
    ran: Directions, goal: Goal, name: str, x: Scale, ends: tuple[float, float]
) -> _Panel:
    """Return a panel: its range holds curves, limits and the best mix."""
    limits = tuple(limit for limit in goal.limits if limit.column == name)
    best = ran.best[name]
    anchors = [*(limit.value for limit in limits), *([best] * math.isfinite(best))]
    place = ran.columns.index(name)
    curves = tuple(
        _Curve(100.0 * way.change, way.values[:, place], way.kept) for way in ran.ways
    )
    values = np.concatenate([curve.values for curve in curves])
    kept = np.concatenate([curve.kept for curve in curves])
    logarithmic = name.startswith(DECADES) and min(anchors, default=1.0) > 0.0
    low, high = (
        _decades(values, anchors) if logarithmic else _range(values, kept, anchors)
    )
    return _Panel(Area(x, Scale(low, high, *ends, logarithmic)), limits, curves, best)


def _decades(values: FloatArray, anchors: Sequence[float]) -> tuple[float, float]:
    """Return the range of a logarithmic panel: what is near limits and best mix."""
    known = values[np.isfinite(values) & (values > 0.0)]
    if anchors:
        known = np.clip(known, min(anchors) / _REACH, max(anchors) * _REACH)
    known = np.append(known, anchors)
    if not known.size:
        return 1.0, 10.0
    return padded_decades(float(known.min()), float(known.max()))


def _range(
    values: FloatArray, kept: BoolArray, anchors: Sequence[float]
) -> tuple[float, float]:
    """Return the range of a panel.

    All values, but not farther from those where all is kept, the limits and the best
    mix than twice their range: what lies far off would flatten what can be chosen.
    """
    known = values[np.isfinite(values)]
    core = np.append(values[np.isfinite(values) & kept], anchors)
    if known.size and core.size:
        room = _BEYOND * float(np.ptp(core))
        if room > _LEAST * float(np.ptp(known)):
            known = np.clip(known, core.min() - room, core.max() + room)
    known = np.append(known, anchors)
    if not known.size:
        return 0.0, 1.0
    return padded(float(known.min()), float(known.max()))


# ----------------------------------------------------------------------------
# A panel on the page: limits, curves, where all limits are kept.

#: Ground of the forbidden side of a limit.
_FORBIDDEN = "#ebe3d8"

#: Lines where all limits are kept, and where some limit or bound is broken [px].
_THICK, _THIN, _DASHES = 4.2, 1.5, "5 3"


def _ground_keys(stated: bool) -> list[Key]:
    """Return the keys of what all panels share; around a mix that was stated or not."""
    words = ("all limits and bounds kept", "some limit or bound broken")
    if stated:
        words = ("all limits kept", "some limit broken, or outside the range shown")
    return [
        Key("thick", INK, words[0]),
        Key("line", INK, words[1], _DASHES),
        Key("fill", _FORBIDDEN, "beyond the limit of the panel"),
    ]


def _draw_panel(svg: Svg, panel: _Panel) -> None:
    """Draw a panel and its y axis."""
    x, y = panel.area.x, panel.area.y
    width, height = x.end - x.start, y.start - y.end
    for limit in panel.limits:
        at = min(max(y(limit.value), y.end), y.start)
        first, last = (y.end, at) if limit.sense == "<=" else (at, y.start)
        svg.rect((x.start, first), (width, last - first), {"fill": _FORBIDDEN})
    draw_grid(svg, panel.area, 4)
    svg.line((x(0.0), y.start), (x(0.0), y.end), Stroke(SOFT, 1.4, "2 3"))
    name = svg.new_id()
    start = markup("clipPath", {"id": name}).removesuffix("/>")
    box = {"x": x.start, "y": y.end, "width": width, "height": height}
    svg.define(f"{start}>{markup('rect', box)}</clipPath>")
    with svg.group({"clip-path": f"url(#{name})"}):
        for limit in panel.limits:
            at = y(limit.value)
            svg.line((x.start, at), (x.end, at), Stroke(INK, 1.8))
        for index, curve in enumerate(panel.curves):
            _draw_curve(svg, curve, panel.area, index)
    svg.rect((x.start, y.end), (width, height), Stroke(SOFT, 1.0).attributes())
    for index, curve in enumerate(panel.curves):
        _draw_ends(svg, curve, panel.area, index)
    if np.isfinite(panel.best) and y.low <= panel.best <= y.high:
        best = (x(0.0), y(panel.best))
        draw_symbol(svg, best, "circle", "#ffffff", size=3.4, rim=0.0)
    _draw_limit_names(svg, panel)


def _places(curve: _Curve, area: Area) -> list[Point | None]:
    """Return the points of a curve [px]; None in gaps."""
    usable = np.isfinite(curve.values)
    if area.y.logarithmic:
        usable &= np.where(usable, curve.values, 0.0) > 0.0
    return [
        (area.x(x), area.y(value)) if there else None
        for x, value, there in zip(
            curve.x.tolist(), curve.values.tolist(), usable.tolist(), strict=True
        )
    ]


def _draw_curve(svg: Svg, curve: _Curve, area: Area, index: int) -> None:
    """Draw a curve: thick where all is kept, thin and dashed where not."""
    places = _places(curve, area)
    there = np.array([at is not None for at in places])
    both = there[1:] & there[:-1]
    kept = curve.kept[1:] & curve.kept[:-1]
    ink = colour_of(index)
    for chosen, stroke in (
        (both & ~kept, Stroke(ink, _THIN, _DASHES)),
        (both & kept, Stroke(ink, _THICK)),
    ):
        parts = [places[first : last + 1] for first, last in runs(chosen)]
        data = "".join(moves([at for at in part if at]) for part in parts)
        if data:
            svg.path(data, stroke.attributes())


def _draw_ends(svg: Svg, curve: _Curve, area: Area, index: int) -> None:
    """Draw the symbol of a curve where it leaves the panel on either side."""
    shown = [
        at
        for at in _places(curve, area)
        if at is not None and area.y.end <= at[1] <= area.y.start
    ]
    for at in dict.fromkeys(shown[:1] + shown[-1:]):
        if abs(at[0] - area.x(0.0)) > 8.0:
            draw_symbol(svg, at, symbol_of(index), colour_of(index), size=3.8)


def _draw_limit_names(svg: Svg, panel: _Panel) -> None:
    """Write the limits at their lines, where no curve passes if there is such a place.

    On the allowed side if both are free.
    """
    area = panel.area
    x, y = area.x, area.y
    points = [at for curve in panel.curves for at in _dense(_places(curve, area))]
    points += [(x(0.0), y.end + part) for part in np.arange(0.0, y.start - y.end, 5.0)]
    dots = [Box.around(point, 2.0) for point in points]
    taken = Taken(Box(x.start, y.end, x.end, y.start), dots)
    for limit in panel.limits:
        at = y(limit.value)
        if not y.end <= at <= y.start:
            continue
        words = bound_words(limit)
        drops = (-6.0, 17.0) if limit.sense == ">=" else (17.0, -6.0)
        ends = ((x.end - 8.0, "end"), (x.start + 8.0, "start"))
        spots = [((left, at + drop), how) for drop in drops for left, how in ends]
        boxes = [text_box(spot, words, _SMALL, how) for spot, how in spots]
        free = next((k for k, box in enumerate(boxes) if taken.free(box)), 0)
        spot, how = spots[free]
        taken.add([boxes[free]])
        svg.text(spot, words, TextStyle(_SMALL, how, bold=True))


def _dense(places: Sequence[Point | None]) -> list[Point]:
    """Return points close together along a curve."""
    found = []
    for first, second in itertools.pairwise(places):
        if first is not None and second is not None:
            count = 1 + int(math.dist(first, second) / 4.0)
            for part in (k / count for k in range(count)):
                a, b = (u + part * (v - u) for u, v in zip(first, second, strict=True))
                found.append((a, b))
    return found
