"""Entry: one quantity with its doubt, its status and its source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, Final

from castsugar.frozen import dataclass

#: What an entry rests on: the closed list.
STATUSES: Final = (
    "computed",  # from data, by a model of this project
    "measured",  # by the user
    "stated",  # by the user, who says no more
    "model",  # of all that was burned
    "borrowed",  # published of a mix like it
    "published",
    "from-memory",
    "assumed",
    "drawn",
    "missing",
)

#: Half the width of a normal 95 % interval in standard deviations.
_HALF: Final = 1.96


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One quantity of a block; its key carries the unit, which is SI."""

    value: float | str | bool  # NaN: no number
    u: float = math.nan  # standard uncertainty; NaN: not known
    #: 95 % interval; by default that of a normal of `u`.
    low: float = math.nan
    high: float = math.nan
    status: str = "computed"  # one of STATUSES
    source: str = ""

    def __post_init__(self) -> None:
        """Fill in the interval of a normal; without a value nothing was computed."""
        if self.status not in STATUSES:
            raise ValueError(f"{self.status!r} is no status")
        if not self.known and self.status == "computed":
            object.__setattr__(self, "status", "missing")
        if math.isnan(self.low) and not math.isnan(self.u):
            middle = float(self.value)
            object.__setattr__(self, "low", middle - _HALF * self.u)
            object.__setattr__(self, "high", middle + _HALF * self.u)

    @property
    def known(self) -> bool:
        """Whether there is a value."""
        return not (isinstance(self.value, float) and math.isnan(self.value))

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)


#: Quantities by key.
Block = Mapping[str, Entry]


def by_factor(value: float, log_u: float, status: str, source: str) -> Entry:
    """Return a quantity known to a factor: its logarithm is normal.

    Examples
    --------
    >>> one = by_factor(2.0, 0.1, "assumed", "invented")
    >>> round(one.low, 3), round(one.high, 3), one.u
    (1.644, 2.433, 0.2)
    """
    return Entry(
        value=value,
        u=value * log_u,
        low=value * math.exp(-_HALF * log_u),
        high=value * math.exp(_HALF * log_u),
        status=status,
        source=source,
    )
