"""A quantity over all mixes of three ingredients, on one picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.canvas import Stroke, Svg, markup, moves
from castsugar.report.svg.cells import bins_of, cells_path, paths_by_bin
from castsugar.report.svg.colour import bin_colour
from castsugar.report.svg.contour import (
    contour_levels,
    decade_levels,
    lattice_triangles,
)
from castsugar.report.svg.hatch import ABSENT, COLD, NOT_COMPUTED, define_hatch
from castsugar.report.svg.isolines import Contours, draw_contours, level_labels
from castsugar.report.svg.legend import (
    ColourBar,
    Key,
    draw_bar,
    draw_heading,
    draw_keys,
    draw_notes,
)
from castsugar.report.svg.marks import Mark, draw_guides, mark_words, place_marks
from castsugar.report.svg.place import Box, Taken
from castsugar.report.svg.sides import Sides, draw_grid, draw_sides, side_boxes
from castsugar.report.svg.spec import (
    TernaryMap,
    check,
    description,
    kinds_of,
    value_text,
)
from castsugar.report.svg.triangle import (
    HEIGHT,
    Frame,
    Shares,
    lattice_places,
    least_step,
    span_of,
)

_WIDTH, _LEFT, _SIDE = 600.0, 65.0, 470.0
_MARGIN = 24.0
_HATCHES = {
    "not computed": (NOT_COMPUTED, "not computed"),
    "cold": (COLD, "does not burn by this model"),
    "absent": (ABSENT, ""),
}


@dataclass(frozen=True, slots=True)
class _Cells:
    """The lattice of a map: centres, coordinates, distance [px], values, kinds."""

    frame: Frame
    centres: FloatArray
    places: IntArray
    pitch: float
    values: FloatArray
    kind: NDArray[np.str_]

    @property
    def shown(self) -> FloatArray:
        """Return the values that are shown."""
        return np.asarray(self.values[self.kind == "ok"], dtype=np.float64)


def ternary_map(spec: TernaryMap) -> str:
    """Draw a map of three ingredients.

    Parameters
    ----------
    spec : TernaryMap

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        If shapes, kinds or lattice do not fit.
    """
    check(spec)
    svg = Svg(_WIDTH, 0.0, spec.title, description(spec))
    unit = f" [{spec.unit}]" if spec.unit else ""
    lines = [f"{spec.quantity}{unit}", spec.fixed]
    top = draw_heading(svg, spec.title, [text for text in lines if text], _MARGIN)
    frame = _frame(spec, top + 62.0)
    cells = _cells(spec, frame)
    keys = _draw_cells(svg, spec, cells)
    draw_grid(svg, frame, spec.total)
    _draw_over(svg, spec, cells)
    draw_sides(svg, frame, Sides(spec.corners, spec.total))
    svg.height = _draw_below(svg, spec, cells, keys)
    return svg.to_text()


def _frame(spec: TernaryMap, top: float) -> Frame:
    """Return the triangle whose top corner lies at `top` [px]."""
    low, span = span_of(spec.fractions, least_step(spec.fractions))
    return Frame(low, span, _LEFT, top + HEIGHT * _SIDE, _SIDE)


def _cells(spec: TernaryMap, frame: Frame) -> _Cells:
    """Return the lattice as it lies on the page."""
    step = least_step(spec.fractions)
    kind = kinds_of(spec)
    return _Cells(
        frame=frame,
        centres=frame.places(spec.fractions),
        places=lattice_places(spec.fractions, frame.low, step),
        pitch=frame.side * step / frame.span,
        values=_scaled(spec, np.where(kind == "ok", spec.values, np.nan)),
        kind=kind,
    )


def _scaled(spec: TernaryMap, values: FloatArray) -> FloatArray:
    """Return values as they are coloured."""
    if not spec.logarithmic:
        return values
    return np.log10(values)


def _levels(
    spec: TernaryMap, values: FloatArray
) -> tuple[tuple[float, ...], tuple[str, ...]]:
    """Return the levels of the contours, and what is written on them."""
    if spec.logarithmic:
        levels = decade_levels(values)
        return levels, tuple(f"{round(10.0**level, 9):g}" for level in levels)
    levels = contour_levels(values)
    return levels, level_labels(levels, spec.decimals)


def _draw_cells(svg: Svg, spec: TernaryMap, cells: _Cells) -> list[Key]:
    """Draw the cells, cut along the outline; return the keys of the hatches."""
    name = svg.new_id()
    start = markup("clipPath", {"id": name}).removesuffix("/>")
    outline = moves(cells.frame.corners(), closed=True)
    svg.define(f"{start}>{markup('path', {'d': outline})}</clipPath>")
    keys = []
    with svg.group({"clip-path": f"url(#{name})"}):
        _draw_coloured(svg, cells)
        for kind, (hatch, words) in _HATCHES.items():
            chosen = cells.centres[cells.kind == kind]
            if len(chosen):
                paint = define_hatch(svg, hatch)
                svg.path(cells_path(chosen, cells.pitch), {"fill": paint})
                keys.append(Key("fill", paint, words or spec.absent))
    svg.path(outline, Stroke(width=1.6).attributes())
    return keys


def _draw_coloured(svg: Svg, cells: _Cells) -> None:
    """Draw the cells that have a value, one path for each colour."""
    chosen = cells.kind == "ok"
    values = cells.values[chosen]
    if not values.size:
        return
    bins = bins_of(values, float(values.min()), float(values.max()))
    for index, data in paths_by_bin(cells.centres[chosen], bins, cells.pitch):
        colour = bin_colour(index)
        # The thin stroke closes the seams between neighbours.
        svg.path(data, {"fill": colour, "stroke": colour, "stroke-width": 0.5})


def _draw_over(svg: Svg, spec: TernaryMap, cells: _Cells) -> None:
    """Draw contours and marks; labels keep clear of each other."""
    frame = cells.frame
    top, left, right = frame.corners()
    area = Box(left[0] - 40.0, top[1] - 10.0, right[0] + 30.0, frame.base)
    marks = [Mark(label, frame.place(shares), shares) for label, shares in _held(spec)]
    contours = Contours(
        cells.centres,
        lattice_triangles(cells.places),
        cells.values,
        *_levels(spec, cells.values),
    )
    # Names keep clear of the guide lines too; values of contours need not.
    guides = draw_guides(svg, frame, marks[0]) if len(marks) == 1 else []
    dots = [
        Box(m.at[0] - 8.0, m.at[1] - 8.0, m.at[0] + 8.0, m.at[1] + 8.0) for m in marks
    ]
    names = Taken(area, [*dots, *side_boxes(frame), *guides])
    draw_names = place_marks(marks, names)
    values = Taken(area, [box for box in names.boxes if box not in guides])
    draw_contours(svg, contours, values)
    draw_names(svg)


def _held(spec: TernaryMap) -> list[tuple[str, Shares]]:
    """Return the marks that lie on the picture."""
    frame = _frame(spec, 0.0)
    return [(label, shares) for label, shares in spec.marks if frame.holds(shares)]


def _draw_below(
    svg: Svg, spec: TernaryMap, cells: _Cells, hatches: Sequence[Key]
) -> float:
    """Draw colour bar, keys and notes; return the height of the picture [px]."""
    y = cells.frame.base + 104.0
    width = svg.width - 2.0 * _MARGIN
    shown = cells.shown
    if shown.size:
        y = draw_bar(svg, _bar(spec, shown), _MARGIN, y, width) + 10.0
    held = {label for label, _ in _held(spec)}
    keys = list(hatches)
    for label, shares in spec.marks:
        percents = tuple(100.0 * spec.total * share for share in shares)
        words = mark_words(label, spec.corners, percents)
        outside = "" if label in held else " (outside the picture)"
        keys.append(Key("mark", "", words + outside))
    y = draw_keys(svg, keys, _MARGIN, y, width)
    notes = ["Sides: percent of the whole mix by mass; read along the tilt of a tick."]
    return draw_notes(svg, [*notes, *spec.notes], _MARGIN, y) + 8.0


def _bar(spec: TernaryMap, shown: FloatArray) -> ColourBar:
    """Return the colour bar, its ticks at the contours."""
    low, high = float(shown.min()), float(shown.max())
    lowest, highest = (10.0**v if spec.logarithmic else v for v in (low, high))
    ends = (
        f"lowest {value_text(spec, lowest)}",
        f"highest {value_text(spec, highest)}",
    )
    levels, labels = _levels(spec, shown)
    return ColourBar(low, high, levels, labels, ends)
