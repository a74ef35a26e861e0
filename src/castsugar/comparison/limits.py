"""Limits held at drawn mixes: kept or broken, with what share of the draws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.comparison.draws import Draws
from castsugar.comparison.evidence import MEASURED, STATED, law_standing
from castsugar.comparison.uncertain_inputs import Conditions
from castsugar.data.load import Database, load_database
from castsugar.errors import InputError
from castsugar.kitchen.pour_table import cook
from castsugar.limits import (
    BROKEN,
    KEPT,
    NOT_COMPUTED,
    PEAK,
    POUR,
    Limit,
    LimitVerdict,
    Requirement,
    chance_column,
)
from castsugar.mix import weighing
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.pressure_table import BEYOND, burn_law_of, motor_rows, untold
from castsugar.optimize.plane import TOLERANCE
from castsugar.optimize.problem import Trials
from castsugar.optimize.search import Outcome
from castsugar.optimize.shadow_prices import Found, LimitState
from castsugar.optimize.space import Space
from castsugar.optimize.task import MOTOR_DRAWS, RESERVED, Settings, Task

# ----------------------------------------------------------------------------
# A mix that was given, not searched for, drawn like the answer of a search.
#
# The pictures of a search show what stands around a mix: which limits lie near, what
# one ingredient more or less would do. Here they get a mix that somebody states, beside
# the mix that it would replace. Nothing is optimised and no optimum is claimed.

#: What the pictures show unless asked otherwise.
C_STAR = "characteristic_velocity_m_s"

#: How far around the two mixes the pictures look. [mass fraction]
MARGIN = 0.08

#: So many ingredients can vary on a triangle.
_FREE = 3

#: Status of a mix that was given.
STATED_MIX = "stated"

_NOT_ASKED = {
    "kitchen": "no kitchen was given",
    "motor": "no motor was given",
}


def neighbourhood_task(
    base: Mix,
    new: Mix,
    settings: Settings,
    requirements: Sequence[Requirement] = (),
    *,
    objective: str = C_STAR,
    margin: float = MARGIN,
) -> Task:
    """Return the space around two mixes, with the limits that can be judged there.

    The ingredients of both, oxidizers first, then in the order of their recipes. Up to
    three vary, each within `margin` of both mixes; of more, the three whose shares
    differ most vary, and the others keep the share of `new`.

    Parameters
    ----------
    base, new : Mix
        Of catalogue ingredients.
    settings : Settings
        Its items are replaced by those of the mixes. A kitchen that is too hot for a
        verdict counts as none: it leaves the water as weighed, too.
    requirements : sequence of Requirement
        Those on columns that are not computed for one of the mixes are left out; see
        :func:`unjudged`.
    objective : str
        What shades and curves show.
    margin : float
        [mass fraction]

    Raises
    ------
    UnknownNameError
        For an ingredient that is not in the catalogue.
    InputError
        For a margin that is not above 0.
    """
    if not 0.0 < margin <= 0.5:
        raise InputError(f"margin is {margin:g}; allowed: above 0, up to 0.5")
    space = _space(base, new, margin)
    task = Task(
        space=space,
        settings=_settled(settings, space.columns),
        objective=objective,
        tried={_tried_name(base.name): _recipe(base, load_database())},
    )
    left = unjudged(task, fractions_of(task, base, new), requirements)
    kept = tuple(r for r in requirements if r.column not in left)
    return replace(task, requirements=kept)


def fractions_of(task: Task, *mixes: Mix) -> FloatArray:
    """Return mixes as fractions of the ingredients of a task, (n, k)."""
    database = load_database()
    recipes = [_recipe(mix, database) for mix in mixes]
    rows = [
        [recipe.get(name, 0.0) for name in task.space.columns] for recipe in recipes
    ]
    fractions = np.array(rows, dtype=float)
    return np.asarray(fractions / fractions.sum(axis=1, keepdims=True))


def unjudged(
    task: Task, fractions: FloatArray, requirements: Sequence[Requirement]
) -> dict[str, str]:
    """Return columns of limits that are not computed at some mix, and why.

    Parameters
    ----------
    task : Task
    fractions : ndarray, shape (n, k)
    requirements : sequence of Requirement
    """
    wings = {"kitchen": task.settings.kitchen, "motor": task.settings.motor}
    missing = {}
    for column in dict.fromkeys(r.column for r in requirements):
        group = COLUMN[column].group if column in COLUMN else ""
        if group in wings and wings[group] is None:
            missing[column] = _NOT_ASKED[group]
    there = tuple(r for r in requirements if r.column not in missing)
    if there:
        problem = replace(task, requirements=there).problem()
        known = np.isfinite(problem.evaluate(fractions))
        for place, name in enumerate(problem.columns):
            column = name.partition(",")[0]
            if not known[:, place].all() and any(r.column == column for r in there):
                missing[column] = (
                    "not computed for either mix"
                    if not known[:, place].any()
                    else "not computed for one of the mixes"
                )
    return missing


def outcome_of_mix(
    task: Task, fractions: FloatArray, status: str = STATED_MIX
) -> Outcome:
    """Return a mix that was given as what the pictures of a search show.

    Parameters
    ----------
    task : Task
        See :func:`around_task`.
    fractions : ndarray, shape (k,)
        Of the ingredients of the task.
    status : str

    Returns
    -------
    Outcome
        Without runners-up, prices, rounding: nothing was searched.
    """
    problem, goal = task.problem(), task.goal()
    mix = np.asarray(fractions, dtype=float)
    tried = [_shares(task, recipe) for recipe in task.tried.values()]
    mixes = np.vstack([mix, *tried])
    values = np.asarray(problem.evaluate(mixes), dtype=float)
    rows = [dict(zip(problem.columns, row, strict=True)) for row in values.tolist()]
    own = rows[0]
    slacks = {x.name: float(x.slack(np.asarray(own[x.column]))) for x in goal.limits}
    beyond = [
        -slacks[limit.name] / (abs(limit.value) or 1.0) - TOLERANCE
        for limit in goal.limits
    ]
    found = Found(
        status=status,
        reason="",
        goal=goal,
        ingredients=task.space.columns,
        choice={},
        fractions=mix,
        values=own,
        limits=tuple(
            LimitState(
                limit=limit,
                value=own[limit.column],
                slack=slacks[limit.name],
                binding=False,
            )
            for limit in goal.limits
        ),
        rows=(),
        stationarity=float("nan"),
        violation=max([0.0, *beyond]),
        runners_up=(),
        relaxations=(),
        trials=Trials(
            fractions=mixes,
            values=values,
            region=np.zeros(len(mixes), dtype=np.int64),
            stage=(status,) * len(mixes),
        ),
        batches=1,
        seed=task.effort.seed,
    )
    return Outcome(
        task=task,
        found=found,
        percents=None,
        weighable=None,
        no_rounding="",
        robust=None,
        front=None,
        rows={},
        tried_values=dict(zip(task.tried, rows[1:], strict=True)),
        refused="",
    )


def _recipe(mix: Mix, database: Database) -> dict[str, float]:
    """Return a recipe by catalogue name."""
    return {database.find(typed).name: share for typed, share in mix.recipe}


def _space(base: Mix, new: Mix, margin: float) -> Space:
    """Return the space around two mixes."""
    database = load_database()
    first, second = (_recipe(mix, database) for mix in (base, new))
    names = list(dict.fromkeys([*first, *second]))
    names.sort(key=lambda name: not _oxidizes(name, database))
    pairs = {n: (first.get(n, 0.0), second.get(n, 0.0)) for n in names}
    changes = {n: (round(abs(b - a), 9), max(a, b)) for n, (a, b) in pairs.items()}
    free = sorted(names, key=lambda n: changes[n], reverse=True)[:_FREE]
    bounds = {
        n: (max(0.0, min(pairs[n]) - margin), min(1.0, max(pairs[n]) + margin))
        for n in names
        if n in free
    }
    fixed = {n: pairs[n][1] for n in names if n not in free}
    return Space(bounds=bounds, fixed=fixed)


def _oxidizes(name: str, database: Database) -> bool:
    """Say whether an ingredient is an oxidizer."""
    return getattr(database.find(name), "role", "") == "oxidizer"


def _settled(settings: Settings, items: tuple[str, ...]) -> Settings:
    """Return settings for these items, without what belongs to others."""
    database = load_database()
    kitchen = settings.kitchen
    if kitchen is not None and kitchen.too_hot:
        kitchen = None
    lots = {
        key: lot
        for key, lot in settings.lots.items()
        if weighing.item_name(database, key) in items
    }
    return replace(settings, items=items, kitchen=kitchen, lots=lots)


def _tried_name(name: str) -> str:
    """Return a name that a tried mix may have."""
    taken = name in RESERVED or name.startswith("runner ")
    return f"base: {name}" if taken else name


def _shares(task: Task, recipe: Mapping[str, float]) -> FloatArray:
    """Return a recipe as fractions of the ingredients of a task."""
    row = np.array([recipe.get(name, 0.0) for name in task.space.columns])
    return np.asarray(row / row.sum())


# ----------------------------------------------------------------------------
# Limits at drawn mixes: kept or broken, with what share of the draws.

#: What a verdict on pressure may rest on, and on which burn laws it does not.
BORROWED_RATE, FIRM = "borrowed burn rate", (MEASURED, STATED)

_PRESSED = ("peak_pressure", "pressure_margin_percent")

#: A limit counts as kept within this share of it, as in a search.
_ROUNDING = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedLimit:
    """A limit, and how every mix stands to it.

    Attributes
    ----------
    column : str
    sense : str
        "<=" or ">=".
    value : float
        [unit of the column]
    probability : float or None
        Share of the draws that must keep it; None: the best estimate decides.
    standings : tuple of LimitVerdict
        One a mix.
    """

    column: str
    sense: str
    value: float
    probability: float | None
    standings: tuple[LimitVerdict, ...]


def judge_limits(
    requirements: Sequence[Requirement],
    draws: Draws,
    rows: Sequence[Mapping[str, Any]],
) -> tuple[JudgedLimit, ...]:
    """Hold every mix against every limit, as a search does.

    A limit with a probability is held against the quantile of the kitchen's or the
    motor's own draws, so that search, map and record say the same; one without against
    the best estimate.

    Parameters
    ----------
    requirements : sequence of Requirement
    draws : Draws
        Of the comparison: mixes, conditions, and the shares of draws.
    rows : sequence of mappings
        Rows of the table, one a mix: best estimates.
    """
    outlook = draws.outlook
    chances = [chance for need in requirements for chance in need.chances()]
    quantiles = quantiles_of(outlook.mixes, outlook.conditions, chances, rows)
    grounds = _grounds(outlook.mixes, outlook.conditions)
    found = []
    for need in requirements:
        for limit in need.limits():
            standings = []
            for mix, row in enumerate(rows):
                column = quantiles.get(limit.column)
                best = float(row[need.column]) if column is None else column[mix]
                drawn = draws.values.get(need.column) if column is None else None
                own = None if drawn is None else drawn[:, mix]
                standing = _judge_one(limit, best, own)
                if need.column.startswith(_PRESSED):
                    why = untold(row) if standing.verdict == NOT_COMPUTED else ""
                    standing = replace(standing, ground=grounds[mix], reason=why)
                standings.append(standing)
            found.append(
                JudgedLimit(
                    column=need.column,
                    sense=limit.sense,
                    value=limit.value,
                    probability=need.probability,
                    standings=tuple(standings),
                )
            )
    return tuple(found)


def quantiles_of(
    mixes: Sequence[Mix],
    conditions: Conditions,
    chances: Sequence[tuple[str, float]],
    rows: Sequence[Mapping[str, Any]],
) -> dict[str, list[float]]:
    """Return quantiles of pour viscosity and peak pressure, one a mix.

    Parameters
    ----------
    mixes : sequence of Mix
    conditions : Conditions
    chances : sequence of (column, level)
        What the limits ask for.
    rows : sequence of mappings
        With the ideal c* of each mix.

    Returns
    -------
    dict
        By the names of :func:`castsugar.limits.chance_column`.
    """

    def levels(column: str) -> tuple[float, ...]:
        return tuple(dict.fromkeys(level for name, level in chances if name == column))

    found: dict[str, list[float]] = {}
    blends = of_mixes(mixes)
    kitchen, motor = conditions.kitchen, conditions.motor
    if kitchen is not None:
        own = levels(POUR)
        said = cook(blends, kitchen, window=False, levels=own)
        blends = said.blends
        for level, values in zip(own, said.verdict.further, strict=True):
            found[chance_column(POUR, level)] = values.tolist()
    if motor is not None and (own := levels(PEAK)):
        velocity = [float(row["characteristic_velocity_m_s"]) for row in rows]
        driven = motor_rows(
            blends,
            replace(motor, draws=max(motor.draws, MOTOR_DRAWS)),
            characteristic_velocity=np.array(velocity),
            levels=own,
        )
        for level, values in zip(own, driven.peaks.further, strict=True):
            mega = np.where(values > BEYOND, np.inf, 1e-6 * values)
            found[chance_column(PEAK, level)] = mega.tolist()
    return found


def _grounds(mixes: Sequence[Mix], conditions: Conditions) -> list[str]:
    """Return what the pressure of each mix rests on, where it is nothing measured."""
    motor = conditions.motor
    if motor is None:
        return [""] * len(mixes)
    origins = [burn_law_of(of_mixes([m]), motor).origin for m in mixes]
    return ["" if law_standing(o) in FIRM else BORROWED_RATE for o in origins]


def _judge_one(limit: Limit, value: float, drawn: FloatArray | None) -> LimitVerdict:
    """Hold one mix against one limit."""
    share = math.nan
    if drawn is not None and not np.isnan(drawn).all():
        share = _share(drawn, limit)
    if math.isnan(value):
        return LimitVerdict(
            value=value, verdict=NOT_COMPUTED, share=share, margin=math.nan
        )
    left = float(limit.slack(np.asarray(value)))
    return LimitVerdict(
        value=value,
        verdict=KEPT if left >= -_ROUNDING * abs(limit.value) else BROKEN,
        share=share,
        margin=left / abs(limit.value) if limit.value else math.nan,
    )


def _share(values: FloatArray, limit: Limit) -> float:
    """Return the share of draws that keep a limit; one that failed does not."""
    with np.errstate(invalid="ignore"):
        return float(np.mean(limit.slack(values) >= 0.0))
