"""After the pour: how dense a casting is, how long it cools, when it cracks."""

from __future__ import annotations

import math

import numpy as np

from castsugar.arrays import FloatArray, inside
from castsugar.constants import ICE_POINT
from castsugar.kitchen.pan import CONDUCTIVITY
from castsugar.numerics import root

# ----------------------------------------------------------------------------
# Voids.

#: Density of a casting over that without voids, by the flow classes of the suspension
#: from runny to no flow, shrinkage from the heat included, and its standard
#: uncertainty; common practice, no source.
RATIOS = np.array([0.96, 0.96, 0.93, 0.90, 0.80])
RATIOS_U = np.array([0.02, 0.02, 0.03, 0.04, 0.06])

#: What tapping or vibrating the mould adds; common practice, no source.
TAPPING = 0.01


def density_ratio(
    classes: FloatArray, *, tap: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Return the density of castings over that without voids, and its uncertainty.

    Mean and standard deviation of the mixture over the classes. A measured grain
    replaces it.

    Parameters
    ----------
    classes : ndarray, shape (n, 5)
        Probability of each flow class; all 0 where there is no model.
    tap : bool
        Whether the mould is tapped or vibrated while it is filled.

    Returns
    -------
    ratio, u : ndarray, shape (n,)
        NaN where there is no model.

    Examples
    --------
    >>> ratio, u = density_ratio(np.array([[0.0, 0.5, 0.5, 0.0, 0.0]]))
    >>> round(float(ratio[0]), 3), round(float(u[0]), 4)
    (0.945, 0.0296)
    """
    told = classes.sum(axis=1) > 0.0
    each = RATIOS + (TAPPING if tap else 0.0)
    mean = classes @ each
    square = classes @ (each**2 + RATIOS_U**2)
    u = np.sqrt(np.maximum(square - mean**2, 0.0))
    return np.where(told, mean, np.nan), np.where(told, u, np.nan)


# ----------------------------------------------------------------------------
# Cooling.

#: How heat spreads in a cast grain [m2/s]: 0.6 W/m/K at 1750 kg/m3; +-25 %.
DIFFUSIVITY = 2.6e-7

#: Heat to still air from a grain [W/m2/K], and from one in a tube; common practice.
IN_AIR, IN_TUBE = 10.0, 6.0

#: A grain is cold when its centre is hand-warm [K].
HAND_WARM = 40.0 + ICE_POINT

#: First zero of the Bessel function J0.
_FIRST_ZERO = 2.404825557695773

#: Cooling times are good to this share.
DOUBT = 0.3

#: sqrt(k rho c) [W s^0.5/m2/K] of what a hot mix touches: handbook values, from memory;
#: of the mix itself, computed from those of its parts.
EFFUSIVITY = {
    "aluminium": 22_000.0,
    "steel": 13_000.0,
    "paper": 500.0,
    "plastic": 550.0,
}
MIX_EFFUSIVITY = 1170.0


def cooling_time(
    diameter: float,
    start: float,
    room: float,
    *,
    core: float = 0.0,
    end: float = HAND_WARM,
    transfer: float = IN_AIR,
) -> float:
    """Return how long the middle of a cast cylinder cools, +-30 %. [s]

    First term of the series of an infinite cylinder in air. A core counts as missing
    volume, (1 - d^2 / D^2), for a rod that is thin or was pulled.

    Parameters
    ----------
    diameter, core : float
        [m]
    start, room, end : float
        [K]
    transfer : float
        To the air. [W/m2/K]

    Returns
    -------
    float
        0 where it starts cold; infinite where the room is too warm.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(cooling_time(0.038, 388.15, 295.15) / 60.0)
    68
    """
    from scipy.special import j0, j1

    inside(diameter, 1e-3, 0.5, "diameter of the grain", "m")
    inside(core, 0.0, 0.999 * diameter, "diameter of the core", "m")
    if end <= room:
        return math.inf
    if start <= end:
        return 0.0
    radius = 0.5 * diameter
    biot = transfer * radius / CONDUCTIVITY

    def off(x: float) -> float:
        return float(x * j1(x) - biot * j0(x))

    eigen = root(off, 1e-6, _FIRST_ZERO, within=1e-9)
    first = 2.0 * j1(eigen) / (eigen * (j0(eigen) ** 2 + j1(eigen) ** 2))
    left = (end - room) / (start - room)
    fourier = max(math.log(first / left), 0.0) / eigen**2
    solid = fourier * radius**2 / DIFFUSIVITY
    return float(solid * (1.0 - (core / diameter) ** 2))


def contact_temperature(mix: float, wall: float, material: str) -> float:
    """Return what the skin of a hot mix takes on at the wall of its mould. [K]

    (e_m T_mix + e_w T_wall) / (e_m + e_w), two half-spaces that touch.

    Parameters
    ----------
    mix, wall : float
        [K]
    material : str
        One of :data:`EFFUSIVITY`.
    """
    e = EFFUSIVITY[material]
    return (MIX_EFFUSIVITY * mix + e * wall) / (MIX_EFFUSIVITY + e)


# ----------------------------------------------------------------------------
# Shrinkage and cracks.

#: Linear thermal expansion times three of liquid and nitrate [1/K]: fitted to syrups;
#: from memory.
LIQUID_EXPANSION, NITRATE_EXPANSION = 3.6e-4, 2.0e-4

#: A binder whose glass transition lies no more than this above the room is rubbery;
#: from the second on it is brittle [K]. Derived from a strain to break of 0.1 to 0.2 %
#: (guess).
RUBBERY, BRITTLE = 10.0, 15.0


def shrinkage(solids: float, start: float, end: float) -> float:
    """Return the share of its volume that a casting loses as it cools.

    Parameters
    ----------
    solids : float
        Volume fraction of grains, 0 to 1.
    start, end : float
        [K]

    Examples
    --------
    >>> round(100.0 * shrinkage(0.5, 392.15, 293.15), 1)
    2.8
    """
    inside(solids, 0.0, 1.0, "volume fraction of grains")
    own = (1.0 - solids) * LIQUID_EXPANSION + solids * NITRATE_EXPANSION
    return own * (start - end)


def crack_word(glass: float, room: float) -> str:
    """Say whether a casting may crack: by the glass transition of its binder. [K]

    Examples
    --------
    >>> [crack_word(300.0 + t, 300.0) for t in (0.0, 12.0, 20.0)]
    ['rubbery', 'between', 'brittle']
    """
    if glass < room + RUBBERY:
        return "rubbery"
    return "brittle" if glass > room + BRITTLE else "between"
