"""Mixes to mark on the map of a search: best, robust, rounded, tried, the front."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.arrays import FloatArray
from castsugar.optimize.plane import Plane, recipe_fractions
from castsugar.optimize.search import Outcome
from castsugar.report.search_picture import best_words, fault_words, is_stated, stem
from castsugar.report.svg.canvas import (
    INK,
    PAGE,
    Point,
    Stroke,
    Svg,
    TextStyle,
    moves,
    shortened,
)
from castsugar.report.svg.colour import draw_symbol
from castsugar.report.svg.legend import Key
from castsugar.report.svg.place import Taken, beside
from castsugar.report.svg.triangle import Frame

_SIZE = 16.0
#: Room for a name on the picture [px]; the key below has it in full.
_ROOM = 150.0

#: Symbol and colour: the best, the robust one, the rounded one, tried ones, the front.
LOOKS = {
    "best": ("star", "#e8590c", 6.5),
    "robust": ("diamond", "#ffffff", 5.5),
    "rounded": ("square", "#ffffff", 4.6),
    "tried": ("circle", "#1c1c1c", 4.4),
    "front": ("circle", "#ffffff", 2.4),
}


@dataclass(frozen=True, slots=True)
class Mark:
    """A mix to mark.

    Attributes
    ----------
    kind : str
        Of :data:`LOOKS`.
    name : str
    words : str
        For the key.
    at : tuple of float
        [px]; only where it is in the plane.
    held : bool
        Whether it lies on the picture.
    """

    kind: str
    name: str
    words: str
    at: Point
    held: bool


def marks_of(outcome: Outcome, made: Plane, frame: Frame) -> list[Mark]:
    """Return the mixes to mark, the most important first."""
    best, mix = best_words(outcome), outcome.found.fractions
    wrong = _wrong(outcome, outcome.found.values) if is_stated(outcome) else ""
    found = [_mark("best", best, mix, made, frame, wrong)]
    if outcome.robust and outcome.robust.found.status != "infeasible":
        mix = outcome.robust.found.fractions
        found.append(_mark("robust", "robust mix", mix, made, frame))
    rounded = outcome.percents or outcome.weighable
    if rounded is not None:
        name = "whole percents" if outcome.percents is not None else "as weighed"
        found.append(_mark("rounded", name, rounded.fractions, made, frame))
    for name, recipe in outcome.task.tried.items():
        own = recipe_fractions(outcome, recipe)
        if own is None:
            found.append(
                Mark("tried", name, "has other ingredients", (0.0, 0.0), held=False)
            )
            continue
        wrong = _wrong(outcome, outcome.tried_values.get(name, {}))
        found.append(_mark("tried", name, own, made, frame, wrong))
    return found


def _wrong(outcome: Outcome, values: Mapping[str, float]) -> str:
    """Say which limits a mix breaks; empty if none, or if it was not judged."""
    return fault_words(outcome.found.goal, values) if values else ""


def _mark(
    kind: str,
    name: str,
    mix: FloatArray,
    made: Plane,
    frame: Frame,
    more: str = "",
) -> Mark:
    """Return the mark of a mix, with its percents of the whole."""
    shares = made.shares_of(mix)
    words = [more] if more else []
    if shares is None:
        words.append("its other ingredients differ")
        return Mark(kind, name, "; ".join(words), (0.0, 0.0), held=False)
    percents = " / ".join(f"{100.0 * made.total * share:.1f}" for share in shares)
    held = frame.holds(shares)
    return Mark(
        kind, name, "; ".join([f"{percents} %", *words]), frame.place(shares), held
    )


def mark_keys(outcome: Outcome, marks: list[Mark]) -> list[Key]:
    """Return the keys of marks, and of the front."""
    keys = []
    for mark in marks:
        symbol, paint, _ = LOOKS[mark.kind]
        words = f"{mark.name}: {mark.words}" + (
            "" if mark.held else " (not on the picture)"
        )
        keys.append(Key("symbol", paint, words, symbol=symbol))
    if outcome.front is not None and len(outcome.front.first):
        symbol, paint, _ = LOOKS["front"]
        keys.append(Key("symbol", paint, front_words(outcome), symbol=symbol))
    return keys


def front_words(outcome: Outcome) -> str:
    """Return what the front leads from and to."""
    ends = [
        f"{'most' if more else 'least'} {stem(column)}"
        for column, more in outcome.task.front or ()
    ]
    return f"trade-off front: from {' to '.join(ends)}"


def draw_marks(
    svg: Svg,
    outcome: Outcome,
    made: Plane,
    frame: Frame,
    marks: list[Mark],
    taken: Taken,
) -> None:
    """Draw the front and all marks on the picture, their names where there is room."""
    _draw_front(svg, outcome, made, frame)
    shown = [mark for mark in marks if mark.held]
    names = []
    for mark in shown:
        words = shortened(mark.name, _ROOM, _SIZE)
        names.append((mark, words, beside(mark.at, words, _SIZE, taken)))
    for mark, _, label in names:
        if label.led:
            x, y = label.at[0], label.at[1] - 0.35 * _SIZE
            svg.line(mark.at, (x, y), Stroke("#ffffff", 3.4, opacity=0.8))
            svg.line(mark.at, (x, y), Stroke(INK, 1.3))
    for mark in reversed(shown):
        symbol, paint, size = LOOKS[mark.kind]
        draw_symbol(svg, mark.at, symbol, paint, size=size)
    for _, words, label in names:
        style = TextStyle(_SIZE, label.anchor, INK, bold=True, halo=PAGE)
        svg.text(label.at, words, style)


def _draw_front(svg: Svg, outcome: Outcome, made: Plane, frame: Frame) -> None:
    """Draw the mixes of the front, joined in their order."""
    if outcome.front is None:
        return
    found = [made.shares_of(mix) for mix in outcome.front.fractions]
    at = [frame.place(shares) for shares in found if shares is not None]
    if len(at) > 1:
        svg.path(moves(at), Stroke(INK, 0.9).attributes())
    symbol, paint, size = LOOKS["front"]
    for point in at:
        draw_symbol(svg, point, symbol, paint, size=size, rim=0.4)
