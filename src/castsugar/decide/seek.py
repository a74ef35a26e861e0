"""From a task to its outcome: search, round, make robust, confirm."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from castsugar.confirmation import INTERRUPTED as UNCONFIRMED
from castsugar.confirmation import UnconfirmedError
from castsugar.decide.found import INTERRUPTED, INTERRUPTED_AFTER, Found
from castsugar.decide.front import Front, trade_off
from castsugar.decide.outcome import Outcome
from castsugar.decide.problem import Goal
from castsugar.decide.robust import Robust, robust_optimum
from castsugar.decide.rounding import Weighable, weigh_out
from castsugar.decide.search import optimise
from castsugar.decide.sloppy import Batches
from castsugar.decide.table import Settings, TableProblem
from castsugar.decide.task import Task
from castsugar.errors import ConvergenceError, InputError
from castsugar.evaluation import evaluate, table_of
from castsugar.kitchen.pour_table import cook
from castsugar.mix.blends import blend
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import withheld
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import untold

#: A margin below 0 by more than this is one; the search keeps limits to rounding.
_ROUNDING = 1e-6

#: Mass of a batch where none is stated, for the effect of a sloppy scale [kg].
_USUAL_BATCH = 0.2


def seek(task: Task, *, confirm: bool = True) -> Outcome:
    """Search, and find out what else a person has to know about the answer.

    Ctrl-C ends it with what is known, marked incomplete.

    Parameters
    ----------
    task : Task
    confirm : bool
        Whether the second solver solves what is shown.

    Raises
    ------
    InputError
        For an empty space; the message names the rows that conflict. For a cook that
        degrades the sugar too far.
    ConvergenceError
        If not one mix could be computed.
    """
    problem, goal = task.problem(), task.goal()
    effort = replace(task.effort, also=known_mixes(task))
    try:
        found = optimise(problem, goal, task.space, effort=effort)
    except ConvergenceError as error:
        why = _spoilt(task) or _untold(task)
        raise InputError(f"no mix can be judged: {why}") if why else error from None
    beside = _Beside()
    try:
        _look_beside(beside, task, problem, goal, found)
    except KeyboardInterrupt:
        beside.stopped = True
    rows = _shown_rows(task, problem, found, beside, confirm=confirm)
    if beside.stopped and found.reason != INTERRUPTED:
        why = "; ".join(filter(None, (found.reason, INTERRUPTED_AFTER)))
        found = replace(found, status="incomplete", reason=why)
    return Outcome(
        task=task,
        found=found,
        percents=_judged(beside.percents, rows.get("percents")),
        weighable=_judged(beside.weighable, rows.get("weighable")),
        no_rounding=beside.gap,
        robust=beside.robust,
        front=beside.front,
        rows=rows,
        tried_values=_tried(task, problem),
        refused=_refused(rows["best"], "the best mix", kept=found.violation <= 0.0),
        unjudged=_unjudged(found),
    )


def _untold(task: Task) -> str:
    """Return why no pressure is told of a mix of the space; empty if one is."""
    settings = task.settings
    if settings.motor is None:
        return ""
    names, corner = task.space.columns, task.space.regions()[0].corners[0]
    shown = {"corner": _recipe(names, corner)}
    rows = _rows(settings, settings.motor, shown, confirm=False)
    return untold(rows["corner"])


@dataclass(slots=True, kw_only=True)
class _Beside:
    """What stands beside the best mix, as far as it is known."""

    percents: Weighable | None = None
    weighable: Weighable | None = None
    gap: str = ""
    robust: Robust | None = None
    front: Front | None = None
    stopped: bool = False


def _look_beside(
    beside: _Beside, task: Task, problem: TableProblem, goal: Goal, found: Found
) -> None:
    """Round, make robust, follow the trade-off; Ctrl-C keeps what was found."""
    beside.stopped, beside.gap = found.reason == INTERRUPTED, INTERRUPTED
    beside.percents, beside.weighable, beside.gap = _rounded(task, problem, found)
    if found.status != "optimal":
        return
    beside.robust = _robust(task, problem, goal, found)
    if beside.robust is not None and beside.robust.found.reason == INTERRUPTED:
        raise KeyboardInterrupt
    beside.front = _front(task, problem, goal)
    if beside.front is not None and beside.front.reason == INTERRUPTED:
        raise KeyboardInterrupt


def _shown_rows(
    task: Task, problem: TableProblem, found: Found, beside: _Beside, *, confirm: bool
) -> dict[str, dict[str, Any]]:
    """Return the rows that are shown, not confirmed once Ctrl-C was pressed."""
    rows_of = partial(_rows, task.settings, problem.motor, _shown(task, found, beside))
    try:
        rows = rows_of(confirm=confirm and not beside.stopped)
    except KeyboardInterrupt:
        if beside.stopped:
            raise
        beside.stopped = True
        return rows_of(confirm=False)
    beside.stopped |= any(r["confirmation"] == UNCONFIRMED for r in rows.values())
    return rows


def _spoilt(task: Task) -> str:
    """Return why nothing is computed after a cook that spoils the sugar, or nothing."""
    settings = task.settings
    if settings.kitchen is None:
        return ""
    even = np.full((1, len(settings.items)), 1.0 / len(settings.items))
    cooked = cook(None, blend(settings.items, even), settings.kitchen, window=False)
    return withheld(float(cooked.blends.browned[0]))


def known_mixes(task: Task) -> tuple[tuple[float, ...], ...]:
    """Return mixes that were made or measured, as fractions of the space's items.

    A measured mix keeps its own burn law: a better one than all mixes around it, which
    no lattice meets.
    """
    names = task.space.columns
    recipes = [dict(recipe) for recipe in task.tried.values()]
    motor = task.settings.motor
    if motor is not None:
        parts = motor.burning.components
        recipes += [
            dict(zip(parts, mix.fractions, strict=True))
            for mix in motor.burning.law.mixes
        ]
    return tuple(
        tuple(recipe.get(name, 0.0) / sum(recipe.values()) for name in names)
        for recipe in recipes
        if {n for n, share in recipe.items() if share > 0.0} <= set(names)
    )


def _rounded(
    task: Task, problem: TableProblem, found: Found
) -> tuple[Weighable | None, Weighable | None, str]:
    """Return the answer in whole percents and in steps of the scale."""
    made: list[Weighable | None] = []
    gaps = []
    space = task.space
    percents = replace(
        space, batch=1.0, scale_step=0.01, purchases=space.shares_at_hand()
    )
    for other in (percents, space):
        if other is space and (space.batch is None or space.scale_step is None):
            made.append(None)
            continue
        try:
            made.append(weigh_out(problem, other, found))
        except InputError as error:
            made.append(None)
            gaps.append(str(error))
    return made[0], made[1], "; ".join(gaps)


def _robust(
    task: Task, problem: TableProblem, goal: Goal, found: Found
) -> Robust | None:
    if task.sloppiness is None:
        return None
    batches = Batches(
        sloppiness=task.sloppiness,
        batch=task.space.batch or _USUAL_BATCH,
        seed=task.effort.seed,
    )
    return robust_optimum(problem, goal, task.space, found, batches, effort=task.effort)


def _front(task: Task, problem: TableProblem, goal: Goal) -> Front | None:
    if task.front is None:
        return None
    first, second = (
        Goal(objective=column, maximise=more, limits=goal.limits)
        for column, more in task.front
    )
    return trade_off(problem, first, second, task.space, effort=task.effort)


def _judged(made: Weighable | None, row: Mapping[str, Any] | None) -> Weighable | None:
    """Hold a rounded recipe against its own row of the table."""
    if made is None or row is None:
        return made
    return replace(made, refused=_refused(row, "this recipe", kept=made.feasible))


def _shown(task: Task, found: Found, beside: _Beside) -> dict[str, Mapping[str, float]]:
    """Return the recipes that get a full row of the table."""
    shown: dict[str, Mapping[str, float]] = {"best": found.recipe}
    names = task.space.columns
    both = (("percents", beside.percents), ("weighable", beside.weighable))
    for name, rounded in both:
        if rounded is not None:
            shown[name] = _recipe(names, rounded.fractions)
    if beside.robust is not None:
        shown["robust"] = beside.robust.found.recipe
    for count, runner in enumerate(found.runners_up, start=1):
        shown[f"runner {count}"] = _recipe(names, runner.fractions)
    return shown | dict(task.tried)


def _rows(
    settings: Settings,
    motor: Hardware | None,
    shown: Mapping[str, Mapping[str, float]],
    *,
    confirm: bool,
) -> dict[str, dict[str, Any]]:
    """Return full rows of the table; the draws of the motor judge the limits, too."""
    mixes = [
        Mix.weigh(
            recipe,
            name=name,
            water_lost=0.0 if settings.kitchen else settings.water_lost,
            lots={k: v for k, v in settings.lots.items() if k in recipe},
            alternatives=dict(settings.alternatives),
        )
        for name, recipe in shown.items()
    ]
    try:
        table = evaluate(
            mixes,
            pressure=settings.pressure,
            exit_pressure=settings.exit_pressure,
            flow=settings.flow,
            confirm=confirm,
            kitchen=settings.kitchen,
            motor=motor,
            species=settings.species,
        )
    except UnconfirmedError as stopped:
        table = table_of(stopped.columns)
    records = table.to_dict("records")
    return {
        name: {str(k): v for k, v in row.items()}
        for name, row in zip(shown, records, strict=True)
    }


def _recipe(names: tuple[str, ...], fractions: np.ndarray) -> dict[str, float]:
    pairs = zip(names, fractions.tolist(), strict=True)
    return {name: share for name, share in pairs if share > 0.0}


def _tried(task: Task, problem: TableProblem) -> dict[str, dict[str, float]]:
    """Return the columns of the search at every tried mix of the space's items."""
    names = task.space.columns
    inside = {n: r for n, r in task.tried.items() if set(r) <= set(names)}
    if not inside:
        return {}
    fractions = np.array([[r.get(c, 0.0) for c in names] for r in inside.values()])
    fractions /= fractions.sum(axis=1, keepdims=True)
    values = problem.evaluate(fractions)
    return {
        name: dict(zip(problem.columns, row.tolist(), strict=True))
        for name, row in zip(inside, values, strict=True)
    }


def _refused(row: Mapping[str, Any], what: str, *, kept: bool) -> str:
    """Say why a row is no optimum to be trusted.

    One that breaks a limit is none anyway: what its pressure does is told there.
    """
    status, flags = str(row["status"]), str(row["flags"])
    if status != "ok":
        return f"{what} is {status}"
    if "freezing at the throat" in flags:
        return (
            f"{what} lies where potassium carbonate freezes at the throat: its c* "
            "is an artefact of equilibrium flow; search without solidification"
        )
    if not math.isfinite(row["characteristic_velocity_m_s"]):
        return f"{what} has no c*"
    if kept and (why := untold(row)):
        return f"no pressure is told of {what}, so no margin: {why}"
    if kept and row["pressure_margin"] < -_ROUNDING:
        return (
            f"the 95 % pressure of {what} exceeds what the case may hold; set the "
            'limit on chamber_pressure_MPa to at_most = "case"'
        )
    return ""


def _unjudged(found: Found) -> tuple[str, ...]:
    """Return ingredients of which every mix that holds them could not be computed."""
    needed = [found.goal.objective, *(limit.column for limit in found.goal.limits)]
    places = [list(found.values).index(name) for name in needed]
    known = np.asarray(np.isfinite(found.trials.values[:, places]).all(axis=1))
    holds = found.trials.fractions > 0.0
    return tuple(
        name
        for name, rows in zip(found.ingredients, holds.T, strict=True)
        if rows.any() and not known[rows].any() and known.any()
    )
