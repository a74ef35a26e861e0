"""The batches of a folder, newest last. Loads nothing heavy."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from castsugar.records.folder import Damaged, Summary
from castsugar.report import numbers
from castsugar.report.document import Part, part, read_parts
from castsugar.report.field import TEXT, fields, row_of
from castsugar.report.mix_words import shares
from castsugar.report.screen import Annex, Finding, Screen, Table
from castsugar.report.shown import Shown

#: Kinds of events that a list counts: kind, head of the column, meaning.
COUNTED = (
    ("observed", "seen", "entries of what was seen"),
    ("measured", "measured", "kitchen measurements"),
    ("burned", "strands", "files of strands"),
    ("fired", "firings", "static tests"),
)

FIELDS = fields(
    ("id", "batch", TEXT, "date and number of the day"),
    ("date", "date", TEXT, "when it was made"),
    ("name", "name", TEXT, "of the recipe, or empty"),
    ("recipe", "recipe", TEXT, "as typed"),
    ("mass_g", "mass", "mass", "as made, in the pan"),
    (
        "state",
        "state",
        TEXT,
        "open, used, partly, discarded, or wrong: what was made was corrected",
    ),
    *((kind, head, "number", meaning) for kind, head, meaning in COUNTED),
    ("note", "note", TEXT, "as typed"),
)

#: The document ``castsugar.batches/2``: of the batches, the damaged files, the folder.
PARTS: dict[str, Part] = {
    "folder": part("of the records", lambda _, __, folder: folder),
    "batches": part("oldest first", lambda found, *_: list_rows(found), FIELDS),
    "damaged": part(
        "files that are no good record: file, fault",
        lambda _, damaged, __: damaged_of(damaged),
    ),
}

list_parts = partial(read_parts, PARTS)

#: Most batches on a default screen.
_ROWS = 16


def damaged_of(damaged: Sequence[Damaged]) -> list[dict[str, Any]]:
    """Return which files are no good record, and why."""
    return [{"file": one.path.name, "fault": one.fault} for one in damaged]


def list_rows(found: Sequence[Summary]) -> list[dict[str, Any]]:
    """Return one row a batch."""
    return [
        row_of(
            FIELDS,
            batch,
            mass_g=1e3 * batch.mass,
            state=state_of(batch),
            **{kind: batch.counts.get(kind, 0) for kind, _, _ in COUNTED},
        )
        for batch in found
    ]


def state_of(batch: Summary) -> str:
    """Say what became of a batch."""
    return "wrong" if not batch.is_sound else batch.outcome or "open"


def list_screen(
    found: Sequence[Summary],
    damaged: Sequence[Damaged],
    folder: str,
    *,
    show: Shown,
    next_: str,
) -> Screen:
    """Return the list, one line a batch."""
    findings = [Finding("MISFIT", f"Damaged, left out: {d.fault}") for d in damaged]
    states = [state_of(batch) for batch in found]
    counts = [f"{states.count(s)} {s}" for s in dict.fromkeys(states)]
    told = numbers.listed(counts) or "none yet; castsugar batch new keeps one"
    whole = numbers.count(len(found), "batch", "batches")
    findings.append(Finding("READ", f"{whole[:1].upper()}{whole[1:]}: {told}"))
    if "wrong" in states:
        why = "wrong: what was made was corrected; castsugar batch show says how"
        findings.append(Finding("CAUTION", why))
    rows = tuple(_cells(batch, show) for batch in found)
    more = len(rows) > _ROWS
    last = f"the last {_ROWS} of {len(rows)} " if more else ""
    return Screen(
        command="batch",
        title=f"Batches in {printable(folder)}",
        findings=tuple(findings),
        conditions=f"{last}(--full lists all)" if more else "",
        blocks=(_table(rows[-_ROWS:], show),) if rows else (),
        annexes=(Annex("All batches", (_table(rows, show),)),) if more else (),
        next=next_,
    )


def _table(rows: tuple[tuple[str, ...], ...], show: Shown) -> Table:
    heads = (head for _, head, _ in COUNTED)
    return Table(
        heads=("batch", show.headed("mass", "mass"), "state", *heads, "mix"),
        rows=rows,
        left=frozenset({0, 2, 7}),
    )


def _cells(batch: Summary, show: Shown) -> tuple[str, ...]:
    counts = (str(batch.counts.get(kind, 0) or numbers.DASH) for kind, _, _ in COUNTED)
    mix = printable(shares(batch.name or batch.recipe))
    mass = show.bare("mass", 1e3 * batch.mass, 4)
    return batch.id, mass, state_of(batch), *counts, mix


def printable(text: str) -> str:
    """Return a text on one line, without characters that steer a terminal."""
    return "".join(c if c.isprintable() else " " for c in text)
