"""What is lost, and what is delivered, by hand and against a second computation."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from castsugar.motor import losses
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.delivered import (
    EXPECTED,
    STATED,
    delivered_of,
    efficiencies_in_use,
)
from castsugar.motor.efficiency import Reading, learn_efficiencies
from castsugar.motor.grain import AreaTable, HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.losses import (
    ChamberGas,
    cone_efficiency,
    expected_losses,
    lagged_flow,
    stokes_number,
    velocity_lag,
)

GRAIN = HollowCylinder(outer_diameter=0.038, core_diameter=0.014, segment_length=0.26)

#: 60/20/20 of potassium nitrate, sucrose and corn syrup at 3 MPa, rounded.
ROW = {
    "flame_temperature_K": 1489.0,
    "gas_molar_mass_g_mol": 22.52,
    "effective_molar_mass_g_mol": 37.88,
    "isentropic_exponent": 1.134,
    "condensed_mass_fraction": 0.4054,
    "throat_temperature_K": 1397.0,
    "characteristic_velocity_m_s": 900.0,
    "specific_impulse_s": 138.0,
    "thrust_coefficient": 1.504,
}
GAS = ChamberGas(heat_capacity=1892.0, viscosity=5.33e-5, prandtl=0.564)


def motor(**given: Any) -> Hardware:
    """Return a motor with what a test states."""
    usual = {"throat_diameter": 0.0085, "exit_diameter": 0.02}
    return Hardware(grain=GRAIN, burning=BurnModel([]), **(usual | given))


# ----------------------------------------------------------------------------
# Kernels.


@pytest.mark.exact
def test_a_gas_without_droplets_flows_as_a_gas() -> None:
    """No condensed share: lags do nothing, c* is sqrt(R T/M)/G(k), C_F that formula."""
    k = 1.25
    heat = k / (k - 1.0) * 8.31446261815324 / 0.025
    found = lagged_flow(
        [1.0, 0.3],
        [1.0, 0.7],
        temperature=1500.0,
        gas_molar_mass=0.025,
        gas_heat_capacity=heat,
        condensed=0.0,
        exit_ratio=0.02,
    )
    g = math.sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))
    by_hand = math.sqrt(8.31446261815324 / 0.025 * 1500.0) / g
    assert found.characteristic_velocity == pytest.approx([by_hand, by_hand], rel=1e-12)
    thrust = math.sqrt(2.0 * k / (k - 1.0) * (1.0 - 0.02 ** ((k - 1.0) / k))) * g
    assert found.thrust_coefficient == pytest.approx([thrust, thrust], rel=1e-12)


@pytest.mark.exact
def test_droplets_that_lag_follow_the_equations_of_motion() -> None:
    """Momentum and energy hold along the nozzle, by a numerical derivative.

    With x the exit over chamber pressure: (1 + xi K) u du = -dp/rho of the gas, and
    c dT (1 + xi L c_s/c) = -(1 + xi K^2) u du.
    """
    xi, lag, cooled, heat, heavy, t0 = 0.6, 0.8, 0.6, 1900.0, 1500.0, 1500.0
    constant = 8.31446261815324 / 0.0225

    def speed(ratio: float) -> float:
        found = lagged_flow(
            lag,
            cooled,
            temperature=t0,
            gas_molar_mass=0.0225,
            gas_heat_capacity=heat,
            condensed=xi / (1.0 + xi),
            exit_ratio=ratio,
            condensed_heat_capacity=heavy,
        )
        # Thrust over mass flow is (1 + xi K)/(1 + xi) of the speed of the gas.
        return float(found.exit_velocity) * (1.0 + xi) / (1.0 + xi * lag)

    for ratio in (0.8, 0.4, 0.1):
        step = 1e-5 * ratio
        slope = (speed(ratio + step) - speed(ratio - step)) / (2.0 * step)
        u = speed(ratio)
        fall = 0.5 * (1.0 + xi * lag**2) * u**2 / (heat + xi * cooled * heavy)
        force = constant * (t0 - fall) / ratio
        assert -(1.0 + xi * lag) * u * slope == pytest.approx(force, rel=1e-7)


#: Lags of speed and heat; c* [m/s] and Isp [s] of 60/20/20 and of 65/35 from 3 MPa to
#: 1 atm. Own computation of the same equations in another program, rounded there.
TABLE = [
    (1.0, 1.0, 896.7, 136.9, 914.4, 140.0),
    (0.95, 0.95, 887.6, 135.5, 905.1, 138.6),
    (0.90, 0.90, 878.5, 134.1, 895.6, 137.2),
    (0.8, 0.8, 859.6, 131.2, 876.1, 134.2),
    (0.7, 0.7, 840.0, 128.2, 855.9, 131.0),
    (0.5, 0.5, 798.2, 121.5, 813.0, 124.1),
    (1.0, 0.0, 870.6, 129.8, 888.6, 132.9),
    (0.0, 0.0, 671.0, 100.0, 683.0, 102.0),
]


@pytest.mark.frozen
@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}, {row[1]}")
def test_lag_costs_as_much_as_another_program_finds(row: tuple[float, ...]) -> None:
    """Within 0.1 %, and what the last digit of the formal floor leaves."""
    mixes = ((1488.6, 22.519, 1892.0, 0.40537), (1687.6, 24.585, 1831.0, 0.40886))
    for i, (t, mass, heat, condensed) in enumerate(mixes):
        found = lagged_flow(
            row[0],
            row[1],
            temperature=t,
            gas_molar_mass=1e-3 * mass,
            gas_heat_capacity=heat,
            condensed=condensed,
            exit_ratio=101325.0 / 3e6,
        )
        rounding = 0.5 if row[0] == 0.0 else 0.05
        velocity, impulse = row[2 + 2 * i], row[3 + 2 * i]
        assert float(found.characteristic_velocity) == pytest.approx(
            velocity, abs=1e-3 * velocity + rounding
        )
        assert float(found.exit_velocity) / 9.80665 == pytest.approx(
            impulse, abs=1e-3 * impulse + rounding
        )


@pytest.mark.exact
def test_lag_solves_the_motion_of_a_droplet() -> None:
    """St K^2 + K = 1; and a droplet carried by u = u0 + a t lags by that K."""
    stokes = np.array([0.01, 0.3, 2.0, 40.0])
    k = velocity_lag(stokes)
    assert stokes * k**2 + k == pytest.approx(np.ones(4), rel=1e-13)
    assert float(velocity_lag(0.0)) == 1.0
    # Along x with u = b x, v = K b x: tau v dv/dx = u - v.
    b, tau, x = 1e5, 3e-6, 0.01
    share = float(velocity_lag(tau * b))
    v = share * b * x
    assert tau * v * share * b == pytest.approx(b * x - v, rel=1e-12)


@pytest.mark.frozen
@pytest.mark.parametrize(
    ("radius", "lags"),
    [
        (4.25e-3, (0.99, 0.94, 0.82, 0.60, 0.32)),
        (2e-3, (0.98, 0.89, 0.71, 0.47, 0.23)),
        (10e-3, (0.995, 0.97, 0.90, 0.74, 0.44)),
    ],
)
def test_lag_of_droplets_by_size_and_throat(
    radius: float, lags: tuple[float, ...]
) -> None:
    """Of 0.2, 0.5, 1, 2 and 5 um; own computation in another program, two digits."""
    stokes = stokes_number(
        np.array([0.2, 0.5, 1.0, 2.0, 5.0]) * 1e-6,
        throat_radius=radius,
        viscosity=5.33e-5,
        throat_velocity=590.0,
        exponent=1.134,
    )
    assert velocity_lag(stokes) == pytest.approx(lags, abs=0.013)


# ----------------------------------------------------------------------------
# All of a motor.


@pytest.mark.frozen
def test_bounds_of_an_example() -> None:
    """An 8.5 mm throat: 1.2 to 8.4 % by droplets; heat about 2 % (own computation)."""
    found = expected_losses(
        motor(), ROW, GAS, pressure=3e6, burn_time=1.7, propellant_mass=0.35
    )
    assert found.lag == pytest.approx((0.012, 0.084), abs=0.001)
    assert found.lags == pytest.approx((0.94, 0.61), abs=0.01)
    assert found.heat_of_motor
    assert found.heat_flow == pytest.approx(1.5e6, rel=0.1)
    assert found.heat[0] == 0.0
    assert found.heat[1] == pytest.approx(0.02, abs=0.005)
    assert (found.cone, found.divergence) == (
        "assumed",
        pytest.approx((0.0109, 0.0302), abs=1e-4),
    )


@pytest.mark.exact
def test_a_stated_cone_and_none() -> None:
    """A stated angle leaves no band, a nozzle without a cone no loss."""
    stated = expected_losses(
        motor(cone_half_angle=math.radians(15.0)), ROW, GAS, pressure=3e6
    )
    lost = 1.0 - float(cone_efficiency(math.radians(15.0)))
    assert (stated.cone, stated.divergence) == ("stated", (lost, lost))
    bare = expected_losses(motor(exit_diameter=None), ROW, GAS, pressure=3e6)
    assert (bare.cone, bare.divergence) == ("none", (0.0, 0.0))


@pytest.mark.exact
def test_heat_of_a_motor_that_does_not_say() -> None:
    """No burn time, or a grain of unknown port: the usual bound, and said so."""
    table = AreaTable(webs=(0.0, 0.01), areas=(0.01, 0.01))
    unknown = Hardware(grain=table, throat_diameter=0.0085, burning=BurnModel([]))
    given = {"burn_time": 1.7, "propellant_mass": 0.35}
    for hardware, known in ((motor(), {}), (unknown, given)):
        found = expected_losses(hardware, ROW, GAS, pressure=3e6, **known)
        assert not found.heat_of_motor
        assert found.heat == losses.HEAT_LOSSES


# ----------------------------------------------------------------------------
# What is delivered.

#: Four sound firings.
FIRED = [
    Reading(
        name=str(i),
        characteristic_velocity=0.90,
        characteristic_velocity_u=0.018,
        nozzle=0.93,
        nozzle_u=0.022,
    )
    for i in range(4)
]


@pytest.mark.exact
def test_nothing_known_is_what_is_held_beforehand() -> None:
    """Medians 0.92 and 0.91, their product, and the word assumed stands on."""
    found = efficiencies_in_use(motor())
    told = learn_efficiencies()
    assert found.characteristic_velocity.value == told.characteristic_velocity.median
    assert found.nozzle.high == told.nozzle.next_high
    assert (found.impulse.low, found.impulse.high) == (
        told.impulse.next_low,
        told.impulse.next_high,
    )
    assert found.impulse.origin == found.nozzle.origin == EXPECTED
    assert found.correlation == pytest.approx(0.0, abs=1e-9)
    assert not delivered_of(motor(), ROW).known


@pytest.mark.exact
def test_firings_give_the_numbers_that_learn_gives() -> None:
    """Their own medians and bands; impulse narrower than of two alone."""
    told = learn_efficiencies(FIRED)
    own = told.characteristic_velocity
    found = efficiencies_in_use(
        motor(
            efficiencies=told,
            efficiency=own.median,
            efficiency_measured=True,
            efficiency_u=own.next_u,
            firings=4,
        )
    )
    velocity, impulse = found.characteristic_velocity, found.impulse
    assert velocity.origin == impulse.origin == "measured, 4 firings"
    assert (velocity.low, velocity.high) == (own.next_low, own.next_high)
    assert (impulse.low, impulse.high) == (
        told.impulse.next_low,
        told.impulse.next_high,
    )
    assert impulse.u < math.hypot(velocity.u, found.nozzle.u)
    assert found.correlation < -0.3


@pytest.mark.exact
def test_stated_efficiencies_count() -> None:
    """As stated; a measured one with its own doubt, another with what is held."""
    stated = efficiencies_in_use(motor(efficiency=0.88, nozzle_efficiency=0.95))
    velocity = stated.characteristic_velocity
    assert (velocity.value, velocity.origin) == (0.88, STATED)
    assert velocity.u == learn_efficiencies().characteristic_velocity.next_u
    assert stated.impulse.value == pytest.approx(0.88 * 0.95)
    assert stated.impulse.u == pytest.approx(math.hypot(velocity.u, stated.nozzle.u))
    sure = efficiencies_in_use(
        motor(efficiency=0.88, efficiency_measured=True, efficiency_u=0.02)
    )
    low = 0.88 * math.exp(-1.959964 * 0.02)
    assert sure.characteristic_velocity.low == pytest.approx(low)
    assert sure.impulse.origin == f"c* {STATED}; nozzle {EXPECTED}"


@pytest.mark.exact
def test_delivered_is_ideal_times_efficiency() -> None:
    """Once; the doubt of the ideal value in quadrature."""
    row = ROW | {"characteristic_velocity_u_m_s": 9.0}
    hardware = motor(efficiency=0.9, efficiency_measured=True, efficiency_u=0.02)
    found = delivered_of(hardware, row)
    assert found.known
    assert found.characteristic_velocity.value == pytest.approx(810.0)
    u = math.hypot(0.02, 0.01)
    assert found.characteristic_velocity.u == pytest.approx(u)
    high = 810.0 * math.exp(1.959964 * u)
    assert found.characteristic_velocity.high == pytest.approx(high)
    nozzle = found.efficiencies.nozzle.value
    assert found.specific_impulse.value == pytest.approx(138.0 * 0.9 * nozzle)
    assert found.thrust_coefficient.value == pytest.approx(1.504 * nozzle)


@pytest.mark.exact
def test_the_nozzle_of_the_motor_takes_the_place_of_the_best() -> None:
    """Without a cone C_F is that of the throat: k 1.134, p/pa 29.6, by hand."""
    best = delivered_of(motor(), ROW)
    bare = delivered_of(motor(exit_diameter=None), ROW, pressure=3e6)
    k, z = 1.134, 101325.0 / 3e6
    g2 = k * (2.0 / (k + 1.0)) ** ((k + 1.0) / (k - 1.0))
    throat = (2.0 / (k + 1.0)) ** (k / (k - 1.0)) * (1.0 + k) - z
    full = math.sqrt(2.0 * k / (k - 1.0) * g2 * (1.0 - z ** ((k - 1.0) / k)))
    assert bare.expansion == pytest.approx(throat / full, rel=1e-6)
    for name in ("specific_impulse", "thrust_coefficient"):
        ratio = getattr(bare, name).value / getattr(best, name).value
        assert ratio == pytest.approx(throat / full, rel=1e-6)
    assert bare.characteristic_velocity == best.characteristic_velocity


@pytest.mark.exact
def test_a_stated_thrust_coefficient_was_measured() -> None:
    """It is delivered as it stands: no efficiency is taken from it again."""
    found = delivered_of(motor(thrust_coefficient=1.38), ROW)
    assert found.thrust_coefficient.value == pytest.approx(1.38)
    assert found.efficiencies.nozzle.origin == STATED


@pytest.mark.exact
def test_a_nozzle_that_firings_measured_counts_for_the_impulse() -> None:
    """As c* does; what is stated of the nozzle goes before."""
    told = learn_efficiencies(FIRED)
    for given, efficiency in (
        ({"efficiencies": told}, told.nozzle.median),
        ({"efficiencies": told, "nozzle_efficiency": 0.8}, 0.8),
        ({"efficiencies": told, "thrust_coefficient": 1.4}, 1.0),
        ({}, 1.0),
    ):
        made = motor(**given).motor(density=1800.0, characteristic_velocity=900.0)
        assert made.nozzle.efficiency == efficiency
