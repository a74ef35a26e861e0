"""The states of a mix at some pressures, as entries, and which of them go together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from functools import partial
from typing import Any, Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.ballistic_input.entry import Block, Entry
from castsugar.constants import GAS_CONSTANT, STANDARD_GRAVITY
from castsugar.errors import ConvergenceError
from castsugar.evaluation import performance
from castsugar.frozen import dataclass
from castsugar.mix.mix import Mix
from castsugar.motor.nozzle import flow_factor, thrust_coefficient
from castsugar.numerics import root
from castsugar.thermo import mixture
from castsugar.thermo.flow import FLOWS, FlowSolution, velocity
from castsugar.thermo.second_opinion.gas_transport import (
    CONDUCTIVITY_U,
    VISCOSITY_U,
    gas_transport,
)
from castsugar.thermo.solver import charge_of
from castsugar.thermo.species import SpeciesTable
from castsugar.thermo.states import State

#: What is the same at every pressure: what each exponent goes with, and for what.
EXPONENT, EFFECTIVE = "isentropic_exponent", "effective_molar_mass_kg_mol"
GAS_EXPONENT, GAS = "gas_exponent", "gas_molar_mass_kg_mol"
TEMPERATURE = "flame_temperature_K"

#: What every nozzle flow has, the flow left open.
VELOCITY, IMPULSE = "characteristic_velocity_{}_m_s", "specific_impulse_{}_s"

#: Exponents between which that of a nozzle formula is looked for.
_EXPONENTS: Final = (1.02, 1.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """An exponent and the molar mass that belongs to it."""

    #: exponent, molar_mass: keys of the thermochemistry.
    exponent: str
    molar_mass: str
    purpose: str
    #: What the formula of one exponent makes of them; NaN where it is not for c*.
    characteristic_velocity_m_s: float = math.nan

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)


def pairs_of(states: Block) -> tuple[Pair, ...]:
    """Return which molar mass goes with which exponent, at one pressure.

    The mean molar mass of all products goes with none and is not in the block.
    """
    temperature, mass, k = (
        float(states[key].value) for key in (TEMPERATURE, EFFECTIVE, EXPONENT)
    )
    formula = math.sqrt(GAS_CONSTANT * temperature / mass) / flow_factor(k)
    return (
        Pair(
            exponent=EXPONENT,
            molar_mass=EFFECTIVE,
            purpose="c* and mass flow: gas and condensed products together",
            characteristic_velocity_m_s=formula,
        ),
        Pair(
            exponent=GAS_EXPONENT,
            molar_mass=GAS,
            purpose="sound and heat transfer of the gas alone, never c*",
        ),
    )


def key_of(flow: str, key: str) -> str:
    """Return the key of what is given of every nozzle flow.

    Examples
    --------
    >>> key_of("no-solidification", VELOCITY)
    'characteristic_velocity_no_solidification_m_s'
    """
    return key.format(flow.replace("-", "_"))


def states_of(
    mix: Mix,
    row: Mapping[str, Any],
    *,
    pressure: float,
    exit_pressure: float | None,
    flow: str,
    species: SpeciesTable,
) -> Block:
    """Return chamber, throat and exit at one pressure.

    Parameters
    ----------
    mix : Mix
        As cast.
    row : mapping
        Of the table, for what the data leave open.
    pressure, exit_pressure : float
        [Pa]
    flow : str
        That of throat, exit and condensed shares.

    Raises
    ------
    ConvergenceError
        If `flow` is not found.
    """
    table, _ = charge_of(mix, species)
    given: dict[str, Any] = {"pressure": pressure, "exit_pressure": exit_pressure}
    given["species"] = species
    found = {flow: performance(mix, flow=flow, **given)}
    for other in FLOWS:
        if other == flow:
            continue
        try:
            found[other] = performance(mix, flow=other, **given)
        except ConvergenceError:
            found[other] = FlowSolution(chamber=found[flow].chamber)
    source = f"equilibrium of {species.data_set}"
    block = dict(_chamber(table, found[flow], row, source))
    if exit_pressure is not None:
        for name in FLOWS:
            block |= _of_flow(name, found[name], row, exit_pressure)
        block |= _stations(found[flow], flow)
    return block


def _chamber(
    table: SpeciesTable, found: FlowSolution, row: Mapping[str, Any], source: str
) -> Iterator[tuple[str, Entry]]:
    """Yield what the chamber holds."""
    here = found.chamber
    doubt = float(row["flame_temperature_u_K"])
    yield "pressure_Pa", Entry(value=here.pressure, status="stated")
    yield TEMPERATURE, Entry(value=here.temperature, u=doubt, source=source)
    plain = {
        "enthalpy_J_kg": here.enthalpy,
        EXPONENT: here.isentropic_exponent,
        EFFECTIVE: here.effective_molar_mass,
        GAS_EXPONENT: here.gas_exponent,
        GAS: here.gas_molar_mass,
        "gas_moles_mol_kg": here.gas_moles,
        "condensed_mass_fraction": here.condensed_mass_fraction,
        "condensed_heat_capacity_J_kg_K": _condensed_heat_capacity(table, here),
    }
    for key, value in plain.items():
        yield key, Entry(value=value, source=source)
    yield (
        "condensed_density_kg_m3",
        Entry(
            value=_condensed_density(table, here),
            status="from-memory",
            source="densities of the pure phases, volumes added",
        ),
    )


def _of_flow(
    name: str, found: FlowSolution, row: Mapping[str, Any], exit_pressure: float
) -> dict[str, Entry]:
    """Return what is given of every nozzle flow."""
    told = partial(Entry, source=FLOWS[name])
    ratio = _expansion_ratio(found)
    doubted = {
        VELOCITY: (found.characteristic_velocity, "characteristic_velocity{}_m_s"),
        IMPULSE: (found.exit_velocity / STANDARD_GRAVITY, "specific_impulse{}_s"),
    }
    block = {}
    for key, (value, column) in doubted.items():
        share = float(row[column.format("_u")]) / float(row[column.format("")])
        block[key_of(name, key)] = told(value=value, u=share * value)
    plain = {
        "expansion_ratio_{}": ratio,
        "thrust_coefficient_{}": found.thrust_coefficient,
        "nozzle_exponent_{}": nozzle_exponent(found, ratio, exit_pressure),
    }
    return block | {key_of(name, k): told(value=x) for k, x in plain.items()}


def _stations(found: FlowSolution, flow: str) -> dict[str, Entry]:
    """Return throat and exit of the flow that was asked for."""
    if found.throat is None or found.exit is None:
        return {}
    here, throat, leaving = found.chamber, found.throat, found.exit
    values = {
        "throat_pressure_ratio": throat.pressure / here.pressure,
        "throat_temperature_K": throat.temperature,
        "throat_condensed_mass_fraction": throat.condensed_mass_fraction,
        "exit_pressure_Pa": leaving.pressure,
        "exit_temperature_K": leaving.temperature,
        "exit_condensed_mass_fraction": leaving.condensed_mass_fraction,
    }
    return {key: Entry(value=x, source=FLOWS[flow]) for key, x in values.items()}


def gas_transport_of(state: State) -> Block:
    """Return viscosity and conductivity of the gas of a chamber, without smoke."""
    found = gas_transport(state)
    told = partial(
        Entry,
        status="published" if found.told else "missing",
        source="gas without smoke: GRI-Mech 3.0, mixture-averaged",
    )
    values = {
        "viscosity_Pa_s": (found.viscosity, VISCOSITY_U),
        "conductivity_W_m_K": (found.conductivity, CONDUCTIVITY_U),
        "specific_heat_J_kg_K": (found.specific_heat, math.nan),
        "prandtl": (found.prandtl, math.hypot(VISCOSITY_U, CONDUCTIVITY_U)),
    }
    block = {key: told(value=x, u=x * u) for key, (x, u) in values.items()}
    known = "share of the gas moles that the data know; withheld below 95 %"
    return block | {"share_of_gas_moles": Entry(value=found.share, source=known)}


def nozzle_exponent(found: FlowSolution, ratio: float, exit_pressure: float) -> float:
    """Return the exponent with which a nozzle formula gives the thrust of a flow.

    Of the one-exponent thrust coefficient at the flow's own expansion ratio; it goes
    with no molar mass. NaN where there is none.
    """
    wanted, pressure = found.thrust_coefficient, found.chamber.pressure

    def excess(k: float) -> float:
        made = thrust_coefficient(pressure, exit_pressure, exponent=k, ratio=ratio)
        return float(made) - wanted

    if not ratio > 1.0 or excess(_EXPONENTS[0]) * excess(_EXPONENTS[1]) > 0.0:
        return math.nan
    return root(excess, *_EXPONENTS, within=1e-10)


def drawn_bands(
    states: Block, evaluated: Block, flow: str, bands: Mapping[str, tuple[float, float]]
) -> Block:
    """Return states whose intervals are those that were drawn elsewhere.

    `bands` are of columns of the table, key to (low, high), at the evaluated pressure;
    at another one they are as wide as shares.
    """
    columns = {
        "flame_temperature_K": TEMPERATURE,
        "characteristic_velocity_m_s": VELOCITY,
        "specific_impulse_s": IMPULSE,
    }
    found = dict(states)
    for column, every in columns.items():
        own = key_of(flow, every)
        if column not in bands or own not in evaluated:
            continue
        low, high = (end / float(evaluated[own].value) for end in bands[column])
        for key in {key_of(name, every) for name in FLOWS}:
            one = found[key]
            value = float(one.value)
            found[key] = Entry(
                value=value,
                u=value * (high - low) / 3.92,
                low=value * low,
                high=value * high,
                source=f"{one.source}; band drawn: data, water, weighing",
            )
    return found


def _condensed_heat_capacity(table: SpeciesTable, state: State) -> float:
    """Return the heat capacity of the condensed products; NaN for none. [J/(kg K)]"""
    mass = _condensed_masses(table, state).sum()
    own = state.amounts.copy()
    own[: state.gas_count] = 0.0
    at = np.array(state.temperature)
    capacity = float(mixture.frozen_heat_capacity(table, at, own))
    return capacity / float(mass) if mass > 0.0 else math.nan


def _condensed_density(table: SpeciesTable, state: State) -> float:
    """Return the density of the condensed products; NaN for none. [kg/m3]

    Volumes of the pure phases added; that of each is a fact beside the species data.
    """
    mass = _condensed_masses(table, state)
    volume = (mass / table.phase.density)[mass > 0.0].sum()
    return float(mass.sum() / volume) if volume > 0.0 else math.nan


def _expansion_ratio(found: FlowSolution) -> float:
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
