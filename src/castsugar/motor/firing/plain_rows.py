"""Results of a firing as plain rows: units in the names."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from castsugar.motor.firing.budget import Measured

#: Units of the results of a firing in names, and their sizes; none: 1.
_UNITS = {
    "burn_time": ("s", 1.0),
    "peak_pressure": ("MPa", 1e-6),
    "mean_pressure": ("MPa", 1e-6),
    "pressure_integral": ("MPa_s", 1e-6),
    "characteristic_velocity": ("m_s", 1.0),
    "total_impulse": ("N_s", 1.0),
    "mean_thrust": ("N", 1.0),
    "peak_thrust": ("N", 1.0),
    "specific_impulse": ("s", 1.0),
}


def result_rows(results: Mapping[str, Measured]) -> list[dict[str, Any]]:
    """Return one row a result; a lower limit has no uncertainty and no interval."""
    return [_result(name, measured) for name, measured in results.items()]


def _result(name: str, measured: Measured) -> dict[str, Any]:
    """Return a result as one row, its unit in its name."""
    unit, scale = _UNITS.get(name, ("", 1.0))
    numbers = (measured.u, *measured.interval)
    if measured.at_least:
        numbers = (math.nan,) * 3
    u, low, high = (scale * v for v in numbers)
    return {
        "result": f"{name}_{unit}".rstrip("_"),
        "value": scale * measured.value,
        "standard_uncertainty": u,
        "low_95": low,
        "high_95": high,
        "at_least": measured.at_least,
    }
