"""Horizontal bars with names, values and optional error bars."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.errors import InputError
from castsugar.report.svg.axes import Scale, nice_step, nice_ticks, tick_labels
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    Stroke,
    Svg,
    TextStyle,
    shortened,
    text_width,
)
from castsugar.report.svg.colour import LINES
from castsugar.report.svg.legend import draw_heading, draw_notes

_WIDTH, _MARGIN, _SIZE = 600.0, 24.0, 16.0
_ROW = 48.0


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar: name, value (NaN: none), ends of its error bar [unit of the chart]."""

    name: str
    value: float
    low: float | None = None
    high: float | None = None

    def finite(self) -> list[float]:
        """Return all its finite numbers."""
        ends = (self.value, self.low, self.high)
        return [v for v in ends if v is not None and math.isfinite(v)]


@dataclass(frozen=True, slots=True)
class BarChart:
    """Bars from zero; `decimals` of the values written, `notes` below."""

    title: str
    label: str
    unit: str
    bars: tuple[Bar, ...]
    decimals: int = 0
    notes: tuple[str, ...] = ()


def bar_chart(chart: BarChart) -> str:
    """Draw horizontal bars, each with its name above it.

    Parameters
    ----------
    chart : BarChart

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        If there is no bar.
    """
    if not chart.bars:
        raise InputError("a chart of bars needs at least one bar")
    names = ", ".join(bar.name for bar in chart.bars)
    svg = Svg(_WIDTH, 0.0, chart.title, f"{chart.label} of {names}.")
    unit = f" [{chart.unit}]" if chart.unit else ""
    top = draw_heading(svg, chart.title, [f"{chart.label}{unit}"], _MARGIN)
    scale = _scale(chart)
    base = top + _ROW * len(chart.bars) + 6.0
    _draw_axis(svg, scale, top, base)
    for row, bar in enumerate(chart.bars):
        _draw_bar(svg, chart, bar, scale, top + _ROW * row)
    svg.height = draw_notes(svg, chart.notes, _MARGIN, base + 28.0) + 10.0
    return svg.to_text()


def _scale(chart: BarChart) -> Scale:
    """Return the scale of the values: zero and everything drawn, room for texts."""
    numbers = [v for bar in chart.bars for v in bar.finite()]
    low, high = min([0.0, *numbers]), max([0.0, *numbers])
    if low == high:
        high = 1.0
    room = max(text_width(_words(chart, bar), _SIZE) for bar in chart.bars) + 12.0
    left = _MARGIN + (room if low < 0.0 else 0.0)
    return Scale(low, high, left, _WIDTH - _MARGIN - room)


def _words(chart: BarChart, bar: Bar) -> str:
    """Return what is written beside a bar."""
    if not math.isfinite(bar.value):
        return "no value"
    return f"{round(bar.value, chart.decimals):.{max(chart.decimals, 0)}f}"


def _draw_axis(svg: Svg, scale: Scale, top: float, base: float) -> None:
    """Draw grid, ticks and the zero line."""
    ticks = nice_ticks(scale.low, scale.high, 5)
    step = nice_step(scale.high - scale.low, 5)
    for value, words in zip(ticks, tick_labels(ticks, step), strict=True):
        x = scale(value)
        svg.line((x, top), (x, base), Stroke(FAINT, 0.8))
        svg.text((x, base + 18.0), words, TextStyle(_SIZE, "middle"))
    zero = scale(0.0)
    svg.line((zero, top), (zero, base), Stroke(INK, 1.2))


def _draw_bar(svg: Svg, chart: BarChart, bar: Bar, scale: Scale, top: float) -> None:
    """Draw one bar with its name, value and error bar."""
    name = shortened(bar.name, _WIDTH - 2.0 * _MARGIN, _SIZE)
    zero, middle = scale(0.0), top + 33.0
    value = bar.value if math.isfinite(bar.value) else 0.0
    end = scale(value)
    corner = (min(zero, end), middle - 9.0)
    if value:
        size = (abs(end - zero), 18.0)
        svg.rect(corner, size, {"fill": LINES[0], "fill-opacity": 0.75})
    ends = [scale(v) for v in bar.finite()] or [zero]
    if bar.low is not None and bar.high is not None and len(bar.finite()) == 3:
        _draw_error(svg, scale(bar.low), scale(bar.high), middle)
    svg.text((_MARGIN, top + 17.0), name, TextStyle(_SIZE, halo="#fefefc"))
    left = value < 0.0
    at = (min(ends) - 7.0 if left else max(ends) + 7.0, middle + 5.0)
    style = TextStyle(_SIZE, "end" if left else "start", bold=True)
    svg.text(at, _words(chart, bar), style)


def _draw_error(svg: Svg, low: float, high: float, y: float) -> None:
    """Draw an error bar with end caps."""
    svg.line((low, y), (high, y), Stroke(INK, 1.6))
    for x in (low, high):
        svg.line((x, y - 5.0), (x, y + 5.0), Stroke(INK, 1.6))
