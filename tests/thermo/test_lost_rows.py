"""A row that is lost on the way takes nothing from the others."""

from __future__ import annotations

import numpy as np
import pytest
from equilibrium_checks import scope

import castsugar as cs
from castsugar import numerics


@pytest.mark.exact
def test_lost_rows_take_nothing_from_others() -> None:
    """The whole triangle, corners without nitrate or carbon included: alone alike."""
    corners = ["KNO3", "powdered sugar", "corn syrup"]
    points = numerics.triangle(0.05)
    # These two were once called cold in company, for a sum that a lost row had spoilt.
    rare = np.array([[0.0, 0.22, 0.78], [0.0, 0.21, 0.79], [0.9, 0.0, 0.1]])
    shares = np.vstack([points, rare])
    every = cs.evaluate(cs.blend(corners, shares), flow="equilibrium")
    assert set(every["status"]) == {"ok", "cold"}
    for row in [*range(0, len(points), 7), *range(len(points), len(shares))]:
        alone = cs.evaluate(cs.blend(corners, shares[[row]]), flow="equilibrium")
        assert alone["status"][0] == every["status"][row]
        for key in ("flame_temperature_K", "exit_temperature_K"):
            np.testing.assert_allclose(alone[key][0], every[key][row], atol=1e-7)


@pytest.mark.exact
def test_throat_on_a_step_of_a_heat_capacity() -> None:
    """Where a fit's heat capacity steps, so does the sound speed: still a throat.

    Na2CO3(II) at 723.15 K; the second solver, which looks for the largest mass flux,
    finds the same c*.
    """
    mix = cs.Mix.weigh(
        {
            "NaNO3": 0.819837,
            "sucrose": 0.0452231,
            "xylitol": 0.00268577,
            "erythritol": 0.073583,
            "water": 0.0586711,
        }
    )
    table = cs.evaluate(mix, pressure=137024.6568, flow="equilibrium", confirm=True)
    assert table["confirmation"][0] == "confirmed"
    assert abs(table["difference_characteristic_velocity_ppm"][0]) < 2.0


@pytest.mark.exact
@pytest.mark.slow
@pytest.mark.parametrize("flow", scope.FLOWS)
def test_random_mixes_of_the_whole_scope(flow: str) -> None:
    """A tenth of ``benchmarks/validation/thermochemistry.py``; warnings are errors.

    There 12 of 20,000 are lost at most: 5 of 2,000 are three standard errors of that.
    """
    found = scope.outcome(2000, 12, flow)
    assert len(found.reasons) <= 5, found.reasons
    assert all(": " in reason for reason in found.reasons)
    assert found.ok > 1500
    assert found.below_the_fits > 20
    assert found.unflagged == 0
