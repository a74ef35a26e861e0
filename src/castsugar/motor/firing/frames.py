r"""A firing filmed instead of recorded: frames, mass and throat in, mean values out.

What left the nozzle in the time that the video shows is the whole propellant, so that

.. math:: \bar p = \frac{m \, c^*}{\bar A_t \, t_b}, \quad \bar r = \frac{w}{t_b}

with the web w of the grain (Sutton & Biblarz, *Rocket Propulsion Elements*, ch. 3 and
12, from memory). c* is not measured but assumed. Nothing is known of the peak or of the
exponent.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from castsugar import plausible
from castsugar.constants import COVERAGE
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.motor import scatter
from castsugar.motor.firing.quantities import Measured, Stand, area_parts, scaled
from castsugar.motor.grain import Grain

# ----------------------------------------------------------------------------
# The frames of a video.

#: Each end lies within so many frames of the one that is named, and what counts as
#: burning there, flame or only smoke, within so many seconds: half-widths of
#: rectangles. Our rule.
FRAME, ENDS = 1.0, 0.15

#: A burn shorter than this has both twice: its ends are a large part of it. Our rule.
SHORT = 1.5

#: A burn no longer than both ends together tells nothing. [s]
LEAST = 2.0 * ENDS

#: Frames a second that a camera takes.
RATES = (5.0, 5000.0)

#: Standard deviation of the sum of two rectangles of half-width 1.
_BOTH_ENDS = math.sqrt(2.0 / 3.0)

_KEYS = ("first", "last", "rate")


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """Start and end of burning in a video.

    Attributes
    ----------
    first, last : int
        Frames at which it starts and ends, counted from any frame.
    rate : float
        Frames a second, as they were filmed. [1/s]

    Raises
    ------
    InputError
        An end that is not after the start; a rate that no camera has.

    Examples
    --------
    >>> Frames(first=12, last=72, rate=30.0).lasting
    2.0
    """

    first: int
    last: int
    rate: float

    def __post_init__(self) -> None:
        low, high = RATES
        if not low <= self.rate <= high:
            raise InputError(
                f"rate is {self.rate:g} frames a second; allowed: {low:g} to {high:g}, "
                "usual are 24, 30, 60, 120, 240"
            )
        if not 0 <= self.first < self.last:
            raise InputError(
                f"first frame is {self.first}, last {self.last}; the burning ends "
                "after it starts: give 0 <= first < last"
            )

    @classmethod
    def parse(cls, text: str, *, where: str) -> Frames:
        """Read ``first=12 last=74 rate=30``; commas may stand between.

        Raises
        ------
        InputError
            A word that is missing or given twice, a number that cannot be read.
        UnknownNameError
            A word that is none of these.

        Examples
        --------
        >>> Frames.parse("first=12 last=72 rate=30", where="--frames").lasting
        2.0
        """
        found: dict[str, str] = {}
        for word in text.replace(",", " ").split():
            key, equals, value = word.partition("=")
            if key not in _KEYS:
                raise unknown_name(f"word of {where}", key, _KEYS)
            if not (equals and value) or key in found:
                raise InputError(f"{where}: {word!r}; write each once, as {_EXAMPLE}")
            found[key] = value
        missing = [key for key in _KEYS if key not in found]
        if missing:
            raise InputError(
                f"{where}: {' and '.join(missing)} missing; write {_EXAMPLE}"
            )
        first, last = (_frame(found[key], key, where) for key in _KEYS[:2])
        rate = _number(found["rate"], where)
        try:
            return cls(first=first, last=last, rate=rate)
        except InputError as error:
            raise InputError(f"{where}: {error}") from None

    def __str__(self) -> str:
        return f"first={self.first} last={self.last} rate={self.rate:.10g}"

    @property
    def count(self) -> int:
        """Return the number of frames from start to end."""
        return self.last - self.first

    @property
    def lasting(self) -> float:
        """Return the time from start to end. [s]"""
        return self.count / self.rate

    @property
    def u(self) -> float:
        """Return the standard uncertainty of that by the frames alone. [s]"""
        return FRAME / self.rate * _BOTH_ENDS


_EXAMPLE = "'first=12 last=74 rate=30'"


def _frame(text: str, key: str, where: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise InputError(f"{where}: {key}={text}; a frame is a whole number, 0 or more")
    return int(text)


def _number(text: str, where: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(
            f"{where}: rate={text}; give frames a second as a number, rate=30"
        ) from None


# ----------------------------------------------------------------------------
# Mean values, each with its budget of doubt.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Factor(Measured):
    """A number whose doubt is one of its logarithm: the band is a factor each way."""

    @property
    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval."""
        factor = math.exp(COVERAGE * self.u / self.value)
        return self.value / factor, self.value * factor


def burn_time(frames: Frames) -> Measured:
    """Return the burn time with its doubt. [s]

    Raises
    ------
    InputError
        A burn no longer than the doubt of its ends, or of no motor.
    """
    lasting = frames.lasting
    plausible.checked("burn time", lasting, plausible.said_at("the burn time"))
    if lasting <= LEAST:
        raise InputError(
            f"the burn lasts {lasting:.2g} s, and what counts as its start and end is "
            f"known to {LEAST:g} s together: a video tells nothing of so short a burn; "
            "record its pressure"
        )
    wider = 2.0 if lasting < SHORT else 1.0
    return Measured(
        value=lasting,
        parts={
            "frames": wider * frames.u,
            "what counts as burning": wider * ENDS * _BOTH_ENDS,
        },
    )


def _logs(found: Measured) -> dict[str, float]:
    """Return the parts of the logarithm."""
    return {name: part / found.value for name, part in found.parts.items()}


def mass_flow(time: Measured, stand: Stand) -> Measured:
    """Return the mean mass flow, an igniter's gas as so much propellant. [kg/s]

    Raises
    ------
    InputError
        If no mass is known.
    """
    if stand.propellant_mass is None:
        raise InputError(
            "propellant mass is missing: give --propellant-mass '180 g', what the "
            "grains weighed without liner and inhibitor"
        )
    logs = _logs(time) | stand.mass_parts()
    found = scaled(stand.gas_mass / time.value, logs)
    return Factor(value=found.value, parts=found.parts)


def mean_pressure(
    flow: Measured, stand: Stand, velocity: float, velocity_parts: Mapping[str, float]
) -> Measured:
    """Return the mean absolute pressure. [Pa]

    Parameters
    ----------
    flow : Measured
        Mass flow. [kg/s]
    velocity : float
        c* as delivered: assumed, not measured. [m/s]
    velocity_parts : mapping of str to float
        Standard uncertainties of its logarithm.

    Raises
    ------
    InputError
        If no throat is known.
    """
    area = 0.5 * sum(stand.throat_areas())
    logs = _logs(flow) | area_parts(stand) | dict(velocity_parts)
    found = scaled(flow.value * velocity / area, logs)
    return Factor(value=found.value, parts=found.parts)


def mean_rate(time: Measured, grain: Grain, rivals: Mapping[str, Grain]) -> Measured:
    """Return the mean burning rate, web over burn time. [m/s]

    Parameters
    ----------
    time : Measured
        Burn time. [s]
    rivals : mapping of str to Grain
        The grain with one size off by its standard uncertainty, see
        :func:`castsugar.motor.firing.law_doubts.rivals_of`.
    """
    sizes = {
        name: abs(math.log(other.web / grain.web)) for name, other in rivals.items()
    }
    found = scaled(grain.web / time.value, _logs(time) | sizes)
    return Factor(value=found.value, parts=found.parts)


# ----------------------------------------------------------------------------
# One row for the model of burn rates: the rate at the mean pressure.
#
# Rate and pressure share the burn time: a time read long makes both small, and by a law
# of exponent n that is (1 - n) of it, not all. With y = ln r at the stated pressure,
#
# .. math:: \delta y = \delta w - (1 - n) \, \delta t
#     - n \, (\delta m + \delta c^* - \delta A_t) - \delta n \, \delta p
#
# all of logarithms; n and its doubt are those held before anything was burned.
#
# The web is gone before the pressure is: what the flame takes to spread, and the
# chamber to fill and to empty, is time in which no web burns, but gas leaves.

#: That time, known as a rectangle from 0 to twice it. Assumed; simulated motors of 0.1
#: to 6 kg take 0.05 to 0.15 s. [s]
UNBURNT = 0.1

#: Parts that every filmed firing of a workshop shares: one eye judges the ends, one
#: mould makes the grains, one motor has an efficiency. Assumed.
_OWN = ("frames", "propellant mass", "data of the ideal value")

#: Depths at which the course of the area is integrated.
_DEPTHS = 2000

#: An area below this share of the largest counts as that: pressure never is 0.
_NO_AREA = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanRate:
    """The burning rate at the mean pressure of a filmed firing."""

    centre: float  # [Pa]
    rate: float  # [m/s]
    #: Standard uncertainty of ln of the rate at that pressure, and the part of it that
    #: other filmed firings share.
    log_rate_u: float
    shared_u: float


def rate_at_mean(rate: Measured, pressure: Measured, grain: Grain) -> MeanRate:
    """Return what a filmed firing tells the model of burn rates."""
    n, n_u = scatter.EXPONENT
    of_rate, of_pressure = _logs(rate), _logs(pressure)
    parts = {name: (1.0 - n) * u for name, u in of_rate.items() if name in of_pressure}
    parts |= {name: u for name, u in of_rate.items() if name not in of_pressure}
    parts |= {name: n * u for name, u in of_pressure.items() if name not in of_rate}
    low, high = (log_course(grain, n + side * n_u) for side in (-1.0, 1.0))
    time = grain.web / rate.value
    parts["slope"] = n_u * pressure.u / pressure.value
    parts["spreading and emptying"] = (1.0 - n) * UNBURNT / time / math.sqrt(3.0)
    parts["course of the pressure"] = 0.5 * abs(high - low)
    shared = [u for name, u in parts.items() if name not in _OWN]
    faster = (1.0 - n) * math.log(time / (time - UNBURNT)) - log_course(grain, n)
    return MeanRate(
        centre=pressure.value,
        rate=rate.value * math.exp(faster),
        log_rate_u=math.hypot(*parts.values()),
        shared_u=math.hypot(*shared),
    )


def log_course(grain: Grain, exponent: float) -> float:
    """Return ln of the mean rate over the rate at the mean pressure: 0 or less.

    By the quasi-steady course that the area of the grain makes: p as A to the power
    1 / (1 - n), r as p to the power n.

    Examples
    --------
    >>> from castsugar.motor.grain import AreaTable
    >>> neutral = AreaTable(webs=(0.0, 0.01), areas=(0.01, 0.01))
    >>> abs(log_course(neutral, 0.4)) < 1e-12
    True
    """
    depth = (np.arange(_DEPTHS) + 0.5) / _DEPTHS * grain.web
    area = grain.area(depth)
    pressure = np.maximum(area, _NO_AREA * area.max()) ** (1.0 / (1.0 - exponent))
    time = (pressure**-exponent).mean()
    mean = (pressure ** (1.0 - exponent)).mean() / time
    return float(-math.log(time) - exponent * math.log(mean))


@dataclass(frozen=True, slots=True, kw_only=True)
class Filmed:
    """How a firing was filmed, and what follows for other firings."""

    frames: Frames
    #: Of c*, taken and not measured; standard uncertainty of its logarithm.
    efficiency: float
    efficiency_u: float
    mean_rate: MeanRate | None  # None where pressure or grain are not known
    not_told: tuple[tuple[str, str], ...]  # what is not told, and why
