"""No mix is lost: a grid over the region, and random mixes.

Twenty thousand a flow: ``benchmarks/validation/thermochemistry.py``.
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from equilibrium_checks.mixes import (
    POOL,
    c_star,
    certified,
    described,
    even,
    job,
    random_pressures,
    random_shares,
    solve,
    take,
)

from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.thermo.gibbs import chamber, linear, starts
from castsugar.thermo.solver import Job, model_of
from castsugar.thermo.species import restrict

pytestmark = pytest.mark.exact

TERNARY = ("KNO3", "sucrose", "water")
FLOWS = ("equilibrium", "no-solidification", "frozen")
PRESSURES = (0.1e6, 0.3e6, 1e6, 3e6, 6.9e6, 10e6)
GRID, RANDOM, SAMPLE = 550, 4000, 40
GAS_CONSTANT = 8.31446261815324  # J/(mol K), CODATA 2018


def enthalpy_at_600(asked: Job) -> np.ndarray:
    """Enthalpy of the products at 600 K, by a solve of given temperature. [J/kg]"""
    out = np.full(len(asked.enthalpy), np.nan)
    for row, b in enumerate(asked.elements):
        present = b > 0.0
        kept = zip(asked.table.elements, present, strict=True)
        table = restrict(asked.table, frozenset(e for e, p in kept if p))
        model = model_of(table)
        batch = starts.whole_batch(model, b[None, present])
        log_p = np.log(asked.pressure[[row]] / table.reference_pressure)
        found = chamber.at_temperature(model, batch, np.array([600.0]), log_p)
        assert found.solved.all()
        sums = linear.moments(model, batch, found.iterate)
        out[row] = (GAS_CONSTANT * 600.0 * sums.enthalpy(found.iterate))[0]
    return out


def check_cold(asked: Job, cold: np.ndarray) -> None:
    """The products of cold mixes hold more enthalpy at 600 K than the mix."""
    rows = np.flatnonzero(cold)
    rows = rows[np.linspace(0, len(rows) - 1, min(SAMPLE, len(rows))).astype(int)]
    some = take(asked, rows)
    assert (enthalpy_at_600(some) > some.enthalpy).all()


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("pressure", PRESSURES)
def test_grid(pressure: float, flow: str) -> None:
    """6 x 550 mixes of nitrate, sugar, water: certified at all stations, or cold."""
    exit_pressure = 0.02e6 if pressure == 0.1e6 else STANDARD_ATMOSPHERE
    shares = even(GRID)
    asked = job(TERNARY, shares, pressure, exit_pressure=exit_pressure, flow=flow)
    found = solve(asked)
    lost = ~certified(found) & ~found.cold
    assert not lost.any(), [described(TERNARY, s, pressure) for s in shares[lost]]
    # Cold ones are few, and rich in nitrate and water (reference: 4 %).
    assert 0 < found.cold.sum() < 0.06 * GRID
    assert shares[found.cold, 0].min() > 0.78


def test_grid_is_large_enough() -> None:
    """At least 3,000 points, and the whole region."""
    assert GRID * len(PRESSURES) >= 3000
    shares = even(GRID)
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    assert shares[:, 0].min() < 0.402
    assert shares[:, 0].max() > 0.848
    assert shares[:, 2].min() < 0.001
    assert shares[:, 2].max() > 0.099


@pytest.mark.parametrize("pressure", PRESSURES)
def test_cold_is_shown(pressure: float) -> None:
    """Cold rows of the grid, by an independent solve at 600 K."""
    asked = job(TERNARY, even(GRID), pressure, exit_pressure=None)
    check_cold(asked, solve(asked).cold)


def test_cold_is_exact_near_its_limit() -> None:
    """Just above the limit the mix burns at little more than 600 K, below it is cold.

    The enthalpy is moved to 600 K's own, plus and minus 1 J/kg of some MJ/kg.
    """
    asked = job(TERNARY, np.array([[0.84, 0.08, 0.08]]), 3e6, exit_pressure=None)
    limit = enthalpy_at_600(asked)
    for change, cold in ((1.0, False), (-1.0, True)):
        asked.enthalpy[:] = limit + change
        found = solve(asked)
        assert bool(found.cold[0]) is cold
        if not cold:
            assert found.chamber.temperature[0] == pytest.approx(600.0, abs=0.01)


@functools.cache
def random_mixes() -> tuple[np.ndarray, np.ndarray]:
    """Seeded mixes and pressures, those of the same elements side by side.

    KNO3, NaNO3 or both (40-85 %); one to three of five sugars and three syrups; 0-10 %
    water; 0-2 % iron oxide or graphite; 0.1-10 MPa.
    """
    shares, pressure = random_shares(RANDOM, 7), random_pressures(RANDOM, 8)
    present = job(POOL, shares, pressure).elements > 0.0
    order = np.lexsort(present.T)  # large groups are quick
    return shares[order], pressure[order]


def test_random_mixes_are_varied() -> None:
    """Every ingredient, alone or beside others, in a good part of the mixes."""
    shares, pressure = random_mixes()
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    assert (shares >= 0.0).all()
    assert ((shares > 0.0).mean(axis=0) > 0.2).all()
    nitrates = shares[:, :2] > 0.0
    assert nitrates.all(axis=1).mean() > 0.3
    assert pressure.min() < 0.101e6
    assert pressure.max() > 9.9e6


@pytest.mark.slow
@pytest.mark.parametrize("flow", FLOWS)
def test_random_mixes(flow: str) -> None:
    """Certified at all stations, or cold, down to 0.02 MPa; no throat is found out.

    Beside a throat the flux is lower by what `test_sound_throats` derives.
    """
    shares, pressure = random_mixes()
    asked = job(POOL, shares, pressure, exit_pressure=0.02e6, flow=flow)
    found = solve(replace(asked, test_throats=True))
    lost = np.flatnonzero(~certified(found) & ~found.cold)
    named = [described(POOL, shares[r], pressure[r]) for r in lost[:20]]
    assert not lost.size, f"{lost.size} lost: {named}"
    assert found.cold.mean() < 0.06
    assert found.flux_excess[~found.cold].max() < -0.6e-6
    check_cold(asked, found.cold)


@pytest.mark.slow
def test_throat_at_a_join_of_fits() -> None:
    """A throat between the transition (723.117 K) and the join (723.15 K) of Na2CO3.

    The heat capacity of the continued form steps at the join, and with it the sound
    speed: the flux has its maximum on the step, where velocity and sound speed differ.
    By the second route: 723.1500 K and 557.7026 m/s.
    """
    recipe = {"NaNO3": 0.81983706685869384, "sucrose": 0.045223060254764871}
    recipe |= {"xylitol": 0.0026857726671200926, "erythritol": 0.073583045764935767}
    recipe |= {"water": 0.05867105445448545}
    shares = np.array([list(recipe.values())])
    asked = job(tuple(recipe), shares, 137024.65680756563, exit_pressure=0.02e6)
    found = solve(asked)
    assert certified(found).all()
    assert found.throat.temperature[0] == pytest.approx(723.15, abs=1e-3)
    assert c_star(found)[0] == pytest.approx(557.70256, rel=2e-6)
