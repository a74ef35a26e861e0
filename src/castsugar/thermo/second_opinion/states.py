"""States of given enthalpy or entropy: a bracketed search for the temperature."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.errors import ConvergenceError
from castsugar.frozen import dataclass
from castsugar.numerics import root
from castsugar.thermo import mixture
from castsugar.thermo.flow import stable_forms
from castsugar.thermo.second_opinion.composition import Composer
from castsugar.thermo.species import SpeciesTable

#: Temperatures between which a state is looked for [K].
LOWEST, HIGHEST = 250.0, 5500.0

#: Below this a chamber does not burn, by this model [K].
COLD = 600.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawState:
    """Temperature and composition at one pressure."""

    temperature: float
    pressure: float
    amounts: FloatArray
    enthalpy: float
    entropy: float
    gas_moles: float
    on_plateau: bool = False


Property = Callable[[RawState], float]


def at_temperature(
    composer: Composer,
    temperature: float,
    pressure: float,
    elements: FloatArray,
    *,
    hotter: bool = True,
) -> RawState:
    """Return the equilibrium state at given temperature and pressure.

    `hotter` says which form is meant exactly at a transition temperature.
    """
    table = composer.table
    offered = stable_forms(table, temperature, hotter_at_transition=hotter)
    amounts = composer.solve(temperature, pressure, elements, offered)
    return raw_state(table, temperature, pressure, amounts)


def raw_state(
    table: SpeciesTable,
    temperature: float,
    pressure: float,
    amounts: FloatArray,
    *,
    on_plateau: bool = False,
) -> RawState:
    """Complete a composition with its enthalpy, entropy and gas amount."""
    heat, disorder = mixture.enthalpy_and_entropy(
        table, np.array(temperature), np.array(pressure), amounts
    )
    return RawState(
        temperature=temperature,
        pressure=pressure,
        amounts=amounts,
        enthalpy=float(heat),
        entropy=float(disorder),
        gas_moles=float(amounts[: mixture.gas_count(table)].sum()),
        on_plateau=on_plateau,
    )


def at_enthalpy(
    composer: Composer,
    enthalpy: float,
    pressure: float,
    elements: FloatArray,
) -> RawState:
    """Return the state of given enthalpy [J/kg] and pressure."""
    return _Search(composer, pressure, elements, lambda s: s.enthalpy, enthalpy).run(
        1600.0, 120.0
    )


def at_entropy(
    composer: Composer,
    entropy: float,
    pressure: float,
    elements: FloatArray,
    guess: float,
) -> RawState:
    """Return the state of given entropy [J/(kg K)] and pressure."""
    return _Search(composer, pressure, elements, lambda s: s.entropy, entropy).run(
        guess, 4.0
    )


class _Search:
    """The search for the temperature at which a rising property has its target."""

    def __init__(
        self,
        composer: Composer,
        pressure: float,
        elements: FloatArray,
        value: Property,
        target: float,
    ) -> None:
        self.composer = composer
        self.pressure = pressure
        self.elements = elements
        self.value = value
        self.target = target
        self._states: dict[tuple[float, bool], RawState] = {}

    def state(self, temperature: float, *, hotter: bool = True) -> RawState:
        """Return the state at a temperature, solved once."""
        key = (temperature, hotter)
        if key not in self._states:
            self._states[key] = at_temperature(
                self.composer, temperature, self.pressure, self.elements, hotter=hotter
            )
        return self._states[key]

    def excess(self, temperature: float) -> float:
        """Return property minus target at a temperature."""
        return self._above(self.state(temperature))

    def _above(self, state: RawState) -> float:
        return self.value(state) - self.target

    def run(self, guess: float, step: float) -> RawState:
        """Bracket, look for a plateau, then close in."""
        low, high = self._bracket(guess, step)
        for cold, hot, limit in self.composer.table.transitions:
            if not (low < limit < high and self._present(cold, low, hot, high)):
                continue
            colder, hotter = self.state(limit, hotter=False), self.state(limit)
            if self._above(colder) <= 0.0 <= self._above(hotter):
                return self._lever(colder, hotter)
            if self._above(colder) > 0.0:
                high = float(np.nextafter(limit, 0.0))
            else:
                low = limit
        if self.excess(low) * self.excess(high) >= 0.0:
            ends = (self.state(low), self.state(high))
            return min(ends, key=lambda s: abs(self._above(s)))
        return self.state(root(self.excess, low, high, within=1e-8))

    def _present(self, cold: int, low: float, hot: int, high: float) -> bool:
        """Whether a substance is there in its cold form at `low` or hot at `high`."""
        count = mixture.gas_count(self.composer.table)
        return bool(
            self.state(low).amounts[count + cold] > 0.0
            or self.state(high).amounts[count + hot] > 0.0
        )

    def _lever(self, colder: RawState, hotter: RawState) -> RawState:
        """Mix the two states at a transition so that the target is met exactly."""
        below, above = self._above(colder), self._above(hotter)
        share = -below / (above - below) if above > below else 0.0
        amounts = (1.0 - share) * colder.amounts + share * hotter.amounts
        return raw_state(
            self.composer.table,
            colder.temperature,
            self.pressure,
            amounts,
            on_plateau=True,
        )

    def _bracket(self, guess: float, step: float) -> tuple[float, float]:
        """Walk from the guess until the target lies between two temperatures."""
        here = min(max(guess, LOWEST + 1.0), HIGHEST - 1.0)
        too_hot = self.excess(here) > 0.0
        while True:
            there = here - step if too_hot else here + step
            there = min(max(there, LOWEST), HIGHEST)
            if (self.excess(there) > 0.0) != too_hot:
                return min(here, there), max(here, there)
            if there in (LOWEST, HIGHEST):
                raise ConvergenceError(
                    f"no temperature between {LOWEST:g} and {HIGHEST:g} K has the "
                    f"asked value at {self.pressure:.0f} Pa"
                )
            here, step = there, 2.5 * step


def too_cold(
    composer: Composer, enthalpy: float, pressure: float, elements: FloatArray
) -> bool:
    """Whether the mix has less enthalpy than its equilibrium products at 600 K."""
    state = at_temperature(composer, COLD, pressure, elements)
    return state.enthalpy > enthalpy


def gas_volume(state: RawState) -> float:
    """Return the volume of the state. [m3/kg]"""
    return state.gas_moles * GAS_CONSTANT * state.temperature / state.pressure
