"""Under what the mixes of a search are judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any

import numpy as np

from castsugar.checks import instance, number
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.evaluation import check_options
from castsugar.frozen import dataclass
from castsugar.kitchen.parameters import Kitchen
from castsugar.mix import weighing
from castsugar.mix.basis import basis
from castsugar.mix.blends import put_together
from castsugar.mix.weighing import Lot
from castsugar.motor.hardware import Hardware
from castsugar.thermo.species import SpeciesTable


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settings:
    """Under what the mixes are judged."""

    items: tuple[str, ...]  # catalogue names, in the order of the fractions
    pressure: float = DEFAULT_PRESSURE  # [Pa]
    exit_pressure: float = STANDARD_ATMOSPHERE  # [Pa]
    flow: str = DEFAULT_FLOW
    water_lost: float = 0.0  # share that leaves, where no kitchen decides
    kitchen: Kitchen | None = None
    motor: Hardware | None = None
    #: lots, alternatives: as for mix.blends.blend.
    lots: Mapping[str, Lot] = field(default_factory=dict)
    alternatives: Mapping[str, str] = field(default_factory=dict)
    species: SpeciesTable | None = None

    def __post_init__(self) -> None:
        """Check that they make a flow."""
        number(self.exit_pressure, "exit pressure", "Pa")
        check_options(self.pressure, self.exit_pressure, self.flow)
        weighing.check_water_lost(self.water_lost)
        instance(self.kitchen, Kitchen, "kitchen")
        instance(self.motor, Hardware, "motor")
        instance(self.species, SpeciesTable, "species")

    def basis(self, recipe: Mapping[str, float] | None = None) -> dict[str, Any]:
        """Return what an answer on a recipe rests on; see :mod:`castsugar.mix.basis`.

        Without a recipe it is one on mixes of all items.
        """
        even = dict.fromkeys(self.items, 1.0 / max(len(self.items), 1))
        shares = np.array([[(recipe or even).get(name, 0.0) for name in self.items]])
        return basis(
            put_together(
                self.items, shares, lots=self.lots, alternatives=self.alternatives
            ),
            pressure=self.pressure,
            exit_pressure=self.exit_pressure,
            flow=self.flow,
            species=self.species,
            kitchen=self.kitchen,
            motor=self.motor,
        )
