"""What a firing at the best estimates adds to the row of a mix."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar.report.delivered import DELIVERED
from castsugar.report.field import TEXT, Field, fields

if TYPE_CHECKING:
    from castsugar.motor.delivered import Delivered, InUse
    from castsugar.motor.fired_mixes import Firing
    from castsugar.motor.hardware import Hardware

#: Total impulse, of nobody's motor yet.
IMPULSE = Field(
    key="total_impulse_N_s",
    label="total impulse",
    kind="impulse",
    meaning="with the efficiencies of c* and nozzle that are stated or measured, "
    "without losses where none is",
    short="impulse",
)

#: What a firing at the best estimates adds to a row.
FIRING = (
    *fields(
        ("burn_time_s", "burn time", "time",
         "of the firing at the best estimates, to 5 % of the peak"),
        ("mean_pressure_MPa", "mean pressure", "pressure",
         "over the burn time, at the best estimates"),
    ),
    IMPULSE,
    *fields(
        ("impulse_letter", "impulse class", TEXT, "public letter of the total impulse"),
        ("propellant_mass_g", "propellant", "mass",
         "in all grains, at the stated share of the theoretical density"),
        ("port_to_throat", "port-to-throat ratio", "number",
         "area of the port over that of the throat, at the start"),
    ),
    *DELIVERED,
)  # fmt: skip


def firing_row(fired: Firing) -> dict[str, Any]:
    """Return what a firing adds to a row."""
    found = fired.trace.summary()
    of_trace = ("burn_time_s", "mean_pressure_MPa", "total_impulse_N_s")
    return {key: found[key] for key in of_trace} | {
        "impulse_letter": fired.impulse_class,
        "propellant_mass_g": 1e3 * fired.propellant_mass,
        "port_to_throat": fired.port_to_throat,
    }


def impulse_of(found: Sequence[Delivered | None]) -> Field:
    """Return the total impulse of a motor, labelled by the losses that it holds.

    Those of c* and of the nozzle, each where it is stated or measured.
    """
    used = next((one.efficiencies for one in found if one is not None), None)
    return replace(IMPULSE, label=_labelled(used))


def impulse_label(motor: Hardware | None) -> str:
    """Return what the total impulse of a motor is called, by its losses."""
    from castsugar.motor.delivered import efficiencies_in_use

    return _labelled(None if motor is None else efficiencies_in_use(motor))


def _labelled(used: InUse | None) -> str:
    velocity = used is not None and used.characteristic_velocity.known
    nozzle = used is not None and used.nozzle.known
    label = "total impulse, ideal"
    if velocity and nozzle:
        return "total impulse, delivered"
    if velocity or nozzle:
        label += " nozzle" if velocity else " c*"
    return label


def fired_fields(found: Sequence[Delivered | None]) -> Iterator[Field]:
    """Yield what a firing adds; what is delivered has an annex of its own."""
    for one in FIRING:
        if one not in DELIVERED:
            yield impulse_of(found) if one is IMPULSE else one
