"""``castsugar ingredients``: the catalogue and its sources."""

from __future__ import annotations

import argparse
from typing import Any

from castsugar.cli.output import add_output_options, deliver
from castsugar.plain import to_json

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
        help="list ingredients, or show one with its sources",
        description="List the ingredients, or show one with uncertainty, rival values "
        "and sources.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="a name or alias")
    add_output_options(parser, "json")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the catalogue or one item."""
    from castsugar.data.load import load_database
    from castsugar.report import ingredients

    database = load_database()
    if options.name is None:
        names = [i.name for i in database.ingredients.values()]
        names += [*database.syrups, *database.premixes]
        document: dict[str, Any] = {
            "schema": "castsugar.ingredients/1",
            "items": [ingredients.facts(database, n) for n in names],
        }
        text = ingredients.listing(database)
    else:
        facts = ingredients.facts(database, options.name)
        document = {"schema": "castsugar.ingredient/1", **facts}
        text = ingredients.describe(facts)
    deliver(options, to_json(document) if options.json else text)
    return 0
