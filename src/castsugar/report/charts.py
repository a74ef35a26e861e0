"""Pressure and thrust against time of some firings, as a chart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from castsugar.motor.pressure_table import Firing
from castsugar.report import numbers
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Series

_POINTS, _CHAMBER = 400, "chamber pressure, absolute"


def trace_chart(
    names: Sequence[str],
    firings: Sequence[Firing],
    limit: float,
    notes: Sequence[str],
) -> str:
    """Return the chart of firings, one a mix, as SVG text.

    `limit` is the pressure that the case may hold [Pa]; NaN for none.
    """
    courses = [firing.course() for firing in firings]
    time = np.linspace(0.0, max(t.time[-1] for t in courses), _POINTS)
    pressures, thrusts, limits = [], [], []
    for name, firing, t in zip(names, firings, courses, strict=True):
        pressure = 1e-6 * np.interp(time, t.time, t.pressure, right=np.nan)
        pressures.append(Series(name, pressure))
        thrusts.append(Series(name, np.interp(time, t.time, t.thrust, right=np.nan)))
        highest = 1e-6 * firing.limit
        if highest < 100.0:
            below = f"{name}: 95 of 100 peaks below"
            limits.append(Series(below, np.full(_POINTS, highest)))
    if np.isfinite(limit):
        limits.append(Series("case may hold", np.full(_POINTS, 1e-6 * limit)))
    return line_chart(
        LineChart(
            title="Pressure and thrust against time",
            x_label="time",
            x_unit="s",
            x=time,
            panels=(
                Panel(_CHAMBER, "MPa", (*pressures, *limits), from_zero=True),
                Panel("thrust", "N", tuple(thrusts), from_zero=True),
            ),
            notes=(
                *notes,
                "Curves are best estimates; a mix without a line for 95 of 100 peaks "
                "has no limit that can be drawn. The grain lights all at once"
                f"{_lit(firings[0].igniter)}; no erosive burning, no cracks. No claim "
                "of safety.",
            ),
        )
    )


def _lit(igniter: tuple[float, float]) -> str:
    """Say what lights a motor, mass [kg] and time [s]; nothing where not stated."""
    if not igniter[0]:
        return ""
    grams, lasts = (numbers.typed(numbers.three(1e3 * x)) for x in igniter)
    return f", with {grams} g of igniter in {lasts} ms"
