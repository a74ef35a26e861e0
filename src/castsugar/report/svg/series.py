"""What a line chart holds: series with bands, panels, stretches of the x axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.errors import InputError
from castsugar.report.svg.axes import padded

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Series:
    """A line: name, values (NaN leaves a gap), optional band [unit of its panel]."""

    name: str
    values: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None

    def edges(self) -> list[FloatArray]:
        """Return values, and the edges of the band if there is one."""
        return [v for v in (self.values, self.low, self.high) if v is not None]


@dataclass(frozen=True, slots=True)
class Panel:
    """One y axis: label, unit, its series; `band` says what the bands mean."""

    label: str
    unit: str
    series: tuple[Series, ...]
    band: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """A named stretch of the x axis, hatched; a line where both ends are equal."""

    name: str
    low: float
    high: float


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
    """

    title: str
    x_label: str
    x_unit: str
    x: FloatArray
    panels: tuple[Panel, ...]
    spans: tuple[Span, ...] = ()
    notes: tuple[str, ...] = ()


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
    joined = np.concatenate(edges) if edges else np.empty(0)
    finite = joined[np.isfinite(joined)]
    return padded(float(finite.min()), float(finite.max())) if finite.size else None


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
