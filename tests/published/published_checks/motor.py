"""The motor: nozzle formulas of one exponent, chamber pressure, losses."""

from __future__ import annotations

import functools
import math

import numpy as np

import castsugar as cs
from castsugar.constants import GAS_CONSTANT
from castsugar.motor import losses, mass_balance, nozzle
from castsugar.motor.assembly import Propellant
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.firing.burnt_web import Course, burnt_web
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, reduce_recording
from castsugar.motor.grain import HollowCylinder
from castsugar.thermo.states import State
from published_checks.rows import Given

_AMBIENT = 101325.0


def critical_pressure_ratio(given: Given) -> float:
    """Throat over chamber pressure."""
    return 1.0 / float(nozzle.choked_pressure_ratio(given.number("exponent")))


def vacuum_thrust_coefficient(given: Given) -> float:
    """Thrust coefficient of endless expansion in a vacuum."""
    return float(nozzle.optimum_thrust_coefficient(0.0, given.number("exponent")))


def optimum_expansion_ratio(given: Given) -> float:
    """Exit over throat area for a pressure ratio."""
    ratio, k = 1.0 / given.number("pressure_ratio"), given.number("exponent")
    return float(nozzle.expansion_ratio(ratio, k))


def optimum_thrust_coefficient(given: Given) -> float:
    """Thrust coefficient where exit and outside pressure agree."""
    ratio, k = 1.0 / given.number("pressure_ratio"), given.number("exponent")
    return float(nozzle.optimum_thrust_coefficient(ratio, k))


def cone_efficiency(given: Given) -> float:
    """Momentum of a cone over that of a straight jet."""
    angle = math.radians(given.number("half_angle_degrees"))
    return float(losses.cone_efficiency(angle))


# ----------------------------------------------------------------------------
# Chamber pressure.


def _law(exponent: float, rate: float = 4e-3) -> BurnLaw:
    band = Band(low=1e4, high=1e8, rate=rate, exponent=exponent)
    return BurnLaw(name="of the check", bands=(band,), log_rate_u=0.0)


def _pressure(law: BurnLaw, supply: float) -> float:
    """Return the pressure at which a motor stands. [Pa]"""
    return float(mass_balance.roots(mass_balance.as_bands(law), supply).highest())


def steady_pressure(given: Given) -> float:
    """Chamber pressure of a steady motor. [MPa]"""
    law = _law(given.number("exponent_n"), 1e-3 * given.number("rate_at_1_MPa_mm_s"))
    supply = mass_balance.supply(
        kn=given.number("Kn"),
        density=given.number("density_kg_m3"),
        characteristic_velocity=given.number("characteristic_velocity_m_s"),
    )
    return _pressure(law, float(supply)) / 1e6


def area_sensitivity(given: Given) -> float:
    """Derivative of ln p by ln Kn, from two pressures."""
    law = _law(given.number("exponent_n"))
    low, high = (_pressure(law, 5e8 * math.exp(x)) for x in (-1e-4, 1e-4))
    return math.log(high / low) / 2e-4


def temperature_effect(given: Given) -> float:
    """Rise of the pressure with the temperature of the grain. [%]"""
    law = _law(given.number("exponent_n"))
    propellant = Propellant(
        density=1800.0,
        characteristic_velocity=900.0,
        reference_temperature=293.15,
        temperature=293.15 + given.number("warmer_K"),
        temperature_sensitivity=given.number("sigma_p_1_K"),
    )
    cold, hot = (_pressure(law, 5e8 * x) for x in (1.0, propellant.rate_factor))
    return 100.0 * (hot / cold - 1.0)


def measured_characteristic_velocity(given: Given) -> float:
    """Return c* of a firing of constant pressure, recorded and reduced. [m/s]"""
    pressure, lasting = given.pressure(), 2.0
    area, flow = given.number("throat_area_m2"), given.number("mass_flow_kg_s")
    time = np.linspace(0.0, 6.0, 60001)
    burning = (time > 2.0) & (time <= 2.0 + lasting)
    recorded = Recorded(
        time=time, pressure=np.where(burning, pressure - _AMBIENT, 0.0), thrust=None
    )
    stand = Stand(
        propellant_mass=flow * lasting,
        throat_diameter=math.sqrt(4.0 * area / math.pi),
        ambient_pressure=_AMBIENT,
    )
    return reduce_recording(recorded, stand).results["characteristic_velocity"].value


def gas_filling(given: Given) -> float:
    """Gas that fills the burnt volume over the gas made."""
    pressure, density = given.pressure(), given.number("density_kg_m3")
    velocity = given.number("characteristic_velocity_m_s")
    grain = HollowCylinder(
        outer_diameter=0.04, core_diameter=0.02, segment_length=0.1, burning_ends=0
    )
    mass, time = density * grain.volume, np.linspace(0.0, 2.0, 2001)
    area = velocity * mass / (pressure * time[-1])
    found = burnt_web(
        Course(
            time=time,
            pressure=np.full(len(time), pressure),
            ambient=0.0,
            areas=(area, area),
            grain=grain,
            mass=mass,
        )
    )
    return 1.0 - float(found.outflow.mean())


# ----------------------------------------------------------------------------
# Losses.


def droplet_velocity_lag(given: Given) -> float:
    """Speed of a droplet over that of the gas."""
    return float(losses.velocity_lag(given.number("stokes_number")))


def _flow(given: Given, lag: float) -> losses.LaggedFlow:
    return losses.lagged_flow(
        lag,
        lag,
        temperature=given.number("temperature_K"),
        gas_molar_mass=1e-3 * given.number("gas_molar_mass_g_mol"),
        gas_heat_capacity=given.number("gas_heat_capacity_J_kg_K"),
        condensed=given.number("condensed_mass_fraction"),
        condensed_heat_capacity=given.number("condensed_heat_capacity_J_kg_K"),
        exit_ratio=0.05,
    )


def two_phase_exponent(given: Given) -> float:
    """Exponent of a gas whose droplets do not lag."""
    return float(_flow(given, 1.0).exponent)


def throat_heat_transfer(given: Given) -> float:
    """Heat transfer coefficient of a throat. [kW/(m2 K)]"""
    return 1e-3 * float(
        losses.bartz_coefficient(
            1e-3 * given.number("throat_mm"),
            mass_flux=given.number("mass_flux_kg_m2_s"),
            viscosity=given.number("viscosity_Pa_s"),
            specific_heat=given.number("heat_capacity_J_kg_K"),
            prandtl=given.number("prandtl"),
            curvature=2.0 / given.number("throat_diameter_over_curvature"),
        )
    )


# ----------------------------------------------------------------------------
# Which exponent belongs with which molar mass.


@functools.cache
def _chamber(recipe: str, pressure: float) -> State:
    parts = (part.rsplit(" ", 1) for part in recipe.split(" + "))
    recipe_parts = {name: float(amount) for name, amount in parts}
    return cs.equilibrium(recipe_parts, pressure=pressure)


def paired_characteristic_velocity(given: Given) -> float:
    """Return c* from flame temperature, a molar mass and an exponent. [m/s]

    As a gas without droplets has it: sqrt(R T/M)/G(k).
    """
    state = _chamber(given.text("recipe"), given.pressure())
    mass = getattr(state, f"{given.text('molar_mass')}_molar_mass")
    of = given.text("exponent_of")
    k = state.isentropic_exponent if of == "all products" else state.gas_exponent
    flow = losses.lagged_flow(
        1.0,
        1.0,
        temperature=state.temperature,
        gas_molar_mass=mass,
        gas_heat_capacity=k / (k - 1.0) * GAS_CONSTANT / mass,
        condensed=0.0,
        exit_ratio=0.05,
    )
    return float(flow.characteristic_velocity)
