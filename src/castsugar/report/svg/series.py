"""What a line chart holds, and how a long record is thinned for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.report.svg.axes import padded, padded_decades

# ----------------------------------------------------------------------------
# What a line chart holds: series with bands, panels, stretches of the x axis.


@dataclass(frozen=True, slots=True)
class Series:
    """A line: name, values (NaN leaves a gap), optional band [unit of its panel].

    `width` is that of the line [px].
    """

    name: str
    values: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None
    width: float = field(default=2.4, kw_only=True)

    def edges(self) -> list[FloatArray]:
        """Return values, and the edges of the band if there is one."""
        return [v for v in (self.values, self.low, self.high) if v is not None]


@dataclass(frozen=True, slots=True)
class Points:
    """Dots beside the lines: name, places on both axes [units of the axes].

    `kin` is the place of the line in whose colour they are drawn.
    """

    name: str
    x: FloatArray
    y: FloatArray
    kin: int = 0


@dataclass(frozen=True, slots=True)
class Span:
    """A named stretch of the x axis, hatched; a line where both ends are equal."""

    name: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Event:
    """A named place on the x axis: a dashed line, its name above the panel."""

    name: str
    at: float


@dataclass(frozen=True, slots=True)
class Panel:
    """One y axis.

    Attributes
    ----------
    label, unit : str
    series : tuple of Series
    band : str
        What the bands mean.
    logarithmic : bool
        What is not above 0 then leaves a gap.
    ceiling : float
        Nothing above is drawn; bands end there.
    points : tuple of Points
    from_zero : bool
        Whether the axis starts at 0 (values are 0 or more then).
    spans : tuple of Span
        Stretches of the x axis to hatch in this panel only.
    events : tuple of Event
        Those beyond the x axis are left out.
    """

    label: str
    unit: str
    series: tuple[Series, ...]
    band: str = ""
    logarithmic: bool = False
    ceiling: float = np.inf
    points: tuple[Points, ...] = ()
    from_zero: bool = False
    spans: tuple[Span, ...] = ()
    events: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class LineChart:
    """One or more panels above one x axis.

    Parameters
    ----------
    title, x_label, x_unit : str
    x : ndarray, shape (n,)
        Rising, finite [`x_unit`].
    panels : tuple of Panel
        From top to bottom.
    spans : tuple of Span
        Stretches to hatch and name [`x_unit`].
    notes : tuple of str
        Lines below the picture.
    logarithmic : bool
        Whether the x axis is; x is above 0 then.
    names_at_ends : bool
        Whether names may stand at line ends; else they stand in a key.
    """

    title: str
    x_label: str
    x_unit: str
    x: FloatArray
    panels: tuple[Panel, ...]
    spans: tuple[Span, ...] = ()
    notes: tuple[str, ...] = ()
    logarithmic: bool = False
    names_at_ends: bool = True


def check(chart: LineChart) -> None:
    """Refuse what cannot be drawn.

    Raises
    ------
    InputError
        If x is empty, not finite or not rising, or a length does not fit.
    """
    x = chart.x
    if x.ndim != 1 or not x.size or not np.isfinite(x).all():
        raise InputError("the x values of a chart must be finite, one at least")
    if (np.diff(x) <= 0.0).any():
        raise InputError("the x values of a chart must rise")
    if chart.logarithmic and x[0] <= 0.0:
        raise InputError("the x values of a logarithmic axis must be above 0")
    if not chart.panels:
        raise InputError("a chart needs at least one panel")
    for series in (s for panel in chart.panels for s in panel.series):
        if any(edge.shape != x.shape for edge in series.edges()):
            raise InputError(
                f"series {series.name!r} has not as many values as there are x "
                f"({x.size})"
            )
        if (series.low is None) != (series.high is None):
            raise InputError(f"series {series.name!r} has half a band; give both edges")


def y_range(panel: Panel) -> tuple[float, float] | None:
    """Return the range of all finite values, padded; None if there are none."""
    edges = [edge for series in panel.series for edge in series.edges()]
    edges += [points.y for points in panel.points]
    joined = np.concatenate(edges) if edges else np.empty(0)
    finite = joined[np.isfinite(joined)]
    if panel.logarithmic:
        finite = finite[finite > 0.0]
    if not finite.size:
        return None
    widen = padded_decades if panel.logarithmic else padded
    low, high = widen(float(finite.min()), float(finite.max()))
    low = 0.0 if panel.from_zero else low
    return low, min(high, panel.ceiling) if panel.ceiling > low else high


def drawn(panel: Panel, values: FloatArray) -> FloatArray:
    """Return values as a line shows them: NaN where the panel does not reach."""
    hidden = values > panel.ceiling
    if panel.logarithmic:
        hidden |= ~(values > 0.0)
    return np.where(hidden, np.nan, values)


def held(panel: Panel, values: FloatArray) -> FloatArray:
    """Return the edge of a band, held inside what is drawn."""
    limits = y_range(panel) or (0.0, 1.0)
    low = limits[0] if panel.logarithmic else -np.inf
    return np.where(
        np.isnan(values), np.nan, np.clip(values, low, min(panel.ceiling, limits[1]))
    )


def runs(usable: Sequence[bool] | NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the unbroken stretches of what is usable, as (first, last + 1).

    Examples
    --------
    >>> runs([True, True, False, True])
    [(0, 2), (3, 4)]
    """
    flags = np.concatenate([[False], np.asarray(usable, dtype=bool), [False]])
    borders = np.flatnonzero(flags[1:] != flags[:-1])
    return [(int(a), int(b)) for a, b in borders.reshape(-1, 2)]


# ----------------------------------------------------------------------------
# Long records for a picture: lowest and highest value of every column of pixels.

#: Columns that a record is cut into; each gives two points.
COLUMNS = 400


def thinned(
    x: FloatArray, courses: Sequence[FloatArray], columns: int = COLUMNS
) -> tuple[FloatArray, list[FloatArray]]:
    """Return courses with at most two points a column, so that spikes stay.

    The points of a column are its lowest and its highest value, in the order in which
    they come; they stand at a quarter and at three quarters of it. Columns without a
    sample are left out, a course without any reading in a column leaves a gap there.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising.
    courses : sequence of ndarray, shape (n,)
        NaN is missing.
    columns : int

    Raises
    ------
    InputError
        A course that has not as many values as there are x.

    Examples
    --------
    >>> x = np.arange(6.0)
    >>> at, (course,) = thinned(x, [np.array([0.0, 9.0, 1.0, 1.0, -5.0, 2.0])], 2)
    >>> at.tolist(), course.tolist()
    ([0.625, 1.875, 3.125, 4.375], [0.0, 9.0, -5.0, 2.0])
    """
    if any(course.shape != x.shape for course in courses):
        raise InputError("each course needs one value for each x")
    if x.size <= 2 * columns:
        return x, list(courses)
    edges = np.linspace(x[0], x[-1], columns + 1)
    inner = np.searchsorted(x, edges[1:-1])
    first, stop = np.r_[0, inner], np.r_[inner, x.size]
    filled = stop > first
    first, stop = first[filled], stop[filled]
    left, right = edges[:-1][filled], edges[1:][filled]
    at = np.stack([0.75 * left + 0.25 * right, 0.25 * left + 0.75 * right], axis=1)
    return at.ravel(), [_envelope(course, first, stop) for course in courses]


def _envelope(
    values: FloatArray, first: NDArray[np.intp], stop: NDArray[np.intp]
) -> FloatArray:
    """Return lowest and highest value of each part, in the order they come."""
    found = np.full((len(first), 2), np.nan)
    for row, (a, b) in enumerate(zip(first, stop, strict=True)):
        part = values[a:b]
        known = np.isfinite(part)
        if known.any():
            low = int(np.argmin(np.where(known, part, np.inf)))
            high = int(np.argmax(np.where(known, part, -np.inf)))
            found[row] = part[[min(low, high), max(low, high)]]
    return found.ravel()
