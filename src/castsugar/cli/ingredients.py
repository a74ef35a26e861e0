"""``castsugar ingredients``: the catalogue and its sources."""

from __future__ import annotations

import argparse
from functools import partial
from typing import Any

from castsugar.cli.answer import Answer, answer
from castsugar.cli.output import UNCITED, add_output_options

_EXAMPLES = """\
examples:
  castsugar ingredients
  castsugar ingredients sorbitol
  castsugar ingredients "corn syrup" --json
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "ingredients",
        description="List the ingredients, or show one with uncertainty, rival values "
        "and sources.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="a name or alias")
    add_output_options(parser, without=UNCITED)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the catalogue or one item."""
    from castsugar.data.load import load_database
    from castsugar.report import ingredients

    database = load_database()
    if options.name is None:
        items = ingredients.catalogue(database)
        screen = partial(ingredients.catalogue_screen, items)
    else:
        items = [ingredients.facts(database, options.name)]
        screen = partial(ingredients.item_screen, items[0])
    given = Answer(
        command="ingredients",
        screen=screen,
        parts=lambda: {"items": items},
        told={"version": database.version, "cautions": []},
        rows=items,
        fields=ingredients.FIELDS,
    )
    answer(options, given)
    return 0
