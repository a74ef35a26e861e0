"""Throat and exit on the isentrope of a chamber, by the Cantera route."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from castsugar.thermo.mixture import gas_count
from castsugar.thermo.second_opinion.composition import Composer
from castsugar.thermo.second_opinion.states import RawState, at_entropy, gas_volume
from castsugar.thermo.states import State
from castsugar.thermo.tables import FloatArray

#: ln(p/pc) between which the throat lies for exponents 0.95 to 1.67.
_SEARCHED = (math.log(0.45), math.log(0.70))

#: Spacing of the scan that finds the upstream one of several maxima.
_SCAN_STEP = 0.02


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


def throat(isentrope: Isentrope) -> RawState:
    """Return the state of largest mass flux; of two maxima the upstream one."""
    from scipy.optimize import minimize_scalar

    low, high = _SEARCHED
    if _may_have_two(isentrope, low, high):
        low, high = _first_maximum(isentrope.flux, low, high)
    found = minimize_scalar(
        lambda x: -isentrope.flux(x),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 2e-7},
    )
    return isentrope.at(float(found.x))


def _may_have_two(isentrope: Isentrope, low: float, high: float) -> bool:
    """Whether a phase change lies on the part of the isentrope that is searched."""
    hot = isentrope.at(high)
    cold = isentrope.at(low)
    count = gas_count(isentrope.composer.table)
    crossed = (hot.amounts[count:] > 0.0) != (cold.amounts[count:] > 0.0)
    return bool(crossed.any()) or hot.on_plateau or cold.on_plateau


def _first_maximum(
    flux: Callable[[float], float], low: float, high: float
) -> tuple[float, float]:
    """Scan from the chamber side; return a bracket of the first maximum."""
    points = np.arange(high, low - _SCAN_STEP, -_SCAN_STEP)
    values = [flux(float(points[0]))]
    for x in points[1:]:
        values.append(flux(float(x)))
        if values[-1] < values[-2]:
            return float(x), float(points[max(len(values) - 3, 0)])
    return low, high
