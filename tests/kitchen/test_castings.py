"""Castings: how long they cool, and what they take up from the air."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

import castsugar as cs
from castsugar.errors import CastsugarError
from castsugar.kitchen import casting, uptake
from castsugar.kitchen.handling import Grain, Store, handling
from castsugar.kitchen.pan import Pan
from castsugar.kitchen.uptake import Binder


@pytest.mark.exact
def test_cooling_grows_with_size_and_ends_where_the_room_is_warm() -> None:
    """Monotone in diameter, shorter with a core; no end above the end asked for."""
    times = [casting.cooling_time(d, 388.15, 295.15) for d in (0.01, 0.02, 0.05, 0.1)]
    assert times == sorted(times)
    cored = casting.cooling_time(0.05, 388.15, 295.15, core=0.025)
    assert cored == pytest.approx(0.75 * times[2])
    assert math.isinf(casting.cooling_time(0.05, 388.15, 320.0))
    assert casting.cooling_time(0.05, 300.0, 295.15) == 0.0


@pytest.mark.exact
def test_uptake_rises_with_humidity_and_has_no_end_above_the_crystals() -> None:
    """Monotone; nothing below the binder's own activity; capped by its equilibrium."""
    binder = Binder(share=0.39, water=0.11)
    gains = [uptake.gain(binder, rh, 30.0, 0.025) for rh in (40.0, 55.0, 65.0, 76.0)]
    assert gains[0] == 0.0
    assert gains == sorted(gains)
    assert math.isinf(uptake.gain(binder, 95.0, 1.0, 0.025))
    end = uptake.gain(binder, 70.0, 36500.0, 0.01)
    assert end == pytest.approx(binder.share * (binder.water_at(70.0) - 0.11))
    assert math.isinf(uptake.bag_days(1e-3, 0.03, 40.0, 50.0)[0])
    with pytest.raises(CastsugarError, match="humidity is 120"):
        uptake.gain(binder, 120.0, 1.0, 0.025)


@pytest.mark.exact
def test_only_sucrose_has_a_rate_of_uptake() -> None:
    """Of other sugars only the end is known: that of their crystals with nitrate.

    Sorbitol 0.69 to 0.73 times 0.92 of nitrate: 64 to 67 % (from memory).
    """
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=60)
    found = handling(cs.Mix.weigh("KNO3:65 sorbitol:35"), kitchen)
    assert 63.0 < found.limit < 68.5
    gains = [share for _, _, share in found.gains]
    assert math.isnan(gains[0])
    assert math.isinf(gains[-1])
    some = handling(cs.Mix.weigh("KNO3:60 sugar:20 corn syrup:15 sorbitol:5"), kitchen)
    assert all(share >= 0.0 for _, _, share in some.gains)


@pytest.mark.exact
def test_a_hollow_grain_is_four_volumes_over_all_its_faces() -> None:
    """4 V / S: D of a long rod, D - d of a long tube, less with ends."""
    assert Grain(outer=0.03).bare == pytest.approx(0.03)
    assert Grain(outer=0.03, core=0.01).bare == pytest.approx(0.02)
    assert Grain(outer=0.03, length=0.03).bare == pytest.approx(0.02)


@pytest.mark.exact
def test_expectations_follow_pan_store_and_grain() -> None:
    """Without a pan nothing is said of it; damper air, smaller grains gain more."""
    cook = cs.Cook.hold(392.15, 480.0)
    kitchen = cs.Kitchen(cook=cook, draws=60)
    mix = cs.Mix.weigh("KNO3:60 powdered sugar:20 corn syrup:20")
    bare = handling(mix, kitchen)
    assert math.isnan(bare.wall)
    assert math.isnan(bare.pourable)
    damp = [handling(mix, kitchen, store=Store(humidity=h)) for h in (50.0, 70.0)]
    assert damp[0].gains[-1][-1] < damp[1].gains[-1][-1]
    small = handling(mix, kitchen, Grain(outer=0.0125), Store(humidity=70.0))
    assert small.gains[0][-1] == pytest.approx(2.0 * damp[1].gains[0][-1])
    pan = Pan(batch=0.2, diameter=0.16, mass=0.6, watts=300.0)
    known = handling(mix, kitchen.changed(cook=replace(cook, pan=pan)))
    # Exact: joules over watts, and the wall above what is held.
    joules = pan.heat_capacity * (392.15 - pan.room)
    assert known.warming == pytest.approx(joules / 300.0)
    assert known.wall > 392.15
    heavy = replace(pan, mass=1.2)
    longer = handling(mix, kitchen.changed(cook=replace(cook, pan=heavy)))
    assert longer.pourable > known.pourable > 0.0


@pytest.mark.exact
def test_a_bag_of_gel_keeps_longer() -> None:
    """Gel takes a fifth of its mass: 5 g let in 1 g more, at 40 % inside at most."""
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=60)
    mix = cs.Mix.weigh("KNO3:60 powdered sugar:20 corn syrup:20")
    days = [
        handling(mix, kitchen, store=Store(humidity=70.0, bag=0.03, gel=gel)).bag_days
        for gel in (0.0, 5e-3)
    ]
    assert days[1][0] > 2.0 * days[0][0]
    dry = handling(mix, kitchen, store=Store(humidity=20.0, bag=0.03)).bag_days
    assert math.isinf(dry[0])


@pytest.mark.exact
def test_what_freezes_is_not_told_by_its_glass() -> None:
    """Erythritol loses 10 to 14 % as it freezes: no thermal shrinkage, no cracks."""
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=60)
    found = handling(cs.Mix.weigh("KNO3:65 erythritol:35"), kitchen)
    assert math.isnan(found.shrinkage)
    assert not found.cracks
