"""``castsugar batch``: one record for every batch that was made."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option
from castsugar.cli.conditions import add_pressure_option
from castsugar.cli.firing_options import add_stand_options
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import add_output_options, deliver, remarked, show
from castsugar.cli.quantities import KNOWN, add_old_spelling, quantity
from castsugar.cli.screen import remark
from castsugar.plain import to_json

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.records.batch import Batch

#: As records.record has them (a test compares): --help loads nothing else.
OUTCOMES = ("used", "partly", "discarded")
FLOWS = ("runny", "pours", "thick", "tamp", "no flow")

_EXAMPLES = """\
A batch gets its record when it is made, and events as they happen. castsugar
only adds lines to it; what was wrong is corrected by a line of its own.

Exit code 1 of list: a record is damaged; it is named, the others are listed.

examples:
  castsugar batch new "KNO3:60 powdered sugar:17 corn syrup:23" \\
      --bench bench.toml --batch "200 g" --date 2026-05-02
  castsugar batch add 2026-05-02-1 --observe "smooth, pale" \\
      --temperature "118 C" --pour-class pours
  castsugar batch add 2026-05-02-1 --measured "kind=pan-weight lost=1.4 g"
  castsugar batch add 2026-05-02-1 --strands strands-new.csv
  castsugar batch close 2026-05-02-1 --outcome used
  castsugar batch list
  castsugar batch show 2026-05-02-1
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "batch",
        help="keep what was made, what was foreseen and what was measured",
        description="Keep a record of every batch: one file each, only added to.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    inner = parser.add_subparsers(dest="task", metavar="TASK", required=True)
    _add_new(inner)
    _add_events(inner)
    listing = _task(inner, "list", "the batches of a folder, oldest first", run_list)
    _add_folder(listing)
    add_output_options(listing, "json", "csv")
    show = _task(
        inner, "show", "a batch: plan, foreseen beside seen, history", run_show
    )
    show.add_argument("id", metavar="ID", help="for example 2026-05-02-1")
    _add_folder(show)
    add_output_options(show, "json")


def _task(inner: Any, name: str, text: str, run: Any) -> argparse.ArgumentParser:
    """Add one task."""
    parser: argparse.ArgumentParser = inner.add_parser(
        name,
        help=text,
        description=text[0].upper() + text[1:] + ".",
        allow_abbrev=False,
    )
    parser.set_defaults(run=run)
    return parser


def _add_folder(parser: argparse.ArgumentParser) -> None:
    """Add what says where the records are."""
    parser.add_argument(
        "--dir",
        metavar="DIR",
        help="folder of the records (default: batches, beside the bench file if one "
        "is given, else here)",
    )
    add_bench_option(parser)


def _add_new(inner: Any) -> None:
    """Add the task that makes a record."""
    parser = _task(
        inner, "new", "keep what was made and what is foreseen of it", run_new
    )
    parser.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    _add_folder(parser)
    for name, metavar, words in (
        ("--batch", "MASS", "planned mass of all ingredients, '200 g'"),
        ("--cook", "PROFILE", "as for castsugar kitchen (default that of [kitchen])"),
        ("--minutes", "N", "how long the temperature is held"),
        (
            "--water-lost",
            "SHARE",
            "share of its water that leaves, instead of a cook's",
        ),
        ("--date", "DATE", "when it was made, 2026-05-02 (default today)"),
        ("--note", "TEXT", "a remark"),
    ):
        kind = quantity(name) if name in KNOWN else str
        parser.add_argument(name, type=kind, metavar=metavar, help=words)
    parser.add_argument(
        "--actual",
        action="append",
        default=[],
        metavar="NAME=MASS",
        help="mass read off the scale, 'KNO3=120.1 g'; may be repeated",
    )
    add_pressure_option(parser)
    add_output_options(parser, "json")


def _add_events(inner: Any) -> None:
    """Add the tasks that add to a record."""
    add = _task(inner, "add", "add what was seen, measured, burned or fired", run_add)
    add.add_argument("id", metavar="ID", help="for example 2026-05-02-1")
    _add_event_options(add)
    close = _task(inner, "close", "say what became of a batch", run_add)
    close.add_argument("id", metavar="ID", help="for example 2026-05-02-1")
    close.add_argument(
        "--outcome", required=True, choices=OUTCOMES, help="used, partly or discarded"
    )
    _add_event_options(close)


def _add_event_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of events."""
    _add_folder(parser)
    for name, metavar, words in (
        ("--date", "DATE", "when it happened, 2026-05-02 (default today)"),
        ("--note", "TEXT", "a remark; with --correct, what is wrong"),
        ("--observe", "TEXT", "what was seen"),
        ("--temperature", "TEMPERATURE", "bulk temperature then, '118 C'"),
        ("--strands", "FILE", "strands burned of it (CSV, as castsugar burnrate)"),
        ("--strand-mix", "NAME", "its name in that file"),
        ("--firing", "FILE", "recording of a static test (CSV, as castsugar firing)"),
        ("--motor", "FILE", "bench file of the firing (default: that of the batch)"),
    ):
        parser.add_argument(name, metavar=metavar, help=words)
    parser.add_argument(
        "--pour-class", choices=FLOWS, help="how it flowed: " + ", ".join(FLOWS)
    )
    add_old_spelling(parser, "--flow", "--pour-class", choices=FLOWS)
    parser.add_argument(
        "--measured",
        action="append",
        default=[],
        metavar="KEYS",
        help="a kitchen measurement, 'kind=pan-weight lost=1.4 g', keys as of "
        "castsugar kitchen; recipe, cook and mass are those of the batch; may be "
        "repeated",
    )
    parser.add_argument(
        "--correct",
        type=int,
        metavar="LINE",
        help="line that is wrong, as castsugar batch show numbers it; --note says what",
    )
    add_stand_options(parser)
    parser.add_argument("--json", action="store_true", help="print JSON, units in keys")


def folder_of(options: argparse.Namespace) -> Path:
    """Return the folder of the records.

    Raises
    ------
    InputError
        For an empty name.
    """
    from castsugar.errors import InputError

    if options.dir == "":
        raise InputError("--dir is empty; give a name or leave it out")
    if options.dir is not None:
        return Path(options.dir)
    beside = Path(options.bench).parent if options.bench is not None else Path()
    return beside / "batches"


def run_new(options: argparse.Namespace) -> int:
    """Keep a new batch and show it."""
    from castsugar.cli.batch_entries import make
    from castsugar.cli.bench_option import world_of
    from castsugar.files.writing import refuse_closed
    from castsugar.records.folder import new_batch

    folder = folder_of(options)
    refuse_closed(folder)
    world = world_of(options)
    bench = world.bench if world is not None else None
    made = make(options, bench, folder)
    with held_back():
        batch = new_batch(folder, made)
        topics = ("weigh", "kitchen", "storage")
        deliver(options, page(batch, topics, as_json=options.json, bench=bench))
        _say_later(batch.made.date)
        remark(f"kept as {batch.path}")
    return 0


def run_add(options: argparse.Namespace) -> int:
    """Add events to a batch, or close it."""
    from castsugar.cli.batch_entries import events_of
    from castsugar.data.load import load_database
    from castsugar.records.folder import add_events, read_batch, record_path
    from castsugar.report import batch_rows
    from castsugar.report.batch_page import first_lines
    from castsugar.report.batch_warnings import warnings

    path = record_path(folder_of(options), options.id)
    before = read_batch(path)
    events = events_of(options, before)
    with held_back():
        batch = add_events(path, events)
        added = batch.events[len(before.events) :]
        first = warnings(batch, load_database())
        if options.json:
            text = to_json(batch_rows.events_document(batch, added, first))
        else:
            lines = [f"{line}\n" for line in first_lines(first)]
            text = "".join([*lines, *batch_rows.event_lines(batch, added)])
        show(options, remarked(options, text))
        _say_later(added[0].date)
        remark(f"added to {path}")
    return 0


def run_list(options: argparse.Namespace) -> int:
    """List the batches of a folder; what is damaged is named, the rest still listed."""
    from castsugar.files.paths import is_folder
    from castsugar.records.folder import list_batches
    from castsugar.report import batch_list

    folder = folder_of(options)
    if options.dir is not None and not is_folder(folder):
        from castsugar.errors import InputError

        raise InputError(f"--dir {options.dir}: there is no such folder")
    found, damaged = list_batches(folder)
    deliver(options, batch_list.render(found, damaged, folder, options))
    for entry in damaged:
        remark(f"castsugar: damaged: {entry.fault}")
    return 1 if damaged else 0


def run_show(options: argparse.Namespace) -> int:
    """Show a batch."""
    from castsugar.records.folder import read_batch, record_path

    batch = read_batch(record_path(folder_of(options), options.id))
    deliver(options, page(batch, ("storage",), as_json=options.json))
    return 0


def page(
    batch: Batch,
    topics: tuple[str, ...],
    *,
    as_json: bool,
    bench: Bench | None = None,
) -> str:
    """Return a batch as text or JSON, with the cautions that apply."""
    from castsugar.bench.motor import hardware_of
    from castsugar.data.load import load_database
    from castsugar.report import batch_page, batch_rows
    from castsugar.report.batch_warnings import warnings
    from castsugar.report.cautions import motor_facts, pan_facts

    database = load_database()
    facts = pan_facts(batch=sum(batch.made.on_scale.values()), bench=bench)
    if bench is not None and bench.motor is not None:
        motor = hardware_of(bench, database)
        facts |= motor_facts(motor, [batch.predictions])
    cautions = database.cautions_for(topics, facts)
    first = warnings(batch, database)
    if not as_json:
        return batch_page.batch_page(batch, cautions, first)
    document = batch_rows.batch_document(batch) | {"warnings": first}
    return to_json(document | {"cautions": [c.text for c in cautions]})


def _say_later(date: str) -> None:
    """Say so if a day is yet to come."""
    import datetime

    if date > datetime.date.today().isoformat():
        remark(f"castsugar: {date} is yet to come; correct --date if that is a slip")
