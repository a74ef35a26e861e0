"""A delay column: what burns during thrust, and how long the rest lasts."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import positive
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.draw_set import normals
from castsugar.frozen import dataclass
from castsugar.motor.burn_law import BurnLaw, burn_rate, draw_laws, log_rate_uncertainty
from castsugar.motor.delay_inputs import (
    CLIMB,
    EMPTYING,
    IGNITION_LAG,
    Settings,
    Thrusting,
    ambient_pressure_at,
    cautions_of,
    check,
    delay_law,
    pressure_above,
)
from castsugar.special import ndtr

# ----------------------------------------------------------------------------
# Many delay columns at once: how they depart from the best estimate, what they do.

#: Beyond so many nodes of a trace they are gathered in bins of ln p this wide, each at
#: its mean: that costs at most n^2 _BIN^2 / 24 of the length burned, 2e-5 n^2.
_MOST_NODES, _BIN = 400, 0.02

_AT_ONCE = 2_000_000  # numbers held at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Departures:
    """What draws add to the best estimate: to ln, but for exponent and length [m].

    To ignition lag and emptying a part of them. Each of shape (draws,), or (1,) where
    nothing departs.
    """

    burn_law: FloatArray
    exponent: FloatArray
    chamber_pressure: FloatArray
    burn_time: FloatArray
    ambient_pressure: FloatArray
    length: FloatArray
    ignition_lag: FloatArray
    emptying: FloatArray

    def only(self, *names: str) -> Departures:
        """Return departures of nothing but `names`."""
        still = {f.name: np.zeros(1) for f in fields(self) if f.name not in names}
        return replace(self, **still)


def depart(law: BurnLaw, thrusting: Thrusting, settings: Settings) -> Departures:
    """Draw new columns, firings and days."""
    count, seed = settings.draws, settings.seed
    shift, exponent = draw_laws(law, count, seed)

    def scores(name: str) -> FloatArray:
        return normals(f"delay|{name}", count, seed)

    def rectangle(name: str) -> FloatArray:
        return np.asarray(2.0 * ndtr(scores(name)) - 1.0)

    pressure, alike = scores("chamber pressure"), thrusting.correlation
    time = alike * pressure + math.sqrt(1.0 - alike**2) * scores("burn time")
    return Departures(
        burn_law=shift,
        exponent=exponent,
        chamber_pressure=thrusting.pressure_u * pressure,
        burn_time=thrusting.time_u * time,
        ambient_pressure=settings.ambient_u * scores("ambient pressure"),
        length=settings.length_u * scores("length"),
        ignition_lag=rectangle("ignition lag"),
        emptying=rectangle("emptying"),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Column:
    """A law, a thrust phase as nodes, the air, and what lies at both ends."""

    law: BurnLaw
    #: Of Thrusting.nodes, (nodes,).
    log_pressure: FloatArray  # [ln Pa]
    weight: FloatArray  # [s]
    burning_at: float  # pressure of the air [Pa]
    ignition_lag: float = 0.0  # [s]
    #: Length that burns as the chamber empties, beyond what burns in air alone. [m]
    tail: float = 0.0
    #: At which the rate of the tail departs from that of the law. [Pa]
    tail_pressure: float = STANDARD_ATMOSPHERE

    def still_rate(self, pressure: float) -> float:
        """Return the rate of the law itself at a pressure [Pa]. [m/s]"""
        return float(burn_rate(self.law, pressure))

    def phases(self, drawn: Departures) -> tuple[FloatArray, FloatArray]:
        """Return length burned in the motor [m] and rate afterwards [m/s].

        Shapes (draws,) or (1,); a rate is never 0.
        """
        with np.errstate(over="ignore", under="ignore"):
            longer = np.exp(drawn.burn_time)
            burned = self._burned(drawn) * longer * self._lit(drawn, longer)
            if self.tail > 0.0:
                burned = burned + self._emptied(drawn)
            air = np.log(self.burning_at) + drawn.ambient_pressure
            rate = self._rate(air, drawn.burn_law, drawn.exponent)
        return burned, np.maximum(rate, np.finfo(float).tiny)

    def _emptied(self, drawn: Departures) -> FloatArray:
        """Return the length that burns as the chamber empties. [m]"""
        at = math.log(self.tail_pressure / self.law.centre)
        faster = np.exp(drawn.burn_law + at * drawn.exponent)
        return np.asarray(self.tail * (1.0 + drawn.emptying) * faster)

    def _lit(self, drawn: Departures, longer: FloatArray) -> FloatArray:
        """Return the part of what burns during thrust that burns after the lag.

        By the best estimate of the law: its departures move all of it alike.
        """
        lag = self.ignition_lag * (1.0 + drawn.ignition_lag) / longer
        time = np.cumsum(self.weight)
        length = np.cumsum(burn_rate(self.law, np.exp(self.log_pressure)) * self.weight)
        share = length / length[-1]
        return np.asarray(1.0 - np.interp(lag, np.r_[0.0, time], np.r_[0.0, share]))

    def _burned(self, drawn: Departures) -> FloatArray:
        """Return the length that the stated burn time takes. [m]"""
        parts = np.broadcast_arrays(
            drawn.chamber_pressure, drawn.burn_law, drawn.exponent
        )
        log_pressure, weight = _gathered(self.log_pressure, self.weight)
        rows = max(_AT_ONCE // len(weight), 1)
        found = []
        for start in range(0, len(parts[0]), rows):
            p, shift, exponent = (x[start : start + rows, None] for x in parts)
            found.append(self._rate(log_pressure + p, shift, exponent) @ weight)
        return np.concatenate(found)

    def _rate(
        self, log_pressure: FloatArray, shift: FloatArray, exponent: FloatArray
    ) -> FloatArray:
        departed = shift + exponent * (log_pressure - np.log(self.law.centre))
        return np.asarray(burn_rate(self.law, np.exp(log_pressure)) * np.exp(departed))


def _gathered(
    log_pressure: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return fewer nodes that tell the same."""
    if len(weight) <= _MOST_NODES:
        return log_pressure, weight
    k = np.floor((log_pressure - log_pressure.min()) / _BIN).astype(int)
    total = np.bincount(k, weight).astype(float)
    used = total > 0.0
    middle = np.bincount(k, weight * log_pressure)[used] / total[used]
    return middle, total[used]


# ----------------------------------------------------------------------------
# What a delay column does, with its doubt.


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A best estimate and the ends of its band."""

    value: float
    low: float
    high: float


def estimate(value: float, draws: FloatArray, probability: float) -> Estimate:
    """Return a best estimate with the band of draws, rounded outward to a draw."""
    last = len(draws) - 1
    tail = 0.5 * (1.0 - probability)
    low, high = int(tail * last), int(np.ceil((1.0 - tail) * last))
    order = np.partition(draws, sorted({low, high}))
    return Estimate(value=value, low=float(order[low]), high=float(order[high]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Delay:
    """A delay column, with its doubt.

    Attributes
    ----------
    wanted : bool
        True: `time` was asked for and `length` found; False: the other way round.
    length : Estimate
        Length to cut, with the band of what single columns would need; or the length
        given, with the doubt about it. [m]
    time : Estimate
        From the end of thrust until a column of that length is through. [s]
    burned, left : Estimate
        Length that the thrust phase burns, tail included, of a column long enough, and
        length left then. [m]
    tail : float
        The part of it that the emptying chamber adds, at best estimate. [m]
    ambient_rate : Estimate
        Rate where the delay burns. [m/s]
    ambient, burning_at : float
        Pressure of the air at the test place and where the delay burns. [Pa]
    ground_time : float
        Best estimate if the delay burns at the test place. [s]
    climb_pressure, climb_time : float
        The same `checks.CLIMB` above the test place; the law is continued there if
        nothing was tested so low. [Pa], [s]
    burn_through : float
        Share of draws in which the column is through before the thrust ends.
    half_widths : dict of str to float
        Half the band of `time` if one input alone is uncertain, largest first. [s]
    scatter_share : float
        Part of the variance of the ambient rate that is scatter between columns.
        [-]
    draws : ndarray, shape (draws,)
        Delays. [s]
    law : BurnLaw
    thrusting : Thrusting
    settings : Settings
    cautions : tuple of str
    """

    wanted: bool
    length: Estimate
    time: Estimate
    burned: Estimate
    left: Estimate
    tail: float
    ambient_rate: Estimate
    ambient: float
    burning_at: float
    ground_time: float
    climb_pressure: float
    climb_time: float
    burn_through: float
    half_widths: dict[str, float]
    scatter_share: float
    draws: FloatArray
    law: BurnLaw
    thrusting: Thrusting
    settings: Settings
    cautions: tuple[str, ...]

    def __repr__(self) -> str:
        length, time = self.length, self.time
        return (
            f"{1e3 * length.value:.3g} mm ({1e3 * length.low:.3g} to "
            f"{1e3 * length.high:.3g}): {time.value:.3g} s after thrust "
            f"({time.low:.3g} to {time.high:.3g})"
        )

    @property
    def burned_share(self) -> float:
        """Return the part of the length that burns during thrust. [-]"""
        return min(self.burned.value / self.length.value, 1.0)

    @property
    def thrust_rate(self) -> float:
        """Return the mean rate while it burns during thrust, at best estimate. [m/s]

        0 where it lights after the thrust.
        """
        lasting = self.thrusting.burn_time - self.settings.ignition_lag
        return (self.burned.value - self.tail) / lasting if lasting > 0.0 else 0.0

    @property
    def end(self) -> float:
        """Return the time from ignition to the end of the column. [s]

        NaN if it is through before the thrust ends.
        """
        return self.thrusting.burn_time + self.time.value if self.lasts else math.nan

    @property
    def lasts(self) -> bool:
        """Whether the column, at best estimate, outlasts the thrust."""
        return self.time.value > 0.0


# ----------------------------------------------------------------------------
# A delay column: it burns with the grain, then on alone until it is through.
#
# .. math:: L = \int_{t_l}^{t_b} r(p(t)) \, dt
#     + \int_{t_b}^\infty (r(p(t)) - r(p_{air})) \, dt + r(p_{air}) \, t_{delay}
#
# The column lights t_l after the grain; after t_b the chamber empties as recorded, else
# as exp(-t / tau), beyond the air (the mass balance of a choked throat).
#
# Both rates are those of one column, by the law of the user's own strands of the delay
# mix: a column that burns 5 % fast does so in both phases. Drawn are the law (scatter
# of columns included), chamber pressure and burn time, together where a forecast ties
# them, pressure of the air, length, lag and emptying; all relative uncertainties are
# those of the logarithm. Not modelled: a temperature other than that of the strands.

#: A column that is through before the thrust ends in more draws than this is flagged.
BURN_THROUGH_SHARE: Final = 0.01

#: What each doubt is called, and the departures that belong to it.
INPUTS: Final = {
    "burn law": ("burn_law", "exponent"),
    "chamber pressure": ("chamber_pressure",),
    "burn time": ("burn_time",),
    "ambient pressure": ("ambient_pressure",),
    "length": ("length",),
    "ignition lag": ("ignition_lag",),
    "emptying": ("emptying",),
}


def delay_time(
    law: BurnLaw,
    thrusting: Thrusting,
    *,
    length: float,
    ambient: float = STANDARD_ATMOSPHERE,
    burning_at: float | None = None,
    settings: Settings | None = None,
) -> Delay:
    """Return the delay that a column of a given length makes.

    Parameters
    ----------
    law : BurnLaw
        Of the strands of the delay mix (see :func:`delay_law`).
    thrusting : Thrusting
    length : float
        [m]
    ambient : float
        Pressure of the air at the test place. [Pa]
    burning_at : float, optional
        Pressure of the air where the delay burns; None: as at the test place. [Pa]
    settings : Settings, optional

    Returns
    -------
    Delay
        Its `time` is from the end of thrust. [s]

    Raises
    ------
    InputError
        A law that was not measured; a pressure more than 10 % outside the tested ones,
        but for a lower one where the delay burns; readings below ambient.

    See Also
    --------
    delay_length : the other way round.

    Notes
    -----
    Valid for a column that burns on its end, by a law measured at these pressures,
    continued by 10 % at most. Source: Saint Robert's law (Sutton & Biblarz, *Rocket
    Propulsion Elements*, ch. 11).

    Examples
    --------
    >>> from castsugar.motor.burn_law import Band
    >>> band = Band(low=1e5, high=3e6, rate=3e-3, exponent=0.5)
    >>> slow = BurnLaw(name="invented", bands=(band,), log_rate_u=0.05)
    >>> fired = Thrusting.constant(1e6, 2.0)
    >>> at_once = Settings(ignition_lag=0.0, emptying=0.0)
    >>> found = delay_time(
    ...     slow, fired, length=12e-3, ambient=1.1e5, settings=at_once
    ... )
    >>> round(1e3 * found.left.value, 9), round(found.time.value, 4)
    (6.0, 6.0302)
    """
    positive("length of the delay column", length, "m")
    fired = _fire(law, thrusting, ambient, burning_at, settings or Settings())
    cut = np.maximum(length + fired.drawn.length, 0.0)
    return _delay(fired, fired.estimate(length, cut), wanted=False)


def delay_length(
    law: BurnLaw,
    thrusting: Thrusting,
    *,
    time: float,
    ambient: float = STANDARD_ATMOSPHERE,
    burning_at: float | None = None,
    settings: Settings | None = None,
) -> Delay:
    """Return the length of a column that makes a wanted delay.

    Parameters
    ----------
    law, thrusting, ambient, burning_at, settings
        As for :func:`delay_time`.
    time : float
        Wanted, from the end of thrust. [s]

    Returns
    -------
    Delay
        Its `length` is the one to cut. [m]

    Raises
    ------
    InputError
        As for :func:`delay_time`.

    Notes
    -----
    Valid as :func:`delay_time`. Source: the same.

    Examples
    --------
    >>> from castsugar.motor.burn_law import Band
    >>> band = Band(low=1e5, high=3e6, rate=3e-3, exponent=0.5)
    >>> slow = BurnLaw(name="invented", bands=(band,), log_rate_u=0.05)
    >>> found = delay_length(slow, Thrusting.constant(1e6, 2.0), time=6.0)
    >>> round(1e3 * found.length.value, 1)
    11.6
    """
    positive("delay", time, "s")
    fired = _fire(law, thrusting, ambient, burning_at, settings or Settings())
    burned, rate = fired.best
    needed = fired.burned + fired.rate * time
    return _delay(fired, fired.estimate(burned + rate * time, needed), wanted=True)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fired:
    """Both phases, at best estimate and drawn, before there is a length."""

    column: Column
    thrusting: Thrusting
    ambient: float
    settings: Settings
    drawn: Departures
    best: tuple[float, float]
    burned: FloatArray
    rate: FloatArray

    def estimate(self, value: float, draws: FloatArray) -> Estimate:
        return estimate(value, draws, self.settings.probability)


def _fire(
    law: BurnLaw,
    thrusting: Thrusting,
    ambient: float,
    burning_at: float | None,
    settings: Settings,
) -> _Fired:
    """Check what was given and burn the columns."""
    at = ambient if burning_at is None else burning_at
    check(law, thrusting, ambient, at)
    log_pressure, weight = thrusting.nodes([band.low for band in law.bands[1:]])
    column = Column(
        law=law,
        log_pressure=log_pressure,
        weight=weight,
        burning_at=at,
        ignition_lag=settings.ignition_lag,
        tail=_tail(law, thrusting, at, settings.emptying),
        tail_pressure=math.sqrt(at * max(float(thrusting.pressure[-1]), at)),
    )
    drawn = depart(law, thrusting, settings)
    if thrusting.tail is not None:  # it was seen, not assumed
        drawn = replace(drawn, emptying=np.zeros(1))
    burned, rate = column.phases(drawn)
    best = tuple(float(x[0]) for x in column.phases(drawn.only()))
    return _Fired(
        column=column,
        thrusting=thrusting,
        ambient=ambient,
        settings=settings,
        drawn=drawn,
        best=(best[0], best[1]),
        burned=burned,
        rate=rate,
    )


#: An emptying chamber is followed for so many time constants, in so many steps.
_FOLLOWED, _STEPS = 12.0, 600


def _tail(law: BurnLaw, thrusting: Thrusting, air: float, emptying: float) -> float:
    """Return the length that an emptying chamber burns beyond what air does. [m]"""
    if thrusting.tail is not None:
        time, pressure = thrusting.tail
    else:
        steps = np.linspace(0.0, _FOLLOWED, _STEPS)
        over = max(float(thrusting.pressure[-1]) - air, 0.0)
        time, pressure = emptying * steps, air + over * np.exp(-steps)
    beyond = burn_rate(law, np.maximum(pressure, air)) - burn_rate(law, air)
    return float(np.trapezoid(beyond, time))


def _delay(fired: _Fired, length: Estimate, *, wanted: bool) -> Delay:
    """Return the delay of columns cut to a length."""
    column, law = fired.column, fired.column.law
    burned, rate = fired.best
    cut = np.maximum(length.value + fired.drawn.length, 0.0)
    draws = np.maximum(cut - fired.burned, 0.0) / fired.rate
    left = max(length.value - burned, 0.0)
    above = pressure_above(fired.ambient, CLIMB)
    through = float(np.mean(cut <= fired.burned))
    scatter = law.scatter / max(_log_rate_u(law, column.burning_at), 1e-300)
    return Delay(
        wanted=wanted,
        length=length,
        time=fired.estimate(left / rate, draws),
        burned=fired.estimate(burned, fired.burned),
        left=fired.estimate(left, np.maximum(cut - fired.burned, 0.0)),
        tail=column.tail,
        ambient_rate=fired.estimate(rate, fired.rate),
        ambient=fired.ambient,
        burning_at=column.burning_at,
        ground_time=left / column.still_rate(fired.ambient),
        climb_pressure=above,
        climb_time=left / column.still_rate(above),
        burn_through=through,
        half_widths=_half_widths(fired, length.value),
        scatter_share=min(scatter**2, 1.0),
        draws=draws,
        law=law,
        thrusting=fired.thrusting,
        settings=fired.settings,
        cautions=cautions_of(law, fired.thrusting, fired.ambient, column.burning_at)
        + _burn_through(through),
    )


def _log_rate_u(law: BurnLaw, pressure: float) -> float:
    return float(log_rate_uncertainty(law, pressure))


def _half_widths(fired: _Fired, length: float) -> dict[str, float]:
    """Return half the band of the delay with one input alone uncertain."""
    found = {}
    for name, parts in INPUTS.items():
        alone = fired.drawn.only(*parts)
        burned, rate = fired.column.phases(alone)
        draws = np.maximum(length + alone.length - burned, 0.0) / rate
        band = fired.estimate(0.0, draws)
        found[name] = 0.5 * (band.high - band.low)
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _burn_through(share: float) -> tuple[str, ...]:
    if share <= BURN_THROUGH_SHARE:
        return ()
    return (
        f"in {100.0 * share:.0f} % of draws the column is through before the thrust "
        "ends: whatever it lights goes off while the motor still pushes; take a longer "
        "column",
    )


# ----------------------------------------------------------------------------
# A delay column: what burns during thrust, and how long the rest lasts.

__all__ = [
    "CLIMB",
    "EMPTYING",
    "IGNITION_LAG",
    "Delay",
    "Estimate",
    "Settings",
    "Thrusting",
    "ambient_pressure_at",
    "delay_law",
    "delay_length",
    "delay_time",
]
