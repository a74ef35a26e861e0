"""A row that is lost on the way takes nothing from the others."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from equilibrium_checks import scope

import castsugar as cs
from castsugar import numerics
from castsugar.thermo.gibbs import newton, starts


@pytest.mark.slow
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


#: Linear programs that a row may cost before it is given up.
MOST = 20


@pytest.mark.exact
@pytest.mark.parametrize("times", [1, 1000])
def test_a_row_whose_first_guess_fails_costs_few_linear_programs(
    times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The iteration refuses one mix of eleven, once or always.

    Once: the linear programs find the same state. Always: it is given up after a few.
    The others are as they were, but for the last bits: a batch has a row less.
    """
    shares = np.linspace(0.55, 0.75, 11)[:, None] * [1.0, -1.0] + [0.0, 1.0]
    blends, victim = cs.blend(["KNO3", "sucrose"], shares), 4
    before = cs.evaluate(blends)
    real_run, real_program = newton.run, starts.linear_program
    refused, programs = [], []

    def run(model: Any, batch: Any, *rest: Any, **more: Any) -> newton.Outcome:
        outcome = real_run(model, batch, *rest, **more)
        own = blends.elements[victim][blends.elements[victim] > 0.0]
        here = (batch.elements == own).all(axis=1)
        if here.any() and len(refused) < times:
            refused.append(here)
            outcome.solved[here] = False
        return outcome

    def program(*given: Any, **more: Any) -> Any:
        programs.append(given)
        return real_program(*given, **more)

    monkeypatch.setattr(newton, "run", run)
    monkeypatch.setattr(starts, "linear_program", program)
    after = cs.evaluate(blends)
    assert 1 <= len(programs) <= MOST
    status = ["ok"] * len(blends)
    if times > 1:
        status[victim] = "no convergence: the chamber was not found"
    assert list(after["status"]) == status
    fine = [row for row, word in enumerate(status) if word == "ok"]
    for key in ("flame_temperature_K", "characteristic_velocity_m_s"):
        np.testing.assert_allclose(after[key][fine], before[key][fine], rtol=1e-10)
        assert np.isnan(after[key].drop(fine)).all()


@pytest.mark.slow
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
