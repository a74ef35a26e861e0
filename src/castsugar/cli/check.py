"""``castsugar check``: what a bench file leaves open."""

from __future__ import annotations

import argparse
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer
from castsugar.cli.bench_option import Once, add_bench_option, stated_world
from castsugar.cli.output import add_output_options

if TYPE_CHECKING:
    from castsugar.bench.world import World

_EXAMPLES = """\
Exit code 1: an entry is invented, does not fit or is missing.

examples:
  castsugar check
  castsugar check bench.toml --full
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "check",
        description="Say what of a bench file is invented, misfit, missing or assumed.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "bench",
        action=Once,
        nargs="?",
        metavar="FILE",
        help="bench file, as with --bench",
    )
    add_bench_option(parser)
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Check the bench file, say what is open."""
    from castsugar.bench.open_points import check
    from castsugar.report import check as words

    world = stated_world(options)
    found = check(world)
    recipe = next(iter(world.recipes), '"KNO3:65 sucrose:35"')
    named = "" if options.bench_said else f" --bench {options.bench}"
    first = f"castsugar evaluate {recipe}{named}"
    parts, conditions = words.check_parts(found), found.conditions
    given = Answer(
        command="check",
        screen=partial(words.check_screen, found, world.motor, first),
        parts=lambda: parts,
        told={
            "version": world.database.version,
            "conditions": {
                "pressure_Pa": conditions["pressure"],
                "exit_pressure_Pa": conditions["exit_pressure"],
                "nozzle_flow": conditions["flow"],
            },
            "cautions": [],
        },
        basis=partial(_basis, world),
        rows=parts["points"],
        fields=words.POINT_FIELDS,
    )
    answer(options, given)
    return found.exit_code


def _basis(world: World) -> dict[str, Any]:
    """Return what a table of the recipes of the file would rest on."""
    from castsugar.mix.basis import basis

    mixes = [world.mix(name) for name in world.recipes]
    options = {"kitchen": world.kitchen, "motor": world.motor}
    return basis(mixes, **(options | world.conditions))
