"""What the page says: of a point, at once and in whole, and of the plane around it."""

from __future__ import annotations

import math
from typing import Any
from urllib.parse import quote

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.comparison.change import pressure_bands
from castsugar.comparison.compare import Comparison, compare
from castsugar.comparison.uncertain_inputs import Conditions
from castsugar.draw_set import MANY
from castsugar.evaluated import Wanted, drawn_bands, evaluated, fire_rows
from castsugar.limits import PEAK
from castsugar.mix.mix import Mix
from castsugar.motor.fired_mixes import Firing
from castsugar.page.desk import Asked, BoxError, Page, State, boxed
from castsugar.page.triangle import triangle_of
from castsugar.report import numbers
from castsugar.report import point as words
from castsugar.report.field import FIELDS
from castsugar.report.mix_words import short_names
from castsugar.report.mixes import evaluate_screen
from castsugar.report.next_step import ALL, OPEN, advice, rule_of
from castsugar.report.point import Point
from castsugar.report.pressure_words import doubt_line
from castsugar.report.screen import closing
from castsugar.report.shown import Shown
from castsugar.smallest_change import Trials, with_change
from castsugar.survey import Survey, lattice, survey

#: Points of a quasi-steady curve; step of the lattice while a hand moves. [%]
_POINTS, _COARSE = 121, 2.0

#: Column that most is best of where the bench has no goal.
GOAL = "density_impulse_kg_s_m3"

#: What the lines of the pressure are.
_KEY = "Solid: this mix; dashed: base; thick: case. An estimate about an unproved case."

Told = dict[str, Any]


def answered(page: Page, typed: Any, *, whole: bool) -> Told:
    """Return what is said of a state; bands, differences and trials once it rests.

    While a hand moves the answer is not `whole`, and its course is quasi-steady.
    """
    state = page.state(typed)
    asked = page.asked(state.settings)
    one, firing, beside = point_of(asked, state, whole=whole)
    screen, (goal, _) = one.screen, goal_of(asked)
    if beside is not None and goal not in beside.cells[0]:
        goal = GOAL
    base = "" if asked.base is None else asked.base.name
    own = [f"{text}, not as in the bench" for text in state.own.values()]
    told = {
        "for": short_names(one.found.mixes)[0],
        "at": triangle_of(asked.world).split(asked.world, state.recipe)[0],
        "verdict": words.head_of(one),
        "cards": words.cards_of(one, words.better_of(base, beside, goal, one.show)),
        "findings": words.findings_of(one),
        "example": screen.example() and f"EXAMPLE: {screen.example()}",
        "conditions": "; ".join([screen.conditions, *own]),
        "rows": words.rows_of(one),
        "next": _next(page, state, one, whole=whole),
        "course": _course(asked, one, firing, whole=whole),
    }
    if not whole:
        return told
    least = [f"Least sure: {screen.least_sure}."] if screen.least_sure else []
    least += [f"{doubt_line(x)}." for x in one.found.doubts if x is not None]
    return told | {
        "against": beside and words.against(beside, one.judged, goal, one.show),
        "least": " ".join(least),
        "thickness": _thickness(asked, one),
        "cautions": [
            *screen.cautions,
            closing(len(screen.cautions), screen.cautions_count),
        ],
    }


def point_of(
    asked: Asked, state: State, *, whole: bool
) -> tuple[Point, Firing | None, Comparison | None]:
    """Return what evaluate says of a state, its firing, and it beside the base.

    A whole one has bands, pour window, the second solver and cautions.
    """
    question, show = asked.question, Shown(state.units)
    with boxed("parts"):
        mixes = question.weigh([state.recipe])
        rows = asked.rows(mixes, windows=whole, confirm=whole)
        beside = _compared(asked, mixes[0]) if whole else None
    fired, drawn = fire_rows(question, mixes, rows), None
    if beside is not None:
        drawn = beside.draws  # the bands of a mix do not depend on its neighbours
    elif whole:
        drawn = drawn_bands(question, mixes, asked.doubts)
    name = asked.world.bench.path.name
    wanted = Wanted(rule=show.rule, bench=name, bench_said=f"({name})", brief=not whole)
    found = evaluated(question, mixes, rows, (asked.limits, fired, drawn), wanted)
    found = with_change(found, question, asked.limits, show) if whole else found
    one = Point(
        found=found,
        show=show,
        screen=evaluate_screen(found, show),
        allowed=asked.allowed,
        kitchen=question.kitchen is not None,
        motor=question.motor is not None,
    )
    return one, fired[0], beside


def _compared(asked: Asked, mix: Mix) -> Comparison | None:
    """Return the mix beside the base; None without a base or an exit."""
    question, base = asked.question, asked.base
    if base is None or question.leaving is None:
        return None
    given = question.evaluate_options()
    del given["data_uncertainty"]
    return compare(
        [mix, base],
        baseline=1,
        conditions=Conditions(**given),
        doubts=asked.doubts,
        scale_step=asked.scale_step,
    )


def goal_of(asked: Asked) -> tuple[str, float]:
    """Return the column that is best when most (1) or least (-1)."""
    search = asked.world.bench.search or {}
    for key, sign in (("maximise", 1.0), ("minimise", -1.0)):
        if search.get(key) in COLUMN:
            return str(search[key]), sign
    return GOAL, 1.0


def _next(page: Page, state: State, one: Point, *, whole: bool) -> Told:
    """Return what to do next, and the state that tries it, if any.

    Nothing is tried while a hand moves: then it is not `whole`.
    """
    rule, change = rule_of(one.judged, one.row, one.screen.findings), one.found.change
    if rule == ALL and whole:
        asked = page.asked(state.settings)
        trials = Trials(asked.question, asked.limits, one.found.mixes[0], one.show)
        change = trials.on_scale(asked.doubts.batch, asked.scale_step)
    if change is None:
        text = _weigh(state) if rule == ALL else advice(rule, one.row, one.show)
        if rule == OPEN and (why := [x.reason for x in one.judged if x.reason]):
            text = f"{why[0]}: add it, or take another mix"
        told = {"text": text or "find the best mix", "state": None}
        return told | {"weigh": text == ALL}
    typed = {**state.typed, **change.typed}
    then = _weigh(page.state(typed))
    text = f"{change.words} passes all. Then: {then}."
    return {"text": text, "state": typed, "weigh": then == ALL}


def _weigh(state: State) -> str:
    """Return what to do with a mix that passes: the sheet knows the bench file only."""
    sizes = ", ".join(text for key, text in state.own.items() if "-" not in key)
    todo = [f"put {sizes} into the bench file"] if sizes else []
    todo += ["save the limits"] if any("-" in key for key in state.own) else []
    return numbers.listed([*todo, ALL])


# ----------------------------------------------------------------------------
# Curves.


def _course(
    asked: Asked, one: Point, firing: Firing | None, *, whole: bool
) -> Told | None:
    """Return pressure against time, that of the base too; None without a motor."""
    if asked.question.motor is None:
        return None
    if firing is None:
        return {"words": "No pressure is computed of this mix.", "curves": {}}
    show, case = one.show, one.show.number("pressure", asked.case)
    curves = _band(asked, one) if whole else {}
    for name, fired in (("base", asked.base_firing), ("mix", firing)):
        if fired is not None:
            curves[name] = _curve(fired, whole=whole)
    scale = np.array([1.0, show.span("pressure", 1e-6)])
    drawn = {name: np.round(scale * points, 5) for name, points in curves.items()}
    every = np.concatenate([*drawn.values()])[:, 1]
    top = 1.08 * np.nanmax([case, every[np.isfinite(every)].max()])
    peak = f"{one.text(PEAK)} {show.unit('pressure')}"
    return {
        "case": case if case == case else None,
        "case_label": f"case {show.bound('pressure', asked.case)}",
        "unit": show.unit("pressure"),
        "curves": {k: np.minimum(x, [np.inf, top]).tolist() for k, x in drawn.items()},
        "top": float(top),
        "end": max(float(points[:, 0].max()) for points in drawn.values()),
        "words": f"Peak {peak}, burns {firing.trace.burn_time:.2g} s. {_KEY}",
    }


def _curve(firing: Firing, *, whole: bool) -> FloatArray:
    """Return the balance against time, else the trace with its tail: [s], [Pa]."""
    if whole:
        found = firing.course()
        return np.column_stack((found.time, found.pressure))
    trace = firing.trace
    time = np.linspace(0.0, trace.time[-1] + 4.0 * trace.emptying, _POINTS)
    return np.column_stack((time, trace.pressure_at(time)))


def _band(asked: Asked, one: Point) -> dict[str, FloatArray]:
    """Return the outline of the 95 % band; nothing where there is none."""
    assert asked.question.motor is not None
    (found,) = pressure_bands(one.found.mixes, one.found.rows, asked.question.motor)
    known = found.expected
    if known is None:
        return {}
    low, high = (np.column_stack((known.time, x)) for x in (known.low, known.high))
    outline = np.concatenate((low, high[::-1]))
    return {"band": outline[~np.isnan(outline).any(axis=1)]}


def _thickness(asked: Asked, one: Point) -> str:
    """Return the picture of the viscosity, as an address; empty without a model."""
    kitchen, found = asked.question.kitchen, one.found
    if kitchen is None or math.isnan(one.row["pours_probability"]):
        return ""
    from castsugar.plot.export import written
    from castsugar.plot.pot import pan_drawings
    from castsugar.plot.sheet import NARROW

    mixes = dict(zip(short_names(found.mixes), found.mixes, strict=True))
    drawn = pan_drawings(mixes, kitchen, show=one.show, invented=bool(found.invented))
    svg = written(drawn["viscosity"], ".svg", NARROW, brief=True)
    return f"data:image/svg+xml,{quote(svg)}"


# ----------------------------------------------------------------------------
# The plane.


def region(page: Page, typed: Any, *, coarse: bool = False) -> Told:
    """Return lines of the limits, areas, the best mix and one sentence.

    What stands at no corner keeps its share. Points are pairs of per cent of the first
    and of the last corner.
    """
    state = page.state(typed)
    asked, show = page.asked(state.settings), Shown(state.units)
    found = surveyed(asked, state.recipe, coarse=coarse)
    grid, distances, allowed = found.lattice, found.distances, asked.allowed
    pressed = found.pressed(allowed) if allowed == allowed else ()
    above, unknown = [grid.areas(x) for x in pressed] or ([], [])
    return {
        "limits": [
            {"label": FIELDS[one.limit.key].named(show), "lines": grid.lines(distance)}
            for one, distance in zip(found.judged, distances, strict=True)
        ],
        "kept": grid.areas(np.minimum.reduce(distances)) if distances else [],
        "above": above,
        "unknown": unknown,
        "best": found.best(*goal_of(asked), triangle_of(asked.world).bounds.values()),
        "words": words.region_words(found.judged, found.kept, pressed),
    }


def surveyed(asked: Asked, recipe: str, *, coarse: bool = False) -> Survey:
    """Judge the mixes of a view, 256 draws each."""
    triangle, question = triangle_of(asked.world), asked.question.for_table(MANY + 1)
    with boxed("parts"):
        _, others = triangle.split(asked.world, recipe)
        rest = 100.0 * (1.0 - math.fsum(others.values()))
        found = lattice(triangle.view, rest, least=_COARSE * coarse)
        if not len(found.shares):
            raise BoxError("parts", "the other parts leave no mix of the triangle")
        return survey(question, asked.limits, found, [*triangle.bounds], others)
