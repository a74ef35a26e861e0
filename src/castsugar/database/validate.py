"""Checks on data rows that concern more than one cell."""

from __future__ import annotations

from collections.abc import Container, Mapping

from castsugar.constants import ELEMENTS
from castsugar.database.records import Composition
from castsugar.database.table import Row
from castsugar.errors import DataError, nearest_names


def source(row: Row, column: str, sources: Mapping[str, object]) -> str:
    """Return the source key in a cell; it must be a row of ``sources.csv``."""
    key = row.required(column)
    if key not in sources:
        near = nearest_names(key, sources, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise row.fail(column, f"is not a key in sources.csv{hint}")
    return key


def unique(
    taken: Container[str], name: str, owner: str, row: Row | None = None
) -> None:
    """Refuse a name that is already taken."""
    if name in taken:
        place = f"{row.file} line {row.line}: " if row else "species_data: "
        raise DataError(f"{place}the name {name!r} (of {owner!r}) is used twice")


def sums_to_one(row: Row, column: str, total: float) -> None:
    """Check that fractions sum to 1 within 1e-6."""
    if abs(total - 1.0) > 1e-6:
        raise DataError(
            f"{row.file} line {row.line}, column {column}: the fractions sum to "
            f"{total:.7g}; they must sum to 1 within 1e-6"
        )


def elements(row: Row, composition: Composition) -> None:
    """Check that a formula uses only the elements of this family."""
    for element, _ in composition:
        if element not in ELEMENTS:
            raise row.fail(
                "formula", f"has element {element}; allowed: {' '.join(ELEMENTS)}"
            )
