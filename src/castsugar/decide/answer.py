"""From what a search knows to its answer."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.decide import hunt
from castsugar.decide.found import (
    Found,
    LimitState,
    Price,
    Relaxation,
    RowState,
    Runner,
)
from castsugar.decide.hunt import Effort
from castsugar.decide.judge import Judge
from castsugar.decide.ledger import Ledger, Trials
from castsugar.decide.polish import Polished
from castsugar.decide.prices import BINDS, Multipliers
from castsugar.decide.problem import Goal
from castsugar.decide.region import ROUNDING
from castsugar.decide.space import Space
from castsugar.decide.starts import apart
from castsugar.errors import ConvergenceError


@dataclass(slots=True, kw_only=True)
class Knowledge:
    """What a search has found so far, so that it may stop anywhere."""

    goal: Goal
    space: Space
    ledger: Ledger
    effort: Effort
    judge: Judge | None = None
    reason: str = ""
    ends: list[Polished] = field(default_factory=list)
    multipliers: Multipliers | None = None
    limit_prices: dict[int, Price] = field(default_factory=dict)
    row_prices: dict[int, Price] = field(default_factory=dict)
    relaxations: tuple[Relaxation, ...] = ()


def answer(known: Knowledge) -> Found:
    """Return the answer, complete or not."""
    ledger = known.ledger
    judge = known.judge or hunt.judge_of(ledger, known.goal)
    trials, order = ledger.ranked(judge)
    best = order[0]
    standing = judge.standing(trials.values[best])
    violation = float(standing[1])
    values = dict(
        zip(ledger.problem.columns, trials.values[best].tolist(), strict=True)
    )
    if np.isnan(judge.outputs(trials.values[best])).any():
        raise ConvergenceError(
            f"none of the {len(trials)} mixes tried could be computed for "
            f"{known.goal.objective!r} and its limits; look at the status of their rows"
        )
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
        violation=violation,
        runners_up=_runners(known, judge, trials, order),
        relaxations=known.relaxations,
        trials=trials,
        batches=ledger.batches,
        seed=known.effort.seed,
    )


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
            binding=bool(scaled[index] <= BINDS),
            price=known.limit_prices.get(index),
        )
        for index, limit in enumerate(known.goal.limits)
    )


def _rows(known: Knowledge, trials: Trials, best: int) -> tuple[RowState, ...]:
    """Return the rows of the space that bind, fixed parts and absent ones left out."""
    region = known.ledger.regions[trials.region[best]]
    slack = region.slack(trials.fractions[best])
    moves = region.slack(region.corners).max(axis=0) > 10.0 * ROUNDING
    return tuple(
        RowState(
            name=region.row_names[index],
            slack=float(slack[index]),
            price=known.row_prices.get(int(index)),
        )
        for index in np.flatnonzero(moves & (slack <= BINDS))
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
