"""What ``castsugar audit`` answers: whether a record is that of this version."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from castsugar.frozen import dataclass
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed
from castsugar.report.screen import Annex, Block, Finding, Listing, Screen, Table
from castsugar.report.shown import Shown

#: Differences that a screen has room for.
_MOST = 10

#: More than any change in per cent.
_MUCH = 1e308


#: A number or a word of a document; None where it has none.
Told = float | str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Differing:
    """A number or a word of a record that is another one now; None: there is none."""

    place: str
    was: Told
    now: Told

    @property
    def word(self) -> bool:
        """Whether it is a word, then or now."""
        return isinstance(self.was, str) or isinstance(self.now, str)

    @property
    def change(self) -> float:
        """Change in per cent of what it was; NaN where that says nothing."""
        if not (isinstance(self.was, float) and isinstance(self.now, float)):
            return math.nan
        return 100.0 * (self.now - self.was) / abs(self.was) if self.was else math.nan

    @property
    def size(self) -> float:
        """How much it changes, for the order: numbers without a percentage, words."""
        if self.word:
            return math.inf
        return _MUCH if math.isnan(self.change) else abs(self.change)

    def __str__(self) -> str:
        change = numbers.moved(self.change)
        percent = f" ({change} %)" if change else ""
        return f"{self.place} {_said(self.was)} now {_said(self.now)}{percent}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited:
    """A record, recomputed."""

    name: str  # of its file
    #: What it is, the words that made it, and by which castsugar.
    schema: str
    command: str
    version: str
    others: Sequence[str]  # versions that made it and are not those of here
    #: How many were compared.
    numbers: int
    words: int
    #: Words first, then numbers, the largest change first.
    differing: tuple[Differing, ...]
    #: Files that it was made of and that hold something else now.
    changed: tuple[str, ...]


def audit_screen(found: Audited, _: Shown) -> Screen:
    """Return whether the numbers are the same, and which are not."""
    blocks: tuple[Block, ...] = ()
    if found.differing:
        blocks = (_table(found.differing[:_MOST]),)
    title = f"audit: {found.name}, {found.schema} of castsugar {found.version}"
    if found.others:
        others = "; ".join(found.others)
        title = f"audit: {found.name}, ANOTHER VERSION: {others}; {found.schema}"
    return Screen(
        command="audit",
        title=title,
        findings=tuple(_findings(found)),
        conditions=f"recomputed: {found.command}",
        blocks=blocks,
        next=found.command,
        annexes=tuple(_annexes(found)),
    )


def _findings(found: Audited) -> Iterator[Finding]:
    for name in found.changed:
        yield Finding("CAUTION", f"{name} has changed since the record was made.")
    words = [one for one in found.differing if one.word]
    largest = found.differing[len(words) :]
    values = {"numbers": found.numbers, "words": found.words}
    if not found.differing:
        said = f"same: all {found.numbers} numbers, in ten digits"
        said += f", and all {found.words} words." if found.words else "."
        yield Finding("KEPT", said, values)
    if words:
        said = f"differs: {len(words)} of {found.words} words; first: {words[0]}."
        yield Finding("BROKEN", said, values | {"differing_words": len(words)})
    if largest:
        said = f"differs: {len(largest)} of {found.numbers} numbers; largest: "
        values |= {"differing": len(largest)}
        yield Finding("BROKEN", f"{said}{largest[0]}.", values)


def _table(rows: tuple[Differing, ...]) -> Table:
    return Table(
        heads=("what", "was", "now", "%"),
        rows=tuple(
            (
                one.place,
                _said(one.was),
                _said(one.now),
                numbers.moved(one.change),
            )
            for one in rows
        ),
        left=frozenset({0}),
        spare=len(rows) - 1,
        of="differences",
    )


def _annexes(found: Audited) -> Iterator[Annex]:
    if rest := found.differing[_MOST:]:
        yield Annex("All others that differ", (Listing(tuple(map(str, rest))),))


def _said(value: Told) -> str:
    if isinstance(value, str):
        return value if len(value) <= _LONG else f"{value[:_LONG]}..."
    return "none" if value is None else numbers.in_full(value)


#: Letters of a word that are shown.
_LONG = 40


DIFFERING = keyed(
    ("place", TEXT, "of the number in the record"),
    ("was", "number", "in the record, in the unit of its key"),
    ("now", "number", "as this version has it"),
    ("change_percent", "number", "of what it was"),
)

WORDS = keyed(
    ("place", TEXT, "of the word in the record"),
    ("was", TEXT, "in the record"),
    ("now", TEXT, "as this version has it"),
)

PARTS = {
    "audited": Part(meaning="the record: file, schema, command, version"),
    "other_versions": Part(meaning="what made it that is not of this version"),
    "same": Part(meaning="whether all numbers and words are those of this version"),
    "numbers": Part(meaning="how many were compared"),
    "words": Part(meaning="how many were compared; sentences are not"),
    "changed_files": Part(meaning="files of the record that hold something else now"),
    "differing": Part(
        meaning="the numbers that are not the same", fields=DIFFERING, many=True
    ),
    "differing_words": Part(
        meaning="the words that are not the same", fields=WORDS, many=True
    ),
}


def audit_parts(found: Audited) -> dict[str, Any]:
    """Return what the JSON of audit holds."""
    return {
        "audited": {
            "file": found.name,
            "schema": found.schema,
            "command": found.command,
            "castsugar": found.version,
        },
        "other_versions": list(found.others),
        "same": not found.differing,
        "numbers": found.numbers,
        "words": found.words,
        "changed_files": list(found.changed),
        "differing": audit_rows(found),
        "differing_words": [
            {"place": one.place, "was": one.was, "now": one.now}
            for one in found.differing
            if one.word
        ],
    }


def audit_rows(found: Audited) -> list[dict[str, Any]]:
    """Return a row a number that differs."""
    return [
        {
            "place": one.place,
            "was": one.was,
            "now": one.now,
            "change_percent": one.change,
        }
        for one in found.differing
        if not one.word
    ]
