"""Burn laws that go into a bench file: old ones out, new ones in, the user's stay."""

from __future__ import annotations

from collections.abc import Iterator

from castsugar.files.paths import real
from castsugar.workshop.batches.frozen import relative
from castsugar.workshop.learning.burned import MixLaw, StrandSource
from castsugar.workshop.learning.earlier import LAW, as_entry
from castsugar.workshop.learning.edits import WRITTEN, with_block, without_lines
from castsugar.workshop.learning.lesson import Draft, Lesson

Entry = dict[str, str]


def cut_laws(lesson: Lesson, draft: Draft) -> None:
    """Take out burn laws that learn wrote earlier and does not write any more."""
    wanted = {as_entry(e) for e in _entries(lesson)}
    for law in sorted(lesson.earlier.laws, key=lambda law: -law.first):
        if as_entry(law.entry) in wanted:
            continue
        draft.text = without_lines(draft.text, law.first, law.last)
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
            found.append(entry)
    return found


def add_laws(lesson: Lesson, draft: Draft) -> None:
    """Add strands of mixes that have no burn law there."""
    there = {as_entry(law.entry) for law in lesson.earlier.laws}
    for entry in _entries(lesson):
        if as_entry(entry) not in there:
            draft.text = with_block(draft.text, LAW, entry, WRITTEN)
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
