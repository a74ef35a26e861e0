"""How long until dry enough, which heat pours: held against what a kitchen says.

Exact: the table of a kitchen, asked with the answer, gives back the question.
"""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from kitchen_checks.pots import hold, kitchen, weigh

import castsugar as cs
from castsugar.constants import ICE_POINT
from castsugar.kitchen import drying_time, pour_heat
from castsugar.kitchen.curves import water_curve
from castsugar.kitchen.heat import LONGEST, Cook
from castsugar.kitchen.parameters import unmeasured
from castsugar.kitchen.pour_window import degradation_limit

pytestmark = pytest.mark.exact

#: Seconds and kelvin that a clock and a thermometer tell.
CLOCK, DEGREE = 6.0, 0.1


class Bench:
    """An invented kitchen and mix by a seed."""

    def __init__(self, seed: int) -> None:
        rng = random.Random(seed)
        nitrate, syrup = rng.uniform(48.0, 66.0), rng.uniform(8.0, 35.0)
        self.mix = weigh(nitrate, 100.0 - nitrate - syrup, syrup)
        hottest = rng.uniform(100.0, 130.0)
        self.cook = hold(hottest, rng.uniform(2.0, 40.0))
        if rng.random() < 0.4:
            points = (0.0, 300.0, 300.0 + 60.0 * rng.uniform(2.0, 20.0))
            heats = (hottest - 30.0, hottest, hottest + rng.uniform(-9.0, 5.0))
            self.cook = Cook(points, tuple(t + ICE_POINT for t in heats))
        belief = unmeasured(
            {
                "drying_time": (rng.uniform(600.0, 6000.0), 0.3),
                "packing": (rng.uniform(0.58, 0.68), 0.02),
            }
        )
        self.kitchen = cs.Kitchen(
            cook=self.cook,
            belief=belief,
            air_pressure=rng.uniform(80e3, 104e3),
            draws=200,
            seed=seed,
        )
        self.share = rng.uniform(0.02, 0.98)
        self.probability = rng.choice([0.1, 0.3, 0.5, 0.7, 0.9])

    def told(self, cook, column):
        """Return what the table of a kitchen says after a cook."""
        table = cs.kitchen_table([self.mix], self.kitchen.changed(cook=cook))
        return float(table[column][0])


def check_water(bench: Bench) -> bool:
    """Return whether there was a time, and hold it against the table."""
    whole = bench.kitchen.cook
    start = bench.told(whole, "water_as_weighed_percent")
    left = 0.01 * bench.share * start
    found = drying_time(bench.mix, bench.kitchen, left)
    if found.cook is None:
        assert found.at_once <= left or found.at_last > left
        return False
    assert found.at_last < left < found.at_once <= 0.01 * start * (1.0 + 1e-9)
    assert found.cook.duration == pytest.approx(found.time)
    if found.cook.pour_temperature < 85.0 + ICE_POINT:  # colder than a kitchen pours
        return False
    water = "water_as_cast_percent"
    if found.time > 2.0 * CLOCK:
        sooner = found.cook.lasting(found.time - CLOCK)
        if sooner.pour_temperature >= 85.0 + ICE_POINT:
            assert bench.told(sooner, water) > 100.0 * left
    later = found.cook.lasting(min(found.time + CLOCK, LONGEST))
    assert bench.told(later, water) <= 100.0 * left * (1.0 + 1e-9)
    # The band is that of the draws: at its ends the quantiles of the water are there.
    low, high = found.band
    assert low <= high
    for end, row in ((low, 0), (high, 2)):
        cook = bench.cook.lasting(end) if 1.0 < end < LONGEST else bench.cook
        if cook is not bench.cook and cook.pour_temperature >= 85.0 + ICE_POINT:
            at = bench.kitchen.changed(cook=cook)
            curve = water_curve(bench.mix, at, np.array([cook.duration]))
            assert curve[row, 0] == pytest.approx(left, rel=1e-6)
    return True


def check_heat(bench: Bench) -> bool:
    """Return whether it pours somewhere, and hold both ends against the table."""
    found = pour_heat(bench.mix, bench.kitchen, bench.probability)
    moved = bench.kitchen.cook.ending_at
    chance = "pours_probability"
    assert bench.told(moved(found.best), chance) == pytest.approx(found.chance)
    if math.isnan(found.low):
        assert found.chance < bench.probability
        return False
    for end, beyond in ((found.low, -DEGREE), (found.high, DEGREE)):
        assert bench.told(moved(end), chance) >= bench.probability - 1e-12
        outside = end + beyond
        if 85.0 + ICE_POINT < outside < found.limit:
            assert bench.told(moved(outside), chance) <= bench.probability
    assert found.high <= found.limit <= degradation_limit(bench.cook, 0.02) + 1e-9
    return True


def check_some(count: int, check) -> None:
    """Hold so many benches; of each question some have an answer and some have none."""
    answered = [check(Bench(seed)) for seed in range(count)]
    assert 0.05 * count < sum(answered) < count


@pytest.mark.slow
@pytest.mark.parametrize("check", [check_water, check_heat])
def test_forward_of_inverse_returns_the_question(check) -> None:
    check_some(40, check)


@pytest.mark.simulation
@pytest.mark.parametrize("check", [check_water, check_heat])
def test_forward_of_inverse_returns_the_question_on_500_benches(check) -> None:
    check_some(500, check)


def test_drying_by_hand() -> None:
    """Below boiling the water falls as exp(-t / tau): half of it after tau ln 2.

    Of 1000 g with 46 g of water (20 % syrup of 77 % solids) 23 g in 977 g are left.
    """
    dries = unmeasured({"drying_time": (1800.0, 0.0)})
    cool = kitchen(105.0, 8.0, belief=dries)
    left = 23.0 / 977.0
    found = drying_time(weigh(60, 20, 20), cool, left)
    weight = cool.cook.drying() / 480.0  # against 119 C
    assert found.time == pytest.approx(1800.0 * math.log(2.0) / weight, rel=1e-6)
    assert found.at_start == pytest.approx(0.046)


def test_what_boils_away_is_no_question_of_time() -> None:
    """At 140 C a wet mix keeps less than asked from the first second on."""
    found = drying_time(weigh(55, 15, 30), kitchen(140.0), 0.06)
    assert found.cook is None
    assert math.isnan(found.time)
    assert found.at_once < 0.06 < found.at_start
    cold = drying_time(weigh(55, 15, 30), kitchen(86.0), 1e-8)
    assert cold.cook is None
    assert cold.at_last > 1e-8
    assert cold.band[1] == math.inf


@pytest.mark.slow
def test_it_cools_until_it_pours_too_seldom() -> None:
    """Colder is thicker: from the cook down, and not where it never poured."""
    mix, warm = weigh(55, 15, 30), kitchen(119.0, 8.0)
    found = pour_heat(mix, warm, 0.5)
    assert 85.0 + ICE_POINT <= found.down_to < warm.cook.pour_temperature
    assert math.isnan(pour_heat(weigh(66, 30, 4), warm, 0.9).down_to)
    assert pour_heat(mix, warm, 0.8).low >= found.low


@pytest.mark.parametrize("syrup", [18.0, 20.0, 23.0])
def test_a_narrow_window_is_found(syrup) -> None:
    """Asked for the most that it ever pours, the heat where it does is not missed."""
    mix, warm = weigh(60, 40 - syrup, syrup), kitchen(119.0, 8.0)
    most = pour_heat(mix, warm)
    found = pour_heat(mix, warm, most.chance)
    assert 0.0 < most.chance < 1.0
    assert found.low <= most.best <= found.high < found.low + 5.0


BAD = [
    (lambda m, k: drying_time(m, k, 0.05), "no cook leaves 5 % water: the mix holds"),
    (lambda m, k: drying_time(m, k, 0.0), "give a share above 0"),
    (lambda m, k: drying_time(m, k, math.nan), "give a share above 0"),
    (lambda m, k: drying_time(m, k.changed(water_lost=0.2), 0.01), "is stated"),
    (lambda m, k: pour_heat(m, k, 1.0), "probability is 1; give a share"),
    (lambda m, k: pour_heat(m, k, thickest=0.0), "largest viscosity is 0 Pa s"),
    (lambda m, k: drying_time(m, None, 0.01), "kitchen"),
    (lambda m, k: pour_heat(m, k.changed(cook=hold(160.0))), "above 150 C"),
    (
        lambda m, k: drying_time(cs.Mix.weigh("KNO3:65 isomalt:35"), k, 0.001),
        "no model for isomalt: no viscosity data",
    ),
]


@pytest.mark.parametrize(("ask", "says"), BAD)
def test_what_cannot_be_asked_is_said(ask, says) -> None:
    with pytest.raises(cs.CastsugarError, match=says):
        ask(weigh(60, 20, 20), kitchen())
