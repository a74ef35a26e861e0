"""One mix in full: states with all species, from the batched route."""

from __future__ import annotations

import math

import numpy as np

from castsugar.errors import ConvergenceError
from castsugar.thermo import flow as flows
from castsugar.thermo.batch import model_of
from castsugar.thermo.charge import Charge
from castsugar.thermo.flow import ColdMixError, FlowSolution
from castsugar.thermo.forms import without_solidification
from castsugar.thermo.gibbs import chamber, held, solution, starts
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.states import State, certified
from castsugar.thermo.tables import SpeciesTable

STATIONS = ("chamber", "throat", "exit")


def equilibrium(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    temperature: float | None = None,
) -> State:
    """Return the equilibrium at given pressure and temperature, or of the chamber.

    Raises
    ------
    ColdMixError, ConvergenceError
    """
    if temperature is None:
        return solve(table, charge, pressure, None, "equilibrium").chamber
    model = model_of(table)
    batch = starts.whole_batch(model, charge.elements[None, :])
    log_p = np.log([pressure / table.reference_pressure])
    found = chamber.at_temperature(model, batch, np.array([temperature]), log_p)
    if not found.solved[0]:
        raise ConvergenceError(
            f"no equilibrium found at {temperature:g} K and {pressure:g} Pa"
        )
    amounts = held.amounts(model, batch, found.iterate)[0]
    return certified(table, amounts, temperature, pressure, charge.elements)


def solve(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    exit_pressure: float | None,
    flow: str,
) -> FlowSolution:
    """Return chamber, throat and exit of one mix with all species.

    Parameters and errors as for
    :func:`castsugar.thermo.second_opinion.route.solve`.
    """
    model = model_of(table)
    found = solution.solve(
        model,
        charge.elements[None, :],
        np.array([charge.enthalpy]),
        np.array([pressure]),
        exit_pressure,
        flow,
    )
    _raise_if_lost(found)
    solution.test_throats(model, found, flow)
    if found.solved is None:
        raise ConvergenceError("the chamber was not found")
    amounts = held.amounts(model, found.solved.batch, found.solved.chamber)[0]
    here = certified(
        table,
        amounts,
        float(found.chamber.temperature[0]),
        pressure,
        charge.elements,
        enthalpy=charge.enthalpy,
        solved_pressure=float(found.chamber.pressure[0]),
    )
    if exit_pressure is None:
        return FlowSolution(chamber=here)
    throat, leaving = _downstream(table, found, here, charge, exit_pressure, flow)
    return FlowSolution(
        chamber=here,
        throat=throat,
        exit=leaving,
        characteristic_velocity=flows.characteristic_velocity(here, throat),
        exit_velocity=flows.velocity(here, leaving),
        flags=tuple(flags(found)[0]),
    )


def flags(found: Flow) -> list[list[str]]:
    """Return what is special about each row of a flow."""
    texts = (
        (found.chamber_plateau, "chamber on a melting plateau"),
        (found.throat_plateau, "throat on a melting plateau"),
        (found.pinned, "throat pinned where a solid starts to form"),
        (found.two_throats, "two throats possible, upstream one taken"),
        (
            found.freezing,
            "freezing at the throat: c* of this flow is no basis for a choice, compare "
            "no-solidification",
        ),
    )
    return [[text for on, text in texts if on[row]] for row in range(len(found.cold))]


def _raise_if_lost(found: Flow) -> None:
    """Raise what keeps a single row from being a result."""
    if found.cold[0]:
        raise ColdMixError("the products at 600 K hold more enthalpy than the mix")
    if found.lost[0]:
        raise ConvergenceError(f"the {STATIONS[found.lost[0] - 1]} was not found")


def _downstream(
    table: SpeciesTable,
    found: Flow,
    here: State,
    charge: Charge,
    exit_pressure: float,
    flow: str,
) -> tuple[State, State]:
    """Return throat and exit with all species."""
    solved = found.solved
    if solved is None:
        raise ConvergenceError("the chamber was not found")
    model = model_of(table)
    count = len(table.gas.names)
    own, keep = table, np.arange(len(table.phase.names))
    if flow == "no-solidification":
        own, expand = without_solidification(table, here.amounts[count:])
        keep = np.array([int(np.flatnonzero(row)[0]) for row in expand], dtype=np.intp)
    excluded = tuple(n for n in table.phase.names if n not in own.phase.names)
    states = []
    for station, iterate, asked, flux in (
        (
            found.throat,
            solved.throat,
            float(found.throat.pressure[0]),
            float(found.flux_excess[0]),
        ),
        (found.leaving, solved.leaving, exit_pressure, math.nan),
    ):
        amounts = here.amounts
        if flow != "frozen":
            every = held.amounts(model, solved.downstream, iterate)[0]
            amounts = np.concatenate([every[:count], every[count:][keep]])
        states.append(
            certified(
                own,
                amounts,
                float(station.temperature[0]),
                asked,
                charge.elements,
                entropy=here.entropy,
                solved_pressure=float(station.pressure[0]),
                flux=flux,
                composition_held=flow == "frozen",
                excluded=excluded,
            )
        )
    return states[0], states[1]
