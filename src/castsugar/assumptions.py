"""What was assumed about a kitchen and a motor, in words, one line each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from castsugar.constants import ICE_POINT
from castsugar.units import to_celsius

if TYPE_CHECKING:
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.motor.hardware import Hardware


def _browned(kitchen: Kitchen) -> list[str]:
    """Say what a cook that browns the sugar leaves out, or that it leaves nothing."""
    from castsugar.mix.weighing import browned_flag, withheld

    share = kitchen.cook.degraded()
    why = withheld(share)
    text = f"performance not computed: {why}" if why else browned_flag(share)
    return [text] if text else []


def _of_grains(kitchen: Kitchen) -> list[str]:
    """Say what tapping and a fine grind change, and what has no model."""
    from castsugar.kitchen.packing import CLOTS

    lines = []
    if kitchen.tap:
        lines.append(
            f"the mould is tapped: grains pack {100.0 * (kitchen.tapped - 1.0):.2g} % "
            "closer while it fills; no ramming, no drill-driven stirrer in a hot mix"
        )
    if kitchen.grain is not None and kitchen.grain < CLOTS:
        lines.append(
            f"nitrate below {1e6 * CLOTS:g} um clots: that it packs less and has a "
            "yield stress is not modelled"
        )
    return lines


def kitchen_assumptions(kitchen: Kitchen) -> list[str]:
    """Say what was assumed about the kitchen, one line each."""
    cook = kitchen.cook
    held = (
        f"{cook.duration / 60:g} min at {to_celsius(cook.pour_temperature):.4g} C"
        if len(set(cook.temperatures)) == 1
        else f"{cook.duration / 60:g} min, up to {to_celsius(cook.hottest):.4g} C, "
        f"poured at {to_celsius(cook.pour_temperature):.4g} C"
    )
    pan = "pan not known"
    if cook.pan is not None:
        pan = (
            f"{1e3 * cook.pan.batch:.4g} g in a pan of {1e3 * cook.pan.diameter:.4g} mm"
        )
    lines = [f"cook: {held}; {pan}; air {kitchen.air_pressure / 1e3:.4g} kPa"]
    measured = kitchen.belief.measured
    lines.append(
        f"kitchen: {measured} of {len(kitchen.belief.used)} parameters informed by "
        "measurements; "
        f"bands of {kitchen.draws} draws, seed {kitchen.seed}"
        if measured
        else "kitchen: nothing measured yet, pour viscosity known to a factor of 4 or "
        "worse; castsugar kitchen --help shows what to measure"
    )
    return lines + _of_grains(kitchen) + _browned(kitchen)


def motor_assumptions(hardware: Hardware) -> list[str]:
    """Say what was assumed about the motor, one line each."""
    from castsugar.motor.case import allowable_pressure
    from castsugar.report.pressure_words import assumed_widths

    spread = hardware.spread
    lines = [
        f"motor: throat {1e3 * hardware.throat_diameter:.4g} mm, grain at "
        f"{100 * hardware.known_density_ratio:.3g} % of theoretical density and "
        f"{hardware.grain_temperature - ICE_POINT:.3g} C",
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
