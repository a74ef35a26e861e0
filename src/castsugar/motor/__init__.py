"""What pressure a mix makes in the user's hardware."""

from __future__ import annotations

from castsugar.motor.burn_law import BurnLaw, borrowed_law, borrowed_laws, burn_rate
from castsugar.motor.burn_model import MeasuredMix, blend_law
from castsugar.motor.case import Case, Material, allowable_pressure
from castsugar.motor.grain import AreaTable, HollowCylinder
from castsugar.motor.hardware import BurnKnowledge, Hardware
from castsugar.motor.peak_pressure import Spread
from castsugar.motor.pressure_table import Firing, firings

__all__ = [
    "AreaTable",
    "BurnKnowledge",
    "BurnLaw",
    "Case",
    "Firing",
    "Hardware",
    "HollowCylinder",
    "Material",
    "MeasuredMix",
    "Spread",
    "allowable_pressure",
    "blend_law",
    "borrowed_law",
    "borrowed_laws",
    "burn_rate",
    "firings",
]
