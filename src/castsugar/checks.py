"""Checks of single values and arguments, with one-line messages.

Wrong types are told as every other bad input: what, what was got, what is allowed.
"""

from __future__ import annotations

import datetime
import functools
import inspect
import math
import operator
import reprlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any, ParamSpec, TypeVar

from castsugar.errors import InputError, nearest_names

# ----------------------------------------------------------------------------
# Arguments of public functions: numbers that are numbers, options that exist.
#
# Wrong types are told as every other bad input: what, what was got, what is allowed.

P = ParamSpec("P")
R = TypeVar("R")


def number(value: Any, what: str, unit: str = "") -> float:
    """Return a number as a float; NaN and infinite ones are numbers, too.

    Parameters
    ----------
    what : str
        Names it in the message.
    unit : str
        In which it is given.

    Raises
    ------
    InputError
        For text, arrays, true and false, and whatever else is no number.

    Examples
    --------
    >>> number(7, "pressure", "Pa")
    7.0
    >>> number("7 MPa", "pressure", "Pa")
    Traceback (most recent call last):
    castsugar.errors.InputError: pressure is '7 MPa'; give a plain number in Pa
    """
    plain = not isinstance(value, str | bytes) and getattr(value, "shape", ()) == ()
    if plain and type(value).__name__ not in ("bool", "bool_"):
        try:
            return float(value)
        except (TypeError, ValueError, OverflowError):
            pass
    within = f" in {unit}" if unit else ""
    raise InputError(f"{what} is {shown(value)}; give a plain number{within}")


def numbers(record: Any, units: Mapping[str, str]) -> None:
    """Refuse fields that are no numbers; None may be left out.

    Parameters
    ----------
    units : mapping
        Name of a field to the unit in which it is given.

    Raises
    ------
    InputError
    """
    for name, unit in units.items():
        if getattr(record, name) is not None:
            number(getattr(record, name), name, unit)


def whole(value: Any, what: str) -> int:
    """Return a whole number.

    Raises
    ------
    InputError
        For a number with a fraction, and for what is no number.

    Examples
    --------
    >>> whole(100, "draws")
    100
    """
    if type(value).__name__ not in ("bool", "bool_"):
        try:
            return operator.index(value)
        except TypeError:
            pass
    raise InputError(f"{what} is {shown(value)}; give a whole number")


def instance(value: Any, kind: type, what: str, *, optional: bool = True) -> None:
    """Refuse a value that is not of a kind, nor None where it may be left out.

    Raises
    ------
    InputError
    """
    if not (isinstance(value, kind) or (optional and value is None)):
        name = kind.__name__
        one = f"an {name}" if name[0] in "AEIOU" else f"a {name}"
        raise InputError(f"{what} is {shown(value)}; give {one}")


def shown(value: Any) -> str:
    """Return a value as a short text for a message.

    Examples
    --------
    >>> shown([1] * 100)
    'the list [1, 1, 1, 1, 1, 1, ...]'
    """
    text = " ".join(reprlib.repr(value).split())
    plain = isinstance(value, str | bytes | bool | int | float) or value is None
    return text if plain else f"the {type(value).__name__} {text}"


def named_options(function: Callable[P, R]) -> Callable[P, R]:
    """Let a function name the nearest option for one that it does not have.

    Raises
    ------
    InputError
        By the function, instead of the TypeError of Python.
    """
    known = [n for n in inspect.signature(function).parameters if n != "cls"]

    @functools.wraps(function)
    def checked(*values: P.args, **options: P.kwargs) -> R:
        for name in options:
            if name not in known:
                near = nearest_names(name, known)
                hint = f"did you mean {near[0]!r}? " if near else ""
                raise InputError(
                    f"{function.__name__} has no option {name!r}; {hint}it takes "
                    f"{', '.join(known)}"
                )
        return function(*values, **options)

    return checked


# ----------------------------------------------------------------------------
# Checks of single values, with one-line messages.


def positive(name: str, value: float, unit: str = "") -> float:
    """Return `value` if it is finite and above zero, else raise `InputError`.

    Examples
    --------
    >>> positive("density", 1800.0, "kg/m3")
    1800.0
    """
    value = number(value, name, unit)
    if not (math.isfinite(value) and value > 0):
        raise InputError(
            f"{name} is {_with_unit(value, unit)}; it must be a finite number above 0"
        )
    return value


def within(name: str, value: float, low: float, high: float) -> float:
    """Return `value` if ``low <= value <= high``, else raise `InputError`."""
    value = number(value, name)
    if not low <= value <= high:
        raise InputError(f"{name} is {value:g}; allowed: {low:g} to {high:g}")
    return value


def one_of(name: str, value: str, allowed: tuple[str, ...]) -> str:
    """Return `value` if it is among `allowed`, else raise `InputError`."""
    if value not in allowed:
        raise InputError(f"{name} is {value!r}; {meant(str(value), allowed)}")
    return value


def meant(got: str, allowed: Sequence[str]) -> str:
    """Return what is allowed in the place of a word, the nearest one first.

    Examples
    --------
    >>> meant("presed", ("melted dry", "pressed"))
    "did you mean 'pressed'? allowed: melted dry, pressed"
    """
    near = nearest_names(got, allowed, 1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    return f"{hint}allowed: {', '.join(allowed)}"


def _with_unit(value: float, unit: str) -> str:
    return f"{value:g} {unit}".rstrip()


# ----------------------------------------------------------------------------
# Days.

#: Years that a date may be in.
YEARS = (1950, 2100)


def day(raw: Any) -> str:
    """Return a day of the calendar as 2026-05-02, of a date or of such a text.

    Raises
    ------
    InputError
        No day, or one outside :data:`YEARS`; the message begins with what was got.
    """
    found = raw
    if isinstance(raw, str):
        try:
            found = datetime.date.fromisoformat(raw.strip())
        except ValueError:
            found = None
    if not isinstance(found, datetime.date) or isinstance(found, datetime.datetime):
        raise InputError(f"{raw!r} is no day; write year, month and day: 2026-05-02")
    if not YEARS[0] <= found.year <= YEARS[1]:
        raise InputError(
            f"{raw!r} is not in the years {YEARS[0]} to {YEARS[1]}; write year, month "
            "and day: 2026-05-02"
        )
    return found.isoformat()
