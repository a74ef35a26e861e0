"""Kitchen, burn laws, efficiency and predictions, before and after."""

from __future__ import annotations

from typing import Any

from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import untold
from castsugar.records.learning.learnt import Learning, Moved
from castsugar.report.blocks.model import (
    Block,
    Bullets,
    Cell,
    Paragraph,
    Section,
    Table,
)
from castsugar.report.kitchen import one_digit
from castsugar.report.kitchen_belief import parameter_rows
from castsugar.report.learn_rows import Told, efficiency_row, firing_row, law_rows
from castsugar.report.learn_words import between, chance, count, id_list, three

Row = dict[str, Any]

_SIDES = ("before", "all_strands", "after")


def _cells(*texts: str) -> tuple[Cell, ...]:
    return tuple(Cell(text=text) for text in texts)


def kitchen_section(learning: Learning, told: Told) -> Section:
    """Return the parameters before and after; nothing if no batch measured any."""
    kitchen = learning.kitchen
    if len(kitchen.outcomes) == kitchen.own:
        return Section(key="kitchen", title="Kitchen", blocks=())
    before = parameter_rows(kitchen.before.belief, told.syrup)
    after = parameter_rows(kitchen.after.belief, told.syrup)
    rows = tuple(
        _cells(
            f"{old['meaning']}{', ' + old['unit'] if old['unit'] else ''}",
            three(old["value"]),
            between(*old["value_interval"]),
            three(new["value"]),
            between(*new["value_interval"]),
        )
        for old, new in zip(before, after, strict=True)
    )
    table = Table(
        heads=("", "before", "95 % band", "after", "95 % band"),
        rows=rows,
        caption="Parameters of the kitchen: median and 95 % band",
    )
    return Section(key="kitchen", title="Kitchen", blocks=(table,))


def burning_section(learning: Learning) -> Section:
    """Return the burn laws before and after; nothing without strands."""
    mixes = [row for row in law_rows(learning) if row["strands_from_batches"]]
    if not mixes:
        return Section(key="burning", title="Burn laws", blocks=())
    blocks: list[Block] = [
        Table(
            heads=("", "strands", "before", "all strands", "after"),
            rows=tuple(_rate_cells(row) for row in mixes),
            caption="Burn rate at the middle of what was burned, mm/s; in brackets "
            "95 % of the law, without the scatter of single grains",
        ),
        Table(
            heads=("", "before", "all strands", "after"),
            rows=tuple(_exponent_cells(row) for row in mixes),
            caption="Exponent n of the burn law, and its 95 %; after: what the bench "
            "file says once it is saved",
        ),
    ]
    notes = [f"{r['recipe']}: before: {_origin(r)}" for r in mixes]
    notes += [
        f"{r['recipe']}: no law from its strands: {r['reason_for_no_law']}"
        for r in mixes
        if r["reason_for_no_law"]
    ]
    notes += [f"{r['recipe']}: {text}" for r in mixes for text in r["look_again"]]
    blocks.append(Bullets(items=_cells(*notes)))
    return Section(key="burning", title="Burn laws", blocks=tuple(blocks))


def _origin(row: Row) -> str:
    return str(row["before"]["origin"]) if row["before"] else "nothing known"


def _rate_cells(row: Row) -> tuple[Cell, ...]:
    of_batches = row["strands_from_batches"]
    strands = str(row["strands"])
    if of_batches < row["strands"]:
        strands += f", {of_batches} of batches"
    return _cells(
        f"{row['recipe']} at {three(row['pressure_MPa'])} MPa",
        strands,
        *(_banded(row[side], "rate", "_mm_s") for side in _SIDES),
    )


def _exponent_cells(row: Row) -> tuple[Cell, ...]:
    return _cells(
        row["recipe"],
        *(_banded(row[side], "exponent", "") for side in _SIDES),
    )


def _banded(law: Row | None, name: str, end: str) -> str:
    if law is None:
        return "-"
    low, high = law[f"{name}_low_95{end}"], law[f"{name}_high_95{end}"]
    band = between(low, high)
    value = three(law[f"{name}{end}"])
    return value if band == "-" else f"{value} ({band})"


def efficiency_section(learning: Learning) -> Section:
    """Return the efficiency of every firing and their mean."""
    title, found = "c* efficiency", learning.firing
    if not found.firings:
        return Section(key="efficiency", title=title, blocks=())
    rows = [firing_row(f) for f in found.firings]
    table = Table(
        heads=("", "delivered over ideal c*", "u", "read anew", "remark"),
        rows=tuple(
            _cells(
                f"{r['batch']} {r['file']}",
                three(r["characteristic_velocity_efficiency"]),
                three(r["standard_uncertainty"]),
                "yes" if r["read_anew"] else "no",
                f"does not count: {r['why_not']}" if r["why_not"] else "",
            )
            for r in rows
        ),
        caption="Firings, each with its standard uncertainty u",
        words=(3, 4),
    )
    return Section(
        key="efficiency",
        title=title,
        blocks=(*(Paragraph(text=t) for t in _mean(learning)), table),
    )


def _mean(learning: Learning) -> list[str]:
    """Say what the firings say together."""
    row = efficiency_row(learning.firing.efficiency, learning)
    if row is None:
        return ["No firing tells a c* efficiency."]
    text = (
        f"Before: {_believed(learning.before)}. After: {_believed(learning.after)}. "
        f"{count(row['firings'], 'firing')} "
        f"{'says' if row['firings'] == 1 else 'say'} {row['value']:.3f}, standard "
        f"uncertainty {row['standard_uncertainty']:.2g}"
    )
    if row["firings"] > 1:
        agree = "agree" if row["probability_if_alike"] >= 0.05 else "do not agree"
        text += (
            f". The firings {agree}: chance of differing so much by their own doubts "
            f"{chance(row['probability_if_alike'])}; scatter between firings beyond "
            f"them {row['scatter_between_firings']:.2g}"
        )
    how = " (its own)"
    if row["firings"] > 1:
        how = "; random-effects weighted mean (DerSimonian and Laird, 1986)"
    said = [
        f"{text}{how}. Of the uncertainty {row['shared_standard_uncertainty']:.2g}, "
        "from calibration and the data of the ideal value, is shared by all firings "
        "and does not average out."
    ]
    if row["firings"] > 1:
        said.append(
            f"One more firing is to be expected within {row['next_percent']:.2g} % "
            "(one standard uncertainty, its own reading left out): c_star_spread = "
            f'"{row["next_percent"]:.2g} %" in [motor] lets the pressure know.'
        )
    if row["not_used_because"]:
        said.append(f"Not used for predictions: {row['not_used_because']}.")
    return said


def _believed(hardware: Hardware | None) -> str:
    """Write the efficiency that a motor has."""
    if hardware is None or hardware.efficiency is None:
        return "none known"
    return f"{hardware.efficiency:.3g}"


def moved_section(learning: Learning) -> Section:
    """Return what is predicted of the user's recipes, before and after."""
    blocks: list[Block] = []
    known = [m for m in learning.moved if not m.fault]
    cooked = [m for m in known if m.cook]
    driven = [m for m in known if "peak_pressure_MPa" in m.after]
    if cooked:
        blocks.append(
            Table(
                heads=("", "viscosity before", "after", "flow before", "after"),
                rows=tuple(_pour_cells(m) for m in cooked),
                caption="Pour viscosity, Pa s: the band in which 80 of 100 draws lie",
                words=(3, 4),
            )
        )
    if driven and learning.after is not None:
        blocks.append(
            Table(
                heads=("", "peak before", "after", "margin before", "after"),
                rows=tuple(_peak_cells(m) for m in driven),
                caption="Peak pressure, MPa absolute (95 of 100 draws below), and its "
                "margin to the pressure that the case may hold, %",
            )
        )
        blocks += _over(driven)
    items = [f"{m.name}: not predicted: {m.fault}" for m in learning.moved if m.fault]
    items += [
        f"{m.name}: no pressure is told, so no margin: {why}"
        for m in driven
        if (why := untold(m.after))
    ]
    if learning.not_shown:
        more = count(learning.not_shown, "older recipe")
        items.append(f"{more} not shown")
    if items:
        blocks.append(Bullets(items=_cells(*items)))
    return Section(key="moved", title="How predictions moved", blocks=tuple(blocks))


def _pour_cells(moved: Moved) -> tuple[Cell, ...]:
    before, after = moved.before, moved.after
    return _cells(
        f"{moved.name}, {moved.cook}",
        _pour(before),
        _pour(after),
        str(before["flow_class"]),
        str(after["flow_class"]),
    )


def _pour(row: Row) -> str:
    low, high = (row[f"pour_viscosity_{p}_Pa_s"] for p in ("p10", "p90"))
    return f"{one_digit(low)}-{one_digit(high)}"


def _peak_cells(moved: Moved) -> tuple[Cell, ...]:
    name = f"{moved.name}, {moved.cook}" if moved.cook else moved.name
    before, after = moved.before, moved.after
    return _cells(name, _peak(before), _peak(after), _margin(before), _margin(after))


def _peak(row: Row) -> str:
    best, high = row["peak_pressure_MPa"], row["peak_pressure_p95_MPa"]
    return f"{three(best)} ({three(high)})"


def _margin(row: Row) -> str:
    margin = row["pressure_margin_percent"]
    if margin < 0.0:
        return f"over by {three(-margin)}"
    return three(margin)


def _over(driven: list[Moved]) -> list[Block]:
    """Say in words which recipes may exceed what the case may hold."""
    names = [m.name for m in driven if m.after["pressure_margin_percent"] < 0.0]
    if not names:
        return []
    return [
        Paragraph(
            text=f"More than the case may hold, after what was learnt: "
            f"{id_list(names)}. Do not fire it in this case.",
            tone="strong",
        )
    ]
