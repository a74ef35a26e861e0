"""The ground of a map of a search: shades, hatched where a limit is broken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.optimize.plane import Plane
from castsugar.report.search_words import field_of
from castsugar.report.shown import Shown
from castsugar.report.svg.canvas import INK, SOFT, Attributes, Stroke, Svg, moves
from castsugar.report.svg.colour import (
    BINS,
    NOT_COMPUTED,
    Hatch,
    bin_colour,
    define_hatch,
)
from castsugar.report.svg.contour import contour_levels, lattice_triangles, polylines
from castsugar.report.svg.legend import Key
from castsugar.report.svg.patches import between, cut, inside, patches_of, path_of
from castsugar.report.svg.triangle import Frame, lattice_places

#: Ground of the triangle beside the space.
_BESIDE = "#ecece8"

#: Colours where a limit is broken are so strong, under a hatch.
_FADED = 0.4
_BROKEN = Hatch("none", "#3c3c3c", 45.0, 7.0, 0.9, 0.75)

#: Bands of colour between two lines of equal value.
_PARTS = 2


@dataclass(frozen=True, slots=True)
class Ground:
    """The lattice as it lies on the page.

    Attributes
    ----------
    points : ndarray, shape (n, 2)
        [px]
    triangles : ndarray of int, shape (m, 3)
    objective : ndarray, shape (n,)
    levels : tuple of float
    outline : ndarray, shape (q, 2)
        Of the space [px].
    held : ndarray of bool, shape (n,)
        Whether a point is in the space.
    """

    frame: Frame
    points: FloatArray
    triangles: NDArray[np.int64]
    objective: FloatArray
    levels: tuple[float, ...]
    outline: FloatArray
    held: BoolArray

    @property
    def range(self) -> tuple[float, float] | None:
        """Return lowest and highest objective in the space; None if there is none."""
        known = self.objective[self.held & np.isfinite(self.objective)]
        return (float(known.min()), float(known.max())) if known.size else None

    def lines(self, values: FloatArray, level: float) -> list[FloatArray]:
        """Return the lines of a level inside the space [px]."""
        found = polylines(self.points, self.triangles, values, level)
        return [part for line in found for part in inside(line, self.outline)]


def ground_of(made: Plane, frame: Frame, objective: str, show: Shown) -> Ground:
    """Return the lattice on the page, the objective in units shown."""
    kind = field_of(objective).kind
    known = made.values[:, made.columns.index(objective)]
    values = np.array([show.number(kind, value) for value in known])
    held = np.asarray((made.rows >= 0.0).all(axis=1))
    return Ground(
        frame=frame,
        points=frame.places(made.shares),
        triangles=lattice_triangles(lattice_places(made.shares, made.low, made.step)),
        objective=values,
        levels=contour_levels(values[held]),
        outline=frame.places(made.outline),
        held=held,
    )


def draw_ground(
    svg: Svg, made: Plane, ground: Ground, span: str = "the bounds of the search"
) -> list[Key]:
    """Draw shades, faded and hatched where a limit is broken; return the keys.

    `span` says what the space of the mixes is called.
    """
    svg.path(moves(ground.frame.corners(), closed=True), {"fill": _BESIDE})
    fields = np.column_stack([ground.objective, made.limits, made.rows])
    shown = patches_of(ground.points, fields, ground.triangles)
    limits = range(1, 1 + made.limits.shape[1])
    for field in range(limits.stop, fields.shape[1]):
        if fields[:, field].min() < 0.0:
            shown = cut(shown, field, 1.0)
    outline = moves(ground.outline.tolist(), closed=True)
    keys: list[Key] = []
    if not np.isfinite(fields[ground.held]).all():
        paint = define_hatch(svg, NOT_COMPUTED)
        svg.path(outline, {"fill": paint})
        keys.append(Key("fill", paint, "not computed"))
    clear = shown
    for field in limits:
        clear = cut(clear, field, 1.0)
    if limits:
        with svg.group({"opacity": _FADED}):
            _draw_bands(svg, shown, ground)
        paint = define_hatch(svg, _BROKEN)
        svg.path(path_of(shown) if keys else outline, {"fill": paint})
        keys.append(Key("fill", bin_colour(BINS // 2), "clear: all limits are kept"))
        keys.append(Key("fill", paint, "hatched: a limit is broken"))
    _draw_bands(svg, clear, ground)
    svg.path(outline, Stroke(INK, 1.6).attributes())
    svg.path(moves(ground.frame.corners(), closed=True), Stroke(SOFT).attributes())
    return [*keys, Key("fill", _BESIDE, f"outside {span}")]


def _draw_bands(svg: Svg, patches: list[FloatArray], ground: Ground) -> None:
    """Fill patches with the colours of the objective."""
    ends = ground.range
    if ends is None:
        return
    low, high = ends
    count = _PARTS * (len(ground.levels) + 1)
    cuts = np.linspace(low, high, count + 1)[1:-1] if high > low else np.empty(0)
    for index, part in enumerate(between(patches, 0, cuts.tolist())):
        if part:
            colour = bin_colour(round((index + 0.5) / (len(cuts) + 1) * (BINS - 1)))
            fill: Attributes = {"fill": colour, "stroke": colour, "stroke-width": 0.6}
            svg.path(path_of(part), fill)
