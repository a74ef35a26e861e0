"""The batched solver against independent states, the other route, and itself."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import castsugar as cs
from castsugar.thermo import batch
from castsugar.thermo.charge import charge_of
from castsugar.thermo.gibbs import linear, newton, sensitivity, solution, starts
from castsugar.thermo.gibbs.model import FixedModel
from castsugar.thermo.gibbs.target import Target
from castsugar.thermo.second_opinion import route

ITEMS = ["KNO3", "sucrose", "water"]
ATMOSPHERE = 101325.0

with (Path(__file__).parent / "independent_states.csv").open() as stream:
    STATES = list(csv.DictReader(stream))


def number(name: str) -> np.ndarray:
    """One column of the independent states."""
    return np.array([float(row[name]) for row in STATES])


@pytest.fixture(scope="module")
def tables() -> dict[str, pd.DataFrame]:
    """All states in one batch a flow, with the data read as 1 atm data."""
    species = cs.species_set("nasa-1993").at_reference_pressure(ATMOSPHERE)
    names = ("potassium_nitrate", "sucrose", "water")
    shares = np.column_stack([number(f"{n}_mass_fraction") for n in names])
    blends = cs.blend(ITEMS, shares / shares.sum(axis=1, keepdims=True))
    return {
        flow: cs.evaluate(
            blends,
            pressure=1e6 * number("chamber_pressure_MPa"),
            flow=flow,
            species=species,
        )
        for flow in ("equilibrium", "frozen", "no-solidification")
    }


# Independent calculation, not a publication: another kernel and, for 50 of 51 rows,
# another solver, with the same fits and reactants (1 atm reference pressure).
@pytest.mark.published
@pytest.mark.parametrize("row", range(len(STATES)))
def test_independent_state(tables: dict[str, pd.DataFrame], row: int) -> None:
    """Flame and exit within 1e-3 K, c* and impulse within 1 ppm, all three flows."""
    state = {k: v if "phases" in k else float(v) for k, v in STATES[row].items()}
    found = {flow: table.iloc[row] for flow, table in tables.items()}
    shifting = found["equilibrium"]
    assert shifting["status"] == "ok"
    for key in ("flame_temperature_K", "exit_temperature_K"):
        assert shifting[key] == pytest.approx(state[key], abs=1e-3)
    performance = ("characteristic_velocity_m_s", "specific_impulse_s")
    for key in performance:
        assert shifting[key] == pytest.approx(state[key], rel=1e-6)
        assert found["frozen"][key] == pytest.approx(state[f"frozen_{key}"], rel=1e-6)
    assert shifting["isentropic_exponent"] == pytest.approx(
        state["isentropic_exponent"], abs=1e-5
    )
    assert ("pinned" in shifting["flags"]) == bool(state["throat_pinned"])
    # The file forbids K2CO3(s) downstream, our flow any new solid: compare where
    # graphite plays no part and the chamber is above the melting point.
    if state["flame_temperature_K"] > 1175.0 and "C(gr)" not in state["exit_phases"]:
        for key in performance:
            assert found["no-solidification"][key] == pytest.approx(
                state[f"supercooled_{key}"], rel=1e-6
            )


@pytest.mark.published
def test_second_route_on_independent_states() -> None:
    """The Cantera route: 0.01 K and 5 ppm (150 at the pinned throat), >= 50 of 51."""
    species = cs.species_set("nasa-1993").at_reference_pressure(ATMOSPHERE)
    solved = 0
    for row in STATES:
        mix = cs.Mix.weigh(
            {
                "KNO3": float(row["potassium_nitrate_mass_fraction"]),
                "sucrose": float(row["sucrose_mass_fraction"]),
                "water": float(row["water_mass_fraction"]),
            }
        )
        table, charge = charge_of(mix, species)
        pressure = 1e6 * float(row["chamber_pressure_MPa"])
        try:
            flow = route.solve(table, charge, pressure, ATMOSPHERE, "equilibrium")
        except cs.ConvergenceError:
            continue
        solved += 1
        room = 150e-6 if row["throat_pinned"] == "1" else 5e-6
        assert flow.chamber.temperature == pytest.approx(
            float(row["flame_temperature_K"]), abs=0.01
        )
        assert flow.characteristic_velocity == pytest.approx(
            float(row["characteristic_velocity_m_s"]), rel=room
        )
        assert flow.exit_velocity / 9.80665 == pytest.approx(
            float(row["specific_impulse_s"]), rel=room
        )
    assert solved >= 50


@pytest.mark.published
def test_textbook_problem_through_the_same_core() -> None:
    """White, Johnson & Dantzig, J. Chem. Phys. 28 (1958) 751 (from memory, reproduced).

    1/2 N2H4 + 1/2 O2 at 3500 K and 750 psi; tolerance 1e-5 in f, 2e-6 in x.
    """
    constants = np.array(
        [
            -6.089,
            -17.164,
            -34.054,
            -5.914,
            -24.721,
            -14.986,
            -24.1,
            -10.708,
            -26.662,
            -22.179,
        ]
    )
    # H, H2, H2O, N, N2, NH, NO, O, O2, OH; columns H, N, O.
    atoms = np.array(
        [
            [1, 0, 0],
            [2, 0, 0],
            [2, 0, 1],
            [0, 1, 0],
            [0, 2, 0],
            [1, 1, 0],
            [0, 1, 1],
            [0, 0, 1],
            [0, 0, 2],
            [1, 0, 1],
        ]
    )
    model, amounts = FixedModel(constants, atoms), np.array([[2.0, 1.0, 1.0]])
    unknowns = starts.by_linear_program(model, amounts, np.zeros(1), 1000.0)
    problem = starts.whole_batch(model, amounts)
    outcome = newton.run(model, problem, unknowns, Target("temperature", np.zeros(1)))
    assert outcome.solved.all()
    sums = linear.moments(model, problem, unknowns, every=True)
    x = sums.moles[0] * sums.fractions[0]
    published = [0.040668, 0.147730, 0.783153, 0.001414, 0.485247, 0.000693, 0.027399]
    published += [0.017947, 0.037314, 0.096871]
    np.testing.assert_allclose(x, published, atol=2e-6)
    f = (x * (constants + np.log(x / x.sum()))).sum()
    assert f == pytest.approx(-47.76109, abs=1e-5)


def region(pressure: float, exit_pressure: float, flow: str) -> solution.Flow:
    """Solve 561 mixes of KNO3 0.40 to 0.85 and water 0 to 0.10."""
    k, w = np.meshgrid(np.linspace(0.40, 0.85, 51), np.linspace(0.0, 0.10, 11))
    k, w = k.ravel(), w.ravel()
    blends = cs.blend(ITEMS, np.column_stack([k, 1 - k - w, w]))
    return batch.solve(
        batch.Job(
            table=cs.species_set("nasa-1993"),
            elements=blends.elements,
            enthalpy=blends.enthalpy,
            pressure=np.full(len(k), pressure),
            exit_pressure=exit_pressure,
            flow=flow,
        )
    )


@pytest.mark.exact
@pytest.mark.parametrize("flow", ["equilibrium", "no-solidification"])
@pytest.mark.parametrize("pressure", [0.1e6, 0.3e6, 1e6, 3e6, 6.9e6, 10e6])
def test_no_failure_in_the_region(pressure: float, flow: str) -> None:
    """Exact: every state satisfies its defining conditions, or the mix is cold."""
    found = region(pressure, 0.02e6 if pressure == 0.1e6 else ATMOSPHERE, flow)
    assert not found.lost.any()
    for station in (found.chamber, found.throat, found.leaving):
        assert (station.residual[~found.cold] < 1.0).all()
    # The flux is largest at the throat: the flow is faster downstream, slower upstream.
    assert (found.throat.pressure < found.chamber.pressure)[~found.cold].all()


@pytest.mark.exact
def test_cold_mixes_hold_less_than_their_products() -> None:
    """Cold is shown, not assumed: H(600 K) of the products lies above."""
    shown = 0
    for water in (0.06, 0.08, 0.10):
        for nitrate in (0.82, 0.84, 0.85):
            shares = {"KNO3": nitrate, "water": water, "sucrose": 1 - nitrate - water}
            mix = cs.Mix.weigh(shares)
            if cs.evaluate(mix)["status"][0] == "cold":
                products = cs.equilibrium(mix, temperature=600.0)
                assert products.enthalpy > mix.enthalpy
                shown += 1
    assert shown >= 6


@pytest.mark.exact
def test_rows_do_not_know_their_neighbours() -> None:
    """Alone, in 2, in 5,151 and shuffled: the same to 1e-9 K; twice: the same bytes."""
    points = np.array([(i, j) for i in range(101) for j in range(51)], dtype=float)
    k, w = 0.40 + 0.0045 * points[:, 0], 0.002 * points[:, 1]
    shares = np.column_stack([k, 1 - k - w, w])
    every = cs.evaluate(cs.blend(ITEMS, shares))
    assert every.equals(cs.evaluate(cs.blend(ITEMS, shares)))
    order = np.random.default_rng(1).permutation(len(shares))
    mixed = cs.evaluate(cs.blend(ITEMS, shares[order]))
    back = mixed.iloc[np.argsort(order)].reset_index(drop=True)
    picked = [7, 1234, 2600, 4000, 5100]
    two = cs.evaluate(cs.blend(ITEMS, shares[[7, 1234]]))
    for key, room in (
        ("flame_temperature_K", 1e-9),
        ("throat_temperature_K", 1e-7),
        ("exit_temperature_K", 1e-7),
        ("characteristic_velocity_m_s", 1e-6),
    ):
        np.testing.assert_allclose(back[key], every[key], rtol=0, atol=room)
        np.testing.assert_allclose(two[key], every[key][[7, 1234]], rtol=0, atol=room)
        for row in picked:
            alone = cs.evaluate(cs.blend(ITEMS, shares[[row]]))
            np.testing.assert_allclose(
                alone[key][0], every[key][row], atol=room, rtol=0
            )


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
    model = batch.model_of(own)
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
    found = cs.sensitivities(cs.Mix.weigh({"KNO3": 80, "sucrose": 15, "water": 5}))
    assert abs(found.by_enthalpy[0]).max() < 1e-12
    assert abs(found.by_enthalpy[1]).max() < 1e-12
    assert abs(found.by_enthalpy[2]).max() > 1e-6
