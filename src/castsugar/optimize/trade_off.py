"""What one column costs in another: the trade-off front.

Epsilon constraint: the first objective is optimised at levels of the second, all levels
in the same batches (Y. Y. Haimes, L. S. Lasdon & D. A. Wismer, IEEE Trans. Syst. Man
Cybern. 1 (1971) 296, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.limits import Limit
from castsugar.optimize import multistart
from castsugar.optimize.multistart import Effort, choose, local_search
from castsugar.optimize.problem import (
    MOVED,
    Goal,
    Judge,
    Ledger,
    Problem,
    SpentError,
    Trials,
    side_by_side,
)
from castsugar.optimize.shadow_prices import INTERRUPTED
from castsugar.optimize.space import Space

#: Local searches for each level.
_STARTS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Front:
    """Mixes of which none is better in both columns than another feasible trial."""

    status: str  # "complete", "infeasible" (no mix keeps the limits) or "incomplete"
    reason: str  # why it is incomplete
    #: From the best of the first column to the best of the second, (n, k).
    fractions: FloatArray
    #: first, second: the two columns, (n,).
    first: FloatArray
    second: FloatArray
    trials: Trials


@dataclass(slots=True, kw_only=True)
class _Work:
    """What is known so far."""

    ledger: Ledger
    goals: tuple[Goal, Goal]
    judges: list[Judge] = field(default_factory=list)


def trade_off(
    problem: Problem,
    goal: Goal,
    other: Goal,
    space: Space,
    *,
    levels: int = 9,
    effort: Effort | None = None,
) -> Front:
    """Return the trade-off front between two objectives.

    Parameters
    ----------
    goal : Goal
        First objective, and the limits.
    other : Goal
        Second objective; its limits hold too.
    levels : int
        Points between the two ends, at equal steps of the second objective.

    Raises
    ------
    InputError
        For the same column twice, fewer than one level, an empty space.
    UnknownNameError
        For a column that the problem does not have.

    Notes
    -----
    Any feasible trial may be on the front: what local searches found, and what the
    lattice happened to meet at the same level if that is better.
    """
    if goal.objective == other.objective:
        raise InputError(f"the front needs two columns; got {goal.objective!r} twice")
    if levels < 1:
        raise InputError(f"levels of the front: {levels}; at least 1")
    work = effort or Effort()
    limits = (*goal.limits, *(one for one in other.limits if one not in goal.limits))
    goals = replace(goal, limits=limits), replace(other, limits=limits)
    for each in goals:
        each.check(problem.columns)
    ledger = Ledger(problem=problem, regions=space.regions(), budget=work.budget)
    state = _Work(ledger=ledger, goals=goals)
    reason = ""
    try:
        _run(state, levels, work)
    except KeyboardInterrupt:
        if not len(ledger.trials()):
            raise
        reason = INTERRUPTED
    except SpentError:
        reason = f"the budget of {work.budget} evaluations is used up"
    return _front(state, levels, reason)


def _run(state: _Work, levels: int, effort: Effort) -> None:
    """Find both ends, then the levels between."""
    ledger = state.ledger
    multistart.first_samples(ledger, effort)
    state.judges = [multistart.judge_of(ledger, goal) for goal in state.goals]
    for judge in state.judges:
        multistart.local_searches(ledger, judge, effort)
        multistart.confirm_optimum(ledger, judge, effort)
        if multistart.best_merit(ledger, judge)[0] > 0.0:
            return
    ledger.stage = "front"
    searches = []
    for judge in _level_judges(state, levels):
        starts = choose(ledger.trials(), judge, ledger.regions, _STARTS)
        for start in starts:
            region = ledger.regions[start.region]
            searches.append(local_search(region, start.region, judge, start.fractions))
    side_by_side(ledger, searches)


def _level_judges(state: _Work, levels: int) -> Sequence[Judge]:
    """Return judges of the first objective, the second held at levels."""
    ends = []
    trials = state.ledger.trials()
    place = list(state.ledger.problem.columns).index(state.goals[1].objective)
    for judge in state.judges:
        _, order = state.ledger.ranked(judge)
        ends.append(float(trials.values[order[0], place]))
    second = state.goals[1]
    judges = []
    for level in np.linspace(ends[0], ends[1], levels + 2)[1:-1].tolist():
        sense = ">=" if second.maximise else "<="
        name = f"front: {second.objective} {sense} {level!r}"
        limit = Limit(column=second.objective, sense=sense, value=level, name=name)
        goal = replace(state.goals[0], limits=(*state.goals[0].limits, limit))
        judges.append(multistart.judge_of(state.ledger, goal))
    return judges


def _front(state: _Work, levels: int, reason: str) -> Front:
    """Return what no feasible trial beats, thinned to the levels."""
    trials = state.ledger.trials()
    judges = state.judges or [multistart.judge_of(state.ledger, g) for g in state.goals]
    objectives = np.stack([j.standing(trials.values)[0] for j in judges], axis=1)
    violation = judges[0].standing(trials.values)[1]
    feasible = (violation <= 0.0) & (trials.region != MOVED)
    feasible &= np.isfinite(objectives).all(axis=1)
    rows = np.flatnonzero(feasible)
    rows = rows[_unbeaten(objectives[rows])]
    rows = rows[np.argsort(objectives[rows, 0], kind="stable")]
    rows = rows[_thinned(objectives[rows], levels)]
    status = "complete" if len(rows) else "infeasible"
    columns = list(state.ledger.problem.columns)
    first, second = (columns.index(goal.objective) for goal in state.goals)
    return Front(
        status="incomplete" if reason else status,
        reason=reason,
        fractions=trials.fractions[rows],
        first=trials.values[rows, first],
        second=trials.values[rows, second],
        trials=trials,
    )


def _unbeaten(objectives: FloatArray) -> BoolArray:
    """Say which rows no other row beats in both columns, both to be minimised."""
    order = np.lexsort((objectives[:, 1], objectives[:, 0]))
    second = objectives[order, 1]
    lowest = np.minimum.accumulate(np.concatenate([[np.inf], second[:-1]]))
    found = np.zeros(len(objectives), dtype=bool)
    found[order] = second < lowest
    return found


def _thinned(objectives: FloatArray, levels: int) -> BoolArray:
    """Keep the ends and, in every step of the second objective, its best row."""
    count = len(objectives)
    kept = np.zeros(count, dtype=bool)
    if not count:
        return kept
    kept[[0, -1]] = True
    high, low = objectives[0, 1], objectives[-1, 1]
    for level in np.linspace(high, low, levels + 2)[1:-1]:
        # Rows come from the best of the first column: the first that keeps the level.
        reached = objectives[:, 1] <= level + 1e-8 * max(high - low, 1e-300)
        kept[int(np.argmax(reached))] = True
    return kept
