"""Equilibrium pressure of a motor for arrays of conditions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.checks import one_of, positive
from castsugar.motor import balance
from castsugar.motor.balance import Bands, Roots
from castsugar.motor.law import BurnLaw

#: Which stable pressure is meant where there are several.
BRANCHES = ("lowest", "highest")

NO_ROOT = "no stable pressure: burn-rate exponent of 1 or more"
NO_GAS = "no pressure: nothing burns"
NOT_A_NUMBER = "no pressure: an input is not a number"

#: Times the ambient pressure below which a motor does not come up to pressure. The
#: balance takes a choked throat, and one chokes from some 1.8 times on: the critical
#: ratio ((k + 1) / 2)**(k / (k - 1)) is 1.73 for k = 1.13, 1.89 for 1.4. Ours.
CHOKES_AT = 2.0

#: Largest 1 / (1 - n) for which a pressure is told: above, 1 % more burning area lifts
#: it by 4 % and more. An exponent of 0.2 to 0.6 is usual (Sutton & Biblarz, ch. 11),
#: which gives 1.25 to 2.5. Ours.
MOST_AMPLIFICATION = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StandingPressure:
    """Equilibrium pressures, one an element.

    Attributes
    ----------
    pressure : ndarray
        NaN where there is none. [Pa]
    several : ndarray of bool
        More than one pressure is stable.
    outside : ndarray of bool
        The pressure lies outside the tested pressures of the law.
    status : ndarray of str
        "ok" or the reason.
    """

    pressure: FloatArray
    several: BoolArray
    outside: BoolArray
    status: NDArray[np.str_]


def equilibrium_pressure(
    law: BurnLaw | Bands,
    *,
    kn: ArrayLike,
    density: ArrayLike,
    characteristic_velocity: ArrayLike,
    rate_factor: ArrayLike = 1.0,
    branch: str = "lowest",
) -> StandingPressure:
    r"""Return the pressure at which gas made equals gas that leaves.

    For a law of one band, ``p = (S r_ref / p_ref)^{1/(1-n)} p_ref``, so that
    ``d ln p / d ln Kn = 1 / (1 - n)``.

    Parameters
    ----------
    law : BurnLaw or Bands
    kn, density, characteristic_velocity, rate_factor : array_like
        Broadcast. Burning over throat area [-]; of the grain as it is [kg/m3];
        [m/s]; burn rate over that of the law [-].
    branch : str
        "lowest": where a motor arrives that comes from low pressure; "highest": the
        highest stable pressure, for a cautious margin.

    Returns
    -------
    StandingPressure

    Raises
    ------
    InputError
        An exponent of 1 or more, an unknown branch.

    Examples
    --------
    >>> law = balance.power_law(8e-3, 0.3)
    >>> found = equilibrium_pressure(
    ...     law, kn=[200.0, 0.0], density=1800.0, characteristic_velocity=900.0
    ... )
    >>> found.pressure.round(-3).tolist()
    [3899000.0, nan]
    >>> print(found.status[1])
    no pressure: nothing burns
    """
    one_of("branch", branch, BRANCHES)
    bands = balance.as_bands(law)
    s = balance.supply(
        kn=kn,
        density=density,
        characteristic_velocity=characteristic_velocity,
        rate_factor=rate_factor,
    )
    found = balance.roots(bands, s)
    p = found.lowest() if branch == "lowest" else found.highest()
    p = np.where(np.isfinite(p), p, np.nan)
    status = np.where(np.isnan(p), NO_ROOT, "ok")
    status = np.where(np.isnan(s), NOT_A_NUMBER, np.where(s == 0, NO_GAS, status))
    return StandingPressure(
        pressure=p, several=found.several, outside=bands.outside(p), status=status
    )


def amplification(bands: Bands, pressure: ArrayLike) -> FloatArray:
    r"""Return how often the pressure repeats an error of the area: 1/(1 - n). [-]

    The exponent is that of the band in which the motor stands, the larger one where
    two bands meet: :math:`d \ln p / d \ln K_n = 1/(1 - n)`.

    Parameters
    ----------
    bands : Bands
        Leading axes broadcast with `pressure`.
    pressure : array_like
        [Pa]

    Examples
    --------
    >>> float(amplification(balance.power_law(8e-3, 0.5), 2e6))
    2.0
    """
    p = np.asarray(pressure, dtype=float)[..., None]
    inside = (p >= np.r_[0.0, bands.edges]) & (p <= np.r_[bands.edges, np.inf])
    exponent = np.where(inside, bands.exponent, -np.inf).max(axis=-1)
    with np.errstate(divide="ignore"):
        steep = 1.0 / (1.0 - exponent)
    return np.asarray(np.where(exponent < 1.0, steep, np.inf))


def withheld(bands: Bands, pressure: ArrayLike, ambient: float) -> NDArray[np.str_]:
    """Return why no pressure is told at which a motor would stand; empty if one is.

    Parameters
    ----------
    bands : Bands
        Leading axes broadcast with `pressure`.
    pressure : array_like
        Best estimates. [Pa]
    ambient : float
        [Pa]

    Returns
    -------
    ndarray of str
        An exponent of 1 or more, a peak below :data:`CHOKES_AT` times the ambient
        pressure, or an amplification above :data:`MOST_AMPLIFICATION`.
    """
    p = np.asarray(pressure, dtype=float)
    times = amplification(bands, p)
    stable = np.all(bands.exponent < 1.0, axis=-1)
    found = np.where(np.broadcast_to(stable, p.shape), "", NO_ROOT).astype(object)
    doubtful = (p < CHOKES_AT * ambient) | (times > MOST_AMPLIFICATION)
    for place in np.argwhere(doubtful & (found == "")):
        at = tuple(place)
        if p[at] < CHOKES_AT * ambient:
            found[at] = (
                f"the motor does not come up to pressure: {1e-6 * p[at]:.2g} MPa at "
                f"the best estimate is below {CHOKES_AT:g} times the ambient "
                f"{1e-6 * ambient:.4g} MPa"
            )
        else:
            found[at] = (
                f"the burn law is too steep: with n = {1.0 - 1.0 / times[at]:.2g} the "
                f"pressure repeats every error of the burning area {times[at]:.2g} "
                f"times, more than {MOST_AMPLIFICATION:g} (best estimate "
                f"{1e-6 * p[at]:.3g} MPa)"
            )
    return np.asarray(found, dtype=str)


def throat_diameter(
    law: BurnLaw | Bands,
    *,
    pressure: float,
    area: float,
    density: float,
    characteristic_velocity: float,
) -> float:
    """Return the throat that holds `pressure` at a burning area. [m]

    Raises
    ------
    InputError
        A value that is not positive.
    """
    kn = balance.kn_for_pressure(
        law,
        positive("pressure", pressure, "Pa"),
        density=density,
        characteristic_velocity=characteristic_velocity,
    )
    throat = positive("burning area", area, "m2") / float(kn)
    return float(np.sqrt(4.0 * throat / np.pi))


def follow(found: Roots, start: float) -> FloatArray:
    """Return the pressures of a motor that goes through its states one by one. [Pa]

    Parameters
    ----------
    found : Roots, of shape (states, ...)
    start : float
        Pressure before the first state, and the lowest one allowed: the chamber is
        open to it. [Pa]
    """
    if not np.any(found.stable.sum(axis=-1) > 1) and not np.any(found.unbounded):
        return np.maximum(found.settled(start), start)
    pressure = np.empty(found.stable.shape[:-1])
    last = start
    for i in range(len(pressure)):
        here = Roots(
            pressure=found.pressure[i],
            stable=found.stable[i],
            unbounded=found.unbounded[i],
        )
        last = max(float(here.settled(last)), start)
        pressure[i] = last
    return pressure
