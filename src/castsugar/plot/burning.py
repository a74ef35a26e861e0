"""Strands that were burned, their laws, and what firings say beside them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.strands import MixResult, Strand, StrandResults
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.plot.style import (
    DASHES,
    INK,
    LINES,
    MARKS,
    PAPER,
    RED,
    SOFT,
    Box,
    band,
    dress,
    label_points,
    logarithmic,
    new_axes,
)
from castsugar.report import numbers
from castsugar.report.burnrate import is_misfit, missed, mix_name
from castsugar.report.shown import SI, Shown
from castsugar.report.strand_rows import LEVEL, Asked, fitted_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_POINTS = 120

#: How far the axes go beyond the data, and how far they follow a wide band. [1]
_ROOM, _MOST = 1.15, 2.0

#: Edges of the band of one more strand.
_DOTS = (0, (1.5, 2.0))

#: What the key says beside the mixes.
_INNER, _OUTER = "solid edges: the law, 95 %", "dotted edges: one more strand, 95 %"
_FIRED, _ODD = "star: mean rate in a firing", "ring: the law misses it, look again"


def strands(
    results: StrandResults,
    *,
    fired: Mapping[str, FloatArray] | None = None,
    ax: Axes | None = None,
    units: str = SI,
) -> Axes:
    """Draw the burning rate of strands against pressure, with their laws.

    Both axes are logarithmic: a power law is a straight line. A law is drawn inside the
    tested pressures only, with the 95 % bands of where it lies and of where one more
    strand will lie; strands at one pressure have both as bars. Rings go around strands
    that a law misses: look at these lines of the file again.

    Parameters
    ----------
    results : StrandResults
        Of :func:`castsugar.strands.analyse`.
    fired : mapping of str to ndarray, shape (n, 2), optional
        Mix to mean pressures and rates of its firings. [Pa], [m/s]
    ax : matplotlib.axes.Axes, optional
        New ones by default.
    units : str
        "si" or "us".

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    InputError
        Firings of a mix that has no strands here, or not rows of two.
    UnknownNameError
        For other units.

    Examples
    --------
    >>> from castsugar.strands import Strand, analyse
    >>> times = {1e6: 9.9, 2e6: 8.1, 4e6: 6.5, 7e6: 5.6}
    >>> burned = [Strand(length=0.05, time=t, pressure=p) for p, t in times.items()]
    >>> axes = strands(analyse(burned))
    >>> axes.get_xlabel()
    'pressure, absolute, MPa'
    """
    show, fired = Shown(units), _checked(results, fired or {})
    axes = ax if ax is not None else new_axes()
    dress(
        axes,
        show.headed("burning rate", "rate"),
        x=show.headed("pressure, absolute", "pressure"),
        grid="both",
    )
    for k, one in enumerate(results.mixes):
        ink, turn = LINES[k % len(LINES)], (k + k // len(LINES)) % len(LINES)
        mark, dashes = MARKS[turn], DASHES[turn]
        _law(axes, one, show, ink, dashes)
        dashes = dashes if one.law is not None else ""
        style: dict[str, Any] = {"color": ink, "linestyle": dashes, "marker": mark}
        axes.plot([], [], mfc=PAPER, label=mix_name(one), **style)
        at = _shown(show, one.pressure, one.rate)
        axes.plot(*at, mark, color=ink, mfc=PAPER, markersize=5.5, label="_strands")
        if one.mix in fired:
            at = _shown(show, *fired[one.mix].T)
            style = {"color": ink, "markeredgecolor": INK, "markersize": 11.0}
            axes.plot(*at, "*", label="_firings", **style)
    if any(fitted_of(one, one.pressure[0])[1] for one in results.mixes):
        axes.plot([], [], color=SOFT, linewidth=0.7, label=_INNER)
        axes.plot([], [], color=SOFT, linestyle=_DOTS, label=_OUTER)
    if fired:
        axes.plot([], [], "*", color=SOFT, markersize=10.0, label=_FIRED)
    _limit(axes)
    _ring(axes, results, show)
    return axes


def _checked(
    results: StrandResults, fired: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return points of firings, in the order of the mixes."""
    known = [one.mix for one in results.mixes]
    for mix, points in fired.items():
        if mix not in known:
            raise InputError(f"firings of {mix!r}: no strands of it here; {known}")
        if np.ndim(points) != 2 or np.shape(points)[1] != 2:
            raise InputError(
                f"firings of {mix!r}: shape {np.shape(points)}; give rows of a "
                "pressure [Pa] and a rate [m/s]"
            )
    return {mix: np.asarray(fired[mix], float) for mix in known if mix in fired}


def _shown(
    show: Shown, pressure: FloatArray, rate: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return pressures [Pa] and rates [m/s] in the units shown."""
    x: Any = show.number("pressure", 1e-6 * pressure)  # type: ignore[arg-type]
    y: Any = show.number("rate", 1e3 * rate)  # type: ignore[arg-type]
    return np.asarray(x), np.asarray(y)


def _law(axes: Axes, one: MixResult, show: Shown, ink: str, dashes: Any) -> None:
    """Draw the law of a mix with both bands, or both as bars at its one pressure."""
    if one.law is None or one.fit is None:
        _, *bars = fitted_of(one, one.pressure[0])
        for bar, width in zip(bars, (3.0, 1.0), strict=True):
            if bar is not None:
                at = _shown(show, np.full(2, one.pressure.mean()), 1e-3 * np.array(bar))
                axes.plot(*at, color=ink, linewidth=width, label="_bar")
        return
    low, high = one.law.tested
    bends = [part.high for part in one.law.bands if part.high < high]
    pressure = np.unique([*np.geomspace(low, high, _POINTS), *bends])
    x, y = _shown(show, pressure, one.fit.rate_at(pressure))
    law = [_shown(show, pressure, v)[1] for v in one.fit.law_interval(pressure, LEVEL)]
    more = one.fit.strand_interval(pressure, LEVEL)
    new = [_shown(show, pressure, v)[1] for v in more]
    axes.fill_between(x, new[0], new[1], color=ink, alpha=0.1, linewidth=0.0)
    for edge in new:
        axes.plot(x, edge, color=ink, linewidth=1.0, linestyle=_DOTS)
    band(axes, x, law[0], law[1], ink)
    axes.plot(x, y, color=ink, linestyle=dashes, label="_law")


def _limit(axes: Axes) -> None:
    """Make the axes logarithmic, around all points, and bands that are not too wide."""
    points = [
        line for line in axes.lines if line.get_label() in ("_strands", "_firings")
    ]
    x, y = (
        np.concatenate([np.asarray(line.get_data()[i], float) for line in points])
        for i in (0, 1)
    )
    every = [np.asarray(line.get_ydata(), float) for line in axes.lines]
    drawn = np.concatenate(every)
    low = max(np.nanmin(drawn), y.min() / _MOST)
    high = min(np.nanmax(drawn), y.max() * _MOST)
    logarithmic(axes, "x", float(x.min() / _ROOM), float(x.max() * _ROOM))
    logarithmic(axes, "y", float(low / _ROOM), float(high * _ROOM))


def odd_strands(one: MixResult) -> list[Strand]:
    """Return the strands of a mix that its law misses."""
    if one.law is None:
        return []
    odd = {outlier.index for outlier in one.outliers}
    gaps = missed(one) if is_misfit(one) else []
    return [
        strand
        for k, strand in enumerate(one.strands)
        if k in odd or strand.pressure in gaps
    ]


def _ring(axes: Axes, results: StrandResults, show: Shown) -> None:
    """Put rings around strands that a law misses, and name their lines."""
    style: dict[str, Any] = {"ms": 12.0, "mfc": "none", "mec": RED, "mew": 1.6}
    named: list[tuple[float, float, str]] = []
    for one in results.mixes:
        odd = odd_strands(one)
        for pressure in dict.fromkeys(strand.pressure for strand in odd):
            group = [strand for strand in odd if strand.pressure == pressure]
            rates = np.array([strand.rate for strand in group])
            x, y = _shown(show, np.full(len(group), pressure), rates)
            axes.plot(x, y, "o", **style, label="_odd")
            named.append((float(x[0]), float(y.max()), _lines(group, results)))
    if named:
        axes.plot([], [], "o", **style, label=_ODD)
    named = [point for point in named if point[2]]
    label_points(axes, named, taken=_taken(axes))


def _lines(strands: list[Strand], results: StrandResults) -> str:
    """Name lines of strands, with their file where there are several."""
    several = len({s.file for one in results.mixes for s in one.strands}) > 1
    files: dict[str, list[str]] = {}
    for strand in strands:
        if strand.line:
            files.setdefault(strand.file, []).append(str(strand.line))
    return "; ".join(
        f"{f'{PurePath(file).name} ' if several else ''}"
        f"line{'s' * (len(lines) > 1)} {', '.join(lines)}"
        for file, lines in files.items()
    )


def _taken(axes: Axes) -> list[Box]:
    """Return boxes around all that is drawn: a name that covers it says little. [px]"""
    drawn = np.concatenate([line.get_xydata() for line in axes.lines])
    at = axes.transData.transform(drawn[np.isfinite(drawn).all(axis=1)])
    return [(x - 3.0, y - 3.0, x + 3.0, y + 3.0) for x, y in at]


def strands_drawing(
    results: StrandResults, asked: Asked, show: Shown, *, invented: bool = False
) -> Drawing:
    """Return the picture of :func:`strands` with what a page says beside it."""
    mixes = results.mixes
    of = f": {mixes[0].mix}" if len(mixes) == 1 and mixes[0].mix else ""
    title = f"{'EXAMPLE: ' if invented else ''}Burning rate of strands{of}"
    notes = [f"{mix_name(one)}: no law. {one.reason}." for one in mixes if not one.law]
    notes += [
        f"{mix_name(one)}: look again at {lines}."
        for one in mixes
        if (lines := _lines(odd_strands(one), results))
    ]
    fired = ", and firings of the bench file" if asked.fired else ""
    laws = any(one.law is not None for one in mixes)
    drawn = " Laws: least squares on ln r, inside the tested pressures." if laws else ""
    notes += [f"Strands of {asked.file}{fired}.{drawn}", "No claim of safety."]

    def draw(width: int) -> Sheet:
        words = "; ".join(_described(one, results, show) for one in mixes)
        sheet = Sheet("strands", title, width=width, words=f"{words}.")
        panel = sheet.panel(300.0, left=34.0, below=38.0)
        strands(results, fired=asked.fired, ax=panel, units=show.system)
        sheet.keys(panel)
        sheet.notes(notes)
        return sheet

    return draw


def _described(one: MixResult, results: StrandResults, show: Shown) -> str:
    """Say in words what is drawn of a mix."""
    told = f"{mix_name(one)}, {numbers.count(len(one.strands), 'strand')}"
    if one.law is None or one.fit is None:
        return f"{told}, no law"
    ends = " to ".join(
        f"{show.amount('rate', 1e3 * float(one.fit.rate_at(p)))} at "
        f"{show.amount('pressure', 1e-6 * p)}"
        for p in one.law.tested
    )
    lines = _lines(odd_strands(one), results)
    return f"{told}, {ends}" + (f", misses {lines}" if lines else "")
