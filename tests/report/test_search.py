"""A search as screen, annexes, document and rows. All mixes and motors are invented.

Exact: most answers come from plain functions whose optimum and prices are known in
closed form: density impulse 200000 + 120000 a and pressure 10 a MPa of a share a of
nitrate, so that 6 MPa allow a = 0.6, and 1 MPa more buys 12000 kg s/m3.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from typing import Any

import jsonschema
import numpy as np
import pytest
from burning import sure

import castsugar as cs
from castsugar import Hardware, Requirement
from castsugar.limits import BROKEN, KEPT, Limit, judge_rows
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.problem import FunctionProblem, Goal
from castsugar.optimize.robust import Kept, Robust
from castsugar.optimize.rounding import Rounded, rounded
from castsugar.optimize.settings import Settings
from castsugar.optimize.shadow_prices import Found, RowState
from castsugar.optimize.space import Space
from castsugar.optimize.task import Sloppiness, Task
from castsugar.optimize.trade_off import Front
from castsugar.report.cautions import Chosen
from castsugar.report.document import document, schema_of, to_csv
from castsugar.report.limit_words import Judged, by_mix, pouring
from castsugar.report.page import to_page
from castsugar.report.search import Searched, search_screen
from castsugar.report.search_annexes import search_annexes
from castsugar.report.search_rows import (
    PARTS,
    search_parts,
    table_fields,
    table_rows,
    trial_fields,
    trial_rows,
)
from castsugar.report.search_words import Asked
from castsugar.report.shown import Shown
from castsugar.report.terminal import to_text

pytestmark = pytest.mark.exact

ITEMS = ("potassium nitrate", "powdered sugar", "light corn syrup")
IMPULSE, HOT = "density_impulse_kg_s_m3", "flame_temperature_K"
PRESSURE, POUR = "peak_pressure_MPa, 95 of 100", "pour_viscosity_Pa_s, 80 of 100"
FAKE = (IMPULSE, PRESSURE, POUR, "relative_solids_20C", HOT)

ASKED = Asked(
    file="invented.toml",
    typed={"KNO3": "potassium nitrate", "light syrup": "light corn syrup"},
    assumptions=("invented",),
)
SPACE = Space(
    bounds=dict(zip(ITEMS, ((0.5, 0.7), (0.05, 0.35), (0.1, 0.35)), strict=True)),
    batch=0.2,
    scale_step=1e-4,
)
(AT_SIX,) = Requirement(
    column="peak_pressure_MPa", at_most=6.0, probability=0.95
).limits()
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
        PRESSURE: 6.0,
        "pour_viscosity_Pa_s": 5.0,
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
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=sure(5e-3, 0.35),
        case=Case(rated_pressure=rating),
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
    made = rounded(PROBLEM, SPACE, answer)
    names = ("lean", "far")
    values = invented(np.array([list(TRIED.values())]))[0].tolist()
    return outcome(
        answer,
        percents=made.percents,
        weighable=made.weighable,
        rows={n: row() for n in ("best", "percents", "weighable", *names)},
        tried_values={"lean": dict(zip(FAKE, values, strict=True))},
        task={"tried": {"lean": TRIED, "far": {"sorbitol": 1.0}}},
    )


def searched(made: Outcome, **more: Any) -> Searched:
    """Return an outcome with what its screen takes."""
    names = (made.chosen, made.nominal)
    recipes = {n: made.recipe_of(n) for n in names} | {**made.task.tried}
    named = {
        n: Mix.weigh({ASKED.name(k): x for k, x in r.items()}, name="")
        for n, r in recipes.items()
    }
    limits, rows = made.found.goal.limits, [*made.rows.values()]
    judged = by_mix(judge_rows(limits, rows), len(rows)) if limits else ()
    known: dict[str, Any] = {
        "judged": dict(zip(made.rows, judged, strict=False)),
        "bench_said": "(invented.toml)",
    }
    return Searched(
        outcome=made,
        asked=ASKED,
        mixes=named,
        conditions=lambda show: f"Ideal, {show.typed('pressure', 3.447)}",
        cautions=Chosen(lines=("one",), keys=("one",), rest=9),
        **(known | more),
    )


def screen(made: Outcome, show: Shown | None = None, *, full: bool = False) -> str:
    found, show = searched(made), show or Shown()
    said = search_screen(found, show)
    if full:
        said = replace(said, annexes=tuple(search_annexes(found, show)))
    return to_text(said, full=full)


def joined(text: str) -> str:
    return " ".join(text.split())


def statuses(text: str) -> list[str]:
    words = "DO NOT|BROKEN|REFUSED|FOUND|CAUTION|CANNOT TELL|KEPT"
    return re.findall(rf"^({words})  ", text, re.MULTILINE)


# --- one answer ----------------------------------------------------------------------


def test_whole_percents_are_the_answer_where_they_cost_little(full: Outcome) -> None:
    # The optimum is 60/20/20 itself: whole percents cost nothing.
    assert full.chosen == "percents"
    assert full.recipe == pytest.approx(dict(zip(ITEMS, (0.6, 0.2, 0.2), strict=True)))
    text = joined(screen(full))
    assert "FOUND KNO3 60, powdered sugar 20, light syrup 20 (whole percents" in text
    assert "On your scale, 200 g: KNO3 120.0 g, powdered sugar 40.0 g" in text


def test_whole_percents_that_cost_more_give_way_to_the_scale(full: Outcome) -> None:
    # A thousandth of 272000 is 272.
    for loss, chosen in ((271.0, "percents"), (273.0, "weighable")):
        assert (
            replace(full, percents=replace(full.percents, loss=loss)).chosen == chosen
        )
    nearer = replace(full.percents, roomy=False)
    assert replace(full, percents=nearer).chosen == "weighable"
    broken = replace(full.percents, feasible=False)
    assert replace(full, percents=broken).chosen == "weighable"
    assert replace(full, percents=broken, weighable=None).chosen == "best"
    assert replace(full, refused="disputed").chosen == "best"
    dear = replace(full, percents=replace(full.percents, loss=273.0), weighable=None)
    assert dear.chosen == "percents"


def test_what_no_scale_can_weigh_is_said_and_no_grams_are_told(full: Outcome) -> None:
    unkept = replace(full.percents, feasible=False)
    none = replace(full, percents=unkept, weighable=replace(unkept, roomy=False))
    text = joined(screen(none))
    assert "(not rounded). No recipe near it in steps of 0.1 g keeps all" in text
    assert "On your scale" not in text
    assert search_parts(searched(none))["chosen"]["masses"] is None


def test_grams_are_those_that_the_scale_shows() -> None:
    """200 g are 141 steps of 0.05 oz, 7.05 oz; 60 % of them 84.6 steps."""
    ounces = replace(SPACE, scale_step=0.05 * 0.028349523125)
    answer = found(AT_SIX, space=ounces)
    made = rounded(PROBLEM, ounces, answer).weighable
    text = joined(screen(outcome(answer, weighable=made, space=ounces), Shown("us")))
    assert "On your scale, 7.05 oz: KNO3 4.20 oz, powdered sugar 1.4" in text


def test_the_cost_of_rounding_is_told_of_every_limit(full: Outcome) -> None:
    text = joined(screen(full, full=True))
    assert "peak pressure at most 6 MPa, in 95 of 100 6.000 6.000 6.000" in text


def test_printing_an_outcome_is_three_lines(full: Outcome) -> None:
    assert len(str(full).splitlines()) == 3
    assert "potassium nitrate:60%" in str(full)


# --- the screen ----------------------------------------------------------------------


@pytest.mark.parametrize("units", ["si", "us"])
def test_the_screen_fits_and_says_what_decides(full: Outcome, units: str) -> None:
    text = screen(full, Shown(units))
    lines = text.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert statuses(text) == ["FOUND", "KEPT"]
    assert "This limit decides the recipe." in joined(text)
    assert lines[-1].startswith('Next: castsugar weigh "KNO3:60 powdered sugar:20')
    assert lines[-1].endswith("--grains 3")
    assert not re.search(r"\d (MPa|g|K|m/s)\b" if units == "us" else r"psi|oz", text)


def test_what_holds_it_back_and_what_loosening_buys() -> None:
    # 120000 kg s/m3 a unit share: a point is 1200 of 272000 kg s/m3, 0.44 %.
    text = joined(screen(outcome(found(), rows={"best": row()})))
    assert "Held back by: potassium" not in text
    assert "Held back by: KNO3 at most 70 % (a point looser buys" in text
    # A limit on the pressure is the case: no price is told of it.
    text = joined(screen(outcome(found(AT_SIX))))
    assert "pressure limit (what your case holds: change the motor" in text
    hot = Limit(column=HOT, sense="<=", value=1600.0)
    text = joined(screen(outcome(found(hot))))
    # 10 % of 1600 K is 160 K, a share of 0.16; but nitrate stops 0.1 higher: 12000 of
    # 272000 kg s/m3.
    said = "(10 % looser buys 4.4 %: then KNO3 at most 70 % holds)"
    assert f"flame temperature at most 1600 K {said}" in text


def test_what_takes_over_is_named() -> None:
    """Syrup is at least 35 %: with 65 % of nitrate no sugar is left."""
    more = {ITEMS[1]: (0.0, 0.35), ITEMS[2]: (0.35, 0.4)}
    space = replace(SPACE, bounds={**SPACE.bounds, **more})
    hot = Limit(column=HOT, sense="<=", value=1600.0)
    text = joined(screen(outcome(found(hot, space=space), space=space)))
    assert "powdered sugar at 0 % holds)" in text


def test_a_bound_where_the_strands_end_says_so() -> None:
    """A point beyond 60/20/20 there is 61/19/20, which lies between the last two."""
    short = replace(SPACE, bounds={**SPACE.bounds, ITEMS[0]: (0.5, 0.6)})
    answer = found(space=short)
    beside = ((0.5, 0.3, 0.2), (0.62, 0.12, 0.26), (0.7, 0.1, 0.2))
    for burned, told in (
        (beside, "a point looser buys 0.44 %)"),
        (((0.6, 0.2, 0.2), *beside[:2]), "buys 0.44 %; your strands end here)"),
        (beside[:2], "buys 0.44 %; strands there first)"),
    ):
        made = outcome(answer, space=short)
        strands = [
            Burned(
                name=str(place),
                batch=str(place),
                fractions=dict(zip(ITEMS, shares, strict=True)),
                pressure=np.array([1e6, 2e6, 4e6]),
                rate=np.array([4.6e-3, 5.7e-3, 7.1e-3]),
            )
            for place, shares in enumerate(burned)
        ]
        motor = replace(made.task.settings.motor, burning=BurnModel(strands))
        settings = replace(made.task.settings, motor=motor)
        made = replace(made, task=replace(made.task, settings=settings))
        assert told in joined(screen(made))


def test_what_else_holds_it_back_has_its_name() -> None:
    answer = replace(found(), rows=())

    def told(**more: Any) -> str:
        text = joined(screen(outcome(replace(answer, **more))))
        return text.partition("Held back by: ")[2].partition(" Least sure")[0]

    top = "density Isp is highest here: every small step away loses"
    assert told() == top
    none = RowState(name="light corn syrup at least 0 %", slack=0.0)
    assert told(rows=(none,)) == f"no light syrup is left to take out; {top}"
    assert "here at a kink, where its slope jumps: every" in told(kink=True)
    assert (
        told(edge=(PRESSURE,)) == "your strands end here: beyond, no pressure is told"
    )
    said = "the end of what is known: beyond, no flame temperature"
    assert told(edge=(HOT,)) == said


def test_mixes_of_the_bench_are_judged_beside_it(full: Outcome) -> None:
    rows = {**full.rows, "far": row(**{PRESSURE: 6.5, "peak_pressure_p95_MPa": 6.5})}
    lines = screen(replace(full, rows=rows)).splitlines()
    (far,) = [x for x in lines if x.startswith("far ")]
    (lean,) = [x for x in lines if x.startswith("lean ")]
    assert far.endswith("BROKEN")
    assert not lean.endswith("BROKEN")


def test_flags_and_a_dispute_are_told(full: Outcome) -> None:
    rows = {**full.rows, "percents": row(flags="odd", confirmation="disputed: c*")}
    text = screen(replace(full, rows=rows))
    assert statuses(text) == ["FOUND", "CAUTION", "CAUTION", "KEPT"]
    stop = row(flags="several stable pressures: do not fire it")
    text = screen(outcome(found(), rows={"best": stop}))
    assert statuses(text) == ["DO NOT", "FOUND"]


# --- "no" ----------------------------------------------------------------------------


def impossible(*more: Limit, rating: float = 8e6) -> Outcome:
    """At most 4 MPa, but half of nitrate already makes 5."""
    (low,) = Requirement(
        column="peak_pressure_MPa", at_most=4.0, probability=0.95
    ).limits()
    made = outcome(found(low, *more))
    motor = replace(made.task.settings, motor=hardware(rating))
    return replace(made, task=replace(made.task, settings=motor))


def test_infeasible_names_the_violation_and_the_limit_to_move() -> None:
    text = screen(impossible())
    told = joined(text)
    assert statuses(text)[-1] == "REFUSED"
    assert "No mix keeps all limits; do not make the nearest" in told
    assert "it breaks the pressure limit by 1.0 MPa" in told
    # Never tighter than 5 MPa = 725.1887 psi.
    assert "Relax the pressure limit to 5 MPa." in told
    assert "to 725.2 psi." in joined(screen(impossible(), Shown("us")))
    assert "Held back" not in told
    # 200 K too hot are 360 degrees Fahrenheit too hot.
    cool = Limit(column=HOT, sense="<=", value=1300.0)
    told = joined(screen(outcome(found(cool)), Shown("us")))
    assert "it breaks the limit on flame temperature by 360 °F. Relax the" in told
    assert told.endswith("Next: castsugar search --full")


def test_a_limit_beyond_the_case_is_not_to_be_relaxed() -> None:
    told = joined(screen(impossible(rating=4.5e6)))
    assert "to 5 MPa (NOT with your case: change the motor)" in told


def test_two_limits_that_must_both_move() -> None:
    firm = Limit(column="relative_solids_20C", sense=">=", value=0.9)
    told = joined(screen(impossible(firm)))
    assert "No single limit, relaxed, leaves a mix" in told


def test_incomplete_and_refused_are_said(full: Outcome) -> None:
    goal = Goal(objective=IMPULSE, limits=(AT_SIX,))
    answer = optimise(PROBLEM, goal, SPACE, effort=Effort(points=60, budget=40))
    assert "Not finished" in screen(outcome(answer))
    text = screen(replace(full, refused="it is disputed"))
    assert "REFUSED  it is disputed. The mix is shown to explain" in text
    assert "FOUND" not in text
    text = joined(screen(replace(full, unjudged=("light corn syrup",))))
    assert "light syrup was left out: no mix with it could be judged" in text


# --- the full answer -----------------------------------------------------------------


def test_the_full_answer_is_lean_and_fits(full: Outcome) -> None:
    text = screen(full, full=True)
    assert max(map(len, text.splitlines()[:-1])) <= 80
    told = joined(text)
    assert "KNO3, % 60.00 60.00 60.00" in told
    assert "Each price was searched again with that one limit" in told
    assert "the limits cost" in told
    # Without its limit: all nitrate that the space allows, 70 %, 12000 of 272000 more.
    assert re.search(r"all limits .* 4\.[0-9] %", told)
    assert "Independent check (Cantera): confirmed: exact" in told


def robust_of(
    full: Outcome, fractions: np.ndarray, *, nominal: float, kept: float
) -> Robust:
    """Return a robust recipe whose batches keep the limit so often."""

    def shares(share: float) -> Kept:
        asked = np.array([0.95])
        return Kept(asked=asked, needed=asked, share=np.array([share]), margins=asked)

    values = dict(zip(FAKE, invented(fractions[None])[0].tolist(), strict=True))
    return Robust(
        found=replace(full.found, fractions=fractions, values=values),
        made=Rounded(),
        price=2720.0,
        margins={} if nominal >= 0.95 else {full.found.goal.limits[0].name: 0.1},
        nominal=shares(nominal),
        kept=shares(kept),
        batches=400,
    )


@pytest.mark.parametrize(
    ("nominal", "kept", "which", "words"),
    [
        (0.96, 0.96, "percents", "RESULT No gain from a robust mix, keep the nominal"),
        (0.5, 0.97, "robust", "RESULT Robust: 97 of 100 batches keep the pressure"),
        (0.5, 0.8, "robust", "CAUTION Robust: 80 of 100 batches keep the pressure"),
        (0.5, 0.52, "percents", "CAUTION No mix was found whose batches keep every"),
    ],
)
def test_whether_a_robust_recipe_pays(
    full: Outcome, nominal: float, kept: float, which: str, words: str
) -> None:
    """It is the answer where its batches keep what those of the nominal do not."""
    robust = robust_of(full, np.array([0.5, 0.3, 0.2]), nominal=nominal, kept=kept)
    task = replace(full.task, sloppiness=Sloppiness())
    rows = {**full.rows, "robust": row()}
    made = replace(full, task=task, robust=robust, rows=rows)
    assert made.chosen == which
    told = joined(screen(made))
    assert words in told
    share = 0.5 if which == "robust" else 0.6
    assert made.recipe["potassium nitrate"] == pytest.approx(share)
    assert ("nominal 60/20/20" in told) == (which == "robust")
    assert search_parts(searched(made))["robust"]["pays"] == (which == "robust")
    refused = replace(made, robust=replace(robust, refused="disputed"))
    assert refused.chosen == "percents"


def test_front_and_robust_mix_have_annexes(full: Outcome) -> None:
    task = replace(
        full.task,
        front=((IMPULSE, True), (HOT, False)),
        sloppiness=Sloppiness(),
    )
    mixes = np.array([[0.6, 0.2, 0.2], [0.5, 0.3, 0.2]])
    front = Front(
        status="complete",
        reason="",
        fractions=mixes,
        first=np.array([272000.0, 260000.0]),
        second=np.array([1600.0, 1500.0]),
        trials=full.found.trials,
    )
    robust = robust_of(full, mixes[1], nominal=0.5, kept=0.95)
    rows = {**full.rows, "robust": row()}
    made = replace(full, task=task, front=front, robust=robust, rows=rows)
    told = joined(screen(made, full=True))
    assert "more density Isp, ideal against less flame temperature" in told
    assert "260000 1500 50.0/30.0/20.0" in told
    assert "of 100 batches keep the pressure limit (asked 95) 50 95" in told
    assert "Robustness costs 1.0 % of the objective" in told
    assert search_parts(searched(made))["front"]["more_is_better"] == [True, False]


def test_a_front_inside_the_doubt_is_not_worth_having(full: Outcome) -> None:
    """1 % of the impulse is in doubt; of a pressure 6 over 4 MPa, 50 %."""
    pressed = (("peak_pressure_MPa", False), (IMPULSE, True))
    task = replace(full.task, front=pressed)
    for pressures, impulses, told in (
        ([4.0, 8.1], [272000.0, 269000.0], ""),
        ([4.0, 8.1], [272000.0, 269500.0], "density Isp, ideal changes by 0.92 %"),
        ([4.0, 5.9], [272000.0, 269000.0], "peak pressure changes by 32 %"),
    ):
        front = Front(
            status="complete",
            reason="",
            fractions=np.array([[0.6, 0.2, 0.2], [0.5, 0.3, 0.2]]),
            first=np.array(pressures),
            second=np.array(impulses),
            trials=full.found.trials,
        )
        text = joined(screen(replace(full, task=task, front=front), full=True))
        assert ("No trade-off worth having" in text) == bool(told)
        assert told in text


def test_a_page_has_the_answer_first(full: Outcome) -> None:
    found = searched(full)
    page = to_page(search_screen(found, Shown()))
    assert "<script" not in page
    assert page.index("FOUND") < page.index("Held back by")


# --- data ----------------------------------------------------------------------------


def test_the_document_keeps_its_schema(full: Outcome) -> None:
    for made in (full, impossible(), outcome(found(), motor=False)):
        found_ = searched(made)
        text = document(
            "search",
            search_screen(found_, Shown()),
            search_parts(found_),
            version="1",
            cautions=[],
        )
        jsonschema.validate(json.loads(text), schema_of("search", PARTS))
    parts = search_parts(searched(full))
    assert parts["chosen"]["recipe"]["potassium_nitrate_mass_percent"] == pytest.approx(
        60
    )
    assert parts["chosen"]["masses"]["light_corn_syrup_g"] == pytest.approx(40.0)
    assert parts["limits"][0]["binding"] is True
    price = parts["limits"][0]["price"]
    assert price["density_impulse_kg_s_m3_per_MPa"] == pytest.approx(12000.0, rel=1e-3)


def test_rows_and_trials_as_csv(full: Outcome) -> None:
    rows = table_rows(searched(full))
    assert [r["name"] for r in rows][:1] == ["percents"]
    head = to_csv(rows, table_fields(rows)).splitlines()[0].split(",")
    assert head[:2] == ["name", "recipe.potassium_nitrate_mass_percent"]
    trials = trial_rows(full)
    assert len(trials) == len(full.found.trials)
    text = to_csv(trials, trial_fields(trials))
    assert text.splitlines()[0].startswith(
        "trial,stage,feasible,recipe.potassium_nitrate_mass_percent"
    )
    for trial in trials:
        share = trial["recipe.potassium_nitrate_mass_percent"]
        assert trial["peak_pressure_p95_MPa"] == pytest.approx(0.1 * share)
        inside = 50.0 - 1e-6 <= share <= 70.0 + 1e-6
        kept = share <= 60.0 + 1e-5
        assert not (trial["feasible"] == "yes" and not (inside and kept))


@pytest.mark.exact
@pytest.mark.parametrize(
    ("verdict", "share", "told"),
    [
        (KEPT, 0.8452, "85"),
        (KEPT, 0.912, "91"),
        (BROKEN, 0.8462, "84.6"),
        (BROKEN, 0.853, "84.9"),
        (BROKEN, 0.72, "72"),
    ],
)
def test_a_share_stands_on_the_side_of_its_limit(
    verdict: str, share: float, told: str
) -> None:
    """85 of 100 are asked for; the verdict is that of a smooth quantile."""
    limit = Limit(
        column="pour_viscosity_Pa_s", sense="<=", value=10.0, probability=0.85
    )
    one = Judged(
        of=limit, value=10.0, verdict=verdict, margin=0.0, factor=1.0, reason=""
    )
    assert pouring(one, {"pours_probability": share}) == told
