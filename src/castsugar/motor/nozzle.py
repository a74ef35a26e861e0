"""Thrust of an ideal nozzle, and the letter of a total impulse."""

from __future__ import annotations

import math
import string
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import positive, within
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.numerics import bisected

# ----------------------------------------------------------------------------
# Thrust of an ideal nozzle, one-dimensional, at a constant isentropic exponent.
#
# .. math::
#     C_F = \sqrt{\frac{2 k^2}{k-1} \left(\frac{2}{k+1}\right)^{\frac{k+1}{k-1}}
#     \left(1 - (p_e/p_c)^{\frac{k-1}{k}}\right)} + \frac{p_e - p_a}{p_c} \epsilon
#
# (Sutton & Biblarz, *Rocket Propulsion Elements*, ch. 3, from memory), times the
# efficiency that the user states.

#: Exponent for the choked limit where none is given: 1.893, the limit of air, is
#: above that of every nitrate-sugar gas (exponents of 1.04 to 1.3 give 1.68 to 1.83).
_CAUTIOUS_EXPONENT = 1.4


#: Share of the ambient pressure below which the exit of a full nozzle cannot fall: the
#: flow leaves the wall where it is reached (Sutton & Biblarz, ch. 3, from memory; books
#: say 0.35 to 0.45).
SEPARATES: Final = 0.4

#: Isentropic exponent of the exhaust where no mix gives one: gas with its smoke through
#: a throat (computed by this library, 1.12 to 1.15 with and without exchange).
USUAL_EXPONENT: Final = 1.13


def flow_factor(exponent: float) -> float:
    """Return G of a choked throat, c* = (RT)^(1/2) / G. [-]

    ``k^(1/2) (2 / (k + 1))^((k + 1) / (2 (k - 1)))`` (Sutton & Biblarz, ch. 3).

    Examples
    --------
    >>> round(flow_factor(1.2), 6)
    0.648531
    """
    k = exponent
    return math.sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))


#: That of a usual exhaust.
FLOW_FACTOR: Final = flow_factor(USUAL_EXPONENT)


def choked_pressure_ratio(exponent: ArrayLike) -> FloatArray:
    """Return chamber over ambient pressure from which the throat chokes. [-]

    ``((k + 1) / 2)**(k / (k - 1))``.

    Examples
    --------
    >>> round(float(choked_pressure_ratio(1.4)), 4)
    1.8929
    """
    k = np.asarray(exponent, dtype=float)
    return np.asarray((0.5 * (k + 1.0)) ** (k / (k - 1.0)))


def expansion_ratio(exit_ratio: ArrayLike, exponent: ArrayLike) -> FloatArray:
    """Return exit over throat area for an exit over chamber pressure. [-]"""
    k = np.asarray(exponent, dtype=float)
    z = np.asarray(exit_ratio, dtype=float)
    throat = (2.0 / (k + 1.0)) ** (1.0 / (k - 1.0)) * np.sqrt((k - 1.0) / (k + 1.0))
    speed = np.sqrt(1.0 - z ** ((k - 1.0) / k))
    return np.asarray(throat / (z ** (1.0 / k) * speed))


def exit_pressure_ratio(ratio: ArrayLike, exponent: ArrayLike) -> FloatArray:
    """Return supersonic exit over chamber pressure for an expansion ratio. [-]

    The inverse of :func:`expansion_ratio`, by bisection on the logarithm.
    """
    target, k = np.broadcast_arrays(
        np.asarray(ratio, dtype=float), np.asarray(exponent, dtype=float)
    )
    high = -np.log(choked_pressure_ratio(k))
    low, high = bisected(
        lambda log: expansion_ratio(np.exp(log), k) > target,
        np.full(high.shape, -60.0),
        high,
        80,
    )
    return np.asarray(np.exp(0.5 * (low + high)))


def thrust_coefficient(
    pressure: ArrayLike,
    ambient_pressure: ArrayLike,
    *,
    exponent: ArrayLike,
    ratio: ArrayLike,
    separation: float = 0.0,
) -> FloatArray:
    """Return the ideal thrust coefficient of a choked nozzle. [-]

    Parameters
    ----------
    pressure, ambient_pressure : array_like
        [Pa]
    exponent : array_like
        Isentropic exponent, above 1.
    ratio : array_like
        Exit over throat area, 1 or more. [-]
    separation : float
        The flow leaves the wall at this share of the ambient pressure; 0: flows full.
    """
    k, p = np.asarray(exponent, dtype=float), np.asarray(pressure, dtype=float)
    back = np.asarray(ambient_pressure, dtype=float) / p
    full = exit_pressure_ratio(ratio, k)
    z = np.maximum(full, np.minimum(separation * back, 1.0 / choked_pressure_ratio(k)))
    wide = np.where(z > full, expansion_ratio(z, k), ratio)
    return np.asarray(optimum_thrust_coefficient(z, k) + (z - back) * wide)


def optimum_thrust_coefficient(
    exit_ratio: ArrayLike, exponent: ArrayLike
) -> FloatArray:
    """Return the ideal thrust coefficient where exit and outside pressure agree. [-]

    Its highest at that outside pressure; 0 over the chamber pressure: in a vacuum.

    Parameters
    ----------
    exit_ratio : array_like
        Exit over chamber pressure, 0 to 1. [-]
    exponent : array_like
        Isentropic exponent, above 1.

    Examples
    --------
    >>> round(float(optimum_thrust_coefficient(0.0, 1.2)), 4)
    2.2466
    """
    k = np.asarray(exponent, dtype=float)
    left = 1.0 - np.asarray(exit_ratio, dtype=float) ** ((k - 1.0) / k)
    throat = (2.0 / (k + 1.0)) ** ((k + 1.0) / (k - 1.0))
    return np.asarray(np.sqrt(2.0 * k**2 / (k - 1.0) * throat * left))


@dataclass(frozen=True, slots=True, kw_only=True)
class Nozzle:
    """A nozzle: throat, exit, and how its thrust is reckoned.

    Raises
    ------
    InputError
        A size that is not positive, an exit inside the throat, neither exponent nor
        coefficient, both of them.
    """

    throat_diameter: float  # [m]
    #: None: no divergent part, the exit is the throat. [m]
    exit_diameter: float | None = None
    exponent: float | None = None  # isentropic exponent of the exhaust [-]
    #: Thrust over ideal thrust, 0 to 1; 1 means ideal, no losses. [-]
    efficiency: float = 1.0
    #: Thrust coefficient, constant; takes the place of the formula. [-]
    coefficient: float | None = None

    def __post_init__(self) -> None:
        positive("throat diameter", self.throat_diameter, "m")
        if self.exit_diameter is not None and not (
            self.throat_diameter <= self.exit_diameter < math.inf
        ):
            raise InputError(
                f"nozzle exit diameter {1e3 * self.exit_diameter:g} mm is below the "
                f"throat diameter {1e3 * self.throat_diameter:g} mm; "
                "the exit must be as wide as the throat or wider"
            )
        if not 0.0 < self.efficiency <= 1.0:
            raise InputError(
                f"nozzle efficiency is {self.efficiency:g}; allowed: above 0, up to 1"
            )
        if (self.exponent is None) == (self.coefficient is None):
            raise InputError(
                "give the nozzle either an isentropic exponent or a thrust coefficient"
            )
        if self.exponent is not None:
            within("isentropic exponent", self.exponent, 1.001, 2.0)
        if self.coefficient is not None:
            positive("thrust coefficient", self.coefficient)

    @property
    def throat_area(self) -> float:
        """Return the throat area. [m2]"""
        return 0.25 * math.pi * self.throat_diameter**2

    @property
    def expansion_ratio(self) -> float:
        """Return exit over throat area. [-]"""
        if self.exit_diameter is None:
            return 1.0
        return (self.exit_diameter / self.throat_diameter) ** 2

    @property
    def choked_ratio(self) -> float:
        """Return chamber over ambient pressure from which the throat chokes. [-]"""
        k = _CAUTIOUS_EXPONENT if self.exponent is None else self.exponent
        return float(choked_pressure_ratio(k))

    def thrust_coefficient(
        self,
        pressure: ArrayLike,
        ambient_pressure: float,
        throat_area: FloatArray | None = None,
    ) -> FloatArray:
        """Return the thrust coefficient, efficiency included. [-]

        Of a throat that has grown to another area [m2], if one is given.
        Off the wall below :data:`SEPARATES` times the ambient pressure; 0 where the
        throat is not choked.
        """
        p = np.asarray(pressure, dtype=float)
        if self.coefficient is not None:
            ideal = np.full(p.shape, self.coefficient)
        else:
            wide: ArrayLike = self.expansion_ratio
            if throat_area is not None:
                own = self.expansion_ratio * self.throat_area / throat_area
                wide = np.maximum(own, 1.0)
            ideal = thrust_coefficient(
                p,
                ambient_pressure,
                exponent=float(self.exponent or 0.0),
                ratio=wide,
                separation=SEPARATES,
            )
        choked = p >= self.choked_ratio * ambient_pressure
        return np.where(choked, self.efficiency * np.maximum(ideal, 0.0), 0.0)

    def kinks(self, ambient_pressure: float) -> tuple[float, ...]:
        """Return the chamber pressures where the thrust has a corner or a jump. [Pa]"""
        choked = self.choked_ratio * ambient_pressure
        if self.exponent is None:
            return (choked,)
        full = float(exit_pressure_ratio(self.expansion_ratio, self.exponent))
        return choked, SEPARATES * ambient_pressure / full


# ----------------------------------------------------------------------------
# Letter of a total impulse, as public tables give it.

#: Highest total impulse of letter A [N s]; each letter after it doubles. NFPA 1125
#: and public tables of it: A is 1.26 to 2.50 N s, 40.00 is E, 40.01 is F.
_HIGHEST_A: Final = 2.5

#: Below A, from memory: halves of A, of which 1/8A takes everything smaller.
_BELOW_A: Final = ((0.3125, "1/8A"), (0.625, "1/4A"), (1.25, "1/2A"))

#: A sum that misses an edge by rounding alone still belongs below it.
_ROUNDING: Final = 1e-12


def impulse_class(total_impulse: float) -> str:
    """Return the letter of a total impulse [N s].

    The letter is a size, not an approval: only certified motors bear one.

    Raises
    ------
    InputError
        Not a positive number, or beyond the letter Z.

    Examples
    --------
    >>> [impulse_class(x) for x in (1.0, 2.5, 40.0, 40.01, 160.01)]
    ['1/2A', 'A', 'E', 'F', 'H']
    """
    if not (math.isfinite(total_impulse) and total_impulse > 0):
        raise InputError(
            f"total impulse is {total_impulse:g} N s; it must be a number above 0"
        )
    value = total_impulse * (1.0 - _ROUNDING)
    for highest, name in _BELOW_A:
        if value <= highest:
            return name
    highest = _HIGHEST_A
    for letter in string.ascii_uppercase:
        if value <= highest:
            return letter
        highest *= 2.0
    raise InputError(f"total impulse is {total_impulse:g} N s; letters end at Z")
