"""The page's answer at one point: the quick one, and the whole one."""

from __future__ import annotations

import math
from typing import Any
from urllib.parse import quote

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.comparison.change import pressure_bands
from castsugar.comparison.compare import Comparison, compare
from castsugar.comparison.uncertain_inputs import Conditions
from castsugar.errors import CastsugarError
from castsugar.evaluated import Wanted, drawn_bands, evaluated, fire_rows
from castsugar.limits import PEAK
from castsugar.mix.mix import Mix
from castsugar.motor.fired_mixes import Firing
from castsugar.page.boxes import BoxError, State
from castsugar.page.desk import Asked, Page
from castsugar.page.next_step import next_of
from castsugar.page.region import GOAL, goal_of
from castsugar.page.triangle import triangle_of
from castsugar.report import point as words
from castsugar.report.mix_words import short_names
from castsugar.report.mixes import evaluate_screen
from castsugar.report.point import Point
from castsugar.report.pressure_words import doubt_line
from castsugar.report.screen import closing
from castsugar.report.shown import Shown

#: Points of a quasi-steady curve.
_POINTS = 121

#: What the lines of the pressure are.
_KEY = "Solid: this mix; dashed: base; thick: case. An estimate about an unproved case."


def point_of(
    asked: Asked, state: State, *, whole: bool
) -> tuple[Point, Firing | None, Comparison | None]:
    """Return what evaluate says of a state, its firing, and it beside the base.

    A whole one has bands, pour window, the second solver and cautions.
    """
    question, show = asked.question, Shown(state.units)
    try:
        mixes = question.weigh([state.recipe])
        rows = asked.rows(mixes, windows=whole, confirm=whole)
        beside = _compared(asked, mixes[0]) if whole else None
    except CastsugarError as error:
        raise BoxError("parts", error) from None
    fired, drawn = fire_rows(question, mixes, rows), None
    if beside is not None:
        drawn = beside.draws  # the bands of a mix do not depend on its neighbours
    elif whole:
        drawn = drawn_bands(question, mixes, asked.doubts)
    name = asked.world.bench.path.name
    wanted = Wanted(rule=show.rule, bench=name, bench_said=f"({name})", brief=not whole)
    found = evaluated(question, mixes, rows, (asked.limits, fired, drawn), wanted)
    one = Point(
        found=found,
        show=show,
        screen=evaluate_screen(found, show),
        allowed=asked.allowed,
        kitchen=question.kitchen is not None,
        motor=question.motor is not None,
    )
    return one, fired[0], beside


def answered(page: Page, typed: Any, *, whole: bool) -> dict[str, Any]:
    """Return what is said of a state; bands, differences and trials once it rests.

    While a hand moves the answer is not `whole`, and its course is quasi-steady.
    """
    state = page.state(typed)
    asked = page.asked(state.settings)
    one, firing, beside = point_of(asked, state, whole=whole)
    screen, goal = one.screen, _goal(asked, beside)
    base = "" if asked.base is None else asked.base.name
    own = [f"{text}, not as in the bench" for text in state.own]
    told = {
        "for": short_names(one.found.mixes)[0],
        "at": triangle_of(asked.world).split(asked.world, state.recipe)[0],
        "verdict": words.head_of(one),
        "cards": words.cards_of(one, words.better_of(base, beside, goal, one.show)),
        "findings": words.findings_of(one),
        "example": screen.example() and f"EXAMPLE: {screen.example()}",
        "conditions": "; ".join([screen.conditions, *own]),
        "rows": words.rows_of(one),
        "next": next_of(page, state, one, whole=whole),
        "course": _course(asked, one, firing, whole=whole),
    }
    if not whole:
        return told
    least = [f"Least sure: {screen.least_sure}."] if screen.least_sure else []
    least += [f"{doubt_line(x)}." for x in one.found.doubts if x is not None]
    cautions = [*screen.cautions, closing(len(screen.cautions), screen.cautions_count)]
    return told | {
        "against": beside and words.against(beside, one.judged, goal, one.show),
        "least": " ".join(least),
        "thickness": _thickness(asked, one),
        "cautions": cautions,
    }


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


def _goal(asked: Asked, beside: Comparison | None) -> str:
    """Return the column by which a mix is better than the base."""
    goal, _ = goal_of(asked)
    return goal if beside is None or goal in beside.cells[0] else GOAL


# ----------------------------------------------------------------------------
# Curves.


def _course(
    asked: Asked, one: Point, firing: Firing | None, *, whole: bool
) -> dict[str, Any] | None:
    """Return pressure against time, that of the base too; None without a motor."""
    if asked.question.motor is None:
        return None
    show, case = one.show, one.show.number("pressure", asked.case)
    told: dict[str, Any] = {
        "case": case if case == case else None,
        "case_label": f"case {show.bound('pressure', asked.case)}",
        "unit": show.unit("pressure"),
        "words": "No pressure is computed of this mix.",
        "curves": {},
    }
    if firing is None:
        return told
    curves = _band(asked, one) if whole else {}
    for name, fired in (("base", asked.base_firing), ("mix", firing)):
        if fired is not None:
            curves[name] = _curve(fired, whole=whole)
    scale = np.array([1.0, show.span("pressure", 1e-6)])
    drawn = {name: np.round(scale * points, 5) for name, points in curves.items()}
    every = np.concatenate([*drawn.values()])[:, 1]
    top = 1.08 * max(told["case"] or 0.0, every[np.isfinite(every)].max())
    peak = f"{one.text(PEAK)} {show.unit('pressure')}"
    return told | {
        "curves": {
            name: np.minimum(x, [np.inf, top]).tolist() for name, x in drawn.items()
        },
        "top": top,
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
