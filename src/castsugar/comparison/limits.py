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
from castsugar.limits import Limit, LimitVerdict, Requirement, judge_rows, limits_of
from castsugar.mix import weighing
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.pressure_table import burn_law_of
from castsugar.optimize.plane import TOLERANCE
from castsugar.optimize.problem import Trials
from castsugar.optimize.search import Outcome
from castsugar.optimize.shadow_prices import Found, LimitState
from castsugar.optimize.space import Space
from castsugar.optimize.task import RESERVED, Settings, Task

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
BORROWED_RATE, FIRM = "borrowed burning rate", (MEASURED, STATED)

_PRESSED = ("peak_pressure", "pressure_margin_percent")


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

    def to_dict(self) -> dict[str, Any]:
        """Return plain values: the limit, and each mix in order."""
        return {
            "key": self.column,
            "sense": self.sense,
            "limit": self.value,
            "probability": self.probability,
            "mixes": [
                {
                    "judged": one.value,
                    "verdict": one.verdict,
                    "margin_percent": 100.0 * one.margin,
                    "share_of_draws": one.share,
                    "ground": one.ground,
                    "reason": one.reason,
                }
                for one in self.standings
            ],
        }


def judge_limits(
    requirements: Sequence[Requirement],
    draws: Draws,
    rows: Sequence[Mapping[str, Any]],
) -> tuple[JudgedLimit, ...]:
    """Hold every mix against every limit, as a search does.

    See :func:`castsugar.limits.judge`; beside it what a comparison knows: the share of
    its draws that keep a limit, and what a pressure rests on.

    Parameters
    ----------
    requirements : sequence of Requirement
    draws : Draws
        Of the comparison: mixes, conditions, and the shares of draws.
    rows : sequence of mappings
        Rows of the table, one a mix, with the quantiles that the limits ask for.
    """
    outlook = draws.outlook
    grounds = _grounds(outlook.mixes, outlook.conditions)
    judged = judge_rows(limits_of(requirements), rows)
    return tuple(
        JudgedLimit(
            column=one.limit.key,
            sense=one.limit.sense,
            value=one.limit.value,
            probability=one.limit.probability,
            standings=tuple(
                replace(
                    standing,
                    share=_share(draws, one.limit, mix),
                    ground=grounds[mix] if one.limit.key.startswith(_PRESSED) else "",
                )
                for mix, standing in enumerate(one)
            ),
        )
        for one in judged
    )


def _grounds(mixes: Sequence[Mix], conditions: Conditions) -> list[str]:
    """Return what the pressure of each mix rests on, where it is nothing measured."""
    motor = conditions.motor
    if motor is None:
        return [""] * len(mixes)
    origins = [burn_law_of(of_mixes([m]), motor).origin for m in mixes]
    return ["" if law_standing(o) in FIRM else BORROWED_RATE for o in origins]


def _share(draws: Draws, limit: Limit, mix: int) -> float:
    """Return the share of draws that keep a limit; one that failed does not."""
    drawn = draws.values.get(limit.key) if limit.probability is None else None
    if drawn is None or np.isnan(drawn[:, mix]).all():
        return math.nan
    with np.errstate(invalid="ignore"):
        return float(np.mean(limit.slack(drawn[:, mix]) >= 0.0))
