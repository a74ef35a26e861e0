"""A sheet with everything that was found out about it, ready for a report."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.workshop.weigh.accounts import notes
from castsugar.workshop.weigh.correct import Correction, corrected
from castsugar.workshop.weigh.judging import Conditions, Judged, judge
from castsugar.workshop.weigh.sheet import Sheet
from castsugar.workshop.weigh.tolerance import Tolerance, tolerances


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
        As for :func:`castsugar.workshop.weigh.correct.corrected`.
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
