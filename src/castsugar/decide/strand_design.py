r"""Which rows of a linear model to measure next: D- and I-optimal, by exchange.

A row x measured with variance v turns the covariance P of the coefficients into

.. math:: P - \frac{P x x^T P}{v + x^T P x}

D-optimal rows minimise ln det P, I-optimal ones the mean of x' P x over the rows that
matter. Greedy start, then exchange: each chosen row in turn gives way to the best
candidate until none gains (V. V. Fedorov, *Theory of Optimal Experiments* (1972); R. D.
Cook & C. J. Nachtsheim, *Technometrics* 22 (1980) 315: the modified exchange; from
memory). Prior covariance: K. Chaloner & I. Verdinelli, *Statistical Science* 10 (1995)
273, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError

#: Criteria of a design.
CRITERIA = ("I", "D")

#: Random starts beside the greedy one.
_STARTS = 6

#: Most rounds of exchange.
_ROUNDS = 60

#: A gain that counts: of the criterion's size (I), of ln det (D).
_GAIN = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DesignProblem:
    """Rows to choose from and what is known before.

    Attributes
    ----------
    rows : ndarray, shape (n, p)
        Candidates.
    covariance : ndarray, shape (p, p)
        Of the coefficients before; positive definite.
    noise : float
        Variance of a measured row.
    moments : ndarray, shape (p, p)
        Mean of x x' over the rows that matter, for the criterion "I".
    criterion : str
        "I" or "D".

    Raises
    ------
    InputError
        For another criterion, no candidate, a variance of 0 or less.
    """

    rows: FloatArray
    covariance: FloatArray
    noise: float
    moments: FloatArray
    criterion: str = "I"

    def __post_init__(self) -> None:
        """Check it."""
        if self.criterion not in CRITERIA:
            raise InputError(
                f"criterion is {self.criterion!r}; allowed: I (least mean variance of "
                "the prediction) or D (least volume of the coefficients' doubt)"
            )
        if not len(self.rows):
            raise InputError("there is no candidate to choose from; give one or more")
        if not self.noise > 0.0:
            raise InputError(
                f"variance of a test is {self.noise:g}; it must be above 0"
            )

    @property
    def tolerance(self) -> float:
        """Return the gain that counts."""
        if self.criterion == "D":
            return _GAIN
        return _GAIN * float((self.covariance * self.moments).sum())

    def value(self, rows: FloatArray) -> float:
        """Return the criterion after rows (m, p) were measured; less is better."""
        return self._value(updated(self.covariance, rows, self.noise))

    def _value(self, covariance: FloatArray) -> float:
        if self.criterion == "D":
            return float(np.linalg.slogdet(covariance)[1])
        return float((covariance * self.moments).sum())

    def scores(self, measured: FloatArray, again: FloatArray | None) -> FloatArray:
        """Return the criterion after one candidate more, (n,), for each candidate.

        Parameters
        ----------
        measured : ndarray, shape (m, p)
            Rows measured beside it.
        again : ndarray, shape (r, p), optional
            One row more is measured: the best of these, or the candidate itself again.
        """
        base = updated(self.covariance, measured, self.noise)
        moved = self.rows @ base
        total = self.noise + (moved * self.rows).sum(axis=1)
        step = moved / np.sqrt(total)[:, None]
        after = base - step[:, :, None] * step[:, None, :]
        if self.criterion == "D":
            value = self._value(base) + np.log(self.noise / total)
        else:
            value = (after * self.moments).sum(axis=(1, 2))
        if again is None:
            return np.asarray(value)
        shape = (len(self.rows), *again.shape)
        options = np.concatenate(
            [np.broadcast_to(again, shape), self.rows[:, None]], axis=1
        )
        return np.asarray(value - self._gains(options, after).max(axis=1))

    def _gains(self, options: FloatArray, covariance: FloatArray) -> FloatArray:
        """Return what one row (..., r, p) lowers the criterion by."""
        moved = options @ covariance
        total = self.noise + (moved * options).sum(axis=-1)
        if self.criterion == "D":
            return np.asarray(np.log(total / self.noise))
        return np.asarray(((moved @ self.moments) * moved).sum(axis=-1) / total)

    def best_again(self, rows: FloatArray, options: FloatArray) -> int:
        """Return which of the options (r, p) to measure after rows (m, p)."""
        after = updated(self.covariance, rows, self.noise)
        return _first(-self._gains(options, after), self.tolerance)


def updated(
    covariance: FloatArray, rows: FloatArray, noise: float | FloatArray
) -> FloatArray:
    """Return the covariance of coefficients after rows were measured.

    Parameters
    ----------
    covariance : ndarray, shape (p, p)
    rows : ndarray, shape (m, p)
    noise : float or ndarray, shape (m,)
        Variance of each.

    Examples
    --------
    >>> updated(np.eye(2), np.array([[1.0, 0.0]]), 1.0).tolist()
    [[0.5, 0.0], [0.0, 1.0]]
    """
    if not len(rows):
        return covariance
    moved = rows @ covariance
    total = moved @ rows.T + np.diag(np.broadcast_to(noise, (len(rows),)))
    after = covariance - moved.T @ np.linalg.solve(total, moved)
    return 0.5 * (after + after.T)


def best_design(
    problem: DesignProblem,
    count: int,
    *,
    again: FloatArray | None = None,
    distinct: bool = False,
    seed: int = 0,
) -> tuple[list[int], int | None]:
    """Return which candidates to measure, the most telling first.

    Parameters
    ----------
    problem : DesignProblem
    count : int
        Rows in all.
    again : ndarray, shape (r, p), optional
        Rows that were measured before. If given (it may be empty) and `count` is 2 or
        more, the last row of the design is one of these, or one that is chosen, again.
    distinct : bool
        Whether no candidate is chosen twice but for that last row; as far as there are
        enough of them.
    seed : int
        Of the random starts.

    Returns
    -------
    chosen : list of int
        Candidates.
    replicate : int or None
        Number in the list of `again` followed by `chosen`.
    """
    repeated = again if count >= 2 else None
    free = count if repeated is None else count - 1
    number = len(problem.rows)
    distinct = distinct and free <= number
    rng = np.random.default_rng([seed, 23])
    starts = [_greedy(problem, range(number), free, distinct=distinct)]
    starts += [
        rng.choice(number, free, replace=not distinct).tolist() for _ in range(_STARTS)
    ]
    ends = [_exchange(problem, start, repeated, distinct=distinct) for start in starts]
    chosen = ends[_first(np.array([value for value, _ in ends]), problem.tolerance)][1]
    order = _greedy(problem, chosen, free, distinct=True)
    if repeated is None:
        return order, None
    rows = problem.rows[order]
    return order, problem.best_again(rows, np.vstack([repeated, rows]))


def _greedy(
    problem: DesignProblem, among: Sequence[int], count: int, *, distinct: bool
) -> list[int]:
    """Return candidates, each the best after those before it."""
    left, chosen = list(among), list[int]()
    for _ in range(count):
        scores = problem.scores(problem.rows[chosen], None)[left]
        place = _first(scores, problem.tolerance)
        chosen.append(left[place])
        if distinct:
            left.pop(place)
    return chosen


def _exchange(
    problem: DesignProblem,
    start: Sequence[int],
    again: FloatArray | None,
    *,
    distinct: bool,
) -> tuple[float, list[int]]:
    """Return the criterion and the rows that no single exchange betters."""
    chosen, value, moved = list(start), np.inf, True
    for _ in range(_ROUNDS):
        if not moved:
            break
        moved = False
        for place in range(len(chosen)):
            others = chosen[:place] + chosen[place + 1 :]
            rows = problem.rows[others]
            options = None if again is None else np.vstack([again, rows])
            scores = problem.scores(rows, options)
            if distinct:
                scores[others] = np.inf
            best = _first(scores, problem.tolerance)
            value = float(scores[chosen[place]])
            if scores[best] < value - problem.tolerance:
                chosen[place], value, moved = best, float(scores[best]), True
    return value, chosen


def _first(scores: FloatArray, tolerance: float) -> int:
    """Return the first of the least scores; rounding does not choose among equals."""
    least: NDArray[np.int64] = np.flatnonzero(scores <= scores.min() + tolerance)
    return int(least[0])
