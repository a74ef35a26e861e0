"""Marks on a triangle: dot, name, guide lines to the sides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from castsugar.report.svg.canvas import INK, Point, Stroke, Svg
from castsugar.report.svg.legend import draw_mark, halo_style
from castsugar.report.svg.place import Label, Taken, beside
from castsugar.report.svg.sides import constant_line
from castsugar.report.svg.triangle import Frame, Shares
from castsugar.report.svg.words import shortened, text_width

_SIZE = 16.0
#: Room for a name on the picture [px]; the key below has it in full.
_ROOM = 190.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A named mix: label, place [px], shares of the three."""

    label: str
    at: Point
    shares: Shares


def draw_guides(svg: Svg, frame: Frame, mark: Mark) -> None:
    """Lead from a mark to the tick on each side at which its shares are read."""
    for index, share in enumerate(mark.shares):
        end = constant_line(frame, index, share)[0]
        svg.line(mark.at, end, Stroke("#ffffff", 2.6, opacity=0.6))
        svg.line(mark.at, end, Stroke(INK, 1.2, "2 4"))


def draw_marks(marks: Sequence[Mark], taken: Taken) -> Callable[[Svg], None]:
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


def mark_words(label: str, shares: Shares, total: float) -> str:
    """Return the name and percentages of the whole mix.

    Examples
    --------
    >>> mark_words("base", (0.6, 0.2, 0.2), 1.0)
    'base: 60 / 20 / 20 %'
    """
    percents = " / ".join(f"{100.0 * total * share:.4g}" for share in shares)
    return f"{label}: {percents} %"
