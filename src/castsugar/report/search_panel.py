"""One panel of the trace plot: limits, curves, where all limits are kept."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.limits import Limit
from castsugar.report.search_picture import SI_UNITS
from castsugar.report.search_words import bound_words
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    SOFT,
    Point,
    Stroke,
    Svg,
    TextStyle,
    markup,
    moves,
)
from castsugar.report.svg.colour import draw_symbol, symbol_of
from castsugar.report.svg.legend import Key
from castsugar.report.svg.line import Area, colour_of
from castsugar.report.svg.place import Box, Taken, text_box
from castsugar.report.svg.series import runs

_SIZE, _SMALL = 16.0, 15.0

#: Ground of the forbidden side of a limit.
_FORBIDDEN = "#ebe3d8"

#: Lines where all limits are kept, and where some limit or bound is broken [px].
_THICK, _THIN, _DASHES = 4.2, 1.5, "5 3"


@dataclass(frozen=True, slots=True)
class Curve:
    """An ingredient: x rising, values with NaN for gaps, whether all is kept."""

    x: FloatArray
    values: FloatArray
    kept: BoolArray


@dataclass(frozen=True, slots=True)
class Panel:
    """A column on the page: scales, limits on it, curves, value of the best mix."""

    area: Area
    limits: tuple[Limit, ...]
    curves: tuple[Curve, ...]
    best: float


def ground_keys(*, stated: bool = False) -> list[Key]:
    """Return the keys of what all panels share; around a mix that was stated or not."""
    words = ("all limits and bounds kept", "some limit or bound broken")
    if stated:
        words = ("all limits kept", "some limit broken, or outside the range shown")
    return [
        Key("thick", INK, words[0]),
        Key("line", INK, words[1], _DASHES),
        Key("fill", _FORBIDDEN, "beyond the limit of the panel"),
    ]


def draw_panel(svg: Svg, panel: Panel) -> None:
    """Draw a panel and its y axis."""
    x, y = panel.area.x, panel.area.y
    size = (x.end - x.start, y.start - y.end)
    for limit in panel.limits:
        at = min(max(y(limit.value), y.end), y.start)
        first, last = (y.end, at) if limit.sense == "<=" else (at, y.start)
        box = (size[0], last - first)
        svg.rect((x.start, first), box, {"fill": _FORBIDDEN})
    _draw_grid(svg, panel.area)
    name = svg.new_id()
    start = markup("clipPath", {"id": name}).removesuffix("/>")
    inner = markup(
        "rect", {"x": x.start, "y": y.end, "width": size[0], "height": size[1]}
    )
    svg.define(f"{start}>{inner}</clipPath>")
    with svg.group({"clip-path": f"url(#{name})"}):
        for limit in panel.limits:
            at = y(limit.value)
            svg.line((x.start, at), (x.end, at), Stroke(INK, 1.8))
        for index, curve in enumerate(panel.curves):
            _draw_curve(svg, curve, panel.area, index)
    svg.rect((x.start, y.end), size, Stroke(SOFT, 1.0).attributes())
    for index, curve in enumerate(panel.curves):
        _draw_ends(svg, curve, panel.area, index)
    if np.isfinite(panel.best) and y.low <= panel.best <= y.high:
        best = (x(0.0), y(panel.best))
        draw_symbol(svg, best, "circle", "#ffffff", size=3.4, rim=0.0)
    _draw_limit_names(svg, panel)


def _draw_grid(svg: Svg, area: Area) -> None:
    """Draw the grid, the labels of the y axis, and where the best mix stands."""
    x, y = area.x, area.y
    for value, _ in x.ticks(6):
        svg.line((x(value), y.start), (x(value), y.end), Stroke(FAINT, 0.8))
    for value, words in y.ticks(4):
        svg.line((x.start - 5.0, y(value)), (x.end, y(value)), Stroke(FAINT, 0.8))
        svg.text((x.start - 9.0, y(value) + 5.0), words, TextStyle(_SIZE, "end"))
    svg.line((x(0.0), y.start), (x(0.0), y.end), Stroke(SOFT, 1.4, "2 3"))


def _places(curve: Curve, area: Area) -> list[Point | None]:
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


def _draw_curve(svg: Svg, curve: Curve, area: Area, index: int) -> None:
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


def _draw_ends(svg: Svg, curve: Curve, area: Area, index: int) -> None:
    """Draw the symbol of a curve where it leaves the panel on either side."""
    shown = [
        at
        for at in _places(curve, area)
        if at is not None and area.y.end <= at[1] <= area.y.start
    ]
    for at in dict.fromkeys(shown[:1] + shown[-1:]):
        if abs(at[0] - area.x(0.0)) > 8.0:
            draw_symbol(svg, at, symbol_of(index), colour_of(index), size=3.8)


def _draw_limit_names(svg: Svg, panel: Panel) -> None:
    """Write the limits at their lines, where no curve passes if there is such a place.

    On the allowed side if both are free.
    """
    area = panel.area
    x, y = area.x, area.y
    points = [at for curve in panel.curves for at in _dense(_places(curve, area))]
    points += [(x(0.0), y.end + part) for part in np.arange(0.0, y.start - y.end, 5.0)]
    dots = [Box(a - 2.0, b - 2.0, a + 2.0, b + 2.0) for a, b in points]
    taken = Taken(Box(x.start, y.end, x.end, y.start), dots)
    for limit in panel.limits:
        at = y(limit.value)
        if not y.end <= at <= y.start:
            continue
        words = bound_words(limit, SI_UNITS)
        drops = (-6.0, 17.0) if limit.sense == ">=" else (17.0, -6.0)
        ends = ((x.end - 8.0, "end"), (x.start + 8.0, "start"))
        spots = [((left, at + drop), how) for drop in drops for left, how in ends]
        boxes = [text_box(spot, words, _SMALL, how) for spot, how in spots]
        free = [k for k, box in enumerate(boxes) if taken.free(box)]
        spot, how = spots[free[0] if free else 0]
        taken.add([boxes[free[0] if free else 0]])
        svg.text(spot, words, TextStyle(_SMALL, how, bold=True))


def _dense(places: Sequence[Point | None]) -> list[Point]:
    """Return points close together along a curve."""
    found = []
    for first, second in itertools.pairwise(places):
        if first is not None and second is not None:
            count = 1 + int(math.dist(first, second) / 4.0)
            for k in range(count):
                part = k / count
                a, b = (u + part * (v - u) for u, v in zip(first, second, strict=True))
                found.append((a, b))
    return found
