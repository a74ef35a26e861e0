"""What ``castsugar audit`` answers: whether a record is that of this version."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed
from castsugar.report.screen import Annex, Block, Finding, Listing, Screen, Table
from castsugar.report.shown import Shown

#: Differences that a screen has room for.
_MOST = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Differing:
    """A number of a record that is another one now; None: there is none."""

    place: str
    was: float | None
    now: float | None

    @property
    def change(self) -> float:
        """Change in per cent of what it was; NaN where that says nothing."""
        if self.was is None or self.now is None or self.was == 0.0:
            return math.nan
        return 100.0 * (self.now - self.was) / abs(self.was)

    @property
    def size(self) -> float:
        """How much it changes, for the order; without a percentage the most."""
        return math.inf if math.isnan(self.change) else abs(self.change)

    def __str__(self) -> str:
        change = numbers.moved(self.change)
        percent = f" ({change} %)" if change else ""
        return f"{self.place} {_number(self.was)} now {_number(self.now)}{percent}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited:
    """A record, recomputed.

    Attributes
    ----------
    name : str
        Of its file.
    schema, command, version : str
        What it is, the words that made it, and by which castsugar.
    count : int
        Numbers that were compared.
    differing : tuple of Differing
        The largest change first.
    changed : tuple of str
        Files that it was made of and that hold something else now.
    """

    name: str
    schema: str
    command: str
    version: str
    count: int
    differing: tuple[Differing, ...]
    changed: tuple[str, ...]


def audit_screen(found: Audited, _: Shown) -> Screen:
    """Return whether the numbers are the same, and which are not."""
    blocks: tuple[Block, ...] = ()
    if found.differing:
        blocks = (_table(found.differing[:_MOST]),)
    return Screen(
        command="audit",
        title=f"audit: {found.name}, {found.schema} of castsugar {found.version}",
        findings=tuple(_findings(found)),
        conditions=f"recomputed: {found.command}",
        blocks=blocks,
        next=found.command,
        annexes=tuple(_annexes(found)),
    )


def _findings(found: Audited) -> Iterator[Finding]:
    for name in found.changed:
        yield Finding("CAUTION", f"{name} has changed since the record was made.")
    many, values = len(found.differing), {"numbers": found.count}
    if not many:
        said = f"same: all {found.count} numbers, in ten digits."
        yield Finding("KEPT", said, values)
        return
    said = f"differs: {many} of {found.count}; largest: {found.differing[0]}."
    yield Finding("BROKEN", said, values | {"differing": many})


def _table(rows: tuple[Differing, ...]) -> Table:
    return Table(
        heads=("number", "was", "now", "%"),
        rows=tuple(
            (
                one.place,
                _number(one.was),
                _number(one.now),
                numbers.moved(one.change),
            )
            for one in rows
        ),
        left=frozenset({0}),
        spare=len(rows) - 1,
        of="numbers",
    )


def _annexes(found: Audited) -> Iterator[Annex]:
    if rest := found.differing[_MOST:]:
        yield Annex("All others that differ", (Listing(tuple(map(str, rest))),))


def _number(value: float | None) -> str:
    return "none" if value is None else numbers.in_full(value)


DIFFERING = keyed(
    ("place", TEXT, "of the number in the record"),
    ("was", "number", "in the record, in the unit of its key"),
    ("now", "number", "as this version has it"),
    ("change_percent", "number", "of what it was"),
)

PARTS = {
    "audited": Part(meaning="the record: file, schema, command, version"),
    "same": Part(meaning="whether all numbers are those of this version"),
    "numbers": Part(meaning="how many were compared"),
    "changed_files": Part(meaning="files of the record that hold something else now"),
    "differing": Part(
        meaning="the numbers that are not the same", fields=DIFFERING, many=True
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
        "same": not found.differing,
        "numbers": found.count,
        "changed_files": list(found.changed),
        "differing": audit_rows(found),
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
    ]
