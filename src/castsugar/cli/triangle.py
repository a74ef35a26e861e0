"""Read steps, fixed parts and marks of a map."""

from __future__ import annotations

import argparse
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.cli.bench_option import add_bench_option, recipe_texts
from castsugar.cli.conditions import add_condition_options, read_conditions
from castsugar.cli.interrupt import INTERRUPTED, held_back, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options, heat_words
from castsugar.cli.many import (
    Rows,
    add_many_options,
    evaluate_many,
    withheld,
    write_table,
)
from castsugar.cli.motor_options import motor_words
from castsugar.cli.output import remarked, show
from castsugar.data.load import Database
from castsugar.errors import InputError
from castsugar.mix import refusals
from castsugar.mix.text import parse_recipe

if TYPE_CHECKING:
    from castsugar.columns import Column


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
        "The second solver is not asked.",
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
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions)
    add_kitchen_options(conditions)
    add_many_options(parser, "map")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compute the triangle and write what was asked for."""
    from castsugar import numerics
    from castsugar.cli.choice import add_window, check_asked, read_column
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
    marks = _marks(database, wanted, options.ingredients, fixed, total)
    blends = put_together(
        items,
        fractions,
        water_lost=conditions.water_lost or 0.0,
        lots=conditions.lots_for(database, items),
        alternatives=conditions.alternatives,
        database=database,
    )
    plan = Triangle(
        corners=tuple(options.ingredients),
        fractions=triangle,
        total=total,
        fixed=fixed,
        marks=marks,
    )
    names = [f"{item}_mass_percent" for item in items]
    conditions = conditions.for_table(len(blends))
    with held_back() as hold:
        rows, complete = evaluate_many(blends, conditions, options.workers, hold)
        outside = zip(fractions, rows, blends.outside, strict=True)
        rows = [
            dict(zip(names, 100.0 * shares, strict=True))
            | (withheld(row) if out else row)
            for shares, row, out in outside
        ]
        if conditions.kitchen is not None:
            add_window(rows)
        write_table(options, rows)
        notes = conditions.picture_notes([column])
        notes += [] if complete else ["INCOMPLETE: interrupted"]
        draw = partial(ternary, plan, rows, column, notes)
        drawn = write_pictures(options, hold, {"map": draw})
        text = _summary(rows, column, complete=complete)
        text += conditions.draws_words(len(blends))
        text = remarked(options, text) + heat_words(conditions.kitchen, database)
        text += motor_words(conditions.motor, [column], rows, blends, database)
        show(options, text)
    return 0 if complete and drawn else INTERRUPTED


def _marks(
    database: Database,
    typed: list[str],
    corners: list[str],
    fixed: dict[str, float],
    total: float,
) -> list[tuple[str, tuple[float, float, float]]]:
    """Read the recipes to mark, as shares of the triangle."""
    return [read_mark(database, text, corners, fixed, total) for text in typed]


def _summary(rows: Rows, column: Column, *, complete: bool) -> str:
    """Say in a few lines what was found."""
    from castsugar.report.kitchen import column_text
    from castsugar.report.layout import wrapped
    from castsugar.report.maps import drawn

    fine = [r for r in rows if r["status"] == "ok"]
    cold = sum(r["status"] == "cold" for r in rows)
    rest = len(rows) - len(fine) - cold
    lines = [
        f"{len(rows):,} mixes: {len(fine):,} computed, {cold:,} do not burn by this "
        f"model, {rest:,} not computed; second solver not asked"
    ]
    if not complete:
        lines.append("INCOMPLETE: interrupted; the rows left say so in their status")
    doubtful = ("freezing", "flame below")
    usable = [r for r in fine if not any(word in r["flags"] for word in doubtful)]
    usable = [r for r in usable if drawn(column, float(r[column.key]))]
    if usable:
        for word, choose in (("largest", max), ("smallest", min)):
            row = choose(usable, key=lambda r: float(r[column.key]))
            value = f"{column_text(column, row[column.key])} {column.unit}".rstrip()
            lines += wrapped(
                f"{word} {column.label}: {value} at {row['name']}", "  ", ""
            )
        lines.append(
            "rows flagged for freezing at the throat or a faint flame left out"
        )
    return "\n".join(lines) + "\n"
