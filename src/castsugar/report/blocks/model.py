"""What a document is made of, whatever it is written as.

Content is put together once, of these blocks; :mod:`castsugar.report.blocks` writes it
as text, Markdown or one HTML page. Every string here is plain text: the writers escape
it, so that a name that looks like markup stays a name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

#: How a cell or a paragraph is meant; never told by colour alone.
TONES = ("", "good", "bad", "open", "strong", "soft")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A cell of a table.

    Attributes
    ----------
    text : str
    tone : str
        Of :data:`TONES`.
    source : str
        Key of a source that the document lists; empty for none.
    """

    text: str
    tone: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """A paragraph.

    Attributes
    ----------
    text : str
    tone : str
        Of :data:`TONES`: "strong" is a verdict or a warning that must not be missed.
    """

    text: str
    tone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """Short texts below one another.

    Attributes
    ----------
    items : tuple of Cell
    warning : bool
        Whether they are cautions.
    """

    items: tuple[Cell, ...]
    warning: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; the first column names the rows.

    Attributes
    ----------
    heads : tuple of str
        One a column; the first may be empty.
    rows : tuple of tuples of Cell
        Each as long as `heads`.
    caption : str
        What the table shows; empty for none.
    words : tuple of int
        Columns that hold words (left) beside the first; others hold numbers (right).
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    caption: str = ""
    words: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A picture with what it shows in words.

    Attributes
    ----------
    svg : str
        A whole SVG document.
    caption : str
    """

    svg: str
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Blanks:
    """Blanks to be filled in by hand on the printed page.

    Attributes
    ----------
    labels : tuple of str
    """

    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Finished HTML that works with a script; on paper and in text its fallback stands.

    Attributes
    ----------
    html : str
        Made by the library alone, every user string in it escaped.
    data : str
        JSON that the script reads, under an element of its own.
    script : str
        Plain script.
    style : str
    fallback : tuple of blocks
        What text, Markdown, paper, and a page without script show.
    key : str
        Its anchor, like that of a section; the element that holds `data` has this key
        and ``-data`` as its id.
    """

    html: str
    data: str
    script: str
    style: str = ""
    fallback: tuple[Paragraph | Bullets | Table, ...] = ()
    key: str = "panel"


Block = Paragraph | Bullets | Table | Figure | Blanks | Panel


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of a document under a title.

    Attributes
    ----------
    key : str
        Its anchor: lower-case letters, digits and hyphens.
    title : str
    blocks : tuple of blocks
    folded : bool
        Whether a page shows it closed until it is opened; on paper it is open.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    folded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A document.

    Attributes
    ----------
    title, subtitle : str
    sections : tuple of Section
    sources : mapping of str to str
        Key of a source to its citation: what cells point at.
    foot : tuple of str
        Last lines: versions, seed.
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    sources: Mapping[str, str] = field(default_factory=dict)
    foot: tuple[str, ...] = ()
