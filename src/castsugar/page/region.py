"""The triangle of the page: its corners and view, and where mixes keep the limits."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.bench.world import World
from castsugar.columns import COLUMN
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate_columns
from castsugar.limits import PEAK, Judgement, judge
from castsugar.mix.blends import Blends, put_together
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import item_name
from castsugar.page.desk import _FIRST, Asked, base_of
from castsugar.page.state import BoxError
from castsugar.report import numbers
from castsugar.report.field import FIELDS

#: How far the view goes beyond the bounds. [%]
_WIDER = 5.0

#: Half width of bounds where the bench states none. [%]
_USUAL = 10.0

#: Mixes of a lattice at most, steps that are tried, and the step while a hand moves.
_MOST, _STEPS, _COARSE = 450, (0.25, 0.5, 1.0, 1.25, 1.5, 2.0, 2.5, 4.0, 5.0), 2.0

#: Distances to a limit are cut here, in its own size or in ln, so that a mix which jams
#: does not pull a contour away from its neighbours.
_FAR = 1.0

P95 = "peak_pressure_p95_MPa"

Pairs = list[list[float]]


@dataclass(frozen=True, slots=True)
class Triangle:
    """Three ingredients that a hand moves, with bounds in per cent of the mix.

    Attributes
    ----------
    corners : tuple of str
        Names as the bench types them.
    bounds : tuple of (float, float)
        [%]
    """

    corners: tuple[str, ...]
    bounds: tuple[tuple[float, float], ...]

    @property
    def view(self) -> tuple[tuple[float, float], ...]:
        """Bounds a little wider, within the triangle. [%]"""
        return tuple(
            (max(low - _WIDER, 0.0), min(high + _WIDER, 100.0))
            for low, high in self.bounds
        )

    def places(self, world: World, parts: Mapping[str, float]) -> list[float] | None:
        """Return shares at the corners [%]; None for a mix out of their plane."""
        own = [item_name(world.database, name) for name in self.corners]
        whole = math.fsum(parts.values())
        found = {item_name(world.database, n): x / whole for n, x in parts.items()}
        if any(x > 0.0 and name not in own for name, x in found.items()):
            return None
        return [round(100.0 * found.get(name, 0.0), 4) for name in own]


def triangle_of(world: World) -> Triangle:
    """Return the three ingredients with the widest bounds, else those of the base."""
    bounds = dict(_searched(world) or _around_base(world))
    known = {item_name(world.database, name) for name in bounds}
    for name, _ in parse_recipe(_FIRST).parts:
        if len(bounds) < 3 and item_name(world.database, name) not in known:
            bounds[name] = (0.0, 2.0 * _USUAL)
    wide = sorted(bounds, key=lambda name: bounds[name][0] - bounds[name][1])[:3]
    corners = tuple(name for name in bounds if name in wide)
    return Triangle(corners, tuple(bounds[name] for name in corners))


def _searched(world: World) -> dict[str, tuple[float, float]]:
    """Return the bounds of the search in per cent; of a slot its first ingredient."""
    search = world.bench.search or {}
    found = {}
    for name, share in (search.get("ingredients") or {}).items():
        low, high = share if isinstance(share, tuple) else (share, share)
        typed = (search.get("choices") or {}).get(name, (name,))[0]
        found[typed] = (100.0 * low, 100.0 * high)
    return found if len(found) > 2 else {}


def _around_base(world: World) -> dict[str, tuple[float, float]]:
    """Return bounds around the base mix, in per cent."""
    name = base_of(world)
    parts = parse_recipe(world.recipes[name] if name else _FIRST).parts
    whole = math.fsum(x for _, x in parts)
    shares = sorted(((100.0 * x / whole, name) for name, x in parts), reverse=True)
    return {
        name: (max(x - _USUAL, 0.0), min(x + _USUAL, 100.0)) for x, name in shares[:3]
    }


# ----------------------------------------------------------------------------
# The lattice of a view, and every limit over it.


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Mixes on a regular grid of first and last corner.

    Attributes
    ----------
    first, last : ndarray, shape (m,), (n,)
        [%]
    inside : ndarray of bool, shape (m, n)
    shares : ndarray, shape (k, 3)
        Of those inside, in order. [%]
    """

    first: FloatArray
    last: FloatArray
    inside: NDArray[np.bool_]
    shares: FloatArray

    def field(self, values: FloatArray) -> Any:
        """Return values of the mixes on the grid, what is outside or NaN masked."""
        whole = np.full(self.inside.shape, np.nan)
        whole[self.inside] = values
        return np.ma.masked_invalid(whole)


def lattice(triangle: Triangle, rest: float, *, coarse: bool) -> Lattice:
    """Return the mixes of a view; `rest` [%] is held by other ingredients."""
    for step in _STEPS:
        found = _lattice(triangle, 100.0 - rest, max(step, _COARSE * coarse))
        if len(found.shares) <= _MOST:
            break
    return found


def _lattice(triangle: Triangle, whole: float, step: float) -> Lattice:
    (low, high), (least, most), (down, up) = triangle.view
    first, last = (
        step * np.arange(math.ceil(a / step - 1e-9), b / step + 1e-9, dtype=float)
        for a, b in ((low, high), (down, up))
    )
    one, other = np.meshgrid(first, last, indexing="ij")
    between = whole - one - other
    inside = (between > least - 1e-9) & (between < most + 1e-9)
    shares = np.stack((one, np.maximum(between, 0.0), other), axis=-1)[inside]
    return Lattice(first, last, inside, shares)


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """A lattice with its columns and verdicts."""

    lattice: Lattice
    columns: Mapping[str, Any]
    judged: tuple[Judgement, ...]

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Which mixes keep every limit, (k,)."""
        count = len(self.lattice.shares)
        if not self.judged:
            return np.zeros(count, dtype=bool)
        return np.logical_and.reduce([one.kept for one in self.judged])


def survey(
    triangle: Triangle, asked: Asked, recipe: str, *, coarse: bool = False
) -> Surveyed:
    """Judge the mixes of a view, 256 draws each.

    Parameters
    ----------
    triangle : Triangle
    asked : Asked
    recipe : str
        What is not at a corner keeps its share of this mix.
    coarse : bool

    Raises
    ------
    BoxError
        For a mix that leaves nothing for the corners.
    """
    question, others = asked.few, _others(triangle, asked, recipe)
    found = lattice(triangle, 100.0 * sum(others.values()), coarse=coarse)
    if not len(found.shares):
        raise BoxError("parts", "no mix of the triangle holds so much of the others")
    try:
        found, mixes = _made(found, asked, (*triangle.corners, *others), others)
        given = question.evaluate_options() | {"chances": asked.chances}
        columns = evaluate_columns(mixes, windows=False, **given)
    except CastsugarError as error:
        raise BoxError("parts", " ".join(str(error).split())) from None
    return Surveyed(found, columns, judge(asked.limits, columns))


def _made(
    found: Lattice, asked: Asked, items: tuple[str, ...], others: Mapping[str, float]
) -> tuple[Lattice, Blends]:
    """Return a lattice as mixes, without those whose fuel is none of ours."""
    question = asked.question
    fixed = np.tile([*others.values()], (len(found.shares), 1))
    mixes = put_together(
        items,
        np.hstack((found.shares / 100.0, fixed)),
        lots=question.lots_for(question.database, items),
        database=question.database,
    )
    ours = ~mixes.outside
    if ours.all() or not ours.any():
        return found, mixes
    inside = found.inside.copy()
    inside[inside] = ours
    left = replace(found, inside=inside, shares=found.shares[ours])
    return _made(left, asked, items, others)


def _others(triangle: Triangle, asked: Asked, recipe: str) -> dict[str, float]:
    """Return the ingredients that stand at no corner, as shares of the mix."""
    question = asked.question
    bench, database = question.shelf.bench, question.database
    parts = parse_recipe(bench.recipe_text(recipe) if bench else recipe).parts
    own = {item_name(database, name) for name in triangle.corners}
    whole = math.fsum(x for _, x in parts)
    return {n: x / whole for n, x in parts if x and item_name(database, n) not in own}


# ----------------------------------------------------------------------------
# Contours and polygons: what is drawn.


def region(triangle: Triangle, found: Surveyed, asked: Asked) -> dict[str, Any]:
    """Return lines of the limits, areas, the best mix and one sentence.

    Points are pairs of per cent of the first and of the last corner.
    """
    fields = [_distance(one) for one in found.judged]
    whole = [np.minimum.reduce(fields)] if fields else []
    above, unknown = _pressed(found.columns, asked)
    return {
        "corners": [triangle.corners[0], triangle.corners[2]],
        "limits": [
            {
                "key": one.limit.key,
                "label": FIELDS[one.limit.key].label,
                "lines": lines(found.lattice, field),
            }
            for one, field in zip(found.judged, fields, strict=True)
        ],
        "kept": [p for one in whole for p in polygons(found.lattice, one)],
        "above": [] if above is None else polygons(found.lattice, above),
        "unknown": [] if unknown is None else polygons(found.lattice, unknown),
        "best": _best(found, asked),
        "words": _words(found, above, unknown),
    }


def _distance(one: Judgement) -> FloatArray:
    """Return how far mixes are from a limit, above 0 inside; NaN not computed."""
    limit, values = one.limit, one.values
    with np.errstate(invalid="ignore", divide="ignore"):
        if limit.logarithmic:
            found = limit.sign * (math.log(limit.value) - np.log(values))
        else:
            found = limit.slack(values) / (abs(limit.value) or 1.0)
    return np.clip(found, -_FAR, _FAR)


def _pressed(
    columns: Mapping[str, Any], asked: Asked
) -> tuple[FloatArray | None, FloatArray | None]:
    """Return where the expected peak, and where only its 95 % line, is too high.

    Above 0 inside, as the logarithm of pressure over what the case may hold; None
    where no pressure is allowed by case or limit.
    """
    allowed = asked.allowable
    if not math.isfinite(allowed):
        own = [x.value for x in asked.limits if x.key in (PEAK, P95) and x.sign > 0]
        allowed = min(own, default=math.nan)
    if not math.isfinite(allowed) or asked.question.motor is None:
        return None, None
    with np.errstate(invalid="ignore", divide="ignore"):
        middle, high = (
            np.clip(np.log(np.asarray(columns[key], dtype=float) / allowed), -1, 1)
            for key in (PEAK, P95)
        )
    return middle, np.minimum(high, -middle)


def lines(found: Lattice, values: FloatArray) -> list[Pairs]:
    """Return the contour at 0, as lines of pairs."""
    drawn = _contours(found, values)
    return [] if drawn is None else [_pairs(one) for one in drawn.lines(0.0)]


def polygons(found: Lattice, values: FloatArray) -> list[Pairs]:
    """Return where values are above 0; a hole is joined to its outline by a line."""
    drawn = _contours(found, values)
    if drawn is None:
        return []
    made = []
    for points, offsets in zip(*drawn.filled(0.0, math.inf), strict=True):
        ends = offsets.tolist()
        rings = [points[a:b] for a, b in itertools.pairwise(ends)]
        back = [rings[0][:1]] * (len(rings) - 1)
        joined = [
            rings[0],
            *(x for pair in zip(rings[1:], back, strict=True) for x in pair),
        ]
        made.append(_pairs(np.concatenate(joined)))
    return made


def _contours(found: Lattice, values: FloatArray) -> Any:
    """Return what makes contours of values on the grid; None of fewer than a cell."""
    field = found.field(values)
    if min(field.shape) < 2 or field.mask.all():
        return None
    from contourpy import FillType, LineType, contour_generator

    return contour_generator(
        x=found.last,
        y=found.first,
        z=field,
        name="serial",
        corner_mask=True,
        line_type=LineType.Separate,
        fill_type=FillType.OuterOffset,
    )


def _pairs(points: FloatArray) -> Pairs:
    """Return pairs of first and last corner."""
    rounded: Pairs = np.round(np.asarray(points)[:, ::-1], 3).tolist()
    return rounded


def goal_of(asked: Asked) -> tuple[str, float]:
    """Return the column that is best when most (1) or least (-1)."""
    bench = asked.question.shelf.bench
    search = (bench.search if bench else None) or {}
    for key, sign in (("maximise", 1.0), ("minimise", -1.0)):
        if search.get(key) in COLUMN:
            return str(search[key]), sign
    return "density_impulse_kg_s_m3", 1.0


def _best(found: Surveyed, asked: Asked) -> list[float] | None:
    """Return the mix of the lattice that keeps every limit and is best by the goal."""
    column, sign = goal_of(asked)
    values = sign * np.asarray(found.columns.get(column, np.nan), dtype=float)
    values = np.where(found.kept, values, np.nan)
    if np.isnan(values).all():
        return None
    shares: list[float] = found.lattice.shares[int(np.nanargmax(values))].tolist()
    return shares


def _words(
    found: Surveyed, above: FloatArray | None, unknown: FloatArray | None
) -> str:
    """Say in one sentence what the areas hold."""
    count = len(found.lattice.shares)
    kept = int(found.kept.sum())
    told = [f"{numbers.count(count, 'mix', 'mixes')} shown: {kept} keep all limits"]
    if above is not None and unknown is not None:
        told.append(f"of {int((above > 0).sum())} the expected peak is above the case")
        told.append(
            f"{int((unknown > 0).sum())} are not known well enough: burn strands there"
        )
    if not found.judged:
        told = [f"{count} mixes shown; the bench states no limits"]
    gone = [one for one in found.judged if np.isnan(one.values).all()]
    told += [f"{one.limit.key} is not computed: {one.reasons[0]}" for one in gone]
    return "; ".join(told) + "."
