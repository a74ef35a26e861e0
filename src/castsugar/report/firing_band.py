"""Pressure against time of mixes in one motor, with the band of their draws."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.comparison.change import PressureBand
from castsugar.errors import InputError
from castsugar.motor.firing.expectation import Expected
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Series

#: What the limit of a case is called: a pressure that the user states, or one worked
#: out of what the user states of proof or wall.
BY_RATING = "your rating, unproved"
BY_NUMBERS = "the case may hold, by your numbers"

_POINTS = 300

#: A picture reaches so many times as far as the curves, so that they stay legible.
_REACH = 2.5
#: And so many times as high as the limit of the case.
_ABOVE = 1.15

_SCOPE = (
    "Curves are best estimates. No ignition peak, no erosive burning, no cracks. "
    "No claim of safety."
)


def firing_band_chart(
    bands: Sequence[PressureBand],
    *,
    limit: float = math.nan,
    limit_name: str = BY_NUMBERS,
) -> str:
    """Draw pressure against time as SVG text, a curve and a band a mix.

    A band without an upper end is not drawn, and that is said. `limit` is the pressure
    that the case may hold [Pa], called :data:`BY_RATING` or :data:`BY_NUMBERS`.

    Raises
    ------
    InputError
        Without any mix that has a pressure.
    """
    shown = [(b, b.expected) for b in bands if b.expected is not None]
    if not shown:
        why = "; ".join(f"{b.name}: {b.reason}" for b in bands) or "none was given"
        raise InputError(f"no mix has a pressure that can be drawn ({why})")
    every = [e for _, e in shown]
    # Legible curves: the picture ends before wide bands do.
    lasting = max(float(e.time[-1]) for e in every)
    last = min(lasting, _REACH * max(e.best.burn_time for e in every))
    most = _REACH * max(e.best.peak_pressure for e in every)
    ceiling = 1e-6 * max(most, _ABOVE * limit if math.isfinite(limit) else 0.0)
    time = np.linspace(0.0, last, _POINTS)
    series = [_series(b, e, time) for b, e in shown]
    highest = max(np.nanmax(s.high, initial=0.0) for s in series if s.high is not None)
    if math.isfinite(limit):
        held = np.full(_POINTS, 1e-6 * limit)
        series.append(Series(limit_name, held, width=3.2))
    notes = _notes(bands)
    if highest > ceiling:
        notes.append(f"Bands go on above {ceiling:.3g} MPa.")
    if lasting > last:
        notes.append(f"Bands go on after {last:.3g} s.")
    names = ", ".join(b.name for b, _ in shown)
    return line_chart(
        LineChart(
            title=f"Pressure against time: {names}",
            x_label="time from ignition",
            x_unit="s",
            x=time,
            panels=(
                Panel(
                    "chamber pressure, absolute",
                    "MPa",
                    tuple(series),
                    band="band: 95 of 100 draws of burn law and motor at each time",
                    from_zero=True,
                    ceiling=ceiling,
                ),
            ),
            notes=(*notes, _SCOPE),
        )
    )


def _series(band: PressureBand, found: Expected, time: FloatArray) -> Series:
    """Return curve and band of one mix. [MPa]"""
    ambient, best = float(found.low.min()), found.course
    curve = np.interp(time, best.time, best.pressure, right=ambient)
    low = np.interp(time, found.time, found.low, right=ambient)
    if not band.bounded:
        gone = np.full(time.shape, np.nan)
        return Series(band.name, 1e-6 * curve, gone, gone)
    high = np.interp(time, found.time, found.high, right=ambient)
    return Series(band.name, 1e-6 * curve, 1e-6 * low, 1e-6 * high)


def _notes(bands: Sequence[PressureBand]) -> list[str]:
    """Say which mix has no curve or no band."""
    notes = []
    for band in bands:
        found = band.expected
        if found is None:
            notes.append(f"{band.name}: not drawn, {band.reason}.")
        elif found.failed:
            many = f"{found.failed} of {found.draws} draws have no stable pressure"
            if not band.bounded:
                many += "; its band has no upper end and is not drawn"
            notes.append(f"{band.name}: {many}.")
    return notes
