"""Mixes in the user's motor: what is told of which batch, and what a firing may do."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from burning import PARTS, strands

from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import (
    batches_of,
    differs,
    motor_rows,
    origin_of,
    peaks_of_batch,
    repeats,
    this_batch,
    untold,
)

sys.path.insert(0, str(Path(__file__).parent))
import simulated_burns as burns

pytestmark = pytest.mark.exact

VELOCITY = 900.0


def mix(*shares: float) -> Mix:
    """Return a mix of the usual three ingredients."""
    return Mix.weigh(dict(zip(burns.NAMES, shares, strict=True)))


MIXES = [mix(*w) for w in (*burns.MEASURED, burns.BETWEEN, burns.BESIDE)]


def hardware(*evidence, **more) -> Hardware:
    """Return a motor in which something burned: by default what the example holds."""
    grain = HollowCylinder(
        outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=4
    )
    known = evidence or burns.example()[0]
    given = {"throat_diameter": 0.0103, "burning": BurnModel(known)} | more
    return Hardware(grain=grain, **given)


def rows(motor: Hardware, mixes=None, levels=()):
    """Put mixes into a motor, all with the same c*."""
    some = MIXES if mixes is None else mixes
    velocity = np.full(len(some), VELOCITY)
    return motor_rows(
        of_mixes(some), motor, characteristic_velocity=velocity, levels=levels
    )


@pytest.mark.slow
def test_no_seed_moves_a_limit() -> None:
    """Two seeds, two numbers of draws: the same bytes."""
    first = rows(hardware(seed=1, draws=2048))
    other = rows(hardware(seed=99, draws=100))
    for name in ("p50", "p95", "this_batch"):
        np.testing.assert_array_equal(getattr(first, name), getattr(other, name))


@pytest.mark.slow
def test_a_mix_has_one_number() -> None:
    """Alone, among others, with other levels: to 1e-9."""
    motor, whole = hardware(), rows(hardware())
    for i, one in enumerate(MIXES):
        alone = rows(motor, [one], levels=(0.9,))
        assert alone.p95[0] == pytest.approx(whole.p95[i], rel=1e-9)
        assert alone.p50[0] < alone.further[0, 0] < alone.p95[0]


def test_it_is_the_chance_of_the_model() -> None:
    """By the sum of normals, at the pressure per burn rate of the motor: 95 %."""
    motor = hardware()
    found = rows(motor)
    supply = motor.supply(of_mixes(MIXES).density, VELOCITY)
    for i, w in enumerate((*burns.MEASURED, burns.BETWEEN)):
        x = math.log(found.p95[i] / burns.CENTRE)
        rates = motor.burning.rates(w, burns.NAMES, found.p95[i])
        sd = np.sqrt(rates.variances[:, 0] + motor.supply_u**2)
        left = math.log(supply.per_rate[i] * (1 - supply.filling[i] * found.p95[i]))
        room = x + math.log(burns.CENTRE) - left - rates.means[:, 0]
        chance = rates.weights @ burns.ndtr(room / sd)
        assert chance == pytest.approx(0.95, abs=1e-3)


def test_this_batch_is_that_of_the_strands() -> None:
    """Only where its own strands burned; narrower than the next batch."""
    motor = hardware()
    found = rows(motor)
    assert np.isfinite(found.this_batch).tolist() == [True] * 3 + [False, False]
    assert np.all(found.this_batch[:3] < found.p95[:3])
    supply = motor.supply(of_mixes(MIXES).density, VELOCITY)
    own = burns.peaks(
        motor.burning,
        burns.MEASURED[1],
        burns.NAMES,
        log_supply=math.log(supply.per_rate[1]),
        supply_u=motor.supply_u,
        filling=supply.filling[1],
        levels=(0.95,),
        asked=Asked(of="strands.csv, 58/14/28"),
    ).quantiles[0, 0]
    assert found.this_batch[1] == pytest.approx(own, rel=1e-9)


def test_the_peak_of_a_batch_is_that_of_the_table() -> None:
    """Of the batch that burned; of a name that never did it is the next one."""
    motor, found = hardware(), rows(hardware())
    own = peaks_of_batch(motor, MIXES[1], VELOCITY, "strands.csv, 58/14/28", (0.95,))
    assert own == pytest.approx([found.this_batch[1]], rel=1e-9)
    other = peaks_of_batch(motor, MIXES[3], VELOCITY, "never", (0.5, 0.95))
    assert other == pytest.approx([found.p50[3], found.p95[3]], rel=1e-9)


def test_the_last_batch_of_a_mix_is_this_one() -> None:
    """Two batches of one recipe keep two names; of another process it is not."""
    first = burns.example()[0][0]
    again = replace(first, batch="second", rate=1.06 * first.rate)
    model = BurnModel([first, again])
    parts = dict(first.fractions)
    assert batches_of(model, parts) == ("strands.csv, 60/20/20", "second")
    assert this_batch(model, parts) == "second"
    assert this_batch(model, parts, "pressed") == ""
    # Within what the scale shows it is the same mix, beyond it is not.
    near = {"potassium nitrate": 0.6004, "sucrose": 0.1996, "light corn syrup": 0.2}
    assert differs(near, parts) == pytest.approx(4e-4)
    assert this_batch(model, near) == "second"
    far = {"potassium nitrate": 0.602, "sucrose": 0.198, "light corn syrup": 0.2}
    assert this_batch(model, far) == ""


@pytest.mark.slow
@pytest.mark.parametrize(("firings", "held"), [(1, True), (2, True), (3, False)])
def test_few_firings_may_not_lower_a_limit_much(firings: int, *, held: bool) -> None:
    """Before three: no less than the p95 without any, times exp(-1.96 u).

    u of ln(efficiency x rate): of the efficiency, of a firing, of strands to motor.
    """
    plain = hardware()
    supply = float(plain.supply(of_mixes(MIXES[:1]).density, VELOCITY).per_rate[0])
    slow = burns.fired(burns.MEASURED[0], 2e6, math.log(0.6 * supply))
    motor = hardware(
        *burns.example()[0],
        slow,
        efficiency=0.6,
        efficiency_measured=True,
        efficiency_u=0.02,
        firings=firings,
    )
    u = math.sqrt(0.02**2 + 0.025**2 + 0.05**2)
    least = rows(plain).p95 * math.exp(-1.96 * u)
    free = rows(replace(motor, firings=3))
    got = rows(motor)
    assert np.all(free.p95 < least)
    wanted = least if held else free.p95
    np.testing.assert_allclose(got.p95, wanted, rtol=1e-9)
    if held:  # of the batch that burned, too
        own = rows(plain).this_batch[1] * math.exp(-1.96 * u)
        assert free.this_batch[1] < own
        assert got.this_batch[1] == pytest.approx(own, rel=1e-9)
    # What is expected is not held back.
    np.testing.assert_allclose(got.p50, free.p50, rtol=1e-9)


def test_where_a_rate_comes_from() -> None:
    """Each kind of origin in words."""
    evidence, _ = burns.example()
    model = BurnModel(evidence)
    between = dict(zip(burns.NAMES, burns.BETWEEN.tolist(), strict=True))
    own = dict(evidence[0].fractions)
    assert origin_of(model, own) == "measured: 60/20/20"
    away = "4 % of the mass from 60/20/20"
    assert origin_of(model, between) == f"model of 3 mixes: {away}"
    one = BurnModel(evidence[:1])
    assert origin_of(one, between) == f"model of 1 mix: {away}"
    assert origin_of(one, own, "pressed") == (
        "model of 1 mix: 60/20/20, but that was cooked syrup and this is pressed"
    )
    law = BurnLaw(
        name="Book",
        bands=(Band(low=1e5, high=7e6, rate=8e-3, exponent=0.32),),
        log_rate_u=0.25,
    )
    dry = {"potassium nitrate": 0.65, "sucrose": 0.35}
    loan = BurnModel([published(law, dry)])
    assert origin_of(loan, dry) == "borrowed: Book"
    assert origin_of(loan, own).startswith("borrowed: Book, 20 % of the mass from Book")
    assert origin_of(BurnModel(), own) == "assumed: nothing was burned"


def test_no_upper_limit_is_said() -> None:
    """Nothing burned and a motor that stands high: no number, and the flag says so."""
    motor = hardware(throat_diameter=0.006, burning=BurnModel())
    found = rows(motor, MIXES[:1])
    assert math.isinf(found.p95[0])
    assert math.isfinite(found.p50[0])
    said = " ".join(found.flags()[0])
    assert "no upper limit of the pressure can be given: burn strands" in said
    assert math.isinf(found.columns()["peak_pressure_p95_MPa"][0])


def test_a_limit_above_the_case_is_said() -> None:
    """The 95 % pressure above what the case may hold, the median below it."""
    found = rows(hardware(), MIXES[:1])
    allowed = 0.5 * (found.p50[0] + found.p95[0])
    case = Case(rated_pressure=allowed)
    motor = hardware(case=case)
    held = rows(motor, MIXES[:1])
    assert any("95 % pressure exceeds" in text for text in held.flags()[0])
    assert held.columns()["pressure_margin_percent"][0] < 0.0


def test_a_row_without_velocity_says_why() -> None:
    """NaN, the reason, and no number; its neighbour is untouched."""
    velocity = np.array([VELOCITY, math.nan])
    motor = hardware()
    got = motor_rows(of_mixes(MIXES[:2]), motor, characteristic_velocity=velocity)
    assert np.isnan([got.p50[1], got.p95[1], got.this_batch[1]]).all()
    why = "no c*, without a nozzle, a flame or a sound cook"
    assert untold({"burn_law_origin": got.origins()[1]}) == why
    assert got.p95[0] == pytest.approx(rows(motor, MIXES[:1]).p95[0], rel=1e-9)


def test_one_mix_by_two_processes_was_not_cooked_twice() -> None:
    """A batch of each process teaches nothing of the scatter between batches."""
    one = strands(5e-3, 0.3)
    dry = replace(one, batch="dry", process="melted dry")
    again = replace(one, batch="again")
    assert repeats(BurnModel([one, dry])) == 0
    assert repeats(BurnModel([one, dry, again])) == 2
    model = BurnModel([one, dry, again])
    assert batches_of(model, PARTS, "melted dry") == ("dry",)
    assert batches_of(model, PARTS) == ("own", "again")
