"""The mixes around two mixes, as the pictures of a search show them.

The pictures show what stands around a mix: which limits lie near, what one ingredient
more or less would do. Here they get a mix that somebody states, beside the mix that it
would replace. Nothing is optimised and no optimum is claimed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.data.load import Database, load_database
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.limits import Requirement
from castsugar.mix import weighing
from castsugar.mix.mix import Mix
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.plane import TOLERANCE, Plane, plane
from castsugar.optimize.problem import Trials
from castsugar.optimize.settings import Settings
from castsugar.optimize.shadow_prices import Found, LimitState
from castsugar.optimize.space import Space
from castsugar.optimize.task import RESERVED, Task

#: What shades and curves show.
C_STAR = "characteristic_velocity_m_s"

#: How far around the two mixes the pictures look. [mass fraction]
_MARGIN = 0.08

#: Mixes so near each other are the same. [mass fraction]
_SAME = 1e-9

#: So many ingredients vary, at most: those of a plane.
_FREE = 3

#: Status of a mix that was given.
STATED_MIX = "stated"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbourhood:
    """Mixes around two mixes."""

    #: The new mix as stated, the base as tried: for the pictures of a search.
    outcome: Outcome
    #: For a map of the outcome, where three ingredients vary and both mixes lie on it.
    plane: Plane | None


def neighbours_of(
    base: Mix,
    new: Mix,
    settings: Settings,
    requirements: Sequence[Requirement] = (),
) -> Neighbourhood:
    """Evaluate the mixes around two mixes, once.

    Where one of the two freezes at the throat in equilibrium flow, all are evaluated
    without solidification.

    Raises
    ------
    InputError
        If the mixes are the same.
    """
    chosen = _flowing(base, new, settings)
    task = neighbourhood_task(base, new, chosen, requirements)
    pair = fractions_of(task, base, new)
    if np.abs(pair[1] - pair[0]).max() <= _SAME:
        raise InputError(
            "base and new mix are the same: no mixes lie between them; give two mixes "
            "that differ"
        )
    outcome = outcome_of_mix(task, pair[1])
    varying = sum(low < high for low, high in task.space.bounds.values())
    made = plane(outcome, task.problem()) if varying == _FREE else None
    if made is not None and made.shares_of(pair[0]) is None:
        made = None
    return Neighbourhood(outcome=outcome, plane=made)


def _flowing(base: Mix, new: Mix, settings: Settings) -> Settings:
    """Return settings under which both mixes have a c*, if there are some.

    In equilibrium flow the c* of a mix that freezes at the throat is an artefact, and
    left out: then nothing solidifies for all of them.
    """
    if settings.flow != "equilibrium":
        return settings
    calm = replace(settings, flow="no-solidification")
    known = []
    for way in (settings, calm):
        task = neighbourhood_task(base, new, way)
        values = task.problem().evaluate(fractions_of(task, base, new))
        known.append(int(np.isfinite(values).all(axis=1).sum()))
        if known[0] == len(values):
            return settings
    return calm if known[1] > known[0] else settings


def neighbourhood_task(
    base: Mix,
    new: Mix,
    settings: Settings,
    requirements: Sequence[Requirement] = (),
) -> Task:
    """Return the space around two mixes, with the limits that can be judged there.

    The ingredients of both, oxidizers first, then in the order of their recipes. Up to
    three vary, each within 8 percent of the mix around both; of more, the three whose
    shares differ most vary, and the others keep the share of `new`. Limits on columns
    that are not computed for one of the mixes are left out, and a kitchen that is too
    hot for a verdict counts as none.

    Raises
    ------
    UnknownNameError
        For an ingredient that is not in the catalogue.
    """
    space = _space(base, new)
    task = Task(
        space=space,
        settings=_settled(settings, space.columns),
        objective=C_STAR,
        tried={_tried_name(base.name): _recipe(base, load_database())},
    )
    kept = _judged(task, fractions_of(task, base, new), requirements)
    return replace(task, requirements=kept)


def fractions_of(task: Task, *mixes: Mix) -> FloatArray:
    """Return mixes as fractions of the ingredients of a task, (n, k)."""
    database = load_database()
    return np.vstack([_shares(task, _recipe(mix, database)) for mix in mixes])


def _judged(
    task: Task, fractions: FloatArray, requirements: Sequence[Requirement]
) -> tuple[Requirement, ...]:
    """Return the limits on columns that are computed at all of some mixes."""
    wings = {"kitchen": task.settings.kitchen, "motor": task.settings.motor}
    absent = {group for group, wing in wings.items() if wing is None}
    there = tuple(
        r
        for r in requirements
        if r.column not in COLUMN or COLUMN[r.column].group not in absent
    )
    if not there:
        return ()
    problem = replace(task, requirements=there).problem()
    gaps = ~np.isfinite(problem.evaluate(fractions)).all(axis=0)
    missing = {
        problem.columns[k].partition(",")[0] for k in np.flatnonzero(gaps).tolist()
    }
    return tuple(r for r in there if r.column not in missing)


def outcome_of_mix(task: Task, fractions: FloatArray) -> Outcome:
    """Return a mix that was given as what the pictures of a search show.

    Without runners-up, prices, rounding: nothing was searched. `fractions` are of the
    ingredients of the task.
    """
    problem, goal = task.problem(), task.goal()
    mix = np.asarray(fractions, dtype=float)
    tried = [_shares(task, recipe) for recipe in task.tried.values()]
    mixes = np.vstack([mix, *tried])
    values = np.asarray(problem.evaluate(mixes), dtype=float)
    own, *others = (
        dict(zip(problem.columns, row, strict=True)) for row in values.tolist()
    )
    limits = tuple(
        LimitState(
            limit=limit,
            value=own[limit.column],
            slack=float(limit.slack(np.asarray(own[limit.column]))),
            binding=False,
        )
        for limit in goal.limits
    )
    beyond = [-s.slack / (abs(s.limit.value) or 1.0) - TOLERANCE for s in limits]
    found = Found(
        status=STATED_MIX,
        reason="",
        goal=goal,
        ingredients=task.space.columns,
        choice={},
        fractions=mix,
        values=own,
        limits=limits,
        rows=(),
        stationarity=math.nan,
        violation=max([0.0, *beyond]),
        runners_up=(),
        relaxations=(),
        trials=Trials(
            fractions=mixes,
            values=values,
            region=np.zeros(len(mixes), dtype=np.int64),
            stage=(STATED_MIX,) * len(mixes),
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
        tried_values=dict(zip(task.tried, others, strict=True)),
        refused="",
    )


def _recipe(mix: Mix, database: Database) -> dict[str, float]:
    """Return a recipe by catalogue name."""
    return {database.find(typed).name: share for typed, share in mix.recipe}


def _shares(task: Task, recipe: Mapping[str, float]) -> FloatArray:
    """Return a recipe as fractions of the ingredients of a task."""
    row = np.array([recipe.get(name, 0.0) for name in task.space.columns])
    return np.asarray(row / row.sum())


def _space(base: Mix, new: Mix) -> Space:
    """Return the space around two mixes."""
    database = load_database()
    first, second = (_recipe(mix, database) for mix in (base, new))
    names = list(dict.fromkeys([*first, *second]))
    names.sort(key=lambda n: getattr(database.find(n), "role", "") != "oxidizer")
    pairs = {n: (first.get(n, 0.0), second.get(n, 0.0)) for n in names}
    changes = {n: (round(abs(b - a), 9), max(a, b)) for n, (a, b) in pairs.items()}
    free = sorted(names, key=lambda n: changes[n], reverse=True)[:_FREE]
    bounds = {
        n: (max(0.0, min(pairs[n]) - _MARGIN), min(1.0, max(pairs[n]) + _MARGIN))
        for n in names
        if n in free
    }
    fixed = {n: pairs[n][1] for n in names if n not in free}
    return Space(bounds=bounds, fixed=fixed)


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
