"""How far mixes are from every limit and every row of the space."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.decide.judge import Judge
from castsugar.decide.outcome import Outcome
from castsugar.decide.problem import Goal
from castsugar.decide.region import Region
from castsugar.decide.space import Space

#: A limit counts as kept down to this scaled slack: what the search left of rounding.
KEPT = 1e-7

#: A row of the space counts as kept down to this. [mass fraction]
ROW_KEPT = 1e-9

#: Slacks are not followed farther down: beyond lie numbers that stand for "jams".
_DEEP = -3.0

#: What a mix that failed breaks.
FAILED = "not computed"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measure:
    """Slacks of mixes of one choice of the space.

    Attributes
    ----------
    judge : Judge
    region : Region
        Of the choice that the best mix made.
    columns : tuple of str
        Of the values.
    """

    judge: Judge
    region: Region
    columns: tuple[str, ...]

    @classmethod
    def of(cls, outcome: Outcome) -> Measure:
        """Return the measure of an outcome."""
        found = outcome.found
        columns = tuple(outcome.task.problem().columns)
        choice = dict(found.choice)
        regions = outcome.task.space.regions()
        return cls(
            judge=Judge.of(found.goal, columns, found.trials.values),
            region=next(r for r in regions if dict(r.choice) == choice),
            columns=columns,
        )

    @property
    def names(self) -> tuple[str, ...]:
        """Return what a mix can break: the names of the columns of :meth:`slack`."""
        limits = (limit.name for limit in self.judge.goal.limits)
        return (FAILED, *limits, *self.region.row_names)

    def limits(self, values: FloatArray) -> FloatArray:
        """Return scaled slacks of the limits, (n, m), 0 or more where kept.

        NaN where a mix failed.
        """
        slack: FloatArray = np.maximum(self.judge.outputs(values)[:, 1:], _DEEP)
        return slack + KEPT

    def rows(self, fractions: FloatArray) -> FloatArray:
        """Return slacks of the rows of the space, (n, rows), 0 or more where kept."""
        return self.region.slack(fractions) + ROW_KEPT

    def slack(self, fractions: FloatArray, values: FloatArray) -> FloatArray:
        """Return slacks of :attr:`names`, (n, 1 + m + rows), 0 or more where kept."""
        limits = self.limits(values)
        failed = ~np.isfinite(self.judge.outputs(values)).all(axis=1)
        return np.hstack(
            [
                np.where(failed, -1.0, 1.0)[:, None],
                np.where(np.isfinite(limits), limits, 1.0),
                self.rows(fractions),
            ]
        )


def varying(space: Space, choice: Mapping[str, str]) -> dict[str, int]:
    """Return the slots whose bounds leave them room, each with its column."""
    return {
        slot: space.columns.index(choice.get(slot, slot))
        for slot, (low, high) in space.bounds.items()
        if low < high
    }


def broken(goal: Goal, values: Mapping[str, float]) -> tuple[str, ...]:
    """Return the names of the limits that a mix breaks, as far as computed."""
    return tuple(
        limit.name
        for limit in goal.limits
        if float(limit.slack(np.asarray(values[limit.column])))
        < -KEPT * abs(limit.value)
    )


def unknown(goal: Goal, values: Mapping[str, float]) -> tuple[str, ...]:
    """Return the names of the limits whose column could not be computed of a mix."""
    return tuple(
        limit.name for limit in goal.limits if math.isnan(values[limit.column])
    )


def keeping(goal: Goal, columns: tuple[str, ...], values: FloatArray) -> BoolArray:
    """Say which rows of values, (n, c), keep all limits and have an objective."""
    judge = Judge.of(goal, columns, values)
    objective, violation = judge.standing(values)
    return np.asarray(np.isfinite(objective) & (violation <= KEPT))
