"""How quantities are shown: SI or US units, one table of kinds.

A value is handed over in the unit of its key (MPa, K, kg/m3 ...), which is that of
the SI screen; the table says what the US screen makes of it. JSON and CSV stay SI.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from castsugar.frozen import dataclass
from castsugar.report import numbers
from castsugar.units import SHOWN_AS, shown, to_celsius

if TYPE_CHECKING:
    from castsugar.kitchen.heat import Cook
    from castsugar.units import Quantity

SI, US = SHOWN_AS

#: Unit in the key of a column -> kind.
OF_UNIT = {
    "": "number",
    "%": "fraction",
    "MPa": "pressure",
    "C": "temperature",
    "K": "flame temperature",
    "m/s": "velocity",
    "s": "specific impulse",
    "g": "mass",
    "g/mol": "molar mass",
    "mol/kg": "amount",
    "kg/m3": "density",
    "kg s/m3": "density specific impulse",
    "Pa s": "viscosity",
    "ppm": "parts per million",
    "mm": "length",
    "mm/s": "rate",
    "N": "force",
    "N s": "impulse",
}

#: Unit of a rule of the cautions -> kind.
OF_RULE = {"g": "mass", "C": "temperature", "percent": "fraction", "N s": "impulse"}


#: Units in sentences that come from below, and their kinds.
_KINDS = {
    "MPa": "pressure",
    "kPa": "air pressure",
    "mm/s": "rate",
    "mm": "length",
    "m/s": "velocity",
    "N s": "impulse",
    "N": "force",
    "g": "mass",
    "K": "temperature difference",
    "C": "temperature",
}
_QUANTITY = re.compile(rf"(?<![\w.])(-?\d+(?:\.\d+)?) ({'|'.join(_KINDS)})(?![\w/])")
_CELSIUS = re.compile(r"(\d) C\b")


@dataclass(frozen=True, slots=True)
class Shown:
    """One system of units: what a value looks like in it."""

    system: str = SI  # "si" or "us"

    def __post_init__(self) -> None:
        """Refuse a system that is none."""
        shown("number", self.system)

    def unit(self, kind: str) -> str:
        """Return the unit of a kind; empty for a plain number."""
        return shown(kind, self.system).label

    def number(self, kind: str, value: float) -> float:
        """Return a value in the unit shown; it comes in that of its key."""
        if self.system == SI:
            return value
        plain, own = shown(kind), shown(kind, self.system)
        return (value - plain.offset) / plain.factor * own.factor + own.offset

    def back(self, kind: str, number: float) -> float:
        """Return a number as shown in the unit of its key, the inverse of `number`.

        Examples
        --------
        >>> Shown("us").back("pressure", 1000.0), Shown("si").back("pressure", 7.0)
        (6.894757..., 7.0)
        """
        if self.system == SI:
            return number
        plain, own = shown(kind), shown(kind, self.system)
        return (number - own.offset) / own.factor * plain.factor + plain.offset

    def span(self, kind: str, value: float) -> float:
        """Return a difference in the unit shown."""
        if self.system == SI:
            return value
        return value / shown(kind).factor * shown(kind, self.system).factor

    def headed(self, label: str, kind: str) -> str:
        """Return a label with its unit, as it heads a row: ``peak pressure, MPa``."""
        unit = self.unit(kind)
        return f"{label}, {unit}" if unit else label

    def bare(self, kind: str, value: float, digits: int = 3) -> str:
        """Write a value without its unit."""
        return numbers.significant(self.number(kind, value), digits)

    def amount(self, kind: str, value: float, digits: int = 3) -> str:
        """Write a value with its unit.

        Examples
        --------
        >>> Shown("si").amount("pressure", 4.4219), Shown("us").amount("pressure", 4.4)
        ('4.42 MPa', '638 psi')
        """
        return self._joined(self.bare(kind, value, digits), kind)

    def typed(self, kind: str, value: float) -> str:
        """Write what a person gave, with its unit, in the system shown."""
        shown = self.number(kind, value)
        return self._joined(numbers.typed(numbers.tidy(shown)), kind)

    def limit(self, kind: str, value: float) -> str:
        """Write a limit without its unit: three digits, or as typed if it has fewer."""
        return numbers.rated(self.number(kind, value))

    def bound(self, kind: str, value: float) -> str:
        """Write a limit with its unit."""
        return self._joined(self.limit(kind, value), kind)

    def banded(self, kind: str, value: float, low: float, high: float) -> str:
        """Write a value with its unit and its 95 % band in brackets.

        Examples
        --------
        >>> Shown().banded("velocity", 899.64, 897.13, 904.08)
        '899.6 m/s (897.1 to 904.1)'
        """
        told, first, last = self.band(kind, value, low, high)
        return f"{self._joined(told, kind)} ({first} to {last})"

    def band(
        self,
        kind: str,
        value: float,
        low: float,
        high: float,
        endless: str = "no limit",
    ) -> tuple[str, str, str]:
        """Write a value and both ends of its 95 % band, without units."""
        told, first, last = (self.number(kind, x) for x in (value, low, high))
        return numbers.with_band(told, first, last, endless)

    def difference(
        self, kind: str, value: float, low: float, high: float
    ) -> tuple[str, str, str]:
        """Write a difference and its band, signed, without units."""
        told, first, last = (self.span(kind, x) for x in (value, low, high))
        return numbers.signed(told, first, last)

    def step_of(self, value: float, step: float) -> str:
        """Write a mass given in g as a multiple of a step in g of the scale.

        Examples
        --------
        >>> Shown("si").step_of(112.04, 0.1), Shown("us").step_of(112.04, 1.41747615625)
        ('112.0 g', '3.95 oz')
        """
        shown = numbers.steps(
            self.number("mass", value), numbers.tidy(self.span("mass", step))
        )
        return self._joined(shown, "mass")

    def said(self, text: str) -> str:
        """Return a sentence with its SI quantities in the units shown.

        Examples
        --------
        >>> Shown("us").said("tested at 101.3 kPa, throat 8 mm")
        'tested at 14.7 psi, throat 0.315 in'
        >>> Shown("si").said("8 min at 119 C"), Shown("us").said("8 min at 119 C")
        ('8 min at 119 °C', '8 min at 246 °F')
        """
        if self.system == SI:
            return _CELSIUS.sub("\\1 °C", text)
        return _QUANTITY.sub(
            lambda found: self.amount(_KINDS[found[2]], float(found[1])), text
        )

    def as_typed(self, typed: Quantity) -> str:
        """Write a pressure as it was typed; in US units only what those know."""
        if self.system == SI or typed.unit in ("psi", "atm"):
            return (
                f"{typed.text} gauge" if typed.note.startswith("gauge") else typed.text
            )
        return self.typed("pressure", 1e-6 * typed.value)

    def cook(self, cook: Cook) -> str:
        """Write a cook: its temperature and minutes, or where a profile ends."""
        last = self.typed("temperature", to_celsius(cook.pour_temperature))
        long = numbers.typed(numbers.tidy(cook.duration / 60.0))
        if len(set(cook.temperatures)) == 1:
            return f"cook {last} {long} min"
        return f"cook of {long} min, poured at {last}"

    def share(self, share: float) -> str:
        """Write a share in per cent, with the sign."""
        return f"{numbers.percent(share)} %"

    def rule(self, value: float, unit: str) -> str:
        """Write a number of a caution, which comes in the unit of its rule."""
        kind = OF_RULE.get(unit, "number")
        return self._joined(self.limit(kind, value), kind)

    def _joined(self, text: str, kind: str) -> str:
        """Put the unit behind a number."""
        unit = self.unit(kind)
        return f"{text} {unit}" if unit else text
