"""What a motor delivers of the ideal: which efficiencies count, and how far."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.constants import COVERAGE, STANDARD_ATMOSPHERE
from castsugar.frozen import dataclass
from castsugar.motor.efficiency import Efficiency, learn_efficiencies
from castsugar.motor.hardware import Hardware
from castsugar.motor.nozzle import (
    SEPARATES,
    optimum_thrust_coefficient,
    thrust_coefficient,
)

#: Where an efficiency comes from if no firing told it.
STATED: Final = "stated"
EXPECTED: Final = "expected, no firing of yours yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Banded:
    """A value above 0 and its 95 % band; `u` is the standard uncertainty of its ln."""

    value: float
    u: float
    low: float
    high: float

    def times(self, ideal: float, ideal_u: float = 0.0) -> Banded:
        """Return it times an ideal value whose ln is known to `ideal_u`."""
        more, middle = COVERAGE * ideal_u, ideal * self.value
        below = math.hypot(math.log(self.value / self.low), more)
        above = math.hypot(math.log(self.high / self.value), more)
        return Banded(
            value=middle,
            u=math.hypot(self.u, ideal_u),
            low=middle * math.exp(-below),
            high=middle * math.exp(above),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Share(Banded):
    """An efficiency of the next firing; `origin` says in words where it comes from."""

    origin: str

    @property
    def known(self) -> bool:
        """Whether it was stated or measured."""
        return self.origin != EXPECTED


@dataclass(frozen=True, slots=True, kw_only=True)
class InUse:
    """The efficiencies that a motor is reckoned with: delivered over ideal."""

    #: Of c*, of the thrust coefficient.
    characteristic_velocity: Share
    nozzle: Share
    #: Their product, correlation included: what moves one up and the other down, such
    #: as a throat that discharges less than its area, leaves it alone.
    impulse: Share
    correlation: float  # of the logarithms of the first two


def efficiencies_in_use(hardware: Hardware | None) -> InUse:
    """Return the efficiencies of a motor: of firings, stated, or held beforehand.

    Of c* firings go before what is stated, of the nozzle what is stated before firings.
    A thrust coefficient that is stated was measured: nothing is taken from it. Where
    nothing was fired and nothing stated, or without a motor, the medians held
    beforehand, assumed.

    Examples
    --------
    Nothing fired, nothing stated: assumed.

    >>> from castsugar.motor.burn_model import BurnModel
    >>> from castsugar.motor.grain import HollowCylinder
    >>> grain = HollowCylinder(
    ...     outer_diameter=0.03, core_diameter=0.012, segment_length=0.05
    ... )
    >>> motor = Hardware(grain=grain, throat_diameter=0.008, burning=BurnModel([]))
    >>> found = efficiencies_in_use(motor)
    >>> round(found.impulse.value, 2), found.impulse.origin
    (0.84, 'expected, no firing of yours yet')
    """
    told = learn_efficiencies() if hardware is None else hardware.efficiencies
    velocity = _velocity(hardware, told.characteristic_velocity)
    nozzle = _nozzle(hardware, told.nozzle)
    value = velocity.value * nozzle.value
    correlation = 0.0
    if STATED in (velocity.origin, nozzle.origin):
        u = math.hypot(velocity.u, nozzle.u)
        impulse = _around(value, u, _together(velocity, nozzle))
    else:
        impulse = _told(told.impulse, value, _together(velocity, nozzle))
        both = impulse.u**2 - velocity.u**2 - nozzle.u**2
        correlation = both / (2.0 * velocity.u * nozzle.u)
    return InUse(
        characteristic_velocity=velocity,
        nozzle=nozzle,
        impulse=impulse,
        correlation=correlation,
    )


def _velocity(hardware: Hardware | None, told: Efficiency) -> Share:
    """Return the efficiency of c*."""
    if hardware is None or hardware.efficiency is None:
        return _told(told, told.median, EXPECTED)
    if told.count:
        return _told(told, hardware.efficiency, measured(told.count))
    u = hardware.efficiency_u if hardware.efficiency_measured else told.next_u
    return _around(hardware.efficiency, u, STATED)


def _nozzle(hardware: Hardware | None, told: Efficiency) -> Share:
    if hardware is not None and hardware.nozzle_stated:
        return _around(hardware.nozzle_efficiency, told.next_u, STATED)
    origin = measured(told.count) if told.count else EXPECTED
    return _told(told, told.median, origin)


def measured(firings: int) -> str:
    """Say that so many firings told it.

    Examples
    --------
    >>> measured(1)
    'measured, 1 firing'
    """
    return f"measured, {firings} firing{'' if firings == 1 else 's'}"


def _told(found: Efficiency, value: float, origin: str) -> Share:
    """Return what is known of the next firing."""
    return Share(
        value=value,
        u=found.next_u,
        low=found.next_low,
        high=found.next_high,
        origin=origin,
    )


def _around(value: float, u: float, origin: str) -> Share:
    """Return a value with a normal doubt of its logarithm."""
    wide = math.exp(COVERAGE * u)
    return Share(value=value, u=u, low=value / wide, high=value * wide, origin=origin)


def _together(velocity: Share, nozzle: Share) -> str:
    """Say where a product comes from."""
    if velocity.origin == nozzle.origin:
        return velocity.origin
    return f"c* {velocity.origin}; nozzle {nozzle.origin}"


# ----------------------------------------------------------------------------
# What a mix delivers in the motor.


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """What a mix delivers in a motor; NaN where its row has no ideal value."""

    efficiencies: InUse
    characteristic_velocity: Banded  # [m/s]
    specific_impulse: Banded  # through the nozzle of the motor [s]
    thrust_coefficient: Banded  # [-]
    #: Ideal thrust coefficient of the nozzle of the motor over that of a nozzle which
    #: expands just to the outside; 1 where no pressure says.
    expansion: float = 1.0

    @property
    def known(self) -> bool:
        """Whether the efficiency of c* was stated or measured."""
        return self.efficiencies.characteristic_velocity.known


def delivered_of(
    hardware: Hardware,
    row: Mapping[str, Any],
    *,
    pressure: float | None = None,
    exit_pressure: float = STANDARD_ATMOSPHERE,
) -> Delivered:
    """Return what a mix delivers in a motor.

    Parameters
    ----------
    row : mapping
        Of the mix, as of :func:`castsugar.evaluate`; the doubt that the data leave
        counts in quadrature where the row has it, else that of the spread of the motor.
    pressure : float, optional
        Chamber pressure of the row; lets the nozzle of the motor take the place of one
        that expands just to the outside. [Pa]
    exit_pressure : float
        To which the row expands. [Pa]
    """
    used = efficiencies_in_use(hardware)
    expansion = 1.0
    if pressure is not None or hardware.thrust_coefficient is not None:
        expansion = float(
            expansion_share(
                hardware,
                coefficient=_ideal(row, "thrust_coefficient"),
                exponent=_ideal(row, "isentropic_exponent"),
                pressure=pressure or math.nan,
                exit_pressure=exit_pressure,
            )
        )
    nozzle, impulse = used.nozzle.times(expansion), used.impulse.times(expansion)
    c_star, isp = "characteristic_velocity", "specific_impulse"
    velocity_u = _ideal_u(hardware, row, c_star, "m_s")
    return Delivered(
        efficiencies=used,
        characteristic_velocity=used.characteristic_velocity.times(
            _ideal(row, "characteristic_velocity_m_s"), velocity_u
        ),
        specific_impulse=impulse.times(
            _ideal(row, "specific_impulse_s"), _ideal_u(hardware, row, isp, "s")
        ),
        thrust_coefficient=nozzle.times(_ideal(row, "thrust_coefficient")),
        expansion=expansion,
    )


def _ideal(row: Mapping[str, Any], key: str) -> float:
    value = row.get(key)
    return math.nan if value is None else float(value)


def _ideal_u(hardware: Hardware, row: Mapping[str, Any], name: str, unit: str) -> float:
    """Return the standard uncertainty of the ln of an ideal value."""
    value, u = _ideal(row, f"{name}_{unit}"), _ideal(row, f"{name}_u_{unit}")
    return u / value if u > 0.0 else hardware.spread.characteristic_velocity


def expansion_share(
    hardware: Hardware,
    *,
    coefficient: ArrayLike,
    exponent: ArrayLike,
    pressure: float,
    exit_pressure: float,
) -> FloatArray:
    """Return the ideal thrust coefficient of the nozzle over that of full expansion.

    Parameters
    ----------
    hardware : Hardware
        A thrust coefficient that is stated takes the place of the formula.
    coefficient : array_like
        Of full expansion to the exit pressure. [-]
    exponent : array_like
        Isentropic, of the exhaust; both by the formula of one exponent, so that what it
        leaves out cancels. [-]
    pressure, exit_pressure : float
        [Pa]
    """
    if hardware.thrust_coefficient is not None:
        return np.asarray(hardware.thrust_coefficient / np.asarray(coefficient, float))
    diameter = hardware.exit_diameter or hardware.throat_diameter
    with np.errstate(invalid="ignore"):  # NaN of an exponent below 1
        own = thrust_coefficient(
            pressure,
            hardware.ambient_pressure,
            exponent=exponent,
            ratio=(diameter / hardware.throat_diameter) ** 2,
            separation=SEPARATES,
        )
        best = optimum_thrust_coefficient(exit_pressure / pressure, exponent)
    return np.asarray(own / best)
