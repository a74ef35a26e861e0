"""What learn wrote into a bench file earlier, and whether records still say so.

Its own lines are known by their comment. Of the measured efficiency and the burn laws
the bench file is read without them, so that what was withdrawn teaches nothing; what
nothing in the records tells of stays, and that is said.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from castsugar.errors import CastsugarError
from castsugar.files.paths import real
from castsugar.files.reading import sha256_of
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.batches.record import Event
from castsugar.workshop.bench import Bench, check_bench
from castsugar.workshop.learning.burned import source_of
from castsugar.workshop.learning.edits import (
    block_lines,
    is_ours,
    key_line,
    without_lines,
)
from castsugar.workshop.learning.material import COUNTS, Material

EFFICIENCY, LAW = "measured_efficiency", "motor.burn_law"


@dataclass(frozen=True, slots=True, kw_only=True)
class OldLaw:
    """A burn law from strands in a bench file.

    Attributes
    ----------
    first, last : int
        Its lines, from 1.
    entry : dict
        recipe, strands, mix as in the file.
    ours : bool
        Whether castsugar wrote it.
    state : str
        "stands", "changed", "withdrawn", "left" (in a batch that does not count), or
        "unknown" to the records.
    who : str
        Batch and line that say so; empty if unknown.
    """

    first: int
    last: int
    entry: dict[str, str]
    ours: bool
    state: str
    who: str

    @property
    def place(self) -> str:
        """Its lines in words."""
        return f"lines {self.first} to {self.last}"

    @property
    def follows(self) -> bool:
        """Whether it is put together anew from the records."""
        return self.ours and self.state in ("stands", "withdrawn", "left")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Earlier:
    """What a bench file says beside what learn wrote there.

    Attributes
    ----------
    bare : Bench
        Without it.
    laws : tuple of OldLaw
        Those that were left out of `bare`.
    efficiency : int
        Line of the measured efficiency that was left out; 0 if none was.
    warnings : tuple of str
        What stays although it should be looked at.
    """

    bare: Bench
    laws: tuple[OldLaw, ...]
    efficiency: int
    warnings: tuple[str, ...]


def earlier_of(bench: Bench, material: Material, *, changed: bool = False) -> Earlier:
    """Sort what learn wrote into a bench file from what the file says itself.

    Parameters
    ----------
    bench : Bench
    material : Material
    changed : bool
        Whether strand files that changed since they were linked are used.
    """
    if bench.motor is None:
        return Earlier(bare=bench, laws=(), efficiency=0, warnings=())
    old = [_state(law, bench, material, changed) for law in old_laws(bench)]
    gone = tuple(law for law in old if law.follows)
    warnings = [text for law in old for text in _warning(law, bench.path)]
    line = own_efficiency(bench.text)
    if line and not _fired(material):
        warnings.append(
            f"{bench.path}, line {line}: {EFFICIENCY} was written by castsugar learn, "
            "but no record in this folder has a firing; delete the line if the firing "
            "was withdrawn"
        )
        line = 0
    bare = _without(bench, gone, line)
    if bare is None:
        warnings += [_alone(law, bench.path) for law in gone if law.state != "stands"]
        gone, bare = (), _without(bench, (), line)
    return Earlier(
        bare=bare or bench,
        laws=gone,
        efficiency=line if bare is not None else 0,
        warnings=tuple(warnings),
    )


def own_efficiency(text: str) -> int:
    """Return the line of a measured efficiency that castsugar wrote; 0 without."""
    line = key_line(text, "motor", EFFICIENCY)
    return line if line and is_ours(text, line) else 0


def old_laws(bench: Bench) -> Iterator[OldLaw]:
    """Yield the burn laws of a bench file that come from strands, states unknown."""
    raw = tomllib.loads(bench.text.removeprefix("\ufeff"))["motor"].get("burn_law", [])
    places = block_lines(bench.text, LAW)
    if len(places) != len(raw):  # an inline array: castsugar wrote none of it
        return
    for (first, last), entry in zip(places, raw, strict=True):
        if "strands" in entry:
            ours = is_ours(bench.text, first)
            yield OldLaw(
                first=first, last=last, entry=entry, ours=ours, state="unknown", who=""
            )


def _state(law: OldLaw, bench: Bench, material: Material, changed: bool) -> OldLaw:
    """Look a burn law up in the records."""
    path = bench.path.parent / law.entry["strands"]
    try:
        mix, now = source_of(path, law.entry.get("mix", "")).mix, sha256_of(path)
    except CastsugarError:
        mix, now = law.entry.get("mix", ""), ""
    found = ""
    for batch, event in _burned(material):
        values = event.values
        same = real(batch.path.parent / values["file"]) == real(path)
        if not (same or values["sha256"] == now) or values["mix"] not in ("", mix):
            continue
        who = f"batch {batch.id} line {event.line}"
        standing = _standing(batch, event)
        if standing != "stands":
            law = replace(law, who=law.who if found else who)
            found = found or standing
        elif changed or values["sha256"] == now:
            return replace(law, state="stands", who=who)
        else:
            law, found = replace(law, who=who), "changed"
    return replace(law, state=found or "unknown")


def _burned(material: Material) -> Iterator[tuple[Batch, Event]]:
    for batch in (*material.batches, *material.others):
        yield from ((batch, e) for e in batch.events if e.kind == "burned")


def _standing(batch: Batch, event: Event) -> str:
    if not batch.is_sound or event.line in batch.set_aside:
        return "withdrawn"
    return "stands" if batch.outcome in COUNTS else "left"


def _fired(material: Material) -> bool:
    both = (*material.batches, *material.others)
    return any(e.kind == "fired" for b in both for e in b.events)


def _warning(law: OldLaw, path: Path) -> Iterator[str]:
    """Say what is to be looked at by hand."""
    file = law.entry["strands"]
    if law.ours and law.state == "unknown":
        yield (
            f"{path}, {law.place}: the burn law from {file} was written by castsugar "
            "learn, but no record in this folder links it; it counts as your own; "
            "delete these lines if the strands were withdrawn"
        )
    elif law.ours and law.state == "changed":
        yield (
            f"{path}, {law.place}: {file} has changed since {law.who} linked it, and "
            "this burn law reads it as it is now; look at it, then link it again "
            "(castsugar batch add ID --strands) or delete these lines"
        )
    elif not law.ours and law.state == "withdrawn":
        yield (
            f"{path}, {law.place}: the strands of {file} were withdrawn ({law.who}), "
            "but this burn law still reads them, and castsugar did not mark it as its "
            "own; delete these lines if they are wrong"
        )


def _alone(law: OldLaw, path: Path) -> str:
    return (
        f"{path}, {law.place}: the strands of {law.entry['strands']} were withdrawn or "
        f"do not count ({law.who}), but no burn law would be left without them; put "
        "another [[motor.burn_law]] in the place of these lines, and trust no pressure "
        "until then"
    )


def _without(bench: Bench, laws: Sequence[OldLaw], line: int) -> Bench | None:
    """Return a bench file without burn laws and a line; None if it is not good then."""
    cuts = [(law.first, law.last) for law in laws]
    cuts += [(line, line)] if line else []
    text = bench.text
    for first, last in sorted(cuts, reverse=True):
        text = without_lines(text, first, last)
    try:
        return check_bench(bench.path, text)
    except CastsugarError:
        return None


def as_entry(entry: dict[str, Any]) -> tuple[str, str, str]:
    """Return what makes two entries the same."""
    return entry["recipe"], entry["strands"], entry.get("mix", "")
