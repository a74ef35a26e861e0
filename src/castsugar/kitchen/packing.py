"""How densely grains pack: dry and wet, loose and tapped, coarse with fine."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, inside
from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# The grind of a powder: how openly it lies when dry.


@dataclass(frozen=True, slots=True)
class Grind:
    """What a grind says of a powder."""

    size: float | None  # median size of the grains; None: nothing is known of it [m]
    #: Packing of the dry tapped powder over that of the wet grains, and its standard
    #: deviation.
    dry: float
    spread: float


#: As the bench file calls them. Guesses: cohesion holds fine dry powder open.
GRINDS = {
    "not stated": Grind(None, 0.90, 0.08),
    "above 100 um": Grind(100e-6, 0.97, 0.03),
    "20-50 um": Grind(35e-6, 0.88, 0.06),
    "milled": Grind(10e-6, 0.80, 0.08),
}

#: Sizes [m] and spreads of :data:`GRINDS` between which a stated size lies.
_SPREADS = ((10e-6, 35e-6, 100e-6), (0.08, 0.06, 0.03))

#: Grains below this size clot: no model of it. [m]
CLOTS = 20e-6


def dry_over_wet(size: ArrayLike) -> FloatArray:
    """Return the packing of a dry tapped powder over that of the wet grains.

    1 - exp(-0.63 d^0.37), d the median in micrometres: the shape of Yu, Bridgwater &
    Burbidge (1997), from memory; the numbers are a guess. For dry powder only.

    Parameters
    ----------
    size : array_like
        1 to 1000 um. [m]

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> [round(float(dry_over_wet(1e-6 * d)), 2) for d in (5, 10, 20, 50, 100)]
    [0.68, 0.77, 0.85, 0.93, 0.97]
    """
    micrometres = 1e6 * np.asarray(size, dtype=float)
    d = inside(micrometres, 1.0, 1000.0, "median size of the grains", "um")
    return 1.0 - np.exp(-0.63 * d**0.37)


def grind_of_size(size: float) -> Grind:
    """Return the grind of a powder of a stated median size. [m]

    Raises
    ------
    ValidityError
    """
    spread = np.interp(np.log(size), np.log(_SPREADS[0]), _SPREADS[1])
    return Grind(size, float(dry_over_wet(size)), float(spread))


# ----------------------------------------------------------------------------
# Coarse grains with fine ones between them.

#: Median size of powdered sugar, 10-30 um (from memory). [m]
POWDERED = 25e-6

#: Voids over those of the coarse grains alone: share of the fines in the volume of all
#: grains, ratio of the sizes, table. Both sizes log-normal, ln of coarse and fine +-0.6
#: and +-0.5; computed by mapping spheres to rods on a line (Farr & Groot 2009, from
#: memory), ideally mixed.
_SHARES = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 1.0)
_RATIOS = (1.0, 2.0, 4.0, 8.0)
_VOIDS = (
    (1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0),
    (1.0, 0.99, 0.98, 0.97, 0.97, 0.97, 1.0),
    (1.0, 0.93, 0.87, 0.79, 0.78, 0.81, 1.0),
    (1.0, 0.87, 0.74, 0.54, 0.60, 0.67, 1.0),
)


def voids_with_fines(share: ArrayLike, ratio: float) -> FloatArray:
    """Return the voids with fines over those of the coarse grains alone.

    Linear between the points of a computed table, in the share and in the logarithm of
    the ratio; 1 where the fines are no finer, as for a ratio of 8 above it. Of ideally
    mixed spheres: take half of the gain, and the other half as its doubt.

    Parameters
    ----------
    share : array_like
        Of the fines in the volume of all grains, 0 to 1.
    ratio : float
        Median size of the coarse grains over that of the fines.

    Examples
    --------
    >>> round(float(voids_with_fines(0.2, 4.0)), 3)
    0.79
    """
    columns = np.transpose(_VOIDS)
    row = [np.interp(np.log(ratio), np.log(_RATIOS), column) for column in columns]
    return np.asarray(np.interp(np.asarray(share, dtype=float), _SHARES, row))


# ----------------------------------------------------------------------------
# A settled bed of grains: loose, tapped, and what shear keeps apart.

#: Packing of a tapped bed over the mean of loose and tapped, where a brine has not told
#: it: 0.63 over 0.60, common practice, no source.
TAPPED = 1.05


#: Settled bed against sheared slurry (a guess), and reading one run over the packing:
#: 0.7 ml of 46 twice, their mean; 0.1 g and 1 K of solubility once (computed).
_SHEARED, _READ = 0.02, 0.0125


def packing_of_bed(loose: float, tapped: float, runs: int = 1) -> tuple[float, float]:
    """Return the packing of sheared grains from settled beds, and its uncertainty.

    The mean of both: of spheres it gives 0.595, jammed under shear they are at 0.585
    (from memory).

    Examples
    --------
    >>> [round(v, 3) for v in packing_of_bed(0.547, 0.618)]
    [0.583, 0.021]
    """
    mean = 0.5 * (loose + tapped)
    return mean, float(np.hypot(_SHEARED, _READ * mean / np.sqrt(runs)))
