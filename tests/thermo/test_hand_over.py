"""A mix handed over to Cantera is solved there, and is the same mix."""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

import castsugar as cs
from castsugar.constants import ELEMENTS
from castsugar.thermo.second_opinion.hand_over import InCantera

PRESSURE = 6.894757e6


def flame(made: InCantera, low: float, high: float) -> float:
    """Return the temperature [K] at which Cantera's products hold its enthalpy."""

    def excess(temperature: float) -> float:
        mixed = made.mixture(temperature, PRESSURE)
        mixed.equilibrate("TP", solver="vcs", rtol=1e-10)
        held = [
            mixed.phase_moles(i) * mixed.phase(i).enthalpy_mole
            for i in range(mixed.n_phases)
        ]
        return float(sum(held) - made.enthalpy)

    return float(brentq(excess, low, high, xtol=1e-4))


# Exact: the same data by two solvers; 0.01 K is promised in the docstring. Wet, with
# sodium, and of the other product set.
@pytest.mark.exact
@pytest.mark.parametrize(
    ("recipe", "species"),
    [
        ("KNO3:65 sucrose:35", "nasa-1993"),
        ("KNO3:65 sucrose:35", "nasa-2002"),
        ("KNO3:60 powdered sugar:20 corn syrup:20", "nasa-1993"),
        ("KNO3:60 NaNO3:5 sorbitol:35", "nasa-1993"),
    ],
)
def test_flame_is_ours(recipe: str, species: str) -> None:
    """Cantera alone, on what was handed over, finds our flame."""
    table = cs.species_set(species)
    ours = cs.equilibrium(recipe, pressure=PRESSURE, species=table).temperature
    made = cs.to_cantera(recipe, species=table)
    assert flame(made, ours - 150.0, ours + 150.0) == pytest.approx(ours, abs=0.01)


@pytest.mark.exact
def test_one_kilogram_is_handed_over() -> None:
    """Element amounts are those of the mix, in kmol; so is the enthalpy, in J."""
    mix = cs.Mix.weigh("KNO3:65 sucrose:35")
    made = cs.to_cantera(mix)
    held = dict(zip(ELEMENTS, mix.elements, strict=True))
    assert made.elements == {e: 1e-3 * n for e, n in held.items() if n}
    assert made.enthalpy == mix.enthalpy
    mixed = made.mixture(1700.0, PRESSURE)
    for element, amount in made.elements.items():
        assert mixed.element_moles(element) == pytest.approx(amount, rel=1e-12)


@pytest.mark.exact
def test_pressure_moves_no_condensed_phase() -> None:
    """No condensed phase has a volume: G(6.9 MPa) - G(1 bar) below 1 J/mol."""
    made = cs.to_cantera("KNO3:60 NaNO3:5 sucrose:35")
    assert "K2CO3(L)" in made.condensed
    for phase in made.condensed.values():
        phase.TP = 1500.0, 1e5
        before = phase.gibbs_mole
        phase.TP = 1500.0, PRESSURE
        assert abs(phase.gibbs_mole - before) < 1e3, phase.name  # J/kmol


@pytest.mark.exact
def test_only_stable_forms_are_offered() -> None:
    """Solid carbonate below its melting, liquid above, never both."""
    # It melts at 1174 K (NIST-JANAF).
    made = cs.to_cantera("KNO3:65 sucrose:35")
    cold, hot = (set(made.mixture(t, PRESSURE).species_names) for t in (1100, 1300))
    assert "K2CO3(L)" in hot - cold
    assert {name for name in cold if name.startswith("K2CO3(")}


@pytest.mark.exact
def test_every_call_makes_its_own_objects() -> None:
    """What one user does to a phase reaches no other, and none of our answers."""
    before = cs.equilibrium("KNO3:65 sucrose:35").temperature
    first, second = (cs.to_cantera("KNO3:65 sucrose:35") for _ in range(2))
    first.gas.TP = 300.0, 1e5
    assert first.gas is not second.gas
    assert cs.equilibrium("KNO3:65 sucrose:35").temperature == before


@pytest.mark.exact
@pytest.mark.parametrize(
    ("temperature", "pressure"),
    [(math.nan, 1e6), (50.0, 1e6), (2e4, 1e6), (1500.0, 0.0), (1500.0, math.nan)],
)
def test_what_is_no_state_is_refused(temperature: float, pressure: float) -> None:
    """One line, before Cantera sees it."""
    made = cs.to_cantera("KNO3:65 sucrose:35")
    with pytest.raises(cs.InputError):
        made.mixture(temperature, pressure)
