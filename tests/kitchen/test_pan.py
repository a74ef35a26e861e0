"""The pan: layer, wall, heater; and what a measurement in one pan says of another."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import castsugar as cs
from castsugar.bench.bench import check_bench
from castsugar.bench.kitchen import learn, pan_of, store_of
from castsugar.data.load import load_database
from castsugar.errors import CastsugarError, InputError
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.pan import EVAPORATION, MIX_HEAT, Pan
from castsugar.kitchen.parameters import Kitchen, unmeasured
from castsugar.kitchen.pot import pot_of, water_at_start, water_left

MIX = "KNO3:60 powdered sugar:20 corn syrup:20"
USUAL = Pan(batch=4.0 * 0.25 * math.pi * 0.2**2, diameter=0.2)


def left(cook: Cook) -> float:
    """Return the water after a cook, at the medians, per mass as weighed."""
    pot = pot_of(cs.Mix.weigh(MIX), Kitchen(cook=cook))
    found = water_left(pot, unmeasured().central(), cook, 101325.0)
    return float(found[0])


@pytest.mark.exact
def test_heat_capacity_is_that_of_its_parts() -> None:
    """Nitrate (6.42 + 0.053 T) 4.184 / 101.10, sucrose 1.21 + 0.0041 (t - 20), 2.45."""
    t = np.linspace(25.0, 119.0, 1001)
    nitrate = (6.42 + 0.053 * (t + 273.15)) * 4.184 / 101.10
    whole = 0.6 * nitrate + 0.2 * (1.21 + 0.0041 * (t - 20.0)) + 0.2 * 2.45
    assert 1e3 * whole.mean() == pytest.approx(MIX_HEAT, abs=5.0)
    # 200 g to 119 C: 26 kJ.
    assert pytest.approx(26e3, abs=0.5e3) == 0.2 * MIX_HEAT * 94.0


@pytest.mark.exact
def test_a_usual_layer_changes_nothing_and_a_thin_one_dries_faster() -> None:
    """1 - exp(-t / tau) with tau times the layer; more area dries faster."""
    cook = Cook.hold(378.15, 600.0)
    assert replace(cook, pan=USUAL).drying() == pytest.approx(cook.drying())
    pans = [Pan(batch=0.2, diameter=d) for d in (0.12, 0.16, 0.25)]
    waters = [left(replace(cook, pan=pan)) for pan in pans]
    assert waters == sorted(waters, reverse=True)
    start = float(water_at_start(pot_of(cs.Mix.weigh(MIX)), unmeasured().central())[0])
    for pan, water in zip(pans, waters, strict=True):
        expected = start * math.exp(-cook.drying() / (3000.0 * pan.layer))
        assert water == pytest.approx(expected, rel=1e-9)


@pytest.mark.exact
def test_a_weak_heater_boils_away_what_its_joules_do() -> None:
    """P t / L at most, after heating pan and mix; without watts no limit."""
    wet = cs.Mix.weigh("KNO3:60 powdered sugar:20 corn syrup:20 water:30")
    values = unmeasured().central()

    def gone(watts: float | None, cook: Cook) -> float:
        at = replace(cook, pan=replace(USUAL, watts=watts))
        pot = pot_of(wet, Kitchen(cook=at))
        stays = water_left(pot, values, at, 101325.0)[0]
        return USUAL.batch * float(water_at_start(pot, values)[0] - stays)

    held = Cook.hold(392.15, 60.0)
    assert gone(50.0, held) == pytest.approx(50.0 * 60.0 / EVAPORATION)
    assert gone(1e4, held) == gone(None, held) > gone(50.0, held)
    warmed = Cook((0.0, 600.0), (298.15, 392.15))
    joules = 100.0 * 600.0 - USUAL.batch * MIX_HEAT * 94.0
    assert gone(100.0, warmed) == pytest.approx(joules / EVAPORATION)
    assert gone(10.0, warmed) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.exact
def test_the_pan_stays_with_its_cook() -> None:
    """A cook that is moved, shortened or goes on stays in its pan."""
    for cook in (Cook.hold(392.15, 600.0), Cook((0.0, 600.0), (300.0, 392.15))):
        at = replace(cook, pan=USUAL)
        assert {at.ending_at(380.0).pan, at.lasting(300.0).pan} == {USUAL}


@pytest.mark.exact
def test_wall_goes_by_the_steepest_stretch_else_by_what_is_stated() -> None:
    """K a second of a profile; of a hold what the pan says; NaN without a pan."""
    pan = replace(USUAL, rate=0.1)
    held = Cook.hold(392.15, 600.0)
    assert math.isnan(held.wall())
    assert replace(held, pan=pan).heating_rate == 0.1
    profile = Cook((0.0, 60.0, 120.0), (300.0, 360.0, 390.0), pan)
    assert profile.heating_rate == pytest.approx(1.0)
    assert profile.wall() > replace(held, pan=USUAL).wall() > 392.15


@pytest.mark.exact
def test_a_dose_shares_its_cold() -> None:
    """Mixing: m c (T - Ta) / (C + m c); to regain it takes that heat over net watts."""
    pan = Pan(batch=0.2, diameter=0.16, mass=0.5, watts=300.0)
    drop, seconds = pan.dose(0.05, 392.15)
    mixed = pan.heat_capacity * 392.15 + 0.05 * MIX_HEAT * pan.room
    mixed /= pan.heat_capacity + 0.05 * MIX_HEAT
    assert 392.15 - drop == pytest.approx(mixed)
    assert 0.0 < seconds < pan.dose(0.1, 392.15)[1]
    assert math.isinf(replace(pan, watts=5.0).dose(0.05, 392.15)[1])
    assert math.isnan(replace(pan, watts=None).dose(0.05, 392.15)[1])


# ----------------------------------------------------------------------------
# Through the bench file.

WEIGHED = f"""
[[kitchen.measured]]
kind = "pan weight"
recipe = "{MIX}"
batch = "200 g"
lost = "1.2 g"
cook = "105 C"
minutes = 8
"""


def bench(text: str, measured: str = WEIGHED) -> Kitchen:
    """Return the kitchen that a bench file teaches."""
    known = check_bench(Path("bench.toml"), f"[kitchen]\n{text}\n{measured}")
    return learn(known, Cook.hold(378.15, 480.0), load_database()).kitchen


def dries(kitchen: Kitchen) -> float:
    """Return the drying time of the kitchen's own layer. [s]"""
    pan = kitchen.cook.pan
    layer = 1.0 if pan is None else pan.layer
    return layer * float(kitchen.belief.central().drying_time)


@pytest.mark.exact
def test_the_layer_narrows_what_is_believed_of_drying() -> None:
    """x/: 1.7 where batch and pan are known, 2.5 without (common practice)."""
    without = bench('altitude = "0 m"', "").belief.spreads()
    known = bench('pan_diameter = "25 cm"\nbatch = "200 g"', "").belief.spreads()
    place = list(unmeasured().central().__slots__).index("drying_time")
    assert math.exp(without[place]) == pytest.approx(2.5, abs=0.02)
    assert math.exp(known[place]) == pytest.approx(1.7, abs=0.02)


@pytest.mark.exact
def test_what_one_pan_lost_is_carried_to_another() -> None:
    """tau_2 = tau_1 (m2/A2)/(m1/A1) sqrt(t2/t1), whichever pan is measured."""
    own = 'pan_diameter = "20 cm"\nbatch = "200 g"'
    same = bench(own)
    other = bench('pan_diameter = "20 cm"\nbatch = "100 g"')
    assert dries(same) / dries(other) == pytest.approx(2.0, rel=1e-9)
    there = WEIGHED + 'pan_diameter = "16 cm"\n'
    smaller = bench(own, there)
    # What dried as much in a layer 1.56 times as thick dries so much faster here, less
    # what the prior pulls back.
    assert dries(same) / 1.5625 < dries(smaller) < dries(same) / 1.4
    oftener = bench(own, WEIGHED + 'stirring_interval = "15 s"\n')
    assert 1.7 * dries(same) < dries(oftener) < 2.0 * dries(same)


@pytest.mark.exact
def test_every_key_reaches_pan_and_store() -> None:
    """Quantities in quotes become SI; watts and kelvin a minute are plain numbers."""
    text = """
pan_diameter = "20 cm"
batch = "200 g"
stirring_interval = "30 s"
pan_mass = "600 g"
pan_material = "aluminium"
heater_watts = 400
heating_rate = 12
room_temperature = "20 C"
room_humidity = "60 %"
bag_area_m2 = 0.03
silica_gel = "5 g"
"""
    known = check_bench(Path("bench.toml"), f"[kitchen]{text}")
    pan = pan_of(known)
    assert pan is not None
    assert (pan.batch, pan.diameter, pan.interval) == (0.2, 0.2, 30.0)
    assert (pan.mass, pan.material, pan.watts) == (0.6, "aluminium", 400.0)
    assert pan.rate == pytest.approx(0.2)
    assert pan.room == pytest.approx(293.15)
    store = store_of(known)
    assert (store.humidity, store.bag) == (60.0, 0.03)
    assert store.gel == pytest.approx(0.005)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("text", "measured", "words"),
    [
        ('pan_diameter = "20 cm"', "", "pan_diameter needs batch"),
        ('batch = "200 g"', "", "batch needs pan_diameter"),
        ("heater_watts = -5", "", "heater_watts"),
        ('batch = "200 g"\npan_diameter = "20 cm"\nstirring_interval = "0 s"', "", "1"),
        ('room_humidity = "120 %"', "", "room_humidity"),
        ('silica_gel = "5 g"', "", "silica_gel needs bag_area_m2"),
        ('pan_diametre = "20 cm"', "", "did you mean 'pan_diameter'"),
        ("", WEIGHED + 'pan_diameter = "10 cm"\n', "needs pan_diameter and batch"),
    ],
)
def test_what_is_missing_or_impossible_is_refused(
    text: str, measured: str, words: str
) -> None:
    """One line that says what and where."""
    with pytest.raises(InputError, match=words) as caught:
        bench(text, measured)
    assert "\n" not in str(caught.value)


@pytest.mark.exact
def test_a_pan_of_impossible_numbers_is_refused() -> None:
    """Hard ranges, and materials by name."""
    for wrong in ({"diameter": 0.0}, {"batch": math.nan}, {"watts": -1.0}):
        with pytest.raises(CastsugarError):
            Pan(**({"batch": 0.2, "diameter": 0.2} | wrong))
    with pytest.raises(InputError, match="allowed: aluminium, steel, glass"):
        Pan(batch=0.2, diameter=0.2, material="wood")


# ----------------------------------------------------------------------------
# The thermometer in boiling water.


@pytest.mark.recalled
@pytest.mark.parametrize(
    ("altitude", "boils"), [(0.0, 100.0), (1000.0, 96.7), (3000.0, 89.9)]
)
def test_boiling_water_tells_what_a_thermometer_is_off(
    altitude: float, boils: float
) -> None:
    """Water boils at 100, 96.7 and 89.9 C under the standard atmosphere (from memory).

    Read 1 K too low, it moves the thermometer by the share that a spread of 1.2 K
    leaves of what is believed, 2 K: 1 / (1 + (1.2 / 2)^2).
    """
    text = f"""
[[kitchen.measured]]
kind = "boiling water"
reading = "{boils - 1.0} C"
"""
    kitchen = bench(f'altitude = "{altitude:g} m"', text)
    off = float(kitchen.belief.central().thermometer)
    assert off == pytest.approx(1.0 / (1.0 + 0.36), abs=0.12)


@pytest.mark.exact
def test_a_reading_that_is_no_boil_is_refused() -> None:
    """More than 10 K off: another pot, another altitude, or no boil."""
    text = '[[kitchen.measured]]\nkind = "boiling water"\nreading = "88 C"\n'
    with pytest.raises(InputError, match="does it boil"):
        bench("", text)
