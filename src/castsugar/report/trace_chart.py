"""Pressure and thrust against time of some firings, as a chart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from castsugar.motor.pressure_table import Firing
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Series

_POINTS = 400


def trace_chart(
    names: Sequence[str],
    firings: Sequence[Firing],
    limit: float,
    notes: Sequence[str],
) -> str:
    """Return the chart of firings, as SVG text.

    Parameters
    ----------
    names, firings : sequences
        One a mix.
    limit : float
        Pressure that the case may hold; NaN for none. [Pa]
    notes : sequence of str
    """
    longest = max(f.trace.burn_time for f in firings)
    time = np.linspace(0.0, longest, _POINTS)
    pressures, thrusts, limits = [], [], []
    for name, firing in zip(names, firings, strict=True):
        t = firing.trace
        pressures.append(
            Series(name, 1e-6 * np.interp(time, t.time, t.pressure, right=np.nan))
        )
        highest = 1e-6 * firing.pressure_band[1]
        if highest < 100.0:
            limits.append(
                Series(f"{name}: 95 of 100 peaks below", np.full(_POINTS, highest))
            )
        thrusts.append(Series(name, np.interp(time, t.time, t.thrust, right=np.nan)))
    if np.isfinite(limit):
        limits.append(Series("case may hold", np.full(_POINTS, 1e-6 * limit)))
    return line_chart(
        LineChart(
            title="Pressure and thrust, quasi-steady",
            x_label="time",
            x_unit="s",
            x=time,
            panels=(
                Panel(
                    "chamber pressure, absolute",
                    "MPa",
                    (*pressures, *limits),
                    from_zero=True,
                ),
                Panel("thrust", "N", tuple(thrusts), from_zero=True),
            ),
            notes=(
                *notes,
                "Curves are best estimates; a mix without a line for 95 of 100 peaks "
                "has no limit that can be drawn. No ignition peak, "
                "no erosive burning, no cracks. No claim of safety.",
            ),
        )
    )
