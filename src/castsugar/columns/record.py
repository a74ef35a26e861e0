"""What one column of the table is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column: key, label, unit on the screen, decimals, meaning.

    `key` carries the unit of the stored value. `decimals` are the digits that the
    uncertainty of data and model allows on a screen; None for text.
    """

    key: str
    label: str
    unit: str
    decimals: int | None
    meaning: str
    group: str
