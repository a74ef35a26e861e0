"""Optima that are known from outside, through the same core as everything else."""

from __future__ import annotations

import numpy as np
import pytest

from castsugar.limits import Limit
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import FunctionProblem, Goal
from castsugar.optimize.space import Space
from castsugar.optimize.trade_off import trade_off


def simplex(count: int) -> Space:
    return Space(bounds=dict.fromkeys("abcdefgh"[:count], (0.0, 1.0)))


# J. A. Cornell, Experiments with Mixtures: yarn elongation; Scheffe coefficients, from
# memory. 11.7 x1 + 9.4 x2 + 16.4 x3 + 19 x1x2 + 11.4 x1x3 - 9.6 x2x3.
def yarn(x: np.ndarray) -> np.ndarray:
    a, b, c = x.T
    pure = 11.7 * a + 9.4 * b + 16.4 * c
    return (pure + 19.0 * a * b + 11.4 * a * c - 9.6 * b * c)[:, None]


@pytest.mark.published
def test_cornells_yarn() -> None:
    """On the edge without the second: x1 = 6.7 / 22.8, elongation 17.3844."""
    problem = FunctionProblem(columns=("elongation",), function=yarn)
    found = optimise(problem, Goal(objective="elongation"), simplex(3))
    assert found.status == "optimal"
    np.testing.assert_allclose(found.fractions, [0.29386, 0.0, 0.70614], atol=1e-4)
    np.testing.assert_allclose(found.objective, 17.3844, atol=1e-4)
    assert [row.name for row in found.rows] == ["b at least 0 %"]
    assert found.stationarity < 1e-6


# T. S. Motzkin & E. G. Straus, Canad. J. Math. 17 (1965) 533: the largest x'Ax on the
# simplex is 1 - 1 / (largest clique): 1/2 for a ring of five, 3/4 for a clique of four.
RING = np.roll(np.eye(5), 1, axis=0) + np.roll(np.eye(5), -1, axis=0)
CLIQUE = np.ones((4, 4)) - np.eye(4)


@pytest.mark.published
@pytest.mark.parametrize(("adjacency", "largest"), [(RING, 0.5), (CLIQUE, 0.75)])
@pytest.mark.parametrize("seed", [0, 1])
def test_motzkin_and_straus(adjacency, largest: float, seed: int) -> None:
    problem = FunctionProblem(
        columns=("form",),
        function=lambda x: np.einsum("ni,ij,nj->n", x, adjacency, x)[:, None],
    )
    space, effort = simplex(len(adjacency)), Effort(seed=seed)
    found = optimise(problem, Goal(objective="form"), space, effort=effort)
    np.testing.assert_allclose(found.objective, largest, atol=1e-6)


@pytest.mark.exact
def test_analytic_derivatives_lead_to_the_same_optimum() -> None:
    """A derivative off by a constant in all fractions is as good: they sum to 1.

    Maximise -(a - 0.3)^2 - 2 (b - 0.5)^2 with c at least 0.3. With c = 0.3 and
    a = 0.7 - b: 2 (0.4 - b) = 4 (b - 0.5), so b = 14/30, a = 7/30.
    """

    def bowl(x: np.ndarray) -> np.ndarray:
        value = -((x[:, 0] - 0.3) ** 2) - 2.0 * (x[:, 1] - 0.5) ** 2
        return np.stack([value, x[:, 2]], axis=1)

    asked = []

    def slopes(x: np.ndarray) -> np.ndarray:
        asked.append(len(x))
        out = np.zeros((len(x), 2, 3))
        out[:, 0, 0] = -2.0 * (x[:, 0] - 0.3)
        out[:, 0, 1] = -4.0 * (x[:, 1] - 0.5)
        out[:, 0] += 7.0
        out[:, 1] = np.nan
        return out

    goal = Goal(objective="y", limits=(Limit(column="third", sense=">=", value=0.3),))
    columns = ("y", "third")
    plain = FunctionProblem(columns=columns, function=bowl)
    known = FunctionProblem(columns=columns, function=bowl, derivative=slopes)
    for problem in (plain, known):
        found = optimise(problem, goal, simplex(3))
        np.testing.assert_allclose(found.fractions, [7 / 30, 14 / 30, 0.3], atol=1e-7)
        # With s = 1 - c the best b is 0.5 + (s - 0.8) / 3, a is 0.3 + 2 (s - 0.8) / 3,
        # worth -(2/3) (s - 0.8)^2; its slope by c is (4/3) (s - 0.8) = -(4/3) 0.1.
        (limit,) = found.limits
        assert limit.price is not None
        np.testing.assert_allclose(limit.price.multiplier, -0.4 / 3.0, rtol=1e-5)
        # The floor at 0.27, 10 % lower: -(2/3) (0.73 - 0.8)^2 instead of (0.7 - 0.8).
        bought = (2.0 / 3.0) * (0.01 - 0.0049)
        np.testing.assert_allclose(-limit.price.gain, bought, rtol=1e-4)
        assert not limit.price.holds
    assert asked


@pytest.mark.exact
def test_front_between_two_columns() -> None:
    """a b against b, both fractions of three: best a b at given b is (1 - b) b."""
    problem = FunctionProblem(
        columns=("product", "b"),
        function=lambda x: np.stack([x[:, 0] * x[:, 1], x[:, 1]], axis=1),
    )
    front = trade_off(
        problem,
        Goal(objective="product"),
        Goal(objective="b", maximise=False),
        simplex(3),
        levels=4,
    )
    assert front.status == "complete"
    np.testing.assert_allclose(front.second, np.linspace(0.5, 0.0, 6), atol=1e-5)
    expected = front.second * (1.0 - front.second)
    np.testing.assert_allclose(front.first, expected, atol=1e-7)
