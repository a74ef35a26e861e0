"""What dissolves in the liquid of the pot: sugars and potassium nitrate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, celsius
from castsugar.constants import GAS_CONSTANT, ICE_POINT
from castsugar.errors import unknown_name
from castsugar.kitchen.water import SUCROSE, WATER

#: Sucrose, g per g of water against C: Mohos, Confectionery and Chocolate Engineering
#: (2010), table A2.2; the same in the CRC handbook.
_SUCROSE = (
    (0.0, 20.0, 40.0, 60.0, 80.0, 90.0, 100.0),
    (1.792, 2.039, 2.381, 2.873, 3.621, 4.157, 4.872),
)

#: Slopes there, g per g and K, of the monotone cubic between them: F. N. Fritsch &
#: J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300, as scipy has them. Loading
#: scipy.interpolate for them takes longer than a verdict.
_RISES = (
    0.009975000000000017,
    0.014341935483870962,
    0.02017553956834532,
    0.02967870967741937,
    0.04494708520179372,
    0.061269384492406063,
    0.08044999999999997,
)

#: Where the tables of sucrose end [C].
_TABLE_END = 145.0

#: Melting point of sucrose [K]: 186 C, published 185-190 C.
MELTING = 186.0 + ICE_POINT

#: Salts, g per g of water against C. KNO3: several school tables agree to 100 C; the
#: last point is the boiling saturated solution, from memory. KCl: from memory of the
#: CRC handbook.
_SALTS = {
    "potassium nitrate": (
        (0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 115.9),
        (0.133, 0.316, 0.639, 1.10, 1.69, 2.46, 3.35),
    ),
    "potassium chloride": (
        (0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 108.6),
        (0.280, 0.342, 0.401, 0.458, 0.513, 0.563, 0.585),
    ),
}


def sucrose_solubility(temperature: ArrayLike) -> FloatArray:
    """Return the mass of sucrose that dissolves per mass of water.

    The handbook's table up to 100 C (monotone cubic); to 145 C its end times
    exp(1.213 v + 1.926 v^2), v = (t - 100) / 100, through the ratios of a Russian sugar
    table (100, 120, 140 C: 4.844, 6.669, 10.710; fitted); above that the liquidus to
    the melting point: ln x = -(4253 - 2.17e6 u) u s with u = 1/T - 1/459.15 K, s so
    that both meet at 145 C.

    Parameters
    ----------
    temperature : array_like
        0 to 185 C. [K]

    Notes
    -----
    +-10 % from 100 to 145 C, more above. How fast it dissolves is not modelled.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(sucrose_solubility(392.15)), 2)
    6.58
    """
    t = celsius(temperature, 0.0, 185.0, "temperature of the sugar solution")
    found = _continued(t)
    if (t > _TABLE_END).any():
        found = np.where(t <= _TABLE_END, found, _liquidus(t))
    if (t <= 100.0).any():
        found = np.where(t <= 100.0, _monotone(np.minimum(t, 100.0)), found)
    return np.asarray(found)


def _monotone(t: FloatArray) -> FloatArray:
    """Return the table between its points."""
    points, values, rises = map(np.asarray, (*_SUCROSE, _RISES))
    low = np.clip(np.searchsorted(points, t, side="right") - 1, 0, len(points) - 2)
    step = points[low + 1] - points[low]
    x = (t - points[low]) / step
    share = x * x * (3.0 - 2.0 * x)
    bent = x * (1.0 - x) * ((1.0 - x) * rises[low] - x * rises[low + 1])
    return np.asarray(
        (1.0 - share) * values[low] + share * values[low + 1] + bent * step
    )


def _continued(t: FloatArray) -> FloatArray:
    """Return the solubility between the table and the liquidus."""
    v = 0.01 * (np.clip(t, 100.0, _TABLE_END) - 100.0)
    return _SUCROSE[1][-1] * np.exp(v * (1.213 + 1.926 * v))


def _liquidus(t: FloatArray) -> FloatArray:
    end = float(_continued(np.asarray(_TABLE_END))) / SUCROSE
    fraction = end / (end + 1.0 / WATER)

    def shape(celsius_: FloatArray) -> FloatArray:
        u = 1.0 / (celsius_ + ICE_POINT) - 1.0 / MELTING
        return -(4253.0 - 2.17e6 * u) * u

    scale = np.log(fraction) / shape(np.asarray(_TABLE_END))
    x = np.exp(shape(np.maximum(t, _TABLE_END)) * scale)
    return x / (1.0 - x) * (SUCROSE / WATER)


#: By how much the nitrate, or the chloride, in the water changes how much sucrose it
#: takes, per mass of salt per mass of water: both solids present at 31.25 C, Koehler
#: (1897) in Seidell's handbook, from memory: 224.7 and 246.5 of 222 g of sucrose.
SALTING = 0.03
SALTING_CHLORIDE = 0.25


def salted(
    solubility: FloatArray, salt: FloatArray, chloride: ArrayLike = False
) -> FloatArray:
    """Return a solubility of sucrose in water that holds a salt.

    s (1 + 0.03 m), 0.25 for chloride; m the mass of salt per mass of water. Measured
    once, at 31 C; -0.05 to 0.25 are thinkable for the nitrate.

    Examples
    --------
    >>> round(float(salted(np.asarray(2.22), np.asarray(0.419))), 3)
    2.248
    """
    slope = (
        np.where(chloride, SALTING_CHLORIDE, SALTING) if np.any(chloride) else SALTING
    )
    return solubility * (1.0 + slope * salt)


def salt_solubility(
    temperature: ArrayLike, salt: str = "potassium nitrate"
) -> FloatArray:
    """Return the mass of a salt that dissolves per mass of pure water.

    Tables of potassium nitrate and, for trials without oxidizer, potassium chloride,
    linear in the logarithm; the last stretch is continued to 150 C (estimated). Water
    that sugar holds dissolves less: multiply by the share `nitrate_dissolved`.

    Parameters
    ----------
    temperature : array_like
        0 to 160 C. [K]
    salt : str
        ``"potassium nitrate"`` or ``"potassium chloride"``.

    Raises
    ------
    ValidityError, UnknownNameError

    Examples
    --------
    >>> round(float(salt_solubility(293.15)), 3)
    0.316
    """
    t = celsius(temperature, 0.0, 160.0, "temperature of the salt solution")
    if salt not in _SALTS:
        raise unknown_name("salt", salt, _SALTS)
    points, values = _SALTS[salt]
    logs = np.log(values)
    slope = (logs[-1] - logs[-2]) / (points[-1] - points[-2])
    beyond = np.maximum(t - points[-1], 0.0) * slope
    return np.exp(np.interp(t, points, logs) + beyond)


# ----------------------------------------------------------------------------
# Sugars that melt in the pot, and dextrose.

#: Melting point [K], heat of fusion [J/mol] and what its heat capacity grows by on
#: melting [J/mol/K]: open collections and from memory. Sorbitol melts at 95-101 C,
#: flakes with water lower; erythritol at 118-120 C.
_FUSION = {
    "sorbitol": (98.0 + ICE_POINT, 30.3e3, 190.0),
    "erythritol": (119.0 + ICE_POINT, 40.0e3, 130.0),
}

#: Dextrose, g per g of water against C, from memory.
_DEXTROSE = ((25.0, 50.0, 70.0, 90.0), (1.04, 2.44, 3.57, 5.56))

#: Below this [K] dextrose that is dissolved stays so: it crystallises slowly.
SLOW = 85.0 + ICE_POINT


def melting_point(sugar: str) -> float:
    """Return where a sugar melts: sorbitol or erythritol. [K]"""
    return _FUSION[sugar][0]


def liquidus(temperature: ArrayLike, sugar: str) -> FloatArray:
    """Return the mole fraction of a sugar in the liquid that freezes there, at most 1.

    ln X = -(H/R)(1/T - 1/Tm) + (C/R)(Tm/T - 1 - ln(Tm/T)), an ideal solution. Sorbitol
    in water is one (activity coefficient 0.82 to 0.95, 20 to 40 C), sugar alcohols in
    each other too; erythritol dissolves in water by half more than that.

    Parameters
    ----------
    temperature : array_like
        [K]
    sugar : str
        ``"sorbitol"`` or ``"erythritol"``.

    Examples
    --------
    >>> round(float(liquidus(293.15, "sorbitol")), 3)
    0.146
    """
    melts, heat, more = _FUSION[sugar]
    ratio = melts / np.minimum(np.asarray(temperature, dtype=float), melts)
    log = (1.0 - ratio) * (heat / (GAS_CONSTANT * melts))
    log = log + (more / GAS_CONSTANT) * (ratio - 1.0 - np.log(ratio))
    return np.exp(log)


def molten(
    others: FloatArray,
    sorbitol: FloatArray,
    erythritol: FloatArray,
    temperature: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return how much sorbitol and erythritol is liquid, in moles.

    At most their :func:`liquidus` of all moles of the liquid. With N of them,
    N = others + min(s, x_s N) + min(e, x_e N): the right side is the least of four
    straight lines in N, so that N is the least of what each of them gives.

    Parameters
    ----------
    others : ndarray
        Moles of water and of what is dissolved in it.
    sorbitol, erythritol : ndarray
        Moles in all.
    temperature : ndarray
        [K]
    """
    one, two = (liquidus(temperature, name) for name in _FUSION)

    def held(moles: FloatArray, rest: FloatArray) -> FloatArray:
        return np.where(rest > 0.0, moles / np.where(rest > 0.0, rest, 1.0), np.inf)

    whole = np.minimum(
        others + sorbitol + erythritol, held(others + sorbitol, 1.0 - two)
    )
    whole = np.minimum(whole, held(others + erythritol, 1.0 - one))
    whole = np.minimum(whole, held(others, 1.0 - one - two))
    return np.minimum(sorbitol, one * whole), np.minimum(erythritol, two * whole)


def dextrose_solubility(temperature: ArrayLike) -> FloatArray:
    """Return the mass of dextrose that dissolves per mass of water.

    Linear in the logarithm between 25, 50, 70 and 90 C (from memory), and continued
    above (estimated).

    Parameters
    ----------
    temperature : array_like
        [K]

    Examples
    --------
    >>> round(float(dextrose_solubility(363.15)), 2)
    5.56
    """
    t = np.asarray(temperature, dtype=float) - ICE_POINT
    points, logs = _DEXTROSE[0], np.log(_DEXTROSE[1])
    slope = (logs[-1] - logs[-2]) / (points[-1] - points[-2])
    return np.exp(np.interp(t, points, logs) + slope * np.maximum(t - points[-1], 0.0))
