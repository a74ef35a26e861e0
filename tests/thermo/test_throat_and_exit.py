"""Throat and exit are those asked for: what a wrong one is found out by.

Faults are put into the solver on purpose; sound flows of every kind pass.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from equilibrium_checks import scope

import castsugar as cs
from castsugar import ConvergenceError
from castsugar.rows import shipped_species
from castsugar.thermo import certificate, solver
from castsugar.thermo import flow as frozen_flow
from castsugar.thermo.gibbs import linear, solution
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import Job

pytestmark = pytest.mark.exact

FLOWS = ("equilibrium", "no-solidification", "frozen")
MIXES = (
    {"KNO3": 65, "sucrose": 35},
    {"KNO3": 42, "sucrose": 58},  # graphite
    {"NaNO3": 60, "sorbitol": 39, "red iron oxide": 1},
)


def weighed() -> list[cs.Mix]:
    """The mixes."""
    return [cs.Mix.weigh(parts) for parts in MIXES]


def flux_excesses(asked: Job) -> tuple[Flow, np.ndarray]:
    """A flow with tested throats, and the excess of those that burn."""
    found = solver.solve(asked)
    burns = ~found.cold
    assert (found.lost[burns] == 0).all()
    return found, found.flux_excess[burns]


@pytest.mark.slow
@pytest.mark.parametrize("flow", FLOWS)
def test_sound_throats(flow: str) -> None:
    """Random mixes of the whole scope: beside every throat the flux is lower.

    Close to a smooth maximum ln G falls by (gamma + 1)/(2 gamma^2) x^2, x = 1e-3 the
    change of ln p: by 0.7e-6 to 1.1e-6 for the exponents of 1 to 1.3 that occur; more
    where a phase forms on one side.
    """
    blends = scope.blends(scope.shares(400, 12))
    found, excess = flux_excesses(
        Job(
            table=shipped_species(),
            elements=blends.elements,
            enthalpy=blends.enthalpy,
            pressure=2.0 * scope.pressures(400, 13),
            exit_pressure=101325.0,
            flow=flow,
            test_throats=True,
        )
    )
    assert len(excess) > 350
    assert excess.max() < -0.6e-6
    if flow == "equilibrium":  # pinned ones and plateaus are among them
        assert found.pinned.any()
        assert found.throat_plateau.any()
    if flow == "frozen":
        assert excess.min() > -1.5e-6


@pytest.mark.slow
def test_throats_beside_a_step() -> None:
    """Where fits or phases change within 1e-3 of a throat, one side is looked at.

    Throats at 1000 K, at 723.15 K (Na2CO3), and one behind which FeO runs out, so that
    the flux rises again at once.
    """
    steps = (
        ({"KNO3": 50.2333, "dextrose": 1.4617, "xylitol": 48.3049}, 1033085.53),
        (
            {
                "NaNO3": 0.819837,
                "sucrose": 0.0452231,
                "xylitol": 0.00268577,
                "erythritol": 0.073583,
                "water": 0.0586711,
            },
            137024.6568,
        ),
        (
            {
                "KNO3": 0.26254881431420013,
                "maltodextrin": 0.49807658029774765,
                "water": 0.22126974543156683,
                "red iron oxide": 0.018104859956485333,
            },
            914103.24,
        ),
    )
    for parts, pressure in steps:
        found = cs.performance(
            cs.Mix.weigh(parts),
            pressure=pressure,
            exit_pressure=20e3,
            flow="equilibrium",
        )
        assert found.throat.certificate.flux < 0.0


def doubled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let exits be solved at twice the pressure asked for."""
    sound, by_temperature = solution.exits, frozen_flow.temperature_at_pressure

    def exits(isentrope: Any, start: Any, log_pressure: Any) -> Any:
        return sound(isentrope, start, log_pressure + np.log(2.0))

    def temperature(table: Any, n: Any, entropy: Any, pressure: Any, guess: Any) -> Any:
        return by_temperature(table, n, entropy, 2.0 * pressure, guess)

    monkeypatch.setattr(solution, "exits", exits)
    monkeypatch.setattr(frozen_flow, "temperature_at_pressure", temperature)


@pytest.mark.parametrize("flow", FLOWS)
def test_exit_at_twice_the_pressure(monkeypatch: pytest.MonkeyPatch, flow: str) -> None:
    """Neither ok nor confirmed, in the table as alone."""
    doubled(monkeypatch)
    table = cs.evaluate(weighed(), flow=flow, confirm=True)
    assert set(table["status"]) == {"no convergence: the exit fails its check"}
    assert "confirmed" not in set(table["confirmation"])
    assert table["specific_impulse_s"].isna().all()
    with pytest.raises(ConvergenceError, match=r"fails its check: .*entropy"):
        cs.performance(weighed()[0], flow=flow)


def test_second_solver_sees_the_exit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Even without the test of its pressure a wrong exit is disputed."""
    doubled(monkeypatch)
    monkeypatch.setattr(certificate, "PRESSURE_LIMIT", np.inf)
    table = cs.evaluate(weighed()[0], flow="no-solidification", confirm=True)
    assert table["confirmation"][0] == "disputed"
    assert "ppm of specific impulse" in table["status"][0]
    # Half of the way down to 1 atm is some 10 % of the impulse.
    assert table["difference_specific_impulse_ppm"][0] < -3e4
    assert abs(table["difference_characteristic_velocity_ppm"][0]) < 5.0


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("factor", [0.99, 1.01])
def test_error_in_the_exponent(
    monkeypatch: pytest.MonkeyPatch, flow: str, factor: float
) -> None:
    """A throat found by an exponent 1 % off is found out."""
    sound, by_flux = linear.exponent, frozen_flow.throat_temperature

    def exponent(response: Any, elements: int) -> Any:
        return factor * sound(response, elements)

    def throat_temperature(table: Any, n: Any, chamber: Any) -> Any:
        # u2 = 2 cp (Tc - T) = gamma N R T: 1 % of gamma moves T by 1 % of (gamma-1)/
        # (gamma+1), some 0.1 %.
        return by_flux(table, n, chamber) * (1.0 + 0.1 * (1.0 - factor))

    monkeypatch.setattr(linear, "exponent", exponent)
    monkeypatch.setattr(frozen_flow, "throat_temperature", throat_temperature)
    table = cs.evaluate(weighed(), flow=flow, confirm=True)
    assert set(table["status"]) == {"no convergence: the throat fails its check"}
    assert "confirmed" not in set(table["confirmation"])
    with pytest.raises(ConvergenceError, match="fails its check: flux"):
        cs.performance(weighed()[0], flow=flow)


def test_chamber_at_another_pressure(monkeypatch: pytest.MonkeyPatch) -> None:
    """A chamber solved elsewhere is not ok either."""
    sound = solution.chamber.at_enthalpy

    def at_enthalpy(*given: Any) -> Any:
        return sound(*given[:-1], given[-1] + 1e-6)

    monkeypatch.setattr(solution.chamber, "at_enthalpy", at_enthalpy)
    table = cs.evaluate(weighed(), flow="equilibrium")
    assert set(table["status"]) == {"no convergence: the chamber fails its check"}


@pytest.mark.slow
def test_difference_of_specific_impulse() -> None:
    """Both solvers reach the exit; they agree as closely as on c*."""
    table = cs.evaluate(weighed()[::2], flow="no-solidification", confirm=True)
    assert set(table["confirmation"]) == {"confirmed"}
    # Tolerance as for c*: bracketed searches of 2e-7 in ln p.
    assert table["difference_specific_impulse_ppm"].abs().max() < 5.0
    chamber = cs.evaluate(weighed()[0], exit_pressure=None, confirm=True)
    assert chamber["difference_specific_impulse_ppm"].isna().all()
