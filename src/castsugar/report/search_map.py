"""Where the best mix lies: a triangle of three ingredients with all its limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.limits import Limit
from castsugar.optimize.plane import Plane, plane, recipe_fractions
from castsugar.optimize.search import Outcome
from castsugar.report.search_words import (
    PLAIN,
    SI_UNITS,
    Asked,
    best_words,
    decimals_of,
    fault_words,
    field_of,
    is_stated,
    label_of,
    limit_words,
    note_of,
    short_limit,
    spaced,
    state_lines,
    stem,
    value_words,
)
from castsugar.report.shown import Shown
from castsugar.report.svg.canvas import (
    INK,
    PAGE,
    SOFT,
    Attributes,
    Point,
    Stroke,
    Svg,
    TextStyle,
    moves,
    shortened,
)
from castsugar.report.svg.colour import (
    BINS,
    NOT_COMPUTED,
    Hatch,
    bin_colour,
    define_hatch,
    draw_symbol,
)
from castsugar.report.svg.contour import (
    contour_levels,
    draw_border,
    lattice_triangles,
    level_labels,
    name_border,
    polylines,
)
from castsugar.report.svg.legend import (
    ColourBar,
    Key,
    draw_bar,
    draw_heading,
    draw_keys,
    draw_notes,
)
from castsugar.report.svg.patches import between, cut, inside, patches_of, path_of
from castsugar.report.svg.place import Box, Taken, beside
from castsugar.report.svg.triangle import (
    HEIGHT,
    Frame,
    Sides,
    draw_grid,
    draw_sides,
    lattice_places,
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
    first, second, third = (asked.name(name) for name in made.corners)
    goal = outcome.found.goal
    title = f"{asked.before}Where the {best_words(outcome)} lies"
    limits = "; ".join(limit_words(limit, show) for limit in goal.limits)
    words = (
        f"{label_of(goal.objective)} of mixes of {first}, {second}, {third}; where all "
        f"limits are kept the picture is clear. Limits: {limits or 'none'}."
    )
    svg = Svg(_WIDTH, 0.0, title, words)
    below = _below_title(outcome, made, asked, show)
    top = draw_heading(svg, title, below, _MARGIN)
    base = top + 38.0 + _DROP + HEIGHT * _SIDE
    frame = Frame(made.low, 1.0 - sum(made.low), _LEFT, base, _SIDE)
    ground = _ground_of(made, frame, goal.objective, show)
    marks = _marks_of(outcome, made, frame)
    beyond = "the range shown" if is_stated(outcome) else "the bounds of the search"
    keys = _draw_ground(svg, made, ground, beyond)
    draw_grid(svg, frame, made.total)
    keys += _draw_over(svg, outcome, made, ground, marks, show)
    draw_sides(svg, frame, Sides((first, second, third), made.total, _DROP))
    y = _draw_bar(svg, ground, goal.objective, show)
    width = _WIDTH - 2.0 * _MARGIN
    y = draw_keys(svg, keys, _MARGIN, y, width)
    of = f"Mixes, in percent of {first} / {second} / {third}:"
    y = draw_notes(svg, [of], _MARGIN, y)
    y = draw_keys(svg, _mark_keys(outcome, marks), _MARGIN, y, width)
    notes = [
        "Sides: percent of the whole mix by mass; read along the tilt of a tick.",
        note_of([goal.objective, *(limit.column for limit in goal.limits)]),
    ]
    svg.height = draw_notes(svg, notes, _MARGIN, y) + 8.0
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
    return [*lines, *state_lines(outcome)]


def _draw_over(
    svg: Svg,
    outcome: Outcome,
    made: Plane,
    ground: _Ground,
    marks: list[_Mark],
    show: Shown,
) -> list[Key]:
    """Draw lines of equal value, borders of limits and marks; return the keys."""
    goal = outcome.found.goal
    dots = [Box.around(mark.at, 9.0) for mark in marks if mark.held]
    taken = Taken(ground.frame.room(), [*dots, *side_boxes(ground.frame)])
    lines = [ground.lines(ground.objective, level) for level in ground.levels]
    for line in lines:
        draw_border(svg, line, Stroke(INK, 1.0), casing=0.9)
    keys, names = _draw_limits(svg, goal.limits, made, ground, show)
    for words, found, colour in names:
        style = TextStyle(15.0, colour=colour, bold=True, halo=PAGE)
        name_border(svg, words, found, taken, style)
    _draw_marks(svg, outcome, made, ground.frame, marks, taken)
    for words, found in zip(_labels(ground, goal.objective, show), lines, strict=True):
        style = TextStyle(14.0, colour=INK, halo=PAGE)
        name_border(svg, words, found, taken, style, lead=False)
    return keys


def _labels(ground: _Ground, objective: str, show: Shown) -> tuple[str, ...]:
    """Return what is written at lines of equal value."""
    told = level_labels(ground.levels, decimals_of(objective, show))
    return tuple(map(spaced, told))


def _draw_limits(
    svg: Svg, limits: tuple[Limit, ...], made: Plane, ground: _Ground, show: Shown
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
        name = stems[index] if once else short_limit(limit, show)
        names.append((name, lines, colour))
    return keys, names


def _draw_bar(svg: Svg, ground: _Ground, objective: str, show: Shown) -> float:
    """Draw the colour bar; return the y below it [px]."""
    y = ground.frame.base + 80.0 + _DROP
    if ground.range is None:
        return y
    low, high = ground.range
    ends = (
        f"lowest {value_words(objective, low, show)}",
        f"highest {value_words(objective, high, show)}",
    )
    labels = _labels(ground, objective, show)
    bar = ColourBar(low, high, ground.levels, labels, ends)
    return draw_bar(svg, bar, _MARGIN, y, _WIDTH - 2.0 * _MARGIN) + 10.0


# ----------------------------------------------------------------------------
# The ground: shades, hatched where a limit is broken.

#: Ground of the triangle beside the space.
_BESIDE = "#ecece8"

#: Colours where a limit is broken are so strong, under a hatch.
_FADED = 0.4
_BROKEN = Hatch("none", "#3c3c3c", 45.0, 7.0, 0.9, 0.75)

#: Bands of colour between two lines of equal value.
_PARTS = 2


@dataclass(frozen=True, slots=True)
class _Ground:
    """The lattice as it lies on the page: points and outline of the space [px].

    `held` says whether a point is in the space.
    """

    frame: Frame
    points: FloatArray
    triangles: IntArray
    objective: FloatArray
    levels: tuple[float, ...]
    outline: FloatArray
    held: BoolArray

    @property
    def range(self) -> tuple[float, float] | None:
        """Return lowest and highest objective in the space; None if there is none."""
        known = self.objective[self.held & np.isfinite(self.objective)]
        return (float(known.min()), float(known.max())) if known.size else None

    def lines(self, values: FloatArray, level: float) -> list[FloatArray]:
        """Return the lines of a level inside the space [px]."""
        found = polylines(self.points, self.triangles, values, level)
        return [part for line in found for part in inside(line, self.outline)]


def _ground_of(made: Plane, frame: Frame, objective: str, show: Shown) -> _Ground:
    """Return the lattice on the page, the objective in units shown."""
    kind = field_of(objective).kind
    known = made.values[:, made.columns.index(objective)]
    values = np.array([show.number(kind, value) for value in known])
    held = np.asarray((made.rows >= 0.0).all(axis=1))
    return _Ground(
        frame=frame,
        points=frame.places(made.shares),
        triangles=lattice_triangles(lattice_places(made.shares, made.low, made.step)),
        objective=values,
        levels=contour_levels(values[held]),
        outline=frame.places(made.outline),
        held=held,
    )


def _draw_ground(svg: Svg, made: Plane, ground: _Ground, beyond: str) -> list[Key]:
    """Draw shades, faded and hatched where a limit is broken; return the keys."""
    svg.path(moves(ground.frame.corners(), closed=True), {"fill": _BESIDE})
    fields = np.column_stack([ground.objective, made.limits, made.rows])
    shown = patches_of(ground.points, fields, ground.triangles)
    limits = range(1, 1 + made.limits.shape[1])
    for field in range(limits.stop, fields.shape[1]):
        if fields[:, field].min() < 0.0:
            shown = cut(shown, field, 1.0)
    outline = moves(ground.outline.tolist(), closed=True)
    keys: list[Key] = []
    if not np.isfinite(fields[ground.held]).all():
        paint = define_hatch(svg, NOT_COMPUTED)
        svg.path(outline, {"fill": paint})
        keys.append(Key("fill", paint, "not computed"))
    clear = shown
    for field in limits:
        clear = cut(clear, field, 1.0)
    if limits:
        with svg.group({"opacity": _FADED}):
            _draw_bands(svg, shown, ground)
        paint = define_hatch(svg, _BROKEN)
        svg.path(path_of(shown) if keys else outline, {"fill": paint})
        keys.append(Key("fill", bin_colour(BINS // 2), "clear: all limits are kept"))
        keys.append(Key("fill", paint, "hatched: a limit is broken"))
    _draw_bands(svg, clear, ground)
    svg.path(outline, Stroke(INK, 1.6).attributes())
    svg.path(moves(ground.frame.corners(), closed=True), Stroke(SOFT).attributes())
    return [*keys, Key("fill", _BESIDE, f"outside {beyond}")]


def _draw_bands(svg: Svg, patches: list[FloatArray], ground: _Ground) -> None:
    """Fill patches with the colours of the objective."""
    if ground.range is None:
        return
    low, high = ground.range
    count = _PARTS * (len(ground.levels) + 1)
    cuts = np.linspace(low, high, count + 1)[1:-1] if high > low else np.empty(0)
    for index, part in enumerate(between(patches, 0, cuts.tolist())):
        if part:
            colour = bin_colour(round((index + 0.5) / (len(cuts) + 1) * (BINS - 1)))
            fill: Attributes = {"fill": colour, "stroke": colour, "stroke-width": 0.6}
            svg.path(path_of(part), fill)


# ----------------------------------------------------------------------------
# Marks: the best mix, the robust one, the rounded one, tried ones, the front.

_SIZE = 16.0
#: Room for a name on a picture [px]; the key below has it in full.
ROOM = 150.0

#: Symbol, colour and size of a mix.
LOOKS = {
    "best": ("star", "#e8590c", 6.5),
    "robust": ("diamond", "#ffffff", 5.5),
    "rounded": ("square", "#ffffff", 4.6),
    "tried": ("circle", "#1c1c1c", 4.4),
    "front": ("circle", "#ffffff", 2.4),
}


@dataclass(frozen=True, slots=True)
class _Mark:
    """A mix to mark: kind of :data:`LOOKS`, name, words of its key, place [px].

    `held` says whether it lies on the picture.
    """

    kind: str
    name: str
    words: str
    at: Point = (0.0, 0.0)
    held: bool = False


def _marks_of(outcome: Outcome, made: Plane, frame: Frame) -> list[_Mark]:
    """Return the mixes to mark, the most important first."""
    found = outcome.found
    values: Mapping[str, float] = found.values if is_stated(outcome) else {}
    mixes: list[tuple[str, str, FloatArray | None, Mapping[str, float]]] = [
        ("best", best_words(outcome), found.fractions, values)
    ]
    if outcome.robust and outcome.robust.found.status != "infeasible":
        mixes.append(("robust", "robust mix", outcome.robust.found.fractions, {}))
    if (rounded := outcome.percents or outcome.weighable) is not None:
        name = "whole percents" if outcome.percents is not None else "as weighed"
        mixes.append(("rounded", name, rounded.fractions, {}))
    for name, recipe in outcome.task.tried.items():
        values = outcome.tried_values.get(name, {})
        mixes.append(("tried", name, recipe_fractions(outcome, recipe), values))
    marks = []
    for kind, name, mix, values in mixes:
        if mix is None:
            marks.append(_Mark(kind, name, "has other ingredients"))
            continue
        wrong = fault_words(found.goal, values) if values else ""
        shares = made.shares_of(mix)
        if shares is None:
            words = "; ".join(filter(None, [wrong, "its other ingredients differ"]))
            marks.append(_Mark(kind, name, words))
            continue
        percents = " / ".join(f"{100.0 * made.total * share:.1f}" for share in shares)
        words = "; ".join(filter(None, [f"{percents} %", wrong]))
        at, held = frame.place(shares), frame.holds(shares)
        marks.append(_Mark(kind, name, words, at, held))
    return marks


def _mark_keys(outcome: Outcome, marks: list[_Mark]) -> list[Key]:
    """Return the keys of marks, and of the front."""
    told = [
        (m.kind, f"{m.name}: {m.words}{'' if m.held else ' (not on the picture)'}")
        for m in marks
    ]
    if outcome.front is not None and len(outcome.front.first):
        ends = [
            f"{'most' if more else 'least'} {stem(column)}"
            for column, more in outcome.task.front or ()
        ]
        told.append(("front", f"trade-off front: from {' to '.join(ends)}"))
    return [
        Key("symbol", LOOKS[kind][1], words, symbol=LOOKS[kind][0])
        for kind, words in told
    ]


def _draw_marks(
    svg: Svg,
    outcome: Outcome,
    made: Plane,
    frame: Frame,
    marks: list[_Mark],
    taken: Taken,
) -> None:
    """Draw the front and all marks on the picture, their names where there is room."""
    if outcome.front is not None:
        _draw_front(svg, outcome.front.fractions, made, frame)
    shown = [mark for mark in marks if mark.held]
    names = []
    for mark in shown:
        words = shortened(mark.name, ROOM, _SIZE)
        names.append((mark, words, beside(mark.at, words, _SIZE, taken)))
    for mark, _, label in names:
        if label.led:
            end = (label.at[0], label.at[1] - 0.35 * _SIZE)
            svg.line(mark.at, end, Stroke("#ffffff", 3.4, opacity=0.8))
            svg.line(mark.at, end, Stroke(INK, 1.3))
    for mark in reversed(shown):
        symbol, paint, size = LOOKS[mark.kind]
        draw_symbol(svg, mark.at, symbol, paint, size=size)
    for _, words, label in names:
        style = TextStyle(_SIZE, label.anchor, INK, bold=True, halo=PAGE)
        svg.text(label.at, words, style)


def _draw_front(svg: Svg, mixes: FloatArray, made: Plane, frame: Frame) -> None:
    """Draw the mixes of the front, joined in their order."""
    found = [made.shares_of(mix) for mix in mixes]
    at = [frame.place(shares) for shares in found if shares is not None]
    if len(at) > 1:
        svg.path(moves(at), Stroke(INK, 0.9).attributes())
    symbol, paint, size = LOOKS["front"]
    for point in at:
        draw_symbol(svg, point, symbol, paint, size=size, rim=0.4)
