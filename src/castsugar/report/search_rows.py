"""A search as plain values: the JSON document, and every trial as a row for CSV."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.data.records import Caution
from castsugar.limits import Limit
from castsugar.optimize.problem import MOVED, Judge
from castsugar.optimize.rounding import Weighable
from castsugar.optimize.search import Outcome
from castsugar.optimize.shadow_prices import (
    LimitState,
    Price,
    Relaxation,
    RowState,
    Runner,
)
from castsugar.report.data import versions
from castsugar.report.search_amounts import boundless, broken, gain, not_computed
from castsugar.report.search_words import Asked, file_key, plain_key, unit_key

Row = dict[str, Any]


def trial_rows(outcome: Outcome) -> list[Row]:
    """Return every mix that the search tried, in order.

    Fractions as ``<ingredient>_percent``, the columns of the search, the stage, and
    whether the mix lies in the space and keeps all limits ("yes" or "no"). The mixes
    of trade-off and robust optimum are not among them.
    """
    found = outcome.found
    trials, columns = found.trials, outcome_columns(outcome)
    judge = Judge.of(found.goal, columns, trials.values)
    violation = judge.standing(trials.values)[1]
    feasible = (violation <= 0.0) & (trials.region != MOVED)
    return [
        {
            "trial": place + 1,
            "stage": trials.stage[place],
            "feasible": "yes" if feasible[place] else "no",
            **fractions_row(found.ingredients, trials.fractions[place]),
            **values_row(
                dict(zip(columns, trials.values[place].tolist(), strict=True))
            ),
        }
        for place in range(len(trials))
    ]


def outcome_columns(outcome: Outcome) -> tuple[str, ...]:
    """Return the columns of the trials, in their order."""
    return tuple(outcome.found.values)


def fractions_row(names: Sequence[str], fractions: FloatArray) -> Row:
    """Return a mix with its percents by name."""
    return {
        f"{plain_key(name)}_percent": 100.0 * share
        for name, share in zip(names, fractions.tolist(), strict=True)
    }


def values_row(values: Mapping[str, float]) -> Row:
    """Return columns of a search by their keys in files; infinite ones as such."""
    return {
        file_key(column): math.inf if boundless(column, value) else value
        for column, value in values.items()
    }


def search_document(
    outcome: Outcome,
    asked: Asked,
    cautions: Sequence[Caution],
    *,
    trials: bool = False,
) -> Row:
    """Return an outcome as the JSON document "castsugar.search/1".

    Parameters
    ----------
    outcome : Outcome
    asked : Asked
    cautions : sequence of Caution
        Those that apply.
    trials : bool
        Whether every trial is part of it.
    """
    found, goal = outcome.found, outcome.found.goal
    document: Row = {
        "schema": "castsugar.search/1",
        "versions": versions(load_database().version),
        "file": asked.file,
        "status": found.status,
        "reason": found.reason,
        "feasible": outcome.feasible,
        "refused": outcome.refused,
        "objective": {
            "column": file_key(goal.objective),
            "sense": "maximise" if goal.maximise else "minimise",
            file_key(goal.objective): found.objective,
        },
        "ingredients_as_typed": dict(asked.typed),
        "choice": dict(found.choice),
        "best": _mix(outcome, found.fractions, found.values),
        "whole_percents": _rounded(outcome, outcome.percents),
        "weighed": _rounded(outcome, outcome.weighable),
        "not_rounded": outcome.no_rounding,
        "limits": [_limit(outcome, state) for state in found.limits],
        "binding_bounds": [_bound(outcome, row) for row in found.rows],
        "runners_up": [_runner(outcome, runner) for runner in found.runners_up],
        "relaxations": [_relaxed(outcome, each) for each in found.relaxations],
        "front": _front(outcome),
        "robust": _robust(outcome),
        "tried_mixes": [_tried(outcome, name, asked) for name in outcome.task.tried],
        "table": {name: dict(row) for name, row in outcome.rows.items()},
        "mixes_tried": len(found.trials),
        "seed": found.seed,
        "assumptions": {"notes": list(asked.assumptions)},
        "cautions": [caution.text for caution in cautions],
    }
    if trials:
        document["trials"] = trial_rows(outcome)
    return document


def _mix(
    outcome: Outcome, fractions: FloatArray, values: Mapping[str, float] | None = None
) -> Row:
    """Return a mix with its columns of the search, as far as they are known."""
    return {
        "recipe": fractions_row(outcome.found.ingredients, fractions),
        **({} if values is None else {"columns": values_row(values)}),
    }


def _rounded(outcome: Outcome, rounded: Weighable | None) -> Row | None:
    """Return a rounded recipe; grams are those of its batch."""
    if rounded is None:
        return None
    found = outcome.found
    row = _mix(outcome, rounded.fractions, rounded.values)
    row["keeps_all_limits"] = rounded.feasible
    row["refused"] = rounded.refused
    row[f"loss_{file_key(found.goal.objective)}"] = rounded.loss
    if rounded is outcome.weighable:
        row["masses"] = {
            f"{plain_key(name)}_g": 1e3 * mass
            for name, mass in zip(
                found.ingredients, rounded.masses.tolist(), strict=True
            )
        }
    return row


def _with_unit(word: str, column: str) -> str:
    """Return a key with the unit of a column."""
    unit = unit_key(column)
    return f"{word}_{unit}" if unit else word


def _price(outcome: Outcome, price: Price | None, per: str, scale: float) -> Row | None:
    """Return a price in the objective's unit per a unit of the limit."""
    if price is None:
        return None
    key = f"{file_key(outcome.found.goal.objective)}_per_{per}"
    return {
        key: scale * price.multiplier,
        f"relaxed_{key}": scale * price.relaxed,
        f"tightened_{key}": scale * price.tightened,
        "confirmed": price.confirmed,
    }


def _limit(outcome: Outcome, state: LimitState) -> Row:
    """Return a limit, how near the mix is, and the price as its number rises."""
    column = state.limit.column
    far = bool(boundless(column, state.value))
    return {
        "name": state.limit.name,
        "column": file_key(column),
        "sense": state.limit.sense,
        _with_unit("limit", column): state.limit.value,
        _with_unit("value", column): math.inf if far else state.value,
        _with_unit("slack", column): -math.inf if far else state.slack,
        "binding": state.binding,
        "price": _price(outcome, state.price, unit_key(column) or "unit", 1.0),
    }


def _bound(outcome: Outcome, row: RowState) -> Row:
    """Return a bound, ratio or purchase that binds, and the price as it is relaxed."""
    price = _price(outcome, row.price, "percent", 0.01)
    return {"name": row.name, "slack_percent": 100.0 * row.slack, "price": price}


def _runner(outcome: Outcome, runner: Runner) -> Row:
    objective = outcome.found.goal.objective
    slacks = {
        _limit_key(limit): runner.slacks[limit.name]
        for limit in outcome.found.goal.limits
    }
    return {
        **_mix(outcome, runner.fractions, {objective: runner.objective}),
        "slacks": slacks,
        "choice": dict(runner.choice),
        "exchanged_percent": 100.0 * runner.distance,
        "end_of_local_search": runner.polished,
    }


def _limit_key(limit: Limit) -> str:
    """Return a key for a limit that no other limit on the column has."""
    word = "at_most" if limit.sense == "<=" else "at_least"
    return f"{word}_{file_key(limit.column)}"


def _relaxed(outcome: Outcome, each: Relaxation) -> Row:
    column = each.limit.column
    return {
        "name": each.limit.name,
        "column": file_key(column),
        "sense": each.limit.sense,
        _with_unit("limit", column): each.limit.value,
        _with_unit("relaxed_to", column): each.value,
        "choice": dict(each.choice),
        **_mix(outcome, each.fractions),
    }


def _front(outcome: Outcome) -> Row | None:
    """Return the trade-off, from the best of the first column on."""
    front, wanted = outcome.front, outcome.task.front
    if front is None or wanted is None:
        return None
    columns = [column for column, _ in wanted]
    pairs = zip(front.first.tolist(), front.second.tolist(), strict=True)
    return {
        "status": front.status,
        "reason": front.reason,
        "columns": [file_key(column) for column in columns],
        "more_is_better": [more for _, more in wanted],
        "mixes": [
            _mix(outcome, mix, dict(zip(columns, pair, strict=True)))
            for mix, pair in zip(front.fractions, pairs, strict=True)
        ],
        "mixes_tried": len(front.trials),
    }


def _robust(outcome: Outcome) -> Row | None:
    robust = outcome.robust
    if robust is None:
        return None
    found = robust.found
    return {
        "status": found.status,
        "feasible": found.violation <= 0.0,
        **_mix(outcome, found.fractions, found.values),
        "limits": {_limit_key(limit): limit.value for limit in found.goal.limits},
        f"price_{file_key(found.goal.objective)}": robust.price,
        "batches_kept_best_percent": 100.0 * robust.kept_nominal,
        "batches_kept_robust_percent": 100.0 * robust.kept_robust,
        "batches": robust.batches,
    }


def _tried(outcome: Outcome, name: str, asked: Asked) -> Row:
    """Return a mix that the user made, what it breaks, what the best gains over it."""
    found = outcome.found
    recipe = outcome.task.tried[name]
    row: Row = {
        "name": name,
        "recipe": {f"{plain_key(n)}_percent": 100.0 * x for n, x in recipe.items()},
    }
    values = outcome.tried_values.get(name)
    if values is None:
        return {**row, "columns": None, "breaks": None, "not_computed": None}
    better = gain(found.goal, found.objective, values[found.goal.objective])
    return {
        **row,
        "columns": values_row(values),
        "breaks": broken(found.goal.limits, values, asked),
        "not_computed": not_computed(found.goal.limits, values),
        f"best_gains_{file_key(found.goal.objective)}": better,
    }
