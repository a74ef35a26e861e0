"""``castsugar burnrate``: strands in, burning-rate law out."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from castsugar.cli.answer import Answer, answer, invented_files, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.output import add_output_options, write_picture
from castsugar.cli.quantities import quantity, read

if TYPE_CHECKING:
    from typing import Any

    from castsugar.arrays import FloatArray
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.data.records import Caution
    from castsugar.motor.strand_model import StrandModel
    from castsugar.motor.strands import StrandResults
    from castsugar.plot.sheet import Drawing
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.report.strand_rows import Asked

_EXAMPLES = """\
FILE is a table with one row a strand: length, time, pressure, and if known
temperature, mix, batch, process, degraded (share of the sugar), date, note.
Units stand in the header: "length (mm)", "time (s)", "pressure (psig)"; a
pressure may be the word ambient. Instead of the time a strand that was filmed
may have first_frame, last_frame and frame_rate (1/s).

examples:
  castsugar burnrate strands.csv
  castsugar burnrate strands.csv --at "1000 psi" --picture strands.svg
  castsugar burnrate strands.csv strands-new.csv
  castsugar burnrate delay.csv --ambient "950 mbar"
"""

_CAPTION = (
    "Strands and their laws, drawn inside the tested pressures: where each law lies, "
    "and where one more strand will lie, 95 %"
)

#: Cautions of the topics motor and firing that are about a motor, not about strands.
_MOTORS_ONLY = frozenset(
    {
        "pressure-margin",
        "class-1-build",
        "model-code-scope",
        "high-power-scope",
        "borrowed-burn-law",
    }
)


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "burnrate",
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
    add_bench_option(parser)
    drawn = {"laws": "strands, laws and both bands"}
    add_output_options(parser, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the strands, find the laws, print them.

    Exit code 0 also where a mix has no law: the answer then says why, and what to do.
    """
    from castsugar.bench.burned import scatter_of
    from castsugar.data.load import load_database
    from castsugar.motor.strand_model import StrandModel
    from castsugar.motor.strands import analyse
    from castsugar.readings.strand_files import read_strand_files
    from castsugar.report.strand_rows import Asked

    database, world = load_database(), world_of(options)
    results = analyse(read_strand_files(options.file, ambient=options.ambient.value))
    mixes = [one.mix for one in results.mixes]
    recipes = _recipes(options.file, mixes, world)
    asked = Asked(
        files=tuple(options.file),
        at=tuple(read("--at", pressure).value for pressure in options.at),
        ambient=options.ambient.value,
        recipes=recipes,
        bench_said=options.bench_said,
        fired=_fired(recipes, world, database),
    )
    model = StrandModel(
        results,
        {name: _shares(text, database) for name, text in recipes.items()},
        scatter_of(None if world is None else world.bench),
    )
    answer(options, _answer(options, database, model, asked))
    for file in options.picture.values():
        write_picture(options, file, _drawing(options, results, asked))
    return 0


def _recipes(
    files: Sequence[str], mixes: Sequence[str], world: World | None
) -> dict[str, str]:
    """Return the recipes of mixes, by what the bench or their names say.

    An entry of the bench with this file comes first, then one with this name of a mix,
    then a recipe of the name.
    """
    found = {mix: mix for mix in mixes if ":" in mix}
    if world is None:
        return found
    there = {Path(file).resolve() for file in files}
    bench = world.bench
    entries = [e for e in (bench.motor or {}).get("burn_law", ()) if "strands" in e]
    entries.sort(key=lambda e: (bench.path.parent / e["strands"]).resolve() in there)
    named = {name: bench.recipe_text(name) for name in world.recipes}
    for entry in entries:
        alone = mixes[0] if len(mixes) == 1 and not mixes[0] else ""
        named[entry["mix"] or alone] = entry["recipe"]
    return found | {mix: named[mix] for mix in mixes if mix in named}


def _fired(
    recipes: Mapping[str, str], world: World | None, database: Database
) -> dict[str, FloatArray]:
    """Return rate points of the firings that the bench file has of each mix."""
    import numpy as np

    from castsugar.motor.burn_evidence import FIRING
    from castsugar.motor.pressure_table import own_of

    if world is None or world.motor is None:
        return {}
    found = {}
    for name, text in recipes.items():
        own = own_of(world.motor.burning, _shares(text, database))
        points = [
            pair
            for one in own
            if one.kind == FIRING
            for pair in zip(one.pressure, one.rate, strict=True)
        ]
        if points:
            found[name] = np.array(points)
    return found


def _shares(text: str, database: Database) -> dict[str, float]:
    """Return a recipe as catalogue names and mass fractions."""
    from castsugar.mix import weighing
    from castsugar.mix.text import parse_recipe

    return weighing.catalogue_shares(database, parse_recipe(text, where="mix").parts)


def _answer(
    options: argparse.Namespace,
    database: Database,
    model: StrandModel,
    asked: Asked,
) -> Answer:
    """Return what strands tell, for every kind of output."""
    from castsugar.report import burnrate, cautions, strand_rows
    from castsugar.report.pressure_words import assumed_widths

    results = model.results
    facts = cautions.strand_facts(results)
    known = _cautions(database, facts)
    told = partial(cautions.chosen, known, facts, ["firing", "motor"])
    invented = invented_files(options.file)

    def screen(show: Shown) -> Screen:
        rules = told(say=show.rule)
        return burnrate.burnrate_screen(model, asked, rules, show, invented)

    def paper(show: Shown) -> Screen:
        from castsugar.plot.export import shown

        drawn = shown(_drawing(options, results, asked), _CAPTION)
        return replace(screen(show), sheet=(drawn,))

    return Answer(
        command="burnrate",
        screen=screen,
        paper=paper,
        parts=lambda: strand_rows.burnrate_parts(model, asked),
        told={
            "version": database.version,
            "conditions": {
                "ambient_pressure_Pa": asked.ambient,
                "interval_probability": strand_rows.LEVEL,
            },
            "assumptions": [burnrate.ABOUT, assumed_widths(model.scatter)],
            "cautions": [c.text for c in known],
        },
        rows=strand_rows.strand_rows(results, asked),
        fields=strand_rows.STRANDS,
    )


def _drawing(
    options: argparse.Namespace, results: StrandResults, asked: Asked
) -> Drawing:
    """Return the picture of the strands."""
    from castsugar.plot.burning import strands_drawing

    invented = bool(invented_files(options.file))
    return strands_drawing(results, asked, units_of(options), invented=invented)


def _cautions(database: Database, facts: dict[str, list[float]]) -> list[Caution]:
    """Return the cautions about burning strands, in the order of the file."""
    found = database.cautions_for(["motor", "firing"], facts)
    return [c for c in found if c.key not in _MOTORS_ONLY]
