"""``castsugar learn``: what one's own batches teach; whether the tool is any good."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.batch_folder import add_folder, existing_folder, folder_of, where
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import add_output_options
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.bench.world import World
    from castsugar.cli.answer import Answer
    from castsugar.records.learning.learnt import Learning
    from castsugar.records.learning.material import Material
    from castsugar.report.screen import Figure, Screen
    from castsugar.report.shown import Shown

NO = 1

_CAPTION = (
    "measured over predicted, 1 is as predicted; bar: 95 % band of prediction and "
    "reading; round: inside, diamond: outside, hollow: not counted"
)

_EXAMPLES = """\
Only closed batches count, and of those only what was not corrected. Record
something first: castsugar batch add ID --measured, --strands or --firing; then
castsugar batch close ID --outcome used.

--save writes into the bench file: kitchen measurements and strands that are not
there, and what each firing showed, as [[motor.firing]]. What it wrote earlier
and no sound record says any more is taken out or replaced. What you wrote
yourself stays.

Nothing is learnt from a firing that is doubted: one with a remark to look
again (castsugar firing), or one that burned unlike what was known before.
--accept '2026-05-02-1: scale checked' has it count, for a reason that the bench
file keeps.

Exit code 1: there is nothing to learn from yet.

examples:
  castsugar learn --bench bench.toml
  castsugar learn --bench bench.toml --page learnt.html
  castsugar learn --bench bench.toml --save
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "learn",
        description="Learn from all closed batches; hold old predictions to account.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_folder(parser)
    parser.add_argument(
        "--changed",
        action="store_true",
        help="use strand and firing files that changed since they were linked, too",
    )
    parser.add_argument(
        "--accept",
        metavar="'BATCH: REASON'",
        action="append",
        default=[],
        help="learn from doubted firings of a batch all the same; may be repeated",
    )
    parser.add_argument(
        "--save", action="store_true", help="write what was learnt into the bench file"
    )
    drawn = {"checks": "predictions against measurements"}
    add_output_options(parser, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Learn, show it, and save it if asked; 1 if there is nothing to learn from."""
    from castsugar.cli.bench_option import stated_world

    _check_names(options)
    world = stated_world(options)
    material, folder = _material(options)
    if material.is_empty and not _wrote(world.bench):
        remark(_nothing(material, folder))
        return NO

    from castsugar.cli.answer import answer
    from castsugar.cli.batch_entries import reducer
    from castsugar.records.learning.learnt import learn_all

    learning = learn_all(
        world.bench,
        material,
        world.database,
        reduce=reducer(world.database),
        changed=options.changed,
        accepted=_accepted(options.accept),
    )
    with held_back():
        if options.save:
            from castsugar.records.learning.saving import save

            save(learning.planned)
        _picture(options, learning, world)
        answer(options, _answer(options, learning, world, folder))
        if options.save:
            _say_saved(learning)
    if material.is_empty:
        remark(_nothing(material, folder))
        return NO
    return 0


def _accepted(typed: Sequence[str]) -> dict[str, str]:
    """Return batch, or batch and recording, to the reason why it counts."""
    from castsugar.errors import InputError

    found = {}
    for text in typed:
        name, _, reason = (part.strip() for part in text.partition(":"))
        if not (name and reason):
            raise InputError(
                f"--accept {text!r} needs a batch and a reason: "
                "--accept '2026-05-02-1: scale checked'"
            )
        found[name] = reason
    return found


def _wrote(bench: Bench) -> bool:
    """Whether learn wrote a burning-rate law or a firing, now out of date."""
    from castsugar.records.learning.saving import (
        old_firings,
        old_laws,
        own_efficiency,
    )

    if bench.motor is None:
        return False
    mine = any(law.ours for law in old_laws(bench)) or bool(old_firings(bench))
    return mine or bool(own_efficiency(bench.text))


def _say_saved(learning: Learning) -> None:
    saved = learning.planned
    for text in saved.written:
        remark(f"wrote into {saved.path}: {text}")
    for text in saved.removed:
        remark(f"took out of {saved.path}: {text}")
    if saved.text == saved.before:
        remark(f"nothing new for {saved.path}")
    for text in saved.refused:
        remark(f"castsugar: not written: {text}")


def _check_names(options: argparse.Namespace) -> None:
    from castsugar.errors import InputError
    from castsugar.files.paths import real
    from castsugar.files.writing import refuse_unwritable

    folder_of(options)
    bench = real(Path(options.bench or "."))
    named = [("output", options.output), ("page", options.page)]
    named += [("picture", file) for file in options.picture.values()]
    for name, value in named:
        if value is not None and real(Path(value)) == bench:
            raise InputError(f"--{name} is the bench file itself; choose another name")
    if options.save:
        refuse_unwritable({"--bench": options.bench}, force=True)


def _material(options: argparse.Namespace) -> tuple[Material, Path]:
    from castsugar.records.folder import read_batches
    from castsugar.records.learning.material import material_of

    folder = existing_folder(options)
    return material_of(*read_batches(folder)), folder


def _nothing(material: Material, folder: Path) -> str:
    if material.batches:
        why = (
            f"{len(material.batches)} closed in {folder}, but nothing measured in them"
        )
        todo = "--measured, --strands or --firing of castsugar batch add record it"
    else:
        waiting = len(material.left_out["open"])
        why = f"no closed batch in {folder}"
        why += f" ({waiting} still open)" if waiting else ""
        todo = (
            "castsugar batch add ID --measured, --strands or --firing records what was "
            "measured, castsugar batch close ID --outcome used closes a batch"
        )
    more = f"; {len(material.damaged)} damaged left out" if material.damaged else ""
    return f"castsugar: nothing to learn from yet: {why}{more}; {todo}"


def _answer(
    options: argparse.Namespace, learning: Learning, world: World, folder: Path
) -> Answer:
    from castsugar.cli.answer import Answer
    from castsugar.mix.basis import basis
    from castsugar.report.cautions import chosen, motor_facts, pan_facts
    from castsugar.report.learn import Told, learn_screen
    from castsugar.report.learn_data import CHECKS, checks_of, learn_parts

    database, bench = world.database, learning.bench
    topics = ["motor"] if learning.after is not None else []
    topics += ["firing"] if learning.firing.firings else []
    topics += ["kitchen"] if learning.kitchen.outcomes else []
    rows = [batch.predictions for batch in learning.material.batches]
    facts = pan_facts(bench=bench) | motor_facts(learning.after, rows)
    syrup = database.syrups[learning.kitchen.after.syrup]
    told = Told(
        syrup=syrup,
        cautions=lambda show: chosen(database.cautions, facts, topics, say=show.rule),
        next=_next(options, learning),
        saved=options.save,
        invented=world.invented,
    )

    def paper(show: Shown) -> Screen:
        counted, every = _figures(learning, world)
        drawn = replace(told, counted=counted, every=every)
        return learn_screen(learning, drawn, show)

    return Answer(
        command="learn",
        screen=lambda show: learn_screen(learning, told, show),
        paper=paper,
        parts=lambda: learn_parts(learning, told, folder),
        told={
            "version": database.version,
            "assumptions": [
                "now: what the bench file says without what learn wrote there earlier; "
                "after saving: what it then says"
            ],
            "cautions": [c.text for c in database.cautions_for(topics, facts)],
        },
        basis=partial(basis, [], kitchen=learning.kitchen.after, motor=world.motor),
        rows=checks_of(learning.checks),
        fields=CHECKS,
    )


def _next(options: argparse.Namespace, learning: Learning) -> str:
    planned = learning.planned
    if not options.save and planned.text != planned.before:
        return f"castsugar learn{where(options)} --save"
    bench = shlex.quote(options.bench)
    if learning.bench.recipes:
        name = shlex.quote(next(iter(learning.bench.recipes)))
        return f"castsugar evaluate {name} --bench {bench}"
    return f"castsugar batch list{where(options)}"


def _picture(options: argparse.Namespace, learning: Learning, world: World) -> None:
    if not options.picture:
        return
    from castsugar.cli.output import write_picture
    from castsugar.errors import InputError
    from castsugar.plot.intervals import checks_drawing, comparable

    if not comparable(learning.checks):
        raise InputError("--picture: nothing was predicted and measured; leave it out")
    picture = checks_drawing(learning.checks, invented=bool(world.invented))
    for file in options.picture.values():
        write_picture(options, file, picture)


def _figures(
    learning: Learning, world: World
) -> tuple[tuple[Figure, ...], tuple[Figure, ...]]:
    """Return the picture of the checks that count, and of all where those are more."""
    from castsugar.plot.export import shown
    from castsugar.plot.intervals import checks_drawing, comparable

    every = comparable(learning.checks)
    counted = [check for check in every if check.counts]
    found = []
    for name, which, checks in (
        ("checks", "What counts: ", counted),
        ("all-checks", "All: ", every if len(every) > len(counted) else []),
    ):
        drawn = partial(checks_drawing, checks, invented=bool(world.invented))
        picture = (shown(drawn(name=name), which + _CAPTION),) if checks else ()
        found.append(picture)
    return found[0], found[1]
