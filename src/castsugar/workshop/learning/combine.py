"""Put results of several occasions together: the random-effects weighted mean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """A mean over occasions.

    Attributes
    ----------
    value, u : float
        Mean and its standard uncertainty.
    scatter : float
        Standard deviation between the occasions, beyond their own uncertainties.
    shared : float
        Part of `u` that all occasions have in common, which no number of them reduces.
    count : int
    statistic, probability : float
        Q, and how likely so large a one is if there is no scatter between the
        occasions; NaN for one.
    """

    value: float
    u: float
    scatter: float
    shared: float
    count: int
    statistic: float
    probability: float

    @property
    def next_u(self) -> float:
        """Standard uncertainty of one more occasion, its own reading left out."""
        return math.hypot(self.u, self.scatter)


def combined(
    values: Sequence[float], own: Sequence[float], shared: Sequence[float] = ()
) -> Combined:
    r"""Return the random-effects weighted mean.

    .. math::
        w_i = 1/u_i^2, \; \bar y = \sum w_i y_i / \sum w_i, \;
        Q = \sum w_i (y_i - \bar y)^2

        \tau^2 = \max\left(0, \frac{Q - (k - 1)}
        {\sum w_i - \sum w_i^2 / \sum w_i}\right), \;
        w_i^* = 1 / (u_i^2 + \tau^2)

    R. DerSimonian, N. Laird, Meta-analysis in clinical trials, Controlled Clinical
    Trials 7 (1986) 177-188 (from memory). The mean goes with w*, its variance is
    1 / sum w*. Q of k occasions without scatter is chi-square with k - 1 degrees of
    freedom. What the occasions share is weighted alike and added at the end.

    Parameters
    ----------
    values, own : sequence of float
        Results and the standard uncertainties that belong to one occasion alone.
    shared : sequence of float
        Standard uncertainties from causes that all occasions share; none by default.

    Raises
    ------
    InputError
        Without values, or with an uncertainty that is not above 0.

    Examples
    --------
    >>> one = combined([0.9], [0.02])
    >>> one.value, one.u, one.scatter
    (0.9, 0.02, 0.0)
    """
    from scipy.stats import chi2

    y, u = np.asarray(values, dtype=float), np.asarray(own, dtype=float)
    common = np.asarray(shared, dtype=float) if len(shared) else np.zeros_like(y)
    if not y.size:
        raise InputError("nothing to combine; give at least one value")
    if not (np.all(u > 0.0) and np.all(np.isfinite(u)) and np.all(np.isfinite(y))):
        raise InputError(
            "a value or its uncertainty cannot be used; both must be finite, the "
            "uncertainty above 0"
        )
    w = 1.0 / u**2
    q = float(w @ (y - w @ y / w.sum()) ** 2)
    room = float(w.sum() - (w**2).sum() / w.sum())
    more = max(0.0, (q - (y.size - 1)) / room) if y.size > 1 else 0.0
    star = 1.0 / (u**2 + more)
    together = float(star @ common / star.sum())
    return Combined(
        value=float(star @ y / star.sum()),
        u=math.hypot(1.0 / math.sqrt(star.sum()), together),
        scatter=math.sqrt(more),
        shared=together,
        count=int(y.size),
        statistic=q if y.size > 1 else math.nan,
        probability=float(chi2.sf(q, y.size - 1)) if y.size > 1 else math.nan,
    )
