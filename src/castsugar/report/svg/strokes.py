"""Lines, bands and dots on a panel of a chart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.report.svg.axes import Scale
from castsugar.report.svg.canvas import Attributes, Stroke, Svg, moves
from castsugar.report.svg.colour import DASHES, LINES
from castsugar.report.svg.series import Points, Series, runs


@dataclass(frozen=True, slots=True)
class Area:
    """A panel on the page: scales of both axes."""

    x: Scale
    y: Scale


def colour_of(index: int) -> str:
    """Return the colour of the line at a position of its panel."""
    return LINES[index % len(LINES)]


def dashes_of(index: int) -> str | None:
    """Return the dashes of the line at a position of its panel."""
    return DASHES[index % len(DASHES)]


def draw_band(svg: Svg, x: FloatArray, series: Series, area: Area, ink: str) -> None:
    """Fill the band between its edges, broken at gaps."""
    if series.low is None or series.high is None:
        return
    low, high = series.low, series.high
    for first, last in runs(np.isfinite(low) & np.isfinite(high)):
        part = range(first, last)
        there = [(area.x(float(x[k])), area.y(float(high[k]))) for k in part]
        back = [(area.x(float(x[k])), area.y(float(low[k]))) for k in reversed(part)]
        svg.path(moves(there + back, closed=True), {"fill": ink, "fill-opacity": 0.24})


def draw_line(svg: Svg, x: FloatArray, series: Series, area: Area, index: int) -> None:
    """Draw a line, broken at gaps; a value between two gaps is a dot."""
    ink = colour_of(index)
    data = ""
    for first, last in runs(np.isfinite(series.values)):
        points = [
            (area.x(float(x[k])), area.y(float(series.values[k])))
            for k in range(first, last)
        ]
        if len(points) > 1:
            data += moves(points)
            continue
        cx, cy = points[0]
        svg.element("circle", {"cx": cx, "cy": cy, "r": 3.0, "fill": ink})
    if data:
        svg.path(data, Stroke(ink, series.width, dashes_of(index)).attributes())


def draw_points(svg: Svg, points: Points, area: Area) -> None:
    """Draw dots, white inside, so that those on top of each other can be told."""
    ink = colour_of(points.kin)
    for x, y in zip(points.x, points.y, strict=True):
        if np.isfinite(x) and np.isfinite(y):
            dot: Attributes = {
                "cx": area.x(float(x)),
                "cy": area.y(float(y)),
                "r": 4.2,
                "fill": "#ffffff",
                "fill-opacity": 0.7,
                "stroke": ink,
                "stroke-width": 1.8,
            }
            svg.element("circle", dot)
