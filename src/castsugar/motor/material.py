"""Strength of a case material. None is shipped: its user states it, with a source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.checks import positive
from castsugar.errors import InputError, ValidityError


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Strength of a case material, cold, as its user states it.

    Attributes
    ----------
    name, source : str
    yield_strength, ultimate_strength, shear_yield : float or None
        At least one of the first two. [Pa]
    temperatures, factors : tuple of float
        Strength over cold strength at rising temperatures [K], [-]; straight between
        them, not continued beyond the last.
    plastic : bool

    Raises
    ------
    InputError
        No strength, a value that is not positive, a table that does not rise in
        temperature, a factor above 1.
    """

    name: str
    yield_strength: float | None = None
    ultimate_strength: float | None = None
    shear_yield: float | None = None
    temperatures: tuple[float, ...] = ()
    factors: tuple[float, ...] = ()
    plastic: bool = False
    source: str = "stated by the user"

    def __post_init__(self) -> None:
        if self.yield_strength is None and self.ultimate_strength is None:
            raise InputError(
                f"material {self.name!r} has no strength; "
                "give its yield or its ultimate strength"
            )
        for label in ("yield_strength", "ultimate_strength", "shear_yield"):
            value = getattr(self, label)
            if value is not None:
                positive(f"{label.replace('_', ' ')} of {self.name!r}", value, "Pa")
        t, f = np.asarray(self.temperatures, float), np.asarray(self.factors, float)
        if len(t) != len(f) or np.any(np.diff(t) <= 0):
            raise InputError(
                f"derating table of {self.name!r} has {len(t)} temperatures and "
                f"{len(f)} factors; give rising temperatures, one factor for each"
            )
        if np.any(~((f > 0.0) & (f <= 1.0))):
            raise InputError(
                f"derating table of {self.name!r}: factors must be above 0, up to 1"
            )

    def derating(self, temperature: float) -> float:
        """Return strength at a temperature [K] over cold strength.

        Raises
        ------
        InputError
            No table.
        ValidityError
            Hotter than the table.
        """
        if not self.temperatures:
            raise InputError(
                f"material {self.name!r} has no derating table; "
                "give one, or state a derating factor for the case"
            )
        if temperature > self.temperatures[-1]:
            raise ValidityError(
                f"wall temperature {temperature:g} K is above the derating table of "
                f"{self.name!r}, which ends at {self.temperatures[-1]:g} K"
            )
        return float(np.interp(temperature, self.temperatures, self.factors))
