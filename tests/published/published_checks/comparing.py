"""Our value beside a published one, whatever evaluates it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from published_checks.rows import Row

#: Quantity -> (unit, function of the conditions).
Evaluators = Mapping[str, tuple[str, Callable[..., float]]]


def value_of(row: Row, evaluators: Evaluators) -> float:
    """Return our value for a row, in the row's unit.

    Raises
    ------
    ValueError
        If the row has another unit than its quantity, or a condition that the
        evaluation did not look at.
    """
    unit, function = evaluators[row.quantity]
    if unit != row.unit:
        raise ValueError(f"{row.id}: unit is {row.unit!r}, not {unit!r}")
    given = row.given()
    value = function(given)
    if given.unused():
        raise ValueError(f"{row.id}: conditions {given.unused()} were not looked at")
    return value


def compared(
    row: Row, evaluators: Evaluators, disputed: Mapping[str, str]
) -> dict[str, Any]:
    """Return our value beside the published one of a row."""
    value = value_of(row, evaluators)
    return {
        "file": row.file,
        "case": row.case,
        "quantity": row.quantity,
        "published": row.value,
        "ours": value,
        "unit": row.unit,
        "difference": value - row.value,
        "tolerance": row.tolerance,
        "inside": abs(value - row.value) <= row.tolerance,
        "disputed": disputed.get(row.id, ""),
        "provenance": row.provenance,
        "source": row.source,
        "locator": row.locator,
    }
