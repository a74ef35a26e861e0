"""Nice ticks, and scales: linear or logarithmic."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.errors import InputError

#: A tick this close to an end of the range, in steps, belongs to the range.
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Step:
    """A nice step: `mantissa` (1, 2 or 5) times ten to the power `exponent`."""

    mantissa: int
    exponent: int

    @property
    def size(self) -> float:
        """Return the step as a number, rounded once."""
        return self.times(1)

    def times(self, count: int) -> float:
        """Return a multiple of the step, correctly rounded."""
        whole = count * self.mantissa
        if self.exponent < 0:
            return float(whole / 10**-self.exponent)
        return float(whole * 10**self.exponent)

    @property
    def decimals(self) -> int:
        """Return the decimals that tell the multiples apart."""
        return max(0, -self.exponent)


def nice_step(span: float, about: int) -> Step:
    """Return the step of the 1-2-5 row that divides `span` into about `about` parts.

    Examples
    --------
    >>> nice_step(430.0, 8)
    Step(mantissa=5, exponent=1)
    """
    if not (span > 0.0 and math.isfinite(span)) or about < 1:
        raise InputError(f"a range of {span:g} in {about} parts has no ticks")
    raw = span / about
    exponent = math.floor(math.log10(raw))
    lead = raw / 10.0**exponent
    # Borders: geometric means of neighbours in 1, 2, 5, 10.
    for mantissa, border in ((1, math.sqrt(2.0)), (2, math.sqrt(10.0))):
        if lead < border:
            return Step(mantissa, exponent)
    return Step(5, exponent) if lead < math.sqrt(50.0) else Step(1, exponent + 1)


def multiples(low: float, high: float, step: Step) -> tuple[float, ...]:
    """Return the multiples of the step in [low, high], rising."""
    first = math.ceil(low / step.size - _SLACK)
    last = math.floor(high / step.size + _SLACK)
    return tuple(step.times(n) for n in range(first, last + 1))


def nice_ticks(low: float, high: float, about: int = 5) -> tuple[float, ...]:
    """Return round values (1-2-5) in [low, high]; the one value of an empty range.

    Examples
    --------
    >>> nice_ticks(0.0, 1.0)
    (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
    """
    if low == high:
        return (low,)
    return multiples(low, high, nice_step(high - low, about))


def tick_labels(values: tuple[float, ...], step: Step) -> list[str]:
    """Return the values with the decimals of the step; from 10,000 a thin space."""
    texts = []
    for value in values:
        text = f"{value:,.{step.decimals}f}"
        texts.append(text.replace(",", "\u2009" if abs(value) >= 1e4 else ""))
    return [t.removeprefix("-") if not t.strip("-0.") else t for t in texts]


@dataclass(frozen=True, slots=True)
class Scale:
    """Values `low` to `high` stand at `start` to `end` [px].

    Linear, or by the logarithm; then low and high are above 0.
    """

    low: float
    high: float
    start: float
    end: float
    logarithmic: bool = False

    def __call__(self, value: float) -> float:
        """Return the place of a value [px]; the middle if the range is empty."""
        if self.high == self.low:
            return 0.5 * (self.start + self.end)
        if self.logarithmic:
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def ticks(self, about: int) -> list[tuple[float, str]]:
        """Return about so many round values with their labels."""
        if not self.logarithmic:
            values = nice_ticks(self.low, self.high, about)
            span = self.high - self.low if self.high > self.low else 1.0
            words = tick_labels(values, nice_step(span, about))
            return list(zip(values, words, strict=True))
        values = tuple(decade_ticks(self.low, self.high, about))
        if len(values) < 2:  # less than a third of a decade: as on a linear axis
            values = nice_ticks(self.low, self.high, about)
        return [(v, f"{v:g}") for v in values]


def decade_ticks(low: float, high: float, about: int) -> list[float]:
    """Return powers of ten in a range, with 2 and 5, or 3, between if there is room.

    Examples
    --------
    >>> decade_ticks(0.5, 20.0, 5)
    [0.5, 1.0, 2.0, 5.0, 10.0, 20.0]
    """
    decades = math.log10(high / low)
    leads: tuple[float, ...] = (1.0,)
    for lead in ((1.0, 3.0), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)):
        if decades * len(lead) <= 1.2 * about:
            leads = lead
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    every = max(1, round(decades / about))
    values = [
        float(f"{lead * 10.0**power:.6g}")
        for power in range(first, last + 1, every)
        for lead in leads
    ]
    slack = 1.0 + _SLACK
    return [v for v in values if low / slack <= v <= high * slack]


def padded(low: float, high: float, share: float = 0.06) -> tuple[float, float]:
    """Return the range widened by a share at both ends; an empty one by 5 % or 1."""
    if low == high:
        room = 0.05 * abs(low) or 1.0
        return low - room, high + room
    room = share * (high - low)
    return low - room, high + room


def padded_decades(low: float, high: float) -> tuple[float, float]:
    """Return a range above 0, widened by a factor at both ends."""
    if low == high:
        return 0.5 * low, 2.0 * high
    room = (high / low) ** 0.06
    return low / room, high * room
