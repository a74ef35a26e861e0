"""``castsugar burnrate``: strands in, burn law out."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.output import add_output_options, deliver

if TYPE_CHECKING:
    from castsugar.report.strands import Asked

_EXAMPLES = """\
The file is CSV with a header: length, time, pressure, and if known temperature,
mix, note. Units stand in the header ("length (mm)", "pressure [psig]") or in
every cell; the pressure may be the word ambient.

examples:
  castsugar burnrate strands.csv
  castsugar burnrate strands.csv --at "1000 psi" --chart strands.svg
  castsugar burnrate strands.csv --pressure-unit psi --rate-unit in/s
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "burnrate",
        help="burn law from the user's own strands, with bands",
        description="Fit burning rates of strands, mix by mix, and compare the mixes.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", metavar="FILE", help="CSV file of strands")
    parser.add_argument(
        "--ambient",
        default="1 atm",
        help='pressure that "ambient" means (default "1 atm")',
    )
    parser.add_argument(
        "--at",
        default="1000 psi",
        metavar="PRESSURE",
        help='where the rate is read off (default "1000 psi")',
    )
    parser.add_argument(
        "--level", default="95%", help="probability of intervals (default 95%%)"
    )
    parser.add_argument(
        "--fuel",
        default="",
        metavar="NAME",
        help="offer borrowed laws of this fuel only: sucrose, dextrose, sorbitol, "
        "erythritol",
    )
    parser.add_argument(
        "--pressure-unit",
        default="MPa",
        metavar="UNIT",
        help="show each law in this unit too (default MPa)",
    )
    parser.add_argument(
        "--rate-unit", default="mm/s", metavar="UNIT", help="likewise (default mm/s)"
    )
    parser.add_argument("--chart", metavar="FILE", help="draw the strands, SVG")
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the strands, fit them, print what they say."""
    from castsugar import units
    from castsugar.database import load_database
    from castsugar.lending import borrowed_laws
    from castsugar.motor.strands import analyse
    from castsugar.workshop.files import refuse_existing, write_text
    from castsugar.workshop.readings import read_strands

    database = load_database()
    asked = _asked(options)
    _check_fuel(options.fuel, {r.fuel for r in database.burn_laws.values()})
    refuse_existing([options.chart, options.output], force=options.force)
    ambient = units.parse(options.ambient, "pressure", where="--ambient").value
    results = analyse(
        read_strands(options.file, ambient=ambient),
        borrowed=borrowed_laws(database),
        kind=options.fuel,
        level=asked.level,
    )
    deliver(options, _render(options, database, results, asked))
    if options.chart:
        from castsugar.report.strand_chart import strand_chart

        title = f"Strands of {Path(options.file).name}"
        text = strand_chart(results, asked.level, title)
        write_text(Path(options.chart), text, force=options.force)
        sys.stderr.write(f"wrote {options.chart}\n")
    return 0


def _asked(options: argparse.Namespace) -> Asked:
    """Read what the user wants to see."""
    from castsugar import units
    from castsugar.errors import InputError
    from castsugar.motor.coefficient import convert_coefficient
    from castsugar.report.strands import Asked

    at = units.parse(options.at, "pressure", where="--at")
    level = units.parse(options.level, "fraction", where="--level").value
    if not 0.5 <= level <= 0.999:
        raise InputError(f"--level is {options.level}; allowed: 50 % to 99.9 %")
    pressure, rate = options.pressure_unit, options.rate_unit
    convert_coefficient(1.0, 0.5, "mm/s", "MPa", rate, pressure)  # refuses
    return Asked(
        pressure=at.value,
        pressure_text=at.echo(),
        level=level,
        pressure_unit=pressure,
        rate_unit=rate,
    )


def _check_fuel(fuel: str, known: set[str]) -> None:
    from castsugar.errors import unknown_name

    if fuel and fuel not in known:
        raise unknown_name("fuel of a published burn law", fuel, sorted(known))


def _render(
    options: argparse.Namespace, database: Any, results: Any, asked: Asked
) -> str:
    """Return the result as CSV, JSON or text."""
    from castsugar.report import data, strand_rows, strands

    if options.csv:
        rows = strand_rows.strand_rows(results)
        return data.to_csv(rows, list(rows[0]))
    cautions = database.cautions_for("motor")
    if not options.json:
        return strands.strand_page(options.file, results, asked, cautions)
    return data.to_json(
        {
            "schema": "castsugar.burnrate/1",
            "versions": data.versions(database.version),
            **strand_rows.strand_document(results, asked),
            "cautions": [c.text for c in cautions],
        }
    )
