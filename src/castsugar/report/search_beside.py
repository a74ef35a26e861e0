"""What stands beside the best mix: runners-up, trade-off, robust mix, tried mixes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.columns import COLUMN
from castsugar.limits import chance_column
from castsugar.motor.hardware import SPREAD
from castsugar.motor.pressure_table import untold
from castsugar.optimize.robust import Robust
from castsugar.optimize.search import Outcome
from castsugar.report.layout import CELL, LABEL, number
from castsugar.report.search_amounts import (
    bound,
    boundless,
    broken,
    few,
    gain,
    loss_text,
    not_computed,
    percent_of,
    shown,
    with_unit,
)
from castsugar.report.search_words import (
    PERFORMANCE,
    Asked,
    filled,
    label_of,
    recipe_text,
    row_of,
    unit_of,
)
from castsugar.report.strand_units import significant

#: Relative doubt of c* of any mix: common practice, no source (motor.hardware).
DOUBT = SPREAD.characteristic_velocity

_C_STAR, _P95 = "characteristic_velocity_m_s", "peak_pressure_p95_MPa"


def runner_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Return one entry for each runner-up."""
    found = outcome.found
    if not found.runners_up:
        return []
    lines = ["Runners-up that are really different"]
    objective = found.goal.objective
    for count, runner in enumerate(found.runners_up, start=1):
        row = row_of(outcome, f"runner {count}")
        change = percent_of(runner.objective - found.objective, found.objective)
        status = str(row.get("status", "ok"))
        text = (
            f"{recipe_text(found.ingredients, runner.fractions, asked)}: "
            f"{shown(objective, runner.objective)}"
            + (f" ({change})" if change else "")
            + f"; {number(100.0 * runner.distance, 0)} % of the mix exchanged"
            + ("" if runner.polished else "; of the grid, not searched on")
            + ("" if status == "ok" else f"; {status}")
        )
        lines += filled(text, "      ", f"  {count}.  ")
    return lines


def front_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the table of the trade-off."""
    front, task = outcome.front, outcome.task
    if front is None or task.front is None:
        return []
    columns = [column for column, _ in task.front]
    wishes = [
        f"{'more' if more else 'less'} {label_of(column)}"
        for column, more in task.front
    ]
    lines = filled(f"Trade-off: {wishes[0]} against {wishes[1]}", "  ", "")
    if front.status == "incomplete":
        lines += filled(
            f"Not finished: {front.reason}. Other mixes may be better in both.",
            "    ",
            "  ! ",
        )
    if not len(front.fractions):
        return [*lines, *filled("No mix keeps the limits.")]
    heads = "".join(f"{unit_of(c) or '-':>11}" for c in columns)
    lines.append(f"{heads}    mix")
    for place, mix in enumerate(front.fractions):
        pair = (front.first[place], front.second[place])
        cells = "".join(
            f"{boundless(c, v) or significant(v):>11}"
            for c, v in zip(columns, map(float, pair), strict=True)
        )
        text = recipe_text(outcome.found.ingredients, mix, asked)
        lines += filled(text, " " * 26, f"{cells}    ")
    return lines


def robust_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the robust optimum beside the nominal one."""
    robust, task = outcome.robust, outcome.task
    if robust is None or task.sloppiness is None:
        return []
    sloppy = task.sloppiness
    of = (
        f"a {few(1e3 * task.space.batch, 4)} g batch" if task.space.batch else "a batch"
    )
    lines = ["If you weigh sloppily"]
    lines += filled(
        f"Taken: every part of {of} wrong by {few(1e3 * sloppy.weighing, 2)} g, syrup "
        f"solids by {few(100.0 * sloppy.syrup_solids, 2)} points, powders damp by "
        f"{few(100.0 * sloppy.moisture, 2)} % (standard uncertainties; damp only adds "
        "water). A chance limit on pouring holds the doubt of the syrup already; it is "
        "not counted twice. "
        f"{robust.batches} batches of each mix were drawn."
    )
    if robust.found.violation > 0.0:
        return [
            *lines,
            *filled(
                "No mix was found that keeps the limits with room for that: weigh a "
                "larger batch, measure the syrup, or loosen a limit. Of the batches "
                f"of the best mix {number(100.0 * robust.kept_nominal, 0)} % keep all "
                "limits."
            ),
        ]
    lines += _robust_table(outcome, robust, asked)
    lines += _tightened(outcome, robust)
    return lines


def _robust_table(outcome: Outcome, robust: Robust, asked: Asked) -> list[str]:
    """Return nominal and robust mix side by side, and the price of robustness."""
    found, other = outcome.found, robust.found
    lines = [f"{'':<{LABEL}}{'best':>{CELL}}{'robust':>{CELL}}"]

    def add(label: str, cells: Sequence[str]) -> None:
        told = "".join(f"{text:>{CELL}}" for text in cells)
        lines.append(f"  {label:<{LABEL - 2}}{told}")

    pairs = zip(
        found.ingredients,
        found.fractions.tolist(),
        other.fractions.tolist(),
        strict=True,
    )
    for name, one, two in pairs:
        if one > 0.0 or two > 0.0:
            add(
                f"{asked.name(name)}, %",
                [number(100.0 * x, 2) for x in (one, two)],
            )
    kept = (robust.kept_nominal, robust.kept_robust)
    add("batches that keep all limits, %", [number(100.0 * x, 0) for x in kept])
    price = loss_text(found.goal, robust.price, found.objective)
    name = label_of(found.goal.objective)
    lines += filled(f"The price of robustness: {price} in {name}")
    if other.status == "incomplete":
        lines += filled(f"Not finished: {other.reason}.", "    ", "  ! ")
    return lines


def _tightened(outcome: Outcome, robust: Robust) -> list[str]:
    """Say how far the limits were drawn in, and what that aimed at."""
    own = {limit.name: limit for limit in robust.found.goal.limits}
    moved = [
        f"{label_of(limit.column)}: {bound(own[limit.name])} instead of "
        f"{few(limit.value, 4)}"
        for limit in outcome.found.goal.limits
        if limit.name in own
    ]
    if not moved:
        return filled("There is no limit that a sloppy batch could break.")
    return filled(
        f"For the robust mix the limits were drawn in: {'; '.join(moved)}. That aims "
        "at 95 of 100 batches for each limit by itself, to first order; the share "
        "above counts all limits together, in batches that were drawn."
    )


def tried_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the user's mixes beside the best: numbers, gains, broken limits."""
    task, goal = outcome.task, outcome.found.goal
    if not task.tried:
        return []
    motor = task.settings.motor is not None
    unit = unit_of(goal.objective)
    lines = [
        f"{'Your mixes beside the best':<30}{'objective':>12}{'best gains':>14}"
        f"{'c*':>8}" + (f"{'p95':>12}" if motor else ""),
        f"{'':<30}{unit:>12}{'':>14}{'m/s':>8}" + (f"{'MPa':>12}" if motor else ""),
    ]
    own = {"best": outcome.found.values, **outcome.tried_values}
    for name in ("best", *task.tried):
        row, values = row_of(outcome, name), own.get(name)
        known = values or row
        score = float(known.get(goal.objective, math.nan))
        better = gain(goal, outcome.found.objective, score)
        fair = name != "best" and outcome.found.violation <= 0.0
        share = percent_of(better, score) if fair else ""
        velocity = number(float(row.get(_C_STAR, math.nan)), COLUMN[_C_STAR].decimals)
        text = _score(goal.objective, score)
        line = f"{text:>12}{share:>14}{velocity:>8}"
        if motor:
            line += f"{_pressure(row, values or {}):>12}"
        unsound = outcome.found.violation > 0.0 and name == "best"
        lines += _named("the mix above" if unsound else name, line)
        lines += _judged(outcome, name, asked)
    return [*lines, *_flat(outcome)]


def _named(name: str, line: str) -> list[str]:
    """Return a line of numbers with its name, above it if that is long."""
    if len(name) <= 27:
        return [f"  {name:<28}{line}".rstrip()]
    return [*filled(name, "    ", "  "), f"{'':<30}{line}".rstrip()]


def _score(objective: str, score: float) -> str:
    """Write an objective without its unit, with digits that tell mixes apart."""
    return boundless(objective, score) or few(score, 4)


def _pressure(row: Mapping[str, Any], values: Mapping[str, float]) -> str:
    """Write the 95 % pressure: the one that a limit looked at, if there is one."""
    limited = chance_column("peak_pressure_MPa", 0.95)
    value = float(values.get(limited, row.get(_P95, math.nan)))
    return boundless(_P95, value) or significant(value, 3)


def _judged(outcome: Outcome, name: str, asked: Asked) -> list[str]:
    """Say how a tried mix was computed, and how it stands to the limits."""
    if name == "best":
        return []
    notes = []
    status = str(row_of(outcome, name).get("status", "ok"))
    if status != "ok":
        notes.append(f"{status}.")
    values = outcome.tried_values.get(name)
    if values is None:
        notes.append(
            "It holds an ingredient that the search does not, so its limits were not "
            "judged."
        )
        return [x for note in notes for x in filled(note, "      ", "    ")]
    notes += _held(outcome, name, values, asked)
    return [x for note in notes for x in filled(note, "      ", "    ")]


def _held(
    outcome: Outcome, name: str, values: Mapping[str, float], asked: Asked
) -> list[str]:
    """Say how a tried mix stands to the limits, and what its difference is worth."""
    found, goal = outcome.found, outcome.found.goal
    breaks = broken(goal.limits, values, asked)
    gaps = not_computed(goal.limits, values)
    notes = [f"Breaks {'; '.join(breaks)}."] if breaks else []
    if gaps:
        why = untold(row_of(outcome, name))
        why = f": {why}" if why else ""
        return [*notes, f"Not computed: {'; '.join(gaps)}{why}."]
    if goal.limits and not breaks:
        notes.append("Keeps all limits.")
    notes += _worth(outcome, values[goal.objective], sound=not breaks)
    if found.violation > 0.0 and not breaks and goal.limits:
        notes.append("The search did not find it: ask again with more effort.")
    return notes


def _worth(outcome: Outcome, score: float, *, sound: bool) -> list[str]:
    """Say what the difference between the best and a tried mix is worth."""
    found, goal = outcome.found, outcome.found.goal
    better = gain(goal, found.objective, score)
    if math.isnan(better) or found.violation > 0.0:
        return []
    if goal.objective in PERFORMANCE and abs(better) < DOUBT * abs(score):
        return [
            "The difference to the best is below what the data leave open (c* "
            f"{with_unit(few(100.0 * DOUBT, 2), '')} %): do not count on it."
        ]
    if better < 0.0 and sound:
        return ["It is better than what the search found: search with more effort."]
    if better < 0.0:
        return ["It scores more than the best, but only by breaking that."]
    return []


def _flat(outcome: Outcome) -> list[str]:
    """Say so if c* does not tell the mixes apart."""
    best = float(row_of(outcome, "best").get(_C_STAR, math.nan))
    others = [
        float(row_of(outcome, name).get(_C_STAR, math.nan))
        for name in outcome.task.tried
    ]
    if not all(abs(other - best) < DOUBT * best for other in others):
        return []
    return filled(
        f"c* of all of them agrees within the {few(100.0 * DOUBT, 2)} % that it is "
        "known to: c* does not choose between these mixes; pouring, setting, density "
        "and pressure do."
    )
