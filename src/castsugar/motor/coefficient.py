"""The coefficient of ``r = a p**n`` in other units, which depend on the exponent."""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from fractions import Fraction

from castsugar.errors import InputError
from castsugar.units import UNITS, parse


def convert_coefficient(
    a: float,
    exponent: float,
    rate_unit: str,
    pressure_unit: str,
    to_rate_unit: str,
    to_pressure_unit: str,
) -> float:
    """Return the coefficient of ``r = a p**n`` in other units.

    With exact unit sizes and 50 digits, rounded once to the nearest float.

    Parameters
    ----------
    a, exponent : float
    rate_unit, pressure_unit, to_rate_unit, to_pressure_unit : str
        For example "in/s", "psi", "mm/s", "MPa".

    Raises
    ------
    InputError
        An unknown unit, a gauge pressure (a power of it is another law), a coefficient
        that is not positive.

    Examples
    --------
    >>> convert_coefficient(2.0, 0.5, "mm/s", "Pa", "mm/s", "MPa")
    2000.0
    """
    if not (math.isfinite(a) and a > 0.0 and math.isfinite(exponent)):
        raise InputError(
            f"coefficient {a:g} with exponent {exponent:g}: give finite numbers, the "
            "coefficient above 0"
        )
    rates = _size(rate_unit, "burn_rate") / _size(to_rate_unit, "burn_rate")
    pressures = _size(to_pressure_unit, "pressure") / _size(pressure_unit, "pressure")
    with localcontext() as context:
        context.prec = 50
        ratio = Decimal(pressures.numerator) / Decimal(pressures.denominator)
        factor = Decimal(rates.numerator) / Decimal(rates.denominator)
        return float(Decimal(a) * factor * ratio ** Decimal(exponent))


def _size(unit: str, quantity: str) -> Fraction:
    typed = parse(f"1 {unit}", quantity)
    if typed.note.startswith("gauge"):
        raise InputError(
            f"pressure unit {unit!r} of a burn-rate coefficient is gauge; the law "
            "takes absolute pressure: write psi, MPa, bar"
        )
    return UNITS[quantity][typed.unit].scale
