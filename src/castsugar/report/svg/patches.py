"""Parts of small triangles between levels and inside limits, and their outlines."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.canvas import number

# ----------------------------------------------------------------------------
# Outlines of many small polygons that touch: what they share is left out.

Place = tuple[int, int]


def around(polygons: Iterable[NDArray[np.int64]]) -> list[list[Place]]:
    """Return closed outlines around polygons, holes turning the other way.

    Edges that two polygons share cancel; corners on a straight line are left out. As
    many edges leave a corner as arrive, so every outline closes.

    Parameters
    ----------
    polygons : iterable of ndarray, shape (k, 2)
        Whole numbers, so that shared corners are the same.

    Examples
    --------
    >>> square = np.array([[0, 0], [4, 0], [4, 4], [0, 4]])
    >>> around([square, square + [4, 0]])
    [[(0, 0), (8, 0), (8, 4), (0, 4)]]
    """
    return [found for loop in _loops(_edges(polygons)) if (found := _straight(loop))]


def _edges(polygons: Iterable[NDArray[np.int64]]) -> dict[Place, list[Place]]:
    """Return the edges that only one polygon has: start to ends."""
    count: dict[tuple[Place, Place], int] = {}
    for polygon in polygons:
        x, y = polygon[:, 0], polygon[:, 1]
        turning = int(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        if turning == 0:
            continue
        corners = [(int(a), int(b)) for a, b in polygon[:: 1 if turning > 0 else -1]]
        for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
            if start == end:
                continue
            if count.get((end, start)):
                count[end, start] -= 1
            else:
                count[start, end] = count.get((start, end), 0) + 1
    found: dict[Place, list[Place]] = defaultdict(list)
    for (start, end), times in count.items():
        found[start] += [end] * times
    return found


def _loops(edges: dict[Place, list[Place]]) -> list[list[Place]]:
    """Return closed walks that use every edge once."""
    loops = []
    for start in list(edges):
        while edges[start]:
            loop, here = [start], edges[start].pop(0)
            while here != start:
                loop.append(here)
                here = edges[here].pop(0)
            loops.append(loop)
    return loops


def _straight(loop: list[Place]) -> list[Place]:
    """Return a closed walk without corners at which it does not turn."""
    kept = [
        here
        for before, here, after in zip(
            [loop[-1], *loop[:-1]], loop, [*loop[1:], loop[0]], strict=True
        )
        if (here[0] - before[0]) * (after[1] - here[1])
        != (here[1] - before[1]) * (after[0] - here[0])
    ]
    return kept if len(kept) > 2 else []


# ----------------------------------------------------------------------------
# Parts of small triangles: between two levels of a field, and inside limits.
#
# A patch is an array with a row for every corner: x, y [px], then fields. Fields are
# straight inside a triangle, so that cuts are exact there.


def patches_of(
    points: FloatArray, fields: FloatArray, triangles: IntArray
) -> list[FloatArray]:
    """Return the triangles as patches, without those of a corner with NaN.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        [px]
    fields : ndarray, shape (n, f)
    triangles : ndarray of int, shape (m, 3)
    """
    rows = np.hstack([points, fields])
    corners = rows[triangles]
    whole = np.isfinite(corners).all(axis=(1, 2))
    return list(corners[whole])


def cut(
    patches: Iterable[FloatArray], field: int, sign: float, level: float = 0.0
) -> list[FloatArray]:
    """Return the parts of patches in which ``sign (field - level)`` is not below 0.

    Examples
    --------
    >>> whole = np.array([[0.0, 0.0, -1.0], [2.0, 0.0, 1.0], [2.0, 2.0, 1.0]])
    >>> cut([whole], 0, 1.0)[0].tolist()
    [[1.0, 0.0, 0.0], [2.0, 0.0, 1.0], [2.0, 2.0, 1.0], [1.0, 1.0, 0.0]]
    """
    given = list(patches)
    if not given:
        return []
    sizes = np.array([len(patch) for patch in given])
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    above = sign * (np.concatenate(given)[:, 2 + field] - level)
    lowest = np.minimum.reduceat(above, starts).tolist()
    highest = np.maximum.reduceat(above, starts).tolist()
    found = []
    for patch, start, low, high in zip(
        given, starts.tolist(), lowest, highest, strict=True
    ):
        if low >= 0.0:
            found.append(patch)
        elif high > 0.0:
            found.append(_cut(patch, above[start : start + len(patch)]))
    return found


def _cut(patch: FloatArray, above: FloatArray) -> FloatArray:
    """Return the part of a patch with values above 0.

    I. E. Sutherland & G. W. Hodgman, Commun. ACM 17 (1974) 32, from memory.
    """
    corners = []
    sides = above.tolist()
    for k, side in enumerate(sides):
        after = (k + 1) % len(sides)
        if side >= 0.0:
            corners.append(patch[k])
        if side * sides[after] < 0.0:
            part = side / (side - sides[after])
            corners.append(patch[k] + part * (patch[after] - patch[k]))
    return np.array(corners)


def between(
    patches: Iterable[FloatArray], field: int, levels: Sequence[float]
) -> list[list[FloatArray]]:
    """Return the parts of patches between neighbouring levels, rising.

    One list more than levels: below the first, ..., above the last.
    """
    found = []
    left = list(patches)
    for level in levels:
        found.append(cut(left, field, -1.0, level))
        left = cut(left, field, 1.0, level)
    return [*found, left]


def path_of(patches: Iterable[FloatArray]) -> str:
    """Return one path around patches that touch, to a tenth of a pixel.

    Examples
    --------
    >>> left = np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]])
    >>> right = np.array([[2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> path_of([left, right])
    'M0 0L2 0L2 2L0 2Z'
    """
    loops = around([np.rint(10.0 * patch[:, :2]).astype(int) for patch in patches])
    return "".join(
        "M" + "L".join(f"{number(x / 10)} {number(y / 10)}" for x, y in loop) + "Z"
        for loop in loops
    )


def inside(line: FloatArray, outline: FloatArray) -> list[FloatArray]:
    """Return the stretches of a polyline inside a convex outline.

    Parameters
    ----------
    line : ndarray, shape (k, 2)
    outline : ndarray, shape (q, 2)
        In either order around; fewer than three corners hold nothing.
    """
    if len(outline) < 3:
        return []
    found: list[list[FloatArray]] = []
    for start, end in itertools.pairwise(line):
        piece = _piece(start, end, outline)
        if piece is None:
            continue
        if found and np.array_equal(found[-1][-1], piece[0]):
            found[-1].append(piece[1])
        else:
            found.append(list(piece))
    return [np.array(points) for points in found]


def _piece(
    start: FloatArray, end: FloatArray, outline: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Return the part of a straight line inside a convex outline."""
    sides = np.roll(outline, -1, axis=0) - outline
    normals = np.column_stack([-sides[:, 1], sides[:, 0]])
    centre = outline.mean(axis=0)
    turned = np.sign(np.sum(normals * (centre - outline), axis=1))
    normals = normals * turned[:, None]
    first = np.sum(normals * (start - outline), axis=1)
    last = np.sum(normals * (end - outline), axis=1)
    if ((first < 0.0) & (last < 0.0)).any():
        return None
    change = last - first
    with np.errstate(divide="ignore", invalid="ignore"):
        at = -first / change
    low = max(at[(first < 0.0) & (last >= 0.0)], default=0.0)
    high = min(at[(first >= 0.0) & (last < 0.0)], default=1.0)
    if low >= high:
        return None
    way = end - start
    return (
        start if low == 0.0 else start + low * way,
        end if high == 1.0 else start + high * way,
    )
