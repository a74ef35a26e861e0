"""A search as plain values: the parts of its JSON, its rows, and every trial."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.problem import MOVED, Judge
from castsugar.optimize.rounding import Weighable
from castsugar.optimize.shadow_prices import LimitState, Price
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, TEXT, Field
from castsugar.report.limit_words import limit_rows
from castsugar.report.mix_words import grams_row, share_key
from castsugar.report.search import Searched, masses_of
from castsugar.report.search_words import (
    endless,
    file_key,
    goal_words,
    unit_key,
)

Row = dict[str, Any]

_MIX = "recipe: <catalogue_name>_mass_percent; columns of the search at it"

#: What the JSON of a search holds beside what every document does.
PARTS: dict[str, Part] = {
    "file": Part(meaning="name of the bench file"),
    "status": Part(meaning="optimal, infeasible or incomplete"),
    "reason": Part(meaning="why it is incomplete; else empty"),
    "feasible": Part(meaning="whether a mix keeps all limits"),
    "refused": Part(meaning="why the best mix is no optimum to be trusted; else empty"),
    "objective": Part(
        meaning="column, sense, its value at the exact optimum, and what is wanted"
    ),
    "ingredients_as_typed": Part(meaning="name as typed to catalogue name"),
    "choice": Part(meaning="slot to the alternative chosen"),
    "chosen": Part(
        meaning="the recipe that is the answer: which of best, whole_percents, "
        "weighed and robust it is, its shares and, with a batch, its masses [g]"
    ),
    "best": Part(meaning=f"the exact optimum; {_MIX}"),
    "whole_percents": Part(meaning=f"in whole percents, and its loss; {_MIX}"),
    "weighed": Part(meaning=f"in steps of the scale, loss and masses [g]; {_MIX}"),
    "not_rounded": Part(meaning="why a rounded recipe is missing; else empty"),
    "limits": Part(
        meaning="at the exact optimum: value, spare, whether it decides, shadow price"
    ),
    "limits_judged": Part(meaning="verdicts of every mix of the table", many=True),
    "binding_bounds": Part(meaning="bounds, ratios, purchases that decide, and prices"),
    "runners_up": Part(meaning=f"really different and nearly as good; {_MIX}"),
    "relaxations": Part(meaning="limits of which each, moved, would leave a mix"),
    "front": Part(meaning="Pareto front, from the best of the first column on"),
    "robust": Part(
        meaning="recipe whose batches keep the limits, whether it pays, and what share "
        "of its batches and of those of the nominal recipe keep each limit"
    ),
    "tried_mixes": Part(meaning=f"those of [search] tried; {_MIX}"),
    "table": Part(
        meaning="full rows by name, under `name`",
        fields=tuple(f for f in FIELDS.values() if "_u_" not in f.key),
        many=True,
    ),
    "mixes_tried": Part(meaning="how many the search evaluated"),
    "seed": Part(meaning="of the search and the draws"),
}


def search_parts(searched: Searched) -> Row:
    """Return what the JSON of a search holds."""
    outcome, asked = searched.outcome, searched.asked
    found, goal = outcome.found, outcome.found.goal
    return {
        "file": asked.file,
        "status": found.status,
        "reason": found.reason,
        "feasible": outcome.feasible,
        "refused": outcome.refused,
        "objective": {
            "column": file_key(goal.objective),
            "sense": "maximise" if goal.maximise else "minimise",
            file_key(goal.objective): found.objective,
            "wanted": goal_words(outcome),
        },
        "ingredients_as_typed": dict(asked.typed),
        "choice": dict(found.choice),
        "chosen": _chosen(outcome),
        "best": _mix(outcome, found.fractions, found.values),
        "whole_percents": _rounded(outcome, outcome.percents),
        "weighed": _rounded(outcome, outcome.weighable),
        "not_rounded": outcome.no_rounding,
        "limits": [_limit(outcome, state) for state in found.limits],
        "limits_judged": limit_rows([*searched.judged], [*searched.judged.values()]),
        "binding_bounds": [
            {
                "name": row.name,
                "slack_percent": 100.0 * row.slack,
                "price": _price(outcome, row.price, "percent", 0.01),
            }
            for row in found.rows
        ],
        "runners_up": [
            {
                **_mix(outcome, runner.fractions, {goal.objective: runner.objective}),
                "choice": dict(runner.choice),
                "exchanged_percent": 100.0 * runner.distance,
                "end_of_local_search": runner.polished,
            }
            for runner in found.runners_up
        ],
        "relaxations": [
            {
                "name": each.limit.name,
                "column": file_key(each.limit.column),
                "sense": each.limit.sense,
                _with_unit("limit", each.limit.column): each.limit.value,
                _with_unit("relaxed_to", each.limit.column): each.value,
                "choice": dict(each.choice),
                **_mix(outcome, each.fractions),
            }
            for each in found.relaxations
        ],
        "front": _front(outcome),
        "robust": _robust(outcome),
        "tried_mixes": [_tried(outcome, name) for name in outcome.task.tried],
        "table": table_rows(searched),
        "mixes_tried": len(found.trials),
        "seed": found.seed,
    }


def recipe_row(names: Sequence[str], fractions: Sequence[float] | FloatArray) -> Row:
    """Return the shares of a mix by key."""
    pairs = zip(names, map(float, fractions), strict=True)
    return {share_key(name): 100.0 * share for name, share in pairs}


def values_row(values: Mapping[str, float]) -> Row:
    """Return columns of a search by their keys in files; infinite ones as such."""
    return {file_key(c): endless(c, value) for c, value in values.items()}


def _mix(
    outcome: Outcome, fractions: FloatArray, values: Mapping[str, float] | None = None
) -> Row:
    """Return a mix with its columns of the search, as far as they are known."""
    return {
        "recipe": recipe_row(outcome.found.ingredients, fractions),
        **({} if values is None else {"columns": values_row(values)}),
    }


#: Name of a row to the part that holds its recipe.
_PARTS_OF = {
    "best": "best",
    "percents": "whole_percents",
    "weighable": "weighed",
    "robust": "robust",
}


def _chosen(outcome: Outcome) -> Row:
    """Return the recipe that is the answer."""
    return {
        "which": _PARTS_OF[outcome.chosen],
        "recipe": recipe_row([*outcome.recipe], [*outcome.recipe.values()]),
        "masses": grams_row(masses_of(outcome)) or None,
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
        pairs = zip(found.ingredients, rounded.masses.tolist(), strict=True)
        row["masses"] = grams_row(dict(pairs))
    return row


def _with_unit(word: str, column: str) -> str:
    """Return a key with the unit of a column."""
    unit = unit_key(column)
    return f"{word}_{unit}" if unit else word


def _price(outcome: Outcome, price: Price | None, per: str, scale: float) -> Row | None:
    """Return a shadow price in the objective's unit per a unit of the limit."""
    if price is None:
        return None
    key = f"{file_key(outcome.found.goal.objective)}_per_{per or 'unit'}"
    return {
        key: scale * price.multiplier,
        f"relaxed_{key}": scale * price.relaxed,
        "_".join(filter(None, ("loosened_by", per))): price.step / scale,
        "rough": price.rough,
        "then_holds": [*price.then],
    }


def _limit(outcome: Outcome, state: LimitState) -> Row:
    """Return a limit, how near the mix is, and the price as its number rises."""
    column = state.limit.column
    far = math.isinf(endless(column, state.value))
    return {
        "name": state.limit.name,
        "column": file_key(column),
        "sense": state.limit.sense,
        _with_unit("limit", column): state.limit.value,
        _with_unit("value", column): math.inf if far else state.value,
        _with_unit("slack", column): -math.inf if far else state.slack,
        "binding": state.binding,
        "price": _price(outcome, state.price, unit_key(column), 1.0),
    }


def _front(outcome: Outcome) -> Row | None:
    """Return the Pareto front, from the best of the first column on."""
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
    """Return the robust recipe, what batches keep, and its tighter limits."""
    robust = outcome.robust
    if robust is None:
        return None
    found = robust.found
    own = {limit.name: limit.value for limit in found.goal.limits}
    return {
        "status": found.status,
        "pays": robust.pays,
        "nominal": _PARTS_OF[outcome.nominal],
        "refused": robust.refused,
        **_mix(outcome, robust.fractions, robust.made.of(found).values),
        "limits": [
            {
                "name": limit.name,
                _with_unit("limit", limit.column): limit.value,
                _with_unit("searched_by", limit.column): own.get(limit.name),
                "batches_asked_percent": 100.0 * float(robust.nominal.asked[place]),
                "batches_nominal_percent": 100.0 * float(robust.nominal.share[place]),
                "batches_robust_percent": 100.0 * float(robust.kept.share[place]),
            }
            for place, limit in enumerate(outcome.found.goal.limits)
        ],
        f"price_{file_key(found.goal.objective)}": robust.price,
        "batches": robust.batches,
    }


def _tried(outcome: Outcome, name: str) -> Row:
    """Return a mix of the bench, and what the exact optimum gains over it."""
    found, recipe = outcome.found, outcome.task.tried[name]
    values = outcome.tried_values.get(name)
    gains = f"best_gains_{file_key(found.goal.objective)}"
    row: Row = {"name": name, "recipe": recipe_row([*recipe], [*recipe.values()])}
    if values is None:
        return {**row, "columns": None, gains: None}
    sign = 1.0 if found.goal.maximise else -1.0
    better = sign * (found.objective - values[found.goal.objective])
    return {**row, "columns": values_row(values), gains: better}


# ----------------------------------------------------------------------------
# Rows.


def table_rows(searched: Searched) -> list[Row]:
    """Return the full rows of the table, the answer first, each with its recipe."""
    outcome = searched.outcome
    names = dict.fromkeys([outcome.chosen, *outcome.rows])
    return [
        {key: value for key, value in outcome.rows[name].items() if key in COLUMN}
        | {"name": name}
        | {f"recipe.{share_key(n)}": 100.0 * x for n, x in _shares(outcome, name)}
        for name in names
    ]


def _shares(outcome: Outcome, name: str) -> list[tuple[str, float]]:
    """Return the shares of the mix of a row."""
    found = outcome.found
    if name in outcome.task.tried:
        return [*outcome.task.tried[name].items()]
    made = {
        "best": found,
        "percents": outcome.percents,
        "weighable": outcome.weighable,
        "robust": outcome.robust,
    }.get(name) or found.runners_up[int(name.removeprefix("runner ")) - 1]
    return [*zip(found.ingredients, made.fractions.tolist(), strict=True)]


def table_fields(rows: Sequence[Row]) -> list[Field]:
    """Return the fields of the rows, for CSV: name, recipe, columns."""
    shares = dict.fromkeys(k for row in rows for k in row if k.startswith("recipe."))
    recipe = [
        Field(key=key, label=key, kind="fraction", meaning="share as weighed")
        for key in shares
    ]
    known = [f for k, f in FIELDS.items() if any(k in row for row in rows)]
    return [known[0], *recipe, *known[1:]]


def trial_rows(outcome: Outcome) -> list[Row]:
    """Return every mix that the search tried, in order.

    Shares, columns of the search, the stage, and whether the mix lies in the space and
    keeps all limits ("yes" or "no"). Those of front and robust mix are not among them.
    """
    found = outcome.found
    trials, columns = found.trials, tuple(found.values)
    judge = Judge.of(found.goal, columns, trials.values)
    violation = judge.standing(trials.values)[1]
    feasible = (violation <= 0.0) & (trials.region != MOVED)
    return [
        {
            "trial": place + 1,
            "stage": trials.stage[place],
            "feasible": "yes" if feasible[place] else "no",
            **{
                f"recipe.{key}": share
                for key, share in recipe_row(
                    found.ingredients, trials.fractions[place]
                ).items()
            },
            **values_row(
                dict(zip(columns, trials.values[place].tolist(), strict=True))
            ),
        }
        for place in range(len(trials))
    ]


def trial_fields(rows: Sequence[Row]) -> list[Field]:
    """Return the fields of trials, for CSV."""
    texts = ("stage", "feasible")
    return [
        Field(key=k, label=k, kind=TEXT if k in texts else "number", meaning="")
        for k in rows[0]
    ]
