"""A burn law through strands: least squares, its bands, and whether the line fits."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.burn_law import REFERENCE_PRESSURE, Band, BurnLaw
from castsugar.numerics import variance
from castsugar.special import fdtrc, ndtri, student_beyond, student_within

# ----------------------------------------------------------------------------
# Linear least squares and the quantiles that go with it. Arrays in, arrays out.

#: Singular values below this share of the largest one count as zero.
_RANK_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastSquares:
    """The solution of a linear least-squares problem."""

    #: The shortest solution if the design is not of full rank, (k,).
    coefficients: FloatArray
    #: ``(X' X)^-1`` (its pseudo-inverse): times the residual variance, the covariance
    #: of the coefficients, (k, k).
    inverse: FloatArray
    residuals: FloatArray  # observed less fitted, (n,)
    leverage: FloatArray  # diagonal of the hat matrix, (n,)
    degrees_of_freedom: int  # n less the rank


def least_squares(design: FloatArray, observed: FloatArray) -> LeastSquares:
    """Solve ``min sum (y - X b)**2`` by singular values, columns scaled.

    Parameters
    ----------
    design : ndarray, shape (n, k)
    observed : ndarray, shape (n,)

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0])
    >>> design = np.column_stack([np.ones(3), x])
    >>> least_squares(design, 1.0 + 2.0 * x).coefficients.round(12).tolist()
    [1.0, 2.0]
    """
    x = np.asarray(design, dtype=float)
    y = np.asarray(observed, dtype=float)
    size = np.linalg.norm(x, axis=0)
    size = np.where(size > 0.0, size, 1.0)
    u, s, vt = np.linalg.svd(x / size, full_matrices=False)
    rank = int(np.sum(s > _RANK_TOLERANCE * s[0]))
    u, back = u[:, :rank], vt[:rank].T / s[:rank] / size[:, None]
    coefficients = y @ u @ back.T
    return LeastSquares(
        coefficients=coefficients,
        inverse=back @ back.T,
        residuals=y - coefficients @ x.T,
        leverage=(u**2).sum(axis=1),
        degrees_of_freedom=len(x) - rank,
    )


def student(level: float, degrees_of_freedom: float) -> float:
    """Return the t quantile of a two-sided interval of probability `level`.

    Examples
    --------
    >>> round(student(0.95, 10), 4)  # NIST/SEMATECH e-Handbook, t table: 2.228
    2.2281
    """
    if np.isinf(degrees_of_freedom):
        return float(ndtri(0.5 + 0.5 * level))
    return student_within(level, degrees_of_freedom)


# ----------------------------------------------------------------------------
# A burn law through strands: ``ln r = ln r_c + n ln(p / p_c)``, with its bands.
#
# Least squares on ln r: the scatter of strands is relative (a strand of 5 % too much
# porosity burns 5 % too fast at any pressure). p_c is the centre of the tested ln p,
# where rate and exponent are independent. With breaks at p_b the exponent changes by
# d_b above each:
#
# .. math:: \ln r = \ln r_c + n x + \sum_b d_b \max(0, x - x_b), \quad x = \ln(p / p_c)
#
# Two intervals, both pointwise Student t (Draper & Smith, *Applied Regression
# Analysis*, ch. 3): of the law, ``t sqrt(v)``, and of one new strand, ``t sqrt(v +
# s^2)``, where v is the variance of the fitted ln r and s the scatter.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawFit:
    """A power law fitted to strands, in one or more bands."""

    #: The data, in the order given, (n,).
    pressure: FloatArray  # [Pa]
    rate: FloatArray  # [m/s]
    #: Pressures where the exponent changes; empty for a single power law. [Pa]
    breaks: tuple[float, ...]
    centre: float  # [Pa]
    #: ln of the rate at the centre, the exponent below the first break, its changes, (2
    #: + breaks,).
    coefficients: FloatArray
    #: Of the coefficients and the ln of the breaks, (2 + 2 breaks, 2 + 2 breaks).
    covariance: FloatArray
    scatter: float  # residual standard deviation of ln r
    degrees_of_freedom: int  # each break costs two
    residuals: FloatArray  # ln r observed less fitted, (n,)
    leverage: FloatArray  # (n,)

    @property
    def exponents(self) -> tuple[float, ...]:
        """Return the exponent of each band, from low to high pressure."""
        return tuple(float(n) for n in np.cumsum(self.coefficients[1:]))

    @property
    def exponent(self) -> float:
        """Return the exponent (of the lowest band)."""
        return float(self.coefficients[1])

    @property
    def exponent_u(self) -> float:
        """Return the standard error of :attr:`exponent`."""
        return math.sqrt(self.covariance[1, 1])

    @property
    def rate_at_reference(self) -> float:
        """Return the fitted rate at 1 MPa: a, for MPa. [m/s]"""
        return float(self.rate_at(REFERENCE_PRESSURE))

    def rate_at(self, pressure: ArrayLike) -> FloatArray:
        """Return the fitted rate [m/s] at a pressure [Pa]."""
        basis = self._basis(pressure)[..., : len(self.coefficients)]
        return np.asarray(np.exp(basis @ self.coefficients))

    def log_rate_u(self, pressure: ArrayLike) -> FloatArray:
        """Return the standard error of the fitted ln r at a pressure [Pa]."""
        row = self._basis(pressure)
        return np.asarray(np.sqrt(variance(row, self.covariance)))

    def new_strand_u(self, pressure: ArrayLike) -> FloatArray:
        """Return the standard uncertainty of ln r of one new strand."""
        return np.hypot(self.log_rate_u(pressure), self.scatter)

    def law_interval(
        self, pressure: ArrayLike, level: float = 0.95
    ) -> tuple[FloatArray, FloatArray]:
        """Return the confidence interval of the law at each pressure. [m/s]

        Where the true law lies; it narrows with more strands.
        """
        return self._interval(pressure, self.log_rate_u(pressure), level)

    def strand_interval(
        self, pressure: ArrayLike, level: float = 0.95
    ) -> tuple[FloatArray, FloatArray]:
        """Return the prediction interval of one new strand at each pressure. [m/s]

        Where the next strand will lie; more strands do not narrow it below the scatter.
        """
        return self._interval(pressure, self.new_strand_u(pressure), level)

    def exponent_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Return the confidence interval of :attr:`exponent`."""
        half = student(level, self.degrees_of_freedom) * self.exponent_u
        return self.exponent - half, self.exponent + half

    def law(
        self, name: str, *, kind: str = "", temperature: float | None = None
    ) -> BurnLaw:
        """Return the fitted law, with the doubt about a new grain.

        A law of several bands carries one doubt for all pressures, the largest among
        the tested ones.

        Raises
        ------
        InputError
            An exponent of 1 or more.
        """
        single = not self.breaks
        (at, cross), (_, slope) = self.covariance[:2, :2].tolist()
        where = self.centre if single else self.pressure
        return BurnLaw(
            name=name,
            bands=self._bands(),
            log_rate_u=float(np.max(self.new_strand_u(where))),
            covariance=((at, cross), (cross, slope)) if single else None,
            centre=self.centre,
            degrees_of_freedom=float(self.degrees_of_freedom),
            scatter=self.scatter,
            origin="measured",
            kind=kind,
            temperature=temperature,
        )

    def _bands(self) -> tuple[Band, ...]:
        edges = [float(self.pressure.min()), *self.breaks, float(self.pressure.max())]
        bands = []
        for low, high, n in zip(edges[:-1], edges[1:], self.exponents, strict=True):
            inside = math.sqrt(low * high)
            rate = float(self.rate_at(inside)) * (REFERENCE_PRESSURE / inside) ** n
            bands.append(Band(low=low, high=high, rate=rate, exponent=n))
        return tuple(bands)

    def _basis(self, pressure: ArrayLike) -> FloatArray:
        p = np.asarray(pressure, dtype=float)
        if np.any(p <= 0.0):
            raise InputError(f"pressure is {p.min():g} Pa; it must be above 0")
        change = self.coefficients[2:]
        return _design(np.log(p / self.centre), self._log_breaks(), change)

    def _log_breaks(self) -> FloatArray:
        return np.log(np.array(self.breaks, dtype=float) / self.centre)

    def _interval(
        self, pressure: ArrayLike, u: FloatArray, level: float
    ) -> tuple[FloatArray, FloatArray]:
        if not 0.0 < level < 1.0:
            raise InputError(f"level is {level:g}; allowed: between 0 and 1")
        middle = self.rate_at(pressure)
        with np.errstate(over="ignore"):
            half = np.exp(student(level, self.degrees_of_freedom) * u)
            return middle / half, middle * half


def fit_law(
    pressure: ArrayLike, rate: ArrayLike, breaks: tuple[float, ...] = ()
) -> LawFit:
    """Fit a power law to strands by least squares on ln r.

    Parameters
    ----------
    pressure, rate : array_like, shape (n,)
        [Pa], [m/s]; n at least 3, and 2 more for each break.
    breaks : tuple of float
        Pressures where the exponent may change, rising. Their own doubt enters the
        covariance to first order. [Pa]

    Raises
    ------
    InputError
        Data that are not positive or of unequal length, too few, or at one pressure.

    Examples
    --------
    >>> fit = fit_law([1e6, 4e6, 9e6], [5e-3, 10e-3, 15e-3])
    >>> round(fit.exponent, 9), round(1e3 * fit.rate_at_reference, 9)
    (0.5, 5.0)
    """
    p, r = checked(pressure, rate)
    if len(p) < 3 + 2 * len(breaks):
        raise InputError(
            f"{len(p)} strands are too few for a law with {len(breaks)} breaks; "
            f"at least {3 + 2 * len(breaks)} are needed"
        )
    if p.min() == p.max():
        raise InputError(
            f"all strands burned at {p[0]:g} Pa; an exponent needs two pressures"
        )
    order = np.lexsort((r, p))  # so that the order of rows changes no bit
    log_p, log_r = np.log(p[order]), np.log(r[order])
    centre = float(np.exp(log_p.mean()))
    x, x_breaks = log_p - log_p.mean(), np.log(np.array(breaks, float) / centre)
    found, covariance, scatter = _solve(x, log_r, x_breaks)
    back = np.argsort(order)
    return LawFit(
        pressure=p,
        rate=r,
        breaks=tuple(float(b) for b in breaks),
        centre=centre,
        coefficients=found.coefficients,
        covariance=covariance,
        scatter=scatter,
        degrees_of_freedom=found.degrees_of_freedom - len(breaks),
        residuals=found.residuals[back],
        leverage=found.leverage[back],
    )


def checked(pressure: ArrayLike, rate: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return strands as arrays; refuse what has no logarithm."""
    p, r = np.asarray(pressure, dtype=float), np.asarray(rate, dtype=float)
    if p.ndim != 1 or p.shape != r.shape:
        raise InputError(
            f"pressures have shape {p.shape} and rates {r.shape}; give one rate for "
            "each pressure"
        )
    for what, values, unit in (("pressure", p, "Pa"), ("burn rate", r, "m/s")):
        bad = np.flatnonzero(~(np.isfinite(values) & (values > 0.0)))
        if bad.size:
            raise InputError(
                f"{what} of strand {bad[0] + 1} is {values[bad[0]]:g} {unit}; it must "
                "be finite, above 0"
            )
    return p, r


def _solve(
    x: FloatArray, log_r: FloatArray, breaks: FloatArray
) -> tuple[LeastSquares, FloatArray, float]:
    """Return the fit, the covariance with the breaks, and the scatter."""
    found = least_squares(_design(x, breaks), log_r)
    freedom = found.degrees_of_freedom - len(breaks)
    square = float((found.residuals**2).sum()) / freedom
    if not len(breaks):
        return found, square * found.inverse, math.sqrt(square)
    full = _design(x, breaks, found.coefficients[2:])
    inverse = least_squares(full, log_r).inverse
    return found, square * inverse, math.sqrt(square)


def _design(
    x: FloatArray, breaks: FloatArray, changes: FloatArray | None = None
) -> FloatArray:
    """Return the columns 1, x, hinges; with `changes` also d/d(break)."""
    columns = [np.ones_like(x), x, *(np.maximum(0.0, x - b) for b in breaks)]
    if changes is not None:
        columns += [-d * (x > b) for b, d in zip(breaks, changes, strict=True)]
    return np.stack(columns, axis=-1)


# ----------------------------------------------------------------------------
# Does the line fit? Lack of fit, outlying strands, and the fit on r beside.

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
    """The power law by least squares on r itself."""

    #: rate_at_reference, rate_u: rate at 1 MPa and its standard error. [m/s]
    rate_at_reference: float
    rate_u: float
    exponent: float
    exponent_u: float
    residual_sd: float  # [m/s]
    degrees_of_freedom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LackOfFit:
    """Scatter about the law against scatter between replicates."""

    #: F, and the probability of one as large if the law is right.
    statistic: float
    probability: float
    #: Degrees of freedom of lack of fit and of pure error.
    numerator: int
    denominator: int
    pure_error: float  # standard deviation of ln r between replicates


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A strand that lies far from the law through the others."""

    index: int  # place in the data
    studentised: float  # residual over its standard error, both without this strand
    probability: float  # of one as far among all the strands (Bonferroni)


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
        probability=float(fdtrc(numerator, denominator, statistic)),
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
    each = student_beyond(t, max(fit.degrees_of_freedom - 1, 1))
    together = np.minimum(1.0, len(t) * each)
    found = [
        Outlier(index=int(i), studentised=float(t[i]), probability=float(together[i]))
        for i in np.flatnonzero(together < OUTLIER_PROBABILITY)
    ]
    return tuple(sorted(found, key=lambda o: -abs(o.studentised)))
