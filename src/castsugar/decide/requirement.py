"""What a mix must keep: a column at most or at least so much, surely or probably."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.checks import number
from castsugar.columns import COLUMNS
from castsugar.decide.problem import Limit
from castsugar.decide.table import DRAWN, chance_column
from castsugar.errors import InputError, unknown_name

#: Columns that run over decades: the search looks at their logarithm.
_LOGARITHMIC = ("pour_viscosity", "chamber_pressure")


def searchable() -> tuple[str, ...]:
    """Return the keys of all columns that hold numbers which a mix decides."""
    hidden = ("confirmation", "difference_", "_u_", "status", "name", "flags")
    return tuple(
        c.key
        for c in COLUMNS
        if c.decimals is not None and not any(word in c.key for word in hidden)
    )


def check_column(key: str) -> str:
    """Return the key of a column that can be searched for.

    Raises
    ------
    UnknownNameError
        With the nearest names.
    """
    known = searchable()
    if key not in known:
        raise unknown_name("column", key, known)
    return key


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """A limit on a column of the table.

    Attributes
    ----------
    column : str
        Key of :data:`castsugar.columns.COLUMNS`.
    at_most, at_least : float or None
        In the unit of the column; one or both.
    probability : float or None
        Share of the draws that keep it; only for columns that are drawn: pour
        viscosity and peak pressure. None: at the best estimate.

    Raises
    ------
    InputError
        Neither or contradictory values, a chance for a column that is not drawn.
    UnknownNameError
    """

    column: str
    at_most: float | None = None
    at_least: float | None = None
    probability: float | None = None

    def __post_init__(self) -> None:
        """Check it."""
        check_column(self.column)
        what = f"limit on {self.column}"
        both = (self.at_most, self.at_least)
        values = [number(v, what) for v in both if v is not None]
        if not values or not all(math.isfinite(v) for v in values):
            raise InputError(
                f"the limit on {self.column} has no number; give at_most or at_least"
            )
        if len(values) == 2 and values[0] < values[1]:
            raise InputError(
                f"limits on {self.column} contradict: at least {values[1]:g}, at most "
                f"{values[0]:g}"
            )
        if self.probability is not None:
            self._check_chance(self.probability)

    def _check_chance(self, probability: float) -> None:
        if self.column not in DRAWN:
            raise InputError(
                f"{self.column} has no draws, so no probability; a chance limit may "
                f"stand on {' and '.join(DRAWN)}"
            )
        what = f"probability of the limit on {self.column}"
        if not 0.5 <= number(probability, what) <= 0.99:
            raise InputError(
                f"the probability of the limit on {self.column} is {probability:g}; "
                "allowed: 50 % to 99 %"
            )

    def chances(self) -> tuple[tuple[str, float], ...]:
        """Return the quantiles that it needs: (column, level)."""
        if self.probability is None:
            return ()
        found = []
        if self.at_most is not None:
            found.append((self.column, self.probability))
        if self.at_least is not None:
            found.append((self.column, round(1.0 - self.probability, 9)))
        return tuple(found)

    def limits(self) -> tuple[Limit, ...]:
        """Return it as limits of the search, named for people."""
        found = []
        level = self.probability
        for sense, value in (("<=", self.at_most), (">=", self.at_least)):
            if value is None:
                continue
            column, chance = self.column, ""
            if level is not None:
                share = level if sense == "<=" else round(1.0 - level, 9)
                column = chance_column(self.column, share)
                chance = f" with {100.0 * level:g} %"
            found.append(
                Limit(
                    column=column,
                    sense=sense,
                    value=value,
                    name=f"{self.column} {sense} {value:g}{chance}",
                    logarithmic=value > 0.0 and self.column.startswith(_LOGARITHMIC),
                )
            )
        return tuple(found)
