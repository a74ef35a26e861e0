"""Many mixes told by a rule: a task of a cluster carries an index range, no mixes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any

import numpy as np

from castsugar import numerics
from castsugar.arrays import FloatArray, IntArray
from castsugar.data.load import Database
from castsugar.frozen import dataclass
from castsugar.mix.blends import Blends, blend, put_together
from castsugar.mix.weighing import Lot

#: Which of the mixes.
Some = slice | IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Triangle:
    """All mixes of three ingredients in even steps, beside what is fixed.

    Attributes
    ----------
    step : float
        A whole fraction of 1.
    total : float
        Share of the mix that the three have. [mass fraction]
    fixed : tuple of float
        Shares of the others. [mass fraction]
    """

    step: float
    total: float = 1.0
    fixed: tuple[float, ...] = ()

    def __len__(self) -> int:
        along = round(1.0 / self.step)
        return (along + 1) * (along + 2) // 2

    def shares(self, part: Some = slice(None)) -> FloatArray:
        """Return the shares of the three among themselves, (mixes, 3)."""
        return numerics.triangle(self.step, part)

    def fractions(self, part: Some = slice(None)) -> FloatArray:
        """Return mass fractions of the whole, (mixes, items)."""
        return numerics.with_fixed(self.shares(part), self.total, self.fixed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Mixes of a recipe in which the share of one ingredient runs.

    Attributes
    ----------
    recipe : tuple of float
        Mass fractions.
    index : int
        Which of them runs.
    values : tuple of float
        Its shares. [mass fraction]
    """

    recipe: tuple[float, ...]
    index: int
    values: tuple[float, ...]

    def __len__(self) -> int:
        return len(self.values)

    def fractions(self, part: Some = slice(None)) -> FloatArray:
        """Return mass fractions of the whole, (mixes, items)."""
        return numerics.along(
            self.recipe, self.index, np.array(self.values)[part].tolist()
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """Which mixes there are, and how they are cast.

    Attributes
    ----------
    items : tuple of str
        Names or aliases of the catalogue.
    points : Triangle or Line
    water_lost, lots, alternatives, process
        As for :func:`castsugar.mix.blends.blend`.
    """

    items: tuple[str, ...]
    points: Triangle | Line
    water_lost: float = 0.0
    lots: Mapping[str, Lot] = field(default_factory=dict)
    alternatives: Mapping[str, str] = field(default_factory=dict)
    process: str = ""

    def blends(
        self, part: Some = slice(None), database: Database | None = None
    ) -> Blends:
        """Return all mixes, or some by index.

        On a line every mix is looked at, as for :func:`castsugar.mix.blends.blend`; a
        triangle has corners that are no mixes of this family.
        """
        fractions = self.points.fractions(part)
        given: dict[str, Any] = {
            "water_lost": self.water_lost,
            "lots": self.lots,
            "alternatives": self.alternatives,
            "database": database,
        }
        if isinstance(self.points, Line):
            return blend(self.items, fractions, process=self.process, **given)
        return put_together(self.items, fractions, **given)
