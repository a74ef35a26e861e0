"""``castsugar ballistics``: what a ballistics calculation takes of a mix."""

from __future__ import annotations

import argparse
from functools import partial
from typing import Any

from castsugar.cli.answer import Answer, answer
from castsugar.cli.bench_option import add_bench_option
from castsugar.cli.conditions import (
    add_condition_options,
    doubts_of,
    read_conditions,
)
from castsugar.cli.evaluate import wanted_of
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.motor_options import add_cause_options, check_cause_options
from castsugar.cli.output import add_output_options

_EXAMPLES = """\
Every quantity with its doubt, its status and its source: states at 1, 3 and 7
MPa and at the pressure asked for, burn law with its covariance, density, motor,
200 rows drawn together. --json and --csv hold all of it, in SI units.

examples:
  castsugar ballistics "KNO3:65 sucrose:35" --pressure "3 MPa"
  castsugar ballistics "KNO3:60 sugar:20 corn syrup:20" --water-lost 0.2 --json
  castsugar ballistics base --full
  castsugar ballistics base --csv -o base.csv
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "ballistics",
        description="Say what a ballistics calculation takes of a mix and a motor.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions, uncertainty=False)
    add_kitchen_options(conditions)
    add_cause_options(conditions)
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Put the numbers together and print the answer."""
    from castsugar.ballistic_input.block import ballistics, check_burns
    from castsugar.data.load import load_database
    from castsugar.evaluated import drawn_bands, evaluated, fire_rows
    from castsugar.evaluation import evaluate_columns
    from castsugar.report.ballistics import (
        ROW_FIELDS,
        ballistics_parts,
        ballistics_screen,
    )
    from castsugar.report.field import intervals
    from castsugar.rows import records

    question = read_conditions(options, load_database())
    check_cause_options(options, question.motor)
    mixes = question.weigh([options.recipe])
    rows = records(evaluate_columns(mixes, **question.evaluate_options()))
    check_burns(rows[0], mixes[0])
    drawn = None
    if question.world is not None:
        drawn = drawn_bands(question, mixes, doubts_of(options)[1])
    more = ((), fire_rows(question, mixes, rows), drawn)
    asked = evaluated(question, mixes, rows, more, wanted_of(options, rows))
    found = ballistics(
        mixes[0],
        question.motor,
        **question.conditions.options(),
        kitchen=question.kitchen,
        species=question.species,
        bands=intervals(asked.rows[0]),
    )
    answer(
        options,
        Answer(
            command="ballistics",
            screen=partial(ballistics_screen, found, asked),
            parts=partial(ballistics_parts, found, asked),
            told=question.told(asked),
            basis=partial(question.basis, mixes, drawn=True),
            rows=found.rows(),
            fields=ROW_FIELDS,
        ),
    )
    return 0
