r"""Does a firing agree with a burn law? A stated test.

The difference d of ln r at the centre of the firing and, where the firing tells it, of
n, is held against both doubts together:

.. math:: F = \frac{d^T C^{-1} d}{k}, \quad C = C_{firing} + C_{law}, \quad k = 1, 2

against F(k, nu). The doubt of the law is that about a new grain (scatter of strands
included); nu are its degrees of freedom, the more the firing adds to the doubt
(Welch-Satterthwaite, JCGM 100:2008, G.4). They disagree below a probability of 5 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from castsugar.motor.firing.inference import InferredLaw
from castsugar.motor.law import BurnLaw, burn_rate, log_rate_uncertainty

#: Probability below which firing and law are said to disagree.
LEVEL = 0.05

#: An interval of the ratio wider than this factor tells nothing. Our rule.
_TELLING = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """A firing held against a burn law.

    Attributes
    ----------
    pressure : float
        Where the rates are compared. [Pa]
    rate_firing, rate_law : float
        At that pressure. [m/s]
    ratio, ratio_low, ratio_high : float
        Rate of the firing over that of the law, with its 95 % interval.
    exponent_difference : float
        Firing less law; NaN where either does not tell it.
    probability : float
        Of a difference as large if both are the same.
    agrees : bool
    tells : bool
        The interval of the ratio is narrow enough, a factor of 3, to tell anything.
    outside : bool
        The pressure lies outside the tested ones of the law.
    """

    pressure: float
    rate_firing: float
    rate_law: float
    ratio: float
    ratio_low: float
    ratio_high: float
    exponent_difference: float
    probability: float
    agrees: bool
    tells: bool
    outside: bool


def compare_with_law(
    inferred: InferredLaw, law: BurnLaw, *, rate_factor: float = 1.0
) -> Agreement:
    """Hold a firing against a burn law.

    Parameters
    ----------
    inferred : InferredLaw
    law : BurnLaw
    rate_factor : float
        Rate at the temperature of the grain over that of the law.
    """
    p = inferred.centre
    rate = rate_factor * float(burn_rate(law, p))
    own = float(log_rate_uncertainty(law, p))
    difference = math.log(inferred.rate / rate)
    both = math.hypot(own, inferred.log_rate_u)
    freedom = law.degrees_of_freedom * (both / own) ** 4 if own > 0.0 else math.inf
    shift, covariance = np.array([difference]), np.array([[both**2]])
    exponent = math.nan
    if inferred.told and law.covariance is not None:
        exponent = inferred.exponent - _slope(law, p)
        shift = np.array([difference, exponent])
        covariance = inferred.covariance + _covariance(law, p)
    count = len(shift)
    square = float(shift @ np.linalg.solve(covariance, shift)) / count
    if math.isinf(freedom):
        probability = float(stats.chi2.sf(count * square, count))
    else:
        probability = float(stats.f.sf(square, count, freedom))
    half = float(stats.t.ppf(0.975, freedom)) * both
    low, high = law.tested
    return Agreement(
        pressure=p,
        rate_firing=inferred.rate,
        rate_law=rate,
        ratio=math.exp(difference),
        ratio_low=math.exp(difference - half),
        ratio_high=math.exp(difference + half),
        exponent_difference=exponent,
        probability=probability,
        agrees=probability >= LEVEL,
        tells=2.0 * half <= math.log(_TELLING) or probability < LEVEL,
        outside=not low <= p <= high,
    )


def _slope(law: BurnLaw, pressure: float) -> float:
    """Return the exponent of a law at a pressure."""
    for band in law.bands:
        if pressure <= band.high:
            return band.exponent
    return law.bands[-1].exponent


def _covariance(law: BurnLaw, pressure: float) -> np.ndarray:
    """Return the covariance of ln r and n of a new grain at a pressure."""
    if law.covariance is None:
        raise ValueError("the law has no covariance")
    (_, cross), (_, slope) = law.covariance
    x = math.log(pressure / law.centre)
    rate = float(log_rate_uncertainty(law, pressure)) ** 2
    mixed = cross + x * slope
    return np.array([[rate, mixed], [mixed, slope]])
