"""The page's answer at one point: the quick one, and the whole one."""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable
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
from castsugar.page.desk import Asked, Desk
from castsugar.page.next_step import ALL, next_of, rule_of, weigh_words
from castsugar.page.region import GOAL, goal_of
from castsugar.page.state import BoxError, State, cook_text
from castsugar.report import point as words
from castsugar.report.mix_words import recipe_argument, short_names
from castsugar.report.mixes import evaluate_screen
from castsugar.report.peak_causes import cause_annex
from castsugar.report.point import Point
from castsugar.report.pressure_words import doubt_line
from castsugar.report.screen import Table, closing
from castsugar.report.shown import Shown

#: Points of a curve against time.
_POINTS = 121

#: What the lines of the pressure are.
_KEY = "Solid: this mix; dashed: base; thick: case. An estimate about an unproved case."

Curve = tuple[FloatArray, FloatArray]


def point_of(
    desk: Desk, state: State, *, whole: bool
) -> tuple[Asked, Point, Firing | None, Comparison | None]:
    """Return what evaluate says of a state, its firing, and it beside the base.

    A whole one has bands, pour window, the second solver and cautions.
    """
    asked, show = desk.asked(state.settings), Shown(state.units)
    question = asked.question
    try:
        mixes = question.weigh([state.recipe])
        rows = asked.rows(mixes, windows=whole, confirm=whole)
        beside = _compared(asked, mixes[0]) if whole else None
    except CastsugarError as error:
        raise BoxError("parts", " ".join(str(error).split())) from None
    fired, drawn = fire_rows(question, mixes, rows), None
    if beside is not None:
        drawn = beside.draws  # the bands of a mix do not depend on its neighbours
    elif whole:
        drawn = drawn_bands(question, mixes, asked.doubts)
    name = desk.path.name
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
    return asked, one, fired[0], beside


def quick(desk: Desk, state: State) -> dict[str, Any]:
    """Return the answer while a hand moves: no bands, a quasi-steady course."""
    asked, one, firing, _ = point_of(desk, state, whole=False)
    rule = rule_of(one)
    rule = weigh_words(state) if rule == ALL else rule
    return {
        **_told(desk, state, asked, one, None),
        "next": {"text": rule, "state": None, "weigh": rule == ALL},
        "course": _course(asked, one, firing, _quasi_steady),
    }


def rest(desk: Desk, state: State, *, narrow: bool = False) -> dict[str, Any]:
    """Return the answer once the hand rests: bands, differences, curves, next."""
    asked, one, firing, beside = point_of(desk, state, whole=True)
    found, show, screen = one.found, one.show, one.screen
    causes = cause_annex(found.names, found.causes, show)
    tables = [x for annex in causes for x in annex.blocks if isinstance(x, Table)]
    goal = _goal(asked, beside)
    return {
        **_told(desk, state, asked, one, beside),
        "next": next_of(desk, state, one),
        "course": _band(asked, one, _course(asked, one, firing, _balanced)),
        "against": beside and words.against(beside, one.judged, goal, show),
        "least_sure": screen.least_sure,
        "doubt": "".join(doubt_line(x) for x in found.doubts if x is not None),
        "causes": [
            {"heads": [*x.heads], "rows": [[*row] for row in x.rows]} for x in tables
        ],
        "thickness": _thickness(asked, one, narrow=narrow),
        "cautions": [*screen.cautions],
        "closing": closing(len(screen.cautions), screen.cautions_count),
    }


def _told(
    desk: Desk, state: State, asked: Asked, one: Point, beside: Comparison | None
) -> dict[str, Any]:
    """Return what both answers hold."""
    base = "" if asked.base is None else asked.base.name
    own = [f"{text}, not as in the bench" for text in state.own]
    better = words.better_of(base, beside, _goal(asked, beside), one.show)
    return {
        "for": short_names(one.found.mixes)[0],
        "verdict": words.head_of(one),
        "cards": words.cards_of(one, better),
        "findings": words.findings_of(one),
        "example": one.screen.example(),
        "conditions": "; ".join([one.screen.conditions, *own]),
        "rows": words.rows_of(one),
        "command": command_of(desk, state, one),
    }


def command_of(desk: Desk, state: State, one: Point) -> str:
    """Return the command that says the same; what no option says stands behind #."""
    told = ["castsugar evaluate", recipe_argument(one.found.mixes[0])]
    told.append(f"--bench {shlex.quote(str(desk.path))}")
    if state.settings.cook is not None:
        told.append(f'--cook "{cook_text(state.settings.cook)}"')
    if state.own:
        told.append(f"# with {'; '.join(state.own)} in the bench")
    return " ".join(told)


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
    asked: Asked, one: Point, firing: Firing | None, drawn: Callable[[Firing], Curve]
) -> dict[str, Any] | None:
    """Return pressure against time, that of the base too; None without a motor."""
    if asked.question.motor is None:
        return None
    case, show = asked.case, one.show
    known = case == case
    told: dict[str, Any] = {
        "time": [],
        "case": show.number("pressure", case) if known else None,
        "case_label": f"case {show.bound('pressure', case)}" if known else "",
        "unit": show.unit("pressure"),
        "words": "No pressure is computed of this mix.",
    }
    if firing is None:
        return told
    base = asked.base_firing
    curves = [drawn(x) for x in (firing, base) if x is not None]
    time = np.linspace(0.0, max(float(t[-1]) for t, _ in curves), _POINTS)
    own, *beside = (_on(time, t, p, show) for t, p in curves)
    peak = f"{one.text(PEAK)} {show.unit('pressure')}"
    return told | {
        "time": _listed(time),
        "pressure": own,
        "base": beside[0] if beside else None,
        "words": f"Peak {peak}, burns {firing.trace.burn_time:.2g} s. {_KEY}",
    }


def _on(
    time: FloatArray, known: FloatArray, pressure: FloatArray, show: Shown
) -> list[float | None]:
    """Return a pressure [Pa] at other times as it is shown; None after its end."""
    found = np.interp(time, known, pressure, right=np.nan)
    return _listed(show.span("pressure", 1e-6) * found)


def _listed(values: FloatArray) -> list[float | None]:
    """Return numbers for drawing; None where there is none."""
    return [round(x, 5) if math.isfinite(x) else None for x in values.tolist()]


def _quasi_steady(firing: Firing) -> Curve:
    """Return the trace with its tail: time [s], pressure [Pa]."""
    trace, tail = firing.trace, np.linspace(0.0, 4.0, 12)[1:]
    over = trace.pressure[-1] - trace.ambient
    time = np.r_[trace.time, trace.time[-1] + max(trace.emptying, 1e-6) * tail]
    return time, np.r_[trace.pressure, trace.ambient + over * np.exp(-tail)]


def _balanced(firing: Firing) -> Curve:
    """Return the course of the balance: time [s], pressure [Pa]."""
    found = firing.course()
    return found.time, found.pressure


def _band(
    asked: Asked, one: Point, told: dict[str, Any] | None
) -> dict[str, Any] | None:
    """Return a course with the ends of the 95 % band at its times."""
    motor = asked.question.motor
    if motor is None or told is None or not told["time"]:
        return told
    (found,) = pressure_bands(one.found.mixes, one.found.rows, motor)
    known, time = found.expected, np.array(told["time"])
    if known is None:
        return told
    low, high = (_on(time, known.time, x, one.show) for x in (known.low, known.high))
    return told | {"low": low, "high": high}


def _thickness(asked: Asked, one: Point, *, narrow: bool) -> str:
    """Return the picture of the viscosity, as an address; empty without a model."""
    kitchen = asked.question.kitchen
    if kitchen is None or math.isnan(one.row["pours_probability"]):
        return ""
    from castsugar.plot.export import written
    from castsugar.plot.pot import pan_drawings
    from castsugar.plot.sheet import NARROW, WIDE

    mixes = dict(zip(short_names(one.found.mixes), one.found.mixes, strict=True))
    invented = bool(one.found.invented)
    drawn = pan_drawings(mixes, kitchen, show=one.show, invented=invented)
    width = NARROW if narrow else WIDE
    svg = written(drawn["viscosity"], ".svg", width, brief=True)
    return f"data:image/svg+xml,{quote(svg)}"
