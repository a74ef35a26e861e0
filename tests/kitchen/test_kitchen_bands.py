"""The 95 % bands of the kitchen, and what moves its pour viscosity."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar.kitchen.foresight import contributions
from castsugar.kitchen.parameters import OF_POUR, PARAMETERS, find, unmeasured
from castsugar.kitchen.pot import pot_of, poured
from castsugar.kitchen.pour_table import kitchen_intervals, kitchen_table

# Exact: the definitions of a quantile, of a correlation, of a normal distribution.
pytestmark = pytest.mark.exact

COOK = cs.Cook.hold(392.15, 480.0)
BASE = "KNO3:60 powdered sugar:20 corn syrup:20"


def only(**spreads: float) -> cs.Kitchen:
    """Return a kitchen where nothing else is uncertain."""
    known = {p.name: (p.middle, spreads.get(p.name, 0.0)) for p in PARAMETERS}
    return cs.Kitchen(cook=COOK, belief=unmeasured(known))


def test_the_band_of_a_factor_is_that_of_its_normal() -> None:
    """Viscosity is the factor times a number: 1.96 standard deviations of ln."""
    kitchen = only(liquid_factor=0.2)
    (band,) = kitchen_intervals(BASE, kitchen)
    middle = float(kitchen_table(BASE, kitchen)["pour_viscosity_Pa_s"].iloc[0])
    ends = np.log(np.array(band["pour_viscosity_Pa_s"]) / middle) / 0.2
    assert ends == pytest.approx([-1.95996, 1.95996], abs=0.02)
    low, high = band["relative_solids_20C"]  # not moved by it
    assert low == high


def test_the_band_of_the_packing_is_its_reciprocal() -> None:
    """Relative solids are the volume of grains over the packing, cold and hot."""
    kitchen = only(packing=0.01)
    row = kitchen_table(BASE, kitchen).iloc[0]
    (band,) = kitchen_intervals(BASE, kitchen)
    for key in ("relative_solids_20C", "relative_solids_pour"):
        packing = row[key] * find("packing").middle / np.array(band[key])
        assert packing == pytest.approx([0.6496, 0.6104], abs=2e-4)


def test_bands_are_those_of_the_draws() -> None:
    """As many draws lie outside as should; the humidity holds its own middle."""
    kitchen = cs.Kitchen(cook=COOK)
    values = kitchen.belief.draw(kitchen.draws, kitchen.seed)
    eta = poured(pot_of(cs.Mix.weigh(cs.parse_recipe(BASE))), values, COOK, 101325.0)[0]
    (band,) = kitchen_intervals(BASE, kitchen)
    low, high = band["pour_viscosity_Pa_s"]
    assert np.mean(eta[0] < low) == pytest.approx(0.025, abs=3e-3)
    assert np.mean(eta[0] <= high) >= 0.975
    humidity = kitchen_table(BASE, kitchen)["storage_humidity_max_percent"].iloc[0]
    low, high = band["storage_humidity_max_percent"]
    assert low < humidity < high


def test_no_band_without_a_model() -> None:
    """Neither for another sugar nor for a cook that is too hot; the others have one."""
    assert kitchen_intervals([BASE, "KNO3:65 xylitol:35"], cs.Kitchen(cook=COOK))[
        1:
    ] == [{}]
    hot = cs.Kitchen(cook=cs.Cook.hold(430.0, 60.0))
    assert kitchen_intervals(BASE, hot) == [{}]


def test_contributions() -> None:
    """One uncertain parameter has all, a tiny one beside it next to nothing."""
    pot = pot_of(cs.Mix.weigh(cs.parse_recipe(BASE)))
    assert contributions(pot, only(liquid_factor=0.3)) == {"liquid_factor": 1.0}
    both = contributions(pot, only(liquid_factor=0.3, packing=1e-4))
    assert list(both) == ["liquid_factor", "packing"]
    assert both["liquid_factor"] > 0.99
    every = contributions(pot, cs.Kitchen(cook=COOK))
    assert set(every) == set(unmeasured().used)
    assert math.fsum(every.values()) == pytest.approx(1.0)
    assert list(every.values()) == sorted(every.values(), reverse=True)


def test_priors_are_as_decided() -> None:
    """Nitrate dissolved is 1.2 expit(u), u ~ N(-0.5, 1): 16-84 and 95 % by hand."""
    belief = unmeasured()
    sixteen = belief.interval("nitrate_dissolved", 0.68268949)
    assert sixteen == pytest.approx((0.2189, 0.453, 0.7470), abs=1e-3)
    # 1.2 expit(-0.5 -+ 1.95996)
    wide = belief.interval("nitrate_dissolved")
    assert wide == pytest.approx((0.0944, 0.453, 0.9737), abs=2e-3)
    assert belief.interval("packing", 0.68268949)[0] == pytest.approx(0.59, abs=1e-6)
    n = belief.interval("law_exponent", 0.68268949)
    assert n == pytest.approx((1.57, 1.87, 2.17), abs=1e-6)
    chloride = belief.interval("chloride_dissolved", 0.68268949)
    assert chloride == pytest.approx((math.exp(-0.25), 1.0, math.exp(0.25)), rel=1e-6)


def test_what_stands_beside_takes_no_scores_of_the_pour() -> None:
    """A square root of the covariance, whose first rows need no later score."""
    belief = unmeasured()
    size, count = len(belief.mean), len(OF_POUR)
    rng = np.random.default_rng(8)
    mixed = rng.standard_normal((size, size))
    known = replace(belief, covariance=mixed @ mixed.T)
    root = known.root()
    np.testing.assert_allclose(root @ root.T, known.covariance, atol=1e-9)
    np.testing.assert_array_equal(root[:count, count:], 0.0)
    np.testing.assert_allclose(root[:count, :count], root[:count, :count].T, atol=1e-9)
