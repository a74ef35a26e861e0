"""Pots, kitchens and recipes for the tests."""

from __future__ import annotations

from typing import Any

import numpy as np

import castsugar as cs
from castsugar.arrays import FloatArray
from castsugar.constants import ICE_POINT
from castsugar.kitchen import pot, solubility, water
from castsugar.kitchen.parameters import Values, unmeasured
from castsugar.kitchen.pot import Pot

#: Medians of what is believed before any measurement.
MEDIANS = unmeasured().central()

#: What a prototype of the chain took for them.
PROTOTYPE = MEDIANS.changed(
    packing=np.asarray(0.64),
    nitrate_dissolved=np.asarray(0.3),
    law_exponent=np.asarray(2.0),
)

AIR = 101325.0

#: Retail syrup, and the confectioner's: solids, composition, viscosity grade.
RETAIL = {"solids": 0.77, "grade": 42.0, "viscosity_grade": 62.0}
CONFECTIONER = {"solids": 0.803, "grade": 42.0, "viscosity_grade": 42.0}


def hold(celsius: float, minutes: float = 10.0) -> cs.Cook:
    """Return a cook at one temperature."""
    return cs.Cook.hold(celsius + ICE_POINT, 60.0 * minutes)


def kitchen(celsius: float = 119.0, minutes: float = 10.0, **more: Any) -> cs.Kitchen:
    """Return a kitchen with a cook at one temperature."""
    return cs.Kitchen(cook=hold(celsius, minutes), **more)


def weigh(nitrate: float, sugar: float, syrup: float, **more: Any) -> cs.Mix:
    """Weigh nitrate, sucrose and retail syrup."""
    recipe = {"KNO3": nitrate, "sucrose": sugar, "corn syrup": syrup}
    return cs.Mix.weigh(recipe, **more)


def pot_of(
    parts: Any, *, solids: float, grade: float, viscosity_grade: float, loss: float
) -> Pot:
    """Return nitrate, sucrose, syrup and (if given) water in a pot, by hand."""
    rows = np.atleast_2d(np.asarray(parts, dtype=float))
    rows = rows / rows.sum(axis=1, keepdims=True)
    if rows.shape[1] == 3:
        rows = np.column_stack([rows, np.zeros(len(rows))])

    def full(value: float) -> FloatArray:
        return np.full(len(rows), float(value))

    return Pot(
        nitrate=rows[:, 0],
        sucrose=rows[:, 1],
        syrup=rows[:, 2],
        water=rows[:, 3],
        dextrose=full(0.0),
        sorbitol=full(0.0),
        erythritol=full(0.0),
        other_sugar=full(0.0),
        grains=full(0.0),
        grains_volume=full(0.0),
        powdered=full(0.0),
        chloride=np.zeros(len(rows), dtype=bool),
        syrup_solids=full(solids),
        syrup_solids_u=full(0.02),
        syrup_grade=full(grade),
        syrup_viscosity_grade=full(viscosity_grade),
        stated_loss=full(loss),
        measured_syrup=np.ones(len(rows), dtype=bool),
        gap=("",) * len(rows),
    )


def retail(parts: Any, loss: float = np.nan) -> Pot:
    """Return recipes with retail syrup."""
    return pot_of(parts, loss=loss, **RETAIL)


def central(
    held: Pot, celsius: float, values: Values = MEDIANS
) -> tuple[FloatArray, FloatArray]:
    """Return viscosity and crowding at the pour, at the medians."""
    return pot.poured(held, values, hold(celsius, 1.0), AIR)


def relative_solids_20C(held: Pot, loss: float, values: Values) -> FloatArray:
    """Return the solids over packing at 20 C."""
    left = (1.0 - loss) * pot.water_at_start(held, values)
    cold = pot.standing(held, values, left, np.asarray(20.0 + ICE_POINT))
    return cold.crowding


def sugar_per_water(
    left: FloatArray,
    sucrose: float,
    solids: float,
    kelvin: float,
    nitrate: float = np.inf,
) -> FloatArray:
    """Return moles of dissolved sugar per mole of water, written out again."""
    hinder = float(MEDIANS.solubility_loss)
    full = float(MEDIANS.nitrate_dissolved) * solubility.salt_solubility(kelvin)
    salted = 1.0 + 0.03 * np.minimum(full, nitrate / left)
    takes = salted * solubility.sucrose_solubility(kelvin) * left**2
    takes = takes / (left + hinder * solids)
    moles = np.minimum(sucrose, takes) / water.SUCROSE
    moles = moles + solids * 42.0 / water.GRADE_MASS
    result: FloatArray = moles / (left / water.WATER)
    return result


def pressure_over(
    left: FloatArray, sucrose: float, solids: float, kelvin: float
) -> FloatArray:
    """Return the vapour pressure over a pot whose water is full of nitrate. [Pa]"""
    ratio = sugar_per_water(left, sucrose, solids, kelvin)
    salt = float(MEDIANS.nitrate_dissolved) * solubility.salt_solubility(kelvin)
    activity = water.water_activity(ratio / (1.0 + ratio))
    activity = activity * water.salt_activity(salt)
    result: FloatArray = activity * water.saturation_pressure(kelvin)
    return result
