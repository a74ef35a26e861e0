"""COLUMNS: the single list of what a row of the table holds."""

from __future__ import annotations

from castsugar.columns.burning import BURNING
from castsugar.columns.cooking import COOKING
from castsugar.columns.driving import DRIVING
from castsugar.columns.judging import DOUBT, IDENTITY, VERDICT
from castsugar.columns.record import Column

__all__ = ["COLUMN", "COLUMNS", "DOUBTS", "Column"]

#: In the order in which a row holds them.
COLUMNS: tuple[Column, ...] = (
    *IDENTITY,
    *BURNING,
    *COOKING,
    *DRIVING,
    *DOUBT,
    *VERDICT,
)

COLUMN = {c.key: c for c in COLUMNS}

#: Column of a value -> column of its standard uncertainty.
DOUBTS = {
    "flame_temperature_K": "flame_temperature_u_K",
    "characteristic_velocity_m_s": "characteristic_velocity_u_m_s",
    "specific_impulse_s": "specific_impulse_u_s",
}
