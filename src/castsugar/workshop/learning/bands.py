"""A burn law as numbers to show: rate and exponent, each with its 95 % band."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.motor.burn_law import BurnLaw, burn_rate, log_rate_uncertainty
from castsugar.workshop.learning.burned import MixLaw
from castsugar.workshop.learning.checks import COVERAGE


@dataclass(frozen=True, slots=True, kw_only=True)
class LawBand:
    """A burn law at one pressure; the scatter of single grains is left out.

    Attributes
    ----------
    rate, rate_low, rate_high : float
        [m/s]
    exponent, exponent_low, exponent_high : float
        The band is NaN where the law carries none.
    origin : str
    """

    rate: float
    rate_low: float
    rate_high: float
    exponent: float
    exponent_low: float
    exponent_high: float
    origin: str


def centre_of(mix: MixLaw) -> float:
    """Return the pressure at which a mix's laws are shown: that of its new law. [Pa]

    NaN where nothing is known.
    """
    law = mix.fitted or mix.before
    return law.centre if law is not None else math.nan


def band_of(law: BurnLaw, pressure: float) -> LawBand:
    """Return a law at a pressure with its 95 % band (Student t with its freedom)."""
    from scipy.stats import t

    factor = COVERAGE
    if math.isfinite(law.degrees_of_freedom):
        factor = float(t.ppf(0.975, law.degrees_of_freedom))
    rate = float(burn_rate(law, pressure))
    own = float(log_rate_uncertainty(law, pressure)) ** 2 - law.scatter**2
    step = factor * math.sqrt(max(own, 0.0))
    spread = math.nan
    if law.covariance is not None:
        spread = factor * math.sqrt(law.covariance[1][1])
    band = next((b for b in law.bands if pressure <= b.high), law.bands[-1])
    return LawBand(
        rate=rate,
        rate_low=rate * math.exp(-step),
        rate_high=rate * math.exp(step),
        exponent=band.exponent,
        exponent_low=band.exponent - spread,
        exponent_high=band.exponent + spread,
        origin=law.origin,
    )
