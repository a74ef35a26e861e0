"""Rate against pressure of some mixes, on logarithmic axes, as a chart."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.burn_law import BurnLaw, burn_rate
from castsugar.motor.strand_fit import LawFit
from castsugar.motor.strands import MixResult, StrandResults, grain_interval
from castsugar.report.burnrate import mix_name
from castsugar.report.shown import Shown
from castsugar.report.strand_rows import LEVEL, Asked
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Points, Series

Edges = Callable[[LawFit, FloatArray], tuple[FloatArray, FloatArray]]

_POINTS = 120

#: Borrowed laws are drawn to this pressure. [Pa]
_FAR = 1.0e7

#: An axis is logarithmic if its ends differ by this factor or more; else it would
#: have too few numbers on it.
_SPAN = 2.0

_MOST_PANELS = 3


def strand_chart(
    results: StrandResults, asked: Asked, show: Shown, invented: bool = False
) -> str:
    """Return the chart of strands and their laws, as SVG text.

    Two panels, so that the two bands are not taken for each other: above where the
    laws lie, below where one more strand will lie. A law ends where the tests do. If
    no mix has a law, one panel a mix with the borrowed laws through its rate.
    """
    mixes = results.mixes
    offered = [result for result in mixes if result.offers][:_MOST_PANELS]
    if any(result.law is not None for result in mixes):
        pressure = _grid(mixes)
        panels = _law_panels(mixes, pressure, show)
        last = "Lines: least squares on ln r, drawn inside the tested pressures only."
    elif offered:
        lowest = min(float(result.pressure.min()) for result in offered)
        pressure = np.geomspace(lowest / 1.15, max(_FAR, 2.0 * lowest), _POINTS)
        panels = [_offer_panel(result, pressure, show) for result in offered]
        last = "Lines: borrowed, not measured. Only strands at more pressures tell."
        hidden = [mix_name(r) for r in mixes if r not in offered]
        last += f" Not drawn: {', '.join(hidden)}." if hidden else ""
    else:
        pressure = _grid(mixes)
        panels = [_panel(mixes, pressure, show, None, "")]
        last = ""
    x = _pressures(pressure, show)
    return line_chart(
        LineChart(
            title=_title(mixes, invented),
            x_label="pressure, absolute",
            x_unit=show.unit("pressure"),
            x=x,
            panels=tuple(panels),
            notes=(
                *_notes(mixes, asked),
                f"Dots: strands of {asked.file}. {last}".rstrip(),
                "No claim of safety.",
            ),
            logarithmic=bool(x[-1] >= _SPAN * x[0]),
        )
    )


def _title(mixes: Sequence[MixResult], invented: bool) -> str:
    """Return the title; it names the mix if there is but one."""
    name = mixes[0].mix if len(mixes) == 1 else ""
    text = "Burning rate of strands" + (f": {name}" if name else "")
    return f"EXAMPLE, invented: {text}" if invented else text


def _grid(mixes: Sequence[MixResult]) -> FloatArray:
    """Return rising pressures, those of strands and bends among them. [Pa]"""
    every = np.concatenate([result.pressure for result in mixes])
    low, high = float(every.min()) / 1.15, float(every.max()) * 1.15
    bends = [band.high for r in mixes if r.law is not None for band in r.law.bands]
    return np.unique(np.concatenate([np.geomspace(low, high, _POINTS), every, bends]))


def _law_panels(
    mixes: Sequence[MixResult], pressure: FloatArray, show: Shown
) -> list[Panel]:
    """Return a panel with confidence bands and one with prediction bands."""

    def confidence(fit: LawFit, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        return fit.law_interval(at, LEVEL)

    def prediction(fit: LawFit, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        return fit.strand_interval(at, LEVEL)

    law = "Band: 95 % confidence, where the law lies"
    strand = "Band: 95 % prediction, where one more strand will lie"
    return [
        _panel(mixes, pressure, show, confidence, law),
        _panel(mixes, pressure, show, prediction, strand),
    ]


def _panel(
    mixes: Sequence[MixResult],
    pressure: FloatArray,
    show: Shown,
    edges: Edges | None,
    words: str,
) -> Panel:
    """Return one panel: strands, laws, and one of the two bands."""
    unit = show.unit("rate")
    series = [_series(result, pressure, show, edges) for result in mixes]
    points = [_points(result, show, index) for index, result in enumerate(mixes)]
    return Panel(
        "burning rate, measured",
        unit,
        tuple(series),
        band=words,
        logarithmic=_wide(points),
        points=tuple(points),
    )


def _points(result: MixResult, show: Shown, kin: int) -> Points:
    """Return the strands of one mix."""
    x = _pressures(result.pressure, show)
    y = _rates(result.rate, show)
    return Points(mix_name(result), x, y, kin)


def _wide(points: Sequence[Points]) -> bool:
    rates = np.concatenate([p.y for p in points])
    return bool(rates.max() >= _SPAN * rates.min())


def _series(
    result: MixResult, pressure: FloatArray, show: Shown, edges: Edges | None
) -> Series:
    """Return the law of one mix inside the tested pressures.

    Without a law, a single value at the last strand, so that its name stands there.
    """
    if result.law is None or result.fit is None or edges is None:
        last = int(np.argmax(result.pressure))
        here = pressure == result.pressure[last]
        rate = np.where(here, result.rate[last], np.nan)
        return Series(mix_name(result), _rates(rate, show))
    low, high = result.law.tested
    inside = (pressure >= low) & (pressure <= high)
    lines = (result.fit.rate_at(pressure), *edges(result.fit, pressure))
    rate, below, above = (
        _rates(np.where(inside, line, np.nan), show) for line in lines
    )
    return Series(mix_name(result), rate, below, above)


def _offer_panel(result: MixResult, pressure: FloatArray, show: Shown) -> Panel:
    """Return the borrowed laws through the rate of one mix."""
    unit = show.unit("rate")
    series = [
        Series(law.name, _rates(burn_rate(law, pressure), show))
        for law in result.offers
    ]
    low, high = _envelope(result.offers, pressure, LEVEL)
    around = "95 % around them"
    nothing = np.full(pressure.shape, np.nan)
    edges = (_rates(edge, show) for edge in (low, high))
    series.append(Series(around, nothing, *edges))
    return Panel(
        f"{mix_name(result)}: burning rate",
        unit,
        tuple(series),
        band=f"Lines: BORROWED laws, moved through the measured rate. Band: {around}",
        logarithmic=True,
        points=(_points(result, show, len(result.offers)),),
    )


def _envelope(
    laws: Sequence[BurnLaw], pressure: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and the highest end of the intervals of some laws. [m/s]"""
    ends = np.array(
        [[grain_interval(law, float(p), level) for p in pressure] for law in laws]
    )
    return ends[..., 0].min(axis=0), ends[..., 1].max(axis=0)


def _pressures(values: FloatArray, show: Shown) -> FloatArray:
    """Return pressures [Pa] in the unit shown."""
    return np.asarray(show.number("pressure", 1e-6 * values))  # type: ignore[arg-type]


def _rates(values: FloatArray, show: Shown) -> FloatArray:
    """Return rates [m/s] in the unit shown."""
    return np.asarray(show.number("rate", 1e3 * values))  # type: ignore[arg-type]


def _notes(mixes: Sequence[MixResult], asked: Asked) -> list[str]:
    """Say which mix has no law, and which strands lie far off."""
    notes = []
    for result in mixes:
        name = mix_name(result)
        if result.law is None:
            notes.append(f"{name}: no law. {result.reason}.")
        elif result.outliers:
            lines = ", ".join(
                asked.line(result.strands[o.index]) for o in result.outliers
            )
            whole = "the file" if len(asked.files) == 1 else "file:line"
            notes.append(f"{name}: look again at line {lines} of {whole}.")
    return notes
