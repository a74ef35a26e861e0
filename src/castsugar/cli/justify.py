"""``castsugar justify``: the record of a change of mix, with evidence."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import answer, units_of
from castsugar.cli.comparing import (
    Comparing,
    add_comparing_options,
    compared,
    delivered,
    drawing,
    read_comparing,
)
from castsugar.cli.interrupt import exit_code, held_back, write_pictures
from castsugar.cli.output import add_output_options
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.comparison.change import Change
    from castsugar.comparison.neighbours import Neighbourhood
    from castsugar.optimize.settings import Settings
    from castsugar.plot.sheet import Drawing
    from castsugar.report.compare import Compared
    from castsugar.report.justify import Record
    from castsugar.report.screen import Figure, Screen
    from castsugar.report.search_words import Asked
    from castsugar.report.shown import Shown

#: The answer is no.
NO = 1

_PAGE = "write the record of the change as one HTML page, to sign"
_PICTURES = {
    "differences": "the differences with their intervals",
    "firing": "pressure against time with bands, with a motor",
    "products": "what the chamber holds",
    "map": "the mixes around the two, with the limits",
    "traces": "one ingredient more or less",
}

#: Lines to tick on the record.
_TICKS = 6

_EXAMPLES = """\
BASE is what you make now, NEW what you want to make: recipes, or names of
[recipes]. Limits come from the bench file. A claim is "lower" or "higher" and
one of: pressure, flame temperature, c*, specific impulse, density, density
impulse, condensed fraction, pour viscosity, set ratio, storage humidity.

Exit code 1: the numbers do not support the change (a limit is broken, a claim
is contradicted or cannot be told).

examples:
  castsugar justify "KNO3:65 sucrose:35" "KNO3:65 sorbitol:35" \\
      --claim "lower flame temperature"
  castsugar justify base "KNO3:60 powdered sugar:17 corn syrup:23" \\
      --bench bench.toml --claim "lower pressure" --page change.html
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "justify",
        description="Write the record of a change from one mix to another.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("base", metavar="BASE", help="the mix that is made now")
    parser.add_argument("new", metavar="NEW", help="the mix that is to replace it")
    parser.add_argument(
        "--claim",
        action="append",
        default=[],
        metavar="WORDS",
        help="what the change is said to do, 'lower pressure'; may be repeated",
    )
    parser.add_argument(
        "--reason", default="", metavar="TEXT", help="why, in your own words"
    )
    add_comparing_options(parser)
    add_output_options(parser, without=("csv",), page=_PAGE, pictures=_PICTURES)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the record; 1 if the numbers do not support the change."""
    from castsugar.comparison.claims import parse_claim

    claims = [parse_claim(text) for text in options.claim]
    asked = read_comparing(options, [options.base, options.new])
    _check_limits(asked)

    from castsugar.comparison.change import justify

    change = justify(
        *asked.mixes,
        limits=asked.limits,
        claims=claims,
        confirm=options.confirm,
        **asked.given,
    )
    with held_back() as hold:
        said = [claim.row for claim in claims]
        told = compared(asked, change.comparison, change.rows, said)
        _answer(asked, _record(asked, change, told))
        invented = bool(told.found.invented)
        drawn = _pictures(asked, change, invented=invented)
        drawn["differences"] = partial(drawing, asked, change.comparison, invented)
        complete = write_pictures(options, hold, drawn)
    if failed := exit_code(change.rows, complete=complete):
        return failed
    return 0 if change.justified else NO


def _record(asked: Comparing, change: Change, told: Compared) -> Record:
    """Return the change with what its record says beside the numbers."""
    from castsugar.report.cautions import chosen
    from castsugar.report.justify import Record

    database, before = asked.question.database, told.found.cautions.lines
    topics = ["firing", "justify"]
    plain = chosen(database.cautions, {}, topics, _TICKS + len(before)).lines
    return Record(
        told=told,
        change=change,
        reason=asked.options.reason.strip(),
        sources=database.sources,
        ticks=tuple(line for line in plain if line not in before)[:_TICKS],
    )


def _on_paper(asked: Comparing, record: Record) -> Record:
    """Return the record with the pictures of its page."""
    change, invented = record.change, bool(record.told.found.invented)
    return replace(
        record,
        firing=_on_page(asked, change, invented=invented),
        around=_still(asked, change, invented=invented),
    )


def _on_page(asked: Comparing, change: Change, *, invented: bool) -> Figure | None:
    """Return the picture of sheet 1; None without a pressure."""
    known = any(math.isfinite(row["peak_pressure_MPa"]) for row in change.rows)
    if change.conditions.motor is None or not known:
        return None
    from castsugar.plot.export import shown

    caption = "Pressure against time; the band holds 95 of 100 draws at each time."
    return shown(_firing(change, units_of(asked.options), invented=invented), caption)


def _still(asked: Comparing, change: Change, *, invented: bool) -> Figure | None:
    """Return where the two lie among limits; None where they span no plane."""
    from castsugar.plot.export import shown

    try:
        drawn = _map(asked, change, invented=invented)
    except InputError:  # the same mix twice, or two along a line
        return None
    caption = "c* of the mixes around the two, and where limits are kept or broken."
    return shown(drawn, caption)


def _answer(asked: Comparing, record: Record) -> None:
    """Say it as it was asked for."""
    from castsugar.report.justify import justify_parts, justify_screen

    screen, parts = partial(justify_screen, record), partial(justify_parts, record)
    given = delivered(asked, "justify", screen, parts, record.told)

    def paper(show: Shown) -> Screen:  # drawn after the text, which a Ctrl-C leaves
        return justify_screen(_on_paper(asked, record), show)

    answer(asked.options, replace(given, paper=paper))


def _check_limits(asked: Comparing) -> None:
    """Refuse limits on what is not computed, and name the option that is missing."""
    from castsugar.columns import COLUMN

    missing = {}
    if asked.question.kitchen is None:
        missing["kitchen"] = "--cook, or cook to [kitchen] of the bench file"
    if asked.question.motor is None:
        missing["motor"] = "[motor] to the bench file (--bench)"
    for need in asked.limits:
        group = COLUMN[need.column].group
        if group in missing:
            raise InputError(
                f"the limit on {need.column} needs a {group}; add {missing[group]}"
            )


# ----------------------------------------------------------------------------
# The pictures.


def _pictures(
    asked: Comparing, change: Change, *, invented: bool
) -> dict[str, Callable[[], Drawing]]:
    """Return what draws each picture; work is done when it is called."""
    return {
        "firing": lambda: _firing(change, units_of(asked.options), invented=invented),
        "products": lambda: _products(change, invented=invented),
        "map": lambda: _map(asked, change, invented=invented),
        "traces": lambda: _traces(asked, change, invented=invented),
    }


def _traces(asked: Comparing, change: Change, *, invented: bool) -> Drawing:
    """Draw what more or less of each ingredient of the new mix does."""
    from castsugar.plot.curves import responses_drawing

    named, outcome = _named(asked, change, invented), _around(asked, change).outcome
    return responses_drawing(outcome, asked=named, show=units_of(asked.options))


def _map(asked: Comparing, change: Change, *, invented: bool) -> Drawing:
    """Draw the mixes around the two; InputError if they are in a line."""
    from castsugar.plot.feasible import search_map_drawing

    around = _around(asked, change)
    if around.plane is None:
        raise InputError("--picture map: the two mixes lie along a line; take traces")
    return search_map_drawing(
        around.outcome,
        asked=_named(asked, change, invented),
        made=around.plane,
        show=units_of(asked.options),
    )


def _named(asked: Comparing, change: Change, invented: bool) -> Asked:
    """Return the ingredients as typed."""
    from castsugar.report.search_words import Asked

    find = asked.question.database.find
    items = [name for mix in change.mixes for name, _ in mix.recipe]
    return Asked(
        file="",
        typed={name: find(name).name for name in items},
        before="EXAMPLE: " if invented else "",
    )


def _products(change: Change, *, invented: bool) -> Drawing:
    """Draw what the chamber holds."""
    from castsugar.comparison.change import chamber_products
    from castsugar.plot.products import species_drawing

    found = chamber_products(change.mixes, change.conditions)
    return species_drawing(found, invented=invented)


def _firing(change: Change, show: Shown, *, invented: bool) -> Drawing:
    """Draw pressure against time with its band; InputError without a motor."""
    from castsugar.comparison.change import pressure_bands
    from castsugar.plot.fired import trace_drawing
    from castsugar.report.mix_words import by_name

    motor = change.conditions.motor
    if motor is None:
        raise InputError("--picture firing: add [motor] to the bench file (--bench)")
    seed = change.comparison.draws.seed
    found = pressure_bands(change.mixes, change.rows, motor, seed=seed)
    # The same mix twice has one name, and one curve.
    pairs = zip(by_name(change.mixes), found, strict=False)
    bands = [replace(one, name=name) for name, one in pairs]
    allowed = motor.allowable
    return trace_drawing(bands, allowed=allowed, show=show, invented=invented)


def _around(asked: Comparing, change: Change) -> Neighbourhood:
    """Evaluate the mixes around the two."""
    from castsugar.comparison.neighbours import neighbours_of

    base, new = change.mixes
    return neighbours_of(base, new, _settings(asked), asked.limits)


def _settings(asked: Comparing) -> Settings:
    """Return under what neighbours are judged: as the two mixes are."""
    from castsugar.optimize.settings import Settings

    read = asked.question
    recipes = [[name for name, _ in mix.recipe] for mix in asked.mixes]
    lots = read.shelf.of(asked.question.database, recipes)
    return Settings(
        items=(),
        pressure=asked.conditions.pressure,
        exit_pressure=asked.conditions.exit_pressure,
        flow=read.flow,
        water_lost=read.water_lost or 0.0,
        kitchen=read.kitchen,
        motor=read.motor,
        lots={name: lot for own in lots for name, lot in own.items()},
        alternatives=read.alternatives,
        species=read.species,
    )
