"""A batch weighed out: the sheet, its tolerances, and what every gram is for."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from castsugar.frozen import dataclass
from castsugar.kitchen.pour_table import water_interval
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

if TYPE_CHECKING:
    from castsugar.kitchen.parameters import Kitchen

# ----------------------------------------------------------------------------
# Where the mass on the scale goes, and what must be said about a sheet.

#: Beyond this part of what the scale holds, a vessel may be too much. Common practice,
#: no source.
_NEAR = 0.75


def balance(sheet: Sheet) -> tuple[tuple[str, float], ...]:
    """Return what the mass of one pan becomes: words and mass, summing to it. [kg]

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    tuple of (str, float)
        Words and mass. [kg]

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> [(words, round(1e3 * mass, 1)) for words, mass in balance(sheet)]
    [('to cast', 196.0), ('stays in pan and tools', 4.0), ('water that leaves', 0.0)]
    """
    parts: list[tuple[str, float]] = []
    for piece in sheet.pieces:
        each, rest = divmod(piece.count, sheet.pans)
        count, part = (piece.count, f"1/{sheet.pans} of ") if rest else (each, "")
        plural = "s" if count != 1 else ""
        mass = piece.count * piece.volume * sheet.density / sheet.pans
        parts.append((f"{part}{count} {piece.kind}{plural}", mass))
    if sheet.pieces:
        parts.append(("left over: rounded up to the scale", sheet.spare))
    else:
        parts.append(("to cast", sheet.castable))
    parts.append(("stays in pan and tools", sheet.equipment.residue_pan))
    parts.append(("water that leaves", sheet.water_lost))
    if sheet.cups:
        parts.append(("stays in the cup of syrup", sheet.cups))
    return tuple(parts)


def _grams(mass: float, digits: int = 4) -> str:
    """Write a mass for a sentence."""
    return f"{1e3 * mass:.{digits}g} g"


#: Writes a mass [kg] to so many digits, with its unit.
Say = Callable[[float, int], str]


def warnings(
    sheet: Sheet,
    found: Mapping[str, Tolerance],
    correction: Correction | None = None,
    *,
    say: Say = _grams,
) -> list[str]:
    """Return where scale or pan do not do, one sentence each; `say` writes masses."""
    said = _scale_notes(sheet, found, say)
    in_pan = sheet.in_pan if correction is None else correction.in_pan
    holds = pan_holds(sheet.mix, sheet.equipment)
    if in_pan > holds:
        said.append(
            f"{say(in_pan, 4)} fill the pan more than half; it should get "
            f"{say(holds, 4)} at most, or it boils over: cook it in more pans"
        )
    return said


def notes(
    sheet: Sheet, *, grain_volume: float | None = None, say: Say = _grams
) -> list[str]:
    """Return what there is to know about a sheet, one sentence each.

    Parameters
    ----------
    sheet : Sheet
    grain_volume : float, optional
        Of one grain of the motor, for a batch of stated mass. [m3]
    say : callable
        Writes a mass [kg] to so many digits, with its unit.

    Returns
    -------
    list of str

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> all(isinstance(note, str) for note in notes(sheet))
    True
    """
    said = []
    if grain_volume is not None and not sheet.pieces:
        mass = grain_volume * sheet.density
        count = math.floor(sheet.castable / mass + 1e-9)
        left = sheet.castable - count * mass
        grains = "grain" if count == 1 else "grains"
        said.append(
            f"enough for {count} {grains} of {say(mass, 4)} of the motor, and "
            f"{say(left, 4)} for strands and delay columns"
        )
    return said + _lot_notes(sheet, say)


def _scale_notes(sheet: Sheet, found: Mapping[str, Tolerance], say: Say) -> list[str]:
    """Say where the scale is too coarse or too small."""
    said = coarse_notes(sheet)
    tells = max(sheet.equipment.step, 2.0 * sheet.equipment.accuracy)
    for line in sheet.lines:
        tolerance = found.get(line.name)
        if tolerance is not None and tolerance.mass < tells:
            said.append(
                f"{line.typed}: it may be off by {say(tolerance.mass, 2)}, and the "
                f"scale tells no better than {say(tells, 4)}; weigh it on a finer "
                "scale or make more"
            )
        if len(line.portions) > 1:
            said.append(
                f"{line.typed}: the {scale_holds(sheet, say)}; weigh "
                f"{len(line.portions)} "
                "portions or more and write each down"
            )
        elif is_near_capacity(line, sheet):
            said.append(
                f"{line.typed}: the {scale_holds(sheet, say)}; weigh it in two "
                "portions if vessel and line together are more"
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


def scale_holds(sheet: Sheet, say: Say = _grams) -> str:
    """Say what the scale holds, and what of it the vessel takes."""
    equipment = sheet.equipment
    capacity = say(equipment.capacity or 0.0, 4)
    if equipment.vessel:
        return f"scale holds {capacity}, {say(equipment.vessel, 4)} the vessel"
    return (
        f"scale holds {capacity} with the vessel, whose own mass comes off it (state "
        "[scale] vessel)"
    )


def is_near_capacity(line: Line, sheet: Sheet) -> bool:
    """Whether a line in one portion leaves little for a vessel nobody stated."""
    capacity = sheet.equipment.capacity
    if capacity is None or sheet.equipment.vessel or len(line.portions) > 1:
        return False
    return line.mass > _NEAR * capacity


def _lot_notes(sheet: Sheet, say: Say) -> list[str]:
    """Say what is not known about the lots."""
    said = []
    for line in sheet.lines:
        if line.lot is None:
            continue
        for key, doubt in line.lot.uncertainty.items():
            basis = line.dry_in_pan if key in DRY_BASIS else line.in_pan
            said.append(
                f"{line.typed}: {key} of lot {line.lot.name!r}: known to "
                f"{100.0 * doubt:.2g} points (one standard uncertainty), "
                f"{say(doubt * basis, 2)} in this batch"
            )
        if line.lot.from_label:
            said.append(
                f"{line.typed}: dry solids {100.0 * line.lot.stated['solids']:.3g} % "
                "from the carbohydrate on the label, ash neglected; a weighed volume "
                "would narrow it"
            )
    return said


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
    at_most : float or None
        Largest mass on the scale that the user allows. [kg]
    grain_volume : float or None
        Of one grain of the motor. [m3]
    water : tuple of (float, float), or None
        95 % band of the water that leaves a pan; None without a kitchen. [kg]
    """

    sheet: Sheet
    conditions: Conditions
    tolerances: dict[str, Tolerance]
    judged: tuple[Judged, ...]
    correction: Correction | None
    within: bool | None
    at_most: float | None = None
    grain_volume: float | None = None
    water: tuple[float, float] | None = None

    def __repr__(self) -> str:
        return f"Weighing({self.sheet!r})"

    def __str__(self) -> str:
        return str(self.sheet)

    @property
    def too_much(self) -> bool:
        """Whether the sheet itself asks for more than the user allows."""
        if self.at_most is None:
            return False
        return self.sheet.steps > self.at_most / self.sheet.equipment.step + 1e-6

    def warnings(self, say: Say = _grams) -> list[str]:
        """Return where scale or pan do not do; `say` writes masses [kg]."""
        return warnings(self.sheet, self.tolerances, self.correction, say=say)

    def notes(self, say: Say = _grams) -> list[str]:
        """Return what there is to know; `say` writes masses [kg]."""
        return notes(self.sheet, grain_volume=self.grain_volume, say=say)

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

    Returns
    -------
    Weighing

    Raises
    ------
    InputError
        As for :func:`castsugar.weigh.correction.corrected`.

    See Also
    --------
    castsugar.weigh.plan : makes the sheet.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> conditions = Conditions(pressure=3e6, exit_pressure=101325.0)
    >>> found = weighing(sheet, conditions, actual={"potassium nitrate": 0.1302})
    >>> found.within
    True
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
    return Weighing(
        sheet=sheet,
        conditions=conditions,
        tolerances=found,
        judged=judged,
        correction=correction,
        within=within,
        at_most=at_most,
        grain_volume=grain_volume,
        water=_water(sheet, conditions.kitchen),
    )


def _water(sheet: Sheet, kitchen: Kitchen | None) -> tuple[float, float] | None:
    """Return the 95 % band of the water that leaves a pan. [kg]"""
    if kitchen is None:
        return None
    low, high = water_interval(sheet.charge.mix(), kitchen)
    return (low * sheet.in_pan, high * sheet.in_pan)


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
