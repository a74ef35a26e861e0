"""Does the line fit? Lack of fit, outlying strands, and the fit on r beside."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.motor.fit import LawFit, checked, fit_law
from castsugar.motor.law import REFERENCE_PRESSURE
from castsugar.motor.regression import f_probability, two_sided_probability

#: Strands count as burned at one pressure if ln p differs by less than this; at an
#: exponent below 1 it moves the rate by less than 0.5 %.
REPLICATE_TOLERANCE = 0.005

#: A strand is pointed out where its probability, times the number of strands, is less.
OUTLIER_PROBABILITY = 0.05

#: A Jacobian of this condition leaves no digit in the inverse of its square.
_LOST_IN_ROUNDING = float(np.finfo(float).eps) ** -0.5

#: Below this scatter of ln r the data are numbers from a formula, not strands.
_NO_SCATTER = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class NonlinearFit:
    """The power law by least squares on r itself.

    Attributes
    ----------
    rate_at_reference, rate_u : float
        Rate at 1 MPa and its standard error. [m/s]
    exponent, exponent_u : float
    residual_sd : float
        [m/s]
    degrees_of_freedom : int
    """

    rate_at_reference: float
    rate_u: float
    exponent: float
    exponent_u: float
    residual_sd: float
    degrees_of_freedom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LackOfFit:
    """Scatter about the law against scatter between replicates.

    Attributes
    ----------
    statistic, probability : float
        F, and the probability of one as large if the law is right.
    numerator, denominator : int
        Degrees of freedom of lack of fit and of pure error.
    pure_error : float
        Standard deviation of ln r between replicates.
    """

    statistic: float
    probability: float
    numerator: int
    denominator: int
    pure_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A strand that lies far from the law through the others.

    Attributes
    ----------
    index : int
        Place in the data.
    studentised : float
        Residual over its standard error, both without this strand.
    probability : float
        Of one as far among all the strands (Bonferroni).
    """

    index: int
    studentised: float
    probability: float


def fit_on_rate(pressure: ArrayLike, rate: ArrayLike) -> NonlinearFit | None:
    """Fit ``r = a p**n`` by least squares on r (Gauss and Newton, steps halved).

    Standard errors from the curvature at the solution. None if it does not settle.

    Parameters
    ----------
    pressure, rate : array_like, shape (n,)
        n at least 3, at two or more pressures. [Pa], [m/s]
    """
    start = fit_law(*checked(pressure, rate))
    order = np.lexsort((start.rate, start.pressure))
    x = np.log(start.pressure[order] / start.centre)
    scale = math.exp(start.coefficients[0])
    found = _gauss_newton(x, start.rate[order] / scale, start.coefficients[1])
    if found is None:
        return None
    (log_rate, n), inverse, square = found
    to_reference = np.array([1.0, math.log(REFERENCE_PRESSURE / start.centre)])
    freedom = len(x) - 2
    rate_there = scale * math.exp(log_rate + n * to_reference[1])
    variance = square / freedom * inverse
    log_variance = float(to_reference @ variance @ to_reference)
    return NonlinearFit(
        rate_at_reference=rate_there,
        rate_u=rate_there * math.sqrt(log_variance),
        exponent=n,
        exponent_u=math.sqrt(variance[1, 1]),
        residual_sd=scale * math.sqrt(square / freedom),
        degrees_of_freedom=freedom,
    )


def _gauss_newton(
    x: FloatArray, y: FloatArray, exponent: float
) -> tuple[tuple[float, float], FloatArray, float] | None:
    """Minimise ``sum (y - exp(b0 + b1 x))**2`` from (0, `exponent`)."""
    b = np.array([0.0, exponent])
    basis = np.stack([np.ones_like(x), x], axis=-1)

    def square(at: FloatArray) -> float:
        with np.errstate(over="ignore"):
            return float(((y - np.exp(basis @ at)) ** 2).sum())

    for _ in range(100):
        model = np.exp(basis @ b)
        jacobian = basis * model[:, None]
        step = np.linalg.lstsq(jacobian, y - model, rcond=None)[0]
        here = square(b)
        while not square(b + step) <= here and np.abs(step).max() > 1e-14:
            step = 0.5 * step
        b = b + step
        if np.abs(step).max() < 1e-12:
            if not np.linalg.cond(jacobian) < _LOST_IN_ROUNDING:
                return None
            inverse = np.linalg.inv(jacobian.T @ jacobian)
            return (float(b[0]), float(b[1])), inverse, square(b)
    return None


def replicates(pressure: ArrayLike) -> NDArray[np.intp]:
    """Return the number of its pressure for each strand, shape (n,), from 0.

    A pressure takes in all strands within :data:`REPLICATE_TOLERANCE` above its lowest.

    Examples
    --------
    >>> replicates([2e6, 1e6, 1.001e6]).tolist()
    [1, 0, 0]
    """
    log_p = np.log(np.asarray(pressure, dtype=float))
    out = np.zeros(len(log_p), dtype=np.intp)
    number, lowest = -1, -math.inf
    for i in np.argsort(log_p, kind="stable"):
        if log_p[i] - lowest > REPLICATE_TOLERANCE:
            number, lowest = number + 1, log_p[i]
        out[i] = number
    return out


def lack_of_fit(fit: LawFit) -> LackOfFit | None:
    """Test the law against replicates (Draper & Smith, ch. 2). None if it cannot be.

    ``F = (SS_residual - SS_pure) / SS_pure`` with degrees of freedom. Pure error is
    taken from residuals, so that replicates need not agree in pressure to the last
    digit.
    """
    order = np.lexsort((fit.rate, fit.pressure))
    group = replicates(fit.pressure[order])
    levels = int(group.max()) + 1
    parameters = len(fit.coefficients) + len(fit.breaks)
    numerator, denominator = levels - parameters, len(group) - levels
    if numerator < 1 or denominator < 1:
        return None
    e = fit.residuals[order]
    mean = np.bincount(group, e) / np.bincount(group)
    pure = float(((e - mean[group]) ** 2).sum())
    if pure < denominator * _NO_SCATTER**2:
        return None
    lack = max(float((e**2).sum()) - pure, 0.0)
    statistic = (lack / numerator) / (pure / denominator)
    return LackOfFit(
        statistic=statistic,
        probability=float(f_probability(statistic, numerator, denominator)),
        numerator=numerator,
        denominator=denominator,
        pure_error=math.sqrt(pure / denominator),
    )


def studentised(fit: LawFit) -> FloatArray:
    """Return the externally studentised residuals, shape (n,).

    ``t_i = e_i / (s_(i) sqrt(1 - h_i))``, Student with one degree of freedom less than
    the fit (Cook & Weisberg, *Residuals and Influence in Regression*, ch. 2). NaN
    where a strand alone fixes the law, or without scatter.
    """
    e, h, freedom = fit.residuals, fit.leverage, fit.degrees_of_freedom
    if freedom < 2 or fit.scatter < _NO_SCATTER:
        return np.full(e.shape, np.nan)
    rest = np.where(h < 1.0 - 1e-9, 1.0 - h, np.nan)
    without = (freedom * fit.scatter**2 - e**2 / rest) / (freedom - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(e / np.sqrt(np.maximum(without, 0.0) * rest))


def outliers(fit: LawFit) -> tuple[Outlier, ...]:
    """Return the strands to look at again, worst first. Nothing is ever removed."""
    t = studentised(fit)
    each = two_sided_probability(t, max(fit.degrees_of_freedom - 1, 1))
    together = np.minimum(1.0, len(t) * each)
    found = [
        Outlier(index=int(i), studentised=float(t[i]), probability=float(together[i]))
        for i in np.flatnonzero(together < OUTLIER_PROBABILITY)
    ]
    return tuple(sorted(found, key=lambda o: -abs(o.studentised)))
