"""The page's answer at one point: the quick one, and the whole one."""

from __future__ import annotations

import math
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.comparison.change import pressure_bands
from castsugar.comparison.compare import Cell, Comparison, compare
from castsugar.comparison.uncertain_inputs import Conditions
from castsugar.errors import CastsugarError, ValidityError
from castsugar.evaluated import Wanted, evaluated, fire_rows
from castsugar.kitchen.curves import viscosity_curve
from castsugar.kitchen.glass import set_word
from castsugar.limits import BROKEN, KEPT, PEAK, POUR, SOLIDS
from castsugar.mix.mix import Mix
from castsugar.motor.fired_mixes import Firing
from castsugar.motor.trace import Trace
from castsugar.page.desk import Asked, Desk
from castsugar.page.next_step import next_of, rule_of
from castsugar.page.region import P95, goal_of
from castsugar.page.state import BoxError, State
from castsugar.report import numbers
from castsugar.report.compare import interval, named, verdict
from castsugar.report.field import FIELDS
from castsugar.report.limit_words import Judged, limit_cell, pouring, rests_on
from castsugar.report.mix_words import recipe_argument, short_names
from castsugar.report.mixes import Mixes, evaluate_screen
from castsugar.report.peak_causes import cause_annex
from castsugar.report.pressure_words import doubt_line
from castsugar.report.screen import STATUSES, Screen, Table, closing
from castsugar.report.shown import Shown

#: Points of a curve that is drawn.
_POINTS = 121

#: Colour of a status word -> kind of a mark.
_KINDS = {"red": "broken", "green": "kept", "yellow": "unknown", "plain": "plain"}

_HEADS = ("value", "95 % band", "limit", "margin")

_FLAME, _C_STAR = "flame_temperature_K", "characteristic_velocity_m_s"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One mix under settings, with everything that is said of it."""

    asked: Asked
    mix: Mix
    found: Mixes
    firing: Firing | None
    screen: Screen
    show: Shown

    @property
    def row(self) -> Mapping[str, Any]:
        """Its row of the table."""
        return self.found.rows[0]

    @property
    def judged(self) -> tuple[Judged, ...]:
        """Its limits."""
        return self.found.judged[0] if self.found.judged else ()

    def held(self, *columns: str) -> Judged | None:
        """Return the limit on one of the columns that is broken, else the first."""
        own = [one for one in self.judged if one.column in columns]
        return min(own, key=lambda one: one.verdict != BROKEN, default=None)


def point_of(desk: Desk, state: State, *, whole: bool) -> Point:
    """Return what `evaluate` says of a state.

    Parameters
    ----------
    desk : Desk
    state : State
    whole : bool
        Whether with bands, windows, the second solver and cautions.

    Raises
    ------
    BoxError
        For a recipe that no mix can be made of.
    """
    asked, show = desk.asked(state.settings), Shown(state.units)
    question = asked.question
    try:
        mixes = question.weigh([state.recipe])
        rows = asked.rows(mixes, windows=whole, confirm=whole)
    except CastsugarError as error:
        raise BoxError("parts", " ".join(str(error).split())) from None
    fired, drawn = fire_rows(question, mixes, rows), None
    if whole and question.leaving is not None:
        from castsugar.evaluated import drawn_bands

        drawn = drawn_bands(question, mixes, asked.doubts)
    name = desk.path.name
    wanted = Wanted(rule=show.rule, bench=name, bench_said=f"({name})", brief=not whole)
    more = (asked.limits, fired, drawn)
    found = evaluated(question, mixes, rows, more, wanted)
    return Point(
        asked=asked,
        mix=mixes[0],
        found=found,
        firing=fired[0],
        screen=evaluate_screen(found, show),
        show=show,
    )


def quick(desk: Desk, state: State) -> dict[str, Any]:
    """Return the answer while a hand moves: no bands, a quasi-steady course."""
    one = point_of(desk, state, whole=False)
    return _told(desk, state, one) | {
        "next": {"text": rule_of(one), "state": None},
        "course": _course(one, _quasi_steady),
    }


def rest(desk: Desk, state: State) -> dict[str, Any]:
    """Return the answer once the hand rests: bands, differences, curves, next."""
    one = point_of(desk, state, whole=True)
    comparison = _compared(one)
    doubts = [doubt_line(x) for x in one.found.doubts if x is not None]
    causes = [
        block
        for annex in cause_annex(one.found.names, one.found.causes, one.show)
        for block in annex.blocks
        if isinstance(block, Table)
    ]
    cautions = one.screen.cautions
    told = _told(desk, state, one)
    told["cards"][3] = _better(one, comparison)
    return told | {
        "next": next_of(desk, state, one),
        "course": _with_band(one, _course(one, _balanced)),
        "against": _against(one, comparison),
        "least_sure": one.screen.least_sure,
        "doubt": "".join(doubts),
        "causes": [
            {"heads": [*x.heads], "rows": [[*r] for r in x.rows]} for x in causes
        ],
        "viscosity": _viscosity(one),
        "cautions": [*cautions],
        "closing": closing(len(cautions), one.screen.cautions_count),
    }


def _told(desk: Desk, state: State, one: Point) -> dict[str, Any]:
    """Return what both answers hold."""
    return {
        "for": short_names([one.mix])[0],
        "verdict": _verdict(one),
        "cards": [_pours(one), _sets(one), _case(one), _better(one, None), _burns(one)],
        "findings": [
            {"status": x.status, "kind": _KINDS[STATUSES[x.status]], "text": x.text}
            for x in one.screen.findings
        ],
        "example": one.screen.example(),
        "conditions": one.screen.conditions,
        "rows": _rows(one.screen),
        "command": command_of(desk, state, one),
    }


def command_of(desk: Desk, state: State, one: Point) -> str:
    """Return the command that says the same; what no option says stands behind #."""
    words, settings = ["castsugar evaluate", recipe_argument(one.mix)], state.settings
    words.append(f"--bench {shlex.quote(str(desk.path))}")
    if settings.cook is not None and one.asked.question.kitchen is not None:
        points = zip(settings.cook.times, settings.cook.temperatures, strict=True)
        text = ", ".join(f"{t / 60:g} min {x - 273.15:.6g} C" for t, x in points)
        words.append(f'--cook "{text}"')
    other = [
        f"throat {1e3 * settings.throat:g} mm" if settings.throat is not None else "",
        f"{settings.grains} grains" if settings.grains is not None else "",
        *(f"{key} {value:g}" for key, value in settings.limits),
    ]
    if any(other):
        words.append(f"  # with {', '.join(x for x in other if x)} in the bench")
    return " ".join(words)


def _rows(screen: Screen) -> list[list[str]]:
    """Return the table of a screen with all its five columns."""
    table = next(x for x in screen.blocks if isinstance(x, Table))
    places = [table.heads.index(h) if h in table.heads else None for h in _HEADS]
    return [
        [row[0], *("" if i is None else row[i] for i in places)] for row in table.rows
    ]


# ----------------------------------------------------------------------------
# The verdict, and the five cards.


def _verdict(one: Point) -> dict[str, str]:
    """Return what stands at the head: broken before unknown before kept."""
    findings, judged = one.screen.findings, one.judged
    grave = [f"DO NOT {x.text}" for x in findings if x.status == "DO NOT"]
    grave += [x.text for x in findings if x.status == "BROKEN"]
    open_ones = [x.text for x in findings if x.status == "CANNOT TELL"]
    broken = sum(x.verdict == BROKEN for x in judged)
    unknown = sum(x.verdict not in (KEPT, BROKEN) for x in judged)
    if broken:
        head = f"BREAKS {numbers.count(broken, 'LIMIT', 'LIMITS')}"
        return {"kind": "broken", "text": f"{head}: {grave[0]}"}
    if grave:
        return {"kind": "broken", "text": grave[0]}
    if unknown:
        head = f"CANNOT TELL {numbers.count(unknown, 'LIMIT', 'LIMITS')}"
        return {"kind": "unknown", "text": f"{head}: {open_ones[0]}"}
    if open_ones or not judged:
        why = open_ones[0] if open_ones else "the bench states no limits"
        return {"kind": "unknown", "text": f"CANNOT TELL: {why}"}
    count = numbers.count(len(judged), "LIMIT", "LIMITS")
    by = ", by invented numbers" if one.found.invented else ""
    return {"kind": "kept", "text": f"KEEPS ALL {count}{by}"}


def _card(
    key: str, title: str, text: str, detail: str, held: Judged | None = None
) -> dict[str, str]:
    """Return a card; one of a limit that is not computed says why."""
    words = {KEPT: "kept", BROKEN: "broken"}
    found = "plain" if held is None else words.get(held.verdict, "unknown")
    if found == "unknown" and held is not None:
        text, detail = "not computed", held.reason or "not computed"
    return {"key": key, "title": title, "kind": found, "text": text, "detail": detail}


def _not_asked(key: str, title: str, table: str) -> dict[str, str]:
    return _card(key, title, "not asked", f"add [{table}]")


def _pours(one: Point) -> dict[str, str]:
    """Say whether it pours."""
    title, row, show = "Pours?", one.row, one.show
    if one.asked.question.kitchen is None:
        return _not_asked("pours", title, "kitchen")
    held = one.held(POUR)
    share = row["pours_probability"]
    told = numbers.of_100(share) if held is None else pouring(held, row)
    ends = [
        FIELDS[key].text(row, show)
        for key in ("pour_viscosity_p10_Pa_s", "pour_viscosity_p90_Pa_s")
    ]
    detail = f"{ends[0]} to {ends[1]} {show.unit('viscosity')}, 80 of 100"
    low, high = row["pour_window_low_C"], row["pour_window_high_C"]
    if low == low and high == high:
        window = [show.bare("temperature", x) for x in (low, high)]
        detail += f"; between {window[0]} and {window[1]} {show.unit('temperature')}"
    if held is None and share != share:
        return _card("pours", title, "not computed", str(row["flags"])) | {
            "kind": "unknown"
        }
    return _card("pours", title, f"{told} of 100", detail, held)


def _sets(one: Point) -> dict[str, str]:
    """Say whether it sets."""
    title, solids = "Sets?", one.row.get(SOLIDS, math.nan)
    if one.asked.question.kitchen is None:
        return _not_asked("sets", title, "kitchen")
    held, told = one.held(SOLIDS), FIELDS[SOLIDS].text(one.row, one.show)
    word = set_word(solids) if solids == solids else "not computed"
    bound = "" if held is None else f", {limit_cell(held, one.show)}"
    found = _card("sets", title, word, f"relative solids {told}{bound}", held)
    return found if held or solids == solids else found | {"kind": "unknown"}


def _case(one: Point) -> dict[str, str]:
    """Say whether the case holds: the 95 % line against it, and what is expected."""
    title, row, show = "Case holds?", one.row, one.show
    if one.asked.question.motor is None:
        return _not_asked("case", title, "motor")
    held, allowed = one.held(PEAK, P95), one.asked.allowable
    high, middle = FIELDS[P95].text(row, show), FIELDS[PEAK].text(row, show)
    unit = show.unit("pressure")
    if allowed != allowed and held is not None:
        allowed = held.limit
    bound = f" of {show.limit('pressure', allowed)}" if allowed == allowed else ""
    origin = rests_on(str(row.get("burn_law_origin") or ""))
    detail = f"95 of 100 below {high}; expected {middle}; {origin}"
    if one.found.invented:
        detail = detail.replace("your strands", "invented strands")
    found = _card("case", title, f"{high}{bound} {unit}", detail, held)
    worst = any(x.status == "DO NOT" and "fire" in x.text for x in one.screen.findings)
    return found | {"kind": "broken"} if worst else found


def _burns(one: Point) -> dict[str, str]:
    """Say how it burns."""
    row, show = one.row, one.show
    title = "Flame, c*"
    if row["status"] != "ok":
        found = _card("burns", title, "not computed", str(row["status"]))
        return found | {"kind": "unknown"}
    told = [
        f"{FIELDS[key].text(row, show)} {show.unit(FIELDS[key].kind)}"
        for key in (_FLAME, _C_STAR)
    ]
    return _card("burns", title, told[0], f"c* {told[1]}, ideal")


# ----------------------------------------------------------------------------
# Against the base, by paired draws.


def _compared(one: Point) -> Comparison | None:
    """Return the mix beside the base; None without a base or an exit."""
    question, base = one.asked.question, one.asked.base
    if base is None or question.leaving is None:
        return None
    given = question.evaluate_options()
    del given["data_uncertainty"]
    return compare(
        [base, one.mix],
        baseline=0,
        conditions=Conditions(**given),
        doubts=one.asked.doubts,
        scale_step=one.asked.scale_step,
    )


def _goal(one: Point, known: Mapping[str, Cell]) -> str:
    goal = goal_of(one.asked)[0]
    return goal if goal in known else "density_impulse_kg_s_m3"


def _better(one: Point, found: Comparison | None) -> dict[str, str]:
    """Say whether it is better than the base, by the goal of the bench."""
    title, base = "Better than base?", one.asked.base
    if base is None:
        return _card("better", title, "no base", "add a recipe to [recipes]")
    if found is None:
        return _card("better", title, "\u2026", "")
    cell = found.cells[1][_goal(one, found.cells[1])]
    label, told = FIELDS[cell.column].named(one.show), interval(cell, one.show)
    return _card("better", title, cell.merit or cell.verdict, f"{label}: {told}")


def _against(one: Point, found: Comparison | None) -> dict[str, Any] | None:
    """Return the differences that decide."""
    if found is None:
        return None
    base, new = found.cells
    held = [PEAK if x.column == P95 else x.column for x in one.judged]
    more = (_goal(one, new), _C_STAR, "specific_impulse_s", _FLAME, "density_kg_m3")
    columns = [c for c in dict.fromkeys((*held, *more)) if c in new][:8]
    rows = []
    for column in columns:
        field, ends = FIELDS[column], {}
        for place, cell in enumerate((new[column], base[column])):
            row = {column: cell.value, column + "_interval": cell.interval}
            ends[place] = field.text(row, one.show)
        told = interval(new[column], one.show)
        rows.append(
            [named(column, one.show), ends[0], ends[1], told, verdict(new[column])]
        )
    return {
        "heads": ["", "new", "base", "difference, 95 %", "verdict"],
        "rows": rows,
        "words": f"Against {found.names[0]}, paired draws.",
    }


# ----------------------------------------------------------------------------
# Curves.


def _course(one: Point, drawn: Any) -> dict[str, Any]:
    """Return pressure against time, that of the base beside it."""
    case, show = one.asked.allowable, one.show
    told: dict[str, Any] = {
        "time_s": [],
        "pressure_MPa": [],
        "base_MPa": None,
        "case_MPa": None if case != case else case,
        "label_case": "" if case != case else f"case {show.bound('pressure', case)}",
        "words": "no pressure is computed",
    }
    if one.firing is None:
        return told
    base = one.asked.base_firing
    known = [drawn(x) for x in (one.firing, base) if x is not None]
    time = np.linspace(0.0, max(t[-1] for t, _ in known), _POINTS)
    curves = [_listed(1e-6 * np.interp(time, t, p, right=np.nan)) for t, p in known]
    peak = FIELDS[PEAK].text(one.row, show)
    unit = show.unit("pressure")
    return told | {
        "time_s": _listed(time),
        "pressure_MPa": curves[0],
        "base_MPa": curves[1] if base is not None else None,
        "words": f"peak {peak} {unit}, burns {one.firing.trace.burn_time:.2g} s",
    }


def _listed(values: FloatArray) -> list[float | None]:
    """Return numbers for drawing; None where there is none."""
    return [round(x, 5) if math.isfinite(x) else None for x in values.tolist()]


def _quasi_steady(firing: Firing) -> tuple[FloatArray, FloatArray]:
    """Return the trace with its tail: time [s], pressure [Pa]."""
    trace: Trace = firing.trace
    tail = np.linspace(0.0, 4.0, 12)[1:]
    over = trace.pressure[-1] - trace.ambient
    time = np.r_[trace.time, trace.time[-1] + max(trace.emptying, 1e-6) * tail]
    return time, np.r_[trace.pressure, trace.ambient + over * np.exp(-tail)]


def _balanced(firing: Firing) -> tuple[FloatArray, FloatArray]:
    """Return the course of the balance: time [s], pressure [Pa]."""
    found = firing.course()
    return found.time, found.pressure


def _with_band(one: Point, told: dict[str, Any]) -> dict[str, Any]:
    """Return a course with the ends of the 95 % band at its times."""
    motor = one.asked.question.motor
    if motor is None or one.firing is None:
        return told
    (found,) = pressure_bands([one.mix], one.found.rows, motor)
    ends: dict[str, Any] = {"low": None, "high": None}
    if found.expected is not None:
        time, known = np.array(told["time_s"]), found.expected
        for key, end in (("low", known.low), ("high", known.high)):
            ends[key] = _listed(1e-6 * np.interp(time, known.time, end, right=np.nan))
    return told | ends


def _viscosity(one: Point) -> dict[str, Any] | None:
    """Return the viscosity against temperature with its band; None without a model."""
    kitchen = one.asked.question.kitchen
    if kitchen is None:
        return None
    pour = kitchen.cook.pour_temperature
    warm = np.linspace(max(pour - 40.0, 333.15), pour + 10.0, 26)
    try:
        low, middle, high = viscosity_curve(one.mix, kitchen, warm)
    except ValidityError as error:
        return {"reason": " ".join(str(error).split())}
    held = one.held(POUR)
    return {
        "temperature_C": _listed(warm - 273.15),
        "middle_Pa_s": _listed(middle),
        "low": _listed(low),
        "high": _listed(high),
        "limit_Pa_s": None if held is None else held.limit,
        "cook_C": round(pour - 273.15, 3),
    }
