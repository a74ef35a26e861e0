"""Numbers as text: the only place of `report` where a float is formatted.

The rules, each with its test:

1. With a 95 % band: u is its width over 3.92; two digits of u if they are 10 to 35,
   else one; value and both ends stop at that place. (At most two digits of an
   uncertainty, the value to match: JCGM 100:2008 (GUM), 7.2.6, from memory; 10 to 35 is
   the usual rule of tables of data, common practice, no source.)
2. Without a band: three significant digits.
3. Known to a factor (a viscosity): one significant digit, its ends too.
4. What a person typed: as typed.
5. Round first, then count the digits: 0.98 to one digit is "1", not "1.0".
6. The minus is U+2212; zero has no sign. Halves go to the even digit.
7. A missing number is a dash, an endless one the word of its field.
8. A share of draws is so many of 100, never all and never none of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

#: A missing number.
DASH = "\u2013"

#: Width of a normal 95 % interval in standard deviations.
_WIDTH = 3.92

#: A band this share of its value wide is none: it came of rounding.
_ROUNDING = 1e-12

_MINUS = "\u2212"
_DIGITS = 3

#: What is smaller is called that; no number has an exponent.
_LEAST = 1e-6


def at_place(value: float, place: int) -> str:
    """Write a number rounded to a power of ten.

    Examples
    --------
    >>> at_place(899.64, -1), at_place(-0.04, -1), at_place(1534.0, 1), at_place(2.5, 0)
    ('899.6', '0.0', '1530', '2')
    """
    text = f"{round(value, -place):.{max(-place, 0)}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0.0 else _MINUS + text[1:]
    return text


def significant(value: float, digits: int = _DIGITS, endless: str = "no limit") -> str:
    """Write a number with significant digits.

    Examples
    --------
    >>> significant(0.98, 1), significant(252934.0), significant(4.4), significant(0)
    ('1', '253000', '4.40', '0')
    >>> significant(math.nan), significant(math.inf, endless="jams")
    ('–', 'jams')
    """
    if not math.isfinite(value):
        return DASH if math.isnan(value) else endless
    if value == 0.0:
        return "0"
    if abs(value) < _LEAST:
        return f"below {_LEAST:.6f}"
    rounded = float(f"{value:.{digits - 1}e}")
    return at_place(rounded, _exponent(rounded) - digits + 1)


def with_band(
    value: float, low: float, high: float, endless: str = "no limit"
) -> tuple[str, str, str]:
    """Write a value and the ends of its 95 % band, all to one place.

    Examples
    --------
    >>> with_band(899.64, 897.13, 904.08)
    ('899.6', '897.1', '904.1')
    >>> with_band(1.07, 1.0, math.inf)
    ('1.07', '1.00', 'no limit')
    >>> with_band(1503.2, 1503.2, 1503.2)
    ('1500', '1500', '1500')
    >>> with_band(89.3, 89.3 - 1e-13, 89.3 + 1e-13)
    ('89.3', '89.3', '89.3')
    """
    place = place_of(value, low, high)
    if place is None:
        first, second, third = (
            significant(x, endless=endless) for x in (value, low, high)
        )
        return first, second, third
    texts = [
        at_place(x, place) if math.isfinite(x) else significant(x, endless=endless)
        for x in (value, low, high)
    ]
    return texts[0], texts[1], texts[2]


def with_uncertainty(value: float, u: float) -> tuple[str, str]:
    """Write a value and its standard uncertainty, both to one place.

    Examples
    --------
    >>> with_uncertainty(-494.6, 0.6), with_uncertainty(-2226.1, 4.0)
    (('−494.6', '0.6'), ('−2226', '4'))
    >>> with_uncertainty(0.0, math.nan)
    ('0', '–')
    """
    if not (math.isfinite(u) and u > 0.0):
        return typed(value), DASH if math.isnan(u) else typed(u)
    rounded = float(f"{u:.1e}")
    exponent = _exponent(rounded)
    place = exponent - 1 if rounded / 10.0**exponent <= 3.5 else exponent
    return at_place(value, place), at_place(u, place)


def place_of(value: float, low: float, high: float) -> int | None:
    """Return the power of ten at which a value with a band stops; None without one."""
    width = high - low
    if not math.isfinite(width):
        width = 2.0 * (value - low if math.isfinite(low) else high - value)
    if not (math.isfinite(width) and width > _ROUNDING * abs(value)):
        return None
    doubt = float(f"{width / _WIDTH:.1e}")
    exponent = _exponent(doubt)
    return exponent - 1 if doubt / 10.0**exponent <= 3.5 else exponent


def typed(value: float) -> str:
    """Write a number that a person gave: a limit, a rating, a size.

    Examples
    --------
    >>> typed(10.0), typed(0.95), typed(6.894757), typed(-0.5), typed(252900.0)
    ('10', '0.95', '6.895', '−0.5', '252900')
    """
    if not math.isfinite(value):
        return significant(value)
    if value == 0.0:
        return "0"
    digits = max(4, _exponent(value) + 1)
    text = at_place(value, _exponent(value) - digits + 1)
    return text.rstrip("0").rstrip(".") if "." in text else text


def tidy(value: float) -> float:
    """Return a converted number without the dust of its conversion."""
    return float(f"{value:.6g}")


def in_full(value: float) -> str:
    """Write a number with the ten digits that a document holds."""
    return f"{value:.10g}"


def moved(change: float) -> str:
    """Write a change of a recomputed number with its sign; empty for NaN."""
    return "" if math.isnan(change) else f"{change:+.2g}"


def three(value: float) -> float:
    """Return a number rounded to three significant digits."""
    return float(f"{value:.3g}")


def rated(value: float) -> str:
    """Write a limit: three digits at most.

    Examples
    --------
    >>> rated(6.894757), rated(10.0), rated(999.99999)
    ('6.89', '10', '1000')
    """
    return typed(three(value)) if math.isfinite(value) else significant(value)


def of_100(share: float) -> str:
    """Write a share of draws as so many of 100.

    Examples
    --------
    >>> of_100(0.584), of_100(0.999), of_100(1.0), of_100(0.001), of_100(math.nan)
    ('58', '> 99', '> 99', '< 1', '–')
    """
    if math.isnan(share):
        return DASH
    if share > 0.99:
        return "> 99"
    return "< 1" if share < 0.01 else at_place(100.0 * share, 0)


def percent(share: float) -> str:
    """Write a share in per cent, without the sign: whole from 10 on, else two digits.

    Examples
    --------
    >>> percent(0.358), percent(0.0042), percent(-1.37), percent(0.00004)
    ('36', '0.42', '−137', 'below 0.01')
    """
    value = 100.0 * share
    if not math.isfinite(value):
        return DASH
    if value == 0.0:
        return "0"
    if abs(value) < 0.01:
        return "below 0.01"
    return at_place(value, 0) if abs(value) >= 10.0 else significant(value, 2)


def probability(value: float) -> str:
    """Write the probability of a test.

    Examples
    --------
    >>> probability(0.0123), probability(0.00017), probability(1.8e-15)
    ('0.012', '0.00017', 'below 0.0001')
    """
    return "below 0.0001" if value < 1e-4 else significant(value, 2)


def factor(value: float) -> str:
    """Write a ratio: two significant digits.

    Examples
    --------
    >>> factor(2.37), factor(0.412), factor(math.inf)
    ('2.4', '0.41', 'no limit')
    """
    return significant(value, 2)


def signed(value: float, low: float, high: float) -> tuple[str, str, str]:
    """Write a difference and its band, each with its sign.

    Examples
    --------
    >>> signed(-3.2, -4.1, -2.3)
    ('−3.2', '−4.1', '−2.3')
    >>> signed(0.4, -1.6, 1.6)
    ('+0.4', '−1.6', '+1.6')
    >>> signed(7.1, 0.4, 18.3)
    ('+7.1', '+0.4', '+18.3')
    """
    texts = with_band(value, low, high)
    place = place_of(value, low, high)
    if (
        place is not None and math.isfinite(high - low) and low * high > 0.0
    ):  # an end beside 0 is not printed as 0
        near = min(abs(low), abs(high))
        finer = (p for p in range(place, place - 5, -1) if round(near, -p))
        place = next(finer, place)
        texts = (at_place(value, place), at_place(low, place), at_place(high, place))
    first, second, third = (
        f"+{text}" if number > 0.0 and text[0].isdigit() and float(text) else text
        for text, number in zip(texts, (value, low, high), strict=True)
    )
    return first, second, third


def steps(value: float, step: float) -> str:
    """Write a mass that stands on a scale: a multiple of its step.

    Examples
    --------
    >>> steps(112.04, 0.1), steps(3.96, 0.05), steps(288.0, 1.0)
    ('112.0', '3.95', '288')
    """
    decimals = max((_decimals(step), 0))
    return at_place(round(value / step) * step, -decimals)


def on_scale(value: float, step: float) -> str:
    """Write what a scale showed, with the decimals of its step.

    Examples
    --------
    >>> on_scale(121.2, 0.5), on_scale(3.95, 0.05)
    ('121.2', '3.95')
    """
    return at_place(value, -_decimals(step))


def down(value: float, digits: int = 2) -> str:
    """Write a number rounded down: what it may be at most.

    Examples
    --------
    >>> down(2.876), down(0.0999), down(math.inf)
    ('2.8', '0.099', '–')
    """
    if not math.isfinite(value) or value <= 0.0:
        return DASH
    place = _exponent(value) - digits + 1
    return at_place(math.floor(value / 10.0**place + 1e-9) * 10.0**place, place)


def _decimals(step: float) -> int:
    """Return the decimals that a step has: 2 of 0.05."""
    text = f"{step:.6f}".rstrip("0")
    return len(text.partition(".")[2])


def _exponent(value: float) -> int:
    return math.floor(math.log10(abs(value)))


def listed(words: Sequence[str]) -> str:
    """Join words: "a", "a and b", "a, b and c".

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def capitalized(text: str) -> str:
    """Return a text that begins with a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def outward(value: float, *, up: bool) -> str:
    """Write a number with four digits, rounded up or down and never the other way.

    Examples
    --------
    >>> outward(4.02711, up=True), outward(0.763347, up=False), outward(0.0, up=True)
    ('4.028', '0.7633', '0')
    """
    if value == 0.0 or not math.isfinite(value):
        return typed(value)
    exact = Decimal(repr(value))
    unit = Decimal(1).scaleb(exact.adjusted() - 3)
    return typed(
        float(exact.quantize(unit, rounding=ROUND_CEILING if up else ROUND_FLOOR))
    )


def count(number: int, one: str, more: str = "") -> str:
    """Write a number of things.

    Examples
    --------
    >>> count(1, "strand"), count(0, "strand"), count(2, "batch", "batches")
    ('1 strand', 'no strands', '2 batches')
    """
    many = more or f"{one}s"
    return f"{number or 'no'} {one if number == 1 else many}"
