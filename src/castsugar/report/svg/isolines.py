"""Draw contours with their values on the lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.canvas import INK, Stroke, Svg, TextStyle, moves
from castsugar.report.svg.contour import line_length, polylines, spots
from castsugar.report.svg.place import Taken, turned_box
from castsugar.report.svg.words import text_width

_SIZE = 15.0
#: Lines shorter than this are not labelled, unless they are the only one [px].
_LONG = 90.0


@dataclass(frozen=True, slots=True)
class Contours:
    """A field on triangles [px], the levels to draw, and their labels."""

    points: FloatArray
    triangles: IntArray
    values: FloatArray
    levels: tuple[float, ...]
    labels: tuple[str, ...]


def draw_contours(svg: Svg, contours: Contours, taken: Taken) -> None:
    """Draw all levels, then their labels where they hide nothing in `taken`."""
    found = [
        polylines(contours.points, contours.triangles, contours.values, level)
        for level in contours.levels
    ]
    data = "".join(moves(line.tolist()) for lines in found for line in lines)
    if not data:
        return
    # Light below dark: one of the two shows on every colour.
    svg.path(data, Stroke("#ffffff", 2.6, opacity=0.55).attributes())
    svg.path(data, Stroke(INK, 1.1).attributes())
    for words, lines in zip(contours.labels, found, strict=True):
        ranked = sorted(lines, key=line_length, reverse=True)
        for rank, line in enumerate(ranked[:3]):
            if rank == 0 or line_length(line) > _LONG:
                _draw_label(svg, words, line, taken)


def level_labels(levels: tuple[float, ...], decimals: int) -> tuple[str, ...]:
    """Return the levels with so many decimals as tell them apart."""
    digits = max(decimals, 0)
    while digits < 12 and any(abs(v - round(v, digits)) > 1e-12 for v in levels):
        digits += 1
    return tuple(f"{level:.{digits}f}" for level in levels)


def _draw_label(svg: Svg, words: str, line: FloatArray, taken: Taken) -> None:
    """Write a value along a line where there is room, or not at all."""
    reach = text_width(words, _SIZE) + 8.0
    for x, y, slope in spots(line, reach):
        box = turned_box((x, y), words, _SIZE, slope)
        if taken.free(box):
            taken.add([box])
            break
    else:
        return
    # The baseline lies below the line, seen along it.
    turn = np.radians(slope)
    at = (x - 0.36 * _SIZE * np.sin(turn), y + 0.36 * _SIZE * np.cos(turn))
    style = TextStyle(_SIZE, "middle", INK, bold=True, turn=slope, halo="#ffffff")
    svg.text((float(at[0]), float(at[1])), words, style)
