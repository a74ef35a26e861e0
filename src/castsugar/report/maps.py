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
    kinds = [_kind(row) for row in rows]
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
            marks=tuple(drawn.marks),
            fixed=f"with {parts}" if parts else "",
            notes=(
                *notes,
                "Hatched as not burning: cold by this model, or a flame below 900 K.",
                "Model, no losses; second solver not asked. No claim of safety.",
            ),
            total=drawn.total,
        )
    )


def _kind(row: Mapping[str, Any]) -> str:
    """Return how a cell is drawn: a value, or which hatch."""
    if row["status"] == "ok":
        return "cold" if _FAINT in row["flags"] else "ok"
    return "cold" if row["status"] == "cold" else "not computed"
