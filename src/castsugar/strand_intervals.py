r"""Intervals that a page about strands shows, beside those of the fit itself.

In band k of a piecewise law (:mod:`castsugar.motor.fit`) the line continued to a
pressure :math:`p_u` of one unit gives the coefficient of ``r = a p**n``:

.. math:: \ln a_k = \ln r_c + n x_u + \sum_{b<k} d_b (x_u - x_b), \quad
    n_k = n + \sum_{b<k} d_b, \quad x = \ln(p / p_c)

Both have their variance from the covariance of the fit, breaks included.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.fit import LawFit
from castsugar.motor.law import BurnLaw, burn_rate, log_rate_uncertainty
from castsugar.motor.regression import student
from castsugar.motor.single import SinglePressure

Interval = tuple[float, float]

_LARGEST = 709.0  # ln of the largest float, rounded down


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLaw:
    """The power law of one pressure band, with confidence intervals.

    Attributes
    ----------
    low, high : float
        Of the band. [Pa]
    rate : float
        Of the law, continued to a pressure of one unit: the coefficient. [m/s]
    rate_interval : tuple of float
        [m/s]
    exponent : float
    exponent_interval : tuple of float
    """

    low: float
    high: float
    rate: float
    rate_interval: Interval
    exponent: float
    exponent_interval: Interval


def band_laws(fit: LawFit, unit: float, level: float = 0.95) -> tuple[BandLaw, ...]:
    """Return coefficient and exponent of each band, from low to high pressure.

    Parameters
    ----------
    fit : LawFit
    unit : float
        The unit of pressure that the coefficient is stated for. [Pa]
    level : float
        Probability of the intervals.
    """
    t = student(level, fit.degrees_of_freedom)
    edges = [float(fit.pressure.min()), *fit.breaks, float(fit.pressure.max())]
    x_unit = math.log(unit / fit.centre)
    changes = fit.coefficients[2:]
    x_breaks = np.log(np.array(fit.breaks, dtype=float) / fit.centre)
    found = []
    for band, (low, high) in enumerate(itertools.pairwise(edges)):
        below = (np.arange(len(changes)) < band).astype(float)
        none = np.zeros(len(changes))
        to_rate = np.concatenate(
            [[1.0, x_unit], below * (x_unit - x_breaks), -below * changes]
        )
        to_exponent = np.concatenate([[0.0, 1.0], below, none])
        log_rate, log_low, log_high = _combined(fit, to_rate, t)
        n, n_low, n_high = _combined(fit, to_exponent, t)
        found.append(
            BandLaw(
                low=low,
                high=high,
                rate=_exp(log_rate),
                rate_interval=(_exp(log_low), _exp(log_high)),
                exponent=n,
                exponent_interval=(n_low, n_high),
            )
        )
    return tuple(found)


def _combined(fit: LawFit, weights: FloatArray, t: float) -> tuple[float, float, float]:
    """Return a combination of the coefficients and its interval."""
    value = float(weights[: len(fit.coefficients)] @ fit.coefficients)
    half = t * math.sqrt(max(float(weights @ fit.covariance @ weights), 0.0))
    return value, value - half, value + half


def new_strand_interval(single: SinglePressure) -> Interval:
    """Return the prediction interval of one more strand at the one pressure. [m/s]

    Infinitely wide after one strand.
    """
    if single.count < 2:
        return 0.0, math.inf
    half = student(single.level, single.count - 1) * single.new_strand_u
    return single.rate * _exp(-half), single.rate * _exp(half)


def grain_interval(law: BurnLaw, pressure: float, level: float) -> Interval:
    """Return the interval of the rate of a new grain at a pressure [Pa]. [m/s]"""
    half = student(level, law.degrees_of_freedom)
    half *= float(log_rate_uncertainty(law, pressure))
    rate = float(burn_rate(law, pressure))
    return rate * _exp(-half), rate * _exp(half)


def _exp(x: float) -> float:
    """Return the exponential; infinite where a float does not reach."""
    return math.exp(x) if x < _LARGEST else math.inf
