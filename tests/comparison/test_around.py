"""Mixes around two mixes: which ones, what is computed of them, which remain."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from worlds import DRY, POURED, PRESSED, SETTLED, mix, wings

import castsugar as cs
from castsugar import InputError, Kitchen
from castsugar.comparison.neighbours import (
    C_STAR,
    Neighbourhood,
    fractions_of,
    neighbourhood_task,
    neighbours_of,
    outcome_of_mix,
)
from castsugar.evaluation import evaluate_columns
from castsugar.kitchen.heat import parse_cook
from castsugar.limits import PEAK as PRESSURE
from castsugar.limits import POUR as VISCOSITY
from castsugar.limits import chance_column
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.plane import Plane, broken
from castsugar.optimize.task import TableProblem
from castsugar.plot.curves import responses_drawing
from castsugar.plot.export import written
from castsugar.plot.feasible import search_map_drawing
from castsugar.report.shown import Shown

# Exact: rules written out once more in plain loops, or counted by hand.
pytestmark = pytest.mark.exact


BENCH = mix("bench mix", KNO3=60, powdered_sugar=20, corn_syrup=20)
SYRUP = mix("more syrup", KNO3=62, powdered_sugar=14, corn_syrup=24)
SUCROSE = mix("dry", KNO3=65, sucrose=35)
MANNITOL = mix("mannitol", KNO3=65, mannitol=35)


@cache
def syrup() -> Neighbourhood:
    return neighbours_of(BENCH, SYRUP, wings(), [PRESSED, POURED, SETTLED])


@cache
def gap() -> Neighbourhood:
    return neighbours_of(SUCROSE, MANNITOL, wings(), [PRESSED, POURED, SETTLED])


def test_nothing_lies_around_one_mix() -> None:
    with pytest.raises(InputError, match="base and new mix are the same"):
        neighbours_of(SUCROSE, SUCROSE, DRY)


# Both mixes, 8 points around them: nitrate 52 to 70, sugar 6 to 28, syrup 12 to 32 %.
def test_space_of_three() -> None:
    task = neighbourhood_task(BENCH, SYRUP, DRY)
    assert list(task.space.bounds) == [
        "potassium nitrate",
        "powdered sugar",
        "light corn syrup",
    ]
    found = np.array(list(task.space.bounds.values()))
    assert found == pytest.approx(np.array([[0.52, 0.70], [0.06, 0.28], [0.12, 0.32]]))
    assert task.settings.items == task.space.columns


# Oxidizers first. Changes: nitrate 3, sugar 6, syrup 2, sucrose 1, oxide 0 points; of
# two that change alike (second case: sucrose and syrup 2) the larger one varies.
@pytest.mark.parametrize(
    ("sucrose", "syrup_part", "varies"), [(4, 22, "corn syrup"), (5, 22, "corn syrup")]
)
def test_of_more_the_three_that_change_most_vary(
    sucrose: float, syrup_part: float, varies: str
) -> None:
    rest = 100 - 62 - syrup_part - sucrose - 1
    one = {"powdered_sugar": 17, "corn_syrup": 20, "sucrose": 3, "KNO3": 59}
    two = {
        "powdered_sugar": rest,
        "corn_syrup": syrup_part,
        "sucrose": sucrose,
        "KNO3": 62,
    }
    first = mix("a", **one, **{"red_iron_oxide": 1})
    second = mix("b", **two, **{"red_iron_oxide": 1})
    space = neighbourhood_task(first, second, DRY).space
    assert next(iter(space.bounds)) == "potassium nitrate"
    assert set(space.bounds) == {
        "potassium nitrate",
        "powdered sugar",
        f"light {varies}",
    }
    assert space.fixed == pytest.approx(
        {"sucrose": 0.01 * sucrose, "red iron oxide": 0.01}
    )
    # The base has another share of sucrose: it lies beside the triangle.
    assert neighbours_of(first, second, DRY).plane is None


def test_triangle_of_five_ingredients_of_which_two_stay() -> None:
    more = {"sucrose": 2, "red_iron_oxide": 1}
    first = mix("a", KNO3=60, powdered_sugar=17, corn_syrup=20, **more)
    second = mix("b", KNO3=62, powdered_sugar=13, corn_syrup=22, **more)
    found = neighbours_of(first, second, DRY).plane
    assert found is not None
    assert found.fractions[:, 3] == pytest.approx(0.02)


def test_no_plane_through_a_line() -> None:
    assert neighbours_of(SUCROSE, mix("b", KNO3=60, sucrose=40), DRY).plane is None


def test_without_wings_their_limits_are_left_out() -> None:
    found = neighbours_of(BENCH, SYRUP, DRY, [PRESSED, POURED])
    assert found.outcome.task.requirements == ()


@pytest.mark.slow
def test_a_limit_with_a_gap_of_the_kitchen_is_left_out() -> None:
    found = gap()
    assert [r.column for r in found.outcome.task.requirements] == [PRESSURE]
    told = words_of(search_map(found.outcome, made=found.plane))
    assert "peak pressure at most" in told
    assert "pour viscosity" not in told


def test_a_kitchen_that_is_too_hot_counts_as_none() -> None:
    hot = Kitchen(cook=parse_cook("155 C", 5), draws=60)
    found = neighbours_of(BENCH, SYRUP, replace(DRY, kitchen=hot), [POURED])
    assert found.outcome.task.requirements == ()
    assert found.outcome.task.settings.kitchen is None


# In equilibrium flow this mix freezes at the throat: its c* would be left out, and with
# it everything that the pictures are about.
def test_a_mix_that_freezes_at_the_throat() -> None:
    frozen = mix("b", KNO3=53, sucrose=47)
    settings = replace(DRY, flow="equilibrium")
    task = neighbourhood_task(SUCROSE, frozen, settings)
    pair = fractions_of(task, SUCROSE, frozen)
    assert np.isnan(task.problem().evaluate(pair)[1, 0])
    found = neighbours_of(SUCROSE, frozen, settings)
    assert found.outcome.task.settings.flow == "no-solidification"
    assert np.isfinite(found.outcome.found.values[C_STAR])
    calm = neighbours_of(SUCROSE, mix("c", KNO3=64, sucrose=36), settings)
    assert calm.outcome.task.settings.flow == "equilibrium"


def search_map(outcome: Outcome, made: Plane | None = None) -> str:
    """Return the map of a search, as its file holds it."""
    return written(search_map_drawing(outcome, made=made), ".svg").decode()


def words_of(svg: str) -> str:
    return " ".join(re.findall(r">([^<>]+)<", svg))


@pytest.mark.slow
@pytest.mark.parametrize("made", [syrup, gap])
def test_pictures_of_a_stated_mix_claim_no_optimum(made: object) -> None:
    found: Neighbourhood = made()  # type: ignore[operator]
    both = (
        search_map(found.outcome, made=found.plane),
        written(responses_drawing(found.outcome, show=Shown()), ".svg").decode(),
    )
    for svg in both:
        told = words_of(svg)
        assert not re.search(r"\bbest|optim|search|bound", told, re.I)
        assert "new mix" in told
    base = BENCH if made is syrup else SUCROSE
    assert base.name in words_of(both[0])


@pytest.mark.slow
def test_a_bar_at_the_new_mix_is_its_95_percent_band() -> None:
    """The same as a table of it says: quantiles of the same draws."""
    settings = wings()
    axes = cs.plot.responses(syrup().outcome, f"{PRESSURE}, 95 of 100")
    bars = [line for line in axes.get_lines() if "95 % band" in str(line.get_label())]
    levels = ((PRESSURE, 0.025), (PRESSURE, 0.975))
    table = evaluate_columns(
        [SYRUP], kitchen=settings.kitchen, motor=settings.motor, chances=levels
    )
    expected = [table[chance_column(*one)][0] for one in levels]
    assert list(bars[0].get_ydata()) == pytest.approx(expected, rel=1e-6)


@pytest.mark.slow
def test_what_base_and_new_break_is_told() -> None:
    found = syrup()
    goal = found.outcome.found.goal
    wrong = broken(goal, found.outcome.found.values)
    assert wrong == ("pour_viscosity_Pa_s <= 10 with 80 %",)
    told = words_of(search_map(found.outcome, made=found.plane))
    assert "new mix: 62.0 / 14.0 / 24.0 %; breaks pour viscosity" in told
    assert "bench mix: 60.0 / 20.0 / 20.0 %; breaks pour viscosity" in told


def test_status_slack_and_violation_of_a_stated_mix() -> None:
    outcome = syrup().outcome
    assert outcome.found.status == "stated"
    values = outcome.found.values
    for state in outcome.found.limits:
        limit = state.limit
        assert state.value == values[limit.column]
        assert state.slack == limit.sign * (limit.value - state.value)
        assert not state.binding
    over = values[f"{VISCOSITY}, 80 of 100"] / 10.0 - 1.0
    assert outcome.found.violation == pytest.approx(over, abs=1e-6)
    assert not outcome.feasible


@pytest.mark.slow
def test_map_draws_the_plane_that_it_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    found = neighbours_of(BENCH, SYRUP, DRY)
    fresh = search_map(found.outcome)
    monkeypatch.setattr(TableProblem, "evaluate", None)
    assert search_map(found.outcome, made=found.plane) == fresh


@pytest.mark.parametrize("name", ["best", "runner 1", "percents"])
def test_a_base_may_be_called_as_the_search_calls_mixes(name: str) -> None:
    base = mix(name, KNO3=65, sucrose=35)
    task = neighbourhood_task(base, mix("b", KNO3=60, sucrose=40), DRY)
    assert list(task.tried) == [f"base: {name}"]


@pytest.mark.slow
def test_same_input_same_values() -> None:
    again = neighbours_of(BENCH, SYRUP, wings(), [PRESSED, POURED, SETTLED])
    values = (again.outcome.found.values, syrup().outcome.found.values)
    assert values[0] == values[1]
    task = neighbourhood_task(BENCH, SYRUP, wings(), [PRESSED])
    one, two = (outcome_of_mix(task, fractions_of(task, SYRUP)[0]) for _ in range(2))
    assert search_map(one) == search_map(two)
