"""Grains in the liquid: volumes, how they pack, viscosity of the suspension."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray, inside
from castsugar.constants import ICE_POINT

#: Densities of crystals [kg/m3]: CRC handbook (nitrate and chloride from memory of it).
NITRATE, SUCROSE_DENSITY, CHLORIDE = 2109.0, 1580.5, 1988.0

#: Apparent specific volumes at 20 C [m3/kg]: fitted so that syrup of 77 % and sucrose
#: of 67 and 83 % have their densities; dissolved nitrate from memory.
DISSOLVED_SUCROSE, SYRUP_SOLIDS, BOUND_WATER = 0.645e-3, 0.640e-3, 0.95e-3
DISSOLVED_NITRATE = 0.45e-3

#: Thermal expansion of sugars and water in the liquid [1/K], fitted likewise.
SUGAR_EXPANSION, WATER_EXPANSION = 3.0e-4, 5.0e-4

#: Flow classes from thin to stiff: name, largest viscosity [Pa s], largest solids over
#: packing, meaning. Limits from reference fluids of pump and food charts (they scatter
#: by a factor of 2) and from filling times of a small tube.
CLASSES = (
    ("runny", 3.0, 0.85, "pours like warm syrup, lets go of its air"),
    ("pours", 10.0, 0.88, "pours like honey, small bubbles stay"),
    ("thick", 60.0, 0.95, "spoon it in and tap or vibrate"),
    ("tamp", 300.0, 1.0, "packs under a hand rod"),
    ("no flow", np.inf, np.inf, "needs pressing; voids likely"),
)
#: Fluids of a kitchen near room temperature, [Pa s] from, to: pump and food charts,
#: which scatter by a factor of 2 (from memory).
LIKE = (
    (0.9, 2.0, "glycerine"),
    (2.0, 10.0, "honey"),
    (10.0, 25.0, "chocolate syrup"),
    (25.0, 100.0, "ketchup"),
    (100.0, 300.0, "peanut butter"),
)
CLASS_NAMES = tuple(name for name, *_ in CLASSES)

#: Classes up to this one pour.
POURS = CLASS_NAMES.index("pours")

#: From this viscosity on nothing pours [Pa s].
POURS_BELOW = CLASSES[POURS][1]


#: Temperature of the volumes [K].
MEASURED_AT = 20.0 + ICE_POINT


def expansions(temperature: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the factors on the volumes of sugars and of water since 20 C."""
    warm = np.asarray(temperature, dtype=float) - MEASURED_AT
    return 1.0 + SUGAR_EXPANSION * warm, 1.0 + WATER_EXPANSION * warm


def syrup_density(solids: ArrayLike, temperature: ArrayLike) -> FloatArray:
    """Return the density of a glucose syrup from its dry solids. [kg/m3]

    Volumes of solids and water added.

    Parameters
    ----------
    solids : array_like
        Mass fraction of dry solids, 0.5 to 0.95.
    temperature : array_like
        [K]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> round(float(syrup_density(0.77, 293.15)), 1)
    1405.9
    """
    w = inside(solids, 0.5, 0.95, "dry solids of the syrup")
    sugar, water = expansions(temperature)
    return 1.0 / (w * SYRUP_SOLIDS * sugar + (1.0 - w) * BOUND_WATER * water)


def log_thickening(crowding: ArrayLike, exponent: ArrayLike) -> FloatArray:
    """Return ln of how much grains thicken a liquid: -n ln(1 - r), infinite from r = 1.

    r is solids fraction over maximum packing. Nine published laws (Maron-Pierce,
    Krieger-Dougherty, Chong, Eilers, Boyer, Morris and Boulay; all from memory) lie
    about n = 1.87 with a standard deviation of 0.30, within 4 % for r of 0.3 to 0.97.
    Above 0.85 expect a yield stress.

    Raises
    ------
    ValidityError
        For r below 0.

    Examples
    --------
    >>> [round(float(np.exp(log_thickening(r, 1.87))), 1) for r in (0.5, 0.8, 0.9)]
    [3.7, 20.3, 74.1]
    """
    r = inside(crowding, 0.0, np.inf, "solids over packing")
    with np.errstate(divide="ignore"):
        return np.asarray(exponent) * -np.log(np.maximum(1.0 - r, 0.0))


def packing_of_powder(bulk_density: float, crystal_density: float = NITRATE) -> float:
    """Return the maximum packing from a tapped bulk density.

    Parameters
    ----------
    bulk_density, crystal_density : float
        [kg/m3]

    Raises
    ------
    ValidityError
        If the ratio is not that of a powder, 0.35 to 0.80.

    Examples
    --------
    >>> round(packing_of_powder(1265.0), 2)
    0.6
    """
    ratio = bulk_density / crystal_density
    inside(ratio, 0.35, 0.80, "tapped bulk density over crystal density")
    return ratio


def flow_class(viscosity: ArrayLike, crowding: ArrayLike) -> NDArray[np.int8]:
    """Return the index into :data:`CLASSES`, from viscosity and crowding.

    Examples
    --------
    >>> CLASS_NAMES[int(flow_class(3.8, 0.73))]
    'pours'
    """
    eta, r = np.asarray(viscosity), np.asarray(crowding)
    index = np.zeros(np.broadcast_shapes(eta.shape, r.shape), dtype=np.int8)
    for _, thickest, fullest, _ in CLASSES[:-1]:
        index += (eta > thickest) | (r >= fullest)
    return index


def pours(
    viscosity: ArrayLike, crowding: ArrayLike, thickest: float = POURS_BELOW
) -> BoolArray:
    """Say what pours: no thicker than `thickest` [Pa s], and not crowded.

    With :data:`POURS_BELOW` the classes up to "pours" of :func:`flow_class`.

    Examples
    --------
    >>> bool(pours(3.8, 0.73)), bool(pours(3.8, 0.90))
    (True, False)
    """
    crowded = np.asarray(crowding) >= CLASSES[POURS][2]
    return np.asarray((np.asarray(viscosity) <= thickest) & ~crowded)


#: The yield stress by a spatula is known within this factor (common practice).
SPATULA = 1.5


def yield_stress(layer: float, density: float) -> float:
    """Return the yield stress of a mix of which a layer stays on an upright spatula.

    rho g h, h the thickest that stays, on the inert dummy. A mould of a bore of radius
    R wants less than rho g R / 2: it is wider than four such layers. Above a crowding
    of 0.9, or with fines below 10 um, 10 to 1000 Pa; nothing predicts it. [Pa]

    Examples
    --------
    >>> round(yield_stress(3e-3, 1750.0)), round(yield_stress(10e-3 / 2, 1750.0))
    (51, 86)
    """
    return density * 9.80665 * layer


def like(viscosity: float) -> str:
    """Return a fluid that is about as thick; empty where the charts name none.

    Examples
    --------
    >>> like(9.0), like(21.0), like(5000.0)
    ('honey', 'chocolate syrup', '')
    """
    return next((name for low, high, name in LIKE if low <= viscosity < high), "")
