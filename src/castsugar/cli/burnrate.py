"""``castsugar burnrate``: strands in, burning-rate law out."""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from castsugar.cli.answer import Answer, answer, invented_files, units_of
from castsugar.cli.output import SCREEN, add_output_options, write_file
from castsugar.cli.quantities import quantity, read
from castsugar.errors import unknown_name

if TYPE_CHECKING:
    from typing import Any

    from castsugar.data.load import Database
    from castsugar.data.records import Caution
    from castsugar.motor.burn_law import BurnLaw
    from castsugar.motor.strands import StrandResults
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.report.strand_rows import Asked

_EXAMPLES = """\
FILE is a table with one row a strand: length, time, pressure, and if known
temperature, mix, batch, process, degraded (share of the sugar), date, note.
Units stand in the header: "length (mm)", "time (s)", "pressure (psig)"; a
pressure may be the word ambient.

examples:
  castsugar burnrate strands.csv
  castsugar burnrate strands.csv --at "1000 psi" --picture strands.svg
  castsugar burnrate strands.csv strands-new.csv
  castsugar burnrate delay.csv --ambient "950 mbar"
"""

#: Cautions of the topics motor and firing that are about a motor, not about strands.
_MOTORS_ONLY = frozenset(
    {"pressure-margin", "class-1-build", "model-code-scope", "high-power-scope"}
)


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "burnrate",
        help="burning-rate law, with its uncertainty, from strands that you burned",
        description="Turn strands into burning-rate laws r = a p^n, one for each mix.",
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
    drawn = {"laws": "strands, laws and both bands"}
    add_output_options(parser, *SCREEN, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the strands, find the laws, print them.

    Exit code 0 also where a mix has no law: the answer then says why, and what to do.
    """
    from castsugar.data.load import load_database
    from castsugar.motor.strands import analyse
    from castsugar.readings.strand_files import read_strand_files

    database = load_database()
    borrowed = _borrowed(options.fuel, database)
    strands = read_strand_files(options.file, ambient=options.ambient.value)
    asked = _asked(options, database)
    results = analyse(strands, borrowed=borrowed)
    answer(options, _answer(options, database, results, asked))
    for file in options.picture.values():
        from castsugar.report.strand_chart import strand_chart

        chart = strand_chart(results, asked, units_of(options))
        write_file(options, file, chart)
    return 0


def _borrowed(fuel: str | None, database: Database) -> tuple[BurnLaw, ...]:
    """Return the laws that may be offered."""
    from castsugar.motor.burn_law import borrowed_laws

    laws = borrowed_laws(database)
    if fuel is None:
        return laws
    wanted = database.find(fuel).name
    chosen = tuple(law for law in laws if law.kind == wanted)
    if not chosen:
        known = dict.fromkeys(law.kind for law in laws)
        raise unknown_name("fuel of a published burning-rate law", fuel, known)
    return chosen


def _asked(options: argparse.Namespace, database: Database) -> Asked:
    """Return what was typed, in SI."""
    from castsugar.report.strand_rows import Asked

    return Asked(
        files=tuple(options.file),
        at=tuple(read("--at", pressure).value for pressure in options.at),
        ambient=options.ambient.value,
        sources=database.sources,
    )


def _answer(
    options: argparse.Namespace,
    database: Database,
    results: StrandResults,
    asked: Asked,
) -> Answer:
    """Return what strands tell, for every kind of output."""
    from castsugar.report import burnrate, cautions, strand_rows

    facts = cautions.strand_facts(results)
    known = _cautions(database, results, facts)
    told = partial(cautions.chosen, known, facts, ["firing", "motor"])
    invented = invented_files(options.file)

    def screen(show: Shown) -> Screen:
        rules = told(say=show.rule)
        return burnrate.burnrate_screen(results, asked, rules, show, invented)

    def paper(show: Shown) -> Screen:
        from castsugar.report.screen import Figure
        from castsugar.report.strand_chart import strand_chart

        chart = strand_chart(results, asked, show)
        return replace(screen(show), sheet=(Figure(chart, "Strands and their laws"),))

    return Answer(
        command="burnrate",
        screen=screen,
        paper=paper,
        parts=lambda: strand_rows.burnrate_parts(results, asked),
        told={
            "version": database.version,
            "conditions": {
                "ambient_pressure_Pa": asked.ambient,
                "interval_probability": strand_rows.LEVEL,
            },
            "assumptions": [burnrate.ABOUT],
            "cautions": [c.text for c in known],
        },
        rows=strand_rows.strand_rows(results, asked),
        fields=strand_rows.STRANDS,
    )


def _cautions(
    database: Database, results: StrandResults, facts: dict[str, list[float]]
) -> list[Caution]:
    """Return the cautions about burning strands, in the order of the file."""
    borrowed = any(result.offers for result in results.mixes)
    left_out = _MOTORS_ONLY if borrowed else _MOTORS_ONLY | {"borrowed-burn-law"}
    found = database.cautions_for(["motor", "firing"], facts)
    return [c for c in found if c.key not in left_out]
