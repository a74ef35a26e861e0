"""What one column costs in another: the trade-off front."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from castsugar.arrays import FloatArray
from castsugar.comparison.directions import DECADES, cloud
from castsugar.optimize.search import Outcome
from castsugar.report.search_words import (
    PLAIN,
    Asked,
    axis_label,
    best_words,
    fault_words,
    note_of,
    state_lines,
    stem,
    value_words,
)
from castsugar.report.svg.axes import Scale, padded, padded_decades
from castsugar.report.svg.canvas import (
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
from castsugar.report.svg.line import Area, draw_grid, draw_x_axis
from castsugar.report.svg.place import Box, Taken, beside

_WIDTH, _MARGIN, _LEFT, _HEIGHT = 600.0, 24.0, 84.0, 400.0
_INNER, _SIZE = _WIDTH - 2.0 * _MARGIN, 16.0

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

#: A mix tried is on the picture if the range grows no more than so much.
_GROWTH = 1.8

#: A column that runs over decades is drawn so from this ratio on.
_WIDE = 8.0

#: Most trials that are drawn: later ones hide under these.
_DOTS = 1500

_TRIAL = "#9aa5ad"

#: Both columns of mixes.
Pairs = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class _Mix:
    """A mix to name: kind of :data:`LOOKS`, name, remark, both columns."""

    kind: str
    name: str
    more: str
    at: tuple[float, float]


def front_chart(outcome: Outcome, *, asked: Asked = PLAIN) -> str:
    """Draw the trade-off front of an outcome, ingredients as typed.

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
    across, up = (
        f"{axis_label(column)}: {'more' if more else 'less'} is better"
        for column, more in wanted
    )
    line = [*zip(front.first.tolist(), front.second.tolist(), strict=True)]
    mixes = _mixes(outcome, columns)
    words = f"Trade-off front between two columns. Across: {across}. Up: {up}."
    svg = Svg(_WIDTH, 0.0, f"{asked.before}Trade-off", words)
    heading = f"{stem(columns[0])} against {stem(columns[1])}, all limits kept"
    top = draw_heading(svg, svg.title, [heading, *state_lines(outcome)], _MARGIN)
    area = _area(columns, [*line, *map(tuple, trials.tolist())], mixes, top + 30.0)
    label = shortened(up, _INNER, _SIZE)
    svg.text((_MARGIN, area.y.end - 10.0), label, TextStyle(_SIZE, bold=True))
    draw_grid(svg, area, 6)
    size = (area.x.end - area.x.start, area.y.start - area.y.end)
    svg.rect((area.x.start, area.y.end), size, Stroke(SOFT).attributes())
    shown = [mix for mix in mixes if _holds(area, mix.at)]
    _draw_inside(svg, trials, line, area)
    _draw_mixes(svg, shown, line, area)
    lines = wrapped(across, _INNER, _SIZE)
    below = draw_x_axis(svg, area.x, area.y.start, lines) + 18.0
    keys = _keys(mixes, shown, columns)
    below = draw_keys(svg, keys, _MARGIN, below, _INNER)
    svg.height = draw_notes(svg, [note_of(columns)], _MARGIN, below) + 8.0
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


def _area(
    columns: tuple[str, str], known: Pairs, mixes: Sequence[_Mix], top: float
) -> Area:
    """Return the scales: the front, the trials beside it, and what lies nearby."""
    ends = ((_LEFT, _WIDTH - _MARGIN), (top + _HEIGHT, top))
    made = []
    for place, (name, end) in enumerate(zip(columns, ends, strict=True)):
        low, high = min(at[place] for at in known), max(at[place] for at in known)
        room = _GROWTH * (high - low)
        for mix in mixes:
            value = mix.at[place]
            if max(high, value) - min(low, value) <= room:
                low, high = min(low, value), max(high, value)
        logarithmic = name.startswith(DECADES) and low > 0.0 and high > _WIDE * low
        widen = padded_decades if logarithmic else padded
        made.append(Scale(*widen(low, high), *end, logarithmic))
    return Area(*made)


def _holds(area: Area, at: tuple[float, float]) -> bool:
    """Say whether a mix lies on the picture."""
    return all(
        math.isfinite(value) and scale.low <= value <= scale.high
        for value, scale in zip(at, (area.x, area.y), strict=True)
    )


def _place(area: Area, at: tuple[float, float]) -> Point:
    return area.x(at[0]), area.y(at[1])


def _draw_inside(svg: Svg, trials: FloatArray, line: Pairs, area: Area) -> None:
    """Draw the trials as faint dots, and the front over them."""
    every = max(1, math.ceil(len(trials) / _DOTS))
    places = [(area.x(a), area.y(b)) for a, b in trials[::every].tolist()]
    data = "".join(moves([at, at]) for at in dict.fromkeys(places))
    if data:
        dots = Stroke(_TRIAL, 3.4, opacity=0.6).attributes()
        svg.path(data, {**dots, "stroke-linecap": "round"})
    points = [_place(area, at) for at in line]
    if len(points) > 1:
        svg.path(moves(points), Stroke("#ffffff", 5.0).attributes())
        svg.path(moves(points), Stroke(LINES[0], 2.4).attributes())
    for point in points:
        draw_symbol(svg, point, "circle", LINES[0], size=3.2)


def _draw_mixes(svg: Svg, shown: Sequence[_Mix], line: Pairs, area: Area) -> None:
    """Draw and name the mixes."""
    x, y = area.x, area.y
    inner = Box(x.start + 2.0, y.end + 2.0, x.end - 2.0, y.start - 2.0)
    points = [_place(area, at) for at in [*line, *(mix.at for mix in shown)]]
    taken = Taken(inner, [Box.around(point, 7.0) for point in points])
    for mix in reversed(shown):
        at = _place(area, mix.at)
        symbol, paint, size = LOOKS[mix.kind]
        words = shortened(mix.name, ROOM, _SIZE)
        label = beside(at, words, _SIZE, taken)
        if label.led:
            svg.line(at, (label.at[0], label.at[1] - 0.35 * _SIZE), Stroke(INK, 1.2))
        draw_symbol(svg, at, symbol, paint, size=size)
        style = TextStyle(_SIZE, label.anchor, INK, bold=True, halo=PAGE)
        svg.text(label.at, words, style)


def _keys(
    mixes: Sequence[_Mix], shown: Sequence[_Mix], columns: tuple[str, str]
) -> list[Key]:
    """Return the keys: the front, the trials, the mixes with their values."""
    keys = [
        Key("line", LINES[0], "front: none is better in both", symbol="circle"),
        Key("symbol", _TRIAL, "tried by the search", symbol="circle"),
    ]
    for mix in mixes:
        told = ", ".join(map(value_words, columns, mix.at))
        words = f"{mix.name}: {told}" + (f"; {mix.more}" if mix.more else "")
        symbol, paint, _ = LOOKS[mix.kind]
        outside = "" if mix in shown else " (outside the picture)"
        keys.append(Key("symbol", paint, words + outside, symbol=symbol))
    return keys
