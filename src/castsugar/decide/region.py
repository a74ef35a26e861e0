"""One convex region of mixes: its corners, and coordinates inside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.decide.ratios import Row
from castsugar.decide.vertices import corners

#: How far beyond a row a mix may lie by rounding. [mass fraction]
ROUNDING = 1e-10

#: A fraction below this is rounding.
_TRACE = 1e-14

#: A direction shorter than this is none. [mass fraction]
_FLAT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LocalRows:
    """Rows in coordinates: ``normals z <= limits``.

    Attributes
    ----------
    normals, limits : ndarray, shapes (r, d) and (r,)
        Each divided by its size.
    sizes : ndarray, shape (r,)
        Largest coefficient, before the division.
    places : ndarray of int, shape (r,)
        Number of the row in the region.
    """

    normals: FloatArray
    limits: FloatArray
    sizes: FloatArray
    places: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """A polytope of mixes, with every discrete choice made.

    Attributes
    ----------
    choice : mapping
        Slot to the alternative that occupies it; empty without choices.
    row_names : tuple of str
    matrix, limits : ndarray, shapes (m, k) and (m,)
        ``matrix x <= limits``; the rows ``x >= 0`` included.
    corners : ndarray, shape (n, k)
    edges : ndarray of int, shape (edges, 2)
    origin : ndarray, shape (k,)
        A corner; where the coordinates are 0.
    directions : ndarray, shape (d, k)
        From there to d other corners that span the region: ``x = origin + z
        directions``. A wide simplex, so that coordinates suit the region's own shape.
    """

    choice: Mapping[str, str]
    row_names: tuple[str, ...]
    matrix: FloatArray
    limits: FloatArray
    corners: FloatArray
    edges: NDArray[np.int64]
    origin: FloatArray
    directions: FloatArray

    @property
    def dimension(self) -> int:
        """Return how many fractions can be chosen freely."""
        return len(self.directions)

    @property
    def centre(self) -> FloatArray:
        """Return the mean of the corners."""
        return self.corners.mean(axis=0)

    @property
    def label(self) -> str:
        """Return the choices in words."""
        return ", ".join(f"{slot}: {name}" for slot, name in self.choice.items())

    def slack(self, fractions: FloatArray) -> FloatArray:
        """Return how far each row is from its limit, (..., m); below 0 is beyond."""
        return self.limits - fractions @ self.matrix.T

    def contains(self, fractions: FloatArray) -> BoolArray:
        """Say which mixes keep every row within rounding."""
        kept = (self.slack(fractions) >= -ROUNDING).all(axis=-1)
        return np.asarray(kept)

    def coordinates(self, fractions: FloatArray) -> FloatArray:
        """Return z of ``x = origin + z directions``, (..., d)."""
        inverse = np.linalg.pinv(self.directions) if self.dimension else np.zeros((0,))
        if not self.dimension:
            return np.zeros((*fractions.shape[:-1], 0))
        return (fractions - self.origin) @ inverse

    def mixes(self, coordinates: FloatArray) -> FloatArray:
        """Return the mixes at coordinates, pulled inside where they lie outside."""
        x = self.origin + coordinates @ self.directions
        centre = self.centre
        room = self.slack(centre)
        over = -self.slack(x)
        real = room > _FLAT
        with np.errstate(divide="ignore", invalid="ignore"):
            pull = np.where(real & (over > 0.0), over / (room + over), 0.0)
        share = pull.max(axis=-1, keepdims=True, initial=0.0)
        x = x + share * (centre - x)
        return tidy(x)

    def local_rows(self) -> LocalRows:
        """Return the rows in coordinates, without those that nothing inside meets."""
        normal = self.matrix @ self.directions.T
        reach = self.slack(self.origin)
        size = np.abs(normal).max(axis=1, initial=0.0)
        # A row that no corner touches is never met.
        touched = (self.slack(self.corners) <= ROUNDING).any(axis=0)
        kept = (size > _FLAT) & touched
        return LocalRows(
            normals=normal[kept] / size[kept, None],
            limits=reach[kept] / size[kept],
            sizes=size[kept],
            places=np.flatnonzero(kept),
        )


def tidy(fractions: FloatArray) -> FloatArray:
    """Return mixes without traces that only rounding left."""
    return np.where(fractions < _TRACE, 0.0, fractions)


def region(
    choice: Mapping[str, str],
    columns: Sequence[str],
    rows: Sequence[Row],
    present: BoolArray,
) -> Region | None:
    """Return the region of rows, or None if it is empty.

    Parameters
    ----------
    choice : mapping
    columns : sequence of str
        The ingredients.
    rows : sequence of Row
        Their coefficients name ingredients. The rows ``x >= 0`` are added.
    present : ndarray of bool, shape (k,)
        The ingredients of this choice.
    """
    matrix, limits = as_arrays(columns, rows)
    points, edges = corners(matrix, limits, present)
    if not len(points):
        return None
    origin, directions = _wide_simplex(points)
    return Region(
        choice=dict(choice),
        row_names=(*(r.name for r in rows), *(f"{c} at least 0 %" for c in columns)),
        matrix=np.vstack([matrix, -np.eye(len(present))]),
        limits=np.concatenate([limits, np.zeros(len(present))]),
        corners=points,
        edges=edges,
        origin=origin,
        directions=directions,
    )


def as_arrays(
    columns: Sequence[str], rows: Sequence[Row]
) -> tuple[FloatArray, FloatArray]:
    """Return matrix (m, k) and limits (m,) of rows."""
    matrix = np.array([[r.coefficients.get(c, 0.0) for c in columns] for r in rows])
    limits = np.array([r.limit for r in rows], dtype=float)
    return matrix.reshape(len(rows), len(columns)), limits


def _wide_simplex(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a corner and directions to others, each far from the span so far."""
    start = np.argmax(((points - points.mean(axis=0)) ** 2).sum(axis=1))
    origin = points[start]
    left = points - origin
    chosen: list[int] = []
    while True:
        length = (left**2).sum(axis=1)
        far = int(np.argmax(length))
        if length[far] <= _FLAT**2 or len(chosen) == points.shape[1]:
            return origin, points[chosen] - origin
        chosen.append(far)
        unit = left[far] / np.sqrt(length[far])
        left = left - np.outer(left @ unit, unit)
