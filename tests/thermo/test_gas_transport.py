"""Viscosity and conductivity of the gas in the chamber."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar.rows import shipped_species
from castsugar.thermo import mixture
from castsugar.thermo.second_opinion.gas_transport import LEAST_SHARE, gas_transport
from castsugar.thermo.species import restrict
from castsugar.thermo.states import State


def chamber(**recipe: float) -> State:
    """Return the chamber of a mix at 3 MPa."""
    parts = {name.replace("_", " "): share for name, share in recipe.items()}
    return cs.equilibrium(parts, pressure=3e6)


@pytest.mark.frozen
@pytest.mark.parametrize(
    ("recipe", "expected"),
    [
        (
            {"KNO3": 60, "powdered_sugar": 20, "corn_syrup": 20},
            (5.33e-5, 0.179, 1892.0, 0.564, 1.244),
        ),
        ({"KNO3": 65, "sucrose": 35}, (5.86e-5, 0.183, 1831.0, 0.587, 1.233)),
    ],
    ids=["60/20/20", "65/35"],
)
def test_numbers_of_two_mixes(
    recipe: dict[str, float], expected: tuple[float, ...]
) -> None:
    """As an own computation with Cantera gave them before this code, last digit."""
    state = chamber(**recipe)
    found = gas_transport(state)
    assert found.told
    assert found.viscosity == pytest.approx(expected[0], abs=0.005e-5)
    assert found.conductivity == pytest.approx(expected[1], abs=0.0005)
    assert found.specific_heat == pytest.approx(expected[2], abs=1.0)
    assert found.prandtl == pytest.approx(expected[3], abs=0.0005)
    assert state.gas_exponent == pytest.approx(expected[4], abs=0.0005)
    assert 0.978 < found.share < 0.999


@pytest.mark.recalled
@pytest.mark.parametrize(
    ("gas", "temperature", "viscosity"),
    [
        ("N2", 300.0, 17.9e-6),
        ("N2", 600.0, 29.6e-6),
        ("CO2", 600.0, 28.0e-6),
        ("H2O", 1000.0, 37.6e-6),
        ("H2O", 1500.0, 55.8e-6),
    ],
)
def test_pure_gases(gas: str, temperature: float, viscosity: float) -> None:
    """Within the 5 % that the viscosity is held to be known to.

    N2 and CO2: CRC Handbook of Chemistry and Physics, "Viscosity of gases", from
    memory. H2O: the dilute-gas term of IAPWS 2008 (R12-08), computed by hand from
    coefficients from memory.
    """
    state = chamber(KNO3=65, sucrose=35)
    amounts = np.zeros(len(state.amounts))
    amounts[state.species.index(gas)] = 1.0 / state.effective_molar_mass
    pure = replace(state, temperature=temperature, pressure=1e5, amounts=amounts)
    assert gas_transport(pure).viscosity == pytest.approx(viscosity, rel=0.05)


@pytest.mark.exact
def test_pressure_does_not_enter() -> None:
    """A dilute gas: the same at 0.1 and at 7 MPa where its composition is."""
    state = chamber(KNO3=65, sucrose=35)
    low, high = (gas_transport(replace(state, pressure=p)) for p in (1e5, 7e6))
    assert low.viscosity == pytest.approx(high.viscosity, rel=1e-9)
    assert low.conductivity == pytest.approx(high.conductivity, rel=1e-9)


@pytest.mark.exact
def test_withheld_where_the_data_do_not_know_the_gas() -> None:
    """A gas with a tenth of potassium hydroxide; one hotter than the data."""
    state = chamber(KNO3=65, sucrose=35)
    amounts = state.amounts.copy()
    gas = amounts[: state.gas_count]
    extra = 0.1 * gas.sum()
    amounts[state.species.index("KOH")] += extra
    moles = float(gas.sum() + extra)
    found = gas_transport(
        replace(state, amounts=amounts, effective_molar_mass=1 / moles)
    )
    assert found.share < LEAST_SHARE
    assert not found.told
    assert math.isnan(found.viscosity)
    assert math.isnan(found.prandtl)
    hot = gas_transport(replace(state, temperature=4500.0))
    assert not hot.told
    assert math.isnan(hot.conductivity)


@pytest.mark.exact
def test_heat_capacity_of_the_gas_is_the_slope_of_its_enthalpy() -> None:
    """By a numerical derivative of the species data; k = cp/(cp - R/M)."""
    state = chamber(KNO3=60, powdered_sugar=20, corn_syrup=20)
    table = restrict(shipped_species(), frozenset("CHONK"))
    gas = np.where(np.arange(len(state.amounts)) < state.gas_count, state.amounts, 0.0)
    ends = [
        float(mixture.enthalpy(table, np.array(state.temperature + d), gas))
        for d in (-0.5, 0.5)
    ]
    mass = state.gas_moles * state.gas_molar_mass
    assert state.gas_heat_capacity == pytest.approx(
        (ends[1] - ends[0]) / mass, rel=1e-6
    )
    constant = 8.31446261815324 / state.gas_molar_mass
    cp = state.gas_heat_capacity
    assert state.gas_exponent == pytest.approx(cp / (cp - constant), rel=1e-12)
