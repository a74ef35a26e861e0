"""Hatches for what has no value: told apart by direction, density and ground."""

from __future__ import annotations

from dataclasses import dataclass

from castsugar.report.svg.canvas import Attributes, Svg, markup


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
