"""Which strands to measure next: what is known of the burn law, and optimal designs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.burn_law import (
    BORROWED_DOUBT,
    EXPONENT_DOUBT,
    REFERENCE_PRESSURE,
    Band,
    BurnLaw,
)
from castsugar.motor.burn_model import (
    MIXES_FOR_MODEL,
    BlendLaw,
    MeasuredMix,
    ScheffeModel,
    columns,
    scheffe_design,
    scheffe_fit,
)
from castsugar.numerics import variance

# ----------------------------------------------------------------------------
# Which rows of a linear model to measure next: D- and I-optimal, by exchange.
#
# A row x measured with variance v turns the covariance P of the coefficients into
#
# .. math:: P - \frac{P x x^T P}{v + x^T P x}
#
# D-optimal rows minimise ln det P, I-optimal ones the mean of x' P x over the rows that
# matter. Greedy start, then exchange: each chosen row in turn gives way to the best
# candidate until none gains (V. V. Fedorov, *Theory of Optimal Experiments* (1972); R.
# D. Cook & C. J. Nachtsheim, *Technometrics* 22 (1980) 315: the modified exchange; from
# memory). Prior covariance: K. Chaloner & I. Verdinelli, *Statistical Science* 10
# (1995) 273, from memory.

#: Criteria of a design.
CRITERIA = ("I", "D")

#: Random starts beside the greedy one.
_STARTS = 6

#: Most rounds of exchange.
_ROUNDS = 60

#: A gain that counts: of the criterion's size (I), of ln det (D).
_GAIN = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DesignProblem:
    """Rows to choose from and what is known before.

    Attributes
    ----------
    rows : ndarray, shape (n, p)
        Candidates.
    covariance : ndarray, shape (p, p)
        Of the coefficients before; positive definite.
    noise : float
        Variance of a measured row.
    moments : ndarray, shape (p, p)
        Mean of x x' over the rows that matter, for the criterion "I".
    criterion : str
        "I" or "D".

    Raises
    ------
    InputError
        For another criterion, no candidate, a variance of 0 or less.
    """

    rows: FloatArray
    covariance: FloatArray
    noise: float
    moments: FloatArray
    criterion: str = "I"

    def __post_init__(self) -> None:
        """Check it."""
        if self.criterion not in CRITERIA:
            raise InputError(
                f"criterion is {self.criterion!r}; allowed: I (least mean variance of "
                "the prediction) or D (least volume of the coefficients' doubt)"
            )
        if not len(self.rows):
            raise InputError("there is no candidate to choose from; give one or more")
        if not self.noise > 0.0:
            raise InputError(
                f"variance of a test is {self.noise:g}; it must be above 0"
            )

    @property
    def tolerance(self) -> float:
        """Return the gain that counts."""
        if self.criterion == "D":
            return _GAIN
        return _GAIN * float((self.covariance * self.moments).sum())

    def value(self, rows: FloatArray) -> float:
        """Return the criterion after rows (m, p) were measured; less is better."""
        return self._value(updated(self.covariance, rows, self.noise))

    def _value(self, covariance: FloatArray) -> float:
        if self.criterion == "D":
            return float(np.linalg.slogdet(covariance)[1])
        return float((covariance * self.moments).sum())

    def scores(self, measured: FloatArray, again: FloatArray | None) -> FloatArray:
        """Return the criterion after one candidate more, (n,), for each candidate.

        Parameters
        ----------
        measured : ndarray, shape (m, p)
            Rows measured beside it.
        again : ndarray, shape (r, p), optional
            One row more is measured: the best of these, or the candidate itself again.
        """
        base = updated(self.covariance, measured, self.noise)
        moved = self.rows @ base
        total = self.noise + (moved * self.rows).sum(axis=1)
        step = moved / np.sqrt(total)[:, None]
        after = base - step[:, :, None] * step[:, None, :]
        if self.criterion == "D":
            value = self._value(base) + np.log(self.noise / total)
        else:
            value = (after * self.moments).sum(axis=(1, 2))
        if again is None:
            return np.asarray(value)
        shape = (len(self.rows), *again.shape)
        options = np.concatenate(
            [np.broadcast_to(again, shape), self.rows[:, None]], axis=1
        )
        return np.asarray(value - self._gains(options, after).max(axis=1))

    def _gains(self, options: FloatArray, covariance: FloatArray) -> FloatArray:
        """Return what one row (..., r, p) lowers the criterion by."""
        moved = options @ covariance
        total = self.noise + (moved * options).sum(axis=-1)
        if self.criterion == "D":
            return np.asarray(np.log(total / self.noise))
        return np.asarray(((moved @ self.moments) * moved).sum(axis=-1) / total)

    def best_again(self, rows: FloatArray, options: FloatArray) -> int:
        """Return which of the options (r, p) to measure after rows (m, p)."""
        after = updated(self.covariance, rows, self.noise)
        return _first(-self._gains(options, after), self.tolerance)


def updated(
    covariance: FloatArray, rows: FloatArray, noise: float | FloatArray
) -> FloatArray:
    """Return the covariance of coefficients after rows were measured.

    Parameters
    ----------
    covariance : ndarray, shape (p, p)
    rows : ndarray, shape (m, p)
    noise : float or ndarray, shape (m,)
        Variance of each.

    Examples
    --------
    >>> updated(np.eye(2), np.array([[1.0, 0.0]]), 1.0).tolist()
    [[0.5, 0.0], [0.0, 1.0]]
    """
    if not len(rows):
        return covariance
    moved = rows @ covariance
    total = moved @ rows.T + np.diag(np.broadcast_to(noise, (len(rows),)))
    after = covariance - moved.T @ np.linalg.solve(total, moved)
    return 0.5 * (after + after.T)


def best_design(
    problem: DesignProblem,
    count: int,
    *,
    again: FloatArray | None = None,
    distinct: bool = False,
    seed: int = 0,
) -> tuple[list[int], int | None]:
    """Return which candidates to measure, the most telling first.

    Parameters
    ----------
    problem : DesignProblem
    count : int
        Rows in all.
    again : ndarray, shape (r, p), optional
        Rows that were measured before. If given (it may be empty) and `count` is 2 or
        more, the last row of the design is one of these, or one that is chosen, again.
    distinct : bool
        Whether no candidate is chosen twice but for that last row; as far as there are
        enough of them.
    seed : int
        Of the random starts.

    Returns
    -------
    chosen : list of int
        Candidates.
    replicate : int or None
        Number in the list of `again` followed by `chosen`.
    """
    repeated = again if count >= 2 else None
    free = count if repeated is None else count - 1
    number = len(problem.rows)
    distinct = distinct and free <= number
    rng = np.random.default_rng([seed, 23])
    starts = [_greedy(problem, range(number), free, distinct=distinct)]
    starts += [
        rng.choice(number, free, replace=not distinct).tolist() for _ in range(_STARTS)
    ]
    ends = [_exchange(problem, start, repeated, distinct=distinct) for start in starts]
    chosen = ends[_first(np.array([value for value, _ in ends]), problem.tolerance)][1]
    order = _greedy(problem, chosen, free, distinct=True)
    if repeated is None:
        return order, None
    rows = problem.rows[order]
    return order, problem.best_again(rows, np.vstack([repeated, rows]))


def _greedy(
    problem: DesignProblem, among: Sequence[int], count: int, *, distinct: bool
) -> list[int]:
    """Return candidates, each the best after those before it."""
    left, chosen = list(among), list[int]()
    for _ in range(count):
        scores = problem.scores(problem.rows[chosen], None)[left]
        place = _first(scores, problem.tolerance)
        chosen.append(left[place])
        if distinct:
            left.pop(place)
    return chosen


def _exchange(
    problem: DesignProblem,
    start: Sequence[int],
    again: FloatArray | None,
    *,
    distinct: bool,
) -> tuple[float, list[int]]:
    """Return the criterion and the rows that no single exchange betters."""
    chosen, value, moved = list(start), np.inf, True
    for _ in range(_ROUNDS):
        if not moved:
            break
        moved = False
        for place in range(len(chosen)):
            others = chosen[:place] + chosen[place + 1 :]
            rows = problem.rows[others]
            options = None if again is None else np.vstack([again, rows])
            scores = problem.scores(rows, options)
            if distinct:
                scores[others] = np.inf
            best = _first(scores, problem.tolerance)
            value = float(scores[chosen[place]])
            if scores[best] < value - problem.tolerance:
                chosen[place], value, moved = best, float(scores[best]), True
    return value, chosen


def _first(scores: FloatArray, tolerance: float) -> int:
    """Return the first of the least scores; rounding does not choose among equals."""
    least: NDArray[np.int64] = np.flatnonzero(scores <= scores.min() + tolerance)
    return int(least[0])


# ----------------------------------------------------------------------------
# What mixes tell of the burn law across mixes, before they are burned.
#
# The mixture model of :mod:`castsugar.motor.burn_model` with a proper prior: around a
# reference mix c,
#
# .. math:: y = \ell + \sum_i \delta_i (w_i - c_i) \; \left(+ \sum_{i<j} \beta_{ij}
#     (w_i - c_i)(w_j - c_j)\right) + b + e
#
# which spans the same functions of shares that sum to 1. The prior says what
# :mod:`castsugar.motor.burn_model` says where nothing was measured: the doubt of ln r
# grows by that of a borrowed law for every tenth of the mass that differs; a bend over
# that tenth is as large as what a linear model is expected to leave between mixes.
# Where mixes were measured, their information (1 over tau squared plus their own
# variance) outweighs it.

#: Share of the mass that differs, over which the doubt of what was not measured grows
#: by that of a borrowed law (assumed; as in `blend_law`).
NEAR = 0.1

#: What a mixture model leaves between mixes, before it is measured: this share of the
#: doubt of what was not measured at all (assumed; as in `blend_law`).
LEFT_BETWEEN = 0.5

#: Standard uncertainty of ln r at the reference mix where no law is borrowed either: a
#: factor of e (assumed, wide; one measured mix outweighs it).
_LEVEL = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A quantity as a function of the mix, and how firmly it is known.

    Attributes
    ----------
    order : int
        1: linear; 2: with products of pairs.
    covariance : ndarray, shape (p, p)
        Of the coefficients of :func:`castsugar.motor.burn_model.scheffe_design`.
    between : float
        tau, what the model leaves between mixes.
    """

    order: int
    covariance: FloatArray
    between: float

    def u(self, fractions: FloatArray) -> FloatArray:
        """Return the standard uncertainty of the surface at mixes (..., q)."""
        row = scheffe_design(fractions, self.order)
        return np.asarray(np.sqrt(variance(row, self.covariance)))

    def after(self, fractions: FloatArray, own_u: float | FloatArray) -> Surface:
        """Return the surface after mixes (m, q) were measured.

        Parameters
        ----------
        fractions : ndarray, shape (m, q)
        own_u : float or ndarray, shape (m,)
            Standard uncertainty of each measured value.
        """
        rows = scheffe_design(fractions, self.order)
        noise = self.between**2 + np.square(own_u)
        known = updated(self.covariance, rows, noise)
        return Surface(order=self.order, covariance=known, between=self.between)


def unmeasured(
    reference: FloatArray, order: int, *, level: float, doubt: float, between: float
) -> Surface:
    """Return a surface of which nothing was measured.

    Parameters
    ----------
    reference : ndarray, shape (q,)
        Mix at which the doubt is least.
    order : int
    level : float
        Standard uncertainty there.
    doubt : float
        By which the uncertainty grows for a tenth of the mass that differs.
    between : float
        tau.

    Examples
    --------
    >>> middle = np.array([0.6, 0.2, 0.2])
    >>> prior = unmeasured(middle, 1, level=0.1, doubt=0.2, between=0.1)
    >>> away = np.array([0.7, 0.1, 0.2])
    >>> prior.u(np.stack([middle, away])).round(4).tolist()  # 0.1, sqrt(0.01 + 0.04)
    [0.1, 0.2236]
    """
    q = len(reference)
    centred = np.eye(q) - reference  # row i: unit i less c
    slope = doubt / (NEAR * math.sqrt(2.0))
    known = level**2 * np.ones((q, q)) + slope**2 * centred @ centred.T
    if order == 2:
        pairs = list(itertools.combinations(range(q), 2))
        bend = LEFT_BETWEEN * doubt / NEAR**2
        # Products about c, written in shares and plain products.
        turn = np.eye(q + len(pairs))
        for place, (i, j) in enumerate(pairs, start=q):
            turn[place, :q] += reference[i] * reference[j]
            turn[place, i] -= reference[j]
            turn[place, j] -= reference[i]
        both = np.zeros_like(turn)
        both[:q, :q] = known
        both[q:, q:] = bend**2 * np.eye(len(pairs))
        known = turn.T @ both @ turn
    return Surface(order=order, covariance=known, between=between)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """What the mixes burned so far tell, in components of mixes and proposals.

    Attributes
    ----------
    law : BlendLaw or None
        None without a motor.
    measured : ndarray, shape (m, q)
    rate, exponent : Surface
        Of ln r at the reference pressure, of the exponent.
    """

    law: BlendLaw | None
    measured: FloatArray
    rate: Surface
    exponent: Surface


def known_of(
    law: BlendLaw | None, measured: FloatArray, centre: FloatArray, order: int
) -> Known:
    """Return what the measured mixes tell.

    Parameters
    ----------
    law : BlendLaw or None
    measured : ndarray, shape (m, q)
        Its mixes, in the components of the design.
    centre : ndarray, shape (q,)
        Middle of the mixes that matter; the reference if none was measured.
    order : int
    """
    reference = measured.mean(axis=0) if len(measured) else centre
    level = _LEVEL
    if law is not None and not law.mixes and law.borrowed is not None:
        level = law.borrowed.log_rate_u
    rate_tau = LEFT_BETWEEN * BORROWED_DOUBT
    exponent_tau = LEFT_BETWEEN * EXPONENT_DOUBT
    if law is not None and law.rate_model is not None:
        rate_tau = law.rate_model.between
    if law is not None and law.exponent_model is not None:
        exponent_tau = law.exponent_model.between
    rate = unmeasured(
        reference, order, level=level, doubt=BORROWED_DOUBT, between=rate_tau
    )
    exponent = unmeasured(
        reference,
        order,
        level=EXPONENT_DOUBT,
        doubt=EXPONENT_DOUBT,
        between=exponent_tau,
    )
    if law is not None and law.mixes:
        _, u, _, n_u = columns(law.mixes, law.reference_pressure)
        rate, exponent = rate.after(measured, u), exponent.after(measured, n_u)
    return Known(law=law, measured=measured, rate=rate, exponent=exponent)


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandDoubt:
    """How well a planned set of strands fixes the law of one mix.

    Attributes
    ----------
    rate_u, exponent_u : float
        Standard uncertainties of ln r at the reference pressure and of n.
    scatter : float
        Of ln r of single strands.
    """

    rate_u: float
    exponent_u: float
    scatter: float


def grain_u(
    known: Known, added: FloatArray, test: StrandDoubt, fractions: FloatArray
) -> FloatArray:
    """Return the doubt of ln r of a new grain as :class:`BlendLaw` will state it.

    With what it leaves between mixes held: the new mixes may move that too.

    Parameters
    ----------
    known : Known
    added : ndarray, shape (a, q)
        Mixes burned in addition.
    test : StrandDoubt
    fractions : ndarray, shape (n, q)

    Returns
    -------
    ndarray, shape (n,)
        NaN where there is neither a measured mix nor a borrowed law.
    """
    pressure = REFERENCE_PRESSURE
    if known.law is not None:
        pressure = known.law.reference_pressure
    before = () if known.law is None else known.law.mixes
    mixes = [
        MeasuredMix(name=m.name, fractions=tuple(row.tolist()), law=m.law)
        for m, row in zip(before, known.measured, strict=True)
    ]
    planned = _planned_law(test, pressure)
    mixes += [
        MeasuredMix(name="planned", fractions=tuple(row.tolist()), law=planned)
        for row in added
    ]
    borrowed = rate_model = exponent_model = None
    if known.law is not None:
        borrowed, rate_model = known.law.borrowed, known.law.rate_model
        exponent_model = known.law.exponent_model
    if not mixes and borrowed is None:
        return np.full(len(fractions), math.nan)
    noted = (mixes, pressure)
    law = BlendLaw(
        mixes=tuple(mixes),
        reference_pressure=pressure,
        rate_model=_model(known.rate.between, _order(rate_model), noted, 1),
        exponent_model=_model(known.exponent.between, _order(exponent_model), noted, 3),
        borrowed=borrowed,
    )
    return law.rates(fractions).log_rate_u


def _planned_law(test: StrandDoubt, pressure: float) -> BurnLaw:
    """Return a law of which only the doubts count."""
    band = Band(low=0.0, high=math.inf, rate=5e-3, exponent=0.4)
    return BurnLaw(
        name="planned",
        bands=(band,),
        log_rate_u=math.hypot(test.rate_u, test.scatter),
        covariance=((test.rate_u**2, 0.0), (0.0, test.exponent_u**2)),
        centre=pressure,
        scatter=test.scatter,
    )


def _order(model: ScheffeModel | None) -> int:
    return 1 if model is None else model.order


def _model(
    between: float, order: int, noted: tuple[Sequence[MeasuredMix], float], row: int
) -> ScheffeModel | None:
    """Return the mixture model of which only the covariance counts; None for none."""
    mixes, pressure = noted
    if len(mixes) < MIXES_FOR_MODEL:
        return None
    fractions = np.array([m.fractions for m in mixes])
    if not np.ptp(fractions, axis=0).max() > 0.0:
        return None
    noise = between**2 + columns(mixes, pressure)[row] ** 2
    fit = scheffe_fit(fractions, np.zeros(len(mixes)), order, 1.0 / noise)
    return ScheffeModel(
        order=order,
        offset=0.0,
        coefficients=fit.coefficients,
        covariance=fit.inverse,
        between=between,
        degrees_of_freedom=max(fit.degrees_of_freedom, 1),
    )
