"""Limits of a mix: kept, broken, or not computed and why. One judgement for all.

A limit without a probability is held against the best estimate of its column, one with
a probability against the quantile of the draws that fill the row: see
:func:`castsugar.evaluation.evaluate_columns`, option `chances`. Nothing is drawn here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import number
from castsugar.columns import COLUMNS
from castsugar.errors import InputError, unknown_name

# ----------------------------------------------------------------------------
# What a limit says.

#: Senses of a limit.
SENSES = ("<=", ">=")

POUR, PEAK = "pour_viscosity_Pa_s", "peak_pressure_MPa"

#: Columns that a chance limit can be set on: those that are drawn.
DRAWN = (POUR, PEAK)

#: Columns that run over decades: the search looks at their logarithm.
_LOGARITHMIC = ("pour_viscosity", "peak_pressure")

#: Whose a limit is.
YOURS, RATING = "your limit", "your rating"


def chance_column(column: str, probability: float) -> str:
    """Return the name of a quantile of a drawn column.

    Examples
    --------
    >>> chance_column("pour_viscosity_Pa_s", 0.8)
    'pour_viscosity_Pa_s, 80 of 100'
    """
    return f"{column}, {100.0 * probability:.6g} of 100"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A limit on a column.

    Attributes
    ----------
    column : str
        What is held against it: a column of the table, or a :func:`chance_column`.
    sense : str
        "<=" or ">=".
    value : float
        In the column's unit.
    name : str
        How messages call it; column, sense and value by default.
    logarithmic : bool
        Whether the search looks at the logarithm: for a column that runs over decades.
    key : str
        Column of the table; `column` by default.
    probability : float or None
        Share of the draws that must keep it; None: the best estimate decides.
    whose : str
        :data:`YOURS` or :data:`RATING`.
    """

    column: str
    sense: str
    value: float
    name: str = ""
    logarithmic: bool = False
    key: str = ""
    probability: float | None = None
    whose: str = YOURS

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
        if not self.key:
            object.__setattr__(self, "key", self.column)

    @property
    def sign(self) -> float:
        """Return 1 where a higher limit allows more, else -1."""
        return 1.0 if self.sense == "<=" else -1.0

    @property
    def level(self) -> float | None:
        """Return the quantile that is held against it; None: the best estimate."""
        if self.probability is None:
            return None
        share = self.probability
        return share if self.sense == "<=" else round(1.0 - share, 9)

    def slack(self, values: FloatArray) -> FloatArray:
        """Return how far values are from the limit, in its unit; below 0 is beyond."""
        return self.sign * (self.value - np.asarray(values, dtype=float))


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
    """A limit on a column of the table, as a user states it.

    Attributes
    ----------
    column : str
        Key of :data:`castsugar.columns.COLUMNS`.
    at_most, at_least : float or None
        In the unit of the column; one or both.
    probability : float or None
        Share of the draws that keep it; only for columns that are drawn: pour
        viscosity and peak pressure. None: at the best estimate.
    whose : str
        :data:`YOURS` or :data:`RATING`.

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
    whose: str = YOURS

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
        """Return it as limits, named for people."""
        found = []
        for sense, value in (("<=", self.at_most), (">=", self.at_least)):
            if value is None:
                continue
            column, chance = self.column, ""
            if self.probability is not None:
                share = self.probability if sense == "<=" else 1.0 - self.probability
                column = chance_column(self.column, round(share, 9))
                chance = f" with {100.0 * self.probability:g} %"
            found.append(
                Limit(
                    column=column,
                    sense=sense,
                    value=value,
                    name=f"{self.column} {sense} {value:g}{chance}",
                    logarithmic=value > 0.0 and self.column.startswith(_LOGARITHMIC),
                    key=self.column,
                    probability=self.probability,
                    whose=self.whose,
                )
            )
        return tuple(found)


# ----------------------------------------------------------------------------
# How mixes stand to a limit.

KEPT, BROKEN, NOT_COMPUTED = "kept", "broken", "not computed"


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitVerdict:
    """One mix at one limit.

    Attributes
    ----------
    value : float
        What is held against the limit: the quantile that its probability asks for, or
        the best estimate; in the unit of the column, NaN if it was not computed.
    verdict : str
        "kept", "broken" or "not computed".
    margin : float
        Distance to the limit over the limit, below 0 where it is broken; NaN for a
        limit of 0.
    reason : str
        Why it is not computed; else empty.
    share : float
        Of the draws of a comparison that keep a limit without a probability; NaN for
        one with a probability, and for a column that is not drawn.
    ground : str
        "borrowed burn rate" where a pressure rests on strands of another mix or on a
        published law; else empty. Only in a comparison.
    """

    value: float
    verdict: str
    margin: float
    reason: str = ""
    share: float = math.nan
    ground: str = ""
