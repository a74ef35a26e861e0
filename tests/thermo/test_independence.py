"""A row never depends on its neighbours, nor on the day."""

from __future__ import annotations

import functools
from dataclasses import fields

import numpy as np
import pytest
from equilibrium_checks.mixes import (
    POOL,
    c_star,
    even,
    job,
    random_pressures,
    random_shares,
    solve,
    stations,
    take,
)

from castsugar.thermo.gibbs.expansion import Stations
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import CHUNK, Job

pytestmark = pytest.mark.exact

COUNT = 5151
FLOWS = (
    "equilibrium",
    pytest.param("no-solidification", marks=pytest.mark.slow),
    pytest.param("frozen", marks=pytest.mark.slow),
)


@functools.cache
def asked(flow: str) -> Job:
    """5,151 mixes of the region: more than two chunks."""
    assert COUNT > 2 * CHUNK
    return job(("KNO3", "sucrose", "water"), even(COUNT), 6.9e6, flow=flow)


@functools.cache
def whole(flow: str) -> Flow:
    """All of them at once."""
    return solve(asked(flow))


def agree(found: Flow, every: Flow, rows: np.ndarray) -> None:
    """Rows of one flow are the rows of another, to the limits of the design."""
    np.testing.assert_array_equal(found.cold, every.cold[rows])
    np.testing.assert_array_equal(found.lost, every.lost[rows])
    for ours, theirs, room in zip(
        stations(found), stations(every), (1e-9, 1e-7, 1e-7), strict=True
    ):
        np.testing.assert_allclose(
            ours.temperature, theirs.temperature[rows], rtol=0.0, atol=room
        )
    np.testing.assert_allclose(c_star(found), c_star(every)[rows], rtol=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("flow", FLOWS)
def test_alone_and_in_pairs(flow: str) -> None:
    """30 mixes, each alone, then beside one of the other end of the region."""
    for row in np.linspace(0, COUNT - 1, 30).astype(int):
        for rows in (np.array([row]), np.array([row, COUNT - 1 - row])):
            agree(solve(take(asked(flow), rows)), whole(flow), rows)


@pytest.mark.slow
@pytest.mark.parametrize("flow", FLOWS)
def test_shuffled(flow: str) -> None:
    """All 5,151 in another order: every chunk holds others."""
    rows = np.random.default_rng(3).permutation(COUNT)
    agree(solve(take(asked(flow), rows)), whole(flow), rows)


@pytest.mark.slow
def test_shuffled_random_mixes() -> None:
    """2,500 mixes of other elements, so that the groups change with the chunks."""
    shares, pressure = random_shares(2500, 21), random_pressures(2500, 22)
    given = job(POOL, shares, pressure, exit_pressure=0.02e6, flow="no-solidification")
    rows = np.random.default_rng(4).permutation(len(pressure))
    agree(solve(take(given, rows)), solve(given), rows)


@pytest.mark.slow
@pytest.mark.parametrize("flow", FLOWS)
def test_again(flow: str) -> None:
    """The same call gives the same bytes."""
    rows = np.arange(0, COUNT, 2)
    first, second = (solve(take(asked(flow), rows)) for _ in range(2))
    for f in fields(Flow):
        one, two = getattr(first, f.name), getattr(second, f.name)
        if isinstance(one, Stations):
            for g in fields(Stations):
                left, right = getattr(one, g.name), getattr(two, g.name)
                assert left.tobytes() == right.tobytes(), (f.name, g.name)
        elif f.name != "solved":
            assert one.tobytes() == two.tobytes(), f.name
