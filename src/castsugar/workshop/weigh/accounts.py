"""Where the mass on the scale goes, and what must be said about a sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping

from castsugar.mix.weighing import DRY_BASIS
from castsugar.workshop.weigh.contents import pan_holds
from castsugar.workshop.weigh.correct import Correction
from castsugar.workshop.weigh.sheet import COARSE, Line, Sheet
from castsugar.workshop.weigh.tolerance import Tolerance

#: Beyond this part of what the scale holds, a vessel may be too much. Common practice,
#: no source.
_NEAR = 0.75


def balance(sheet: Sheet) -> tuple[tuple[str, float], ...]:
    """Return what the mass on the scale becomes: words and mass, summing to it. [kg]"""
    parts: list[tuple[str, float]] = []
    for piece in sheet.pieces:
        plural = "s" if piece.count != 1 else ""
        words = f"{piece.count} {piece.kind}{plural}, {piece.size}"
        parts.append((words, piece.count * piece.volume * sheet.density))
    if sheet.pieces:
        parts.append(("left over: rounded up to the scale", sheet.spare))
    else:
        parts.append(("to cast", sheet.castable))
    parts.append(("stays in pan and tools", sheet.equipment.residue_pan))
    lost = 100.0 * sheet.mix.water_lost
    parts.append((f"water that leaves ({lost:.3g} % of it)", sheet.water_lost))
    if sheet.cups:
        parts.append(("stays in the cup of syrup", sheet.cups))
    return tuple(parts)


def notes(
    sheet: Sheet,
    found: Mapping[str, Tolerance],
    correction: Correction | None = None,
    *,
    grain_volume: float | None = None,
    at_most: float | None = None,
) -> list[str]:
    """Return what must be said about a sheet, one sentence each.

    `grain_volume` is that of one grain of the motor, for a batch of stated mass. [m3]
    """
    said = _scale_notes(sheet, found)
    in_pan, total = sheet.in_pan, sheet.total
    if correction is not None:
        in_pan, total = correction.in_pan, correction.total
    holds = pan_holds(sheet.mix, sheet.equipment)
    if in_pan > holds:
        said.append(
            f"{_grams(in_pan)} g fill the pan more than half; it should get "
            f"{_grams(holds)} g at most, or it boils over: make two batches"
        )
    if at_most is not None and sheet.steps > at_most / sheet.equipment.step + 1e-6:
        said.append(
            f"the sheet asks for {_grams(total)} g, more than the {_grams(at_most)} g "
            "that you allow: cast fewer at a time"
        )
    if grain_volume is not None and not sheet.pieces:
        mass = grain_volume * sheet.density
        count = math.floor(sheet.castable / mass + 1e-9)
        left = sheet.castable - count * mass
        grains = "grain" if count == 1 else "grains"
        said.append(
            f"enough for {count} {grains} of {_grams(mass)} g of the motor, and "
            f"{_grams(left)} g for strands and delay columns"
        )
    return said + _lot_notes(sheet)


def _scale_notes(sheet: Sheet, found: Mapping[str, Tolerance]) -> list[str]:
    """Say where the scale is too coarse or too small."""
    said = coarse_notes(sheet)
    tells = max(sheet.equipment.step, 2.0 * sheet.equipment.accuracy)
    for line in sheet.lines:
        tolerance = found.get(line.name)
        if tolerance is not None and tolerance.mass < tells:
            said.append(
                f"{line.typed}: it may be off by {1e3 * tolerance.mass:.2g} g, and the "
                f"scale tells no better than {_grams(tells)} g; weigh it on a finer "
                "scale or make more"
            )
        if len(line.portions) > 1:
            said.append(
                f"{line.typed}: the {scale_holds(sheet)}; weigh {len(line.portions)} "
                "portions or more and write each down"
            )
        elif is_near_capacity(line, sheet):
            said.append(
                f"{line.typed}: the {scale_holds(sheet)}; weigh it in two portions if "
                "vessel and line together are more"
            )
    return said


def coarse_notes(sheet: Sheet) -> list[str]:
    """Say which lines are too small for the scale."""
    return [
        f"{line.typed}: one step of the scale is {_percent(line)} % of it; weigh it "
        "on a finer scale"
        for line in sheet.lines
        if line.steps < COARSE
    ]


def _percent(line: Line) -> str:
    part = 100.0 / line.steps
    return f"{part:.0f}" if part >= 10.0 else f"{part:.2g}"


def scale_holds(sheet: Sheet) -> str:
    """Say what the scale holds, and what of it the vessel takes."""
    equipment = sheet.equipment
    capacity = _grams(equipment.capacity or 0.0)
    if equipment.vessel:
        return f"scale holds {capacity} g, {_grams(equipment.vessel)} g the vessel"
    return (
        f"scale holds {capacity} g with the vessel, whose own mass comes off it (state "
        "[scale] vessel)"
    )


def is_near_capacity(line: Line, sheet: Sheet) -> bool:
    """Whether a line in one portion leaves little for a vessel nobody stated."""
    capacity = sheet.equipment.capacity
    if capacity is None or sheet.equipment.vessel or len(line.portions) > 1:
        return False
    return line.mass > _NEAR * capacity


def _lot_notes(sheet: Sheet) -> list[str]:
    """Say what is not known about the lots."""
    said = []
    for line in sheet.lines:
        if line.lot is None:
            continue
        for key, doubt in line.lot.uncertainty.items():
            basis = line.dry_in_pan if key in DRY_BASIS else line.in_pan
            mass = f"{1e3 * doubt * basis:.2g}"
            said.append(
                f"{line.typed}: {key} of lot {line.lot.name!r}: known to "
                f"{100.0 * doubt:.2g} points (one standard uncertainty), {mass} g in "
                "this batch"
            )
        if line.lot.from_label:
            said.append(
                f"{line.typed}: dry solids {100.0 * line.lot.stated['solids']:.3g} % "
                "from the carbohydrate on the label, ash neglected; a weighed volume "
                "would narrow it"
            )
    return said


def _grams(mass: float) -> str:
    """Write a mass for a sentence."""
    return f"{1e3 * mass:.4g}"
