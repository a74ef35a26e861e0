"""Quadratic models of columns near a mix, from points that all lie in the region.

The points are a {d+1, 2} simplex lattice (corners and edge midpoints; H. Scheffe, J.
Royal Stat. Soc. B 20 (1958) 344, from memory) spanned by corners of the region and
shrunk towards the mix: a convex region holds them all, and they determine a quadratic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray


def nodes(dimension: int) -> FloatArray:
    """Return the {d+1, 2} simplex lattice in coordinates, ((d+1)(d+2)/2, d).

    Examples
    --------
    >>> nodes(1).tolist()
    [[0.0], [1.0], [0.5]]
    """
    ends = np.vstack([np.zeros(dimension), np.eye(dimension)])
    one, two = np.triu_indices(dimension + 1, 1)
    return np.vstack([ends, 0.5 * (ends[one] + ends[two])])


def stencil(centre: FloatArray, reach: float) -> FloatArray:
    """Return points around coordinates (d,): the nodes shrunk towards them."""
    return centre + reach * (nodes(len(centre)) - centre)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quadratics:
    """``v + g (z - z0) + (z - z0) H (z - z0) / 2`` of p outputs.

    Attributes
    ----------
    centre : ndarray, shape (d,)
    value, gradient, hessian : ndarray, shapes (p,), (p, d), (p, d, d)
    reach : float
        Of the points behind it.
    """

    centre: FloatArray
    value: FloatArray
    gradient: FloatArray
    hessian: FloatArray
    reach: float

    def at(self, z: FloatArray) -> FloatArray:
        """Return the outputs at coordinates (d,)."""
        step = z - self.centre
        return self.value + (self.gradient + 0.5 * self.hessian @ step) @ step

    def around(
        self, z: FloatArray, radius: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return value, gradient and Hessian in ``w`` of ``z + radius w``."""
        step = z - self.centre
        turn = self.hessian @ step
        gradient = (self.gradient + turn) * radius
        return self.at(z), gradient, self.hessian * radius**2


def fit(
    centre: FloatArray,
    value: FloatArray,
    points: FloatArray,
    outputs: FloatArray,
    slopes: FloatArray | None = None,
) -> Quadratics:
    """Return the quadratics through a centre, near points.

    Parameters
    ----------
    centre : ndarray, shape (d,)
    value : ndarray, shape (p,)
        Met exactly.
    points : ndarray, shape (n, d)
    outputs : ndarray, shape (n, p)
        Rows with NaN are left out; with too few the smallest coefficients are taken.
    slopes : ndarray, shape (p, d), optional
        Known gradients; rows with NaN are fitted.
    """
    known = np.isfinite(outputs).all(axis=1)
    steps = points[known] - centre
    reach = float(np.abs(steps).max(initial=0.0)) or 1.0
    u = steps / reach
    dimension, count = len(centre), len(value)
    one, two = np.triu_indices(dimension)
    curves = u[:, one] * u[:, two] * np.where(one == two, 0.5, 1.0)
    change = outputs[known] - value
    gradient = np.zeros((count, dimension))
    bends = np.zeros((count, len(one)))
    given = np.zeros(count, dtype=bool)
    if slopes is not None:
        given = np.asarray(np.isfinite(slopes).all(axis=1))
        gradient[given] = slopes[given] * reach
        left = change[:, given] - u @ gradient[given].T
        bends[given] = _solve(curves, left)
    both = _solve(np.hstack([u, curves]), change[:, ~given])
    gradient[~given], bends[~given] = both[:, :dimension], both[:, dimension:]
    hessian = np.zeros((count, dimension, dimension))
    hessian[:, one, two] = bends
    hessian[:, two, one] = bends
    return Quadratics(
        centre=centre,
        value=value,
        gradient=gradient / reach,
        hessian=hessian / reach**2,
        reach=reach,
    )


def _solve(design: FloatArray, targets: FloatArray) -> FloatArray:
    """Return least-squares coefficients, one row a target."""
    if not targets.size:
        return np.zeros((targets.shape[1], design.shape[1]))
    found = np.linalg.lstsq(design, targets, rcond=1e-11)[0]
    return np.asarray(found.T, dtype=float)
