"""``castsugar weigh``: from the grains to be cast to what goes on the scale."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option
from castsugar.cli.conditions import add_nozzle_options
from castsugar.cli.output import add_output_options, deliver, write_file
from castsugar.cli.quantities import in_si, quantity
from castsugar.plain import to_json

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.data.load import Database
    from castsugar.data.records import Caution
    from castsugar.weigh.result import Weighing

_EXAMPLES = """\
RECIPE is "name:amount name:amount ...", or the name of a recipe in [recipes].
What a line weighs is as is: with the water of its lot, and with the syrup that
stays in its cup. Nothing is ever taken out of a mix: a correction only adds.

examples:
  castsugar weigh "KNO3:60 powdered sugar:20 corn syrup:20" --batch "200 g"
  castsugar weigh "KNO3:60 powdered sugar:20 corn syrup:20" --batch "200 g" \\
      --cook "119 C" --minutes 8 --scale-step "0.1 g"
  castsugar weigh "KNO3:60 powdered sugar:20 corn syrup:20" --batch "200 g" \\
      --actual "KNO3=121 g" --at-most "250 g"
  castsugar weigh base --bench bench.toml --grains 4 --strands 3 --delays 2 \\
      --page sheet.html
With a bench file its tables [motor.grain], [casting], [scale], [pan], [lots]
and [kitchen] are used. Exit code 1: a correction cannot be made.
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "weigh",
        help="the weigh sheet of a batch, and corrections while weighing",
        description="Say what to weigh for some castings, or for a batch.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    add_bench_option(parser)
    parser.add_argument(
        "--grains", type=int, metavar="N", help="grains of the motor: one a segment"
    )
    parser.add_argument(
        "--strands",
        type=int,
        metavar="N",
        help="strands to burn (default 3 beside grains)",
    )
    parser.add_argument(
        "--delays", type=int, metavar="N", help="delay columns (default 0)"
    )
    for name, words in (
        ("--batch", "mass on the scale instead, '200 g'"),
        ("--scale-step", "smallest step of the scale (default that of [scale], 0.1 g)"),
        ("--at-most", "largest mass on the scale, for the sheet and a correction"),
    ):
        parser.add_argument(name, type=quantity(name), metavar="MASS", help=words)
    parser.add_argument(
        "--actual",
        action="append",
        default=[],
        metavar="NAME=MASS",
        help="what the scale showed, 'KNO3=301.2 g'; may be repeated",
    )
    parser.add_argument(
        "--lot",
        action="append",
        default=[],
        metavar="NAME",
        help="weigh from this lot of [lots], whatever is in use; may be repeated",
    )
    parser.add_argument(
        "--cook",
        metavar="PROFILE",
        help="as for castsugar kitchen, '119 C' with --minutes: what water leaves "
        "(default that of [kitchen])",
    )
    parser.add_argument(
        "--minutes", metavar="N", help="how long the temperature is held"
    )
    parser.add_argument(
        "--water-lost",
        type=quantity("--water-lost"),
        metavar="SHARE",
        help="share of the recipe's water that leaves, instead of a cook's",
    )
    add_nozzle_options(parser)
    page = "write a sheet to print, HTML, with boxes"
    add_output_options(parser, "json", "csv", "page", page=page)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the sheet, correct it, print it."""
    from castsugar.cli.weigh_task import (
        Setting,
        assumptions,
        make_sheet,
        read_actual,
        read_setting,
    )
    from castsugar.data.load import load_database
    from castsugar.weigh.charge import one_grain
    from castsugar.weigh.result import weighing

    database = load_database()
    setting: Setting = read_setting(options, database)
    sheet = make_sheet(options, setting)
    motor = setting.motor
    found = weighing(
        sheet,
        setting.conditions,
        actual=read_actual(options.actual, setting.charge),
        at_most=in_si(options.at_most),
        grain_volume=one_grain(motor.grain)[0] if motor is not None else None,
    )
    told = assumptions(setting, sheet)
    cautions = _cautions(database, setting.bench, found)
    deliver(options, _render(options, found, told, cautions, database))
    if options.page is not None:
        _write_page(options, found, told, cautions, database)
    return 0 if found.answer else 1


def _cautions(
    database: Database, bench: Bench | None, found: Weighing
) -> list[Caution]:
    """Return the cautions that apply to what will be on the scale."""
    from castsugar.report.cautions import motor_facts, pan_facts

    sheet, conditions = found.sheet, found.conditions
    total = found.correction.total if found.correction is not None else sheet.total
    facts = pan_facts(
        batch=max(total, sheet.total), kitchen=conditions.kitchen, bench=bench
    ) | motor_facts(conditions.motor, [found.judged[0].values])
    return database.cautions_for(["weigh"], facts)


def _render(
    options: argparse.Namespace,
    found: Weighing,
    told: list[str],
    cautions: list[Caution],
    database: Database,
) -> str:
    """Return the result as CSV, JSON or text."""
    from castsugar.report import data, weigh_rows

    if options.csv:
        rows = weigh_rows.line_rows(found)
        return data.to_csv(rows, list(rows[0]))
    if options.json:
        return to_json(weigh_rows.weigh_json(found, told, cautions, database.version))
    from castsugar.report.blocks.text import to_text
    from castsugar.report.weigh import weigh_document

    return to_text(weigh_document(found, told, cautions))


def _write_page(
    options: argparse.Namespace,
    found: Weighing,
    told: list[str],
    cautions: list[Caution],
    database: Database,
) -> None:
    """Write the page to print."""
    from castsugar.cli.documents import with_remarks
    from castsugar.report import data
    from castsugar.report.blocks.html import to_html
    from castsugar.report.weigh import weigh_document

    versions = data.versions(database.version)
    foot = [", ".join(f"{name} {version}" for name, version in versions.items())]
    document = weigh_document(found, told, cautions, paper=True, foot=foot)
    page = to_html(with_remarks(options, document))
    write_file(options, options.page, page)
