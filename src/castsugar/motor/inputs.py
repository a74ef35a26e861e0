"""Checks of single values, with one-line messages."""

from __future__ import annotations

import math

from castsugar.errors import InputError


def positive(name: str, value: float, unit: str = "") -> float:
    """Return `value` if it is finite and above zero, else raise `InputError`.

    Examples
    --------
    >>> positive("density", 1800.0, "kg/m3")
    1800.0
    """
    if not (math.isfinite(value) and value > 0):
        raise InputError(
            f"{name} is {_with_unit(value, unit)}; it must be a finite number above 0"
        )
    return float(value)


def within(name: str, value: float, low: float, high: float) -> float:
    """Return `value` if ``low <= value <= high``, else raise `InputError`."""
    if not low <= value <= high:
        raise InputError(f"{name} is {value:g}; allowed: {low:g} to {high:g}")
    return float(value)


def one_of(name: str, value: str, allowed: tuple[str, ...]) -> str:
    """Return `value` if it is among `allowed`, else raise `InputError`."""
    if value not in allowed:
        raise InputError(f"{name} is {value!r}; allowed: {', '.join(allowed)}")
    return value


def _with_unit(value: float, unit: str) -> str:
    return f"{value:g} {unit}".rstrip()
