"""Outlines of many small polygons that touch: what they share is left out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

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
