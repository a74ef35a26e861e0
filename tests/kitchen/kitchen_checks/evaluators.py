"""From the conditions of a row to the kitchen's value, in the row's unit."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from published_checks.rows import Given
from scipy.optimize import brentq

from castsugar.constants import ICE_POINT
from castsugar.kitchen import (
    glass,
    heat,
    liquid,
    packing,
    solubility,
    suspension,
    water,
)
from castsugar.kitchen.sugars import SUGARS
from kitchen_checks.heat_evaluators import HEAT


def _kelvin(given: Given, key: str = "temperature_C") -> float:
    return given.number(key) + ICE_POINT


def _solids(given: Given) -> float:
    return given.number("solids_percent") / 100.0


def published_equation_viscosity(given: Given) -> float:
    """Sucrose in water, the published equation. [mPa s]"""
    return 1e3 * math.exp(liquid.log_published(_solids(given), _kelvin(given)))


def glass_scaled_viscosity(given: Given) -> float:
    """Sucrose in water, the equation scaled on the glass. [mPa s]"""
    return 1e3 * math.exp(liquid.log_glass_scaled(_solids(given), _kelvin(given)))


def liquid_viscosity(given: Given) -> float:
    """Sugars and syrup in water, as the pot uses it. [Pa s]"""
    share, grade = given.number("syrup_share"), given.number("dextrose_equivalent")
    log = liquid.log_viscosity(_solids(given), _kelvin(given), share, grade)
    return float(np.exp(log))


def chains_viscosity(given: Given) -> float:
    """Two-unit saccharides in water. [Pa s]"""
    solids, share = _solids(given), given.number("dp2")
    log = liquid.log_viscosity(solids, _kelvin(given))
    return float(np.exp(log + share * liquid.CHAINS[1] * solids**3))


def syrup_density(given: Given) -> float:
    """Density of a syrup. [kg/m3]"""
    return float(suspension.syrup_density(_solids(given), _kelvin(given)))


def solution_density(given: Given) -> float:
    """Sucrose in water, from the volumes that the pot adds up. [kg/m3]"""
    sugar_up, water_up = suspension.expansions(_kelvin(given))
    solids = _solids(given)
    volume = solids * suspension.DISSOLVED_SUCROSE * sugar_up
    volume += (1.0 - solids) * suspension.BOUND_WATER * water_up
    return float(1.0 / volume)


def _mole_fraction(given: Given) -> float:
    names = ("water", "sucrose", "syrup_solids", "dextrose_equivalent")
    return float(water.sugar_mole_fraction(*(given.number(n) for n in names)))


def boiling_temperature(given: Given) -> float:
    """Where a liquid boils at one atmosphere. [C]"""
    return float(water.boiling_temperature(_mole_fraction(given))) - ICE_POINT


def water_activity(given: Given) -> float:
    """Activity of water over sugars."""
    return float(water.water_activity(_mole_fraction(given)))


def saturated_sucrose_activity(given: Given) -> float:
    """Activity of water over as much sucrose as dissolves."""
    sugar = solubility.sucrose_solubility(_kelvin(given))
    return float(water.water_activity(water.sugar_mole_fraction(1.0, sugar)))


def saturation_pressure(given: Given) -> float:
    """Vapour pressure of water. [kPa]"""
    return float(water.saturation_pressure(_kelvin(given))) / 1e3


def air_pressure(given: Given) -> float:
    """Pressure of the air at an altitude. [kPa]"""
    return water.air_pressure(given.number("altitude_m")) / 1e3


def sucrose_solubility(given: Given) -> float:
    """Sucrose per 100 g of water. [g]"""
    return 100.0 * float(solubility.sucrose_solubility(_kelvin(given)))


def sucrose_solubility_percent(given: Given) -> float:
    """Sucrose of the saturated solution. [%]"""
    ratio = float(solubility.sucrose_solubility(_kelvin(given)))
    return 100.0 * ratio / (1.0 + ratio)


def salted_sucrose(given: Given) -> float:
    """Sucrose per 100 g of water that holds a salt. [g]"""
    pure = solubility.sucrose_solubility(_kelvin(given))
    salt = np.asarray(given.number("salt_g_per_100_g") / 100.0)
    chloride = bool(given.number("chloride"))
    return 100.0 * float(solubility.salted(pure, salt, chloride))


def salt_solubility(given: Given) -> float:
    """Salt per 100 g of water. [g]"""
    salt = given.text("salt")
    return 100.0 * float(solubility.salt_solubility(_kelvin(given), salt))


def thickening(given: Given) -> float:
    """How much grains thicken a liquid."""
    crowding, n = given.number("crowding"), given.number("exponent")
    return float(np.exp(suspension.log_thickening(crowding, n)))


def dry_over_wet(given: Given) -> float:
    """Packing of dry powder over that of wet grains."""
    return float(packing.dry_over_wet(1e-6 * given.number("size_um")))


def voids_with_fines(given: Given) -> float:
    """Voids with fines over those without."""
    return float(packing.voids_with_fines(given.number("share"), given.number("ratio")))


def binder_glass_transition(given: Given) -> float:
    """Glass transition of a binder whose dry one is given. [C]"""
    wet, dry = given.number("water_percent") / 100.0, _kelvin(given, "dry_C")
    return float(glass.glass_transition(wet, dry)) - ICE_POINT


def syrup_glass_transition(given: Given) -> float:
    """Glass transition of dry syrup solids. [C]"""
    grade = given.number("dextrose_equivalent")
    return float(glass.syrup_glass_transition(grade)) - ICE_POINT


def candy_glass_transition(given: Given) -> float:
    """Glass transition of sucrose, syrup solids and water. [C]"""
    sugars = given.number("sucrose"), given.number("syrup_solids")
    syrup = glass.syrup_glass_transition(given.number("dextrose_equivalent"))
    dry = glass.dry_blend(sugars, [glass.SUCROSE, float(syrup)])
    wet = given.number("water") / (sum(sugars) + given.number("water"))
    return float(glass.glass_transition(wet, dry)) - ICE_POINT


def sugar_degraded(given: Given) -> float:
    """Index of degradation at one temperature. [%]"""
    share = -math.expm1(
        -float(heat.degradation_rate(_kelvin(given))) * given.number("duration_s")
    )
    return 100.0 * share


def nitrate_deliquescence(given: Given) -> float:
    """Humidity above which the nitrate draws water. [%]"""
    return float(glass.nitrate_deliquescence(_kelvin(given)))


def crystal_limit(given: Given) -> float:
    """Humidity above which nitrate and sucrose draw water. [%]"""
    return glass.crystal_limit(_kelvin(given))


def sorbitol_viscosity(given: Given) -> float:
    """Sorbitol with water. [mPa s]"""
    return 1e3 * math.exp(
        liquid.log_glass_scaled(_solids(given), _kelvin(given), *liquid.SORBITOL)
    )


def erythritol_viscosity(given: Given) -> float:
    """Molten erythritol. [Pa s]"""
    return math.exp(liquid.log_erythritol(_kelvin(given)))


def sorbitol_freezes(given: Given) -> float:
    """Where sorbitol with water starts to freeze. [C]"""
    wet = given.number("water_percent") / water.WATER
    dry = (100.0 - given.number("water_percent")) / SUGARS["sorbitol"].molar_mass
    held = dry / (dry + wet)
    root = brentq(
        lambda t: float(solubility.liquidus(t, "sorbitol")) - held, 250.0, 371.15
    )
    return float(root) - ICE_POINT


def sorbitol_solubility(given: Given) -> float:
    """Sorbitol per 100 g of water. [g]"""
    x = float(solubility.liquidus(_kelvin(given), "sorbitol"))
    return 100.0 * x / (1.0 - x) * SUGARS["sorbitol"].molar_mass / water.WATER


def _sorbitol_fraction(wet: float, dry: float) -> float:
    moles = dry / SUGARS["sorbitol"].molar_mass
    return moles / (moles + wet / water.WATER)


def sorbitol_activity(given: Given) -> float:
    """Activity of water over amorphous sorbitol."""
    x = _sorbitol_fraction(given.number("water"), given.number("sorbitol"))
    sugar = SUGARS["sorbitol"]
    return float(water.water_activity(x, sugar.norrish, sugar.damped * water.DAMPING))


def sorbitol_boils(given: Given) -> float:
    """Where sorbitol solution boils at one atmosphere. [C]"""
    solids, sugar = _solids(given), SUGARS["sorbitol"]
    x = _sorbitol_fraction(1.0 - solids, solids)
    damping = sugar.damped * water.DAMPING
    kelvin = water.boiling_temperature(x, norrish=sugar.norrish, damping=damping)
    return float(kelvin) - ICE_POINT


def dextrose_solubility(given: Given) -> float:
    """Dextrose per 100 g of water. [g]"""
    return 100.0 * float(solubility.dextrose_solubility(_kelvin(given)))


def sugar_humidity(given: Given) -> float:
    """Humidity above which nitrate and a sugar draw water. [%]"""
    sugar = SUGARS[given.text("sugar")]
    return float(glass.crystal_limit(_kelvin(given), sugar.activity))


_FUNCTIONS: dict[str, tuple[Callable[[Given], float], ...]] = {
    "mPa s": (
        published_equation_viscosity,
        glass_scaled_viscosity,
        sorbitol_viscosity,
    ),
    "Pa s": (liquid_viscosity, chains_viscosity, erythritol_viscosity),
    "kg/m3": (syrup_density, solution_density),
    "C": (
        boiling_temperature,
        binder_glass_transition,
        syrup_glass_transition,
        candy_glass_transition,
        sorbitol_freezes,
        sorbitol_boils,
    ),
    "1": (
        water_activity,
        saturated_sucrose_activity,
        sorbitol_activity,
        thickening,
        dry_over_wet,
        voids_with_fines,
    ),
    "kPa": (saturation_pressure, air_pressure),
    "g/100 g": (
        sucrose_solubility,
        salted_sucrose,
        salt_solubility,
        sorbitol_solubility,
        dextrose_solubility,
    ),
    "wt%": (sucrose_solubility_percent,),
    "%": (
        sugar_degraded,
        nitrate_deliquescence,
        crystal_limit,
        sugar_humidity,
    ),
}

#: Quantity -> (unit, function of the conditions).
EVALUATORS = {
    function.__name__: (unit, function)
    for table in (_FUNCTIONS, HEAT)
    for unit, functions in table.items()
    for function in functions
}
