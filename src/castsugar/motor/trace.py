"""A propellant in a grain behind a nozzle; pressure and thrust against time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import BoolArray, FloatArray
from castsugar.checks import positive
from castsugar.constants import (
    REFERENCE_TEMPERATURE,
    STANDARD_ATMOSPHERE,
    STANDARD_GRAVITY,
)
from castsugar.errors import InputError
from castsugar.motor import mass_balance
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.grain import Grain
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import Nozzle

# ----------------------------------------------------------------------------
# A propellant in a grain behind a nozzle: what a firing needs, checked once.


@dataclass(frozen=True, slots=True, kw_only=True)
class Propellant:
    r"""A cast mix as a motor sees it.

    The burn rate of the law is multiplied by
    :math:`\exp(\sigma_p (T - T_{ref}))`, at constant pressure.

    Attributes
    ----------
    density : float
        Ideal density, no voids. [kg/m3]
    density_ratio : float
        Density of the real grain over the ideal one. [-]
    characteristic_velocity : float
        Ideal. [m/s]
    efficiency : float
        Delivered over ideal characteristic velocity, up to 1. [-]
    efficiency_measured : bool
        Only a measured efficiency lowers the pressure that a margin is made with.
    temperature, reference_temperature : float
        Of the grain; of the grain that the burn law was measured on. [K]
    temperature_sensitivity : float
        :math:`\sigma_p` of the burn rate. [1/K]

    Raises
    ------
    InputError
        A value that is not positive, an efficiency or density ratio above 1, a
        negative temperature sensitivity.
    """

    density: float
    characteristic_velocity: float
    density_ratio: float = 1.0
    efficiency: float = 1.0
    efficiency_measured: bool = False
    temperature: float = REFERENCE_TEMPERATURE
    reference_temperature: float = REFERENCE_TEMPERATURE
    temperature_sensitivity: float = 0.0

    def __post_init__(self) -> None:
        positive("propellant density", self.density, "kg/m3")
        positive("characteristic velocity", self.characteristic_velocity, "m/s")
        for name in ("density_ratio", "efficiency"):
            value = getattr(self, name)
            if not 0.0 < value <= 1.0:
                raise InputError(
                    f"{name.replace('_', ' ')} is {value:g}; allowed: above 0, up to 1"
                )
        positive("grain temperature", self.temperature, "K")
        positive("reference temperature", self.reference_temperature, "K")
        if not 0.0 <= self.temperature_sensitivity < math.inf:
            raise InputError(
                "temperature sensitivity of the burn rate is "
                f"{self.temperature_sensitivity:g} 1/K; it must be 0 or more"
            )

    @property
    def grain_density(self) -> float:
        """Return ideal density times density ratio. [kg/m3]"""
        return self.density * self.density_ratio

    @property
    def rate_factor(self) -> float:
        """Return the burn rate at the grain temperature over that of the law. [-]"""
        rise = self.temperature - self.reference_temperature
        return math.exp(self.temperature_sensitivity * rise)

    @property
    def delivered_velocity(self) -> float:
        """Return the characteristic velocity for performance. [m/s]"""
        return self.characteristic_velocity * self.efficiency

    @property
    def margin_velocity(self) -> float:
        """Return the characteristic velocity for a margin. [m/s]

        Ideal, unless the efficiency is a measured one.
        """
        factor = self.efficiency if self.efficiency_measured else 1.0
        return self.characteristic_velocity * factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """Grain, nozzle and propellant together.

    Attributes
    ----------
    grain : HollowCylinder or AreaTable
    nozzle : Nozzle
    propellant : Propellant
    ambient_pressure : float
        [Pa]

    Raises
    ------
    InputError
        A throat wider than the gas passage of the grain.
    """

    grain: Grain
    nozzle: Nozzle
    propellant: Propellant
    ambient_pressure: float = STANDARD_ATMOSPHERE

    def __post_init__(self) -> None:
        positive("ambient pressure", self.ambient_pressure, "Pa")
        if self.nozzle.throat_area > self.grain.port_area * (1.0 + 1e-12):
            passage = math.sqrt(4.0 * self.grain.port_area / math.pi)
            raise InputError(
                f"throat diameter {1e3 * self.nozzle.throat_diameter:g} mm is larger "
                f"than the core diameter {1e3 * passage:g} mm of the grain; "
                "make the throat smaller or the core wider"
            )

    def kn(self, web: ArrayLike) -> FloatArray:
        """Return burning area over throat area at a web burnt. [-]"""
        return self.grain.area(web) / self.nozzle.throat_area

    @property
    def kn_max(self) -> float:
        """Return the largest Kn over the web. [-]"""
        return self.grain.largest_area / self.nozzle.throat_area

    @property
    def port_to_throat(self) -> float:
        """Return port over throat area before ignition; NaN where unknown. [-]"""
        return self.grain.port_area / self.nozzle.throat_area

    @property
    def propellant_mass(self) -> float:
        """Return grain volume times grain density. [kg]"""
        return self.grain.volume * self.propellant.grain_density


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
# Rules at the ends: the motor starts at ambient pressure and comes up. A state whose
# root lies below ambient burns at ambient pressure, without thrust. Between ambient and
# the choked limit the pressure is that of the choked balance, the thrust is counted as
# 0, and the share of time is reported (`unchoked_share`). Not modelled: see
# :mod:`castsugar.motor.hardware`; the filling and emptying of the chamber takes no
# time.

_GAUSS_NODES = 8

#: The ends of a panel are looked at from inside, at this part of its width.
_NUDGE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """A firing as the quasi-steady model sees it.

    Attributes
    ----------
    web, time, kn, pressure, thrust, mass_flow, burn_rate : ndarray, shape (points,)
        Along the firing; a web with a pressure jump occurs twice.
        [m], [s], [-], [Pa], [N], [kg/s], [m/s]
    burn_time, peak_pressure, mean_pressure, total_impulse : float
        Mean over time. [s], [Pa], [Pa], [N s]
    mass_burned, mass_loaded : float
        Outflow over the firing; grain volume times density. [kg]
    unchoked_share : float
        Share of the burn time with a throat that is not choked.
    several : bool
        Some state has more than one stable pressure.
    outside : ndarray of bool, shape (points,)
        Pressures outside the tested ones of the burn law.
    """

    web: FloatArray
    time: FloatArray
    kn: FloatArray
    pressure: FloatArray
    thrust: FloatArray
    mass_flow: FloatArray
    burn_rate: FloatArray
    burn_time: float
    peak_pressure: float
    mean_pressure: float
    total_impulse: float
    mass_burned: float
    mass_loaded: float
    unchoked_share: float
    several: bool
    outside: BoolArray

    def to_dict(self) -> dict[str, FloatArray | BoolArray]:
        """Return the columns along the firing, with units in the names."""
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _States:
    pressure: FloatArray
    rate: FloatArray
    mass_flow: FloatArray
    thrust: FloatArray
    several: bool


def fire(motor: Motor, law: BurnLaw | Bands, *, panels: int = 100) -> Trace:
    """Follow a firing from first to last web.

    Parameters
    ----------
    motor : Motor
        Its delivered characteristic velocity and its grain temperature count.
    law : BurnLaw or Bands
    panels : int
        Equal panels over the web, besides those that corners add.

    Returns
    -------
    Trace

    Raises
    ------
    InputError
        An exponent of 1 or more, fewer than 1 panel.
    """
    bands = mass_balance.as_bands(law)
    if panels < 1:
        raise InputError(f"number of panels is {panels}; it must be 1 or more")
    edges = _panel_edges(motor, bands, panels)
    left, width = edges[:-1, None], np.diff(edges)[:, None]
    nodes, weights = np.polynomial.legendre.leggauss(_GAUSS_NODES)
    inside = np.r_[_NUDGE, 0.5 * (nodes + 1.0), 1.0 - _NUDGE]
    x = left + width * inside
    states = _states(motor, bands, x.ravel())
    p, rate, flow, thrust = (
        values.reshape(x.shape)
        for values in (states.pressure, states.rate, states.mass_flow, states.thrust)
    )
    step = 0.5 * width * weights / rate[:, 1:-1]
    time = np.r_[0.0, np.cumsum(step.sum(axis=1))]
    core = slice(1, -1)
    choked = p[:, core] >= motor.nozzle.choked_ratio * motor.ambient_pressure

    def ends(values: FloatArray) -> FloatArray:
        return np.asarray(values[:, [0, -1]].ravel()[kept])

    kept = _kept(p[:, [0, -1]].ravel())
    return Trace(
        web=np.repeat(edges, 2)[1:-1][kept],
        time=np.repeat(time, 2)[1:-1][kept],
        kn=ends(motor.kn(x)),
        pressure=ends(p),
        thrust=ends(thrust),
        mass_flow=ends(flow),
        burn_rate=ends(rate),
        burn_time=float(time[-1]),
        peak_pressure=float(p.max()),
        mean_pressure=float((p[:, core] * step).sum() / time[-1]),
        total_impulse=float((thrust[:, core] * step).sum()),
        mass_burned=float((flow[:, core] * step).sum()),
        mass_loaded=motor.propellant_mass,
        unchoked_share=float((~choked * step).sum() / time[-1]),
        several=states.several,
        outside=bands.outside(ends(p)),
    )


def _kept(pressure: FloatArray) -> BoolArray:
    """Mark panel ends to keep: of two equal neighbours, the first."""
    kept = np.ones(pressure.shape, dtype=bool)
    step = np.abs(pressure[2:-1:2] - pressure[1:-2:2])
    kept[2:-1:2] = step > 1e-6 * pressure[1:-2:2]
    return kept


def _states(motor: Motor, bands: Bands, web: FloatArray) -> _States:
    propellant, nozzle = motor.propellant, motor.nozzle
    density, velocity = propellant.grain_density, propellant.delivered_velocity
    kn = motor.kn(web)
    s = mass_balance.supply(
        kn=kn,
        density=density,
        characteristic_velocity=velocity,
        rate_factor=propellant.rate_factor,
    )
    found = mass_balance.roots(bands, s)
    p = mass_balance.follow(found, motor.ambient_pressure)
    open_ended = p <= motor.ambient_pressure
    rate = propellant.rate_factor * np.exp(mass_balance.log_burn_rate(bands, p))
    # Where the pressure stands at a jump of the law, the balance gives the rate.
    at_jump = np.isin(p, bands.edges) & ~open_ended
    with np.errstate(divide="ignore"):
        rate = np.where(at_jump, p / (density * velocity * kn), rate)
    made = density * rate * kn * nozzle.throat_area
    flow = np.where(open_ended, made, p * nozzle.throat_area / velocity)
    coefficient = nozzle.thrust_coefficient(p, motor.ambient_pressure)
    return _States(
        pressure=p,
        rate=rate,
        mass_flow=flow,
        thrust=coefficient * p * nozzle.throat_area,
        several=bool(np.any(found.several)),
    )


def _panel_edges(motor: Motor, bands: Bands, panels: int) -> FloatArray:
    grain = motor.grain
    corners = _webs_at(grain, _critical_areas(motor, bands))
    even = np.linspace(0.0, grain.web, panels + 1)
    edges = np.unique(np.r_[even, grain.breakpoints, corners])
    edges = edges[np.r_[True, np.diff(edges) > 1e-9 * grain.web]]
    edges[-1] = grain.web
    return np.asarray(edges)


def _critical_areas(motor: Motor, bands: Bands) -> FloatArray:
    """Return the burning areas at which the pressure has a corner or a jump. [m2]"""
    ambient = motor.ambient_pressure
    plain = np.array([ambient, *motor.nozzle.kinks(ambient)])
    # An edge belongs to the band below it; the law may jump there.
    jumps = np.r_[bands.edges, np.nextafter(bands.edges, np.inf)]
    propellant = motor.propellant
    kn = mass_balance.kn_for_pressure(
        bands,
        np.r_[plain, jumps],
        density=propellant.grain_density,
        characteristic_velocity=propellant.delivered_velocity,
        rate_factor=propellant.rate_factor,
    )
    return np.asarray(kn * motor.nozzle.throat_area)


def _webs_at(grain: Grain, areas: FloatArray) -> FloatArray:
    """Return every web at which the grain has one of the areas. [m]

    By bisection in each monotone piece.
    """
    points = np.asarray(grain.breakpoints)
    low, high = np.broadcast_arrays(points[:-1], points[1:])
    at_low, at_high = grain.area(low)[:, None], grain.area(high)[:, None]
    crossed = (at_low - areas) * (at_high - areas) < 0.0
    piece, goal = np.nonzero(crossed)
    low, high = low[piece], high[piece]
    rising = at_high[piece, 0] > at_low[piece, 0]
    for _ in range(60):
        middle = 0.5 * (low + high)
        beyond = (grain.area(middle) > areas[goal]) == rising
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return np.asarray(0.5 * (low + high))
