r"""Erosive burning: by how much gas that flows along a core may raise its burning rate.

Two laws bound it, and neither was ever fitted to a nitrate-sugar mix, whose gas carries
some 40 % of condensed products; what they say is a one-sided band and no correction.
With the core mass flux G, the rate without flow r0 and the density of the grain:

* Mukunda and Paul, *Combustion and Flame* 109 (1997), from memory:
  :math:`1 + 0.023 (g^{0.8} - 35^{0.8})` for g above 35, with
  :math:`g = G/(\rho r_0) Re_0^{-1/8}` and :math:`Re_0 = \rho r_0 d/\mu`. Fitted to many
  propellants within 10 % (their claim);
* Lenoir and Robillard, *6th Symposium on Combustion* (1957), from memory:
  :math:`r = r_0 + \alpha G^{0.8} L^{-0.2} \exp(-\beta \rho r/G)`, with
  :math:`\alpha = 0.0288 c_p \mu^{0.2} Pr^{-2/3} (T_0 - T_s)/(T_s - T_i) / (\rho c_s)`
  and :math:`\beta = 53`. For double base and perchlorate, G below some 3000 kg/(m2 s).

Both go about with :math:`G^{0.8}`. Where G grows evenly along a core, the mean of that
is 1/1.8 of its value at the nozzle end (:data:`MEAN_ALONG`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import BoolArray, FloatArray
from castsugar.frozen import dataclass
from castsugar.numerics import bisected
from castsugar.special import lambertw

#: Mean along the core over the value at its nozzle end, of what goes with G**0.8.
MEAN_ALONG: Final = 1.0 / 1.8

#: Core mass fluxes from which on a start peak is slight, to be expected, and outside
#: what the two laws know [kg/(m2 s)]. 700 and 2100 are the 1 and 3 lb/(in2 s) of common
#: practice, no source; 1050 is where the law of Mukunda and Paul sets in for a core of
#: 14 mm at 6.3 mm/s.
SLIGHT, PEAK, BEYOND = 700.0, 1050.0, 2000.0

_THRESHOLD, _SLOPE = 35.0, 0.023
_BLOWING = 53.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreGas:
    """Gas in a core, and the face that it flows along.

    The defaults are those of the gas alone, without smoke, of 60/20/20 potassium
    nitrate, sucrose and corn syrup at 3 MPa and 1489 K (mixture-averaged, GRI-Mech 3.0
    in Cantera). The solid's heat and the temperature of its face are assumed; from 650
    to 850 K the latter alone halves what Lenoir and Robillard add.
    """

    temperature: float = 1489.0  # [K]
    viscosity: float = 5.3e-5  # [Pa s]
    specific_heat: float = 1892.0  # at constant pressure [J/(kg K)]
    prandtl: float = 0.564
    solid_specific_heat: float = 1300.0  # [J/(kg K)]
    surface_temperature: float = 750.0  # [K]


def mukunda_paul(flux: ArrayLike) -> FloatArray:
    """Return the burning rate over that without flow, at a reduced flux g. [-]

    Examples
    --------
    >>> [round(float(x), 3) for x in mukunda_paul([20.0, 35.0, 100.0])]
    [1.0, 1.0, 1.52]
    """
    g = np.maximum(np.asarray(flux, dtype=float), _THRESHOLD)
    return np.asarray(1.0 + _SLOPE * (g**0.8 - _THRESHOLD**0.8))


def reduced_flux(
    flux: ArrayLike,
    *,
    rate: ArrayLike,
    density: float,
    diameter: ArrayLike,
    viscosity: float,
) -> FloatArray:
    """Return g of Mukunda and Paul. [-]

    Parameters
    ----------
    flux : array_like
        Core mass flux. [kg/(m2 s)]
    rate : array_like
        Without flow. [m/s]
    density : float
        Of the grain. [kg/m3]
    diameter : array_like
        Of the core. [m]
    viscosity : float
        [Pa s]
    """
    made = density * np.asarray(rate, dtype=float)
    reynolds = made * np.asarray(diameter, dtype=float) / viscosity
    return np.asarray(np.asarray(flux, dtype=float) / made * reynolds**-0.125)


def lenoir_robillard(
    flux: ArrayLike,
    *,
    rate: ArrayLike,
    density: float,
    length: float,
    grain_temperature: float,
    gas: CoreGas,
) -> FloatArray:
    """Return the burning rate over that without flow. [-]

    Parameters
    ----------
    flux : array_like
        Core mass flux, above 0. [kg/(m2 s)]
    rate : array_like
        Without flow. [m/s]
    density : float
        Of the grain. [kg/m3]
    length : float
        Of the core up to there. [m]
    grain_temperature : float
        [K]
    """
    mass, plain = np.asarray(flux, dtype=float), np.asarray(rate, dtype=float)
    face = gas.surface_temperature
    heat = 0.0288 * gas.specific_heat * gas.viscosity**0.2 * gas.prandtl ** (-2.0 / 3.0)
    heat *= (gas.temperature - face) / (face - grain_temperature)
    alpha = heat / (density * gas.solid_specific_heat)
    # y = r - r0 solves y = b exp(-a y): a y is the Lambert function of a b.
    a = _BLOWING * density / mass
    b = alpha * mass**0.8 * length**-0.2 * np.exp(-a * plain)
    return np.asarray(1.0 + lambertw(a * b) / (a * plain))


def core_mach(ratio: ArrayLike, exponent: float) -> FloatArray:
    """Return the Mach number in a core, its area over that of the throat 1 or more. [-]

    Of the gas that leaves by the throat, at a constant isentropic exponent; by
    bisection.

    Examples
    --------
    >>> round(float(core_mach(1.6875, 1.4)), 3)
    0.372
    """
    target = np.asarray(ratio, dtype=float)
    k = exponent

    def too_slow(m: FloatArray) -> BoolArray:
        head = 2.0 / (k + 1.0) * (1.0 + 0.5 * (k - 1.0) * m**2)
        return np.asarray(head ** (0.5 * (k + 1.0) / (k - 1.0)) > target * m)

    low, high = bisected(too_slow, np.zeros(target.shape), np.ones(target.shape), 60)
    return np.asarray(0.5 * (low + high))
