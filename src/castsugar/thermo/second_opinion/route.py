"""One mix through chamber, throat and exit by the Cantera route."""

from __future__ import annotations

import numpy as np

from castsugar.thermo import flow as flows
from castsugar.thermo import frozen, mixture
from castsugar.thermo.charge import Charge
from castsugar.thermo.flow import ColdMixError, FlowSolution
from castsugar.thermo.forms import without_solidification
from castsugar.thermo.second_opinion import nozzle
from castsugar.thermo.second_opinion.composition import Composer, composer
from castsugar.thermo.second_opinion.states import (
    RawState,
    at_enthalpy,
    at_temperature,
    too_cold,
)
from castsugar.thermo.states import State, certified
from castsugar.thermo.tables import SpeciesTable


def equilibrium(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    temperature: float | None = None,
) -> State:
    """Return the equilibrium at given pressure and temperature, or of the chamber."""
    solver = composer(table)
    if temperature is not None:
        solver.forget()
        raw = at_temperature(solver, temperature, pressure, charge.elements)
        return _finish(table, raw, charge, pressure=pressure)
    raw = _chamber(solver, charge, pressure)
    return _finish(table, raw, charge, pressure=pressure, enthalpy=charge.enthalpy)


def solve(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    exit_pressure: float | None,
    flow: str,
) -> FlowSolution:
    """Solve chamber, throat and exit of one mix.

    Parameters
    ----------
    table : SpeciesTable
        Species of the elements of the mix.
    charge : Charge
    pressure, exit_pressure : float
        [Pa]; with no exit pressure only the chamber is solved.
    flow : str
        One of :data:`castsugar.thermo.flow.FLOWS`.

    Raises
    ------
    ColdMixError
        If the mix does not burn by this model.
    ConvergenceError
        If a state is not found or does not pass its certificate.
    """
    raw = _chamber(composer(table), charge, pressure)
    chamber = _finish(table, raw, charge, pressure=pressure, enthalpy=charge.enthalpy)
    if exit_pressure is None:
        return FlowSolution(chamber=chamber)
    if flow == "frozen":
        return _frozen(table, charge, chamber, exit_pressure)
    return _shifting(table, charge, chamber, exit_pressure, flow)


def _chamber(solver: Composer, charge: Charge, pressure: float) -> RawState:
    """Solve the chamber, or say that the mix is cold."""
    solver.forget()
    if too_cold(solver, charge.enthalpy, pressure, charge.elements):
        raise ColdMixError("the products at 600 K hold more enthalpy than the mix")
    return at_enthalpy(solver, charge.enthalpy, pressure, charge.elements)


def _shifting(
    table: SpeciesTable,
    charge: Charge,
    chamber: State,
    exit_pressure: float,
    flow: str,
) -> FlowSolution:
    """Solve throat and exit with the composition following the equilibrium."""
    count = mixture.gas_count(table)
    downstream = table
    if flow == "no-solidification":
        downstream, _ = without_solidification(table, chamber.amounts[count:])
    excluded = tuple(n for n in table.phase.names if n not in downstream.phase.names)
    solver = composer(downstream)
    solver.forget()
    isentrope = nozzle.Isentrope(solver, chamber, charge.elements)
    raw = (
        nozzle.throat(isentrope),
        isentrope.at(float(np.log(exit_pressure / chamber.pressure))),
    )
    throat, leaving = (
        _finish(
            downstream,
            r,
            charge,
            pressure=asked,
            entropy=chamber.entropy,
            excluded=excluded,
        )
        for r, asked in zip(raw, (None, exit_pressure), strict=True)
    )
    return _performance(chamber, throat, leaving)


def _frozen(
    table: SpeciesTable, charge: Charge, chamber: State, exit_pressure: float
) -> FlowSolution:
    """Solve throat and exit with the composition held as in the chamber."""
    amounts = chamber.amounts[None, :]
    entropy = np.array([chamber.entropy])
    t_throat = frozen.throat_temperature(
        table, amounts, np.array([chamber.temperature])
    )
    p_throat = frozen.pressure_at_temperature(table, amounts, entropy, t_throat)
    p_exit = np.array([exit_pressure])
    t_exit = frozen.temperature_at_pressure(table, amounts, entropy, p_exit, t_throat)
    throat, leaving = (
        certified(
            table,
            chamber.amounts,
            float(t[0]),
            float(p[0]),
            charge.elements,
            entropy=chamber.entropy,
            composition_held=True,
        )
        for t, p in ((t_throat, p_throat), (t_exit, p_exit))
    )
    return _performance(chamber, throat, leaving)


def _performance(chamber: State, throat: State, leaving: State) -> FlowSolution:
    """Put the three stations together."""
    flags = ("throat on a melting plateau",) if throat.on_plateau else ()
    return FlowSolution(
        chamber=chamber,
        throat=throat,
        exit=leaving,
        characteristic_velocity=flows.characteristic_velocity(chamber, throat),
        exit_velocity=flows.velocity(chamber, leaving),
        flags=flags,
    )


def _finish(  # noqa: PLR0913 - what was prescribed, each by name
    table: SpeciesTable,
    raw: RawState,
    charge: Charge,
    *,
    pressure: float | None = None,
    enthalpy: float | None = None,
    entropy: float | None = None,
    excluded: tuple[str, ...] = (),
) -> State:
    """Test a state of this route and complete it."""
    return certified(
        table,
        raw.amounts,
        raw.temperature,
        raw.pressure if pressure is None else pressure,
        charge.elements,
        enthalpy=enthalpy,
        entropy=entropy,
        solved_pressure=raw.pressure,
        excluded=excluded,
    )
