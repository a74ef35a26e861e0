"""``castsugar cautions``: every caution, or those that a mix and a bench raise."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option, as_cooked, world_of
from castsugar.cli.output import add_output_options, deliver
from castsugar.plain import to_json

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.data.records import Caution

_EXAMPLES = """\
Topics: evaluate, kitchen, weigh, firing, justify, motor, storage.

examples:
  castsugar cautions
  castsugar cautions kitchen
  castsugar cautions --mix base
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "cautions",
        help="all cautions, those of a topic, or those that your mix raises",
        description="Print every caution with its level and its source.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "topic", metavar="TOPIC", nargs="?", default="all", help="only those of a topic"
    )
    parser.add_argument(
        "--mix",
        metavar="RECIPE",
        help="only those that apply to this mix; the bench file is read only here",
    )
    add_bench_option(parser)
    add_output_options(parser, csv=False)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the cautions asked for."""
    from castsugar.data.load import TOPICS, load_database
    from castsugar.errors import unknown_name
    from castsugar.report.cautions import caution_lines, caution_rows

    database = load_database()
    if options.topic not in TOPICS:
        raise unknown_name("topic", options.topic, TOPICS)
    found: Sequence[Caution] = database.cautions
    if options.mix is not None:
        found = _raised(options, database)
    if options.topic != "all":
        found = [c for c in found if {options.topic, "all"} & set(c.topics)]
    if options.json:
        rows = caution_rows(found)
        text = to_json({"schema": "castsugar.cautions/1", "cautions": rows})
    else:
        text = caution_lines(found, len(database.cautions), database.sources)
    deliver(options, text)
    return 0


def _raised(options: argparse.Namespace, database: Database) -> list[Caution]:
    """Return the cautions that apply to a mix, with the bench file if there is one."""
    from castsugar.cli.evaluate import weigh_recipes
    from castsugar.evaluation import evaluate_columns
    from castsugar.report.cautions import facts_of, pan_facts, topics_of
    from castsugar.rows import records

    world = world_of(options)
    if world is None:
        mix = weigh_recipes(database, [options.mix])[0]
        kitchen, motor, bench, given = None, None, None, {}
    else:
        mix = as_cooked(world.mix(options.mix), world)
        kitchen, motor, bench = world.kitchen, world.motor, world.bench
        given = world.conditions
    rows = records(evaluate_columns([mix], confirm=False, **given))
    facts = facts_of(pan_facts(kitchen=kitchen, bench=bench), [mix], rows, motor)
    return database.cautions_for(topics_of(["evaluate"], kitchen, motor), facts)
