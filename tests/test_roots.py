"""What is worked out here to load less: scipy finds the same."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import optimize
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq, minimize_scalar

from castsugar.kitchen import solubility
from castsugar.numerics import (
    least_squares,
    maximum,
    nonnegative_least_squares,
    root,
)

RNG = np.random.default_rng(20261130)
CENTRES = RNG.uniform(-3.0, 3.0, 200)
SHAPES = RNG.choice([0.2, 1.0, 3.0, 5.0], 200)
BELOW, ABOVE = RNG.uniform(0.01, 5.0, (2, 200))


def counted(
    function: Callable[[float], float], calls: list[float]
) -> Callable[[float], float]:
    def with_note(x: float) -> float:
        calls.append(x)
        return function(x)

    return with_note


@pytest.mark.published
def test_roots_are_those_of_scipy() -> None:
    """scipy.optimize.brentq, flat and steep crossings; not more calls than its."""
    ours: list[float] = []
    theirs: list[float] = []
    for centre, power, below, above in zip(CENTRES, SHAPES, BELOW, ABOVE, strict=True):

        def rising(x: float, centre: float = centre, power: float = power) -> float:
            off = x - centre
            crossing = math.copysign(abs(off) ** power, off)
            return crossing + 0.1 * (math.exp(x) - math.exp(centre))

        ends = (centre - below, centre + above)
        found = root(counted(rising, ours), *ends, within=1e-10)
        wanted = brentq(counted(rising, theirs), *ends, xtol=1e-10)
        assert abs(found - wanted) < 2e-10
    assert len(ours) < 1.1 * len(theirs)


@pytest.mark.published
def test_maxima_are_those_of_scipy() -> None:
    """scipy.optimize.minimize_scalar, bounded; not more calls than its."""
    ours: list[float] = []
    theirs: list[float] = []
    for centre, below, above in zip(CENTRES, BELOW, ABOVE, strict=True):

        def hump(x: float, centre: float = centre) -> float:
            return math.exp(-(abs(x - centre) ** 1.5))

        ends = (centre - below, centre + above)
        found = maximum(counted(hump, ours), *ends, within=1e-7)
        minimum = minimize_scalar(
            lambda x, of=hump: -counted(of, theirs)(x),
            bounds=ends,
            method="bounded",
            options={"xatol": 1e-7},
        )
        assert abs(found - minimum.x) < 3e-7
    assert len(ours) < 1.1 * len(theirs)


@pytest.mark.published
def test_nonnegative_least_squares_are_those_of_scipy() -> None:
    """scipy.optimize.nnls; columns may repeat, vanish, and differ a hundredfold."""
    rng = np.random.default_rng(20261201)
    for case in range(300):
        rows, count = rng.integers(1, 10), rng.integers(1, 25)
        matrix = rng.normal(size=(rows, count)) * 10.0 ** rng.uniform(-1, 1, count)
        if case % 3 == 0:
            matrix[:, count // 2 :] = matrix[:, : count - count // 2]
        if case % 5 == 0:
            matrix[:, 0] = 0.0
        right = rng.normal(size=rows)
        found = nonnegative_least_squares(matrix, right)
        assert (found >= 0.0).all()
        left = float(np.linalg.norm(matrix @ found - right))
        assert left == pytest.approx(optimize.nnls(matrix, right)[1], abs=1e-9)


@pytest.mark.exact
def test_a_root_at_an_end_and_none_between() -> None:
    """x at 0: the end itself. x + 1 above 0: no change of sign, said."""
    assert root(lambda x: x, 0.0, 2.0, within=1e-9) == pytest.approx(0.0, abs=1e-9)
    assert root(lambda x: x, -2.0, 0.0, within=1e-9) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="no change of sign between 0 and 1"):
        root(lambda x: x + 1.0, 0.0, 1.0, within=1e-9)
    # Largest at an end: the place is as near to it as was asked.
    assert maximum(lambda x: x, 0.0, 1.0, within=1e-6) == pytest.approx(1.0, abs=4e-6)


@pytest.mark.published
@pytest.mark.parametrize("start", [(1.0, -1.0), (-1.2, 1.0), (30.0, 30.0), (0.0, 9.0)])
def test_least_squares_are_those_of_scipy(start: tuple[float, float]) -> None:
    """scipy.optimize.least_squares on a curved valley with a prior (Rosenbrock's)."""

    def misfits(x: np.ndarray) -> np.ndarray:
        return np.array([10.0 * (x[1] - x[0] ** 2), 1.0 - x[0], 0.1 * x[0], 0.1 * x[1]])

    def slopes(x: np.ndarray) -> np.ndarray:
        return np.array([[-20.0 * x[0], 10.0], [-1.0, 0.0], [0.1, 0.0], [0.0, 0.1]])

    found = least_squares(misfits, slopes, np.array(start))
    wanted = optimize.least_squares(misfits, start, jac=slopes, xtol=1e-14, gtol=1e-14)
    assert found is not None
    np.testing.assert_allclose(found, wanted.x, rtol=1e-7)


@pytest.mark.exact
def test_no_least_square_is_no_answer() -> None:
    """exp(-x) is nowhere least."""

    def misfits(x: np.ndarray) -> np.ndarray:
        return np.exp(-x)

    found = least_squares(misfits, lambda x: -np.exp(-x)[:, None], np.zeros(1))
    assert found is None or math.exp(-float(found[0])) < 1e-6


@pytest.mark.published
def test_the_table_of_sucrose_is_the_monotone_cubic_of_scipy() -> None:
    """scipy.interpolate.PchipInterpolator on the same seven points, to 1e-12."""
    points, values = solubility._SUCROSE
    t = np.linspace(0.0, 100.0, 1001)
    ours = solubility.sucrose_solubility(t + 273.15)
    wanted = PchipInterpolator(points, values)(t)
    np.testing.assert_allclose(ours, wanted, rtol=1e-12)
