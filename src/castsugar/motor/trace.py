"""Pressure and thrust of a firing against time, quasi-steady."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import BoolArray, FloatArray
from castsugar.constants import STANDARD_GRAVITY
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor import mass_balance
from castsugar.motor.assembly import BURNT_OUT, Motor
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import FLOW_FACTOR
from castsugar.numerics import bisected, distinct

# ----------------------------------------------------------------------------
# Pressure and thrust against time, quasi-steady.
#
# At each web burnt x the motor stands at the pressure of
# :mod:`castsugar.motor.mass_balance`, reached from the pressure before it; then
#
# .. math:: t = \int dx / r, \quad I = \int F dx / r, \quad m = \int \dot m \, dx / r
#
# The integrals are Gauss-Legendre sums over panels of the web. Panels end wherever the
# integrand has a corner or a jump (corners of the grain, pressures where two bands
# meet, ambient and choked limits), so that the number of panels hardly matters.
#
# Behind the web comes the tail: what filled the burnt volume leaves at falling
# pressure, p = p_end exp(-t / tau), tau = V / (G^2 c* A_t) (derived from the mass
# balance of a choked throat). So int p A_t dt = m c* over all. The burn time is that
# from ignition until the pressure has fallen to 5 % of its peak; filling the free
# volume takes a little of it at the start.
#
# Rules at the ends: the motor starts at ambient pressure and comes up. A state whose
# root lies below ambient burns at ambient pressure, without thrust. Between ambient and
# the choked limit the pressure is that of the choked balance, the thrust is counted as
# 0, and the share of time is reported (`unchoked_share`). The course in time with
# filling, igniter and emptying is :mod:`castsugar.motor.transient`.

_GAUSS_NODES = 8

#: Draws that are fired together.
_AT_ONCE = 512

#: Sum of 1 / j^2: the slope of the harmonic number at 0.
_ZETA = math.pi**2 / 6.0

#: The ends of a panel are looked at from inside, at this part of its width.
_NUDGE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """A firing as the quasi-steady model sees it."""

    #: Until the web is burnt; a web with a pressure jump occurs twice, (points,).
    web: FloatArray  # [m]
    time: FloatArray  # [s]
    kn: FloatArray  # [-]
    pressure: FloatArray  # [Pa]
    thrust: FloatArray  # [N]
    mass_flow: FloatArray  # [kg/s]
    burn_rate: FloatArray  # [m/s]
    emptying: float  # the tail behind it falls as exp(-t / emptying) [s]
    #: From ignition to 5 % of the peak; mean over that; tail included.
    burn_time: float  # [s]
    peak_pressure: float  # [Pa]
    mean_pressure: float  # [Pa]
    total_impulse: float  # [N s]
    #: Outflow over the firing; grain volume times density. [kg]
    mass_burned: float
    mass_loaded: float
    #: Share of the time to burnout with a throat that is not choked.
    unchoked_share: float
    several: bool  # some state has more than one stable pressure
    outside: BoolArray  # pressures outside the tested ones of the burn law, (points,)
    ambient: float  # [Pa]

    def pressure_at(self, time: ArrayLike) -> FloatArray:
        """Return the pressure at times from ignition, tail included. [Pa]"""
        t = np.asarray(time, dtype=float)
        inside = np.interp(t, self.time, self.pressure)
        return _with_tail(t, inside, self.time[-1], self.emptying, self.ambient)

    def to_dict(self) -> dict[str, FloatArray | BoolArray]:
        """Return the columns until burnout, with units in the names."""
        return {
            "time_s": self.time,
            "web_mm": 1e3 * self.web,
            "kn": self.kn,
            "pressure_MPa": 1e-6 * self.pressure,
            "thrust_N": self.thrust,
            "mass_flow_kg_s": self.mass_flow,
            "burn_rate_mm_s": 1e3 * self.burn_rate,
            "outside_tested_pressures": self.outside,
        }

    def summary(self) -> dict[str, float | bool]:
        """Return the single numbers of the firing, with units in the names."""
        return {
            "burn_time_s": self.burn_time,
            "peak_pressure_MPa": 1e-6 * self.peak_pressure,
            "mean_pressure_MPa": 1e-6 * self.mean_pressure,
            "total_impulse_N_s": self.total_impulse,
            "mean_thrust_N": self.mean_thrust,
            "specific_impulse_s": self.specific_impulse,
            "mass_loaded_kg": self.mass_loaded,
            "mass_burned_kg": self.mass_burned,
            "unchoked_share": self.unchoked_share,
            "several_pressures_possible": self.several,
        }

    @property
    def specific_impulse(self) -> float:
        """Return total impulse per weight of propellant. [s]"""
        return self.total_impulse / (self.mass_loaded * STANDARD_GRAVITY)

    @property
    def mean_thrust(self) -> float:
        """Return total impulse over burn time. [N]"""
        return self.total_impulse / self.burn_time


def _with_tail(
    time: FloatArray,
    inside: FloatArray,
    burnout: ArrayLike,
    emptying: ArrayLike,
    ambient: float,
) -> FloatArray:
    """Let a pressure that was continued beyond burnout fall to ambient. [Pa]"""
    past = np.maximum(time - np.asarray(burnout), 0.0) / np.asarray(emptying)
    return np.asarray(np.maximum(inside * np.exp(-past), ambient))


def fire(motor: Motor, law: BurnLaw | Bands, *, panels: int = 100) -> Trace:
    """Follow a firing from ignition to the end of the tail.

    Parameters
    ----------
    motor : Motor
        Its delivered characteristic velocity and its grain temperature count.
    panels : int
        Equal panels over the web, besides those that corners add.

    Raises
    ------
    InputError
        An exponent of 1 or more, fewer than 1 panel.
    """
    bands = mass_balance.as_bands(law)
    if panels < 1:
        raise InputError(f"number of panels is {panels}; it must be 1 or more")
    edges = _panel_edges(motor, bands, panels)
    run = _run(motor, bands, edges, Drawn.none())
    kept = _kept(run.pressure[0][:, [0, -1]].ravel())

    def ends(values: FloatArray) -> FloatArray:
        return np.asarray(values[0][:, [0, -1]].ravel()[kept])

    return Trace(
        web=np.repeat(edges, 2)[1:-1][kept],
        time=np.repeat(run.time[0], 2)[1:-1][kept],
        kn=ends(run.kn),
        pressure=ends(run.pressure),
        thrust=ends(run.thrust),
        mass_flow=ends(run.flow),
        burn_rate=ends(run.rate),
        emptying=float(run.emptying[0]),
        burn_time=float(run.burn_time[0]),
        peak_pressure=float(run.peak[0]),
        mean_pressure=float(run.mean[0]),
        total_impulse=float(run.impulse[0]),
        mass_burned=float(run.burned[0]),
        mass_loaded=motor.propellant_mass,
        unchoked_share=float(run.unchoked[0]),
        several=run.several,
        outside=bands.outside(ends(run.pressure)),
        ambient=motor.ambient_pressure,
    )


def _kept(pressure: FloatArray) -> BoolArray:
    """Mark panel ends to keep: of two equal neighbours, the first."""
    kept = np.ones(pressure.shape, dtype=bool)
    step = np.abs(pressure[2:-1:2] - pressure[1:-2:2])
    kept[2:-1:2] = step > 1e-6 * pressure[1:-2:2]
    return kept


# ----------------------------------------------------------------------------
# Many firings at once, each with factors of its own.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """By which factors motors differ from one, shape (draws,) each."""

    #: A larger burning area over the same web is more propellant, too. [-]
    density: FloatArray
    area: FloatArray
    throat_area: FloatArray
    characteristic_velocity: FloatArray
    rate: FloatArray
    #: What the throat diameter grows by beyond what the motor states, as a share of
    #: itself. [-]
    growth: FloatArray

    @classmethod
    def none(cls) -> Drawn:
        """Return one draw that is the motor itself."""
        alike = dict.fromkeys((f.name for f in fields(cls)), np.ones(1))
        return cls(**alike | {"growth": np.zeros(1)})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Firings:
    """Firings of many draws; NaN where a law has no stable pressure."""

    peak: FloatArray  # (draws,) [Pa]
    mean: FloatArray  # (draws,) [Pa]
    burn_time: FloatArray  # (draws,) [s]
    impulse: FloatArray  # (draws,) [N s]
    emptying: FloatArray  # (draws,) [s]
    time: FloatArray  # at the ends of panels of the web, (draws, panels + 1) [s]
    pressure: FloatArray  # (draws, panels, nodes) [Pa]
    ambient: float  # [Pa]

    def pressure_at(self, time: FloatArray) -> FloatArray:
        """Return the pressures at times from ignition, (draws, points). [Pa]"""
        inside = np.full((len(self.peak), len(time)), np.nan)
        lasting = np.diff(self.time, axis=1)[:, :, None]
        nodes = self.time[:, :-1, None] + lasting * _inside()
        for row in np.flatnonzero(np.isfinite(self.peak)):
            inside[row] = np.interp(
                time, nodes[row].ravel(), self.pressure[row].ravel()
            )
        burnout, emptying = self.time[:, -1:], self.emptying[:, None]
        return _with_tail(time, inside, burnout, emptying, self.ambient)


def fire_draws(motor: Motor, bands: Bands, drawn: Drawn, *, panels: int) -> Firings:
    """Follow many firings, as :func:`fire` does one.

    Parameters
    ----------
    bands : Bands
        Of each draw, (draws, K) log rates and exponents.
    panels : int
        Equal panels over the web; corners of the pressure are not looked for.
    """
    draws = len(drawn.density)
    even = np.linspace(0.0, motor.grain.web, panels + 1)
    edges = distinct(np.r_[even, motor.grain.breakpoints])
    one: tuple[int, ...] = ()
    shapes = dict.fromkeys(("peak", "mean", "burn_time", "impulse", "emptying"), one)
    shapes |= {"time": (len(edges),), "pressure": (len(edges) - 1, len(_inside()))}
    told = {name: np.full((draws, *more), np.nan) for name, more in shapes.items()}
    stable = np.flatnonzero(np.all(bands.exponent < 1.0, axis=-1))
    for start in range(0, stable.size, _AT_ONCE):
        own = stable[start : start + _AT_ONCE]
        some = replace(
            bands, log_rate=bands.log_rate[own], exponent=bands.exponent[own]
        )
        parts = {f.name: getattr(drawn, f.name)[own] for f in fields(Drawn)}
        run = _run(motor, some, edges, Drawn(**parts))
        for name, values in told.items():
            values[own] = getattr(run, name)
    return Firings(**told, ambient=motor.ambient_pressure)


def _inside() -> FloatArray:
    """Return where the nodes of a panel lie, the ends among them, from 0 to 1."""
    nodes, _ = np.polynomial.legendre.leggauss(_GAUSS_NODES)
    return np.r_[_NUDGE, 0.5 * (nodes + 1.0), 1.0 - _NUDGE]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Run(Firings):
    """The same with what a trace tells beside; the ends of panels are among nodes."""

    kn: FloatArray  # (draws, panels, nodes), as the next three
    rate: FloatArray
    flow: FloatArray
    thrust: FloatArray
    burned: FloatArray  # (draws,), as the next
    unchoked: FloatArray
    several: bool


def _run(motor: Motor, bands: Bands, edges: FloatArray, drawn: Drawn) -> _Run:
    """Fire draws over panels of the web."""
    left, width = edges[:-1, None], np.diff(edges)[:, None]
    _, weights = np.polynomial.legendre.leggauss(_GAUSS_NODES)
    x = left + width * _inside()
    states, several = _states(motor, bands, x.ravel(), drawn)
    kn, p, rate, flow, thrust, throat = (one.reshape(-1, *x.shape) for one in states)
    core = (slice(None), slice(None), slice(1, -1))
    step = 0.5 * width * weights / rate[core]
    time = np.zeros((len(p), len(edges)))
    time[:, 1:] = np.cumsum(step.sum(axis=2), axis=1)
    choked = p[core] >= motor.nozzle.choked_ratio * motor.ambient_pressure
    velocity = motor.propellant.delivered_velocity * drawn.characteristic_velocity
    lag = _lag(motor, bands, drawn, velocity, p[:, 0, 0])
    mass = motor.propellant_mass * drawn.density * drawn.area
    out = (flow[core] * step).sum(axis=(1, 2))
    later = np.maximum(mass - out, 0.0)
    emptying, lasting, rest, impulse = _tail(
        motor, drawn, velocity, p, throat[:, -1, -1], later
    )
    pushed = (p[core] * step).sum(axis=(1, 2)) + later * velocity / throat[:, -1, -1]
    burn_time = time[:, -1] + lag + lasting
    return _Run(
        time=time,
        kn=kn,
        pressure=p,
        rate=rate,
        flow=flow,
        thrust=thrust,
        emptying=emptying,
        burn_time=burn_time,
        peak=p.max(axis=(1, 2)),
        mean=(pushed - rest) / burn_time,
        impulse=(thrust[core] * step).sum(axis=(1, 2)) + impulse * velocity,
        burned=out + later,
        unchoked=(~choked * step).sum(axis=(1, 2)) / time[:, -1],
        several=several,
        ambient=motor.ambient_pressure,
    )


def _lag(
    motor: Motor, bands: Bands, drawn: Drawn, velocity: FloatArray, first: FloatArray
) -> FloatArray:
    """Return by how much filling the free volume delays burnout. [s]

    From the 5 % crossing on. A pressure that rises as 1 - exp(-u) burns its n-th power
    of the rate; what is missing adds up to H_n, the harmonic number, here by a fraction
    that is exact at n = 0 and 1 (4 % off between).
    """
    throat = motor.nozzle.throat_area * drawn.throat_area
    fills = motor.gas_volume / (FLOW_FACTOR**2 * velocity * throat)
    k = np.searchsorted(bands.edges, first, side="left")
    every = np.broadcast_to(bands.exponent, (len(first), bands.exponent.shape[-1]))
    n = np.take_along_axis(every, k[:, None], axis=-1)[:, 0]
    missing = _ZETA * n / (1.0 + (_ZETA - 1.0) * n) - BURNT_OUT
    return np.asarray(fills * missing / (1.0 - n))


def _tail(
    motor: Motor,
    drawn: Drawn,
    velocity: FloatArray,
    pressure: FloatArray,
    throat: FloatArray,
    later: FloatArray,
) -> tuple[FloatArray, ...]:
    """Let the chamber empty from the last pressure.

    Returns the time of emptying, how long it burns on [s], what int p dt has after the
    burn time [Pa s], and the impulse over c* of the gas that comes later than its state
    [kg]: that of the burnt volume, and that of the free volume, which was counted as if
    it had left when it filled the chamber.
    """
    last, peak = pressure[:, -1, -1], pressure.max(axis=(1, 2))
    volume = motor.gas_volume + motor.grain.volume * drawn.area
    emptying = volume / (FLOW_FACTOR**2 * velocity * throat)
    ambient = motor.ambient_pressure
    over = ambient + BURNT_OUT * np.maximum(peak - ambient, 0.0)
    falls = np.log(np.maximum(last / over, 1.0))
    nodes, weights = np.polynomial.legendre.leggauss(_GAUSS_NODES)
    on_the_way = last[:, None] * 0.5 * (nodes + 1.0)
    thrust = 0.5 * motor.nozzle.thrust_coefficient(on_the_way, ambient) @ weights
    free = last * motor.gas_volume / (FLOW_FACTOR * velocity) ** 2
    lost = free * (motor.nozzle.thrust_coefficient(last, ambient) - thrust)
    rest = emptying * np.minimum(over, last)
    return emptying, emptying * falls, rest, later * thrust - lost


def _states(
    motor: Motor, bands: Bands, web: FloatArray, drawn: Drawn
) -> tuple[tuple[FloatArray, ...], bool]:
    """Return states at webs, (draws, webs) each, and whether some could be others.

    Kn, pressure, burn rate, mass flow, thrust, throat area.
    """
    propellant, nozzle = motor.propellant, motor.nozzle
    share = 1.0 - motor.grain.volume_left(web) / motor.grain.volume
    grown = 1.0 + (motor.growth + drawn.growth[:, None]) * share
    throat = nozzle.throat_area * drawn.throat_area[:, None] * grown**2
    kn = drawn.area[:, None] * motor.grain.area(web) / throat
    density = propellant.grain_density * drawn.density[:, None]
    velocity = propellant.delivered_velocity * drawn.characteristic_velocity[:, None]
    factor = propellant.rate_factor * drawn.rate[:, None]
    s = mass_balance.supply(
        kn=kn, density=density, characteristic_velocity=velocity, rate_factor=factor
    )
    q = mass_balance.filling(density, velocity)
    if bands.log_rate.ndim > 1:
        bands = replace(
            bands, log_rate=bands.log_rate[:, None], exponent=bands.exponent[:, None]
        )
    found = mass_balance.roots(bands, s, q)
    p = mass_balance.follow(found, motor.ambient_pressure)
    open_ended = p <= motor.ambient_pressure
    rate = factor * np.exp(mass_balance.log_burn_rate(bands, p))
    # Where the pressure stands at a jump of the law, the balance gives the rate.
    at_jump = np.isin(p, bands.edges) & ~open_ended
    with np.errstate(divide="ignore"):
        rate = np.where(at_jump, p / (density * velocity * kn * (1.0 - q * p)), rate)
    made = density * rate * kn * throat * (1.0 - q * p)
    flow = np.where(open_ended, made, p * throat / velocity)
    thrust = nozzle.thrust_coefficient(p, motor.ambient_pressure) * p * throat
    return (kn, p, rate, flow, thrust, throat), bool(np.any(found.several))


def _panel_edges(motor: Motor, bands: Bands, panels: int) -> FloatArray:
    grain = motor.grain
    corners = _webs_at(motor, _critical_kns(motor, bands))
    even = np.linspace(0.0, grain.web, panels + 1)
    edges = distinct(np.r_[even, grain.breakpoints, corners])
    edges = edges[np.r_[True, np.diff(edges) > 1e-9 * grain.web]]
    edges[-1] = grain.web
    return np.asarray(edges)


def _critical_kns(motor: Motor, bands: Bands) -> FloatArray:
    """Return the Kn at which the pressure has a corner or a jump. [-]"""
    ambient = motor.ambient_pressure
    plain = np.array([ambient, *motor.nozzle.kinks(ambient)])
    # An edge belongs to the band below it; the law may jump there.
    jumps = np.r_[bands.edges, np.nextafter(bands.edges, np.inf)]
    propellant = motor.propellant
    return mass_balance.kn_for_pressure(
        bands,
        np.r_[plain, jumps],
        density=propellant.grain_density,
        characteristic_velocity=propellant.delivered_velocity,
        rate_factor=propellant.rate_factor,
        filling=propellant.filling,
    )


def _webs_at(motor: Motor, kns: FloatArray) -> FloatArray:
    """Return every web at which the motor has one of the Kn. [m]

    By bisection between the corners of the grain; a throat that grows may hide two
    there, which then stay inside a panel.
    """
    points = np.asarray(motor.grain.breakpoints)
    low, high = np.broadcast_arrays(points[:-1], points[1:])
    at_low, at_high = motor.kn(low)[:, None], motor.kn(high)[:, None]
    crossed = (at_low - kns) * (at_high - kns) < 0.0
    piece, goal = np.nonzero(crossed)
    low, high = low[piece], high[piece]
    rising = at_high[piece, 0] > at_low[piece, 0]
    high, low = bisected(
        lambda web: (motor.kn(web) > kns[goal]) == rising, high, low, 60
    )
    return np.asarray(0.5 * (low + high))
