"""A batch weighed out: the sheet, its tolerances, and what every gram is for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.mix.weighing import DRY_BASIS
from castsugar.weigh.charge import pan_holds
from castsugar.weigh.correction import (
    Conditions,
    Correction,
    Judged,
    Tolerance,
    corrected,
    judge,
    tolerances,
)
from castsugar.weigh.sheet import COARSE, Line, Sheet

# ----------------------------------------------------------------------------
# Where the mass on the scale goes, and what must be said about a sheet.

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


# ----------------------------------------------------------------------------
# A sheet with everything that was found out about it, ready for a report.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighing:
    """A sheet, judged.

    Attributes
    ----------
    sheet : Sheet
    conditions : Conditions
    tolerances : dict of str to Tolerance
        By catalogue name.
    judged : tuple of Judged
        The mix of the sheet; as weighed, if every line was; as corrected, if that is
        possible and differs.
    correction : Correction or None
        None if nothing was weighed yet.
    within : bool or None
        Whether every weighed line lies within its tolerance; None without any.
    notes : tuple of str
    too_much : bool
        Whether the sheet itself asks for more than the user allows.
    """

    sheet: Sheet
    conditions: Conditions
    tolerances: dict[str, Tolerance]
    judged: tuple[Judged, ...]
    correction: Correction | None
    within: bool | None
    notes: tuple[str, ...]
    too_much: bool = False

    def against_sheet(self, column: str) -> list[float]:
        """Return a column of every judged mix over that of the sheet."""
        base = float(self.judged[0].values[column])
        return [
            float(row.values[column]) / base if base > 0.0 else math.nan
            for row in self.judged
        ]

    @property
    def answer(self) -> bool:
        """Whether the sheet can be used, and the correction made."""
        fine = self.correction is None or self.correction.possible
        return fine and not self.too_much


def weighing(
    sheet: Sheet,
    conditions: Conditions,
    *,
    actual: Mapping[str, float] | None = None,
    at_most: float | None = None,
    grain_volume: float | None = None,
) -> Weighing:
    """Judge a sheet, and correct it where lines were weighed otherwise.

    Parameters
    ----------
    sheet : Sheet
    conditions : Conditions
    actual : mapping of str to float, optional
        Catalogue name to the mass on the scale. [kg]
    at_most : float, optional
        Largest mass on the scale. [kg]
    grain_volume : float, optional
        Of one grain of the motor. [m3]

    Raises
    ------
    InputError
        As for :func:`castsugar.weigh.correction.corrected`.
    """
    correction = within = None
    if actual:
        correction = corrected(sheet, actual, at_most=at_most)
    found, base = tolerances(sheet, conditions)
    judged: tuple[Judged, ...] = (base,)
    if correction is not None and actual:
        within = all(
            abs(mass - sheet.line(name).exact) <= found[name].mass
            for name, mass in actual.items()
        )
        judged += tuple(_others(sheet, conditions, actual, correction))
    said = notes(sheet, found, correction, grain_volume=grain_volume, at_most=at_most)
    limit = None if at_most is None else at_most / sheet.equipment.step + 1e-6
    return Weighing(
        sheet=sheet,
        conditions=conditions,
        tolerances=found,
        judged=judged,
        correction=correction,
        within=within,
        notes=tuple(said),
        too_much=limit is not None and sheet.steps > limit,
    )


def _others(
    sheet: Sheet,
    conditions: Conditions,
    actual: Mapping[str, float],
    correction: Correction,
) -> list[Judged]:
    """Judge the mix as it was weighed, and as it will be."""
    batches = {}
    if correction.complete:
        masses = [actual[line.name] for line in sheet.lines]
        batches["as weighed"] = sheet.pan_masses(masses)
    if correction.possible and not (correction.complete and correction.nothing_to_do):
        batches["corrected"] = sheet.pan_masses(correction.totals())
    return judge(sheet.charge, batches, conditions) if batches else []
