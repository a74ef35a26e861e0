"""Pressure and thrust of a firing against time: filling, burning, emptying."""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import ConvergenceError, InputError
from castsugar.frozen import dataclass
from castsugar.motor import mass_balance
from castsugar.motor.assembly import BURNT_OUT, Motor
from castsugar.motor.burn_law import REFERENCE_PRESSURE, BurnLaw
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import (
    FLOW_FACTOR,
    USUAL_EXPONENT,
    choked_pressure_ratio,
)

# ----------------------------------------------------------------------------
# The mass balance of a chamber with one pressure (Sutton & Biblarz, *Rocket Propulsion
# Elements*, ch. 12, from memory):
#
# .. math::
#     \frac{1}{RT} \frac{d(pV)}{dt} = \rho A_b r(p) + \dot m_i
#         - \frac{p A_t}{c^*} f(p / p_a), \quad
#     \frac{dV}{dt} = A_b r, \quad \frac{dx}{dt} = r, \quad RT = (G c^*)^2
#
# f is 1 while the throat chokes, and the isentropic flow of one exponent below that.
# The grain lights all at once, the gas has one temperature, the throat diameter grows
# straight with the burnt mass. Burnout and the end of the igniter end a stretch of the
# integration, so that no step crosses them.

#: Gas of an igniter's charge over that of as much propellant: charges of the kind of
#: black powder, from their force of some 285 kJ/kg (from memory).
IGNITER_GAS = 0.9

#: The tail ends where the pressure over the air has fallen to this share of the peak.
_GONE = 0.005

#: Where two bands of a law meet, ln p on both sides in which one leads to the other.
_STEP = 0.01

#: Times to fill and to empty, in times of emptying: 5 % is left. -ln 0.05.
_WHOLE = 2.9957

_CRITICAL = 1.0 / float(choked_pressure_ratio(USUAL_EXPONENT))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A firing as the balance sees it."""

    #: From ignition to the end of the tail; `mass_out` is what has left, (points,).
    time: FloatArray  # [s]
    pressure: FloatArray  # [Pa]
    thrust: FloatArray  # [N]
    web: FloatArray  # [m]
    mass_out: FloatArray  # [kg]
    throat_area: FloatArray  # [m2]
    burnout: float  # when the web is burnt [s]
    #: Between 5 % of the peak over the air, as in a recording; of the whole course for
    #: the impulse.
    burn_time: float  # [s]
    peak_pressure: float  # [Pa]
    mean_pressure: float  # [Pa]
    total_impulse: float  # [N s]
    #: The chamber fills and empties as exp(-t / emptying), with its volume before
    #: ignition and after burnout. [s]
    emptying_start: float
    emptying_end: float
    #: Gas of grain and igniter, and what of it is in the chamber at the end beyond what
    #: was there before. [kg]
    mass_made: float
    mass_kept: float

    @property
    def filling_time(self) -> float:
        """Return how long the chamber takes to fill to 95 %. [s]"""
        return _WHOLE * self.emptying_start

    @property
    def tail_time(self) -> float:
        """Return how long it takes to empty to 5 %. [s]"""
        return _WHOLE * self.emptying_end


def course(
    motor: Motor,
    law: BurnLaw | Bands,
    *,
    igniter_mass: float = 0.0,
    igniter_time: float = 0.03,
    rtol: float = 1e-6,
) -> Course:
    """Follow a firing from ignition to the end of the tail.

    Parameters
    ----------
    motor : Motor
        Its delivered c*, its free volume and its throat after the firing count.
    igniter_mass, igniter_time : float
        A charge that burns evenly from the start on, until burnout at most. [kg], [s]
    rtol : float
        Relative precision of the integration.

    Raises
    ------
    InputError
        An exponent of 1 or more; an igniter of negative mass or no duration.
    ConvergenceError
        Where the integration does not reach burnout.
    """
    bands = mass_balance.as_bands(law)
    if not (igniter_mass >= 0.0 and igniter_time > 0.0):
        raise InputError(
            f"igniter of {1e3 * igniter_mass:g} g in {1e3 * igniter_time:g} ms; give "
            "a mass of 0 or more and a time above 0"
        )
    balance = _Balance(motor, bands, rtol)
    flow = IGNITER_GAS * igniter_mass / igniter_time
    start = np.array([motor.ambient_pressure, 0.0, 0.0])
    pieces = []
    if flow > 0.0:
        pieces.append(balance.burns(start, (0.0, igniter_time), flow))
    if not pieces or pieces[-1].web < motor.grain.web:
        begin = (pieces[-1].time[-1], pieces[-1].state) if pieces else (0.0, start)
        span = begin[0], begin[0] + balance.longest()
        pieces.append(balance.burns(begin[1], span, 0.0))
    burnout = float(pieces[-1].time[-1])
    if pieces[-1].web < motor.grain.web * (1.0 - 1e-9):
        raise ConvergenceError(
            "the firing does not burn out within 20 times its quasi-steady time"
        )
    top = max(float(piece.values[0].max()) for piece in pieces)
    pieces.append(balance.empties(pieces[-1].state, burnout, top))
    igniter = flow * min(igniter_time, burnout)
    return _told(balance, pieces, burnout, igniter)


# ----------------------------------------------------------------------------
# Stretches of the integration.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Piece:
    """Times, and pressure, web, mass out at them, shape (3, points)."""

    time: FloatArray
    values: FloatArray

    @property
    def state(self) -> FloatArray:
        return np.asarray(self.values[:, -1])

    @property
    def web(self) -> float:
        return float(self.values[1, -1])


class _Balance:
    """The chamber of one motor; its numbers are plain floats, for speed."""

    def __init__(self, motor: Motor, bands: Bands, rtol: float) -> None:
        propellant = motor.propellant
        self.motor, self.rtol = motor, rtol
        self.velocity = propellant.delivered_velocity
        self.gas = (FLOW_FACTOR * self.velocity) ** 2
        self.density = propellant.grain_density
        self.whole, self.last_web = motor.grain.volume, motor.grain.web
        self.free, self.ambient = motor.gas_volume, motor.ambient_pressure
        self.throat, self.growth = motor.nozzle.throat_area, motor.growth
        self.ends, self.lines = _lines(bands, math.log(propellant.rate_factor))

    def rate(self, pressure: float) -> float:
        """Return the burn rate. [m/s]"""
        x = math.log(pressure)
        at, slope = self.lines[bisect.bisect(self.ends, x)]
        return math.exp(at + slope * x)

    def throat_at(self, burnt: float) -> float:
        """Return the throat area when a volume has burnt. [m2]"""
        return self.throat * (1.0 + self.growth * burnt / self.whole) ** 2

    def outflow(self, pressure: float, throat: float) -> float:
        """Return the gas that leaves. [kg/s]"""
        back = self.ambient / pressure
        if back >= 1.0:
            return 0.0
        full = pressure * throat / self.velocity
        if back <= _CRITICAL:
            return full
        return full * _flux(back) / _FLUX_AT_CRITICAL

    def slopes(
        self, igniter: float, *, burns: bool
    ) -> Callable[[float, FloatArray], list[float]]:
        """Return the right-hand side: d/dt of pressure, web, mass out."""
        grain, gas, density = self.motor.grain, self.gas, self.density

        def slopes(_: float, state: FloatArray) -> list[float]:
            p, x = max(float(state[0]), 1.0), min(float(state[1]), self.last_web)
            burnt = self.whole
            area = rate = 0.0
            if burns:
                x = max(x, 0.0)
                burnt -= float(grain.volume_left(x))
                area, rate = float(grain.area(x)), self.rate(p)
            volume = self.free + burnt
            out = self.outflow(p, self.throat_at(burnt))
            made = density * area * rate + igniter
            rise = (gas * (made - out) - p * area * rate) / volume
            return [rise, rate, out]

        return slopes

    def longest(self) -> float:
        """Return a time in which every motor has burnt out. [s]"""
        slowest = min(self.rate(self.ambient), self.rate(1e7))
        return 20.0 * self.last_web / slowest

    def burns(
        self, start: FloatArray, span: tuple[float, float], igniter: float
    ) -> _Piece:
        """Integrate until burnout or the end of a span."""

        def burnt_out(_: float, state: FloatArray) -> float:
            return float(state[1]) - self.last_web

        return self._integrated(
            self.slopes(igniter, burns=True), burnt_out, start, span
        )

    def empties(self, start: FloatArray, begin: float, top: float) -> _Piece:
        """Integrate the tail."""
        end = self.ambient + _GONE * max(top - self.ambient, 0.0)

        def empty(_: float, state: FloatArray) -> float:
            return float(state[0]) - end

        if start[0] <= end:
            return _Piece(time=np.array([begin]), values=start[:, None])
        lasts = 40.0 * self.emptying(self.whole)
        return self._integrated(
            self.slopes(0.0, burns=False), empty, start, (begin, begin + lasts)
        )

    def emptying(self, burnt: float) -> float:
        """Return the time of emptying when a volume has burnt. [s]"""
        flow = FLOW_FACTOR**2 * self.velocity * self.throat_at(burnt)
        return (self.free + burnt) / flow

    def _integrated(
        self,
        slopes: Callable[[float, FloatArray], list[float]],
        event: Callable[[float, FloatArray], float],
        start: FloatArray,
        span: tuple[float, float],
    ) -> _Piece:
        """Integrate by LSODA (Petzold, SIAM J. Sci. Stat. Comput. 4 (1983) 136)."""
        from scipy.integrate import solve_ivp

        event.terminal = True  # type: ignore[attr-defined]  # how solve_ivp asks for it
        mass = self.density * self.whole
        found = solve_ivp(
            slopes,
            span,
            start,
            method="LSODA",
            events=event,
            rtol=self.rtol,
            atol=self.rtol * np.array([self.ambient, self.last_web, mass]),
            first_step=min(1e-2 * self.emptying(0.0), span[1] - span[0]),
        )
        if not found.success:
            raise ConvergenceError(f"the course of a firing fails: {found.message}")
        return _Piece(time=found.t, values=found.y)


def _lines(
    bands: Bands, log_factor: float
) -> tuple[list[float], list[tuple[float, float]]]:
    """Return a law as straight lines in ln p: where they end, and ln r at 0 and slope.

    Where two bands meet a line over :data:`_STEP` on both sides leads from one to the
    other: a law that jumps down would make the pressure stand on the jump, where no
    integration gets on.
    """
    reference = math.log(REFERENCE_PRESSURE)
    at = (bands.log_rate + log_factor - bands.exponent * reference).tolist()
    slopes = bands.exponent.tolist()
    edges = np.log(bands.edges)
    gaps = np.diff(edges, prepend=-np.inf, append=np.inf)
    ends, lines = [], [(at[0], slopes[0])]
    for k, edge in enumerate(edges.tolist()):
        aside = min(_STEP, 0.25 * float(min(gaps[k], gaps[k + 1])))
        low, high = edge - aside, edge + aside
        below, above = at[k] + slopes[k] * low, at[k + 1] + slopes[k + 1] * high
        slope = (above - below) / (high - low)
        lines += [(below - slope * low, slope), (at[k + 1], slopes[k + 1])]
        ends += [low, high]
    return ends, lines


def _flux(back: float) -> float:
    """Return the mass flux of an isentropic flow down to a pressure share, scaled."""
    k = USUAL_EXPONENT
    return math.sqrt(max(back ** (2.0 / k) - back ** ((k + 1.0) / k), 0.0))


_FLUX_AT_CRITICAL = _flux(_CRITICAL)


# ----------------------------------------------------------------------------
# What a course tells.


def _told(
    balance: _Balance, pieces: list[_Piece], burnout: float, igniter: float
) -> Course:
    """Put a course together."""
    motor = balance.motor
    time = np.concatenate([piece.time for piece in pieces])
    p, web, out = np.concatenate([piece.values for piece in pieces], axis=1)
    web = np.clip(web, 0.0, motor.grain.web)
    burnt = balance.whole - motor.grain.volume_left(web)
    throat = balance.throat * (1.0 + balance.growth * burnt / balance.whole) ** 2
    wider = throat if motor.growth else None
    coefficient = motor.nozzle.thrust_coefficient(p, motor.ambient_pressure, wider)
    thrust = coefficient * p * throat
    peak = float(p.max())
    level = balance.ambient + BURNT_OUT * (peak - balance.ambient)
    begin, end = _crossings(time, p, level)
    inside = np.linspace(begin, end, 2001)
    volume = np.array([0.0, burnt[-1]]) + balance.free
    stored = np.array([balance.ambient, p[-1]]) * volume / balance.gas
    return Course(
        time=time,
        pressure=p,
        thrust=thrust,
        web=web,
        mass_out=out,
        throat_area=throat,
        burnout=burnout,
        burn_time=end - begin,
        peak_pressure=peak,
        mean_pressure=float(np.interp(inside, time, p).mean()),
        total_impulse=float(np.trapezoid(thrust, time)),
        emptying_start=balance.emptying(0.0),
        emptying_end=balance.emptying(balance.whole),
        mass_made=balance.density * float(burnt[-1]) + igniter,
        mass_kept=float(stored[1] - stored[0]),
    )


def _crossings(
    time: FloatArray, pressure: FloatArray, level: float
) -> tuple[float, float]:
    """Return when the pressure first rises above a level and last falls below it.

    It begins and ends below.
    """
    above = np.flatnonzero(pressure > level)
    if not above.size:
        return float(time[0]), float(time[-1])
    first, last = int(above[0]), int(above[-1])
    return (
        _between(time, pressure, first - 1, level),
        _between(time, pressure, last, level),
    )


def _between(time: FloatArray, value: FloatArray, i: int, level: float) -> float:
    """Return when a straight line from one point to the next is at a level."""
    share = (level - value[i]) / (value[i + 1] - value[i])
    return float(time[i] + share * (time[i + 1] - time[i]))


def characteristic_length(motor: Motor) -> float:
    """Return L*, the volume of gas before ignition over the throat area. [m]

    Below 0.5 to 1 m a law with a large exponent may burn in puffs (common practice,
    no source).
    """
    return motor.gas_volume / motor.nozzle.throat_area
