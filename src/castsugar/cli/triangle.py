"""``castsugar map``: all mixes of three ingredients, judged and on one picture."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.cli.bench_option import recipe_texts
from castsugar.cli.conditions import read_conditions
from castsugar.cli.many import (
    Rows,
    add_many_options,
    answer_many,
    next_of,
    picture_notes,
    said_of_bench,
)
from castsugar.data.load import Database
from castsugar.errors import InputError
from castsugar.mix import refusals
from castsugar.mix.text import parse_recipe

if TYPE_CHECKING:
    from castsugar.report.shown import Shown
    from castsugar.report.sweep import Many

# ----------------------------------------------------------------------------
# Read steps, fixed parts and marks of a map.


def read_step(text: str) -> float:
    """Read a step as a fraction; it must divide 1."""
    step = plausible.read(text, "step of a map", where="--step").value
    if abs(1.0 / step - round(1.0 / step)) > 1e-6:
        raise InputError(
            f"--step {text!r} does not divide 100 %; write for example 1% or 2%"
        )
    return step


def read_fixed(
    database: Database, words: list[str], corners: list[str]
) -> dict[str, float]:
    """Read ``NAME:PERCENT`` options as mass fractions of the whole."""
    for corner in corners:
        refusals.check_bound(database, corner, 1.0)
    names = [database.find(corner).name for corner in corners]
    if len(set(names)) < len(names):
        raise InputError(
            f"{', '.join(corners)} are not three different ingredients; name each once"
        )
    fixed: dict[str, float] = {}
    for word in words:
        name, colon, amount = word.rpartition(":")
        if not (colon and name.strip()):
            raise InputError(
                f"--with {word!r} is not of the form NAME:PERCENT; write for example "
                "'red iron oxide:1%'"
            )
        known = database.find(name.strip()).name
        if known in names:
            raise InputError(f"--with {name.strip()!r} is among the three already")
        names.append(known)
        share = plausible.read(amount, "share of the mix", where="--with").value
        refusals.check_bound(database, known, share)
        fixed[name.strip()] = share
    taken = sum(fixed.values())
    if taken >= 1.0:
        raise InputError(f"--with takes {taken:.0%}; nothing is left for the three")
    return fixed


def read_mark(
    database: Database,
    text: str,
    corners: list[str],
    fixed: dict[str, float],
    total: float,
) -> tuple[str, tuple[float, float, float]]:
    """Read a recipe to mark, as shares of the triangle.

    It must consist of the three ingredients and the fixed parts, these within 0.5
    percent of the whole.
    """
    recipe = parse_recipe(text, where="--mark")
    whole = sum(amount for _, amount in recipe.parts)
    shares = {database.find(n).name: a / whole for n, a in recipe.parts}
    names = [database.find(c).name for c in corners]
    wanted = {database.find(n).name: share for n, share in fixed.items()}
    strange = [n for n in shares if n not in names and n not in wanted]
    off = [n for n, share in wanted.items() if abs(shares.get(n, 0.0) - share) > 0.005]
    if strange or off:
        raise InputError(
            f"--mark {text!r} does not lie on this map: {', '.join(strange + off)} "
            "differ from its three ingredients and fixed parts"
        )
    a, b, c = (shares.get(n, 0.0) / total for n in names)
    return recipe.name or recipe.text, (a, b, c)


# ----------------------------------------------------------------------------
# ``castsugar map``: the whole triangle of three ingredients on one picture.

_EXAMPLES = """\
examples:
  castsugar map KNO3 "powdered sugar" "corn syrup" --step 2% --picture map.svg
  castsugar map KNO3 sucrose water --with "red iron oxide:1%" --csv map.csv
  castsugar map KNO3 sorbitol sucrose --show flame_temperature \\
      --mark "mine=KNO3:65 sorbitol:35" --picture flame.svg
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "map",
        help="three ingredients against each other, as a picture and a table",
        description="Compute every mix of three ingredients on a triangular lattice.\n"
        "The independent check is not asked.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "ingredients",
        nargs=3,
        metavar="INGREDIENT",
        help="three names; see castsugar ingredients",
    )
    parser.add_argument(
        "--step",
        default="2%",
        metavar="SHARE",
        help="distance of the lattice points (default 2%%)",
    )
    parser.add_argument(
        "--with",
        dest="fixed",
        action="append",
        default=[],
        metavar="NAME:PERCENT",
        help="a further ingredient, fixed, in percent of the whole; may be repeated",
    )
    parser.add_argument(
        "--show",
        default="characteristic_velocity",
        metavar="COLUMN",
        help="what the picture shows (default characteristic_velocity)",
    )
    parser.add_argument(
        "--mark",
        action="append",
        default=[],
        metavar="RECIPE",
        help="a recipe to draw and name on the picture; may be repeated",
    )
    add_many_options(parser, "map")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compute the triangle and write what was asked for."""
    from castsugar import numerics
    from castsugar.cli.choice import check_asked, read_column
    from castsugar.data.load import load_database
    from castsugar.mix.blends import put_together
    from castsugar.report.maps import Triangle, ternary

    database = load_database()
    conditions = read_conditions(options, database)
    column = read_column(options.show)
    check_asked([column], conditions.kitchen, conditions.motor)
    step = read_step(options.step)
    fixed = read_fixed(database, options.fixed, options.ingredients)
    total = 1.0 - sum(fixed.values())
    triangle = numerics.triangle(step)
    items = [*options.ingredients, *fixed]
    fractions = numerics.with_fixed(triangle, total, list(fixed.values()))
    wanted = recipe_texts(options.mark, conditions.shelf.bench)[0]
    corners = options.ingredients
    marks = [read_mark(database, text, corners, fixed, total) for text in wanted]
    blends = put_together(
        items,
        fractions,
        water_lost=conditions.water_lost or 0.0,
        lots=conditions.lots_for(database, items),
        alternatives=conditions.alternatives,
        database=database,
    )

    def more(rows: Rows, keys: tuple[str, ...]) -> dict[str, Any]:
        title = (
            f"map: {len(rows):,} mixes of {', '.join(items)} in steps of "
            f"{100.0 * step:.6g} %"
        )
        return {
            "title": title + said_of_bench(options),
            "columns": (column,),
            "next": next_of(options, conditions, rows),
        }

    def draw(found: Many, show: Shown) -> str:
        plan = Triangle(
            corners=tuple(options.ingredients),
            fractions=triangle,
            total=total,
            fixed=fixed,
            marks=marks,
            before="EXAMPLE: " if found.invented else "",
        )
        return ternary(plan, found.rows, column, picture_notes(found, show), show)

    return answer_many(options, conditions, (items, fractions, blends), more, draw)
