"""The weigh sheet: from what is to be cast to what goes on the scale, and back."""

from __future__ import annotations

from castsugar.workshop.weigh.accounts import balance, notes
from castsugar.workshop.weigh.charge import Charge, read_charge
from castsugar.workshop.weigh.correct import Addition, Correction, corrected
from castsugar.workshop.weigh.equipment import Equipment, equipment_of
from castsugar.workshop.weigh.judging import Conditions, Judged, judge
from castsugar.workshop.weigh.pieces import Piece, Sizes, pieces_of, sizes_of
from castsugar.workshop.weigh.result import Weighing, weighing
from castsugar.workshop.weigh.sheet import Line, Sheet, plan
from castsugar.workshop.weigh.tolerance import Tolerance, tolerances

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
