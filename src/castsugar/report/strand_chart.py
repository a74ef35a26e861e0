"""Burning rate against pressure: strands, laws and both bands, as a chart."""

from __future__ import annotations

import numpy as np

from castsugar.motor.strands import MixResult, StrandResults
from castsugar.report.svg import LineChart, Panel, Points, Series, line_chart

_MILLI, _MEGA = 1e-3, 1e6
_POINTS = 160


def strand_chart(results: StrandResults, level: float, title: str) -> str:
    """Return the chart, as SVG text: the law's band above, the next strand's below.

    Parameters
    ----------
    results : StrandResults
    level : float
        Probability of both bands.
    title : str
    """
    pressures = np.concatenate([r.pressure for r in results.mixes])
    low, high = float(pressures.min()), float(pressures.max())
    if high < 1.05 * low:
        low, high = low / 1.5, high * 1.5
    x = np.geomspace(0.9 * low, 1.1 * high, _POINTS)
    percent = f"{100.0 * level:g} %"
    panels = tuple(
        Panel(
            label,
            "mm/s",
            tuple(_series(r, x, level, next_strand=kind) for r in results.mixes),
            band=band,
            logarithmic=True,
            points=tuple(
                Points(r.mix or "strands", r.pressure / _MEGA, r.rate / _MILLI, k)
                for k, r in enumerate(results.mixes)
            ),
        )
        for label, band, kind in (
            ("burning rate", f"band: {percent} of the law itself", False),
            ("burning rate", f"band: {percent} of the next strand", True),
        )
    )
    return line_chart(
        LineChart(
            title=title,
            x_label="pressure, absolute",
            x_unit="MPa",
            x=x / _MEGA,
            panels=panels,
            notes=(
                "Dots: strands. Lines: log least squares, inside the tested pressures "
                "only. No claim of safety.",
            ),
            logarithmic=True,
        )
    )


def _series(
    result: MixResult, x: np.ndarray, level: float, *, next_strand: bool
) -> Series:
    """Return line and band of a mix; a gap outside what was tested."""
    name, nothing = result.mix or "strands", np.full(len(x), np.nan)
    if result.fit is None or result.law is None:
        return Series(name, nothing)
    p = result.pressure
    inside = (x >= 0.999 * p.min()) & (x <= 1.001 * p.max())
    interval = result.fit.strand_interval if next_strand else result.fit.law_interval
    low, high = interval(x, level)
    middle = result.fit.rate_at(x)
    shown = [np.where(inside, v / _MILLI, np.nan) for v in (middle, low, high)]
    return Series(name, *shown)
