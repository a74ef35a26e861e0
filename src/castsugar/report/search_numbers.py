"""What burning, motor and kitchen say of the best mix and its rounded recipes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from castsugar import units
from castsugar.columns import COLUMN
from castsugar.kitchen.glass import set_word
from castsugar.optimize.search import Outcome
from castsugar.report.kitchen import TITLE as KITCHEN
from castsugar.report.kitchen import one_digit
from castsugar.report.layout import CELL, LABEL, number
from castsugar.report.motor import TITLE as MOTOR
from castsugar.report.search_amounts import boundless, shown
from castsugar.report.search_words import (
    Asked,
    allowed_pressure,
    filled,
    label_of,
    row_of,
)
from castsugar.report.strand_units import significant

Row = Mapping[str, Any]

_IDEAL = (
    "density_impulse_kg_s_m3",
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "flame_temperature_K",
    "density_kg_m3",
)

_LESS = (
    "Small motors deliver clearly less than this; a firing with pressure and "
    "propellant mass measures how much (castsugar firing)."
)


def offers(outcome: Outcome, *, sound: bool) -> list[tuple[str, str]]:
    """Return rows of the outcome that may be made, with heads; or the one mix shown.

    Rounded recipes that break a limit, or are refused, are not among them.
    """
    if not sound:
        return [("best", "this mix")] if row_of(outcome, "best") else []
    rounded = (
        ("percents", "whole %", outcome.percents),
        ("weighable", "grams", outcome.weighable),
    )
    kept = [(n, h) for n, h, made in rounded if made is not None and made.offered]
    return [(n, h) for n, h in [("best", "best"), *kept] if row_of(outcome, n)]


def number_lines(outcome: Outcome, asked: Asked, *, sound: bool) -> list[str]:
    """Return what burning, motor and kitchen say of the mixes that can be made."""
    offered = offers(outcome, sound=sound)
    if not offered:
        return []
    rows = [row_of(outcome, name) for name, _ in offered]
    heads = [head for _, head in offered]
    lines = [table_row("Ideal, no losses", heads, indent="")]
    for key in _IDEAL:
        column = COLUMN[key]
        cells = [number(value_of(r, key), column.decimals) for r in rows]
        lines.append(table_row(f"{column.label}, {column.unit}", cells))
    objective = outcome.found.goal.objective
    if objective not in _IDEAL:
        lines += filled(
            f"{label_of(objective)}: {shown(objective, outcome.found.objective)}"
        )
    lines += filled(_LESS)
    lines += ["", *_motor_lines(outcome, heads, rows, asked)]
    return [*lines, "", *_kitchen_lines(outcome, heads, rows)]


def _motor_lines(
    outcome: Outcome, heads: Sequence[str], rows: Sequence[Row], asked: Asked
) -> list[str]:
    """Return peak pressures and margin."""
    if outcome.task.settings.motor is None:
        return filled(
            "No motor was given: what pressure this mix makes is not part of the "
            "answer.",
            "  ",
            "",
        )
    lines = [table_row(MOTOR, heads, indent="")]
    most = allowed_pressure(outcome)
    for key in ("peak_pressure_MPa", "peak_pressure_p95_MPa"):
        for unit in asked.pressures():
            cells = [_pressure(value_of(r, key), unit) for r in rows]
            lines.append(table_row(f"{COLUMN[key].label}, {unit}", cells))
    if math.isfinite(most):
        for unit in asked.pressures():
            cell = _pressure(1e-6 * most, unit)
            lines.append(table_row(f"the case may hold, {unit}", [cell] * len(rows)))
        margins = [number(value_of(r, "pressure_margin_percent"), 0) for r in rows]
        lines.append(table_row("margin at 95 %, %", margins))
    else:
        lines += filled("No case was given, so there is no margin.")
    laws: dict[str, list[str]] = {}
    for head, row in zip(heads, rows, strict=True):
        laws.setdefault(str(row.get("burn_law_origin", "-")), []).append(head)
    for law, of in laws.items():
        whose = f" ({', '.join(of)})" if len(laws) > 1 else ""
        lines += filled(f"Burn law{whose}: {law}")
    return lines


def _pressure(value: float, unit: str) -> str:
    """Write a pressure given in MPa."""
    word = boundless("peak_pressure_MPa", value)
    return word or significant(units.convert(1e6 * value, "pressure", unit), 3)


def _kitchen_lines(
    outcome: Outcome, heads: Sequence[str], rows: Sequence[Row]
) -> list[str]:
    """Return how the mixes pour, set and keep."""
    if outcome.task.settings.kitchen is None:
        return filled(
            "No kitchen was given: whether this mix pours and sets is not part of the "
            "answer.",
            "  ",
            "",
        )
    lines = [table_row(KITCHEN, heads, indent="")]

    def add(label: str, cell: Callable[[Row], str]) -> None:
        lines.append(table_row(label, [cell(row) for row in rows]))

    add("flow at the pour", lambda r: str(r.get("flow_class", "-")))
    add("pour viscosity, 10-90 % band, Pa s", _band)
    add(
        "probability that it pours",
        lambda r: number(value_of(r, "pours_probability"), 2),
    )
    add(
        "solids over packing at 20 C",
        lambda r: number(value_of(r, "relative_solids_20C"), 2),
    )
    add("the grain, once set", _sets)
    add(
        "draws water above, % humidity",
        lambda r: number(value_of(r, "storage_humidity_max_percent"), 0),
    )
    return lines


def _band(row: Row) -> str:
    """Return the band of the pour viscosity, one digit each."""
    ends = [
        one_digit(value_of(row, f"pour_viscosity_{p}_Pa_s")) for p in ("p10", "p90")
    ]
    return ends[0] if ends[0] == ends[1] else "-".join(ends)


def _sets(row: Row) -> str:
    ratio = value_of(row, "relative_solids_20C")
    return "-" if math.isnan(ratio) else set_word(ratio)


def value_of(row: Row, key: str) -> float:
    """Return a number of a row; NaN where it has none."""
    return float(row.get(key, math.nan))


def table_row(label: str, cells: Sequence[str], indent: str = "  ") -> str:
    """Return one line of a table with a column for each mix."""
    told = "".join(f"{text:>{CELL}}" for text in cells)
    return f"{indent}{label:<{LABEL - len(indent)}}{told}"
