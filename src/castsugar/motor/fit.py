r"""A burn law through strands: ``ln r = ln r_c + n ln(p / p_c)``, with its bands.

Least squares on ln r: the scatter of strands is relative (a strand of 5 % too much
porosity burns 5 % too fast at any pressure). p_c is the centre of the tested ln p,
where rate and exponent are independent. With breaks at p_b the exponent changes by
d_b above each:

.. math:: \ln r = \ln r_c + n x + \sum_b d_b \max(0, x - x_b), \quad x = \ln(p / p_c)

Two intervals, both pointwise Student t (Draper & Smith, *Applied Regression Analysis*,
ch. 3): of the law, ``t sqrt(v)``, and of one new strand, ``t sqrt(v + s^2)``, where v
is the variance of the fitted ln r and s the scatter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.law import REFERENCE_PRESSURE, Band, BurnLaw
from castsugar.motor.regression import LeastSquares, least_squares, student
from castsugar.numerics import variance


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawFit:
    """A power law fitted to strands, in one or more bands.

    Attributes
    ----------
    pressure, rate : ndarray, shape (n,)
        The data, in the order given. [Pa], [m/s]
    breaks : tuple of float
        Pressures where the exponent changes; empty for a single power law. [Pa]
    centre : float
        [Pa]
    coefficients : ndarray, shape (2 + breaks,)
        ln of the rate at the centre, the exponent below the first break, its changes.
    covariance : ndarray, shape (2 + 2 breaks, 2 + 2 breaks)
        Of the coefficients and the ln of the breaks.
    scatter : float
        Residual standard deviation of ln r.
    degrees_of_freedom : int
        Each break costs two.
    residuals : ndarray, shape (n,)
        ln r observed less fitted.
    leverage : ndarray, shape (n,)
    """

    pressure: FloatArray
    rate: FloatArray
    breaks: tuple[float, ...]
    centre: float
    coefficients: FloatArray
    covariance: FloatArray
    scatter: float
    degrees_of_freedom: int
    residuals: FloatArray
    leverage: FloatArray

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
