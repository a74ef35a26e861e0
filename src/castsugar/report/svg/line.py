"""Lines with bands and named places, in one or more panels above one x axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.report.svg.axes import Scale
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    SOFT,
    Attributes,
    Stroke,
    Svg,
    TextStyle,
    moves,
    text_width,
    wrapped,
)
from castsugar.report.svg.colour import DASHES, LINES, SPANS, define_hatch
from castsugar.report.svg.legend import Key, draw_heading, draw_keys, draw_notes
from castsugar.report.svg.place import spread
from castsugar.report.svg.series import (
    Event,
    LineChart,
    Panel,
    Points,
    Series,
    Span,
    check,
    drawn,
    held,
    runs,
    y_range,
)

# ----------------------------------------------------------------------------
# Lines, bands and dots on a panel of a chart.


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


# ----------------------------------------------------------------------------
# Named places on the x axis of a panel: dashed lines, names above the panel.

_EVENT_SIZE = 15.0
#: Height of the names, and of what leads from a name to its line [px].
_NAMES, _LEAD = 15.0, 9.0
_STROKE = Stroke(INK, 1.1, "5 3")


def _events_shown(events: Sequence[Event], x: Scale) -> list[Event]:
    """Return the events that the axis holds, from left to right."""
    return sorted((e for e in events if x.low <= e.at <= x.high), key=lambda e: e.at)


def room_for_events(events: Sequence[Event], x: Scale) -> float:
    """Return the height above the panel that names need [px]."""
    return _NAMES + _LEAD if _events_shown(events, x) else 0.0


def draw_events(svg: Svg, events: Sequence[Event], area: Area) -> None:
    """Draw a line for each event; names that would collide move apart."""
    shown = _events_shown(events, area.x)
    if not shown:
        return
    top, bottom = area.y.end, area.y.start
    widest = max(text_width(event.name, _EVENT_SIZE) for event in shown)
    ends = area.x.start + 0.5 * widest, area.x.end - 0.5 * widest
    wanted = [area.x(event.at) for event in shown]
    places = spread(wanted, widest + 8.0, *ends)
    for event, x, place in zip(shown, wanted, places, strict=True):
        svg.line((x, top), (x, bottom), _STROKE)
        svg.line((place, top - _LEAD), (x, top), Stroke(INK, 1.1))
        at = (place, top - _LEAD - 3.0)
        svg.text(at, event.name, TextStyle(_EVENT_SIZE, "middle", bold=True))


# ----------------------------------------------------------------------------
# Lines with bands, in one or more panels above one x axis.

_WIDTH, _MARGIN, _LEFT = 600.0, 24.0, 78.0
_SIZE, _BIG = 16.0, 17.0
#: Widest name that is written at the end of its line [px].
_ROOM = 150.0


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where panels stand: height of each, right end [px], names at line ends."""

    height: float
    right: float
    direct: bool


def line_chart(chart: LineChart) -> str:
    """Draw a line chart.

    Parameters
    ----------
    chart : LineChart

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        If lengths or x values do not fit.
    """
    check(chart)
    svg = Svg(_WIDTH, 0.0, chart.title, _description(chart))
    layout = _layout(chart)
    top = draw_heading(svg, chart.title, (), _MARGIN)
    every = [*chart.spans, *(s for panel in chart.panels for s in panel.spans)]
    paints = _span_paints(svg, every)
    x = _x_scale(chart, layout)
    for panel in chart.panels:
        top = _draw_panel_head(svg, panel, top, direct=layout.direct)
        top += room_for_events(panel.events, x)
        limits = y_range(panel) or (0.0, 1.0)
        y = Scale(*limits, top + layout.height, top, panel.logarithmic)
        area = Area(x, y)
        _draw_panel(svg, chart, panel, area, paints)
        draw_events(svg, panel.events, area)
        if layout.direct:
            _draw_names(svg, chart.x, panel, area)
        top += layout.height + 14.0
    top = _draw_x_axis(svg, chart, x, top - 14.0)
    keys = [Key("fill", paint, name) for name, paint in paints.items()]
    top = draw_keys(svg, keys, _MARGIN, top, _WIDTH - 2.0 * _MARGIN)
    svg.height = draw_notes(svg, chart.notes, _MARGIN, top) + 8.0
    return svg.to_text()


def _layout(chart: LineChart) -> _Layout:
    """Choose heights, and whether names fit at the line ends."""
    height = 330.0 if len(chart.panels) == 1 else 200.0
    several = [panel for panel in chart.panels if len(panel.series) > 1]
    names = [s.name for panel in several for s in panel.series]
    widest = max((text_width(name, _SIZE) for name in names), default=0.0)
    crowd = max((len(panel.series) for panel in several), default=0)
    fit = bool(names) and widest <= _ROOM and crowd * 19.0 <= height
    direct = fit and chart.names_at_ends
    right = _WIDTH - _MARGIN - (widest + 41.0 if direct else 0.0)
    return _Layout(height, right, direct)


def _x_scale(chart: LineChart, layout: _Layout) -> Scale:
    """Return the scale of the x axis; a single point stands in the middle."""
    low, high = float(chart.x[0]), float(chart.x[-1])
    return Scale(low, high, _LEFT, layout.right, chart.logarithmic)


def _span_paints(svg: Svg, spans: Sequence[Span]) -> dict[str, str]:
    """Define a hatch for each name, in the order in which they come."""
    names = list(dict.fromkeys(span.name for span in spans))
    return {
        name: define_hatch(svg, SPANS[index % len(SPANS)])
        for index, name in enumerate(names)
    }


def _draw_panel_head(svg: Svg, panel: Panel, top: float, *, direct: bool) -> float:
    """Write what a panel shows, and its keys where names do not fit; return y."""
    unit = f" [{panel.unit}]" if panel.unit else ""
    y = top
    for line in wrapped(f"{panel.label}{unit}", _WIDTH - 2.0 * _MARGIN, _BIG):
        y += 20.0
        svg.text((_MARGIN, y), line, TextStyle(_BIG, bold=True))
    for line in wrapped(panel.band, _WIDTH - 2.0 * _MARGIN, 15.0):
        y += 19.0
        svg.text((_MARGIN, y), line, TextStyle(15.0, colour=SOFT))
    y += 10.0
    if len(panel.series) > 1 and not direct:
        y = draw_keys(svg, _line_keys(panel), _MARGIN, y, _WIDTH - 2.0 * _MARGIN)
    return y


def _line_keys(panel: Panel) -> list[Key]:
    """Return a key for each line."""
    return [
        Key("line", colour_of(k), series.name, dashes_of(k))
        for k, series in enumerate(panel.series)
    ]


def _draw_panel(
    svg: Svg, chart: LineChart, panel: Panel, area: Area, paints: dict[str, str]
) -> None:
    """Draw stretches, grid, bands, lines and the y axis of a panel."""
    for span in (*chart.spans, *panel.spans):
        _draw_span(svg, span, area, paints[span.name])
    draw_grid(svg, area, empty=y_range(panel) is None)
    for index, series in enumerate(panel.series):
        draw_band(svg, chart.x, _shown(panel, series), area, colour_of(index))
    for index, series in enumerate(panel.series):
        draw_line(svg, chart.x, _shown(panel, series), area, index)
    for points in panel.points:
        draw_points(svg, points, area)
    if y_range(panel) is None:
        middle = (0.5 * (area.x.start + area.x.end), area.y(0.5))
        svg.text(middle, "no values", TextStyle(_BIG, "middle", SOFT))
    corner, size = _box(area)
    svg.rect(corner, size, Stroke(SOFT, 1.0).attributes())


def _shown(panel: Panel, series: Series) -> Series:
    """Return a series as far as its panel shows it."""
    low, high = (
        None if edge is None else held(panel, edge)
        for edge in (series.low, series.high)
    )
    return replace(series, values=drawn(panel, series.values), low=low, high=high)


def _box(area: Area) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return upper left corner and size of a panel [px]."""
    size = (area.x.end - area.x.start, area.y.start - area.y.end)
    return (area.x.start, area.y.end), size


def _draw_span(svg: Svg, span: Span, area: Area, paint: str) -> None:
    """Hatch a stretch, at least 3 px wide and not beyond the panel."""
    low, high = (min(max(v, area.x.low), area.x.high) for v in (span.low, span.high))
    if span.high < area.x.low or span.low > area.x.high:
        return
    left, right = area.x(low), area.x(high)
    room = max(0.0, 3.0 - (right - left))
    left = max(area.x.start, left - 0.5 * room)
    right = min(area.x.end, right + 0.5 * room)
    size = (right - left, area.y.start - area.y.end)
    svg.rect((left, area.y.end), size, {"fill": paint})


def draw_grid(svg: Svg, area: Area, about: int = 5, *, empty: bool = False) -> None:
    """Draw the grid and about so many labels of the y axis."""
    for value, _ in area.x.ticks(6):
        x = area.x(value)
        svg.line((x, area.y.start), (x, area.y.end), Stroke(FAINT, 0.8))
    left, right = area.x.start, area.x.end
    for value, words in () if empty else area.y.ticks(about):
        y = area.y(value)
        svg.line((left - 5.0, y), (right, y), Stroke(FAINT, 0.8))
        svg.text((left - 9.0, y + 5.0), words, TextStyle(_SIZE, "end"))


def _draw_names(svg: Svg, x: FloatArray, panel: Panel, area: Area) -> None:
    """Write each name at the end of its line, led to where it had to move."""
    if len(panel.series) < 2:
        return
    ends = []
    for index, series in enumerate(panel.series):
        values = drawn(panel, series.values)
        found = np.flatnonzero(np.isfinite(values))
        if found.size:
            last = int(found[-1])
            at = (area.x(float(x[last])), area.y(float(values[last])))
            ends.append((at[1], at[0], index))
    ends.sort()
    wanted = [end[0] for end in ends]
    places = spread(wanted, 18.0, area.y.end + 4.0, area.y.start - 4.0)
    left = area.x.end + 10.0
    for (y, start, index), place in zip(ends, places, strict=True):
        ink = colour_of(index)
        svg.line((start, y), (left - 1.0, place), Stroke(ink, 1.2))
        sample = Stroke(ink, 2.4, dashes_of(index))
        svg.line((left - 1.0, place), (left + 22.0, place), sample)
        name = panel.series[index].name
        svg.text(
            (left + 27.0, place + 5.0), name, TextStyle(_SIZE, colour=INK, bold=True)
        )


def _draw_x_axis(svg: Svg, chart: LineChart, x: Scale, top: float) -> float:
    """Write ticks and label of the x axis; return the y below them [px]."""
    unit = f" [{chart.x_unit}]" if chart.x_unit else ""
    lines = wrapped(f"{chart.x_label}{unit}", x.end - x.start, _BIG)
    middle = 0.5 * (x.start + x.end)
    return draw_x_axis(svg, x, top, lines, (middle, _BIG)) + 18.0


def draw_x_axis(
    svg: Svg,
    x: Scale,
    top: float,
    lines: Sequence[str],
    how: tuple[float, float] = (0.5 * _WIDTH, _SIZE),
    ticks: Sequence[tuple[float, str]] | None = None,
) -> float:
    """Write ticks and the lines of a label; return the y of the last line [px].

    `how` is the middle of the label and the size of its letters [px].
    """
    for value, words in x.ticks(6) if ticks is None else ticks:
        at = x(value)
        svg.line((at, top), (at, top + 5.0), Stroke(SOFT))
        svg.text((at, top + 20.0), words, TextStyle(_SIZE, "middle"))
    middle, size = how
    y = top + 24.0
    for line in lines:
        y += 19.0
        svg.text((middle, y), line, TextStyle(size, "middle", bold=True))
    return y


def _description(chart: LineChart) -> str:
    """Say in words what the picture shows."""
    labels = ", ".join(panel.label for panel in chart.panels)
    names = ", ".join(dict.fromkeys(s.name for p in chart.panels for s in p.series))
    return f"{labels} against {chart.x_label}; lines: {names}."
