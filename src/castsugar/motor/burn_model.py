r"""One model of burn rates: trend, surface over mixes, batches, sessions, firings.

.. math::
    \ln r = m_0 + s \cdot d + g(w) + x (n_0 + t \cdot d + h(w)) + q(x, w)
        + B_b + x N_b, \quad x = \ln(p / 2.5\,MPa), \quad d = w - c

plus the scatter of session and strand, or, in a motor, the step from strands to motors
and the scatter of firings. Straight trends with normal slopes, Gaussian processes for
g, h and q, random effects for batches: everything is linear and normal at given widths,
and the widths are 512 weighted points. (C. E. Rasmussen & C. K. I. Williams, *Gaussian
Processes for Machine Learning* (2006), ch. 2; A. Gelman et al., *Bayesian Data
Analysis*, ch. 5; J. A. Cornell, *Experiments with Mixtures*, ch. 2. From memory.)
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.checks import instance
from castsugar.frozen import dataclass
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import (
    FIRING,
    Burned,
    Places,
    places_of,
    rows_of,
)
from castsugar.motor.burn_widths import (
    Widths,
    covariance,
    learnt,
    matern,
    mean,
    moved_between,
    of_data,
    offsets,
    widths_at,
)
from castsugar.motor.scatter import CENTRE, PROCESSES, Scatter
from castsugar.numerics import quantile_of_normals

#: Points taken together: more do not fit into the processor's nearest memory.
_AT_ONCE = 64

#: Numbers of a likeness taken together, for the same reason.
_NUMBERS = 300_000

#: Points of a thin model.
_THIN = 16

#: The same where each takes a covariance of hundreds of places.
_FEW = 4

# ----------------------------------------------------------------------------
# What is asked of the model.

#: A grain of a batch that is not cooked yet; ``mix`` is the recipe without its batch.
NEXT, MIX = "next batch", "mix"

#: A mix is that of a batch if no more of its mass differs: a scale in steps of 0.1 g
#: rounds 200 g by half as much. Only words and the question whose batch it is hang on
#: it, no number of the next batch.
SAME = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a rate is asked for.

    Attributes
    ----------
    of : str
        :data:`NEXT`, :data:`MIX`, or the name of a batch.
    motor : bool
        A grain in a motor, with its scatter from firing to firing, unless it is the
        mix that is asked for; else strands.
    process : str
        Empty: what the model takes where none is stated.

    Examples
    --------
    >>> Asked(motor=False).of == NEXT  # strands of the next batch
    True
    """

    of: str = NEXT
    motor: bool = True
    process: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rates:
    """ln r of mixes at one pressure, as a sum of normals."""

    weights: FloatArray  # (points,)
    means: FloatArray  # (points, mixes)
    variances: FloatArray  # (points, mixes)

    @property
    def mean(self) -> FloatArray:
        """Return the mean of ln r, (mixes,)."""
        return np.asarray(self.weights @ self.means)

    @property
    def u(self) -> FloatArray:
        """Return the standard uncertainty of ln r, (mixes,)."""
        off = (self.means - self.mean) ** 2
        return np.asarray(np.sqrt(self.weights @ (self.variances + off)))

    def band(self, mix: int = 0, share: float = 0.95) -> tuple[float, float]:
        """Return the central interval of ln r of a mix."""
        mean, sd = self.means[:, mix], np.sqrt(self.variances[:, mix])
        low, high = (
            quantile_of_normals(self.weights, mean, sd, 0.5 * (1.0 + sign * share))
            for sign in (-1.0, 1.0)
        )
        return low, high


@dataclass(frozen=True, slots=True, eq=False)
class _Node:
    """The posterior at one pressure: ln r = prior + phi a, variance less phi G phi."""

    # Of the features that differ from point to point a and G, (points, 1 + u, u);
    near: FloatArray
    # of those that do not a and twice G with the others, ((1 + u) points, rest),
    rest: FloatArray
    # and the prior variance less G, of every two, once, and the distance from the
    # centre, (points, pairs + 1).
    of_rest: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixRates:
    """ln r of mixes at any pressure: what of it no pressure changes."""

    model: BurnModel
    asked: Asked
    before: FloatArray  # what is held of ln r at 2.5 MPa before the data, (mixes,)
    #: Likeness to every mix that burned, by the length of the point, (points, u,
    #: mixes).
    near: FloatArray
    #: What is the same at all points, and the products of every two, once; the last is
    #: half the squared distance from the centre mix.
    rest: FloatArray  # (features - u, mixes)
    square: FloatArray  # (its pairs + 1, mixes)

    @property
    def weights(self) -> FloatArray:
        """Return the weights of the points, (points,)."""
        return self.model.weights

    def share_as_steep(self, exponent: float, x: FloatArray) -> float:
        """Return :meth:`BurnModel.share_as_steep` of what is asked."""
        return self.model.share_as_steep(exponent, x, self.asked)

    def at(
        self, x: float, own: NDArray[np.intp] | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Return means and variances at x = ln(p / 2.5 MPa), (points, mixes) each.

        `own` takes some of the mixes.
        """
        own = np.arange(len(self.before)) if own is None else own
        return self.model.posterior(self, x, own)


#: What a burn model works out when it is asked.
_MADE_AGAIN = ("thin", "_inverse", "_groups", "_nodes", "_steep")


class BurnModel:
    """The posterior of burn rates.

    Parameters
    ----------
    evidence : sequence of Burned
        What was burned; none: what is held beforehand.
    known : Scatter, optional
        What is known of the scatter between batches.
    widths : Widths, optional
        Held, with even weights: for studies.
    process : str
        What is meant where none is stated; by default that of most rows.

    Attributes
    ----------
    rows : Rows
        Of the evidence, a row a strand.
    weights : ndarray, shape (points,)
        Of the points of `widths`, which then holds those that count; sum 1. [-]

    Raises
    ------
    InputError
        For what is no entry, such as a law: state its rates as a Burned.

    Examples
    --------
    >>> import numpy as np
    >>> burned = Burned(
    ...     name="invented",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     pressure=np.array([1e6, 2e6, 4e6]),
    ...     rate=np.array([8.0e-3, 9.5e-3, 11.0e-3]),
    ... )
    >>> model = BurnModel([burned])
    >>> model.weights.shape, round(float(model.weights.sum()), 9)
    ((512,), 1.0)
    """

    def __init__(
        self,
        evidence: Sequence[Burned] = (),
        known: Scatter | None = None,
        widths: Widths | None = None,
        process: str = "",
    ) -> None:
        listed = evidence if isinstance(evidence, Iterable) else (evidence,)
        self.evidence, self.scatter = tuple(listed), known or Scatter()
        for one in self.evidence:
            instance(one, Burned, "what was burned", optional=False)
        self.rows = rows_of(self.evidence)
        self.process = process or PROCESSES[self.rows.usual]
        if widths is None:
            theta, self.weights = learnt(self.rows, self.scatter)
            self.widths = widths_at(theta)
        else:
            self.widths = widths
            self.weights = np.full(len(widths.batch), 1.0 / len(widths.batch))
        self._nodes: dict[tuple[float, Asked], _Node] = {}
        self._steep: dict[Asked, float] = {}

    def __getstate__(self) -> dict[str, Any]:
        """Leave behind what a worker makes again for itself: many megabytes."""
        made: dict[str, Any] = {"_nodes": {}, "_steep": {}}
        kept = {k: v for k, v in vars(self).items() if k not in _MADE_AGAIN}
        return kept | made

    def __repr__(self) -> str:
        return (
            f"BurnModel({len(self.evidence)} entries, {len(self.rows.log_rate)} rows)"
        )

    @property
    def invented(self) -> tuple[str, ...]:
        """Return what of the evidence nobody measured."""
        named = (name for one in self.evidence for name in one.invented)
        return tuple(dict.fromkeys(named))

    @functools.cached_property
    def _inverse(self) -> tuple[FloatArray, FloatArray]:
        """Return the inverse covariance of the rows, and what it makes of them."""
        rows = self.rows
        size = len(rows.log_rate)
        inverse = np.empty((len(self.weights), size, size))
        for start in range(0, len(self.weights), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            some = of_data(rows, self.scatter, self.widths.take(part))
            inverse[part] = np.linalg.inv(some)
        off = rows.log_rate - mean(rows.components, rows.places, self.scatter)
        return inverse, inverse @ off

    def rates(
        self,
        fractions: ArrayLike,
        components: Sequence[str],
        pressure: float,
        asked: Asked | None = None,
        degraded: ArrayLike = 0.0,
    ) -> Rates:
        """Return ln r of many mixes at one pressure.

        Parameters
        ----------
        fractions : array_like, shape (mixes, c)
            Mass fractions as weighed.
        components : sequence of str, length c
            Catalogue names.
        pressure : float
            Absolute. [Pa]
        asked : Asked, optional
        degraded : array_like, shape (mixes,)
            Degraded share of the sugar. [-]
        """
        asked = asked or Asked()
        size, points = len(np.atleast_2d(fractions)), len(self.weights)
        w = np.atleast_2d(np.asarray(fractions, dtype=float))
        gone = np.broadcast_to(np.asarray(degraded, dtype=float), size)
        means, variances = np.empty((points, size)), np.empty((points, size))
        many, x = max(1, 40_000 // max(1, points)), math.log(pressure / CENTRE)
        for start in range(0, size, many):
            part = slice(start, start + many)
            some = self.of_mixes(w[part], components, asked, gone[part])
            means[:, part], variances[:, part] = some.at(x)
        return Rates(weights=self.weights, means=means, variances=variances)

    def of_mixes(
        self,
        fractions: FloatArray,
        components: Sequence[str],
        asked: Asked | None = None,
        degraded: ArrayLike = 0.0,
    ) -> MixRates:
        """Return what ln r of mixes needs at any pressure; as for :meth:`rates`."""
        asked = asked or Asked()
        w, foreign = self.rows.aligned(fractions, components)
        centre = places_of(w, 0.0, motor=asked.motor)
        gone = np.broadcast_to(np.asarray(degraded, dtype=float), len(w))
        off = offsets(self.rows.components, w)
        moved = moved_between(w, self._mixes) + 0.5 * foreign[:, None]
        fixed = np.column_stack(
            [np.exp(-moved / (2.0 * scatter.BEND_MIX**2)), np.ones(len(w)), off, gone]
        )
        near = np.sqrt(5.0 * moved).T / self.widths.length[:, None, None]
        apart = 0.5 * ((off**2).sum(axis=1) + foreign)
        one, other = np.triu_indices(fixed.shape[1])
        return MixRates(
            model=self,
            asked=asked,
            before=mean(self.rows.components, centre, self.scatter),
            near=matern(near),
            rest=fixed.T,
            square=np.vstack([fixed.T[one] * fixed.T[other], apart]),
        )

    def posterior(
        self, mixes: MixRates, x: float, own: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray]:
        """Return means and variances at a pressure; see :meth:`MixRates.at`."""
        node = self._node(x, mixes.asked)
        near, rest = mixes.near.take(own, axis=2), mixes.rest[:, own]
        found = (node.rest @ rest).reshape(len(near), near.shape[1] + 1, len(own))
        found += node.near @ near
        variances = node.of_rest @ mixes.square[:, own]
        variances -= np.einsum("hum,hum->hm", near, found[:, 1:])
        means = mixes.before[own] + scatter.EXPONENT[0] * x + found[:, 0]
        return means, np.maximum(variances, 1e-12, out=variances)

    def share_as_steep(self, exponent: float, x: FloatArray, asked: Asked) -> float:
        """Return the chance that a law of what burned is as steep somewhere. [-]

        Between neighbours of `x`, ln(p / 2.5 MPa); the first answer is kept.
        """
        if asked not in self._steep:
            burned = self.of_mixes(self._mixes, self.rows.components, asked)
            means = [self._means(burned, a) for a in x.tolist()]
            steep = np.diff(means, axis=0) > exponent * np.diff(x)[:, None, None]
            chance = self.weights @ steep.any(axis=0)
            self._steep[asked] = float(chance.max(initial=0.0))
        return self._steep[asked]

    def _means(self, mixes: MixRates, x: float) -> FloatArray:
        """Return the means at a pressure alone, (points, mixes)."""
        parts = self._parts(x, mixes.asked)
        level = np.concatenate([self._level(part, b) for part, b in parts])
        u = mixes.near.shape[1]
        found = (level[:, None, :u] @ mixes.near)[:, 0] + level[:, u:] @ mixes.rest
        return np.asarray(mixes.before + scatter.EXPONENT[0] * x + found)

    def joint(
        self, places: Places, components: Sequence[str] = (), *, trend: bool = True
    ) -> tuple[FloatArray, FloatArray]:
        """Return mean and covariance of ln r of few places together, by points.

        Parameters
        ----------
        places : Places
            Batches by number, new ones beyond.
        components : sequence of str
            What their fractions are of: those of `rows`, then foreign ones. By default
            those of `rows`.
        trend : bool
            Whether the signs held beforehand (syrup slows) count.

        Returns
        -------
        means : ndarray, shape (points, n)
        covariances : ndarray, shape (points, n, n)
        """
        of = tuple(components) or self.rows.components
        rows = self.rows.widened(of)
        prior = mean(of, places, self.scatter, trend=trend)
        own = covariance(of, places, places, self.scatter, self.widths)
        if not len(rows):
            return np.broadcast_to(prior, (len(self.weights), len(prior))), own
        cross = covariance(of, places, rows, self.scatter, self.widths)
        inverse, weighted = self._inverse
        if not trend:
            off = self.rows.log_rate - mean(of, rows, self.scatter, trend=False)
            weighted = inverse @ off
        means = prior + np.einsum("hnm,hm->hn", cross, weighted)
        return means, own - cross @ inverse @ np.swapaxes(cross, 1, 2)

    def apart(
        self, pair: Places, components: Sequence[str] = (), *, trend: bool = True
    ) -> tuple[FloatArray, FloatArray]:
        """Return mean and variance of how far two places lie apart, (points,) each.

        Parameters
        ----------
        pair, components, trend
            As for :meth:`joint`.
        """
        means, joint = self.joint(pair, components, trend=trend)
        variance = joint[:, 0, 0] + joint[:, 1, 1] - 2.0 * joint[:, 0, 1]
        return means[:, 0] - means[:, 1], np.maximum(variance, 0.0)

    def mixed(self, means: FloatArray, variances: FloatArray) -> tuple[float, float]:
        """Return mean and standard uncertainty of a sum of normals, (points,) each."""
        middle = float(self.weights @ means)
        square = float(self.weights @ (variances + (means - middle) ** 2))
        return middle, math.sqrt(square)

    def level_of(self, own: BoolArray) -> tuple[float, float]:
        r"""Return by how much some rows lie above all else, ln, and its u.

        With K the covariance of the rows and y what they are off, the generalised mean
        of a group g less what the others lead to expect is

        .. math:: 1^T (K^{-1} y)_g / 1^T (K^{-1})_{gg} 1

        with one over the denominator for its variance: partitioned inverse.

        Parameters
        ----------
        own : ndarray of bool, shape (rows,)
        """
        inverse, weighted = self._inverse
        precision = inverse[:, own][:, :, own].sum(axis=(1, 2))
        levels = weighted[:, own].sum(axis=1) / precision
        return self.mixed(levels, 1.0 / precision)

    def even_widths(self, count: int) -> Widths:
        """Return so many points of even weight, by systematic resampling.

        Along the scatter between batches: for ranking many mixes, not for what is told.
        """
        order = np.argsort(self.widths.batch, kind="stable")
        reached = np.cumsum(self.weights[order])
        place = np.searchsorted(reached, (np.arange(count) + 0.5) / count)
        return self.widths.take(order[np.minimum(place, len(order) - 1)])

    @functools.cached_property
    def thin(self) -> BurnModel:
        """Return the same at few points of even weight: it tells where to begin."""
        few = self.even_widths(_THIN)
        return BurnModel(self.evidence, self.scatter, few, self.process)

    def as_one_normal(
        self, places: Places, components: Sequence[str], at: Widths
    ) -> tuple[FloatArray, FloatArray]:
        """Return mean and covariance of ln r of places, points of even weight matched.

        Parameters
        ----------
        places, components
            As for :meth:`joint`.
        at : Widths
            As of :meth:`even_widths`.

        Returns
        -------
        mean : ndarray, shape (n,)
        covariance : ndarray, shape (n, n)
        """
        n, points = len(places), len(at.batch)
        mean, square = np.zeros(n), np.zeros((n, n))
        for start in range(0, points, _FEW):
            part = at.take(slice(start, start + _FEW))
            held = BurnModel(self.evidence, self.scatter, part)
            means, covariances = held.joint(places, components)
            mean += means.sum(axis=0) / points
            square += (covariances.sum(axis=0) + means.T @ means) / points
        return mean, square - np.outer(mean, mean)

    # ------------------------------------------------------------------------
    # One pressure for many mixes: covariances with the rows are few features.

    @functools.cached_property
    def _groups(self) -> tuple[FloatArray, NDArray[np.intp]]:
        w = self.rows.places.fractions
        if not len(w):
            return w, np.zeros(0, dtype=int)
        found, of = np.unique(w, axis=0, return_inverse=True)
        return found, of.reshape(-1)

    @property
    def _mixes(self) -> FloatArray:
        """Return the compositions that were burned, each once, (u, k)."""
        return self._groups[0]

    def process_number(self, process: str) -> int:
        """Return the number of a process; -1 for that of most rows."""
        number = PROCESSES.index(process or self.process)
        return -1 if number == self.rows.usual else number

    def _spread(self, x: float, asked: Asked) -> FloatArray:
        """Return the prior variance that all mixes share, (points, 1)."""
        at, known = self.widths, self.scatter
        found = scatter.LEVEL[1] ** 2 + at.surface**2 + at.bend**2
        found = found + x**2 * (scatter.EXPONENT[1] ** 2 + scatter.EXPONENT_SURFACE**2)
        if asked.motor:
            found = found + known.strands_to_motor_u**2
        if self.process_number(asked.process) >= 0:
            found = found + known.process**2
        if asked.of == MIX:
            return np.asarray(found)[:, None]
        found = found + at.between**2 + (x * scatter.EXPONENT_BATCH) ** 2
        found = found + (known.firing**2 if asked.motor else 0.0)
        return np.asarray(found)[:, None]

    def _node(self, x: float, asked: Asked) -> _Node:
        key = (round(x, 12), asked)
        if key not in self._nodes:
            self._nodes[key] = self._made(x, asked)
        return self._nodes[key]

    def _parts(self, x: float, asked: Asked) -> Iterator[tuple[slice, FloatArray]]:
        """Yield points that are taken together, and their :meth:`_likeness`."""
        features = 2 * len(self._mixes) + len(self.rows.components) + 2
        count = max(1, _NUMBERS // max(1, features * len(self.rows.log_rate)))
        for start in range(0, len(self.weights), count):
            part = slice(start, start + count)
            yield part, self._likeness(x, asked, self.widths.take(part))

    def _likeness(self, x: float, asked: Asked, at: Widths) -> FloatArray:
        """Return the covariance of the rows with features of a mix at a pressure.

        They are its likeness to every mix that was burned (two kinds), one, its
        distance from the centre, its degraded share; (points, features, rows).
        """
        rows, known = self.rows.places, self.scatter
        mixes, of = self._groups
        u, k, m = len(mixes), len(self.rows.components), len(rows)
        b = np.zeros((len(at.batch), 2 * u + k + 2, m))
        lever, each = x * rows.x, np.arange(m)
        process = self.process_number(asked.process)
        like = known.process**2 * ((rows.process == process) & (process >= 0))
        b[:, of, each] = at.surface[:, None] ** 2 + (
            lever * scatter.EXPONENT_SURFACE**2 + like
        )
        bend = matern(math.sqrt(5.0) * np.abs(x - rows.x) / scatter.BEND_LENGTH)
        b[:, u + of, each] = at.bend[:, None] ** 2 * bend
        one = scatter.LEVEL[1] ** 2 + lever * scatter.EXPONENT[1] ** 2
        if asked.motor:
            one = one + known.strands_to_motor_u**2 * rows.motor
        b[:, 2 * u] = one
        if asked.of not in (NEXT, MIX):
            number = self.rows.batches.index(asked.of)
            shared = rows.batch == number
            b[:, 2 * u] += shared * (
                at.between[:, None] ** 2 + lever * scatter.EXPONENT_BATCH**2
            )
        d = 0.5 * offsets(self.rows.components, rows.fractions).T
        b[:, 2 * u + 1 : 2 * u + 1 + k] = d * (
            at.slope[:, None, None] ** 2 + lever * scatter.EXPONENT_SLOPE**2
        )
        b[:, -1] = scatter.DEGRADED**2 * rows.degraded
        return b

    def _level(self, part: slice, b: FloatArray) -> FloatArray:
        """Return what the data make of each feature, (points, features)."""
        return np.asarray(np.einsum("hpm,hm->hp", b, self._inverse[1][part]))

    def _made(self, x: float, asked: Asked) -> _Node:
        """Return the posterior at a pressure, in features of a mix."""
        u, points = len(self._mixes), len(self.weights)
        i, j = np.triu_indices(u + len(self.rows.components) + 2)
        sign = np.where(i == j, -1.0, -2.0)
        near, rest = np.empty((points, 1 + u, u)), np.empty((points, 1 + u, i[-1] + 1))
        pairs = np.empty((points, len(i)))
        for part, b in self._parts(x, asked):
            level = self._level(part, b)
            gain = b @ self._inverse[0][part] @ np.swapaxes(b, 1, 2)
            near[part, 0], near[part, 1:] = level[:, :u], gain[:, :u, :u]
            rest[part, 0], rest[part, 1:] = level[:, u:], 2.0 * gain[:, :u, u:]
            pairs[part] = gain[:, u + i, u + j] * sign
        pairs[:, np.flatnonzero((i == u) & (j == u))] += self._spread(x, asked)
        pairs[:, -1] += scatter.DEGRADED**2
        apart = self.widths.slope**2 + (x * scatter.EXPONENT_SLOPE) ** 2
        return _Node(
            near=near,
            rest=rest.reshape(points * (1 + u), -1),
            of_rest=np.column_stack([pairs, apart]),
        )


def without_firings(model: BurnModel) -> BurnModel:
    """Return the model as it would be had nothing been fired."""
    kept = [one for one in model.evidence if one.kind != FIRING]
    if len(kept) == len(model.evidence):
        return model
    return BurnModel(kept, model.scatter, process=model.process)
