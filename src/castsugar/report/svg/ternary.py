"""A quantity over all mixes of three ingredients, on one picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.errors import InputError
from castsugar.report.svg.axes import nice_step
from castsugar.report.svg.canvas import Stroke, Svg, markup, moves, number
from castsugar.report.svg.cells import bins_of, cells_path, paths_by_bin
from castsugar.report.svg.colour import bin_colour
from castsugar.report.svg.contour import contour_levels, lattice_triangles
from castsugar.report.svg.hatch import COLD, NOT_COMPUTED, define_hatch
from castsugar.report.svg.isolines import Contours, draw_contours
from castsugar.report.svg.legend import (
    ColourBar,
    Key,
    draw_bar,
    draw_heading,
    draw_keys,
    draw_notes,
)
from castsugar.report.svg.marks import Mark, draw_guides, draw_marks, mark_words
from castsugar.report.svg.place import Box, Taken
from castsugar.report.svg.sides import Sides, draw_grid, draw_sides
from castsugar.report.svg.triangle import (
    HEIGHT,
    Frame,
    Shares,
    lattice_places,
    least_step,
    span_of,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: What a cell may be.
KINDS = ("ok", "not computed", "cold")

_WIDTH, _LEFT, _SIDE = 640.0, 70.0, 500.0
_MARGIN = 24.0
_HATCHES = {
    "not computed": (NOT_COMPUTED, "not computed"),
    "cold": (COLD, "does not burn by this model"),
}


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
        "ok", "not computed" or "cold"; "ok" without a value counts as not computed.
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
        return self.values[self.kind == "ok"]


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
    _check(spec)
    svg = Svg(_WIDTH, 0.0, spec.title, _description(spec))
    unit = f" [{spec.unit}]" if spec.unit else ""
    lines = [f"{spec.quantity}{unit}", spec.fixed]
    top = draw_heading(svg, spec.title, [text for text in lines if text], _MARGIN)
    frame = _frame(spec, top + 62.0)
    cells = _cells(spec, frame)
    keys = _draw_cells(svg, cells)
    draw_grid(svg, frame, spec.total)
    _draw_over(svg, spec, cells)
    draw_sides(svg, frame, Sides(spec.corners, spec.total))
    svg.height = _draw_below(svg, spec, cells, keys)
    return svg.to_text()


def _check(spec: TernaryMap) -> None:
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


def _kinds(spec: TernaryMap) -> NDArray[np.str_]:
    """Return the kinds, "ok" without a value turned into "not computed"."""
    kind = np.array(spec.kind, dtype=np.str_).astype("U12")
    kind[(kind == "ok") & ~np.isfinite(spec.values)] = "not computed"
    return kind


def _frame(spec: TernaryMap, top: float) -> Frame:
    """Return the triangle whose top corner lies at `top` [px]."""
    low, span = span_of(spec.fractions, least_step(spec.fractions))
    return Frame(low, span, _LEFT, top + HEIGHT * _SIDE, _SIDE)


def _cells(spec: TernaryMap, frame: Frame) -> _Cells:
    """Return the lattice as it lies on the page."""
    step = least_step(spec.fractions)
    kind = _kinds(spec)
    return _Cells(
        frame=frame,
        centres=frame.places(spec.fractions),
        places=lattice_places(spec.fractions, frame.low, step),
        pitch=frame.side * step / frame.span,
        values=np.where(kind == "ok", spec.values, np.nan),
        kind=kind,
    )


def _draw_cells(svg: Svg, cells: _Cells) -> list[Key]:
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
                keys.append(Key("fill", paint, words))
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
    taken = Taken(Box(left[0] - 40.0, top[1] - 10.0, right[0] + 40.0, frame.base))
    marks = [Mark(label, frame.place(shares), shares) for label, shares in _held(spec)]
    contours = Contours(
        cells.centres,
        lattice_triangles(cells.places),
        cells.values,
        contour_levels(cells.values),
        spec.decimals,
    )
    if len(marks) == 1:
        draw_guides(svg, frame, marks[0])
    for mark in marks:
        x, y = mark.at
        taken.add([Box(x - 8.0, y - 8.0, x + 8.0, y + 8.0)])
    later = draw_marks(marks, taken)
    draw_contours(svg, contours, taken)
    later(svg)


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
        words = mark_words(label, shares, spec.total)
        outside = "" if label in held else " (outside the picture)"
        keys.append(Key("mark", "", words + outside))
    y = draw_keys(svg, keys, _MARGIN, y, width)
    notes = ["Sides: percent of the whole mix by mass; read along the tilt of a tick."]
    return draw_notes(svg, [*notes, *spec.notes], _MARGIN, y) + 8.0


def _bar(spec: TernaryMap, shown: FloatArray) -> ColourBar:
    """Return the colour bar, its ticks at the contours."""
    low, high = float(shown.min()), float(shown.max())
    step = nice_step(high - low, 8) if high > low else None
    ends = (f"lowest {_value(spec, low)}", f"highest {_value(spec, high)}")
    return ColourBar(low, high, contour_levels(shown), step, ends)


def _value(spec: TernaryMap, value: float) -> str:
    """Return a value with its unit."""
    digits = spec.decimals
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return f"{text} {spec.unit}".rstrip()


def _description(spec: TernaryMap) -> str:
    """Say in words what the picture shows."""
    kind = _kinds(spec)
    shown = spec.values[kind == "ok"]
    counts = ", ".join(f"{(kind == word).sum()} {word}" for word in KINDS)
    text = f"{spec.quantity} of mixes of {', '.join(spec.corners)}; cells: {counts}."
    if shown.size:
        low, high = _value(spec, float(shown.min())), _value(spec, float(shown.max()))
        text += f" Values from {low} to {high}."
    share = number(100.0 * spec.total)
    return f"{text} The three make up {share} % of the whole mix."
