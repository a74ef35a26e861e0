"""``cs.search`` in one call: names, choices, refusals, and the fake optimum.

Exact: answers are held against evaluations of their own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar import Hardware, search
from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.delivered import delivered_of
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize.multistart import Effort
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.search import known_mixes
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import TableProblem, Task

pytestmark = pytest.mark.exact

QUICK = Effort(points=60, prices=False)


def asked(**options: object) -> Outcome:
    """Search the best c* below 1600 K, with as little effort as does."""
    usual: dict[str, object] = {
        "objective": "characteristic_velocity_m_s",
        "limits": [cs.Requirement(column="flame_temperature_K", at_most=1600.0)],
        "effort": QUICK,
        "confirm": False,
    }
    ingredients = {"KNO3": (0.55, 0.75), "sugar": (0.2, 0.4), "corn syrup": 0.1}
    return search(ingredients, **(usual | options))  # type: ignore[arg-type]


def test_aliases_and_fixed_parts() -> None:
    """Catalogue names in the answer; the fixed part stays."""
    outcome = asked()
    assert outcome.found.status == "optimal"
    recipe = outcome.found.recipe
    assert set(recipe) == {"potassium nitrate", "sucrose", "light corn syrup"}
    assert recipe["light corn syrup"] == pytest.approx(0.1, abs=1e-9)
    row = cs.evaluate(cs.Mix.weigh(dict(recipe)), flow="no-solidification").iloc[0]
    assert row["flame_temperature_K"] <= 1600.0 + 1e-6
    assert outcome.found.values["flame_temperature_K"] == pytest.approx(
        row["flame_temperature_K"], abs=1e-6
    )


@pytest.mark.slow
def test_a_choice_of_sugars() -> None:
    """The chosen one gives at least what each alone gives."""
    best = asked(choices={"sugar": ["sucrose", "sorbitol"]})
    alone = []
    for name in ("sucrose", "sorbitol"):
        found = search(
            {"KNO3": (0.55, 0.75), name: (0.2, 0.4), "corn syrup": 0.1},
            objective="characteristic_velocity_m_s",
            limits=[cs.Requirement(column="flame_temperature_K", at_most=1600.0)],
            effort=QUICK,
            confirm=False,
        ).found
        alone.append(found.objective)
    assert best.found.objective >= max(alone) * (1.0 - 1e-6)
    assert best.found.choice["sugar"] in ("sucrose", "sorbitol")


@pytest.mark.slow
def test_a_weighted_sum() -> None:
    """Half of c*: the same mix, half the objective."""
    half = asked(objective="weighted sum", weights={"characteristic_velocity_m_s": 0.5})
    whole = asked()
    assert half.found.objective == pytest.approx(0.5 * whole.found.objective, rel=1e-6)


def motor_of(*burned: Burned, **more: object) -> Hardware:
    """Return an invented motor with what was burned."""
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=BurnModel(burned),
        **more,  # type: ignore[arg-type]
    )


def test_the_delivered_impulse_is_that_of_the_motor() -> None:
    """As `delivered_of` gives it of the same row: one value for one quantity."""
    motor = motor_of(exit_diameter=0.012, efficiency=0.9)
    name = "delivered_specific_impulse_s"
    space = Space(bounds={"potassium nitrate": (0.5, 0.7), "sucrose": (0.3, 0.5)})
    settings = Settings(items=space.columns, motor=motor, pressure=3e6)
    problem = TableProblem(settings=settings, wanted=(name,))
    (delivered,) = problem.evaluate(np.array([[0.65, 0.35]]))[0]
    row = cs.evaluate(
        cs.Mix.weigh({"KNO3": 65, "sucrose": 35}),
        pressure=3e6,
        flow=settings.flow,
        motor=motor,
    ).iloc[0]
    found = delivered_of(motor, dict(row), pressure=3e6)
    assert delivered == pytest.approx(found.specific_impulse.value, rel=1e-6)
    assert found.expansion < 0.99


def strands(name: str, batch: str, **fractions: float) -> Burned:
    """Return three invented strands of a mix."""
    return Burned(
        name=name,
        batch=batch,
        fractions={n.replace("_", " "): x for n, x in fractions.items()},
        pressure=np.array([1e6, 2e6, 4e6]),
        rate=np.array([4.6e-3, 5.7e-3, 7.1e-3]),
    )


def test_mixes_that_were_made_or_burned_are_starts() -> None:
    """Each once, with the ingredients of the space alone."""
    space = Space(bounds={"potassium nitrate": (0.5, 0.7), "sucrose": (0.3, 0.5)})
    motor = motor_of(
        strands("own", "1", potassium_nitrate=0.65, sucrose=0.35),
        strands("again", "2", potassium_nitrate=0.65, sucrose=0.35),
        strands("other", "3", potassium_nitrate=0.65, sorbitol=0.35),
    )
    task = Task(
        space=space,
        settings=Settings(items=space.columns, motor=motor),
        tried={"made": {"potassium nitrate": 6.0, "sucrose": 4.0}},
    )
    assert known_mixes(task) == ((0.6, 0.4), (0.65, 0.35))


@pytest.mark.slow
def test_a_rounded_recipe_is_held_against_its_own_pressure() -> None:
    """58.6/41.4 burns slower than 59/41: its 95 % pressure lies lower.

    The case holds the first and not the second, and no limit was set on the pressure:
    the whole percents keep every limit, and are refused by their own row.
    """
    items = ("potassium nitrate", "sucrose")
    motor = motor_of(strands("own", "1", potassium_nitrate=0.6, sucrose=0.4))
    mixes = [
        cs.Mix.weigh(dict(zip(items, s, strict=True)))
        for s in ((0.586, 0.414), (0.59, 0.41))
    ]
    pressures = cs.evaluate(mixes, flow="no-solidification", motor=motor)[
        "peak_pressure_p95_MPa"
    ]
    assert pressures[1] > 1.002 * pressures[0]
    motor = replace(motor, case=Case(rated_pressure=1e6 * pressures.mean()))
    outcome = search(
        {"KNO3": (0.586, 0.65), "sucrose": (0.35, 0.414)},
        objective="characteristic_velocity_m_s",
        maximise=False,
        effort=QUICK,
        confirm=False,
        motor=motor,
    )
    assert outcome.refused == ""
    made = outcome.percents
    assert made is not None
    assert made.feasible
    assert "95 % pressure of this recipe exceeds" in made.refused
    assert not made.offered


@pytest.mark.parametrize(
    ("options", "kind", "meaning"),
    [
        ({"objective": "c_star"}, cs.UnknownNameError, "c_star"),
        ({"objective": "pour_viscosity_Pa_s"}, cs.InputError, "needs a kitchen"),
        ({"objective": "peak_pressure_MPa"}, cs.InputError, "needs a motor"),
        (
            {"objective": "delivered_specific_impulse_s"},
            cs.InputError,
            "needs an efficiency",
        ),
        ({"weights": {"density_kg_m3": 1.0}}, cs.InputError, "weighted sum"),
        ({"presure": 1e6}, cs.InputError, "presure"),
        ({"tried": {"best": {"KNO3": 1.0}}}, cs.InputError, "uses itself"),
        ({"ratios": ["KNO3:sugarr >= 1"]}, cs.UnknownNameError, "sugarr"),
        ({"stock": {"sugar": 0.1}}, cs.InputError, "mass of the batch"),
    ],
)
def test_refusals(
    options: dict[str, object], kind: type[Exception], meaning: str
) -> None:
    """One line that says what, and what is allowed."""
    with pytest.raises(kind, match=meaning) as caught:
        asked(**options)
    assert "\n" not in str(caught.value)


@pytest.mark.slow
def test_the_balance_takes_what_the_others_leave() -> None:
    """The same optimum as with bounds that do not bind; only one takes the rest."""
    usual = asked().found
    given = {"KNO3": (0.55, 0.75), "sugar": "balance", "corn syrup": 0.1}
    limits = [cs.Requirement(column="flame_temperature_K", at_most=1600.0)]
    found = search(
        given,
        objective="characteristic_velocity_m_s",
        limits=limits,
        effort=QUICK,
        confirm=False,
    ).found
    np.testing.assert_allclose(found.objective, usual.objective, rtol=1e-9)
    with pytest.raises(cs.InputError, match="'KNO3' and 'sugar' are both the balance"):
        search(given | {"KNO3": "balance"})


def test_what_is_outside_the_scope() -> None:
    """No perchlorate, whatever it would do."""
    with pytest.raises(cs.CastsugarError):
        search({"KClO4": (0.5, 0.7), "sucrose": (0.3, 0.5)})


def test_the_fake_optimum_is_no_optimum() -> None:
    """Equilibrium freezing at the throat makes a peak of c* near 54 %
    nitrate; a search in that flow does not take it."""
    items = ("potassium nitrate", "sucrose")
    shares = np.linspace(0.50, 0.58, 41)
    mixes = np.stack([shares, 1.0 - shares], axis=1)
    table = cs.evaluate(cs.blend(items, mixes), flow="equilibrium")
    fake = table["flags"].str.contains("freezing at the throat").to_numpy()
    assert fake.any()
    settings = Settings(items=items, flow="equilibrium")
    problem = TableProblem(settings=settings, wanted=("characteristic_velocity_m_s",))
    assert np.isnan(problem.evaluate(mixes)[fake]).all()
    outcome = search(
        {"KNO3": (0.50, 0.58), "sucrose": (0.42, 0.50)},
        objective="characteristic_velocity_m_s",
        flow="equilibrium",
        effort=QUICK,
        confirm=False,
    )
    assert not outcome.refused
    assert "freezing" not in outcome.rows["best"]["flags"]


def test_whole_percents_keep_the_stock() -> None:
    """120 g of nitrate for 200 g are 60 %, also in whole percents."""
    outcome = asked(stock={"KNO3": 0.12}, batch=0.2, scale_step=1e-3)
    assert outcome.percents is not None
    assert outcome.weighable is not None
    for made in (outcome.percents, outcome.weighable):
        assert made.fractions[0] <= 0.6 + 1e-9


def test_what_has_no_model_is_named() -> None:
    """The kitchen has none for xylitol: no mix with it is judged, and that is said."""
    outcome = search(
        {
            "KNO3": (0.55, 0.7),
            "sucrose": (0.1, 0.3),
            "corn syrup": 0.15,
            "xylitol": (0.0, 0.1),
        },
        objective="characteristic_velocity_m_s",
        limits=[cs.Requirement(column="relative_solids_20C", at_least=0.9)],
        kitchen=cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=50),
        effort=QUICK,
        confirm=False,
    )
    assert outcome.unjudged == ("xylitol",)
    assert outcome.found.recipe.get("xylitol", 0.0) == 0.0


def test_a_cook_above_150_c_is_refused_at_once() -> None:
    """There is no verdict on any mix then."""
    hot = cs.Kitchen(cook=cs.Cook.hold(443.15, 480.0), draws=50)
    with pytest.raises(cs.InputError, match="above 150 C"):
        asked(kitchen=hot)
