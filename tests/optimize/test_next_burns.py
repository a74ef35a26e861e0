"""What to burn next: values by hand, what is never proposed, what a person is told."""

from __future__ import annotations

import json
import math
import re
import time
from dataclasses import replace
from itertools import pairwise

import jsonschema
import numpy as np
import pytest
from tests.shared.burn_workshops import (
    CORNERS,
    DENSITY,
    KNOWN,
    NAMES,
    RATIO,
    RATIO_U,
    VELOCITY,
    Workshop,
    motor,
)

from castsugar import Hardware, InputError, Requirement
from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.burn_widths import Widths
from castsugar.motor.case import Case
from castsugar.optimize import next_burns
from castsugar.optimize.next_burns import (
    FIRED,
    FURTHER,
    MOST,
    NEW_BATCH,
    Candidates,
    Option,
    Proposal,
    feasible_mixes,
    propose,
)
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Task
from castsugar.optimize.value_of_burning import Stakes, most_telling
from castsugar.report.cautions import Chosen
from castsugar.report.document import document, schema_of
from castsugar.report.next_burns import PARTS, Proposed, next_parts, next_screen
from castsugar.report.search_words import Asked as Typed
from castsugar.report.shown import Shown
from castsugar.report.terminal import to_text

pytestmark = pytest.mark.exact

# ---------------------------------------------------------------- worth, by hand


def stakes(covariance: list[list[float]], **more: object) -> Stakes:
    """Return two mixes, A and B, each with as many outcomes as the matrix holds."""
    m = len(covariance) - 2
    usual = {
        "mean": np.zeros(2),
        "covariance": np.array(covariance),
        "own": np.full(2, 0.04),
        "noise": np.full(m, 0.25),
        "cost": np.ones(m),
        "objective": np.array([10.0, 4.0]),
        "room": np.full(2, np.inf),
    }
    return Stakes(**(usual | more))  # type: ignore[arg-type]


#: A is told by the first outcome, B by the second; each has a variance of 1.
APART = [[1.0, 0.0, 0.75, 0.0], [0.0, 1.0, 0.0, 0.5],
         [0.75, 0.0, 1.0, 0.0], [0.0, 0.5, 0.0, 1.0]]  # fmt: skip


def test_the_update_is_that_of_two_normals() -> None:
    """var(A | Y) = var(A) - cov^2 / (var(Y) + noise), by hand; B stays."""
    known = stakes(APART)
    after = known.after(0)
    assert known.variance.tolist() == [1.04, 1.04]
    assert after.variance == pytest.approx([1.04 - 0.75**2 / 1.25, 1.04], rel=1e-15)
    # A second batch of the same: the information of both adds up.
    left = 1.0 / (1.0 / 0.25 + 1.0)  # var(Y | Y + noise) of a prior of 1
    again = after.variance[0] - (0.75 * left) ** 2 / (left + 0.25)
    assert after.after(0).variance[0] == pytest.approx(again, rel=1e-12)
    assert known.shares() == pytest.approx([0.45 / 2.08, 0.2 / 2.08], rel=1e-15)


def test_the_gain_is_that_of_the_nodes_at_which_a_mix_comes_in() -> None:
    """B keeps the limit, A is better and does not: its gain where good news lets it in.

    k = 0.75 / sqrt 1.25; A is let in where z k + 1.6449 sqrt(1.04 - 0.45) <= room.
    """
    known = stakes(APART, mean=np.array([0.0, -9.0]), room=np.full(2, 0.9))
    assert known.best == 1
    z, share = np.polynomial.hermite_e.hermegauss(9)
    into = z * 0.75 / math.sqrt(1.25) + 1.6449 * math.sqrt(1.04 - 0.45) <= 0.9
    assert 0 < into.sum() < 9
    gain = (10.0 - 4.0) * share[into].sum() / share.sum()
    assert known.gains() == pytest.approx([gain, 0.0], rel=1e-12)
    # Where none keeps it, a mix that comes in counts from 5 points below the worst.
    none = replace(known, mean=np.array([0.0, 9.0]))
    assert none.best == 0
    assert none.gains()[0] == pytest.approx(gain * (10.0 - -1.0) / 6.0, rel=1e-12)


def test_no_gain_where_nothing_can_change() -> None:
    """All far below the limit, or all far above; an outcome that tells of no mix."""
    for room in (50.0, -50.0):
        assert stakes(APART, room=np.full(2, room)).gains().tolist() == [0.0, 0.0]
    aside = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    alone = stakes(aside, room=np.full(2, 0.9))
    assert alone.gains().tolist() == [0.0]
    assert alone.shares().tolist() == [0.0]
    assert most_telling(alone, 3) == []


def test_what_is_certain_is_never_burned() -> None:
    """A is known: its outcome is noise, and B is burned again and again."""
    certain = [[0.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.9],
               [0.0, 0.0, 0.0, 0.0], [0.0, 0.9, 0.0, 1.0]]  # fmt: skip
    for room in (np.inf, 0.9):
        told = most_telling(stakes(certain, room=np.full(2, room)), 3)
        assert set(told) <= {1}
    assert most_telling(stakes(certain), 3) == [1, 1, 1]


def test_more_to_choose_from_is_never_worse() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        root = rng.normal(size=(9, 9))
        whole = stakes(
            (root @ root.T).tolist(),
            noise=rng.uniform(0.1, 1.0, 7),
            cost=rng.uniform(0.3, 3.0, 7),
            room=rng.uniform(0.0, 5.0, 2),
        )
        few = replace(
            whole,
            covariance=whole.covariance[:5, :5],
            noise=whole.noise[:3],
            cost=whole.cost[:3],
        )
        assert whole.worth()[:3] == pytest.approx(few.worth(), rel=1e-12)
        best = whole.worth()[most_telling(whole, 1)]
        assert best >= few.worth()[most_telling(few, 1)] * (1.0 - 1e-9)


# ---------------------------------------------------------------- proposals

SPACE = Space(
    bounds=dict(zip(NAMES, ((0.5, 0.7), (0.1, 0.35), (0.1, 0.3)), strict=True))
)

#: Invented: mixes, and ln r of their strands at 2.5 MPa.
BURNED = (
    ((0.60, 0.20, 0.20), -4.80),
    ((0.65, 0.18, 0.17), -4.60),
    ((0.56, 0.22, 0.22), -5.00),
)


def strands(number: int, batch: str = "", **more: object) -> Burned:
    """Return three invented strands of one of the mixes."""
    fractions, log_rate = BURNED[number]
    return Burned(
        name=f"burned {number + 1}",
        fractions=dict(zip(NAMES, fractions, strict=True)),
        pressure=np.array([1e6, 2.5e6, 5e6]),
        rate=np.exp(log_rate + 0.4 * np.log([0.4, 1.0, 2.0])),
        batch=batch or f"s.csv, burned {number + 1}",
        source="s.csv",
        **more,  # type: ignore[arg-type]
    )


def task_of(hardware: Hardware | None = None, space: Space = SPACE, **more) -> Task:
    settings = Settings(items=space.columns, motor=hardware, water_lost=0.1)
    return Task(space=space, settings=settings, **more)


@pytest.fixture(scope="module")
def three() -> Proposal:
    """Three mixes burned, a case that some keep."""
    return propose(task_of(motor(*map(strands, range(3)))), 4)


def percents(burn: next_burns.NextBurn) -> np.ndarray:
    return np.array([100.0 * burn.option.recipe.get(n, 0.0) for n in NAMES])


@pytest.mark.slow
def test_burns_narrow_what_is_known_of_the_best_mix(three: Proposal) -> None:
    """Whole percents; doubt and 95 % pressure fall; a better mix may come in."""
    known = [three.before, *(burn.after for burn in three.burns)]
    assert len(three.burns) == 4
    assert all(b.rate_u < a.rate_u * 1.001 for a, b in pairwise(known))
    assert three.after.p95 < three.before.p95
    assert all(burn.share > 0.0 for burn in three.burns)
    assert three.burns[0].gain > 0.0
    (finding,) = next_screen(screen_of(three), Shown()).findings
    assert finding.text.endswith("They may also bring a better mix within the limit.")
    assert three.best_keeps
    assert three.before.p95 <= three.plan.limit == 7e6
    for burn in three.burns:
        np.testing.assert_allclose(percents(burn), percents(burn).round(), atol=1e-9)
        assert burn.option.recipe == {
            n: x / 100.0 for n, x in zip(NAMES, percents(burn).round(), strict=True)
        }
    # Two pressures a factor of 2 apart around the middle, none above the case.
    plan = three.plan
    assert plan.low < plan.expected < plan.high <= 7e6
    assert plan.high / plan.low == pytest.approx(2.0)


def test_the_variance_is_that_of_the_model() -> None:
    """With one point of the widths: the next batch in the motor, and a refit.

    The refit has as many strands at the middle pressure, where the outcome is told.
    """
    held = {"batch": 0.05, "surface": 0.06, "length": 0.06, "session": 0.01}
    held |= {"bend": 0.02, "slope": 2.2, "strand": 0.025}
    widths = Widths(**{name: np.array([x]) for name, x in held.items()})
    hardware = motor(*map(strands, range(3)))
    model = BurnModel(hardware.burning.evidence, widths=widths)
    task = task_of(replace(hardware, burning=model))
    found = feasible_mixes(task)
    plan = next_burns.plan_of(task, found)
    options = [Option(NEW_BATCH, one, plan.expected) for one in found.recipes[:2]]
    known = next_burns.stakes_of(task, found, plan, options)
    there = model.rates(found.fractions, NAMES, plan.limit, Asked())
    np.testing.assert_allclose(known.mean, there.mean, rtol=1e-9)
    np.testing.assert_allclose(known.variance, there.variances[0], rtol=1e-9)
    more = Burned(
        name="new",
        batch="new",
        fractions=found.recipes[1],
        pressure=np.full(4, plan.expected),
        rate=np.full(4, 8e-3),
    )
    again = BurnModel([*model.evidence, more], widths=widths)
    after = again.rates(found.fractions, NAMES, plan.limit, Asked()).variances[0]
    whole = replace(known, noise=known.noise + 0.5 * 0.01**2)  # one session, not two
    np.testing.assert_allclose(whole.after(1).variance, after, rtol=1e-8)


def test_an_objective_is_told_in_points_of_mass() -> None:
    """From 60/40 to 50/50 are 10 points, wherever it begins; unknown is the worst."""
    mixes = np.array([(0.5, 0.4, 0.1), (0.6, 0.3, 0.1), (0.55, 0.35, 0.1)])
    task, found = task_of(), feasible_mixes(task_of())
    for best, sign in ((True, 1.0), (False, -1.0)):
        values = {task.objective: sign * np.array([7.0, 9.0, 8.5])}
        some = replace(found, fractions=mixes, values=values)
        asked = replace(task, maximise=best)
        assert next_burns.in_points(asked, some) == pytest.approx([0.0, 10.0, 7.5])
    values = {task.objective: np.array([7.0, 9.0, np.nan])}
    some = replace(found, fractions=mixes, values=values)
    assert next_burns.in_points(task, some) == pytest.approx([0.0, 10.0, 0.0])


@pytest.mark.slow
def test_nothing_is_fired_that_may_break_the_limit() -> None:
    """Firings are offered of mixes that keep it, of none where none does."""
    for rating in (7e6, 1.5e6):
        task = task_of(motor(*map(strands, range(3)), rating=rating))
        found = feasible_mixes(task)
        plan = next_burns.plan_of(task, found)
        model = task.settings.motor.burning
        fired = [
            option.recipe
            for option in next_burns.options_of(found, plan, model)
            if option.kind == FIRED
        ]
        p95 = found.values["peak_pressure_p95_MPa"]
        kept = [
            one for one, p in zip(found.recipes, p95, strict=True) if p <= 1e-6 * rating
        ]
        assert fired == kept
        assert bool(fired) == (rating > 2e6)
    tight = propose(task, 2)
    assert not tight.best_keeps
    assert all(burn.option.kind == NEW_BATCH for burn in tight.burns)
    assert tight.after.p95 < tight.before.p95


@pytest.mark.slow
def test_what_keeps_the_limit_is_what_the_table_says() -> None:
    """A rating just above and just below the 95 % pressure of the only mix."""
    space = Space(bounds={n: (x, x) for n, x in zip(NAMES, BURNED[0][0], strict=True)})
    burned = [strands(number) for number in range(3)]
    for rating in (7e6, 3e6):
        found = propose(task_of(motor(*burned, rating=rating), space), 1)
        for factor in (0.9999, 1.0001):
            near = motor(*burned, rating=factor * found.before.p95)
            again = propose(task_of(near, space), 1)
            assert again.best_keeps == (factor > 1.0)
            assert again.before.p95 == pytest.approx(found.before.p95, rel=1e-9)


def test_further_strands_only_of_batches_that_have_a_name() -> None:
    """One is kept by name; it is cheap, and the name is told."""
    named = strands(0, "pot 7")
    task = task_of(motor(named, strands(1), strands(2), rating=None))
    found = feasible_mixes(task)
    plan = next_burns.plan_of(task, found)
    model = task.settings.motor.burning
    options = next_burns.options_of(found, plan, model)
    assert [o.batch for o in options if o.kind == FURTHER] == ["pot 7"]
    assert not any(o.kind == FIRED for o in options)  # no case, no limit: no firing
    assert not any(
        o.kind == FURTHER for o in next_burns.options_of(found, plan, BurnModel())
    )


@pytest.mark.parametrize("hardware", [None, motor(rating=None), motor(strands(0))])
def test_little_known_is_still_a_proposal(hardware: Hardware | None) -> None:
    """No motor, nothing burned, one mix: strands, the mean doubt falls."""
    found = propose(task_of(hardware), 2)
    assert found.burns[0].option.kind == NEW_BATCH
    assert found.after.rate_u < found.before.rate_u
    if hardware is None or hardware.case is None:
        assert found.best == {}
        assert math.isnan(found.after.p95)
    assert found.plan.from_motor == (hardware is not None)


@pytest.mark.slow
def test_limits_narrow_the_mixes_except_those_on_pressure() -> None:
    """A density is asked for; the pressure asked for is what the burns are about."""
    heavy = Requirement(column="density_kg_m3", at_least=1830.0)
    pressure = Requirement(column="peak_pressure_MPa", at_most=6.0, probability=0.9)
    task = task_of(motor(*map(strands, range(3))), requirements=(heavy, pressure))
    found = propose(task, 2)
    mixes = found.candidates
    assert mixes.kept
    assert 0 < len(mixes.recipes) < mixes.looked_at
    assert (mixes.values["density_kg_m3"] >= 1830.0).all()
    assert (found.plan.limit, found.plan.chance) == (6e6, 0.9)
    # A margin of 40 % of the case of 7 MPa: below 4.2 MPa.
    margin = Requirement(column="pressure_margin_percent", at_least=40.0)
    task = replace(task, requirements=(pressure, margin))
    assert next_burns.plan_of(task, mixes).limit == pytest.approx(4.2e6)
    impossible = Requirement(column="density_kg_m3", at_least=3900.0)
    none = propose(task_of(requirements=(impossible,)), 1)
    assert not none.candidates.kept
    assert len(none.candidates.recipes) > 100
    (first, *_) = next_screen(screen_of(none), Shown()).findings
    assert first.status == "REFUSED"


def test_recipes_that_whole_percents_cannot_write() -> None:
    """A fixed half percent asks for half percents; an odd share is not rounded."""
    bounds = {NAMES[0]: (0.5, 0.7), NAMES[1]: (0.1, 0.45)}
    for fixed, step in ((0.01, 1.0), (0.005, 0.5), (0.0123456, 0.0)):
        space = Space(bounds=bounds, fixed={"red iron oxide": fixed})
        found = propose(task_of(space=space), 2)
        for burn in found.burns:
            assert burn.option.recipe["red iron oxide"] == pytest.approx(fixed)
            nitrate = percents(burn)[0]
            assert not step or nitrate / step == pytest.approx(round(nitrate / step))


def test_a_space_of_one_mix_is_burned_again() -> None:
    space = Space(bounds={NAMES[0]: (0.6, 0.6), NAMES[1]: (0.4, 0.4)})
    found = propose(task_of(space=space), 3)
    assert [burn.again for burn in found.burns] == ["", "burn 1", "burn 1"]


@pytest.mark.slow
def test_same_question_same_answer(three: Proposal) -> None:
    again = propose(task_of(motor(*map(strands, (2, 0, 1)))), 4)
    first, second = (next_parts(screen_of(one)) for one in (three, again))
    assert [b["recipe"] for b in first["burns"]] == [
        b["recipe"] for b in second["burns"]
    ]
    then = [one["burns"][-1]["known_after"] for one in (first, second)]
    assert then[0] == pytest.approx(then[1], rel=1e-6)
    same = propose(task_of(motor(*map(strands, range(3)))), 4)
    assert json.dumps(first) == json.dumps(next_parts(screen_of(same)))


@pytest.mark.parametrize("k", [0, MOST + 1, 1.5])
def test_what_cannot_be_asked_for(k: int) -> None:
    with pytest.raises(InputError, match="next burns are asked for; allowed: 1 to 24"):
        propose(task_of(), k)


# ---------------------------------------------------------------- the screen


def screen_of(found: Proposal, **more: object) -> Proposed:
    known = {"batch": 0.1, "scale_step": 1e-4, "bench_said": "(invented.toml)"}
    return Proposed(
        proposal=found,
        asked=Typed(file="invented.toml"),
        seed=0,
        cautions=Chosen(lines=(), keys=(), rest=9),
        **(known | more),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("units", ["si", "us"])
def test_the_screen_is_ready_to_weigh(units: str, three: Proposal) -> None:
    """Grams of a batch of 100 g are the percents; all of it fits a screen."""
    text = to_text(next_screen(screen_of(three), Shown(units)))
    lines = text.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    for place, burn in enumerate(three.burns, 1):
        (line,) = [x for x in lines if re.match(rf"{place} (batch|firing)", x)]
        ounces = 1.0 if units == "si" else 28.349523125
        for percent in percents(burn):
            number = f"{percent:.1f}" if units == "si" else f"{percent / ounces:#.4g}"
            assert f"{number} {'g' if units == 'si' else 'oz'}" in line
    flat = " ".join(text.split())
    assert "burn 2 strands at" in flat
    assert "You cooked no mix twice: two more batches of burned 1 with 2" in flat
    assert lines[-1].startswith('Next: castsugar weigh "')


@pytest.mark.slow
def test_what_it_buys_and_what_not() -> None:
    """Both pressures of the best mix; after a repeat the scatter is a learnt one."""
    limited = motor(strands(0), strands(1), strands(1, "again"))
    found = propose(task_of(limited), 1)
    screen = next_screen(screen_of(found), Shown())
    (finding,) = screen.findings
    now, then = (1e-6 * known.p95 for known in (found.before, found.after))
    assert f"from {now:.3g} MPa to about {then:.3g} MPa" in finding.text
    assert finding.values["before_p95_MPa"] == now
    assert "learnt from 2 batches" in screen.least_sure
    free = propose(task_of(replace(limited, case=None)), 1)
    (finding,) = next_screen(screen_of(free), Shown()).findings
    assert "mean over" in finding.text
    assert "p95" not in to_text(next_screen(screen_of(free), Shown()))
    low = propose(task_of(replace(limited, case=Case(rated_pressure=1.2e6))), 1)
    (finding,) = next_screen(screen_of(low), Shown()).findings
    assert finding.status == "CANNOT TELL"


def test_further_strands_are_not_weighed(three: Proposal) -> None:
    """Of a batch that is kept nothing is cooked; its name does not widen the screen."""
    batch = "the pot of the second Sunday in May, brown at the rim"
    option = replace(three.burns[0].option, kind=FURTHER, batch=batch)
    only = replace(three, burns=(replace(three.burns[0], option=option),))
    screen = next_screen(screen_of(only), Shown())
    text = to_text(screen)
    assert max(map(len, text.splitlines())) <= 80
    assert "1 strands of batch the pot" in " ".join(text.split())
    assert screen.next == "castsugar check"
    (row,) = next_parts(screen_of(only))["burns"]
    assert (row["masses"], row["batch"], row["cost_min"]) == ({}, batch, 40.0)
    none = next_screen(screen_of(replace(three, burns=())), Shown())
    assert "Nothing that could be burned would tell more" in none.findings[0].text


def test_the_document_keeps_its_schema(three: Proposal) -> None:
    found = screen_of(three)
    parts = next_parts(found)
    text = document(
        "next",
        next_screen(found, Shown()),
        parts,
        version="2026.1",
        conditions={},
        assumptions=[],
        cautions=[],
    )
    jsonschema.validate(json.loads(text), schema_of("next", PARTS))
    assert len(parts["burns"]) == 4
    assert parts["burns"][-1]["known_after"]["ln_rate_u"] == three.after.rate_u
    assert parts["limit_MPa"] == 7.0
    assert parts["batch_scatter"]["repeated_batches"] == 0


# ---------------------------------------------------------------- simulated workshops


@pytest.mark.simulation
def test_worth_beats_corners_where_rates_bend() -> None:
    """Three more batches each in 24 workshops: better mixes, less often too much."""
    ends = {"worth": [], "corners": []}
    for seed in range(24):
        for rule, found in ends.items():
            shop = Workshop(seed)
            for mix in KNOWN:
                shop.burn(mix)
            for corner in CORNERS:
                shop.burn(corner if rule == "corners" else shop.most_telling())
            found.append(shop.outcome())
    (worth, risk), (corners, corners_risk) = (
        np.mean(found, axis=0) for found in ends.values()
    )
    assert worth > corners + 1.0
    assert risk < corners_risk


@pytest.mark.slow
def test_hundred_options_of_three_hundred_mixes_are_ranked_in_a_second() -> None:
    """Covariances and worth, with ten batches burned; half a second on one core."""
    rng = np.random.default_rng(5)
    mixes = rng.dirichlet([12.0, 4.0, 4.0], 300)
    burned = [
        replace(strands(0), batch=str(i), fractions=dict(zip(NAMES, w, strict=True)))
        for i, w in enumerate(mixes[:10].tolist())
    ]
    task = task_of(motor(*burned))
    recipes = tuple(dict(zip(NAMES, w, strict=True)) for w in mixes.tolist())
    even = np.ones(300)
    values = {
        "density_impulse_kg_s_m3": mixes[:, 0],
        "density_kg_m3": DENSITY * even,
        "density_ratio": RATIO * even,
        "density_ratio_u": RATIO_U * even,
        "characteristic_velocity_m_s": VELOCITY * even,
    }
    found = Candidates(
        recipes=recipes, fractions=mixes, kept=True, looked_at=300, values=values
    )
    plan = next_burns.plan_of(task, found)
    options = [Option(NEW_BATCH, one, plan.expected) for one in recipes[:100]]
    began = time.process_time()
    known = next_burns.stakes_of(task, found, plan, options)
    assert len(most_telling(known, 3)) == 3
    assert time.process_time() - began < 1.0
