"""What a chamber, a throat and an exit make together: ideal performance."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.constants import GAS_CONSTANT
from castsugar.errors import ConvergenceError
from castsugar.thermo.states import State

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
        """Exit velocity over characteristic velocity (optimum expansion)."""
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
