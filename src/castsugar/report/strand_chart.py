"""Rate against pressure of some mixes, on logarithmic axes, as a chart."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.strand_fit import LawFit
from castsugar.motor.strands import MixResult, StrandResults
from castsugar.report.burnrate import mix_name
from castsugar.report.shown import Shown
from castsugar.report.strand_rows import LEVEL, Asked
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Points, Series

Edges = Callable[[LawFit, FloatArray, float], tuple[FloatArray, FloatArray]]

_POINTS = 120

#: An axis is logarithmic if its ends differ by this factor or more; else it would
#: have too few numbers on it.
_SPAN = 2.0

#: The two bands, and what draws them.
_BANDS: tuple[tuple[str, Edges], ...] = (
    ("Band: 95 % confidence, where the law lies", LawFit.law_interval),
    ("Band: 95 % prediction, where one more strand will lie", LawFit.strand_interval),
)


def strand_chart(
    results: StrandResults, asked: Asked, show: Shown, invented: bool = False
) -> str:
    """Return the chart of strands and their laws, as SVG text.

    Two panels, so that the two bands are not taken for each other: above where the
    laws lie, below where one more strand will lie. A law ends where the tests do.
    """
    mixes, last = results.mixes, ""
    pressure = _grid(mixes, asked)
    if any(result.law is not None for result in mixes):
        panels = [_panel(mixes, pressure, asked, show, *band) for band in _BANDS]
        last = "Lines: least squares on ln r, drawn inside the tested pressures only."
    else:
        panels = [_panel(mixes, pressure, asked, show)]
    name = f": {mixes[0].mix}" if len(mixes) == 1 and mixes[0].mix else ""
    head = "EXAMPLE, invented: " if invented else ""
    x = _pressures(pressure, show)
    return line_chart(
        LineChart(
            title=f"{head}Burning rate of strands{name}",
            x_label="pressure, absolute",
            x_unit=show.unit("pressure"),
            x=x,
            panels=tuple(panels),
            notes=(
                *_notes(mixes, asked),
                f"Dots: strands of {asked.file}{_fired(asked)}. {last}".rstrip(),
                "No claim of safety.",
            ),
            logarithmic=bool(x[-1] >= _SPAN * x[0]),
        )
    )


def _grid(mixes: Sequence[MixResult], asked: Asked) -> FloatArray:
    """Return rising pressures, those of strands, firings and bends among them. [Pa]"""
    fired = [points[:, 0] for points in asked.fired.values()]
    every = np.concatenate([*(result.pressure for result in mixes), *fired])
    low, high = float(every.min()) / 1.15, float(every.max()) * 1.15
    bends = [band.high for r in mixes if r.law is not None for band in r.law.bands]
    return np.unique(np.concatenate([np.geomspace(low, high, _POINTS), every, bends]))


def _panel(
    mixes: Sequence[MixResult],
    pressure: FloatArray,
    asked: Asked,
    show: Shown,
    words: str = "",
    edges: Edges | None = None,
) -> Panel:
    """Return one panel: strands, laws, and one of the two bands."""
    fired = [
        Points(
            f"{mix_name(one)}, fired",
            _pressures(seen[:, 0], show),
            _rates(seen[:, 1], show),
            index,
        )
        for index, one in enumerate(mixes)
        if (seen := asked.fired.get(one.mix)) is not None
    ]
    points = (*(_points(one, show, index) for index, one in enumerate(mixes)), *fired)
    rates = np.concatenate([some.y for some in points])
    return Panel(
        "burning rate, measured",
        show.unit("rate"),
        tuple(_series(result, pressure, show, edges) for result in mixes),
        band=words,
        logarithmic=bool(rates.max() >= _SPAN * rates.min()),
        points=points,
    )


def _points(result: MixResult, show: Shown, kin: int) -> Points:
    """Return the strands of one mix."""
    x, y = _pressures(result.pressure, show), _rates(result.rate, show)
    return Points(mix_name(result), x, y, kin)


def _series(
    result: MixResult, pressure: FloatArray, show: Shown, edges: Edges | None
) -> Series:
    """Return the law of one mix inside the tested pressures.

    Without a law, a single value at the last strand, so that its name stands there.
    """
    if result.law is None or result.fit is None or edges is None:
        last = int(np.argmax(result.pressure))
        inside = pressure == result.pressure[last]
        lines = [np.full(pressure.shape, result.rate[last])]
    else:
        low, high = result.law.tested
        inside = (pressure >= low) & (pressure <= high)
        fit = result.fit
        lines = [fit.rate_at(pressure), *edges(fit, pressure, LEVEL)]
    shown = [_rates(np.where(inside, line, np.nan), show) for line in lines]
    return Series(mix_name(result), *shown)


def _pressures(values: FloatArray, show: Shown) -> FloatArray:
    """Return pressures [Pa] in the unit shown."""
    return np.asarray(show.number("pressure", 1e-6 * values))  # type: ignore[arg-type]


def _rates(values: FloatArray, show: Shown) -> FloatArray:
    """Return rates [m/s] in the unit shown."""
    return np.asarray(show.number("rate", 1e3 * values))  # type: ignore[arg-type]


def _fired(asked: Asked) -> str:
    """Say that firings stand beside the strands."""
    return ", and mean rates of the firings in the bench file" if asked.fired else ""


def _notes(mixes: Sequence[MixResult], asked: Asked) -> list[str]:
    """Say which mix has no law, and which strands lie far off."""
    notes = []
    whole = "the file" if len(asked.files) == 1 else "file:line"
    for result in mixes:
        name = mix_name(result)
        lines = ", ".join(asked.line(result.strands[o.index]) for o in result.outliers)
        if result.law is None:
            notes.append(f"{name}: no law. {result.reason}.")
        elif lines:
            notes.append(f"{name}: look again at line {lines} of {whole}.")
    return notes
