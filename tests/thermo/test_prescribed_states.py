"""States of prescribed temperature and pressure: each is found, and by its own fit."""

from __future__ import annotations

import numpy as np
import pytest

import castsugar as cs
from castsugar.species_sets import shipped_species, species_set
from castsugar.thermo import detail
from castsugar.thermo.charge import charge_of
from castsugar.thermo.second_opinion import route

pytestmark = pytest.mark.exact

BASE = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})


def test_round_temperature() -> None:
    """1000 K, where the fits of the gases meet: a state like those beside it."""
    there = cs.equilibrium(BASE, pressure=6.9e6, temperature=1000.0)
    beside = cs.equilibrium(BASE, pressure=6.9e6, temperature=1000.001)
    assert there.temperature == 1000.0
    # 1e-3 K times some 2 kJ/(kg K); the fits themselves differ by less at their join.
    assert there.enthalpy == pytest.approx(beside.enthalpy, abs=5.0)


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
            state = detail.equilibrium(table, charge, 3e6, float(temperature))
            assert state.temperature == temperature


def test_a_flame_that_was_long_to_find() -> None:
    """A search that crosses the join of the fits often ends with the fit of its T.

    By the second route, which knows no such memory: 874.5331 K.
    """
    mix = cs.Mix.weigh(
        {"NaNO3": 0.06448326404096394, "maltodextrin": 0.9355167359590361}
    )
    table, charge = charge_of(mix, shipped_species())
    row = cs.evaluate(mix, pressure=387199.18132495333, exit_pressure=20e3)
    other = route.solve(table, charge, 387199.18132495333, None, "equilibrium")
    assert row["flame_temperature_K"][0] == pytest.approx(
        other.chamber.temperature, abs=1e-5
    )
