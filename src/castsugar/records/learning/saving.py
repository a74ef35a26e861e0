"""What was learnt earlier, and what is written into the bench file: all or nothing."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from castsugar.bench import editing
from castsugar.bench.bench import Bench, check_bench
from castsugar.bench.schema import Place, entries
from castsugar.errors import CastsugarError, InputError
from castsugar.files.paths import real
from castsugar.files.reading import sha256_of
from castsugar.files.writing import update
from castsugar.frozen import dataclass
from castsugar.records.batch import Batch
from castsugar.records.learning.burn_laws import BurnedLearnt, percent, source_of
from castsugar.records.learning.firings import Fired, FiredLearnt
from castsugar.records.learning.kitchen import CookedLearnt
from castsugar.records.learning.material import COUNTS, Material
from castsugar.records.prediction import relative
from castsugar.records.record import Event

#: What a line ends with that castsugar wrote and may replace.
WRITTEN = "written by castsugar learn"


# ----------------------------------------------------------------------------
# What learn wrote into a bench file earlier, and whether records still say so.
#
# Its own lines are known by their comment. The bench file is read without its firings
# and burn laws, so that what was withdrawn teaches nothing; what nothing in the records
# tells of stays, and that is said.

LAW, FIRING = "motor.burn_law", "motor.firing"

#: What learn wrote of efficiencies before it kept the firings.
EFFICIENCY = "measured_efficiency"


@dataclass(frozen=True, slots=True, kw_only=True)
class OldLaw:
    """A burn law from strands in a bench file."""

    index: int  # its count in the array of tables, from 0
    #: Its lines, from 1.
    first: int
    last: int
    entry: dict[str, Any]  # recipe, strands, mix as in the file
    ours: bool  # whether castsugar wrote it
    #: "stands", "changed", "withdrawn", "left" (in a batch that does not count), or
    #: "unknown" to the records.
    state: str
    who: str  # batch and line that say so; empty if unknown

    @property
    def place(self) -> str:
        """Its lines in words."""
        return f"lines {self.first} to {self.last}"

    @property
    def follows(self) -> bool:
        """Whether it is put together anew from the records."""
        return self.ours and self.state in ("stands", "withdrawn", "left")


@dataclass(frozen=True, slots=True, kw_only=True)
class OldFiring:
    """A firing that castsugar wrote into a bench file: its count, line and entry."""

    index: int
    line: int
    entry: dict[str, Any]

    @property
    def name(self) -> str:
        """What it is called in words."""
        return f"[[{FIRING}]] of {' '.join(self.link)} (line {self.line})"

    @property
    def link(self) -> tuple[str, str]:
        """Batch and name of the recording."""
        return _link(self.entry)


def _link(entry: Mapping[str, Any]) -> tuple[str, str]:
    """Return batch and name of the recording of an entry."""
    return str(entry.get("batch", "")), Path(str(entry.get("source", ""))).name


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Earlier:
    """What a bench file says beside what learn wrote there."""

    bare: Bench  # without it
    laws: tuple[OldLaw, ...]
    firings: tuple[OldFiring, ...]  # those that were left out of `bare`
    efficiency: int  # line of a measured efficiency that was left out; 0 if none was
    warnings: tuple[str, ...]  # what stays although it should be looked at


def earlier_of(bench: Bench, material: Material, *, changed: bool = False) -> Earlier:
    """Sort what learn wrote into a bench file from what the file says itself.

    Parameters
    ----------
    changed : bool
        Whether strand files that changed since they were linked are used.
    """
    if bench.motor is None:
        return Earlier(bare=bench, laws=(), firings=(), efficiency=0, warnings=())
    old = [_state(law, bench, material, changed) for law in old_laws(bench)]
    gone = tuple(law for law in old if law.follows)
    warnings = [text for law in old for text in _warning(law, bench.path)]
    links = _fired(material)
    fired = [firing for firing in old_firings(bench) if firing.link in links]
    warnings += [
        f"{bench.path}: {firing.name} was written by castsugar learn, but no record in "
        "this folder has that firing; it counts as your own; delete it if it was "
        "withdrawn"
        for firing in old_firings(bench)
        if firing not in fired
    ]
    line = own_efficiency(bench.text)
    return Earlier(
        bare=_without(bench, gone, fired, line),
        laws=gone,
        firings=tuple(fired),
        efficiency=line,
        warnings=tuple(warnings),
    )


def old_firings(bench: Bench) -> list[OldFiring]:
    """Return the firings of a bench file that castsugar wrote."""
    path = tuple(FIRING.split("."))
    heads = [e for e in entries(bench.text) if e.path == path and e.is_head]
    raw = tomllib.loads(bench.text.removeprefix("\ufeff")).get("motor", {})
    return [
        OldFiring(index=head.index, line=head.line, entry=dict(entry))
        for head, entry in zip(heads, raw.get("firing", []), strict=False)
        if WRITTEN in editing.block_remark(bench.text, FIRING, head.index)
    ]


def reasons_of(bench: Bench) -> dict[str, str]:
    """Return why doubted firings of a bench file count: of batch and recording."""
    return {
        " ".join(firing.link): firing.entry["accepted"]
        for firing in old_firings(bench)
        if firing.entry.get("accepted")
    }


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


def _fired(material: Material) -> set[tuple[str, str]]:
    """Return batch and recording of every firing that the records have ever had."""
    return {
        (batch.id, Path(event.values["file"]).name)
        for batch in (*material.batches, *material.others)
        for event in batch.events
        if event.kind == "fired"
    }


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


def _without(
    bench: Bench, laws: Sequence[OldLaw], firings: Sequence[OldFiring], line: int
) -> Bench:
    """Return a bench file without what learn wrote."""
    text = editing.without_key(bench.text, "motor", EFFICIENCY) if line else bench.text
    for law in reversed(laws):
        text = editing.without_block(text, LAW, law.index)
    for firing in reversed(firings):
        text = editing.without_block(text, FIRING, firing.index)
    return check_bench(bench.path, text)


def as_entry(entry: dict[str, Any]) -> tuple[str, str, str]:
    """Return what makes two entries the same."""
    return entry["recipe"], entry["strands"], entry.get("mix", "")


# ----------------------------------------------------------------------------
# What goes into a bench file: what was learnt, and the file while it is written.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lesson:
    """What goes into a bench file."""

    bench: Bench  # as it was read
    earlier: Earlier
    kitchen: CookedLearnt
    burning: BurnedLearnt
    firing: FiredLearnt


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """What goes into the bench file."""

    path: Path
    #: The whole file as it was read, and as it is to be.
    before: str
    text: str
    written: tuple[str, ...]  # what is new, in words
    #: What learn wrote earlier and the records do not say any more.
    removed: tuple[str, ...]
    refused: tuple[str, ...]  # what was not written, and why
    fault: str = ""  # why nothing at all can be written; empty if it can


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
    """Return the strands of batches that are to stand in the file."""
    if lesson.bench.motor is None:
        return []
    found: list[Entry] = []
    for mix in lesson.burning.mixes:
        for source in mix.sources:
            if source.in_bench:
                continue
            entry = {"recipe": mix.recipe, "strands": _file(lesson, source.path)}
            entry |= {"mix": source.mix} if source.mix else {}
            entry |= source.stated
            found.append(entry)
    return found


def add_laws(lesson: Lesson, draft: Draft) -> None:
    """Add strands of batches that are not there."""
    there = {as_entry(law.entry) for law in lesson.earlier.laws}
    for entry in _entries(lesson):
        if as_entry(entry) not in there:
            draft.text = editing.with_block(draft.text, LAW, entry, WRITTEN)
            draft.written.append(f"[[{LAW}]] {entry['recipe']} from {entry['strands']}")
    if lesson.bench.motor is None and lesson.burning.mixes:
        draft.refused.append(f"burn laws: {lesson.bench.path} has no [motor] table")


def _file(lesson: Lesson, path: Path) -> str:
    return relative(path, real(lesson.bench.path).parent)


# ----------------------------------------------------------------------------
# Firings that go into a bench file: what was measured, so that all commands learn.


def put_firings(lesson: Lesson, draft: Draft) -> None:
    """Add firings that teach; take out or replace what learn wrote of others."""
    new = [_firing(lesson, fired) for fired in _told(lesson, draft)]
    places: dict[tuple[str, str], str] = {}
    for old in reversed(lesson.earlier.firings):
        if old.entry in new:
            new.remove(old.entry)
            continue
        draft.text = editing.without_block(draft.text, FIRING, old.index)
        if old.link in map(_link, new):
            places[old.link] = f" (in the place of line {old.line})"
        else:
            draft.removed.append(f"{old.name}: its record does not say so any more")
    for entry in new:
        draft.text = editing.with_block(draft.text, FIRING, entry, WRITTEN)
        told = f"[[{FIRING}]] of {' '.join(_link(entry))}"
        draft.written.append(told + places.get(_link(entry), ""))
    if lesson.earlier.efficiency:
        draft.text = editing.without_key(draft.text, "motor", EFFICIENCY)
        line = lesson.earlier.efficiency
        draft.removed.append(f"{EFFICIENCY} (line {line}): the firings stand for it")


def _told(lesson: Lesson, draft: Draft) -> Iterator[Fired]:
    """Yield the firings that an entry can hold; say of others why not."""
    ours = {old.index for old in lesson.earlier.firings}
    motor = lesson.bench.motor or {"firing": ()}
    own = {
        _link(entry): entry["line"]
        for index, entry in enumerate(motor["firing"])
        if index not in ours
    }
    for fired in lesson.firing.firings:
        why, link = fired.left_out, (fired.batch.id, fired.link.path.name)
        if not why and link in own:
            why = f"[[{FIRING}]] in line {own[link]} is your own, and stays"
        elif not why and lesson.bench.motor is None:
            why = f"{lesson.bench.path} has no [motor] table"
        elif not why and fired.rate is None:
            why = "its burn rate is not known"
            why += f": {fired.test.no_law}" if fired.test is not None else ""
        if why:
            draft.refused.append(f"firing of {fired.name}: {why}")
        else:
            yield fired


def _firing(lesson: Lesson, fired: Fired) -> Entry:
    """Return the entry of a firing that teaches, as it is typed."""
    rate, reading, made = fired.rate, fired.reading, fired.batch.made
    assert rate is not None  # else it was refused
    same = (m.recipe for m in lesson.burning.mixes if m.is_of(fired.batch.id))
    entry = {
        "recipe": next(same, made.recipe),
        "batch": fired.batch.id,
        "date": fired.link.date,
        "pressure": f"{1e-6 * rate.pressure:.4g} MPa",
        "rate": f"{1e3 * rate.value:.4g} mm/s",
        "rate_u": percent(rate.u),
    }
    entry |= {"rate_u_shared": percent(rate.shared)} if rate.shared > 0.0 else {}
    if reading is not None:
        pairs = {
            "c_star_efficiency": (
                reading.characteristic_velocity,
                reading.characteristic_velocity_u,
            ),
            "nozzle_efficiency": (reading.nozzle, reading.nozzle_u),
        }
        for key, (value, u) in pairs.items():
            if math.isfinite(value):
                entry |= {key: percent(value, 4), f"{key}_u": percent(u)}
    entry |= {"process": made.process} if made.process else {}
    share = fired.batch.degraded
    entry |= {"degraded": percent(share)} if share else {}
    entry |= {"accepted": fired.accepted} if fired.accepted else {}
    path = fired.link.path
    return entry | {
        "source": path.name if fired.link.is_filmed else _file(lesson, path)
    }


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
    for step in (_measured, add_laws, put_firings):
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

    Parameters
    ----------
    planned : Saved
        ``learning.planned`` of :func:`castsugar.records.learn_all`.

    Raises
    ------
    InputError
        If the bench file would not be good, changed meanwhile, or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import castsugar as cs
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = cs.bench.write_example(Path(folder))
    ...     world = cs.bench.read(Path(folder) / "bench.toml")
    ...     none = cs.records.material_of([], [])
    ...     found = cs.records.learn_all(
    ...         world.bench, none, world.database, reduce=print
    ...     )
    ...     save(found.planned)  # nothing was learnt, nothing is written
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
