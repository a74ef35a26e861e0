"""Water of the pot: activity over sugars, boiling temperature, drying of a layer."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, celsius, inside
from castsugar.constants import GAS_CONSTANT, ICE_POINT, STANDARD_ATMOSPHERE

#: Molar masses of water and sucrose [kg/mol].
WATER, SUCROSE = 0.018015, 0.3423

#: Norrish constants: sucrose and maltose after Baeza et al. (2010) and Chirife as
#: quoted in an open food-science code base; 6.5 also serves syrup solids.
NORRISH = {
    "sucrose": 6.5,
    "syrup solids": 6.5,
    "glucose": 2.25,
    "sorbitol": 1.65,
    "maltose": 4.54,
}

#: How dissolved nitrate lowers the activity, ln a per mass of nitrate per mass of
#: water: so that its saturated solution (3.35) boils at 115.9 C (from memory). At 25 C
#: it gives 0.94 over the saturated solution, where 0.92-0.936 is measured.
NITRATE = -0.164

#: The same of potassium chloride: between -0.48, of the 84.3 % over its saturated
#: solution at 25 C (L. Greenspan, J. Res. NBS 81A (1977) 89, from memory), and -0.51,
#: of its boiling at 108.6 C (from memory).
CHLORIDE = -0.50

#: Weakens the Norrish term at high concentration so that the confectioners' boiling
#: temperatures come out; fitted to them.
DAMPING = 1.12

#: Antoine constants for mmHg and C, of 1-100 C and 99-374 C (standard tables, from
#: memory); they give the same pressure at the temperature where we change over [C].
_ANTOINE = ((8.07131, 1730.63, 233.426), (8.14019, 1810.94, 244.485))
_CROSSING = 108.26631469857102
_MMHG = 133.322368

#: Temperature at which the drying time is stated, and how it falls with temperature
#: (from the a-priori estimates 2300 s at 105 C and 1500 s at 119 C, estimated).
DRYING_REFERENCE = 119.0 + ICE_POINT
DRYING_ENERGY = 37.6e3

#: Dextrose equivalent x molar mass of the solids of a glucose syrup: that of
#: glucose is 100. [kg/mol]
GRADE_MASS = 18.016


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    """Return the vapour pressure of water. [Pa]

    log10(p / mmHg) = A - B / (C + t), Antoine, constants of 1-100 C and 99-374 C,
    changed over where they cross.

    Parameters
    ----------
    temperature : array_like
        1 to 200 C are accepted. [K]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(saturation_pressure(373.15)) / 1e3, 1)
    101.3
    """
    t = celsius(temperature, 1.0, 200.0, "temperature of the water")
    cold, hot = (a - b / (c + t) for a, b, c in _ANTOINE)
    logarithm: FloatArray = np.where(t < _CROSSING, cold, hot)
    return _MMHG * np.power(10.0, logarithm)


def air_pressure(altitude: float) -> float:
    """Return the pressure of the standard atmosphere. [Pa]

    101325 (1 - 2.25577e-5 h)^5.25588, ICAO standard atmosphere, up to 5000 m.

    Parameters
    ----------
    altitude : float
        -500 to 5000. [m]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(air_pressure(1000.0) / 1e3, 2)
    89.87
    """
    inside(altitude, -500.0, 5000.0, "altitude", "m")
    return STANDARD_ATMOSPHERE * math.pow(1.0 - 2.25577e-5 * altitude, 5.25588)


def sugar_mole_fraction(
    water: ArrayLike,
    sucrose: ArrayLike,
    syrup_solids: ArrayLike = 0.0,
    dextrose_equivalent: ArrayLike = 42.0,
) -> FloatArray:
    """Return the mole fraction of all dissolved sugars in a liquid.

    Masses in any one unit; the solids of a syrup count with 18.016 / DE kg/mol.

    Examples
    --------
    >>> round(float(sugar_mole_fraction(10.0, 90.0)), 4)
    0.3214
    """
    wet, dry, syrup, grade = (
        np.asarray(v, dtype=float)
        for v in (water, sucrose, syrup_solids, dextrose_equivalent)
    )
    sugars = dry / SUCROSE + syrup * grade / GRADE_MASS
    return sugars / (sugars + wet / WATER)


def water_activity(
    mole_fraction: ArrayLike,
    norrish: ArrayLike = 6.5,
    damping: ArrayLike = DAMPING,
) -> FloatArray:
    """Return the activity of water over dissolved sugars.

    a = (1 - X) exp(-K X^2 / (1 + 1.12 K X^2)): Norrish with a damping that was fitted
    to confectioners' boiling temperatures.

    Parameters
    ----------
    mole_fraction : array_like
        Of all sugars in the liquid, 0 to 1.
    norrish : array_like
        Mole average of the constants in :data:`NORRISH`.
    damping : array_like
        1.12, for sorbitol 0.

    Notes
    -----
    Error about 0.03 for syrups, 0.07 for dry sucrose. Of sugars alone.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(water_activity(0.097)), 3)
    0.853
    """
    x = inside(mole_fraction, 0.0, 1.0, "mole fraction of sugars")
    term = np.asarray(norrish, dtype=float) * x * x
    return (1.0 - x) * np.exp(-term / (1.0 + np.asarray(damping) * term))


def log_activity(x: FloatArray, norrish: ArrayLike, damping: ArrayLike) -> FloatArray:
    """Return ln of :func:`water_activity`, its range not looked at."""
    term = np.asarray(norrish, dtype=float) * x * x
    return np.log1p(-x) - term / (1.0 + np.asarray(damping) * term)


def salt_activity(dissolved: ArrayLike, chloride: ArrayLike = False) -> FloatArray:
    """Return the factor on the activity of water that a dissolved salt brings.

    exp(-0.164 m) for potassium nitrate, exp(-0.50 m) for potassium chloride, multiplied
    with that of the sugars (Ross, 1975, from memory).

    Parameters
    ----------
    dissolved : array_like
        Mass of the salt per mass of water.
    chloride : array_like of bool
        Whether the salt is potassium chloride.

    Examples
    --------
    >>> round(float(salt_activity(0.38)), 2), round(float(salt_activity(0.34, True)), 2)
    (0.94, 0.84)
    """
    return np.exp(log_salt_activity(dissolved, chloride))


def log_salt_activity(dissolved: ArrayLike, chloride: ArrayLike = False) -> FloatArray:
    """Return ln of :func:`salt_activity`."""
    slope = np.where(chloride, CHLORIDE, NITRATE) if np.any(chloride) else NITRATE
    return slope * np.asarray(dissolved, dtype=float)


def boiling_temperature(
    mole_fraction: ArrayLike,
    pressure: float = STANDARD_ATMOSPHERE,
    norrish: float = 6.5,
    damping: float = DAMPING,
) -> FloatArray:
    """Return where a sugar solution boils: activity x vapour pressure = air pressure.

    Parameters
    ----------
    mole_fraction : array_like
        Of all sugars, 0 to 0.8.
    pressure : float
        Of the air, 50 to 110 kPa. [Pa]

    Returns
    -------
    ndarray
        [K]; error about 3 K.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(boiling_temperature(sugar_mole_fraction(15.0, 85.0))) - 273.15, 1)
    114.9
    """
    check_air(pressure)
    x = inside(mole_fraction, 0.0, 0.8, "mole fraction of sugars")
    return _antoine_temperature(pressure / water_activity(x, norrish, damping))


def check_air(pressure: float) -> None:
    """Refuse an air pressure that no kitchen has."""
    inside(pressure / 1e3, 50.0, 110.0, "air pressure", "kPa")


def _antoine_temperature(pressure: FloatArray) -> FloatArray:
    """Return the temperature at which water has a vapour pressure. [K]"""
    logarithm = np.log10(pressure / _MMHG)
    cold, hot = (b / (a - logarithm) - c for a, b, c in _ANTOINE)
    return np.where(hot < _CROSSING, cold, hot) + ICE_POINT


def boiling_mole_fraction(
    temperature: ArrayLike,
    pressure: ArrayLike = STANDARD_ATMOSPHERE,
    norrish: ArrayLike = 6.5,
    damping: ArrayLike = DAMPING,
) -> FloatArray:
    """Return the mole fraction of sugars at which a liquid boils; 0 if water would not.

    The inverse of :func:`boiling_temperature`. Where a salt lowers the activity by a
    factor, give the air pressure divided by it. At most 0.995.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(boiling_mole_fraction(388.15)), 3)
    0.23
    """
    activity = np.asarray(pressure) / saturation_pressure(temperature)
    grid, logs = _activity_table()
    wanted = np.log(np.clip(activity, np.exp(logs[0]), 1.0))
    other = (np.asarray(norrish) != NORRISH["sucrose"]) | (
        np.asarray(damping) != DAMPING
    )
    if not other.all():
        # The table leaves 1e-6, Newton the last bits.
        start = np.interp(wanted, logs, grid)
        x = _nearer(start, wanted, NORRISH["sucrose"], DAMPING, 2)
    if other.any():
        # From the right, where the solution would be ideal.
        far = _nearer(-np.expm1(wanted), wanted, norrish, damping, _STEPS)
        x = far if other.all() else np.where(other, far, x)
    return np.where(activity >= 1.0, 0.0, x)


#: Steps of Newton for other sugars than sucrose and syrup: the last bits.
_STEPS = 7

#: Largest mole fraction that is looked at.
_MOST = 0.995


def _nearer(
    x: FloatArray,
    wanted: FloatArray,
    norrish: ArrayLike,
    damping: ArrayLike,
    steps: int,
) -> FloatArray:
    """Return mole fractions nearer to where ln of the activity is the one wanted."""
    k, d = np.asarray(norrish, dtype=float), np.asarray(damping, dtype=float)
    for _ in range(steps):
        term = k * x * x
        damped = 1.0 + d * term
        miss = np.log1p(-x) - term / damped - wanted
        slope = -1.0 / (1.0 - x) - 2.0 * k * x / damped**2
        x = np.clip(x - miss / slope, 0.0, _MOST)
    return x


@functools.cache
def _activity_table() -> tuple[FloatArray, FloatArray]:
    """Return falling mole fractions and the rising ln of their activities."""
    grid = np.linspace(_MOST, 0.0, 4000)
    return grid, np.log(water_activity(grid))


def drying_weight(temperature: ArrayLike) -> FloatArray:
    """Return how fast water leaves, relative to 119 C.

    exp(-E/R (1/T - 1/392.15 K)), E = 37.6 kJ/mol: the slope between two a-priori
    estimates of the drying time, 2300 s at 105 C and 1500 s at 119 C (estimated).

    Examples
    --------
    >>> round(float(drying_weight(378.15)), 2)
    0.65
    """
    inverse = 1.0 / np.asarray(temperature, dtype=float) - 1.0 / DRYING_REFERENCE
    return np.exp(-DRYING_ENERGY / GAS_CONSTANT * inverse)


def water_lost(equivalent_time: ArrayLike, drying_time: ArrayLike) -> FloatArray:
    """Return the share of the water that left: 1 - exp(-t / tau).

    First order towards a dry layer; `equivalent_time` is the time at 119 C that dries
    as much as the cook did. A drying time belongs to a pan, a layer and a stirrer.

    Parameters
    ----------
    equivalent_time, drying_time : array_like
        [s]

    Examples
    --------
    >>> round(float(water_lost(600.0, 3000.0)), 3)
    0.181
    """
    ratio = np.asarray(equivalent_time, dtype=float) / np.asarray(drying_time)
    return -np.expm1(-ratio)
