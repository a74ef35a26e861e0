"""``castsugar next``: the mixes whose strands would tell most."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from castsugar.cli.bench_option import Once, add_bench_option, stated_world
from castsugar.cli.conditions import stated_conditions
from castsugar.cli.output import add_output_options, deliver
from castsugar.cli.search import NO
from castsugar.cli.search_task import task_asked
from castsugar.plain import to_json

#: Largest batch of strands that is proposed [kg].
_STRAND_BATCH = 0.1

#: So many mixes are proposed.
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
        help="the next mixes to burn strands of: those that would tell most",
        description="Propose the mixes whose strands would tell most.",
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
        help=f"so many mixes (default {COUNT})",
    )
    parser.add_argument("--seed", type=int, metavar="N", help="of the draws")
    add_bench_option(parser)
    add_output_options(parser, "json")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the next mixes to burn strands of; 1 if no mix keeps the limits."""
    from castsugar.data.load import load_database
    from castsugar.optimize.next_strands import propose
    from castsugar.report import data
    from castsugar.report import next_strands as report
    from castsugar.report.cautions import motor_facts, pan_facts

    database = load_database()
    world = stated_world(options)
    bench = world.bench
    task = task_asked(options, world, stated_conditions(options, bench))
    proposal = propose(task, None, options.count)
    batch = min(task.space.batch or _STRAND_BATCH, _STRAND_BATCH)
    asked = report.Asked(
        file=Path(bench.path).name,
        batch=batch,
        seed=task.effort.seed,
        scale_step=task.space.scale_step,
    )
    facts = pan_facts(batch=batch, bench=bench) | motor_facts(task.settings.motor)
    topics = ["weigh", "kitchen", "motor", "firing"]
    cautions = database.cautions_for(topics, facts)
    if options.json:
        document = report.next_strands_document(proposal, asked)
        document |= {
            "versions": data.versions(database.version),
            "cautions": [c.text for c in cautions],
        }
        text = to_json(document)
    else:
        text = report.next_strands_page(proposal, asked, cautions)
    deliver(options, text)
    return 0 if proposal.candidates.kept else NO
