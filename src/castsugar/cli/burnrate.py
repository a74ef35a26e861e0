"""``castsugar burnrate``: strands in, burn law out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from castsugar.cli.output import add_output_options, deliver, write_file
from castsugar.cli.quantities import quantity
from castsugar.plain import to_json

if TYPE_CHECKING:
    from typing import Any

    from castsugar.data.load import Database
    from castsugar.data.records import Caution
    from castsugar.motor.burn_law import BurnLaw
    from castsugar.motor.strands import StrandResults
    from castsugar.report.strand_units import StrandUnits
    from castsugar.report.strands import Asked
    from castsugar.units import Quantity

_EXAMPLES = """\
FILE is a table with one row a strand: length, time, pressure, and if known
temperature, mix, note. Units stand in the header: "length (mm)", "time (s)",
"pressure (psig)"; a pressure may be the word ambient.

examples:
  castsugar burnrate strands.csv
  castsugar burnrate strands.csv --at "1000 psi" --picture strands.svg
  castsugar burnrate strands.csv strands-new.csv
  castsugar burnrate delay.csv --ambient "950 mbar" --level 90%
"""

#: Cautions of the topics motor and firing that are about a motor, not about strands.
_MOTORS_ONLY = frozenset(
    {"pressure-margin", "class-1-build", "model-code-scope", "high-power-scope"}
)
_IF_BORROWED = "borrowed-burn-law"


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "burnrate",
        help="burn law, with its doubt, from strands that you burned",
        description="Turn strands into burn laws r = a p^n, one for each mix.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "file",
        nargs="+",
        metavar="FILE",
        help="strands (CSV, up to 1 MB); of one mix in several files, one law",
    )
    parser.add_argument(
        "--ambient",
        type=quantity("--ambient"),
        default="1 atm",
        metavar="PRESSURE",
        help="what the word ambient means, with unit (default '1 atm')",
    )
    parser.add_argument(
        "--at",
        action="append",
        default=[],
        metavar="PRESSURE",
        help="state the rate at this pressure, with unit; may be repeated",
    )
    parser.add_argument(
        "--fuel",
        metavar="NAME",
        help="offer borrowed laws of this fuel only, where all strands burned at one "
        "pressure",
    )
    parser.add_argument(
        "--level",
        default="95%",
        metavar="SHARE",
        help="probability of intervals, 50%% to 99.9%% (default 95%%)",
    )
    parser.add_argument(
        "--pressure-unit",
        metavar="UNIT",
        help="show pressures in this unit beside MPa (default: that of the file)",
    )
    drawn = {"laws": "strands, laws and both bands"}
    add_output_options(parser, "json", "csv", pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the strands, find the laws, print them.

    Exit code 0 also where a mix has no law: the report then says why, and what to do.
    """
    from castsugar.data.load import load_database
    from castsugar.motor.strands import analyse
    from castsugar.readings.strand_files import read_strand_files

    database = load_database()
    borrowed = _borrowed(options.fuel, database)
    strands = read_strand_files(options.file, ambient=options.ambient.value)
    asked = _asked(options, database, options.ambient)
    results = analyse(strands, borrowed=borrowed, level=asked.level)
    deliver(options, _render(options, database, results, asked))
    for file in options.picture.values():
        from castsugar.report.strand_chart import strand_chart

        write_file(options, file, strand_chart(results, asked))
    return 0


def _borrowed(fuel: str | None, database: Database) -> tuple[BurnLaw, ...]:
    """Return the laws that may be offered."""
    from castsugar.errors import unknown_name
    from castsugar.motor.burn_law import borrowed_laws

    laws = borrowed_laws(database)
    if fuel is None:
        return laws
    wanted = database.find(fuel).name
    chosen = tuple(law for law in laws if law.kind == wanted)
    if not chosen:
        known = dict.fromkeys(law.kind for law in laws)
        raise unknown_name("fuel of a published burn law", fuel, known)
    return chosen


def _asked(options: argparse.Namespace, database: Database, ambient: Quantity) -> Asked:
    """Read what the page is to show."""
    from castsugar import plausible
    from castsugar.report.strands import Asked

    level = plausible.read(options.level, "level", where="--level").value
    at = []
    for text in options.at:
        typed = plausible.read(text, "pressure of a burn rate", where="--at")
        at.append((typed.echo(), typed.value))
    return Asked(
        files=tuple(options.file),
        at=tuple(at),
        level=level,
        ambient=(ambient.echo(), ambient.value),
        units=_units(options),
        sources=database.sources,
    )


def _units(options: argparse.Namespace) -> StrandUnits:
    """Return the units to show beside MPa and mm/s: those that the user types."""
    from castsugar import units
    from castsugar.errors import InputError
    from castsugar.report.strand_units import StrandUnits

    first = Path(options.file[0])
    pressure = _typed_unit(first, "pressure") or "MPa"
    if options.pressure_unit is not None:
        typed = units.parse(
            f"1 {options.pressure_unit}", "pressure", where="--pressure-unit"
        )
        if typed.note.startswith("gauge"):
            raise InputError(
                f"--pressure-unit {options.pressure_unit!r} is gauge; a burn law takes "
                "absolute pressure: write psi, bar, MPa"
            )
        pressure = typed.unit
    inches = _typed_unit(first, "length") in ("in", "ft")
    return StrandUnits(pressure=pressure, rate="in/s" if inches else "mm/s")


def _typed_unit(path: Path, name: str) -> str:
    """Return the unit of a column of a file of strands; empty if it shows none."""
    from castsugar import units
    from castsugar.errors import CastsugarError
    from castsugar.readings.strand_files import STRAND_COLUMNS
    from castsugar.readings.tables import read_sheet

    sheet = read_sheet(path, STRAND_COLUMNS)
    column = sheet.columns[name]
    texts = [f"1 {column.unit}"] if column.unit else []
    texts += [cell.replace(",", ".") for _, cell in sheet.cells(name)]
    for text in texts:
        try:
            return units.parse(text, column.heading.quantity).unit
        except CastsugarError:  # the word ambient
            continue
    return ""


def _render(
    options: argparse.Namespace,
    database: Database,
    results: StrandResults,
    asked: Asked,
) -> str:
    """Return the result as CSV, JSON or text."""
    from castsugar.report import data, strand_rows, strands

    if options.csv:
        rows = strand_rows.strand_rows(results, asked)
        return data.to_csv(rows, list(rows[0]))
    cautions = _cautions(database, results)
    if not options.json:
        return strands.strand_page(results, asked, cautions)
    return to_json(
        {
            "schema": "castsugar.burnrate/1",
            "versions": data.versions(database.version),
            **strand_rows.strand_document(results, asked),
            "cautions": [c.text for c in cautions],
        }
    )


def _cautions(database: Database, results: StrandResults) -> list[Caution]:
    """Return the cautions about burning strands, in the order of the file."""
    from castsugar.report.cautions import strand_facts

    left_out = set(_MOTORS_ONLY)
    if not any(result.offers for result in results.mixes):
        left_out.add(_IF_BORROWED)
    found = database.cautions_for(["motor", "firing"], strand_facts(results))
    return [c for c in found if c.key not in left_out]
