"""Chances, scores, programs that are worked out here to load less: scipy's values."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.special as theirs
from scipy.optimize import linprog

from castsugar import special as ours
from castsugar.numerics import linear_program

RNG = np.random.default_rng(20261130)
SCORES = np.concatenate([3.0 * RNG.normal(size=2000), [0.0, 39.0, -39.0, np.inf]])
CHANCES = np.concatenate([RNG.uniform(size=2000), [1e-300, 1e-12, 0.5, 1.0 - 1e-12]])
FREEDOM = (1.0, 2.0, 3.0, 8.3, 30.0, 200.0)


@pytest.mark.published
def test_the_normal_is_that_of_scipy() -> None:
    """scipy.special.ndtr to 3e-16 of the whole, ndtri to 3e-15 of itself; ends, NaN."""
    scores = np.concatenate([SCORES, -SCORES])
    assert np.abs(ours.ndtr(scores) - theirs.ndtr(scores)).max() < 3e-16
    assert ours.ndtri(CHANCES) == pytest.approx(theirs.ndtri(CHANCES), rel=3e-15)
    assert ours.ndtri([0.0, 1.0]).tolist() == [-np.inf, np.inf]
    for function in (ours.ndtr, ours.ndtri):
        assert np.isnan(function(np.nan))
    assert ours.ndtri(np.full((2, 3), 0.3)).shape == (2, 3)
    assert np.shape(ours.ndtri(0.3)) == ()


@pytest.mark.published
def test_shares_on_the_logit_scale_are_those_of_scipy() -> None:
    """scipy.special.expit and logit."""
    assert ours.expit(SCORES) == pytest.approx(theirs.expit(SCORES), rel=1e-15)
    inside = CHANCES[CHANCES > 1e-9]
    assert ours.logit(inside) == pytest.approx(theirs.logit(inside), abs=1e-13)


@pytest.mark.published
@pytest.mark.parametrize("a", [0.5, 1.0, 2.5, 7.0, 20.0, 60.0])
def test_gamma_quantiles_are_those_of_scipy(a: float) -> None:
    """scipy.special.gammaincinv, at the chances of 2,048 points."""
    chances = (np.arange(2048) + 0.5) / 2048
    wanted = theirs.gammaincinv(a, chances)
    assert ours.gammaincinv(a, chances) == pytest.approx(wanted, rel=1e-11)


@pytest.mark.published
@pytest.mark.parametrize("freedom", FREEDOM)
def test_student_is_that_of_scipy(freedom: float) -> None:
    """scipy.special.stdtr and stdtrit."""
    t = np.append(0.0, RNG.standard_t(freedom, size=50))
    wanted = 2.0 * theirs.stdtr(freedom, -np.abs(t))
    assert ours.student_beyond(t, freedom) == pytest.approx(wanted, rel=1e-12)
    for share in (0.5, 0.9, 0.95, 0.999):
        wanted = theirs.stdtrit(freedom, 0.5 + 0.5 * share)
        assert ours.student_within(share, freedom) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.published
def test_f_is_that_of_scipy() -> None:
    """scipy.special.fdtrc; without freedom none has a value."""
    for above, below in ((1.0, 5.0), (2.0, 3.0), (3.5, 7.0), (10.0, 20.0)):
        f = np.append(0.0, 8.0 * RNG.uniform(size=20))
        wanted = theirs.fdtrc(above, below, f)
        assert ours.fdtrc(above, below, f) == pytest.approx(wanted, rel=1e-12)
    assert np.isnan(ours.fdtrc(2.0, 0.0, 1.0))
    assert np.isnan(ours.student_within(0.95, 0.0))


@pytest.mark.published
def test_lambert_is_that_of_scipy() -> None:
    """scipy.special.lambertw, its real branch."""
    x = np.exp(4.0 * RNG.normal(size=200))
    assert ours.lambertw(x) == pytest.approx(theirs.lambertw(x).real, rel=1e-14)


@pytest.mark.published
def test_linear_programs_are_those_of_scipy() -> None:
    """scipy.optimize.linprog, its HiGHS: amounts, and prices that pay for them."""
    for _ in range(100):
        m, n = int(RNG.integers(1, 7)), int(RNG.integers(7, 150))
        matrix = RNG.integers(0, 4, (m, n)).astype(float) + np.eye(m, n)
        right = matrix @ np.where(RNG.uniform(size=n) < 0.3, RNG.uniform(size=n), 0.0)
        cost = RNG.normal(size=n) * 30.0
        wanted = linprog(cost, A_eq=matrix, b_eq=right, bounds=(0, None))
        found = linear_program(cost, matrix, right)
        if wanted.status == 3:  # no end to what it gains
            assert found is None
            continue
        assert found is not None
        x, prices = found
        assert matrix @ x == pytest.approx(right, abs=1e-9)
        assert cost @ x == pytest.approx(wanted.fun, rel=1e-10, abs=1e-10)
        assert prices @ right == pytest.approx(wanted.fun, rel=1e-10, abs=1e-10)
        assert (prices @ matrix <= cost + 1e-7).all()


@pytest.mark.exact
def test_a_linear_program_that_nothing_meets_has_no_answer() -> None:
    """x + y is both 1 and 2."""
    both, sums = np.ones((2, 2)), np.array([1.0, 2.0])
    assert linear_program(np.array([1.0, 2.0]), both, sums) is None
