"""Corners and edges of a polytope of mixes, by the double description method.

The polytope is the standard simplex cut by half-spaces, one after the other. Two
corners share an edge when no third corner lies on all the faces that both lie on.
Source: T. S. Motzkin, H. Raiffa, G. L. Thompson & R. M. Thrall, "The double description
method", in Contributions to the Theory of Games II (1953); K. Fukuda & A. Prodon,
"Double description method revisited" (1996), proposition 7 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray

#: Distance from a face, in mass fraction, within which a corner lies on it.
ON_FACE = 1e-11


def corners(
    matrix: FloatArray, limits: FloatArray, present: BoolArray
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return the corners and edges of ``{x >= 0, sum(x) = 1, matrix x <= limits}``.

    Parameters
    ----------
    matrix : ndarray, shape (m, k)
    limits : ndarray, shape (m,)
    present : ndarray of bool, shape (k,)
        The ingredients that occur at all; the others are 0.

    Returns
    -------
    corners : ndarray, shape (n, k)
        None if the polytope is empty.
    edges : ndarray of int, shape (edges, 2)
        Pairs of corners.

    Examples
    --------
    >>> all_three = np.ones(3, dtype=bool)
    >>> points, edges = corners(np.array([[1.0, 0, 0]]), np.array([0.5]), all_three)
    >>> len(points), len(edges)
    (4, 4)
    """
    points = np.eye(len(present))[present]
    faces = np.hstack([points < 0.5, np.zeros((len(points), len(limits)), dtype=bool)])
    faces[:, : len(present)] &= present
    for number, (row, limit) in enumerate(zip(matrix, limits, strict=True)):
        size = max(float(np.abs(row).max(initial=0.0)), 1e-300)
        points, faces = _cut(points, faces, (points @ row - limit) / size, number)
        if not len(points):
            return points, np.empty((0, 2), dtype=np.int64)
    one, two = np.triu_indices(len(points), 1)
    joined = _adjacent(faces, one, two)
    return points, np.stack([one[joined], two[joined]], axis=1)


def _cut(
    points: FloatArray, faces: BoolArray, beyond: FloatArray, number: int
) -> tuple[FloatArray, BoolArray]:
    """Keep what does not lie beyond a new face, and add corners where edges meet it."""
    column = points.shape[1] + number
    faces = faces.copy()
    faces[:, column] = np.abs(beyond) <= ON_FACE
    outside = beyond > ON_FACE
    if not outside.any():
        return points, faces
    inside = np.flatnonzero(beyond < -ON_FACE)
    one, two = (i.ravel() for i in np.meshgrid(inside, np.flatnonzero(outside)))
    joined = _adjacent(faces, one, two)
    one, two = one[joined], two[joined]
    weight = (beyond[two] / (beyond[two] - beyond[one]))[:, None]
    new = weight * points[one] + (1.0 - weight) * points[two]
    new_faces = faces[one] & faces[two]
    new_faces[:, column] = True
    kept = ~outside
    return np.vstack([points[kept], new]), np.vstack([faces[kept], new_faces])


def _adjacent(
    faces: BoolArray, one: NDArray[np.int64], two: NDArray[np.int64]
) -> BoolArray:
    """Say which pairs of corners share an edge."""
    missing = (~faces).astype(np.float32)
    found = np.zeros(len(one), dtype=bool)
    for start in range(0, len(one), 4096):
        part = slice(start, start + 4096)
        shared = (faces[one[part]] & faces[two[part]]).astype(np.float32)
        found[part] = (shared @ missing.T == 0.0).sum(axis=1) == 2
    return found
