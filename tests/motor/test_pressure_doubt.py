"""Where the doubt of a peak pressure comes from: sums by hand, another route, words."""

from __future__ import annotations

import math

import numpy as np
import pytest

from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import FIRING, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.burn_widths import Widths
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_doubt import (
    BATCH,
    EXPONENT,
    FIRINGS,
    RECIPE,
    TO_MOTOR,
    batch_scatter,
    pressure_doubt,
)
from castsugar.motor.pressure_table import motor_rows
from castsugar.motor.scatter import CENTRE, Scatter

pytestmark = pytest.mark.exact

MIX = {"potassium nitrate": 0.60, "sucrose": 0.20, "light corn syrup": 0.20}
OTHER = {"potassium nitrate": 0.58, "sucrose": 0.14, "light corn syrup": 0.28}

#: Widths held, so that every variance is a sum that a hand can make.
HELD = Widths(
    **{
        name: np.array([value])
        for name, value in {
            "batch": 0.06,
            "surface": 0.08,
            "length": 0.06,
            "session": 0.01,
            "bend": 0.02,
            "slope": 2.2,
            "strand": 0.025,
        }.items()
    }
)


def strands(batch: str, mix=MIX, kind: str = "strands", factor: float = 1.0) -> Burned:
    p = np.array([0.5e6, 1e6, 2e6, 4e6, 8e6])
    return Burned(
        name="60/20/20",
        fractions=mix,
        batch=batch,
        kind=kind,
        pressure=p,
        rate=factor * 9e-3 * (p / CENTRE) ** 0.4,
    )


def hardware(*evidence: Burned, held: bool = True, stated: Scatter | None = None):
    grain = HollowCylinder(
        outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=4
    )
    model = BurnModel(evidence, stated, HELD if held else None)
    return Hardware(grain=grain, throat_diameter=0.0103, burning=model)


def parts(found) -> dict[str, float]:
    return {one.name: one.percent for one in found.causes}


def test_nothing_burned_by_hand() -> None:
    """At the centre of mix and pressure: each width over 1 - 0.4, as they were held."""
    found = pressure_doubt(hardware(), Mix.weigh(MIX), CENTRE)
    told = parts(found)
    by = 100.0 / (1.0 - 0.4)
    assert told[BATCH] == pytest.approx(by * 0.06)
    assert told[TO_MOTOR] == pytest.approx(by * 0.05)
    assert told[FIRINGS] == pytest.approx(by * 0.025)
    assert told[RECIPE] == pytest.approx(by * math.hypot(0.5, 0.08, 0.02))
    assert told[EXPONENT] == 0.0
    whole = math.fsum(one.percent**2 for one in found.causes)
    assert found.percent**2 == pytest.approx(whole)
    assert math.fsum(one.share for one in found.causes) == pytest.approx(1.0)
    supply = sum(one.share for one in found.causes if not one.assumed)
    assert found.assumed == pytest.approx(1.0 - supply)


def test_the_exponent_counts_away_from_the_tested_pressure() -> None:
    """One strand at 2.5 MPa, a motor at e times that: x = 1.

    What the strand does not tell of it is the exponent, 0.115 of the prior, its
    scatter over mixes 0.03, and the bend, 2 % less what is shared at x = 1 apart.
    """
    one = Burned(
        name="60/20/20",
        fractions=MIX,
        batch="a",
        pressure=np.array([CENTRE]),
        rate=np.array([9e-3]),
    )
    told = parts(
        pressure_doubt(hardware(one), Mix.weigh(MIX), math.e * CENTRE),
    )
    least = 100.0 / (1.0 - 0.4) * math.hypot(0.4 / math.sqrt(12.0), 0.03)
    assert least < told[EXPONENT] < 1.05 * least
    near = parts(pressure_doubt(hardware(one), Mix.weigh(MIX), CENTRE))
    assert near[EXPONENT] == 0.0


@pytest.mark.parametrize("mix", [MIX, OTHER])
def test_the_whole_is_that_of_the_table(mix: dict[str, float]) -> None:
    """Another route: ln(p95 / p50) of the table of mixes is 1.645 of the whole."""
    motor = hardware(strands("a"))
    weighed = Mix.weigh(mix)
    row = motor_rows(
        of_mixes([weighed]), motor, characteristic_velocity=np.array([900.0])
    )
    found = pressure_doubt(motor, weighed, float(row.p50[0]))
    spread = 100.0 * math.log(row.p95[0] / row.p50[0]) / 1.6449
    assert spread == pytest.approx(found.percent, rel=0.06)


def test_a_firing_takes_over_from_the_step_to_a_motor() -> None:
    """Fired grains of the mix leave less of that step, and it is assumed no more."""
    weighed = Mix.weigh(MIX)
    before = pressure_doubt(hardware(strands("a")), weighed, CENTRE)
    fired = [strands(f"f{i}", kind=FIRING, factor=1.04) for i in range(2)]
    after = pressure_doubt(hardware(strands("a"), *fired), weighed, CENTRE)
    assert parts(after)[TO_MOTOR] < 0.8 * parts(before)[TO_MOTOR]
    assumed = {one.name: one.assumed for one in after.causes}
    assert not assumed[TO_MOTOR]
    assert assumed[FIRINGS]
    assert min(one.share for one in after.causes) >= 0.0


def test_what_is_stated_is_assumed_no_more() -> None:
    known = Scatter(batch=0.04, firing=0.02, stated=("batch", "firing"))
    found = pressure_doubt(
        hardware(strands("a"), held=False, stated=known), Mix.weigh(MIX), CENTRE
    )
    assert {one.name for one in found.causes if one.assumed} == {TO_MOTOR, EXPONENT}
    assert found.batch.stated
    assert not found.batch.learnt
    assert found.batch.middle == 0.04


def test_scatter_of_batches_before_and_after_a_repeat() -> None:
    """Assumed 6 %, eight in ten 2.15 to 15 (exp of 1.2816 x 0.8); then learnt.

    Four batches of one mix that differ by nothing but 1 % pull it below the prior.
    """
    before = batch_scatter(BurnModel([strands("a"), strands("b", OTHER)]))
    assert not before.learnt
    assert before.middle == 0.06
    assert before.low == pytest.approx(0.06 / math.exp(0.8 * 1.28155), rel=1e-4)
    assert before.high == 0.15
    four = [strands(f"b{i}", factor=1.0 + 0.01 * (-1) ** i) for i in range(4)]
    after = batch_scatter(BurnModel([*four, strands("c", OTHER)]))
    assert after.batches == 4
    assert after.low < after.middle < 0.04 < after.high < 0.10
    wild = [strands(f"b{i}", factor=1.0 + 0.12 * (-1) ** i) for i in range(4)]
    assert batch_scatter(BurnModel(wild)).low > after.middle
    assert batch_scatter(BurnModel(wild)).high == pytest.approx(0.15)
