"""What stands around two mixes: neighbours, evaluated once for every picture.

Neighbours share burn law and kitchen model with the two mixes: where a model is wrong,
it is wrong for all of them. A neighbour that keeps limits is a mix to test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.decide.measure import KEPT
from castsugar.decide.mixing_line import line_through, same_as
from castsugar.decide.outcome import Outcome
from castsugar.decide.plane import Plane, plane
from castsugar.decide.problem import Limit
from castsugar.decide.remaining import REMAINS, RULED_OUT, UNKNOWN
from castsugar.decide.requirement import Requirement
from castsugar.decide.stated import (
    C_STAR,
    MARGIN,
    around_task,
    fractions_of,
    stated,
    unjudged,
)
from castsugar.decide.table import Settings, TableProblem, chance_column
from castsugar.decide.task import Task
from castsugar.kitchen import pour_table
from castsugar.mix.blends import put_together
from castsugar.mix.mix import Mix

PRESSURE, VISCOSITY = "chamber_pressure_MPa", "pour_viscosity_Pa_s"
IMPULSE, SET_RATIO = "specific_impulse_s", "set_ratio"

#: Share of the draws that keeps a limit where none is asked for.
USUAL = {PRESSURE: 0.95, VISCOSITY: 0.80}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Member:
    """One of the two mixes.

    Attributes
    ----------
    name : str
    fractions : ndarray, shape (k,)
    values : ndarray, shape (c,)
    """

    name: str
    fractions: FloatArray
    values: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Around:
    """Mixes around two mixes, and their columns.

    Attributes
    ----------
    kind : str
        "triangle": all mixes of three ingredients near the two; "line": the mixes on
        the straight line through both.
    outcome : Outcome
        The new mix as stated, the base as tried: for the pictures of a search.
    plane : Plane or None
        For a map of the outcome; with a line, too, where three ingredients vary.
    names : tuple of str
        Ingredients: what the columns of fractions stand for.
    fractions : ndarray, shape (n, k)
        Neighbours, without the two mixes.
    change : ndarray, shape (n,)
        Of a line: share of the way from base (0) to new (1). Empty of a triangle.
    columns : tuple of str
    values : ndarray, shape (n, c)
        NaN where not computed.
    base, new : Member
    pressure, viscosity : str
        Columns of peak pressure and pour viscosity, at the probability of their limits;
        empty without motor or kitchen.
    left_out : mapping
        Column of a limit that is not judged to why.
    gaps : mapping
        "kitchen", "motor": why some or all mixes have none. "flow": why the flow is
        another than that of the settings.
    """

    kind: str
    outcome: Outcome
    plane: Plane | None
    names: tuple[str, ...]
    fractions: FloatArray
    change: FloatArray
    columns: tuple[str, ...]
    values: FloatArray
    base: Member
    new: Member
    pressure: str
    viscosity: str
    left_out: Mapping[str, str]
    gaps: Mapping[str, str]

    def column(self, name: str) -> FloatArray:
        """Return a column of all mixes, base and new last, (n + 2,); NaN without it."""
        rows = [self.values, self.base.values[None], self.new.values[None]]
        if name not in self.columns:
            return np.full(sum(len(part) for part in rows), np.nan)
        return np.vstack(rows)[:, self.columns.index(name)]

    def under(self, limits: Sequence[Limit]) -> IntArray:
        """Return how all mixes stand under limits, (n + 2,).

        As :func:`castsugar.decide.remaining.standing` says it: 0 keeps all, 1 breaks
        one, 2 not computed.
        """
        out = np.zeros(len(self.fractions) + 2, dtype=bool)
        dark = out.copy()
        for limit in limits:
            slack = limit.slack(self.column(limit.column))
            dark |= np.isnan(slack)
            out |= slack < -KEPT * abs(limit.value)
        return np.where(out, RULED_OUT, np.where(dark, UNKNOWN, REMAINS))

    @property
    def all_fractions(self) -> FloatArray:
        """Return all mixes, base and new last, (n + 2, k)."""
        both = [self.base.fractions[None], self.new.fractions[None]]
        return np.vstack([self.fractions, *both])


def look_around(
    base: Mix,
    new: Mix,
    settings: Settings,
    requirements: Sequence[Requirement] = (),
    *,
    objective: str = C_STAR,
    margin: float = MARGIN,
) -> Around:
    """Evaluate the mixes around two mixes, once.

    A triangle where three ingredients vary and both mixes lie on it; else the line
    through both. Where one of the two freezes at the throat in equilibrium flow, all
    are evaluated without solidification; `gaps` says so.

    Parameters
    ----------
    base, new, settings, requirements, objective, margin
        As for :func:`castsugar.decide.stated.around_task`.

    Raises
    ------
    InputError
        If the mixes are the same and no three ingredients vary: nothing lies between.
    """
    chosen = _flowing(base, new, settings)
    task = around_task(
        base, new, chosen, requirements, objective=objective, margin=margin
    )
    pair = fractions_of(task, base, new)
    left_out = unjudged(task, pair, requirements)
    outcome = stated(task, pair[1])
    problem, pressure, viscosity = _problem(task)
    columns = tuple(problem.columns)
    own = np.asarray(problem.evaluate(pair), dtype=float)
    made = plane(outcome, problem) if _varying(task) == 3 else None
    if made is not None and made.shares_of(pair[0]) is not None:
        inside = (made.rows >= 0.0).all(axis=1)
        change = np.empty(0)
        mixes, values = made.fractions[inside], made.values[inside]
    else:
        change, mixes = line_through(*pair)
        values = np.asarray(problem.evaluate(mixes), dtype=float)
    fresh = ~same_as(mixes, pair)
    return Around(
        kind="line" if len(change) else "triangle",
        outcome=outcome,
        plane=made,
        names=task.space.columns,
        fractions=mixes[fresh],
        change=change[fresh] if len(change) else change,
        columns=columns,
        values=values[fresh],
        base=Member(name=base.name, fractions=pair[0], values=own[0]),
        new=Member(name=new.name, fractions=pair[1], values=own[1]),
        pressure=pressure,
        viscosity=viscosity,
        left_out=left_out,
        gaps=_gaps(task, settings, pair, (base.name, new.name)),
    )


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
        task = around_task(base, new, way)
        values = task.problem().evaluate(fractions_of(task, base, new))
        known.append(int(np.isfinite(values).all(axis=1).sum()))
        if known[0] == len(values):
            return settings
    return calm if known[1] > known[0] else settings


def _varying(task: Task) -> int:
    """Return how many ingredients vary."""
    return sum(low < high for low, high in task.space.bounds.values())


def _problem(task: Task) -> tuple[TableProblem, str, str]:
    """Return the columns to evaluate, and those of pressure and viscosity."""
    own = task.problem()
    wanted, chances, names = [*own.wanted, C_STAR, IMPULSE], [*own.chances], []
    asked = task.settings
    for column, wing in ((PRESSURE, asked.motor), (VISCOSITY, asked.kitchen)):
        if wing is None:
            names.append("")
            continue
        level = _level(task, column)
        if level is None:
            names.append(column)
            continue
        chances.append((column, level))
        names.append(chance_column(column, level))
    if asked.kitchen is not None:
        wanted.append(SET_RATIO)
    problem = replace(
        own,
        wanted=tuple(dict.fromkeys(wanted)),
        chances=tuple(dict.fromkeys(chances)),
    )
    return problem, names[0], names[1]


def _level(task: Task, column: str) -> float | None:
    """Return the probability of the upper limit on a column, or the usual one.

    The largest of several; None where the only limit is one on the best estimate.
    """
    own = (r for r in task.requirements if r.column == column)
    asked = [r for r in own if r.at_most is not None]
    levels = [r.probability for r in asked if r.probability is not None]
    if asked and not levels:
        return None
    return max(levels, default=USUAL[column])


def _gaps(
    task: Task, asked: Settings, pair: FloatArray, names: tuple[str, str]
) -> dict[str, str]:
    """Return why kitchen or motor say nothing, for all mixes or one of the pair."""
    settings, found = task.settings, {}
    if settings.flow != asked.flow:
        found["flow"] = (
            f"in {asked.flow} flow potassium carbonate freezes at the throat for one "
            "of the mixes, and its c* there is an artefact"
        )
    if settings.motor is None:
        found["motor"] = "no motor was given"
    if asked.kitchen is None:
        found["kitchen"] = "no kitchen was given"
    else:
        blends = put_together(
            settings.items,
            pair,
            water_lost=settings.water_lost,
            lots=settings.lots,
            alternatives=settings.alternatives,
        )
        said = pour_table.cook(None, blends, asked.kitchen, window=False).verdict
        told = zip(names, said.gap, strict=True)
        why = list(dict.fromkeys(gap for _, gap in told if gap))
        if all(said.gap) and len(why) == 1:
            found["kitchen"] = why[0]
        elif why:
            told = zip(names, said.gap, strict=True)
            found["kitchen"] = "; ".join(f"{n}: {gap}" for n, gap in told if gap)
    return found
