"""``castsugar batch export`` and ``import``: strands shared between benches."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.batch_folder import add_folder, existing_folder
from castsugar.cli.bench_option import stated_world
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import OFFERED, add_output_options, put, show
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.readings.shared_strands import SharedStrand

#: As readings.shared_strands has them (a test compares): --help loads nothing else.
LICENCES = ("CC0-1.0", "CC-BY-4.0")

BAD_INPUT = 2

#: Benches that are told.
_SHOWN = 12

_EXPORT = """\
A row a strand, no names, notes, dates or paths in it: licence; bench, 16
digits drawn by chance once and kept in bench-id.txt; batch, a number; process;
degraded_sugar_percent, water_as_cast_percent, strand_temperature_K,
pressure_MPa (absolute), burn_rate_mm_s; then the mix as weighed, a column
NAME_mass_percent an ingredient. Strands of closed batches and of the bench
file. What is invented is refused. -o FILE writes it; look through it before
you share it.
"""
_IMPORT = """\
Kept beside the bench file, imported/BENCH.csv, a file a bench; the next export
of a bench replaces it; deleting the file leaves it out again. From then on
every answer on a pressure takes these strands as those of other benches, which
lie 14 % apart (assumed until many tell). Each fault of a file is a line, and
nothing is written then.
"""


def add_tasks(inner: Any) -> None:
    """Add the tasks to those of the command."""
    export = inner.add_parser(
        "export",
        help="your strands without names, to be shared",
        description="Print your strands without names, to be shared.",
        epilog=_EXPORT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    export.add_argument(
        "--licence",
        required=True,
        choices=LICENCES,
        help="under which you share them: " + ", ".join(LICENCES),
    )
    add_folder(export)
    add_output_options(export, without=OFFERED)
    export.set_defaults(run=run_export)
    take = inner.add_parser(
        "import",
        help="take strands of other benches",
        description="Take strands of other benches, as batch export writes them.",
        epilog=_IMPORT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    take.add_argument("file", metavar="FILE", help="CSV of one bench or of several")
    add_folder(take)
    take.set_defaults(run=run_import)


def _own(
    options: argparse.Namespace, world: World, *, refused: bool = False
) -> list[SharedStrand]:
    """Return the user's own strands; invented ones may be refused."""
    from castsugar.records.folder import read_batches
    from castsugar.records.learning.burn_laws import learn_laws
    from castsugar.records.learning.material import material_of
    from castsugar.records.sharing import own_strands, refuse_invented

    batches = material_of(*read_batches(existing_folder(options))).batches
    learnt = learn_laws(world.bench, batches, world.database, hardware=world.motor)
    if refused:
        refuse_invented(world, learnt)
    licence = getattr(options, "licence", LICENCES[0])
    return own_strands(world, batches, learnt, licence)


def run_export(options: argparse.Namespace) -> int:
    """Print or write the user's strands as they are shared."""
    from castsugar.bench.imported import made_id
    from castsugar.errors import InputError
    from castsugar.readings.shared_strands import to_text

    world = stated_world(options)
    strands = _own(options, world, refused=True)
    if not strands:
        raise InputError(
            "batch export: got no strands; allowed: those of the bench file and of "
            "closed batches; castsugar batch add ID --strands FILE links them"
        )
    with held_back():
        name = made_id(world.bench)
        put(options, to_text([replace(one, bench=name) for one in strands]))
    pots = len({one.batch for one in strands})
    remark(
        f"{len(strands)} strands of {pots} batches as bench {name}, {options.licence}; "
        "look through it before you share it"
    )
    return 0


def run_import(options: argparse.Namespace) -> int:
    """Keep strands of other benches; say each fault of their file."""
    from castsugar.bench.imported import LARGEST, keep, own_id, read_imported, twice
    from castsugar.files.reading import read_text
    from castsugar.readings.shared_strands import by_bench, from_text
    from castsugar.readings.tables import by_kind

    world = stated_world(options)
    text = read_text(Path(options.file), LARGEST)
    strands, faults = from_text(text, options.file, world.database)
    known = by_bench(read_imported(world.bench, world.database))
    if not faults:
        own = _own(options, world)
        faults = tuple(twice(by_bench(strands), known, own_id(world.bench), own))
    for fault in by_kind(faults):
        remark(f"castsugar: {fault}")
    if faults:
        remark("castsugar: nothing written")
        return BAD_INPUT
    with held_back():
        keep(world.bench, strands)
        show(options, _screen(options, world, strands, known))
    return 0


def _screen(
    options: argparse.Namespace,
    world: World,
    strands: Sequence[SharedStrand],
    known: Mapping[str, Sequence[SharedStrand]],
) -> str:
    """Return what was imported, and what it does."""
    from castsugar.bench.imported import FOLDER
    from castsugar.readings.shared_strands import by_bench
    from castsugar.report import numbers
    from castsugar.report.screen import Finding, Paragraph, Screen
    from castsugar.report.terminal import to_text

    benches = by_bench(strands)
    many = numbers.count(len(benches), "other bench", "other benches")
    findings = [
        Finding("READ", f"bench {name}: {_told(own, known.get(name))}.")
        for name, own in benches.items()
    ]
    recipe = next(iter(world.recipes), '"KNO3:65 sucrose:35"')
    named = "" if options.bench_said else f" --bench {shlex.quote(options.bench)}"
    return to_text(
        Screen(
            command="batch import",
            title=f"Imported: {len(strands)} strands of {many}",
            findings=tuple(findings[:_SHOWN]),
            blocks=(
                Paragraph(
                    f"Kept beside {options.bench} in {FOLDER}, a file a bench; delete "
                    "one to leave it out again. They count as strands of other "
                    "benches, never as yours."
                ),
            ),
            next=f"castsugar evaluate {recipe}{named}",
        )
    )


def _told(own: Sequence[SharedStrand], before: Sequence[SharedStrand] | None) -> str:
    """Say what a bench gave."""
    text = f"{len(own)} strands, {own[0].licence}"
    if before is None:
        return text
    if list(before) == list(own):
        return f"{text}, as before"
    return f"{text}, instead of {len(before)}"
