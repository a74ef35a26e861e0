"""Documents: put together once of plain blocks, written as text, Markdown or HTML."""

from __future__ import annotations

from castsugar.report.blocks.model import (
    Blanks,
    Block,
    Bullets,
    Cell,
    Document,
    Figure,
    Panel,
    Paragraph,
    Section,
    Table,
)

__all__ = [
    "Blanks",
    "Block",
    "Bullets",
    "Cell",
    "Document",
    "Figure",
    "Panel",
    "Paragraph",
    "Section",
    "Table",
]
