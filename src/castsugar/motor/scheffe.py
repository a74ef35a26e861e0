r"""Scheffé's mixture model by least squares, with scatter between mixes.

.. math:: y = \sum_i \beta_i w_i \; \left(+ \sum_{i<j} \beta_{ij} w_i w_j\right)
    + b + e, \quad b \sim N(0, \tau^2), \; e \sim N(0, u^2)

for shares w that sum to 1 (Cornell, *Experiments with Mixtures*, ch. 2). u is the known
standard uncertainty of each measured value; tau, what the model leaves between mixes,
solves ``sum (y - f)**2 / (tau**2 + u**2) = degrees of freedom`` (Paule & Mandel,
*J. Res. NBS* 87 (1982) 377, from memory).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.motor.regression import LeastSquares, least_squares
from castsugar.numerics import variance

#: What is held of tau before it is measured counts like so many degrees of freedom
#: (assumed): a handful of mixes cannot fix it.
PRIOR_FREEDOM = 4

#: Mass fraction that counts as nothing: a scale's rounding.
ROUNDING = 0.002


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScheffeModel:
    """A fitted mixture model of one quantity.

    Attributes
    ----------
    order : int
        1: linear; 2: with products of pairs.
    offset : float
        Mean of the data, kept apart.
    coefficients : ndarray, shape (q,)
        Of y less `offset`.
    covariance : ndarray, shape (q, q)
    between : float
        tau.
    degrees_of_freedom : int
        Those of tau, prior included.
    """

    order: int
    offset: float
    coefficients: FloatArray
    covariance: FloatArray
    between: float
    degrees_of_freedom: int

    def predict(self, fractions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the value for a new mix and its standard uncertainty, shape (...).

        Parameters
        ----------
        fractions : ndarray, shape (..., k)
        """
        row = scheffe_design(fractions, self.order)
        u = np.sqrt(variance(row, self.covariance) + self.between**2)
        return self.offset + row @ self.coefficients, u


def scheffe_design(fractions: FloatArray, order: int) -> FloatArray:
    """Return the columns of the model: shares, then products of pairs.

    Parameters
    ----------
    fractions : ndarray, shape (..., k)
    order : int
        1 or 2.

    Examples
    --------
    >>> scheffe_design(np.array([0.5, 0.3, 0.2]), 2).round(2).tolist()
    [0.5, 0.3, 0.2, 0.15, 0.1, 0.06]
    """
    w = np.asarray(fractions, dtype=float)
    if order == 1:
        return w
    pairs = itertools.combinations(range(w.shape[-1]), 2)
    products = [w[..., i] * w[..., j] for i, j in pairs]
    return np.concatenate([w, np.stack(products, axis=-1)], axis=-1)


def scheffe_fit(
    fractions: FloatArray,
    observed: FloatArray,
    order: int,
    weights: FloatArray | None = None,
) -> LeastSquares:
    """Fit the mixture model by (weighted) least squares.

    Parameters
    ----------
    fractions : ndarray, shape (m, k)
    observed : ndarray, shape (..., m)
    order : int
    weights : ndarray, shape (m,), optional
    """
    return least_squares(scheffe_design(fractions, order), observed, weights)


def scheffe_model(
    fractions: FloatArray, observed: FloatArray, u: FloatArray, prior: float
) -> ScheffeModel:
    """Fit the linear model, or the quadratic one where the data call for it.

    Quadratic only with at least 3 more mixes than its coefficients, and if its AICc is
    the lower one.

    Parameters
    ----------
    fractions : ndarray, shape (m, k)
        Rows sum to 1.
    observed, u : ndarray, shape (m,)
        Values and their standard uncertainties.
    prior : float
        tau to expect; counts for :data:`PRIOR_FREEDOM` degrees of freedom.
    """
    linear, least = _with_scatter(fractions, observed, u, (1, prior))
    if len(observed) < fractions.shape[1] + 4:  # cannot be enough for a product
        return linear
    quadratic, other = _with_scatter(fractions, observed, u, (2, prior))
    return quadratic if other < least else linear


def _with_scatter(
    fractions: FloatArray,
    observed: FloatArray,
    u: FloatArray,
    how: tuple[int, float],
) -> tuple[ScheffeModel, float]:
    """Return the model of one order and its AICc."""
    order, prior = how
    offset = float(observed.mean())
    y = observed - offset
    rank = scheffe_fit(fractions, y, order).rank
    freedom = len(y) - rank
    between = between_mixes(fractions, y, u, order)
    total = PRIOR_FREEDOM + freedom
    square = (PRIOR_FREEDOM * prior**2 + freedom * between**2) / total
    variance = square + u**2
    found = scheffe_fit(fractions, y, order, 1.0 / variance)
    model = ScheffeModel(
        order=order,
        offset=offset,
        coefficients=found.coefficients,
        covariance=found.inverse,
        between=math.sqrt(square),
        degrees_of_freedom=total,
    )
    parameters = rank + 1
    spare = len(y) - parameters - 1
    if spare <= 0:
        return model, math.inf
    misfit = float((np.log(variance) + found.residuals**2 / variance).sum())
    return model, misfit + 2.0 * parameters * len(y) / spare


def between_mixes(
    fractions: FloatArray, observed: FloatArray, u: FloatArray, order: int
) -> float:
    """Return tau by Paule and Mandel; 0 where `u` alone explains the residuals.

    Parameters
    ----------
    fractions : ndarray, shape (m, k)
    observed, u : ndarray, shape (m,)
    order : int
    """

    def excess(square: float) -> float:
        variance = square + u**2
        found = scheffe_fit(fractions, observed, order, 1.0 / variance)
        freedom = found.degrees_of_freedom
        return float((found.residuals**2 / variance).sum()) - freedom

    plain = scheffe_fit(fractions, observed, order)
    if plain.degrees_of_freedom < 1:
        return 0.0
    high = float((plain.residuals**2).sum()) / plain.degrees_of_freedom
    low = 1e-12 * high + 1e-30
    if excess(low) <= 0.0:
        return 0.0
    while excess(high) > 0.0:
        high *= 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return math.sqrt(0.5 * (low + high))


def outside_measured(measured: FloatArray, fractions: FloatArray) -> BoolArray:
    """Return where a composition lies outside the measured ones.

    True if a component leaves its measured range, if the leverage exceeds the largest
    among the measured mixes (Montgomery, Peck & Vining, *Introduction to Linear
    Regression Analysis*, ch. 3: hidden extrapolation), or if the composition cannot be
    mixed from them at all.

    Parameters
    ----------
    measured : ndarray, shape (m, k)
    fractions : ndarray, shape (..., k)
    """
    fit = least_squares(measured, np.zeros(len(measured)))
    leverage = np.einsum("...i,ij,...j->...", fractions, fit.inverse, fractions)
    span = np.linalg.pinv(measured, rcond=1e-10) @ measured
    off = np.abs(fractions - fractions @ span).max(axis=-1)
    low, high = measured.min(axis=0) - ROUNDING, measured.max(axis=0) + ROUNDING
    beyond = ((fractions < low) | (fractions > high)).any(axis=-1)
    far = leverage > fit.leverage.max() * (1.0 + 1e-9)
    return np.asarray(beyond | far | (off > ROUNDING))
