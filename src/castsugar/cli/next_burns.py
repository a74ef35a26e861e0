"""``castsugar next``: the burns that would tell most."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import Once, add_bench_option, stated_world
from castsugar.cli.conditions import stated_conditions
from castsugar.cli.output import add_output_options
from castsugar.cli.search import NO
from castsugar.cli.search_task import task_asked

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from castsugar.bench.world import World
    from castsugar.mix.mix import Mix

#: What an answer takes from the bench.
_USES = frozenset({"lots", "kitchen", "motor"})

#: Largest batch of strands that is proposed [kg].
_STRAND_BATCH = 0.1

#: So many burns are proposed.
COUNT = 3

_EXAMPLES = """\
The mixes come from the [search] table of the bench file: its ingredients,
bounds and limits. Exit code 1: no mix keeps the limits.

examples:
  castsugar next
  castsugar next --bench bench.toml --count 2
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "next",
        help="what to burn next: the strands or firings that would tell most",
        description="Propose the strands and firings that would tell most.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "bench", metavar="BENCH", nargs="?", action=Once, help="as --bench"
    )
    parser.add_argument(
        "--count",
        type=int,
        default=COUNT,
        metavar="K",
        help=f"so many burns (default {COUNT})",
    )
    parser.add_argument("--seed", type=int, metavar="N", help="of the draws")
    add_bench_option(parser)
    kinds = ("full", "json", "markdown", "page", "units")
    add_output_options(parser, *kinds)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print what to burn next; 1 if no mix keeps the limits."""
    from functools import partial

    from castsugar.bench.search import search_asked
    from castsugar.optimize.next_burns import propose
    from castsugar.report.cautions import chosen, motor_facts, pan_facts
    from castsugar.report.next_burns import Proposed, next_parts, next_screen
    from castsugar.report.search_words import Asked

    world = stated_world(options)
    bench, database = world.bench, world.database
    stated = stated_conditions(options, bench)
    task = task_asked(options, world, stated)
    proposal = propose(task, options.count)
    batch = min(task.space.batch or _STRAND_BATCH, _STRAND_BATCH)
    motor = task.settings.motor
    typed = search_asked(bench, database, motor=motor).typed
    facts = pan_facts(batch=batch, bench=bench) | motor_facts(motor)
    topics = ["weigh", "kitchen", "motor", "firing"]
    mixes = [burn.option.recipe for burn in proposal.burns]
    found = Proposed(
        proposal=proposal,
        asked=Asked(file=Path(bench.path).name, typed={t: n for n, t in typed.items()}),
        batch=batch,
        grains=0 if motor is None else getattr(motor.grain, "segments", 0),
        seed=task.effort.seed,
        cautions=chosen(database.cautions, facts, topics, say=units_of(options).rule),
        scale_step=task.space.scale_step,
        bench=options.bench,
        bench_said=options.bench_said,
        invented=world.invented_for(_weighed(world, mixes), uses=_USES),
    )
    told = {
        "version": database.version,
        "conditions": stated.to_dict(),
        "cautions": [c.text for c in database.cautions_for(topics, facts)],
    }
    made = Answer(
        command="next",
        screen=partial(next_screen, found),
        parts=partial(next_parts, found),
        told=told,
    )
    answer(options, made)
    return 0 if proposal.candidates.kept else NO


def _weighed(world: World, recipes: Sequence[Mapping[str, float]]) -> list[Mix]:
    """Return proposed mixes, from the lots at hand."""
    from castsugar.mix.mix import Mix

    return [
        Mix.weigh(
            recipe,
            lots={n: lot for n, lot in world.lots.items() if n in recipe},
            database=world.database,
        )
        for recipe in recipes
    ]
