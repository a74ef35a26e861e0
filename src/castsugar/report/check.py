"""What a bench file leaves open, in words: invented, misfit, missing, assumed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.bench.open_points import ASSUMED, INVENTED, MISFIT, MISSING
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed
from castsugar.report.screen import (
    Annex,
    Block,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.bench.cross_checks import Lever
    from castsugar.bench.open_points import BenchCheck, Point
    from castsugar.motor.hardware import Hardware

#: Entries of a kind, one and several where that is more than an s.
_ENTRIES = {
    "lots": ("lot",),
    "kitchen.measured": ("kitchen measurement",),
    "motor.burn_law": ("burning-rate law",),
    "premixes": ("premix", "premixes"),
    "recipes": ("recipe",),
}

#: What was read.
_READ = {
    "recipes": "recipe",
    "lots": "lot",
    "limits": "limit",
    "measurements": "kitchen measurement",
    "burn_laws": "burning-rate law",
}

#: Findings of one status that a screen has room for.
_MOST = 4


def check_screen(
    found: BenchCheck, motor: Hardware | None, first: str, show: Shown
) -> Screen:
    """Return what ``check`` answers; `first`: what to do where nothing is open."""
    blocks: tuple[Block, ...] = ()
    if assumed := found.of(ASSUMED):
        names = numbers.listed([point.entry for point in assumed[:3]])
        text = f"Assumed: {len(assumed)} usual values ({names} first; --full)."
        blocks = (Paragraph(text),)
    if found.levers:
        blocks = (*blocks, _levers(found.levers, show))
    return Screen(
        command="check",
        title=f"check: {', '.join(found.files)}",
        findings=(
            *_invented(found.of(INVENTED)),
            *_open("MISFIT", found.of(MISFIT)),
            *_open("MISSING", found.of(MISSING)),
            *_read(found, motor, show),
        ),
        blocks=blocks,
        next=_next(found, first),
        bench=found.files[0],
        annexes=tuple(_annexes(found)),
    )


def _invented(points: Sequence[Point]) -> Iterator[Finding]:
    """Say which entries are still those of an example."""
    if not points:
        return
    heads = (re.split(r"\.\"|\[|: ", point.entry)[0] for point in points)
    counts = Counter(heads)
    told = [
        numbers.count(count, *_ENTRIES[head]) if head in _ENTRIES else head
        for head, count in counts.items()
    ]
    verb = "entry is" if len(points) == 1 else "entries are"
    text = f"{len(points)} {verb} invented: {numbers.listed(told)}."
    unused = sum(not point.used for point in points)
    text += f" {unused} of them no recipe needs." if unused else ""
    values = {"entries": [point.entry for point in points]}
    yield Finding("EXAMPLE", text, values)


def _open(status: str, points: Sequence[Point]) -> Iterator[Finding]:
    """Say what does not fit, or is missing, one finding each."""
    for point in points[:_MOST]:
        yield Finding(status, f"{point.entry}: {point.text}.", point.to_dict())
    if len(points) > _MOST:
        yield Finding(status, f"{len(points) - _MOST} more: --full.")


def _read(found: BenchCheck, motor: Hardware | None, show: Shown) -> Iterator[Finding]:
    """Say what was read."""
    told = [
        numbers.count(found.counts[key], one)
        for key, one in _READ.items()
        if found.counts[key]
    ]
    if told:
        text = numbers.listed(told)
        unused = found.counts["unused_lots"]
        text += f"; of the lots {unused} not in use" if unused else ""
        yield Finding("READ", f"{text}.", dict(found.counts))
    if benches := found.counts.get("other_benches"):
        strands = found.counts["strands_of_other_benches"]
        many = numbers.count(benches, "other bench", "other benches")
        yield Finding("READ", f"imported: {strands} strands of {many}, not yours.")
    if motor is not None:
        throat = show.typed("length", 1e3 * motor.throat_diameter)
        text = f"motor: throat {throat}"
        allowed = 1e-6 * motor.allowable
        if allowed == allowed:
            text += f", allowed pressure {show.bound('pressure', allowed)}"
        yield Finding("READ", f"{text}.")
    conditions = found.conditions
    pressure = show.amount("pressure", 1e-6 * conditions["pressure"])
    leaving = conditions["exit_pressure"]
    end = "chamber only" if leaving is None else ""
    end = end or f"to {show.amount('pressure', 1e-6 * leaving)}"
    text = (
        f"conditions: {pressure} {end}, {conditions['flow']} flow; units {show.system}."
    )
    yield Finding("READ", text, dict(conditions))


#: Levers that a default screen keeps.
_LEAST = 3


def _levers(levers: Sequence[Lever], show: Shown) -> Table:
    """Return what moves the margin, and what else tells of it."""
    rows = tuple(
        (one.entry, _slip(one, show), numbers.significant(one.points, 2), one.told_by)
        for one in levers
    )
    return Table(
        heads=("a slip in", "of", "% of margin", "seen by"),
        rows=rows,
        left=frozenset({0, 3}),
        spare=max(len(rows) - _LEAST, 0),
        of="entries",
    )


def _slip(one: Lever, show: Shown) -> str:
    kinds = {"mm": "length", "K": "temperature difference"}
    if one.unit in kinds:
        return show.amount(kinds[one.unit], one.slip, 2)
    return f"{numbers.typed(one.slip)} {one.unit}".rstrip()


def _next(found: BenchCheck, first: str) -> str:
    """Return what to do about the gravest that is open."""
    if found.of(INVENTED):
        return "castsugar init --explain invented"
    strands = [name for name in found.files if name.endswith(".csv")]
    if found.of(MISFIT) and strands:
        return f"castsugar burnrate {strands[0]}"
    if missing := found.of(MISSING):
        return f"castsugar init --explain {missing[0].entry}"
    return first


def _annexes(found: BenchCheck) -> Iterator[Annex]:
    """Yield every point, by status."""
    titles = {
        INVENTED: "Invented",
        MISFIT: "Does not fit",
        MISSING: "Missing",
        ASSUMED: "Assumed",
    }
    for status, title in titles.items():
        lines = [f"{point.entry}: {point.text}" for point in found.of(status)]
        if lines:
            yield Annex(title, (Listing(tuple(lines)),))


POINT_FIELDS = keyed(
    ("status", TEXT, "invented, misfit, missing or assumed"),
    ("entry", TEXT, "table, entry or key of the bench file"),
    ("text", TEXT, "what it is about"),
)

PARTS = {
    "points": Part(
        meaning="what is open, by weight; used: whether an answer rests on it",
    ),
    "counts": Part(meaning="what was read"),
    "files": Part(meaning="the bench file, and the strands that it names"),
    "units": Part(meaning="si or us"),
    "levers": Part(
        meaning="what moves the pressure margin of the first recipe: slip and its "
        "unit, points of margin, what else in the file tells of the entry",
    ),
}


def check_parts(found: BenchCheck) -> dict[str, Any]:
    """Return what was found as plain values."""
    parts = found.to_dict()
    del parts["conditions"]
    entries = [point.entry for point in found.of(INVENTED)]
    return {**parts, "invented": bool(entries), "invented_entries": entries}
