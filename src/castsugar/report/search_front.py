"""What one column costs in another: the trade-off front."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from castsugar.comparison.directions import DECADES, cloud
from castsugar.optimize.search import Outcome
from castsugar.report.search_marks import LOOKS
from castsugar.report.search_picture import (
    PLAIN,
    best_words,
    fault_words,
    notes_of,
    state_words,
    stem,
    value_words,
)
from castsugar.report.search_words import Asked, label_of, unit_of
from castsugar.report.svg.axes import Scale, padded, padded_decades
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    PAGE,
    SOFT,
    Point,
    Stroke,
    Svg,
    TextStyle,
    moves,
    shortened,
    wrapped,
)
from castsugar.report.svg.colour import LINES, draw_symbol
from castsugar.report.svg.legend import Key, draw_heading, draw_keys, draw_notes
from castsugar.report.svg.place import Box, Taken, beside

_WIDTH, _MARGIN, _LEFT, _HEIGHT = 600.0, 24.0, 84.0, 400.0
_SIZE = 16.0
#: Room for a name on the picture [px]; the key below has it in full.
_ROOM = 150.0

#: A mix tried is on the picture if the range grows no more than so much.
_GROWTH = 1.8

#: A column that runs over decades is drawn so from this ratio on.
_WIDE = 8.0

#: Most trials that are drawn: later ones hide under these.
_DOTS = 1500

_TRIAL = "#9aa5ad"


@dataclass(frozen=True, slots=True)
class _Mix:
    """A mix to name: kind of :data:`LOOKS`, name, remark, both columns."""

    kind: str
    name: str
    more: str
    at: tuple[float, float]


def front_chart(outcome: Outcome, *, asked: Asked = PLAIN) -> str:
    """Draw the trade-off front of an outcome.

    Parameters
    ----------
    outcome : Outcome
    asked : Asked

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        Without a front.
    """
    trials = cloud(outcome)
    wanted, front = outcome.task.front, outcome.front
    assert wanted is not None  # or the cloud had been refused
    assert front is not None
    columns = (wanted[0][0], wanted[1][0])
    line = np.column_stack([front.first, front.second])
    mixes = _mixes(outcome, columns)
    svg = Svg(_WIDTH, 0.0, f"{asked.before}Trade-off", _description(outcome))
    heading = [f"{stem(columns[0])} against {stem(columns[1])}, all limits kept"]
    state = state_words(outcome)
    top = draw_heading(svg, svg.title, [*heading, *([state] if state else [])], _MARGIN)
    x, y = _scales(columns, line, trials, mixes, top + 12.0 + 18.0)
    _draw_axes(svg, outcome, x, y)
    shown = [mix for mix in mixes if _holds(x, y, mix.at)]
    _draw_inside(svg, trials, line, x, y)
    _draw_mixes(svg, shown, line, x, y)
    below = _draw_x_axis(svg, outcome, x, y.start)
    keys = _keys(outcome, mixes, shown, columns)
    below = draw_keys(svg, keys, _MARGIN, below, _WIDTH - 2.0 * _MARGIN)
    svg.height = draw_notes(svg, notes_of(outcome, columns), _MARGIN, below) + 8.0
    return svg.to_text()


def _mixes(outcome: Outcome, columns: tuple[str, str]) -> list[_Mix]:
    """Return the mixes to name, the most important first."""
    found = outcome.found
    mixes = [("best", best_words(outcome), "", found.values)]
    if outcome.robust and outcome.robust.found.status != "infeasible":
        mixes.append(("robust", "robust mix", "", outcome.robust.found.values))
    for name, values in outcome.tried_values.items():
        mixes.append(("tried", name, fault_words(found.goal, values), values))
    return [
        _Mix(kind, name, more, (values[columns[0]], values[columns[1]]))
        for kind, name, more, values in mixes
    ]


def _scales(
    columns: tuple[str, str],
    line: np.ndarray,
    trials: np.ndarray,
    mixes: list[_Mix],
    top: float,
) -> tuple[Scale, Scale]:
    """Return the scales: the front, the trials beside it, and what lies nearby."""
    ends = (
        (_LEFT, _WIDTH - _MARGIN),
        (top + _HEIGHT, top),
    )
    made = []
    for place, (start, end) in enumerate(ends):
        low, high = float(line[:, place].min()), float(line[:, place].max())
        if len(trials):
            low = min(low, float(trials[:, place].min()))
            high = max(high, float(trials[:, place].max()))
        room = _GROWTH * (high - low)
        for mix in mixes:
            value = mix.at[place]
            if max(high, value) - min(low, value) <= room:
                low, high = min(low, value), max(high, value)
        name = columns[place]
        logarithmic = name.startswith(DECADES) and low > 0.0 and high > _WIDE * low
        widen = padded_decades if logarithmic else padded
        made.append(Scale(*widen(low, high), start, end, logarithmic))
    return made[0], made[1]


def _holds(x: Scale, y: Scale, at: tuple[float, float]) -> bool:
    """Say whether a mix lies on the picture."""
    across = math.isfinite(at[0]) and x.low <= at[0] <= x.high
    return across and math.isfinite(at[1]) and y.low <= at[1] <= y.high


def _axis_words(outcome: Outcome, place: int) -> str:
    """Return what an axis shows, and which way is better."""
    column, more = (outcome.task.front or ())[place]
    unit = unit_of(column)
    better = "more" if more else "less"
    return f"{label_of(column)}{f' [{unit}]' if unit else ''}: {better} is better"


def _draw_axes(svg: Svg, outcome: Outcome, x: Scale, y: Scale) -> None:
    """Draw grid, frame, and the labels of the y axis."""
    words = shortened(_axis_words(outcome, 1), _WIDTH - 2.0 * _MARGIN, _SIZE)
    svg.text((_MARGIN, y.end - 10.0), words, TextStyle(_SIZE, bold=True))
    for value, _ in x.ticks(6):
        svg.line((x(value), y.start), (x(value), y.end), Stroke(FAINT, 0.8))
    for value, label in y.ticks(6):
        svg.line((x.start - 5.0, y(value)), (x.end, y(value)), Stroke(FAINT, 0.8))
        svg.text((x.start - 9.0, y(value) + 5.0), label, TextStyle(_SIZE, "end"))
    size = (x.end - x.start, y.start - y.end)
    svg.rect((x.start, y.end), size, Stroke(SOFT).attributes())


def _draw_x_axis(svg: Svg, outcome: Outcome, x: Scale, top: float) -> float:
    """Write ticks and label of the x axis; return the y below them [px]."""
    for value, label in x.ticks(6):
        svg.line((x(value), top), (x(value), top + 5.0), Stroke(SOFT))
        svg.text((x(value), top + 20.0), label, TextStyle(_SIZE, "middle"))
    y = top + 24.0
    for words in wrapped(_axis_words(outcome, 0), _WIDTH - 2.0 * _MARGIN, _SIZE):
        y += 19.0
        svg.text((0.5 * _WIDTH, y), words, TextStyle(_SIZE, "middle", bold=True))
    return y + 18.0


def _draw_inside(
    svg: Svg, trials: np.ndarray, line: np.ndarray, x: Scale, y: Scale
) -> None:
    """Draw the trials as faint dots, and the front over them."""
    every = max(1, math.ceil(len(trials) / _DOTS))
    places = [(x(a), y(b)) for a, b in trials[::every].tolist()]
    data = "".join(moves([at, at]) for at in dict.fromkeys(places))
    if data:
        dots = Stroke(_TRIAL, 3.4, opacity=0.6).attributes()
        svg.path(data, {**dots, "stroke-linecap": "round"})
    points = [(x(a), y(b)) for a, b in line.tolist()]
    if len(points) > 1:
        svg.path(moves(points), Stroke("#ffffff", 5.0).attributes())
        svg.path(moves(points), Stroke(LINES[0], 2.4).attributes())
    for at in points:
        draw_symbol(svg, at, "circle", LINES[0], size=3.2)


def _draw_mixes(
    svg: Svg, shown: list[_Mix], line: np.ndarray, x: Scale, y: Scale
) -> None:
    """Draw and name the mixes."""
    area = Box(x.start + 2.0, y.end + 2.0, x.end - 2.0, y.start - 2.0)
    points: list[Point] = [(x(a), y(b)) for a, b in line.tolist()]
    points += [(x(mix.at[0]), y(mix.at[1])) for mix in shown]
    taken = Taken(area, [Box(a - 7.0, b - 7.0, a + 7.0, b + 7.0) for a, b in points])
    for mix in reversed(shown):
        at = (x(mix.at[0]), y(mix.at[1]))
        symbol, paint, size = LOOKS[mix.kind]
        words = shortened(mix.name, _ROOM, _SIZE)
        label = beside(at, words, _SIZE, taken)
        if label.led:
            end = (label.at[0], label.at[1] - 0.35 * _SIZE)
            svg.line(at, end, Stroke(INK, 1.2))
        draw_symbol(svg, at, symbol, paint, size=size)
        style = TextStyle(_SIZE, label.anchor, INK, bold=True, halo=PAGE)
        svg.text(label.at, words, style)


def _keys(
    outcome: Outcome, mixes: list[_Mix], shown: list[_Mix], columns: tuple[str, str]
) -> list[Key]:
    """Return the keys: the front, the trials, the mixes with their values."""
    keys = [
        Key("line", LINES[0], "front: none is better in both", symbol="circle"),
        Key("symbol", _TRIAL, "tried by the search", symbol="circle"),
    ]
    for mix in mixes:
        told = ", ".join(
            value_words(name, value)
            for name, value in zip(columns, mix.at, strict=True)
        )
        words = f"{mix.name}: {told}" + (f"; {mix.more}" if mix.more else "")
        symbol, paint, _ = LOOKS[mix.kind]
        outside = "" if mix in shown else " (outside the picture)"
        keys.append(Key("symbol", paint, words + outside, symbol=symbol))
    return keys


def _description(outcome: Outcome) -> str:
    """Say in words what the picture shows."""
    first, second = (_axis_words(outcome, place) for place in (0, 1))
    return f"Trade-off front between two columns. Across: {first}. Up: {second}."
