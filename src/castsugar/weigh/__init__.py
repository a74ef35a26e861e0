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
from castsugar.weigh.result import Weighing, balance, notes, weighing
from castsugar.weigh.sheet import Line, Sheet, plan

__all__ = [
    "Addition",
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
    "corrected",
    "equipment_of",
    "judge",
    "notes",
    "pieces_of",
    "plan",
    "read_charge",
    "sizes_of",
    "tolerances",
    "weighing",
]
