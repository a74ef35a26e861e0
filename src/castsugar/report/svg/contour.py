"""Contours on a triangular lattice, drawn with their values; borders with names."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.axes import multiples, nice_step
from castsugar.report.svg.canvas import (
    INK,
    Point,
    Stroke,
    Svg,
    TextStyle,
    moves,
    text_width,
)
from castsugar.report.svg.place import Box, Taken, beside, turned_box

# ----------------------------------------------------------------------------
# Contours on a triangular lattice: marching triangles, joined to lines.

Edge = tuple[int, int]


def contour_levels(values: FloatArray, about: int = 8) -> tuple[float, ...]:
    """Return about so many round levels (1-2-5) strictly inside the finite values.

    Examples
    --------
    >>> contour_levels(np.array([0.0, np.nan, 40.0]), about=4)
    (10.0, 20.0, 30.0)
    """
    finite = values[np.isfinite(values)]
    if not finite.size or finite.min() == finite.max():
        return ()
    low, high = float(finite.min()), float(finite.max())
    levels = multiples(low, high, nice_step(high - low, about))
    return tuple(level for level in levels if low < level < high)


def decade_levels(values: FloatArray) -> tuple[float, ...]:
    """Return 1 and 3 of every decade strictly inside the finite values, as log10.

    Parameters
    ----------
    values : ndarray
        Common logarithms.

    Examples
    --------
    >>> [round(10.0**level, 1) for level in decade_levels(np.array([0.2, 1.6]))]
    [3.0, 10.0, 30.0]
    """
    finite = values[np.isfinite(values)]
    if not finite.size:
        return ()
    low, high = float(finite.min()), float(finite.max())
    decades = range(int(np.floor(low)), int(np.ceil(high)) + 1)
    levels = [d + step for d in decades for step in (0.0, float(np.log10(3.0)))]
    return tuple(level for level in levels if low < level < high)


def lattice_triangles(places: IntArray) -> IntArray:
    """Return the small triangles between the points of a triangular lattice.

    Parameters
    ----------
    places : ndarray of int, shape (n, 2)
        Lattice coordinates (i, j) of each point: neighbours are (1, 0), (0, 1) and
        (1, -1) apart. No point twice.

    Returns
    -------
    ndarray of int, shape (m, 3)
        Positions in `places` of the corners of each triangle all of whose corners
        are there.
    """
    if not len(places):
        return np.empty((0, 3), dtype=np.int64)
    low = places.min(axis=0)
    size = places.max(axis=0) - low + 3
    grid = np.full(tuple(size), -1, dtype=np.int64)
    i, j = (places - low + 1).T
    own = np.arange(len(places), dtype=np.int64)
    grid[i, j] = own
    up = np.column_stack([own, grid[i + 1, j], grid[i, j + 1]])
    down = np.column_stack([own, grid[i, j + 1], grid[i - 1, j + 1]])
    both = np.vstack([up, down])
    return np.asarray(both[(both >= 0).all(axis=1)], dtype=np.int64)


def segments(triangles: IntArray, values: FloatArray, level: float) -> IntArray:
    """Return where a level passes through the triangles, as pairs of crossed edges.

    A corner counts as above if its value is at least the level, so that every
    triangle has none or two crossed edges. Triangles with a NaN are left out.

    Returns
    -------
    ndarray of int, shape (k, 2, 2)
        For each segment two edges, each as (smaller, larger) point number.
    """
    corner = values[triangles]
    above = corner >= level
    crossed = np.isfinite(corner).all(axis=1)
    crossed &= above.any(axis=1) & ~above.all(axis=1)
    chosen, high = triangles[crossed], above[crossed]
    # The lone corner is the one that differs from both others.
    lone = np.where(high.sum(axis=1) == 1, high.argmax(axis=1), (~high).argmax(axis=1))
    rows = np.arange(len(chosen))
    tip = chosen[rows, lone]
    ends = [chosen[rows, (lone + turn) % 3] for turn in (1, 2)]
    edges = [np.sort(np.column_stack([tip, end]), axis=1) for end in ends]
    return np.asarray(np.stack(edges, axis=1), dtype=np.int64)


def _crossing(
    edge: Edge, points: FloatArray, values: FloatArray, level: float
) -> list[float]:
    """Return the point on an edge at which the level is reached, linearly."""
    first, second = edge
    low, high = float(values[first]), float(values[second])
    share = (level - low) / (high - low)
    at = points[first] + share * (points[second] - points[first])
    return [float(at[0]), float(at[1])]


def _walk(start: Edge, links: dict[Edge, list[Edge]]) -> list[Edge]:
    """Follow the links from an edge until they end, using each up."""
    line = [start]
    while links[line[-1]]:
        following = links[line[-1]].pop(0)
        links[following].remove(line[-1])
        line.append(following)
    return line


def polylines(
    points: FloatArray, triangles: IntArray, values: FloatArray, level: float
) -> list[FloatArray]:
    """Return the lines of a level, open ones first, each in a fixed order.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Places of the lattice points [px].
    triangles : ndarray of int, shape (m, 3)
    values : ndarray, shape (n,)
        NaN where there is none.
    level : float

    Returns
    -------
    list of ndarray, shape (k, 2)
        A closed line repeats its first point.
    """
    links: dict[Edge, list[Edge]] = {}
    for pair in segments(triangles, values, level).tolist():
        one, other = tuple(pair[0]), tuple(pair[1])
        links.setdefault(one, []).append(other)
        links.setdefault(other, []).append(one)
    ends = [edge for edge in links if len(links[edge]) == 1]
    starts = sorted(ends) + sorted(links)
    found = (_walk(start, links) for start in starts if links[start])
    return [
        np.array([_crossing(edge, points, values, level) for edge in line])
        for line in found
    ]


def longest(lines: Sequence[FloatArray]) -> FloatArray | None:
    """Return the longest line, the first of equals; None if there is none."""
    return max(lines, key=line_length, default=None)


def line_length(line: FloatArray) -> float:
    """Return the length of a line [px]."""
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def spots(line: FloatArray, reach: float) -> list[tuple[float, float, float]]:
    """Return places for a label along a line, the straightest first.

    Parameters
    ----------
    line : ndarray, shape (k, 2)
    reach : float
        Length of the label [px].

    Returns
    -------
    list of tuple
        x, y [px] and slope [degrees, -90 to 90] of the chord below the label; empty
        if the line is too short.
    """
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    if along[-1] < 1.3 * reach:
        return []
    middle = np.linspace(0.6 * reach, along[-1] - 0.6 * reach, 41)
    start, centre, end = (
        np.column_stack([np.interp(middle + d, along, line[:, k]) for k in (0, 1)])
        for d in (-0.5 * reach, 0.0, 0.5 * reach)
    )
    chord = end - start
    straight = np.hypot(*chord.T)
    slope = np.degrees(np.arctan2(chord[:, 1], chord[:, 0]))
    slope = np.where(slope > 90.0, slope - 180.0, slope)
    slope = np.where(slope < -90.0, slope + 180.0, slope)
    # Bends first in whole hundredths, then the distance from the middle of the line.
    away = np.abs(middle - 0.5 * along[-1])
    order = np.lexsort((away, np.round(100.0 * (1.0 - straight / reach))))
    return [(*centre[k].tolist(), float(slope[k])) for k in order]


# ----------------------------------------------------------------------------
# Draw contours with their values on the lines.

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


# ----------------------------------------------------------------------------
# Borders on a map: lines that show on any ground, with names along them.


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
        place = (at[0] + far * math.cos(turn), at[1] + far * math.sin(turn))
        boxes.append(Box.around(place, half))
    return boxes


def _write(svg: Svg, at: Point, words: str, style: TextStyle, slope: float) -> None:
    """Write words centred on a line; the baseline lies below it, seen along it."""
    turn, drop = math.radians(slope), 0.36 * style.size
    place = (at[0] - drop * math.sin(turn), at[1] + drop * math.cos(turn))
    set_along = TextStyle(
        style.size, "middle", style.colour, bold=style.bold, turn=slope, halo=style.halo
    )
    svg.text(place, words, set_along)
