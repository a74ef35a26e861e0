"""Marks on a triangle: dot, name, guide lines to the sides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.report.svg.canvas import INK, Point, Stroke, Svg
from castsugar.report.svg.legend import draw_mark, halo_style
from castsugar.report.svg.place import Box, Label, Taken, beside
from castsugar.report.svg.sides import constant_line
from castsugar.report.svg.triangle import Frame, Shares
from castsugar.report.svg.words import shortened, text_width

_SIZE = 17.0
#: Room for a name on the picture [px]; the key below has it in full.
_ROOM = 150.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A named mix: label, place [px], shares of the three."""

    label: str
    at: Point
    shares: Shares


def draw_guides(svg: Svg, frame: Frame, mark: Mark) -> list[Box]:
    """Lead from a mark to the place on each side at which its shares are read.

    Returns the ground on which a name would hide them.
    """
    boxes = []
    for index, share in enumerate(mark.shares):
        end = constant_line(frame, index, share)[0]
        svg.line(mark.at, end, Stroke("#ffffff", 2.6, opacity=0.6))
        svg.line(mark.at, end, Stroke(INK, 1.2, "2 4"))
        for part in np.linspace(0.0, 1.0, 13):
            x, y = (a + part * (b - a) for a, b in zip(mark.at, end, strict=True))
            boxes.append(Box(x - 3.0, y - 3.0, x + 3.0, y + 3.0))
    return boxes


def place_marks(marks: Sequence[Mark], taken: Taken) -> Callable[[Svg], None]:
    """Find places for the names, and return what draws them later, on top."""
    words = [shortened(mark.label, _ROOM, _SIZE) for mark in marks]
    labels = [
        beside(mark.at, text, _SIZE, taken)
        for mark, text in zip(marks, words, strict=True)
    ]

    def draw(svg: Svg) -> None:
        for mark, text, label in zip(marks, words, labels, strict=True):
            if label.led:
                _draw_leader(svg, mark, label, text)
            draw_mark(svg, mark.at)
            svg.text(label.at, text, halo_style(_SIZE, label.anchor, bold=True))

    return draw


def _draw_leader(svg: Svg, mark: Mark, label: Label, words: str) -> None:
    """Join a mark with a name that stands farther off."""
    x, y = label.at
    if label.anchor == "middle":
        y += 4.0 if y < mark.at[1] else -0.9 * _SIZE
    else:
        x += -3.0 if label.anchor == "start" else 3.0
        y -= 0.35 * _SIZE
    x = min(max(x, 4.0), svg.width - min(4.0, text_width(words, _SIZE)))
    svg.line(mark.at, (x, y), Stroke("#ffffff", 3.4, opacity=0.8))
    svg.line(mark.at, (x, y), Stroke(INK, 1.3))


def mark_words(label: str, names: Sequence[str], percents: Sequence[float]) -> str:
    """Return the name and what is in the mix, in percent of the whole.

    Examples
    --------
    >>> mark_words("base", ("KNO3", "sucrose", "water"), (64.0, 35.0, 1.0))
    'base: KNO3 64 %, sucrose 35 %, water 1 %'
    """
    parts = (f"{n} {p:.4g} %" for n, p in zip(names, percents, strict=True))
    return f"{label}: {', '.join(parts)}"
