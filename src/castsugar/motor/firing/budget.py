"""A result and where its doubt comes from: independent parts (JCGM 100:2008, 5.1)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

#: Normal coverage factor of 95 %.
COVERAGE = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A number with its uncertainty budget.

    Attributes
    ----------
    value : float
        SI.
    parts : dict of str to float
        Input -> standard uncertainty that it adds. [unit of the value]
    at_least : bool
        The sensor was at its limit, or samples are missing: the true value may be
        well above.
    """

    value: float
    parts: Mapping[str, float]
    at_least: bool = False

    @property
    def u(self) -> float:
        """Return the standard uncertainty."""
        return math.hypot(*self.parts.values())

    @property
    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval."""
        half = COVERAGE * self.u
        return self.value - half, self.value + half

    def shares(self) -> dict[str, float]:
        """Return the shares of the variance, largest first; empty without doubt."""
        whole = self.u**2
        if whole == 0.0:
            return {}
        found = {name: part**2 / whole for name, part in self.parts.items()}
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def to_dict(self, unit: str, scale: float = 1.0) -> dict[str, Any]:
        """Return value, u and interval, the unit in the names."""
        low, high = self.interval
        return {
            f"value_{unit}": scale * self.value,
            f"standard_uncertainty_{unit}": scale * self.u,
            f"low_95_{unit}": scale * low,
            f"high_95_{unit}": scale * high,
            "at_least": self.at_least,
            "shares_of_variance": self.shares(),
        }


def scaled(value: float, log_parts: Mapping[str, float], **more: Any) -> Measured:
    """Return a product whose factors have relative uncertainties."""
    parts = {name: abs(value) * u for name, u in log_parts.items() if u > 0.0}
    return Measured(value=value, parts=parts, **more)
