"""What mixes do in the user's motor, and what a ballistics calculation needs."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from castsugar import units
from castsugar.columns import COLUMN, DOUBTS
from castsugar.report.layout import CELL, LABEL, number, wrapped

if TYPE_CHECKING:
    from castsugar.motor.hardware import Hardware
    from castsugar.motor.pressure_table import Firing

    Firings = Sequence[Firing | None]

Row = Mapping[str, Any]
Add = Callable[[str, Sequence[str]], None]

TITLE = "In your motor, an unproved estimate"


def motor_lines(
    names: Sequence[str],
    rows: Sequence[Row],
    firings: Firings,
    hardware: Hardware,
    unit: str,
) -> list[str]:
    """Return the motor block of up to three mixes.

    Parameters
    ----------
    names, rows, firings : sequences
        One a mix; no firing where a mix could not be driven.
    hardware : Hardware
    unit : str
        Of pressure, as the user types it; shown beside MPa.
    """
    heads = "".join(f"{name:>{CELL}}" for name in names)
    lines = ["", f"{TITLE:<{LABEL}}{heads}"]

    def add(label: str, cells: Sequence[str]) -> None:
        told = "".join(f"{text:>{CELL}}" for text in cells)
        lines.append(f"  {label:<{LABEL - 2}}{told}")

    add("largest Kn", [number(r["kn_max"], 0) for r in rows])
    for key, label, digits in (
        ("peak_pressure_MPa", "peak pressure", 2),
        ("peak_pressure_p95_MPa", "peak pressure, 95 of 100 below", 1),
    ):
        add(f"{label}, MPa", [_pressure(r[key], "MPa", digits) for r in rows])
        if unit != "MPa":
            add(f"{label}, {unit}", [_pressure(r[key], unit, 0) for r in rows])
    if math.isfinite(hardware.allowable):
        limit = number(1e-6 * hardware.allowable, 2)
        add("pressure that the case may hold, MPa", [limit] * len(rows))
        add(
            "margin at 95 %, %",
            [_percent(0.01 * r["pressure_margin_percent"]) for r in rows],
        )
        add("margin, 90 % band, %", [_margin(f) for f in firings])
    _add_firings(add, firings, hardware)
    return lines


def _add_firings(add: Add, firings: Firings, hardware: Hardware) -> None:
    """Add the lines that come from a firing."""
    kind = "ideal" if hardware.efficiency is None else "delivered"

    def cells(value: Callable[[Firing], str]) -> list[str]:
        return ["-" if f is None else value(f) for f in firings]

    add("burn time, s", cells(lambda f: number(f.trace.burn_time, 2)))
    add(
        "mean pressure, MPa",
        cells(lambda f: number(1e-6 * f.trace.mean_pressure, 2)),
    )
    add(
        f"total impulse, {kind}, N s, and letter",
        cells(lambda f: f"{number(f.trace.total_impulse, 1)} {f.impulse_class}"),
    )
    add("propellant, g", cells(lambda f: number(1e3 * f.propellant_mass, 0)))
    add("port over throat area", cells(lambda f: number(f.port_to_throat, 1)))
    add(
        "10 % more area raises pressure by, %",
        cells(lambda f: number(100.0 * f.rise_of_a_tenth, 0)),
    )


def _pressure(value: float, unit: str, digits: int) -> str:
    """Write a pressure given in MPa."""
    if math.isinf(value):
        return "no limit"
    if math.isnan(value):
        return "-"
    return number(units.convert(1e6 * value, "pressure", unit), digits)


def _margin(firing: Firing | None) -> str:
    """Write the band of a margin."""
    if firing is None:
        return "-"
    return " to ".join(_percent(v) for v in firing.margin_band)


def _percent(value: float) -> str:
    return "none" if math.isinf(value) else number(100.0 * value, 0)


def motor_notes(
    names: Sequence[str], rows: Sequence[Row], firings: Firings
) -> list[str]:
    """Return where each burn law comes from, and what is not modelled."""
    from castsugar.motor.hardware import NOT_MODELLED

    lines = ["", "Burn laws"]
    for name, row, fired in zip(names, rows, firings, strict=True):
        lines += wrapped(str(row["burn_law_origin"]), "      ", f"  {name:<4}")
        for text in fired.cautions if fired is not None else ():
            lines += wrapped(f"strands: {text}", "        ", "      - ")
    ports = {f.port_caution for f in firings if f is not None and f.port_caution}
    lines += ["", "Not modelled in the motor"]
    for text in [*sorted(ports), *NOT_MODELLED.values()]:
        lines += wrapped(text, "    ", "  - ")
    return lines


#: What a ballistics calculation takes: column, words.
_NEEDS = (
    ("characteristic_velocity_m_s", "characteristic velocity c*"),
    ("flame_temperature_K", "flame temperature"),
    ("isentropic_exponent", "isentropic exponent, all products"),
    ("effective_molar_mass_g_mol", "mix mass per mole of gas"),
    ("gas_molar_mass_g_mol", "molar mass of the gas alone"),
    ("condensed_mass_fraction", "mass that is not gas"),
    ("density_kg_m3", "density without voids"),
)

_WHICH = (
    "The exponent of all products belongs with the mix mass per mole of gas: the two "
    "and the flame temperature give the c* shown. The molar mass of the gas alone "
    "belongs with an exponent of the gas alone; a mixed pair gives a c* up to a third "
    "too high.",
    "Bands are 95 % of what the data leave open. Multiply c* with what your firings "
    "deliver, and the density with the share that your grains reach (poured grains "
    "93-97 %, common practice, no source).",
)


def ballistics_lines(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Return what a ballistics calculation needs of mixes, with bands."""
    lines: list[str] = []
    for name, row in zip(names, rows, strict=True):
        heads = f"{'value':>{CELL}}{'95 % band':>{2 * CELL}}"
        lines += ["", f"{'For a ballistics calculation: ' + name:<{LABEL}}{heads}"]
        for key, label in _NEEDS:
            column = COLUMN[key]
            unit = f", {column.unit}" if column.unit else ""
            text = f"{number(row[key], column.decimals):>{CELL}}"
            doubt = row.get(DOUBTS.get(key, ""), math.nan)
            if math.isfinite(doubt):
                low, high = (
                    number(row[key] + k * 1.96 * doubt, column.decimals)
                    for k in (-1.0, 1.0)
                )
                text += f"{low + ' to ' + high:>{2 * CELL}}"
            lines.append(f"  {label + unit:<{LABEL - 2}}{text}")
    lines.append("")
    for text in _WHICH:
        lines += wrapped(text)
    return lines


def firing_rows(firing: Firing | None) -> dict[str, Any]:
    """Return a firing as plain values."""
    if firing is None:
        return {}
    return {
        **firing.trace.summary(),
        "impulse_letter": firing.impulse_class,
        "peak_pressure_p05_MPa": 1e-6 * firing.pressure_band[0],
        "pressure_margin_at_p05": firing.margin_band[1],
        "port_to_throat_area_ratio": firing.port_to_throat,
        "pressure_rise_of_10_percent_more_area": firing.rise_of_a_tenth,
    }
