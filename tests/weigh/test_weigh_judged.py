"""What an error of a line does, and the mix as weighed beside the plan."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import Kitchen, load_database
from castsugar.bench.bench import check_bench
from castsugar.bench.motor import hardware_of
from castsugar.kitchen.heat import parse_cook
from castsugar.kitchen.parameters import unmeasured
from castsugar.weigh import (
    Conditions,
    Equipment,
    plan,
    read_charge,
    tolerances,
    weighing,
)
from castsugar.weigh.correction import C_STAR, LIMITS, OWN, PEAK, POUR, SHARE

pytestmark = pytest.mark.exact  # against evaluate, asked anew

DATABASE = load_database()
BASE = "KNO3:60 powdered sugar:20 corn syrup:20"
STIFF = "KNO3:60 powdered sugar:21 corn syrup:19"
RED = "KNO3:60 powdered sugar:19 corn syrup:20 red iron oxide:1"
PRESSURES = {"pressure": 6.894757e6, "exit_pressure": 101325.0}

#: An invented motor.
MOTOR = """\
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
[[motor.burn_law]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
rate = "3.6 mm/s"
pressure = "2 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.05
"""


@cache
def conditions() -> Conditions:
    return Conditions(
        **PRESSURES,
        kitchen=Kitchen(
            cook=parse_cook("119 C", "8"),
            belief=unmeasured().knowing_the_layer(),
            draws=1000,
        ),
        motor=hardware_of(check_bench(Path("b.toml"), MOTOR), DATABASE),
    )


def sheet(recipe=BASE, batch=0.2, step=1e-4, lost=0.0):
    charge = read_charge(recipe, None, DATABASE)
    return plan(
        charge, Equipment(step=step), mix=charge.mix(water_lost=lost), batch=batch
    )


def evaluated(masses):
    table = cs.evaluate(
        [cs.Mix.weigh(masses)],
        **PRESSURES,
        kitchen=conditions().kitchen,
        motor=conditions().motor,
    )
    return table.iloc[0]


@cache
def judged():
    return tolerances(sheet(), conditions())


@pytest.mark.slow
@pytest.mark.parametrize(("recipe", "decides"), [(BASE, "share"), (STIFF, "pour")])
def test_every_line_moves_what_limits_it_by_its_limit(recipe, decides) -> None:
    """Weighed too much and too little by the tolerance, each mix asked anew.

    Between its samples a curve counts as straight, so that 20 % may be 18 to 22.
    """
    found, base = tolerances(sheet(recipe), conditions())
    masses = sheet(recipe).ratio_masses
    for line in sheet(recipe).lines:
        tolerance = found[line.name]
        moved = {column: [] for column in LIMITS}
        shares = []
        for sign in (1, -1):
            changed = masses | {line.name: masses[line.name] + sign * tolerance.mass}
            row = evaluated(changed)
            shares.append(abs(changed[line.name] / sum(changed.values()) - line.share))
            for column in LIMITS:
                moved[column].append(abs(row[column] / base.values[column] - 1.0))
        for column, (limit, word) in LIMITS.items():
            assert max(moved[column]) < limit * 1.1
            if tolerance.decided_by == word:
                assert max(moved[column]) == pytest.approx(limit, rel=0.1)
        if tolerance.decided_by == "share":
            assert max(shares) == pytest.approx(SHARE, rel=0.02)
    assert found["light corn syrup"].decided_by == decides


def test_one_step_of_the_scale() -> None:
    """The share moves by (1 - w) s / W; the rest as two mixes a step apart do."""
    found, base = judged()
    masses, whole = sheet().ratio_masses, sheet().in_pan
    line = sheet().line("light corn syrup")
    slopes = found[line.name].per_step
    share = masses[line.name] / whole
    assert slopes["share"] == pytest.approx(1e-4 * (1.0 - share) / whole, rel=1e-12)
    row = evaluated(masses | {line.name: masses[line.name] + 1e-4})
    for column in (C_STAR, PEAK, POUR):
        step = abs(row[column] / base.values[column] - 1.0)
        assert 0.5 * step < slopes[column] < 2.0 * step


def test_a_coarse_step_of_the_scale_is_looked_at_itself() -> None:
    """2 g of iron oxide on a scale of 1 g: half of it, far from where it is straight.

    The larger of one step too much and one too little, as two mixes are.
    """
    stated = Conditions(**PRESSURES)
    coarse = sheet(RED, step=1e-3)
    found, base = tolerances(coarse, stated)
    masses, name = coarse.ratio_masses, "red iron oxide"
    moved = []
    for sign in (1, -1):
        mixed = cs.Mix.weigh(masses | {name: masses[name] + sign * 1e-3})
        row = cs.evaluate([mixed], **PRESSURES).iloc[0]
        moved.append(abs(row[C_STAR] / base.values[C_STAR] - 1.0))
    assert found[name].per_step[C_STAR] == pytest.approx(max(moved), rel=1e-6)


def test_a_small_line_may_be_off_by_a_tenth_of_itself() -> None:
    """1 % of 198.5 g: (m - d) / (W - d) = 0.009 gives d = 0.1 m / (1 - 0.009)."""
    found, _ = tolerances(sheet(RED), Conditions(**PRESSURES))
    tolerance = found["red iron oxide"]
    whole = sheet(RED).in_pan
    mass = 0.01 * whole
    by = OWN * mass / whole
    assert tolerance.decided_by == "share"
    assert tolerance.mass == pytest.approx(by * whole / (1.0 - mass / whole + by))
    assert tolerance.mass == pytest.approx(0.1 * mass, rel=0.02)


def test_a_measured_mix_stays_measured_and_its_jump_is_no_error() -> None:
    """Strands of five mixes, the sheet is one of them: its law is its own, to the bit.

    The others burn so much faster that the law between them is far from its own; the
    tolerance still is that of a smooth curve.
    """
    law = MOTOR.split("[[motor.burn_law]]")[1]
    text = MOTOR
    for parts in ("55:25:20", "60:25:15", "65:20:15", "65:15:20"):
        nitrate, sugar, syrup = parts.split(":")
        recipe = f"KNO3:{nitrate} powdered sugar:{sugar} corn syrup:{syrup}"
        other = law.replace(BASE, recipe).replace("3.6", "7.2")
        text += f"[[motor.burn_law]]{other}"
    motor = hardware_of(check_bench(Path("b.toml"), text), DATABASE)
    found, base = tolerances(sheet(), Conditions(**PRESSURES, motor=motor))
    alone = cs.evaluate([sheet().charge.mix()], **PRESSURES, motor=motor).iloc[0]
    assert alone["burn_law_origin"].startswith("stated")
    assert base.values[PEAK] == pytest.approx(alone[PEAK], rel=1e-9)
    high = "peak_pressure_p95_MPa"
    assert base.values[high] == pytest.approx(alone[high], rel=1e-9)
    assert all(tolerance.mass > 5e-4 for tolerance in found.values())


def test_without_kitchen_and_motor_only_c_star_and_share_count() -> None:
    found, _ = tolerances(sheet(), Conditions(**PRESSURES))
    for tolerance in found.values():
        assert tolerance.decided_by in ("share", "c*")
        assert math.isfinite(tolerance.per_step[C_STAR])
        assert math.isnan(tolerance.per_step[POUR])
        assert math.isnan(tolerance.per_step[PEAK])


def test_a_single_ingredient_has_no_ratio() -> None:
    found, _ = tolerances(sheet("KNO3:1"), Conditions(**PRESSURES))
    assert math.isinf(found["potassium nitrate"].mass)


def test_as_weighed_and_corrected_stand_beside_the_sheet() -> None:
    """5 g too much nitrate, all lines weighed: the corrected mix is the sheet again."""
    lines = {line.name: line.mass for line in sheet().lines}
    actual = lines | {"potassium nitrate": lines["potassium nitrate"] + 5e-3}
    found = weighing(sheet(), conditions(), actual=actual)
    assert [row.name for row in found.judged] == ["sheet", "as weighed", "corrected"]
    plain, wrong, right = (float(row.values[C_STAR]) for row in found.judged)
    assert abs(wrong - plain) > 10.0 * abs(right - plain)
    masses = sheet().pan_masses()
    expected = evaluated(
        masses | {"potassium nitrate": masses["potassium nitrate"] + 5e-3}
    )
    assert wrong == pytest.approx(expected[C_STAR], abs=1e-6)
    assert found.within is False
    assert found.answer
    etas = [row.values[POUR] for row in found.judged]
    ratios = [eta / etas[0] for eta in etas]
    assert ratios[0] == 1.0
    assert ratios[1] > 1.05 > ratios[2] > 0.95


def test_a_hair_off_is_within_and_a_limit_says_no() -> None:
    actual = {"potassium nitrate": sheet().line("potassium nitrate").mass + 2e-4}
    found = weighing(sheet(), conditions(), actual=actual)
    assert found.within is True
    limited = weighing(sheet(), conditions(), actual=actual, at_most=0.2)
    assert not limited.answer
    assert "more than the 200 g" in limited.correction.reason
    too_much = weighing(sheet(), Conditions(**PRESSURES), at_most=0.15)
    assert too_much.too_much
    assert not too_much.answer


def test_known_loss_of_water_is_kept_in_every_mix() -> None:
    stated = Conditions(**PRESSURES, water_lost=0.4)
    _, base = tolerances(sheet(lost=0.4), stated)
    assert base.values["water_as_cast_percent"] == pytest.approx(
        100.0 * sheet(lost=0.4).mix.water_as_cast, rel=1e-3
    )


def test_what_is_printed_is_short() -> None:
    """A few lines of every result: no catalogue, no kitchen, no motor."""
    actual = {"potassium nitrate": 0.13}
    found = weighing(sheet(), conditions(), actual=actual)
    every = (found, found.sheet, found.sheet.charge, conditions(), found.judged[0])
    for result in (*every, found.correction, found.sheet.equipment):
        assert max(len(str(result)), len(repr(result))) < 800, type(result)
    assert str(found.sheet).endswith("KNO3: 119.1 g")
