"""``castsugar learn``: what one's own batches teach; whether the tool is any good."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import add_output_options
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.data.load import Database
    from castsugar.records.batch import Batch
    from castsugar.records.learning.learnt import Learning
    from castsugar.records.learning.material import Material
    from castsugar.report.learn_rows import Told
    from castsugar.static_test import StaticTest

NO = 1

_EXAMPLES = """\
Only closed batches count, and of those only what was not corrected. Record
something first: castsugar batch add ID --measured, --strands or --firing; then
castsugar batch close ID --outcome used.

--save writes into the bench file: kitchen measurements that are not there,
strands of mixes without a burn law, and measured_efficiency. What it wrote
earlier and no sound record says any more is taken out or replaced. What you
wrote yourself stays.

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
        help="refit kitchen, burn law and efficiency from your batches; was it right?",
        description="Learn from all closed batches; hold old predictions to account.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_bench_option(parser)
    parser.add_argument(
        "--dir",
        metavar="DIR",
        help="folder of the records (default: batches, beside the bench file)",
    )
    parser.add_argument(
        "--changed",
        action="store_true",
        help="use strand and firing files that changed since they were linked, too",
    )
    parser.add_argument(
        "--save", action="store_true", help="write what was learnt into the bench file"
    )
    add_output_options(parser, "json", "markdown", "page")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Learn, show it, and save it if asked; 1 if there is nothing to learn from."""
    from castsugar.cli.bench_option import stated_world

    bench = stated_world(options).bench
    _check_names(options)
    material, folder = _material(options)
    if material.is_empty and not _wrote(bench):
        remark(_nothing(material, folder))
        return NO

    from castsugar.data.load import load_database
    from castsugar.records.learning.learnt import learn_all

    database = load_database()
    learning = learn_all(
        bench,
        material,
        database,
        reduce=_reducer(database),
        changed=options.changed,
    )
    with held_back():
        if options.save:
            from castsugar.records.learning.saving import save

            save(learning.planned)
        _deliver(options, learning, _told(options, learning, database, folder))
        _beside(options, learning)
    if material.is_empty:
        remark(_nothing(material, folder))
        return NO
    return 0


def _wrote(bench: Bench) -> bool:
    """Whether learn wrote a burn law or an efficiency that may be out of date."""
    from castsugar.records.learning.saving import old_laws, own_efficiency

    if bench.motor is None:
        return False
    mine = any(law.ours for law in old_laws(bench))
    return mine or bool(own_efficiency(bench.text))


def _beside(options: argparse.Namespace, learning: Learning) -> None:
    """Say beside the result what must not be missed, and what was written."""
    from castsugar.report.learn_first import shouts

    for entry in learning.material.damaged:
        remark(f"castsugar: damaged, left out: {entry.fault}")
    for text in shouts(learning, saved=options.save):
        remark(f"castsugar: {text}")
    if not options.save:
        return
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
    """Refuse empty names, and results written over the bench file."""
    from castsugar.errors import InputError
    from castsugar.files.paths import real
    from castsugar.files.writing import refuse_unwritable

    if options.dir == "":
        raise InputError("--dir is empty; give a name or leave it out")
    bench = real(Path(options.bench))
    for name in ("output", "page"):
        value = getattr(options, name)
        if value is not None and real(Path(value)) == bench:
            raise InputError(f"--{name} is the bench file itself; choose another name")
    if options.save:
        refuse_unwritable({"--bench": options.bench}, force=True)


def _material(options: argparse.Namespace) -> tuple[Material, Path]:
    """Return the batches, sorted into those that count, and their folder."""
    from castsugar.cli.batch import folder_of
    from castsugar.errors import InputError
    from castsugar.files.paths import is_folder
    from castsugar.records.folder import read_batches
    from castsugar.records.learning.material import material_of

    folder = folder_of(options)
    if options.dir is not None and not is_folder(folder):
        raise InputError(f"--dir {options.dir}: there is no such folder")
    return material_of(*read_batches(folder)), folder


def _nothing(material: Material, folder: Path) -> str:
    """Say in one line what is missing."""
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


def _reducer(database: Database) -> Any:
    """Return what reduces a recording as castsugar firing does."""
    from castsugar.cli.batch_entries import reduce_firing

    def reduce(path: Path, kept: Mapping[str, Any], batch: Batch) -> StaticTest:
        return reduce_firing(path, kept, batch, database)[0]

    return reduce


def _told(
    options: argparse.Namespace, learning: Learning, database: Database, folder: Path
) -> Told:
    """Return what the document says beside."""
    from castsugar.cli.output import command_text
    from castsugar.report import data
    from castsugar.report.cautions import motor_facts, pan_facts
    from castsugar.report.learn_rows import Told

    topics = ["kitchen"] if learning.kitchen.outcomes else []
    topics += ["firing"] if learning.firing.firings else []
    topics += ["motor"] if learning.after is not None else []
    rows = [batch.predictions for batch in learning.material.batches]
    facts = pan_facts(bench=learning.bench) | motor_facts(learning.after, rows)
    return Told(
        syrup=database.syrups[learning.kitchen.after.syrup],
        folder=folder.as_posix(),
        saved=options.save,
        cautions=tuple(database.cautions_for(topics, facts)),
        versions=data.versions(database.version),
        command=command_text([w for w in options.words if w != "--save"]),
    )


def _deliver(options: argparse.Namespace, learning: Learning, told: Told) -> None:
    """Print the document, and write its page."""
    from castsugar.cli.documents import deliver_document
    from castsugar.report.learn import learn_document
    from castsugar.report.learn_picture import checks_picture
    from castsugar.report.learn_rows import learn_rows

    picture = checks_picture(learning.checks) if options.page else ""
    document = learn_document(learning, told, picture)
    deliver_document(options, document, learn_rows(learning, told))
