"""The picture of the what-if panel: a dot for every mix that was evaluated.

Filled: remains; empty: ruled out; small: not computed. The script of the panel changes
the classes of dots and marks and moves the ring; nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.comparison.limits import C_STAR
from castsugar.comparison.neighbours import Neighbourhood
from castsugar.optimize.plane import Plane
from castsugar.report.search_words import Asked
from castsugar.report.svg.axes import Scale, padded
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    PAGE,
    SOFT,
    Attributes,
    Point,
    Stroke,
    Svg,
    TextStyle,
    moves,
    number,
    shortened,
    wrapped,
)
from castsugar.report.svg.colour import corners_of
from castsugar.report.svg.place import Box, Taken, beside
from castsugar.report.svg.triangle import (
    HEIGHT,
    Frame,
    Sides,
    draw_grid,
    draw_sides,
    side_boxes,
)

#: Classes of mixes that remain, are ruled out, are not computed.
CLASSES = ("k", "r", "u")

_WIDTH, _LEFT, _SIDE, _MARGIN = 480.0, 66.0, 348.0, 16.0
_SIZE, _ROW = 16.0, 28.0

#: Room for a name on the picture [px].
_ROOM = 130.0

#: Radius of a small dot, of a ring [px]; the dots of a line.
_SMALL, _RING, _DOT = 1.8, 11.0, 4.2

#: Colours: of a dot that remains, of an empty one, of the ring, of the mixes.
_KEPT, _EMPTY, _HALO = "#0072b2", "#6f6f6f", "#c2410c"
_MARKS = (("circle", "#1c1c1c", 5.0), ("star", "#e8590c", 6.5))

#: How dots and marks look; in the page's style, so that a class is all that changes.
STYLE = f"""
.what-if circle.k {{ fill: {_KEPT}; stroke: {_KEPT}; }}
.what-if circle.r {{ fill: {PAGE}; stroke: {_EMPTY}; }}
.what-if circle.u {{ fill: {_EMPTY}; stroke: none; }}
.what-if g.r .face {{ fill: {PAGE}; }}
.what-if g.u .face {{ fill: {PAGE}; stroke-dasharray: 2 2; }}
"""


@dataclass(frozen=True, slots=True)
class Dots:
    """Where the mixes stand [px], base and new last, and how large a dot is."""

    points: FloatArray
    radius: float


def picture(
    around: Neighbourhood,
    states: IntArray,
    chosen: int | None,
    names: tuple[str, str, Asked],
) -> str:
    """Draw all mixes.

    Parameters
    ----------
    around : Around
    states : ndarray of int, shape (n + 2,)
    chosen : int or None
        Which of those that remain has the highest c*.
    names : tuple of str, str, Asked
        Of base and new, and of the ingredients.
    """
    base, new, asked = names
    if around.kind == "triangle" and around.plane is not None:
        svg, dots, taken, foot = _triangle(around, around.plane, asked)
    else:
        svg, dots, taken, foot = _line(around, (base, new))
    _draw_dots(svg, dots, states[:-2])
    at = dots.points[chosen].tolist() if chosen is not None else [0.0, 0.0]
    shown = None if chosen is not None else "hidden"
    ring = {"id": "what-if-ring", "transform": _moved(at), "visibility": shown}
    with svg.group(ring):
        _draw_ring(svg, (0.0, 0.0))
    _draw_marks(svg, dots, states[-2:], (base, new), taken)
    svg.height = _draw_keys(svg, (base, new), foot) + 8.0
    return svg.to_text()


def _triangle(
    around: Neighbourhood, made: Plane, asked: Asked
) -> tuple[Svg, Dots, Taken, float]:
    """Begin a triangle; return it, the dots, what is taken, the y below it [px]."""
    first, second, third = (asked.name(name) for name in made.corners)
    words = f"Mixes of {first}, {second} and {third} near base and new mix."
    svg = Svg(_WIDTH, 0.0, "Which mixes remain", words)
    span = 1.0 - sum(made.low)
    frame = Frame(made.low, span, _LEFT, 78.0 + HEIGHT * _SIDE, _SIDE)
    svg.path(moves(frame.corners(), closed=True), {"fill": "#ecece8"})
    outline = moves(frame.places(made.outline).tolist(), closed=True)
    svg.path(outline, {"fill": PAGE, "stroke": SOFT, "stroke-width": 1.0})
    draw_grid(svg, frame, made.total)
    draw_sides(svg, frame, Sides((first, second, third), made.total, 44.0))
    shares = around.all_fractions[:, list(made.places)] / made.total
    top, left, right = frame.corners()
    area = Box(left[0] - 30.0, top[1], right[0] + 30.0, frame.base)
    dots = Dots(frame.places(shares), min(0.4 * _SIDE * made.step / span, 6.0))
    foot = frame.base + 110.0
    fixed = [f"{asked.name(n)} {100.0 * s:.4g} %" for n, s in made.fixed.items()]
    for line in wrapped(f"with {', '.join(fixed)}", _WIDTH - 2.0 * _MARGIN, _SIZE):
        if fixed:
            svg.text((_MARGIN, foot + 6.0), line, TextStyle(_SIZE, colour=SOFT))
            foot += 20.0
    return svg, dots, Taken(area, side_boxes(frame)), foot


def _line(
    around: Neighbourhood, names: tuple[str, str]
) -> tuple[Svg, Dots, Taken, float]:
    """Begin a line of mixes: c* over the share of the change."""
    words = f"c* of the mixes on the line from {names[0]} to {names[1]} and beyond."
    svg = Svg(_WIDTH, 0.0, "Which mixes remain", words)
    shares = 100.0 * np.append(around.change, [0.0, 1.0])
    values = around.column(C_STAR)
    known = values[np.isfinite(values)]
    low, high = padded(float(known.min()), float(known.max())) if known.size else (0, 1)
    left, right = padded(float(shares.min()), float(shares.max()), 0.04)
    x = Scale(left, right, 62.0, _WIDTH - _MARGIN)
    y = Scale(low, high, 300.0, 44.0)
    svg.text((_MARGIN, 26.0), "c* [m/s]", TextStyle(_SIZE, bold=True))
    for value, text in y.ticks(5):
        svg.line((x.start, y(value)), (x.end, y(value)), Stroke(FAINT, 0.8))
        svg.text((x.start - 8.0, y(value) + 5.0), text, TextStyle(_SIZE, "end"))
    for value, text in x.ticks(5):
        svg.line((x(value), y.start), (x(value), y.start + 5.0), Stroke(SOFT))
        minus = text.replace("-", "\u2212")
        svg.text((x(value), y.start + 21.0), minus, TextStyle(_SIZE, "middle"))
    svg.rect(
        (x.start, y.end), (x.end - x.start, y.start - y.end), Stroke(SOFT).attributes()
    )
    label = "percent of the change: 0 base, 100 new mix"
    middle = 0.5 * (x.start + x.end)
    svg.text((middle, y.start + 45.0), label, TextStyle(_SIZE, "middle", bold=True))
    heights = [y(v) if math.isfinite(v) else y.start for v in values.tolist()]
    points = np.column_stack([[x(v) for v in shares.tolist()], heights])
    taken = Taken(Box(x.start, y.end, x.end, y.start))
    taken.add(_box(p, 3.0) for p in points[:-2].tolist())
    return svg, Dots(points, _DOT), taken, y.start + 62.0


def _box(at: Sequence[float], size: float) -> Box:
    """Return the box around a point [px]."""
    return Box(at[0] - size, at[1] - size, at[0] + size, at[1] + size)


def _moved(at: Sequence[float]) -> str:
    """Return a shift to a point [px]."""
    return f"translate({number(at[0], 1)},{number(at[1], 1)})"


def _draw_dots(svg: Svg, dots: Dots, states: IntArray) -> None:
    """Draw the neighbours."""
    with svg.group({"id": "what-if-dots", "stroke-width": 1.0}):
        for (x, y), state in zip(
            dots.points[:-2].tolist(), states.tolist(), strict=True
        ):
            _draw_dot(svg, (x, y), state, dots.radius)
    with svg.group({"id": "what-if-sizes", "visibility": "hidden"}):
        for size in (dots.radius, _SMALL):
            svg.element("circle", {"r": round(size, 1)})


def _draw_dot(svg: Svg, at: Point, state: int, radius: float) -> None:
    """Draw one dot."""
    r = round(_SMALL if CLASSES[state] == "u" else radius, 1)
    shape = {"cx": round(at[0], 1), "cy": round(at[1], 1), "r": r}
    svg.element("circle", {"class": CLASSES[state], **shape})


def _draw_ring(svg: Svg, at: Point) -> None:
    """Draw the ring around the chosen mix."""
    for colour, width in (("#ffffff", 6.0), (_HALO, 3.0)):
        paint: Attributes = {"fill": "none", "stroke": colour, "stroke-width": width}
        svg.element("circle", {"cx": at[0], "cy": at[1], "r": _RING, **paint})


def _round(size: float) -> list[Point]:
    """Return points around a circle about the origin [px]."""
    turns = (math.pi * k / 12.0 for k in range(24))
    return [(size * math.cos(turn), size * math.sin(turn)) for turn in turns]


def _draw_mark(svg: Svg, place: int, state: int, name: str | None, at: Point) -> None:
    """Draw base (0) or new (1); its face is what a class changes."""
    symbol, fill, size = _MARKS[place]
    moved = {"id": name, "class": CLASSES[state], "transform": _moved(at)}
    faces: tuple[Attributes, ...] = (
        {"fill": "#ffffff", "stroke": "#ffffff", "stroke-width": 4.5},
        {"class": "face", "fill": fill, "stroke": INK, "stroke-width": 1.4},
    )
    with svg.group(moved):
        for face in faces:
            corners = (
                _round(size) if symbol == "circle" else corners_of(symbol, (0, 0), size)
            )
            path = moves(corners, closed=True)
            svg.path(path, {"stroke-linejoin": "round", **face})


def _draw_marks(
    svg: Svg, dots: Dots, states: IntArray, names: tuple[str, str], taken: Taken
) -> None:
    """Draw base and new with their names."""
    points = [(x, y) for x, y in dots.points[-2:].tolist()]
    taken.add(_box(at, 9.0) for at in points)
    pairs = zip(points, names, ("what-if-base", "what-if-new"), strict=True)
    for place, (at, name, key) in enumerate(pairs):
        words = shortened(name, _ROOM, _SIZE)
        label = beside(at, words, _SIZE, taken)
        if label.led:
            end = (label.at[0], label.at[1] - 0.35 * _SIZE)
            svg.line(at, end, Stroke("#ffffff", 3.4, opacity=0.8))
            svg.line(at, end, Stroke(INK, 1.3))
        _draw_mark(svg, place, int(states[place]), key, at)
        style = TextStyle(_SIZE, label.anchor, INK, bold=True, halo=PAGE)
        svg.text(label.at, words, style)


def _draw_keys(svg: Svg, names: tuple[str, str], top: float) -> float:
    """Draw what the looks mean; return the y below [px]."""
    texts = ("remains", "ruled out", "not computed", "highest c* that remains")
    room = 0.5 * (_WIDTH - 2.0 * _MARGIN)
    both = (f"base: {names[0]}", f"new: {names[1]}")
    for place, words in enumerate((*texts, *both)):
        x = _MARGIN + 12.0 + (place % 2) * room
        y = top + 10.0 + _ROW * (place // 2)
        if place < 3:
            _draw_dot(svg, (x, y), place, _DOT)
        elif place == 3:
            _draw_ring(svg, (x, y))
        else:
            _draw_mark(svg, place - 4, 0, None, (x, y))
        text = shortened(words, room - 34.0, _SIZE)
        svg.text((x + 18.0, y + 5.5), text, TextStyle(_SIZE))
    return top + 3.0 * _ROW + 4.0
