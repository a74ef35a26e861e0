"""A grain with one size off: what the doubt of a ruler does to a firing."""

from __future__ import annotations

from dataclasses import replace

from castsugar.errors import InputError
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder

#: Standard uncertainty of a size of a grain where none is stated; assumed. [m]
SIZE_DOUBT = 1e-4


def rivals_of(grain: Grain, size_u: float = SIZE_DOUBT) -> dict[str, Grain]:
    """Return grains that differ from `grain` by one standard uncertainty each.

    Parameters
    ----------
    grain : Grain
    size_u : float
        Standard uncertainty of every size: diameters and length of a hollow cylinder,
        the web of an area table, and by the same part the slope of its areas. [m]

    Raises
    ------
    InputError
        A negative uncertainty, or one as large as the web.
    """
    if not 0.0 <= size_u < grain.web:
        raise InputError(
            f"uncertainty of the sizes of the grain is {1e3 * size_u:g} mm; give 0 or "
            f"more, below the web of {1e3 * grain.web:.3g} mm"
        )
    if size_u == 0.0:
        return {}
    if isinstance(grain, HollowCylinder):
        length = grain.segment_length + size_u
        return {
            "outer diameter": replace(
                grain, outer_diameter=grain.outer_diameter + size_u
            ),
            "core diameter": replace(grain, core_diameter=grain.core_diameter + size_u),
            "length of a segment": replace(grain, segment_length=length),
        }
    if isinstance(grain, AreaTable):
        part = size_u / grain.web
        tilt = [1.0 + part * (2.0 * x / grain.web - 1.0) for x in grain.webs]
        areas = tuple(a * t for a, t in zip(grain.areas, tilt, strict=True))
        return {
            "web": replace(grain, webs=tuple((1.0 + part) * x for x in grain.webs)),
            "shape of the area": replace(grain, areas=areas),
        }
    return {}
