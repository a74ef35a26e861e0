"""The limits, with margins and shares of the draws that keep them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.comparison.change import Change
from castsugar.comparison.limits import JudgedLimit, LimitVerdict
from castsugar.report.blocks.model import Block, Cell, Paragraph, Section, Table
from castsugar.report.change.words import (
    beside,
    chance_text,
    limit_text,
    standing_box,
    three_digits,
    value_text,
)
from castsugar.report.layout import number

_NONE = (
    "No limits were given. In a bench file, [limits] holds them: pressure of the case, "
    "pour viscosity, setting."
)

#: Decimals that a value beside a limit has at most.
_MOST = 4

_NOTES = (
    "A limit with a chance is held against the value that so many of 100 draws of "
    "kitchen or motor keep, as in a search; one without against the best estimate, and "
    "the last column says how many draws of everything uncertain keep it.",
    "A pressure limit rests on an estimate about an unproved case.",
)


def limits_section(change: Change, pressure: str, more: Sequence[Block]) -> Section:
    """Return the section on limits, pictures of them at its end."""
    if not change.limits:
        blocks: tuple[Block, ...] = (Paragraph(text=_NONE, tone="soft"), *more)
        return Section(key="limits", title="Limits and margins", blocks=blocks)
    rows = tuple(
        (
            Cell(text=f"{word}: {limit_text(held, pressure)}"),
            standing_box(held, standing),
            Cell(text=_value(held, standing, pressure)),
            Cell(text=_margin(standing)),
            Cell(text=chance_text(standing.share)),
        )
        for held in change.limits
        for word, standing in zip(("now", "new"), held.standings, strict=True)
    )
    table = Table(
        heads=("limit", "", "held against it", "margin", "draws that keep it"),
        rows=rows,
        words=(1,),
    )
    notes = [Paragraph(text=text, tone="soft") for text in _NOTES]
    return Section(
        key="limits", title="Limits and margins", blocks=(table, *notes, *more)
    )


def _value(held: JudgedLimit, standing: LimitVerdict, pressure: str) -> str:
    """Return what is held against a limit."""
    text = value_text(held.column, standing.value)
    if math.isfinite(standing.value):
        text = three_digits(standing.value, _MOST)
    if held.column.startswith("chamber_pressure"):
        text += beside(standing.value, pressure)
    return text


def _margin(standing: LimitVerdict) -> str:
    """Return the margin in percent of the limit."""
    if not math.isfinite(standing.margin):
        return "-" if math.isnan(standing.margin) else "beyond"
    return f"{number(100.0 * standing.margin, 0)} %".replace("-", "\u2212")
