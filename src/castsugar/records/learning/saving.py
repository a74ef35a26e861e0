"""What was learnt earlier, and what is written into the bench file: all or nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from castsugar.bench import editing
from castsugar.bench.bench import Bench, check_bench
from castsugar.bench.schema import Place, entries
from castsugar.errors import CastsugarError, InputError
from castsugar.files.paths import real
from castsugar.files.reading import sha256_of
from castsugar.files.writing import update
from castsugar.records.batch import Batch
from castsugar.records.learning.burn_laws import (
    BurnedLearnt,
    MixLaw,
    StrandSource,
    source_of,
)
from castsugar.records.learning.efficiency import Combined, FiredLearnt
from castsugar.records.learning.kitchen import CookedLearnt
from castsugar.records.learning.material import COUNTS, Material
from castsugar.records.prediction import relative
from castsugar.records.record import Event

#: What a line ends with that castsugar wrote and may replace.
WRITTEN = "written by castsugar learn"


# ----------------------------------------------------------------------------
# What learn wrote into a bench file earlier, and whether records still say so.
#
# Its own lines are known by their comment. Of the measured efficiency and the burn laws
# the bench file is read without them, so that what was withdrawn teaches nothing; what
# nothing in the records tells of stays, and that is said.

EFFICIENCY, LAW = "measured_efficiency", "motor.burn_law"


@dataclass(frozen=True, slots=True, kw_only=True)
class OldLaw:
    """A burn law from strands in a bench file.

    Attributes
    ----------
    index : int
        Its count in the array of tables, from 0.
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

    index: int
    first: int
    last: int
    entry: dict[str, Any]
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
    if WRITTEN not in editing.key_remark(text, "motor", EFFICIENCY):
        return 0
    return Place(Path(), text, "motor").line(EFFICIENCY)


def old_laws(bench: Bench) -> Iterator[OldLaw]:
    """Yield the burn laws of a bench file that come from strands, states unknown."""
    path = tuple(LAW.split("."))
    found = [e for e in entries(bench.text) if e.path[: len(path)] == path]
    laws = bench.motor["burn_law"] if bench.motor else []
    if sum(e.is_head for e in found) != len(laws):  # an inline array is none of ours
        return
    for index, law in enumerate(laws):
        if "strands" in law:
            remark = editing.block_remark(bench.text, LAW, index)
            yield OldLaw(
                index=index,
                first=law["line"],
                last=max(e.line for e in found if e.index == index),
                entry=law,
                ours=WRITTEN in remark,
                state="unknown",
                who="",
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
    text = editing.without_key(bench.text, "motor", EFFICIENCY) if line else bench.text
    for law in reversed(laws):
        text = editing.without_block(text, LAW, law.index)
    try:
        return check_bench(bench.path, text)
    except CastsugarError:
        return None


def as_entry(entry: dict[str, Any]) -> tuple[str, str, str]:
    """Return what makes two entries the same."""
    return entry["recipe"], entry["strands"], entry.get("mix", "")


# ----------------------------------------------------------------------------
# What goes into a bench file: what was learnt, and the file while it is written.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lesson:
    """What goes into a bench file.

    Attributes
    ----------
    bench : Bench
        As it was read.
    no_efficiency : str
        Why the combined efficiency cannot be used; empty if it can.
    """

    bench: Bench
    earlier: Earlier
    kitchen: CookedLearnt
    burning: BurnedLearnt
    firing: FiredLearnt
    no_efficiency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """What goes into the bench file.

    Attributes
    ----------
    before, text : str
        The whole file as it was read, and as it is to be.
    written : tuple of str
        What is new, in words.
    removed : tuple of str
        What learn wrote earlier and the records do not say any more.
    refused : tuple of str
        What was not written, and why.
    fault : str
        Why nothing at all can be written; empty if it can.
    """

    path: Path
    before: str
    text: str
    written: tuple[str, ...]
    removed: tuple[str, ...]
    refused: tuple[str, ...]
    fault: str = ""


@dataclass(slots=True)
class Draft:
    """A bench file while it is written; see :class:`Saved`."""

    text: str
    written: list[str]
    removed: list[str]
    refused: list[str]


# ----------------------------------------------------------------------------
# Burn laws that go into a bench file: old ones out, new ones in, the user's stay.

Entry = dict[str, str]


def cut_laws(lesson: Lesson, draft: Draft) -> None:
    """Take out burn laws that learn wrote earlier and does not write any more."""
    wanted = {as_entry(e) for e in _entries(lesson)}
    for law in reversed(lesson.earlier.laws):
        if as_entry(law.entry) in wanted:
            continue
        draft.text = editing.without_block(draft.text, LAW, law.index)
        why = f"{law.who} does not stand any more"
        if law.state == "stands":
            why = "its strands stand elsewhere in this file now"
        file = law.entry["strands"]
        draft.removed.append(f"[[{LAW}]] from {file} ({law.place}): {why}")


def _entries(lesson: Lesson) -> list[Entry]:
    """Return the burn laws that are to stand in the file beside the user's own."""
    motor = lesson.bench.motor
    if motor is None or any("borrowed" in e for e in motor["burn_law"]):
        return []
    found: list[Entry] = []
    for mix in lesson.burning.mixes:
        if mix.in_bench or mix.fitted is None:
            continue
        for source in mix.sources:
            entry = {"recipe": mix.recipe, "strands": _file(lesson, source)}
            entry |= {"mix": source.mix} if source.mix else {}
            entry |= source.stated
            found.append(entry)
    return found


def add_laws(lesson: Lesson, draft: Draft) -> None:
    """Add strands of mixes that have no burn law there."""
    there = {as_entry(law.entry) for law in lesson.earlier.laws}
    for entry in _entries(lesson):
        if as_entry(entry) not in there:
            draft.text = editing.with_block(draft.text, LAW, entry, WRITTEN)
            draft.written.append(f"[[{LAW}]] {entry['recipe']} from {entry['strands']}")
    draft.refused += _laws_left(lesson)


def _laws_left(lesson: Lesson) -> Iterator[str]:
    """Yield what strands of batches tell that does not go into the file."""
    bench = lesson.bench
    new = [m for m in lesson.burning.mixes if not m.in_bench and m.fitted is not None]
    if bench.motor is None:
        if new:
            yield f"burn laws: {bench.path} has no [motor] table"
        return
    borrowed = [e for e in bench.motor["burn_law"] if "borrowed" in e]
    if new and borrowed:
        yield (
            f"burn laws: the borrowed one in line {borrowed[0]['line']} stands alone; "
            "delete that [[motor.burn_law]] together with adding your own: recipe = "
            f"{new[0].recipe!r}, strands = {_file(lesson, new[0].sources[0])!r}"
        )
        return
    for mix in lesson.burning.mixes:
        yield from _beside_own(lesson, mix)


def _beside_own(lesson: Lesson, mix: MixLaw) -> Iterator[str]:
    """Say which strands do not move a burn law that is the user's own."""
    new = [s for s in mix.sources if not s.in_bench]
    if not mix.in_bench or not new:
        return
    files = ", ".join(_file(lesson, s) for s in new)
    count = sum(len(s.strands) for s in new)
    own = [s for s in mix.sources if s.in_bench]
    todo = f"put strands = {_file(lesson, new[0])!r} in the place of what it states"
    if own or len(new) > 1:
        todo = f"add a [[{LAW}]] of the same recipe for the strands of each file"
    yield (
        f"{count} strands of {mix.recipe} ({files}): [[{LAW}]] of this mix is your own "
        f"and stays; to use them, {todo}"
    )


def _file(lesson: Lesson, source: StrandSource) -> str:
    return relative(source.path, real(lesson.bench.path).parent)


# ----------------------------------------------------------------------------
# Write what was learnt into the bench file: comments stay, all of it or nothing.
#
# What learn wrote earlier and the records do not say any more is replaced or taken out.


def plan(lesson: Lesson) -> Saved:
    """Return what is to be written; the file is not touched.

    If the bench file would not be good afterwards, it is to stay as it is, and `fault`
    says why.
    """
    draft = Draft(lesson.bench.text, [], [], [])
    cut_laws(lesson, draft)
    for step in (_measured, add_laws, _efficiency):
        step(lesson, draft)
    path = lesson.bench.path
    try:
        check_bench(path, draft.text)
    except CastsugarError as error:
        fault = f"the bench file would not be good afterwards: {error}"
        draft = Draft(lesson.bench.text, [], [], [f"anything: {fault}"])
    else:
        fault = ""
    return Saved(
        path=path,
        before=lesson.bench.text,
        text=draft.text,
        written=tuple(draft.written),
        removed=tuple(draft.removed),
        refused=tuple(draft.refused),
        fault=fault,
    )


def save(planned: Saved) -> None:
    """Write what was planned into the bench file; nothing if there is nothing new.

    Raises
    ------
    InputError
        If the bench file would not be good, changed meanwhile, or cannot be written.
    """
    if planned.fault:
        raise InputError(f"nothing was saved: {planned.fault}")
    if planned.text == planned.before:
        return

    def planned_text(before: bytes | None) -> bytes:
        if before != planned.before.encode("utf-8"):
            raise InputError(
                f"{planned.path} changed while this ran; nothing was saved, run it "
                "again"
            )
        return planned.text.encode("utf-8")

    update(planned.path, planned_text)


def _measured(lesson: Lesson, draft: Draft) -> None:
    """Add the batches' measurements that are not there."""
    kitchen = lesson.kitchen
    for kept in kitchen.kept:
        if kept.mark in kitchen.there:
            continue
        remarks = [str(kept.entry.get("note", "")), kept.note]
        note = ": ".join([kept.mark, *dict.fromkeys(r for r in remarks if r)])
        entry = kept.entry | {"note": note}
        draft.text = editing.with_block(draft.text, "kitchen.measured", entry)
        kind = kept.entry["kind"]
        draft.written.append(f"[[kitchen.measured]] {kind}, {kept.mark}")
    draft.refused += [
        f"{o.measurement.kind} of {o.measurement.label}: contradicts what is believed"
        for o in kitchen.contradictions
        if o.measurement.label.startswith("batch")
    ]


def _efficiency(lesson: Lesson, draft: Draft) -> None:
    """Write the measured efficiency; only over a line that castsugar wrote."""
    found, old = lesson.firing.efficiency, lesson.earlier.efficiency
    fault = "" if found is None else "".join(_efficiency_faults(lesson))
    if fault:
        draft.refused.append(f"{EFFICIENCY}: {fault}")
    if found is None or fault:
        if old:
            draft.text = editing.without_key(draft.text, "motor", EFFICIENCY)
            draft.removed.append(
                f"{EFFICIENCY} (line {old}): no sound firing says so any more"
            )
        return
    before, new = draft.text, efficiency_line(found)
    try:
        draft.text = editing.with_key(before, "motor", new)
    except LookupError:
        draft.refused.append(
            f"{EFFICIENCY}: {lesson.bench.path} has no line [motor] to put it under"
        )
    if draft.text != before:
        where = f" (in the place of line {old})" if old else ""
        draft.written.append(f"[motor] {new}{where}")


def _efficiency_faults(lesson: Lesson) -> Iterator[str]:
    """Yield the first reason why the efficiency cannot be written."""
    motor, path = lesson.earlier.bare.motor, lesson.bench.path
    if motor is None:
        yield f"{path} has no [motor] table"
        return
    if lesson.no_efficiency:
        yield lesson.no_efficiency
        return
    for key in ("efficiency", EFFICIENCY):
        if motor[key] is not None:
            line = Place(path, lesson.bench.text, "motor").line(key)
            yield (
                f"{path}, line {line}: {key} = {motor[key]:g} is your own; delete it "
                "to have it written from your firings"
            )
            return


def efficiency_line(found: Combined) -> str:
    """Return the line of [motor], with the digits that its uncertainty allows."""
    digits = max(0, 1 - math.floor(math.log10(found.u)))
    noun = "firing" if found.count == 1 else "firings"
    return (
        f"{EFFICIENCY} = {found.value:.{digits}f}  # +-{found.u:.{digits}f} (standard "
        f"uncertainty, {found.count} {noun}), {WRITTEN}"
    )
