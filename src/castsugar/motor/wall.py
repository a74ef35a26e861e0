r"""Stress in the wall of a closed cylinder under inner pressure p.

With inner diameter d, outer diameter D and wall t = (D - d) / 2, the hoop stress is

* "inner diameter" (thin wall): :math:`p d / (2 t)` (Gere & Goodno, *Mechanics of
  Materials*, ch. 8, with the inner radius);
* "mean diameter" (thin wall): :math:`p (d + t) / (2 t)` (Shigley, *Mechanical
  Engineering Design*, ch. 3; the pipe formula of ASTM D1785 is the same one turned
  round);
* "thick wall", at the bore: :math:`p (D^2 + d^2) / (D^2 - d^2)` (Lamé; Shigley, ch. 3).

The chapters are from memory. Pressures here are those above the outside.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.checks import one_of

#: Accepted conventions of the hoop stress.
CONVENTIONS: Final = ("mean diameter", "inner diameter", "thick wall")

#: Wall over inner diameter above which only the thick wall counts: a radius of 10
#: walls (Gere & Goodno, ch. 8, from memory). There the inner-diameter formula is 5 %
#: low, the mean-diameter one 0.2 %.
THIN_WALL_LIMIT: Final = 0.05


def is_thick(inner_diameter: ArrayLike, thickness: ArrayLike) -> NDArray[np.bool_]:
    """Return where a wall is too thick for the thin-wall formulas."""
    ratio = np.asarray(thickness, float) / np.asarray(inner_diameter, float)
    return np.asarray(ratio > THIN_WALL_LIMIT)


def hoop_stress(
    pressure: ArrayLike,
    inner_diameter: ArrayLike,
    thickness: ArrayLike,
    *,
    convention: str = "mean diameter",
) -> FloatArray:
    """Return the largest hoop stress. [Pa]

    Parameters
    ----------
    pressure : array_like
        Above the outside. [Pa]
    inner_diameter, thickness : array_like
        [m]
    convention : str
        One of :data:`CONVENTIONS`, taken as it is: see :func:`is_thick`.

    Raises
    ------
    InputError
        An unknown convention.

    Examples
    --------
    >>> float(hoop_stress(1600.0, 7.0, 0.320, convention="inner diameter"))
    17500.0
    """
    one_of("stress convention", convention, CONVENTIONS)
    p, d = np.asarray(pressure, float), np.asarray(inner_diameter, float)
    t = np.asarray(thickness, float)
    if convention == "thick wall":
        outer = d + 2.0 * t
        return np.asarray(p * (outer**2 + d**2) / (outer**2 - d**2))
    width = d + t if convention == "mean diameter" else d
    return np.asarray(p * width / (2.0 * t))


def axial_stress(
    pressure: ArrayLike, inner_diameter: ArrayLike, thickness: ArrayLike
) -> FloatArray:
    """Return the thin-wall stress along a cylinder with closed ends, p d / 4 t. [Pa]"""
    p, d = np.asarray(pressure, float), np.asarray(inner_diameter, float)
    return np.asarray(p * d / (4.0 * np.asarray(thickness, float)))


def shear_stress(
    pressure: ArrayLike,
    inner_diameter: ArrayLike,
    thickness: ArrayLike,
    *,
    convention: str = "mean diameter",
) -> FloatArray:
    """Return the largest shear stress at the outer face, half the hoop stress. [Pa]

    Gere & Goodno, ch. 8: on planes at 45 degrees, with no stress through the wall.
    """
    stress = hoop_stress(pressure, inner_diameter, thickness, convention=convention)
    return np.asarray(0.5 * stress)


def cylinder_wall_stress(
    pressure: ArrayLike, outer_diameter: ArrayLike, inner_diameter: ArrayLike
) -> FloatArray:
    """Return the wall stress of 49 CFR 178.46: P (1.3 D2 + 0.4 d2) / (D2 - d2). [Pa]

    The rule for seamless aluminium gas cylinders; for comparison, no approval.
    """
    p, big = np.asarray(pressure, float), np.asarray(outer_diameter, float) ** 2
    small = np.asarray(inner_diameter, float) ** 2
    return np.asarray(p * (1.3 * big + 0.4 * small) / (big - small))
