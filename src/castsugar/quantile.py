"""Quantiles of draws that move smoothly with what was drawn.

A single order statistic has a kink wherever another draw takes its place. The mean of
the logarithms of its neighbours, weighted by a triangle, has hardly any, and scatters
less (a kernel estimator: S. J. Sheather & J. S. Marron, J. Am. Stat. Assoc. 85 (1990)
410, from memory).
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray

#: Half-width of the triangle, as a share of the draws.
_WIDTH = 0.02


def smooth_quantile(draws: FloatArray, level: float) -> FloatArray:
    """Return what a share of positive draws stays below, over the last axis.

    Parameters
    ----------
    draws : ndarray, shape (..., n)
        Above 0; infinite ones count as beyond everything, NaN gives NaN.
    level : float
        0 to 1.

    Examples
    --------
    >>> draws = np.exp(np.linspace(0.0, 1.0, 101))
    >>> round(float(smooth_quantile(draws, 0.5)), 9)
    1.648721271
    """
    last = draws.shape[-1] - 1
    rank = level * last
    half = min(_WIDTH * last, rank, last - rank)
    low, high = int(np.ceil(rank - half)), int(np.floor(rank + half))
    ranks = np.arange(low, high + 1)
    if not ranks.size:
        ranks = np.array([round(rank)])
    weights = np.maximum(half + 1e-9 * last - np.abs(ranks - rank), 1e-9)
    order = np.partition(draws, ranks, axis=-1)[..., ranks]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.log(order) @ (weights / weights.sum())
    gone = np.isnan(draws).any(axis=-1)
    return np.asarray(np.where(gone, np.nan, np.exp(mean)))
