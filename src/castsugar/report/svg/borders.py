"""Borders on a map: lines that show on any ground, with names along them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.arrays import FloatArray
from castsugar.report.svg.canvas import Point, Stroke, Svg, TextStyle, moves
from castsugar.report.svg.contour import line_length, spots
from castsugar.report.svg.place import Box, Taken, beside
from castsugar.report.svg.words import text_width


def draw_border(
    svg: Svg, lines: Sequence[FloatArray], ink: Stroke, casing: float = 2.2
) -> None:
    """Draw lines with a white casing on both sides [px]."""
    data = "".join(moves(line.tolist()) for line in lines)
    if not data:
        return
    svg.path(data, Stroke("#ffffff", ink.width + 2.0 * casing).attributes())
    svg.path(data, ink.attributes())


def name_border(
    svg: Svg,
    words: str,
    lines: Sequence[FloatArray],
    taken: Taken,
    style: TextStyle,
    *,
    lead: bool = True,
) -> bool:
    """Write words along the longest line with room, else beside it; say if written.

    Parameters
    ----------
    svg : Svg
    words : str
    lines : sequence of ndarray, shape (k, 2)
    taken : Taken
        The place chosen is added to it.
    style : TextStyle
        Size, colour and halo; place and turn are chosen here.
    lead : bool
        Whether to write beside a line on which there is no room, and lead there.
    """
    size = style.size
    reach = text_width(words, size) + 10.0
    ranked = sorted(lines, key=line_length, reverse=True)
    for line in ranked:
        for x, y, slope in spots(line, reach):
            boxes = _along((x, y), slope, reach, size)
            if all(taken.free(box) for box in boxes):
                taken.add(boxes)
                _write(svg, (x, y), words, style, slope)
                return True
    if not (lead and ranked):
        return False
    middle = ranked[0][len(ranked[0]) // 2]
    at = (float(middle[0]), float(middle[1]))
    label = beside(at, words, size, taken)
    x, y = label.at[0], label.at[1] - 0.35 * size
    svg.line(at, (x, y), Stroke("#ffffff", 4.0, opacity=0.8))
    svg.line(at, (x, y), Stroke(style.colour, 1.2))
    svg.text(
        label.at,
        words,
        TextStyle(size, label.anchor, style.colour, bold=style.bold, halo=style.halo),
    )
    return True


def _along(at: Point, slope: float, reach: float, size: float) -> list[Box]:
    """Return small boxes that cover a turned text [px, degrees]."""
    turn, half = math.radians(slope), 0.62 * size
    count = max(2, math.ceil(reach / size))
    boxes = []
    for k in range(count):
        far = reach * ((k + 0.5) / count - 0.5)
        x, y = at[0] + far * math.cos(turn), at[1] + far * math.sin(turn)
        boxes.append(Box(x - half, y - half, x + half, y + half))
    return boxes


def _write(svg: Svg, at: Point, words: str, style: TextStyle, slope: float) -> None:
    """Write words centred on a line; the baseline lies below it, seen along it."""
    turn, drop = math.radians(slope), 0.36 * style.size
    place = (at[0] - drop * math.sin(turn), at[1] + drop * math.cos(turn))
    set_along = TextStyle(
        style.size, "middle", style.colour, bold=style.bold, turn=slope, halo=style.halo
    )
    svg.text(place, words, set_along)
