"""A document as text for a screen of 80 columns."""

from __future__ import annotations

from collections.abc import Sequence

from castsugar.report.blocks.check import checked, cited
from castsugar.report.blocks.model import (
    Blanks,
    Block,
    Bullets,
    Document,
    Figure,
    Panel,
    Paragraph,
    Table,
)
from castsugar.report.blocks.plain import clean, filled, hung, sourced, span
from castsugar.report.blocks.text_table import table_lines
from castsugar.report.layout import WIDTH

#: Columns that a blank for handwriting has at least.
_LEAST_BLANK = 20


def to_text(document: Document) -> str:
    """Return a document as text, ending with a line feed.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
        No line is wider than 80 columns. Tables that are wider stand row by row.

    Raises
    ------
    InputError
        If the document cannot be written, see ``checked`` of the module ``check``.

    Examples
    --------
    >>> from castsugar.report.blocks import Paragraph, Section
    >>> words = Paragraph(text="It changes less than it is known.")
    >>> section = Section(key="answer", title="Answer", blocks=(words,))
    >>> print(to_text(Document(title="A", subtitle="", sections=(section,))), end="")
    A
    <BLANKLINE>
    Answer
      It changes less than it is known.
    """
    checked(document)
    parts = [hung(document.title, "")]
    if document.subtitle:
        parts[0] += hung(document.subtitle, "")
    parts += [
        hung(section.title, "") + _block_lines(section.blocks)
        for section in document.sections
    ]
    sources = cited(document)
    if sources:
        listed = (
            hung(f"[{clean(key)}] {text}", "      ", "  ")
            for key, text in sources.items()
        )
        parts.append(["Sources", *(line for lines in listed for line in lines)])
    if document.foot:
        parts.append([line for text in document.foot for line in hung(text, "  ", "")])
    return "\n\n".join("\n".join(lines) for lines in parts) + "\n"


def _block_lines(blocks: Sequence[Block]) -> list[str]:
    """Return the lines of some blocks; an empty one apart from what is short."""
    lines: list[str] = []
    before = False
    for block in blocks:
        new = _lines(block)
        if not new:
            continue
        short = isinstance(block, Paragraph | Figure) and len(new) == 1
        if lines and not (short and before):
            lines.append("")
        lines += new
        before = short
    return lines


def _lines(block: Block) -> list[str]:
    """Return the lines of one block."""
    match block:
        case Paragraph():
            return hung(
                block.text,
                "     " if block.tone == "strong" else "  ",
                "  >> " if block.tone == "strong" else None,
            )
        case Bullets():
            mark = "  ! " if block.warning else "  - "
            return [
                line
                for item in block.items
                for line in hung(sourced(item), "    ", mark)
            ]
        case Table():
            return table_lines(block)
        case Figure():
            return hung(f"Picture: {block.caption}", "    ", "  ")
        case Blanks():
            return [line for label in block.labels for line in _blank(label)]
        case Panel():
            return _block_lines(block.fallback)


def _blank(label: str) -> list[str]:
    """Return a label with a line behind it to write on."""
    *lines, last = filled(label, WIDTH - _LEAST_BLANK - 4)
    rule = "_" * (WIDTH - span(last) - 3)
    return [*(f"  {line}" for line in lines), f"  {last} {rule}"]
