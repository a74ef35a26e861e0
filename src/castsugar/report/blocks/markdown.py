"""A document as Markdown: CommonMark and tables with pipes."""

from __future__ import annotations

import re
from collections.abc import Iterator

from castsugar.report.blocks.check import checked, cited
from castsugar.report.blocks.model import (
    Blanks,
    Block,
    Bullets,
    Cell,
    Document,
    Figure,
    Panel,
    Paragraph,
    Table,
)
from castsugar.report.blocks.plain import clean, told

#: Punctuation that means something wherever it stands (CommonMark 0.31.2, section 2.4:
#: a backslash before ASCII punctuation makes it plain), and pipes, tildes, dollars and
#: braces, which common extensions give a meaning.
_MEANT = re.compile(r"[\\`*_\[\]<>&|~#${}]")

#: What common extensions turn into a link by itself.
_LINKED = re.compile(r"(?<=[A-Za-z0-9+.-])(?=://)|(?<=www)(?=\.)", re.I)

#: What begins a list, an underline or a definition at the start of a line: alone, or
#: behind digits. (Headings and quotations begin with what is escaped everywhere.)
_BEGINS, _BEHIND_DIGITS = tuple("-+=:"), tuple(".)")

_BLANK = "." * 24


def to_markdown(document: Document) -> str:
    """Return a document as Markdown, ending with a line feed.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
        CommonMark with tables of pipes. Every string of the document is escaped, so
        that none becomes HTML, a link, emphasis or structure. Pictures are named by
        their captions: the page has them.

    Raises
    ------
    InputError
        If the document cannot be written, see ``checked`` of the module ``check``.
    """
    checked(document)
    parts = [f"# {inline(document.title)}"]
    if document.subtitle.strip():
        parts.append(begun(document.subtitle))
    for section in document.sections:
        parts.append(f"## {inline(section.title)}")
        parts += [text for block in section.blocks for text in _blocks(block)]
    sources = cited(document)
    if sources:
        parts.append("## Sources")
        items = (f"- {_key(key)} {inline(text)}" for key, text in sources.items())
        parts.append("\n".join(items))
    if document.foot:
        parts.append("---")
        parts += [begun(text) for text in document.foot if text.strip()]
    return "\n\n".join(parts) + "\n"


def inline(text: str) -> str:
    r"""Return a text that stays plain inside a line.

    Examples
    --------
    >>> print(inline("<b> a_b | [x](y)"))
    \<b\> a\_b \| \[x\](y)
    """
    return _LINKED.sub(r"\\", _MEANT.sub(r"\\\g<0>", clean(text)))


def begun(text: str) -> str:
    r"""Return a text that stays plain at the start of a line.

    Examples
    --------
    >>> print(begun("1. one"), begun("- two"))
    1\. one \- two
    """
    line = inline(text)
    rest = line.lstrip("0123456789")
    digits = line[: len(line) - len(rest)]
    if rest.startswith(_BEHIND_DIGITS if digits else _BEGINS):
        return f"{digits}\\{rest}"
    return line


def _key(key: str) -> str:
    """Return the key of a source in brackets that link nowhere."""
    return f"\\[{inline(key)}\\]"


def _cell(cell: Cell, *, begins: bool = False) -> str:
    """Return what a cell tells and where it comes from."""
    text = told(cell)
    plain = begun(text) if begins else inline(text)
    if cell.tone == "strong" and plain:
        plain = f"**{plain}**"
    return f"{plain} {_key(cell.source)}".strip() if cell.source else plain


def _blocks(block: Block) -> Iterator[str]:
    """Yield the pieces of one block, to stand between empty lines."""
    match block:
        case Paragraph():
            yield from _line(block.text, strong=block.tone == "strong")
        case Bullets():
            mark = "- **!** " if block.warning else "- "
            begins = not block.warning
            yield "\n".join(mark + _cell(c, begins=begins) for c in block.items)
        case Table():
            yield from _line(block.caption)
            yield _table(block)
        case Figure():
            yield f"Picture: {inline(block.caption)}"
        case Blanks():
            yield "\n".join(f"- {begun(label)} {_BLANK}" for label in block.labels)
        case Panel():
            yield from (text for part in block.fallback for text in _blocks(part))


def _line(text: str, *, strong: bool = False) -> Iterator[str]:
    """Yield a paragraph unless it is empty."""
    if text.strip():
        yield f"**{begun(text)}**" if strong else begun(text)


def _table(table: Table) -> str:
    """Return a table of pipes."""
    wordy = {0, *table.words}
    sides = [":---" if i in wordy else "---:" for i in range(len(table.heads))]
    rows = [
        [inline(head) for head in table.heads],
        sides,
        *([_cell(cell) for cell in row] for row in table.rows),
    ]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in rows)
