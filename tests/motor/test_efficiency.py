"""Efficiencies of c* and nozzle, learnt as one pair."""

from __future__ import annotations

import math

import numpy as np
import pytest

from castsugar.errors import InputError
from castsugar.motor import efficiency
from castsugar.motor.efficiency import (
    MEDIANS,
    READING_CORRELATION,
    SCATTER,
    SCATTER_SPREAD,
    SPREADS,
    Efficiencies,
    Reading,
    learn_efficiencies,
)

# Exact: normal updates by hand, and coverage in worlds drawn from what is stated.
pytestmark = pytest.mark.exact


def pair(velocity: float, nozzle: float = math.nan, u: float = 0.018) -> Reading:
    """A firing; the nozzle is read a fifth less firmly than c*."""
    return Reading(
        name="firing",
        characteristic_velocity=velocity,
        characteristic_velocity_u=u,
        nozzle=nozzle,
        nozzle_u=1.2 * u,
    )


@pytest.fixture
def one_scatter(monkeypatch: pytest.MonkeyPatch) -> float:
    """Hold the scatter between firings at one value, so that all is one normal."""
    tau = 0.01
    monkeypatch.setattr(efficiency, "SCATTER", tau)
    monkeypatch.setattr(efficiency, "SCATTER_SPREAD", 0.0)
    return tau


def test_nothing_fired_is_what_is_held_before() -> None:
    found = learn_efficiencies()
    for known, median, spread in (
        (found.characteristic_velocity, MEDIANS[0], SPREADS[0]),
        (found.nozzle, MEDIANS[1], SPREADS[1]),
        (found.impulse, MEDIANS[0] * MEDIANS[1], math.hypot(*SPREADS)),
    ):
        assert known.median == pytest.approx(median, rel=1e-12)
        assert known.u == pytest.approx(spread, rel=1e-12)
        assert known.high == pytest.approx(
            median * math.exp(1.959964 * spread), rel=1e-6
        )
        assert known.count == 0
    # A log-normal scatter: its median, and E tau^2 = tau0^2 exp(2 s^2) but for the ends
    # of the grid.
    known = found.characteristic_velocity
    assert known.scatter == pytest.approx(SCATTER, rel=1e-9)
    square = (SCATTER * math.exp(SCATTER_SPREAD**2)) ** 2
    assert known.next_u**2 - known.u**2 == pytest.approx(square, rel=0.1)


def test_one_reading_is_a_normal_update(one_scatter: float) -> None:
    value, u = 0.85, 0.02
    found = learn_efficiencies([pair(value, u=u)])
    of_prior, of_reading = 1.0 / SPREADS[0] ** 2, 1.0 / (u**2 + one_scatter**2)
    total = of_prior + of_reading
    middle = (of_prior * math.log(MEDIANS[0]) + of_reading * math.log(value)) / total
    known = found.characteristic_velocity
    assert known.median == pytest.approx(math.exp(middle), rel=1e-12)
    assert known.u == pytest.approx(total**-0.5, rel=1e-12)
    assert known.next_u == pytest.approx(math.hypot(known.u, one_scatter), rel=1e-12)
    low = middle - 1.959964 * total**-0.5
    assert known.low == pytest.approx(math.exp(low), rel=1e-6)
    # What a firing does not tell stays as it was held.
    assert found.nozzle.median == pytest.approx(MEDIANS[1], rel=1e-12)
    assert found.nozzle.u == pytest.approx(SPREADS[1], rel=1e-12)
    assert (found.characteristic_velocity.count, found.nozzle.count) == (1, 0)


def test_both_of_one_firing_go_with_their_correlation(one_scatter: float) -> None:
    c, f, u = 0.86, 0.95, 0.02
    found = learn_efficiencies([pair(c, f, u)])
    v = 1.2 * u
    cross = READING_CORRELATION * u * v
    errors = np.array([[u**2, cross], [cross, v**2]]) + one_scatter**2 * np.eye(2)
    held = np.diag(np.square(SPREADS))
    gain = held @ np.linalg.inv(held + errors)
    mean = gain @ np.log([c / MEDIANS[0], f / MEDIANS[1]])
    left = held - gain @ held
    assert math.log(found.characteristic_velocity.median / MEDIANS[0]) == (
        pytest.approx(mean[0], rel=1e-10)
    )
    assert math.log(found.nozzle.median / MEDIANS[1]) == pytest.approx(
        mean[1], rel=1e-10
    )
    rho = left[0, 1] / math.sqrt(left[0, 0] * left[1, 1])
    assert found.impulse.u == pytest.approx(math.sqrt(left.sum()), rel=1e-10)
    # An error of the throat moves both against each other: the product is surer.
    assert rho < -0.5
    assert found.impulse.u < found.characteristic_velocity.u


def test_scatter_is_a_mean_over_its_grid() -> None:
    """The mixture, once more by plain loops over the joint normal of three firings."""
    readings = [pair(0.93), pair(0.85, 0.93), pair(0.90, 0.88)]
    found = learn_efficiencies(readings)
    steps = np.linspace(-3.0, 3.0, 17)
    rows = [(0, 0.93), (0, 0.85), (1, 0.93), (0, 0.90), (1, 0.88)]
    which = np.array([k for k, _ in rows])
    firing = np.array([0, 1, 1, 2, 2])
    y = np.log([v / MEDIANS[k] for k, v in rows])
    u = np.where(which == 0, 0.018, 1.2 * 0.018)
    same = firing[:, None] == firing
    # 1.0 and 1.2 % of the errors are the same in every firing.
    shared = np.where(which == 0, 0.010, 0.012)
    own = np.sqrt(u**2 - shared**2)
    rho = np.where(which[:, None] == which, 1.0, READING_CORRELATION)
    held = np.where(which[:, None] == which, np.square(SPREADS)[which][:, None], 0.0)
    with_mean = np.where(which == 0, SPREADS[0] ** 2, 0.0)
    weights, means, squares = [], [], []
    for a in steps:
        for b in steps:
            tau = SCATTER * np.exp(SCATTER_SPREAD * np.array([a, b]))[which]
            total = held + rho * np.outer(shared, shared) + np.diag(tau**2)
            total = total + same * rho * np.outer(own, own)
            solved = np.linalg.solve(total, np.array([y, with_mean]).T)
            weights.append(
                math.exp(-0.5 * (a * a + b * b) - 0.5 * y @ solved[:, 0])
                / math.sqrt(np.linalg.det(total))
            )
            means.append(with_mean @ solved[:, 0])
            squares.append(SPREADS[0] ** 2 - with_mean @ solved[:, 1] + means[-1] ** 2)
    share = np.array(weights) / np.sum(weights)
    known = found.characteristic_velocity
    assert math.log(known.median / MEDIANS[0]) == pytest.approx(share @ means)
    spread = math.sqrt(share @ squares - (share @ means) ** 2)
    assert known.u == pytest.approx(spread)


def test_what_all_firings_share_stays(one_scatter: float) -> None:
    """By hand: errors of 1.8 % of which 1.0 % are common, in 100 firings."""
    found = learn_efficiencies([pair(0.9)] * 100).characteristic_velocity
    own = (0.018**2 - 0.010**2 + one_scatter**2) / 100 + 0.010**2
    total = 1.0 / SPREADS[0] ** 2 + 1.0 / own
    assert found.u == pytest.approx(total**-0.5, rel=1e-9)
    assert found.u > 0.0098


def test_readings_apart_teach_scatter_and_alike_ones_less() -> None:
    apart = learn_efficiencies([pair(x, u=0.01) for x in (0.82, 0.9, 0.98)])
    alike = learn_efficiencies([pair(0.9, u=0.01)] * 3)
    wide, calm = apart.characteristic_velocity, alike.characteristic_velocity
    assert wide.scatter_low > calm.scatter
    assert calm.scatter < SCATTER
    assert wide.next_high - wide.next_low > calm.next_high - calm.next_low
    assert wide.low < wide.median < wide.high < wide.next_high


def test_order_and_name_do_not_matter() -> None:
    some = [pair(0.9, 0.9), pair(0.95), pair(0.85, 0.95, 0.03)]
    first, second = learn_efficiencies(some), learn_efficiencies(some[::-1])
    assert first.impulse.u == pytest.approx(second.impulse.u, rel=1e-9)
    assert first.nozzle.median == pytest.approx(second.nozzle.median, rel=1e-9)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "first: tells neither"),
        ({"nozzle": 0.9}, "first: nozzle efficiency is 0.9"),
        ({"nozzle": -0.9, "nozzle_u": 0.02}, "above 0"),
        (
            {"characteristic_velocity": 0.9, "characteristic_velocity_u": 0.0},
            r"first: c\* efficiency is 0.9",
        ),
    ],
)
def test_what_cannot_be_used_is_refused(values: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Reading(name="first", **values)


def covered(firings: int, workshops: int) -> float:
    """Share of workshops whose next impulse lies in its 95 % interval."""
    rng = np.random.default_rng(20)
    u = np.array([0.018, 0.022])
    errors = np.outer(u, u) * [[1.0, READING_CORRELATION], [READING_CORRELATION, 1.0]]
    inside = 0
    for _ in range(workshops):
        own = np.log(MEDIANS) + rng.normal(size=2) * SPREADS
        tau = SCATTER * np.exp(SCATTER_SPREAD * rng.normal(size=2))
        fired = own + tau * rng.normal(size=(firings + 1, 2))
        read = np.exp(fired + rng.multivariate_normal([0.0, 0.0], errors, firings + 1))
        found: Efficiencies = learn_efficiencies(
            [
                Reading(
                    name="firing",
                    characteristic_velocity=c,
                    characteristic_velocity_u=u[0],
                    nozzle=f,
                    nozzle_u=u[1],
                )
                for c, f in read[1:]
            ]
        )
        impulse = math.exp(fired[0].sum())
        inside += found.impulse.next_low <= impulse <= found.impulse.next_high
    return inside / workshops


@pytest.mark.simulation
@pytest.mark.parametrize("firings", [0, 1, 2, 3, 5, 10])
def test_next_impulse_is_covered(firings: int) -> None:
    # Standard error of a share of 0.95 in 400 workshops: 0.011.
    assert 0.92 <= covered(firings, 400) <= 0.98


@pytest.mark.slow
def test_next_impulse_is_covered_in_a_few_workshops() -> None:
    assert 0.88 <= covered(2, 100) <= 0.99
