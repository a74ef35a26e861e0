"""A search as page, document and rows. All mixes and motors are invented.

Exact: most answers come from plain functions whose optimum and prices are known in
closed form: density impulse 200000 + 120000 a and pressure 10 a MPa of a share a of
nitrate, so that 6 MPa allow a = 0.6, and 1 MPa more buys 12000 kg s/m3.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

import castsugar as cs
from castsugar import COLUMNS, Hardware, Requirement, load_database
from castsugar.limits import Limit
from castsugar.motor.burn_law import published_law
from castsugar.motor.burn_model import blend_law
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import BurnKnowledge
from castsugar.optimize import task
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import FunctionProblem, Goal
from castsugar.optimize.robust import Robust
from castsugar.optimize.rounding import Weighable, weigh_out
from castsugar.optimize.search import Outcome, run_search
from castsugar.optimize.shadow_prices import Found, Price, Relaxation
from castsugar.optimize.space import Space
from castsugar.optimize.task import Settings, Sloppiness, Task
from castsugar.optimize.trade_off import Front
from castsugar.plain import to_json
from castsugar.report import search_amounts, search_words
from castsugar.report.data import to_csv
from castsugar.report.search import search_page
from castsugar.report.search_limits import limit_price, outward
from castsugar.report.search_rows import search_document, trial_rows
from castsugar.report.search_words import Asked, file_key, unit_key

pytestmark = pytest.mark.exact

ITEMS = ("potassium nitrate", "powdered sugar", "light corn syrup")
IMPULSE, HOT = "density_impulse_kg_s_m3", "flame_temperature_K"
PRESSURE, POUR = "peak_pressure_MPa, 95 of 100", "pour_viscosity_Pa_s, 80 of 100"
FAKE = (IMPULSE, PRESSURE, POUR, "relative_solids_20C", HOT)

ASKED = Asked(
    file="invented.toml",
    typed={"KNO3": "potassium nitrate", "syrup": "light corn syrup"},
    pressure="psi",
    assumptions=("invented",),
)
SPACE = Space(
    bounds=dict(zip(ITEMS, ((0.5, 0.7), (0.05, 0.35), (0.1, 0.35)), strict=True)),
    batch=0.2,
    scale_step=1e-4,
)
AT_SIX = Limit(column=PRESSURE, sense="<=", value=6.0, logarithmic=True)
TRIED = dict(zip(ITEMS, (0.5, 0.3, 0.2), strict=True))


def invented(x: np.ndarray) -> np.ndarray:
    """Return the columns of FAKE; syrup is best at 20 %, weakly."""
    nitrate, syrup = x[:, 0], x[:, 2]
    impulse = 2e5 + 1.2e5 * nitrate - 1e4 * (syrup - 0.2) ** 2
    thick = np.where(nitrate > 0.695, 1e12, 5.0 + 0.0 * nitrate)
    hot = 1000.0 + 1000.0 * nitrate + 100.0 * (syrup - 0.2) ** 2
    return np.stack([impulse, 10.0 * nitrate, thick, 1.1 - nitrate, hot], axis=1)


PROBLEM = FunctionProblem(columns=FAKE, function=invented)


def row(**more: Any) -> dict[str, Any]:
    """Return a row of the table, as far as a page looks at it."""
    known = {
        "status": "ok",
        "flags": "",
        IMPULSE: 272000.0,
        "characteristic_velocity_m_s": 900.0,
        "specific_impulse_s": 150.0,
        HOT: 1600.0,
        "density_kg_m3": 1800.0,
        "peak_pressure_MPa": 4.0,
        "peak_pressure_p95_MPa": 6.0,
        "pressure_margin_percent": 25.0,
        "burn_law_origin": "borrowed: made up",
        "flow_class": "pours",
        "pour_viscosity_p10_Pa_s": 1.2,
        "pour_viscosity_p90_Pa_s": 19.0,
        "pours_probability": 0.8,
        "relative_solids_20C": 0.95,
        "storage_humidity_max_percent": 67.0,
        "confirmation": "confirmed",
        "difference_temperature_K": 1e-7,
        "difference_characteristic_velocity_ppm": 2e-4,
    }
    return known | more


@cache
def hardware(rating: float = 8e6) -> Hardware:
    band = (1e5, 1e7, 5e-3, 0.35)
    law = published_law(
        "made up", [band], relative_uncertainty=0.1, status="assumed", source="invented"
    )
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=BurnKnowledge(law=blend_law((), borrowed=law)),
        case=Case(rated_pressure=rating),
        draws=20,
    )


def kitchen() -> cs.Kitchen:
    return cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=20)


def found(
    *limits: Limit,
    objective: str = IMPULSE,
    maximise: bool = True,
    space: Space = SPACE,
) -> Found:
    goal = Goal(objective=objective, maximise=maximise, limits=limits)
    return optimise(PROBLEM, goal, space, effort=Effort(points=60, starts=1))


def outcome(answer: Found, *, motor: bool = True, space: Space = SPACE, **more: Any):
    """Return an outcome around an answer; rows and tried mixes may be given."""
    settings = Settings(
        items=ITEMS,
        kitchen=kitchen() if motor else None,
        motor=hardware() if motor else None,
    )
    task = Task(space=space, settings=settings, **more.pop("task", {}))
    known = {
        "percents": None,
        "weighable": None,
        "no_rounding": "",
        "robust": None,
        "front": None,
        "rows": {"best": row()},
        "tried_values": {},
        "refused": "",
    }
    return Outcome(task=task, found=answer, **(known | more))


@pytest.fixture(scope="module")
def full() -> Outcome:
    """At the pressure limit: 60/20/20, with both roundings and two tried mixes."""
    answer = found(AT_SIX)
    whole = replace(SPACE, batch=1.0, scale_step=0.01)
    names = ("lean", "far")
    values = invented(np.array([list(TRIED.values())]))[0].tolist()
    return outcome(
        answer,
        percents=weigh_out(PROBLEM, whole, answer),
        weighable=weigh_out(PROBLEM, SPACE, answer),
        rows={n: row() for n in ("best", "percents", "weighable", *names)},
        tried_values={"lean": dict(zip(FAKE, values, strict=True))},
        task={"tried": {"lean": TRIED, "far": {"sorbitol": 1.0}}},
    )


def page(outcome: Outcome, *, explain: bool = False, asked: Asked = ASKED) -> str:
    return search_page(outcome, asked, [], explain=explain)


def joined(text: str) -> str:
    return " ".join(text.split())


def line(text: str, start: str) -> list[str]:
    """Return the words of the one line that starts so."""
    hits = [x for x in text.splitlines() if x.strip().startswith(start)]
    assert len(hits) == 1, (start, hits)
    return hits[0].split()


# --- names and numbers ---------------------------------------------------------------


def test_every_column_of_the_table_ends_with_its_unit_as_files_write_it() -> None:
    for column in COLUMNS:
        unit = unit_key(column.key)
        assert not unit or column.key.endswith(f"_{unit}"), column.key
        assert file_key(column.key) == column.key


@pytest.mark.parametrize(
    ("column", "key"),
    [
        (PRESSURE, "peak_pressure_p95_MPa"),
        (POUR, "pour_viscosity_p80_Pa_s"),
        ("peak_pressure_MPa, 5 of 100", "peak_pressure_p05_MPa"),
        ("pour_viscosity_Pa_s, 97.5 of 100", "pour_viscosity_p97_5_Pa_s"),
    ],
)
def test_chance_columns_have_keys_without_commas(column: str, key: str) -> None:
    assert file_key(column) == key


def test_what_counts_as_infinite_is_what_the_search_writes() -> None:
    assert task._BEYOND["pour_viscosity_Pa_s"] == search_amounts.JAMS
    assert task._BEYOND["peak_pressure_MPa"] >= search_amounts.RUNAWAY
    assert search_amounts.exact(POUR, 1e12) == "jams"
    assert search_amounts.exact(PRESSURE, 1e6) == "runs away"
    assert search_amounts.exact(PRESSURE, math.inf) == "runs away"


@pytest.mark.parametrize(
    ("sense", "value", "kept"),
    [
        ("<=", 1.0, True),
        ("<=", 1.0 + 1e-6, False),
        ("<=", math.nan, False),
        ("<=", math.inf, False),
        (">=", math.inf, True),
        (">=", -math.inf, False),
        (">=", 1.0 - 1e-6, False),
    ],
)
def test_a_value_keeps_a_limit(sense: str, value: float, kept: bool) -> None:
    limit = Limit(column="relative_solids_20C", sense=sense, value=1.0)
    assert search_amounts.kept(limit, value) is kept


def test_a_relaxed_limit_is_never_rounded_tighter() -> None:
    rng = np.random.default_rng(1)
    for value in (10.0 ** rng.uniform(-3.0, 6.0, 200)).tolist():
        most = outward(Limit(column="x", sense="<=", value=1.0), value)
        least = outward(Limit(column="x", sense=">=", value=1.0), value)
        # Four digits: outward by less than a thousandth.
        assert least <= value <= most
        assert most - least <= 1.001e-3 * value


# --- the recipe and its limits -------------------------------------------------------


def test_the_recipe_in_percent_whole_percents_and_grams(full: Outcome) -> None:
    text = page(full)
    # 6 MPa allow 60 %; of 200 g that is 120 g.
    assert line(text, "KNO3 (potassium")[-3:] == ["60.00", "60", "120.0"]
    assert line(text, "powdered sugar")[-3:] == ["20.00", "20", "40.0"]
    assert line(text, "syrup (light")[-3:] == ["20.00", "20", "40.0"]
    assert "Recipe to weigh" in text
    assert "Rounding to whole percents costs nothing" in joined(text)


def test_a_binding_limit_and_its_price_in_words(full: Outcome) -> None:
    text = page(full)
    table_of_limits = text[text.index("Limits  ") :]
    told = line(table_of_limits, "peak pressure, 95 of 100 below, MPa")
    assert told[-6:] == ["6", "at", "most", "6", "0", "yes"]
    # 1 % of 6 MPa times 12000; 720 of 272000. 6 MPa are 870.2 psi (NIST SP 811).
    assert line(text, "in psi")[-4:] == ["870.2", "at", "most", "870.2"]
    assert (
        "1 % more (0.06 MPa, 8.702 psi) buys about +720 kg s/m3 (+0.26 %)."
        in joined(text)
    )
    assert "Loosen it only with a case that may hold more than 8 MPa" in joined(text)


def test_a_lower_limit_is_loosened_by_less() -> None:
    # 1.1 - a at least 0.5: a = 0.6; 0.01 less is 1 % more nitrate: +1200.
    answer = found(Limit(column="relative_solids_20C", sense=">=", value=0.5))
    text = joined(page(outcome(answer)))
    assert "0.01 less buys about +1200 kg s/m3 (+0.44 %)." in text
    assert "Loosen it only with a case" not in text


def test_what_is_minimised_falls_when_a_limit_is_loosened() -> None:
    # Impulse at least 260000: a = 0.5, 1500 K; 10000 less is 1/12 less a: -83 K.
    wide = replace(SPACE, bounds=SPACE.bounds | {"potassium nitrate": (0.3, 0.7)})
    answer = found(
        Limit(column=IMPULSE, sense=">=", value=260000.0),
        objective=HOT,
        maximise=False,
        space=wide,
    )
    made = Weighable(
        masses=answer.fractions,
        fractions=answer.fractions,
        values=answer.values,
        loss=15.0,
        feasible=True,
        tried=1,
    )
    rows = {"best": row(), "percents": row()}
    text = joined(page(outcome(answer, space=wide, percents=made, rows=rows)))
    assert "Wanted: the least flame temperature" in text
    assert "10000 kg s/m3 less buys about -83 K (-5.6 %)." in text
    # A loss of something minimised is a rise.
    assert "Rounding to whole percents changes the objective by +15 K (+1 %)" in text


def test_a_bound_has_a_price_per_percentage_point_and_the_typed_name() -> None:
    text = joined(page(outcome(found())))
    assert "KNO3 at most 70 %" in text
    assert (
        "A percentage point of the mix looser buys about +1200 kg s/m3 (+0.42 %)."
        in text
    )


@pytest.mark.parametrize(
    ("price", "words"),
    [
        (
            Price(multiplier=12000.0),
            "buys about +720 kg s/m3 (+0.26 %), by the slopes there; not tried",
        ),
        (
            Price(multiplier=9000.0, relaxed=0.0, tightened=12000.0, step=0.01),
            "8.702 psi) buys about 0 kg s/m3 (below 0.01 %); 1 % less changes it by "
            "about -720 kg s/m3 (-0.26 %) (the sides differ",
        ),
        (
            Price(multiplier=9000.0, relaxed=12000.0, step=0.01),
            "buys about +720 kg s/m3 (+0.26 %) (the other side could not be searched)",
        ),
    ],
)
def test_a_price_that_searching_again_does_not_confirm_says_so(
    full: Outcome, price: Price, words: str
) -> None:
    state = replace(full.found.limits[0], price=price)
    assert words in limit_price(state, full.found, ASKED)


def test_a_binding_limit_without_price_says_why(full: Outcome) -> None:
    state = replace(full.found.limits[0], price=None)
    assert "buys nothing" in limit_price(state, full.found, ASKED)
    early = replace(full.found, stationarity=math.nan)
    assert "not known" in limit_price(state, early, ASKED)


def test_prices_that_leave_much_of_the_slope_are_called_rough(full: Outcome) -> None:
    rough = replace(full, found=replace(full.found, stationarity=0.59))
    assert "60 % is left over" in joined(page(rough))
    assert "left over" not in page(full)


def test_a_rounding_that_breaks_a_limit_is_not_offered(full: Outcome) -> None:
    assert full.weighable is not None
    bad = replace(full.weighable, feasible=False)
    text = page(replace(full, weighable=bad))
    assert line(text, "KNO3 (potassium")[-2:] == ["60.00", "60"]
    assert "In steps of the scale for 200 g no recipe near it keeps all limits" in (
        joined(text)
    )


def test_a_rounding_that_gains_shows_that_the_search_stopped_short(
    full: Outcome,
) -> None:
    assert full.percents is not None
    text = page(replace(full, percents=replace(full.percents, loss=-272.0)))
    assert (
        "by +270 kg s/m3 (+0.1 %); limits are kept: peak pressure, 95 of 100 below "
        in (joined(text))
    )
    assert ". It gains" in joined(text)


def test_a_rounding_shows_the_limits_as_it_keeps_them(full: Outcome) -> None:
    """By its own values, not those of the best mix, in the units of the limits."""
    assert full.percents is not None
    values = dict(full.percents.values) | {PRESSURE: 5.97}
    told = joined(page(replace(full, percents=replace(full.percents, values=values))))
    assert (
        "limits are kept: peak pressure, 95 of 100 below 5.97 MPa (865.9 psi)" in told
    )


def test_a_rounding_that_its_own_row_refuses_is_not_offered(full: Outcome) -> None:
    assert full.weighable is not None
    bad = replace(full.weighable, refused="its 95 % pressure is too high")
    text = page(replace(full, weighable=bad), explain=True)
    assert line(text, "KNO3 (potassium")[-2:] == ["60.00", "60"]
    assert "for 200 g none is given: its 95 % pressure is too high." in joined(text)
    assert "NOT TO BE MADE: its 95 % pressure is too high" in joined(text)


def test_burn_laws_that_differ_are_told_apart(full: Outcome) -> None:
    rows = dict(full.rows) | {"best": row(burn_law_origin="measured: 60/20/20")}
    text = joined(page(replace(full, rows=rows)))
    assert "Burn law (best): measured: 60/20/20" in text
    assert "Burn law (whole %, grams): " in text


# --- when there is no answer ---------------------------------------------------------


def impossible(*more: Limit, rating: float = 8e6) -> Outcome:
    """At most 4 MPa, but half of nitrate already makes 5."""
    low = Limit(column=PRESSURE, sense="<=", value=4.0, logarithmic=True)
    made = outcome(found(low, *more))
    motor = replace(made.task.settings, motor=hardware(rating))
    return replace(made, task=replace(made.task, settings=motor))


def test_infeasible_names_the_least_violation_and_the_limit_to_move() -> None:
    text = page(impossible())
    told = joined(text)
    assert "NO MIX KEEPS ALL LIMITS. Below is the one that breaks them least" in told
    assert "Recipe to weigh" not in text
    assert "The mix, not to be made" in text
    assert "5 MPa (725.2 psi), 1 MPa above the limit (at most 4 MPa)" in told
    # Never tighter than 5 MPa = 725.1887 psi.
    assert "at most 5 MPa (725.2 psi) instead of 4; then for example 50.0 %" in told
    limits = text[text.index("Limits  ") :]
    assert line(limits, "peak pressure, 95 of 100 below, MPa")[-1] == "BROKEN"
    assert "NOT with this case" not in told


def test_a_relaxation_beyond_the_case_is_warned_of() -> None:
    told = joined(page(impossible(rating=4.5e6)))
    assert "NOT with this case: it may hold 4.5 MPa" in told


def test_two_limits_that_must_both_move() -> None:
    firm = Limit(column="relative_solids_20C", sense=">=", value=0.9)
    told = joined(page(impossible(firm), explain=True))
    assert "No single limit was found that leaves a mix when it moves alone" in told


def test_no_number_is_parted_from_its_unit(full: Outcome) -> None:
    for made in (full, impossible(), outcome(found())):
        lines = page(made, explain=True).splitlines()
        assert not [x for x in lines if x.strip().startswith(("% ", "MPa ", "psi"))]
        assert ("", "") not in itertools.pairwise(lines)


def test_infeasible_offers_no_rounded_recipe_and_no_gain(full: Outcome) -> None:
    made = replace(
        impossible(),
        percents=full.percents,
        weighable=full.weighable,
        rows=full.rows,
        tried_values=full.tried_values,
    )
    made = replace(made, task=replace(made.task, tried=full.task.tried))
    text = page(made)
    assert "120.0" not in text
    assert line(text, "KNO3 (potassium")[-1] == "50.00"
    assert line(text, "the mix above")[-3:] == ["260000", "900", "5.00"]


def test_incomplete_is_said_first_and_has_no_prices() -> None:
    goal = Goal(objective=IMPULSE, limits=(AT_SIX,))
    answer = optimise(PROBLEM, goal, SPACE, effort=Effort(points=60, budget=40))
    assert answer.status == "incomplete"
    text = page(outcome(answer), explain=True)
    first = joined(text.split("\n\n")[1])
    assert first.startswith("NOT FINISHED: the budget of 40 evaluations is used up.")
    low = replace(AT_SIX, value=4.0)
    answer = optimise(
        PROBLEM,
        replace(goal, limits=(low,)),
        SPACE,
        effort=Effort(points=60, budget=40),
    )
    told = joined(page(outcome(answer)))
    assert "NO MIX TRIED SO FAR KEEPS ALL LIMITS" in told
    assert "No single limit" not in told


def test_refused_is_said_first_and_offers_no_recipe(full: Outcome) -> None:
    text = page(replace(full, refused="the best mix is disputed"))
    assert text.split("\n\n")[1].startswith("REFUSED as an optimum: the best mix is")
    assert "Recipe to weigh" not in text
    assert "120.0" not in text


def test_flags_of_what_may_be_made_come_before_the_recipe(full: Outcome) -> None:
    flag = "the 95 % pressure exceeds what the case may hold: do not fire it"
    rows = dict(full.rows) | {"weighable": row(flags=flag)}
    text = joined(page(replace(full, rows=rows)))
    assert f"! grams: {flag}" in text
    assert text.index(flag) < text.index("Recipe to weigh")


# --- numbers of the wings ------------------------------------------------------------


def test_ideal_numbers_say_that_they_are(full: Outcome) -> None:
    text = page(full)
    assert line(text, "Ideal, no losses")[3:] == ["best", "whole", "%", "grams"]
    assert "Small motors deliver clearly less" in text
    assert line(text, "specific impulse, s")[-1] == "150.0"
    assert line(text, "margin at 95 %, %")[-1] == "25"
    assert line(text, "pour viscosity, 10-90")[-1] == "1-20"
    assert line(text, "the grain, once set")[-1] == "pliable"


def test_without_wings_the_page_says_what_it_does_not_know() -> None:
    text = joined(page(outcome(found(), motor=False), explain=True))
    assert "No motor was given: what pressure this mix makes is not part" in text
    assert "No kitchen was given: whether this mix pours and sets" in text
    assert "flow at the pour" not in text


def test_the_second_solver_is_told_as_it_is(full: Outcome) -> None:
    rows = dict(full.rows) | {"far": row(confirmation="unavailable: no route")}
    told = joined(page(replace(full, rows=rows)))
    assert "confirmed: best, whole percents, grams, lean" in told
    assert "unavailable: no route: far" in told
    asked = {name: row(confirmation="not asked") for name in full.rows}
    assert "nothing here is confirmed" in page(replace(full, rows=asked))


# --- what stands beside --------------------------------------------------------------


def test_tried_mixes_beside_the_best(full: Outcome) -> None:
    text = page(full)
    # Best 272000, lean 260000 - 0 at 20 % syrup: 12000 of 260000 are 4.6 %.
    assert line(text, "lean")[-5:] == ["260000", "+4.6", "%", "900", "5.00"]
    assert "Keeps all limits." in text
    assert "It holds an ingredient that the search does not" in joined(text)
    assert "c* does not choose between these mixes" in joined(text)


@pytest.mark.parametrize(
    ("score", "pressure", "words"),
    [
        (270000.0, 5.0, "below what the data leave open (c* 1 %): do not count on it"),
        (280000.0, 5.0, "better than what the search found"),
        (280000.0, 7.0, "It scores more than the best, but only by breaking that"),
        (280000.0, 7.0, "Breaks peak pressure, 95 of 100 below: 7 MPa (1015 psi) (at"),
        (280000.0, 1e6, "95 of 100 below: runs away (at most 6 MPa)"),
        (
            280000.0,
            math.nan,
            "Not computed: peak pressure, 95 of 100 below (at most 6 MPa)",
        ),
    ],
)
def test_what_a_difference_to_a_tried_mix_is_worth(
    full: Outcome, score: float, pressure: float, words: str
) -> None:
    values = {"lean": {IMPULSE: score, PRESSURE: pressure}}
    assert words in joined(page(replace(full, tried_values=values)))


def test_runners_up_are_one_entry_each() -> None:
    far = Limit(column=PRESSURE, sense="<=", value=6.0, logarithmic=True)
    answer = found(far)
    assert answer.runners_up
    rows = {"best": row(), "runner 1": row(status="disputed: invented")}
    text = joined(page(outcome(answer, rows=rows)))
    assert "of the mix exchanged" in text
    assert "disputed: invented" in text


def front(**more: Any) -> Front:
    answer = found(AT_SIX)
    known = {
        "status": "complete",
        "reason": "",
        "fractions": np.array([[0.6, 0.2, 0.2], [0.5, 0.3, 0.2]]),
        "first": np.array([272000.0, 260000.0]),
        "second": np.array([6.0, 5.0]),
        "trials": answer.trials,
    }
    return Front(**(known | more))


WANTED = ((IMPULSE, True), ("peak_pressure_MPa", False))


def test_the_trade_off_is_a_table(full: Outcome) -> None:
    task = replace(full.task, front=WANTED)
    text = page(replace(full, task=task, front=front()))
    assert (
        "Trade-off: more density x specific impulse against less peak pressure" in text
    )
    assert line(text, "260000      5.000")[2:] == [
        "50.0",
        "%",
        "KNO3,",
        "30.0",
        "%",
        "powdered",
        "sugar,",
        "20.0",
        "%",
        "syrup",
    ]
    none = front(
        status="incomplete",
        reason="interrupted",
        fractions=np.empty((0, 3)),
        first=np.empty(0),
        second=np.empty(0),
    )
    text = joined(page(replace(full, task=task, front=none)))
    assert "Not finished: interrupted." in text
    assert "No mix keeps the limits." in text


def robust(answer: Found, price: float = 2720.0) -> Robust:
    return Robust(
        found=answer,
        margins={AT_SIX.name: 0.02},
        price=price,
        kept_nominal=0.5,
        kept_robust=0.97,
        batches=200,
    )


def test_the_robust_mix_stands_beside_the_best(full: Outcome) -> None:
    tight = replace(AT_SIX, value=5.9, name=AT_SIX.name)
    task = replace(full.task, sloppiness=Sloppiness())
    text = page(replace(full, task=task, robust=robust(found(tight))), explain=True)
    assert line(text, "KNO3, %")[-2:] == ["60.00", "59.00"]
    assert line(text, "batches that keep all limits, %")[-2:] == ["50", "97"]
    # 1 % of 272000, and the objective falls by it.
    assert "The price of robustness: -2700 kg s/m3 (-1 %) in" in joined(text)
    assert "below: at most 5.9 instead of 6." in joined(text)
    assert "50 of 100 keep all limits with the best mix, 97 of 100" in joined(text)


def test_a_robust_mix_may_not_exist(full: Outcome) -> None:
    low = replace(AT_SIX, value=4.0, name=AT_SIX.name)
    task = replace(full.task, sloppiness=Sloppiness())
    text = joined(page(replace(full, task=task, robust=robust(found(low)))))
    assert "No mix was found that keeps the limits with room for that" in text
    assert "best mix 50 % keep all limits" in text


# --- the reasoning -------------------------------------------------------------------


def test_the_reasoning_comes_from_trials_and_prices(full: Outcome) -> None:
    told = joined(page(full, explain=True))
    assert "Why this mix" not in page(full)
    assert "50 to 70 % KNO3, 5 to 35 % powdered sugar, 10 to 35 % syrup" in told
    # The corner with 70 % nitrate is a trial: some 284000, 7 MPa; it jams.
    assert "limits ignored, has 70.0 % KNO3" in told
    assert "10.0 points more KNO3" in told
    assert "but it breaks peak pressure, 95 of 100 below: 7 MPa (1015 psi)" in told
    assert "The burn rate. The expected peak is 4 MPa (580.2 psi)" in told
    assert "borrowed: made up" in told
    assert f"{len(full.found.trials)} mixes tried, seed 0" in told


def test_nothing_holds_a_mix_inside_the_space() -> None:
    # b at its best inside: 0.25 - (a - 0.6)^2, no limit.
    problem = FunctionProblem(
        columns=(IMPULSE,),
        function=lambda x: (
            1.0 - ((x - np.array([0.6, 0.2, 0.2])) ** 2).sum(axis=1, keepdims=True)
        ),
    )
    answer = optimise(
        problem, Goal(objective=IMPULSE), SPACE, effort=Effort(points=60, starts=1)
    )
    told = joined(page(outcome(answer), explain=True))
    assert "Nothing: it lies inside the space" in told
    assert "Without the limits" not in told
    assert "None was set, and no bound is reached." in told


def test_limits_that_cost_nothing_are_said_to() -> None:
    loose = replace(AT_SIX, value=9.0)
    told = joined(page(outcome(found(loose)), explain=True))
    assert "No mix that was tried scores more: the limits cost nothing." in told


def test_a_viscosity_or_set_limit_asks_for_its_own_measurement() -> None:
    answer = found(Limit(column="relative_solids_20C", sense=">=", value=0.5))
    assert "Cast a small sample of this mix" in joined(
        page(outcome(answer), explain=True)
    )
    thick = replace(AT_SIX, column=POUR, value=5.0, name="")
    states = tuple(replace(s, limit=thick, value=5.0) for s in found(AT_SIX).limits)
    answer = replace(found(AT_SIX), limits=states)
    assert "pan-weight and bulk-density narrow the band" in joined(
        page(outcome(answer), explain=True)
    )


# --- files ---------------------------------------------------------------------------


def test_every_trial_is_a_row(full: Outcome) -> None:
    rows = trial_rows(full)
    trials = full.found.trials
    assert len(rows) == len(trials)
    text = to_csv(rows, list(rows[0]))
    read = list(csv.DictReader(io.StringIO(text)))
    assert list(read[0]) == list(rows[0])
    assert not any("," in key for key in rows[0])
    names = [key for key in rows[0] if key.endswith("_percent")]
    assert names == [
        "potassium_nitrate_percent",
        "powdered_sugar_percent",
        "light_corn_syrup_percent",
    ]
    for place, one in enumerate(read):
        assert sum(float(one[n]) for n in names) == pytest.approx(100.0, abs=1e-6)
        pressure = trials.values[place, FAKE.index(PRESSURE)]
        inside = trials.region[place] >= 0
        assert (one["feasible"] == "yes") == (pressure <= 6.0 + 1e-9 and inside)
    assert {one["feasible"] for one in read} == {"yes", "no"}
    # A viscosity that stands for jamming is no number in a file.
    assert {one["pour_viscosity_p80_Pa_s"] for one in read} == {"5", ""}


def test_a_trial_outside_the_space_is_not_feasible() -> None:
    # The price of "at most 70 %" was found with mixes beyond it.
    answer = found()
    beyond = answer.trials.region < 0
    assert beyond.any()
    rows = trial_rows(outcome(answer))
    assert [one["feasible"] == "no" for one in rows] == beyond.tolist()


def test_the_document_is_json_with_units_in_its_keys(full: Outcome) -> None:
    tight = replace(AT_SIX, value=5.9, name=AT_SIX.name)
    task = replace(full.task, sloppiness=Sloppiness(), front=WANTED)
    made = replace(full, task=task, robust=robust(found(tight)), front=front())
    caution = load_database().cautions_for(["motor"], {})[0]
    document = search_document(made, ASKED, [caution], trials=True)
    read = json.loads(to_json(document))
    assert read["schema"] == "castsugar.search/1"
    assert read["cautions"] == [caution.text]
    assert read["assumptions"] == {"notes": ["invented"]}
    assert read["versions"]["castsugar"]
    assert read["feasible"] is True
    limit = read["limits"][0]
    assert limit["column"] == "peak_pressure_p95_MPa"
    assert limit["limit_MPa"] == 6.0
    assert limit["value_MPa"] == pytest.approx(6.0)
    price = limit["price"][f"{IMPULSE}_per_MPa"]
    assert price == pytest.approx(12000.0, rel=0.01)
    assert read["weighed"]["masses"]["potassium_nitrate_g"] == pytest.approx(120.0)
    assert read["best"]["recipe"]["potassium_nitrate_percent"] == pytest.approx(60.0)
    assert read["robust"]["limits"] == {"at_most_peak_pressure_p95_MPa": 5.9}
    assert read["front"]["mixes"][1]["columns"]["peak_pressure_MPa"] == 5.0
    lean, far = read["tried_mixes"]
    assert lean[f"best_gains_{IMPULSE}"] == pytest.approx(12000.0, rel=1e-3)
    assert lean["breaks"] == []
    assert far["breaks"] is None
    assert len(read["trials"]) == len(full.found.trials)
    assert "trials" not in search_document(full, ASKED, [])


def test_the_document_of_an_infeasible_search() -> None:
    read = json.loads(to_json(search_document(impossible(), ASKED, [])))
    assert read["status"] == "infeasible"
    assert read["feasible"] is False
    assert read["relaxations"][0]["limit_MPa"] == 4.0
    assert read["relaxations"][0]["relaxed_to_MPa"] == pytest.approx(5.0)


# --- searches of the table itself ----------------------------------------------------


def test_a_real_search_with_choices_and_no_wings() -> None:
    space = Space(
        bounds={
            "potassium nitrate": (0.55, 0.7),
            "sugar": (0.1, 0.35),
            "light corn syrup": (0.1, 0.3),
        },
        choices={"sugar": ("sucrose", "dextrose")},
    )
    task = Task(
        space=space,
        settings=Settings(items=space.columns),
        effort=Effort(points=60, starts=1, prices=False),
    )
    made = run_search(task, confirm=False)
    text = page(made, explain=True)
    option = made.found.choice["sugar"]
    assert f"sugar: {option} was chosen among sucrose, dextrose" in text
    assert "10 to 35 % sucrose or dextrose" in joined(text)
    assert "For grams give the batch and the step of your scale." in joined(text)
    assert "nothing here is confirmed" in text
    assert json.loads(to_json(search_document(made, ASKED, [])))["choice"] == {
        "sugar": option
    }


def test_a_real_search_with_chance_limits_stopped_early() -> None:
    task = Task(
        space=SPACE,
        settings=Settings(items=ITEMS, kitchen=kitchen(), motor=hardware()),
        requirements=(
            Requirement(column="pour_viscosity_Pa_s", at_most=10.0, probability=0.8),
            Requirement(column="peak_pressure_MPa", at_most=8.0, probability=0.95),
        ),
        tried={"lean": TRIED},
        effort=Effort(points=60, budget=70, prices=False),
    )
    made = run_search(task, confirm=False)
    text = page(made, explain=True)
    told = joined(text)
    assert "NOT FINISHED" in told
    assert "pour viscosity, 80 of 100 below: at most 10 Pa s" in told
    assert "Burn law: borrowed" in told
    assert "flow at the pour" in told
    for key in ("pour_viscosity_p80_Pa_s", "peak_pressure_p95_MPa"):
        assert key in trial_rows(made)[0]
    read = json.loads(to_json(search_document(made, ASKED, [])))
    assert [limit["sense"] for limit in read["limits"]] == ["<=", "<="]


@pytest.mark.parametrize("explain", [False, True])
def test_pages_fit_the_screen_and_repeat(full: Outcome, explain: bool) -> None:
    task = replace(full.task, sloppiness=Sloppiness(), front=WANTED)
    tight = replace(AT_SIX, value=5.9, name=AT_SIX.name)
    more = replace(full, task=task, robust=robust(found(tight)), front=front())
    for made in (full, more, impossible(), outcome(found(), motor=False)):
        text = page(made, explain=explain)
        assert max(map(len, text.splitlines())) <= 80
        assert text == page(made, explain=explain)
        assert "nan" not in text.split()


def test_long_names_keep_the_page_in_its_width(full: Outcome) -> None:
    long = "a name that somebody typed because it had to say everything about a mix"
    asked = replace(ASKED, typed={long: "powdered sugar"})
    task = replace(full.task, tried={long: TRIED})
    values = {long: full.tried_values["lean"]}
    text = page(replace(full, task=task, tried_values=values), asked=asked)
    assert max(map(len, text.splitlines())) <= 80
    assert search_words.Asked(file="x").name("sucrose") == "sucrose"


def test_a_relaxation_of_a_lower_limit_says_at_least() -> None:
    firm = Limit(column="relative_solids_20C", sense=">=", value=0.9)
    made = outcome(found(firm))
    each = made.found.relaxations[0]
    assert isinstance(each, Relaxation)
    # 1.1 - 0.5 = 0.6 is the most that the space allows.
    assert "at least 0.6 instead of 0.9" in joined(page(made))
