"""From rows of a map to its picture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import Column
from castsugar.report.shown import OF_UNIT, Shown
from castsugar.report.svg.ternary import ternary_map
from castsugar.report.svg.triangle import TernaryMap

Shares = tuple[float, float, float]
_SI = Shown()


@dataclass(frozen=True, slots=True)
class Drawn:
    """How a column is drawn: logarithm or not, limits, what lies outside."""

    absent: str
    logarithmic: bool = False
    low: float = -math.inf
    high: float = math.inf


_VISCOSITY = Drawn("no flow: thicker than 300 Pa s, or jammed", True, high=300.0)
_WINDOW = Drawn("no pour window")
_PRESSURE = Drawn("above 100 MPa, or no upper limit", True, high=100.0)

#: Columns that are not drawn as they are.
SHOWN = {
    "pour_viscosity_Pa_s": _VISCOSITY,
    "pour_viscosity_p10_Pa_s": _VISCOSITY,
    "pour_viscosity_p90_Pa_s": _VISCOSITY,
    "pour_window_low_C": _WINDOW,
    "pour_window_high_C": _WINDOW,
    "pour_window_width_K": _WINDOW,
    "liquid_boils_C": Drawn("does not boil below 160 C"),
    "peak_pressure_MPa": _PRESSURE,
    "peak_pressure_p95_MPa": _PRESSURE,
    "pressure_margin_percent": Drawn(
        "less than -100: twice the allowed pressure", low=-100.0
    ),
}
_AS_IT_IS = Drawn("none")

_FLAME_NOTES = (
    "Hatched as not burning: cold by this model, or a flame below 900 K.",
    "Model, no losses; independent check not asked. No claim of safety.",
)
_KITCHEN_NOTES = (
    "Runny below 3 Pa s, pours below 10, spoon it up to 60, tamp it up to 300.",
    "A model, good to a factor of 4 before it is calibrated. No claim of safety.",
)

_MOTOR_NOTES = (
    "One motor, one model of what was burned: see burn_law_origin in the table.",
    "No claim of safety.",
)
_NOTES = {"kitchen": _KITCHEN_NOTES, "motor": _MOTOR_NOTES}

#: Words in the flags of a row whose flame is too faint to be shown as one that burns.
_FAINT = "flame below"


@dataclass(frozen=True, slots=True, kw_only=True)
class Triangle:
    """Where the rows of a map lie.

    `fractions` are shares of the three ingredients at the corners, shape (rows, 3), sum
    1; `total` is their share of the whole mix, the rest is `fixed`. `marks` are recipes
    to draw and name; `before` is what the title begins with, such as "EXAMPLE: ".
    """

    corners: tuple[str, str, str]
    fractions: FloatArray
    total: float
    fixed: Mapping[str, float]
    marks: Sequence[tuple[str, Shares]]
    before: str = ""


def ternary(
    drawn: Triangle,
    rows: Sequence[Mapping[str, Any]],
    column: Column,
    notes: Sequence[str],
    show: Shown = _SI,
) -> str:
    """Return the picture of one column of a map, as SVG text."""
    unit = OF_UNIT[column.unit]
    shown = SHOWN.get(column.key, _AS_IT_IS)
    kinds = [_kind(row, column, shown) for row in rows]
    values = np.array(
        [
            show.number(unit, float(row[column.key])) if kind == "ok" else math.nan
            for row, kind in zip(rows, kinds, strict=True)
        ]
    )
    parts = ", ".join(
        f"{name} {100 * share:g} %" for name, share in drawn.fixed.items()
    )
    names = f"{', '.join(drawn.corners[:2])} and {drawn.corners[2]}"
    return ternary_map(
        TernaryMap(
            corners=drawn.corners,
            fractions=drawn.fractions,
            values=values,
            kind=kinds,
            title=f"{drawn.before}{column.label} over {names}",
            quantity=column.label,
            unit=show.unit(unit) or column.unit,
            decimals=column.decimals or 0,
            logarithmic=shown.logarithmic,
            absent=shown.absent,
            marks=tuple(drawn.marks),
            fixed=f"with {parts}" if parts else "",
            notes=(*notes, *_NOTES.get(column.group, _FLAME_NOTES)),
            total=drawn.total,
        )
    )


def _kind(row: Mapping[str, Any], column: Column, shown: Drawn) -> str:
    """Return how a cell is drawn: a value, or which hatch."""
    value = float(row[column.key])
    fits = "ok" if shown.low <= value <= shown.high else "absent"
    if column.group == "kitchen":
        missing = row["flow_class"] in ("not asked", "not computed")
        return "not computed" if missing else fits
    if row["status"] != "ok":
        return "cold" if row["status"] == "cold" else "not computed"
    if _FAINT in row["flags"]:
        return "cold"
    return fits if column.group == "motor" and not math.isnan(value) else "ok"
