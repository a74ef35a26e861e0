"""How a mix thickens as it cools, and dries as it cooks: with 95 % bands."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import ValidityError
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.parameters import Belief, Kitchen, Values
from castsugar.kitchen.pot import (
    Pot,
    pot_of,
    standing,
    viscosity,
    water_at_start,
    water_left,
)
from castsugar.kitchen.verdict import ENDS
from castsugar.mix.mix import Mix
from castsugar.numerics import smooth_quantile

#: Low end, median and high end of a band.
_LEVELS = (ENDS[0], 0.5, ENDS[1])


def viscosity_curve(mix: Mix, kitchen: Kitchen, temperature: FloatArray) -> FloatArray:
    """Return the viscosity of a cooked mix at bulk temperatures. [Pa s]

    Parameters
    ----------
    kitchen : Kitchen
        Its cook decides the water; the temperatures are those of its thermometer.
    temperature : ndarray, shape (n,)
        [K]

    Returns
    -------
    ndarray, shape (3, n)
        Low end of the 95 % band, median, high end; infinite where it jams.

    Raises
    ------
    ValidityError
        For a mix or a cook without a model.
    """
    pot, known = known_pot(mix, kitchen)
    values = known.draw(kitchen.draws, kitchen.seed)
    left = water_left(pot, values, kitchen.cook, kitchen.air_pressure)
    found = []
    for one in np.asarray(temperature, dtype=float):
        true = one + values.thermometer
        found.append(viscosity(pot, values, standing(pot, values, left, true), true)[0])
    return _banded(np.array(found))


def water_curve(mix: Mix, kitchen: Kitchen, time: FloatArray) -> FloatArray:
    """Return the water of a mix at times of its cook, as a share of what is left of it.

    Parameters
    ----------
    time : ndarray, shape (n,)
        From the start of the cook, above 0 and up to its end. [s]

    Returns
    -------
    ndarray, shape (3, n)
        Low end of the 95 % band, median, high end.

    Raises
    ------
    ValidityError
        For a mix or a cook without a model.
    """
    pot, known = known_pot(mix, kitchen)
    values = known.draw(kitchen.draws, kitchen.seed)
    found = []
    for one in np.asarray(time, dtype=float):
        cook = kitchen.cook.lasting(float(one))
        found.append(water_share(pot, values, cook, kitchen.air_pressure))
    return _banded(np.array(found))


def water_share(pot: Pot, values: Values, cook: Cook, pressure: float) -> FloatArray:
    """Return the water of one mix after a cook, as a share of what is left of it.

    Arguments as for :func:`castsugar.kitchen.pot.water_left`, the pot of one row.
    """
    start = water_at_start(pot, values)
    left = water_left(pot, values, cook, pressure)
    return np.asarray((left / (1.0 - start + left))[0])


def known_pot(mix: Mix, kitchen: Kitchen) -> tuple[Pot, Belief]:
    """Return the pot of a mix, and what is believed of the kitchen for its syrup.

    Raises
    ------
    ValidityError
        For a mix or a cook without a model.
    """
    pot = pot_of(mix, kitchen)
    if pot.gap[0] or kitchen.too_hot:
        raise ValidityError(pot.gap[0] or "no model above 150 C bulk temperature")
    known = kitchen.belief
    if not pot.measured_syrup[0]:
        known = known.of_another_syrup()
    return pot, known


def _banded(drawn: FloatArray) -> FloatArray:
    """Return the three quantiles of (n, draws)."""
    return np.array([smooth_quantile(drawn, level) for level in _LEVELS])
