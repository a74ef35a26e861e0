"""Analytic derivatives are the limits of differences."""

from __future__ import annotations

import numpy as np
import pytest

import castsugar as cs
from castsugar.thermo import solver
from castsugar.thermo.gibbs import sensitivity, solution
from castsugar.thermo.solver import charge_of

ATMOSPHERE = 101325.0

RECIPES = [
    {"KNO3": k, "sucrose": 100 - k - w, "water": w}
    for k in (58, 62, 65, 70, 76)
    for w in (0, 2)
] + [
    {"KNO3": 65, "sorbitol": 35},
    {"KNO3": 60, "powdered sugar": 20, "corn syrup": 20},
    {"KNO3": 64, "dextrose": 36},
    {"NaNO3": 60, "sucrose": 40},
    {"KNO3": 64, "sucrose": 35, "red iron oxide": 1},
    {"KNO3": 45, "sucrose": 55},
]


@pytest.mark.exact
@pytest.mark.parametrize("flow", ["equilibrium", "no-solidification"])
@pytest.mark.parametrize("recipe", RECIPES, ids=str)
def test_derivatives(recipe: dict[str, float], flow: str) -> None:
    """Exact: analytic derivatives are the limit of central differences (1e-6)."""
    own, charge = charge_of(cs.Mix.weigh(recipe), cs.species_set("nasa-1993"))
    model = solver.model_of(own)
    n = len(charge.elements)
    step = np.append(1e-4 * charge.elements, 2e-6 * abs(charge.enthalpy))
    elements = np.tile(charge.elements, (2 * n + 3, 1))
    enthalpy = np.full(2 * n + 3, charge.enthalpy)
    for i in range(n):
        elements[1 + 2 * i, i] += step[i]
        elements[2 + 2 * i, i] -= step[i]
    enthalpy[-2] += step[-1]
    enthalpy[-1] -= step[-1]
    pressure = np.full(2 * n + 3, 4e6)
    found = solution.solve(model, elements, enthalpy, pressure, ATMOSPHERE, flow)
    here = solution.solve(
        model, elements[:1], enthalpy[:1], pressure[:1], ATMOSPHERE, flow
    )
    analytic = sensitivity.derivatives(model, here)
    gain = 2.0 * (found.chamber.enthalpy - found.throat.enthalpy)
    volume = found.throat.gas_moles * found.throat.temperature / found.throat.pressure
    c_star = 4e6 * 8.31446261815324 * volume / np.sqrt(gain)
    leaving = np.sqrt(2.0 * (found.chamber.enthalpy - found.leaving.enthalpy))
    for value, ours in (
        (found.chamber.temperature, analytic.temperature[0]),
        (c_star, analytic.characteristic_velocity[0]),
        (leaving, analytic.exit_velocity[0]),
    ):
        differences = (value[1::2] - value[2::2]) / (2.0 * step)
        scale = np.abs(differences).max()
        np.testing.assert_allclose(ours[:-1], differences[:-1], atol=1e-6 * scale)
        assert ours[-1] == pytest.approx(differences[-1], rel=1e-6)


@pytest.mark.exact
def test_derivatives_on_a_plateau() -> None:
    """On a melting plateau heat melts carbonate and warms nothing.

    Exact: dT = 0; where the throat lies on the same plateau dh_t = (T_t/T_c) dH = dH,
    so that c* does not move either; the exit is colder, and its velocity moves.
    """
    found = cs.sensitivities(
        cs.Mix.weigh({"KNO3": 80, "sucrose": 15, "water": 5}), flow="equilibrium"
    )
    assert abs(found.by_enthalpy[0]).max() < 1e-12
    assert abs(found.by_enthalpy[1]).max() < 1e-12
    assert abs(found.by_enthalpy[2]).max() > 1e-6
