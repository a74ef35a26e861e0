"""Limits of a mix: kept, broken, or not computed and why. One judgement for all.

A limit without a probability is held against the best estimate of its column, one with
a probability against the quantile of the draws that fill the row: see
:func:`castsugar.evaluation.evaluate_columns`, option `chances`. Nothing is drawn here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar import plausible
from castsugar.arrays import FloatArray
from castsugar.checks import instance, number
from castsugar.columns import COLUMN, COLUMNS
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.rows import WINGS

# ----------------------------------------------------------------------------
# What a limit says.

#: Senses of a limit.
SENSES = ("<=", ">=")

POUR, PEAK = "pour_viscosity_Pa_s", "peak_pressure_MPa"
SOLIDS = "relative_solids_20C"

#: Columns that a chance limit can be set on: those that are drawn.
DRAWN = (POUR, PEAK, SOLIDS)

#: Quantiles that are the ends of the 95 % bands of these.
BAND = tuple((column, level) for column in DRAWN for level in (0.025, 0.975))

#: Quantiles that every row holds, under a name of their own.
_STANDARD = {
    (POUR, 0.1): "pour_viscosity_p10_Pa_s",
    (POUR, 0.9): "pour_viscosity_p90_Pa_s",
    (PEAK, 0.95): "peak_pressure_p95_MPa",
}

#: Columns that run over decades: the search looks at their logarithm.
_LOGARITHMIC = ("pour_viscosity", "peak_pressure")

#: Columns known to a factor: their distance to a limit is a ratio.
_FACTOR = "pour_viscosity"

#: Whose a limit is: yours, or the case's, by the rule that sets it
#: (:attr:`castsugar.motor.case.Allowable.whose`).
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
    """A limit on a column, as :meth:`Requirement.limits` makes it.

    Attributes
    ----------
    column : str
        What is held against it: a column of the table, or a :func:`chance_column`.
    sense : str
        "<=" or ">=".
    value : float
        Unit of the column.
    name : str
        How messages call it; column, sense and value by default.
    logarithmic : bool
        Whether the search looks at the logarithm: for a column that runs over decades.
    key : str
        Column of the table; `column` by default.
    probability : float or None
        Share of the draws that must keep it; None: the best estimate decides.
    whose : str
        :data:`YOURS`, or what that of the case is called, as :data:`RATING`.

    Raises
    ------
    InputError
        For another sense, a value that is no number, a logarithmic one of 0 or less.

    Examples
    --------
    >>> hot = Limit(column="flame_temperature_K", sense="<=", value=1700.0)
    >>> hot.slack(np.array([1650.0, 1720.0])).tolist()
    [50.0, -20.0]
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
        """Return 1 where a higher limit allows more, else -1. [-]"""
        return 1.0 if self.sense == "<=" else -1.0

    @property
    def level(self) -> float | None:
        """Return the share of draws that is held against it; None without draws."""
        if self.probability is None:
            return None
        share = self.probability
        return share if self.sense == "<=" else round(1.0 - share, 9)

    def slack(self, values: FloatArray) -> FloatArray:
        """Return how far values, shape (n,), are within it. [unit of the column]"""
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
        viscosity, peak pressure, relative solids at 20 C. None: at the best estimate.
    whose : str
        :data:`YOURS`, or what that of the case is called, as :data:`RATING`.

    Raises
    ------
    InputError
        Neither or contradictory values, one that is impossible (a share that is not 0
        to 1), a chance for a column that is not drawn.
    UnknownNameError
        For a column that the table has not.

    Notes
    -----
    Taken by :func:`castsugar.search`, :func:`castsugar.justify`, the conditions of a
    weigh sheet and :func:`castsugar.plot.sweep`; any table is judged by the slack of
    its column, 0 or more where it is kept.

    Examples
    --------
    >>> mild = Requirement(column="flame_temperature_K", at_most=1700.0)
    >>> len(mild.limits()), mild.chances()
    (1, ())
    >>> mild.limits()[0].slack(np.array([1650.0, 1720.0])).tolist()
    [50.0, -20.0]
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
        for value in values:
            if wrong := plausible.fault(plausible.range_of_limit(self.column), value):
                raise InputError(f"the limit on {self.column} {wrong}")
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
                f"stand on {', '.join(DRAWN)}"
            )
        what = f"probability of the limit on {self.column}"
        if not 0.5 <= number(probability, what) <= 0.99:
            raise InputError(
                f"the probability of the limit on {self.column} is {probability:g}; "
                "allowed: 50 % to 99 %"
            )

    def chances(self) -> tuple[tuple[str, float], ...]:
        """Return the quantiles that it needs: (column, level)."""
        return chances_of(self.limits())

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


def limits_of(stated: Iterable[Requirement | Limit]) -> tuple[Limit, ...]:
    """Return what users state as single limits; InputError for anything else."""
    found: list[Limit] = []
    for one in stated:
        if not isinstance(one, Limit):
            instance(one, Requirement, "limit", optional=False)
        found += [one] if isinstance(one, Limit) else one.limits()
    return tuple(found)


def chances_of(limits: Iterable[Limit]) -> tuple[tuple[str, float], ...]:
    """Return the quantiles that limits need: (column, level), each once."""
    pairs = ((one.key, one.level) for one in limits)
    return tuple(
        dict.fromkeys((key, level) for key, level in pairs if level is not None)
    )


def levels_of(chances: Iterable[tuple[str, float]], column: str) -> tuple[float, ...]:
    """Return the levels that are asked of one column, each once."""
    return tuple(dict.fromkeys(level for name, level in chances if name == column))


def rated(
    requirements: Sequence[Requirement], allowable: float, whose: str = RATING
) -> tuple[Requirement, ...]:
    """Return limits with what the case may hold among them, if it is known.

    In 95 of 100 draws the peak stays below the allowed pressure, unless a limit says as
    much or more.

    Parameters
    ----------
    allowable : float
        Allowed pressure of the motor, NaN if none is stated. [Pa]
    whose : str
        What it is called.
    """
    allowed = 1e-6 * allowable
    if not math.isfinite(allowed):
        return tuple(requirements)
    if any(_guards(need, allowed) for need in requirements):
        return tuple(requirements)
    own = Requirement(column=PEAK, at_most=allowed, probability=0.95, whose=whose)
    return (*requirements, own)


def _guards(need: Requirement, allowed: float) -> bool:
    """Say whether a limit keeps 95 of 100 draws below the allowed pressure [MPa]."""
    if need.column == "pressure_margin_percent":
        return need.at_least is not None and need.at_least >= 0.0
    sure = need.column == "peak_pressure_p95_MPa" or (
        need.column == PEAK and (need.probability or 0.0) >= 0.95
    )
    return sure and need.at_most is not None and need.at_most <= allowed * (1.0 + 1e-9)


# ----------------------------------------------------------------------------
# How mixes stand to a limit.

KEPT, BROKEN, NOT_COMPUTED = "kept", "broken", "not computed"

#: A limit counts as kept within this share of it, as in a search.
_ROUNDING = 1e-7

#: Why nothing is computed where a part of the bench is missing, by group of the column.
NOT_GIVEN = {
    "kitchen": "no kitchen was given ([kitchen] cook)",
    "motor": "no motor was given ([motor])",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitVerdict:
    """One mix at one limit."""

    #: What is held against the limit: the quantile that its probability asks for, or
    #: the best estimate; in the unit of the column, NaN if it was not computed.
    value: float
    verdict: str  # "kept", "broken" or "not computed"
    #: Distance to the limit over the limit, below 0 where it is broken; NaN for a limit
    #: of 0.
    margin: float
    #: `value` over the limit, where the column is known to a factor; else NaN.
    factor: float = math.nan
    reason: str = ""  # why it is not computed; else empty
    #: Of the draws of a comparison that keep a limit without a probability; NaN for one
    #: with a probability, and for a column that is not drawn.
    share: float = math.nan
    #: What a pressure rests on where its mix was not burned: the model with the
    #: distance to the nearest mix that was, or "borrowed burning rate" where nothing
    #: was; else empty. Only in a comparison.
    ground: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judgement:
    """One limit, and how every mix stands to it; ``judgement[2]`` is that of a mix."""

    limit: Limit
    values: FloatArray  # what is held against it; NaN where not computed, (n,)
    reasons: Sequence[str]  # why not; empty where computed

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Which mixes keep it, (n,)."""
        least = -_ROUNDING * abs(self.limit.value)
        with np.errstate(invalid="ignore"):
            return np.asarray(self.limit.slack(self.values) >= least)

    @property
    def broken(self) -> NDArray[np.bool_]:
        """Which mixes break it, (n,); one that is not computed does not."""
        return ~self.kept & ~np.isnan(self.values)

    @property
    def margin(self) -> FloatArray:
        """Distance to the limit over the limit, (n,)."""
        size = abs(self.limit.value) or math.nan
        return np.asarray(self.limit.slack(self.values) / size)

    @property
    def factor(self) -> FloatArray:
        """Value over limit where the column is known to a factor, else NaN, (n,)."""
        known = self.limit.key.startswith(_FACTOR) and self.limit.value
        return np.asarray(self.values / (self.limit.value if known else math.nan))

    def __len__(self) -> int:
        """Return how many mixes were judged."""
        return len(self.values)

    def __getitem__(self, mix: int) -> LimitVerdict:
        """Return how one mix stands."""
        one = replace(self, values=self.values[[mix]], reasons=(self.reasons[mix],))
        verdict = KEPT if one.kept[0] else BROKEN
        return LimitVerdict(
            value=float(one.values[0]),
            verdict=NOT_COMPUTED if math.isnan(one.values[0]) else verdict,
            margin=float(one.margin[0]),
            factor=float(one.factor[0]),
            reason=one.reasons[0],
        )

    def __iter__(self) -> Iterator[LimitVerdict]:
        """Return how each mix stands, in order."""
        return (self[mix] for mix in range(len(self)))


def judge(limits: Iterable[Limit], columns: Mapping[str, Any]) -> tuple[Judgement, ...]:
    """Hold every mix against every limit.

    Parameters
    ----------
    columns : mapping
        Column to one value a mix, as :func:`castsugar.evaluation.evaluate_columns`
        returns them, with the quantiles that the limits ask for.

    Returns
    -------
    tuple of Judgement
        One a limit.

    Examples
    --------
    >>> soft = Limit(column="relative_solids_20C", sense=">=", value=0.95)
    >>> (found,) = judge([soft], {"relative_solids_20C": [1.07, 0.9, math.nan]})
    >>> [one.verdict for one in found]
    ['kept', 'broken', 'not computed']
    """
    return tuple(_judged(limit, columns) for limit in limits)


def judge_rows(
    limits: Iterable[Limit], rows: Sequence[Mapping[str, Any]]
) -> tuple[Judgement, ...]:
    """Hold rows of the table against limits; see :func:`judge`."""
    keys = dict.fromkeys(key for row in rows for key in row)
    return judge(limits, {k: [row.get(k, math.nan) for row in rows] for k in keys})


def _judged(limit: Limit, columns: Mapping[str, Any]) -> Judgement:
    """Hold every mix against one limit."""
    count = len(next(iter(columns.values()), ()))
    name = limit.column
    if name not in columns and limit.level is not None:
        name = _STANDARD.get((limit.key, limit.level), name)
    given = columns.get(name)
    values = np.full(count, math.nan)
    if given is not None:
        values = np.asarray(given, dtype=float)
    gone = np.isnan(values)
    return Judgement(
        limit=limit,
        values=values,
        reasons=tuple(
            _reason(limit.key, columns, mix) if gone[mix] else ""
            for mix in range(count)
        ),
    )


#: Column -> what stands in a flag in front of why it is not computed.
_OWN_FLAG = {"relative_solids_20C": "no relative solids at 20 C: "}


def _reason(key: str, columns: Mapping[str, Any], mix: int) -> str:
    """Say why a column of a row is not computed."""

    def said(column: str) -> str:
        return str(columns[column][mix]) if column in columns else ""

    group = COLUMN[key].group if key in COLUMN else ""
    if group in WINGS and said(WINGS[group]) == "not asked":
        return NOT_GIVEN[group]
    head, _, why = said(WINGS["motor"]).partition(": ")
    if group == "motor" and head == NOT_COMPUTED:
        return why
    for one in said("flags").split("; "):
        for flag in (f"{group} {NOT_COMPUTED}: ", _OWN_FLAG.get(key, "\n")):
            if one.startswith(flag):
                return one.removeprefix(flag)
    status = said("status")
    if status not in ("", "ok"):
        return status.removeprefix(f"{NOT_COMPUTED}: ")
    return "not computed for this mix"
