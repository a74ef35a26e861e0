"""Documents of blocks: how they are printed, and their pages."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar.plain import to_json

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


def deliver_document(
    options: argparse.Namespace, document: Document, rows: dict[str, Any]
) -> None:
    """Print a document as asked for, and write its page."""
    from castsugar.cli.output import put, remarked, write_file
    from castsugar.report.blocks.html import to_html
    from castsugar.report.blocks.markdown import to_markdown
    from castsugar.report.blocks.text import to_text

    document = with_remarks(options, document)
    marks = [note for note in rows.get("notes", []) if note.startswith("INCOMPLETE")]
    if marks:
        document = replace(document, subtitle="; ".join([*marks, document.subtitle]))
    if options.json:
        text = remarked(options, to_json(rows))
    else:
        text = to_markdown(document) if options.markdown else to_text(document)
    page = to_html(document) if options.page else ""
    put(options, text)
    if options.page:
        write_file(options, options.page, page)
