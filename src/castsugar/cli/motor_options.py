"""What is said of the motor of the bench file beside a result."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from castsugar.motor.hardware import Hardware


def motor_assumptions(hardware: Hardware) -> list[str]:
    """Say what was assumed about the motor, one line each."""
    from castsugar.motor.case import allowable_pressure
    from castsugar.report.pressure_words import assumed_widths

    spread = hardware.spread
    lines = [
        f"motor: throat {1e3 * hardware.throat_diameter:.4g} mm, grain at "
        f"{100 * hardware.density_ratio:.3g} % of theoretical density and "
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
