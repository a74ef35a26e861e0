"""What was typed for a search, and what its columns and mixes are called."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from castsugar.arrays import FloatArray
from castsugar.columns import COLUMN
from castsugar.limits import Limit
from castsugar.optimize.search import Outcome
from castsugar.optimize.task import DELIVERED
from castsugar.report.layout import number, wrapped

_CHANCE = re.compile(r"(.+), ([\d.]+) of 100")

#: Columns that say how well a mix performs, all with the doubt of c*.
PERFORMANCE = (
    "density_impulse_kg_s_m3",
    "specific_impulse_s",
    "characteristic_velocity_m_s",
    DELIVERED,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed, and in which units to answer.

    Attributes
    ----------
    file : str
        Name of the bench file.
    typed : mapping
        Ingredient as typed to its catalogue name.
    pressure : str
        Unit of pressure to show beside MPa, absolute.
    assumptions : tuple of str
    """

    file: str
    typed: Mapping[str, str] = field(default_factory=dict)
    pressure: str = "MPa"
    assumptions: tuple[str, ...] = ()

    def name(self, catalogue: str) -> str:
        """Return an ingredient as it was typed first.

        Examples
        --------
        >>> Asked(file="a.toml", typed={"KNO3": "potassium nitrate"}).name("sucrose")
        'sucrose'
        """
        found = [typed for typed, name in self.typed.items() if name == catalogue]
        return found[0] if found else catalogue

    def both(self, catalogue: str) -> str:
        """Return an ingredient as typed, with its catalogue name if that differs."""
        typed = self.name(catalogue)
        return typed if typed == catalogue else f"{typed} ({catalogue})"

    def renamed(self, text: str) -> str:
        """Return a text with catalogue names as they were typed."""
        names = sorted(set(self.typed.values()), key=lambda n: (-len(n), n))
        if not names:
            return text
        pattern = "|".join(re.escape(name) for name in names)
        return re.sub(rf"(?<!\w)({pattern})(?!\w)", lambda m: self.name(m[1]), text)

    def pressures(self) -> tuple[str, ...]:
        """Return the units of pressure to show, MPa first."""
        return tuple(dict.fromkeys(("MPa", self.pressure)))


def filled(text: str, indent: str = "  ", first: str | None = None) -> list[str]:
    """Wrap a text to the screen, no number parted from the word that follows it.

    Examples
    --------
    >>> filled("x" * 72 + " 17.8 % sugar")[1]
    '  17.8 % sugar'
    """
    kept = re.sub(r"(?<=\d) (?=\S)", "\u00a0", text)
    return [x.replace("\u00a0", " ") for x in wrapped(kept, indent, first)]


def chance_of(column: str) -> tuple[str, float | None]:
    """Return the column behind a chance column, and its share of 100.

    Examples
    --------
    >>> chance_of("relative_solids_20C"), chance_of("pour_viscosity_Pa_s, 80 of 100")
    (('relative_solids_20C', None), ('pour_viscosity_Pa_s', 80.0))
    """
    found = _CHANCE.fullmatch(column)
    return (found[1], float(found[2])) if found else (column, None)


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
    if base == DELIVERED:
        return "delivered specific impulse"
    label = COLUMN[base].label if base in COLUMN else base
    if share is None:
        return label
    return f"{label.removesuffix(', middle')}, {share:g} of 100 below"


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


def plain_key(text: str) -> str:
    """Return a text as part of a key: letters, digits, underscores."""
    return re.sub(r"\W+", "_", text).strip("_")


def recipe_text(
    names: Sequence[str], fractions: FloatArray, asked: Asked, decimals: int = 1
) -> str:
    """Return a mix in one line: "62.2 % KNO3, 27.4 % corn syrup"."""
    return ", ".join(
        f"{number(100.0 * share, decimals)} % {asked.name(name)}"
        for name, share in zip(names, fractions.tolist(), strict=True)
        if share > 0.0
    )


def row_of(outcome: Outcome, name: str) -> Mapping[str, Any]:
    """Return a full row of the table; empty if there is none."""
    return outcome.rows.get(name, {})


def allowed_pressure(outcome: Outcome) -> float:
    """Return what the case may hold; NaN if that is not known. [Pa]"""
    motor = outcome.task.settings.motor
    return math.nan if motor is None else motor.allowable


def guards_case(limit: Limit) -> bool:
    """Say whether a limit keeps the case from bursting."""
    return limit.column.startswith(("peak_pressure", "pressure_margin_percent"))
