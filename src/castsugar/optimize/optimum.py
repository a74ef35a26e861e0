"""The best mix of a space: the search and what it answers."""

from __future__ import annotations

from dataclasses import field, replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.optimize import multistart
from castsugar.optimize.multistart import Effort, LocalOptimum, apart
from castsugar.optimize.problem import (
    Goal,
    Judge,
    Ledger,
    Problem,
    SpentError,
    Trials,
    side_by_side,
)
from castsugar.optimize.region import ROUNDING
from castsugar.optimize.shadow_prices import (
    BINDS,
    INTERRUPTED,
    Found,
    LimitState,
    Multipliers,
    Price,
    Relaxation,
    RowState,
    Runner,
    Trier,
    multipliers,
    relaxations,
)
from castsugar.optimize.space import Space

# ----------------------------------------------------------------------------
# From what a search knows to its answer.


#: Part of the objective's slope that no limit explains, above which a mix lies at an
#: edge of what can be computed: a throat that begins to freeze, a model that ends; and
#: how far beyond it is looked at. [share of the mix]
_EDGE, _BEYOND = 0.3, 0.01


@dataclass(slots=True, kw_only=True)
class Knowledge:
    """What a search has found so far, so that it may stop anywhere."""

    goal: Goal
    space: Space
    ledger: Ledger
    effort: Effort
    judge: Judge | None = None
    reason: str = ""
    ends: list[LocalOptimum] = field(default_factory=list)
    multipliers: Multipliers | None = None
    limit_prices: dict[int, Price] = field(default_factory=dict)
    row_prices: dict[int, Price] = field(default_factory=dict)
    relaxations: tuple[Relaxation, ...] = ()


def answer(known: Knowledge) -> Found:
    """Return the answer, complete or not."""
    ledger = known.ledger
    judge = known.judge or multistart.judge_of(ledger, known.goal)
    trials, order = ledger.ranked(judge)
    best = order[0]
    standing = judge.standing(trials.values[best])
    violation = float(standing[1])
    values = dict(
        zip(ledger.problem.columns, trials.values[best].tolist(), strict=True)
    )
    if np.isnan(judge.outputs(trials.values[best])).any():
        raise multistart.uncomputed(ledger, known.goal)
    region = ledger.regions[trials.region[best]]
    status = "optimal" if violation <= 0.0 else "infeasible"
    found = known.multipliers
    return Found(
        status="incomplete" if known.reason else status,
        reason=known.reason,
        goal=known.goal,
        ingredients=known.space.columns,
        choice=region.choice,
        fractions=trials.fractions[best],
        values=values,
        limits=_limits(known, judge, values),
        rows=_rows(known, trials, int(best)),
        stationarity=found.residual if found else np.nan,
        kink=found.kink if found else False,
        edge=_edge(known, trials, int(best)),
        violation=violation,
        runners_up=_runners(known, judge, trials, order),
        relaxations=known.relaxations,
        trials=trials,
        batches=ledger.batches,
        seed=known.effort.seed,
    )


def _edge(known: Knowledge, trials: Trials, best: int) -> tuple[str, ...]:
    """Return what is not computed just beyond a mix that no limit explains."""
    found = known.multipliers
    if found is None or not found.residual > _EDGE:
        return ()
    goal, columns = known.goal, list(known.ledger.problem.columns)
    names = dict.fromkeys((goal.objective, *(limit.column for limit in goal.limits)))
    places = [columns.index(name) for name in names]
    near = apart(trials.fractions[best], trials.fractions) < _BEYOND
    failed = np.asarray(np.isnan(trials.values[near][:, places]).any(axis=0))
    return tuple(name for name, bad in zip(names, failed, strict=True) if bad)


def _limits(
    known: Knowledge, judge: Judge, values: dict[str, float]
) -> tuple[LimitState, ...]:
    """Return the state of every limit."""
    row = np.array([values[name] for name in known.ledger.problem.columns])
    scaled = judge.outputs(row)[1:]
    return tuple(
        LimitState(
            limit=limit,
            value=values[limit.column],
            slack=float(limit.slack(np.array(values[limit.column]))),
            binding=bool(scaled[index] <= BINDS) or index in known.limit_prices,
            price=known.limit_prices.get(index),
        )
        for index, limit in enumerate(known.goal.limits)
    )


def _rows(known: Knowledge, trials: Trials, best: int) -> tuple[RowState, ...]:
    """Return the rows of the space that bind, fixed parts and absent ones left out."""
    region = known.ledger.regions[trials.region[best]]
    slack = region.slack(trials.fractions[best])
    priced = np.isin(np.arange(len(slack)), [*known.row_prices])
    moves = region.slack(region.corners).max(axis=0) > 10.0 * ROUNDING
    return tuple(
        RowState(
            name=region.row_names[index],
            slack=float(slack[index]),
            price=known.row_prices.get(int(index)),
        )
        for index in np.flatnonzero(moves & ((slack <= BINDS) | priced))
    )


def _runners(
    known: Knowledge, judge: Judge, trials: Trials, order: NDArray[np.int64]
) -> tuple[Runner, ...]:
    """Return feasible mixes, each different from the best and from each other.

    Ends of local searches come before other trials; the result is in order of merit.
    """
    _, violation = judge.standing(trials.values[order])
    rows = order[violation <= 0.0]
    ends = {_key(end.fractions) for end in known.ends if end.converged}
    ended = np.array([_key(trials.fractions[r]) in ends for r in rows], dtype=bool)
    places = np.argsort(~ended, kind="stable")
    kept = trials.fractions[order[:1]]
    chosen: list[int] = []
    for place in places.tolist():
        mix = trials.fractions[rows[place]]
        if len(chosen) == known.effort.runners_up:
            break
        if float(apart(mix, kept).min()) > known.effort.apart:
            chosen.append(place)
            kept = np.vstack([kept, mix])
    return tuple(
        _runner(known, trials, int(rows[place]), kept[0], bool(ended[place]))
        for place in sorted(chosen)
    )


def _key(fractions: FloatArray) -> tuple[float, ...]:
    """Return a mix without its last bits, which may differ from batch to batch."""
    return tuple(np.round(fractions, 10).tolist())


def _runner(
    known: Knowledge, trials: Trials, row: int, best: FloatArray, polished: bool
) -> Runner:
    """Return what is told about one of them."""
    columns = known.ledger.problem.columns
    values = dict(zip(columns, trials.values[row].tolist(), strict=True))
    mix = trials.fractions[row]
    return Runner(
        fractions=mix,
        choice=known.ledger.regions[trials.region[row]].choice,
        objective=values[known.goal.objective],
        slacks={
            limit.name: float(limit.slack(np.array(values[limit.column])))
            for limit in known.goal.limits
        },
        distance=float(apart(best, mix)),
        polished=polished,
    )


# ----------------------------------------------------------------------------
# The best mix of a space: the lattice first, then local searches, then why.
#
# Every batch is large, every trial is kept, and the same seed gives the same answer.

#: Gain found while prices were tried, of the objective's size, that makes a new start.
_OVERLOOKED = 1e-6

#: Most new starts.
_ROUNDS = 3


def optimise(
    problem: Problem, goal: Goal, space: Space, *, effort: Effort | None = None
) -> Found:
    """Return the best mix of a space, what limits it, and what would buy more.

    A lattice of every region is evaluated; the best distinct trials are searched on
    with quadratic models, all in the same batches; a pattern search looks around the
    best once more; each binding limit is moved and searched again.

    Parameters
    ----------
    problem : Problem
        Returns columns of mixes, whole batches at once.
    goal : Goal
        Objective and limits, by column.
    effort : Effort, optional
        Seed, budget, lattice, starts.

    Returns
    -------
    Found
        An optimum; or the mix that violates least, and which single limit to relax; or
        the best so far, where Ctrl-C or the budget stopped the search.

    Raises
    ------
    UnknownNameError
        For a column that the problem does not have.
    InputError
        For contradictory limits, an empty space, a problem that returns another shape.
    ConvergenceError
        If not one mix could be computed.

    Notes
    -----
    The global part is the lattice: an optimum in a basin that no lattice point belongs
    to is not found. A feasible mix is found if the search for the least violation from
    the best lattice points leads to one. A binding limit keeps a slack of some
    1e-9 of its size.

    Examples
    --------
    >>> from castsugar.optimize.problem import FunctionProblem
    >>> problem = FunctionProblem(
    ...     columns=("product",), function=lambda x: x[:, :1] * x[:, 1:]
    ... )
    >>> space = Space(bounds={"a": (0.0, 1.0), "b": (0.0, 1.0)})
    >>> found = optimise(problem, Goal(objective="product"), space)
    >>> found.status, found.fractions.round(6).tolist()
    ('optimal', [0.5, 0.5])
    """
    work = effort or Effort()
    goal.check(problem.columns)
    regions = space.regions()
    ledger = Ledger(problem=problem, regions=regions, budget=work.budget)
    known = Knowledge(goal=goal, space=space, ledger=ledger, effort=work)
    try:
        _run(known)
    except KeyboardInterrupt:
        if not len(ledger.trials()):
            raise
        known.reason = INTERRUPTED
    except SpentError:
        known.reason = f"the budget of {work.budget} evaluations is used up"
    return answer(known)


def _run(known: Knowledge) -> None:
    """Go through the stages; what is found is written into `known` as it comes."""
    ledger, effort = known.ledger, known.effort
    multistart.first_samples(ledger, effort)
    judge = multistart.judge_of(ledger, known.goal)
    if _left_out(known, judge):
        multistart.first_samples(ledger, effort)
        judge = multistart.judge_of(ledger, known.goal)
    known.judge = judge
    known.ends += multistart.local_searches(ledger, judge, effort)
    for _ in range(_ROUNDS):
        known.ends += multistart.confirm_optimum(ledger, judge, effort)
        violation, objective = multistart.best_merit(ledger, judge)
        if violation > 0.0:
            ledger.stage = "relaxing"
            known.relaxations = relaxations(ledger, judge, effort)
            return
        ledger.stage = "prices"
        _price(known, judge)
        if multistart.best_merit(ledger, judge)[1] > objective - _OVERLOOKED:
            return


def _left_out(known: Knowledge, judge: Judge) -> bool:
    """Hold at 0 what no mix can be judged with; say whether there is such a thing.

    The mixes without it are a thin face of the space, which no model can be fitted on.
    """
    ledger, space = known.ledger, known.space
    trials = ledger.trials()
    told = np.asarray(np.isfinite(judge.outputs(trials.values)).all(axis=1))
    without = {
        name: (0.0, 0.0)
        for name, holds in zip(space.columns, trials.fractions.T > 0.0, strict=True)
        if space.bounds.get(name, (1.0, 1.0))[0] == 0.0
        and holds.any()
        and not told[holds].any()
    }
    if not (without and told.any()):
        return False
    smaller = replace(space, bounds={**space.bounds, **without})
    try:
        regions = smaller.regions()
    except InputError:  # nothing is left: the search says so in its own way
        return False
    if [r.choice for r in regions] != [r.choice for r in ledger.regions]:
        return False
    known.space, ledger.regions = smaller, regions
    return True


def _price(known: Knowledge, judge: Judge) -> None:
    """Find multipliers and prices of what binds at the best mix."""
    ledger = known.ledger
    best = multistart.best_start(ledger, judge)
    region = ledger.regions[best.region]
    if region.dimension == 0:
        return
    search = multipliers(region, best.region, judge, best.fractions)
    found = side_by_side(ledger, [search])[0]
    known.multipliers = found
    trials, order = ledger.ranked(judge)
    trier = Trier(
        ledger=ledger,
        judge=judge,
        space=known.space,
        region=region,
        number=best.region,
        fractions=best.fractions,
        values=trials.values[order[0]],
        objective=multistart.best_merit(ledger, judge)[1],
        # At such an edge there is no slope, and no price to confirm.
        again=known.effort.prices and not found.residual > _EDGE,
    )
    known.limit_prices, known.row_prices = trier.prices(found)
