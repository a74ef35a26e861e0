"""Every trial is kept: fractions, columns, region, stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.decide.judge import Judge
from castsugar.decide.problem import Problem
from castsugar.decide.region import Region
from castsugar.errors import InputError

#: Region number of a trial outside the space: a row of the space was moved.
MOVED = -1


class SpentError(Exception):
    """The budget of evaluations is used up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials:
    """All mixes that were evaluated, in their order.

    Attributes
    ----------
    fractions : ndarray, shape (n, k)
    values : ndarray, shape (n, c)
    region : ndarray of int, shape (n,)
        Number of the region; -1 outside the space (a limit of it was moved).
    stage : tuple of str
        "lattice", "polish", "poll", "prices", "relaxing" or "front".
    """

    fractions: FloatArray
    values: FloatArray
    region: NDArray[np.int64]
    stage: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.fractions)


@dataclass(slots=True, kw_only=True)
class Ledger:
    """Asks the problem, within a budget, and writes every answer down.

    Attributes
    ----------
    problem : Problem
    regions : list of Region
    budget : int
        Most evaluations.
    stage : str
        What new trials are for.
    batches : int
        Calls of the problem.
    """

    problem: Problem
    regions: Sequence[Region]
    budget: int
    stage: str = "lattice"
    batches: int = 0
    _fractions: list[FloatArray] = field(default_factory=list)
    _values: list[FloatArray] = field(default_factory=list)
    _region: list[NDArray[np.int64]] = field(default_factory=list)
    _stage: list[str] = field(default_factory=list)

    def ask(self, fractions: FloatArray, region: NDArray[np.int64]) -> FloatArray:
        """Return the columns of mixes, (n, c).

        Raises
        ------
        SpentError
            If the budget does not cover all; the first ones are evaluated and kept.
        InputError
            If the problem returns another shape.
        """
        left = self.budget - len(self._stage)
        values = self._evaluate(fractions[: max(left, 0)])
        count = len(values)
        self._fractions.append(fractions[:count])
        self._values.append(values)
        self._region.append(region[:count])
        self._stage.extend([self.stage] * count)
        if count < len(fractions):
            raise SpentError
        return values

    def _evaluate(self, fractions: FloatArray) -> FloatArray:
        shape = (len(fractions), len(self.problem.columns))
        if not len(fractions):
            return np.empty(shape)
        self.batches += 1
        values = np.asarray(self.problem.evaluate(fractions), dtype=float)
        if values.shape != shape:
            raise InputError(
                f"the problem returned shape {values.shape} for {shape[0]} mixes; "
                f"expected {shape}: one row a mix, one column a name"
            )
        return values

    def derivatives(self, fractions: FloatArray) -> FloatArray | None:
        """Return the problem's own derivatives, (n, c, k), or None."""
        found = self.problem.jacobian(fractions)
        if found is None:
            return None
        shape = (len(fractions), len(self.problem.columns), fractions.shape[1])
        if np.shape(found) != shape:
            raise InputError(
                f"the jacobian has shape {np.shape(found)}; expected {shape}"
            )
        return np.asarray(found, dtype=float)

    def trials(self) -> Trials:
        """Return everything so far."""
        width = self.regions[0].corners.shape[1]
        none = np.empty((0, width)), np.empty((0, len(self.problem.columns)))
        return Trials(
            fractions=np.vstack([none[0], *self._fractions]),
            values=np.vstack([none[1], *self._values]),
            region=np.concatenate([np.empty(0, dtype=np.int64), *self._region]),
            stage=tuple(self._stage),
        )

    def ranked(self, judge: Judge) -> tuple[Trials, NDArray[np.int64]]:
        """Return the trials and the rows inside the space, best first."""
        trials = self.trials()
        order = judge.order(trials.values)
        return trials, order[trials.region[order] != MOVED]
