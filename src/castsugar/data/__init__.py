"""The open database: records, loader and validation."""

from __future__ import annotations

from castsugar.data.load import BurnLawRecord, Database, data_folder, load_database
from castsugar.data.records import (
    Alternative,
    Caution,
    Ingredient,
    Premix,
    Source,
    Syrup,
)

__all__ = [
    "Alternative",
    "BurnLawRecord",
    "Caution",
    "Database",
    "Ingredient",
    "Premix",
    "Source",
    "Syrup",
    "data_folder",
    "load_database",
]
