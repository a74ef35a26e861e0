"""Draws of one quantity in few numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.inputs import Input

#: Coverage probability of the intervals.
COVERAGE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What draws of one quantity say.

    Attributes
    ----------
    mean, deviation : float
        NaN where a draw is infinite.
    median : float
    interval : tuple of float
        Probabilistically symmetric coverage interval.
    failed : float
        Share of draws without a number, left out of everything else.
    """

    mean: float
    deviation: float
    median: float
    interval: tuple[float, float]
    failed: float


def summarise(draws: FloatArray, coverage: float = COVERAGE) -> Summary:
    """Summarise draws of one quantity.

    Parameters
    ----------
    draws : ndarray, shape (n,)
        NaN where one failed; infinite ones count at their end.
    coverage : float

    Notes
    -----
    JCGM 101:2008, 7.6 and 7.7.2: of M ordered values the interval runs from the r-th to
    the (r + q)-th, q = p M and r = (M - q) / 2, each rounded to a whole number.

    Examples
    --------
    >>> summarise(np.arange(1.0, 101.0), 0.9).interval
    (5.0, 95.0)
    """
    kept = np.sort(draws[~np.isnan(draws)])
    failed = 1.0 - len(kept) / len(draws) if len(draws) else 1.0
    count = len(kept)
    if not count:
        gone = float("nan")
        return Summary(
            mean=gone, deviation=gone, median=gone, interval=(gone, gone), failed=1.0
        )
    q = int(coverage * count + 0.5)
    r = max((count - q + 1) // 2, 1) if (count - q) % 2 else max((count - q) // 2, 1)
    high = min(r + q, count)
    finite = bool(np.isfinite(kept).all())
    middle = kept[(count - 1) // 2], kept[count // 2]
    return Summary(
        mean=float(kept.mean()) if finite else float("nan"),
        deviation=float(kept.std(ddof=1)) if finite and count > 1 else float("nan"),
        median=float(middle[0] if middle[0] == middle[1] else sum(middle) / 2.0),
        interval=(float(kept[r - 1]), float(kept[high - 1])),
        failed=failed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one input adds to a doubt.

    Attributes
    ----------
    input : Input
    effect : float
        Change per standard deviation of the input, with its sign; NaN where it is not
        known. [unit of the column]
    share : float
        Of the variance, all inputs together 1.
    """

    input: Input
    effect: float
    share: float


def parts_of(
    inputs: Sequence[Input], effects: FloatArray, squares: FloatArray
) -> list[Part]:
    """Return parts of a doubt, the largest first; none where nothing matters.

    Parameters
    ----------
    inputs : sequence of Input
    effects, squares : ndarray, shape (inputs,)
        Effects, and what their shares are in proportion to.
    """
    total = float(squares.sum())
    order = np.argsort(-squares, kind="stable").tolist()
    return [
        Part(input=inputs[i], effect=float(effects[i]), share=float(squares[i]) / total)
        for i in order
        if squares[i] > 0.0
    ]
