"""Ratio constraints: "sucrose:corn syrup >= 0.5" as a linear row."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.errors import InputError

_RATIO = re.compile(r"^\s*(.+?)\s*:\s*(.+?)\s*(<=|>=)\s*(\S+)\s*$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A linear limit on a recipe: the sum of coefficient x fraction is at most `limit`.

    Attributes
    ----------
    name : str
        How messages call it.
    coefficients : mapping
        Ingredient or slot to coefficient; what is not named counts 0.
    limit : float
        [mass fraction]
    """

    name: str
    coefficients: Mapping[str, float]
    limit: float

    def __post_init__(self) -> None:
        """Check the numbers."""
        values = [*self.coefficients.values(), self.limit]
        if not all(math.isfinite(v) for v in values):
            raise InputError(f"limit {self.name!r} holds {values}; give finite numbers")
        if not any(self.coefficients.values()):
            raise InputError(
                f"limit {self.name!r} has no coefficient but 0; name what it limits"
            )


def ratio_row(text: str) -> Row:
    """Return a ratio constraint as a linear row.

    ``a:b >= r`` is ``r b - a <= 0``; it asks nothing of a mix without both.

    Parameters
    ----------
    text : str
        "one:other >= number" or "one:other <= number".

    Raises
    ------
    InputError
        If the text has another form, the ratio is not a number above 0, or compares an
        ingredient with itself.

    Examples
    --------
    >>> ratio_row("sucrose:corn syrup >= 0.5").coefficients
    {'sucrose': -1.0, 'corn syrup': 0.5}
    """
    found = _RATIO.match(text)
    if not found:
        raise InputError(
            f"ratio {text!r} is not understood; write 'sucrose:corn syrup >= 0.5', "
            "with >= or <="
        )
    one, other, sense, number = found.groups()
    try:
        ratio = float(number)
    except ValueError:
        ratio = math.nan
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise InputError(f"ratio {text!r}: {number!r} must be a number above 0")
    if one == other:
        raise InputError(f"ratio {text!r} compares an ingredient with itself")
    sign = -1.0 if sense == ">=" else 1.0
    name = f"{one}:{other} {sense} {number}"
    return Row(name=name, coefficients={one: sign, other: -sign * ratio}, limit=0.0)
