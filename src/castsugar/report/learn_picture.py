"""Measured over predicted, one row a batch and quantity, with its 95 % band."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.records.learning.checks import Check
from castsugar.report.svg.axes import Scale
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    SOFT,
    Stroke,
    Svg,
    TextStyle,
    shortened,
)
from castsugar.report.svg.colour import LINES, draw_symbol
from castsugar.report.svg.legend import draw_heading, draw_notes

_WIDTH, _MARGIN, _LEFT, _ROW, _SIZE = 760.0, 24.0, 190.0, 22.0, 15.0

#: Room of the ticks below the rows of a quantity [px].
_TICKS = 28.0

#: How far an axis reaches from 1, least and most (as a factor), and beyond its data.
_LEAST, _MOST, _ROOM = 1.05, 1e3, 1.08

Ratio = tuple[float, float, float]
Shown = tuple[Check, Ratio]


def checks_picture(
    checks: Sequence[Check], *, example: bool = False, brief: bool = False
) -> str:
    """Draw what was predicted beside what was measured, as SVG text; empty for none.

    Every quantity has an axis of its own, logarithmic, with 1 in the middle; `example`
    says that numbers behind it are invented; `brief` leaves out how to read it.
    """
    groups: dict[str, list[Shown]] = {}
    for check in checks:
        ratio = _ratios(check)
        if math.isfinite(ratio[1]):
            groups.setdefault(check.quantity, []).append((check, ratio))
    if not groups:
        return ""
    shown = [check for group in groups.values() for check, _ in group]
    inside = sum(check.inside for check in shown)
    title = f"{'EXAMPLE: ' if example else ''}Measured over predicted"
    words = f"{len(shown)} measurements, {inside} inside their 95 % bands."
    svg = Svg(_WIDTH, 0.0, title, words)
    under = "bar: 95 % band of prediction and reading; a point on 1 is as predicted"
    top = draw_heading(svg, title, [] if brief else [under], _MARGIN) + 8.0
    for name, group in groups.items():
        top = _group(svg, name, group, top)
    notes = (
        "Round: inside. Diamond: outside. Hollow: not counted. A tip: the band goes "
        "on. Every quantity has its own axis.",
    )
    svg.height = top if brief else draw_notes(svg, notes, _MARGIN, top + 8.0) + 10.0
    return svg.to_text()


def _ratios(check: Check) -> Ratio:
    """Return band and measurement over the prediction; NaN where there is none."""
    base = check.predicted
    if not (base > 0.0 and math.isfinite(base)):
        return math.nan, math.nan, math.nan
    return check.low / base, check.measured / base, check.high / base


def _group(svg: Svg, name: str, group: Sequence[Shown], top: float) -> float:
    """Draw one quantity; return the y below it."""
    svg.text((_MARGIN, top + 18.0), name, TextStyle(_SIZE, bold=True))
    top += _ROW
    scale = _scale([ratio for _, ratio in group])
    base = top + _ROW * len(group)
    for value, words in scale.ticks(5):
        x = scale(value)
        svg.line((x, top), (x, base), Stroke(FAINT, 0.8))
        svg.text((x, base + 17.0), words, TextStyle(_SIZE, "middle"))
    svg.line((scale(1.0), top), (scale(1.0), base), Stroke(INK, 1.4))
    for row, (check, ratio) in enumerate(group):
        _row(svg, scale, check, ratio, top + _ROW * (row + 0.5))
    return base + _TICKS


def _scale(rows: Sequence[Ratio]) -> Scale:
    """Return an axis around 1 that holds all of the rows, within reason."""
    reach = math.log(_LEAST)
    for value in (v for row in rows for v in row):
        if value > 0.0 and math.isfinite(value):
            reach = max(reach, abs(math.log(value)))
    factor = math.exp(min(_ROOM * reach, math.log(_MOST)))
    return Scale(1.0 / factor, factor, _LEFT, _WIDTH - _MARGIN - 20.0, True)


def _row(svg: Svg, scale: Scale, check: Check, ratio: Ratio, y: float) -> None:
    name = shortened(check.batch, _LEFT - _MARGIN - 20.0, _SIZE)
    svg.text((_MARGIN + 12.0, y + 5.0), name, TextStyle(_SIZE))
    low, measured, high = ratio
    ends = [_held(scale, value) for value in (low, high)]
    size = (max(ends[1] - ends[0], 1.0), 10.0)
    svg.rect((ends[0], y - 5.0), size, {"fill": LINES[0], "fill-opacity": 0.35})
    for value, x, way in ((low, ends[0], -1.0), (high, ends[1], 1.0)):
        if not scale.low <= value <= scale.high:
            _tip(svg, x, y, way)
    symbol = "circle" if check.inside else "diamond"
    fill = INK if check.counts else "#ffffff"
    draw_symbol(svg, (_held(scale, measured), y), symbol, fill, size=5.0)


def _held(scale: Scale, value: float) -> float:
    return scale(min(max(value, scale.low), scale.high))


def _tip(svg: Svg, x: float, y: float, way: float) -> None:
    for side in (-1.0, 1.0):
        start, end = (x + 9.0 * way, y), (x + 3.0 * way, y + 5.0 * side)
        svg.line(start, end, Stroke(SOFT, 1.6))
