"""The open database: records, loader and validation."""

from __future__ import annotations

from castsugar.database.burn_laws import BurnLawRecord
from castsugar.database.load import Database, load_database
from castsugar.database.locate import data_folder
from castsugar.database.records import (
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
