"""Grains and recipes by the strands of one file: by other routes, and many worlds."""

from __future__ import annotations

import math

import numpy as np
import pytest

from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.pressure_doubt import batch_scatter
from castsugar.motor.scatter import CENTRE, CENTRE_MIX
from castsugar.motor.strand_model import BATCHES, RECIPES, StrandModel
from castsugar.motor.strands import Strand, analyse

pytestmark = pytest.mark.exact

PRESSURES = np.repeat([0.1e6, 1e6, 2e6, 4e6, 7e6], 2)
FIRST = {"potassium nitrate": 0.60, "sucrose": 0.20, "light corn syrup": 0.20}
SECOND = {"potassium nitrate": 0.60, "sucrose": 0.17, "light corn syrup": 0.23}
RECIPES_OF = {"a": FIRST, "b": SECOND}


def strands(
    mix: str, rng: np.random.Generator, factor: float = 1.0, file: str = "x.csv"
) -> list[Strand]:
    """Burn ten strands of one batch, 2 % scatter, n = 0.3."""
    rate = factor * 6e-3 * (PRESSURES / 2e6) ** 0.3
    rate = rate * np.exp(0.02 * rng.standard_normal(len(rate)))
    return [
        Strand(length=0.05, time=0.05 / r, pressure=p, mix=mix, file=file)
        for r, p in zip(rate, PRESSURES, strict=True)
    ]


def model(*own: Strand, recipes=None) -> StrandModel:
    return StrandModel(analyse(own), RECIPES_OF if recipes is None else recipes)


def test_grains_are_those_of_the_model_of_burn_rates() -> None:
    """The same evidence put together by hand gives mean and width."""
    rng = np.random.default_rng(3)
    burned = [*strands("a", rng), *strands("b", rng, 0.9)]
    found = model(*burned)
    entries = [
        Burned(
            name=name,
            fractions=RECIPES_OF[name],
            batch=name,
            pressure=np.array([s.pressure for s in burned if s.mix == name]),
            rate=np.array([s.rate for s in burned if s.mix == name]),
        )
        for name in "ab"
    ]
    by_hand = BurnModel(entries).rates([list(FIRST.values())], tuple(FIRST), 4e6)
    rate, low, high = found.grain("a", 4e6)
    assert rate == pytest.approx(math.exp(by_hand.mean[0]), rel=1e-9)
    # A sum of normals, a little wider in the tails than one of the same width.
    half = 0.5 * math.log(high / low)
    assert 1.9 * by_hand.u[0] < half < 2.2 * by_hand.u[0]
    (batch,) = found.batches("a")
    here, least, most = found.grain("a", 4e6, batch)
    assert math.log(most / least) < 0.75 * math.log(high / low)
    assert least < here < most


def test_a_mix_without_a_recipe_burns_alone() -> None:
    """Another mix of the file tells nothing of it, and no recipes are compared."""
    rng = np.random.default_rng(4)
    burned, other = strands("a", rng), strands("b", rng, 0.9)
    both = model(*burned, *other, recipes={})
    alone = model(*burned, recipes={"a": CENTRE_MIX})
    assert both.grain("a", 2e6) == pytest.approx(alone.grain("a", 2e6), rel=1e-9)
    (pair,) = both.comparisons(2e6)
    assert (pair.of, pair.verdict, pair.missing) == (BATCHES, "cannot tell", ("a", "b"))
    assert math.isnan(pair.ratio)
    assert math.isnan(pair.chance)
    # 10 % apart, ten strands of 2 % each: known to about 1 %.
    assert pair.batch_ratio == pytest.approx(1.0 / 0.9, rel=0.02)
    assert pair.batch_low < 1.0 / 0.9 < pair.batch_high
    assert pair.batch_low > 1.03


@pytest.mark.slow
def test_equal_recipes_are_not_called_different() -> None:
    """One batch each that differ by 6 % (sd): no verdict in 20 worlds.

    A test of the strands' scatter alone is wrong in half of such worlds.
    """
    for seed in range(20):
        rng = np.random.default_rng([7, seed])
        one, two = np.exp(0.06 * rng.standard_normal(2))
        (pair,) = model(*strands("a", rng, one), *strands("b", rng, two)).comparisons()
        assert (pair.of, pair.pressure) == (RECIPES, CENTRE)
        assert pair.verdict == "cannot tell", seed
        assert pair.batches == (1, 1)
        assert pair.low < 1.0 < pair.high
        assert (pair.chance > 0.5) == (pair.ratio > 1.0)


@pytest.mark.slow
def test_many_batches_tell_two_recipes_apart() -> None:
    """Eight pots of each, 2 % apart from pot to pot: 10 % between recipes is seen."""
    rng = np.random.default_rng(9)
    burned = [
        strand
        for i in range(8)
        for name, factor in (("a", 1.0), ("b", 0.9))
        for strand in strands(
            name, rng, factor * math.exp(0.02 * rng.standard_normal()), f"{i}.csv"
        )
    ]
    found = model(*burned)
    (pair,) = found.comparisons()
    assert pair.batches == (8, 8)
    assert pair.verdict == "differ"
    assert pair.low < 1.0 / 0.9 < pair.high
    learnt = batch_scatter(found.together)
    assert learnt.batches == 16
    assert learnt.low < 0.02 < learnt.high < 0.06


@pytest.mark.parametrize("count", [1, 2])
def test_few_strands_count(count: int) -> None:
    """They narrow a grain from a factor of 2.7 (0.5 in ln r) to some 15 %."""
    own = [
        Strand(length=0.05, time=8.0, pressure=2e6, mix="a", file="x.csv")
        for _ in range(count)
    ]
    found = model(*own)
    rate, low, high = found.grain("a", 2e6)
    assert 0.10 < math.log(high / low) / 3.92 < 0.17
    assert rate == pytest.approx(1.04 * 0.05 / 8.0, rel=0.02)  # strands to motors: +4 %
    n, u = found.exponent("a")
    assert n == pytest.approx(0.40, abs=0.02)
    assert u == pytest.approx(0.12, abs=0.015)
    unasked = BurnModel().rates([list(FIRST.values())], tuple(FIRST), 2e6, Asked())
    assert unasked.u[0] > 0.5
