"""Numbers of a page about strands: significant digits, and the user's own units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar import units
from castsugar.motor.burn_law import convert_coefficient

_LEAST, _MOST = 1e-5, 1e9


def significant(value: float, digits: int = 4) -> str:
    """Write a number with so many significant digits.

    An exponent stands only beyond what strands do: below 1e-5, from 1e9 on.

    Examples
    --------
    >>> [significant(v) for v in (0.0624049, 8.0, 1234.56, 12345.6, 2e11, math.inf)]
    ['0.06240', '8.000', '1235', '12346', '2e+11', 'no limit']
    """
    if not math.isfinite(value):
        return "-" if math.isnan(value) else "no limit"
    if value == 0.0:
        return "0"
    if not _LEAST <= abs(value) < _MOST:
        return f"{value:.1g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    return f"{value:.{max(places, 0)}f}"


def percent(share: float) -> str:
    """Write a share in percent, two digits, without the sign.

    Examples
    --------
    >>> percent(0.0234567)
    '2.3'
    """
    return significant(100.0 * share, 2)


def short(value: float, digits: int = 4) -> str:
    """Write a number that was chosen, as a pressure is: no zeros at its end.

    Examples
    --------
    >>> [short(v) for v in (6.894757, 12.0, 1000.0)]
    ['6.895', '12', '1000']
    """
    text = significant(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandUnits:
    """Units of pressure (absolute) and of burning rate, beside MPa and mm/s."""

    pressure: str = "MPa"
    rate: str = "mm/s"

    @property
    def own(self) -> bool:
        """Whether they differ from MPa and mm/s."""
        return (self.pressure, self.rate) != ("MPa", "mm/s")

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Units to show: of pressure, of rate; MPa and mm/s first."""
        first = ("MPa", "mm/s")
        return (first, (self.pressure, self.rate)) if self.own else (first,)

    @property
    def pressures(self) -> tuple[str, ...]:
        """Units of pressure to show."""
        return tuple(dict.fromkeys(("MPa", self.pressure)))

    @property
    def rates(self) -> tuple[str, ...]:
        """Units of rate to show."""
        return tuple(dict.fromkeys(("mm/s", self.rate)))

    def pressure_text(self, pressure: float, digits: int = 4) -> str:
        """Return a pressure [Pa] in MPa and in the user's unit."""
        told = [
            f"{short(units.convert(pressure, 'pressure', unit), digits)} {unit}"
            for unit in self.pressures
        ]
        return told[0] + "".join(f" ({text})" for text in told[1:])

    def rate_text(self, rate: float, digits: int = 4) -> str:
        """Return a rate [m/s] in mm/s and in the user's unit."""
        told = [
            f"{significant(units.convert(rate, 'burn_rate', unit), digits)} {unit}"
            for unit in self.rates
        ]
        return told[0] + "".join(f" ({text})" for text in told[1:])


def coefficient(rate: float, exponent: float, pressure: str, rate_unit: str) -> float:
    """Return the coefficient in given units of a law with `rate` [m/s] at 1 MPa."""
    return convert_coefficient(rate, exponent, "m/s", "MPa", rate_unit, pressure)
