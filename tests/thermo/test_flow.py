"""States of one mix: what a single call gives, and the laws it has to keep."""

from __future__ import annotations

import functools
import importlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import castsugar as cs
from castsugar.constants import ELEMENTS

pytestmark = pytest.mark.exact

PRESSURE = 6.9e6
GAS_CONSTANT = 8.31446261815324  # J/(mol K), CODATA 2018

BASE = cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name="base")
SYRUP = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}, name="syrup")
FLOWS = ("equilibrium", "frozen", "no-solidification")


def test_single_calls_raise() -> None:
    """A single call raises where the table writes a status."""
    # Nitrate in water: the products at 600 K hold more enthalpy than the mix.
    cold = cs.Mix.weigh({"KNO3": 10, "water": 90}, name="cold")
    ash = cs.Mix.weigh({"inert": 1}, name="ash")
    for call in (cs.equilibrium, cs.performance):
        with pytest.raises(cs.ConvergenceError):
            call(cold)
        with pytest.raises(cs.InputError, match="'ash'"):
            call(ash)


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("mix", [BASE, SYRUP], ids=["base", "syrup"])
def test_flow_closes(mix: cs.Mix, flow: str) -> None:
    """Energy, entropy and the throat of one mix, from its states."""
    found = cs.performance(mix, pressure=PRESSURE, exit_pressure=1e5, flow=flow)
    chamber, throat, leaving = found.states
    assert chamber.pressure == PRESSURE
    assert leaving.pressure == pytest.approx(1e5, rel=1e-12)
    # Energy: h_c - h = u^2 / 2; the exit velocity is what the table turns into s.
    fall = chamber.enthalpy - leaving.enthalpy
    assert found.exit_velocity == pytest.approx(math.sqrt(2.0 * fall), rel=1e-12)
    # Isentropic: the certificate asks for 1e-8 of the entropy.
    for state in (throat, leaving):
        assert state.entropy == pytest.approx(chamber.entropy, rel=1e-8)
    # c* = p_c v_t / u_t with v = N R T / p, N moles of gas per kilogram.
    velocity = math.sqrt(2.0 * (chamber.enthalpy - throat.enthalpy))
    volume = throat.gas_moles * GAS_CONSTANT * throat.temperature / throat.pressure
    assert found.characteristic_velocity == pytest.approx(
        PRESSURE * volume / velocity, rel=1e-12
    )
    # The throat is where the flux is largest, u^2 = gamma p v with the sound speed of
    # what flows. A held composition is a plain root: 1e-9. A search for the maximum may
    # stop with ln p open by 1e-5, which c* feels squared; u^2 / (gamma p v) moves by
    # about twice as much, 2e-5, and the linear response adds its own rounding.
    if flow != "no-solidification":
        sound = throat.isentropic_exponent * throat.pressure * volume
        room = 1e-9 if flow == "frozen" else 1e-4
        assert velocity**2 == pytest.approx(sound, rel=room)
    assert all(s.certificate.passed for s in found.states)


@settings(derandomize=True, max_examples=15)
@given(water=st.floats(0.0, 0.25))
def test_atoms_are_kept_for_any_water(water: float) -> None:
    """Atoms of the products are those of the mix, counted from their formulas."""
    # Conservation, 1e-8 relative to the largest (as certified); the atoms come from
    # Cantera's reading of the product file, not from the arrays of the solver.
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35, "water": 100 * water / (1 - water)})
    state = cs.equilibrium(mix, pressure=PRESSURE)
    found = dict.fromkeys(ELEMENTS, 0.0)
    for name, amount in zip(state.species, state.amounts, strict=True):
        for element, count in formulas()[name].items():
            found[element] += count * amount
    largest = max(mix.elements)
    for element, given_moles in zip(ELEMENTS, mix.elements, strict=True):
        assert found[element] == pytest.approx(given_moles, abs=1e-8 * largest)


@functools.cache
def formulas() -> dict[str, dict[str, float]]:
    """Atoms of each product as Cantera reads them."""
    cantera = importlib.import_module("cantera")
    path = str(cs.load_database().folder / "products.yaml")
    return {
        species.name: dict(species.composition)
        for section in ("gases", "condensed")
        for species in cantera.Species.list_from_file(path, section)
    }


@pytest.mark.parametrize("temperature", [200.0, 6000.0, math.nan])
def test_temperature_outside_the_data(temperature: float) -> None:
    """An equilibrium at given temperature stays inside the species data."""
    with pytest.raises(cs.InputError, match="300 to 5000 K"):
        cs.equilibrium(BASE, temperature=temperature)


def test_given_temperature_and_constant_enthalpy_agree() -> None:
    """The equilibrium at the flame temperature is the flame."""
    flame = cs.equilibrium(BASE, pressure=PRESSURE)
    again = cs.equilibrium(BASE, pressure=PRESSURE, temperature=flame.temperature)
    assert flame.enthalpy == pytest.approx(BASE.enthalpy, rel=1e-8)  # certificate
    assert again.enthalpy == pytest.approx(flame.enthalpy, rel=1e-8)
    for name, amount in flame.main_species().items():
        assert again.amount(name) == pytest.approx(amount, rel=1e-6)


def test_complete_reaction_at_low_temperature() -> None:
    """2 H2 + O2 at 800 K: water and nothing else, as by stoichiometry."""
    hydrogen = cs.Ingredient(name="H2 gas", formula="H2", enthalpy_of_formation=0.0)
    oxygen = cs.Ingredient(name="O2 gas", formula="O2", enthalpy_of_formation=0.0)
    # 2 x 2.016 g with 31.998 g.
    mix = cs.Mix.weigh({hydrogen: 4.032, oxygen: 31.998})
    state = cs.equilibrium(mix, pressure=1e5, temperature=800.0)
    # One kilogram of water is 1000 / 18.015 = 55.509 mol. H2O = H2 + O2/2 has log Kf
    # 13.3 at 800 K (NIST-JANAF), so x(H2) = (2 x 10^-26.6)^(1/3) = 2e-9.
    assert state.amount("H2O") == pytest.approx(1000 / 18.015, rel=1e-6)
    assert state.mole_fraction("H2") < 1e-6
    assert state.condensed_mass_fraction == pytest.approx(0.0, abs=1e-12)
    for mass in ("gas", "effective", "products"):
        value = getattr(state, f"{mass}_molar_mass")
        assert value == pytest.approx(18.015e-3, rel=1e-6)


def test_plain_values_of_a_state() -> None:
    """to_dict and to_frame: units in the names, the gas sums to one."""
    state = cs.equilibrium(BASE, pressure=PRESSURE)
    plain = state.to_dict()
    assert plain["temperature_K"] == state.temperature
    assert plain["pressure_Pa"] == PRESSURE
    assert plain["gas_molar_mass_g_mol"] == 1e3 * state.gas_molar_mass
    assert plain["certificate"]["passed"] is True
    frame = state.to_frame(least=0.0)
    assert frame["mole_fraction_in_gas"].sum() == pytest.approx(1.0, rel=1e-12)
    amounts = dict(zip(frame["species"], frame["amount_mol_kg"], strict=True))
    assert amounts["K2CO3(L)"] == state.amount("K2CO3(L)")
    # Largest first; a condensed species has no fraction in the gas.
    assert frame["amount_mol_kg"].is_monotonic_decreasing
    liquid = frame[frame["species"] == "K2CO3(L)"]
    assert liquid["mole_fraction_in_gas"].isna().all()
    assert state.amount("unobtainium") == 0.0
