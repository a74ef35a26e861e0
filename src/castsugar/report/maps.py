"""From rows of a map to its picture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.columns import Column
from castsugar.report.svg import TernaryMap, ternary_map

FloatArray = NDArray[np.float64]
Shares = tuple[float, float, float]

#: Columns that are coloured by their logarithm, and their largest value shown.
LOGARITHMIC = (
    "pour_viscosity_Pa_s",
    "pour_viscosity_p10_Pa_s",
    "pour_viscosity_p90_Pa_s",
)
NO_FLOW = 300.0

#: What it means that a mix has no value in a kitchen column.
_ABSENT = {
    **dict.fromkeys(LOGARITHMIC, "no flow: thicker than 300 Pa s, or jammed"),
    "pour_window_low_C": "no pour window",
    "pour_window_high_C": "no pour window",
    "pour_window_width_C": "no pour window",
    "liquid_boils_C": "does not boil below 160 C",
}

_FLAME_NOTES = (
    "Hatched as not burning: cold by this model, or a flame below 900 K.",
    "Model, no losses; second solver not asked. No claim of safety.",
)
_KITCHEN_NOTES = (
    "Runny below 3 Pa s, pours below 10, spoon it up to 60, tamp it up to 300.",
    "A model, good to a factor of 4 before it is calibrated. No claim of safety.",
)

#: Words in the flags of a row whose flame is too faint to be shown as one that burns.
_FAINT = "flame below"


@dataclass(frozen=True, slots=True, kw_only=True)
class Triangle:
    """Where the rows of a map lie.

    Attributes
    ----------
    corners : tuple of str
        The three ingredients.
    fractions : ndarray, shape (rows, 3)
        Shares of the three, sum 1.
    total : float
        Share of the whole mix that the three make up.
    fixed : mapping
        The other ingredients and their mass fractions.
    marks : sequence of (str, shares)
        Recipes to draw and name.
    """

    corners: tuple[str, str, str]
    fractions: FloatArray
    total: float
    fixed: Mapping[str, float]
    marks: Sequence[tuple[str, Shares]]


def ternary(
    drawn: Triangle,
    rows: Sequence[Mapping[str, Any]],
    column: Column,
    notes: Sequence[str],
) -> str:
    """Return the picture of one column of a map, as SVG text."""
    kinds = [_kind(row, column) for row in rows]
    values = np.array(
        [
            float(row[column.key]) if kind == "ok" else math.nan
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
            title=f"{column.label} over {names}",
            quantity=column.label,
            unit=column.unit,
            decimals=column.decimals or 0,
            logarithmic=column.key in LOGARITHMIC,
            absent=_ABSENT.get(column.key, "none"),
            marks=tuple(drawn.marks),
            fixed=f"with {parts}" if parts else "",
            notes=(
                *notes,
                *(_KITCHEN_NOTES if column.group == "kitchen" else _FLAME_NOTES),
            ),
            total=drawn.total,
        )
    )


def _kind(row: Mapping[str, Any], column: Column) -> str:
    """Return how a cell is drawn: a value, or which hatch."""
    if column.group == "kitchen":
        if row["flow_class"] in ("not asked", "not computed"):
            return "not computed"
        value = float(row[column.key])
        thick = column.key in LOGARITHMIC and value > NO_FLOW
        return "absent" if thick or not math.isfinite(value) else "ok"
    if row["status"] == "ok":
        return "cold" if _FAINT in row["flags"] else "ok"
    return "cold" if row["status"] == "cold" else "not computed"
