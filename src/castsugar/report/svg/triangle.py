"""Where a mix of three ingredients stands on the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.errors import InputError
from castsugar.report.svg.canvas import Point

Shares = tuple[float, float, float]

#: Height of an equilateral triangle over its side.
HEIGHT = math.sqrt(0.75)


@dataclass(frozen=True, slots=True)
class Frame:
    """A triangle on the page and the part of the diagram that it spans.

    Parameters
    ----------
    low : tuple of float
        Least share of each ingredient (top, lower left, lower right).
    span : float
        Share between the least and the largest, the same for all three.
    left, base, side : float
        Lower left corner and side [px].
    """

    low: Shares
    span: float
    left: float
    base: float
    side: float

    def place(self, shares: Shares) -> Point:
        """Return where shares that sum to 1 stand [px]."""
        up = (shares[0] - self.low[0]) / self.span
        right = (shares[2] - self.low[2]) / self.span
        x = self.left + self.side * (right + 0.5 * up)
        return x, self.base - HEIGHT * self.side * up

    def places(self, fractions: FloatArray) -> FloatArray:
        """Return where many mixes stand, shape (n, 2) [px]."""
        inner = (fractions - np.asarray(self.low)) / self.span
        x = self.left + self.side * (inner[:, 2] + 0.5 * inner[:, 0])
        return np.column_stack([x, self.base - HEIGHT * self.side * inner[:, 0]])

    def holds(self, shares: Shares) -> bool:
        """Return whether a mix lies on the picture."""
        return all(s > a - 1e-6 for s, a in zip(shares, self.low, strict=True))

    def corners(self) -> tuple[Point, Point, Point]:
        """Return top, lower left and lower right corner [px]."""
        top = (self.left + 0.5 * self.side, self.base - HEIGHT * self.side)
        return top, (self.left, self.base), (self.left + self.side, self.base)


def least_step(fractions: FloatArray) -> float:
    """Return the distance of the lattice points; 1 for a single point."""
    found = [np.diff(np.unique(np.round(column, 9))) for column in fractions.T]
    steps = np.concatenate(found)
    return float(steps.min()) if steps.size else 1.0


def span_of(fractions: FloatArray, step: float) -> tuple[Shares, float]:
    """Return least shares and span of the smallest triangle around the points.

    Examples
    --------
    >>> span_of(np.array([[0.5, 0.5, 0.0], [0.5, 0.0, 0.5], [1.0, 0.0, 0.0]]), 0.5)
    ((0.5, 0.0, 0.0), 0.5)
    """
    low = [float(v) for v in np.round(fractions.min(axis=0), 9)]
    span = round(1.0 - sum(low), 9)
    return (low[0], low[1], low[2]), span if span > 0.0 else step


def lattice_places(fractions: FloatArray, low: Shares, step: float) -> IntArray:
    """Return lattice coordinates (first, third ingredient) of the points, from 0.

    Raises
    ------
    InputError
        If the points do not lie on a lattice of equal step, or one is there twice.
    """
    exact = (fractions - np.asarray(low)) / step
    whole = np.round(exact)
    if np.abs(exact - whole).max(initial=0.0) > 0.01:
        raise InputError(
            f"the mixes do not lie on a triangular lattice of step {step:g}; "
            "a map needs equal steps"
        )
    places = whole[:, [0, 2]].astype(np.int64)
    if len(np.unique(places, axis=0)) != len(places):
        raise InputError("a mix is on the map twice; a map needs each point once")
    return np.asarray(places, dtype=np.int64)
