"""The weigh sheet as CSV and JSON: masses in grams, whatever is shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, TEXT, Field, keyed
from castsugar.report.limit_words import Judged, limit_rows
from castsugar.weigh.correction import C_STAR, PEAK, POUR, Correction
from castsugar.weigh.result import Weighing, balance
from castsugar.weigh.sheet import Line

#: Column of a table of mixes to the name of what one step does to it.
_SLOPES = {
    C_STAR: "characteristic_velocity_percent_per_step",
    PEAK: "peak_pressure_percent_per_step",
    POUR: "pour_viscosity_percent_per_step",
}


#: One line of the sheet.
LINES: tuple[Field, ...] = keyed(
    ("order", "number", "of weighing, from 1"),
    ("ingredient", TEXT, "name in the catalogue"),
    ("typed", TEXT, "name as typed"),
    ("kind", TEXT, "syrup, liquid, minor, powder or oxidizer"),
    ("lot", TEXT, "that it is weighed from"),
    ("share_as_weighed_percent", "number", "of the mix as weighed"),
    ("share_dry_percent", "number", "of the mix as weighed without any water"),
    (
        "mass_to_weigh_g",
        "mass",
        "in steps of the scale, what stays in the cup included",
    ),
    ("mass_before_rounding_g", "mass", "exactly in the ratio"),
    ("mass_dry_g", "mass", "of the mass to weigh, without its water"),
    ("stays_in_cup_g", "mass", "of the mass to weigh"),
    ("portions_g", TEXT, "where the scale does not hold all at once"),
    ("may_be_off_g", "mass", "either way; empty for a single line"),
    ("limited_by", TEXT, "what decides how far it may be off"),
    (
        "share_points_per_step",
        "number",
        "its share of the mix, for one step of the scale",
    ),
    *((key, "number", "change for one step of the scale") for key in _SLOPES.values()),
    ("actual_g", "mass", "what the scale showed"),
    ("to_add_g", "mass", "to meet the ratio"),
    ("in_the_end_g", "mass", "on the scale"),
)

#: The document ``castsugar.weigh/2``.
PARTS: dict[str, Part] = {
    "dummy": Part(meaning="whether a salt stands in for the oxidizer"),
    "recipe": Part(meaning="name, mass fractions as weighed by catalogue name"),
    "equipment": Part(meaning="scale and residues in g, and what nobody stated"),
    "pieces": Part(meaning="what is cast of all pans", many=True),
    "pans": Part(meaning="so many alike; all masses are of one"),
    "balance_g": Part(meaning="where the mass of a pan goes"),
    "mass_on_scale_g": Part(meaning="of one pan"),
    "mass_in_pan_g": Part(meaning="of one pan"),
    "mass_castable_g": Part(meaning="of one pan"),
    "water_leaves_g": Part(meaning="of one pan; with its 95 % band"),
    "density_of_casting_kg_m3": Part(meaning="voids included"),
    "density_ratio": Part(meaning="of the casting over the theoretical density"),
    "water_lost": Part(meaning="share of the recipe's water that leaves"),
    "lines": Part(meaning="in the order of weighing", fields=LINES, many=True),
    "lots": Part(meaning="of the lines that have one", many=True),
    "mixes": Part(
        meaning="sheet, as weighed, corrected", fields=(*FIELDS.values(),), many=True
    ),
    "limits": Part(meaning="of the bench, held against the sheet", many=True),
    "correction": Part(meaning="null if nothing was weighed"),
    "notes": Part(meaning="in words"),
}


def line_rows(found: Weighing) -> list[dict[str, Any]]:
    """Return one row a line, in the order of weighing; a number missing is NaN."""
    return [_line_row(found, line, i) for i, line in enumerate(found.sheet.lines)]


def _line_row(found: Weighing, line: Line, index: int) -> dict[str, Any]:
    tolerance, step = found.tolerances[line.name], found.sheet.equipment.step
    slopes, correction = tolerance.per_step, found.correction
    entry = correction.additions[index] if correction is not None else None
    actual = entry.actual if entry is not None else None
    portions = (numbers.typed(1e3 * count * step) for count in line.portions)
    return {
        "order": index + 1,
        "ingredient": line.name,
        "typed": line.typed,
        "kind": line.kind,
        "lot": line.lot.name if line.lot is not None else "",
        "share_as_weighed_percent": 100.0 * line.share,
        "share_dry_percent": 100.0 * line.dry_share,
        "mass_to_weigh_g": 1e3 * line.mass,
        "mass_before_rounding_g": 1e3 * line.exact,
        "mass_dry_g": 1e3 * line.dry,
        "stays_in_cup_g": 1e3 * line.cup,
        "portions_g": " + ".join(portions),
        "may_be_off_g": 1e3 * tolerance.mass,
        "limited_by": tolerance.decided_by,
        "share_points_per_step": 100.0 * slopes.get("share", math.nan),
        **{n: 100.0 * slopes.get(c, math.nan) for c, n in _SLOPES.items()},
        "actual_g": math.nan if actual is None else 1e3 * actual,
        "to_add_g": math.nan if entry is None else 1e3 * entry.add,
        "in_the_end_g": math.nan if entry is None else 1e3 * entry.total,
    }


def weigh_parts(found: Weighing, judged: Sequence[Judged]) -> dict[str, Any]:
    """Return what the JSON of a sheet holds, see :data:`PARTS`."""
    sheet, equipment = found.sheet, found.sheet.equipment
    capacity, vessel = (
        None if m is None else 1e3 * m for m in (equipment.capacity, equipment.vessel)
    )
    water = found.water or (math.nan, math.nan)
    return {
        "dummy": sheet.charge.dummy,
        "recipe": {
            "name": sheet.charge.name,
            "mass_fraction_as_weighed": sheet.charge.shares,
        },
        "equipment": {
            "scale_step_g": 1e3 * equipment.step,
            "scale_unit": equipment.unit,
            "scale_accuracy_g": 1e3 * equipment.accuracy,
            "scale_capacity_g": capacity,
            "scale_vessel_g": vessel,
            "residue_cup_g": 1e3 * equipment.residue_cup,
            "residue_pan_g": 1e3 * equipment.residue_pan,
            "not_stated": list(equipment.assumed),
        },
        "pieces": [
            {
                "kind": piece.kind,
                "count": piece.count,
                "volume_each_cm3": 1e6 * piece.volume,
                "size": piece.size,
            }
            for piece in sheet.pieces
        ],
        "pans": sheet.pans,
        "balance_g": {words: 1e3 * mass for words, mass in balance(sheet)},
        "mass_on_scale_g": 1e3 * sheet.total,
        "mass_in_pan_g": 1e3 * sheet.in_pan,
        "mass_castable_g": 1e3 * sheet.castable,
        "water_leaves_g": 1e3 * sheet.water_lost,
        "water_leaves_g_interval": [1e3 * mass for mass in water],
        "density_of_casting_kg_m3": sheet.density,
        "density_ratio": sheet.density_ratio,
        "water_lost": sheet.mix.water_lost,
        "lines": line_rows(found),
        "lots": [line.lot.to_dict() for line in sheet.lines if line.lot is not None],
        "mixes": [
            {**one.values, **{k: v for k, v in one.row.items() if k in FIELDS}}
            for one in found.judged
        ],
        "limits": limit_rows(["sheet"], [judged]),
        "correction": _correction(found.correction, found.within),
        "notes": [*found.warnings(), *found.notes()],
    }


def _correction(
    correction: Correction | None, within: bool | None
) -> dict[str, Any] | None:
    if correction is None:
        return None
    off = correction.take_off
    return {
        "possible": correction.possible,
        "reason": correction.reason,
        "every_line_weighed": correction.complete,
        "within_tolerance": within,
        "mass_in_pan_over_sheet": correction.factor,
        "mass_on_scale_g": 1e3 * correction.total,
        "largest_distance_from_ratio_g": 1e3 * correction.worst,
        "or_take_off": None
        if off is None
        else {"ingredient": off[0], "mass_g": 1e3 * off[1]},
    }
