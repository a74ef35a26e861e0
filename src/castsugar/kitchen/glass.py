"""Glass transition of the binder, and whether the grain sets."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.kitchen.validity import ICE_POINT, inside

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
