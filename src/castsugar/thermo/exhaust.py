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


def choked_velocity(temperature: float, molar_mass: float, exponent: float) -> float:
    r"""Return c* by the formula of one exponent. [m/s]

    .. math:: c^* = \frac{\sqrt{R T / M}}{\Gamma}, \quad
        \Gamma = \sqrt{k} \left(\frac{2}{k+1}\right)^{\frac{k+1}{2(k-1)}}

    (Sutton & Biblarz, *Rocket Propulsion Elements*, ch. 3, from memory.)

    Parameters
    ----------
    temperature : float
        In the chamber. [K]
    molar_mass : float
        Of whatever the exponent is of. [kg/mol]
    exponent : float

    Examples
    --------
    >>> round(choked_velocity(1489.0, 0.03788, 1.134), 1)
    899.7
    """
    k = exponent
    flow = math.sqrt(k) * (2.0 / (k + 1.0)) ** (0.5 * (k + 1.0) / (k - 1.0))
    return math.sqrt(GAS_CONSTANT * temperature / molar_mass) / flow


def _mass_flux(chamber: State, state: State) -> float:
    """Return density times velocity. [kg/(m2 s)]"""
    volume = state.gas_moles * GAS_CONSTANT * state.temperature / state.pressure
    return velocity(chamber, state) / volume


def _condensed_masses(table: SpeciesTable, state: State) -> FloatArray:
    """Return the mass of each condensed product, of the whole."""
    return np.asarray(state.amounts[state.gas_count :] * table.phase.molar_mass)
