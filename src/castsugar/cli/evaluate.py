"""``castsugar evaluate``: the performance table of some recipes."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar.cli.output import add_output_options, deliver

if TYPE_CHECKING:
    from castsugar.database import Database
    from castsugar.mix import Mix
    from castsugar.units import Quantity

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
    parser.add_argument("recipes", nargs="+", metavar="RECIPE", help="one or more")
    parser.add_argument(
        "--pressure",
        default="1000 psi",
        help='chamber pressure with unit (default "1000 psi")',
    )
    parser.add_argument(
        "--exit-pressure",
        default="1 atm",
        help='pressure at the nozzle exit with unit (default "1 atm"), or "none" for '
        "the chamber only",
    )
    parser.add_argument(
        "--flow",
        default="equilibrium",
        metavar="KIND",
        help="equilibrium, frozen or no-solidification (default equilibrium)",
    )
    parser.add_argument(
        "--water-lost",
        default="0",
        metavar="SHARE",
        help="share of the recipe's water that leaves before the cast, 0 to 1 or in "
        "percent (default 0)",
    )
    parser.add_argument(
        "--alternative",
        action="append",
        default=[],
        metavar="INGREDIENT=NAME",
        help="use a rival enthalpy of formation; may be repeated",
    )
    parser.add_argument(
        "--species",
        action="store_true",
        help="show the main species in chamber, throat and exit",
    )
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="solve every mix again with Cantera (default: up to 20 mixes)",
    )
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Evaluate the recipes and print the table."""
    from castsugar.database import load_database

    database = load_database()
    asked = _read(options, database)

    from castsugar.evaluation import evaluate

    confirm = options.confirm
    if confirm is None:
        confirm = len(asked.mixes) <= MOST_CONFIRMED
    table = evaluate(
        asked.mixes,
        pressure=asked.pressure.value,
        exit_pressure=asked.leaving.value if asked.leaving else None,
        flow=options.flow,
        confirm=confirm,
    )
    rows = [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]
    deliver(options, _render(options, database, asked, rows))
    failed = any(str(r["status"]).startswith("no convergence") for r in rows)
    return 3 if failed else 0


@dataclass(frozen=True, slots=True)
class _Asked:
    """What was typed, read."""

    mixes: list[Mix]
    pressure: Quantity
    leaving: Quantity | None
    water_lost: float


def _read(options: argparse.Namespace, database: Database) -> _Asked:
    """Read the words of the command line."""
    from castsugar import units

    pressure = units.parse(options.pressure, "pressure", where="--pressure")
    leaving = None
    if options.exit_pressure.strip().lower() != "none":
        leaving = units.parse(
            options.exit_pressure, "pressure", where="--exit-pressure"
        )
    lost = units.parse(options.water_lost, "fraction", where="--water-lost").value
    rivals = _alternatives(options.alternative)
    mixes = read_mixes(database, options.recipes, lost, rivals)
    return _Asked(mixes, pressure, leaving, lost)


def _render(
    options: argparse.Namespace,
    database: Database,
    asked: _Asked,
    rows: list[dict[str, Any]],
) -> str:
    """Return the result as CSV, JSON or text."""
    from castsugar.columns import COLUMNS
    from castsugar.report import data, text

    if options.csv:
        return data.to_csv(rows, [c.key for c in COLUMNS])
    assumed = _assumptions(options, asked)
    facts = {
        "water_as_cast": max(r["water_as_cast_percent"] for r in rows),
        "inert_fraction": max(100.0 * m.inert_fraction for m in asked.mixes),
    }
    cautions = database.cautions_for("evaluate", facts)
    species = _species(options, asked, rows) if options.species else []
    if not options.json:
        return text.performance_table(rows, assumed, cautions, species)
    document = {
        "schema": "castsugar.evaluate/1",
        "versions": data.versions(database.version),
        "assumptions": {
            "chamber_pressure_Pa": asked.pressure.value,
            "exit_pressure_Pa": asked.leaving.value if asked.leaving else None,
            "flow": options.flow,
            "water_lost": asked.water_lost,
            "notes": assumed,
        },
        "mixes": rows,
        "recipes": [m.to_dict() for m in asked.mixes],
        "cautions": [c.text for c in cautions],
    }
    if options.species:
        document["species_chamber_throat_exit_mol_kg"] = species
    return data.to_json(document)


def _species(
    options: argparse.Namespace, asked: _Asked, rows: list[dict[str, Any]]
) -> list[dict[str, list[float]]]:
    """Return the main species of every mix that burns, station by station."""
    from castsugar.evaluation import performance

    found: list[dict[str, list[float]]] = []
    for mix, row in zip(asked.mixes, rows, strict=True):
        if row["status"] != "ok":
            found.append({})
            continue
        solution = performance(
            mix,
            pressure=asked.pressure.value,
            exit_pressure=asked.leaving.value if asked.leaving else None,
            flow=options.flow,
        )
        names = dict.fromkeys(n for s in solution.states for n in s.main_species())
        found.append({n: [s.amount(n) for s in solution.states] for n in names})
    return found


def read_mixes(
    database: Database,
    recipes: list[str],
    water_lost: float,
    alternatives: dict[str, str],
) -> list[Mix]:
    """Read recipes as typed; an error says which one it was."""
    from castsugar.errors import CastsugarError
    from castsugar.mix import Mix
    from castsugar.recipe import parse_recipe

    mixes = []
    for count, typed in enumerate(recipes, start=1):
        where = f"recipe {count}" if len(recipes) > 1 else "recipe"
        recipe = parse_recipe(typed, where=where)
        try:
            mix = Mix.weigh(
                dict(recipe.parts),
                name=recipe.name or recipe.text,
                basis=recipe.basis,
                water_lost=water_lost,
                alternatives=alternatives,
                database=database,
            )
        except CastsugarError as error:
            raise type(error)(f"{where}: {error}") from None
        mixes.append(mix)
    return mixes


def _alternatives(words: list[str]) -> dict[str, str]:
    """Read ``INGREDIENT=NAME`` options."""
    from castsugar.errors import InputError

    found = {}
    for word in words:
        name, equals, rival = word.partition("=")
        if not (equals and name.strip() and rival.strip()):
            raise InputError(
                f"--alternative {word!r} is not of the form INGREDIENT=NAME; write for "
                "example 'sorbitol=polyol cycle'"
            )
        found[name.strip()] = rival.strip()
    return found


def _assumptions(options: argparse.Namespace, asked: _Asked) -> list[str]:
    """Say what was assumed, with the units as typed beside SI."""
    from castsugar.thermo.flow import FLOWS

    pressure, leaving = asked.pressure, asked.leaving
    lines = [f"chamber {pressure.echo()} ({pressure.value / 1e6:.4g} MPa)"]
    if leaving is not None:
        lines[0] += (
            f"; optimum expansion to {leaving.echo()} ({leaving.value / 1e3:.4g} kPa)"
        )
        lines.append(f"flow {options.flow}: {FLOWS[options.flow]}")
    lines.append(
        f"{100 * asked.water_lost:g} % of the recipe's water leaves before the cast; "
        "the rest takes part in the burning"
    )
    lines.append(
        "ingredients at 25 C; ideal gas; condensed products without volume, as warm "
        "and as fast as the gas"
    )
    lines += [
        f"enthalpy of {word.replace('=', ': rival value ')}"
        for word in options.alternative
    ]
    lines.append(
        "small motors deliver clearly less than this; a firing with pressure and "
        "propellant mass measures how much"
    )
    return lines
