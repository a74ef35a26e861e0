"""Contours on a triangular lattice: marching triangles, joined to lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.axes import multiples, nice_step

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
