r"""Flow of a mixture whose composition is held: states on its isentrope.

At fixed composition the entropy gives the pressure as a function of temperature in
closed form, so that the throat is a search in one unknown,

.. math:: u^2 = 2 (h_c - h(T)) = \gamma(T) N R T, \quad \gamma = c_p / (c_p - N R)

with N moles of gas per kilogram of mix and the heat capacity of gas and condensed
phases together. Arrays in, arrays out, mixes on the first axis.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.thermo import mixture
from castsugar.thermo.tables import SpeciesTable

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
