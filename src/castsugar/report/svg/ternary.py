"""A quantity over all mixes of three ingredients, on one picture."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray, IntArray
from castsugar.report.svg.canvas import (
    INK,
    Point,
    Stroke,
    Svg,
    markup,
    moves,
    number,
    shortened,
    text_width,
)
from castsugar.report.svg.colour import (
    ABSENT,
    BINS,
    COLD,
    NOT_COMPUTED,
    bin_colour,
    define_hatch,
)
from castsugar.report.svg.contour import (
    Contours,
    contour_levels,
    decade_levels,
    draw_contours,
    lattice_triangles,
    level_labels,
)
from castsugar.report.svg.legend import (
    ColourBar,
    Key,
    draw_bar,
    draw_heading,
    draw_keys,
    draw_mark,
    draw_notes,
    halo_style,
)
from castsugar.report.svg.place import Box, Label, Taken, beside
from castsugar.report.svg.triangle import (
    HEIGHT,
    Frame,
    Shares,
    Sides,
    TernaryMap,
    check,
    constant_line,
    description,
    draw_grid,
    draw_sides,
    kinds_of,
    lattice_places,
    least_step,
    side_boxes,
    span_of,
    value_text,
)

# ----------------------------------------------------------------------------
# Hexagonal cells around lattice points, one path for each colour.


def hexagon(pitch: float) -> tuple[float, str]:
    """Return how a cell of a lattice is drawn from its upper corner.

    Parameters
    ----------
    pitch : float
        Distance of neighbouring lattice points [px].

    Returns
    -------
    tuple
        Distance of the upper corner from the centre [px]; relative path data.
    """
    radius = pitch / math.sqrt(3.0)
    x, y, side = number(0.5 * pitch), number(0.5 * radius), number(radius)
    return radius, f"l{x} {y}v{side}l-{x} {y}-{x}-{y}v-{side}z"


def cells_path(centres: FloatArray, pitch: float) -> str:
    """Return one path with a hexagon around each centre.

    Parameters
    ----------
    centres : ndarray, shape (n, 2)
        [px].
    pitch : float
        Distance of neighbours [px].
    """
    radius, shape = hexagon(pitch)
    rows: Iterable[tuple[float, float]] = centres.tolist()
    return "".join(f"M{number(x)} {number(y - radius)}{shape}" for x, y in rows)


def bins_of(values: FloatArray, low: float, high: float) -> IntArray:
    """Return the colour class of each finite value, 0 to BINS - 1.

    Examples
    --------
    >>> bins_of(np.array([1.0, 2.0, 3.0]), 1.0, 3.0).tolist()
    [0, 32, 63]
    """
    if high == low:
        return np.full(values.shape, BINS // 2, dtype=np.int64)
    share = (values - low) / (high - low)
    return np.asarray(np.clip(share * BINS, 0, BINS - 1).astype(np.int64))


def paths_by_bin(
    centres: FloatArray, bins: IntArray, pitch: float
) -> list[tuple[int, str]]:
    """Return (class, path) for each colour class that occurs, rising."""
    return [
        (int(index), cells_path(centres[bins == index], pitch))
        for index in np.unique(bins)
    ]


# ----------------------------------------------------------------------------
# Marks on a triangle: dot, name, guide lines to the sides.

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
            boxes.append(Box.around((x, y), 3.0))
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


# ----------------------------------------------------------------------------
# A quantity over all mixes of three ingredients, on one picture.

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
    marks = [Mark(label, frame.place(shares), shares) for label, shares in _held(spec)]
    contours = Contours(
        cells.centres,
        lattice_triangles(cells.places),
        cells.values,
        *_levels(spec, cells.values),
    )
    # Names keep clear of the guide lines too; values of contours need not.
    guides = draw_guides(svg, frame, marks[0]) if len(marks) == 1 else []
    dots = [Box.around(mark.at, 8.0) for mark in marks]
    names = Taken(frame.room(), [*dots, *side_boxes(frame), *guides])
    draw_names = place_marks(marks, names)
    values = Taken(frame.room(), [box for box in names.boxes if box not in guides])
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
