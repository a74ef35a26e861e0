"""Linear least squares and the quantiles that go with it. Arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from castsugar.arrays import FloatArray

#: Singular values below this share of the largest one count as zero.
_RANK_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastSquares:
    """The solution of a linear least-squares problem.

    Attributes
    ----------
    coefficients : ndarray, shape (..., k)
        The shortest solution if the design is not of full rank.
    inverse : ndarray, shape (k, k)
        ``(X' W X)^-1`` (its pseudo-inverse): times the residual variance, the
        covariance of the coefficients.
    residuals : ndarray, shape (..., n)
        Observed less fitted.
    leverage : ndarray, shape (n,)
        Diagonal of the hat matrix.
    residual_sd : ndarray, shape (...)
        Root of the weighted sum of squares over the degrees of freedom; NaN for none.
    degrees_of_freedom : int
        n less the rank.
    rank : int
    """

    coefficients: FloatArray
    inverse: FloatArray
    residuals: FloatArray
    leverage: FloatArray
    residual_sd: FloatArray
    degrees_of_freedom: int
    rank: int

    @property
    def standard_errors(self) -> FloatArray:
        """Return the standard errors of the coefficients, shape (..., k)."""
        root = np.sqrt(np.diag(self.inverse))
        return np.asarray(self.residual_sd[..., None] * root)


def least_squares(
    design: FloatArray, observed: FloatArray, weights: FloatArray | None = None
) -> LeastSquares:
    """Solve ``min sum w (y - X b)**2`` by singular values, columns scaled.

    Parameters
    ----------
    design : ndarray, shape (n, k)
    observed : ndarray, shape (..., n)
        Many sets of observations share one design.
    weights : ndarray, shape (n,), optional
        1 / variance; all 1 if left out.

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0])
    >>> design = np.column_stack([np.ones(3), x])
    >>> least_squares(design, 1.0 + 2.0 * x).coefficients.round(12).tolist()
    [1.0, 2.0]
    """
    x = np.asarray(design, dtype=float)
    y = np.asarray(observed, dtype=float)
    root = np.ones(len(x)) if weights is None else np.sqrt(weights)
    size = np.linalg.norm(root[:, None] * x, axis=0)
    size = np.where(size > 0.0, size, 1.0)
    u, s, vt = np.linalg.svd(root[:, None] * x / size, full_matrices=False)
    rank = int(np.sum(s > _RANK_TOLERANCE * s[0]))
    u, back = u[:, :rank], vt[:rank].T / s[:rank] / size[:, None]
    coefficients = (root * y) @ u @ back.T
    residuals = y - coefficients @ x.T
    freedom = len(x) - rank
    square = ((root * residuals) ** 2).sum(axis=-1)
    variance = square / freedom if freedom else np.full(square.shape, np.nan)
    return LeastSquares(
        coefficients=coefficients,
        inverse=back @ back.T,
        residuals=residuals,
        leverage=(u**2).sum(axis=1),
        residual_sd=np.asarray(np.sqrt(variance)),
        degrees_of_freedom=freedom,
        rank=rank,
    )


def student(level: float, degrees_of_freedom: float) -> float:
    """Return the t quantile of a two-sided interval of probability `level`.

    Examples
    --------
    >>> round(student(0.95, 10), 4)  # NIST/SEMATECH e-Handbook, t table: 2.228
    2.2281
    """
    if np.isinf(degrees_of_freedom):
        return float(special.ndtri(0.5 + 0.5 * level))
    return float(special.stdtrit(degrees_of_freedom, 0.5 + 0.5 * level))


def two_sided_probability(t: ArrayLike, degrees_of_freedom: float) -> FloatArray:
    """Return the probability of a Student t at least as large as ``|t|``."""
    size = np.abs(np.asarray(t, dtype=float))
    return np.asarray(2.0 * special.stdtr(degrees_of_freedom, -size))


def f_probability(
    statistic: ArrayLike, numerator: float, denominator: float
) -> FloatArray:
    """Return the probability of an F at least as large as `statistic`."""
    return np.asarray(special.fdtrc(numerator, denominator, statistic))
