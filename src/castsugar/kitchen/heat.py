"""Heat: the cook on the pan, and what it does to the sugar."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar import plausible, units
from castsugar.arrays import FloatArray, celsius
from castsugar.checks import number
from castsugar.constants import GAS_CONSTANT, ICE_POINT
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.kitchen.pan import Pan
from castsugar.kitchen.water import drying_weight
from castsugar.plausible import RANGES

# ----------------------------------------------------------------------------
# What heat does to the sugar: an index of degradation over a cook.

#: Activation energy [J/mol] of the first stage of sucrose, from thermogravimetry; the
#: published log10 A is 8.2, raised by a factor of 15 to 9.4 so that sucrose at 185 C is
#: gone in half an hour as seen in closed glass (Simkovic et al.): fitted.
ENERGY, LOG10_RATE = 105.0e3, 9.4

#: The index is uncertain by this factor either way (acidity, invert sugar, metal).
FACTOR = 5.0

#: Degraded share from which to warn.
WARN = 0.02

#: No verdict on a recipe above this bulk temperature [K]; caution above the other.
HOTTEST, WARM = 423.15, 403.15


def degradation_rate(temperature: ArrayLike) -> FloatArray:
    """Return the rate of degradation, 10^9.4 exp(-105 kJ/mol / R T). [1/s]

    Parameters
    ----------
    temperature : array_like
        -20 to 200 C. [K]

    Raises
    ------
    ValidityError
    """
    celsius(temperature, -20.0, 200.0, "temperature of the sugar")
    t = np.asarray(temperature, dtype=float)
    return 10.0**LOG10_RATE * np.exp(-ENERGY / (GAS_CONSTANT * t))


# ----------------------------------------------------------------------------
# What happens on the pan: bulk temperature against time.

#: Bulk temperatures of a cook that are accepted [K].
COLDEST_BULK, HOTTEST_BULK = RANGES["bulk temperature"].hard

#: Longest cook [s].
LONGEST = 60.0 * RANGES["minutes"].hard_high

#: Gauss-Legendre nodes a stretch; the integrands are smooth exponentials.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@dataclass(frozen=True, slots=True)
class Cook:
    """A cook: points of time and bulk temperature, straight lines between.

    Parameters
    ----------
    times : tuple of float
        Rising, the first is the start. [s]
    temperatures : tuple of float
        Of the bulk, not of the pan; 0 to 200 C. The mix is poured at the last. [K]
    pan : Pan, optional
        In which it cooks: how thick the layer is that dries, and what the heater can
        boil away. Without one the layer is a usual one, and heat is no limit.

    Raises
    ------
    InputError
        For times that do not rise, or temperatures out of range.

    Examples
    --------
    >>> cook = Cook.hold(392.15, 480.0)
    >>> cook.pour_temperature, cook.duration
    (392.15, 480.0)
    """

    times: tuple[float, ...]
    temperatures: tuple[float, ...]
    pan: Pan | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        """Check the points."""
        if len(self.times) != len(self.temperatures) or len(self.times) < 2:
            raise InputError(
                f"the cook has {len(self.times)} times and {len(self.temperatures)} "
                "temperatures; give at least two points, each with both"
            )
        for value in (*self.times, *self.temperatures):
            if not math.isfinite(number(value, "a point of the cook", "s or K")):
                raise InputError(f"a point of the cook is {value}; give numbers")
        _check_rising(self.times)
        if self.duration > LONGEST:
            raise InputError(
                f"the cook lasts {self.duration / 3600:g} h; allowed up to 24 h"
            )
        for value in self.temperatures:
            if not COLDEST_BULK <= value <= HOTTEST_BULK:
                raise InputError(
                    f"cook temperature {value - ICE_POINT:g} C is outside 0 to 200 C "
                    "(temperature of the bulk)"
                )

    @classmethod
    def hold(cls, temperature: float, duration: float) -> Cook:
        """Return a cook at one temperature.

        Parameters
        ----------
        temperature : float
            0 to 200 C. [K]
        duration : float
            Above 0. [s]

        Raises
        ------
        InputError
            For a duration that is not above 0, and as for the class.
        """
        if not number(duration, "duration of a cook", "s") > 0.0:
            raise InputError(
                f"the cook lasts {duration / 60:g} min; give a time above 0"
            )
        return cls((0.0, duration), (temperature, temperature))

    @property
    def duration(self) -> float:
        """From the first point to the last. [s]"""
        return self.times[-1] - self.times[0]

    @property
    def pour_temperature(self) -> float:
        """The last temperature. [K]"""
        return self.temperatures[-1]

    @property
    def hottest(self) -> float:
        """The highest temperature. [K]"""
        return max(self.temperatures)

    def ending_at(self, temperature: float) -> Cook:
        """Return the same cook, all of it warmer or colder, with another end. [K]

        No point is moved beyond the range of a cook.
        """
        shift = temperature - self.pour_temperature
        moved = (
            min(max(t + shift, COLDEST_BULK), HOTTEST_BULK) for t in self.temperatures
        )
        return replace(self, temperatures=tuple(moved))

    def lasting(self, time: float) -> Cook:
        """Return the cook that ends at a time, or goes on until then as hot as it ends.

        Parameters
        ----------
        time : float
            From the start, above 0. [s]

        Examples
        --------
        >>> Cook((0.0, 60.0), (300.0, 360.0)).lasting(30.0)
        Cook(times=(0.0, 30.0), temperatures=(300.0, 330.0))
        >>> Cook.hold(392.15, 480.0).lasting(600.0)
        Cook(times=(0.0, 600.0), temperatures=(392.15, 392.15))
        """
        end = self.times[0] + time
        if len(set(self.temperatures)) == 1:
            ends = (self.times[0], end)
            return Cook(ends, (self.pour_temperature,) * 2, self.pan)
        kept = sum(t < end for t in self.times)
        last = float(np.interp(end, self.times, self.temperatures))
        heats = (*self.temperatures[:kept], last)
        return Cook((*self.times[:kept], end), heats, self.pan)

    def degradation(self) -> float:
        """Return D, the integral of the rate of degradation. [-]"""
        times, temperatures = self.nodes()
        return float(np.sum(times * degradation_rate(temperatures)))

    def degraded(self) -> float:
        """Return the share of sugar degraded, 1 - exp(-D).

        An index, not an assay: uncertain by a factor of 5 either way.
        """
        return -math.expm1(-self.degradation())

    def drying(self) -> float:
        """Return the time at 119 C that dries a usual layer as much. [s]"""
        times, temperatures = self.nodes()
        layer = 1.0 if self.pan is None else self.pan.layer
        return float(np.sum(times * drying_weight(temperatures))) / layer

    def most_evaporated(self) -> float:
        """Return the water that the heater can evaporate, per mass of mix. [-]"""
        if self.pan is None:
            return math.inf
        warmed = self.pour_temperature - self.temperatures[0]
        return self.pan.most_evaporated(self.duration, warmed)

    def take(self, rows: NDArray[np.intp]) -> Cook:
        """Return the cook of some rows: this one, for all."""
        return self

    @property
    def heating_rate(self) -> float:
        """How fast the bulk warms at most; as the pan says where it is held. [K/s]"""
        points = list(zip(self.times, self.temperatures, strict=True))
        steepest = max(
            (b - a) / (t - s) for (s, a), (t, b) in itertools.pairwise(points)
        )
        if steepest > 0.0 or self.pan is None:
            return max(steepest, 0.0)
        return self.pan.rate or 0.0

    def wall(self, evaporation: float = 0.0) -> float:
        """Return how hot the wall of the pan gets, at least; NaN without a pan. [K]

        Parameters
        ----------
        evaporation : float
            [kg/s]
        """
        if self.pan is None:
            return math.nan
        above = self.pan.wall_above(self.hottest, self.heating_rate, evaporation)
        return self.hottest + above

    def nodes(self) -> tuple[FloatArray, FloatArray]:
        """Return weights [s] and temperatures [K] of the nodes of all stretches."""
        start, end = np.array(self.times[:-1]), np.array(self.times[1:])
        cold, hot = np.array(self.temperatures[:-1]), np.array(self.temperatures[1:])
        place = 0.5 * (1.0 + _NODES)
        weights = 0.5 * (end - start)[:, None] * _WEIGHTS
        return weights, cold[:, None] + (hot - cold)[:, None] * place


class Cooks(NamedTuple):
    """What a pot asks of a :class:`Cook`, of one a row: (n, 1) each, [K], [s], [-]."""

    pour_temperature: FloatArray
    hottest: FloatArray
    dried: FloatArray
    evaporated: FloatArray

    @classmethod
    def of(cls, cooks: Sequence[Cook]) -> Cooks:
        """Return cooks as columns."""
        told = [
            (c.pour_temperature, c.hottest, c.drying(), c.most_evaporated())
            for c in cooks
        ]
        return cls(*np.array(told).reshape(-1, 4).T[:, :, None])

    def take(self, rows: NDArray[np.intp]) -> Cooks:
        """Return those of some rows."""
        return Cooks(*(one[rows] for one in self))

    def drying(self) -> FloatArray:
        """Return :meth:`Cook.drying`. [s]"""
        return self.dried

    def most_evaporated(self) -> FloatArray:
        """Return :meth:`Cook.most_evaporated`. [-]"""
        return self.evaporated


def _check_rising(times: Sequence[float]) -> None:
    """Refuse a cook that goes back in time."""
    for before, after in itertools.pairwise(times):
        if not after > before:
            raise InputError(
                f"the cook goes from {before / 60:g} min to {after / 60:g} min; "
                "times must rise"
            )


def cook_of_points(points: Sequence[tuple[float, float]]) -> Cook:
    """Return a cook of (time [s], temperature [K]) points."""
    times, temperatures = zip(*points, strict=True)
    return Cook(tuple(times), tuple(temperatures))


# ----------------------------------------------------------------------------
# Read a cook as a person types it.

_FORM = (
    "write a temperature and minutes ('119 C 8 min'), or points of time and "
    "temperature ('0 min 25 C, 6 min 105 C, 14 min 119 C')"
)


def parse_cook(
    text: str, minutes: str | float | None = None, *, where: str = "cook"
) -> Cook:
    """Read one temperature and minutes, or a profile.

    Parameters
    ----------
    text : str
        ``"119 C"``, ``"250F 8 min"``, or points of time and bulk temperature, separated
        by commas or semicolons, times rising.
    minutes : str or float, optional
        How long the one temperature is held: a number [min], or a time with a
        unit.
    where : str
        Starts the error message.

    Returns
    -------
    Cook

    Raises
    ------
    InputError
        A text that is no temperature or profile, one without a time, and what
        :class:`Cook` refuses.

    Examples
    --------
    >>> parse_cook("0 min 25 C, 6 min 119 C, 14 min 119 C").duration
    840.0
    >>> parse_cook("119 C", 8).pour_temperature
    392.15
    """
    comma = re.search(r"[0-9],[0-9]", text)
    if comma:
        fixed = text.replace(comma[0], comma[0].replace(",", "."))
        raise InputError(f"{where}: {text!r} has a decimal comma: write {fixed!r}")
    points = [p.strip() for p in text.replace(";", ",").split(",")]
    if len(points) == 1:
        cook = _hold(points[0], minutes, where)
    elif minutes is not None:
        raise InputError(
            f"{where}: the points of {text!r} carry their times already; leave the "
            "minutes out"
        )
    else:
        cook = _profile([_point(point, text, where) for point in points], where)
    say = plausible.said_at(f"{where}: the time of {text!r}")
    plausible.checked("minutes", cook.duration / 60.0, say)
    return cook


def _profile(points: Sequence[tuple[float, float]], where: str) -> Cook:
    try:
        return cook_of_points(points)
    except InputError as error:
        raise InputError(f"{where}: {error}") from None


def _hold(text: str, minutes: str | float | None, where: str) -> Cook:
    """Read one temperature held for minutes."""
    if minutes is None:
        text, minutes = _apart(text)
    temperature = units.parse(text, "temperature", where=where).value
    if minutes is None:
        raise InputError(f"{where}: {text!r} says no time; {_FORM}")
    try:
        return Cook.hold(temperature, _duration(minutes, where))
    except InputError as error:
        raise InputError(f"{where}: {error}") from None


def _apart(text: str) -> tuple[str, str | None]:
    """Part "119 C 8 min" into temperature and time; leave anything else alone."""
    words = [word for word in text.replace("@", " ").split() if word != "for"]
    for split in range(1, len(words)):
        temperature, time = " ".join(words[:split]), " ".join(words[split:])
        try:
            units.parse(temperature, "temperature")
            units.parse(time, "time")
        except InputError:
            continue
        return temperature, time
    return text, None


def _duration(minutes: str | float, where: str) -> float:
    """Read minutes, a number or a time with a unit. [s]"""
    typed = str(minutes).strip()
    try:
        return 60.0 * float(typed)
    except ValueError:
        return units.parse(typed, "time", where=f"{where}, minutes").value


def _point(point: str, text: str, where: str) -> tuple[float, float]:
    """Read one time and one temperature."""
    words = point.replace("@", " ").split()
    for place in range(1, len(words)):
        time, temperature = " ".join(words[:place]), " ".join(words[place:])
        try:
            return (
                units.parse(time, "time").value,
                units.parse(temperature, "temperature").value,
            )
        except InputError:
            continue
    raise InputError(
        f"{where}: point {point!r} of {text!r} is not a time and a temperature with "
        f"their units; {_FORM}"
    )
