"""Symbols that differ by shape, so that colour is never needed; with a white rim."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.report.svg.canvas import INK, Attributes, Point, Svg, moves

#: Corner directions [degrees, counterclockwise from right] and distances [sizes].
_OUTLINES: dict[str, tuple[tuple[float, float], ...]] = {
    "square": tuple((45.0 + 90.0 * k, 1.2) for k in range(4)),
    "triangle": tuple((90.0 + 120.0 * k, 1.35) for k in range(3)),
    "diamond": tuple((90.0 * k, 1.35) for k in range(4)),
    "wedge": tuple((270.0 + 120.0 * k, 1.35) for k in range(3)),
    "pentagon": tuple((90.0 + 72.0 * k, 1.15) for k in range(5)),
    "star": tuple((90.0 + 36.0 * k, (1.75, 0.72)[k % 2]) for k in range(10)),
}

#: Names of all symbols, the plainest first.
SYMBOLS = ("circle", *_OUTLINES)


def symbol_of(index: int) -> str:
    """Return the symbol of the line at a position of its panel.

    Examples
    --------
    >>> symbol_of(0), symbol_of(1)
    ('circle', 'square')
    """
    return SYMBOLS[index % len(SYMBOLS)]


def corners_of(name: str, at: Point, size: float) -> Sequence[Point]:
    """Return the corners of a symbol that has some [px]."""
    turns = ((math.radians(angle), size * far) for angle, far in _OUTLINES[name])
    return [(at[0] + r * math.cos(a), at[1] - r * math.sin(a)) for a, r in turns]


def draw_symbol(
    svg: Svg,
    at: Point,
    name: str,
    fill: str = INK,
    *,
    size: float = 5.5,
    rim: float = 1.6,
) -> None:
    """Draw a symbol of :data:`SYMBOLS`.

    Parameters
    ----------
    svg : Svg
    at : tuple of float
        Centre [px].
    name : str
    fill : str
        Colour inside.
    size : float
        About half its width [px].
    rim : float
        White around its outline, which keeps it apart from any ground [px].
    """
    both: tuple[Attributes, ...] = (
        {"fill": "#ffffff", "stroke": "#ffffff", "stroke-width": 1.3 + 2.0 * rim},
        {"fill": fill, "stroke": INK, "stroke-width": 1.3},
    )
    for paint in both:
        joined: Attributes = {**paint, "stroke-linejoin": "round"}
        if name == "circle":
            svg.element("circle", {"cx": at[0], "cy": at[1], "r": size, **joined})
        else:
            svg.path(moves(corners_of(name, at, size), closed=True), joined)
