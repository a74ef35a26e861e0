r"""The quantities of a firing, each with its budget of doubt.

.. math::
    c^* = \frac{\bar A_t \int p \, dt}{m}, \quad I = \int F dt, \quad
    I_{sp} = \frac{I}{m g_0}, \quad C_F = \frac{\int F dt}{\bar A_t \int p \, dt}

p is absolute, the integrals run over the burning (:mod:`.burning`), and
:math:`\bar A_t` is the mean of the throat areas before and after: the throat is taken
to grow straight with the mass that has left (Sutton & Biblarz, *Rocket Propulsion
Elements*, ch. 3 and 12, from memory). Uncertainties are independent parts, carried to
first order.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from castsugar.constants import STANDARD_GRAVITY
from castsugar.motor.firing.budget import Measured, scaled
from castsugar.motor.firing.burning import Burning, integral_noise
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.stand import Stand

#: What lies under a bridge over missing samples is known to this part. Our rule.
_BRIDGE_DOUBT = 0.1

#: Rectangle of full width 1.
_RECTANGLE = 1.0 / math.sqrt(12.0)

#: Triangle over the range of throat areas, full width 1.
_TRIANGLE = 1.0 / math.sqrt(24.0)


def burn_time(channel: Channel) -> Measured:
    """Return the time from start to end of the burning. [s]"""
    interval = float(np.median(np.diff(channel.time)))
    return Measured(
        value=channel.burning.lasting,
        parts={
            "integration limits": _by_limits(channel, lambda b: b.lasting),
            "sampling": interval * math.sqrt(2.0) * _RECTANGLE,
        },
    )


def _by_limits(channel: Channel, result: Callable[[Burning], float]) -> float:
    """Return the standard uncertainty from the choice of limits.

    A rectangle between the results at half and at twice the share of the peak.
    """
    share = channel.burning.share
    wide, narrow = channel.limits(0.5 * share), channel.limits(2.0 * share)
    return abs(result(wide) - result(narrow)) * _RECTANGLE


def _area_parts(stand: Stand) -> dict[str, float]:
    before, after = stand.throat_areas()
    # The mean of two measurements, each with its own doubt, or of one.
    count = 1 if stand.throat_after is None else 2
    return {
        "throat": stand.log_area_u / math.sqrt(count),
        "throat erosion": abs(after - before) / (0.5 * (after + before)) * _TRIANGLE,
    }


def _integral_parts(channel: Channel, calibration_u: float) -> dict[str, float]:
    """Return the parts of the integral of a channel. [unit of the channel, s]"""
    b = channel.burning
    outside = channel.whole() - channel.impulse()
    limits = _by_limits(channel, lambda x: channel.between(x))
    return {
        "calibration": calibration_u * channel.impulse(),
        "zero": channel.zero.uncertainty * b.lasting,
        "noise": integral_noise(channel.time, b.start, b.end, channel.noise),
        "integration limits": max(limits, _tail(channel, outside)),
        "dropouts": _BRIDGE_DOUBT * channel.bridged_impulse(),
    }


def _tail(channel: Channel, outside: float) -> float:
    """Return the part of an integral that lies outside the limits, as a doubt.

    Only what the doubt of the zero over the rest of the record cannot explain.
    """
    rest = float(np.ptp(channel.time)) - channel.burning.lasting
    explained = 2.0 * channel.zero.uncertainty * rest
    return max(abs(outside) - explained, 0.0) * _RECTANGLE


def of_pressure(channel: Channel, stand: Stand) -> dict[str, Measured]:
    """Return what the pressure tells: its peak, mean and integral, and c*."""
    b, ambient = channel.burning, stand.ambient_pressure
    before, after = stand.throat_areas()
    over = channel.impulse()
    whole = over + ambient * b.lasting
    parts = _integral_parts(channel, stand.pressure_calibration_u)
    parts["ambient pressure"] = stand.ambient_u * b.lasting
    parts["integration limits"] = max(
        parts["integration limits"],
        _by_limits(channel, lambda x: channel.between(x) + ambient * x.lasting),
    )
    logs = {name: part / whole for name, part in parts.items()}
    at_least = bool(channel.at_limit.any())
    velocity = 0.5 * (before + after) * whole / stand.propellant_mass
    mean_parts = logs | {
        "integration limits": _by_limits(
            channel, lambda x: channel.between(x) / x.lasting
        )
        / (whole / b.lasting)
    }
    peak = {
        "calibration": stand.pressure_calibration_u * channel.peak,
        "zero": channel.zero.uncertainty,
        "noise": channel.noise,
        "ambient pressure": stand.ambient_u,
    }
    return {
        "peak_pressure": Measured(
            value=channel.peak + ambient, parts=peak, at_least=at_least
        ),
        "mean_pressure": scaled(whole / b.lasting, mean_parts, at_least=at_least),
        "pressure_integral": scaled(whole, logs, at_least=at_least),
        "characteristic_velocity": scaled(
            velocity,
            logs | _area_parts(stand) | {"propellant mass": stand.mass_u},
            at_least=at_least,
        ),
    }


def of_thrust(channel: Channel, stand: Stand) -> dict[str, Measured]:
    """Return what the thrust tells: impulse, mean, peak, specific impulse."""
    b, impulse = channel.burning, channel.impulse()
    parts = _integral_parts(channel, stand.thrust_calibration_u)
    logs = {name: part / impulse for name, part in parts.items()}
    at_least = bool(channel.at_limit.any())
    by_mean = _by_limits(channel, lambda x: channel.between(x) / x.lasting)
    mean_parts = logs | {"integration limits": by_mean * b.lasting / impulse}
    peak = {
        "calibration": stand.thrust_calibration_u * channel.peak,
        "zero": channel.zero.uncertainty,
        "noise": channel.noise,
    }
    weight = stand.propellant_mass * STANDARD_GRAVITY
    return {
        "total_impulse": scaled(impulse, logs, at_least=at_least),
        "mean_thrust": scaled(impulse / b.lasting, mean_parts, at_least=at_least),
        "peak_thrust": Measured(value=channel.peak, parts=peak, at_least=at_least),
        "specific_impulse": scaled(
            impulse / weight,
            logs | {"propellant mass": stand.mass_u},
            at_least=at_least,
        ),
    }


def thrust_coefficient(pressure: Channel, thrust: Channel, stand: Stand) -> Measured:
    """Return the thrust coefficient over the burning that the pressure shows."""
    ambient = stand.ambient_pressure
    area = 0.5 * sum(stand.throat_areas())

    def ratio(b: Burning) -> float:
        push = pressure.between(b) + ambient * b.lasting
        return thrust.between(b) / (area * push)

    b = pressure.burning
    over, push = pressure.between(b), pressure.between(b) + ambient * b.lasting
    impulse = thrust.between(b)
    own = _integral_parts(thrust, stand.thrust_calibration_u)
    other = _integral_parts(pressure, stand.pressure_calibration_u)
    logs = _area_parts(stand) | {
        "thrust calibration": stand.thrust_calibration_u,
        "pressure calibration": stand.pressure_calibration_u * over / push,
        "thrust zero": own["zero"] / impulse,
        "pressure zero": other["zero"] / push,
        "noise": math.hypot(own["noise"] / impulse, other["noise"] / push),
        "integration limits": _by_limits(pressure, ratio) / ratio(b),
        "dropouts": math.hypot(own["dropouts"] / impulse, other["dropouts"] / push),
        "ambient pressure": stand.ambient_u * b.lasting / push,
    }
    return scaled(ratio(b), logs, at_least=bool(thrust.at_limit.any()))
