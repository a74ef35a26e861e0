"""Columns of the row itself: what it is, how sure, what is special."""

from __future__ import annotations

from castsugar.columns.record import Column

_ROW, _DOUBT = "row", "uncertainty"

IDENTITY = (
    Column("name", "name", "", None, "name of the mix", _ROW),
    Column(
        "status",
        "status",
        "",
        None,
        "ok; cold (does not burn by this model); not computed: why; no convergence: "
        "why; disputed: why",
        _ROW,
    ),
)

DOUBT = (
    Column(
        "flame_temperature_u_K",
        "uncertainty of the flame temperature",
        "K",
        0,
        "standard uncertainty that the data leave; only where asked for",
        _DOUBT,
    ),
    Column(
        "characteristic_velocity_u_m_s",
        "uncertainty of c*",
        "m/s",
        0,
        "standard uncertainty that the data leave; only where asked for",
        _DOUBT,
    ),
    Column(
        "specific_impulse_u_s",
        "uncertainty of the specific impulse",
        "s",
        1,
        "standard uncertainty that the data leave; only where asked for",
        _DOUBT,
    ),
)

VERDICT = (
    Column(
        "confirmation",
        "second solver",
        "",
        None,
        "confirmed, disputed, unavailable: why, or not asked",
        _ROW,
    ),
    Column(
        "difference_temperature_K",
        "difference in flame temperature",
        "K",
        6,
        "first solver minus second",
        _ROW,
    ),
    Column(
        "difference_characteristic_velocity_ppm",
        "difference in c*",
        "ppm",
        3,
        "first solver minus second, millionths",
        _ROW,
    ),
    Column(
        "difference_specific_impulse_ppm",
        "difference in specific impulse",
        "ppm",
        3,
        "first solver minus second, millionths",
        _ROW,
    ),
    Column("flags", "flags", "", None, "what is special about the row", _ROW),
)
