"""Nothing is feasible: which single limit must move, and how far."""

from __future__ import annotations

from castsugar.decide import hunt
from castsugar.decide.found import Relaxation
from castsugar.decide.hunt import Effort
from castsugar.decide.judge import Judge
from castsugar.decide.ledger import Ledger
from castsugar.decide.polish import polish
from castsugar.decide.problem import Goal
from castsugar.decide.starts import choose
from castsugar.decide.together import together

#: Local searches for each limit.
_STARTS = 3


def relaxations(ledger: Ledger, judge: Judge, effort: Effort) -> tuple[Relaxation, ...]:
    """Return the limits of which each alone, moved enough, leaves a mix.

    For each: its column becomes the objective and the other limits stay. A limit that
    is kept already, or whose removal does not suffice, has none. The least change
    first, as a share of the limit.
    """
    judges = [_judge(ledger, judge.goal, index) for index in range(len(judge.scales))]
    least = hunt.best_start(ledger, judge)
    searches = []
    for each in judges:
        starts = choose(ledger.trials(), each, ledger.regions, effort.starts or _STARTS)
        for start in [least, *starts]:
            region = ledger.regions[start.region]
            searches.append(polish(region, start.region, each, start.fractions))
    together(ledger, searches)
    found = [
        _relaxation(ledger, judge, each, index) for index, each in enumerate(judges)
    ]
    ranked = sorted((f for f in found if f is not None), key=lambda pair: pair[0])
    return tuple(relaxation for _, relaxation in ranked)


def _judge(ledger: Ledger, goal: Goal, index: int) -> Judge:
    """Return the judge of the goal to move one limit least."""
    limit = goal.limits[index]
    others = tuple(one for one in goal.limits if one is not limit)
    wish = Goal(objective=limit.column, maximise=limit.sense == ">=", limits=others)
    return hunt.judge_of(ledger, wish)


def _relaxation(
    ledger: Ledger, judge: Judge, own: Judge, index: int
) -> tuple[float, Relaxation] | None:
    """Return scaled change and relaxation of one limit, or None if it does not do."""
    trials, order = ledger.ranked(own)
    violation = own.standing(trials.values[order[0]])[1]
    if float(violation) > 0.0:
        return None
    row = order[0]
    limit = judge.goal.limits[index]
    change = -float(judge.outputs(trials.values[row])[1 + index])
    value = float(trials.values[row][own.places[0]])
    return change, Relaxation(
        limit=limit,
        value=value,
        fractions=trials.fractions[row],
        choice=ledger.regions[trials.region[row]].choice,
    )
