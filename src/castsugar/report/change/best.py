"""Best estimates of the models beside the drawn columns: kitchen and firing."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from castsugar.kitchen.glass import set_word
from castsugar.motor.pressure_table import Firing
from castsugar.report.blocks.model import Cell, Table
from castsugar.report.layout import number

Row = Mapping[str, Any]

#: What a row says where its kitchen was not asked for, or has no answer.
_GONE = ("not asked", "not computed")


def best_tables(
    names: Sequence[str], rows: Sequence[Row], fired: Sequence[Firing | None]
) -> list[Table]:
    """Return the table of best estimates; none where neither wing was asked for.

    Parameters
    ----------
    names : sequence of str
    rows : sequence of mappings
        Of the table, one a name.
    fired : sequence of Firing or None
        One a name, or empty without a motor.
    """
    told: list[tuple[Cell, ...]] = []
    if any(row["flow_class"] != _GONE[0] for row in rows):
        told += [_line(label, [_asked(cell, r) for r in rows]) for label, cell in _POT]
    if fired:
        told += [
            _line(label, ["-" if one is None else cell(one) for one in fired])
            for label, cell in _MOTOR
        ]
    if not told:
        return []
    return [Table(heads=("best estimates of the models", *names), rows=tuple(told))]


def firing_rows(
    names: Sequence[str], fired: Sequence[Firing | None]
) -> list[dict[str, Any]]:
    """Return the firings as plain values, units in the keys; empty without a motor."""
    if not fired:
        return []
    return [
        {
            "name": name,
            "propellant_mass_g": math.nan if one is None else 1e3 * one.propellant_mass,
            "total_impulse_N_s": math.nan if one is None else one.trace.total_impulse,
            "impulse_letter": "" if one is None else one.impulse_class,
            "burn_time_s": math.nan if one is None else one.trace.burn_time,
        }
        for name, one in zip(names, fired, strict=True)
    ]


def _line(label: str, texts: Sequence[str]) -> tuple[Cell, ...]:
    return (Cell(text=label), *(Cell(text=text) for text in texts))


def _asked(cell: Callable[[Row], str], row: Row) -> str:
    return "-" if row["flow_class"] in _GONE else cell(row)


def _number(key: str, decimals: int) -> Callable[[Row], str]:
    return lambda row: number(row[key], decimals)


def _window(row: Row) -> str:
    """Return between which temperatures a mix pours."""
    low, high = row["pour_window_low_C"], row["pour_window_high_C"]
    return f"{low:.0f} to {high:.0f}" if math.isfinite(low) else "none"


def _set(row: Row) -> str:
    """Return how firm the grain becomes."""
    return (
        "-"
        if math.isnan(row["relative_solids_20C"])
        else set_word(row["relative_solids_20C"])
    )


def _impulse(one: Firing) -> str:
    return f"{number(one.trace.total_impulse, 1)} {one.impulse_class}"


_POT: tuple[tuple[str, Callable[[Row], str]], ...] = (
    ("flow at the pour", lambda row: str(row["flow_class"])),
    ("probability that it pours", _number("pours_probability", 2)),
    ("pours between, C", _window),
    ("solids over packing at the pour (jams at 1)", _number("relative_solids_pour", 2)),
    ("sugar degraded, %", _number("sugar_degraded_percent", 1)),
    ("the grain, once set", _set),
)

_MOTOR: tuple[tuple[str, Callable[[Firing], str]], ...] = (
    ("propellant, g", lambda one: number(1e3 * one.propellant_mass, 1)),
    ("total impulse, N s, with its letter", _impulse),
    ("burn time, s", lambda one: number(one.trace.burn_time, 2)),
)
