"""Covariances of burn rates at given widths, and what the data say of the widths."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from castsugar import draw_set
from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import Places, Rows
from castsugar.motor.scatter import MOST_BATCH, Scatter
from castsugar.special import gammaincinv, ndtri

# ----------------------------------------------------------------------------
# Covariances at given widths.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Widths:
    """Standard deviations of ln r, (points,) each; `length` is of mass moved.

    `bench`, between benches, is None where all rows are of the user's.
    """

    batch: FloatArray
    surface: FloatArray
    length: FloatArray
    session: FloatArray
    bend: FloatArray
    slope: FloatArray
    strand: FloatArray
    bench: FloatArray | None = None

    def take(self, part: Any) -> Widths:
        """Return some of the points."""
        names = NAMES if self.bench is None else WITH_BENCH
        return Widths(**{n: getattr(self, n)[part] for n in names})

    @property
    def between(self) -> FloatArray:
        """Return the scatter between batches as it is used, (points,)."""
        return np.minimum(self.batch, MOST_BATCH)


NAMES: Final = (*scatter.LOG_SPREADS, "strand")

#: The same where some rows are of other benches.
WITH_BENCH: Final = (*scatter.LOG_SPREADS, "bench", "strand")


def matern(a: FloatArray) -> FloatArray:
    """Return the Matern covariance of order 5/2 at a = sqrt(5) distance / length."""
    return np.asarray((1.0 + a + a * a / 3.0) * np.exp(-a))


def moved_between(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the squared mass moved between compositions, (n, m): half of |a - b|^2."""
    square = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1) - 2.0 * a @ b.T
    return np.asarray(0.5 * np.maximum(square, 0.0))


def offsets(components: Sequence[str], fractions: FloatArray) -> FloatArray:
    """Return compositions less the centre mix, (n, k)."""
    centre = [scatter.CENTRE_MIX.get(name, 0.0) for name in components]
    return np.asarray(fractions - np.array(centre))


def covariance(
    components: Sequence[str], one: Places, other: Places, known: Scatter, at: Widths
) -> FloatArray:
    """Return the covariance of ln r between places, without the noise of a row.

    Returns
    -------
    ndarray, shape (points, n, m)
    """
    moved = moved_between(one.fractions, other.fractions)
    d, e = (offsets(components, p.fractions) for p in (one, other))
    dot, lever = 0.5 * d @ e.T, np.outer(one.x, other.x)
    aside = np.abs(one.x[:, None] - other.x)
    bend = matern(math.sqrt(5.0) * aside / scatter.BEND_LENGTH)
    bend = bend * np.exp(-moved / (2.0 * scatter.BEND_MIX**2))
    shared = one.batch[:, None] == other.batch
    shared &= (one.batch >= 0)[:, None]
    like = (one.process[:, None] == other.process) & (one.process >= 0)[:, None]
    motors = np.outer(one.motor, other.motor)
    straight = (
        scatter.LEVEL[1] ** 2
        + lever * (scatter.EXPONENT[1] ** 2 + scatter.EXPONENT_SLOPE**2 * dot)
        + motors * known.strands_to_motor_u**2
        + shared * lever * scatter.EXPONENT_BATCH**2
        + scatter.DEGRADED**2 * np.outer(one.degraded, other.degraded)
    )
    # Rows of one composition are as near to all others: each distance once.
    apart, where = np.unique(moved, return_inverse=True)
    near = matern(np.sqrt(5.0 * apart) / at.length[:, None])
    near = near.take(where.reshape(moved.shape), axis=1)
    found = near * (
        at.surface[:, None, None] ** 2
        + lever * scatter.EXPONENT_SURFACE**2
        + like * known.process**2
    )
    found += at.slope[:, None, None] ** 2 * dot + at.bend[:, None, None] ** 2 * bend
    found += at.between[:, None, None] ** 2 * shared
    return np.asarray(found + straight)


def mean(
    components: Sequence[str], at: Places, known: Scatter, *, trend: bool = True
) -> FloatArray:
    """Return what is held of ln r before the data, (n,); with the signs of `trend`."""
    slopes = [trend * scatter.TREND.get(name, 0.0) for name in components]
    level = scatter.LEVEL[0] + offsets(components, at.fractions) @ np.array(slopes)
    level = level + scatter.EXPONENT[0] * at.x
    return np.asarray(level + at.motor * known.strands_to_motor)


def of_data(rows: Rows, known: Scatter, at: Widths) -> FloatArray:
    """Return the covariance of the rows, noise included, (points, m, m)."""
    found = covariance(rows.components, rows.places, rows.places, known, at)
    burned = rows.strands > 0.0
    own = np.where(burned, at.session[:, None] ** 2, 0.0)
    own = own + at.strand[:, None] ** 2 * np.where(
        burned, 1.0 / np.maximum(rows.strands, 1.0), 0.0
    )
    own = own + np.where(rows.places.motor, known.firing**2, 0.0)
    diagonal = np.arange(len(rows.log_rate))
    found[:, diagonal, diagonal] += own
    if rows.elsewhere is not None:
        apart = np.minimum(np.asarray(at.bench), scatter.MOST_BENCH)
        found += apart[:, None, None] ** 2 * rows.elsewhere
    return found + rows.fixed


# ----------------------------------------------------------------------------
# The widths: 512 weighted points, drawn anew around where the data put them.

POINTS, SEED = 512, 7

#: The points are drawn anew until their effective number is as large, so many times.
#: With 60 a p95 lay up to 2.4 % from that of 4,096 points, with 200 up to 0.7 %.
ENOUGH, _ROUNDS = 200.0, 5

#: An effective number that the weights are tempered to before a normal is fitted.
_TEMPERED = 30.0

#: Points taken together: more do not fit into the processor's nearest memory.
_AT_ONCE = 64

#: Points that hold so little weight together move no chance that is told.
_NOTHING = 1e-6


def _held(known: Scatter, rows: Rows) -> tuple[FloatArray, FloatArray]:
    """Return medians of ln of the widths but the last, and their spreads."""
    medians = [getattr(known, name) for name in scatter.LOG_SPREADS]
    spreads = list(scatter.LOG_SPREADS.values())
    if rows.elsewhere is not None:
        medians.append(scatter.BENCH)
        spreads.append(scatter.BENCH_SPREAD)
    return np.log(medians), np.array(spreads)


def _first(known: Scatter, rows: Rows) -> FloatArray:
    """Return ln of the widths at the points of their prior, (points, 7 or 8).

    The scatter of strands already knows the squares within rows: exact.
    """
    medians, spreads = _held(known, rows)
    chances = draw_set.block(len(medians) + 1, 0, POINTS, SEED)
    others = medians + spreads * ndtri(chances[:, :-1])
    freedom, squares = _strands(known, rows)
    chi2 = 2.0 * gammaincinv(0.5 * freedom, chances[:, -1])
    return np.column_stack([others, 0.5 * np.log(squares / chi2)])


def _strands(known: Scatter, rows: Rows) -> tuple[float, float]:
    """Return freedom and squares behind the scatter of strands.

    The prior is scaled so that its median is the stated width: the median of chi-square
    with 4 degrees of freedom is 3.357.
    """
    nu = scatter.STRAND_FREEDOM
    return nu + rows.freedom, 3.3566939800333213 * known.strand**2 + rows.squares


def _log_prior(known: Scatter, rows: Rows, theta: FloatArray) -> FloatArray:
    """Return the log density of the prior, but for a constant, (points,)."""
    medians, spreads = _held(known, rows)
    z = (theta[:, :-1] - medians) / spreads
    freedom, squares = _strands(known, rows)
    chi2 = squares * np.exp(-2.0 * theta[:, -1])
    tail = 0.5 * freedom * np.log(chi2) - 0.5 * chi2
    return np.asarray(tail - 0.5 * (z**2).sum(axis=1))


def widths_at(theta: FloatArray) -> Widths:
    """Return widths of their logarithms, (points, 7) in the order of :data:`NAMES`.

    Of 8 in that of :data:`WITH_BENCH`.
    """
    names = NAMES if theta.shape[1] == len(NAMES) else WITH_BENCH
    return Widths(**dict(zip(names, np.exp(theta).T, strict=True)))


def _log_likelihood(rows: Rows, known: Scatter, theta: FloatArray) -> FloatArray:
    """Return the log likelihood of the rows at every point, (points,)."""
    if not len(rows.log_rate):
        return np.zeros(len(theta))
    off = rows.log_rate - mean(rows.components, rows.places, known)
    found = np.empty(len(theta))
    for start in range(0, len(theta), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        lower = np.asarray(
            np.linalg.cholesky(of_data(rows, known, widths_at(theta[part])))
        )
        z = _forward(lower, off)
        size = np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1)
        found[part] = -0.5 * (z**2).sum(axis=1) - size
    return found


def _forward(lower: FloatArray, right: FloatArray) -> FloatArray:
    """Solve lower triangular systems, (points, m, m) and (m,), one for each point."""
    z = np.zeros(lower.shape[:2])
    for i, value in enumerate(right):
        known = np.einsum("hj,hj->h", lower[:, i, :i], z[:, :i])
        z[:, i] = (value - known) / lower[:, i, i]
    return z


def _weights(log_weight: FloatArray) -> FloatArray:
    found = np.exp(log_weight - log_weight.max())
    return np.asarray(found / found.sum())


def effective(weights: FloatArray) -> float:
    """Return the effective number of weighted points."""
    return float(1.0 / (weights**2).sum())


def _tempered(log_weight: FloatArray) -> FloatArray:
    """Return weights to the largest power with an effective number that is enough."""
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if effective(_weights(middle * log_weight)) >= _TEMPERED:
            low = middle
        else:
            high = middle
    return _weights(low * log_weight)


def _next(
    theta: FloatArray, log_weight: FloatArray, number: int
) -> tuple[FloatArray, FloatArray]:
    """Return new points around the weighted ones, and the log density of each."""
    w = _tempered(log_weight)
    middle = w @ theta
    spread = 1.3**2 * ((theta - middle).T * w) @ (theta - middle)
    floor = np.full(len(middle), 0.15**2)
    floor[-1] = 0.03**2
    lower = np.linalg.cholesky(spread + np.diag(floor))
    z = ndtri(draw_set.block(len(middle), number * POINTS, POINTS, SEED))
    density = -0.5 * (z**2).sum(axis=1) - np.log(np.diag(lower)).sum()
    return middle + z @ lower.T, density


def learnt(rows: Rows, known: Scatter) -> tuple[FloatArray, FloatArray]:
    """Return points of ln widths and their weights."""
    theta = _first(known, rows)
    log_weight = _log_likelihood(rows, known, theta)
    for number in range(1, _ROUNDS + 1):
        if effective(_weights(log_weight)) >= ENOUGH:
            break
        theta, density = _next(theta, log_weight, number)
        log_weight = _log_likelihood(rows, known, theta) - density
        log_weight += _log_prior(known, rows, theta)
    weights = _weights(log_weight)
    order = np.argsort(weights)
    kept = np.ones(len(weights), dtype=bool)
    kept[order[np.cumsum(weights[order]) < _NOTHING]] = False
    return theta[kept], weights[kept] / weights[kept].sum()
