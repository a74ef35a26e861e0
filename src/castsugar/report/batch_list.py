"""The batches of a folder as text, CSV or JSON. Loads nothing heavy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

from castsugar.plain import to_json
from castsugar.records.folder import Damaged, Summary
from castsugar.report import data
from castsugar.report.layout import WIDTH

#: Kinds of events that a list counts: head of the column, kind.
COUNTED = (
    ("seen", "observed"),
    ("measured", "measured"),
    ("strands", "burned"),
    ("firings", "fired"),
)

_HEAD = f"  {'batch':<14}{'mass, g':>8}  {'state':<10}" + "".join(
    f"{head:>{len(head) + 1}}" for head, _ in COUNTED
)


class Kinds(Protocol):
    """What says how to write the list."""

    json: bool
    csv: bool


def render(
    found: Sequence[Summary], damaged: Sequence[Damaged], folder: Path, kinds: Kinds
) -> str:
    """Return the list as it is asked for."""
    if kinds.csv:
        rows = [list_row(batch) for batch in found]
        return data.to_csv(rows, COLUMNS)
    if not kinds.json:
        return list_page(found, damaged, folder)
    return to_json(
        {
            "schema": "castsugar.batches/1",
            "folder": folder.as_posix(),
            "batches": [list_row(batch) for batch in found],
            "damaged": [{"file": d.path.name, "fault": d.fault} for d in damaged],
        }
    )


#: Columns of the list.
COLUMNS = (
    "id",
    "date",
    "name",
    "recipe",
    "mass_kg",
    "state",
    *(kind for _, kind in COUNTED),
    "note",
)


def list_row(batch: Summary) -> dict[str, Any]:
    """Return a batch as one row."""
    return {
        "id": batch.id,
        "date": batch.date,
        "name": batch.name,
        "recipe": batch.recipe,
        "mass_kg": batch.mass,
        "state": state_of(batch),
        **{kind: batch.counts.get(kind, 0) for _, kind in COUNTED},
        "note": batch.note,
    }


def state_of(batch: Summary) -> str:
    """Say what became of a batch."""
    return "wrong" if not batch.is_sound else batch.outcome or "open"


def list_page(
    found: Sequence[Summary], damaged: Sequence[Damaged], folder: Path
) -> str:
    """Return the list as text, one line a batch."""
    where = printable(folder.as_posix())
    if not found and not damaged:
        return (
            f'No batches in {where}. castsugar batch new "KNO3:65 sucrose:35" '
            '--batch "200 g" keeps one.\n'
        )
    lines = [f"Batches in {where}: {len(found)}", "", f"{_HEAD}  mix"]
    lines += [_line(batch) for batch in found]
    if any(not batch.is_sound for batch in found):
        lines += [
            "",
            "  wrong: what was made was corrected; castsugar batch show says how",
        ]
    if damaged:
        lines += ["", f"Damaged, left out: {len(damaged)}"]
        lines += [f"  {printable(d.path.name)}" for d in damaged]
    return "\n".join(lines) + "\n"


def _line(batch: Summary) -> str:
    counts = "".join(
        f"{batch.counts.get(kind, 0) or '-':>{len(head) + 1}}" for head, kind in COUNTED
    )
    start = f"  {batch.id:<14}{1e3 * batch.mass:>8.1f}  {state_of(batch):<10}{counts}"
    mix = printable(batch.name or batch.recipe)
    room = WIDTH - len(start) - 2
    return f"{start}  {mix if len(mix) <= room else mix[: room - 2] + '..'}"


def printable(text: str) -> str:
    """Return a text on one line, without characters that steer a terminal."""
    return "".join(c if c.isprintable() else " " for c in text)
