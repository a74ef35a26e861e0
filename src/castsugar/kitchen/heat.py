"""What heat does to the sugar: an index of degradation over a cook."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.kitchen.validity import celsius, inside

#: Activation energy [J/mol] of the first stage of sucrose, from thermogravimetry; the
#: published log10 A is 8.2, raised by a factor of 15 to 9.4 so that sucrose at 185 C is
#: gone in half an hour as seen in closed glass (Simkovic et al.): fitted.
ENERGY, LOG10_RATE = 105.0e3, 9.4

#: The index is uncertain by this factor either way (acidity, invert sugar, metal).
FACTOR = 5.0

#: Degraded share from which to warn.
WARN = 0.02

#: No verdict on a recipe above this bulk temperature [K]; caution above the other.
HOTTEST, WARM = 423.15, 403.15


def degradation_rate(temperature: ArrayLike) -> FloatArray:
    """Return the rate of degradation, 10^9.4 exp(-105 kJ/mol / R T). [1/s]

    Parameters
    ----------
    temperature : array_like
        -20 to 200 C. [K]

    Raises
    ------
    ValidityError
    """
    celsius(temperature, -20.0, 200.0, "temperature of the sugar")
    t = np.asarray(temperature, dtype=float)
    return 10.0**LOG10_RATE * np.exp(-ENERGY / (GAS_CONSTANT * t))


def degraded(temperature: ArrayLike, duration: ArrayLike) -> FloatArray:
    """Return the share of sugar degraded at one temperature: 1 - exp(-k t).

    An index, not an assay: uncertain by a factor of 5 either way.

    Parameters
    ----------
    temperature : array_like
        [K]
    duration : array_like
        0 or more. [s]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(degraded(392.15, 600.0)), 3)
    0.015
    >>> round(float(degraded(423.15, 600.0)), 3)
    0.152
    """
    time = inside(duration, 0.0, np.inf, "duration", "s")
    return -np.expm1(-degradation_rate(temperature) * time)


def hottest_for(duration: float, limit: float = WARN) -> float:
    """Return the temperature at which the limit is reached in a given time. [K]

    Parameters
    ----------
    duration : float
        Above 0. [s]
    limit : float
        Degraded share, between 0 and 1.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(hottest_for(600.0) - 273.15)
    122
    """
    inside(duration, 1e-3, np.inf, "duration", "s")
    inside(limit, 1e-6, 1.0 - 1e-6, "limit of degraded sugar")
    rate = -np.log1p(-limit) / duration
    return float(ENERGY / (GAS_CONSTANT * np.log(10.0**LOG10_RATE / rate)))
