"""Where derivatives are delicate: pinned throats, plateaus, phase boundaries.

Smooth mixes of several ingredients are in ``test_derivatives.py``; here 20 more
mixes, one batch, and what happens where a phase comes or goes.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from equilibrium_checks.mixes import c_star, combined

from castsugar.constants import ELEMENTS, STANDARD_ATMOSPHERE
from castsugar.rows import shipped_species
from castsugar.thermo.gibbs import sensitivity, solution
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import model_of
from castsugar.thermo.species import restrict

pytestmark = pytest.mark.exact

TERNARY = ("KNO3", "sucrose", "water")
KEPT = ("C", "H", "O", "N", "K")
TABLE = restrict(shipped_species(), frozenset(KEPT))
COLUMNS = [ELEMENTS.index(e) for e in TABLE.elements]
SIZE = len(KEPT) + 1

#: Mixes away from phase boundaries: nitrate, water, pressure [MPa].
SMOOTH = [
    (0.58, 0.00, 3.0),
    (0.59, 0.02, 6.9),
    (0.60, 0.00, 1.0),
    (0.61, 0.05, 6.9),
    (0.62, 0.01, 10.0),
    (0.63, 0.00, 3.0),
    (0.64, 0.04, 0.5),
    (0.65, 0.00, 6.9),
    (0.65, 0.05, 2.0),
    (0.66, 0.03, 6.9),
    (0.67, 0.00, 1.0),
    (0.68, 0.02, 5.0),
    (0.70, 0.00, 6.9),
    (0.71, 0.06, 3.0),
    (0.72, 0.00, 0.3),
    (0.74, 0.03, 6.9),
    (0.75, 0.00, 3.0),
    (0.77, 0.00, 6.9),
    (0.44, 0.00, 1.0),  # graphite and solid carbonate
    (0.46, 0.02, 1.5),
]
QUANTITIES = ("temperature", "characteristic_velocity", "exit_velocity")
PINNED, PLATEAU = (0.55, 0.05, 3.0), (0.80, 0.05, 6.9)


def solve(
    elements: np.ndarray, enthalpy: np.ndarray, pressure: np.ndarray, flow: str
) -> Flow:
    """Solve a batch of the five elements."""
    return solution.solve(
        model_of(TABLE), elements, enthalpy, pressure, STANDARD_ATMOSPHERE, flow
    )


def values(found: Flow) -> dict[str, np.ndarray]:
    """What is differentiated, from the stations of a flow."""
    fall = found.chamber.enthalpy - found.leaving.enthalpy
    return {
        "temperature": found.chamber.temperature,
        "characteristic_velocity": c_star(found),
        "exit_velocity": np.sqrt(2.0 * fall),
    }


def given(points: list[tuple]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Elements, enthalpy and pressure of points."""
    shares = np.array([[k, 1.0 - k - w, w] for k, w, _ in points])
    elements, enthalpy = combined(TERNARY, shares)
    return elements[:, COLUMNS], enthalpy, 1e6 * np.array([p for *_, p in points])


def analytic(points: list[tuple], flow: str) -> dict[str, np.ndarray]:
    """Derivatives of the solver, (n, 6)."""
    found = solve(*given(points), flow)
    assert not found.lost.any()
    d = sensitivity.derivatives(model_of(TABLE), found)
    return {q: getattr(d, q) for q in QUANTITIES}


def stepped(
    points: list[tuple], flow: str, side: float, size: float = 1.0
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Values after a step of each b_i (1e-4) and of H (2e-6), (n, 6), and the steps."""
    elements, enthalpy, pressure = given(points)
    n = len(enthalpy)
    step = np.hstack([1e-4 * elements, 2e-6 * np.abs(enthalpy)[:, None]]) * size
    b = np.repeat(elements[:, None, :], SIZE, axis=1)
    h = np.repeat(enthalpy[:, None], SIZE, axis=1)
    index = np.arange(SIZE - 1)
    b[:, index, index] += side * step[:, :-1]
    h[:, -1] += side * step[:, -1]
    found = solve(b.reshape(n * SIZE, -1), h.ravel(), np.repeat(pressure, SIZE), flow)
    assert not found.lost.any()
    return {q: v.reshape(n, SIZE) for q, v in values(found).items()}, step


def central(points: list[tuple], flow: str, size: float = 1.0) -> dict[str, np.ndarray]:
    """Central differences, (n, 6)."""
    up, step = stepped(points, flow, 1.0, size)
    down, _ = stepped(points, flow, -1.0, size)
    return {q: (up[q] - down[q]) / (2.0 * step) for q in QUANTITIES}


@functools.cache
def both(flow: str) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Derivatives and differences of the 20 mixes."""
    return analytic(SMOOTH, flow), central(SMOOTH, flow)


def worst(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
    """Largest difference of each row over the row's largest derivative.

    Elements and enthalpy have units of their own, hence scales of their own.
    """
    scale = np.abs(theirs[:, :-1]).max(axis=1)
    by_element = np.abs(ours - theirs)[:, :-1].max(axis=1) / scale
    by_enthalpy = np.abs(ours - theirs)[:, -1] / np.abs(theirs[:, -1])
    return np.maximum(by_element, by_enthalpy)


@pytest.mark.parametrize("flow", ["equilibrium", "no-solidification"])
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_smooth(quantity: str, flow: str) -> None:
    """20 mixes away from phase boundaries: 1e-6 of the largest derivative."""
    ours, theirs = both(flow)
    off = worst(ours[quantity], theirs[quantity])
    assert len(off) == len(SMOOTH)
    assert (off < 1e-6).all(), [
        p for p, x in zip(SMOOTH, off, strict=True) if x >= 1e-6
    ]


def test_pinned_throat() -> None:
    """The throat of 55/40/5 at 3 MPa stays on the onset of the solid: 1e-3."""
    assert solve(*given([PINNED]), "equilibrium").pinned.all()
    ours = analytic([PINNED], "equilibrium")
    theirs = central([PINNED], "equilibrium", 0.1)
    for quantity in QUANTITIES:
        assert worst(ours[quantity], theirs[quantity])[0] < 1e-3, quantity


def test_pinned_is_not_stationary() -> None:
    """There the change of the throat pressure matters; without it c* is another."""
    found = solve(*given([PINNED]), "equilibrium")
    found.pinned[:] = False  # take it for a smooth throat
    wrong = sensitivity.derivatives(model_of(TABLE), found).characteristic_velocity
    theirs = central([PINNED], "equilibrium", 0.1)["characteristic_velocity"]
    assert worst(wrong, theirs)[0] > 0.01


def test_plateau_chamber() -> None:
    """Heat melts carbonate there: T does not move at all; c* does as it should."""
    found = solve(*given([PLATEAU]), "equilibrium")
    assert found.chamber_plateau.all()
    ours = analytic([PLATEAU], "equilibrium")
    theirs = central([PLATEAU], "equilibrium")
    assert np.abs(ours["temperature"]).max() < 1e-9
    c_star_scale = np.abs(theirs["characteristic_velocity"]).max()
    difference = ours["characteristic_velocity"] - theirs["characteristic_velocity"]
    assert np.abs(difference).max() < 1e-6 * c_star_scale
    assert worst(ours["exit_velocity"], theirs["exit_velocity"])[0] < 1e-6


def test_plateau_without_solidification() -> None:
    """With a solid share to be held, c* and exit velocity are not differentiated."""
    ours = analytic([PLATEAU], "no-solidification")
    assert np.abs(ours["temperature"]).max() < 1e-9
    assert np.isnan(ours["characteristic_velocity"]).all()
    assert np.isnan(ours["exit_velocity"]).all()


def boundary() -> float:
    """The enthalpy at which the chamber of 80/15/5 just leaves the plateau. [J/kg]"""
    elements, enthalpy, pressure = given([PLATEAU])
    low, high = float(enthalpy[0]), float(enthalpy[0]) + 3e5
    for _ in range(60):
        middle = 0.5 * (low + high)
        found = solve(elements, np.array([middle]), pressure, "equilibrium")
        if found.chamber_plateau[0]:
            low = middle
        else:
            high = middle
    return high


@pytest.mark.slow
def test_across_a_boundary() -> None:
    """Where the last solid melts dT/dH jumps from 0 to 1/cp; T itself does not.

    Each side has the derivatives of its side, and a difference across the boundary is
    neither of them but lies between.
    """
    elements, _, pressure = given([PLATEAU])
    edge, step = boundary(), 20.0
    sides = edge + step * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    n = len(sides)
    found = solve(
        np.repeat(elements, n, axis=0), sides, np.repeat(pressure, n), "equilibrium"
    )
    np.testing.assert_array_equal(found.chamber_plateau[[0, 1, 3, 4]], [1, 1, 0, 0])
    t = found.chamber.temperature
    ours = sensitivity.derivatives(model_of(TABLE), found).temperature[:, -1]
    below, above = (t[1] - t[0]) / step, (t[4] - t[3]) / step
    across = (t[3] - t[1]) / (2.0 * step)
    assert below == pytest.approx(0.0, abs=1e-10)  # 2e-9 K of noise over 20 J/kg
    assert above > 1e-4  # K per J/kg: 1/cp with cp below 10 kJ/(kg K)
    assert t[3] == pytest.approx(t[1], abs=2.0 * step * above)
    assert ours[1] == pytest.approx(0.0, abs=1e-12)
    assert ours[3] == pytest.approx(above, rel=1e-3)
    assert across == pytest.approx(0.5 * above, rel=0.01)
