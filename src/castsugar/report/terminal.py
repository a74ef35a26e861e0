"""A screen as text: 80 columns, at most 24 lines unless all of it is asked for.

Tables are set by rich, always at 80 columns and into a buffer, of `Text` objects: what
a person typed is never read as markup. What would not fit is never cropped: columns go
by their priority, and a table that still does not fit is a fault.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import replace
from io import StringIO

from rich.console import Console
from rich.measure import Measurement
from rich.table import Table as RichTable
from rich.text import Text

from castsugar.report.screen import (
    MOST_CAUTIONS,
    STATUSES,
    Annex,
    Blanks,
    Block,
    Figure,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
    Ticks,
    closing,
    in_order,
)

WIDTH, HEIGHT = 80, 24

_COLOURS = {"red": "\x1b[31m", "yellow": "\x1b[33m", "green": "\x1b[32m"}
_PLAIN = "\x1b[0m"

#: Between two columns of a table.
_GAP = 2


def to_text(screen: Screen, *, full: bool = False, colour: bool = False) -> str:
    """Return a screen as text, ending with a line feed.

    Parameters
    ----------
    screen : Screen
    full : bool
        With the annexes, and nothing left out.
    colour : bool
        Whether status words are coloured; the words are the same without.

    """
    lines = _lines(screen) if full else _fitted(screen)
    if full:
        for annex in screen.annexes:
            lines += _annex(annex)
    if screen.next:
        lines.append(f"Next: {screen.next}")
    if colour:
        lines = [_coloured(line) for line in lines]
    return "\n".join(lines).replace("\xa0", " ") + "\n"


def _fitted(screen: Screen) -> list[str]:
    """Return the lines of a default screen, without what there is no room for."""
    room = HEIGHT - (1 if screen.next else 0)
    lines = _lines(screen)
    for smaller in _smaller(screen):
        if len(lines) <= room:
            break
        lines = _lines(smaller)
    return lines


def _smaller(screen: Screen) -> Iterator[Screen]:
    """Yield a screen with ever less: spare rows, spare lines, cautions, green words."""
    for place in reversed(range(len(screen.blocks))):
        while (less := _less(screen.blocks[place])) is not screen.blocks[place]:
            blocks = [*screen.blocks]
            blocks[place : place + 1] = [] if less is None else [less]
            screen = replace(screen, blocks=tuple(blocks))
            yield screen
            if less is None:
                break
    while len(screen.cautions) > 1:
        kept = screen.cautions[: min(len(screen.cautions), MOST_CAUTIONS) - 1]
        screen = replace(screen, cautions=kept)
        yield screen
    findings = in_order(screen.findings)
    while len(findings) > 1:
        findings = findings[:-1]
        screen = replace(screen, findings=findings)
        yield screen
    yield (screen := replace(screen, least_sure=""))
    for count in reversed(range(len(screen.blocks))):
        yield replace(screen, blocks=screen.blocks[:count])


def _less(block: Block) -> Block | None:
    """Return a block with a row less; None: it may go; itself: it must stay."""
    if isinstance(block, Paragraph) and block.spare:
        return None
    if isinstance(block, Table) and block.spare:
        return replace(
            block,
            rows=block.rows[:-1],
            spare=block.spare - 1,
            hidden=block.hidden + 1,
        )
    return block


def _lines(screen: Screen) -> list[str]:
    """Return all lines but the last one, `Next`."""
    lines = _wrapped(screen.title)
    if example := screen.example():
        lines += _wrapped(f"EXAMPLE: {example}")
    lines += _findings(in_order(screen.findings))
    lines += _wrapped(screen.conditions)
    for block in screen.blocks:
        lines += _block(block)
    if screen.least_sure:
        lines += _wrapped(f"Least sure: {screen.least_sure}", indent=2)
    shown = screen.cautions[:MOST_CAUTIONS]
    lines += [line for text in shown for line in _wrapped(f"! {text}", indent=2)]
    if screen.cautions_count or shown:
        lines.append(closing(len(shown), screen.cautions_count))
    return lines


def _findings(findings: Sequence[Finding]) -> list[str]:
    """Return findings, their sentences flush under one another."""
    width = max((len(one.status) for one in findings), default=0) + 2
    return [
        line
        for one in findings
        for line in textwrap.wrap(
            one.text,
            WIDTH,
            initial_indent=one.status.ljust(width),
            subsequent_indent=" " * width,
            break_on_hyphens=False,
        )
    ]


def _block(block: Block) -> list[str]:
    """Return the lines of a block."""
    match block:
        case Table():
            return _table(block)
        case Paragraph(text=text):
            return _wrapped(text)
        case Ticks(lines=lines, title=title):
            boxes = " ".join(f"[\xa0]\xa0{line}" for line in lines)
            return _wrapped(f"{title} {boxes}".strip())
        case Blanks(labels=labels):
            return [f"{label}: ________" for label in labels]
        case Figure(caption=caption, words=words):
            return _wrapped(f"Picture (--page, --picture): {words or caption}")
        case Listing(lines=lines):
            return [line for one in lines for line in _wrapped(one, indent=4)]
    raise TypeError(type(block))


def _annex(annex: Annex) -> list[str]:
    lines = ["", annex.title, "-" * len(annex.title)]
    for place, block in enumerate(annex.blocks):
        lines += [""] if place else []
        if isinstance(block, Table) and block.caption:
            lines += _wrapped(block.caption)
        lines += _block(block)
    return lines


def _wrapped(text: str, indent: int = 0) -> list[str]:
    """Wrap a text to the width of the screen."""
    return textwrap.wrap(
        text, WIDTH, subsequent_indent=" " * indent, break_on_hyphens=False
    )


# ----------------------------------------------------------------------------
# Tables.


def _table(table: Table) -> list[str]:
    """Return the lines of a table that fits, and what had to go."""
    dropped: list[int] = []
    rest = [*table.drop]
    while (wide := _width(_rich(table, dropped))) > WIDTH and rest:
        dropped.append(rest.pop(0))
    lines = _rendered(_rich(table, dropped, folds=wide > WIDTH))
    if wide > WIDTH and _lost(table, dropped, lines):
        lines, dropped = _in_lines(table), []
    if table.hidden and table.of:
        lines.append(f"{table.hidden} more {table.of}: --full")
    names = [" ".join(table.heads[i].split()) for i in sorted(dropped)]
    told = f"Left out for want of room: {', '.join(names)} (--csv)" if names else ""
    return lines + _wrapped(told)


def _in_lines(table: Table) -> list[str]:
    """Return a table that no screen holds row by row, each cell after its head."""
    heads = [" ".join(head.split()) for head in table.heads]
    return [
        line
        for row in table.rows
        for line in _wrapped(
            "; ".join(f"{h} {c}".strip() for h, c in zip(heads, row, strict=True) if c),
            indent=2,
        )
    ]


def _rendered(made: RichTable) -> list[str]:
    """Return the lines of a table."""
    console = _console()
    lines = console.render_lines(made, console.options, pad=False)
    texts = ("".join(piece.text for piece in line).rstrip() for line in lines)
    return [text for text in texts if text]


def _lost(table: Table, dropped: Sequence[int], lines: Sequence[str]) -> bool:
    """Say whether a number was cropped or broken."""
    text = "\n".join(lines)
    kept = [i for i in range(len(table.heads)) if i not in {*dropped, *table.left}]
    return any(row[i] not in text for row in table.rows for i in kept)


def _console() -> Console:
    """Return a console of fixed width that knows neither markup nor colours."""
    return Console(
        file=StringIO(),
        width=WIDTH,
        color_system=None,
        force_terminal=False,
        legacy_windows=False,
        markup=False,
        emoji=False,
        highlight=False,
        soft_wrap=False,
    )


def _rich(table: Table, dropped: Sequence[int] = (), folds: bool = False) -> RichTable:
    """Return a table of rich, without some columns; `folds`: text columns may wrap."""
    made = RichTable(
        box=None,
        show_header=any(table.heads),
        padding=0,
        pad_edge=False,
        show_edge=False,
    )
    kept = [i for i in range(len(table.heads)) if i not in dropped]
    for place, i in enumerate(kept):
        if place:
            made.add_column(width=_GAP)
        made.add_column(
            Text(table.heads[i]),
            justify="left" if i in table.left else "right",
            vertical="top" if folds else "bottom",
            no_wrap=not (folds and i in table.left),
            overflow="fold",
        )
    for row in table.rows:
        cells = [Text(row[i]) for i in kept]
        spaced = [cells[0], *(x for cell in cells[1:] for x in (Text(), cell))]
        made.add_row(*spaced)
    return made


def _width(made: RichTable) -> int:
    """Return how wide a table would like to be."""
    console = _console()
    options = console.options.update(width=999)
    return Measurement.get(console, options, made).maximum


# ----------------------------------------------------------------------------
# Colour: only the status words, which say the same without.


def _coloured(line: str) -> str:
    """Colour the status word that a line begins with."""
    for word, colour in STATUSES.items():
        if line.startswith(f"{word}  ") or line.startswith(f"{word}:"):
            paint = _COLOURS.get(colour)
            return f"{paint}{word}{_PLAIN}{line[len(word) :]}" if paint else line
    return line
