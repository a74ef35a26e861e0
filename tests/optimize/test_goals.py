"""Goals that people have: impulse of the motor, cost, syrup, change; and what is none.

The motor and the prices are invented.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar import search
from castsugar.constants import STANDARD_GRAVITY
from castsugar.costs import Prices
from castsugar.kitchen import Cook, Kitchen
from castsugar.motor.burn_evidence import STRANDS, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.fired_mixes import firings, impulses
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.optimize.multistart import Effort
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.task import Sloppiness
from castsugar.rows import records

# Exact: projections and sums by hand; one model held against another of this library.
pytestmark = pytest.mark.exact

NAMES = ("potassium nitrate", "sucrose", "light corn syrup")
MINE = dict(zip(NAMES, (0.7, 0.2, 0.1), strict=True))
BOUNDS = dict(zip(NAMES, ((0.5, 0.6), (0.0, 1.0), (0.0, 1.0)), strict=True))
PRICES = Prices("EUR", {"KNO3": 4.0, "sucrose": 1.0, "corn syrup": 3.0})
QUICK = Effort(points=60, prices=False)


def asked(objective: str, **options: object) -> Outcome:
    """Search the least of a column."""
    usual = {"maximise": False, "effort": QUICK, "confirm": False}
    given = {"ingredients": BOUNDS, "objective": objective, **usual, **options}
    return search(**given)  # type: ignore[arg-type]


def least_change(**options: object) -> Outcome:
    return asked(
        "change_from_recipe_percent", tried={"mine": MINE}, near="mine", **options
    )


@pytest.mark.parametrize(
    ("ratios", "wanted"),
    [
        # On x1 = 0.6 with the sum kept: what is taken goes to both others alike.
        ((), (0.6, 0.25, 0.15)),
        # On the line x1 = 0.6, x2 = x3.
        (("sucrose:corn syrup = 1",), (0.6, 0.2, 0.2)),
    ],
)
def test_least_change_is_the_projection(
    ratios: tuple[str, ...], wanted: tuple[float, ...]
) -> None:
    """The nearest mix of a convex region: its projection, and its distance."""
    found = least_change(ratios=ratios).found
    np.testing.assert_allclose(found.fractions, wanted, atol=2e-5)
    away = np.array(wanted) - (0.7, 0.2, 0.1)
    assert found.objective == pytest.approx(100.0 * np.linalg.norm(away), rel=1e-8)


def test_a_recipe_that_keeps_all_limits_stays() -> None:
    """No change at all; the recipe itself, also rounded."""
    found = least_change(
        ingredients=BOUNDS | {NAMES[0]: (0.5, 0.8)}, batch=0.2, scale_step=1e-3
    )
    assert found.found.objective == pytest.approx(0.0, abs=1e-9)
    assert found.chosen == "percents"
    assert found.recipe == pytest.approx(MINE)


def test_what_the_search_has_not_is_taken_out() -> None:
    """1 % of iron oxide cannot stay: at least sqrt(1 + 3 (1/3)^2) points."""
    iron = {NAMES[0]: 0.55, NAMES[1]: 0.3, NAMES[2]: 0.14, "red iron oxide": 0.01}
    found = asked("change_from_recipe_percent", tried={"mine": iron}, near="mine").found
    np.testing.assert_allclose(
        found.fractions, np.array([0.55, 0.3, 0.14]) + 0.01 / 3.0, atol=1e-5
    )
    assert found.objective == pytest.approx(np.sqrt(1.0 + 1.0 / 3.0), rel=1e-6)


def test_cost_is_price_over_impulse() -> None:
    """By hand from the row; half of the water of the syrup leaves and was paid for."""
    found = asked("cost_per_1000_N_s", prices=PRICES, water_lost=0.5)
    row = found.rows["best"]
    price = float(found.found.fractions @ [4.0, 1.0, 3.0])
    water = 0.01 * row["water_as_weighed_percent"]
    impulse = STANDARD_GRAVITY * row["specific_impulse_s"] * (1.0 - 0.5 * water)
    assert found.found.objective == pytest.approx(1e3 * price / impulse, rel=1e-6)


@pytest.mark.slow
def test_where_all_cost_the_same_the_cheapest_has_most_impulse() -> None:
    """Per N s; no water leaves."""
    alike = Prices("EUR", dict.fromkeys(NAMES, 2.0))
    cheap = asked("cost_per_1000_N_s", prices=alike).found
    best = asked("specific_impulse_s", maximise=True).found
    np.testing.assert_allclose(cheap.fractions, best.fractions, atol=2e-4)
    wanted = 2e3 / (STANDARD_GRAVITY * best.objective)
    assert cheap.objective == pytest.approx(wanted, rel=1e-6)


def motor(**more: object) -> Hardware:
    """Return a motor whose mixes all burn alike."""
    burned = Burned(
        name="mine",
        batch="mine",
        fractions=MINE,
        pressure=np.array([2e6, 2e6, 4e6, 4e6]),
        rate=np.array([8e-3, 8.1e-3, 10.4e-3, 10.5e-3]),
        kind=STRANDS,
    )
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=3
        ),
        throat_diameter=0.009,
        exit_diameter=0.02,
        burning=BurnModel([burned]),
        **more,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("more", [{}, {"efficiency": 0.9, "nozzle_efficiency": 0.95}])
def test_impulses_of_many_mixes_are_those_of_their_traces(more: dict) -> None:
    """Fired one by one, and all at once; order and neighbours do not matter."""
    mixes = [
        cs.Mix.weigh({NAMES[0]: x, NAMES[1]: 1.0 - x - 0.1, NAMES[2]: 0.1})
        for x in np.linspace(0.55, 0.72, 5)
    ]
    hardware = motor(**more)
    table = cs.evaluate(mixes, motor=hardware, confirm=False)
    single = firings(hardware, mixes, records(table.to_dict("list")))
    wanted = [one.trace.total_impulse for one in single if one is not None]
    keys = ("density_kg_m3", "characteristic_velocity_m_s", "isentropic_exponent")

    shares = np.array([[dict(mix.recipe)[name] for name in NAMES] for mix in mixes])
    density, velocity, exponent = table[list(keys)].to_numpy(float).T

    def at_once(rows: list[int]) -> np.ndarray:
        return impulses(
            hardware,
            cs.blend(NAMES, shares[rows]),
            density=density[rows],
            characteristic_velocity=velocity[rows],
            exponent=exponent[rows],
        )

    found = at_once([0, 1, 2, 3, 4])
    np.testing.assert_allclose(found, wanted, rtol=1e-4)
    np.testing.assert_allclose(at_once([3, 1]), found[[3, 1]], rtol=1e-12)


@pytest.mark.slow
def test_most_impulse_counts_the_losses_that_are_known() -> None:
    """The best mix of a motor, and its row fired by itself; losses scale it."""
    found = [
        asked("total_impulse_N_s", maximise=True, motor=motor(**more))
        for more in ({}, {"efficiency": 0.9, "nozzle_efficiency": 0.95})
    ]
    for outcome in found:
        mix = cs.Mix.weigh(outcome.found.recipe)
        (fired,) = firings(outcome.task.settings.motor, [mix], [outcome.rows["best"]])
        assert fired is not None
        assert outcome.found.objective == pytest.approx(
            fired.trace.total_impulse, rel=1e-4
        )
    assert found[1].found.objective < 0.9 * found[0].found.objective


@pytest.mark.slow
def test_least_syrup_that_pours_by_brute_force() -> None:
    """No mix of a lattice of half a percent pours with less."""
    kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    pours = cs.Requirement(column="pour_viscosity_Pa_s", at_most=10.0, probability=0.8)
    space = {NAMES[0]: (0.55, 0.6), "powdered sugar": (0.1, 0.3), NAMES[2]: (0.1, 0.3)}
    found = asked("syrup_percent", ingredients=space, kitchen=kitchen, limits=[pours])
    assert found.feasible
    assert found.found.objective == pytest.approx(100.0 * found.found.fractions[2])
    nitrate, syrup = np.meshgrid(
        np.arange(0.55, 0.601, 5e-3), np.arange(0.15, 0.3, 5e-3)
    )
    mixes = np.stack([nitrate, 1.0 - nitrate - syrup, syrup], axis=-1).reshape(-1, 3)
    problem, goal = found.task.problem(), found.task.goal()
    values = dict(zip(problem.columns, problem.evaluate(mixes).T, strict=True))
    (limit,) = goal.limits
    pouring = values["syrup_percent"][limit.slack(values[limit.column]) >= 0.0]
    assert found.found.objective <= pouring.min() + 1e-6
    assert found.found.objective > pouring.min() - 1.0


@pytest.mark.parametrize(
    ("objective", "options", "words"),
    [
        ("peak_pressure_MPa", {"maximise": True, "motor": motor()}, "is no goal"),
        ("peak_pressure_p95_MPa", {"maximise": True, "motor": motor()}, "burst cases"),
        ("pressure_margin_percent", {"motor": motor()}, "least pressure_margin"),
        (
            "specific_impulse_s",
            {
                "motor": motor(),
                "front": (("specific_impulse_s", True), ("peak_pressure_MPa", True)),
            },
            "most peak_pressure_MPa is no goal",
        ),
        (
            "weighted sum",
            {"motor": motor(), "weights": {"peak_pressure_MPa": -1.0}},
            "most peak_pressure_MPa is no goal",
        ),
        ("total_impulse_N_s", {"maximise": True}, "needs a motor"),
        ("cost_per_1000_N_s", {}, "none is stated of potassium nitrate, sucrose, "),
        (
            "cost_per_1000_N_s",
            {"prices": Prices("EUR", {"KNO3": 4.0, "sucrose": 1.0})},
            "none is stated of light corn syrup: add price",
        ),
        ("syrup_percent", {}, "needs a kitchen"),
        (
            "syrup_percent",
            {"kitchen": Kitchen(cook=Cook.hold(392.15, 480.0))},
            "add pour_viscosity_Pa_s to",
        ),
        ("change_from_recipe_percent", {}, "needs the recipe"),
        ("change_from_recipe_percent", {"near": "min"}, "'min'"),
    ],
)
def test_refused(objective: str, options: dict, words: str) -> None:
    """One line that says what is missing, or why it is no goal."""
    with pytest.raises(cs.CastsugarError) as caught:
        asked(objective, **options)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.slow
def test_less_pressure_may_be_looked_for() -> None:
    """The other way round nothing is refused."""
    found = asked("peak_pressure_MPa", motor=replace(motor()))
    assert found.found.status == "optimal"


@pytest.mark.slow
def test_the_price_of_a_bound_is_how_fast_the_distance_falls() -> None:
    """At x1 at most b: (0.7 - b) sqrt(1 + 1/4 + 1/4) away, in points."""
    found = least_change(effort=Effort(points=60)).found
    (row,) = (row for row in found.rows if "at most 60 %" in row.name)
    assert row.price is not None
    slope = -100.0 * np.sqrt(1.5)
    assert row.price.multiplier == pytest.approx(slope, rel=1e-4)
    # A point looser buys a point of it; that is searched again.
    assert row.price.gain == pytest.approx(0.01 * slope, rel=1e-3)


@pytest.mark.slow
def test_a_front_of_impulse_against_cost() -> None:
    """From the most impulse on it falls, and so does the cost."""
    both = (("total_impulse_N_s", True), ("cost_per_1000_N_s", False))
    found = asked(
        "total_impulse_N_s", maximise=True, motor=motor(), prices=PRICES, front=both
    )
    assert found.front is not None
    assert found.front.first[0] == pytest.approx(found.found.objective, rel=1e-4)
    assert (np.diff(found.front.first) < 0.0).all()
    assert (np.diff(found.front.second) < 0.0).all()


@pytest.mark.slow
def test_a_goal_with_batches_that_miss_their_recipe() -> None:
    """Least change under a limit, robust: farther away than the nominal."""
    limit = cs.Requirement(column="flame_temperature_K", at_most=1490.0)
    found = least_change(limits=[limit], sloppiness=Sloppiness(weighing=1e-3))
    assert found.robust is not None
    assert found.robust.found.objective > found.found.objective
    assert found.robust.price > 0.0
