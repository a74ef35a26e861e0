"""Plain text: cleaned, measured in columns of a terminal, broken into lines."""

from __future__ import annotations

import re
import unicodedata

from castsugar.report.blocks.model import Cell
from castsugar.report.layout import WIDTH
from castsugar.report.svg.canvas import escaped

#: Marks that turn the direction of what stands behind them (Unicode Standard Annex 9).
_TURNING = "\u202a-\u202e\u2066-\u2069"

_TURNS = re.compile(f"[{_TURNING}]")

#: What would steer a terminal as well: controls, halves of surrogate pairs.
_STEERING = re.compile(f"[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff{_TURNING}]")

#: Tones that say something which a bare number does not.
_SAID = ("good", "bad", "open")


def clean(text: str) -> str:
    """Return a text on one line, without characters that steer a terminal.

    Examples
    --------
    >>> clean("two" + chr(10) + "lines")
    'two lines'
    """
    return _STEERING.sub("\ufffd", " ".join(text.split()))


def words(text: str) -> str:
    """Return a text as HTML, where it cannot turn the direction of its neighbours."""
    return escaped(_TURNS.sub("\ufffd", text))


def span(text: str) -> int:
    """Return the columns that a text takes in a terminal.

    Wide characters of East Asian scripts take two, combining ones none (Unicode
    Standard Annex 11).

    Examples
    --------
    >>> span("KNO3"), span("砂糖")
    (4, 4)
    """
    if text.isascii():
        return len(text)
    return sum(_columns(char) for char in text)


def _columns(char: str) -> int:
    """Return the columns of one character."""
    if unicodedata.combining(char) or unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def padded(text: str, width: int, *, right: bool = False) -> str:
    """Fill a text with blanks to a width, on its left where it stands `right`."""
    blanks = " " * (width - span(text))
    return blanks + text if right else text + blanks


def _pieces(word: str, room: int) -> list[str]:
    """Break a word that is wider than a line."""
    if span(word) <= room:
        return [word]
    parts = [""]
    for char in word:
        if parts[-1] and span(parts[-1] + char) > room:
            parts.append("")
        parts[-1] += char
    return parts


def filled(text: str, room: int, *, indent: str = "") -> list[str]:
    """Break a text into lines of at most `room` columns; at least one line.

    All lines but the first begin with `indent`.

    Examples
    --------
    >>> filled("one two three", 8, indent=" ")
    ['one two', ' three']
    """
    whole = clean(text)
    if span(whole) <= room:
        return [whole]
    lines: list[str] = []
    for word in whole.split():
        for piece in _pieces(word, room - span(indent)):
            joined = f"{lines[-1]} {piece}" if lines else piece
            if span(joined) > room and lines:
                lines.append(indent + piece)
            else:
                lines[-1:] = [joined]
    return lines


def hung(text: str, indent: str = "  ", first: str | None = None) -> list[str]:
    """Break a text to the width of the screen, every line but the first indented."""
    first = indent if first is None else first
    room = WIDTH - max(span(indent), span(first))
    lines = filled(text, room)
    heads = (first, *(indent for _ in lines[1:]))
    return [(h + line).rstrip() for h, line in zip(heads, lines, strict=True)]


def told(cell: Cell) -> str:
    """Return a cell's text, and what its tone says where that is a bare number.

    Examples
    --------
    >>> told(Cell(text="better", tone="good")), told(Cell(text="-3.2", tone="bad"))
    ('better', '-3.2 (bad)')
    """
    text = clean(cell.text)
    if cell.tone in _SAID and text and not any(c.isalpha() for c in text):
        return f"{text} ({cell.tone})"
    return text


def bracketed(cell: Cell) -> str:
    """Return the key of a cell's source in brackets."""
    return f"[{clean(cell.source)}]"


def sourced(cell: Cell) -> str:
    """Return what a cell tells and, in brackets, where it comes from."""
    return f"{told(cell)} {bracketed(cell)}".strip() if cell.source else told(cell)
