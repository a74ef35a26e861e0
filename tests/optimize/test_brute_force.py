"""Random problems against every point of a fine lattice.

The functions are mild: quadratic forms, logarithms and exponentials of the fractions.
What is expected comes from the lattice alone, which shares no code with the search.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np
import pytest

from castsugar.limits import Limit
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import FunctionProblem, Goal
from castsugar.optimize.region import Row
from castsugar.optimize.shadow_prices import Found, LimitState
from castsugar.optimize.space import Space

pytestmark = pytest.mark.exact

COLUMNS = ("y", "g0", "g1", "g2")


@dataclass(frozen=True)
class Random:
    """A problem, its goal and space."""

    problem: FunctionProblem
    goal: Goal
    space: Space


def smooth(rng: np.random.Generator, count: int):
    """Return a random mild function of fractions."""
    line, form = rng.normal(size=count), rng.normal(size=(count, count))
    power, weight = rng.normal(size=count), rng.uniform(0.5, 2.0, count)
    size = rng.normal()

    def function(x: np.ndarray) -> np.ndarray:
        quadratic = x @ line + 0.5 * np.einsum("ni,ij,nj->n", x, form, x)
        logarithm = np.log(0.05 + x @ weight)
        return quadratic + 0.5 * np.exp(x @ power) + 0.3 * size * logarithm

    return function


def random_problem(seed: int, count: int, kinks: bool = False) -> Random:
    """Return a problem with three limits and a row, some of which will bind."""
    rng = np.random.default_rng(seed)
    columns = [smooth(rng, count) for _ in COLUMNS]
    others = [smooth(rng, count) for _ in COLUMNS]

    def function(x: np.ndarray) -> np.ndarray:
        values = np.stack([column(x) for column in columns], axis=1)
        if kinks:
            more = np.stack([other(x) for other in others], axis=1)
            values[:, 1:] = np.maximum(values, more)[:, 1:]
        return values

    seen = function(rng.dirichlet(np.ones(count), 400))
    limits = [
        Limit(
            column=name,
            sense="<=" if rng.random() < 0.5 else ">=",
            value=float(np.quantile(seen[:, 1 + i], rng.uniform(0.35, 0.65))),
        )
        for i, name in enumerate(COLUMNS[1:])
    ]
    names = "abcdef"[:count]
    row = dict(zip(names, rng.normal(size=count), strict=True))
    return Random(
        problem=FunctionProblem(columns=COLUMNS, function=function),
        goal=Goal(
            objective="y", maximise=bool(rng.random() < 0.5), limits=tuple(limits)
        ),
        space=Space(
            bounds=dict.fromkeys(names, (0.0, 1.0)),
            rows=[Row(name="row", coefficients=row, limit=max(0.3, min(row.values())))],
        ),
    )


#: Ingredients -> steps of the lattice.
STEPS = {3: 400, 6: 20}


@functools.cache
def whole_lattice(count: int) -> np.ndarray:
    """Return every mix of whole steps."""
    steps = STEPS[count]
    axes = [np.arange(steps + 1)] * (count - 1)
    grid = np.stack([g.ravel() for g in np.meshgrid(*axes, indexing="ij")], axis=1)
    grid = grid[grid.sum(axis=1) <= steps]
    return np.column_stack([grid, steps - grid.sum(axis=1)]) / steps


def on_lattice(case: Random) -> tuple[np.ndarray, np.ndarray]:
    """Return the columns on the lattice, and the scaled violation."""
    points = whole_lattice(len(case.space.columns))
    (row,) = case.space.rows
    points = points[points @ np.array([*row.coefficients.values()]) <= row.limit]
    values = case.problem.evaluate(points)
    return values, violation(case.goal, values)


def violation(goal: Goal, values: np.ndarray) -> np.ndarray:
    """Return the largest excess over a limit, as a share of the limit."""
    beyond = np.zeros(len(values))
    for limit in goal.limits:
        way = 1.0 if limit.sense == "<=" else -1.0
        over = way * (values[:, COLUMNS.index(limit.column)] - limit.value)
        beyond = np.maximum(beyond, over / abs(limit.value))
    return beyond


def check_optimum(case: Random, values: np.ndarray, feasible: np.ndarray) -> int:
    """Compare with the lattice's best; return how many limits bind."""
    found = optimise(case.problem, case.goal, case.space)
    assert found.status == "optimal"
    sign = -1.0 if case.goal.maximise else 1.0
    best = float((sign * values[feasible, 0]).min())
    assert sign * found.objective <= best + 1e-6 * abs(best)
    # Feasible by its own numbers, evaluated anew.
    again = case.problem.evaluate(found.fractions[None])
    assert violation(case.goal, again)[0] <= 1e-9
    np.testing.assert_allclose(found.fractions.sum(), 1.0, atol=1e-12)
    assert (found.fractions >= 0.0).all()
    (row,) = case.space.rows
    assert found.fractions @ np.array([*row.coefficients.values()]) <= row.limit + 1e-9
    check_prices(case, found)
    return sum(limit.binding for limit in found.limits)


def check_prices(case: Random, found: Found) -> None:
    """Compare what a looser limit buys with a whole search for it: 10 %."""
    effort = Effort(prices=False, also=(tuple(found.fractions.tolist()),))
    for state in (*found.limits, *found.rows):
        price = state.price
        if price is None or price.rough:
            continue
        goal, space = case.goal, case.space
        if isinstance(state, LimitState):
            limit = state.limit
            moved = replace(limit, value=limit.value + limit.sign * price.step)
            kept = (moved if one == limit else one for one in goal.limits)
            goal, way = replace(goal, limits=tuple(kept)), limit.sign
        else:
            space, way = space.moved(state.name, price.step), 1.0
        again = optimise(case.problem, goal, space, effort=effort)
        bought = again.objective - found.objective
        small = 1e-6 * abs(found.objective)
        assert way * price.gain == pytest.approx(bought, rel=0.1, abs=small), state


def feasible_cases(count: int, number: int, kinks: bool = False, first: int = 0):
    """Return the first problems that have a feasible lattice point."""
    found = []
    seed = first
    while len(found) < number:
        case = random_problem(seed, count, kinks)
        values, beyond = on_lattice(case)
        if (beyond <= 0.0).any():
            found.append((case, values, beyond <= 0.0))
        seed += 1
    return found


@pytest.mark.slow
def test_twenty_problems_of_three_ingredients() -> None:
    """Never worse than the best of the 0.25 % lattice."""
    bind = [check_optimum(*case) for case in feasible_cases(3, 20)]
    # A test of limits is none if they do not bind.
    assert sum(b > 0 for b in bind) >= 10


@pytest.mark.slow
def test_five_problems_of_six_ingredients() -> None:
    """Never worse than the best of the 5 % lattice."""
    bind = [check_optimum(*case) for case in feasible_cases(6, 5)]
    assert sum(b > 0 for b in bind) >= 3


@pytest.mark.slow
def test_three_problems_with_kinks() -> None:
    """Limits on the larger of two functions: the optimum may sit on the kink."""
    bind = [check_optimum(*case) for case in feasible_cases(3, 3, kinks=True)]
    assert sum(b > 0 for b in bind) >= 1


@pytest.mark.simulation
def test_many_more_problems() -> None:
    """A hundred more, with and without kinks."""
    for kinks in (False, True):
        for case in feasible_cases(3, 40, kinks, first=1000):
            check_optimum(*case)
        for case in feasible_cases(6, 10, kinks, first=2000):
            check_optimum(*case)


def tightened(case: Random, values: np.ndarray) -> Random:
    """Return the problem with its limits moved until the lattice has no mix."""
    limits = list(case.goal.limits)
    for _ in range(60):
        goal = replace(case.goal, limits=tuple(limits))
        if violation(goal, values).min() > 0.02:
            return replace(case, goal=goal)
        limits = [
            replace(one, value=one.value - one.sign * 0.1 * np.ptp(column), name="")
            for one, column in zip(limits, values[:, 1:].T, strict=True)
        ]
    raise AssertionError("always feasible")


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(n, marks=pytest.mark.slow) for n in (1, 2))]
)
def test_infeasible_problems(seed: int) -> None:
    """Violation and relaxed limits are at least as good as the lattice's."""
    case = random_problem(seed, 3)
    values, _ = on_lattice(case)
    case = tightened(case, values)
    beyond = violation(case.goal, values)
    found = optimise(case.problem, case.goal, case.space)
    assert found.status == "infeasible"
    assert 0.0 < found.violation <= beyond.min() * (1.0 + 1e-6)
    by_limit = {one.limit: one for one in found.relaxations}
    for index, limit in enumerate(case.goal.limits):
        others = tuple(one for one in case.goal.limits if one is not limit)
        kept = violation(replace(case.goal, limits=others), values) <= 0.0
        if not kept.any():
            continue
        needed = (limit.sign * values[kept, 1 + index]).min()
        one = by_limit[limit]
        assert limit.sign * one.value <= needed + 1e-6 * abs(needed)
        # With that limit moved there, the mix is feasible.
        moved = replace(limit, value=one.value)
        goal = replace(case.goal, limits=(*others, moved))
        again = case.problem.evaluate(one.fractions[None])
        assert violation(goal, again)[0] <= 1e-9
