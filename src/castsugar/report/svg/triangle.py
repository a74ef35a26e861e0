"""The triangle of a map: what it holds, where a mix stands, its three sides."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray, IntArray
from castsugar.errors import InputError
from castsugar.report.svg.axes import multiples, nice_step, tick_labels
from castsugar.report.svg.canvas import (
    Point,
    Stroke,
    Svg,
    TextStyle,
    number,
    shortened,
    wrapped,
)
from castsugar.report.svg.colour import AXES
from castsugar.report.svg.place import Box

# ----------------------------------------------------------------------------
# Where a mix of three ingredients stands on the page.

Shares = tuple[float, float, float]

#: Height of an equilateral triangle over its side.
HEIGHT = math.sqrt(0.75)


@dataclass(frozen=True, slots=True)
class Frame:
    """A triangle on the page and the part of the diagram that it spans.

    Parameters
    ----------
    low : tuple of float
        Least share of each ingredient (top, lower left, lower right).
    span : float
        Share between the least and the largest, the same for all three.
    left, base, side : float
        Lower left corner and side [px].
    """

    low: Shares
    span: float
    left: float
    base: float
    side: float

    def place(self, shares: Shares) -> Point:
        """Return where shares that sum to 1 stand [px]."""
        up = (shares[0] - self.low[0]) / self.span
        right = (shares[2] - self.low[2]) / self.span
        x = self.left + self.side * (right + 0.5 * up)
        return x, self.base - HEIGHT * self.side * up

    def places(self, fractions: FloatArray) -> FloatArray:
        """Return where many mixes stand, shape (n, 2) [px]."""
        inner = (fractions - np.asarray(self.low)) / self.span
        x = self.left + self.side * (inner[:, 2] + 0.5 * inner[:, 0])
        return np.column_stack([x, self.base - HEIGHT * self.side * inner[:, 0]])

    def holds(self, shares: Shares) -> bool:
        """Return whether a mix lies on the picture."""
        return all(s > a - 1e-6 for s, a in zip(shares, self.low, strict=True))

    def corners(self) -> tuple[Point, Point, Point]:
        """Return top, lower left and lower right corner [px]."""
        top = (self.left + 0.5 * self.side, self.base - HEIGHT * self.side)
        return top, (self.left, self.base), (self.left + self.side, self.base)

    def room(self) -> Box:
        """Return where names may stand: the triangle, and a little beside it [px]."""
        top, left, right = self.corners()
        return Box(left[0] - 40.0, top[1] - 10.0, right[0] + 30.0, self.base)


def least_step(fractions: FloatArray) -> float:
    """Return the distance of the lattice points; 1 for a single point."""
    found = [np.diff(np.unique(np.round(column, 9))) for column in fractions.T]
    steps = np.concatenate(found)
    return float(steps.min()) if steps.size else 1.0


def span_of(fractions: FloatArray, step: float) -> tuple[Shares, float]:
    """Return least shares and span of the smallest triangle around the points.

    Examples
    --------
    >>> span_of(np.array([[0.5, 0.5, 0.0], [0.5, 0.0, 0.5], [1.0, 0.0, 0.0]]), 0.5)
    ((0.5, 0.0, 0.0), 0.5)
    """
    low = [float(v) for v in np.round(fractions.min(axis=0), 9)]
    span = round(1.0 - sum(low), 9)
    return (low[0], low[1], low[2]), span if span > 0.0 else step


def lattice_places(fractions: FloatArray, low: Shares, step: float) -> IntArray:
    """Return lattice coordinates (first, third ingredient) of the points, from 0.

    Raises
    ------
    InputError
        If the points do not lie on a lattice of equal step, or one is there twice.
    """
    exact = (fractions - np.asarray(low)) / step
    whole = np.round(exact)
    if np.abs(exact - whole).max(initial=0.0) > 0.01:
        raise InputError(
            f"the mixes do not lie on a triangular lattice of step {step:g}; "
            "a map needs equal steps"
        )
    places = whole[:, [0, 2]].astype(np.int64)
    if len(np.unique(places, axis=0)) != len(places):
        raise InputError("a mix is on the map twice; a map needs each point once")
    return np.asarray(places, dtype=np.int64)


# ----------------------------------------------------------------------------
# What a map of three ingredients holds, its checks and its words.

#: What a cell may be.
KINDS = ("ok", "not computed", "cold", "absent")


@dataclass(frozen=True, slots=True)
class TernaryMap:
    """What a map shows.

    Parameters
    ----------
    corners : tuple of str
        Names of the ingredients: top, lower left, lower right.
    fractions : ndarray, shape (n, 3)
        Shares of the three, sum 1, on a triangular lattice of equal step. Points that
        are missing stay empty; the picture spans the smallest triangle around all.
    values : ndarray, shape (n,)
        What is shown [`unit`]; NaN where there is none.
    kind : sequence of str, length n
        "ok", "not computed", "cold" or "absent"; "ok" without a value counts as not
        computed.
    title, quantity, unit : str
    decimals : int
        Of the values on the picture; negative rounds to tens and more.
    marks : tuple of (str, (float, float, float))
        Mixes to draw and name: shares of the three, sum 1.
    fixed : str
        What else is in the mix ("with red iron oxide 2 %").
    notes : tuple of str
        Lines below the picture.
    total : float
        Share of the whole mix that the three make up: the axes show percent of the
        whole.
    logarithmic : bool
        Whether colours and levels go by the logarithm; values are above 0 then, and
        are written with one digit.
    absent : str
        What a cell of the kind "absent" is.
    """

    corners: tuple[str, str, str]
    fractions: FloatArray
    values: FloatArray
    kind: Sequence[str]
    title: str
    quantity: str
    unit: str = ""
    decimals: int = 0
    marks: tuple[tuple[str, Shares], ...] = ()
    fixed: str = ""
    notes: tuple[str, ...] = ()
    total: float = 1.0
    logarithmic: bool = False
    absent: str = "none"


def check(spec: TernaryMap) -> None:
    """Refuse what cannot be drawn."""
    count = len(spec.fractions)
    if spec.fractions.shape != (count, 3) or count == 0:
        raise InputError(
            f"a map needs fractions of shape (n, 3), got {spec.fractions.shape}"
        )
    if spec.values.shape != (count,) or len(spec.kind) != count:
        raise InputError(
            f"{count} mixes, {spec.values.size} values and {len(spec.kind)} kinds; "
            "a map needs one value and one kind a mix"
        )
    strange = sorted(set(spec.kind) - set(KINDS))
    if strange:
        raise InputError(f"kind {strange[0]!r} of a cell; allowed: {', '.join(KINDS)}")
    if not 0.0 < spec.total <= 1.0 + 1e-9:
        raise InputError(f"total {spec.total:g} is not a share above 0 and up to 1")
    if not np.allclose(spec.fractions.sum(axis=1), 1.0, atol=1e-6):
        raise InputError("the shares of a mix on the map do not sum to 1")


def kinds_of(spec: TernaryMap) -> NDArray[np.str_]:
    """Return the kinds, "ok" without a value turned into "not computed"."""
    kind = np.array(spec.kind, dtype=np.str_).astype("U12")
    kind[(kind == "ok") & ~np.isfinite(spec.values)] = "not computed"
    return kind


def value_text(spec: TernaryMap, value: float) -> str:
    """Return a value with its unit."""
    if spec.logarithmic:
        return f"{float(f'{value:.1g}'):g} {spec.unit}".rstrip()
    digits = spec.decimals
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return f"{text} {spec.unit}".rstrip()


def description(spec: TernaryMap) -> str:
    """Say in words what the picture shows."""
    kind = kinds_of(spec)
    shown = spec.values[kind == "ok"]
    counts = ", ".join(f"{(kind == word).sum()} {word}" for word in KINDS)
    text = f"{spec.quantity} of mixes of {', '.join(spec.corners)}; cells: {counts}."
    if shown.size:
        low, high = (
            value_text(spec, float(shown.min())),
            value_text(spec, float(shown.max())),
        )
        text += f" Values from {low} to {high}."
    share = number(100.0 * spec.total)
    return f"{text} The three make up {share} % of the whole mix."


# ----------------------------------------------------------------------------
# The three sides of a triangle: ticks, grid, arrows, corner names.
#
# Each ingredient has its own colour and its own tilt. The first grows up the right side
# (ticks level), the second down the left side (ticks rise to the left), the third along
# the base to the right (ticks fall to the left). A tick continues the line on which
# its ingredient stays the same.

#: Direction of the ticks of each ingredient [degrees, counterclockwise from right].
_TICKS = (0.0, 120.0, 240.0)
#: Direction in which each ingredient grows along its side.
_GROWS = (120.0, 240.0, 0.0)
#: Clockwise turn of the words along each side.
_WORDS = (60.0, -60.0, 0.0)
_TICK, _SIZE, _BIG = 8.0, 16.0, 17.0


@dataclass(frozen=True, slots=True)
class Sides:
    """What the sides say: names of the ingredients, and what the triangle spans.

    `total` is the share of the whole mix that the three make up together, `drop` how
    far the names of the lower corners stand below the base, and 16 more than that of
    the upper one above the top [px].
    """

    names: tuple[str, str, str]
    total: float
    drop: float = 24.0


def shifted(at: Point, angle: float, distance: float) -> Point:
    """Return a point moved in a direction [degrees, counterclockwise; px]."""
    turn = math.radians(angle)
    return at[0] + distance * math.cos(turn), at[1] - distance * math.sin(turn)


def _shares(index: int, share: float, following: float) -> Shares:
    """Return shares by position: one, its successor, the rest for the third."""
    values = [0.0, 0.0, 0.0]
    values[index] = share
    values[(index + 1) % 3] = following
    values[(index + 2) % 3] = 1.0 - share - following
    return values[0], values[1], values[2]


def constant_line(frame: Frame, index: int, share: float) -> tuple[Point, Point]:
    """Return where the line of equal share meets its own and the other side [px]."""
    after, before = (index + 1) % 3, (index + 2) % 3
    near = _shares(index, share, frame.low[after])
    far = _shares(index, share, 1.0 - share - frame.low[before])
    return frame.place(near), frame.place(far)


def ticks_of(frame: Frame, index: int, total: float) -> Iterator[tuple[float, str]]:
    """Yield (share of the three, label) for round percentages of the whole mix."""
    low, span = 100.0 * total * frame.low[index], 100.0 * total * frame.span
    step = nice_step(span, 10)
    room = 0.02 * span
    values = multiples(low + room, low + span - room, step)
    for value, words in zip(values, tick_labels(values, step), strict=True):
        yield value / (100.0 * total), words


def side_boxes(frame: Frame) -> list[Box]:
    """Return the ground of ticks, arrows and words beside the slanted sides."""
    boxes = []
    for index in (0, 1):
        for part in range(25):
            share = frame.low[index] + frame.span * part / 24.0
            on_side = constant_line(frame, index, share)[0]
            for away in (16.0, 36.0, 56.0, 70.0):
                at = shifted(on_side, (30.0, 150.0)[index], away)
                boxes.append(Box.around(at, 10.0))
    return boxes


def draw_grid(svg: Svg, frame: Frame, total: float) -> None:
    """Draw the light lines of equal share."""
    with svg.group(Stroke("#ffffff", 0.8, opacity=0.38).attributes()):
        for index in range(3):
            for share, _ in ticks_of(frame, index, total):
                (x1, y1), (x2, y2) = constant_line(frame, index, share)
                svg.element("line", {"x1": x1, "y1": y1, "x2": x2, "y2": y2})


def draw_sides(svg: Svg, frame: Frame, sides: Sides) -> None:
    """Draw outline, ticks, arrows and the names at the corners."""
    for index in range(3):
        colour = AXES[index]
        for share, words in ticks_of(frame, index, sides.total):
            at = constant_line(frame, index, share)[0]
            end = shifted(at, _TICKS[index], _TICK)
            svg.line(at, end, Stroke(colour, 1.3))
            _draw_tick_label(svg, end, index, words)
        _draw_arrow(svg, frame, index, sides.names[index])
    _draw_corners(svg, frame, sides)


def _draw_tick_label(svg: Svg, end: Point, index: int, words: str) -> None:
    """Write a tick label that continues its tick."""
    x, y = shifted(end, _TICKS[index], 4.0)
    turn = (0.0, 60.0, -60.0)[index]
    # The baseline lies below the middle of the digits, seen along the tick.
    drop = math.radians(turn)
    at = (x - 0.35 * _SIZE * math.sin(drop), y + 0.35 * _SIZE * math.cos(drop))
    anchor = "start" if index == 0 else "end"
    svg.text(at, words, TextStyle(_SIZE, anchor, AXES[index], turn=turn))


def _draw_arrow(svg: Svg, frame: Frame, index: int, name: str) -> None:
    """Draw an arrow beside a side, in the direction of growth, with its words."""
    low, half = frame.low[index], 0.5 * frame.span
    middle = constant_line(frame, index, low + half)[0]
    outward = (30.0, 150.0, 270.0)[index]
    grows, colour = _GROWS[index], AXES[index]
    centre = shifted(middle, outward, 48.0)
    reach = 0.23 * frame.side
    start, tip = shifted(centre, grows + 180.0, reach), shifted(centre, grows, reach)
    svg.line(start, tip, Stroke(colour, 1.6))
    wings = (shifted(tip, grows + turn, 11.0) for turn in (158.0, 202.0))
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in (tip, *wings))
    svg.element("polygon", {"points": points, "fill": colour})
    words = shortened(f"more {name}", 0.62 * frame.side, _BIG)
    at = shifted(centre, outward, 20.0 if index == 2 else 9.0)
    style = TextStyle(_BIG, "middle", colour, bold=True, turn=_WORDS[index])
    svg.text(at, words, style)


def _draw_corners(svg: Svg, frame: Frame, sides: Sides) -> None:
    """Write name and largest share at each corner."""
    corners = frame.corners()
    for index, (x, y) in enumerate(corners):
        most = 100.0 * sides.total * (frame.low[index] + frame.span)
        room = 0.9 * frame.side if index == 0 else 92.0
        lines = wrapped(sides.names[index], room, 16.0)
        if len(lines) > 3:
            lines = [*lines[:2], shortened(" ".join(lines[2:]), room, 16.0)]
        lines.append(f"{most:.4g} %")
        first = (
            y + 16.0 - sides.drop - 19.0 * (len(lines) - 1)
            if index == 0
            else y + sides.drop
        )
        middle = (x, x - 16.0, x + 16.0)[index]
        for row, words in enumerate(lines):
            style = TextStyle(16.0, "middle", AXES[index], bold=row < len(lines) - 1)
            svg.text((middle, first + 19.0 * row), words, style)
