"""Colours, symbols and hatches that survive colour blindness and photocopiers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from castsugar.errors import InputError
from castsugar.report.svg.canvas import INK, Attributes, Point, Svg, markup, moves

# ----------------------------------------------------------------------------
# Colours that survive colour blindness, photocopiers and print.

# Viridis (S. van der Walt and N. Smith, 2015, released as CC0) at eleven equal steps;
# lightness grows evenly from end to end, also for colour-blind eyes and in grey.
SEQUENCE = (
    "#440154", "#482475", "#414487", "#355f8d", "#2a788e", "#21918c",
    "#22a884", "#44bf70", "#7ad151", "#bddf26", "#fde725",
)  # fmt: skip

# Okabe and Ito, "Color Universal Design" (2008), yellow left out: too light on white.
LINES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#000000", "#56b4e9", "#e69f00")

#: The same family, darkened for small text: one for each ingredient of a triangle.
AXES = ("#00558a", "#9c3f00", "#00614a")

#: Dashes that tell lines apart without colour.
DASHES = (None, "9 4", "2 3", "9 3 2 3", "14 4", "5 2", "1 4")

#: Colours that a map may hold.
BINS = 64


def _channels(colour: str) -> tuple[int, int, int]:
    """Return red, green, blue of ``#rrggbb``, 0 to 255."""
    if len(colour) != 7 or not colour.startswith("#"):
        raise InputError(f"colour {colour!r} is not of the form #rrggbb")
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def sequential(share: float) -> str:
    """Return the colour at a share of the range, 0 (dark) to 1 (light); clipped.

    Examples
    --------
    >>> sequential(0.0), sequential(0.5), sequential(1.0)
    ('#440154', '#21918c', '#fde725')
    """
    place = min(max(share, 0.0), 1.0) * (len(SEQUENCE) - 1)
    index = min(int(place), len(SEQUENCE) - 2)
    low, high = _channels(SEQUENCE[index]), _channels(SEQUENCE[index + 1])
    part = place - index
    mixed = (round(a + part * (b - a)) for a, b in zip(low, high, strict=True))
    return "#" + "".join(f"{channel:02x}" for channel in mixed)


def bin_colour(index: int) -> str:
    """Return the colour of one of the :data:`BINS` classes, 0 the lowest."""
    return sequential(index / (BINS - 1))


# ----------------------------------------------------------------------------
# Symbols that differ by shape, so that colour is never needed; with a white rim.

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


# ----------------------------------------------------------------------------
# Hatches for what has no value: told apart by direction, density and ground.


@dataclass(frozen=True, slots=True)
class Hatch:
    """Parallel lines: ground and line colour, slope [degrees], distance, width [px]."""

    ground: str
    colour: str
    slope: float
    distance: float
    width: float
    opacity: float = 1.0


#: Sparse, rising to the right, on white.
NOT_COMPUTED = Hatch("#ffffff", "#8a8a8a", -45.0, 11.0, 1.3)
#: Dense, falling to the right, on grey.
COLD = Hatch("#d9d9d9", "#4a4a4a", 45.0, 4.5, 1.4)
#: Middling, level, on a warm ground.
ABSENT = Hatch("#f3e9dc", "#9a6a3a", 0.0, 7.0, 1.2)
#: For stretches of a chart, one after the other; the lines below stay visible.
SPANS = (
    Hatch("#f1e3c6", "#a67c1a", -45.0, 8.0, 1.1, 0.75),
    Hatch("#dbe6f0", "#557a9c", 45.0, 5.0, 1.0, 0.75),
    Hatch("#ebe0ea", "#8b5f86", 90.0, 6.5, 1.0, 0.75),
)


def define_hatch(svg: Svg, hatch: Hatch) -> str:
    """Define the pattern in the picture and return its fill, ``url(#...)``."""
    name = svg.new_id()
    ground: Attributes = {
        "width": hatch.distance,
        "height": hatch.distance,
        "fill": hatch.ground,
    }
    stripe: Attributes = {
        "width": hatch.distance,
        "height": hatch.width,
        "fill": hatch.colour,
    }
    frame: Attributes = {
        "id": name,
        "patternUnits": "userSpaceOnUse",
        "width": hatch.distance,
        "height": hatch.distance,
        "patternTransform": f"rotate({hatch.slope:g})",
        "opacity": None if hatch.opacity == 1.0 else hatch.opacity,
    }
    start = markup("pattern", frame).removesuffix("/>")
    inner = markup("rect", ground) + markup("rect", stripe)
    svg.define(f"{start}>{inner}</pattern>")
    return f"url(#{name})"
