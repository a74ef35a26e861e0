"""What a mix holds before anything leaves: water of a line, room in the pan."""

from __future__ import annotations

import math

from castsugar.mix.mix import Mix
from castsugar.workshop.weigh.equipment import FILL, Equipment


def water_of(mix: Mix, item: str, share: float) -> float:
    """Return the mass fraction of water in an item as weighed, given its share."""
    water = math.fsum(
        c.mass_fraction
        for c in mix.weighed
        if c.origin == item and c.ingredient.role == "water"
    )
    return min(water / share, 1.0)


def density_as_weighed(mix: Mix) -> float:
    """Return the density before water leaves, volumes additive. [kg/m3]"""
    volume = math.fsum(c.mass_fraction / c.ingredient.density for c in mix.weighed)
    return 1.0 / volume


def pan_holds(mix: Mix, equipment: Equipment) -> float:
    """Return the mass that fills the pan as far as it should be; NaN unknown. [kg]"""
    if equipment.volume is None:
        return math.nan
    return FILL * equipment.volume * density_as_weighed(mix)
