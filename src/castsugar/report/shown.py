"""How quantities are shown: SI or US units, one table of kinds.

A value is handed over in the unit of its key (MPa, K, kg/m3 ...), which is that of
the SI screen; the table says what the US screen makes of it. JSON and CSV stay SI.
"""

from __future__ import annotations

from dataclasses import dataclass

from castsugar.errors import InputError
from castsugar.report import numbers

SI, US = "si", "us"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its units on screens, and from one to the other.

    ``us = si * factor + offset``; differences leave the offset out.
    """

    si: str
    us: str
    factor: float = 1.0
    offset: float = 0.0


# Exact by definition, NIST SP 811 (2008), appendix B: inch 0.0254 m, pound
# 0.45359237 kg, standard gravity 9.80665 m/s2.
_INCH, _POUND, _GRAVITY = 0.0254, 0.45359237, 9.80665
_OUNCES = 16.0 / (1000.0 * _POUND)
_PSI = 1e6 * _INCH**2 / (_POUND * _GRAVITY)
_DENSITY = _INCH**3 / _POUND


def _same(unit: str) -> Kind:
    return Kind(unit, unit)


#: What is shown, by name.
KINDS: dict[str, Kind] = {
    "number": _same(""),
    "percent": _same("%"),
    "share": _same(""),
    "pressure": Kind("MPa", "psi", _PSI),
    "small pressure": Kind("kPa", "psi", 1e-3 * _PSI),
    "temperature": Kind("°C", "°F", 1.8, 32.0),
    "flame temperature": Kind("K", "°F", 1.8, -459.67),
    "temperature difference": Kind("K", "°F", 1.8),
    "speed": Kind("m/s", "ft/s", 1.0 / 0.3048),
    "rate": Kind("mm/s", "in/s", 1e-3 / _INCH),
    "length": Kind("mm", "in", 1e-3 / _INCH),
    "distance": Kind("m", "ft", 1.0 / 0.3048),
    "area": Kind("mm²", "in²", 1e-6 / _INCH**2),
    "mass": Kind("g", "oz", _OUNCES),
    "force": Kind("N", "lbf", 1.0 / (_POUND * _GRAVITY)),
    "impulse": Kind("N s", "lbf s", 1.0 / (_POUND * _GRAVITY)),
    "density": Kind("kg/m³", "lb/in³", _DENSITY),
    "density impulse": Kind("kg s/m³", "lb s/in³", _DENSITY),
    "volume": Kind("ml", "fl oz", 1.0 / 29.5735295625),
    "viscosity": _same("Pa s"),
    "time": _same("s"),
    "minutes": _same("min"),
    "molar mass": _same("g/mol"),
    "amount": _same("mol/kg"),
    "parts per million": _same("ppm"),
    "energy": _same("kJ/mol"),
}

#: Unit in the key of a column -> kind.
OF_UNIT = {
    "": "number",
    "%": "percent",
    "MPa": "pressure",
    "C": "temperature",
    "K": "flame temperature",
    "m/s": "speed",
    "s": "time",
    "g": "mass",
    "g/mol": "molar mass",
    "mol/kg": "amount",
    "kg/m3": "density",
    "kg s/m3": "density impulse",
    "Pa s": "viscosity",
    "ppm": "parts per million",
    "mm": "length",
    "mm/s": "rate",
    "N": "force",
    "N s": "impulse",
}


@dataclass(frozen=True, slots=True)
class Shown:
    """One system of units: what a value looks like in it.

    Attributes
    ----------
    system : str
        "si" or "us".
    """

    system: str = SI

    def __post_init__(self) -> None:
        """Refuse a system that is none."""
        if self.system not in (SI, US):
            raise InputError(f"units are {self.system!r}; allowed: {SI}, {US}")

    def unit(self, kind: str) -> str:
        """Return the unit of a kind; empty for a plain number."""
        known = KINDS[kind]
        return known.us if self.system == US else known.si

    def number(self, kind: str, value: float) -> float:
        """Return a value in the unit shown; it comes in that of its key."""
        known = KINDS[kind]
        return value * known.factor + known.offset if self.system == US else value

    def span(self, kind: str, value: float) -> float:
        """Return a difference in the unit shown."""
        return value * KINDS[kind].factor if self.system == US else value

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
        return self._joined(numbers.typed(_tidy(shown)), kind)

    def limit(self, kind: str, value: float) -> str:
        """Write a limit without its unit: three digits, or as typed if it has fewer."""
        return numbers.typed(float(f"{self.number(kind, value):.3g}"))

    def banded(self, kind: str, value: float, low: float, high: float) -> str:
        """Write a value with its unit and its 95 % band in brackets.

        Examples
        --------
        >>> Shown().banded("speed", 899.64, 897.13, 904.08)
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
            self.number("mass", value), _tidy(self.span("mass", step))
        )
        return self._joined(shown, "mass")

    def _joined(self, text: str, kind: str) -> str:
        """Put the unit behind a number."""
        unit = self.unit(kind)
        return f"{text} {unit}" if unit else text


def _tidy(value: float) -> float:
    """Return a converted number without the dust of its conversion."""
    return float(f"{value:.6g}")
