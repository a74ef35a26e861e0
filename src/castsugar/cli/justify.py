"""The pictures of a change record: decide works them out, report draws them."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from castsugar.cli.comparing import (
    Comparing,
    add_comparing_options,
    read_comparing,
)
from castsugar.cli.documents import asked_of, deliver_document
from castsugar.cli.interrupt import INTERRUPTED, NOT_DRAWN, Hold, held_back, unconfirmed

if TYPE_CHECKING:
    from collections.abc import Callable

    from castsugar.comparison.change import Change
    from castsugar.comparison.neighbours import Neighbourhood
    from castsugar.optimize.task import Settings
    from castsugar.report.blocks.model import Figure
    from castsugar.report.change.document import Pictures
    from castsugar.report.search_words import Asked


# ----------------------------------------------------------------------------
# The pictures of a change record: decide works them out, report draws them.


def pictures_of(asked_for: Comparing, change: Change, hold: Hold) -> Pictures:
    """Draw what can be drawn; what cannot says why.

    Parameters
    ----------
    asked_for : Comparing
    change : Change
    hold : Hold
        Ctrl-C ends the drawing; what was drawn by then is returned.
    """
    from castsugar.report.change.document import Pictures

    done: dict[str, Any] = {}
    missing: list[str] = []
    try:
        with hold.work():
            _draw(asked_for, change, done, missing)
    except KeyboardInterrupt:
        missing.append(NOT_DRAWN)
    return Pictures(**done, missing=tuple(missing))


def _draw(
    asked_for: Comparing, change: Change, done: dict[str, Any], missing: list[str]
) -> None:
    """Draw one picture after the other into `done`."""
    from castsugar.errors import InputError
    from castsugar.report.what_if import what_if

    def drawn(key: str, name: str, draw: Callable[[], Figure | None]) -> None:
        try:
            done[key] = draw()
        except InputError as error:
            missing.append(f"no picture of {name}: {error}")

    drawn("species", "the products", lambda: _species(change))
    drawn("firing", "pressure against time", lambda: _firing(change))
    try:
        around = _around(asked_for, change)
    except InputError as error:
        missing.append(f"no map of neighbours: {error}")
        return
    names = _names(asked_for, change)
    drawn("map", "the map", lambda: _map(around, names))
    drawn("traces", "one ingredient more or less", lambda: _traces(around, names))
    done["what_if"] = what_if(around, asked=names)


def _around(asked_for: Comparing, change: Change) -> Neighbourhood:
    """Evaluate the mixes around the two."""
    from castsugar.comparison.neighbours import neighbours_of

    base, new = change.mixes
    return neighbours_of(base, new, _settings(asked_for), asked_for.limits)


def _settings(asked_for: Comparing) -> Settings:
    """Return under what neighbours are judged: as the two mixes are."""
    from castsugar.optimize.task import Settings

    read = asked_for.read
    kitchen, motor = read.kitchen, read.motor
    recipes = [[name for name, _ in mix.recipe] for mix in asked_for.mixes]
    lots = read.shelf.of(asked_for.database, recipes)
    return Settings(
        items=(),
        pressure=asked_for.conditions.pressure,
        exit_pressure=asked_for.conditions.exit_pressure,
        flow=read.flow,
        water_lost=read.water_lost or 0.0,
        kitchen=kitchen,
        motor=motor,
        lots={name: lot for own in lots for name, lot in own.items()},
        alternatives=read.alternatives,
        species=read.species,
    )


def _names(asked_for: Comparing, change: Change) -> Asked:
    """Return the ingredients as they were typed."""
    from castsugar.mix import weighing
    from castsugar.report.search_words import Asked

    typed = {
        name: weighing.item_name(asked_for.database, name)
        for mix in change.mixes
        for name, _ in mix.recipe
    }
    return Asked(file="", typed=typed, pressure=asked_for.read.pressure.unit)


def _map(around: Neighbourhood, names: Asked) -> Figure | None:
    """Draw the triangle with the limits and the two mixes; none along a line."""
    from castsugar.report.blocks.model import Figure
    from castsugar.report.search_map import search_map

    if around.plane is None:
        return None
    return Figure(
        svg=search_map(around.outcome, asked=names, made=around.plane),
        caption="Mixes around the two, with the limits: c* as shades and lines.",
    )


def _traces(around: Neighbourhood, names: Asked) -> Figure:
    """Draw each ingredient of the new mix along its own direction."""
    from castsugar.report.blocks.model import Figure
    from castsugar.report.search_trace import trace_plot

    return Figure(
        svg=trace_plot(around.outcome, asked=names),
        caption="From the new mix: one ingredient more or less, the others in ratio.",
    )


def _species(change: Change) -> Figure:
    """Draw the main products in the chamber."""
    from castsugar.comparison.change import chamber_products
    from castsugar.report.blocks.model import Figure
    from castsugar.report.species_bars import species_bars

    found = chamber_products(change.mixes, change.conditions)
    return Figure(
        svg=species_bars(found),
        caption="Main products in the chamber, in percent of the mass.",
    )


def _firing(change: Change) -> Figure | None:
    """Draw pressure against time with its band; none without a motor."""
    from castsugar.comparison.change import pressure_bands
    from castsugar.motor.case import allowable_pressure
    from castsugar.report.blocks.model import Figure
    from castsugar.report.firing_band import BY_NUMBERS, BY_RATING, firing_band_chart

    motor = change.conditions.motor
    if motor is None:
        return None
    bands = pressure_bands(change.mixes, change.rows, motor)
    limit, name = math.nan, BY_NUMBERS
    if motor.case is not None:
        found = allowable_pressure(motor.case)
        limit = found.pressure if math.isfinite(found.pressure) else math.nan
        name = BY_RATING if found.rule.startswith("rated") else BY_NUMBERS
    return Figure(
        svg=firing_band_chart(bands, limit=limit, limit_name=name),
        caption="Quasi-steady; 95 of 100 draws of burn law and motor lie in the band.",
    )


# ----------------------------------------------------------------------------
# ``castsugar justify``: the record of a change of mix, with evidence.

NO = 1

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
        help="a change of mix on one page: what it does, how sure, on what evidence",
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
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the record; 1 if the numbers do not support the change."""
    from castsugar.comparison.claims import parse_claim

    claims = [parse_claim(text) for text in options.claim]
    asked_for = read_comparing(options, [options.base, options.new])
    _check_limits(asked_for)

    from castsugar.comparison.change import justify
    from castsugar.report.change.document import change_document
    from castsugar.report.change.rows import change_rows

    base, new = asked_for.mixes
    change = justify(
        base,
        new,
        conditions=asked_for.conditions,
        doubts=asked_for.doubts,
        limits=asked_for.limits,
        claims=claims,
        scale_step=asked_for.scale_step,
        draws=asked_for.draws,
        seed=asked_for.seed,
        confirm=options.confirm,
    )

    with held_back() as hold:
        pictures, marks = None, unconfirmed(change.rows)
        if options.page:
            pictures = _pictures(asked_for, change, hold)
            marks += [NOT_DRAWN] if NOT_DRAWN in pictures.missing else []
        asked = asked_of(
            asked_for,
            reason=options.reason.strip(),
            topics=["evaluate", "justify"],
            rows=change.rows,
            notes=marks,
        )
        document = change_document(change, asked, pictures)
        deliver_document(options, document, change_rows(change, asked))
    if marks:
        return INTERRUPTED
    if any(str(row["status"]).startswith("no convergence") for row in change.rows):
        return 3
    return 0 if change.justified else NO


def _check_limits(asked_for: Comparing) -> None:
    """Refuse limits on what is not computed, and name the option that is missing."""
    from castsugar.columns import COLUMN
    from castsugar.errors import InputError

    missing = {}
    if asked_for.read.kitchen is None:
        missing["kitchen"] = "--cook, or cook to [kitchen] of the bench file"
    if asked_for.read.motor is None:
        missing["motor"] = "[motor] to the bench file (--bench)"
    for need in asked_for.limits:
        group = COLUMN[need.column].group
        if group in missing:
            raise InputError(
                f"the limit on {need.column} needs a {group}; add {missing[group]}"
            )


def _pictures(asked_for: Comparing, change: Change, hold: Hold) -> Pictures:
    """Draw what belongs on the page."""
    return pictures_of(asked_for, change, hold)
