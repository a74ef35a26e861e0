"""What there is to learn from: closed batches, and the state of the files they link."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from castsugar.errors import InputError
from castsugar.files.reading import sha256_of
from castsugar.frozen import dataclass
from castsugar.records.batch import Batch
from castsugar.records.folder import Damaged
from castsugar.records.record import Link

#: What a measurement that came from a batch is called in a bench file.
MARK = re.compile(r"batch ([0-9]{4}-[0-9]{2}-[0-9]{2}-[1-9][0-9]*) line ([1-9][0-9]*)")

#: Outcomes of batches that count.
COUNTS = ("used", "partly")

#: Share of the mass that may differ between plan and scale before it is said.
TOLERANCE = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """What there is to learn from."""

    #: Those that count: closed as used or partly, what was made uncorrected.
    batches: tuple[Batch, ...]
    #: Why ("open", "discarded", "corrected") to the batches that do not count.
    left_out: dict[str, tuple[str, ...]]
    damaged: tuple[Damaged, ...]
    #: Tuple of (str, int, str): batch, line and fault of what was set aside in batches
    #: that count.
    corrected: tuple[tuple[str, int, str], ...]
    #: Tuple of (str, float): batch, and the share of its mass that differs from the
    #: plan, where it is more than TOLERANCE.
    off_plan: tuple[tuple[str, float], ...]
    others: tuple[Batch, ...] = ()  # those that do not

    @property
    def discarded(self) -> tuple[Batch, ...]:
        """Those that were discarded: compared, but not learnt from."""
        return tuple(b for b in self.others if b.is_sound and b.outcome == "discarded")

    @property
    def is_empty(self) -> bool:
        """Whether no closed batch has anything that was measured."""
        kinds = ("measured", "burned", "fired")
        closed = (*self.batches, *self.discarded)
        return not any(e.kind in kinds for b in closed for e in b.standing)


def material_of(batches: Sequence[Batch], damaged: Sequence[Damaged]) -> Material:
    """Sort batches into those that count and those that do not.

    Parameters
    ----------
    batches : sequence of Batch
    damaged : sequence of Damaged
        As of :func:`castsugar.records.read_batches`.

    Returns
    -------
    Material

    Examples
    --------
    >>> material_of([], []).batches
    ()
    """
    counts: list[Batch] = []
    left: dict[str, list[str]] = {"open": [], "discarded": [], "corrected": []}
    for batch in batches:
        if not batch.is_sound:
            left["corrected"].append(batch.id)
        elif batch.outcome in COUNTS:
            counts.append(batch)
        else:
            left[batch.outcome or "open"].append(batch.id)
    known = {b.id for b in counts}
    off = [(b.id, off_plan(b)) for b in counts]
    return Material(
        batches=tuple(counts),
        left_out={why: tuple(names) for why, names in left.items()},
        damaged=tuple(damaged),
        corrected=tuple((b.id, k, w) for b in counts for k, w in b.set_aside.items()),
        off_plan=tuple((name, share) for name, share in off if share > TOLERANCE),
        others=tuple(b for b in batches if b.id not in known),
    )


def off_plan(batch: Batch) -> float:
    """Return the share of the mass that lies elsewhere than planned."""
    made = batch.made
    total = made.mass
    if not total > 0.0:
        return 0.0
    shares = {name: mass / total for name, mass in made.masses.items()}
    return 0.5 * sum(abs(shares[n] - f) for n, f in made.fractions.items())


def mark(identity: str, line: int) -> str:
    """Return the note under which a bench file keeps a measurement of a batch."""
    return f"batch {identity} line {line}"


def marked(note: str) -> str:
    """Return the mark that a note begins with; empty if it has none."""
    found = MARK.match(note)
    return found[0] if found else ""


def file_fault(link: Link) -> str:
    """Say what is wrong with a linked file: "changed", "missing"; empty if nothing."""
    if link.is_filmed:
        return ""
    try:
        return "" if sha256_of(link.path) == link.sha256 else "changed"
    except InputError:
        return "missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFault:
    """A linked file that is not as it was."""

    batch: str
    line: int
    path: Path
    fault: str  # "changed" or "missing"
    done: str  # what was done about it

    @classmethod
    def of(cls, batch: Batch, link: Link, fault: str, done: str) -> FileFault:
        """Return the fault of a link of a batch."""
        return cls(
            batch=batch.id, line=link.line, path=link.path, fault=fault, done=done
        )


def measured_in(batches: Sequence[Batch]) -> list[tuple[str, Batch, Any]]:
    """Return (mark, batch, event) of every kitchen measurement, in order of time."""
    found = [
        (e.date, i, e.line, mark(b.id, e.line), b, e)
        for i, b in enumerate(batches)
        for e in b.standing
        if e.kind == "measured"
    ]
    found.sort(key=lambda entry: entry[:3])
    return [(name, batch, event) for *_, name, batch, event in found]
