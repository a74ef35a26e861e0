"""The answers of a search: optimal, infeasible, incomplete, refused."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from castsugar import ConvergenceError, InputError, UnknownNameError
from castsugar.limits import Limit
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import (
    FunctionProblem,
    Goal,
    Judge,
    Ledger,
    side_by_side,
)
from castsugar.optimize.rounding import neighbours, rounded
from castsugar.optimize.shadow_prices import Found, multipliers
from castsugar.optimize.space import Space
from castsugar.optimize.trade_off import trade_off

pytestmark = pytest.mark.exact

COLUMNS = ("product", "b")
THREE = Space(bounds=dict.fromkeys("abc", (0.0, 1.0)))


def product(x: np.ndarray) -> np.ndarray:
    """Return a b, and b."""
    return np.stack([x[:, 0] * x[:, 1], x[:, 1]], axis=1)


class Counting:
    """The product, with a stop after some batches."""

    columns = COLUMNS

    def __init__(self, batches: float = np.inf) -> None:
        self.batches = batches
        self.rows: list[int] = []

    def evaluate(self, fractions: np.ndarray) -> np.ndarray:
        if len(self.rows) >= self.batches:
            raise KeyboardInterrupt
        self.rows.append(len(fractions))
        return product(fractions)

    def jacobian(self, fractions: np.ndarray) -> None:
        return None


def limit(sense: str, value: float, **more) -> Limit:
    return Limit(column="b", sense=sense, value=value, **more)


def goal(*limits: Limit) -> Goal:
    return Goal(objective="product", limits=limits)


@pytest.mark.parametrize("logarithmic", [False, True])
def test_a_binding_limit_and_its_price(logarithmic: bool) -> None:
    """b at most 0.3: best (1 - b) b = 0.21, price 1 - 2 b = 0.4 of a b for each b."""
    wanted = goal(limit("<=", 0.3, logarithmic=logarithmic))
    found = optimise(Counting(), wanted, THREE)
    assert found.status == "optimal"
    np.testing.assert_allclose(found.fractions, [0.7, 0.3, 0.0], atol=1e-8)
    assert found.recipe.keys() == {"a", "b"}
    (state,) = found.limits
    assert state.binding
    assert -1e-12 <= state.slack < 1e-8
    assert state.price is not None
    np.testing.assert_allclose(state.price.multiplier, 0.4, rtol=1e-5)
    # b at most 0.33 buys 0.67 0.33 - 0.21 = 0.0111.
    np.testing.assert_allclose(state.price.gain, 0.0111, rtol=1e-3)
    assert state.price.holds
    # c at 0: a unit of it in place of a would cost b = 0.3.
    (row,) = found.rows
    assert row.name == "c at least 0 %"
    assert row.price is not None
    np.testing.assert_allclose(row.price.multiplier, 0.3, rtol=1e-5)


def test_prices_of_minimising_and_of_a_floor() -> None:
    """Least -a b with b at least 0.6: -0.24; raising the floor costs 2 b - 1 = 0.2."""
    problem = FunctionProblem(columns=COLUMNS, function=lambda x: product(x) * [-1, 1])
    wanted = Goal(objective="product", maximise=False, limits=(limit(">=", 0.6),))
    found = optimise(problem, wanted, THREE)
    np.testing.assert_allclose(found.objective, -0.24, atol=1e-8)
    (state,) = found.limits
    assert state.price is not None
    np.testing.assert_allclose(state.price.multiplier, 0.2, rtol=1e-5)
    # A floor of 0.54 buys 0.54 0.46 - 0.24 = 0.0084.
    np.testing.assert_allclose(state.price.gain, 0.0084, rtol=1e-3)


def test_a_fixed_ratio_is_kept_to_a_step_of_the_scale() -> None:
    """a = c / 2 leaves a (1 - 3 a): most at a = 1/6, 1/12; steps of 1 g of 200 g."""
    space = Space(
        bounds=THREE.bounds, ratios=["a:c = 0.5"], batch=0.2002, scale_step=1e-3
    )
    found = optimise(Counting(), goal(), space)
    np.testing.assert_allclose(found.fractions, [1 / 6, 1 / 2, 1 / 3], atol=1e-5)
    np.testing.assert_allclose(found.objective, 1 / 12, rtol=1e-9)
    assert "a:c = 0.5" not in {row.name for row in found.rows}
    made = rounded(Counting(), space, found).weighable
    steps = made.masses / 1e-3
    np.testing.assert_allclose(steps, steps.round(), atol=1e-9)
    assert abs(steps[0] - 0.5 * steps[2]) <= 0.75 + 1e-9
    # Whole percents keep the ratio to the scale, not to a percent: 17 to 34, not 33.
    whole = rounded(Counting(), space, found).percents
    assert whole.fractions.round(9).tolist() in ([0.17, 0.49, 0.34], [0.16, 0.52, 0.32])


def test_prices_of_rows_of_the_space() -> None:
    """10 g of b in 100 g: 0.09; 1 % more of b buys (1 - 2 b) 0.01 = 0.008."""
    space = Space(bounds=THREE.bounds, purchases={"b": 0.01}, batch=0.1)
    found = optimise(Counting(), goal(), space)
    np.testing.assert_allclose(found.objective, 0.09, atol=1e-9)
    prices = {row.name: row.price for row in found.rows}
    price = prices["10 g of b for 100 g"]
    assert price is not None
    np.testing.assert_allclose(price.multiplier, 0.8, rtol=1e-5)
    # 11 % of b buys 0.89 0.11 - 0.09 = 0.0079.
    np.testing.assert_allclose(price.gain, 0.0079, rtol=1e-3)


def test_a_limit_holds_a_mix_that_ended_a_hair_before_it() -> None:
    """At b = 0.299995 of 0.3: (1 - 2 b) 0.3 of a b for each share of the limit."""
    wanted = goal(limit("<=", 0.3))
    (region,) = regions = THREE.regions()
    ledger = Ledger(problem=Counting(), regions=regions, budget=1000)
    judge = Judge.of(wanted, COLUMNS, product(region.corners))
    mix = np.array([0.700005, 0.299995, 0.0])
    (found,) = side_by_side(ledger, [multipliers(region, 0, judge, mix)])
    np.testing.assert_allclose(found.limits * judge.size, [0.12], rtol=1e-3)


def test_a_price_ends_where_another_limit_takes_over() -> None:
    """b at most 0.3 and a at least 0.69: 10 % more of b would be 0.33 of it.

    But a leaves 0.31: 0.69 0.31 - 0.21 = 0.0039 instead of the 0.4 0.03 of the slope.
    """
    space = Space(bounds=THREE.bounds | {"a": (0.69, 1.0)})
    (state,) = optimise(Counting(), goal(limit("<=", 0.3)), space).limits
    assert state.price is not None
    np.testing.assert_allclose(state.price.multiplier, 0.4, rtol=1e-5)
    np.testing.assert_allclose(state.price.gain, 0.0039, rtol=1e-3)
    assert not state.price.holds
    assert state.price.then == ("a at least 69 %",)


def test_batches_are_few_and_every_trial_is_kept() -> None:
    problem = Counting()
    found = optimise(problem, goal(limit("<=", 0.3)), THREE)
    assert sum(problem.rows) == len(found.trials) == len(found.trials.stage)
    assert found.batches == len(problem.rows) <= 15
    assert len(found.trials) <= 1000
    assert set(found.trials.stage) == {"lattice", "polish", "poll", "prices"}
    np.testing.assert_array_equal(product(found.trials.fractions), found.trials.values)


def test_the_same_seed_gives_the_same_bits() -> None:
    one, two, other = (
        optimise(Counting(), goal(limit("<=", 0.3)), THREE, effort=Effort(seed=seed))
        for seed in (5, 5, 6)
    )
    np.testing.assert_array_equal(one.trials.fractions, two.trials.fractions)
    np.testing.assert_array_equal(one.fractions, two.fractions)
    assert one.trials.fractions[:50].tolist() != other.trials.fractions[:50].tolist()
    np.testing.assert_allclose(one.fractions, other.fractions, atol=1e-8)


def test_runners_up_differ_by_what_was_asked() -> None:
    effort = Effort(apart=0.1, runners_up=3)
    found = optimise(Counting(), goal(limit("<=", 0.3)), THREE, effort=effort)
    assert len(found.runners_up) == 3
    mixes = [found.fractions, *(runner.fractions for runner in found.runners_up)]
    for place, mix in enumerate(mixes):
        for earlier in mixes[:place]:
            assert 0.5 * np.abs(mix - earlier).sum() > 0.1
    values = [found.objective, *(runner.objective for runner in found.runners_up)]
    assert values == sorted(values, reverse=True)
    assert all(runner.slacks["b <= 0.3"] >= -1e-9 for runner in found.runners_up)


def test_choices_compete_and_the_other_one_is_runner_up() -> None:
    """Salt times sugar, the second sugar worth 10 % more: best half and half of it."""
    problem = FunctionProblem(
        columns=("y",),
        function=lambda x: (x[:, 0] * (x[:, 1] + 1.1 * x[:, 2]))[:, None],
    )
    space = Space(
        bounds={"salt": (0.0, 1.0), "sugar": (0.0, 1.0)},
        choices={"sugar": ("plain", "fine")},
    )
    found = optimise(problem, Goal(objective="y"), space)
    assert dict(found.choice) == {"sugar": "fine"}
    assert found.ingredients == ("salt", "plain", "fine")
    np.testing.assert_allclose(found.objective, 0.275, rtol=1e-9)
    others = [r for r in found.runners_up if dict(r.choice) == {"sugar": "plain"}]
    np.testing.assert_allclose(others[0].objective, 0.25, rtol=1e-9)
    assert others[0].polished


def test_rows_that_fail_are_left_out() -> None:
    """Failure where a > 0.4: the best of a b is at that border, a = 0.4 and b = 0.6.

    The search cannot see the border but by failing: it comes within 1e-4.
    """

    def failing(x: np.ndarray) -> np.ndarray:
        values = product(x)
        values[x[:, 0] > 0.4] = np.nan
        return values

    problem = FunctionProblem(columns=COLUMNS, function=failing)
    found = optimise(problem, goal(), THREE)
    assert found.status == "optimal"
    np.testing.assert_allclose(found.objective, 0.24, rtol=1e-4)
    # Nothing that binds explains this optimum, and the answer shows it.
    assert found.stationarity > 0.1
    assert found.edge == ("product",)
    assert not found.kink


def test_what_no_mix_can_be_judged_with_is_left_out() -> None:
    """With any c there is no value: a search of a and b alone, b at most 0.3."""

    def failing(x: np.ndarray) -> np.ndarray:
        values = product(x)
        values[x[:, 2] > 0.0] = np.nan
        return values

    problem = FunctionProblem(columns=COLUMNS, function=failing)
    found = optimise(problem, goal(limit("<=", 0.3)), THREE)
    np.testing.assert_allclose(found.fractions, [0.7, 0.3, 0.0], atol=1e-8)
    (state,) = found.limits
    assert state.binding
    assert state.price is not None
    np.testing.assert_allclose(state.price.multiplier, 0.4, rtol=1e-5)
    assert found.rows == ()


def test_an_infinite_column_is_a_limit_not_kept() -> None:
    """b is infinite above 0.25: the limit of 0.3 on it is not kept there."""

    def jumping(x: np.ndarray) -> np.ndarray:
        values = product(x)
        values[x[:, 1] > 0.25, 1] = np.inf
        return values

    problem = FunctionProblem(columns=COLUMNS, function=jumping)
    found = optimise(problem, goal(limit("<=", 0.3)), THREE)
    assert found.status == "optimal"
    np.testing.assert_allclose(found.objective, 0.25 * 0.75, rtol=1e-3)


def test_an_optimum_on_a_kink() -> None:
    """Least of max(a - 0.3 c, 0.5 b - a + 0.2): with b = 0 and c = 1 - a they meet.

    a - 0.3 (1 - a) = 0.2 - a at a = 5/23; and b > 0 only raises both there.
    """

    def ridge(x: np.ndarray) -> np.ndarray:
        a, b, c = x.T
        return np.maximum(a - 0.3 * c, 0.5 * b - a + 0.2)[:, None]

    problem = FunctionProblem(columns=("larger",), function=ridge)
    found = optimise(problem, Goal(objective="larger", maximise=False), THREE)
    np.testing.assert_allclose(found.fractions, [5 / 23, 0, 18 / 23], atol=1e-6)
    assert found.stationarity < 1e-6
    assert found.kink
    assert found.edge == ()


def test_infeasible_is_an_answer() -> None:
    """a b at least 0.2 with b at most 0.2, where a b is at most 0.16.

    Alone: the product must come down to 0.16, or b may go up to where (1 - b) b = 0.2,
    b = (1 - sqrt(0.2)) / 2 = 0.27639. Violations as shares are equal at the least:
    (0.2 - (1 - b) b) / 0.2 = (b - 0.2) / 0.2, so 0.4 = b (2 - b), b = 1 - sqrt(0.6).
    """
    wanted = goal(Limit(column="product", sense=">=", value=0.2), limit("<=", 0.2))
    found = optimise(Counting(), wanted, THREE)
    assert found.status == "infeasible"
    least = 1.0 - np.sqrt(0.6)
    np.testing.assert_allclose(found.fractions, [1 - least, least, 0.0], atol=1e-6)
    np.testing.assert_allclose(found.violation, 5.0 * least - 1.0, rtol=1e-6)
    moved = {one.limit.name: one.value for one in found.relaxations}
    assert list(moved) == ["product >= 0.2", "b <= 0.2"]
    np.testing.assert_allclose(moved["product >= 0.2"], 0.16, rtol=1e-6)
    np.testing.assert_allclose(moved["b <= 0.2"], (1 - np.sqrt(0.2)) / 2, rtol=1e-6)


def test_infeasible_where_no_single_limit_suffices() -> None:
    """b at least 2 and a b at least 2: neither can be met, whatever the other."""
    wanted = goal(Limit(column="product", sense=">=", value=2.0), limit(">=", 2.0))
    found = optimise(Counting(), wanted, THREE)
    assert found.status == "infeasible"
    assert found.relaxations == ()


@pytest.mark.parametrize("batches", [1, 2, 4, 6, 7])
def test_control_c_returns_the_best_so_far(batches: int) -> None:
    found = optimise(Counting(batches), goal(limit("<=", 0.3)), THREE)
    assert (found.status, found.reason) == ("incomplete", "interrupted")
    assert found.batches == batches + 1
    kept = found.trials.values[found.trials.values[:, 1] <= 0.3]
    assert found.objective >= kept[:, 0].max() - 1e-12


def test_control_c_before_anything_is_known() -> None:
    with pytest.raises(KeyboardInterrupt):
        optimise(Counting(0), goal(), THREE)


@pytest.mark.parametrize("budget", [1, 100, 450, 500])
def test_the_budget_is_kept_to_the_row(budget: int) -> None:
    problem = Counting()
    found = optimise(
        problem, goal(limit("<=", 0.3)), THREE, effort=Effort(budget=budget)
    )
    assert found.status == "incomplete"
    assert f"budget of {budget} " in found.reason
    assert sum(problem.rows) == len(found.trials) == budget


def test_a_single_mix() -> None:
    """No freedom at all: the mix is the answer."""
    space = Space(bounds={"a": (0.2, 0.2), "b": (0.8, 0.8)})
    found = optimise(Counting(), goal(), space)
    assert found.status == "optimal"
    np.testing.assert_allclose(found.objective, 0.16)


def test_nothing_can_be_computed() -> None:
    problem = FunctionProblem(columns=COLUMNS, function=lambda x: product(x) * np.nan)
    with pytest.raises(ConvergenceError, match=r"none of the .* mixes tried could be"):
        optimise(problem, goal(), THREE)


def refused(wanted: Goal, space: Space = THREE) -> Found:
    return optimise(Counting(), wanted, space)


def test_misspelt_columns_and_contradictory_limits() -> None:
    with pytest.raises(UnknownNameError, match="did you mean 'product'"):
        refused(Goal(objective="prodct"))
    with pytest.raises(InputError, match=r"limits on 'b' contradict: at least 0\.6"):
        refused(goal(limit(">=", 0.6), limit("<=", 0.4)))
    with pytest.raises(InputError, match="given twice"):
        refused(goal(limit("<=", 0.4), limit("<=", 0.4)))
    with pytest.raises(InputError, match=re.escape("allowed: <=, >=")):
        limit("<", 0.4)
    with pytest.raises(InputError, match="above 0"):
        limit("<=", 0.0, logarithmic=True)
    with pytest.raises(InputError, match="give a number"):
        limit("<=", np.nan)
    empty = Space(bounds={"a": (0.7, 1.0), "b": (0.7, 1.0)})
    with pytest.raises(InputError, match="a at least 70 %; b at least 70 %"):
        refused(goal(), empty)


def test_a_problem_of_another_shape_is_refused() -> None:
    problem = FunctionProblem(columns=COLUMNS, function=lambda x: product(x)[:, :1])
    with pytest.raises(InputError, match="one row a mix, one column a name"):
        optimise(problem, goal(), THREE)
    bad = FunctionProblem(
        columns=COLUMNS, function=product, derivative=lambda x: x[:, None, :]
    )
    with pytest.raises(InputError, match="jacobian has shape"):
        optimise(bad, goal(), THREE)


@pytest.mark.parametrize(
    "given",
    [{"budget": 0}, {"points": 0}, {"starts": 0}, {"step": 0.0}, {"apart": 1.0}],
)
def test_efforts_without_sense(given: dict) -> None:
    with pytest.raises(InputError):
        Effort(**given)


def test_weighed_out_on_a_scale_of_ten_grams() -> None:
    """100 g in steps of 10 g, b at most 33 %: 70 / 30 loses 0.2211 - 0.21."""
    space = Space(bounds=THREE.bounds, batch=0.1, scale_step=0.01)
    problem = Counting()
    found = optimise(problem, goal(limit("<=", 0.33)), space)
    weighed = rounded(problem, space, found).weighable
    np.testing.assert_allclose(weighed.masses, [0.07, 0.03, 0.0])
    np.testing.assert_allclose(weighed.loss, 0.0111, rtol=1e-6)
    assert weighed.feasible


def test_masses_are_whole_steps_of_the_scale_whatever_the_batch() -> None:
    """100 g on a scale of 7 g: 14 steps, 98 g; b at most 33 % is 28 g or less."""
    space = Space(bounds=THREE.bounds, batch=0.1, scale_step=0.007)
    found = optimise(Counting(), goal(limit("<=", 0.33)), space)
    steps = rounded(Counting(), space, found).weighable.masses / 0.007
    np.testing.assert_allclose(steps, [10.0, 4.0, 0.0], atol=1e-9)


@pytest.mark.parametrize(("batch", "percent"), [(0.25, 32.0), (0.1, 33.0)])
def test_whole_percents_are_those_that_the_scale_can_weigh(
    batch: float, percent: float
) -> None:
    """33 % of 250 g are 82.5 g: no whole steps of 5 g; of 100 g in steps of 1 g, 33."""
    step = 0.005 if batch == 0.25 else 0.001
    space = Space(bounds=THREE.bounds, batch=batch, scale_step=step)
    found = optimise(Counting(), goal(limit("<=", 0.335)), space)
    made = rounded(Counting(), space, found).percents
    assert 100.0 * made.fractions[1] == pytest.approx(percent)
    assert made.masses == pytest.approx(made.fractions * batch, abs=1e-12)
    assert made.feasible


def test_what_is_weighed_keeps_the_limits_too() -> None:
    """33 % of 115 steps are 37.95 steps: 38 are weighed, which is 33.04 %.

    Above a limit of 33.01 % the next that reads the same is 27 %: 31 steps, 26.96 %.
    """
    space = Space(bounds=THREE.bounds, batch=0.115, scale_step=0.001)
    for most, percent, steps in ((0.3305, 33, 38), (0.3301, 27, 31)):
        found = optimise(Counting(), goal(limit("<=", most)), space)
        made = rounded(Counting(), space, found).percents
        assert made.feasible
        assert made.fractions[1] == pytest.approx(0.01 * percent)
        assert made.masses[1] == pytest.approx(0.001 * steps)


def test_in_a_corner_of_two_limits_the_scale_looks_farther() -> None:
    """a b at most 0.2 and b at least 0.5 meet at b 0.5, a 0.4; a + 2 b is best there.

    In steps of 2 % nothing within two of it keeps the narrow strip that is left.
    """

    def columns(x: np.ndarray) -> np.ndarray:
        a, b = x[:, 0], x[:, 1]
        strip = np.abs(3.0 * a - b - 0.7013) - 0.2 * (0.47 - b)
        return np.stack([a + 2.0 * b, strip], axis=1)

    problem = FunctionProblem(columns=("score", "strip"), function=columns)
    space = Space(bounds=dict.fromkeys("abc", (0.1, 0.6)), batch=0.1, scale_step=0.002)
    thin = Limit(column="strip", sense="<=", value=0.0)
    found = optimise(problem, Goal(objective="score", limits=(thin,)), space)
    near = neighbours(space, {}, found.fractions)
    assert not (columns(near)[:, 1] <= 0.0).any()
    made = rounded(problem, space, found).weighable
    assert made.feasible
    assert made.values["strip"] <= 0.0


def test_a_flat_objective_does_not_jump_to_another_pressure() -> None:
    """The best of whole percents nearby scores 1e-5 more at half more pressure."""

    def columns(x: np.ndarray) -> np.ndarray:
        score = 1.0 - (x[:, 0] - 0.6037) ** 2 * 1e-3 + 1e-3 * np.maximum(x[:, 1], 0.2)
        pressure = 4.0 + 2.0 * (np.round(100.0 * x[:, 1]) > 20.5)
        return np.stack([score, pressure], axis=1)

    problem = FunctionProblem(columns=("score", "pressure"), function=columns)
    space = Space(bounds={"a": (0.5, 0.7), "b": (0.1, 0.2049), "c": (0.1, 0.4)})
    wide = replace(space, bounds=space.bounds | {"b": (0.1, 0.3)})
    most = Limit(column="pressure", sense="<=", value=7.0)
    found = optimise(problem, Goal(objective="score", limits=(most,)), space)
    whole = replace(wide, batch=1.0, scale_step=0.01)
    made = rounded(problem, whole, found).weighable
    assert made.values["pressure"] == pytest.approx(4.0)
    assert made.roomy
    assert made.loss < 1e-3


def test_fronts_without_a_mix_or_with_one_column() -> None:
    impossible = goal(limit(">=", 2.0))
    cheap = Goal(objective="b", maximise=False)
    front = trade_off(Counting(), impossible, cheap, THREE)
    assert (front.status, len(front.first)) == ("infeasible", 0)
    with pytest.raises(InputError, match="two columns"):
        trade_off(Counting(), goal(), goal(), THREE)
    with pytest.raises(InputError, match="at least 1"):
        trade_off(Counting(), goal(), cheap, THREE, levels=0)
    stopped = trade_off(Counting(3), goal(), cheap, THREE)
    assert (stopped.status, stopped.reason) == ("incomplete", "interrupted")
    assert len(stopped.first) > 0
