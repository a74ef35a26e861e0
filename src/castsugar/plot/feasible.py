"""Where the mix of a search lies among all mixes of three ingredients, and its limits.

The same picture shows the mixes around a mix that was given, for a change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import starmap

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.limits import YOURS
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.plane import Plane, plane, recipe_fractions
from castsugar.plot.sheet import Drawing
from castsugar.plot.spread import (
    Area,
    Border,
    Mark,
    Ranges,
    Shares,
    Spread,
    around,
    borders_of,
    broken_area,
)
from castsugar.plot.style import GREEN
from castsugar.plot.triangle import spread_drawing
from castsugar.report.search_words import (
    PLAIN,
    SI_UNITS,
    Asked,
    best_words,
    fault_words,
    field_of,
    is_stated,
    label_of,
    limit_noun,
    limit_words,
    note_of,
    state_lines,
    stem,
    value_words,
)
from castsugar.report.shown import Shown

_NOWHERE = (np.nan, np.nan, np.nan)

#: The picture grows to hold a mix that was tried, if the ranges grow no more.
_GROWTH = 1.5


def search_map_drawing(
    outcome: Outcome,
    *,
    asked: Asked = PLAIN,
    made: Plane | None = None,
    contours: tuple[float, ...] = (),
    zoom: Ranges | str | None = None,
    show: Shown = SI_UNITS,
) -> Drawing:
    """Return the picture of the best mix among all mixes of three ingredients.

    Shades and thin lines are the objective. Where a limit is broken it is hatched; the
    border of every limit is drawn and named, and what keeps all of them enclosed.

    Parameters
    ----------
    asked : Asked
        Ingredients as typed.
    made : Plane, optional
        The lattice of this outcome, if it was evaluated before.
    contours : tuple of float
        Lines of equal value, in the unit shown.
    zoom : three pairs, "kept" or None
        Ranges of the three in the whole mix, or those of the mixes that keep all
        limits; by default the bounds.
    show : Shown
        Units.

    Raises
    ------
    InputError
        Unless exactly three ingredients vary.
    """
    made = made or plane(outcome)
    goal, marks = outcome.found.goal, _marks_of(outcome, made)
    kind = field_of(goal.objective).kind
    known = made.values[:, made.columns.index(goal.objective)]
    areas, borders = _limits_of(outcome, made, show)
    first, second, third = (asked.name(name) for name in made.corners)
    outline = np.vstack([made.outline, made.outline[:1]])
    edge = "range shown" if is_stated(outcome) else "bounds of the search"
    spread = Spread(
        corners=(first, second, third),
        shares=made.shares,
        values=np.array([show.number(kind, value) for value in known]),
        total=made.total,
        levels=contours,
        areas=areas,
        borders=borders,
        marks=marks,
        measured=_measured(outcome, made),
        trails=[(edge, outline), *_front(outcome, made)],
        zoom=_ranges(made, marks, zoom),
    )
    ends = []
    if spread.seen.size:
        ends = [value_words(goal.objective, x, show) for x in _ends(spread.seen)]
    limits = "; ".join(limit_words(limit, show) for limit in goal.limits)
    label = label_of(goal.objective)
    return spread_drawing(
        spread,
        name="around-the-mix" if is_stated(outcome) else "feasible-mixes",
        title=f"{asked.before}Where the {best_words(outcome)} lies",
        label=show.headed(label, kind),
        words=f"{label} of mixes of {first}, {second}, {third}; {marks[0].words}. "
        f"Limits: {limits or 'none'}.",
        below=_below_title(outcome, made, asked, show),
        notes=[note_of([goal.objective, *(limit.column for limit in goal.limits)])],
        ends=[f"lowest {ends[0]}", f"highest {ends[1]}"] if ends else (),
    )


def _ends(values: FloatArray) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def _below_title(outcome: Outcome, made: Plane, asked: Asked, show: Shown) -> list[str]:
    """Return the lines below the title: what is better, what holds back, the state."""
    found = outcome.found
    more = "more" if found.goal.maximise else "less"
    lines = [f"{label_of(found.goal.objective)}: {more} is better; percent by mass"]
    fixed = [f"{asked.name(n)} {100.0 * s:.4g} %" for n, s in made.fixed.items()]
    chosen = [f"{slot}: {asked.name(n)}" for slot, n in found.choice.items()]
    if fixed:
        lines.append(f"with {', '.join(fixed)}")
    if chosen:
        lines.append(f"chosen for {', '.join(chosen)}")
    held = [limit_noun(one.limit, show) for one in found.limits if one.binding]
    if held and not is_stated(outcome):
        lines.append(f"Held back by: {', '.join(held)}")
    return [*lines, *state_lines(outcome)]


def _limits_of(
    outcome: Outcome, made: Plane, show: Shown
) -> tuple[list[Area], list[Border]]:
    """Return what is hatched and hidden, and the lines of the limits."""
    limits = outcome.found.goal.limits
    nouns = [limit_noun(limit, show) for limit in limits]
    borders = borders_of(
        (
            noun.removeprefix("limit on ") if nouns.count(noun) == 1 else words,
            words,
            slack,
        )
        for noun, words, slack in zip(
            nouns, (limit_words(x, show) for x in limits), made.limits.T, strict=True
        )
    )
    for k, limit in enumerate(limits):
        if limit.whose != YOURS:
            words = f"allowed {show.bound('pressure', limit.value)}"
            more = f"{words}: 95 of 100 next batches stay below it"
            borders[k] = Border(
                name=words, words=more, slack=borders[k].slack, wide=2.8
            )
    beside = Area(name="", beyond=made.rows, hatch="")
    if not borders:
        return [beside], []
    areas = [broken_area(borders, "a limit is broken"), beside]
    inside = (made.rows >= 0.0).all(axis=1) & (made.limits >= 0.0).all(axis=1)
    if inside.any():
        slack = np.hstack([np.nan_to_num(made.limits, nan=-1.0), made.rows])
        kept = "all limits kept" if len(borders) > 1 else "the limit kept"
        borders.append(
            Border(name=kept, words=f"inside: {kept}", slack=slack, ink=GREEN, wide=4.0)
        )
    return areas, borders


# ----------------------------------------------------------------------------
# Marks: the best mix, the robust one, the rounded one, tried ones, the front.


def _marks_of(outcome: Outcome, made: Plane) -> list[Mark]:
    """Return the mixes to mark, the most important first."""
    found = outcome.found
    values: Mapping[str, float] = found.values if is_stated(outcome) else {}
    mixes: list[tuple[str, str, FloatArray | None, Mapping[str, float]]] = [
        ("best", best_words(outcome), found.fractions, values)
    ]
    if outcome.robust and outcome.robust.pays:
        mixes.append(("robust", "robust mix", outcome.robust.fractions, {}))
    if (rounded := outcome.percents or outcome.weighable) is not None:
        name = "whole percents" if outcome.percents is not None else "as weighed"
        mixes.append(("rounded", name, rounded.fractions, {}))
    for name, recipe in outcome.task.tried.items():
        values = outcome.tried_values.get(name, {})
        mixes.append(("tried", name, recipe_fractions(outcome, recipe), values))

    def mark(
        kind: str, name: str, mix: FloatArray | None, values: Mapping[str, float]
    ) -> Mark:
        wrong = fault_words(found.goal, values) if values else ""
        shares = None if mix is None else made.shares_of(mix)
        if mix is None:
            wrong, told = "", "has other ingredients"
        elif shares is None:
            told = "its other ingredients differ"
        else:
            told = " / ".join(f"{100.0 * made.total * s:.1f}" for s in shares) + " %"
        words = "; ".join(filter(None, [told, wrong]))
        return Mark(
            kind=kind, name=name, words=f"{name}: {words}", shares=shares or _NOWHERE
        )

    return [*starmap(mark, mixes)]


def _measured(outcome: Outcome, made: Plane) -> FloatArray:
    """Return the mixes that were burned and lie in the plane, (m, 3)."""
    motor = outcome.task.settings.motor
    found = []
    for one in () if motor is None else motor.burning.evidence:
        mix = recipe_fractions(outcome, one.fractions) if one.measured else None
        shares = None if mix is None else made.shares_of(mix)
        if shares is not None:
            found.append(shares)
    return np.unique(np.array(found, dtype=float).reshape(-1, 3), axis=0)


def _front(outcome: Outcome, made: Plane) -> list[tuple[str, FloatArray]]:
    """Return the mixes of the front in their order, with what it is called."""
    if outcome.front is None or not len(outcome.front.first):
        return []
    found = [made.shares_of(mix) for mix in outcome.front.fractions]
    ends = [
        f"{'most' if more else 'least'} {stem(column)}"
        for column, more in outcome.task.front or ()
    ]
    at = np.array([shares for shares in found if shares is not None], dtype=float)
    words = f"trade-off front: from {' to '.join(ends)}"
    return [(words, at)] if len(at) > 1 else []


def _ranges(made: Plane, marks: Sequence[Mark], zoom: Ranges | str | None) -> Ranges:
    """Return the ranges of the whole mix that are shown.

    Raises
    ------
    InputError
        If no mix keeps all limits, and those were asked for.
    """
    if zoom is not None and not isinstance(zoom, str):
        return zoom
    if zoom is not None:
        kept = (made.rows >= 0.0).all(axis=1) & (made.limits >= 0.0).all(axis=1)
        if not kept.any():
            raise InputError(
                "--zoom kept: no mix of the picture keeps all limits; give three ranges"
            )
        near = around(made.total * made.shares[kept], 0.15)
        low, high = (
            made.total * made.outline.min(axis=0),
            made.total * made.outline.max(axis=0),
        )
        a, b, c = ((max(x, low[k]), min(y, high[k])) for k, (x, y) in enumerate(near))
        return a, b, c
    held = made.outline
    span = np.ptp(held, axis=0).sum()
    for one in marks:
        grown = np.vstack([held, _row(one.shares)])
        if one.kind == "tried" and np.ptp(grown, axis=0).sum() <= _GROWTH * span:
            held = grown
    return around(made.total * held, 0.0)


def _row(shares: Shares) -> FloatArray:
    return np.array([shares], dtype=float)
