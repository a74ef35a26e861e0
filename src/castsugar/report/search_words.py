"""What was typed for a search, and what its columns and mixes are called."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.limits import Limit
from castsugar.optimize.task import DELIVERED, WEIGHTED
from castsugar.report import numbers
from castsugar.report.field import FIELDS, Field
from castsugar.report.mix_words import plain_key
from castsugar.report.shown import Shown

_CHANCE = re.compile(r"(.+), ([\d.]+) of 100")

#: From here on a column stands for infinity: jams, no stable pressure (as
#: optimize.task has it).
_ENDLESS = {"pour_viscosity": 1e12, "peak_pressure": 1e3}

#: What a search knows beside the columns of the table.
_OWN = {
    DELIVERED: Field(
        key=DELIVERED,
        label="delivered Isp",
        kind="specific impulse",
        meaning="ideal specific impulse times the efficiency of [motor]",
    ),
    WEIGHTED: Field(
        key="weighted_sum",
        label=WEIGHTED,
        kind="number",
        meaning="of columns in the units of their keys, with the weights of [search]",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed.

    Attributes
    ----------
    file : str
        Name of the bench file.
    typed : mapping
        Ingredient as typed to its catalogue name.
    assumptions : tuple of str
    before : str
        What the titles of pictures begin with, such as "EXAMPLE: ".
    """

    file: str
    typed: Mapping[str, str] = field(default_factory=dict)
    assumptions: tuple[str, ...] = ()
    before: str = ""

    def name(self, catalogue: str) -> str:
        """Return an ingredient as it was typed first.

        Examples
        --------
        >>> Asked(file="a.toml", typed={"KNO3": "potassium nitrate"}).name("sucrose")
        'sucrose'
        """
        found = [typed for typed, name in self.typed.items() if name == catalogue]
        return found[0] if found else catalogue

    def renamed(self, text: str) -> str:
        """Return a text with catalogue names as they were typed."""
        names = sorted(set(self.typed.values()), key=lambda n: (-len(n), n))
        if not names:
            return text
        pattern = "|".join(re.escape(name) for name in names)
        return re.sub(rf"(?<!\w)({pattern})(?!\w)", lambda m: self.name(m[1]), text)

    def mix(self, names: Sequence[str], fractions: FloatArray | Sequence[float]) -> str:
        """Return a mix in one line: "KNO3 62.2, corn syrup 37.8"."""
        return ", ".join(
            f"{self.name(name)} {numbers.at_place(100.0 * share, -1)}"
            for name, share in zip(names, map(float, fractions), strict=True)
            if share > 0.0
        )


# ----------------------------------------------------------------------------
# Columns of a search: those of the table, and quantiles of those that are drawn.


def chance_of(column: str) -> tuple[str, float | None]:
    """Return the column behind a chance column, and its share of 100.

    Examples
    --------
    >>> chance_of("relative_solids_20C"), chance_of("pour_viscosity_Pa_s, 80 of 100")
    (('relative_solids_20C', None), ('pour_viscosity_Pa_s', 80.0))
    """
    found = _CHANCE.fullmatch(column)
    return (found[1], float(found[2])) if found else (column, None)


def field_of(column: str) -> Field:
    """Return what is known of the column behind a column of a search."""
    base = chance_of(column)[0]
    return _OWN.get(base) or FIELDS[base]


def unit_of(column: str) -> str:
    """Return the unit of a column of a search; empty for none."""
    base = chance_of(column)[0]
    if base == DELIVERED:
        return "s"
    return COLUMN[base].unit if base in COLUMN else ""


def label_of(column: str) -> str:
    """Return what to call a column of a search.

    Examples
    --------
    >>> label_of("pour_viscosity_Pa_s, 80 of 100")
    'pour viscosity, 80 of 100 below'
    """
    base, share = chance_of(column)
    if base in _OWN:
        label = _OWN[base].label
    else:
        label = COLUMN[base].label if base in COLUMN else base
    return label if share is None else f"{label}, {share:g} of 100 below"


def file_key(column: str) -> str:
    """Return the key of a column in files, its unit at the end.

    Examples
    --------
    >>> file_key("pour_viscosity_Pa_s, 80 of 100"), file_key("weighted sum")
    ('pour_viscosity_p80_Pa_s', 'weighted_sum')
    """
    base, share = chance_of(column)
    if share is None:
        return plain_key(base)
    unit = unit_key(base)
    stem = base.removesuffix(f"_{unit}") if unit else base
    level = plain_key(f"p{share:02g}")
    return "_".join(part for part in (stem, level, unit) if part)


def unit_key(column: str) -> str:
    """Return the unit of a column as keys carry it; empty for none."""
    return plain_key(unit_of(column).replace("%", "percent"))


# ----------------------------------------------------------------------------
# Values.


def endless(column: str, value: float) -> float:
    """Return a value, infinite where it stands for that."""
    for name, most in _ENDLESS.items():
        if column.startswith(name) and value >= most:
            return math.inf
    return value


def value_text(column: str, value: float, show: Shown, digits: int = 4) -> str:
    """Write a value near its limit, with its unit: two digits of a viscosity.

    Examples
    --------
    >>> value_text("peak_pressure_MPa", 2.60041, Shown())
    '2.600 MPa'
    >>> value_text("pour_viscosity_Pa_s, 85 of 100", 1e12, Shown())
    'jams'
    """
    one = field_of(column)
    value = endless(column, value)
    if math.isinf(value):
        return one.endless
    return show.amount(one.kind, value, 2 if one.factor_of else digits)


def bound_words(limit: Limit, show: Shown) -> str:
    """Return sense and value of a limit with its unit.

    Examples
    --------
    >>> bound_words(Limit(column="peak_pressure_MPa", sense="<=", value=6.9), Shown())
    'at most 6.9 MPa'
    """
    word = "at most" if limit.sense == "<=" else "at least"
    return f"{word} {show.bound(field_of(limit.column).kind, limit.value)}"


def limit_noun(limit: Limit, show: Shown) -> str:
    """Return what a limit is called without its number.

    Examples
    --------
    >>> limit_noun(Limit(column="pour_viscosity_Pa_s", sense="<=", value=9.0), Shown())
    'pour limit'
    """
    if limit.column.startswith("pour_viscosity"):
        return "pour limit"
    if guards_case(limit):
        return "pressure limit"
    return f"limit on {field_of(limit.column).named(show)}"


def limit_name(limit: Limit, show: Shown) -> str:
    """Return what a limit is called in a sentence: with its number, if it needs one.

    Examples
    --------
    >>> limit_name(Limit(column="relative_solids_20C", sense=">=", value=0.9), Shown())
    'relative solids at 20 °C at least 0.9'
    """
    if limit.column.startswith("pour_viscosity") or guards_case(limit):
        return limit_noun(limit, show)
    return f"{field_of(limit.column).named(show)} {bound_words(limit, show)}"


def guards_case(limit: Limit) -> bool:
    """Say whether a limit keeps the case from bursting."""
    return limit.column.startswith(("peak_pressure", "pressure_margin_percent"))
