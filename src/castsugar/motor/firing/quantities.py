"""The quantities of a firing, each with its budget of doubt, and what was weighed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from castsugar.checks import positive
from castsugar.constants import COVERAGE, STANDARD_ATMOSPHERE, STANDARD_GRAVITY
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.firing.channel import (
    THRESHOLD,
    Burning,
    Channel,
    integral,
    integral_noise,
)

# ----------------------------------------------------------------------------
# A result and where its doubt comes from: independent parts (JCGM 100:2008, 5.1).

#: Where an alarm leaves only one end of a result.
AT_LEAST, AT_MOST = "at least", "at most"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A number with its uncertainty budget.

    Attributes
    ----------
    value : float
        [SI]
    parts : dict of str to float
        Input -> standard uncertainty that it adds. [unit of the value]
    bound : str
        "at least" or "at most" where an alarm, or a sensor at its limit, leaves only
        one end: there is no interval then. Empty for a value with its interval.

    Examples
    --------
    >>> found = Measured(value=900.0, parts={"throat": 9.0, "mass": 12.0})
    >>> found.u, next(iter(found.shares()))
    (15.0, 'mass')
    """

    value: float
    parts: Mapping[str, float]
    bound: str = ""

    @property
    def u(self) -> float:
        """Return the standard uncertainty. [unit of the value]"""
        return math.hypot(*self.parts.values())

    @property
    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval."""
        half = COVERAGE * self.u
        return self.value - half, self.value + half

    def lies_within(self, low: float, high: float) -> bool:
        """Return whether it may: a lower limit below them may, too.

        Examples
        --------
        >>> Measured(value=0.6, parts={}).lies_within(0.7, 1.0)
        False
        >>> Measured(value=0.6, parts={}, bound=AT_LEAST).lies_within(0.7, 1.0)
        True
        """
        below = self.value < low and self.bound != AT_LEAST
        above = self.value > high and self.bound != AT_MOST
        return not (below or above)

    def shares(self) -> dict[str, float]:
        """Return the shares of the variance, largest first; empty without doubt."""
        whole = self.u**2
        if whole == 0.0:
            return {}
        found = {name: part**2 / whole for name, part in self.parts.items()}
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def to_dict(self, unit: str, scale: float = 1.0) -> dict[str, Any]:
        """Return value, u and interval, the unit in the names."""
        low, high = self.interval
        return {
            f"value_{unit}": scale * self.value,
            f"standard_uncertainty_{unit}": scale * self.u,
            f"low_95_{unit}": scale * low,
            f"high_95_{unit}": scale * high,
            "bound": self.bound,
            "shares_of_variance": self.shares(),
        }


def scaled(value: float, log_parts: Mapping[str, float], **more: Any) -> Measured:
    """Return a product whose factors have relative uncertainties."""
    parts = {name: abs(value) * u for name, u in log_parts.items() if u > 0.0}
    return Measured(value=value, parts=parts, **more)


# ----------------------------------------------------------------------------
# The test stand: what was weighed and measured beside the recording.

#: Standard uncertainties where the user states none; assumed. A calliper in a throat
#: reads to 0.05 mm, a grain is weighed with its liner to 0.5 %, a sensor holds its
#: calibration to 1 %, the air pressure of a place is not far from what is stated.
THROAT_DOUBT = 5e-5
MASS_DOUBT = 0.005
CALIBRATION_DOUBT = 0.01
AMBIENT_DOUBT = 3e3

#: Gas of an igniter like black powder over that of as much propellant, c* being counted
#: (force of about 285 kJ/kg, from memory), and its standard uncertainty.
IGNITER_GAS, IGNITER_GAS_DOUBT = 0.9, 0.1

#: Of a stated exit diameter; assumed: a calliper across a mouth of graphite. [m]
EXIT_DOUBT = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Throat, propellant mass, air pressure, and how sure each is.

    Attributes
    ----------
    propellant_mass : float or None
        Burned; None: c* and specific impulse are not told. [kg]
    throat_diameter : float or None
        Before firing; None: c* and thrust coefficient are not told. [m]
    throat_after : float or None
        After firing; None: taken as before. [m]
    throat_u : float
        Standard uncertainty of a measured throat. [m]
    exit_diameter : float or None
        Of the nozzle; None: thrust is not held against an ideal nozzle of that
        expansion. [m]
    exit_u : float
        Standard uncertainty of it. [m]
    mass_u, pressure_calibration_u, thrust_calibration_u : float
        Standard, relative. [-]
    ambient_pressure, ambient_u : float
        [Pa]
    share : float
        Of the peak, where burning starts and ends. [-]
    igniter_mass : float
        Of an igniter whose gas leaves through the throat. [kg]
    pressure_lag : float
        Time constant of the pressure sensor and its line; 0: not corrected. [s]

    Raises
    ------
    InputError
        A value that is not positive, a share outside 1 to 50 %, a throat that shrank by
        more than a tenth.

    Examples
    --------
    >>> stand = Stand(propellant_mass=0.180, throat_diameter=8e-3)
    >>> round(stand.throat_areas()[0] * 1e6, 2)
    50.27
    """

    propellant_mass: float | None = None
    throat_diameter: float | None = None
    throat_after: float | None = None
    throat_u: float = THROAT_DOUBT
    exit_diameter: float | None = None
    exit_u: float = EXIT_DOUBT
    mass_u: float = MASS_DOUBT
    pressure_calibration_u: float = CALIBRATION_DOUBT
    thrust_calibration_u: float = CALIBRATION_DOUBT
    ambient_pressure: float = STANDARD_ATMOSPHERE
    ambient_u: float = AMBIENT_DOUBT
    share: float = THRESHOLD
    igniter_mass: float = 0.0
    pressure_lag: float = 0.0

    def __post_init__(self) -> None:
        positive("ambient pressure", self.ambient_pressure, "Pa")
        for name, unit in (
            ("propellant_mass", "kg"),
            ("throat_diameter", "m"),
            ("throat_after", "m"),
            ("exit_diameter", "m"),
        ):
            value = getattr(self, name)
            if value is not None:
                positive(name.replace("_", " "), value, unit)
        self._check_doubts()
        if not 0.01 <= self.share <= 0.5:
            raise InputError(
                f"burning starts and ends at {100 * self.share:g} % of the peak; "
                "allowed: 1 % to 50 %"
            )
        before, after = self.throat_diameter, self.throat_after
        if before and self.exit_diameter and self.exit_diameter < before:
            raise InputError(
                f"exit of the nozzle {1e3 * self.exit_diameter:g} mm, throat "
                f"{1e3 * before:g} mm: the exit is as wide as the throat or wider; "
                "correct one of them"
            )
        if before and after and after < 0.9 * before:
            raise InputError(
                f"throat {1e3 * after:g} mm after firing, {1e3 * before:g} mm before: "
                "clean the deposit out of it and measure again"
            )

    def _check_doubts(self) -> None:
        for name in (
            "throat_u",
            "exit_u",
            "mass_u",
            "pressure_calibration_u",
            "thrust_calibration_u",
            "ambient_u",
            "igniter_mass",
            "pressure_lag",
        ):
            value = getattr(self, name)
            if not 0.0 <= value < math.inf:
                of = "uncertainty of " if name.endswith("_u") else ""
                what = of + name.removesuffix("_u").replace("_", " ")
                raise InputError(f"{what} is {value:g}; give 0 or more")

    def throat_areas(self) -> tuple[float, float]:
        """Return the throat area before and after firing. [m2]

        Raises
        ------
        InputError
            If no throat is known.
        """
        before = self.throat_diameter
        if before is None:
            raise InputError(
                "throat diameter is missing: a pressure says nothing of c* without it; "
                "measure the throat and give it"
            )
        after = self.throat_after if self.throat_after is not None else before
        return 0.25 * math.pi * before**2, 0.25 * math.pi * after**2

    @property
    def gas_mass(self) -> float:
        """Return the propellant that makes as much gas as grain and igniter. [kg]

        NaN where the grain was not weighed.
        """
        return self._grain_mass + IGNITER_GAS * self.igniter_mass

    @property
    def _grain_mass(self) -> float:
        return math.nan if self.propellant_mass is None else self.propellant_mass

    def mass_parts(self) -> dict[str, float]:
        """Return the standard uncertainties of ln of the mass that made gas. [-]"""
        return {
            "propellant mass": self.mass_u * self._grain_mass / self.gas_mass,
            "igniter": IGNITER_GAS_DOUBT * self.igniter_mass / self.gas_mass,
        }

    @property
    def log_area_u(self) -> float:
        """Return the standard uncertainty of ln of a measured throat area. [-]"""
        if self.throat_diameter is None:
            return math.nan
        return 2.0 * self.throat_u / self.throat_diameter


# ----------------------------------------------------------------------------
# The quantities of a firing, each with its budget of doubt.
#
# .. math::
#     c^* = \frac{\bar A_t \int p \, dt}{m}, \quad I = \int F dt, \quad
#     I_{sp} = \frac{I}{m g_0}, \quad C_F = \frac{\int F dt}{\bar A_t \int p \, dt}
#
# p is absolute, the integrals run over the burning (:mod:`.burning`), and
# :math:`\bar A_t` is the mean of the throat areas before and after: the throat is taken
# to grow straight with the mass that has left (Sutton & Biblarz, *Rocket Propulsion
# Elements*, ch. 3 and 12, from memory). Uncertainties are independent parts, carried to
# first order.

#: What lies under a bridge over missing samples is known to this part. Our rule.
_BRIDGE_DOUBT = 0.1

#: Rectangle of full width 1.
_RECTANGLE = 1.0 / math.sqrt(12.0)

#: How much a throat area may have grown where it was not measured after the firing:
#: 0 to 2 % in diameter. Our rule.
TYPICAL_GROWTH = 0.04


def burn_time(channel: Channel, other: Channel | None = None) -> Measured:
    """Return the time from start to end of the burning. [s]

    `other` is the sensor that is not trusted with it: what it says is a doubt.
    """
    apart = 0.0 if other is None else other.burning.lasting - channel.burning.lasting
    return Measured(
        value=channel.burning.lasting,
        parts={
            "integration limits": _by_limits(channel, lambda b: b.lasting),
            "sampling": _sampling(channel),
            "sensor that times it": abs(apart) * _RECTANGLE,
        },
    )


def _cut_corners(channel: Channel) -> float:
    """Return the part of an integral of few samples that lies between them.

    At both ends the running median cuts a corner, too: twice as much as of a time.
    """
    if not channel.is_sparse:
        return 0.0
    return 2.0 * channel.impulse() * _sampling(channel) / channel.burning.lasting


def _sampling(channel: Channel) -> float:
    """Return the uncertainty of a burn time that lies between samples. [s]"""
    interval = float(np.median(np.diff(channel.time)))
    return interval * math.sqrt(2.0) * _RECTANGLE


def _by_limits(channel: Channel, result: Callable[[Burning], float]) -> float:
    """Return the standard uncertainty from the choice of limits.

    A rectangle between the results at half and at twice the share of the peak.
    """
    share = channel.burning.share
    wide, narrow = channel.limits(0.5 * share), channel.limits(2.0 * share)
    return abs(result(wide) - result(narrow)) * _RECTANGLE


def area_parts(stand: Stand) -> dict[str, float]:
    """Return the parts of ln of the mean throat area. [-]"""
    before, after = stand.throat_areas()
    # The mean of two measurements, each with its own doubt, or of one.
    count, grown = 2, abs(after - before) / (0.5 * (after + before))
    if stand.throat_after is None:
        count, grown = 1, TYPICAL_GROWTH
    return {
        "throat": stand.log_area_u / math.sqrt(count),
        # It may have grown at any time: rectangle from the first to the last area.
        "throat erosion": grown * _RECTANGLE,
    }


def _integral_parts(channel: Channel, calibration_u: float) -> dict[str, float]:
    """Return the parts of the integral of a channel. [unit of the channel, s]"""
    b = channel.burning
    limits = _by_limits(channel, lambda x: channel.between(x))
    return {
        "calibration": calibration_u * channel.impulse(),
        "zero": channel.zero.uncertainty * b.lasting,
        "noise": integral_noise(channel.time, b.start, b.end, channel.noise),
        "integration limits": max(limits, _tail(channel)),
        "dropouts": _BRIDGE_DOUBT * channel.bridged_impulse(),
        "sampling": _cut_corners(channel),
    }


def _tail(channel: Channel) -> float:
    """Return what lies within half a burn time of the limits, as a doubt.

    Only what the doubt of the zero over that rest cannot explain; so that it does not
    hang on how much rest was recorded.
    """
    first, last = channel.around()
    outside = integral(channel.time, channel.value, first, last) - channel.impulse()
    rest = last - first - channel.burning.lasting
    explained = 2.0 * channel.zero.uncertainty * rest
    return max(abs(outside) - explained, 0.0) * _RECTANGLE


def of_pressure(
    channel: Channel, stand: Stand, lasting: float | None = None
) -> dict[str, Measured]:
    """Return what the pressure tells: its peak, mean and integral, and c*.

    The mean is that over `lasting` [s] where the sensor is not trusted with the time.
    """
    b, ambient = channel.burning, stand.ambient_pressure
    over = channel.impulse()
    whole = over + ambient * b.lasting
    parts = _integral_parts(channel, stand.pressure_calibration_u)
    parts["ambient pressure"] = stand.ambient_u * b.lasting
    parts["integration limits"] = max(
        parts["integration limits"],
        _by_limits(channel, lambda x: channel.between(x) + ambient * x.lasting),
    )
    logs = {name: part / whole for name, part in parts.items()}
    bound = _limit(channel)
    mean_parts = logs | {
        "integration limits": _by_limits(
            channel, lambda x: channel.between(x) / x.lasting
        )
        / (whole / b.lasting),
        "sampling": (2.0 if channel.is_sparse else 1.0)
        * _sampling(channel)
        / b.lasting,
    }
    peak = {
        "calibration": stand.pressure_calibration_u * channel.peak,
        "zero": channel.zero.uncertainty,
        "noise": channel.noise,
        "sampling": channel.blunted,
        "shape of the peak": _peak_shape(channel),
        "ambient pressure": stand.ambient_u,
    }
    found = {
        "peak_pressure": Measured(
            value=channel.peak + ambient, parts=peak, bound=_peak_limit(channel)
        ),
        "steady_peak_pressure": Measured(
            value=channel.steady_peak + ambient,
            parts=peak,
            bound=_peak_limit(channel),
        ),
        "mean_pressure": scaled(
            whole / (lasting or b.lasting), mean_parts, bound=bound
        ),
        "pressure_integral": scaled(whole, logs, bound=bound),
    }
    if stand.propellant_mass is not None and stand.throat_diameter is not None:
        area = 0.5 * sum(stand.throat_areas())
        found["characteristic_velocity"] = scaled(
            area * whole / stand.gas_mass,
            logs | area_parts(stand) | stand.mass_parts(),
            bound=bound,
        )
    return found


def _peak_shape(channel: Channel) -> float:
    """Return the doubt of a peak by what it is read from: 5 samples, or 50 ms."""
    return abs(float(channel.course.max()) - channel.steady_peak) / math.sqrt(3.0)


def _limit(channel: Channel) -> str:
    """Return the bound that a sensor at its limit leaves."""
    return AT_LEAST if channel.at_limit.any() else ""


def _peak_limit(channel: Channel) -> str:
    """Return the bound that it, or too few samples, leave of a peak."""
    return AT_LEAST if channel.is_sparse else _limit(channel)


def of_thrust(channel: Channel, stand: Stand) -> dict[str, Measured]:
    """Return what the thrust tells: impulse, mean, peak, specific impulse."""
    b, impulse = channel.burning, channel.impulse()
    parts = _integral_parts(channel, stand.thrust_calibration_u)
    logs = {name: part / impulse for name, part in parts.items()}
    bound = _limit(channel)
    by_mean = _by_limits(channel, lambda x: channel.between(x) / x.lasting)
    mean_parts = logs | {
        "integration limits": by_mean * b.lasting / impulse,
        "sampling": (2.0 if channel.is_sparse else 1.0)
        * _sampling(channel)
        / b.lasting,
    }
    peak = {
        "calibration": stand.thrust_calibration_u * channel.peak,
        "zero": channel.zero.uncertainty,
        "noise": channel.noise,
        "sampling": channel.blunted,
        "shape of the peak": _peak_shape(channel),
    }
    found = {
        "total_impulse": scaled(impulse, logs, bound=bound),
        "mean_thrust": scaled(impulse / b.lasting, mean_parts, bound=bound),
        "peak_thrust": Measured(
            value=channel.peak, parts=peak, bound=_peak_limit(channel)
        ),
    }
    if stand.propellant_mass is not None:
        found["specific_impulse"] = scaled(
            impulse / (stand.gas_mass * STANDARD_GRAVITY),
            logs | stand.mass_parts(),
            bound=bound,
        )
    return found


#: Standard uncertainty (ln) of the ideal thrust: one exponent for every mix.
_IDEAL_DOUBT = 0.007


def nozzle_efficiency(share: float, coefficient: Measured) -> Measured:
    """Return thrust over that of an ideal nozzle, with the doubt of the coefficient.

    Parameters
    ----------
    share : float
        Thrust over ideal thrust in the blocks of the burning that count.
    coefficient : Measured
        Thrust coefficient of the same firing.
    """
    logs = {what: u / coefficient.value for what, u in coefficient.parts.items()}
    return scaled(share, logs | {"ideal nozzle": _IDEAL_DOUBT})


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
    logs = area_parts(stand) | {
        "thrust calibration": stand.thrust_calibration_u,
        "pressure calibration": stand.pressure_calibration_u * over / push,
        "thrust zero": own["zero"] / impulse,
        "pressure zero": other["zero"] / push,
        "noise": math.hypot(own["noise"] / impulse, other["noise"] / push),
        "integration limits": _by_limits(pressure, ratio) / ratio(b),
        "dropouts": math.hypot(own["dropouts"] / impulse, other["dropouts"] / push),
        "ambient pressure": stand.ambient_u * b.lasting / push,
    }
    return scaled(ratio(b), logs, bound=_limit(thrust))
