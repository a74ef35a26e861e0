"""A screen as Markdown (CommonMark with tables), with its annexes."""

from __future__ import annotations

import re

from castsugar.report.screen import (
    Annex,
    Blanks,
    Block,
    Figure,
    Listing,
    Paragraph,
    Screen,
    Table,
    Ticks,
    closing,
    in_order,
)

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~])")


def to_markdown(screen: Screen) -> str:
    """Return a screen and its annexes as Markdown, ending with a line feed."""
    parts = [f"# {escaped(screen.title)}"]
    if example := screen.example():
        parts.append(f"**EXAMPLE**: {escaped(example)}")
    parts.append(
        "\n".join(
            f"- **{one.status}** {escaped(one.text)}"
            for one in in_order(screen.findings)
        )
    )
    if screen.conditions:
        parts.append(escaped(screen.conditions))
    parts += [_block(block) for block in (*screen.blocks, *screen.sheet)]
    if screen.least_sure:
        parts.append(f"Least sure: {escaped(screen.least_sure)}")
    if screen.cautions:
        parts.append("\n".join(f"- ! {escaped(text)}" for text in screen.cautions))
        parts.append(escaped(closing(len(screen.cautions), screen.cautions_count)))
    parts += [_annex(annex) for annex in screen.annexes]
    if screen.next:
        parts.append(f"Next: `{screen.next}`")
    return "\n\n".join(part for part in parts if part) + "\n"


def escaped(text: str) -> str:
    r"""Escape what Markdown would read as its own.

    Examples
    --------
    >>> escaped("c* | a_b")
    'c\\* \\| a\\_b'
    """
    return _SPECIAL.sub(r"\\\1", " ".join(text.split()))


def _annex(annex: Annex) -> str:
    return "\n\n".join([f"## {escaped(annex.title)}", *map(_block, annex.blocks)])


def _block(block: Block) -> str:
    """Return a block."""
    match block:
        case Table():
            return _table(block)
        case Paragraph(text=text):
            return escaped(text)
        case Ticks(lines=lines, title=title):
            boxes = "\n".join(f"- ☐ {escaped(line)}" for line in lines)
            return f"{escaped(title)}\n\n{boxes}" if title else boxes
        case Blanks(labels=labels):
            return "\n".join(f"- {escaped(label)}: ________" for label in labels)
        case Figure(caption=caption, words=words):
            return f"*Picture: {escaped(words or caption)}*"
        case Listing(lines=lines):
            return "\n".join(["```", *lines, "```"])
    raise TypeError(type(block))


def _table(table: Table) -> str:
    """Return a table; its heads on one line."""
    lines = [
        " | ".join(escaped(head) or " " for head in table.heads),
        " | ".join(
            ":--" if i in table.left else "--:" for i in range(len(table.heads))
        ),
        *(" | ".join(escaped(cell) or " " for cell in row) for row in table.rows),
    ]
    told = [escaped(table.caption), ""] if table.caption else []
    return "\n".join([*told, *(f"| {line} |" for line in lines)])
