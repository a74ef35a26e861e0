"""Castings: how long they cool, and what they take up from the air."""

from __future__ import annotations

import math

import pytest

from castsugar.errors import CastsugarError
from castsugar.kitchen import casting, uptake
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
