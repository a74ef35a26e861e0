"""What is searched for, how good a mix is, and every trial that was made."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import field
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.limits import Limit
from castsugar.optimize.region import Region

# ----------------------------------------------------------------------------
# What is searched for: columns of a table, an objective among them, limits on them.
#
# A problem evaluates mixes in batches and returns columns; objective and limits name
# columns. One evaluation serves them all, and a limit that moves costs nothing for the
# mixes already evaluated.


class Problem(Protocol):
    """What the search asks for the values of mixes."""

    @property
    def columns(self) -> Sequence[str]:
        """Return the names of the columns."""

    def evaluate(self, fractions: FloatArray) -> FloatArray:
        """Return the columns of mixes, (n, k) to (n, c); NaN where one failed.

        Called with few large batches; a row must not depend on the others.
        """

    def jacobian(self, fractions: FloatArray) -> FloatArray | None:
        """Return derivatives of columns by fractions, (n, c, k), or None.

        Only their changes along directions that keep the sum of fractions count. A
        column with NaN is differentiated by differences.
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class FunctionProblem:
    """A problem made of plain functions of arrays."""

    columns: tuple[str, ...]
    function: Callable[[FloatArray], FloatArray]  # (n, k) to (n, c)
    derivative: Callable[[FloatArray], FloatArray] | None = None  # (n, k) to (n, c, k)

    def evaluate(self, fractions: FloatArray) -> FloatArray:
        """Return the columns."""
        return self.function(fractions)

    def jacobian(self, fractions: FloatArray) -> FloatArray | None:
        """Return the derivatives, if known."""
        return self.derivative(fractions) if self.derivative else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """What makes a mix the best."""

    objective: str  # column
    maximise: bool = True
    limits: tuple[Limit, ...] = ()

    def check(self, columns: Sequence[str]) -> None:
        """Refuse columns that the problem does not have, and contradictory limits.

        Raises
        ------
        UnknownNameError, InputError
        """
        for name in (self.objective, *(limit.column for limit in self.limits)):
            if name not in columns:
                raise unknown_name("column", name, columns)
        names = [limit.name for limit in self.limits]
        for name in names:
            if names.count(name) > 1:
                raise InputError(f"limit {name!r} is given twice; give it once")
        for low in (one for one in self.limits if one.sense == ">="):
            for high in (one for one in self.limits if one.sense == "<="):
                if low.column == high.column and low.value > high.value:
                    raise InputError(
                        f"limits on {low.column!r} contradict: at least {low.value:g}, "
                        f"at most {high.value:g}"
                    )


# ----------------------------------------------------------------------------
# How good a mix is: objective to minimise and slacks, all near 1 in size.

#: A limit counts as kept down to this scaled slack: rounding, no more.
TOLERANCE = 1e-12

#: Logarithms of columns are those of values not below this.
_TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judge:
    """A goal with the sizes of its columns."""

    goal: Goal
    places: NDArray[np.int64]  # columns of objective and limits, (1 + m,)
    size: float  # of differences of the objective that matter
    scales: FloatArray  # of the limits: 1 for a logarithmic one, (m,)

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
        return merit(self.outputs(values))

    def order(self, values: FloatArray) -> NDArray[np.int64]:
        """Return rows from best to worst: least violation, then best objective."""
        objective, violation = self.standing(values)
        return np.lexsort((objective, violation))


def merit(outputs: FloatArray) -> tuple[FloatArray, FloatArray]:
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


# ----------------------------------------------------------------------------
# Every trial is kept: fractions, columns, region, stage.

#: Region number of a trial outside the space: a row of the space was moved.
MOVED = -1


class SpentError(Exception):
    """The budget of evaluations is used up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials:
    """All mixes that were evaluated, in their order."""

    fractions: FloatArray  # (n, k)
    values: FloatArray  # (n, c)
    #: Number of the region; -1 outside the space (a limit of it was moved), (n,).
    region: NDArray[np.int64]
    #: "lattice", "polish", "poll", "prices", "relaxing" or "front".
    stage: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.fractions)


@dataclass(slots=True, kw_only=True)
class Ledger:
    """Asks the problem, within a budget, and writes every answer down."""

    problem: Problem
    regions: Sequence[Region]
    budget: int  # most evaluations
    stage: str = "lattice"  # what new trials are for
    batches: int = 0  # calls of the problem
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


# ----------------------------------------------------------------------------
# Many searches side by side, their questions put to the problem in one batch.
#
# A search is a generator: it yields an :class:`Ask` and is sent an :class:`Answer`.
# A batch for all of them costs little more than one for one of them.

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ask:
    """Mixes to evaluate, and rows of them to differentiate."""

    fractions: FloatArray  # (n, k)
    region: int
    #: Rows whose derivatives are of use, where the problem knows them.
    slopes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """Columns (n, c), and derivatives (rows asked for, c, k) or None."""

    values: FloatArray
    slopes: FloatArray | None

    def split(self, rows: int, slopes: int) -> tuple[Answer, Answer]:
        """Return the answers to the first rows and slopes, and to the rest."""
        known = self.slopes
        return (
            Answer(
                values=self.values[:rows],
                slopes=None if known is None else known[:slopes],
            ),
            Answer(
                values=self.values[rows:],
                slopes=None if known is None else known[slopes:],
            ),
        )


Search = Generator[Ask, Answer, T]


def side_by_side(ledger: Ledger, searches: Sequence[Search[T]]) -> list[T]:
    """Run searches in step until all have returned; return their results in order."""
    results: dict[int, T] = {}
    asks: dict[int, Ask] = {}
    answers: dict[int, Answer | None] = dict.fromkeys(range(len(searches)))
    while answers:
        for index, answer in answers.items():
            try:
                # The first send to a generator starts it and must carry None.
                asks[index] = searches[index].send(answer)  # type: ignore[arg-type]
            except StopIteration as end:
                results[index] = end.value
        answers = dict(_answered(ledger, asks))
        asks = {}
    return [results[index] for index in range(len(searches))]


def _answered(ledger: Ledger, asks: dict[int, Ask]) -> list[tuple[int, Answer | None]]:
    """Put all questions in one batch."""
    if not asks:
        return []
    fractions = np.vstack([a.fractions for a in asks.values()])
    regions = np.concatenate(
        [np.full(len(a.fractions), a.region) for a in asks.values()]
    )
    values = ledger.ask(fractions, regions)
    wanted = [a.fractions[list(a.slopes)] for a in asks.values()]
    rows = np.vstack(wanted)
    slopes = ledger.derivatives(rows) if len(rows) else None
    found: list[tuple[int, Answer | None]] = []
    start = slope = 0
    for index, ask in asks.items():
        stop, until = start + len(ask.fractions), slope + len(ask.slopes)
        part = None if slopes is None else slopes[slope:until]
        found.append((index, Answer(values=values[start:stop], slopes=part)))
        start, slope = stop, until
    return found
