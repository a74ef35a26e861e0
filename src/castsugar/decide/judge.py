"""How good a mix is: objective to minimise and slacks, all near 1 in size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.decide.problem import Goal

#: A limit counts as kept down to this scaled slack: rounding, no more.
TOLERANCE = 1e-12

#: Logarithms of columns are those of values not below this.
_TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judge:
    """A goal with the sizes of its columns.

    Attributes
    ----------
    goal : Goal
    places : ndarray of int, shape (1 + m,)
        Columns of objective and limits.
    size : float
        Of differences of the objective that matter.
    scales : ndarray, shape (m,)
        Of the limits: 1 for a logarithmic one.
    """

    goal: Goal
    places: NDArray[np.int64]
    size: float
    scales: FloatArray

    @classmethod
    def of(cls, goal: Goal, columns: Sequence[str], seen: FloatArray) -> Judge:
        """Return the judge of a goal; sizes come from values seen, (n, c).

        A limit's size is that of its value, but not below a thousandth of the spread
        of the column; that of the objective is its spread.
        """
        names = [goal.objective, *(limit.column for limit in goal.limits)]
        places = np.array([list(columns).index(name) for name in names])
        spreads = [_spread(seen[:, place]) for place in places]
        scales = [
            1.0 if limit.logarithmic else max(abs(limit.value), 1e-3 * spread)
            for limit, spread in zip(goal.limits, spreads[1:], strict=True)
        ]
        return cls(goal=goal, places=places, size=spreads[0], scales=np.array(scales))

    def outputs(self, values: FloatArray) -> FloatArray:
        """Return objective to minimise and slacks, (n, 1 + m), of columns (n, c)."""
        out = values[..., self.places].astype(float)
        out[..., 0] *= (-1.0 if self.goal.maximise else 1.0) / self.size
        for index, limit in enumerate(self.goal.limits):
            column = out[..., 1 + index]
            if limit.logarithmic:
                kept = np.where(column < _TINY, _TINY, column)
                slack = limit.sign * (np.log(limit.value) - np.log(kept))
            else:
                slack = limit.slack(column) / self.scales[index]
            out[..., 1 + index] = slack
        return out

    def factors(self, values: FloatArray) -> FloatArray:
        """Return derivatives of the outputs by their columns, (n, 1 + m)."""
        out = np.ones((*values.shape[:-1], len(self.places)))
        out[..., 0] = (-1.0 if self.goal.maximise else 1.0) / self.size
        for index, limit in enumerate(self.goal.limits):
            by = 1.0 / self.scales[index]
            if limit.logarithmic:
                by = 1.0 / np.maximum(values[..., self.places[1 + index]], _TINY)
            out[..., 1 + index] = -limit.sign * by
        return out

    def standing(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return objective to minimise and violation of each row; NaN is infinite.

        The violation is the largest scaled one of any limit, 0 within tolerance.
        """
        return standing(self.outputs(values))

    def order(self, values: FloatArray) -> NDArray[np.int64]:
        """Return rows from best to worst: least violation, then best objective."""
        objective, violation = self.standing(values)
        return np.lexsort((objective, violation))


def standing(outputs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return objective and violation of outputs (n, 1 + m); infinite where failed."""
    objective = np.where(np.isnan(outputs[..., 0]), np.inf, outputs[..., 0])
    beyond = (-outputs[..., 1:]).max(axis=-1, initial=0.0)
    violation = np.where(beyond <= TOLERANCE, 0.0, beyond)
    failed = np.isnan(outputs).any(axis=-1)
    return (
        np.where(failed, np.inf, objective),
        np.where(failed, np.inf, violation),
    )


def _spread(column: FloatArray) -> float:
    """Return the range of the middle 80 % of a column, or its size if there is none."""
    known = column[np.isfinite(column)]
    if not len(known):
        return 1.0
    low, high = np.quantile(known, [0.1, 0.9])
    size = float(np.abs(known).max())
    spread = float(high - low)
    return spread if spread > 1e-9 * size else (size or 1.0)
