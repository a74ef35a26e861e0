"""When a casting sets to glass, and at what humidity it keeps."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, celsius, inside
from castsugar.constants import ICE_POINT

# ----------------------------------------------------------------------------
# Glass transition of the binder, and whether the grain sets.

#: Glass transitions of dry sucrose and of water [K]: Roos (1993), from memory, 62 C;
#: water -135 C, open glass-transition collections (136 K belongs to the fit).
SUCROSE, WATER = 62.0 + ICE_POINT, 136.0

#: Glucose [K]: 31-38 C in open collections.
GLUCOSE = 31.0 + ICE_POINT

#: Solids over packing after cooling: from the first on firm, from the second pliable.
FIRM, PLIABLE = 1.0, 0.9


def syrup_glass_transition(dextrose_equivalent: ArrayLike) -> FloatArray:
    """Return the glass transition of dry syrup solids. [K]

    193 C - 2.66 DE for DE 5-50 (fitted to Roos & Karel 1991, values from memory); from
    there a straight line to glucose, 31 C at DE 100 (estimated).

    Raises
    ------
    ValidityError
        Outside DE 5 to 100.

    Examples
    --------
    >>> round(float(syrup_glass_transition(42.0)) - 273.15)
    81
    """
    grade = inside(dextrose_equivalent, 5.0, 100.0, "dextrose equivalent")
    knee = 193.0 - 2.66 * 50.0
    far = knee + (GLUCOSE - ICE_POINT - knee) * (grade - 50.0) / 50.0
    return np.where(grade <= 50.0, 193.0 - 2.66 * grade, far) + ICE_POINT


def dry_blend(masses: ArrayLike, transitions: ArrayLike) -> FloatArray:
    """Return the glass transition of dry sugars: Fox, 1/Tg = sum(w_i / Tg_i). [K]

    Sums over the last axis.

    Examples
    --------
    >>> round(float(dry_blend([0.6, 0.4], [335.15, 354.43])), 1)
    342.6
    """
    w = np.asarray(masses, dtype=float)
    parts = w / np.asarray(transitions, dtype=float)
    return w.sum(axis=-1) / parts.sum(axis=-1)


def glass_transition(water: ArrayLike, dry: ArrayLike = SUCROSE) -> FloatArray:
    """Return the glass transition of a sugar with water: Gordon & Taylor. [K]

    Tg = (w Tgs + k x 136) / (w + k x), k = 3.61 + 0.0293 Tgs(C) (Roos 1993, from
    memory). +-10 K; dissolved nitrate is left out.

    Parameters
    ----------
    water : array_like
        Mass fraction of water in the binder, 0 to 0.6.
    dry : array_like
        Glass transition of the dry sugars. [K]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(glass_transition(0.05, 343.15)) - 273.15)
    22
    """
    x = inside(water, 0.0, 0.6, "mass fraction of water in the binder")
    solid = np.asarray(dry, dtype=float)
    k = 3.61 + 0.0293 * (solid - ICE_POINT)
    return ((1.0 - x) * solid + k * x * WATER) / (1.0 - x + k * x)


def set_word(ratio: float) -> str:
    """Say what the solids over packing at 20 C mean for the grain.

    Above 1 the grains carry each other once the sugar has recrystallised; the rule is
    derived here and untested. Full set may take days: syrup delays it.

    Examples
    --------
    >>> [set_word(r) for r in (1.05, 0.95, 0.8)]
    ['firm', 'pliable', 'stays soft']
    """
    if ratio >= FIRM:
        return "firm"
    return "pliable" if ratio >= PLIABLE else "stays soft"


# ----------------------------------------------------------------------------
# Which room air wets the grain, and which dries it.

#: Water activity over saturated sucrose at 25 C, from memory.
SUCROSE_ACTIVITY = 0.843


def nitrate_deliquescence(temperature: ArrayLike) -> FloatArray:
    """Return the humidity above which potassium nitrate draws water. [%]

    RH = 96.332 + 0.011214 t - 0.0048443 t^2, t in C: the table of L. Greenspan, J. Res.
    NBS 81A (1977) 89, through its eleven points (fitted to 0.005); +-0.6.

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
    93.6
    """
    t = celsius(temperature, 0.0, 50.0, "temperature of the store")
    return 96.332 + t * (0.011214 - 0.0048443 * t)


def crystal_limit(
    temperature: float = 298.15, activity: ArrayLike = SUCROSE_ACTIVITY
) -> FloatArray:
    """Return the humidity above which nitrate and a sugar together draw water. [%]

    The product of the two (Ross): +-3.

    Parameters
    ----------
    temperature : float
        [K]
    activity : array_like
        Of water over the saturated solution of the sugar.

    Examples
    --------
    >>> round(float(crystal_limit()))
    79
    """
    return np.asarray(activity) * nitrate_deliquescence(temperature)


def humidity_limit(
    activity: ArrayLike,
    temperature: float = 298.15,
    crystals: ArrayLike = SUCROSE_ACTIVITY,
) -> FloatArray:
    """Return the humidity above which a cast grain gains water. [%]

    The water activity of its liquid after the sugar has recrystallised, at most the
    limit of the crystals. A binder without water draws it at any humidity.

    Parameters
    ----------
    activity : array_like
        Of the liquid; NaN where there is none.
    temperature : float
        [K]
    crystals : array_like
        Activity over the saturated solution of its sugar.
    """
    wet = 100.0 * np.asarray(activity, dtype=float)
    return np.fmin(wet, crystal_limit(temperature, crystals))
