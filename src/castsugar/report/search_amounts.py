"""Numbers of a search as text: values near limits, differences, what breaks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from castsugar import units
from castsugar.columns import COLUMN
from castsugar.limits import Limit
from castsugar.optimize.problem import Goal
from castsugar.report.layout import number
from castsugar.report.search_words import Asked, chance_of, label_of, unit_of
from castsugar.report.strand_units import short

#: From here on a column stands for infinity: jammed, no stable pressure (as
#: optimize.task has it).
JAMS, RUNAWAY = 1e12, 1e3

#: Share of a limit that counts as nothing beyond it.
_ROUNDING = 1e-9


def boundless(column: str, value: float) -> str:
    """Return a word for a value that stands for infinity; empty if it does not."""
    if column.startswith("pour_viscosity") and value >= JAMS:
        return "jams"
    if column.startswith("peak_pressure") and value >= RUNAWAY:
        return "runs away"
    return ""


def exact(column: str, value: float) -> str:
    """Write a value near its limit: four digits, two of a viscosity.

    Examples
    --------
    >>> exact("peak_pressure_MPa", 2.60041), exact("pour_viscosity_Pa_s", 9.999)
    ('2.6', '10')
    """
    word = boundless(column, value)
    return word or few(value, 2 if column.startswith("pour_viscosity") else 4)


def shown(column: str, value: float) -> str:
    """Write a value with the digits that it deserves, and its unit."""
    base = chance_of(column)[0]
    word = boundless(column, value)
    if word or base not in COLUMN or base.startswith("pour_viscosity"):
        text = word or exact(column, value)
    else:
        text = number(value, COLUMN[base].decimals)
    return with_unit(text, column)


def with_unit(text: str, column: str) -> str:
    """Return a number as text with the unit of its column; words stay alone."""
    unit = unit_of(column)
    return f"{text} {unit}" if unit and text[-1:].isdigit() else text


def in_units(column: str, value: float, asked: Asked) -> str:
    """Write a value near its limit with its unit, a pressure in the user's too."""
    first, *more = units_of(column, value, asked)
    return first + "".join(f" ({one})" for one in more)


def units_of(column: str, value: float, asked: Asked) -> list[str]:
    """Return a value near its limit in each unit to show."""
    text = with_unit(exact(column, value), column)
    if not column.startswith("peak_pressure") or not math.isfinite(value):
        return [text]
    if boundless(column, value):
        return [text]
    return [text] + [
        f"{few(units.convert(1e6 * value, 'pressure', unit), 4)} {unit}"
        for unit in asked.pressures()[1:]
    ]


def few(value: float, digits: int) -> str:
    """Write a number with so many digits, zeros for the rest.

    Examples
    --------
    >>> few(2134.5, 2), few(2.600, 4), few(math.nan, 2)
    ('2100', '2.6', '-')
    """
    return short(float(f"{value:.{digits}g}"), digits)


def signed(value: float, digits: int = 2) -> str:
    """Write a difference with its sign.

    Examples
    --------
    >>> signed(2134.5), signed(-0.0312), signed(0.0)
    ('+2100', '-0.031', '0')
    """
    text = few(value, digits)
    return f"+{text}" if value > 0.0 else text


def percent_of(change: float, base: float) -> str:
    """Return a difference as a signed share of a value; empty without one.

    Examples
    --------
    >>> percent_of(2.0, 100.0), percent_of(-1e-3, 100.0), percent_of(1.0, 0.0)
    ('+2 %', 'below 0.01 %', '')
    """
    if not base or not math.isfinite(change / base):
        return ""
    share = 100.0 * change / abs(base)
    return f"{signed(share)} %" if abs(share) >= 0.01 else "below 0.01 %"


def change_text(column: str, change: float, base: float) -> str:
    """Return a change of a column with its unit, and as a share."""
    text = with_unit(signed(change), column)
    share = percent_of(change, base)
    return f"{text} ({share})" if share else text


def gain(goal: Goal, best: float, other: float) -> float:
    """Return by how much the best is better; below 0 it is worse."""
    return best - other if goal.maximise else other - best


def loss_text(goal: Goal, loss: float, base: float) -> str:
    """Return what a loss (above 0: worse) changes the objective by."""
    change = -loss if goal.maximise else loss
    return change_text(goal.objective, change, base)


def kept(limit: Limit, value: float) -> bool:
    """Say whether a value keeps a limit; one that is not known does not."""
    if math.isinf(value):
        return limit.sign * value < 0.0
    left = limit.sign * (limit.value - value)
    return left >= -_ROUNDING * max(abs(limit.value), abs(value), 1e-300)


def bound(limit: Limit) -> str:
    """Return sense and value of a limit.

    Examples
    --------
    >>> bound(Limit(column="relative_solids_20C", sense=">=", value=0.9))
    'at least 0.9'
    """
    word = "at most" if limit.sense == "<=" else "at least"
    return f"{word} {short(limit.value)}"


def bound_text(limit: Limit) -> str:
    """Return sense and value of a limit with its unit."""
    return with_unit(bound(limit), limit.column)


def broken(
    limits: Sequence[Limit], values: Mapping[str, float], asked: Asked
) -> list[str]:
    """Return one phrase for each limit that values break."""
    found = []
    for limit in limits:
        value = values.get(limit.column, math.nan)
        if math.isnan(value) or kept(limit, value):
            continue
        told = in_units(limit.column, value, asked)
        found.append(f"{label_of(limit.column)}: {told} ({bound_text(limit)})")
    return found


def not_computed(limits: Sequence[Limit], values: Mapping[str, float]) -> list[str]:
    """Return one phrase for each limit on a column that values do not hold."""
    return [
        f"{label_of(limit.column)} ({bound_text(limit)})"
        for limit in limits
        if math.isnan(values.get(limit.column, math.nan))
    ]
