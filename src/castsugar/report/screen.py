"""Screen: what a command answers, before it becomes text, Markdown, a page or JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Any

from castsugar.frozen import dataclass

#: The closed list of status words: word -> colour, in the order of a screen.
STATUSES: dict[str, str] = {
    "EXAMPLE": "yellow",
    "DO NOT": "red",
    "BROKEN": "red",
    "REFUSED": "red",
    "MISFIT": "yellow",
    "FOUND": "green",
    "RESULT": "plain",
    "OUTSIDE": "red",
    "CAUTION": "yellow",
    "CANNOT TELL": "yellow",
    "BORROWED": "yellow",
    "SUPPORTED": "green",
    "KEPT": "green",
    "INSIDE": "green",
    "CHANGES": "plain",
    "MISSING": "plain",
    "READ": "plain",
    "NOT SAVED": "plain",
    "SAVED": "plain",
}

_ORDER = {word: place for place, word in enumerate(STATUSES)}


@dataclass(frozen=True, slots=True)
class Finding:
    """A status word, one sentence, and the numbers in it under their keys (SI)."""

    status: str
    text: str
    values: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse a word that is not on the list."""
        if self.status not in STATUSES:
            raise ValueError(f"{self.status!r} is no status word")

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {"status": self.status, "text": self.text, "values": dict(self.values)}


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings, the gravest first; equals stay as they stand."""
    return tuple(sorted(findings, key=lambda one: _ORDER[one.status]))


# ----------------------------------------------------------------------------
# Blocks: what stands below the findings, and in the annexes.


#: A cell that is a box to tick: drawn on a page.
BOX = "\u2610"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of text."""

    #: A line feed makes a second line; all empty: no line of heads.
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: frozenset[int] = frozenset({0})  # columns that are set flush left
    #: Columns that a narrow screen may leave out, the first one first.
    drop: tuple[int, ...] = ()
    spare: int = 0  # so many of the last rows may be left out of a default screen
    #: What the rows are, to say how many are left out; empty: nothing is said.
    of: str = ""
    hidden: int = 0  # so many rows were left out
    caption: str = ""  # before the table, on a page


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; `spare`: a default screen may leave it out."""

    text: str
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Ticks:
    """Lines with a box to tick."""

    lines: tuple[str, ...]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Blanks:
    """Lines to write on, each after its label."""

    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture: SVG of our own drawing, its caption, and what it says in words.

    `narrow` is the same for a phone; a page shows the one that fits.
    """

    svg: str
    caption: str
    words: str = ""
    narrow: str = ""


@dataclass(frozen=True, slots=True)
class Listing:
    """Lines as they are: a command, a file."""

    lines: tuple[str, ...]


def notes(lines: Sequence[str]) -> Table:
    """Return sentences one below the other, that wrap."""
    return Table(heads=("",), rows=tuple((line,) for line in lines))


Block = Table | Paragraph | Ticks | Blanks | Figure | Listing


@dataclass(frozen=True, slots=True)
class Annex:
    """A titled part of the full answer."""

    title: str
    blocks: tuple[Block, ...]


# ----------------------------------------------------------------------------
# The screen.

#: The bench file of a folder, which nobody needs to name.
BENCH = "bench.toml"

#: What may be said in one line about a bench of invented numbers.
EXAMPLE = "invented numbers in {file}, not yours (castsugar check)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """What a command answers."""

    command: str
    title: str
    findings: tuple[Finding, ...]
    conditions: str = ""  # one line: under which the numbers hold
    blocks: tuple[Block, ...] = ()  # the numbers that decide
    least_sure: str = ""
    #: Short ones, those that the numbers raise first; at most three are shown.
    cautions: tuple[str, ...] = ()
    cautions_count: int = 0  # how many there are in all, the general one left out
    next: str = ""  # what to do next, runnable as printed
    #: Entries with invented numbers that the answer rests on.
    invented: tuple[str, ...] = ()
    bench: str = BENCH  # the file in which they stand
    annexes: tuple[Annex, ...] = ()  # what `full` adds
    #: What sheet 1 of a page has beside the screen: a picture, ticks, a signature.
    sheet: tuple[Block, ...] = ()

    def __post_init__(self) -> None:
        """Let nothing be kept by invented numbers without saying so."""
        if self.invented:
            object.__setattr__(self, "findings", tuple(map(_invented, self.findings)))

    def example(self) -> str:
        """Return the line about invented numbers; empty where there are none."""
        return EXAMPLE.format(file=self.bench) if self.invented else ""


def _invented(one: Finding) -> Finding:
    """Return a finding that calls no strands yours, and where it reassures says why."""
    text = one.text.replace("your strands", "invented strands")
    if one.status in ("KEPT", "INSIDE", "SUPPORTED") and "invented" not in text:
        text = f"{text.rstrip('.')}; invented."
    return replace(one, text=text)


#: Cautions that a screen shows at most.
MOST_CAUTIONS = 3


def closing(shown: int, count: int) -> str:
    """Return the line that keeps the general caution and counts the rest.

    Examples
    --------
    >>> closing(3, 31)
    'Hot mixes burn people and houses; local law decides. 28 more: castsugar cautions'
    """
    more = max(count - shown, 0)
    return (
        f"Hot mixes burn people and houses; local law decides. {more} more: "
        "castsugar cautions"
    )
