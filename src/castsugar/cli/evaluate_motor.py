"""What ``castsugar evaluate`` says about the user's motor."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from castsugar.cli.conditions import Conditions
    from castsugar.mix.mix import Mix
    from castsugar.motor.pressure_table import Firing
    from castsugar.report.text import Extra

Rows = list[dict[str, Any]]


def check_trace(motor: str | None) -> None:
    """Refuse a picture that could not be drawn, before any work is done."""
    from castsugar.errors import InputError

    if motor is None:
        raise InputError("--trace draws a firing; add --motor FILE")


def fire_rows(
    conditions: Conditions, mixes: list[Mix], rows: Rows
) -> list[Firing | None]:
    """Fire every mix that could be driven."""
    if conditions.motor is None:
        return [None] * len(rows)
    from castsugar.motor.pressure_table import firings

    return firings(conditions.motor, mixes, rows)


def motor_extra(
    conditions: Conditions, rows: Rows, fired: list[Firing | None], *, ballistics: bool
) -> Extra | None:
    """Return the blocks that the motor and --ballistics add to the page."""
    from castsugar.report import motor
    from castsugar.report.layout import letters
    from castsugar.report.text import Extra

    hardware, names = conditions.motor, letters(len(rows))
    if hardware is None and not ballistics:
        return None

    def block(part: slice) -> list[str]:
        if hardware is None:
            return []
        unit = conditions.pressure.unit
        return motor.motor_lines(names[part], rows[part], fired[part], hardware, unit)

    after = motor.ballistics_lines(names, rows) if ballistics else []
    if hardware is not None:
        after += motor.motor_notes(names, rows, fired)
    return Extra(block, after)


def trace_of(
    conditions: Conditions, mixes: list[Mix], fired: list[Firing | None]
) -> str:
    """Return the chart of the firings.

    Raises
    ------
    InputError
        If no mix could be driven.
    """
    from castsugar.cli.motor_options import motor_assumptions
    from castsugar.errors import InputError
    from castsugar.report.trace_chart import trace_chart

    known = [(m.name, f) for m, f in zip(mixes, fired, strict=True) if f is not None]
    if conditions.motor is None or not known:
        raise InputError("--trace has nothing to draw: no mix could be driven")
    names, firings = zip(*known, strict=True)
    return trace_chart(
        names, firings, conditions.motor.allowable, motor_assumptions(conditions.motor)
    )
