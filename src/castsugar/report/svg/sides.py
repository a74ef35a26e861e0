"""The three sides of a triangle: ticks, grid, arrows, corner names.

Each ingredient has its own colour and its own tilt. The first grows up the right side
(ticks level), the second down the left side (ticks rise to the left), the third along
the base to the right (ticks fall to the left). A tick continues the line on which
its ingredient stays the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from castsugar.report.svg.axes import multiples, nice_step, tick_labels
from castsugar.report.svg.canvas import Point, Stroke, Svg, TextStyle
from castsugar.report.svg.colour import AXES
from castsugar.report.svg.place import Box
from castsugar.report.svg.triangle import Frame, Shares
from castsugar.report.svg.words import shortened, wrapped

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
                x, y = shifted(on_side, (30.0, 150.0)[index], away)
                boxes.append(Box(x - 10.0, y - 10.0, x + 10.0, y + 10.0))
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
