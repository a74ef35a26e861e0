"""What is searched for: columns of a table, an objective among them, limits on them.

A problem evaluates mixes in batches and returns columns; objective and limits name
columns. One evaluation serves them all, and a limit that moves costs nothing for the
mixes already evaluated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError, unknown_name

#: Senses of a limit.
SENSES = ("<=", ">=")


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
    """A problem made of plain functions of arrays.

    Attributes
    ----------
    columns : tuple of str
    function : callable
        (n, k) to (n, c).
    derivative : callable, optional
        (n, k) to (n, c, k).
    """

    columns: tuple[str, ...]
    function: Callable[[FloatArray], FloatArray]
    derivative: Callable[[FloatArray], FloatArray] | None = None

    def evaluate(self, fractions: FloatArray) -> FloatArray:
        """Return the columns."""
        return self.function(fractions)

    def jacobian(self, fractions: FloatArray) -> FloatArray | None:
        """Return the derivatives, if known."""
        return self.derivative(fractions) if self.derivative else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A limit on a column.

    Attributes
    ----------
    column : str
    sense : str
        "<=" or ">=".
    value : float
        In the column's unit.
    name : str
        How messages call it; column, sense and value by default.
    logarithmic : bool
        Whether the search looks at the logarithm: for a column that runs over decades.
    """

    column: str
    sense: str
    value: float
    name: str = ""
    logarithmic: bool = False

    def __post_init__(self) -> None:
        """Check sense and value."""
        if self.sense not in SENSES:
            raise InputError(
                f"limit on {self.column!r} has the sense {self.sense!r}; allowed: "
                f"{', '.join(SENSES)}"
            )
        if not math.isfinite(self.value):
            raise InputError(f"limit on {self.column!r} is {self.value}; give a number")
        if self.logarithmic and self.value <= 0.0:
            raise InputError(
                f"limit on {self.column!r} is {self.value:g}; a logarithmic limit is "
                "above 0"
            )
        if not self.name:
            text = f"{self.column} {self.sense} {self.value:g}"
            object.__setattr__(self, "name", text)

    @property
    def sign(self) -> float:
        """Return 1 where a higher limit allows more, else -1."""
        return 1.0 if self.sense == "<=" else -1.0

    def slack(self, values: FloatArray) -> FloatArray:
        """Return how far values are from the limit, in its unit; below 0 is beyond."""
        return self.sign * (self.value - np.asarray(values, dtype=float))


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """What makes a mix the best.

    Attributes
    ----------
    objective : str
        Column.
    maximise : bool
    limits : tuple of Limit
    """

    objective: str
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
