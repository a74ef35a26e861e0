r"""What is lost between the ideal and a motor: droplets, cone, heat.

Kernels take arrays and return arrays of the broadcast shape. Bounds, not models: how
large the droplets of the smoke are is not known to us, nor how much of a wall is bare.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.motor.hardware import Hardware

# ----------------------------------------------------------------------------
# Droplets that are carried along: flow of constant lag.
#
# Droplets of the speed u_p = K u and of the temperature T_0 - T_p = L (T_0 - T) in a
# gas whose composition and heat capacities are held. With X the condensed mass share,
# xi = X/(1 - X), and c, c_s the heat capacities of gas and droplets, energy and
# momentum give
#
# .. math::
#     B = \frac{1 + \xi K^2}{1 + \xi L c_s/c}, \quad
#     u^2 = \frac{2 c (T_0 - T)}{B}, \quad
#     \frac{k}{k-1} = \frac{c}{R_g} \frac{1 + \xi K}{B}
#
# with p ~ T^(k/(k-1)) (Kliegel 1963 and Altman, form from memory, derived again).

#: Heat capacity of liquid K2CO3: 209.2 J/(mol K) of the NASA coefficients. [J/(kg K)]
CARBONATE_HEAT_CAPACITY: Final = 1514.0

#: Density of liquid K2CO3 [kg/m3], as of the species data. From memory.
CARBONATE_DENSITY: Final = 1900.0

#: Diameters of the droplets between which a bound is shown [m]. Not known to us: the
#: range of fine smokes. Assumed.
DROPLETS: Final = (0.5e-6, 2.0e-6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaggedFlow:
    """Nozzle flow of a gas and droplets that lag; arrays of the broadcast shape."""

    characteristic_velocity: FloatArray  # [m/s]
    #: Thrust over mass flow where exit and outside pressure agree. [m/s]
    exit_velocity: FloatArray
    exponent: FloatArray  # d ln p / d ln rho of the gas in the flow [-]

    @property
    def thrust_coefficient(self) -> FloatArray:
        """Thrust over chamber pressure and throat area. [-]"""
        return np.asarray(self.exit_velocity / self.characteristic_velocity)


def lagged_flow(  # noqa: PLR0913 - keyword-only numbers
    velocity_lag: ArrayLike,
    temperature_lag: ArrayLike,
    *,
    temperature: ArrayLike,
    gas_molar_mass: ArrayLike,
    gas_heat_capacity: ArrayLike,
    condensed: ArrayLike,
    exit_ratio: ArrayLike,
    condensed_heat_capacity: ArrayLike = CARBONATE_HEAT_CAPACITY,
) -> LaggedFlow:
    """Return c* and exit velocity of a flow of gas and lagging droplets.

    Parameters
    ----------
    velocity_lag, temperature_lag : array_like
        K: speed of the droplets over that of the gas; L: their fall of temperature over
        that of the gas. 1: no lag; 0: at rest, as hot as in the chamber. [-]
    temperature : array_like
        Of the chamber. [K]
    gas_molar_mass : array_like
        Of the gas alone. [kg/mol]
    gas_heat_capacity : array_like
        Of the gas alone, composition held. [J/(kg K)]
    condensed : array_like
        Condensed mass share, 0 to below 1. [-]
    exit_ratio : array_like
        Exit over chamber pressure. [-]
    condensed_heat_capacity : array_like
        [J/(kg K)]

    Notes
    -----
    The lag is held the same along the nozzle, heat capacities and composition too, and
    nothing solidifies. Its worth lies in ratios: at K = L = 1 it is 0.3 % below the
    equilibrium c*.

    Examples
    --------
    >>> ideal, lagging = (
    ...     lagged_flow(
    ...         lag, lag, temperature=1489.0, gas_molar_mass=0.02252,
    ...         gas_heat_capacity=1892.0, condensed=0.4054, exit_ratio=0.0338,
    ...     ).characteristic_velocity
    ...     for lag in (1.0, 0.9)
    ... )
    >>> round(float(lagging / ideal), 3)
    0.98
    """
    velocity, cooled = (np.asarray(x, float) for x in (velocity_lag, temperature_lag))
    heat, share = np.asarray(gas_heat_capacity, float), np.asarray(condensed, float)
    t = np.asarray(temperature, float)
    constant = GAS_CONSTANT / np.asarray(gas_molar_mass, float)
    loading = share / (1.0 - share)
    carried = 1.0 + loading * velocity
    drag = (1.0 + loading * velocity**2) / (
        1.0 + loading * cooled * np.asarray(condensed_heat_capacity, float) / heat
    )
    power = heat / constant * carried / drag  # k/(k - 1)
    k = power / (power - 1.0)
    throat = 2.0 / (k + 1.0)
    speed = np.sqrt(2.0 * heat * t * (1.0 - throat) / drag)
    flux = throat ** (power - 1.0) * speed / (constant * t)  # over chamber pressure
    leaving = 1.0 - np.asarray(exit_ratio, float) ** (1.0 / power)
    return LaggedFlow(
        characteristic_velocity=np.asarray(1.0 / ((1.0 + loading) * flux)),
        exit_velocity=np.asarray(
            np.sqrt(2.0 * heat * t * leaving / drag) * carried / (1.0 + loading)
        ),
        exponent=np.asarray(k),
    )


def stokes_number(
    diameter: ArrayLike,
    *,
    throat_radius: ArrayLike,
    viscosity: ArrayLike,
    throat_velocity: ArrayLike,
    exponent: ArrayLike,
) -> FloatArray:
    r"""Return the relaxation time of a droplet over the time of a throat. [-]

    .. math::
        St = \frac{\rho d^2}{18 \mu} \, \frac{a}{R_t} \sqrt{\frac{2}{k+1}}

    of liquid K2CO3 behind a round entry, of the throat radius.

    Parameters
    ----------
    diameter, throat_radius : array_like
        [m]
    viscosity : array_like
        Of the gas. [Pa s]
    throat_velocity : array_like
        [m/s]
    exponent : array_like
        Isentropic, of the mixture. [-]

    Notes
    -----
    Stokes drag; slip in the film of gas and break-up left out. The second factor is the
    gradient of the speed on the axis of a throat (Sauer 1947, from memory).
    """
    radius, d = np.asarray(throat_radius, float), np.asarray(diameter, float)
    relaxation = CARBONATE_DENSITY * d**2 / (18.0 * np.asarray(viscosity, float))
    bend = np.asarray(exponent, float) + 1.0
    gradient = np.asarray(throat_velocity, float) / radius * np.sqrt(2.0 / bend)
    return np.asarray(relaxation * gradient)


def velocity_lag(stokes: ArrayLike) -> FloatArray:
    r"""Return the speed of droplets over that of the gas. [-]

    .. math:: K = (\sqrt{1 + 4 St} - 1) / (2 St)

    for a gas whose speed rises straight along the nozzle, where K is the same
    everywhere: :math:`u K = \tau \, d(K u)/dt` along the droplet gives
    :math:`St K^2 + K = 1`. Derived.

    Parameters
    ----------
    stokes : array_like
        Of :func:`stokes_number`, 0 or more.

    Examples
    --------
    >>> [round(float(k), 4) for k in velocity_lag([0.0, 0.1, 1.0])]
    [1.0, 0.9161, 0.618]
    """
    return np.asarray(2.0 / (1.0 + np.sqrt(1.0 + 4.0 * np.asarray(stokes, float))))


# ----------------------------------------------------------------------------
# The cone.

#: Half angles of a cone that nobody measured [rad]: usual, 12 to 20 degrees. Common
#: practice, no source.
CONES: Final = (math.radians(12.0), math.radians(20.0))


def cone_efficiency(half_angle: ArrayLike) -> FloatArray:
    """Return the thrust of the momentum of a cone over that of a straight jet. [-]

    ``(1 + cos a)/2`` (Malina 1940; Sutton & Biblarz, ch. 3, from memory).

    Parameters
    ----------
    half_angle : array_like
        [rad]

    Examples
    --------
    >>> round(float(cone_efficiency(math.radians(15.0))), 4)
    0.983
    """
    return np.asarray(0.5 * (1.0 + np.cos(np.asarray(half_angle, float))))


# ----------------------------------------------------------------------------
# Heat into the walls.

#: Stefan-Boltzmann constant [W/(m2 K4)]. CODATA 2018, exact.
STEFAN_BOLTZMANN: Final = 5.670374419e-8

#: Of opaque smoke: emissivity, a guess. Of the wall: its temperature [K], cool, so that
#: the bound is high.
EMISSIVITY, WALL_TEMPERATURE = 0.8, 500.0

#: Share of the wall of the case that is bare on the average of the burning: a grain
#: that sticks to it covers it to the end. Pessimistic, assumed.
BARE_WALL: Final = 0.5

#: Loss of c* by heat where the motor does not say: small motors, half their wall bare.
#: Assumed.
HEAT_LOSSES: Final = (0.005, 0.025)


def bartz_coefficient(  # noqa: PLR0913 - keyword-only numbers
    throat_diameter: ArrayLike,
    *,
    mass_flux: ArrayLike,
    viscosity: ArrayLike,
    specific_heat: ArrayLike,
    prandtl: ArrayLike,
    curvature: ArrayLike = 1.0,
    area_ratio: ArrayLike = 1.0,
) -> FloatArray:
    r"""Return the heat transfer coefficient of a nozzle. [W/(m2 K)]

    .. math::
        h = \frac{0.026}{D^{0.2}} \frac{\mu^{0.2} c_p}{Pr^{0.6}}
        \left(\frac{p}{c^*}\right)^{0.8} \left(\frac{D}{R_c}\right)^{0.1}
        \left(\frac{A_t}{A}\right)^{0.9}

    (Bartz, Jet Propulsion 27, 1957, from memory; properties of the chamber, no factor
    for the boundary layer.) Fitted to turbulent flow of clean gas; smoke that settles
    is not in it.

    Parameters
    ----------
    throat_diameter : array_like
        [m]
    mass_flux : array_like
        Chamber pressure over c*. [kg/(m2 s)]
    viscosity, specific_heat, prandtl : array_like
        Of the chamber gas. [Pa s], [J/(kg K)], [-]
    curvature : array_like
        Radius of the wall at the throat over the throat radius. [-]
    area_ratio : array_like
        Throat over local area. [-]
    """
    d, bend = np.asarray(throat_diameter, float), 2.0 / np.asarray(curvature, float)
    gas = np.asarray(viscosity, float) ** 0.2 * np.asarray(specific_heat, float)
    gas = gas / np.asarray(prandtl, float) ** 0.6
    flow = np.asarray(mass_flux, float) ** 0.8 * bend**0.1
    return np.asarray(
        0.026 / d**0.2 * gas * flow * np.asarray(area_ratio, float) ** 0.9
    )


def heat_loss(
    heat: ArrayLike,
    *,
    mass: ArrayLike,
    temperature: ArrayLike,
    heat_capacity: ArrayLike,
) -> FloatArray:
    r"""Return the share of c* that a heat into the walls takes. [-]

    :math:`1 - \sqrt{1 - Q/(m c T)}`: c* goes with the root of the temperature.

    Parameters
    ----------
    heat : array_like
        Lost upstream of the throat. [J]
    mass : array_like
        Burnt. [kg]
    temperature : array_like
        Of the flame. [K]
    heat_capacity : array_like
        Of all products, composition held. [J/(kg K)]

    Examples
    --------
    >>> round(float(heat_loss(
    ...     38e3, mass=0.35, temperature=1489.0, heat_capacity=1739.0
    ... )), 3)
    0.021
    """
    whole = np.asarray(mass, float) * np.asarray(heat_capacity, float)
    whole = whole * np.asarray(temperature, float)
    left = 1.0 - np.asarray(heat, float) / whole
    return np.asarray(1.0 - np.sqrt(np.maximum(left, 0.0)))


# ----------------------------------------------------------------------------
# All of a motor and a mix.


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberGas:
    """What the bounds take of the gas in the chamber, smoke left out."""

    heat_capacity: float  # composition held [J/(kg K)]
    viscosity: float  # [Pa s]
    prandtl: float  # [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """Bounds of what is lost, each a share: (least, most)."""

    lag: tuple[float, float]  # of c* and of the impulse, by droplets of DROPLETS
    lags: tuple[float, float]  # speed of such droplets over that of the gas
    #: Of the thrust; equal where the half angle is known; nothing without a cone.
    divergence: tuple[float, float]
    half_angles: tuple[float, float]  # [rad]
    cone: str  # "stated", "assumed", or "none"
    heat: tuple[float, float]  # of c*, into the walls
    #: Into bare wall in the chamber; NaN where the motor does not say. [W/m2]
    heat_flow: float

    @property
    def heat_of_motor(self) -> bool:
        """Whether the bound of heat is that of this motor, not a usual one."""
        return not math.isnan(self.heat_flow)


def expected_losses(
    hardware: Hardware,
    row: Mapping[str, Any],
    gas: ChamberGas,
    *,
    pressure: float,
    burn_time: float = math.nan,
    propellant_mass: float = math.nan,
) -> Losses:
    """Return bounds of the losses of a mix in a motor.

    Parameters
    ----------
    row : mapping
        Of the mix, as of :func:`castsugar.evaluate`.
    pressure : float
        Mean chamber pressure. [Pa]
    burn_time, propellant_mass : float
        NaN where unknown: the bound of heat is then the usual one. [s], [kg]
    """
    lags = _lags(hardware, row, gas)
    angles, cone = _cone(hardware)
    lost = 1.0 - cone_efficiency(angles)
    flow = _wall_flow(hardware, row, gas, pressure)
    heat = HEAT_LOSSES
    area = _bare_area(hardware)
    if math.isfinite(area * burn_time * propellant_mass * flow):
        share = float(row["condensed_mass_fraction"])
        capacity = (1.0 - share) * gas.heat_capacity + share * CARBONATE_HEAT_CAPACITY
        most = heat_loss(
            area * flow * burn_time,
            mass=propellant_mass,
            temperature=row["flame_temperature_K"],
            heat_capacity=capacity,
        )
        heat = (0.0, float(most))
    else:
        flow = math.nan
    return Losses(
        lag=_lag_losses(row, gas, lags),
        lags=lags,
        divergence=(float(lost[0]), float(lost[1])),
        half_angles=angles,
        cone=cone,
        heat=heat,
        heat_flow=flow,
    )


def _lags(
    hardware: Hardware, row: Mapping[str, Any], gas: ChamberGas
) -> tuple[float, float]:
    """Return the lag of the smallest and of the largest droplets."""
    k = float(row["isentropic_exponent"])
    constant = GAS_CONSTANT / (1e-3 * row["effective_molar_mass_g_mol"])
    stokes = stokes_number(
        DROPLETS,
        throat_radius=0.5 * hardware.throat_diameter,
        viscosity=gas.viscosity,
        throat_velocity=math.sqrt(k * constant * row["throat_temperature_K"]),
        exponent=k,
    )
    small, large = velocity_lag(stokes)
    return float(small), float(large)


def _lag_losses(
    row: Mapping[str, Any], gas: ChamberGas, lags: tuple[float, float]
) -> tuple[float, float]:
    """Return the share of c* that lags take, heat lagging as much as speed."""
    lag = np.array([1.0, *lags])
    velocity = lagged_flow(
        lag,
        lag,
        temperature=row["flame_temperature_K"],
        gas_molar_mass=1e-3 * row["gas_molar_mass_g_mol"],
        gas_heat_capacity=gas.heat_capacity,
        condensed=row["condensed_mass_fraction"],
        exit_ratio=1.0,
    ).characteristic_velocity
    small, large = 1.0 - velocity[1:] / velocity[0]
    return float(small), float(large)


def _cone(hardware: Hardware) -> tuple[tuple[float, float], str]:
    """Return half angles of the cone, and how they are known."""
    wide = hardware.exit_diameter
    if wide is None or wide <= hardware.throat_diameter:
        return (0.0, 0.0), "none"
    angle = hardware.cone_half_angle
    return (CONES, "assumed") if angle is None else ((angle, angle), "stated")


def _bore(hardware: Hardware) -> float:
    """Return the inside diameter of the case, else of the grain; NaN unknown. [m]"""
    inner = hardware.case.inner_diameter if hardware.case else None
    return inner or float(getattr(hardware.grain, "outer_diameter", math.nan))


def _bare_area(hardware: Hardware) -> float:
    """Return the area of both closures and of the bare share of the wall. [m2]"""
    bore = _bore(hardware)
    across = 0.25 * math.pi * bore**2
    length = hardware.grain.volume / (across - hardware.grain.port_area)
    return 2.0 * across + BARE_WALL * math.pi * bore * length


def _wall_flow(
    hardware: Hardware, row: Mapping[str, Any], gas: ChamberGas, pressure: float
) -> float:
    """Return the heat into bare wall of the chamber: gas and glowing smoke. [W/m2]"""
    flame = float(row["flame_temperature_K"])
    coefficient = bartz_coefficient(
        hardware.throat_diameter,
        mass_flux=pressure / row["characteristic_velocity_m_s"],
        viscosity=gas.viscosity,
        specific_heat=gas.heat_capacity,
        prandtl=gas.prandtl,
        area_ratio=(hardware.throat_diameter / _bore(hardware)) ** 2,
    )
    glow = EMISSIVITY * STEFAN_BOLTZMANN * flame**4
    return float(coefficient * (flame - WALL_TEMPERATURE) + glow)
