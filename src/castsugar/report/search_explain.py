"""The reasoning of a search in sentences, from its trials and prices alone."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.limits import Limit
from castsugar.motor.hardware import NOT_MODELLED
from castsugar.optimize.problem import MOVED, Judge
from castsugar.optimize.search import Outcome
from castsugar.optimize.space import Space
from castsugar.report.layout import number
from castsugar.report.search_amounts import (
    bound_text,
    broken,
    change_text,
    few,
    gain,
    in_units,
    kept,
    loss_text,
    shown,
)
from castsugar.report.search_limits import limit_price, opened, row_price
from castsugar.report.search_rows import outcome_columns
from castsugar.report.search_words import Asked, filled, label_of, recipe_text, row_of

#: Smallest change of a part that is told, and smallest gain. [mass fraction], [-]
_TOLD, _WORTH = 0.005, 1e-4

#: Scaled slack down to which a trial counts as keeping a limit.
_NEARLY = 1e-9

_KITCHEN_DOUBT = (
    "Pour viscosity is known to a factor of about 4 until your kitchen is measured; "
    "whether a grain sets is a derived rule, untested."
)

_LOSSES = (
    "Losses are not modelled: heat into the walls, gas that lags behind, a nozzle that "
    "is rough. They lower what every mix delivers."
)


def explain_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the reasoning, one paragraph a point."""
    parts = (
        ("What was searched", _searched(outcome, asked)),
        ("Without the limits", _unlimited(outcome, asked)),
        ("What holds the mix back", _held(outcome, asked)),
        ("What rounding and sloppy weighing cost", _costs(outcome)),
        ("What is not modelled", _missing(outcome)),
        ("What would change the answer most", _next(outcome, asked)),
    )
    lines = ["Why this mix"]
    for title, texts in parts:
        if texts:
            lines += ["", f"  {title}"]
        for text in texts:
            lines += filled(text, "    ")
    return lines


def _searched(outcome: Outcome, asked: Asked) -> list[str]:
    """Say which mixes were looked at, and how."""
    found = outcome.found
    word = "most" if found.goal.maximise else "least"
    grid = Counter(found.trials.stage)["lattice"]
    text = (
        f"The search looked for the {word} {label_of(found.goal.objective)} among all "
        f"mixes with {_space_text(outcome.task.space, asked)}. It tried {grid} mixes "
        f"spread evenly over that space, then {len(found.trials) - grid} more, "
        "stepping on from the best ones and looking around them."
    )
    limits = [f"{label_of(x.column)}: {bound_text(x)}" for x in found.goal.limits]
    kept_text = f"A mix counted only if it kept this: {'; '.join(limits)}."
    return [text, kept_text] if limits else [text]


def _space_text(space: Space, asked: Asked) -> str:
    """Say what the space allows."""

    def names(slot: str) -> str:
        return " or ".join(asked.name(option) for option in space.options(slot))

    parts = [
        f"{few(100.0 * low, 4)} to {few(100.0 * high, 4)} % {names(name)}"
        for name, (low, high) in space.bounds.items()
    ]
    parts += [
        f"{few(100.0 * share, 4)} % {names(name)}"
        for name, share in space.fixed.items()
    ]
    parts += [asked.renamed(text) for text in space.ratios]
    parts += [row.name for row in space.rows]
    parts += [
        f"no more than {few(1e3 * mass, 4)} g {asked.name(name)}"
        for name, mass in space.purchases.items()
    ]
    return ", ".join(parts)


def _slacks(outcome: Outcome) -> tuple[FloatArray, BoolArray]:
    """Return objective and scaled slacks of every trial; which lie in the space."""
    found = outcome.found
    judge = Judge.of(found.goal, outcome_columns(outcome), found.trials.values)
    outputs = judge.outputs(found.trials.values)
    inside = (found.trials.region != MOVED) & np.isfinite(outputs).all(axis=1)
    return outputs, inside


def _best_of(outcome: Outcome, without: Limit | None) -> int | None:
    """Return the best trial that keeps all limits but one, or (None) ignores all."""
    outputs, rows = _slacks(outcome)
    limits = outcome.found.goal.limits
    if without is not None:
        others = [i for i, limit in enumerate(limits) if limit is not without]
        rows = rows & (outputs[:, [1 + i for i in others]] >= -_NEARLY).all(axis=1)
    places = np.flatnonzero(rows)
    return int(places[np.argmin(outputs[places, 0])]) if len(places) else None


def _told(outcome: Outcome, place: int, asked: Asked) -> str:
    """Say how a trial differs from the best mix, what it scores and what it breaks."""
    found = outcome.found
    values = _values(outcome, place)
    score = values[found.goal.objective]
    change = score - found.objective
    moved = _moves(outcome, found.trials.fractions[place], asked)
    breaks = broken(found.goal.limits, values, asked)
    text = (
        f"has {moved} and scores {shown(found.goal.objective, score)}, "
        f"{change_text(found.goal.objective, change, found.objective)}"
    )
    return f"{text}; but it breaks {' and '.join(breaks)}" if breaks else text


def _values(outcome: Outcome, place: int) -> dict[str, float]:
    row = outcome.found.trials.values[place].tolist()
    return dict(zip(outcome_columns(outcome), row, strict=True))


def _moves(outcome: Outcome, mix: FloatArray, asked: Asked) -> str:
    """Say by how many percentage points the parts of a mix differ from the best."""
    found = outcome.found
    pairs = zip(found.ingredients, (mix - found.fractions).tolist(), strict=True)
    moved = sorted(pairs, key=lambda pair: -abs(pair[1]))
    texts = [
        f"{number(100.0 * abs(d), 1)} points {'more' if d > 0.0 else 'less'} "
        f"{asked.name(name)}"
        for name, d in moved
        if abs(d) >= _TOLD
    ]
    return ", ".join(texts) if texts else "nearly the same parts"


def _unlimited(outcome: Outcome, asked: Asked) -> list[str]:
    """Say what the best would be without limits, as far as trials tell."""
    found = outcome.found
    if not found.goal.limits:
        return []
    place = _best_of(outcome, None)
    if place is None:
        return []
    score = _values(outcome, place)[found.goal.objective]
    better = -gain(found.goal, found.objective, score)
    if better <= _WORTH * abs(found.objective):
        return ["No mix that was tried scores more: the limits cost nothing."]
    mix = recipe_text(found.ingredients, found.trials.fractions[place], asked)
    word = "highest" if found.goal.maximise else "lowest"
    return [
        f"The {word} score of all mixes tried, limits ignored, has {mix}. Against the "
        f"best it {_told(outcome, place, asked)}."
    ]


def _held(outcome: Outcome, asked: Asked) -> list[str]:
    """Say of each limit that binds which way it bars, and what loosening buys."""
    found = outcome.found
    texts = []
    for state in found.limits:
        limit = state.limit
        if not state.binding:
            continue
        texts.append(
            f"{opened(label_of(limit.column))}, {bound_text(limit)}: the mix has "
            f"{in_units(limit.column, state.value, asked)}."
            + _without(outcome, limit, asked)
        )
        if kept(limit, state.value):
            texts[-1] += f" {limit_price(state, found, asked)}"
    for row in found.rows if found.violation <= 0.0 else ():
        text = opened(asked.renamed(row.name))
        texts.append(f"{text} binds. {row_price(row, found)}")
    if not texts:
        texts = ["Nothing: it lies inside the space, and every small step away loses."]
    return texts


def _without(outcome: Outcome, limit: Limit, asked: Asked) -> str:
    """Say where the search would go if one limit alone were ignored."""
    found = outcome.found
    place = _best_of(outcome, limit)
    if place is None or found.violation > 0.0:
        return ""
    score = _values(outcome, place)[found.goal.objective]
    if -gain(found.goal, found.objective, score) <= _WORTH * abs(found.objective):
        return ""
    return (
        " With this limit alone ignored, the best of the mixes tried "
        f"{_told(outcome, place, asked)}. That way is barred."
    )


def _costs(outcome: Outcome) -> list[str]:
    """Say what rounding and sloppy weighing cost."""
    found, goal = outcome.found, outcome.found.goal
    texts = []
    if found.violation > 0.0:
        return []
    for words, made in (
        ("Whole percents", outcome.percents),
        ("Steps of the scale", outcome.weighable),
    ):
        if made is None:
            continue
        cost = loss_text(goal, made.loss, found.objective)
        broken_words = "" if made.feasible else "; the recipe BREAKS a limit"
        broken_words += f"; NOT TO BE MADE: {made.refused}" if made.refused else ""
        texts.append(f"{words}: {cost}{broken_words}.")
    robust = outcome.robust
    if robust is not None and robust.found.violation <= 0.0:
        price = loss_text(goal, robust.price, found.objective)
        one, two = (
            number(100.0 * x, 0) for x in (robust.kept_nominal, robust.kept_robust)
        )
        texts.append(
            f"Of batches weighed as sloppily as stated, {one} of 100 keep all limits "
            f"with the best mix, {two} of 100 with the robust one, which changes the "
            f"objective by {price}."
        )
    return texts


def _missing(outcome: Outcome) -> list[str]:
    """Say what the answer does not know."""
    settings = outcome.task.settings
    texts = [_LOSSES]
    if settings.kitchen is not None:
        texts.append(_KITCHEN_DOUBT)
    else:
        texts.append("Pouring and setting: no kitchen was given.")
    if settings.motor is not None:
        texts += NOT_MODELLED.values()
    else:
        texts.append("Pressure in a motor: no motor was given.")
    return texts


def _next(outcome: Outcome, asked: Asked) -> list[str]:
    """Say which measurement would move the limits that hold the mix."""
    held = [s.limit.column for s in outcome.found.limits if s.binding]
    row = row_of(outcome, "best")
    texts = []
    if any(c.startswith(("peak_pressure", "pressure_margin")) for c in held):
        best, high = (
            in_units(key, float(row.get(key, math.nan)), asked)
            for key in ("peak_pressure_MPa", "peak_pressure_p95_MPa")
        )
        texts.append(
            f"The burn rate. The expected peak is {best}, but 95 of 100 draws only "
            f"stay below {high}: the difference is doubt about burn law, density, "
            "throat, burning area, c* and temperature. Strands of this mix narrow the "
            f"burn law; now it comes from: {row.get('burn_law_origin', 'not known')}."
        )
    if any(c.startswith(("pour_", "pours_")) for c in held):
        low, high = (
            in_units(key, float(row.get(key, math.nan)), asked)
            for key in ("pour_viscosity_p10_Pa_s", "pour_viscosity_p90_Pa_s")
        )
        texts.append(
            f"The pour viscosity. Now 8 draws of 10 lie between {low} and {high}. "
            "Weigh the pan before and after the cook, find the bulk density of your "
            "nitrate: kitchen pan-weight and bulk-density narrow the band."
        )
    if any(c in ("relative_solids_20C", "relative_solids_pour") for c in held):
        texts.append(
            "Whether it sets: the rule is derived, untested. Cast a small sample of "
            "this mix and wait."
        )
    if not texts:
        texts.append(
            "No limit that holds it is one that a measurement moves. A static test "
            "tells what the motor delivers of the ideal numbers."
        )
    return texts
