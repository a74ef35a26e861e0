"""Columns of what a mix does in the user's motor."""

from __future__ import annotations

from castsugar.columns.record import Column

_MOTOR = "motor"

DRIVING = (
    Column(
        "kn_max",
        "largest Kn",
        "",
        0,
        "largest burning area over throat area",
        _MOTOR,
    ),
    Column(
        "chamber_pressure_MPa",
        "peak pressure",
        "MPa",
        2,
        "at the largest Kn, best estimate, absolute",
        _MOTOR,
    ),
    Column(
        "chamber_pressure_p95_MPa",
        "peak pressure, 95 of 100 below",
        "MPa",
        1,
        "one draw in twenty of burn law, density, throat, area, c* and temperature is "
        "above; infinite if so many have no stable pressure",
        _MOTOR,
    ),
    Column(
        "pressure_margin",
        "pressure margin",
        "",
        2,
        "(allowed pressure - 95 % pressure) / allowed; an estimate about an unproved "
        "case",
        _MOTOR,
    ),
    Column(
        "burn_law_origin",
        "burn law",
        "",
        None,
        "measured, of a mixture model, or borrowed; never from thermochemistry",
        _MOTOR,
    ),
)
