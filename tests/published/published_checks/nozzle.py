"""The ideal nozzle: textbook examples of one perfect gas, and handbook propellants.

The library has no formulas for a perfect gas. The general code is therefore given a
gas that is perfect: one species of constant heat capacity. It is named N, after the
element that it is made of, and its molar mass stays that of N: only the product of
gas constant and temperature enters, so the temperature is chosen to match it.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

import castsugar as cs
from castsugar.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE, STANDARD_GRAVITY
from castsugar.rows import shipped_species
from castsugar.thermo.flow import FlowSolution
from castsugar.thermo.species import GasTable, SpeciesTable, select_phases
from castsugar.thermo.states import State
from published_checks.rows import Given

#: Chamber of the tables of ratios, which do not depend on it. [K], [Pa]
_TABLE_CHAMBER = (3000.0, 5.0e6)


@dataclass(frozen=True, slots=True, eq=False)
class Nozzle:
    """A perfect gas in a chamber."""

    mix: cs.Mix
    species: SpeciesTable
    pressure: float

    @property
    def gas_constant(self) -> float:
        """Of the gas. [J/(kg K)]"""
        return GAS_CONSTANT / float(self.species.gas.molar_mass[0])

    def expanded(self, exit_pressure: float, flow: str = "frozen") -> FlowSolution:
        """Return the flow to a pressure."""
        return cs.performance(
            self.mix,
            pressure=self.pressure,
            exit_pressure=exit_pressure,
            flow=flow,
            species=self.species,
        )


@functools.cache
def to_mach(nozzle: Nozzle, mach: float) -> FlowSolution:
    """Return the flow to a Mach number."""

    def flow(log_ratio: float) -> FlowSolution:
        return nozzle.expanded(nozzle.pressure * math.exp(log_ratio))

    found = brentq(
        lambda x: mach_number(flow(x)) - mach, math.log(1e-3), math.log(0.5), xtol=1e-9
    )
    return flow(found)


@functools.cache
def perfect_gas(exponent: float, temperature: float, pressure: float) -> Nozzle:
    """Return a gas of constant isentropic exponent, hot by its own enthalpy."""
    heat_capacity = exponent / (exponent - 1.0)  # cp/R
    shipped = shipped_species()
    index = shipped.gas.names.index("N")
    fit = np.zeros((2, 9, 1))
    fit[:, 2] = heat_capacity
    fit[:, 7] = -heat_capacity * REFERENCE_TEMPERATURE  # h = 0 at 298.15 K
    fit[:, 8] = 20.0  # any positive entropy
    gas = GasTable(
        names=("N",),
        atoms=shipped.gas.atoms[[index]],
        molar_mass=shipped.gas.molar_mass[[index]],
        join=shipped.gas.join,
        fit=fit,
        sources=("made up",),
    )
    species = SpeciesTable(
        gas=gas,
        phase=select_phases(shipped.phase, np.array([], dtype=int)),
        transitions=(),
        reference_pressure=shipped.reference_pressure,
        elements=shipped.elements,
        data_set="one perfect gas",
    )
    rise = temperature - REFERENCE_TEMPERATURE
    hot = cs.Ingredient(
        name="hot gas",
        formula="N",
        enthalpy_of_formation=heat_capacity * GAS_CONSTANT * rise,
    )
    return Nozzle(cs.Mix.weigh({hot: 1.0}), species, pressure)


def mach_number(flow: FlowSolution) -> float:
    """Exit velocity over the sound speed at the exit."""
    leaving = _exit(flow)
    per_kg = leaving.gas_moles * GAS_CONSTANT * leaving.temperature
    return flow.exit_velocity / math.sqrt(leaving.isentropic_exponent * per_kg)


def _exit(flow: FlowSolution) -> State:
    assert flow.exit is not None
    return flow.exit


def _example(given: Given) -> Nozzle:
    """Return the chamber of a textbook example: k, R and T."""
    exponent, temperature = given.number("exponent"), given.number("temperature_K")
    own_constant = perfect_gas(exponent, 1e3, 1e6).gas_constant
    same = temperature * given.number("gas_constant_J_kg_K") / own_constant
    return perfect_gas(exponent, same, given.pressure())


def _table(given: Given) -> Nozzle:
    """Return the chamber for a table of ratios."""
    return perfect_gas(given.number("exponent"), *_TABLE_CHAMBER)


def _to_mach(given: Given) -> FlowSolution:
    """Return the flow to the Mach number of a table of ratios."""
    return to_mach(_table(given), given.number("mach"))


def perfect_gas_exit_velocity(given: Given) -> float:
    """Exit velocity of a perfect gas. [m/s]"""
    return _example(given).expanded(given.pressure("exit_pressure")).exit_velocity


def perfect_gas_thrust(given: Given) -> float:
    """Thrust at optimum expansion. [N]"""
    return given.number("mass_flow_kg_s") * perfect_gas_exit_velocity(given)


def perfect_gas_specific_impulse(given: Given) -> float:
    """Specific impulse at optimum expansion. [s]"""
    return perfect_gas_exit_velocity(given) / STANDARD_GRAVITY


def chamber_pressure_for_mach(given: Given) -> float:
    """Chamber pressure that gives an exit Mach number at an exit pressure. [MPa]"""
    return given.pressure("exit_pressure") / pressure_ratio(given) / 1e6


def pressure_ratio(given: Given) -> float:
    """p over chamber pressure at a Mach number."""
    flow = _to_mach(given)
    return _exit(flow).pressure / flow.chamber.pressure


def temperature_ratio(given: Given) -> float:
    """T over chamber temperature at a Mach number."""
    flow = _to_mach(given)
    return _exit(flow).temperature / flow.chamber.temperature


def area_ratio(given: Given) -> float:
    """Area over throat area at a Mach number; density times velocity is A*/A."""
    flow = _to_mach(given)
    leaving = _exit(flow)
    volume = leaving.gas_moles * GAS_CONSTANT * leaving.temperature / leaving.pressure
    throat_flux = flow.chamber.pressure / flow.characteristic_velocity
    return throat_flux * volume / flow.exit_velocity


def vandenkerckhove_function(given: Given) -> float:
    """sqrt(R T / M) over the characteristic velocity."""
    nozzle = _table(given)
    flow = nozzle.expanded(0.1 * nozzle.pressure)
    speed = math.sqrt(nozzle.gas_constant * flow.chamber.temperature)
    return speed / flow.characteristic_velocity


#: Handbook propellants: formula and enthalpy of formation as liquid [kJ/mol], from
#: the reference beside the table (LOX and LH2 at their boiling points).
_LIQUIDS = {
    "LOX": ("O2", -12.979, "oxidizer"),
    "LH2": ("H2", -9.012, "fuel"),
    "RP-1": ("CH1.95", -24.72, "fuel"),
}


@functools.cache
def _liquid(name: str) -> cs.Ingredient:
    formula, enthalpy, role = _LIQUIDS[name]
    return cs.Ingredient(
        name=name, formula=formula, enthalpy_of_formation=1e3 * enthalpy, role=role
    )


@functools.cache
def _handbook_flow(
    fuel: str, ratio: float, pressure: float, exit_pressure: float, flow: str
) -> FlowSolution:
    return cs.performance(
        cs.Mix.weigh({_liquid("LOX"): ratio, _liquid(fuel): 1.0}),
        pressure=pressure,
        exit_pressure=exit_pressure,
        flow=flow,
    )


def _handbook(given: Given) -> FlowSolution:
    return _handbook_flow(
        given.text("fuel"),
        given.number("oxidizer_fuel_ratio"),
        given.pressure(),
        given.pressure("exit_pressure"),
        given.text("flow"),
    )


def handbook_temperature(given: Given) -> float:
    """Chamber temperature of a handbook propellant. [K]"""
    return _handbook(given).chamber.temperature


def handbook_gas_molar_mass(given: Given) -> float:
    """Molar mass of the chamber gas of a handbook propellant. [g/mol]"""
    return 1e3 * _handbook(given).chamber.gas_molar_mass


def handbook_characteristic_velocity(given: Given) -> float:
    """c* of a handbook propellant. [m/s]"""
    return _handbook(given).characteristic_velocity


def handbook_specific_impulse(given: Given) -> float:
    """Specific impulse of a handbook propellant. [s]"""
    return _handbook(given).exit_velocity / STANDARD_GRAVITY
