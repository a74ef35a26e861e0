"""Keys below a picture: colour bar, swatches, marks, notes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from castsugar.report.svg.axes import Scale
from castsugar.report.svg.canvas import (
    INK,
    PAGE,
    SOFT,
    Attributes,
    Point,
    Stroke,
    Svg,
    TextStyle,
    text_width,
    wrapped,
)
from castsugar.report.svg.colour import BINS, bin_colour, draw_symbol
from castsugar.report.svg.place import Box, Taken, text_box

SIZE = 16.0
SMALL = 15.0


@dataclass(frozen=True, slots=True)
class ColourBar:
    """A horizontal colour bar: range, ticks with their labels, texts at both ends."""

    low: float
    high: float
    ticks: tuple[float, ...]
    labels: tuple[str, ...]
    ends: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Key:
    """A swatch and what it means; `kind` "fill", "line", "thick", "mark", "symbol".

    `paint` is a fill or a colour; `dashes` go with a line, `symbol` with a line or
    alone.
    """

    kind: str
    paint: str
    words: str
    dashes: str | None = None
    symbol: str = ""


def draw_bar(svg: Svg, bar: ColourBar, left: float, top: float, width: float) -> float:
    """Draw a colour bar with its ticks and ends; return the y below it [px]."""
    low, high = bar.ends
    svg.text((left, top + 12.0), low, TextStyle(SMALL, colour=SOFT))
    right = left + width
    svg.text((right, top + 12.0), high, TextStyle(SMALL, "end", SOFT))
    top += 19.0
    slot = width / BINS
    for index in range(BINS):
        # Overlap hides the seams between neighbours.
        room = slot + (0.6 if index < BINS - 1 else 0.0)
        at = (left + slot * index, top)
        svg.rect(at, (room, 15.0), {"fill": bin_colour(index)})
    svg.rect((left, top), (width, 15.0), Stroke(SOFT, 0.8).attributes())
    _draw_ticks(svg, bar, Scale(bar.low, bar.high, left, right), top + 15.0)
    return top + 40.0


def _draw_ticks(svg: Svg, bar: ColourBar, scale: Scale, top: float) -> None:
    """Draw ticks below the bar; labels that would collide are left out."""
    taken = Taken(Box(0.0, 0.0, svg.width, top + 100.0))
    for value, words in zip(bar.ticks, bar.labels, strict=True):
        x = scale(value)
        svg.line((x, top), (x, top + 5.0), Stroke(INK))
        at = (x, top + 19.0)
        box = text_box(at, f" {words} ", SMALL, "middle")
        if taken.free(box):
            taken.add([box])
            svg.text(at, words, TextStyle(SMALL, "middle"))


def draw_mark(svg: Svg, at: Point) -> None:
    """Draw a mark that shows on any ground: black dot, white ring, black rim."""
    x, y = at
    rings: tuple[tuple[float, str], ...] = ((6.5, INK), (5.4, "#ffffff"), (3.2, INK))
    for radius, fill in rings:
        svg.element("circle", {"cx": x, "cy": y, "r": radius, "fill": fill})


def draw_keys(
    svg: Svg, keys: Sequence[Key], left: float, top: float, width: float
) -> float:
    """Draw keys in rows as wide as `width`; return the y below them [px]."""
    x, y, deep = left, top, 0
    for key in keys:
        lines = wrapped(key.words, width - 36.0, SIZE)
        room = 36.0 + max((text_width(line, SIZE) for line in lines), default=0.0)
        if x > left and x + room > left + width:
            x, y, deep = left, y + 5.0 + 19.0 * deep, 0
        _draw_key(svg, key, (x, y))
        for row, line in enumerate(lines):
            svg.text((x + 36.0, y + 14.0 + 19.0 * row), line, TextStyle(SIZE))
        x, deep = x + room + 18.0, max(deep, len(lines))
    return y + 7.0 + 19.0 * deep if keys else top


def _draw_key(svg: Svg, key: Key, corner: Point) -> None:
    """Draw the swatch of a key, 28 px wide."""
    x, y = corner
    if key.kind == "mark":
        draw_mark(svg, (x + 14.0, y + 9.0))
    elif key.kind in ("line", "thick"):
        stroke = Stroke(key.paint, 4.2 if key.kind == "thick" else 2.4, key.dashes)
        svg.line((x, y + 9.0), (x + 28.0, y + 9.0), stroke)
        if key.symbol:
            draw_symbol(svg, (x + 14.0, y + 9.0), key.symbol, key.paint)
    elif key.kind == "symbol":
        draw_symbol(svg, (x + 14.0, y + 9.0), key.symbol, key.paint)
    else:
        box: Attributes = {"fill": key.paint, "stroke": SOFT, "stroke-width": 0.8}
        svg.rect((x, y + 1.0), (28.0, 16.0), box)


def draw_heading(svg: Svg, title: str, below: Sequence[str], left: float) -> float:
    """Draw the title and the lines below it; return the y below them [px]."""
    y = 12.0
    room = svg.width - 2.0 * left
    for line in wrapped(title, room, 22.0):
        y += 24.0
        svg.text((left, y), line, TextStyle(22.0, bold=True))
    for text in below:
        for line in wrapped(text, room, 17.0):
            y += 22.0
            svg.text((left, y), line, TextStyle(17.0, colour=SOFT))
    return y + 10.0


def draw_notes(svg: Svg, notes: Sequence[str], left: float, top: float) -> float:
    """Draw notes, wrapped; return the y below them [px]."""
    y = top
    for note in notes:
        for line in wrapped(note, svg.width - 2.0 * left, SMALL):
            y += 19.0
            svg.text((left, y), line, TextStyle(SMALL, colour=SOFT))
        y += 2.0
    return y + 6.0 if notes else top


def halo_style(size: float, anchor: str = "start", *, bold: bool = False) -> TextStyle:
    """Return a style that is legible on any ground."""
    return TextStyle(size, anchor, INK, bold=bold, halo=PAGE)
