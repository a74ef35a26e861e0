"""A burn law for any composition, from mixes that were measured."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.motor.burn_law import (
    BORROWED_DOUBT,
    EXPONENT_DOUBT,
    REFERENCE_PRESSURE,
    Band,
    BurnLaw,
    burn_rate,
    log_rate_uncertainty,
)
from castsugar.motor.strand_fit import LeastSquares, least_squares
from castsugar.numerics import variance

# ----------------------------------------------------------------------------
# Measured mixes: composition and burn law, as columns.


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredMix:
    """A mix with a burn law of its own.

    Attributes
    ----------
    name : str
    fractions : tuple of float
        Mass fractions of the components, sum 1.
    law : BurnLaw
    cautions : tuple of str
        What is to be looked at again in its strands.
    """

    name: str
    fractions: tuple[float, ...]
    law: BurnLaw
    cautions: tuple[str, ...] = ()


def columns(mixes: Sequence[MeasuredMix], pressure: float) -> FloatArray:
    """Return ln r, its u (of the law, without scatter), n and its u, shape (4, m)."""
    rows = []
    for mix in mixes:
        law = mix.law
        total = float(log_rate_uncertainty(law, pressure))
        own = math.sqrt(max(total**2 - law.scatter**2, 0.0))
        step = np.array([0.999, 1.001]) * pressure
        n = float(np.diff(np.log(burn_rate(law, step)))[0]) / math.log(1.001 / 0.999)
        n_u = EXPONENT_DOUBT
        if law.covariance is not None:
            n_u = math.sqrt(law.covariance[1][1])
        rows.append((math.log(float(burn_rate(law, pressure))), own, n, n_u))
    return np.array(rows).T


# ----------------------------------------------------------------------------
# Scheffé's mixture model by least squares, with scatter between mixes.
#
# .. math:: y = \sum_i \beta_i w_i \; \left(+ \sum_{i<j} \beta_{ij} w_i w_j\right)
#     + b + e, \quad b \sim N(0, \tau^2), \; e \sim N(0, u^2)
#
# for shares w that sum to 1 (Cornell, *Experiments with Mixtures*, ch. 2). u is the
# known standard uncertainty of each measured value; tau, what the model leaves between
# mixes, solves ``sum (y - f)**2 / (tau**2 + u**2) = degrees of freedom`` (Paule &
# Mandel, *J. Res. NBS* 87 (1982) 377, from memory).

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


# ----------------------------------------------------------------------------
# A burn law for any composition, from mixes that were measured.
#
# Never out of thermochemistry. With 3 measured mixes or more: a mixture model of ln r
# at a reference pressure and one of the exponent (:mod:`castsugar.motor.burn_model`).
# With one or two: the nearest measured mix. With none: a borrowed law. The origin says
# which, and the band is the wider, the less is known.

#: Fewest measured mixes for a mixture model.
MIXES_FOR_MODEL = 3

#: What a mixture model of ln r, of the exponent, is expected to leave between mixes
#: (assumed: half the doubt of what was not measured at all).
_PRIOR_RATE, _PRIOR_EXPONENT = 0.5 * BORROWED_DOUBT, 0.5 * EXPONENT_DOUBT

#: Share of the mass that differs, over which the doubt of the nearest measured mix
#: grows by as much as that of a borrowed law (assumed).
_NEAR = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlendRates:
    """Burn laws of many compositions, as columns.

    Attributes
    ----------
    log_rate, log_rate_u : ndarray, shape (...)
        ln of the rate in m/s at the reference pressure; standard uncertainty for a new
        grain.
    exponent, exponent_u : ndarray, shape (...)
    outside : ndarray of bool, shape (...)
        The composition lies outside what was measured.
    distance : ndarray, shape (...)
        Share of the mass that differs from the nearest measured mix; NaN for none.
    nearest : ndarray of int, shape (...)
        Which one that is; -1 for none.
    """

    log_rate: FloatArray
    log_rate_u: FloatArray
    exponent: FloatArray
    exponent_u: FloatArray
    outside: BoolArray
    distance: FloatArray
    nearest: NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlendLaw:
    """What is known of the burn law across mixes; see :func:`blend_law`.

    Attributes
    ----------
    mixes : tuple of MeasuredMix
    reference_pressure : float
        [Pa]
    rate_model, exponent_model : ScheffeModel or None
        None with fewer than 3 mixes.
    borrowed : BurnLaw or None
        Used if nothing was measured.
    """

    mixes: tuple[MeasuredMix, ...]
    reference_pressure: float
    rate_model: ScheffeModel | None
    exponent_model: ScheffeModel | None
    borrowed: BurnLaw | None

    def rates(self, fractions: ArrayLike) -> BlendRates:
        """Return the burn laws of compositions, mass fractions of shape (..., k).

        Raises
        ------
        InputError
            Fractions that do not sum to 1, or not of the measured components.
        """
        w = _checked(fractions)
        if not self.mixes:
            return _borrowed_rates(self._law(), w, self.reference_pressure)
        measured = np.array([m.fractions for m in self.mixes])
        if w.shape[-1] != measured.shape[1]:
            raise InputError(
                f"compositions have {w.shape[-1]} components; the measured mixes have "
                f"{measured.shape[1]}"
            )
        away = 0.5 * np.abs(w[..., None, :] - measured).sum(axis=-1)
        nearest = np.argmin(away, axis=-1)
        distance = away.min(axis=-1)
        scatter = np.array([m.law.scatter for m in self.mixes])
        if self.rate_model is None or self.exponent_model is None:
            y, u, n, n_u = columns(self.mixes, self.reference_pressure)[:, nearest]
            u = np.sqrt(u**2 + BORROWED_DOUBT**2 * (1.0 + (distance / _NEAR) ** 2))
            n_u, far = np.hypot(n_u, EXPONENT_DOUBT), distance > ROUNDING
            spread = scatter[nearest]
        else:
            (y, u), (n, n_u) = (
                self.rate_model.predict(w),
                self.exponent_model.predict(w),
            )
            far = outside_measured(measured, w)
            u = np.hypot(u, np.where(far, BORROWED_DOUBT, 0.0))
            n_u = np.hypot(n_u, np.where(far, EXPONENT_DOUBT, 0.0))
            spread = np.full(y.shape, math.sqrt(float((scatter**2).mean())))
        return BlendRates(
            log_rate=y,
            log_rate_u=np.hypot(u, spread),
            exponent=n,
            exponent_u=n_u,
            outside=far,
            distance=distance,
            nearest=nearest,
        )

    def law(self, fractions: ArrayLike, name: str) -> BurnLaw:
        """Return the burn law of one composition.

        Raises
        ------
        InputError
            As for :meth:`rates`, or a predicted exponent of 1 or more.
        """
        found = self.rates(fractions)
        if found.log_rate.ndim:
            raise InputError("give one composition; rates takes many")
        if not self.mixes:
            law = self._law()
            return replace(law, origin=self.origin(found))
        p, n = self.reference_pressure, float(found.exponent)
        low, high = self._tested(int(found.nearest))
        rate = math.exp(float(found.log_rate)) * (REFERENCE_PRESSURE / p) ** n
        u = float(found.log_rate_u)
        return BurnLaw(
            name=name,
            bands=(Band(low=low, high=high, rate=rate, exponent=n),),
            log_rate_u=u,
            covariance=((u**2, 0.0), (0.0, float(found.exponent_u) ** 2)),
            centre=p,
            degrees_of_freedom=self._freedom(),
            scatter=max(m.law.scatter for m in self.mixes),
            origin=self.origin(found),
            status="estimated",
            invented=self.invented(found),
        )

    def invented(self, found: BlendRates) -> tuple[str, ...]:
        """Return what is invented behind the law of one composition."""
        if not self.mixes:
            return self._law().invented
        laws = [m.law for m in self.mixes]
        if self.rate_model is None or self.exponent_model is None:
            laws = [laws[int(found.nearest)]]
        return tuple(dict.fromkeys(name for law in laws for name in law.invented))

    def origin(self, found: BlendRates) -> str:
        """Return where the law of one composition comes from."""
        if not self.mixes:
            law = self._law()
            return f"borrowed: {law.name}" + (f" ({law.source})" if law.source else "")
        where = ", outside the measured mixes" if bool(found.outside) else ""
        if self.rate_model is None or self.exponent_model is None:
            near = self.mixes[int(found.nearest)].name
            share = 100.0 * float(found.distance)
            return f"nearest measured mix: {near}, {share:.3g} % of the mass differs"
        words = {1: "linear", 2: "quadratic"}
        return (
            f"mixture model of {len(self.mixes)} measured mixes "
            f"(ln r {words[self.rate_model.order]}, "
            f"n {words[self.exponent_model.order]}){where}"
        )

    def _law(self) -> BurnLaw:
        if self.borrowed is None:
            raise InputError("no mix was measured and no law borrowed; give either")
        return self.borrowed

    def _freedom(self) -> float:
        models = (self.rate_model, self.exponent_model)
        known = [float(m.degrees_of_freedom) for m in models if m is not None]
        return min(known, default=math.inf)

    def _tested(self, nearest: int) -> tuple[float, float]:
        if self.rate_model is None:
            return self.mixes[nearest].law.tested
        lows, highs = zip(*(m.law.tested for m in self.mixes), strict=True)
        if max(lows) < min(highs):
            return max(lows), min(highs)
        return min(lows), max(highs)


def blend_law(
    mixes: Sequence[MeasuredMix],
    *,
    reference_pressure: float = REFERENCE_PRESSURE,
    borrowed: BurnLaw | None = None,
) -> BlendLaw:
    """Gather what is known of the burn law across mixes.

    Parameters
    ----------
    mixes : sequence of MeasuredMix
        All of the same components. 3 or more of at least two different compositions
        give a mixture model.
    reference_pressure : float
        Best in the middle of the tests, where rate and exponent of each mix hardly
        depend on each other; the model takes them as independent. [Pa]
    borrowed : BurnLaw, optional
        Used if `mixes` is empty.

    Raises
    ------
    InputError
        Nothing measured and nothing borrowed; compositions of different components.
    """
    if not mixes and borrowed is None:
        raise InputError("no mix was measured and no law borrowed; give either")
    if len({len(m.fractions) for m in mixes}) > 1:
        raise InputError("measured mixes must list the same components, 0 where absent")
    rate_model = exponent_model = None
    measured = _checked([m.fractions for m in mixes]) if mixes else np.empty((0, 1))
    if len(mixes) >= MIXES_FOR_MODEL and float(np.ptp(measured, axis=0).max()) > 0.0:
        y, u, n, n_u = columns(mixes, reference_pressure)
        rate_model = scheffe_model(measured, y, u, _PRIOR_RATE)
        exponent_model = scheffe_model(measured, n, n_u, _PRIOR_EXPONENT)
    return BlendLaw(
        mixes=tuple(mixes),
        reference_pressure=reference_pressure,
        rate_model=rate_model,
        exponent_model=exponent_model,
        borrowed=borrowed,
    )


def _borrowed_rates(law: BurnLaw, w: FloatArray, pressure: float) -> BlendRates:
    shape = w.shape[:-1]
    y, _, n, n_u = columns([MeasuredMix(name="", fractions=(), law=law)], pressure)
    return BlendRates(
        log_rate=np.full(shape, y[0]),
        log_rate_u=np.full(shape, float(log_rate_uncertainty(law, pressure))),
        exponent=np.full(shape, n[0]),
        exponent_u=np.full(shape, n_u[0]),
        outside=np.ones(shape, dtype=bool),
        distance=np.full(shape, np.nan),
        nearest=np.full(shape, -1),
    )


def _checked(fractions: ArrayLike) -> FloatArray:
    w = np.asarray(fractions, dtype=float)
    if not w.ndim or np.any(~(w >= 0.0)) or np.any(np.abs(w.sum(axis=-1) - 1.0) > 1e-4):
        raise InputError("mass fractions must be 0 or more and sum to 1 in every mix")
    return w
