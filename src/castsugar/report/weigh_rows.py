"""The weigh sheet as CSV rows and as JSON: masses in grams, units in the names."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from castsugar.data.records import Caution
from castsugar.report.data import versions
from castsugar.weigh.correction import C_STAR, PEAK, POUR, Correction
from castsugar.weigh.result import Weighing, balance
from castsugar.weigh.sheet import Line

#: Column of a table of mixes to the name of what one step does to it.
_SLOPES = {
    C_STAR: "characteristic_velocity_percent_per_step",
    PEAK: "peak_pressure_percent_per_step",
    POUR: "pour_viscosity_percent_per_step",
}


def line_rows(found: Weighing) -> list[dict[str, Any]]:
    """Return one row a line, in the order of weighing; a number missing is NaN."""
    correction = found.correction
    return [
        _line_row(found, line, count, correction)
        for count, line in enumerate(found.sheet.lines)
    ]


def _line_row(
    found: Weighing, line: Line, index: int, correction: Correction | None
) -> dict[str, Any]:
    tolerance = found.tolerances[line.name]
    step = found.sheet.equipment.step
    slopes = tolerance.per_step
    row: dict[str, Any] = {
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
        "portions_g": " + ".join(
            f"{1e3 * count * step:.10g}" for count in line.portions
        ),
        "may_be_off_g": 1e3 * tolerance.mass,
        "limited_by": tolerance.decided_by,
        "share_points_per_step": 100.0 * slopes.get("share", math.nan),
    }
    for column, name in _SLOPES.items():
        row[name] = 100.0 * slopes.get(column, math.nan)
    entry = correction.additions[index] if correction is not None else None
    actual = entry.actual if entry is not None else None
    row["actual_g"] = math.nan if actual is None else 1e3 * actual
    row["to_add_g"] = math.nan if entry is None else 1e3 * entry.add
    row["in_the_end_g"] = math.nan if entry is None else 1e3 * entry.total
    return row


def weigh_json(
    found: Weighing,
    assumed: Sequence[str],
    cautions: Sequence[Caution],
    data_version: str,
) -> dict[str, Any]:
    """Return the sheet as a JSON document, schema ``castsugar.weigh/1``."""
    sheet, conditions = found.sheet, found.conditions
    equipment = sheet.equipment
    return {
        "schema": "castsugar.weigh/1",
        "versions": versions(data_version),
        "assumptions": {
            "conditions": {
                "pressure_Pa": conditions.pressure,
                "exit_pressure_Pa": conditions.exit_pressure,
                "nozzle_flow": conditions.flow,
            },
            "scale_step_g": 1e3 * equipment.step,
            "scale_accuracy_g": 1e3 * equipment.accuracy,
            "scale_capacity_g": _grams(equipment.capacity),
            "scale_vessel_g": _grams(equipment.vessel),
            "residue_cup_g": 1e3 * equipment.residue_cup,
            "residue_pan_g": 1e3 * equipment.residue_pan,
            "not_stated": list(equipment.assumed),
            "density_ratio": sheet.density_ratio,
            "water_lost": sheet.mix.water_lost,
            "notes": list(assumed),
        },
        "dummy": sheet.charge.dummy,
        "recipe": {
            "name": sheet.charge.name,
            "mass_fraction_as_weighed": sheet.charge.shares,
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
        "balance_g": {words: 1e3 * mass for words, mass in balance(sheet)},
        "mass_on_scale_g": 1e3 * sheet.total,
        "mass_in_pan_g": 1e3 * sheet.in_pan,
        "mass_castable_g": 1e3 * sheet.castable,
        "density_of_casting_kg_m3": sheet.density,
        "lines": line_rows(found),
        "lots": [line.lot.to_dict() for line in sheet.lines if line.lot is not None],
        "mixes": [
            {"name": row.name, "status": row.status, **row.values, "flags": row.flags}
            for row in found.judged
        ],
        "correction": _correction(found),
        "notes": list(found.notes),
        "cautions": [caution.text for caution in cautions],
    }


def _correction(found: Weighing) -> dict[str, Any] | None:
    correction = found.correction
    if correction is None:
        return None
    off = correction.take_off
    return {
        "possible": correction.possible,
        "reason": correction.reason,
        "every_line_weighed": correction.complete,
        "within_tolerance": found.within,
        "mass_in_pan_over_sheet": correction.factor,
        "mass_on_scale_g": 1e3 * correction.total,
        "largest_distance_from_ratio_g": 1e3 * correction.worst,
        "or_take_off": None
        if off is None
        else {"ingredient": off[0], "mass_g": 1e3 * off[1]},
    }


def _grams(mass: float | None) -> float | None:
    return None if mass is None else 1e3 * mass
