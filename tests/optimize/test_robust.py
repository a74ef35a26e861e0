"""Batches of a recipe, and the recipe whose batches keep the limits.

Exact: shares are held against batches that the test draws itself, and against chances
that are known. All motors and lots are invented.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from burning import strands

import castsugar as cs
from castsugar import Hardware
from castsugar.limits import Limit
from castsugar.mix.weighing import Lot
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import Goal
from castsugar.optimize.robust import Batches, Robust, robust_optimum
from castsugar.optimize.rounding import rounded
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Sloppiness, TableProblem

pytestmark = pytest.mark.exact

ITEMS = ("potassium nitrate", "sucrose")
HOT, VELOCITY = "flame_temperature_K", "characteristic_velocity_m_s"
EXACT = Sloppiness(
    weighing=0.0, syrup_solids=0.0, moisture=0.0, cook_temperature=0.0, cook_time=0.0
)
SPACE = Space(
    bounds={"potassium nitrate": (0.5, 0.65), "sucrose": (0.35, 0.5)},
    batch=0.1,
    scale_step=1e-4,
)
QUICK = Effort(points=40, starts=1, prices=False)


def problem(*chances: tuple[str, float], **settings: object) -> TableProblem:
    return TableProblem(
        settings=Settings(items=ITEMS, **settings),
        wanted=(HOT, VELOCITY),
        chances=chances,
    )


def batches(sloppy: Sloppiness) -> Batches:
    return Batches(sloppiness=sloppy, batch=0.1, seed=1)


def robust(most: float, sloppy: Sloppiness, space: Space = SPACE) -> Robust:
    """Return the robust recipe under a limit on the flame temperature."""
    goal = Goal(objective=VELOCITY, limits=(Limit(column=HOT, sense="<=", value=most),))
    found = optimise(problem(), goal, space, effort=QUICK)
    made = rounded(problem(), space, found)
    drawn = batches(sloppy)
    return robust_optimum(problem(), goal, space, (found, made), drawn, effort=QUICK)


@pytest.mark.slow
def test_a_recipe_at_its_limit_gives_way_and_95_of_100_batches_keep_it() -> None:
    """2,000 batches of the test, each part off by 0.3 g in 100 g."""
    answer = robust(1500.0, replace(EXACT, weighing=3e-4))
    assert answer.pays
    assert 0.3 < answer.nominal.share[0] < 0.7
    assert answer.kept.share[0] >= 0.95
    assert answer.price > 0.0
    rng = np.random.default_rng(23)
    made = answer.fractions + rng.normal(0.0, 3e-3, (2000, 2))
    hot = cs.evaluate(
        cs.blend(ITEMS, made / made.sum(axis=1, keepdims=True)),
        flow="no-solidification",
        confirm=False,
    )[HOT]
    assert 0.94 <= float((hot <= 1500.0).mean()) <= 0.985


def test_where_the_batches_keep_it_already_nothing_is_gained() -> None:
    answer = robust(2500.0, replace(EXACT, weighing=3e-4))
    assert not answer.pays
    assert answer.nominal.enough
    assert (answer.margins, answer.price) == ({}, 0.0)
    assert answer.kept is answer.nominal


@pytest.mark.slow
def test_as_far_as_it_goes_where_no_recipe_has_all_the_room() -> None:
    """The flame takes less nitrate; the bounds leave a third of a point."""
    narrow = replace(
        SPACE, bounds={"potassium nitrate": (0.565, 0.65), "sucrose": (0.35, 0.435)}
    )
    at = float(problem().evaluate(np.array([[0.568, 0.432]]))[0, 0])
    answer = robust(at, replace(EXACT, weighing=6e-4), narrow)
    assert not answer.kept.enough
    assert answer.kept.short < answer.nominal.short - 0.05
    assert answer.pays
    assert answer.margins


@pytest.mark.slow
def test_without_sloppiness_a_chance_is_that_of_the_table() -> None:
    """A limit at the 95 % quantile is kept by 95 of 100, and is not to be moved."""
    parts = {"potassium nitrate": 0.6, "sucrose": 0.4}
    motor = Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=BurnModel([strands(5e-3, 0.3, parts)]),
    )
    column = "peak_pressure_MPa"
    mix = np.array([0.6, 0.4])
    asked = cs.Requirement(column=column, at_most=1.0, probability=0.95).limits()[0]
    table = problem((column, 0.95), motor=motor)
    at = float(table.evaluate(mix[None])[0, -1])
    goal = Goal(objective=VELOCITY, limits=(replace(asked, value=at),))
    kept = batches(EXACT).kept(table, mix, goal)
    assert kept.share == pytest.approx([0.95], abs=1e-3)
    assert kept.margins == pytest.approx([0.0], abs=1e-3)
    assert kept.enough


@pytest.mark.parametrize(("warm", "long"), [(85.5, 60.0), (119.0, 86_000.0)])
def test_a_cook_that_is_missed_stays_one(warm: float, long: float) -> None:
    """A pour is modelled from 85 C up, a cook lasts a day at most: none is refused."""
    kitchen = cs.Kitchen(cook=cs.Cook.hold(273.15 + warm, long))
    table = problem(kitchen=kitchen)
    sloppy = replace(EXACT, cook_temperature=2.0, cook_time=600.0)
    cooks = batches(sloppy)._cooks(table)
    assert len(cooks) == 32
    assert all(kitchen.changed(cook=one).cook.duration <= 86_400.0 for one in cooks)
    ends = [one.pour_temperature for one in cooks]
    assert len(set(ends)) > 15


@pytest.mark.parametrize("level", [0.6, 0.75, 0.9, 0.95])
def test_a_chance_near_jamming_is_that_of_the_draws(level: float) -> None:
    """A viscosity that so many draws stay below is kept by so many."""
    items = ("potassium nitrate", "powdered sugar", "light corn syrup")
    mix, column = np.array([0.6, 0.18, 0.22]), "pour_viscosity_Pa_s"
    known = cs.kitchen.unmeasured().knowing_the_layer()
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), belief=known)
    settings = Settings(items=items, kitchen=kitchen)
    table = TableProblem(settings=settings, wanted=(), chances=((column, level),))
    at = float(table.evaluate(mix[None])[0, 0])
    asked = cs.Requirement(column=column, at_most=1.0, probability=0.85).limits()
    asked = tuple(replace(one, value=at) for one in asked)
    kept = batches(EXACT).kept(table, mix, Goal(objective=VELOCITY, limits=asked))
    assert kept.share == pytest.approx([level], abs=0.01)


def test_what_a_lot_states_of_itself_is_what_its_batches_scatter_by() -> None:
    """Solids of a syrup good to 0.2 % move a limit a tenth as far as those to 2 %."""
    items = ("potassium nitrate", "light corn syrup")
    limit = Limit(column=HOT, sense="<=", value=1500.0)
    mix, goal = np.array([0.65, 0.35]), Goal(objective=VELOCITY, limits=(limit,))
    margins = []
    for doubt in (0.002, 0.02):
        lot = Lot(dry_solids=0.8, dry_solids_uncertainty=doubt)
        settings = Settings(items=items, lots={"light corn syrup": lot})
        table = TableProblem(settings=settings, wanted=(HOT, VELOCITY))
        drawn = batches(replace(EXACT, syrup_solids=None))
        margins.append(float(drawn.kept(table, mix, goal).margins[0]))
    assert margins[1] / margins[0] == pytest.approx(10.0, rel=0.1)
    # Moisture: half-normal where nobody measured it, both ways where the lot says.
    for lot, least, most in ((Lot(), 1.0, 1.0), (Lot(moisture=0.01), 0.99, 0.99)):
        share, _ = batches(replace(EXACT, moisture=0.002))._dry(
            "sucrose", lot, 512, thin=True
        )
        dry = share * (1.0 - lot.moisture)
        assert dry.max() <= most
        assert dry.mean() == pytest.approx(
            least - 0.002 * np.sqrt(2.0 / np.pi), abs=2e-5
        )
    stated = Lot(moisture=0.01, moisture_uncertainty=0.001)
    share, driest = batches(EXACT)._dry("sucrose", stated, 512, thin=True)
    assert driest is not None
    dry = share * (1.0 - driest.moisture)
    assert dry.mean() == pytest.approx(0.99, abs=2e-5)
    assert dry.std() == pytest.approx(0.001, rel=0.03)
