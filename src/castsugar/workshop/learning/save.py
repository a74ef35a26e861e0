"""Write what was learnt into the bench file: comments stay, all of it or nothing.

What learn wrote earlier and the records do not say any more is replaced or taken out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from castsugar.errors import CastsugarError, InputError
from castsugar.files.writing import update
from castsugar.workshop.bench import check_bench
from castsugar.workshop.learning.combine import Combined
from castsugar.workshop.learning.earlier import EFFICIENCY
from castsugar.workshop.learning.edits import (
    WRITTEN,
    head_line,
    key_line,
    with_block,
    with_line,
    without_lines,
)
from castsugar.workshop.learning.lesson import Draft, Lesson, Saved
from castsugar.workshop.learning.save_laws import add_laws, cut_laws


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
        draft.text = with_block(draft.text, "kitchen.measured", entry)
        kind = kept.entry["kind"]
        draft.written.append(f"[[kitchen.measured]] {kind}, {kept.mark}")
    draft.refused += [
        f"{o.measurement.kind} of {o.measurement.label}: contradicts what is believed"
        for o in kitchen.contradictions
        if o.measurement.label.startswith("batch")
    ]


def _efficiency(lesson: Lesson, draft: Draft) -> None:
    """Write the measured efficiency; only over a line that castsugar wrote."""
    found, text = lesson.firing.efficiency, draft.text
    old = key_line(text, "motor", EFFICIENCY) if lesson.earlier.efficiency else 0
    fault = "" if found is None else "".join(_efficiency_faults(lesson))
    if fault:
        draft.refused.append(f"{EFFICIENCY}: {fault}")
    if found is None or fault:
        if old:
            draft.text = without_lines(text, old, old)
            draft.removed.append(
                f"{EFFICIENCY} (line {lesson.earlier.efficiency}): no sound firing "
                "says so any more"
            )
        return
    new = efficiency_line(found)
    if old:
        was = text.split("\n")[old - 1].rstrip("\r")
        if was != new:
            draft.text = with_line(text, new, instead=old)
            draft.written.append(
                f"[motor] {new} (in the place of line {lesson.earlier.efficiency})"
            )
        return
    head = head_line(text, "motor")
    if not head:
        draft.refused.append(
            f"{EFFICIENCY}: {lesson.bench.path} has no line [motor] to put it under"
        )
        return
    draft.text = with_line(text, new, after=head)
    draft.written.append(f"[motor] {new}")


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
        line = key_line(lesson.bench.text, "motor", key)
        if motor[key] is not None:
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
