"""States of prescribed temperature and pressure: each is found, and by its own fit."""

from __future__ import annotations

import numpy as np
import pytest
from equilibrium_checks import scope

import castsugar as cs
from castsugar import species_set
from castsugar.rows import shipped_species
from castsugar.thermo import solver
from castsugar.thermo.second_opinion import flow
from castsugar.thermo.solver import Charge, charge_of
from castsugar.thermo.species import SpeciesTable, restrict

pytestmark = pytest.mark.exact

BASE = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})


def charges(count: int, seed: int) -> list[tuple[SpeciesTable, Charge]]:
    """Random mixes of the whole scope with their species."""
    blends = scope.blends(scope.shares(count, seed))
    whole = shipped_species()
    found = []
    for elements, enthalpy in zip(blends.elements, blends.enthalpy, strict=True):
        present = elements > 0.0
        names = zip(whole.elements, present, strict=True)
        table = restrict(whole, frozenset(e for e, there in names if there))
        found.append(
            (table, Charge(elements=elements[present], enthalpy=float(enthalpy)))
        )
    return found


def test_round_temperature() -> None:
    """1000 K, where the fits of the gases meet: a state like those beside it."""
    there = cs.equilibrium(BASE, pressure=6.9e6, temperature=1000.0)
    beside = cs.equilibrium(BASE, pressure=6.9e6, temperature=1000.001)
    assert there.temperature == 1000.0
    # 1e-3 K times some 2 kJ/(kg K); the fits themselves differ by less at their join.
    assert there.enthalpy == pytest.approx(beside.enthalpy, abs=5.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["nasa-1993", "nasa-2002"])
def test_every_join_and_transition(name: str) -> None:
    """Where fits or forms meet, to the last bit, and one bit to either side."""
    table, charge = charge_of(
        cs.Mix.weigh({"KNO3": 40, "NaNO3": 20, "sucrose": 35, "red iron oxide": 5}),
        species_set(name),
    )
    joins = table.phase.joins[np.isfinite(table.phase.joins)]
    edges = {table.gas.join, *joins, *(t for *_, t in table.transitions)}
    for edge in sorted(e for e in edges if 300.0 <= e <= 5000.0):
        for temperature in (np.nextafter(edge, 0.0), edge, np.nextafter(edge, 1e4)):
            state = solver.equilibrium(table, charge, 3e6, float(temperature))
            assert state.temperature == temperature


@pytest.mark.slow
@pytest.mark.parametrize(("low", "high"), [(300.0, 2000.0), (2000.0, 5000.0)])
def test_random_states(low: float, high: float) -> None:
    """150 each below and above 2000 K, 0.1 to 10 MPa: all are found."""
    temperature = np.random.default_rng(31).uniform(low, high, 150)
    pressure = scope.pressures(150, 32)
    for (table, charge), t, p in zip(
        charges(150, 33), temperature, pressure, strict=True
    ):
        # Raises where no state is found, or one that does not pass its certificate.
        assert solver.equilibrium(table, charge, float(p), float(t)).temperature == t


def test_a_phase_that_cannot_be_there() -> None:
    """Liquid NaOH, which the first guess offers, is not stable: the second route."""
    mix = cs.Mix.weigh({"NaNO3": 70.38, "sucrose": 15.4, "water": 14.22})
    table, charge = charge_of(mix, shipped_species())
    ours = solver.equilibrium(table, charge, 9.14585e6, 3026.22)
    other = flow.equilibrium(table, charge, 9.14585e6, 3026.22)
    assert ours.amount("NaOH(L)") == 0.0
    # Both pass certificates of 1e-6 RT in every potential.
    assert ours.enthalpy == pytest.approx(other.enthalpy, rel=1e-6)
    assert ours.gas_moles == pytest.approx(other.gas_moles, rel=1e-6)


def test_a_flame_that_was_long_to_find() -> None:
    """A search that crosses the join of the fits often ends with the fit of its T.

    By the second route, which knows no such memory: 874.5331 K.
    """
    mix = cs.Mix.weigh(
        {"NaNO3": 0.06448326404096394, "maltodextrin": 0.9355167359590361}
    )
    table, charge = charge_of(mix, shipped_species())
    row = cs.evaluate(
        mix, pressure=387199.18132495333, exit_pressure=20e3, flow="equilibrium"
    )
    other = flow.solve(table, charge, 387199.18132495333, None, "equilibrium")
    assert row["flame_temperature_K"][0] == pytest.approx(
        other.chamber.temperature, abs=1e-5
    )
