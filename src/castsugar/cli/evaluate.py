"""What ``castsugar evaluate`` says about the user's motor."""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import Shelf, add_bench_option, recipe_texts
from castsugar.cli.conditions import Shared, add_condition_options, read_conditions
from castsugar.cli.interrupt import INTERRUPTED, held_back, unconfirmed, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.output import add_output_options, deliver
from castsugar.plain import to_json
from castsugar.report.cautions import facts_of, pan_facts, topics_of

if TYPE_CHECKING:
    from castsugar.cli.interrupt import Hold
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.motor.hardware import Hardware
    from castsugar.motor.pressure_table import Firing
    from castsugar.report.text import Extra


# ----------------------------------------------------------------------------
# What ``castsugar evaluate`` says about the user's motor.

Rows = list[dict[str, Any]]


def check_trace(motor: Hardware | None) -> None:
    """Refuse a picture that could not be drawn, before any work is done."""
    from castsugar.errors import InputError

    if motor is None:
        raise InputError("--picture draws a firing; add --bench FILE with a [motor]")


def fire_rows(conditions: Shared, mixes: list[Mix], rows: Rows) -> list[Firing | None]:
    """Fire every mix that could be driven."""
    if conditions.motor is None:
        return [None] * len(rows)
    from castsugar.motor.pressure_table import firings

    return firings(conditions.motor, mixes, rows)


def motor_extra(
    conditions: Shared, rows: Rows, fired: list[Firing | None], *, ballistics: bool
) -> Extra | None:
    """Return the blocks that the motor and --ballistics add to the page."""
    from castsugar.report import motor
    from castsugar.report.layout import letters
    from castsugar.report.text import Extra

    hardware, names = conditions.motor, letters(len(rows))
    if hardware is None and not ballistics:
        return None

    def block(part: slice) -> list[str]:
        if hardware is None:
            return []
        unit = conditions.pressure.unit
        return motor.motor_lines(names[part], rows[part], fired[part], hardware, unit)

    after = motor.ballistics_lines(names, rows) if ballistics else []
    if hardware is not None:
        after += motor.motor_notes(names, rows, fired)
    return Extra(block, after)


def trace_of(conditions: Shared, mixes: list[Mix], fired: list[Firing | None]) -> str:
    """Return the chart of the firings.

    Raises
    ------
    InputError
        If no mix could be driven.
    """
    from castsugar.cli.motor_options import motor_assumptions
    from castsugar.errors import InputError
    from castsugar.report.charts import trace_chart

    known = [(m.name, f) for m, f in zip(mixes, fired, strict=True) if f is not None]
    if conditions.motor is None or not known:
        raise InputError("--picture has nothing to draw: no mix could be driven")
    names, firings = zip(*known, strict=True)
    return trace_chart(
        names, firings, conditions.motor.allowable, motor_assumptions(conditions.motor)
    )


# ----------------------------------------------------------------------------
# ``castsugar evaluate``: the performance table of some recipes.

#: Up to this many mixes the second solver is asked without being told to.
MOST_CONFIRMED = 20

_EXAMPLES = """\
A recipe is "name:amount name:amount ...", all parts by mass or all percent; a
label may lead: "mine=KNO3:65 sucrose:35". The names: castsugar ingredients.
Pressures need a unit (psi, psig, MPa, bar, barg, kPa, atm, Pa); a bare unit is
absolute.

examples:
  castsugar evaluate "KNO3:65 sucrose:35" --pressure "1000 psi"
  castsugar evaluate "KNO3:60 sugar:20 corn syrup:20" "KNO3:65 sucrose:35"
  castsugar evaluate "KNO3:60 sugar:20 corn syrup:20" --water-lost 0.2 --csv
  castsugar evaluate "KNO3:65 sorbitol:35" --alternative "sorbitol=polyol cycle"
  castsugar evaluate base --bench bench.toml --picture firing.svg
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "evaluate",
        help="flame temperature, c*, specific impulse and more of some recipes",
        description="Compute the ideal performance of recipes.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipes",
        nargs="+",
        metavar="RECIPE",
        help="one or more recipes, or names of [recipes]",
    )
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions)
    add_kitchen_options(conditions)
    parser.add_argument(
        "--species",
        action="store_true",
        help="show the main species in chamber, throat and exit",
    )
    parser.add_argument(
        "--ballistics",
        action="store_true",
        help="show what a ballistics calculation takes as input, with bands",
    )
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="solve every mix again with Cantera (default: up to 20 mixes)",
    )
    drawn = {"trace": "pressure and thrust against time, with a motor"}
    add_output_options(parser, "json", "csv", pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Evaluate the recipes and print the table."""
    from castsugar.data.load import load_database

    database = load_database()
    conditions = read_conditions(options, database)
    if options.ballistics and conditions.flow != "frozen":
        conditions = replace(conditions, uncertainty=True)
    if options.picture:
        check_trace(conditions.motor)
    mixes = weigh_recipes(
        database,
        options.recipes,
        water_lost=conditions.water_lost or 0.0,
        alternatives=conditions.alternatives,
        shelf=conditions.shelf,
    )

    with held_back() as hold:
        rows = _evaluated(options, conditions, mixes, hold)
        fired = fire_rows(conditions, mixes, rows)
        deliver(options, _render(options, database, conditions, mixes, rows, fired))
        draw = partial(trace_of, conditions, mixes, fired)
        drawn = write_pictures(options, hold, {"trace": draw})
    if unconfirmed(rows) or not drawn:
        return INTERRUPTED
    failed = any(str(r["status"]).startswith("no convergence") for r in rows)
    return 3 if failed else 0


def _evaluated(
    options: argparse.Namespace, conditions: Shared, mixes: list[Mix], hold: Hold
) -> list[dict[str, Any]]:
    """Return the rows of the mixes; Ctrl-C leaves those that are not confirmed yet."""
    from castsugar.confirmation import UnconfirmedError
    from castsugar.evaluation import evaluate_columns
    from castsugar.rows import records

    confirm = options.confirm
    if confirm is None:
        confirm = len(mixes) <= MOST_CONFIRMED
    try:
        with hold.work():
            given = conditions.evaluate_options()
            columns = evaluate_columns(mixes, confirm=confirm, **given)
    except UnconfirmedError as stopped:
        columns = stopped.columns
    return records(columns)


def _render(
    options: argparse.Namespace,
    database: Database,
    conditions: Shared,
    mixes: list[Mix],
    rows: list[dict[str, Any]],
    fired: list[Firing | None],
) -> str:
    """Return the result as CSV, JSON or text."""
    from castsugar.report import data, text

    if options.csv:
        return data.to_csv(rows, list(rows[0]))
    topics = topics_of(["evaluate"], conditions.kitchen, conditions.motor)
    pan = pan_facts(kitchen=conditions.kitchen, bench=conditions.shelf.bench)
    facts = facts_of(pan, mixes, rows, conditions.motor, fired)
    cautions = database.cautions_for(topics, facts)
    species = _species(conditions, mixes, rows) if options.species else []
    assumed = [*unconfirmed(rows), *conditions.assumptions()]
    if not options.json:
        ballistics = options.ballistics
        extra = motor_extra(conditions, rows, fired, ballistics=ballistics)
        return text.performance_table(rows, assumed, cautions, species, extra)
    document: dict[str, Any] = {
        "schema": "castsugar.evaluate/1",
        "versions": data.versions(database.version),
        "assumptions": {**conditions.to_dict(), "notes": assumed},
        "mixes": rows,
        "recipes": [m.to_dict() for m in mixes],
        "cautions": [c.text for c in cautions],
    }
    if conditions.motor:
        from castsugar.report.motor import firing_rows

        document["case_may_hold_MPa"] = 1e-6 * conditions.motor.allowable
        document["firings"] = [firing_rows(f) for f in fired]
    if options.species:
        document["species_chamber_throat_exit_mol_kg"] = species
    return to_json(document)


def _species(
    conditions: Shared, mixes: list[Mix], rows: list[dict[str, Any]]
) -> list[dict[str, list[float]]]:
    """Return the main species of every mix that burns, station by station."""
    from castsugar.evaluation import performance

    found: list[dict[str, list[float]]] = []
    for mix, row in zip(mixes, rows, strict=True):
        if row["status"] != "ok":
            found.append({})
            continue
        solution = performance(
            mix,
            pressure=conditions.pressure.value,
            exit_pressure=conditions.leaving.value if conditions.leaving else None,
            flow=conditions.flow,
            species=conditions.species,
        )
        names = dict.fromkeys(n for s in solution.states for n in s.main_species())
        found.append({n: [s.amount(n) for s in solution.states] for n in names})
    return found


def weigh_recipes(
    database: Database,
    recipes: list[str],
    *,
    water_lost: float = 0.0,
    alternatives: dict[str, str] | None = None,
    shelf: Shelf | None = None,
) -> list[Mix]:
    """Read recipes as typed; an error says which one it was.

    Names in the bench file of the shelf stand for recipes.
    """
    from castsugar.errors import CastsugarError
    from castsugar.mix.mix import Mix
    from castsugar.mix.text import parse_recipe

    places = [
        f"recipe {count}" if len(recipes) > 1 else "recipe"
        for count in range(1, len(recipes) + 1)
    ]
    shelf = shelf or Shelf()
    texts, names = recipe_texts(recipes, shelf.bench)
    parsed = [
        parse_recipe(typed, where=where)
        for typed, where in zip(texts, places, strict=True)
    ]
    parts = [[name for name, _ in recipe.parts] for recipe in parsed]
    known = shelf.of(database, parts)
    mixes = []
    for recipe, name, where, own in zip(parsed, names, places, known, strict=True):
        try:
            mix = Mix.weigh(
                recipe,
                name=name,
                water_lost=water_lost,
                lots=own,
                alternatives=alternatives,
                database=database,
            )
        except CastsugarError as error:
            raise type(error)(f"{where}: {error}") from None
        mixes.append(mix)
    return mixes
