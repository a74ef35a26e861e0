"""The lowest point of models: scipy's SLSQP finds none that is lower."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from castsugar.optimize.quadratic_program import Program

RNG = np.random.default_rng(20261201)


def program(size: int, tops: int, kept: int, *, bent: bool) -> Program:
    """Return a random one that w = 0 keeps; bent ones may have several low points."""
    count = tops + kept
    root = RNG.normal(size=(count, size, size))
    hessian = root @ np.swapaxes(root, 1, 2) / size
    if bent:
        hessian = 0.5 * (root + np.swapaxes(root, 1, 2))
    normals = RNG.normal(size=(2, size))
    return Program(
        value=-RNG.uniform(0.0, 0.3, count),
        gradient=RNG.normal(size=(count, size)),
        hessian=hessian,
        tops=tops,
        normals=np.vstack([normals, np.eye(size), -np.eye(size)]),
        room=np.concatenate([RNG.uniform(0.0, 0.5, 2), np.ones(2 * size)]),
    )


def quadratics(one: Program, w: np.ndarray) -> np.ndarray:
    return one.value + (one.gradient + 0.5 * one.hessian @ w) @ w


def by_scipy(one: Program) -> float:
    """Return the lowest t that SLSQP finds from 0."""
    size = one.gradient.shape[1]

    def left(x: np.ndarray) -> np.ndarray:
        kept = -quadratics(one, x[:-1])
        kept[: one.tops] += x[-1]
        return np.concatenate([kept, one.room - one.normals @ x[:-1]])

    found = minimize(
        lambda x: x[-1],
        np.append(np.zeros(size), quadratics(one, np.zeros(size)).max() + 1.0),
        method="SLSQP",
        constraints={"type": "ineq", "fun": left},
        options={"ftol": 1e-12, "maxiter": 300},
    )
    assert broken(one, found.x[:-1]) < 1e-7
    return float(found.fun)


def broken(one: Program, w: np.ndarray) -> float:
    """Return the largest violation of what is to be kept."""
    firm = quadratics(one, w)[one.tops :]
    return max(0.0, *firm, *(one.normals @ w - one.room))


@pytest.mark.published
@pytest.mark.parametrize("size", [1, 2, 3, 5])
def test_what_bends_up_has_the_lowest_point_of_scipy(size: int) -> None:
    """scipy.optimize.minimize by SLSQP, whose derivatives are differences."""
    for _ in range(15):
        one = program(size, 1 + int(RNG.integers(3)), int(RNG.integers(4)), bent=False)
        w, top = one.solve(np.zeros(size))
        assert top == pytest.approx(by_scipy(one), abs=2e-7)
        assert broken(one, w) < 1e-9


@pytest.mark.exact
@pytest.mark.parametrize("size", [2, 4])
def test_what_bends_anyhow_is_kept_and_never_rises(size: int) -> None:
    """The start keeps everything; a lower point may only be below it, and keeps it."""
    for _ in range(60):
        one = program(size, 2, 3, bent=True)
        w, top = one.solve(np.zeros(size))
        assert broken(one, w) < 1e-9
        assert top <= quadratics(one, np.zeros(size))[:2].max() + 1e-12


@pytest.mark.exact
def test_the_point_of_a_disc_that_lies_farthest() -> None:
    """Least -x - y with x^2 + y^2 <= 1/2: x = y = 1/2, where it is -1."""
    one = Program(
        value=np.array([0.0, -0.25]),
        gradient=np.array([[-1.0, -1.0], [0.0, 0.0]]),
        hessian=np.array([np.zeros((2, 2)), np.eye(2)]),
        tops=1,
        normals=np.vstack([np.eye(2), -np.eye(2)]),
        room=np.ones(4),
    )
    w, top = one.solve(np.zeros(2))
    assert w.tolist() == pytest.approx([0.5, 0.5], abs=1e-9)
    assert top == pytest.approx(-1.0, abs=1e-9)


@pytest.mark.exact
def test_the_ridge_of_two_parabolas_and_a_start_outside() -> None:
    """The larger of (x - 1/2)^2 and (x + 1/2)^2 is least at 0: 1/4.

    From 0.9, where x <= -1/10 is broken, the least is at -1/10: (3/5)^2.
    """
    both = {
        "hessian": np.array([[[2.0]], [[2.0]], [[0.0]]]),
        "tops": 2,
        "normals": np.array([[1.0], [-1.0]]),
        "room": np.ones(2),
    }
    gradient = np.array([[-1.0], [1.0], [0.0]])
    free = Program(value=np.array([0.25, 0.25, -1.0]), gradient=gradient, **both)
    w, top = free.solve(np.array([0.9]))
    assert (w[0], top) == pytest.approx((0.0, 0.25), abs=1e-9)
    gradient = np.array([[-1.0], [1.0], [1.0]])
    held = Program(value=np.array([0.25, 0.25, 0.1]), gradient=gradient, **both)
    w, top = held.solve(np.array([0.9]))
    assert (w[0], top) == pytest.approx((-0.1, 0.36), abs=1e-9)


@pytest.mark.exact
def test_what_cannot_be_kept_is_broken_least() -> None:
    """x >= 1/3 and x <= 1/6 at once: half-way, at 1/4, each by 1/12."""
    one = Program(
        value=np.array([0.0, 1.0 / 3.0, -1.0 / 6.0]),
        gradient=np.array([[1.0], [-1.0], [1.0]]),
        hessian=np.zeros((3, 1, 1)),
        tops=1,
        normals=np.array([[1.0], [-1.0]]),
        room=np.ones(2),
    )
    w, _ = one.solve(np.zeros(1))
    assert w[0] == pytest.approx(0.25, abs=1e-6)
    assert math.isclose(broken(one, w), 1.0 / 12.0, abs_tol=1e-6)
