"""The main story: a baseline, a pressure rating, a pour limit, and the search.

Bench, readings and motor are invented. Exact: the answers are held against evaluations
of their own, other draws, and searches with moved limits.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar import Hardware, Mix, evaluate
from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.search import run_search
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Sloppiness, TableProblem, Task

pytestmark = pytest.mark.exact

ITEMS = ("potassium nitrate", "powdered sugar", "light corn syrup")
BASE = (0.60, 0.20, 0.20)
BURNED = (BASE, (0.65, 0.18, 0.17), (0.56, 0.22, 0.22), (0.60, 0.12, 0.28))
POUR, RATING, SET = 15.0, 2.4, 0.95


def burned(fractions: tuple[float, ...], seed: int) -> Burned:
    """Return strands that were invented, with 2 % of scatter."""
    rng = np.random.default_rng([4, seed])
    oxidizer, _, syrup = fractions
    at_one = 4.7e-3 * (1.0 + 2.0 * (oxidizer - 0.6) - 1.2 * (syrup - 0.2))
    p = np.array([0.1, 0.1, 1.0, 1.0, 3.0, 3.0, 6.0, 6.0])
    return Burned(
        name=str(seed),
        batch=str(seed),
        fractions=dict(zip(ITEMS, fractions, strict=True)),
        pressure=1e6 * p,
        rate=at_one * p**0.3 * np.exp(rng.normal(0.0, 0.02, len(p))),
    )


def motor() -> Hardware:
    """Return an invented motor of three segments, its case rated at 2.4 MPa."""
    strands = [burned(fractions, seed) for seed, fractions in enumerate(BURNED)]
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        exit_diameter=0.018,
        burning=BurnModel(strands),
        case=Case(rated_pressure=1e6 * RATING),
    )


def kitchen(**changes: object) -> cs.Kitchen:
    """Return eight minutes at 119 C."""
    usual = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=500)
    return usual.changed(**changes)


@pytest.fixture(scope="module")
def task() -> Task:
    """The best mix near 60/20/20 that pours, sets, and stays under pressure."""
    space = Space(
        bounds=dict(zip(ITEMS, ((0.5, 0.7), (0.05, 0.35), (0.1, 0.35)), strict=True)),
        batch=0.2,
        scale_step=1e-4,
    )
    return Task(
        space=space,
        settings=Settings(items=ITEMS, kitchen=kitchen(), motor=motor()),
        requirements=(
            cs.Requirement(column="pour_viscosity_Pa_s", at_most=POUR, probability=0.8),
            cs.Requirement(
                column="peak_pressure_MPa", at_most=RATING, probability=0.95
            ),
            cs.Requirement(column="relative_solids_20C", at_least=SET),
        ),
        tried={"base": dict(zip(ITEMS, BASE, strict=True))},
        sloppiness=Sloppiness(syrup_solids=0.005, moisture=0.001),
        effort=Effort(seed=1),
    )


@pytest.fixture(scope="module")
def outcome(task: Task) -> Outcome:
    """Its answer."""
    return run_search(task)


@pytest.mark.slow
def test_the_answer_keeps_what_the_baseline_breaks(
    task: Task, outcome: Outcome
) -> None:
    """Feasible, better than every feasible mix of a 1 % lattice, and confirmed."""
    assert outcome.found.status == "optimal"
    assert outcome.feasible
    assert not outcome.refused
    assert outcome.rows["best"]["confirmation"] == "confirmed"
    base = outcome.tried_values["base"]
    broken = [
        one.name
        for one in task.goal().limits
        if one.slack(np.array(base[one.column])) < 0
    ]
    assert broken, "the baseline would already do"
    steps = [
        (a / 100, b / 100, 1.0 - (a + b) / 100)
        for a in range(50, 71)
        for b in range(5, 36)
        if 0.1 <= 1.0 - (a + b) / 100 <= 0.35
    ]
    problem = task.problem()
    values = problem.evaluate(np.array(steps))
    columns = list(problem.columns)
    fine = np.ones(len(values), dtype=bool)
    for limit in task.goal().limits:
        fine &= limit.slack(values[:, columns.index(limit.column)]) >= 0.0
    assert fine.any()
    best = np.nanmax(values[fine, columns.index(task.objective)])
    assert outcome.found.objective >= best * (1.0 - 1e-6)
    assert any(state.binding for state in outcome.found.limits)


@pytest.mark.slow
def test_the_row_is_that_of_evaluate(outcome: Outcome, task: Task) -> None:
    """What the search saw is what `evaluate` says of the mix."""
    mix = Mix.weigh(dict(outcome.found.recipe), name="best")
    row = evaluate(
        [mix],
        flow="no-solidification",
        kitchen=task.settings.kitchen,
        motor=task.settings.motor,
    ).iloc[0]
    for name in ("density_impulse_kg_s_m3", "relative_solids_20C", "peak_pressure_MPa"):
        assert outcome.found.values[name] == pytest.approx(row[name], rel=1e-6)


@pytest.mark.slow
def test_each_shadow_price_is_that_of_a_search_with_the_limit_moved(
    outcome: Outcome, task: Task
) -> None:
    """Slopes by 0.1 % either way, within 5 %; what a looser one buys, within 10 %."""
    goal, problem = task.goal(), task.problem()
    binding = [s for s in outcome.found.limits if s.binding]
    for state in binding:
        assert state.price is not None
        ends = []
        loosened = 1.0 + state.limit.sign * state.price.step / state.limit.value
        for factor in (0.999, 1.001, loosened):
            moved = replace(state.limit, value=factor * state.limit.value)
            limits = tuple(moved if one == state.limit else one for one in goal.limits)
            again = optimise(
                problem,
                replace(goal, limits=limits),
                task.space,
                effort=replace(task.effort, prices=False),
            )
            ends.append(again.objective)
        slope = (ends[1] - ends[0]) / (0.002 * state.limit.value)
        assert state.price.multiplier == pytest.approx(slope, rel=0.05)
        bought = state.limit.sign * (ends[2] - outcome.found.objective)
        assert not state.price.rough
        assert state.price.gain == pytest.approx(bought, rel=0.1)


@pytest.mark.slow
def test_chances_by_other_draws(outcome: Outcome, task: Task) -> None:
    """20,000 draws of another seed at the answer: asked - 0.02 or more; within 0.02
    where the limit binds."""
    fractions = outcome.found.fractions[None]
    levels = np.linspace(0.5, 0.995, 100)
    seeds = replace(
        task.settings,
        kitchen=kitchen(draws=20_000, seed=77),
        motor=replace(task.settings.motor, draws=20_000, seed=78),
    )
    for state, limit in zip(outcome.found.limits, (POUR, RATING), strict=False):
        column = state.limit.column.split(",")[0]
        chances = tuple((column, float(level)) for level in levels)
        other = TableProblem(settings=seeds, wanted=(), chances=chances)
        reached = other.evaluate(fractions)[0]
        probability = float(np.interp(limit, reached, levels, left=0.0, right=1.0))
        asked = 0.8 if column.startswith("pour") else 0.95
        assert probability >= asked - 0.02, (column, probability)
        if state.binding:
            assert abs(probability - asked) <= 0.02, (column, probability)


@pytest.mark.slow
def test_a_sloppy_batch(outcome: Outcome) -> None:
    """The robust recipe is kept as often as asked, where the nominal is not."""
    robust = outcome.robust
    assert robust is not None
    assert robust.nominal.enough or robust.kept.enough
    assert robust.pays != robust.nominal.enough
    assert (outcome.chosen == "robust") == robust.pays
    assert robust.kept.short <= robust.nominal.short
    # No limit is looser than asked, damp batches burn slower though they do.
    assert not robust.refused
    assert all(margin >= 0.0 for margin in robust.margins.values())


@pytest.mark.slow
def test_above_the_case_is_refused(task: Task) -> None:
    """Without a limit on the pressure the best mix of a weak case is not to be made."""
    assert task.settings.motor is not None
    weak = replace(task.settings.motor, case=Case(rated_pressure=1.5e6))
    only_set = (cs.Requirement(column="relative_solids_20C", at_least=SET),)
    other = replace(
        task,
        settings=replace(task.settings, motor=weak),
        requirements=only_set,
        sloppiness=None,
        effort=Effort(points=60, prices=False),
    )
    outcome = run_search(other, confirm=False)
    assert "exceeds what the case may hold" in outcome.refused


@pytest.mark.slow
def test_rounding_costs_little(outcome: Outcome) -> None:
    """Steps of 0.1 g of 200 g keep the limits and cost less than whole percents."""
    assert outcome.weighable is not None
    assert outcome.percents is not None
    assert outcome.weighable.feasible
    total = outcome.weighable.masses.sum()
    assert total == pytest.approx(0.2, abs=1e-12)
    steps = outcome.weighable.masses / 1e-4
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    assert outcome.weighable.loss <= outcome.percents.loss + 1e-9


def test_derivatives_in_closed_form() -> None:
    """Against central differences of the same columns."""
    items = ("potassium nitrate", "sucrose", "light corn syrup", "water")
    wanted = (
        "flame_temperature_K",
        "characteristic_velocity_m_s",
        "specific_impulse_s",
        "density_impulse_kg_s_m3",
        "density_kg_m3",
    )
    settings = Settings(items=items, water_lost=0.3)
    problem = TableProblem(settings=settings, wanted=wanted)
    mixes = np.array([[0.62, 0.2, 0.15, 0.03], [0.66, 0.1, 0.2, 0.04]])
    slopes = problem.jacobian(mixes)
    assert slopes is not None
    for way in ([1, -1, 0, 0], [0, 1, -1, 0], [1, 0, 0, -1]):
        step = 1e-4 * np.array(way)
        wide = problem.evaluate(mixes + step) - problem.evaluate(mixes - step)
        found = np.einsum("nck,k->nc", slopes, np.array(way, dtype=float))
        assert found == pytest.approx(wide / 2e-4, rel=2e-5)
