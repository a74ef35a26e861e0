"""Grains as calipers and scale found them: how dense, and the motor of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import cast

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import positive
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.firing.law_doubts import SIZE_DOUBT, rivals_of
from castsugar.motor.grain import CylinderRow, HollowCylinder
from castsugar.motor.hardware import Hardware

#: A grain denser than this share of the density without voids was mismeasured: nothing
#: is denser, and calipers and scale are better than that. Common practice, no source.
DENSEST = 1.01


@dataclass(frozen=True, slots=True, kw_only=True)
class RealGrain:
    """A hollow cylinder as measured.

    Raises
    ------
    InputError
        For a mass that is not positive.
    """

    shape: HollowCylinder  # one segment
    mass: float  # [kg]

    def __post_init__(self) -> None:
        positive("grain mass", self.mass, "kg")

    @property
    def density(self) -> float:
        """Return mass over volume. [kg/m3]"""
        return self.mass / self.shape.volume

    def log_volume_u(self, size_u: float) -> float:
        """Return the standard uncertainty of ln volume, sizes independent. [-]"""
        volume = self.shape.volume
        rivals = rivals_of(self.shape, size_u).values()
        return math.hypot(*(math.log(rival.volume / volume) for rival in rivals))


@dataclass(frozen=True, slots=True, kw_only=True)
class RealGrains:
    """All grains that are fired together, as measured.

    Raises
    ------
    InputError
        Without a grain, and for one that is denser than it can be.
    """

    grains: tuple[RealGrain, ...]
    solid: float  # density of their mix as cast, without voids [kg/m3]
    #: Standard uncertainty of every size [m]; of every mass. [kg]
    size_u: float = SIZE_DOUBT
    mass_u: float = 5e-5

    def __post_init__(self) -> None:
        if not self.grains:
            raise InputError("no grain was measured; give at least one")
        positive("density without voids", self.solid, "kg/m3")
        for number, (grain, share) in enumerate(
            zip(self.grains, self.shares, strict=True), 1
        ):
            if share > DENSEST:
                raise InputError(
                    f"grain {number} would be {100 * share:.4g} % as dense as its mix "
                    f"without voids ({self.solid:.4g} kg/m3); at most "
                    f"{100 * DENSEST:g} %: a size or the mass is wrong; measure again: "
                    f"{' or '.join(self._suspects(grain))} alone would make 100 %"
                )

    def _suspects(self, grain: RealGrain) -> Iterator[str]:
        """Yield what each number would have to be for a grain without voids."""
        shape, volume = grain.shape, grain.mass / self.solid
        area = volume / (0.25 * math.pi * shape.segment_length)
        outer, core = shape.outer_diameter, shape.core_diameter
        yield f"outer {1e3 * math.sqrt(area + core**2):.4g} mm"
        if area < outer**2:
            yield f"core {1e3 * math.sqrt(outer**2 - area):.4g} mm"
        length = shape.segment_length * volume / shape.volume
        yield f"length {1e3 * length:.4g} mm"
        yield f"mass {1e3 * self.solid * shape.volume:.4g} g"

    @property
    def row(self) -> CylinderRow:
        """Return them as they burn together."""
        return CylinderRow(cylinders=tuple(one.shape for one in self.grains))

    @property
    def mass(self) -> float:
        """Return the mass of all. [kg]"""
        return math.fsum(one.mass for one in self.grains)

    @property
    def shares(self) -> FloatArray:
        """Return the density of each over that without voids, (grains,)."""
        return np.array([one.density for one in self.grains]) / self.solid

    @property
    def shares_u(self) -> FloatArray:
        """Return the standard uncertainty of each share, (grains,)."""
        scale = [self.mass_u / one.mass for one in self.grains]
        sizes = [one.log_volume_u(self.size_u) for one in self.grains]
        return self.shares * np.hypot(scale, sizes)

    @property
    def share(self) -> float:
        """Return the density of all over that without voids."""
        return self.mass / (self.row.volume * self.solid)

    @property
    def share_u(self) -> float:
        """Return the standard uncertainty of that."""
        volume = self.row.volume
        sizes = [
            one.log_volume_u(self.size_u) * one.shape.volume / volume
            for one in self.grains
        ]
        return self.share * math.hypot(*sizes, self.log_mass_u)

    @property
    def log_mass_u(self) -> float:
        """Return the standard uncertainty of ln of the mass of all. [-]"""
        return self.mass_u * math.sqrt(len(self.grains)) / self.mass

    @property
    def lighter(self) -> float:
        """Return how much less dense the lightest is than its sisters; NaN alone."""
        each = np.sort(self.shares)
        if len(each) < 2:
            return math.nan
        return 1.0 - float(each[0]) * (len(each) - 1) / math.fsum(each[1:])

    @property
    def log_area_u(self) -> float:
        """Return the standard uncertainty of ln of the largest area over volume. [-]

        The gas that a motor makes goes with area times density, so with area times mass
        over volume: what a size does to both is counted once.
        """
        row = self.row
        usual = math.log(row.largest_area / row.volume)
        moved = []
        for place, shape in enumerate(row.cylinders):
            for rival in rivals_of(shape, self.size_u).values():
                cylinders = list(row.cylinders)
                cylinders[place] = cast(HollowCylinder, rival)
                other = CylinderRow(cylinders=tuple(cylinders))
                moved.append(math.log(other.largest_area / other.volume) - usual)
        return math.hypot(*moved)

    def loaded(self, hardware: Hardware) -> Hardware:
        """Return a motor with these grains in it, and their doubt in place of its own.

        The density counts as no more than that without voids; its doubt is that of the
        scale, and all that sizes do is in the doubt of the area.

        Raises
        ------
        InputError
            For grains that do not fit.
        """
        doubt = {"density": self.log_mass_u, "area": self.log_area_u}
        return replace(
            hardware,
            grain=self.row,
            density_ratio=min(self.share, 1.0),
            spread=replace(hardware.spread, **doubt),
        )
