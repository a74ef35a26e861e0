"""The motor of the bench file: what is said of it, what it may have to bear."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar.cli.quantities import in_si, quantity
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.motor.hardware import Hardware


#: Option of a size that a motor may have to bear -> its help.
_SIZES = {
    "--crack": "burning area that a crack adds, of that at the peak (default '10 %%')",
    "--debond": "share of the grain's outer face that comes loose (default '10 %%')",
}


def add_cause_options(parser: argparse._ActionsContainer) -> None:
    """Add the stated sizes of what can raise the peak of a motor."""
    for option, told in _SIZES.items():
        typed = quantity(option)
        parser.add_argument(option, type=typed, metavar="SHARE", help=told)


def check_cause_options(options: argparse.Namespace, hardware: Hardware | None) -> None:
    """Refuse a size of a cause where there is no motor to bear it."""
    for option in _SIZES:
        if hardware is None and getattr(options, option[2:]) is not None:
            raise InputError(
                f"{option} is for a motor; add --bench FILE with a [motor]"
            )


def stated_sizes(options: argparse.Namespace) -> dict[str, Any]:
    """Return the stated sizes of causes, as `peak_causes` takes them."""
    names = [option[2:] for option in _SIZES]
    return {name: in_si(getattr(options, name, None)) for name in names}


def motor_assumptions(hardware: Hardware) -> list[str]:
    """Say what was assumed about the motor, one line each."""
    from castsugar.motor.case import allowable_pressure
    from castsugar.report.pressure_words import assumed_widths

    spread = hardware.spread
    lines = [
        f"motor: throat {1e3 * hardware.throat_diameter:.4g} mm, grain at "
        f"{100 * hardware.known_density_ratio:.3g} % of theoretical density and "
        f"{hardware.grain_temperature - 273.15:.3g} C",
        "uncertain (one standard deviation): burning rate; throat "
        f"{100 * spread.throat_diameter:.2g} %, density {100 * spread.density:.2g} %, "
        f"burning area {100 * spread.area:.2g} %, c* "
        f"{100 * spread.characteristic_velocity:.2g} %, grain "
        f"{spread.temperature:.2g} K",
        *filter(None, [assumed_widths(hardware.burning.scatter)]),
    ]
    wide = hardware.exit_diameter
    nozzle = f"exit {1e3 * wide:.4g} mm" if wide else "no exit given: no divergence"
    warmer = hardware.grain_temperature - hardware.strand_temperature
    lines.append(
        f"{nozzle}; burn rate {100 * hardware.temperature_sensitivity:.2g} % a kelvin, "
        f"grain {warmer:+.3g} K against the strands; c* as at the evaluated "
        "chamber pressure"
    )
    if hardware.case is not None:
        found = allowable_pressure(hardware.case)
        lines.append(
            f"case: {found.pressure / 1e6:.3g} MPa, {found.rule}; safety factor "
            f"{hardware.case.safety_factor:g} (none on a rating), hot over cold "
            f"{hardware.case.total_derating:g}; closures, threads and joints not judged"
        )
    if hardware.efficiency is None:
        lines.append("pressure and margin with the ideal c* (cautious)")
    else:
        how = "measured" if hardware.efficiency_measured else "stated, not measured"
        margin = "also for" if hardware.efficiency_measured else "not for"
        lines.append(
            f"c* efficiency {hardware.efficiency:.3g} ({how}): for performance, "
            f"{margin} the margin"
        )
    return lines
