"""What a chamber, a throat and an exit make together, and what may condense there."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.errors import ConvergenceError
from castsugar.frozen import dataclass
from castsugar.numerics import distinct
from castsugar.thermo import mixture
from castsugar.thermo.species import PhaseTable, SpeciesTable
from castsugar.thermo.states import State

# ----------------------------------------------------------------------------
# What a chamber, a throat and an exit make together: ideal performance.

#: The flows that can be asked for, in the words of the screen.
FLOWS = {
    "equilibrium": "composition follows the equilibrium everywhere",
    "frozen": "composition held as in the chamber",
    "no-solidification": "no new solid forms downstream of the chamber",
}


class ColdMixError(ConvergenceError):
    """The products at 600 K already hold more enthalpy than the mix has."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlowSolution:
    """Chamber, throat and exit of one mix, without losses.

    Attributes
    ----------
    chamber : State
    throat, exit : State or None
        None where only the chamber was asked for.
    characteristic_velocity : float
        Chamber pressure times throat area over mass flow. [m/s]
    exit_velocity : float
        At optimum expansion to the exit pressure. [m/s]
    flags : tuple of str
        What is special about this flow.
    """

    chamber: State
    throat: State | None = None
    exit: State | None = None
    characteristic_velocity: float = math.nan
    exit_velocity: float = math.nan
    flags: tuple[str, ...] = ()

    @property
    def thrust_coefficient(self) -> float:
        """Exit velocity over characteristic velocity (optimum expansion). [-]"""
        return self.exit_velocity / self.characteristic_velocity

    @property
    def states(self) -> list[State]:
        """The states that were solved."""
        return [s for s in (self.chamber, self.throat, self.exit) if s is not None]


def velocity(chamber: State, state: State) -> float:
    """Return the velocity reached on the way from chamber to state. [m/s]"""
    return math.sqrt(max(2.0 * (chamber.enthalpy - state.enthalpy), 0.0))


def characteristic_velocity(chamber: State, throat: State) -> float:
    r"""Return the characteristic velocity from chamber and throat. [m/s]

    .. math:: c^* = p_c v_t / u_t, \quad v = N R T / p
    """
    volume = throat.gas_moles * GAS_CONSTANT * throat.temperature / throat.pressure
    return chamber.pressure * volume / velocity(chamber, throat)


# ----------------------------------------------------------------------------
# Which condensed phases a flow allows, and which form of each is the stable one.
#
# A substance (K2CO3) can have several forms (solid, liquid). At a temperature one form
# has the lowest g; at a transition two have the same. In a flow without solidification
# each substance keeps the form it has in the chamber, on a melting plateau even its
# solid share; substances that are not there may still condense as liquids.


def stable_forms(
    table: SpeciesTable, temperature: float, *, hotter_at_transition: bool = True
) -> IntArray:
    """Return the index of the stable form of every substance at a temperature.

    Parameters
    ----------
    temperature : float
        [K]
    hotter_at_transition : bool
        Which of the two forms is meant exactly at a transition.
    """
    excluded = set()
    for cold, hot, limit in table.transitions:
        above = temperature > limit or (temperature == limit and hotter_at_transition)
        excluded.add(cold if above else hot)
    keep = [i for i in range(len(table.phase.names)) if i not in excluded]
    return np.array(keep, dtype=np.intp)


def without_solidification(
    table: SpeciesTable, phase_amounts: FloatArray
) -> tuple[SpeciesTable, FloatArray]:
    """Return the species that a chamber of these phase amounts lets downstream.

    Parameters
    ----------
    table : SpeciesTable
        All species.
    phase_amounts : ndarray, shape (phases,)
        Amounts in the equilibrium chamber. [mol/kg]

    Returns
    -------
    table : SpeciesTable
        The same gases; of the phases only those allowed, a plateau substance as one
        phase of fixed solid share. It has no transitions.
    expand : ndarray, shape (new phases, phases)
        Multiplies new amounts to give amounts in the phases of the full table.
    """
    phase = table.phase
    tables: list[PhaseTable] = []
    rows: list[FloatArray] = []
    for substance in dict.fromkeys(phase.substances):
        forms = [i for i, s in enumerate(phase.substances) if s == substance]
        share = np.zeros(len(phase.names))
        present = [i for i in forms if phase_amounts[i] > 0.0]
        if present:
            share[present] = phase_amounts[present] / phase_amounts[present].sum()
        else:
            liquids = [i for i in forms if phase.liquid[i]]
            share[liquids] = 1.0
        if share.any():
            tables.append(_blend(phase, share))
            rows.append(share)
    expand = np.array(rows).reshape(len(rows), len(phase.names))
    return replace(table, phase=_join(phase, tables), transitions=()), expand


def _blend(phase: PhaseTable, share: FloatArray) -> PhaseTable:
    """Return a table of one phase whose fits are a fixed blend of forms."""
    members = np.flatnonzero(share)
    joins = distinct(phase.joins[:, members])
    joins = joins[np.isfinite(joins)]
    edges = np.concatenate([[-np.inf], joins])
    fit = np.zeros((len(joins) + 1, phase.fit.shape[1], 1))
    for region, edge in enumerate(edges):
        for member in members:
            own = int((phase.joins[:, member] <= edge).sum())
            fit[region, :, 0] += share[member] * phase.fit[own, :, member]
    first = members[0]
    only = np.array([first])
    return PhaseTable(
        names=("+".join(phase.names[i] for i in members),),
        substances=(phase.substances[first],),
        atoms=phase.atoms[only],
        molar_mass=phase.molar_mass[only],
        joins=joins[:, None],
        fit=fit,
        low=phase.low[members].min(keepdims=True),
        high=phase.high[members].max(keepdims=True),
        density=phase.density[only],
        liquid=(phase.liquid[members[-1]],),
        sources=(phase.sources[first],),
    )


def _join(like: PhaseTable, tables: list[PhaseTable]) -> PhaseTable:
    """Put tables of one phase each side by side."""
    regions = max((t.fit.shape[0] for t in tables), default=1)
    joins = np.full((regions - 1, len(tables)), np.inf)
    fit = np.zeros((regions, like.fit.shape[1], len(tables)))
    for column, t in enumerate(tables):
        own = t.fit.shape[0]
        joins[: own - 1, column] = t.joins[:, 0]
        fit[:own, :, column] = t.fit[:, :, 0]
        fit[own:, :, column] = t.fit[-1, :, 0]
    width = like.atoms.shape[1]
    return PhaseTable(
        names=tuple(t.names[0] for t in tables),
        substances=tuple(t.substances[0] for t in tables),
        atoms=np.array([t.atoms[0] for t in tables]).reshape(len(tables), width),
        molar_mass=np.array([t.molar_mass[0] for t in tables]),
        joins=joins,
        fit=fit,
        low=np.array([t.low[0] for t in tables]),
        high=np.array([t.high[0] for t in tables]),
        density=np.array([t.density[0] for t in tables]),
        liquid=tuple(t.liquid[0] for t in tables),
        sources=tuple(t.sources[0] for t in tables),
    )


# ----------------------------------------------------------------------------
# Flow of a mixture whose composition is held: states on its isentrope.
#
# At fixed composition the entropy gives the pressure as a function of temperature in
# closed form, so that the throat is a search in one unknown,
#
# .. math:: u^2 = 2 (h_c - h(T)) = \gamma(T) N R T, \quad \gamma = c_p / (c_p - N R)
#
# with N moles of gas per kilogram of mix and the heat capacity of gas and condensed
# phases together. Arrays in, arrays out, mixes on the first axis.

#: Temperatures between which frozen states are looked for [K].
LOWEST, HIGHEST = 50.0, 6000.0

_ITERATIONS = 60


def temperature_at_pressure(
    table: SpeciesTable,
    amounts: FloatArray,
    entropy: FloatArray,
    pressure: FloatArray,
    guess: FloatArray,
) -> FloatArray:
    """Return the temperature of given entropy at a pressure. [K]

    Newton's method on ln T, which converges from any guess because the entropy is
    nearly linear in ln T.
    """
    log_t = np.log(guess)
    for _ in range(_ITERATIONS):
        t = np.exp(log_t)
        lack = entropy - mixture.entropy(table, t, pressure, amounts)
        step = lack / mixture.frozen_heat_capacity(table, t, amounts)
        log_t = np.clip(
            log_t + np.clip(step, -0.5, 0.5), np.log(LOWEST), np.log(HIGHEST)
        )
        if np.all(np.abs(step) < 1e-13):
            break
    return np.exp(log_t)


def pressure_at_temperature(
    table: SpeciesTable,
    amounts: FloatArray,
    entropy: FloatArray,
    temperature: FloatArray,
) -> FloatArray:
    """Return the pressure of given entropy at a temperature. [Pa]"""
    one = np.full_like(temperature, table.reference_pressure)
    excess = mixture.entropy(table, temperature, one, amounts) - entropy
    moles = amounts[..., : mixture.gas_count(table)].sum(axis=-1)
    return one * np.exp(excess / (moles * GAS_CONSTANT))


def throat_temperature(
    table: SpeciesTable, amounts: FloatArray, chamber_temperature: FloatArray
) -> FloatArray:
    """Return the temperature at which the held mixture flows at its sound speed. [K]"""
    moles = amounts[..., : mixture.gas_count(table)].sum(axis=-1)
    enthalpy = mixture.enthalpy(table, chamber_temperature, amounts)

    def excess(t: FloatArray) -> FloatArray:
        cp = mixture.frozen_heat_capacity(table, t, amounts)
        gas = moles * GAS_CONSTANT
        exponent = cp / (cp - gas)
        velocity_squared = 2.0 * (enthalpy - mixture.enthalpy(table, t, amounts))
        return velocity_squared - exponent * gas * t

    return _falling_root(excess, 0.6 * chamber_temperature, chamber_temperature)


def _falling_root(
    function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Find roots of falling functions elementwise: regula falsi, Illinois variant.

    The value at an end that stays twice is halved, so that both ends close in.
    """
    low, high = low.copy(), high.copy()
    f_low, f_high = function(low), function(high)
    best, f_best = high.copy(), np.abs(f_high)
    side = np.zeros(low.shape)
    for _ in range(_ITERATIONS):
        middle = high - f_high * (high - low) / (f_high - f_low)
        value = function(middle)
        better = np.abs(value) < f_best
        best, f_best = (
            np.where(better, middle, best),
            np.where(better, np.abs(value), f_best),
        )
        right = value < 0.0
        f_low = np.where(right & (side > 0), 0.5 * f_low, f_low)
        f_high = np.where(~right & (side < 0), 0.5 * f_high, f_high)
        high, f_high = np.where(right, middle, high), np.where(right, value, f_high)
        low, f_low = np.where(right, low, middle), np.where(right, f_low, value)
        side = np.where(right, 1.0, -1.0)
        if np.all((np.abs(high - low) < 1e-13 * high) | (value == 0.0)):
            break
    return best
