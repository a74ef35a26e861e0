"""``castsugar kitchen``: does it pour, set, scorch, go sticky; what was measured."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar.cli import kitchen_measure
from castsugar.cli.bench_option import add_bench_option, add_syrup_options, read_shelf
from castsugar.cli.kitchen_options import (
    add_kitchen_options,
    kitchen_assumptions,
    read_learnt,
)
from castsugar.cli.output import add_output_options, deliver
from castsugar.cli.quantities import in_si, quantity
from castsugar.cli.screen import remark
from castsugar.plain import to_json
from castsugar.report.cautions import mix_facts, pan_facts

if TYPE_CHECKING:
    from castsugar.data.load import Database

_EXAMPLES = """\
examples:
  castsugar kitchen judge "KNO3:60 sugar:20 corn syrup:20" --cook "119 C" \\
      --minutes 8
  castsugar kitchen judge base --bench bench.toml
  castsugar kitchen pan-weight --recipe "KNO3:60 sugar:20 corn syrup:20" \\
      --batch "200 g" --lost "2.2 g" --cook "119 C" --minutes 10
  castsugar kitchen bulk-density --mass "69 g" --volume "50 ml"
  castsugar kitchen ball-fall --ball "3 mm" --cup "40 mm" --fall "50 mm" \\
      --time "12 s" --temperature "25 C" --bench bench.toml
  castsugar kitchen flow-out --recipe "KNO3:60 sugar:20 corn syrup:20" \\
      --cook "119 C" --minutes 8 --tube-diameter "8 mm" --tube-length "30 mm" \\
      --head "60 mm" --volume "50 ml" --time "300 s" --salt "potassium chloride"
  castsugar kitchen parameters
Add --bench bench.toml --save to keep a measurement, --bench bench.toml to
use what was measured. Exit code 1: a measurement contradicts what is believed,
and is not saved.
"""


def add_parser(commands: Any) -> None:
    """Add the command with its sub-commands."""
    parser = commands.add_parser(
        "kitchen",
        help="how a mix cooks, pours, sets and keeps; kitchen measurements",
        description="Judge recipes in the kitchen, and learn from measurements.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.set_defaults(run=lambda options: _nothing_asked())
    inner = parser.add_subparsers(dest="what", metavar="WHAT")
    judge = inner.add_parser(
        "judge",
        help="how recipes pour, set and keep after a cook",
        description="Judge recipes after a cook. Nothing is burnt; see evaluate.",
        allow_abbrev=False,
    )
    judge.add_argument(
        "recipes",
        nargs="+",
        metavar="RECIPE",
        help="one or more recipes, or names of [recipes]",
    )
    judge.add_argument(
        "--water-lost",
        type=quantity("--water-lost"),
        metavar="SHARE",
        help="share of the recipe's water that is known to leave; drying and boiling "
        "decide without it",
    )
    add_bench_option(judge)
    add_syrup_options(judge)
    add_kitchen_options(judge)
    add_output_options(judge)
    judge.set_defaults(run=run_judge)
    show = inner.add_parser(
        "parameters",
        help="the eight uncertain numbers, and what is known about them",
        description="Show what a kitchen knows about its eight parameters.",
        allow_abbrev=False,
    )
    add_bench_option(show)
    add_output_options(show, csv=False)
    show.set_defaults(run=run_parameters, cook="119 C", minutes="10")
    kitchen_measure.add_parsers(inner)


def _nothing_asked() -> int:
    from castsugar.errors import InputError

    raise InputError(
        "kitchen needs to know what: judge RECIPE, parameters, pan-weight, "
        "bulk-density, ball-fall or flow-out; see castsugar kitchen --help"
    )


def run_judge(options: argparse.Namespace) -> int:
    """Judge recipes and print the table."""
    from castsugar.cli.evaluate import weigh_recipes
    from castsugar.data.load import load_database
    from castsugar.kitchen.pour_table import kitchen_table

    database = load_database()
    shelf = read_shelf(options)
    learnt = read_learnt(options, database)
    for outcome in learnt.calibration.contradictions:
        remark(f"castsugar: {options.bench}: {outcome.sentence()}")
    kitchen = learnt.kitchen.changed(water_lost=in_si(options.water_lost))
    mixes = weigh_recipes(database, options.recipes, shelf=shelf)
    table = kitchen_table(mixes, kitchen)
    rows = [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]
    facts = pan_facts(kitchen=kitchen, bench=shelf.bench) | mix_facts(rows, mixes)
    assumed = kitchen_assumptions(kitchen)
    deliver(options, _render(options, database, rows, assumed, facts))
    return 0


def _render(
    options: argparse.Namespace,
    database: Database,
    rows: list[dict[str, Any]],
    assumed: list[str],
    facts: dict[str, float],
) -> str:
    """Return the result as CSV, JSON or text."""
    from castsugar.report import data, kitchen

    if options.csv:
        return data.to_csv(rows, list(rows[0]))
    cautions = database.cautions_for("kitchen", facts)
    if not options.json:
        return kitchen.kitchen_page(rows, assumed, cautions)
    return to_json(
        {
            "schema": "castsugar.kitchen/1",
            "versions": data.versions(database.version),
            "assumptions": {"notes": assumed},
            "mixes": rows,
            "cautions": [c.text for c in cautions],
        }
    )


def run_parameters(options: argparse.Namespace) -> int:
    """Show the parameters of a kitchen."""
    from castsugar.data.load import load_database
    from castsugar.report import data, kitchen

    database = load_database()
    learnt = read_learnt(options, database)
    syrup = database.syrups[learnt.kitchen.syrup]
    if options.json:
        document = {
            "schema": "castsugar.kitchen_parameters/1",
            "versions": data.versions(database.version),
            "parameters": kitchen.parameter_rows(learnt.kitchen.belief, syrup),
            "measurements": kitchen.outcome_rows(learnt.calibration.outcomes),
        }
        deliver(options, to_json(document))
    else:
        deliver(options, kitchen.parameter_page(learnt, syrup))
    return 1 if learnt.calibration.contradictions else 0
