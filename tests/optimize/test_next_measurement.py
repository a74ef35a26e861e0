"""One list of what to measure: two worlds, a simulation, costs, what cannot be told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from castsugar import Hardware, InputError, Requirement
from castsugar import costs as names
from castsugar.costs import ASSUMED, Cost, Costs
from castsugar.kitchen import Cook, Kitchen, calibrate, foresight
from castsugar.kitchen.measurements import Measurement, pan_weight
from castsugar.kitchen.verdict import judge
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize import next_measurement
from castsugar.optimize.next_measurement import (
    DONE,
    NO_KITCHEN,
    NO_MOTOR,
    NO_PEAK,
    NO_POUR,
    PRICE,
    Agenda,
    Offer,
    what_next,
)
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Task

pytestmark = pytest.mark.exact

NAMES = ("potassium nitrate", "powdered sugar", "light corn syrup")
SPACE = Space(
    bounds=dict(zip(NAMES, ((0.55, 0.66), (0.1, 0.3), (0.14, 0.3)), strict=True))
)
KITCHEN = Kitchen(cook=Cook.hold(392.15, 480.0))
BURNS = {names.NEW_BATCH, names.FURTHER, names.FIRED, names.FILMED}


def pours(at_most: float) -> Requirement:
    return Requirement(column="pour_viscosity_Pa_s", at_most=at_most, probability=0.85)


def motor(rating: float | None) -> Hardware:
    """Return an invented motor, strands of one mix, and what its case holds."""
    burned = Burned(
        name="burned",
        fractions=dict(zip(NAMES, (0.6, 0.2, 0.2), strict=True)),
        pressure=np.array([1e6, 2.5e6, 5e6]),
        rate=np.exp(-4.8 + 0.4 * np.log([0.4, 1.0, 2.0])),
        batch="pot 1",
        source="s.csv",
    )
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=3
        ),
        throat_diameter=0.008,
        case=None if rating is None else Case(rated_pressure=rating),
        burning=BurnModel([burned]),
    )


def world(
    *limits: Requirement,
    rating: float | None = None,
    kitchen: Kitchen | None = KITCHEN,
    fired: bool = True,
) -> Task:
    peak = Requirement(
        column="peak_pressure_MPa", at_most=(rating or 0.0) / 1e6, probability=0.95
    ) if rating else None  # fmt: skip
    return Task(
        space=SPACE,
        settings=Settings(
            items=SPACE.columns,
            kitchen=kitchen,
            motor=motor(rating) if fired else None,
        ),
        requirements=(*limits, *([peak] if peak else [])),
    )


def of(agenda: Agenda, kind: str) -> Offer:
    return next(one for one in agenda.offers if one.kind == kind)


def largest(agenda: Agenda, *, burns: bool) -> float:
    return max(
        one.gain
        for one in agenda.offers
        if (one.kind in BURNS) == burns and not one.reason
    )


@pytest.fixture(scope="module")
def pour_world() -> Agenda:
    """A case that holds anything, a mix that hardly pours."""
    return what_next(world(pours(10.0), rating=60e6))


@pytest.fixture(scope="module")
def pressure_world() -> Agenda:
    """A cup that takes anything, a case that hardly holds."""
    return what_next(world(pours(1e6), rating=4.2e6))


# ---------------------------------------------------------------- two worlds


@pytest.mark.slow
def test_the_kitchen_comes_first_where_the_pour_decides(pour_world: Agenda) -> None:
    assert pour_world.offers[0].kind not in BURNS
    assert largest(pour_world, burns=False) > 0.05
    assert largest(pour_world, burns=True) < 0.1 * largest(pour_world, burns=False)


def test_burning_comes_first_where_the_pressure_decides(
    pressure_world: Agenda,
) -> None:
    assert pressure_world.offers[0].kind in BURNS
    assert largest(pressure_world, burns=True) > 0.05
    assert largest(pressure_world, burns=False) < 0.1 * largest(
        pressure_world, burns=True
    )


@pytest.mark.slow
def test_sorted_by_gain_an_hour_and_none_below_zero(
    pour_world: Agenda, pressure_world: Agenda
) -> None:
    for agenda in (pour_world, pressure_world):
        counted = [one for one in agenda.offers if not one.reason]
        rates = [one.per_hour for one in counted]
        assert rates == sorted(rates, reverse=True)
        assert min(rates) >= -1e-12
        assert all(one.reason for one in agenda.offers[len(counted) :])
        assert {one.kind for one in agenda.offers} == set(ASSUMED) - {names.GRAM}


# ---------------------------------------------------------------- a simulation


def simulated_gain(task: Task, agenda: Agenda, one: Measurement) -> float:
    """Return a gain by making the measurement: refitted by `calibrate`, judged anew.

    Least squares and a new verdict of every mix, where the list weighs draws.
    """
    mixes = next_measurement._mixes(task, Costs())
    assert mixes.drawn is not None
    pot = foresight_pot(task, mixes.pool.fractions)
    values = KITCHEN.belief.draw(2048, 1)
    rng = np.random.default_rng(5)
    expected = np.broadcast_to(one.predict(values), (2048,))
    read = np.quantile(
        expected + one.spread * rng.normal(size=2048), (np.arange(24) + 0.5) / 24
    )

    def worth(kitchen: Kitchen) -> np.ndarray:
        said = judge(pot, kitchen, window=False)
        below = said.classes[:, :2].sum(axis=1)  # runny or pours: up to 10 Pa s
        return mixes.choice.objective - PRICE * (1.0 - below) / 0.15

    now = int(np.argmax(worth(KITCHEN)))
    gains = []
    for observed in read:
        told = replace(one, observed=float(observed))
        after = worth(calibrate(KITCHEN, [told]).kitchen)
        gains.append(after.max() - after[now])
    return float(np.mean(gains))


def foresight_pot(task: Task, fractions: np.ndarray):  # type: ignore[no-untyped-def]
    from castsugar.kitchen.pot import pots_of
    from castsugar.mix.blends import put_together

    return pots_of(put_together(task.settings.items, fractions), KITCHEN)


@pytest.mark.simulation
def test_gains_are_those_of_measurements_that_are_made() -> None:
    """Three kitchen measurements: the same order, each within a third."""
    task = world(pours(10.0), rating=60e6)
    agenda = what_next(task)
    mix = Mix.weigh(agenda.best)
    made = {
        names.PAN_WEIGHT: pan_weight(mix, KITCHEN.cook, batch=0.2, lost=0.0),
        names.FLOW_OUT: foresight.any_flow_out(
            mix, KITCHEN.cook, air_pressure=KITCHEN.air_pressure
        ),
        names.SYRUP_DENSITY: foresight.syrup_density(mix),
    }
    foreseen = {kind: of(agenda, kind).gain for kind in made}
    simulated = {kind: simulated_gain(task, agenda, one) for kind, one in made.items()}
    assert sorted(made, key=foreseen.get) == sorted(made, key=simulated.get)  # type: ignore[arg-type]
    for kind, gain in simulated.items():
        assert foreseen[kind] == pytest.approx(gain, rel=0.33, abs=0.02)


def test_the_chance_of_today_is_the_mean_of_those_to_come() -> None:
    """Of a normal z, E Phi((a - k z)/s1) = Phi(a/s): exact; by nine nodes to 0.03."""
    task = world(pours(1e6), rating=4.2e6)
    known = next_measurement._mixes(task, Costs()).stakes
    mean, left, share = known.foreseen()
    then = np.einsum("mzn,z->mn", known.chance(mean, left), share)
    now = known.chance(known.mean, known.variance)
    np.testing.assert_allclose(then, np.broadcast_to(now, then.shape), atol=0.03)


# ---------------------------------------------------------------- costs, gaps


@pytest.mark.slow
def test_costs_that_are_stated_change_the_order(pour_world: Agenda) -> None:
    """A flow-out of one minute and no gram is first; gains stay."""
    stated = Costs({names.FLOW_OUT: {"time": 60.0, "mass": 0.0}})
    cheap = what_next(world(pours(10.0), rating=60e6), costs=stated)
    assert cheap.offers[0].kind == names.FLOW_OUT
    assert cheap.offers[0].minutes == 1.0
    assert cheap.offers[0].gain == of(pour_world, names.FLOW_OUT).gain
    assert Costs().minutes(names.FLOW_OUT) == 30.0 + 200.0 * 0.1
    assert Costs({names.FLOW_OUT: {"mass": 0.1}}).of(names.FLOW_OUT) == Cost(1800, 0.1)


@pytest.mark.slow
def test_what_is_not_computed_says_why() -> None:
    """No kitchen, no motor, no case, no pour limit; measured once is measured."""
    cold = what_next(world(rating=4.2e6, kitchen=None))
    assert of(cold, names.PAN_WEIGHT).reason == NO_KITCHEN
    open_ = what_next(world(pours(10.0), fired=False))
    assert of(open_, names.NEW_BATCH).reason == NO_MOTOR
    assert of(open_, names.FLOW_OUT).gain > 0.0
    free = what_next(world(pours(10.0)))
    assert of(free, names.FIRED).reason == NO_PEAK
    thick = what_next(world(rating=4.2e6))
    assert of(thick, names.FLOW_OUT).reason == NO_POUR
    once = what_next(
        world(pours(10.0), rating=60e6),
        measured={names.BULK_DENSITY, names.PAN_WEIGHT},
    )
    assert of(once, names.BULK_DENSITY).reason == DONE
    assert of(once, names.PAN_WEIGHT).reason == ""


@pytest.mark.slow
def test_where_no_mix_pours_no_burn_changes_a_choice() -> None:
    """Below 0.01 Pa s nothing pours: burns gain nothing, and the other way round."""
    thick = what_next(world(pours(0.01), rating=20e6))
    assert (thick.pours, thick.presses, thick.keeps) == (False, True, False)
    assert largest(thick, burns=True) == 0.0
    weak = what_next(world(pours(1e6), rating=0.5e6))
    assert (weak.pours, weak.presses, weak.keeps) == (True, False, False)
    assert largest(weak, burns=False) == 0.0


def test_without_a_limit_there_is_no_choice_to_change() -> None:
    with pytest.raises(InputError, match="no limit is stated"):
        what_next(world())


@pytest.mark.slow
def test_a_finer_scale_tells_no_more_than_a_better_pan_weight(
    pour_world: Agenda,
) -> None:
    """Of a coarse scale it tells much, of a fine one little."""
    task = world(pours(10.0), rating=60e6)
    coarse = of(what_next(task, scale=2e-3), names.FINER_SCALE).gain
    assert coarse > of(pour_world, names.FINER_SCALE).gain >= 0.0
