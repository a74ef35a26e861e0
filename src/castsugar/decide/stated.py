"""A mix that was given, not searched for, drawn like the answer of a search.

The pictures of a search show what stands around a mix: which limits lie near, what one
ingredient more or less would do. Here they get a mix that somebody states, beside the
mix that it would replace. Nothing is optimised and no optimum is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.data.load import Database, load_database
from castsugar.decide.found import Found, LimitState
from castsugar.decide.ledger import Trials
from castsugar.decide.measure import KEPT
from castsugar.decide.outcome import Outcome
from castsugar.decide.requirement import Requirement
from castsugar.decide.space import Space
from castsugar.decide.table import Settings
from castsugar.decide.task import RESERVED, Task
from castsugar.errors import InputError
from castsugar.mix import weighing
from castsugar.mix.mix import Mix

#: What the pictures show unless asked otherwise.
C_STAR = "characteristic_velocity_m_s"

#: How far around the two mixes the pictures look. [mass fraction]
MARGIN = 0.08

#: So many ingredients can vary on a triangle.
_FREE = 3

#: Status of a mix that was given.
STATED = "stated"

_NOT_ASKED = {
    "kitchen": "no kitchen was given",
    "motor": "no motor was given",
}


def around_task(
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


def stated(task: Task, fractions: FloatArray, status: str = STATED) -> Outcome:
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
        -slacks[limit.name] / (abs(limit.value) or 1.0) - KEPT for limit in goal.limits
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
