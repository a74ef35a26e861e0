"""The weigh sheet: from what is to be cast to what goes on the scale, and back."""

from __future__ import annotations

from castsugar.weigh.charge import (
    Charge,
    Equipment,
    Piece,
    Sizes,
    equipment_of,
    pieces_of,
    read_charge,
    sizes_of,
)
from castsugar.weigh.correction import (
    Addition,
    Conditions,
    Correction,
    Judged,
    Tolerance,
    corrected,
    judge,
    tolerances,
)
from castsugar.weigh.inverse import (
    Castings,
    castings,
    fewest_pans,
    in_pans,
    sheet_again,
    weighed_with,
)
from castsugar.weigh.result import Weighing, balance, notes, weighing
from castsugar.weigh.sheet import Line, Sheet, plan

__all__ = [
    "Addition",
    "Castings",
    "Charge",
    "Conditions",
    "Correction",
    "Equipment",
    "Judged",
    "Line",
    "Piece",
    "Sheet",
    "Sizes",
    "Tolerance",
    "Weighing",
    "balance",
    "castings",
    "corrected",
    "equipment_of",
    "fewest_pans",
    "in_pans",
    "judge",
    "notes",
    "pieces_of",
    "plan",
    "read_charge",
    "sheet_again",
    "sizes_of",
    "tolerances",
    "weighed_with",
    "weighing",
]
