"""The limits of a bench file, as numbers."""

from __future__ import annotations

import math
from typing import Any

from castsugar import units
from castsugar.columns import COLUMN
from castsugar.motor.hardware import Hardware
from castsugar.workshop.bench import Bench
from castsugar.workshop.schema import Place
from castsugar.workshop.search_keys import CASE


def stated_limits(bench: Bench, motor: Hardware | None) -> dict[str, dict[str, Any]]:
    """Return the limits of a bench file, what the case may hold in place of its word.

    Parameters
    ----------
    bench : Bench
    motor : Hardware or None
        The motor of the file.

    Returns
    -------
    dict of str to dict
        Column to `at_most`, `at_least` (in its unit) and `probability`.

    Raises
    ------
    InputError
        For "case" without a case.
    """
    return {column: _limit(bench, column, motor) for column in bench.limits}


def _limit(bench: Bench, column: str, motor: Hardware | None) -> dict[str, Any]:
    """Return a limit with what the case may hold in the place of its word."""
    limit = dict(bench.limits[column])
    if limit["at_most"] == CASE:
        allowed = math.nan if motor is None else motor.allowable
        if math.isnan(allowed):
            place = Place(bench.path, bench.text, f"limits.{column}")
            raise place.fail(
                "at_most", f"is {CASE!r}, but no case is known; add [motor.case]"
            )
        limit["at_most"] = units.convert(allowed, "pressure", COLUMN[column].unit)
    return limit
