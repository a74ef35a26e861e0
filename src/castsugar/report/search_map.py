"""Where the best mix lies: a triangle of three ingredients with all its limits."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.limits import Limit
from castsugar.optimize.plane import Plane, plane
from castsugar.optimize.search import Outcome
from castsugar.report.search_ground import Ground, draw_ground, ground_of
from castsugar.report.search_marks import Mark, draw_marks, mark_keys, marks_of
from castsugar.report.search_picture import (
    PLAIN,
    SI_UNITS,
    best_words,
    decimals_of,
    limit_words,
    notes_of,
    range_words,
    short_limit,
    spaced,
    state_words,
    stem,
    value_words,
)
from castsugar.report.search_words import Asked, field_of, label_of
from castsugar.report.shown import Shown
from castsugar.report.svg.canvas import INK, PAGE, Stroke, Svg, TextStyle
from castsugar.report.svg.contour import draw_border, level_labels, name_border
from castsugar.report.svg.legend import (
    ColourBar,
    Key,
    draw_bar,
    draw_heading,
    draw_keys,
    draw_notes,
)
from castsugar.report.svg.place import Box, Taken
from castsugar.report.svg.triangle import (
    HEIGHT,
    Frame,
    Sides,
    draw_grid,
    draw_sides,
    side_boxes,
)

_WIDTH, _LEFT, _SIDE, _MARGIN = 600.0, 65.0, 470.0, 24.0

#: How far below the base the names of the lower corners stand: clear of ticks [px].
_DROP = 44.0

#: Colour and dashes of the limits, one after the other.
_BORDERS = (
    ("#00558a", None),
    ("#000000", "10 4"),
    ("#8a2277", "3 3.5"),
    ("#9c3f00", "10 3 2 3"),
    ("#5a4a00", "5 2.5"),
    ("#6a6a6a", None),
)


def search_map(
    outcome: Outcome,
    *,
    asked: Asked = PLAIN,
    made: Plane | None = None,
    show: Shown = SI_UNITS,
) -> str:
    """Draw the best mix among all mixes of three ingredients.

    Shades and thin lines are the objective. The part of the space that keeps all limits
    is clear, the rest hatched; the border of every limit is drawn and named.

    Parameters
    ----------
    outcome : Outcome
    asked : Asked
        Ingredients as typed.
    made : Plane, optional
        The lattice of this outcome, if it was evaluated before.
    show : Shown
        Units.

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        Unless exactly three ingredients vary.
    """
    made = made or plane(outcome)
    names = tuple(asked.name(name) for name in made.corners)
    goal = outcome.found.goal
    svg = Svg(
        _WIDTH,
        0.0,
        f"{asked.before}Where the {best_words(outcome)} lies",
        _description(outcome, names, show),
    )
    top = draw_heading(
        svg, svg.title, _below_title(outcome, made, asked, show), _MARGIN
    )
    low, span = made.low, 1.0 - sum(made.low)
    frame = Frame(low, span, _LEFT, top + 38.0 + _DROP + HEIGHT * _SIDE, _SIDE)
    ground = ground_of(made, frame, goal.objective, show)
    marks = marks_of(outcome, made, frame)
    keys = draw_ground(svg, made, ground, range_words(outcome))
    draw_grid(svg, frame, made.total)
    keys += _draw_over(svg, outcome, made, ground, marks, show)
    draw_sides(svg, frame, Sides((names[0], names[1], names[2]), made.total, _DROP))
    y = _draw_bar(svg, ground, goal.objective, show)
    width = _WIDTH - 2.0 * _MARGIN
    y = draw_keys(svg, keys, _MARGIN, y, width)
    y = draw_notes(svg, [f"Mixes, in percent of {' / '.join(names)}:"], _MARGIN, y)
    y = draw_keys(svg, mark_keys(outcome, marks), _MARGIN, y, width)
    svg.height = draw_notes(svg, _notes(outcome), _MARGIN, y) + 8.0
    return svg.to_text()


def _below_title(outcome: Outcome, made: Plane, asked: Asked, show: Shown) -> list[str]:
    """Return the lines below the title: unit, other ingredients, state."""
    goal = outcome.found.goal
    unit = show.unit(field_of(goal.objective).kind)
    more = "more" if goal.maximise else "less"
    lines = [
        f"{label_of(goal.objective)}{f' [{unit}]' if unit else ''}: {more} is better"
    ]
    fixed = [f"{asked.name(n)} {100.0 * s:.4g} %" for n, s in made.fixed.items()]
    chosen = [f"{slot}: {asked.name(n)}" for slot, n in outcome.found.choice.items()]
    if fixed:
        lines.append(f"with {', '.join(fixed)}")
    if chosen:
        lines.append(f"chosen for {', '.join(chosen)}")
    return [*lines, *(text for text in [state_words(outcome)] if text)]


def _draw_over(
    svg: Svg,
    outcome: Outcome,
    made: Plane,
    ground: Ground,
    marks: list[Mark],
    show: Shown,
) -> list[Key]:
    """Draw lines of equal value, borders of limits and marks; return the keys."""
    top, left, right = ground.frame.corners()
    area = Box(left[0] - 40.0, top[1] - 10.0, right[0] + 30.0, ground.frame.base)
    dots = [
        Box(m.at[0] - 9.0, m.at[1] - 9.0, m.at[0] + 9.0, m.at[1] + 9.0)
        for m in marks
        if m.held
    ]
    taken = Taken(area, [*dots, *side_boxes(ground.frame)])
    lines = [ground.lines(ground.objective, level) for level in ground.levels]
    for line in lines:
        draw_border(svg, line, Stroke(INK, 1.0), casing=0.9)
    keys, names = _draw_limits(svg, outcome.found.goal.limits, made, ground, show)
    for words, found, colour in names:
        style = TextStyle(15.0, colour=colour, bold=True, halo=PAGE)
        name_border(svg, words, found, taken, style)
    draw_marks(svg, outcome, made, ground.frame, marks, taken)
    labels = _labels(ground.levels, outcome.found.goal.objective, show)
    for words, found in zip(labels, lines, strict=True):
        style = TextStyle(14.0, colour=INK, halo=PAGE)
        name_border(svg, words, found, taken, style, lead=False)
    return keys


def _labels(levels: tuple[float, ...], objective: str, show: Shown) -> tuple[str, ...]:
    """Return what is written at lines of equal value."""
    return tuple(spaced(t) for t in level_labels(levels, decimals_of(objective, show)))


def _draw_limits(
    svg: Svg, limits: tuple[Limit, ...], made: Plane, ground: Ground, show: Shown
) -> tuple[list[Key], list[tuple[str, list[FloatArray], str]]]:
    """Draw the borders of limits; return keys, and names with lines and colours."""
    stems = [stem(limit.column, show) for limit in limits]
    keys, names = [], []
    for index, limit in enumerate(limits):
        colour, dashes = _BORDERS[index % len(_BORDERS)]
        slack = made.limits[:, index]
        lines = ground.lines(slack, 0.0)
        draw_border(svg, lines, Stroke(colour, 2.6, dashes))
        words = limit_words(limit, show)
        if not lines:
            known = slack[ground.held & np.isfinite(slack)]
            kept = bool((known >= 0.0).all())
            words += ": kept everywhere" if kept else ": broken everywhere"
        keys.append(Key("line", colour, words, dashes))
        once = stems.count(stems[index]) == 1
        names.append(
            (stems[index] if once else short_limit(limit, show), lines, colour)
        )
    return keys, names


def _draw_bar(svg: Svg, ground: Ground, objective: str, show: Shown) -> float:
    """Draw the colour bar; return the y below it [px]."""
    y = ground.frame.base + 80.0 + _DROP
    if ground.range is None:
        return y
    low, high = ground.range
    ends = (
        f"lowest {value_words(objective, low, show)}",
        f"highest {value_words(objective, high, show)}",
    )
    labels = _labels(ground.levels, objective, show)
    bar = ColourBar(low, high, ground.levels, labels, ends)
    return draw_bar(svg, bar, _MARGIN, y, _WIDTH - 2.0 * _MARGIN) + 10.0


def _notes(outcome: Outcome) -> list[str]:
    """Return the lines below the picture."""
    limits = outcome.found.goal.limits
    columns = (outcome.found.goal.objective, *(limit.column for limit in limits))
    return [
        "Sides: percent of the whole mix by mass; read along the tilt of a tick.",
        *notes_of(outcome, columns),
    ]


def _description(outcome: Outcome, names: tuple[str, ...], show: Shown) -> str:
    """Say in words what the picture shows."""
    goal = outcome.found.goal
    limits = "; ".join(limit_words(limit, show) for limit in goal.limits)
    return (
        f"{label_of(goal.objective)} of mixes of {', '.join(names)}; where all limits "
        f"are kept the picture is clear. Limits: {limits or 'none'}."
    )
