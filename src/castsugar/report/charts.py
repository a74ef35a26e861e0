"""Charts of a sweep and of a firing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN, DOUBTS, Column
from castsugar.motor.pressure_table import Firing
from castsugar.report import numbers
from castsugar.report.shown import OF_UNIT, Shown
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Series, Span

# ----------------------------------------------------------------------------
# From rows of a sweep to its chart.

Rows = Sequence[Mapping[str, Any]]
_SI = Shown()

#: Column -> the columns of its band; drawn by the logarithm, up to a ceiling.
BANDS = {
    "pour_viscosity_Pa_s": ("pour_viscosity_p10_Pa_s", "pour_viscosity_p90_Pa_s"),
}
CEILING = 1000.0

#: What is hatched on a sweep: name, and the words in status or flags that mean it.
_REMARKABLE = (
    ("does not burn", ("cold", "flame below")),
    ("freezing at the throat", ("freezing",)),
    ("not computed", ("not computed", "no convergence", "disputed")),
)


def sweep_chart(
    rows: Rows,
    share: tuple[str, str],
    columns: Sequence[Column],
    title: str,
    notes: Sequence[str],
    show: Shown = _SI,
) -> str:
    """Return the chart of some columns of a sweep, one panel each, as SVG text.

    `share` is the ingredient that runs and the key of its share [%].
    """
    name, key = share
    x = np.array([float(row[key]) for row in rows])
    told = [*notes]
    if any(DOUBTS.get(c.key) in rows[0] for c in columns):
        told.append("Bands: one standard uncertainty of the data.")
    told.append("Model, no losses; independent check not asked. No claim of safety.")
    burns = any(c.group != "kitchen" for c in columns)
    return line_chart(
        LineChart(
            title=title,
            x_label=f"{name}, others in the same ratio",
            x_unit="%",
            x=x,
            panels=tuple(_panel(rows, column, show) for column in columns),
            spans=tuple(_spans(rows, x)) if burns else (),
            notes=tuple(told),
        )
    )


def _panel(rows: Rows, column: Column, show: Shown) -> Panel:
    """Return the panel of one column, with its band where there is one."""
    kind = OF_UNIT[column.unit]
    unit = show.unit(kind) or column.unit

    def shown(values: FloatArray) -> FloatArray:
        return np.array([show.number(kind, x) for x in values])

    values = shown(_column(rows, column.key))
    if column.key in BANDS:
        low, high = (shown(_column(rows, key)) for key in BANDS[column.key])
        series = Series(column.label, values, low, high)
        return Panel(
            column.label,
            unit,
            (series,),
            band="band: one draw in ten is below, one above",
            logarithmic=True,
            ceiling=CEILING,
        )
    doubt_key = DOUBTS.get(column.key, "")
    if doubt_key not in rows[0]:
        return Panel(column.label, unit, (Series(column.label, values),))
    doubt = np.array([show.span(kind, x) for x in _column(rows, doubt_key)])
    series = Series(column.label, values, values - doubt, values + doubt)
    return Panel(column.label, unit, (series,), band="data uncertainty")


def _column(rows: Rows, key: str) -> FloatArray:
    """Return a column, with NaN where a row has no value."""
    return np.array([_value(row, key) for row in rows])


def _value(row: Mapping[str, Any], key: str) -> float:
    """Return a value to draw; NaN where the row has none."""
    kitchen = key in COLUMN and COLUMN[key].group == "kitchen"
    return float(row[key]) if kitchen or row["status"] == "ok" else math.nan


def _spans(rows: Rows, x: FloatArray) -> list[Span]:
    """Return the stretches of the sweep that deserve a remark."""
    half = 0.5 * float(x[1] - x[0]) if len(x) > 1 else 0.0
    found = []
    for name, words in _REMARKABLE:
        hits = [any(w in f"{r['status']} {r['flags']}" for w in words) for r in rows]
        for hit, group in groupby(range(len(rows)), key=hits.__getitem__):
            if hit:
                places = list(group)
                low, high = x[places[0]] - half, x[places[-1]] + half
                found.append(Span(name, max(float(low), x[0]), min(float(high), x[-1])))
    return found


# ----------------------------------------------------------------------------
# Pressure and thrust against time of some firings, as a chart.

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
