"""A table as text: columns where they fit, else one row below the other."""

from __future__ import annotations

from collections.abc import Sequence

from castsugar.report.blocks.model import Cell, Table
from castsugar.report.blocks.plain import (
    bracketed,
    filled,
    hung,
    padded,
    sourced,
    span,
    told,
)
from castsugar.report.layout import WIDTH

_INDENT, _GAP = 2, 2

#: Before the second line of a name and those below.
_HANG = "  "

#: Columns below which words are not squeezed: those that name rows, others.
_LABEL, _WORDS = 20, 14

Texts = Sequence[Sequence[str]]


def table_lines(table: Table) -> list[str]:
    """Return the lines of a table.

    Columns of words, names of rows and heads are wrapped as far as is needed. Where
    that does not fit, sources go below their rows; where that does not fit either,
    the rows stand below one another.
    """
    lines = hung(table.caption) if table.caption.strip() else []
    wordy = {0, *table.words}
    full = [tuple(sourced(cell) for cell in row) for row in table.rows]
    bare = [tuple(told(cell) for cell in row) for row in table.rows]
    for rows in (full, bare):
        widths = _widths(table.heads, rows, wordy)
        if widths is not None:
            break
    else:
        return lines + _stacked(table.heads, full)
    if any(head.strip() for head in table.heads):
        lines += _row(table.heads, widths, wordy, bottom=True)
    for texts, row in zip(rows, table.rows, strict=True):
        lines += _row(texts, widths, wordy)
        if rows is bare:
            lines += _below(row)
    return lines


def _below(row: Sequence[Cell]) -> list[str]:
    """Return the sources of a row, each once, as lines below it."""
    keys = dict.fromkeys(bracketed(cell) for cell in row if cell.source)
    return hung(" ".join(keys), "      ") if keys else []


def _longest(text: str) -> int:
    """Return the columns of the longest word."""
    return max((span(word) for word in text.split()), default=0)


def _widths(heads: Sequence[str], rows: Texts, wordy: set[int]) -> list[int] | None:
    """Return widths of the columns that fit the screen, or None."""
    most, least = [], []
    for index, head in enumerate(heads):
        texts = [row[index] for row in rows]
        widest = max((span(text) for text in texts), default=0)
        most.append(max(widest, span(head), 1))
        if index in wordy:
            floor = max(map(_longest, texts), default=0)
            floor = max(floor + len(_HANG), _WORDS if index else _LABEL, _longest(head))
        else:
            floor = max(widest, _longest(head))
        least.append(min(floor, most[-1]))
    room = WIDTH - _INDENT - _GAP * (len(heads) - 1)
    if sum(least) > room:
        return None
    while sum(most) > room:
        spare = [i for i, (m, s) in enumerate(zip(most, least, strict=True)) if m > s]
        most[max(spare, key=lambda i: (most[i], -i))] -= 1
    return most


def _row(
    texts: Sequence[str],
    widths: Sequence[int],
    wordy: set[int],
    *,
    bottom: bool = False,
) -> list[str]:
    """Return the lines of one row; `bottom` aligns its cells below."""
    cells = [filled(texts[0], widths[0], indent="" if bottom else _HANG)]
    cells += [filled(t, w) for t, w in zip(texts[1:], widths[1:], strict=True)]
    height = max(map(len, cells))
    for cell in cells:
        blank = [""] * (height - len(cell))
        cell[:] = blank + cell if bottom else cell + blank
    lines = []
    for parts in zip(*cells, strict=True):
        columns = (
            padded(part, width, right=index not in wordy)
            for index, (part, width) in enumerate(zip(parts, widths, strict=True))
        )
        lines.append((" " * _INDENT + (" " * _GAP).join(columns)).rstrip())
    return lines


def _stacked(heads: Sequence[str], rows: Texts) -> list[str]:
    """Return the rows below one another, every cell behind its head."""
    lines: list[str] = []
    for row in rows:
        lines += hung(row[0] or "-", "    ", "  ")
        for head, text in zip(heads[1:], row[1:], strict=True):
            told_text = f"{head}: {text}" if head.strip() else text
            lines += hung(told_text, "        ", "      ")
    return lines
