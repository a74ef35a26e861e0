"""Numbers with significant digits, for reports that are not on the layer yet."""

from __future__ import annotations

import math

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


def short(value: float, digits: int = 4) -> str:
    """Write a number that was chosen, as a pressure is: no zeros at its end.

    Examples
    --------
    >>> [short(v) for v in (6.894757, 12.0, 1000.0)]
    ['6.895', '12', '1000']
    """
    text = significant(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text
