"""Nitrate-sugar mixes: chamber and performance."""

from __future__ import annotations

import functools

import castsugar as cs
from castsugar.constants import STANDARD_GRAVITY
from castsugar.thermo.flow import FlowSolution
from published_checks.rows import Given

#: Reactants as the independent calculation had them: formula, kJ/mol, role.
_REFERENCE = {
    "reference KNO3": ("KNO3", -494.63, "oxidizer"),
    "reference sucrose": ("C12H22O11", -2226.1, "fuel"),
    "reference sorbitol": ("C6H14O6", -1353.7, "fuel"),
}


@functools.cache
def _item(name: str) -> cs.Ingredient | str:
    """Return a reactant of the reference, or the name of a shipped ingredient."""
    if name not in _REFERENCE:
        return name
    formula, enthalpy, role = _REFERENCE[name]
    return cs.Ingredient(
        name=name, formula=formula, enthalpy_of_formation=1e3 * enthalpy, role=role
    )


@functools.cache
def _solved(recipe: str, pressure: float, exit_pressure: float) -> FlowSolution:
    parts = (part.rsplit(" ", 1) for part in recipe.split(" + "))
    mix = cs.Mix.weigh({_item(name): float(amount) for name, amount in parts})
    return cs.performance(
        mix, pressure=pressure, exit_pressure=exit_pressure, flow="equilibrium"
    )


def _flow(given: Given) -> FlowSolution:
    return _solved(
        given.text("recipe"), given.pressure(), given.pressure("exit_pressure")
    )


def mix_temperature(given: Given) -> float:
    """Flame temperature. [K]"""
    return _flow(given).chamber.temperature


def mix_gas_molar_mass(given: Given) -> float:
    """Molar mass of the gas alone. [g/mol]"""
    return 1e3 * _flow(given).chamber.gas_molar_mass


def mix_effective_molar_mass(given: Given) -> float:
    """Mass of mix per mole of gas. [g/mol]"""
    return 1e3 * _flow(given).chamber.effective_molar_mass


def mix_gas_moles(given: Given) -> float:
    """Amount of gas. [mol/kg]"""
    return _flow(given).chamber.gas_moles


def mix_carbonate_mass_fraction(given: Given) -> float:
    """Mass of K2CO3, solid and liquid, per mass of mix."""
    carbonate = cs.Ingredient(
        name="potassium carbonate", formula="K2CO3", enthalpy_of_formation=0.0
    )
    chamber = _flow(given).chamber
    amount = chamber.amount("K2CO3(s)") + chamber.amount("K2CO3(L)")
    return amount * carbonate.molar_mass


def mix_mole_fraction(given: Given) -> float:
    """Mole fraction of a gas in the chamber gas."""
    return _flow(given).chamber.mole_fraction(given.text("gas"))


def mix_characteristic_velocity(given: Given) -> float:
    """Characteristic velocity, equilibrium flow. [m/s]"""
    return _flow(given).characteristic_velocity


def mix_specific_impulse(given: Given) -> float:
    """Specific impulse, equilibrium flow, optimum expansion. [s]"""
    return _flow(given).exit_velocity / STANDARD_GRAVITY
