"""Where the doubt comes from, what would settle it, what would overturn a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.comparison.change import NEW, Change
from castsugar.comparison.claims import Overturn
from castsugar.comparison.compare import CANNOT_TELL, Comparison
from castsugar.comparison.uncertain_inputs import Input
from castsugar.report.blocks.model import (
    Block,
    Bullets,
    Cell,
    Paragraph,
    Section,
    Table,
)
from castsugar.report.change.effects import listed
from castsugar.report.change.limits import test_for
from castsugar.report.change.words import plain_label
from castsugar.report.layout import number

#: So many inputs of a column are named, those above such a share of the variance.
_NAMED, _LEAST = 3, 0.05

#: So many columns are named where an input comes first in many.
_SHOWN = 2


def doubt_section(change: Change) -> Section:
    """Return which inputs dominate the doubt, and which test would settle it."""
    blocks: list[Block] = [
        Paragraph(
            text="Shares of the variance of each difference. What stands first is what "
            "to measure better first."
        ),
        shares_table(change.comparison, NEW),
        tests_table(change.comparison, (NEW,)),
    ]
    return Section(
        key="doubt", title="Where the doubt comes from", blocks=tuple(blocks)
    )


def shares_table(comparison: Comparison, mix: int) -> Table:
    """Return the largest parts of the doubt of every column."""
    rows = []
    for column in listed(comparison):
        cell = comparison.cells[mix][column]
        parts = [p for p in cell.parts[:_NAMED] if p.share >= _LEAST]
        told = "; ".join(
            f"{p.input.label} {number(100.0 * p.share, 0)} %" for p in parts
        )
        rows.append((Cell(text=plain_label(column)), Cell(text=told or "nothing")))
    return Table(
        heads=("doubt of the difference in", "from"), rows=tuple(rows), words=(1,)
    )


def tests_table(comparison: Comparison, mixes: Sequence[int]) -> Table:
    """Return what to do about the inputs that come first somewhere."""
    firsts: dict[str, tuple[Input, list[str]]] = {}
    for mix in mixes:
        for cell in comparison.cells[mix].values():
            if cell.parts:
                one, name = cell.parts[0].input, plain_label(cell.column)
                columns = firsts.setdefault(one.key, (one, []))[1]
                columns += [name] if name not in columns else []
    rows = tuple(
        (
            Cell(text=one.label),
            Cell(text=_size(one)),
            Cell(text=_first(columns)),
            Cell(text=_test(one)),
        )
        for one, columns in firsts.values()
    )
    return Table(
        heads=("input", "known to", "first in", "what would settle it"),
        rows=rows,
        words=(1, 2, 3),
    )


def _first(columns: list[str]) -> str:
    """Return the columns in which an input comes first, the first few by name."""
    more = len(columns) - _SHOWN
    shown = ", ".join(columns[:_SHOWN])
    return f"{shown} and {more} more" if more > 0 else shown


def _size(one: Input) -> str:
    """Return how well an input is known."""
    sign = "+" if one.half else "\u00b1"
    return f"{sign}{one.uncertainty:.3g} {one.unit}".rstrip()


def _test(one: Input) -> str:
    """Return what would settle an input, with the sources that conflict."""
    text = test_for(one)
    return f"{text}. Sources conflict: {one.conflict}" if one.conflict else text


def overturn_section(change: Change) -> Section:
    """Return what would overturn the verdicts."""
    firm = [plain_label(one.column) for one in change.overturns if _is_firm(one)]
    items = tuple(
        Cell(text=_overturn(one)) for one in change.overturns if not _is_firm(one)
    )
    if firm:
        told = (
            "no single input within 10 of its standard uncertainties would turn round: "
        )
        items = (*items, Cell(text=told + ", ".join(firm)))
    return Section(
        key="overturn",
        title="What would overturn this",
        blocks=(
            Bullets(items=items),
            Paragraph(
                text="A firing or a strand that contradicts these numbers counts more "
                "than they do.",
            ),
        ),
    )


def _is_firm(one: Overturn) -> bool:
    """Say whether no input within reach turns a verdict round."""
    return one.input is not None and math.isinf(one.steps)


def _overturn(one: Overturn) -> str:
    """Return what stands against the verdict on one column."""
    name = plain_label(one.column)
    if one.input is None:
        return f"{name}: {one.verdict}; nothing that is uncertain moves the difference"
    if one.verdict == CANNOT_TELL:
        if one.alone:
            return f"{name}: cannot tell; settled once {one.input.label} is known"
        return (
            f"{name}: cannot tell, and no single input would settle it; most of the "
            f"doubt ({number(100.0 * one.share, 0)} %) is {one.input.label}"
        )
    if math.isnan(one.steps):
        return f"{name}: {one.verdict}; most of the doubt is {one.input.label}"
    far = abs(one.steps) * one.input.uncertainty
    way = "higher" if one.steps > 0.0 else "lower"
    return (
        f"{name}: {one.verdict}; it would vanish if {one.input.label} were {far:.3g} "
        f"{one.input.unit} {way} than taken ({abs(one.steps):.1f} of its standard "
        "uncertainties)"
    )
