"""Water that boils away: the balance with the air, against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from kitchen_checks.pots import (
    AIR,
    MEDIANS,
    hold,
    kitchen,
    pressure_over,
    retail,
    sugar_per_water,
    weigh,
)
from scipy.optimize import brentq

import castsugar as cs
from castsugar.constants import ICE_POINT as C
from castsugar.kitchen import pot, solubility, water

pytestmark = pytest.mark.exact

SOLIDS = 0.77


def _left(parts: tuple[float, ...], kelvin: float, air: float) -> tuple[float, float]:
    """Return the water as weighed, and after a flash of heat."""
    held = retail(parts)
    cook = cs.Cook((0.0, 1e-3), (kelvin, kelvin))
    start = float(pot.water_at_start(held, MEDIANS)[0])
    return start, float(pot.water_left(held, MEDIANS, cook, air)[0])


def _brute(parts: tuple[float, ...], kelvin: float, air: float) -> float:
    """Return the most water at which nothing boils: scan downwards, then a root."""
    _, sugar, syrup, added = np.array(parts) / sum(parts)
    start, solids = added + (1.0 - SOLIDS) * syrup, SOLIDS * syrup

    def over(w: float) -> float:
        return float(pressure_over(np.asarray(w), sugar, solids, kelvin)) / air - 1.0

    levels = start * np.geomspace(1.0, 1e-6, 4000)
    calm = pressure_over(levels, sugar, solids, kelvin) <= air
    if not calm.any():
        return 0.0
    first = int(calm.argmax())
    if first == 0:
        return float(start)
    return float(brentq(over, levels[first], levels[first - 1], xtol=1e-15))


#: Nitrate is plenty in all of them, so that the water is full of it.
RECIPES = st.tuples(
    st.floats(0.6, 0.8), st.floats(0.01, 0.3), st.floats(0.01, 0.3), st.floats(0.0, 0.1)
)


@settings(derandomize=True)
@given(parts=RECIPES, celsius=st.floats(91.0, 150.0), air=st.floats(60e3, 105e3))
@example(parts=(60, 20, 5, 15), celsius=119.0, air=AIR)  # all dissolved
@example(parts=(60, 20, 20, 0), celsius=130.0, air=AIR)
@example(parts=(60, 25, 15, 0), celsius=119.0, air=70e3)  # saturated
def test_what_stays_is_in_balance_with_the_air(
    parts: tuple[float, ...], celsius: float, air: float
) -> None:
    """Exact: activity x vapour pressure is the air's where water has boiled away."""
    _, sugar, syrup, _ = np.array(parts) / sum(parts)
    start, left = _left(parts, celsius + C, air)
    assume(start > 1e-3)
    over = float(
        pressure_over(np.asarray(left), sugar, SOLIDS * syrup, celsius + C) / air
    )
    if left < 0.999 * start:
        assert over == pytest.approx(1.0, rel=1e-6)
    else:
        assert over <= 1.0 + 1e-6


@settings(derandomize=True)
@given(parts=RECIPES, celsius=st.floats(95.0, 150.0), air=st.floats(60e3, 105e3))
@example(parts=(60, 20, 5, 15), celsius=119.0, air=AIR)
@example(parts=(60, 25, 15, 0), celsius=119.0, air=70e3)
def test_boiling_ends_at_the_first_balance(
    parts: tuple[float, ...], celsius: float, air: float
) -> None:
    """Exact: no other balance lies between the water as weighed and what stays."""
    start, left = _left(parts, celsius + C, air)
    assume(start > 1e-3)
    # The flash of 1 ms dries 3e-7 of the water.
    assert left == pytest.approx(_brute(parts, celsius + C, air), rel=2e-6)


def test_both_branches_are_met() -> None:
    """Exact: one of the recipes boils with all sugar dissolved, the other without."""
    for parts, celsius, air, all_dissolved in (
        ((60, 20, 5, 15), 119.0, AIR, True),
        ((60, 25, 15, 0), 119.0, 70e3, False),
    ):
        held = retail(parts)
        start, left = _left(parts, celsius + C, air)
        assert left < 0.99 * start
        stands = pot.standing(held, MEDIANS, np.array([left]), np.asarray(celsius + C))
        assert (float(stands.undissolved[0]) < 1e-12) == all_dissolved


def test_saturated_from_the_start_boils_too() -> None:
    """Exact: little water under much sugar is already saturated as weighed."""
    parts = (60.0, 38.0, 0.5, 2.0)
    _, left = _left(parts, 137.0 + C, AIR)
    assert left == pytest.approx(_brute(parts, 137.0 + C, AIR), rel=2e-6)


def test_boiling_temperature_of_the_table() -> None:
    """Exact: at the column's temperature the vapour pressure is that of the air."""
    for air in (70e3, AIR):
        row = cs.kitchen_table(weigh(60, 20, 20), kitchen(air_pressure=air)).iloc[0]
        kelvin = row.liquid_boils_C + C
        got = pressure_over(np.asarray(0.046), 0.2, 0.154, kelvin)
        assert float(got) == pytest.approx(air, rel=1e-6)


def _over_scarce(left: float, parts: tuple[float, ...], kelvin: float) -> float:
    """Return the vapour pressure over water with as much nitrate as there is. [Pa]"""
    nitrate, sugar, syrup, _ = np.array(parts) / sum(parts)
    ratio = sugar_per_water(np.asarray(left), sugar, SOLIDS * syrup, kelvin, nitrate)
    full = float(MEDIANS.nitrate_dissolved * solubility.salt_solubility(kelvin))
    salt = min(full, nitrate / left)
    activity = water.water_activity(ratio / (1.0 + ratio))
    activity = activity * water.salt_activity(salt)
    return float(activity * water.saturation_pressure(kelvin))


@pytest.mark.parametrize(
    ("parts", "celsius", "air"),
    [
        ((20, 20, 0, 60), 104.0, AIR),
        ((10, 40, 20, 30), 112.0, AIR),
        ((5, 30, 20, 45), 108.0, AIR),
        ((0, 70, 0, 30), 110.0, AIR),
        ((0, 20, 60, 20), 112.0, AIR),
        pytest.param(
            (0.66, 62.8, 0, 36.5),
            108.4,
            72.7e3,
        ),
        pytest.param(
            (3.43, 55.7, 7.3, 33.5),
            127.6,
            101.6e3,
        ),
        pytest.param(
            (0.174, 6.87, 0, 92.96),
            110.0,
            87.55e3,
        ),
    ],
    ids=str,
)
def test_scarce_nitrate_is_in_balance_too(
    parts: tuple[float, ...], celsius: float, air: float
) -> None:
    """Exact: with little nitrate all of it counts, with none none does."""
    start, left = _left(parts, celsius + C, air)
    assert left < 0.99 * start
    assert _over_scarce(left, parts, celsius + C) == pytest.approx(air, rel=1e-6)


def test_altitude_lowers_boiling() -> None:
    """Exact: vapour pressure rises with temperature, air pressure falls with height."""
    airs = [water.air_pressure(h) for h in (0.0, 1000.0, 2000.0, 4000.0)]
    boils = [
        cs.kitchen_table(weigh(60, 17, 23), kitchen(air_pressure=a)).liquid_boils_C[0]
        for a in airs
    ]
    assert (np.diff(boils) < 0.0).all()
    # About 1 K for 300 m (common practice, no source); more for a hotter liquid.
    assert (boils[0] - boils[1]) / 1000.0 * 300.0 == pytest.approx(1.2, abs=0.3)
    left = [_left((60, 20, 20, 0), 125.0 + C, a)[1] for a in airs]
    assert (np.diff(left) < 0.0).all()


def test_water_boils_away_below_90_degrees_high_up() -> None:
    """Exact: at 50.5 kPa water boils at 81.5 C, so a thin liquid boils at 88 C."""
    parts, air = (20.0, 20.0, 0.0, 60.0), 50.5e3
    _, left = _left(parts, 88.0 + C, air)
    assert left == pytest.approx(_brute(parts, 88.0 + C, air), rel=2e-6)


@pytest.mark.parametrize("solids", [60.0, 70.0, 80.0])
def test_liquid_without_nitrate_boils_as_sugar_does(solids: float) -> None:
    """Exact: no nitrate in the pot, so none lowers the activity."""
    mix = cs.Mix.weigh({"sucrose": solids, "water": 100.0 - solids})
    row = cs.kitchen_table(mix, kitchen(100.0, 1.0)).iloc[0]
    share = water.sugar_mole_fraction(100.0 - solids, solids)
    wanted = float(water.boiling_temperature(share)) - C
    assert row.liquid_boils_C == pytest.approx(wanted, abs=1e-3)


def test_brine_below_boiling_keeps_its_water() -> None:
    """Exact: it boils at 103.7 C, so at 99 C (+-2 K) half of the draws do not."""
    mix = cs.Mix.weigh({"KNO3": 30, "water": 70})
    row = cs.kitchen_table(mix, kitchen(99.0, 0.1)).iloc[0]
    assert row.water_as_cast_percent == pytest.approx(70.0, abs=0.1)
    assert np.isfinite(row.pour_viscosity_Pa_s)
    assert row.flow_class == "runny"


def test_dry_time_or_boiling_whichever_takes_more() -> None:
    """Exact: below boiling only drying counts, 1 - exp(-t / tau)."""
    held = retail((60, 20, 20, 0))
    start = pot.water_at_start(held, MEDIANS)
    left = pot.water_left(held, MEDIANS, hold(119.0, 10.0), AIR)
    assert float(left[0] / start[0]) == pytest.approx(np.exp(-600.0 / 3000.0), rel=1e-9)
    boiled = pot.water_left(held, MEDIANS, hold(135.0, 0.1), AIR)
    dried = pot.water_left(held, MEDIANS, hold(119.0, 0.1), AIR)
    assert boiled < 0.8 * dried


def test_stated_loss_is_all_that_leaves() -> None:
    """Exact: a stated loss is not topped up by boiling."""
    held = retail((60, 20, 20, 0), loss=0.1)
    left = pot.water_left(held, MEDIANS, hold(150.0), AIR)
    start = pot.water_at_start(held, MEDIANS)
    np.testing.assert_allclose(left, 0.9 * start, rtol=1e-12)
