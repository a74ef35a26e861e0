"""The unknowns of a batch of states, and what is prescribed for each."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray


@dataclass(slots=True, eq=False)
class Batch:
    """What is prescribed, one row a mix."""

    elements: FloatArray  # (n, elements) [mol/kg]
    allowed: BoolArray  # (n, phases): may form
    held: BoolArray  # (n, phases): stays present whatever its amount
    solid_share: FloatArray  # (n, transitions): held share of the cold form, or NaN

    def take(self, rows: IntArray | BoolArray) -> Batch:
        """Return some of the rows."""
        return Batch(*(getattr(self, f.name)[rows] for f in fields(self)))


@dataclass(slots=True, eq=False)
class Iterate:
    """The unknowns, one row a mix; changed in place by the iteration."""

    potentials: FloatArray  # (n, elements): element potentials / RT
    log_moles: FloatArray  # (n,): ln of the amount of gas [mol/kg]
    temperature: FloatArray  # (n,): [K]
    log_pressure: FloatArray  # (n,): ln(p / reference pressure)
    amounts: FloatArray  # (n, phases): condensed amounts [mol/kg]
    active: BoolArray  # (n, phases): present

    def take(self, rows: IntArray | BoolArray) -> Iterate:
        """Return copies of some of the rows."""
        return Iterate(*(getattr(self, f.name)[rows].copy() for f in fields(self)))

    def put(self, rows: IntArray | BoolArray, other: Iterate) -> None:
        """Overwrite some of the rows."""
        for f in fields(self):
            getattr(self, f.name)[rows] = getattr(other, f.name)

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.log_moles)

    @property
    def moles(self) -> FloatArray:
        """Amount of gas. [mol/kg]"""
        return np.exp(self.log_moles)
