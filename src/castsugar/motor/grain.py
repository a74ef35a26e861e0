r"""Grains: burning area against web burnt.

A grain recedes at the same rate everywhere on its burning faces, at right angles to
them (common practice, no source), so that its burning area is a function of one
length, the web burnt x. Three kinds keep the protocol :class:`Grain`:
:class:`HollowCylinder`, :class:`CylinderRow` and :class:`AreaTable`.
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import positive
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.numerics import running_integral

#: A typed web that misses the last one by rounding still burns.
_EDGE = 1.0 + 1e-12

#: Just behind the web of a grain that burned out before the others.
_BEHIND = 1.0 + 1e-11


class Grain(Protocol):
    """What the rest of the wing needs of a grain.

    Attributes
    ----------
    web : float
        Web burnt when nothing is left. [m]
    volume : float
        Volume before ignition. [m3]
    port_area : float
        Area of the gas passage before ignition; NaN where unknown. [m2]
    largest_area : float
        Largest burning area. [m2]
    breakpoints : tuple of float
        Webs from 0 to `web` between which the area is smooth and monotone. [m]
    """

    @property
    def web(self) -> float: ...  # noqa: D102
    @property
    def volume(self) -> float: ...  # noqa: D102
    @property
    def port_area(self) -> float: ...  # noqa: D102
    @property
    def largest_area(self) -> float: ...  # noqa: D102
    @property
    def breakpoints(self) -> tuple[float, ...]: ...  # noqa: D102

    def __hash__(self) -> int:
        """Grains are keys of what is computed once for each."""
        ...

    def area(self, web: ArrayLike) -> FloatArray:
        """Return the burning area at a web burnt [m2]; 0 beyond the web."""
        ...

    def volume_left(self, web: ArrayLike) -> FloatArray:
        """Return the volume not yet burnt at a web burnt. [m3]"""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class HollowCylinder:
    r"""Equal hollow cylinders in a row, outer face inhibited.

    With outer diameter D, core diameter d, length L and e burning end faces, one
    segment at web burnt x has

    .. math:: A = \pi (d + 2x)(L - e x) + e \frac{\pi}{4} (D^2 - (d + 2x)^2)

    Attributes
    ----------
    outer_diameter, core_diameter : float
        [m]
    segment_length : float
        Length of one segment. [m]
    segments : int
    burning_ends : int
        End faces of a segment that burn: 2, 1 or 0 (inhibited).

    Raises
    ------
    InputError
        A size that is not positive, a core as wide as the grain, a segment count
        below 1, more than two ends.

    Examples
    --------
    >>> grain = HollowCylinder(
    ...     outer_diameter=0.030, core_diameter=0.010, segment_length=0.050
    ... )
    >>> [round(float(a) * 1e6, 2) for a in grain.area([0.0, 0.005, 0.010])]
    [2827.43, 3298.67, 2827.43]
    """

    outer_diameter: float
    core_diameter: float
    segment_length: float
    segments: int = 1
    burning_ends: int = 2

    def __post_init__(self) -> None:
        positive("grain outer diameter", self.outer_diameter, "m")
        positive("grain core diameter", self.core_diameter, "m")
        positive("grain segment length", self.segment_length, "m")
        if self.core_diameter >= self.outer_diameter:
            raise InputError(
                f"grain core diameter {1e3 * self.core_diameter:g} mm is not below the "
                f"outer diameter {1e3 * self.outer_diameter:g} mm; narrow the core"
            )
        if self.segments < 1 or self.segments != int(self.segments):
            raise InputError(
                f"number of grain segments is {self.segments}; allowed: 1, 2, 3, ..."
            )
        if self.burning_ends not in (0, 1, 2):
            raise InputError(
                f"burning ends of a segment: {self.burning_ends}; allowed: 0, 1 or 2"
            )

    @property
    def web(self) -> float:
        """Return the web: the thinner of wall and length per burning end. [m]"""
        wall = 0.5 * (self.outer_diameter - self.core_diameter)
        if self.burning_ends == 0:
            return wall
        return min(wall, self.segment_length / self.burning_ends)

    @property
    def volume(self) -> float:
        """Return the volume of all segments. [m3]"""
        return float(self.volume_left(0.0))

    @property
    def port_area(self) -> float:
        """Return the cross-section of the core before ignition. [m2]"""
        return 0.25 * math.pi * self.core_diameter**2

    @property
    def breakpoints(self) -> tuple[float, ...]:
        """Return 0, the web of the largest area if it lies inside, and the web. [m]"""
        # dA/dx = 2 pi (L - e d - 3 e x) vanishes at x = (L - e d) / (3 e).
        e, web = self.burning_ends, self.web
        if e:
            top = (self.segment_length - e * self.core_diameter) / (3 * e)
            if 0.0 < top < web:
                return 0.0, top, web
        return 0.0, web

    @property
    def largest_area(self) -> float:
        """Return the largest burning area over the web. [m2]"""
        return float(self.area(self.breakpoints).max())

    def area(self, web: ArrayLike) -> FloatArray:
        """Return the burning area at a web burnt [m2]; 0 beyond the web."""
        x = _webs(web)
        bore, e = self.core_diameter + 2.0 * x, self.burning_ends
        side = math.pi * bore * (self.segment_length - e * x)
        ends = e * 0.25 * math.pi * (self.outer_diameter**2 - bore**2)
        return np.where(x <= self.web * _EDGE, self.segments * (side + ends), 0.0)

    def volume_left(self, web: ArrayLike) -> FloatArray:
        """Return the volume not yet burnt at a web burnt. [m3]"""
        x = np.minimum(_webs(web), self.web)
        bore = self.core_diameter + 2.0 * x
        ring = 0.25 * math.pi * (self.outer_diameter**2 - bore**2)
        left = ring * (self.segment_length - self.burning_ends * x)
        return np.asarray(self.segments * left)

    def free_volume(self, web: ArrayLike) -> FloatArray:
        """Return the gas volume inside the outline of the segments. [m3]"""
        disc = 0.25 * math.pi * self.outer_diameter**2
        whole = self.segments * disc * self.segment_length
        return np.asarray(whole - self.volume_left(web))


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderRow:
    """Unequal hollow cylinders in a row: each burns as if it were alone.

    Raises
    ------
    InputError
        No cylinder, or different burning ends.

    Examples
    --------
    >>> sizes = {"outer_diameter": 0.030, "segment_length": 0.050}
    >>> row = CylinderRow(
    ...     cylinders=tuple(
    ...         HollowCylinder(core_diameter=core, **sizes) for core in (0.010, 0.012)
    ...     )
    ... )
    >>> round(row.volume * 1e6, 3), row.port_area == row.cylinders[0].port_area
    (61.104, True)
    """

    cylinders: tuple[HollowCylinder, ...]  # all with as many burning ends

    def __post_init__(self) -> None:
        if len({one.burning_ends for one in self.cylinders}) != 1:
            raise InputError(
                f"a row of {len(self.cylinders)} grains; give at least 1, all with as "
                "many burning ends"
            )

    @property
    def outer_diameter(self) -> float:
        """Return that of the widest. [m]"""
        return max(one.outer_diameter for one in self.cylinders)

    @property
    def web(self) -> float:
        """Return the longest web. [m]"""
        return max(one.web for one in self.cylinders)

    @property
    def volume(self) -> float:
        """Return the volume of all. [m3]"""
        return math.fsum(one.volume for one in self.cylinders)

    @property
    def port_area(self) -> float:
        """Return the cross-section of the narrowest core before ignition. [m2]"""
        return min(one.port_area for one in self.cylinders)

    @property
    def breakpoints(self) -> tuple[float, ...]:
        """Return where a cylinder burns out, just behind it, and where the sum turns.

        [m]
        """
        # Of those that burn, sum of dA/dx = 2 pi (L - e d - 3 e x) vanishes at the top.
        ends = sorted({one.web for one in self.cylinders})
        found, start = {0.0, *ends}, 0.0
        for end in ends:
            alive = [one for one in self.cylinders if one.web >= end]
            e = alive[0].burning_ends
            parts = [
                o.segments * (o.segment_length - e * o.core_diameter) for o in alive
            ]
            top = (
                math.fsum(parts) / (3 * e * sum(o.segments for o in alive))
                if e
                else 0.0
            )
            found |= {top} if start < top < end else set()
            start = end
            found |= {end * _BEHIND} if end < ends[-1] else set()
        return tuple(sorted(found))

    @property
    def largest_area(self) -> float:
        """Return the largest burning area over the web. [m2]"""
        return float(self.area(self.breakpoints).max())

    def area(self, web: ArrayLike) -> FloatArray:
        """Return the burning area at a web burnt [m2]; 0 beyond the web."""
        return np.asarray(sum(one.area(web) for one in self.cylinders))

    def volume_left(self, web: ArrayLike) -> FloatArray:
        """Return the volume not yet burnt at a web burnt. [m3]"""
        return np.asarray(sum(one.volume_left(web) for one in self.cylinders))


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaTable:
    """A grain of any shape: burning area against web burnt, straight between points.

    Attributes
    ----------
    webs : tuple of float
        Rising, from 0. [m]
    areas : tuple of float
        Burning area at each web, 0 or more. [m2]
    port_area : float
        Smallest gas passage before ignition, NaN where unknown. [m2]

    Raises
    ------
    InputError
        Fewer than 2 points, unequal lengths, webs that do not rise from 0, a
        negative area, no area at all.

    Examples
    --------
    >>> AreaTable(webs=(0.0, 0.01), areas=(0.002, 0.004)).volume
    3e-05
    """

    webs: tuple[float, ...]
    areas: tuple[float, ...]
    port_area: float = math.nan

    def __post_init__(self) -> None:
        webs, areas = np.asarray(self.webs, float), np.asarray(self.areas, float)
        if webs.ndim != 1 or webs.shape != areas.shape or len(webs) < 2:
            raise InputError(
                f"area table has {webs.size} webs and {areas.size} areas; "
                "give at least 2 points, one area for each web"
            )
        if not np.all(np.isfinite(webs)) or webs[0] != 0 or np.any(np.diff(webs) <= 0):
            raise InputError(
                f"webs of the area table ({_first(webs)}) must rise, point by point, "
                "from 0"
            )
        if not np.all(np.isfinite(areas)) or np.any(areas < 0) or not areas.any():
            raise InputError(
                f"areas of the area table ({_first(areas)}) must be 0 or more, "
                "and not all 0"
            )
        if self.port_area <= 0:
            raise InputError(
                f"port area of the area table is {self.port_area:g} m2; it must be "
                "above 0, or left out"
            )

    @property
    def web(self) -> float:
        """Return the last web. [m]"""
        return float(self.webs[-1])

    @property
    def volume(self) -> float:
        """Return the integral of area over web. [m3]"""
        return float(np.trapezoid(self.areas, self.webs))

    @property
    def breakpoints(self) -> tuple[float, ...]:
        """Return the webs of the table. [m]"""
        return tuple(float(x) for x in self.webs)

    @property
    def largest_area(self) -> float:
        """Return the largest area of the table. [m2]"""
        return float(max(self.areas))

    def area(self, web: ArrayLike) -> FloatArray:
        """Return the burning area at a web burnt [m2]; 0 beyond the web."""
        return np.asarray(np.interp(_webs(web), self.webs, self.areas, right=0.0))

    def volume_left(self, web: ArrayLike) -> FloatArray:
        """Return the volume not yet burnt at a web burnt. [m3]"""
        x = np.minimum(_webs(web), self.web)
        webs, areas = np.asarray(self.webs, float), np.asarray(self.areas, float)
        burnt = running_integral(webs, areas)
        i = np.clip(np.searchsorted(webs, x, side="right") - 1, 0, len(webs) - 2)
        part = 0.5 * (areas[i] + np.interp(x, webs, areas)) * (x - webs[i])
        return np.asarray(burnt[-1] - burnt[i] - part)


def _webs(web: ArrayLike) -> FloatArray:
    x = np.asarray(web, dtype=float)
    if np.any(x < 0):
        raise InputError(f"web burnt is {x.min():g} m; it must be 0 or more")
    return x


def _first(values: FloatArray) -> str:
    shown = ", ".join(f"{v:g}" for v in values[:4])
    return shown + (", ..." if values.size > 4 else "")
