"""Documents of blocks: the remarks that they begin with."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from castsugar.report.blocks.model import Document


def with_remarks(options: argparse.Namespace, document: Document) -> Document:
    """Return a document that begins with the remarks on unusual values."""
    from castsugar.report.blocks.model import Paragraph, Section

    if not getattr(options, "remarks", None):
        return document
    blocks = tuple(Paragraph(text=one.text, tone="strong") for one in options.remarks)
    first = Section(key="unusual", title="Unusual values", blocks=blocks)
    return replace(document, sections=(first, *document.sections))
