"""Mixes side by side: the document of ``castsugar compare``, and its rows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.comparison.compare import BETTER, RULE, Comparison
from castsugar.report.blocks.model import (
    Block,
    Bullets,
    Cell,
    Document,
    Figure,
    Paragraph,
    Section,
    Table,
)
from castsugar.report.change.best import best_tables, firing_rows
from castsugar.report.change.document import (
    assumptions_section,
    cautions_section,
    foot,
    reproduce_section,
    second_section,
)
from castsugar.report.change.doubt import shares_table, tests_table
from castsugar.report.change.effects import (
    MIDDLE,
    closing,
    differences_table,
    listed,
    values_table,
)
from castsugar.report.change.words import (
    Asked,
    chance_text,
    composition,
    is_ratio,
    is_same,
    label,
    plain_label,
)
from castsugar.report.difference_plot import difference_plots
from castsugar.report.layout import letters

SCHEMA = "castsugar.compare/1"

Rows = Sequence[Mapping[str, Any]]

#: So many mixes stand side by side in one table of values.
_SIDE = 2


def comparison_document(comparison: Comparison, rows: Rows, asked: Asked) -> Document:
    """Return mixes side by side, as a document.

    Parameters
    ----------
    comparison : Comparison
        Of two mixes or more.
    rows : sequence of mappings
        Full rows of the table.
    asked : Asked
    """
    names = letters(len(comparison.names))
    base = comparison.baseline
    others = [k for k in range(len(names)) if k != base]
    sections = [
        _legend(comparison, names, rows),
        _values(comparison, names, rows, asked),
        *(_against(comparison, names, mix) for mix in others),
        _settling(comparison, others),
        _picture(comparison, names),
        _best(comparison, names),
        _scale(comparison, names),
        second_section(tuple(rows), tuple(names)),
        cautions_section(asked),
        assumptions_section(asked),
        reproduce_section(
            asked, seed=comparison.draws.seed, draws=comparison.draws.count
        ),
    ]
    return Document(
        title="Mixes side by side",
        subtitle=f"held against {names[base]}: {comparison.names[base]}",
        sections=tuple(sections),
        foot=foot(asked),
    )


def comparison_rows(comparison: Comparison, rows: Rows, asked: Asked) -> dict[str, Any]:
    """Return mixes side by side as plain values, units in the keys."""
    mixes = comparison.draws.outlook.mixes
    return {
        "schema": SCHEMA,
        "versions": dict(asked.versions),
        "command": asked.command,
        "bench": asked.bench,
        "files": dict(asked.files),
        **comparison.to_dict(),
        "notes": [*comparison.notes, *asked.notes],
        "recipes_as_weighed": [mix.to_dict() for mix in mixes],
        "rows": [dict(row) for row in rows],
        "firings": firing_rows(comparison.names, asked.fired),
        "assumptions": list(asked.assumptions),
        "cautions": [caution.text for caution in asked.cautions],
    }


def _legend(comparison: Comparison, names: Sequence[str], rows: Rows) -> Section:
    """Return which letter is which mix, and what is special about it."""
    items = []
    for place, (name, row) in enumerate(zip(names, rows, strict=True)):
        mix = comparison.draws.outlook.mixes[place]
        text = f"{name}: {mix.name} ({composition(mix)})"
        if place == comparison.baseline:
            text += ", the baseline"
        elif is_same(comparison, place):
            text += f", the same recipe as {names[comparison.baseline]}"
        items.append(Cell(text=text))
        texts = [] if row["status"] == "ok" else [str(row["status"])]
        texts += [t for t in str(row["flags"]).split("; ") if t]
        items += [Cell(text=f"{name}: {t}", tone="strong") for t in texts]
    return Section(
        key="mixes", title="The mixes", blocks=(Bullets(items=tuple(items)),)
    )


def _values(
    comparison: Comparison, names: Sequence[str], rows: Rows, asked: Asked
) -> Section:
    """Return the values of all mixes, a few side by side."""
    blocks: list[Block] = [
        values_table(comparison, names[at : at + _SIDE], range(at, _end(names, at)))
        for at in range(0, len(names), _SIDE)
    ]
    blocks.append(Paragraph(text=MIDDLE, tone="soft"))
    for at in range(0, len(names), _SIDE):
        end = _end(names, at)
        blocks += best_tables(names[at:end], rows[at:end], asked.fired[at:end])
    blocks += closing(comparison)
    blocks += [Paragraph(text=f"{n[:1].upper()}{n[1:]}.") for n in asked.notes]
    return Section(key="values", title="What each mix does", blocks=tuple(blocks))


def _end(names: Sequence[str], at: int) -> int:
    return min(at + _SIDE, len(names))


def _against(comparison: Comparison, names: Sequence[str], mix: int) -> Section:
    """Return one mix held against the baseline."""
    base = names[comparison.baseline]
    return Section(
        key=f"against-{names[mix].lower()}",
        title=f"{names[mix]} held against {base}",
        blocks=(
            differences_table(comparison, mix),
            shares_table(comparison, mix),
        ),
    )


def _settling(comparison: Comparison, mixes: Sequence[int]) -> Section:
    """Return what to measure, for all mixes at once."""
    return Section(
        key="settle",
        title="What would settle it",
        blocks=(tests_table(comparison, mixes),),
    )


def _picture(comparison: Comparison, names: Sequence[str]) -> Section:
    """Return the differences of all mixes as a picture."""
    return Section(
        key="differences",
        title="Differences to the baseline",
        blocks=(
            Figure(
                svg=difference_plots(comparison),
                caption=f"Difference to {names[comparison.baseline]}, with 95 % "
                "intervals. An interval that touches the middle line decides nothing.",
            ),
            Paragraph(text=f"Rule of the verdict: {RULE}.", tone="soft"),
        ),
    )


def _best(comparison: Comparison, names: Sequence[str]) -> Section:
    """Return the probability of being the best, where the trade agrees what is good."""
    columns = [c for c in listed(comparison) if c in BETTER]
    rows = tuple(
        (
            Cell(text=f"{label(column)} ({BETTER[column]} is better)"),
            *(Cell(text=chance_text(own[column].best)) for own in comparison.cells),
        )
        for column in columns
    )
    return Section(
        key="best",
        title="Probability of being the best of these",
        blocks=(Table(heads=("", *names), rows=rows),),
    )


def _scale(comparison: Comparison, names: Sequence[str]) -> Section:
    """Return what one step of the scale too much does."""
    step = 1e3 * comparison.scale_step
    rows = tuple(
        (
            Cell(text=_in_percent(column)),
            *(_step(column, own[column].one_step) for own in comparison.cells),
        )
        for column in listed(comparison)
    )
    batch = 1e3 * comparison.draws.outlook.doubts.batch
    return Section(
        key="scale",
        title=f"One step of the scale too much ({step:g} g in {batch:g} g)",
        blocks=(
            Table(
                heads=("largest change, any one item", *names),
                rows=rows,
                caption="Small beside the intervals above means that a finer scale "
                "buys nothing.",
            ),
        ),
    )


def _in_percent(column: str) -> str:
    """Return what a row is called; ratios are told in percent."""
    return f"{plain_label(column)}, %" if is_ratio(column) else label(column)


def _step(column: str, change: float) -> Cell:
    """Return the effect of one step of the scale."""
    if not math.isfinite(change):
        return Cell(text="-")
    if is_ratio(column):
        change = 100.0 * math.expm1(change)
    if change == 0.0:
        return Cell(text="0")
    digits = max(1 - math.floor(math.log10(abs(change))), 0)
    text = f"{float(f'{change:.2g}'):+.{digits}f}"
    return Cell(text=text.replace("-", "\u2212"))
