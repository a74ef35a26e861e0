"""What pressure a mix makes in the user's hardware."""

from __future__ import annotations

from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_law import (
    Band,
    BurnLaw,
    borrowed_law,
    borrowed_laws,
    burn_rate,
)
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.case import Allowable, Case, Material, allowable_pressure
from castsugar.motor.fired_mixes import Firing, firings
from castsugar.motor.grain import AreaTable, HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.peak_pressure import Spread

__all__ = [
    "Allowable",
    "AreaTable",
    "Asked",
    "Band",
    "BurnLaw",
    "BurnModel",
    "Burned",
    "Case",
    "Firing",
    "Hardware",
    "HollowCylinder",
    "Material",
    "Spread",
    "allowable_pressure",
    "borrowed_law",
    "borrowed_laws",
    "burn_rate",
    "firings",
]
