"""Where mixes of three ingredients keep limits: a lattice, contours, areas."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.limits import Judgement, Limit, chances_of, judge
from castsugar.mix.blends import put_together

if TYPE_CHECKING:
    from castsugar.asked import Question

#: Mixes of a lattice at most, and steps that are tried. [%]
_MOST, _STEPS = 450, (0.25, 0.5, 1.0, 1.25, 1.5, 2.0, 2.5, 4.0, 5.0)

#: Distances to a limit are cut here, in its own size or in ln, so that a mix which jams
#: does not pull a contour away from its neighbours.
_FAR = 1.0

#: A line or an outline: pairs of per cent of the first and of the last ingredient.
Pairs = list[list[float]]

View = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Mixes on a regular grid of the first and the last of three ingredients."""

    #: (m,), (n,) [%]
    first: FloatArray
    last: FloatArray
    inside: NDArray[np.bool_]  # (m, n)
    shares: FloatArray  # of those inside, in order, (k, 3) [%]

    def lines(self, values: FloatArray) -> list[Pairs]:
        """Return where values of the mixes, (k,), are 0; NaN parts a line."""
        drawn = self._contours(values)
        return [] if drawn is None else [_pairs(one) for one in drawn.lines(0.0)]

    def areas(self, values: FloatArray) -> list[Pairs]:
        """Return where values are above 0; a hole is joined to its outline."""
        drawn, made = self._contours(values), []
        filled = ((), ()) if drawn is None else drawn.filled(0.0, math.inf)
        for points, offsets in zip(*filled, strict=True):
            ends = itertools.pairwise(offsets.tolist())
            outline, *holes = (points[start:stop] for start, stop in ends)
            joined = [outline]
            for hole in holes:
                joined += [hole, outline[:1]]
            made.append(_pairs(np.concatenate(joined)))
        return made

    def _contours(self, values: FloatArray) -> Any:
        """Return what makes contours; None of fewer mixes than a cell takes."""
        whole = np.full(self.inside.shape, np.nan)
        whole[self.inside] = values
        if min(whole.shape) < 2 or np.isnan(whole).all():
            return None
        from contourpy import FillType, LineType, contour_generator

        return contour_generator(
            x=self.last,
            y=self.first,
            z=np.ma.masked_invalid(whole),
            name="serial",
            corner_mask=True,
            line_type=LineType.Separate,
            fill_type=FillType.OuterOffset,
        )


def _pairs(points: FloatArray) -> Pairs:
    rounded: Pairs = np.round(np.asarray(points)[:, ::-1], 3).tolist()
    return rounded


def lattice(view: View, whole: float = 100.0, *, least: float = 0.0) -> Lattice:
    """Return the mixes of a view in the finest step that makes few enough.

    Parameters
    ----------
    view : three pairs of float
        Lowest and highest share of each ingredient. [%]
    whole : float
        What the three make together. [%]
    least : float
        Finest step. [%]
    """
    for step in _STEPS:
        found = _lattice(view, whole, max(step, least))
        if len(found.shares) <= _MOST:
            break
    return found


def _lattice(view: View, whole: float, step: float) -> Lattice:
    ends, (least, most), others = view
    first, last = (
        step * np.arange(math.ceil(low / step - 1e-9), high / step + 1e-9, dtype=float)
        for low, high in (ends, others)
    )
    one, other = np.meshgrid(first, last, indexing="ij")
    between = whole - one - other
    inside = (between > least - 1e-9) & (between < most + 1e-9)
    shares = np.stack((one, np.maximum(between, 0.0), other), axis=-1)[inside]
    return Lattice(first, last, inside, shares)


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """A lattice with the columns of its mixes and their verdicts."""

    lattice: Lattice
    columns: Mapping[str, Any]
    judged: tuple[Judgement, ...]

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Which mixes keep every limit, (k,); none where there is no limit."""
        every = [one.kept for one in self.judged]
        none = np.zeros(len(self.lattice.shares), dtype=bool)
        return np.logical_and.reduce(every) if every else none

    def best(
        self, column: str, sign: float, bounds: Iterable[tuple[float, float]]
    ) -> list[float] | None:
        """Return the shares that are best by a column, of those that keep every limit.

        `sign` is 1 for most, -1 for least; bounds of the shares in per cent.
        """
        low, high = np.transpose([*bounds])
        shares = self.lattice.shares
        inside = ((shares > low - 1e-9) & (shares < high + 1e-9)).all(axis=1)
        values = sign * np.asarray(self.columns.get(column, np.nan), dtype=float)
        values = np.where(self.kept & inside, values, np.nan)
        if np.isnan(values).all():
            return None
        best: list[float] = shares[int(np.nanargmax(values))].tolist()
        return best

    @property
    def distances(self) -> list[FloatArray]:
        """How far mixes are from each limit, above 0 inside; NaN not computed."""
        return [_distance(one) for one in self.judged]

    def pressed(self, allowed: float) -> tuple[FloatArray, FloatArray]:
        """Return where the expected peak, and where only its 95 % line, is too high.

        Above 0 inside, as the logarithm of pressure over what is allowed [MPa].
        """
        keys = ("peak_pressure_MPa", "peak_pressure_p95_MPa")
        with np.errstate(invalid="ignore", divide="ignore"):
            middle, high = (
                np.clip(np.log(np.asarray(self.columns[key]) / allowed), -_FAR, _FAR)
                for key in keys
            )
        return middle, np.minimum(high, -middle)


def survey(
    question: Question,
    limits: Sequence[Limit],
    found: Lattice,
    items: Sequence[str],
    others: Mapping[str, float],
) -> Survey:
    """Judge the mixes of a lattice of three items, without pour windows.

    `others` are shares of every mix beside these.
    """
    names = (*items, *others)
    fixed = np.tile([*others.values()], (len(found.shares), 1))
    mixes = put_together(
        names,
        np.hstack((found.shares / 100.0, fixed)),
        lots=question.lots_for(question.database, names),
        database=question.database,
    )
    ours = ~mixes.outside
    if ours.any() and not ours.all():  # fuel of some is none of ours
        inside = found.inside.copy()
        inside[inside] = ours
        left = replace(found, inside=inside, shares=found.shares[ours])
        return survey(question, limits, left, items, others)
    given = question.evaluate_options() | {"chances": chances_of(limits)}
    columns = evaluate_columns(mixes, windows=False, **given)
    return Survey(found, columns, judge(limits, columns))


def _distance(one: Judgement) -> FloatArray:
    limit, values = one.limit, one.values
    with np.errstate(invalid="ignore", divide="ignore"):
        if limit.logarithmic:
            found = limit.sign * (math.log(limit.value) - np.log(values))
        else:
            found = limit.slack(values) / (abs(limit.value) or 1.0)
    return np.clip(found, -_FAR, _FAR)
