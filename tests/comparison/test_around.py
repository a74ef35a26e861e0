"""Mixes around two mixes: which ones, what is computed of them, which remain."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from worlds import DRY, POURED, PRESSED, SETTLED, mix, wings

import castsugar as cs
from castsugar import InputError, Kitchen, Requirement
from castsugar.comparison.limits import (
    C_STAR,
    fractions_of,
    neighbourhood_task,
    outcome_of_mix,
)
from castsugar.comparison.neighbours import (
    ENDLESS,
    PRESSURE,
    VISCOSITY,
    Neighbourhood,
    best,
    coarse,
    decade_stops,
    line_through,
    linear_stops,
    moving_limits,
    neighbours_of,
    standing,
)
from castsugar.kitchen.heat import parse_cook
from castsugar.limits import Limit
from castsugar.optimize.plane import broken
from castsugar.optimize.task import TableProblem
from castsugar.report.search_map import search_map
from castsugar.report.search_trace import trace_plot

# Exact: rules written out once more in plain loops, or counted by hand.
pytestmark = pytest.mark.exact


BENCH = mix("bench mix", KNO3=60, powdered_sugar=20, corn_syrup=20)
SYRUP = mix("more syrup", KNO3=62, powdered_sugar=14, corn_syrup=24)
SUCROSE = mix("dry", KNO3=65, sucrose=35)
SORBITOL = mix("sorbitol", KNO3=65, sorbitol=35)


@cache
def syrup() -> Neighbourhood:
    return neighbours_of(BENCH, SYRUP, wings(), [PRESSED, POURED, SETTLED])


@cache
def gap() -> Neighbourhood:
    return neighbours_of(SUCROSE, SORBITOL, wings(), [PRESSED, POURED, SETTLED])


# 0.98 / 0.02 to 0.90 / 0.10: the second falls to 0 at -0.02 / 0.08 = -0.25 of the
# change; the other way 1.5 is reached first.
def test_line_is_straight_and_stops_where_an_ingredient_ends() -> None:
    change, mixes = line_through(np.array([0.98, 0.02]), np.array([0.9, 0.1]))
    assert change[[0, -1]] == pytest.approx([-0.25, 1.5])
    assert len(change) == 81
    assert mixes[:, 1] == pytest.approx(0.02 + 0.08 * change)
    assert mixes.sum(axis=1) == pytest.approx(1.0)
    assert mixes.min() >= 0.0


def test_no_line_through_one_mix() -> None:
    with pytest.raises(InputError, match="base and new mix are the same"):
        neighbours_of(SUCROSE, SUCROSE, DRY)


def test_a_triangle_needs_no_change() -> None:
    assert neighbours_of(BENCH, BENCH, DRY).kind == "triangle"


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
    assert neighbours_of(first, second, DRY).kind == "line"


def test_triangle_of_five_ingredients_of_which_two_stay() -> None:
    more = {"sucrose": 2, "red_iron_oxide": 1}
    first = mix("a", KNO3=60, powdered_sugar=17, corn_syrup=20, **more)
    second = mix("b", KNO3=62, powdered_sugar=13, corn_syrup=22, **more)
    found = neighbours_of(first, second, DRY)
    assert found.kind == "triangle"
    assert found.fractions[:, 3] == pytest.approx(0.02)


def test_neighbours_are_inside_and_are_neither_base_nor_new() -> None:
    found = syrup()
    low, high = np.array(list(found.outcome.task.space.bounds.values())).T
    mixes = found.fractions
    assert 400 < len(mixes) < 700
    assert ((mixes >= low - 1e-9) & (mixes <= high + 1e-9)).all()
    assert mixes.sum(axis=1) == pytest.approx(1.0)
    for own in (found.base.fractions, found.new.fractions):
        assert np.abs(mixes - own).max(axis=1).min() > 1e-9
    assert found.new.fractions == pytest.approx([0.62, 0.14, 0.24])


# The table of the contract, one mix at a time, knows nothing of neighbourhoods.
def test_values_are_those_of_the_table() -> None:
    found = neighbours_of(BENCH, SYRUP, DRY)
    rows = [3, 200, len(found.fractions) - 1]
    mixes = [
        cs.Mix.weigh(dict(zip(found.names, found.fractions[k].tolist(), strict=True)))
        for k in rows
    ]
    table = cs.evaluate(mixes, flow="no-solidification", confirm=False)
    for name in (C_STAR, "specific_impulse_s"):
        own = found.column(name)[rows]
        assert own == pytest.approx(table[name].to_numpy(), rel=1e-9)


def test_columns_of_all_wings_are_there() -> None:
    found = syrup()
    assert found.pressure == f"{PRESSURE}, 95 of 100"
    assert found.viscosity == f"{VISCOSITY}, 80 of 100"
    wanted = {C_STAR, "specific_impulse_s", "relative_solids_20C", found.pressure}
    assert wanted | {found.viscosity} <= set(found.columns)
    assert not found.left_out
    assert not found.gaps


def test_a_limit_on_the_best_estimate_is_looked_at_there() -> None:
    plain = Requirement(column=PRESSURE, at_most=5.0)
    assert neighbours_of(SUCROSE, mix("b", KNO3=60, sucrose=40), wings(), [plain])
    task = replace(wings(), kitchen=None)
    found = neighbours_of(SUCROSE, mix("b", KNO3=60, sucrose=40), task, [plain])
    assert (found.kind, found.pressure) == ("line", PRESSURE)


def test_without_wings_their_limits_are_left_out() -> None:
    found = neighbours_of(BENCH, SYRUP, DRY, [PRESSED, POURED])
    assert found.left_out == {
        PRESSURE: "no motor was given",
        VISCOSITY: "no kitchen was given",
    }
    assert found.outcome.task.requirements == ()
    assert (found.pressure, found.viscosity) == ("", "")
    assert np.isnan(found.column(VISCOSITY)).all()


def test_a_gap_of_the_kitchen_is_told() -> None:
    found = gap()
    assert found.gaps == {"kitchen": "sorbitol: no model for sorbitol"}
    assert found.left_out[VISCOSITY] == "not computed for one of the mixes"
    assert [r.column for r in found.outcome.task.requirements] == [PRESSURE]
    told = words_of(search_map(found.outcome, made=found.plane))
    assert "peak pressure at most" in told
    assert "pour viscosity" not in told


def test_a_kitchen_that_is_too_hot_is_told() -> None:
    hot = Kitchen(cook=parse_cook("155 C", 5), draws=60)
    found = neighbours_of(BENCH, SYRUP, replace(DRY, kitchen=hot), [POURED])
    assert "no verdict above 150 C" in found.gaps["kitchen"]
    assert list(found.left_out) == [VISCOSITY]


# In equilibrium flow this mix freezes at the throat: its c* would
# be left out, and with it everything that the panel is about.
def test_a_mix_that_freezes_at_the_throat() -> None:
    frozen = mix("b", KNO3=53, sucrose=47)
    settings = replace(DRY, flow="equilibrium")
    task = neighbourhood_task(SUCROSE, frozen, settings)
    pair = fractions_of(task, SUCROSE, frozen)
    assert np.isnan(task.problem().evaluate(pair)[1, 0])
    found = neighbours_of(SUCROSE, frozen, settings)
    assert "freezes at the throat" in found.gaps["flow"]
    assert found.outcome.task.settings.flow == "no-solidification"
    assert np.isfinite(found.column(C_STAR)).all()
    calm = neighbours_of(SUCROSE, mix("c", KNO3=64, sucrose=36), settings)
    assert calm.outcome.task.settings.flow == "equilibrium"
    assert "flow" not in calm.gaps


def words_of(svg: str) -> str:
    return " ".join(re.findall(r">([^<>]+)<", svg))


@pytest.mark.parametrize("made", [syrup, gap])
def test_pictures_of_a_stated_mix_claim_no_optimum(made: object) -> None:
    found: Neighbourhood = made()  # type: ignore[operator]
    both = (
        search_map(found.outcome, made=found.plane),
        trace_plot(found.outcome),
    )
    for svg in both:
        told = words_of(svg)
        assert not re.search(r"\bbest|optim|search|bound", told, re.I)
        assert "new mix" in told
    assert found.base.name in words_of(both[0])


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


@pytest.mark.parametrize("margin", [0.0, 0.6, math.nan])
def test_margin_is_checked(margin: float) -> None:
    with pytest.raises(InputError, match="margin is"):
        neighbourhood_task(BENCH, SYRUP, DRY, margin=margin)


def test_same_input_same_values() -> None:
    again = neighbours_of(BENCH, SYRUP, wings(), [PRESSED, POURED, SETTLED])
    assert np.array_equal(again.values, syrup().values, equal_nan=True)
    task = neighbourhood_task(BENCH, SYRUP, wings(), [PRESSED])
    one, two = (outcome_of_mix(task, fractions_of(task, SYRUP)[0]) for _ in range(2))
    assert search_map(one) == search_map(two)


numbers = st.one_of(
    st.just(math.nan), st.floats(0.01, 2000.0), st.sampled_from([1e6, 1e12])
)


@given(
    st.lists(st.tuples(numbers, numbers, numbers, st.integers(0, 2)), min_size=1),
    st.tuples(*[st.one_of(st.none(), st.floats(0.1, 1500.0))] * 3),
)
def test_the_rule_in_plain_words(
    rows: list[tuple[float, float, float, int]],
    caps: tuple[float | None, float | None, float | None],
) -> None:
    columns = np.array([row[:3] for row in rows]).T
    others = np.array([row[3] for row in rows])
    found = standing(columns[0], columns[1], columns[2], caps, others)
    expected = []
    for p, v, c, other in rows:
        out = p >= ENDLESS[0] or v >= ENDLESS[1] or other == 1
        out = out or (caps[0] is not None and p > caps[0])
        out = out or (caps[1] is not None and v > caps[1])
        out = out or (caps[2] is not None and c < caps[2])
        dark = math.isnan(c) or other == 2
        dark = dark or (caps[0] is not None and math.isnan(p))
        dark = dark or (caps[1] is not None and math.isnan(v))
        expected.append(1 if out else 2 if dark else 0)
    assert found.tolist() == expected
    kept = [(-row[2], k) for k, row in enumerate(rows) if expected[k] == 0]
    assert best(found, columns[2]) == (min(kept)[1] if kept else None)


# Rounding never moves a mix across a number of so few digits, nor across the limit.
@given(
    st.floats(0.01, 5000.0),
    st.integers(2, 4),
    st.sampled_from(["<=", ">="]),
    st.floats(0.01, 5000.0),
    st.integers(10, 99),
)
def test_rounding_changes_no_verdict(
    value: float, digits: int, sense: str, limit: float, stop: int
) -> None:
    shown = float(coarse(np.array([value]), digits, sense, limit)[0])
    sign = 1.0 if sense == "<=" else -1.0
    size = 10.0 ** (math.floor(math.log10(value)) - 1)
    for bound in (limit, stop * size):
        if abs(value - bound) > 1e-6 * bound:
            assert (sign * shown <= sign * bound) == (sign * value <= sign * bound)
    assert shown == pytest.approx(value, rel=1.01 * 10.0 ** (1 - digits))


def test_stops_reach_from_nothing_to_everything() -> None:
    values = np.array([4.24, 5.3, 6.0])
    rising = linear_stops(values, "<=", 5.55, (0.1, 1.0))
    assert rising[0] < values.min() <= rising[1]
    assert 5.55 in rising
    falling = linear_stops(values, ">=", None, (0.1, 1.0))
    assert falling[-2] <= values.max() < falling[-1]
    decades = decade_stops(values, None)
    assert decades == [4.0, 5.0, 6.0]


def test_dials_begin_at_the_limits() -> None:
    found = syrup()
    dials = moving_limits(found, found.outcome.found.goal.limits)
    starts = [dial.stops[dial.start] for dial in dials.each]
    assert starts == [6.894757, 10.0, None]
    assert [limit.column for limit in dials.fixed] == ["relative_solids_20C"]
    # By hand: what the limits themselves say of the values before rounding.
    p, v = found.column(found.pressure), found.column(found.viscosity)
    c, s = found.column(C_STAR), found.column("relative_solids_20C")
    expected = [
        1 if p[k] > 6.894757 or v[k] > 10.0 or s[k] < 0.9 else 2 * math.isnan(c[k])
        for k in range(len(p))
    ]
    assert dials.states().tolist() == expected
    assert expected.count(0) > 5


def test_two_limits_on_one_column_the_tighter_moves() -> None:
    found = syrup()
    both = [
        Limit(column=found.viscosity, sense="<=", value=value) for value in (9.0, 30.0)
    ]
    dials = moving_limits(found, both)
    assert dials.viscosity.given == 9.0
    assert dials.fixed == (both[1],)


def test_nothing_to_choose_where_all_is_endless_or_missing() -> None:
    dry = neighbours_of(SUCROSE, mix("b", KNO3=60, sucrose=40), wings())
    dials = moving_limits(dry, ())
    assert dials.viscosity.stops == (None,)
    assert not dials.viscosity.works
    assert set(dials.states().tolist()) == {1}
    bare = moving_limits(neighbours_of(BENCH, SYRUP, DRY), ())
    assert not bare.pressure.works
    assert bare.velocity.works
    assert set(bare.states().tolist()) == {0}
