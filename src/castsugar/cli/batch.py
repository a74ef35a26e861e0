"""``castsugar batch``: one record for every batch that was made."""

from __future__ import annotations

import argparse
import math
import shlex
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.batch_folder import add_folder, existing_folder, folder_of, where
from castsugar.cli.batch_sharing import add_tasks
from castsugar.cli.bench_option import world_of
from castsugar.cli.conditions import add_pressure_option
from castsugar.cli.firing_options import add_stand_options
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import UNCITED, add_output_options
from castsugar.cli.quantities import KNOWN, add_old_spelling, quantity
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.motor.real_grain import RealGrains
    from castsugar.records.batch import Batch
    from castsugar.report.batch import Told
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown

#: As records.record and mix.mix have them (a test compares): --help loads nothing else.
OUTCOMES = ("used", "partly", "discarded")
FLOWS = ("runny", "pours", "thick", "tamp", "no flow")
PROCESSES = ("cooked syrup", "boiled down", "melted dry", "pressed")

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
  castsugar batch add 2026-05-02-1 \\
      --grain "35.9 mm x 14.1 mm x 61.8 mm 91.8 g"
  castsugar batch close 2026-05-02-1 --outcome used
  castsugar batch list
  castsugar batch show 2026-05-02-1 --page batch.html
  castsugar batch card 2026-05-02-1 --temperature "12 C" --date 2026-05-23
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "batch",
        description="Keep a record of every batch: one file each, only added to.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    inner = parser.add_subparsers(dest="task", metavar="TASK", required=True)
    new = _task(inner, "new", "keep what was made and what is predicted of it", run_new)
    new.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    add_folder(new)
    _add_options(new, _NEW)
    new.add_argument(
        "--process",
        choices=PROCESSES,
        metavar="PROCESS",
        help="how it was made (default that of the recipe, else of [kitchen]): "
        + ", ".join(PROCESSES),
    )
    add_pressure_option(new)
    add = _task(inner, "add", "add what was seen, measured, burned or fired", run_add)
    _add_id(add)
    _add_event_options(add)
    close = _task(inner, "close", "say what became of a batch", run_add)
    _add_id(close)
    close.add_argument(
        "--outcome", required=True, choices=OUTCOMES, help="used, partly or discarded"
    )
    _add_event_options(close)
    listing = _task(inner, "list", "the batches of a folder, oldest first", run_list)
    add_folder(listing)
    show = _task(
        inner, "show", "a batch: plan, predictions, measurements, history", run_show
    )
    card = _task(
        inner, "card", "a launch-day card: fire the grains, or do not", run_card
    )
    for one in (show, card):
        _add_id(one)
        add_folder(one)
    _add_options(card, _CARD)
    for one in (new, show, card):
        add_output_options(one)
    for one in (add, close, listing):
        add_output_options(one, without=UNCITED)
    add_tasks(inner)


def _task(inner: Any, name: str, text: str, run: Any) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = inner.add_parser(
        name,
        help=text,
        description=text[0].upper() + text[1:] + ".",
        allow_abbrev=False,
    )
    parser.set_defaults(run=run)
    return parser


def _add_id(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", metavar="ID", help="for example 2026-05-02-1")


#: Options of the tasks: name, metavar, help; those that may be repeated say so.
_NEW = (
    ("--batch", "MASS", "planned mass of all ingredients, '200 g'"),
    ("--cook", "PROFILE", "as for castsugar kitchen (default that of [kitchen])"),
    ("--minutes", "N", "how long the temperature is held"),
    ("--water-lost", "SHARE", "share of its water that leaves, instead of a cook's"),
    ("--date", "DATE", "when it was made, 2026-05-02 (default today)"),
    ("--note", "TEXT", "a remark"),
    (
        "--actual",
        "NAME=MASS",
        "mass read off the scale, 'KNO3=120.1 g'; may be repeated",
    ),
)
_SEEN = (
    ("--date", "DATE", "when it happened, 2026-05-02 (default today)"),
    ("--note", "TEXT", "a remark; with --correct, what is wrong"),
    ("--observe", "TEXT", "what was seen"),
    ("--temperature", "TEMPERATURE", "bulk temperature then, '118 C'"),
    ("--strands", "FILE", "strands burned of it (CSV, as castsugar burnrate)"),
    ("--strand-mix", "NAME", "its name in that file"),
    ("--firing", "FILE", "recording of a static test (CSV, as castsugar firing)"),
    ("--motor", "FILE", "bench file of the firing (default: that of the batch)"),
)
_GRAIN = (
    "--grain",
    "GRAIN",
    "a grain as measured, outer x core x length and mass, '35.9 mm x 14.1 mm x 61.8 mm "
    "91.2 g'; every grain that is fired together; may be repeated",
)
_WEIGHED = (
    (
        "--measured",
        "KEYS",
        "a kitchen measurement, 'kind=pan-weight lost=1.4 g', keys as of castsugar "
        "kitchen; recipe, cook and mass are those of the batch; may be repeated",
    ),
    (
        "--grain-mass",
        "MASS",
        "grains as cast, all that are fired together: for the launch-day card",
    ),
    _GRAIN,
)
_CARD = (
    (*_GRAIN[:2], f"today (default: as cast, by batch add --grain): {_GRAIN[2]}"),
    (
        "--grain-uncertainty",
        "LENGTH",
        "standard uncertainty of each of their sizes (default '0.1 mm': assumed)",
    ),
    ("--mass", "MASS", "the grains today, '366 g'"),
    (
        "--cast-mass",
        "MASS",
        "the same grains as cast (default: the last batch add --grain or --grain-mass)",
    ),
    ("--temperature", "TEMPERATURE", "of the grains, '12 C'"),
    ("--humidity", "HUMIDITY", "highest relative humidity of the store, '60 %%'"),
    (
        "--uptake",
        "SHARE",
        "water that the grains may have taken up (default '0.2 %%': common practice, "
        "no source)",
    ),
    ("--date", "DATE", "of the firing, 2026-05-23 (default today)"),
)


def _add_options(
    parser: argparse.ArgumentParser, lines: Iterable[tuple[str, str, str]]
) -> None:
    for name, metavar, words in lines:
        more: dict[str, Any] = {"type": quantity(name)} if name in KNOWN else {}
        if words.endswith("may be repeated"):
            more = {"action": "append", "default": []}
        parser.add_argument(name, metavar=metavar, help=words, **more)


def _add_event_options(parser: argparse.ArgumentParser) -> None:
    add_folder(parser)
    _add_options(parser, _SEEN)
    parser.add_argument(
        "--pour-class", choices=FLOWS, help="how it flowed: " + ", ".join(FLOWS)
    )
    add_old_spelling(parser, "--flow", "--pour-class", choices=FLOWS)
    _add_options(parser, _WEIGHED)
    parser.add_argument(
        "--correct",
        type=int,
        metavar="LINE",
        help="line that is wrong, as castsugar batch show numbers it; --note says what",
    )
    add_stand_options(parser)


def run_new(options: argparse.Namespace) -> int:
    """Keep a new batch and show it."""
    from castsugar.cli.batch_entries import make
    from castsugar.files.writing import refuse_closed
    from castsugar.records.folder import new_batch

    folder = folder_of(options)
    refuse_closed(folder)
    world = world_of(options)
    made = make(options, world, folder)
    with held_back():
        batch = new_batch(folder, made)
        topics = ("weigh", "kitchen", "storage")
        next_ = f"{_showing(options, batch.id)} --page {batch.id}.html"
        saved = f"kept as {batch.path}"
        _show(options, batch, topics, next_, saved=saved, asked=_asked(world))
        _say_later(batch.made.date)
    return 0


def run_show(options: argparse.Namespace) -> int:
    """Show a batch."""
    world_of(options)  # its units
    batch = _batch(options)
    _show(options, batch, ("storage",), _after(options, batch))
    return 0


def _batch(options: argparse.Namespace) -> Batch:
    from castsugar.records.folder import read_batch, record_path

    return read_batch(record_path(folder_of(options), options.id))


def _showing(options: argparse.Namespace, name: str) -> str:
    return f"castsugar batch show {name}{where(options)}"


def _asked(world: World | None) -> float | None:
    from castsugar.kitchen.suspension import CLASSES, POURS
    from castsugar.limits import POUR

    for need in () if world is None else world.limits:
        if need.column == POUR and need.at_most == CLASSES[POURS][1]:
            return need.probability
    return None


def _after(options: argparse.Namespace, batch: Batch) -> str:
    if batch.outcome in ("used", "partly"):
        bench = options.bench
        if bench is None and batch.made.bench is not None:
            from castsugar.records.prediction import relative

            bench = relative(batch.path.parent / batch.made.bench.file, Path())
        if bench is not None:
            folder = "" if options.dir is None else f" --dir {shlex.quote(options.dir)}"
            return f"castsugar learn --bench {shlex.quote(bench)}{folder}"
    if batch.outcome:
        return f"castsugar batch list{where(options)}"
    if batch.cast_mass is None:
        return "castsugar batch add --help"
    return f"castsugar batch card {batch.id}{where(options)}"


def _show(
    options: argparse.Namespace,
    batch: Batch,
    topics: Sequence[str],
    next_: str,
    **more: Any,
) -> None:
    from castsugar.cli.batch_entries import compared
    from castsugar.report import batch as report

    checks, skipped = compared(batch)
    more |= {"checks": checks, "skipped": skipped}
    _say(
        options,
        batch,
        topics,
        lambda told, show: report.batch_screen(batch, told, show),
        about={"next": next_, **more},
        conditions={"conditions": {"pressure_Pa": batch.made.pressure}},
        command="batch_shown",
        parts=lambda: report.batch_parts(batch, checks, skipped),
        rows=report.ingredient_rows(batch),
        fields=report.INGREDIENTS,
    )


def _say(  # noqa: PLR0913 - keyword-only options
    options: argparse.Namespace,
    batch: Batch,
    topics: Sequence[str],
    screen: Callable[[Told, Shown], Screen],
    *,
    about: Mapping[str, Any],
    conditions: Mapping[str, Any] | None = None,
    grain_mass: float | None = None,
    **answered: Any,
) -> None:
    """Answer with a screen of a batch, its warnings and cautions.

    `about`: of Told; `conditions`: of the JSON; `grain_mass`: of the grains as they
    were weighed [kg]; the rest: of Answer.
    """
    from castsugar.cli.answer import Answer, answer
    from castsugar.data.load import load_database
    from castsugar.report.batch import Told
    from castsugar.report.batch_findings import warnings
    from castsugar.report.cautions import chosen

    database = load_database()
    world = _world(batch, database)
    facts = _facts(batch, world)
    if grain_mass is not None and "propellant_mass" in facts:
        more = 1e3 * grain_mass / facts["propellant_mass"]
        facts |= {name: more * facts[name] for name in _BY_MASS if name in facts}
    motor = world.bench.motor if world is not None else None
    grain = (motor or {}).get("grain") or {}

    def told(show: Shown) -> Told:
        return Told(
            warnings=warnings(batch, database, show),
            cautions=chosen(database.cautions, facts, topics, say=show.rule),
            grains=int(grain.get("segments") or 0),
            invented=() if world is None else world.invented,
            bench=Path(batch.made.bench.file).name if batch.made.bench else "",
            **about,
        )

    cautions = [c.text for c in database.cautions_for(topics, facts)]
    answer(
        options,
        Answer(
            screen=lambda show: screen(told(show), show),
            told={
                "version": database.version,
                **(conditions or {}),
                "cautions": cautions,
            },
            basis=lambda: _basis(batch, world, database),
            **answered,
        ),
    )


def _basis(batch: Batch, world: World | None, database: Database) -> dict[str, Any]:
    """Return what the predictions rest on: versions and bench of the day."""
    from castsugar.mix.basis import basis
    from castsugar.records.prediction import cast, kitchen_of

    made, bench = batch.made, None if world is None else world.bench
    given = {} if world is None else {**world.conditions, "motor": world.motor}
    given |= {"pressure": made.pressure, "kitchen": kitchen_of(made, bench, database)}
    mix = cast(made, bench, database, water_lost=made.water_lost)
    return {**basis([mix], **given), **made.versions}


def _world(batch: Batch, database: Database) -> World | None:
    """Return the bench of the day; None if it kept none that this version reads."""
    from castsugar.bench.world import World
    from castsugar.errors import CastsugarError
    from castsugar.records.prediction import thaw

    try:
        bench = thaw(batch.made.bench, batch.path.parent)
    except CastsugarError:
        return None
    return None if bench is None else World(bench, database)


def _facts(batch: Batch, world: World | None) -> dict[str, float]:
    from castsugar.errors import CastsugarError
    from castsugar.report.cautions import motor_facts, pan_facts

    bench = None if world is None else world.bench
    facts = pan_facts(batch=sum(batch.made.on_scale.values()), bench=bench)
    if world is None or world.bench.motor is None:
        return facts
    try:
        return facts | motor_facts(world.motor, [batch.predictions])
    except CastsugarError:  # strands that it names are gone: it was fired already
        return facts


def run_add(options: argparse.Namespace) -> int:
    """Add events to a batch, or close it."""
    from castsugar.cli.batch_entries import events_of
    from castsugar.records.folder import add_events
    from castsugar.report import batch as report

    before = _batch(options)
    events = events_of(options, before)
    with held_back():
        batch = add_events(before.path, events)
        added = batch.events[len(before.events) :]
        closed = batch.outcome
        next_ = _after(options, batch) if closed else _showing(options, batch.id)
        _say(
            options,
            batch,
            ("storage",),
            lambda told, show: report.added_screen(batch, added, told, show),
            about={"next": next_},
            command="batch_added",
            parts=lambda: report.added_parts(batch, added),
        )
        _say_later(added[0].date)
        remark(f"added to {before.path}")
    return 0


def run_list(options: argparse.Namespace) -> int:
    """List the batches of a folder; what is damaged is named, the rest still listed."""
    world_of(options)  # its units
    from castsugar.cli.answer import Answer, answer
    from castsugar.data.load import data_version
    from castsugar.records.folder import list_batches
    from castsugar.report import batch_list as report

    folder = existing_folder(options)
    found, damaged = list_batches(folder)
    name = folder.as_posix()
    next_ = _showing(options, found[-1].id) if found else "castsugar batch new --help"
    answer(
        options,
        Answer(
            command="batches",
            screen=lambda show: report.list_screen(
                found, damaged, name, show=show, next_=next_
            ),
            parts=lambda: report.list_parts(found, damaged, name),
            told={"version": data_version(), "cautions": []},
            rows=report.list_rows(found),
            fields=report.FIELDS,
        ),
    )
    return 1 if damaged else 0


def run_card(options: argparse.Namespace) -> int:
    """Show the launch-day card of a batch."""
    world_of(options)  # its units
    from castsugar.cli.batch_entries import day_of
    from castsugar.data.load import load_database
    from castsugar.records.launch import card_of
    from castsugar.report import batch_card as report

    batch = _batch(options)
    card = card_of(batch, day_of(options, batch), load_database())
    _say(
        options,
        batch,
        ("firing", "storage"),
        lambda told, show: report.card_screen(batch, card, told, show),
        about={"next": _showing(options, batch.id)},
        grain_mass=_weighed(card.grains),
        command="batch_card",
        parts=lambda: report.card_parts(batch, card),
        rows=report.card_rows(card.rules),
        fields=report.FIELDS,
    )
    return 0


def _weighed(grains: RealGrains | None) -> float | None:
    return None if grains is None else math.fsum(one.mass for one in grains.grains)


#: Facts that go with the mass of the grains.
_BY_MASS = ("propellant_mass", "total_impulse")


def _say_later(date: str) -> None:
    import datetime

    if date > datetime.date.today().isoformat():
        remark(f"castsugar: {date} is yet to come; correct --date if that is a slip")
