"""Small words and numbers of the page about what batches taught."""

from __future__ import annotations

import math
from collections.abc import Sequence

#: Most names that are listed one by one.
_NAMES = 6


def count(number: int, one: str, more: str = "") -> str:
    """Write a number of things.

    Examples
    --------
    >>> count(1, "strand"), count(0, "strand"), count(2, "batch", "batches")
    ('1 strand', 'no strands', '2 batches')
    """
    many = more or f"{one}s"
    return f"{number or 'no'} {one if number == 1 else many}"


def id_list(names: Sequence[str]) -> str:
    """Write names, the first few of many.

    Examples
    --------
    >>> id_list(["a", "b"])
    'a, b'
    """
    shown = ", ".join(names[:_NAMES])
    rest = len(names) - _NAMES
    return f"{shown} and {rest} more" if rest > 0 else shown


def three(value: float) -> str:
    """Write three significant digits without an exponent; a dash for none.

    Examples
    --------
    >>> three(1234.0), three(0.04567), three(math.nan), three(math.inf)
    ('1230', '0.0457', '-', 'no limit')
    """
    if math.isnan(value):
        return "-"
    if math.isinf(value):
        return "no limit" if value > 0 else "-"
    text = f"{float(f'{value:.3g}'):.12f}" if abs(value) < 1e-4 else f"{value:.3g}"
    if "e" in text:
        text = f"{float(text):.0f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def between(low: float, high: float) -> str:
    """Write a band.

    Examples
    --------
    >>> between(1.0, 2.5)
    '1 to 2.5'
    """
    if math.isnan(low) or math.isnan(high):
        return "-"
    return f"{three(low)} to {three(high)}"


def chance(value: float) -> str:
    """Write a probability in words.

    Examples
    --------
    >>> chance(0.123), chance(0.0001), chance(0.6)
    ('12 %', 'below 0.1 %', '60 %')
    """
    if value < 1e-3:
        return "below 0.1 %"
    return f"{100.0 * value:.2g} %" if value < 0.995 else "above 99 %"
