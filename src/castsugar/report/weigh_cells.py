"""Masses, shares and effects of a weigh sheet as cells of tables."""

from __future__ import annotations

import math

from castsugar.columns import COLUMN
from castsugar.report.blocks.model import Cell, Table
from castsugar.report.kitchen import column_text
from castsugar.report.layout import number
from castsugar.weigh.correction import C_STAR, LOOKED_AT, PEAK, POUR, Tolerance
from castsugar.weigh.result import Weighing, balance
from castsugar.weigh.sheet import Line, Sheet

#: Shown of the sheet alone: it jumps beside a mix whose strands were burned.
HIGH = "peak_pressure_p95_MPa"

#: Room to write by hand.
_ROOM = 14 * "_"

#: Most decimals of a gram.
_MOST_DECIMALS = 4


def step_decimals(step: float) -> int:
    """Return the decimals of a gram that a step of the scale needs.

    Examples
    --------
    >>> [step_decimals(step) for step in (1e-3, 5e-4, 1e-4, 2e-5)]
    [0, 1, 1, 2]
    """
    for decimals in range(_MOST_DECIMALS):
        size = 1e3 * step * 10**decimals
        if round(size) >= 1 and abs(size - round(size)) < 1e-6:
            return decimals
    return _MOST_DECIMALS


def grams(mass: float, sheet: Sheet, *, more: int = 0, least: int = 0) -> str:
    """Write a mass in grams with the decimals of the scale, `more` or `least`."""
    decimals = max(step_decimals(sheet.equipment.step) + more, least)
    return number(1e3 * mass, decimals)


def percent(fraction: float, decimals: int) -> str:
    """Write a fraction in percent."""
    return number(100.0 * fraction, decimals)


def reasons(tolerance: Tolerance, line: Line) -> str:
    """Say what decides a tolerance."""
    words = {
        "share": "share by 0.5 points" if line.share > 0.05 else "a tenth of itself",
        "c*": "c* by 1 %",
        "pressure": "peak pressure by 5 %",
        "pour": "pour viscosity by 20 %",
    }
    return words[tolerance.decided_by]


def may_be_off(tolerance: Tolerance) -> str:
    """Write a tolerance in grams, rounded down to two digits; a dash without one."""
    if not math.isfinite(tolerance.mass):
        return "-"
    size = 1e3 * tolerance.mass
    decimals = max(0, 1 - math.floor(math.log10(size)))
    return f"{math.floor(size * 10**decimals + 1e-9) / 10**decimals:.{decimals}f}"


def balance_table(sheet: Sheet) -> Table:
    """Return where the mass on the scale goes."""
    rows = [
        (Cell(text=words), Cell(text=grams(mass, sheet, least=1)))
        for words, mass in balance(sheet)
    ]
    total = (
        Cell(text="on the scale", tone="strong"),
        Cell(text=grams(sheet.total, sheet, least=1), tone="strong"),
    )
    return Table(heads=("", "g"), rows=(*rows, total))


def lines_table(found: Weighing) -> Table:
    """Return the lines in the order of weighing; shares of the masses as rounded."""
    sheet = found.sheet
    dry = math.fsum(line.dry_in_pan for line in sheet.lines)
    rows = [
        (
            Cell(text=f"{count} {line.typed}"),
            Cell(text=grams(line.mass, sheet), tone="strong"),
            Cell(text=percent(line.in_pan / sheet.in_pan, 2)),
            Cell(text=grams(line.dry, sheet)),
            Cell(text=percent(line.dry_in_pan / dry if dry else math.nan, 2)),
            Cell(text=may_be_off(found.tolerances[line.name])),
        )
        for count, line in enumerate(sheet.lines, start=1)
    ]
    total = (
        Cell(text="together", tone="strong"),
        Cell(text=grams(sheet.total, sheet), tone="strong"),
        Cell(text=""),
        Cell(text=grams(sheet.dry, sheet)),
        Cell(text=""),
        Cell(text=""),
    )
    heads = (
        "",
        "weigh, as is g",
        "in the pan %",
        "of it dry g",
        "in the pan, dry %",
        "may be off ± g",
    )
    return Table(
        heads=heads,
        rows=(*rows, total),
        caption=f"in steps of {1e3 * sheet.equipment.step:g} g",
    )


def boxes_table(found: Weighing) -> Table:
    """Return the lines with room to write: actual mass, lot, initials."""
    room = Cell(text=_ROOM)
    rows = [
        (
            Cell(text=f"{count} {line.typed}"),
            Cell(text=grams(line.mass, found.sheet), tone="strong"),
            room,
            room if line.lot is None else Cell(text=line.lot.name),
            room,
        )
        for count, line in enumerate(found.sheet.lines, start=1)
    ]
    return Table(
        heads=("", "weigh g", "actual g", "lot", "initials"),
        rows=tuple(rows),
        caption="Written down while weighing",
    )


def effects_table(found: Weighing) -> Table:
    """Return what one step of the scale does, line by line."""
    columns = (("c* %", C_STAR), ("peak pressure %", PEAK), ("pour viscosity %", POUR))
    shown = [
        (head, key)
        for head, key in columns
        if any(
            math.isfinite(t.per_step.get(key, math.nan))
            for t in found.tolerances.values()
        )
    ]
    rows = []
    for line in found.sheet.lines:
        tolerance = found.tolerances[line.name]
        slopes = tolerance.per_step
        rows.append(
            (
                Cell(text=line.typed),
                Cell(text=percent(slopes.get("share", math.nan), 3)),
                *(Cell(text=percent(slopes.get(key, math.nan), 3)) for _, key in shown),
                Cell(text=reasons(tolerance, line)),
            )
        )
    heads = ("", "share points", *(head for head, _ in shown), "what limits the line")
    return Table(
        heads=heads,
        rows=tuple(rows),
        caption="One step of the scale moves about",
        words=(len(heads) - 1,),
    )


def mixes_table(found: Weighing) -> Table:
    """Return the mix of the sheet, as weighed and as corrected."""
    rows = []
    for key in LOOKED_AT:
        values = [row.values[key] for row in found.judged]
        column = COLUMN[key]
        if column.decimals is None:
            texts = [str(value) for value in values]
            empty = all(text.startswith("not ") for text in texts)
        else:
            texts = [column_text(column, float(value)) for value in values]
            if key == HIGH:
                texts[1:] = ["-"] * len(texts[1:])
            empty = all(isinstance(v, float) and math.isnan(v) for v in values)
        if empty:
            continue
        label = f"{column.label} [{column.unit}]" if column.unit else column.label
        rows.append((Cell(text=label), *(Cell(text=text) for text in texts)))
        if key == HIGH:
            rows += _case_rows(found)
        if key == POUR and len(values) > 1:
            ratios = [number(ratio, 2) for ratio in found.against_sheet(POUR)]
            rows.append(
                (Cell(text="the same over that of the sheet"), *map(_cell, ratios))
            )
    heads = ("", *(row.name for row in found.judged))
    return Table(heads=heads, rows=tuple(rows))


def _case_rows(found: Weighing) -> list[tuple[Cell, ...]]:
    """Return what the case may hold, and the margin of the 95 % pressure below it."""
    motor, high = found.conditions.motor, float(found.judged[0].values[HIGH])
    rest = [_cell("-")] * (len(found.judged) - 1)
    holds = math.nan if motor is None else 1e-6 * motor.allowable
    label = "what the case may hold [MPa]"
    if not math.isfinite(holds):
        return [(_cell(label), _cell("not stated"), *rest)]
    margin = percent((holds - high) / holds, 0) if math.isfinite(high) else "none"
    return [
        (_cell(label), _cell(number(holds, 1)), *rest),
        (_cell("margin of the 95 % pressure [%]"), _cell(margin), *rest),
    ]


def correction_table(found: Weighing) -> Table:
    """Return what is weighed, what to add, and what it comes to."""
    sheet, correction = found.sheet, found.correction
    additions = correction.additions if correction is not None else ()
    rows = []
    for line, entry in zip(sheet.lines, additions, strict=True):
        weighed = "-" if entry.actual is None else grams(entry.actual, sheet)
        verb = "weigh" if entry.actual is None else "add"
        doing = f"{verb} {grams(entry.add, sheet)}" if entry.steps else "nothing"
        rows.append(
            (
                Cell(text=line.typed),
                Cell(text=grams(line.mass, sheet)),
                Cell(text=weighed),
                Cell(text=doing, tone="strong" if entry.steps else ""),
                Cell(text=grams(entry.total, sheet)),
            )
        )
    heads = ("", "sheet g", "weighed g", "do g", "then g")
    return Table(heads=heads, rows=tuple(rows))


def _cell(text: str) -> Cell:
    return Cell(text=text)
