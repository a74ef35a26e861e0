"""One mix through chamber, throat and exit by the Cantera route."""

from __future__ import annotations

import math

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.numerics import maximum
from castsugar.thermo import flow, mixture
from castsugar.thermo import flow as flows
from castsugar.thermo.flow import ColdMixError, FlowSolution, without_solidification
from castsugar.thermo.mixture import gas_count
from castsugar.thermo.second_opinion.composition import Composer, composer
from castsugar.thermo.second_opinion.states import (
    RawState,
    at_enthalpy,
    at_entropy,
    at_temperature,
    gas_volume,
    too_cold,
)
from castsugar.thermo.solver import Charge
from castsugar.thermo.species import SpeciesTable
from castsugar.thermo.states import State, certified

# ----------------------------------------------------------------------------
# Throat and exit on the isentrope of a chamber, by the Cantera route.

#: ln(p/pc) between which the throat lies for exponents 0.95 to 1.67.
_SEARCHED = (math.log(0.45), math.log(0.70))

#: Spacing of the scan that finds the upstream one of several maxima.
_SCAN_STEP = 0.02

#: How closely a change of phases is located, in ln(p/pc).
_EDGE = 1e-6

#: Distances at which the flux is looked at around a change of phases.
_NEAR_EDGE = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4)


def velocity(chamber_enthalpy: float, state: RawState) -> float:
    """Return the velocity of the flow at a state. [m/s]"""
    return math.sqrt(max(2.0 * (chamber_enthalpy - state.enthalpy), 0.0))


def mass_flux(chamber_enthalpy: float, state: RawState) -> float:
    """Return density times velocity. [kg/(m2 s)]"""
    return velocity(chamber_enthalpy, state) / gas_volume(state)


class Isentrope:
    """States of the chamber's entropy at lower pressures, warm-started in turn."""

    def __init__(
        self, composer: Composer, chamber: State, elements: FloatArray
    ) -> None:
        self.composer = composer
        self.chamber = chamber
        self.elements = elements
        self._known: list[tuple[float, float]] = [(0.0, math.log(chamber.temperature))]

    def at(self, log_ratio: float) -> RawState:
        """Return the state at ln(p/pc)."""
        state = at_entropy(
            self.composer,
            self.chamber.entropy,
            self.chamber.pressure * math.exp(log_ratio),
            self.elements,
            self._guess(log_ratio),
        )
        self._known.append((log_ratio, math.log(state.temperature)))
        return state

    def _guess(self, log_ratio: float) -> float:
        """Guess the temperature from the two nearest known states."""
        near = sorted(self._known, key=lambda k: abs(k[0] - log_ratio))[:2]
        (x, y), slope = near[0], 0.13
        if len(near) == 2 and abs(near[1][0] - x) > 1e-9:
            slope = (near[1][1] - y) / (near[1][0] - x)
        return math.exp(y + slope * (log_ratio - x))

    def flux(self, log_ratio: float) -> float:
        """Return the mass flux at ln(p/pc)."""
        return mass_flux(self.chamber.enthalpy, self.at(log_ratio))


def find_throat(isentrope: Isentrope) -> RawState:
    """Return the state of largest mass flux; of two maxima the upstream one."""
    low, high = _SEARCHED
    if _may_have_two(isentrope, low, high):
        low, high = _first_maximum(isentrope, low, high)
    return isentrope.at(maximum(isentrope.flux, low, high, within=2e-7))


def _may_have_two(isentrope: Isentrope, low: float, high: float) -> bool:
    """Whether a phase change lies on the part of the isentrope that is searched."""
    hot, cold = isentrope.at(high), isentrope.at(low)
    different = _phases(isentrope, hot) != _phases(isentrope, cold)
    return different or hot.on_plateau or cold.on_plateau


def _phases(isentrope: Isentrope, state: RawState) -> tuple[bool, ...]:
    """Return which condensed phases a state holds."""
    count = gas_count(isentrope.composer.table)
    return tuple(bool(n > 0.0) for n in state.amounts[count:])


def _first_maximum(
    isentrope: Isentrope, low: float, high: float
) -> tuple[float, float]:
    """Scan from the chamber side; return a bracket of the first maximum.

    Where the phases of two neighbouring points differ, the place of the change is
    added to the scan: a maximum can sit on it and be narrower than any step.
    """
    passed: list[tuple[float, float]] = []
    last: RawState | None = None
    for x in np.arange(high, low - _SCAN_STEP, -_SCAN_STEP):
        state = isentrope.at(float(x))
        if last is not None and _phases(isentrope, last) != _phases(isentrope, state):
            above, below = _change(isentrope, passed[-1][0], float(x))
            near = [above + d for d in _NEAR_EDGE if above + d < passed[-1][0]]
            past = [below - d for d in reversed(_NEAR_EDGE) if below - d > x]
            around = (*near, above, below, *past)
            passed += [(y, isentrope.flux(y)) for y in around]
        passed.append((float(x), mass_flux(isentrope.chamber.enthalpy, state)))
        last = state
        for i in range(1, len(passed) - 1):
            if passed[i - 1][1] <= passed[i][1] > passed[i + 1][1]:
                return passed[i + 1][0], passed[i - 1][0]
    return low, high


def _change(isentrope: Isentrope, above: float, below: float) -> tuple[float, float]:
    """Return ln(p/pc) just upstream and just downstream of a change of phases."""
    before = _phases(isentrope, isentrope.at(above))
    while above - below > _EDGE:
        middle = 0.5 * (above + below)
        if _phases(isentrope, isentrope.at(middle)) == before:
            above = middle
        else:
            below = middle
    return above, below


# ----------------------------------------------------------------------------
# One mix through chamber, throat and exit by the Cantera route.


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
    isentrope = Isentrope(solver, chamber, charge.elements)
    raw = (
        find_throat(isentrope),
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
    t_throat = flow.throat_temperature(table, amounts, np.array([chamber.temperature]))
    p_throat = flow.pressure_at_temperature(table, amounts, entropy, t_throat)
    p_exit = np.array([exit_pressure])
    t_exit = flow.temperature_at_pressure(table, amounts, entropy, p_exit, t_throat)
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
