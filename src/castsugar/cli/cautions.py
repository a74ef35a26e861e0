"""``castsugar cautions``: every caution, or those that a mix and a bench raise."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.asked import weigh_recipes
from castsugar.cli.answer import Answer, answer
from castsugar.cli.bench_option import (
    add_bench_option,
    as_cooked,
    world_of,
)
from castsugar.cli.output import UNCITED, add_output_options, command_text
from castsugar.errors import unknown_name

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.data.records import Caution, Facts

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
    add_output_options(parser, without=UNCITED)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the cautions asked for."""
    from castsugar.data.load import TOPICS, load_database
    from castsugar.report import caution_list as words

    database = load_database()
    if options.topic not in TOPICS:
        raise unknown_name("topic", options.topic, TOPICS)
    found: Sequence[Caution] = database.cautions
    facts: Facts = {}
    invented: tuple[str, ...] = ()
    if options.mix is not None:
        found, facts, invented = _raised(options, database)
    if options.topic != "all":
        found = [c for c in found if {options.topic, "all"} & set(c.topics)]
    about = f" about {options.topic}" if options.topic != "all" else ""
    if options.mix is not None:
        about += f" that {options.mix} raises"
    asked = words.Asked(
        cautions=tuple(found),
        known=len(database.cautions),
        facts=facts,
        about=about,
        sources=database.sources,
        next=_next(options),
        invented=invented,
        bench=options.bench or "",
    )
    rows = words.caution_rows(found)
    given = Answer(
        command="cautions",
        screen=partial(words.cautions_screen, asked),
        parts=lambda: {"rules": rows},
        told={"version": database.version, "cautions": [c.text for c in found]},
        rows=rows,
        fields=words.RULE_FIELDS,
    )
    answer(options, given)
    return 0


def _next(options: argparse.Namespace) -> str:
    """Return what to do next: ask for a mix, or read all of it."""
    if options.mix is None and not options.full and options.topic == "all":
        return 'castsugar cautions --mix "KNO3:65 sucrose:35"'
    if options.full:
        return "castsugar cautions kitchen"
    return f"{command_text(options.words)} --full"


def _raised(
    options: argparse.Namespace, database: Database
) -> tuple[list[Caution], Facts, tuple[str, ...]]:
    """Return the cautions that apply to a mix, what raises them, what is invented."""
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
    found = database.cautions_for(topics_of(["evaluate"], kitchen, motor), facts)
    uses = {"lots", "kitchen", "motor", "pan"}
    return found, facts, world.invented_for([mix], uses=uses) if world else ()
