"""Blocks of a document as pieces of a page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from castsugar.report.blocks import picture
from castsugar.report.blocks.model import (
    Blanks,
    Block,
    Bullets,
    Cell,
    Figure,
    Panel,
    Paragraph,
    Table,
)
from castsugar.report.blocks.picture import panel_html
from castsugar.report.blocks.plain import words

#: Tones that have a mark: the mark and its word, so that none is told by colour alone.
MARKS = {
    "good": ("✓", "good"),
    "bad": ("✗", "bad"),
    "open": ("?", "open"),
}

#: Width below which a picture is moved sideways rather than made smaller. [px]
_LEAST_PICTURE = 416.0

#: Characters above which a cell of words is kept wide.
_LONG = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where on a page a block stands.

    Attributes
    ----------
    links, sources : mapping of str to str
        Id and citation of each source by its key.
    taken : set of str
        Ids that the page has; grows.
    title : str
        Of the section.
    """

    links: Mapping[str, str]
    sources: Mapping[str, str]
    taken: set[str]
    title: str = ""

    def under(self, title: str) -> Place:
        """Return the place under another title."""
        return replace(self, title=title)


def block_html(block: Block, place: Place) -> str:
    """Return one block as HTML."""
    match block:
        case Paragraph():
            return _paragraph(block)
        case Bullets():
            return _bullets(block, place)
        case Table():
            return _table(block, place)
        case Figure():
            return _figure(block, place)
        case Blanks():
            return _blanks(block)
        case Panel():
            inner = [block_html(part, place) for part in block.fallback]
            return panel_html(block, "\n".join(inner))


def _marked(text: str, tone: str) -> str:
    """Return an escaped text behind the mark of its tone and the word for it."""
    if tone not in MARKS or not text.strip():
        return words(text)
    mark, word = MARKS[tone]
    return (
        f'<span class="mark" aria-hidden="true">{mark}</span>'
        f'<span class="spoken">{word}: </span>{words(text)}'
    )


def _toned(*classes: str) -> str:
    """Return a class attribute; empty where there is no class."""
    names = " ".join(name for name in classes if name)
    return f' class="{names}"' if names else ""


def _paragraph(block: Paragraph) -> str:
    """Return a paragraph."""
    return f"<p{_toned(block.tone)}>{_marked(block.text, block.tone)}</p>"


def _cell(cell: Cell, place: Place) -> str:
    """Return what a cell holds."""
    text = _marked(cell.text, cell.tone)
    if not cell.source:
        return text
    key = cell.source
    link, number = place.links[key], list(place.links).index(key) + 1
    told = words(f"{key}: {place.sources[key]}")
    return (
        f'{text} <a class="source" href="#{words(link)}" title="{told}">'
        f'<span class="spoken">source </span>[{number}]</a>'
    )


def _length(cell: Cell) -> str:
    """Return the class of words that need room."""
    return "long" if len(cell.text) > _LONG else ""


def _bullets(block: Bullets, place: Place) -> str:
    """Return texts below one another."""
    items = (
        f"<li{_toned(item.tone)}>{_cell(item, place)}</li>" for item in block.items
    )
    kind = "cautions" if block.warning else ""
    return "\n".join([f"<ul{_toned(kind)}>", *items, "</ul>"])


def _table(block: Table, place: Place) -> str:
    """Return a table in a region of its own that scrolls sideways."""
    label = words(block.caption.strip() or place.title.strip() or "Table")
    wordy = {0, *block.words}
    kinds = ["" if index in wordy else "number" for index in range(len(block.heads))]
    lines = [
        f'<div class="sideways" role="region" aria-label="{label}" tabindex="0">',
        "<table>",
    ]
    if block.caption.strip():
        lines.append(f"<caption><span>{words(block.caption)}</span></caption>")
    if any(head.strip() for head in block.heads):
        cells = "".join(
            f'<th scope="col"{_toned(kind)}>{words(head)}</th>'
            if head.strip()
            else "<td></td>"
            for head, kind in zip(block.heads, kinds, strict=True)
        )
        lines.append(f"<thead><tr>{cells}</tr></thead>")
    lines.append("<tbody>")
    for first, *others in block.rows:
        cells = f'<th scope="row"{_toned(first.tone)}>{_cell(first, place)}</th>'
        cells += "".join(
            f"<td{_toned(kind or _length(cell), cell.tone)}>{_cell(cell, place)}</td>"
            for cell, kind in zip(others, kinds[1:], strict=True)
        )
        lines.append(f"<tr>{cells}</tr>")
    return "\n".join([*lines, "</tbody>", "</table>", "</div>"])


def _figure(block: Figure, place: Place) -> str:
    """Return a picture with its caption."""
    least = min(picture.width(block.svg), _LEAST_PICTURE)
    label = words(f"Picture: {block.caption}")
    return "\n".join(
        [
            "<figure>",
            f'<div class="card" role="region" aria-label="{label}" tabindex="0" '
            f'style="--least:{least:g}px">',
            picture.inline(block.svg, place.taken),
            "</div>",
            f"<figcaption>{words(block.caption)}</figcaption>",
            "</figure>",
        ]
    )


def _blanks(block: Blanks) -> str:
    """Return labels, each with a line to write on."""
    lines = (
        f'<p><span>{words(label)}</span><span class="line"></span></p>'
        for label in block.labels
    )
    return "\n".join(['<div class="blanks">', *lines, "</div>"])
