"""What solved states give beside themselves: condensed products alone, areas."""

from __future__ import annotations

import math

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.thermo import mixture
from castsugar.thermo.flow import FlowSolution, velocity
from castsugar.thermo.species import SpeciesTable
from castsugar.thermo.states import State


def condensed_heat_capacity(table: SpeciesTable, state: State) -> float:
    """Return the heat capacity of the condensed products; NaN for none. [J/(kg K)]"""
    mass = _condensed_masses(table, state).sum()
    own = state.amounts.copy()
    own[: state.gas_count] = 0.0
    at = np.array(state.temperature)
    capacity = float(mixture.frozen_heat_capacity(table, at, own))
    return capacity / float(mass) if mass > 0.0 else math.nan


def condensed_density(table: SpeciesTable, state: State) -> float:
    """Return the density of the condensed products; NaN for none. [kg/m3]

    Volumes of the pure phases added; that of each is a fact beside the species data.
    """
    mass = _condensed_masses(table, state)
    volume = (mass / table.phase.density)[mass > 0.0].sum()
    return float(mass.sum() / volume) if volume > 0.0 else math.nan


def expansion_ratio(found: FlowSolution) -> float:
    """Return exit over throat area of a flow; NaN without an exit. [-]"""
    if found.throat is None or found.exit is None:
        return math.nan
    here, throat, leaving = found.chamber, found.throat, found.exit
    return _mass_flux(here, throat) / _mass_flux(here, leaving)


def _mass_flux(chamber: State, state: State) -> float:
    """Return density times velocity. [kg/(m2 s)]"""
    volume = state.gas_moles * GAS_CONSTANT * state.temperature / state.pressure
    return velocity(chamber, state) / volume


def _condensed_masses(table: SpeciesTable, state: State) -> FloatArray:
    """Return the mass of each condensed product, of the whole."""
    return np.asarray(state.amounts[state.gas_count :] * table.phase.molar_mass)
