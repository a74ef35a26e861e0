"""Uncertainty carried through a linear step, correlations included.

JCGM 100:2008 (the GUM), 5.2: the variance of y = J x is J C J', C the covariance of x.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray


def variance(row: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return the variance of a linear form of correlated inputs.

    Parameters
    ----------
    row : ndarray, shape (..., n)
        Derivatives of the result with respect to the inputs.
    covariance : ndarray, shape (n, n)
        Of the inputs.

    Returns
    -------
    ndarray, shape (...)
        Never below 0.

    Examples
    --------
    >>> float(variance(np.array([1.0, 1.0]), np.array([[1.0, -1.0], [-1.0, 1.0]])))
    0.0
    """
    square = np.einsum("...i,ij,...j->...", row, covariance, row)
    return np.maximum(square, 0.0)


def carried(jacobian: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return the covariance of several linear forms of correlated inputs.

    Parameters
    ----------
    jacobian : ndarray, shape (m, n)
    covariance : ndarray, shape (n, n)

    Returns
    -------
    ndarray, shape (m, m)
    """
    return jacobian @ covariance @ jacobian.T
