"""Small pieces of numerical work that every room may use.

Regular points of a triangle, quantiles of draws and of sums of normals, linear
propagation of uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.special import ndtr

# ----------------------------------------------------------------------------
# Regular points of a triangle, lines through a recipe, whole steps.

#: A quota this close below a whole number is that number.
_EDGE = 1e-6


def triangle(step: float, part: slice | IntArray = slice(None)) -> FloatArray:
    """Return triples of multiples of `step` that sum to 1: all, or some by index.

    Parameters
    ----------
    step : float
        A whole fraction of 1.

    Returns
    -------
    ndarray, shape (n, 3)
        Ordered by the first, then the second share.

    Examples
    --------
    >>> triangle(0.5).tolist()[:3]
    [[0.0, 0.0, 1.0], [0.0, 0.5, 0.5], [0.0, 1.0, 0.0]]
    """
    count = round(1.0 / step)
    ends = np.cumsum(np.arange(count + 1, 0, -1))  # of the points with the same i
    index = np.arange(ends[-1])[part]
    i = np.searchsorted(ends, index, side="right")
    j = index - np.where(i > 0, ends[i - 1], 0)
    return np.stack([i, j, count - i - j], axis=1).astype(float) / count


def with_fixed(shares: FloatArray, total: float, fixed: Sequence[float]) -> FloatArray:
    """Return shares scaled to `total`, with fixed shares appended to every row."""
    rest = np.tile(np.asarray(fixed, dtype=float), (len(shares), 1))
    return np.hstack([total * shares, rest])


def along(recipe: Sequence[float], index: int, values: Sequence[float]) -> FloatArray:
    """Return recipes in which one share runs and the others keep their ratio.

    Parameters
    ----------
    recipe : sequence of float
        Mass fractions that sum to 1.
    index : int
        The share that runs.
    values : sequence of float
        Its values, 0 to 1.

    Examples
    --------
    >>> along([0.6, 0.2, 0.2], 0, [0.5]).tolist()
    [[0.5, 0.25, 0.25]]
    """
    base = np.asarray(recipe, dtype=float)
    rest = base.copy()
    rest[index] = 0.0
    rest = rest / rest.sum()
    out = np.outer(1.0 - np.asarray(values, dtype=float), rest)
    out[:, index] = values
    return out


def apportion(quotas: Sequence[float], count: int) -> tuple[int, ...]:
    """Return whole numbers of a given sum near to quotas: largest remainder.

    Every quota is rounded down; what is missing to the sum goes, one each, to those
    with the largest remainder, the first of equals first.

    Parameters
    ----------
    quotas : sequence of float
        Of sum `count`, but for rounding.

    Returns
    -------
    tuple of int
        Each within 1 of its quota.

    Raises
    ------
    ValueError
        If the quotas do not sum to the count.

    Examples
    --------
    >>> apportion([2.5, 1.25, 1.25], 5)
    (3, 1, 1)
    """
    total = math.fsum(quotas)
    if abs(total - count) > 1e-6 * max(1.0, len(quotas), 1e-3 * abs(count)):
        raise ValueError(f"quotas sum to {total!r}, not to {count}")
    down = [math.floor(q + _EDGE) for q in quotas]
    missing = count - sum(down)
    order = sorted(range(len(quotas)), key=lambda i: down[i] - quotas[i])
    for index in order[: max(missing, 0)]:
        down[index] += 1
    for index in order[: missing - 1 : -1] if missing < 0 else ():
        down[index] -= 1  # quotas a hair below whole numbers were taken as these
    return tuple(down)


def running_integral(x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the integral from the first place to each, straight lines between.

    Examples
    --------
    >>> running_integral(np.array([0.0, 1.0, 3.0]), np.array([1.0, 1.0, 2.0])).tolist()
    [0.0, 1.0, 4.0]
    """
    steps = 0.5 * (y[1:] + y[:-1]) * np.diff(x)
    return np.concatenate([[0.0], np.cumsum(steps)])


# ----------------------------------------------------------------------------
# Uncertainty carried through a linear step, correlations included.
#
# JCGM 100:2008 (the GUM), 5.2: the variance of y = J x is J C J', C the covariance of
# x.


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


# ----------------------------------------------------------------------------
# Quantiles of draws that move smoothly with what was drawn.
#
# A single order statistic has a kink wherever another draw takes its place. The mean of
# the logarithms of its neighbours, weighted by a triangle, has hardly any, and scatters
# less (a kernel estimator: S. J. Sheather & J. S. Marron, J. Am. Stat. Assoc. 85 (1990)
# 410, from memory).

#: Half-width of the triangle, as a share of the draws.
_WIDTH = 0.02


def distinct(values: NDArray[Any]) -> NDArray[Any]:
    """Return the values, each once and sorted, shape (n,).

    ``np.unique`` asked for this alone loads all of numpy.ma.
    """
    return np.unique(values, return_index=True)[0]


def ranks(values: FloatArray) -> FloatArray:
    """Return the rank of each value from 1 on; ties share their mean.

    Examples
    --------
    >>> ranks(np.array([3.0, 1.0, 3.0, np.inf])).tolist()
    [2.5, 1.0, 2.5, 4.0]
    """
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    return (last - 0.5 * (counts - 1))[place]


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
    (found,) = smooth_quantiles(draws, (level,))
    return found


def smooth_quantiles(draws: FloatArray, levels: Sequence[float]) -> list[FloatArray]:
    """Return :func:`smooth_quantile` at several levels, the draws sorted once."""
    order = np.sort(draws, axis=-1)
    gone = np.isnan(order[..., -1])  # they are sorted to the end
    return [_smooth(order, gone, level) for level in levels]


def _smooth(order: FloatArray, gone: BoolArray, level: float) -> FloatArray:
    """Return one quantile of sorted draws; NaN where some are gone."""
    last = order.shape[-1] - 1
    rank = level * last
    half = min(_WIDTH * last, rank, last - rank)
    low, high = int(np.ceil(rank - half)), int(np.floor(rank + half))
    if high < low:
        low = high = round(rank)
    ranks = np.arange(low, high + 1)
    weights = np.maximum(half + 1e-9 * last - np.abs(ranks - rank), 1e-9)
    near = order[..., low : high + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.log(near) @ (weights / weights.sum())
    # Rounding must not carry it past the draws that it lies between.
    inside = np.clip(np.exp(mean), near[..., 0], near[..., -1])
    return np.asarray(np.where(gone, np.nan, inside))


# ----------------------------------------------------------------------------
# One root between two places, one maximum between two places. scipy.optimize has both;
# loading it takes longer than a command that needs nothing else of it.

#: Most evaluations; halving alone needs 50.
_MOST = 100

#: The share of the golden section.
_GOLDEN = 0.5 * (3.0 - math.sqrt(5.0))


def root(
    function: Callable[[float], float], low: float, high: float, *, within: float
) -> float:
    """Return where a function that changes its sign is zero.

    Inverse quadratic interpolation where it is safe, else halving: T. R. Chandrupatla,
    Advances in Engineering Software 28 (1997) 145 (from memory).

    Parameters
    ----------
    low, high : float
        Places of which it has values of different sign.
    within : float
        Largest distance from the place.

    Raises
    ------
    ValueError
        The same sign at both ends.

    Examples
    --------
    >>> round(root(math.cos, 0.0, 3.0, within=1e-12), 9)
    1.570796327
    """
    a, b = high, low
    at_a, at_b = function(a), function(b)
    if at_a * at_b > 0.0:
        raise ValueError(f"no change of sign between {low:g} and {high:g}")
    if at_a * at_b == 0.0:
        return b if at_b == 0.0 else a
    share = 0.5
    for _ in range(_MOST):
        x = a + share * (b - a)
        at_x = function(x)
        if (at_x > 0.0) == (at_a > 0.0):
            c, at_c = a, at_a
        else:
            c, b, at_c, at_b = b, a, at_b, at_a
        a, at_a = x, at_x
        best = a if abs(at_a) < abs(at_b) else b
        least = within / max(abs(b - a), within)
        if at_x == 0.0 or least > 0.5:
            return best
        place, rise = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
        share = 0.5
        if rise * rise < place and (1.0 - rise) ** 2 < 1.0 - place:
            share = at_a / (at_b - at_a) * at_c / (at_b - at_c)
            steep = (c - a) / (b - a)
            share += steep * at_a / (at_c - at_a) * at_b / (at_c - at_b)
        share = min(max(share, least), 1.0 - least)
    return best


def bisected(
    holds: Callable[[FloatArray], ArrayLike],
    inside: ArrayLike,
    outside: ArrayLike,
    times: int,
) -> tuple[FloatArray, FloatArray]:
    """Halve the ways from places where something holds to ones where it does not.

    `holds` says of places, all at once, where it does. Returns both ends of what is
    left of each way.

    Examples
    --------
    >>> kept, lost = bisected(lambda x: x * x < 2.0, 1.0, 2.0, 50)
    >>> round(float(kept), 9)
    1.414213562
    """
    kept, lost = np.asarray(inside, dtype=float), np.asarray(outside, dtype=float)
    for _ in range(times):
        middle = 0.5 * (kept + lost)
        fine = holds(middle)
        kept, lost = np.where(fine, middle, kept), np.where(fine, lost, middle)
    return kept, lost


def quantile_of_normals(
    weights: FloatArray, mean: FloatArray, sd: FloatArray, share: float
) -> float:
    """Return the quantile of a weighted sum of normals.

    Parameters
    ----------
    weights, mean, sd : ndarray, shape (points,)
    share : float
        Below it.
    """

    def over(value: float) -> float:
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (value - mean) / sd
        return float(weights @ np.where(np.isnan(z), 0.5, ndtr(z))) - share

    low = float((mean - 10.0 * sd).min()) - 1e-12
    high = float((mean + 10.0 * sd).max()) + 1e-12
    return root(over, low, high, within=1e-15 * max(abs(low), abs(high)))


def maximum(
    function: Callable[[float], float], low: float, high: float, *, within: float
) -> float:
    """Return where a function of one hump is largest.

    Parabolas through the best three places, else the golden section: R. P. Brent,
    Algorithms for Minimization without Derivatives (1973), ch. 5 (from memory).

    Parameters
    ----------
    within : float
        Largest distance from the place; below the root of the function's own precision
        it means nothing.

    Examples
    --------
    >>> round(maximum(math.sin, 0.0, 3.0, within=1e-7), 6)
    1.570796
    """
    best = second = third = low + _GOLDEN * (high - low)
    at_best = at_second = at_third = function(best)
    step = last = 0.0
    for _ in range(_MOST):
        middle = 0.5 * (low + high)
        if abs(best - middle) <= 2.0 * within - 0.5 * (high - low):
            break
        near = (best - second) * (at_best - at_third)
        far = (best - third) * (at_best - at_second)
        down = 2.0 * (far - near)
        up = (best - third) * far - (best - second) * near
        before, last = last, step
        step = -up / down if down else math.inf
        inside = low + 2.0 * within < best + step < high - 2.0 * within
        if not (abs(step) < 0.5 * abs(before) and inside):
            last = (low if best >= middle else high) - best
            step = _GOLDEN * last
        x = best + math.copysign(max(abs(step), within), step)
        at_x = function(x)
        if at_x >= at_best:
            low, high = (best, high) if x >= best else (low, best)
            third, second, best = second, best, x
            at_third, at_second, at_best = at_second, at_best, at_x
            continue
        low, high = (low, x) if x >= best else (x, high)
        if at_x >= at_second or second == best:
            third, second, at_third, at_second = second, x, at_second, at_x
        elif at_x >= at_third or third in (best, second):
            third, at_third = x, at_x
    return best


# ----------------------------------------------------------------------------
# Least squares of few unknowns; scipy.optimize has it too, and loads as long.

#: Steps that are tried; the step, of the size of the unknowns, that ends them, and so
#: many in a row that take so small a share off the sum.
_TRIED, _SMALL = 200, 1e-9
_IDLE, _IDLE_STEPS = 1e-7, 5


def least_squares(
    misfits: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    start: FloatArray,
) -> FloatArray | None:
    """Return where the sum of squared misfits is least; None if that is not found.

    Damped steps of Gauss and Newton: D. W. Marquardt, J. SIAM 11 (1963) 431, damped
    alike along all unknowns (from memory).

    Parameters
    ----------
    misfits : callable
        Of unknowns (n,), returns (m,).
    slopes : callable
        Returns the derivatives of the misfits, (m, n).
    start : ndarray, shape (n,)

    Examples
    --------
    >>> data = np.array([1.0, 2.0, 4.0])
    >>> def off(a):
    ...     return a[0] * 2.0 ** np.arange(3) - data
    >>> found = least_squares(off, lambda a: 2.0 ** np.arange(3)[:, None], np.ones(1))
    >>> round(float(found[0]), 9)
    1.0
    """
    at = np.asarray(start, dtype=float)
    off, damping, idle = misfits(at), 1e-3, 0
    for _ in range(_TRIED):
        slope = slopes(at)
        curvature, downhill = slope.T @ slope, slope.T @ off
        size = float(np.diag(curvature).max()) + 1e-300
        while True:
            held = curvature + damping * size * np.eye(len(at))
            step = -np.linalg.solve(held, downhill)
            if np.abs(step).max() <= _SMALL * (1.0 + np.abs(at).max()):
                return at + step
            new = misfits(at + step)
            if new @ new <= off @ off:
                break
            damping *= 10.0
        idle = idle + 1 if off @ off - new @ new <= _IDLE * (off @ off) else 0
        at, off, damping = at + step, new, max(0.1 * damping, 1e-14)
        if idle == _IDLE_STEPS:  # along a kink it only crawls
            return at
    return None


#: A column enters where the sum falls by more than this share of its own size.
_ENTERS = 1e-13


def nonnegative_least_squares(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """Return the x of 0 or more with the least sum of squares of matrix @ x - right.

    An active set: C. L. Lawson & R. J. Hanson, *Solving Least Squares Problems*, ch. 23
    (from memory).

    Parameters
    ----------
    matrix : ndarray, shape (m, n)
    right : ndarray, shape (m,)

    Returns
    -------
    ndarray, shape (n,)

    Examples
    --------
    >>> sides = np.array([[1.0, 1.0], [0.0, 1.0]])
    >>> nonnegative_least_squares(sides, np.array([2.0, -1.0])).tolist()
    [2.0, 0.0]
    """
    count = matrix.shape[1]
    x, free, least = np.zeros(count), np.zeros(count, dtype=bool), np.zeros(count)
    least[:] = _ENTERS * np.abs(matrix).sum(axis=0) * np.abs(right).max(initial=0.0)
    for _ in range(3 * count):
        better = matrix.T @ (right - matrix @ x) - least
        better[free] = 0.0
        if not (better > 0.0).any():
            break
        enters = int(better.argmax())
        free[enters] = True
        while True:
            own = np.flatnonzero(free)
            goal, held = np.linalg.lstsq(matrix[:, own], right)[0], x[own]
            if (out := goal <= 0.0).any():
                share = (held[out] / (held[out] - goal[out])).min()
                goal = held + share * (goal - held)
                goal[out & (goal <= 1e-15 * held.max())] = 0.0
            x[own], free[own] = goal, goal > 0.0
            if not out.any():
                break
        if not free[enters]:
            least[enters] = np.inf  # rounding called it better
    return x


# ----------------------------------------------------------------------------
# A linear program of a few conditions; loading scipy.optimize for it takes as long as a
# tenth of a map.

#: Most exchanges of the basis; from so many on the first candidate enters.
_EXCHANGES, _STUCK = 500, 50


def linear_program(
    cost: FloatArray, matrix: FloatArray, right: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Return amounts of least cost, matrix @ x = right, x >= 0, and their prices.

    The simplex method (G. B. Dantzig, *Linear Programming and Extensions*, ch. 5 and 9,
    from memory) from artificial variables too dear to stay; none if they cannot leave.

    Parameters
    ----------
    cost : ndarray, shape (n,)
    matrix : ndarray, shape (m, n)
    right : ndarray, shape (m,)
        0 or more.

    Examples
    --------
    >>> x, prices = linear_program(
    ...     np.array([1.0, 3.0]), np.array([[1.0, 2.0]]), np.array([4.0])
    ... )
    >>> x.tolist(), prices.tolist()
    ([4.0, 0.0], [1.0])
    """
    m, n = matrix.shape
    dear = 1e4 * (1.0 + float(np.abs(cost).max()))
    full = np.hstack([matrix, np.eye(m)])
    costs = np.append(cost, np.full(m, dear))
    basis = np.arange(n, n + m)
    for step in range(_EXCHANGES):
        held = full[:, basis]
        amounts = np.maximum(np.linalg.solve(held, right), 0.0)
        prices = np.linalg.solve(held.T, costs[basis])
        gain = prices @ full - costs
        gain[basis] = 0.0
        better = gain > 1e-9 * (1.0 + np.abs(costs))
        if not better.any():
            break
        enters = int(gain.argmax() if step < _STUCK else better.argmax())
        takes = np.linalg.solve(held, full[:, enters])
        takes = np.where(takes > 1e-11, takes, np.nan)
        if np.isnan(takes).all():
            return None
        ratio = amounts / takes
        ties = np.flatnonzero(ratio <= np.nanmin(ratio) * (1.0 + 1e-12))
        basis[ties[basis[ties].argmax()]] = enters
    else:
        return None
    x = np.zeros(n + m)
    x[basis] = amounts
    if x[n:].max() > 1e-9 * (1.0 + right.max()):
        return None
    return x[:n], np.asarray(prices)
