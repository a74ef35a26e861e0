"""Options of every command that asks the motor: the bench file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from castsugar.database import Database
    from castsugar.motor.hardware import Hardware


def add_motor_options(parser: argparse.ArgumentParser) -> None:
    """Add the option to a command."""
    parser.add_argument(
        "--motor",
        metavar="FILE",
        help="bench file (TOML); its [motor] table holds grain, nozzle, case and what "
        "is known of the burn rate",
    )


def read_hardware(options: argparse.Namespace, database: Database) -> Hardware | None:
    """Return the motor of the bench file; None without one."""
    if options.motor is None:
        return None
    from castsugar.workshop.bench import read_bench
    from castsugar.workshop.motor_bench import hardware_of

    return hardware_of(read_bench(Path(options.motor)), database)


def motor_assumptions(hardware: Hardware) -> list[str]:
    """Say what was assumed about the motor, one line each."""
    spread = hardware.spread
    lines = [
        f"motor: throat {1e3 * hardware.throat_diameter:.4g} mm, grain at "
        f"{100 * hardware.density_ratio:.3g} % of the density without voids and "
        f"{hardware.grain_temperature - 273.15:.3g} C",
        "uncertain (one standard deviation): burn law; throat "
        f"{100 * spread.throat_diameter:.2g} %, density {100 * spread.density:.2g} %, "
        f"burning area {100 * spread.area:.2g} %, c* "
        f"{100 * spread.characteristic_velocity:.2g} %, grain "
        f"{spread.temperature:.2g} K; {hardware.draws} draws, seed {hardware.seed}",
    ]
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
