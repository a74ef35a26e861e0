"""What a document must keep before anything is written of it."""

from __future__ import annotations

import re
from collections.abc import Iterator

from castsugar.errors import InputError
from castsugar.report.blocks.model import (
    TONES,
    Block,
    Bullets,
    Cell,
    Document,
    Panel,
    Paragraph,
    Section,
    Table,
)

#: Anchors that the page itself uses, and how those of sources begin.
RESERVED, SOURCE = ("contents", "main", "sources"), "source-"

_KEY = re.compile("[a-z0-9-]+")
_PLAIN = re.compile("[A-Za-z0-9][A-Za-z0-9._-]*")


def blocks_of(document: Document) -> Iterator[Block]:
    """Yield every block in order, those that stand in for a panel included."""
    for section in document.sections:
        for block in section.blocks:
            yield block
            if isinstance(block, Panel):
                yield from block.fallback


def panels(document: Document) -> tuple[Panel, ...]:
    """Return the panels of a document."""
    return tuple(b for b in blocks_of(document) if isinstance(b, Panel))


def cells_of(block: Block) -> Iterator[Cell]:
    """Yield the cells of a table or of bullets."""
    if isinstance(block, Bullets):
        yield from block.items
    elif isinstance(block, Table):
        for row in block.rows:
            yield from row


def cited(document: Document) -> dict[str, str]:
    """Return the sources that a cell points at, in the order of the document's list."""
    keys = {c.source for block in blocks_of(document) for c in cells_of(block)}
    return {k: text for k, text in document.sources.items() if k in keys}


def tones(document: Document) -> frozenset[str]:
    """Return the tones that a document uses."""
    found = {c.tone for block in blocks_of(document) for c in cells_of(block)}
    found |= {b.tone for b in blocks_of(document) if isinstance(b, Paragraph)}
    return frozenset(found)


def anchors(document: Document) -> dict[str, str]:
    """Return the id of each source that is pointed at, by its key.

    A key that is no plain word gets a number instead.
    """
    return {
        key: SOURCE + (key if _PLAIN.fullmatch(key) else f"-{index}")
        for index, key in enumerate(cited(document), 1)
    }


def checked(document: Document) -> Document:
    """Return the document if it can be written.

    Raises
    ------
    InputError
        For a key that is no anchor or is taken, a tone that does not exist, a source
        that the document does not list, a row that does not fit its table.
    """
    taken: set[str] = set()
    for section in document.sections:
        _check_key(section, taken)
    for panel in panels(document):
        _check_key(panel, taken)
    for block in blocks_of(document):
        if isinstance(block, Table):
            _check_table(block)
        if isinstance(block, Paragraph):
            _check_tone(block.tone)
        for cell in cells_of(block):
            _check_tone(cell.tone)
            if cell.source and cell.source not in document.sources:
                raise InputError(
                    f"a cell points at the source {cell.source!r}, which the document "
                    "does not list; add it to its sources"
                )
    return document


def _check_key(part: Section | Panel, taken: set[str]) -> None:
    """Refuse a key that is no anchor or is taken already."""
    key = part.key
    what = "panel" if isinstance(part, Panel) else f"section {part.title!r}"
    if not _KEY.fullmatch(key):
        raise InputError(
            f"key of {what}: got {key!r}; lower-case letters, digits and hyphens are "
            "allowed"
        )
    if key in taken or key in RESERVED or key.startswith(SOURCE):
        raise InputError(f"key of {what}: {key!r} is taken already; choose another")
    taken.add(key)


def _check_table(table: Table) -> None:
    """Refuse rows and columns that do not fit the heads."""
    count = len(table.heads)
    for index, row in enumerate(table.rows, 1):
        if len(row) != count:
            raise InputError(
                f"table {table.caption!r}, row {index}: got {len(row)} cells for "
                f"{count} heads; give one a head"
            )
    if not count or any(not 0 <= column < count for column in table.words):
        raise InputError(
            f"table {table.caption!r}: columns of words {table.words} must lie among "
            f"{count} heads, of which there is at least one"
        )


def _check_tone(tone: str) -> None:
    """Refuse a tone that does not exist."""
    if tone not in TONES:
        raise InputError(f"tone: got {tone!r}; allowed are {', '.join(TONES[1:])}")
