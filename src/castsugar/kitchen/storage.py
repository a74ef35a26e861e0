"""Which room air wets the grain, and which dries it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.kitchen.validity import celsius

#: Water activity over saturated sucrose at 25 C, from memory.
SUCROSE_ACTIVITY = 0.843


def nitrate_deliquescence(temperature: ArrayLike) -> FloatArray:
    """Return the humidity above which potassium nitrate draws water. [%]

    RH = 43.22 exp(225 / T), CRC handbook / Wexler & Seinfeld (1991); +-2.

    Parameters
    ----------
    temperature : array_like
        0 to 50 C. [K]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(nitrate_deliquescence(298.15)), 1)
    91.9
    """
    celsius(temperature, 0.0, 50.0, "temperature of the store")
    return 43.22 * np.exp(225.0 / np.asarray(temperature, dtype=float))


def crystal_limit(temperature: float = 298.15) -> float:
    """Return the humidity above which nitrate and sucrose together draw water. [%]

    The product of the two (Ross), about 78 %: fitted, +-3.

    Examples
    --------
    >>> round(crystal_limit())
    77
    """
    return float(SUCROSE_ACTIVITY * nitrate_deliquescence(temperature))


def humidity_limit(activity: ArrayLike, temperature: float = 298.15) -> FloatArray:
    """Return the humidity above which a cast grain gains water. [%]

    The water activity of its liquid after the sugar has recrystallised, at most the
    limit of the crystals. A binder without water draws it at any humidity.

    Parameters
    ----------
    activity : array_like
        Of the liquid; NaN where there is none.
    temperature : float
        [K]
    """
    wet = 100.0 * np.asarray(activity, dtype=float)
    return np.fmin(wet, crystal_limit(temperature))
