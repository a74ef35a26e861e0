"""``castsugar sweep``: one ingredient runs, the others keep their ratio."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar.asked import recipe_texts
from castsugar.cli.bench_option import BENCH
from castsugar.cli.conditions import read_conditions
from castsugar.cli.many import (
    add_many_options,
    answer_many,
    next_of,
    picture_notes,
    said_of_bench,
)

if TYPE_CHECKING:
    from castsugar.asked import Question
    from castsugar.mix.blends import Rule
    from castsugar.plot.sheet import Drawing
    from castsugar.report.shown import Shown
    from castsugar.report.sweep import Many

_EXAMPLES = """\
examples:
  castsugar sweep "KNO3:65 sucrose:35" --vary KNO3 --picture sweep.svg
  castsugar sweep "KNO3:60 sugar:20 corn syrup:20" --vary "corn syrup" \\
      --from 10% --to 35% --csv syrup.csv
  castsugar sweep "KNO3:65 sorbitol:35" --vary KNO3 --uncertainty \\
      --show flame_temperature --show characteristic_velocity \\
      --picture rivals.svg
"""

#: What the chart shows where nothing is asked for.
_DRAWN = ("flame_temperature", "characteristic_velocity")

#: Below this chance of pouring nowhere, the syrup is what to look at.
_SELDOM = 0.85

#: Most mixes in one sweep.
MOST = 20001


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "sweep",
        description="Let one ingredient of a recipe run; the others keep their ratio.\n"
        "The independent check is not asked.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    parser.add_argument(
        "--vary", required=True, metavar="INGREDIENT", help="the one that runs"
    )
    parser.add_argument(
        "--from", dest="low", default="50%", metavar="SHARE", help="default 50%%"
    )
    parser.add_argument(
        "--to", dest="high", default="80%", metavar="SHARE", help="default 80%%"
    )
    parser.add_argument("--step", default="0.5%", metavar="SHARE", help="default 0.5%%")
    parser.add_argument(
        "--show",
        action="append",
        default=[],
        metavar="COLUMN",
        help="what table and chart show; may be repeated (default flame_temperature "
        "and characteristic_velocity)",
    )
    add_many_options(parser, "chart")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compute the sweep and write what was asked for."""
    from castsugar.cli.choice import check_asked, read_column
    from castsugar.data.load import load_database
    from castsugar.mix.blends import Line, Rule
    from castsugar.mix.text import parse_recipe

    database = load_database()
    conditions = read_conditions(options, database)
    columns = tuple(read_column(name) for name in options.show)
    check_asked(columns, conditions.kitchen, conditions.motor)
    bench = conditions.shelf.bench
    (typed,), (name,) = recipe_texts([options.recipe], bench)
    recipe = parse_recipe(typed, where="recipe")
    items = [name for name, _ in recipe.parts]
    index = _which(database, items, options.vary)
    values = _values(options)
    whole = sum(amount for _, amount in recipe.parts)
    recipe_of = tuple(amount / whole for _, amount in recipe.parts)
    rule = Rule(
        items=tuple(items),
        points=Line(recipe=recipe_of, index=index, values=tuple(values.tolist())),
        water_lost=conditions.water_lost or 0.0,
        lots=conditions.lots_for(database, items),
        alternatives=conditions.alternatives,
        process="" if bench is None else bench.processes.get(name, ""),
    )
    drawn = columns or tuple(map(read_column, _DRAWN))

    def more(found: Many) -> dict[str, Any]:
        title = (
            f"sweep: {items[index]} from {_percent(values[0])} to "
            f"{_percent(values[-1])} % of {options.recipe}, the rest in proportion"
        )
        return {
            "title": title + said_of_bench(options),
            "varied": found.shares[index],
            "columns": columns,
            "next": _next(options, conditions, rule, index, found),
        }

    def draw(found: Many, show: Shown) -> Drawing:
        from castsugar.plot.curves import sweep_drawing

        before = "EXAMPLE: " if found.invented else ""
        title = f"{before}{items[index]} against the rest of {options.recipe}"
        return sweep_drawing(found, drawn, title, picture_notes(found, show), show)

    return answer_many(options, conditions, rule, more, draw)


def _percent(share: float) -> str:
    return f"{100.0 * share:.6g}"


def _next(
    options: argparse.Namespace,
    conditions: Question,
    rule: Rule,
    index: int,
    found: Many,
) -> str:
    """Return what to do next: where nothing pours, let the syrup run."""
    from castsugar.data.records import Syrup

    items, find = rule.items, conditions.database.find
    syrups = [name for name in items if isinstance(find(name), Syrup)]
    seldom = bool((found.values("pours_probability") < _SELDOM).all())
    if seldom and syrups and items[index] != syrups[0]:
        words = ["sweep", options.recipe, "--vary", syrups[0], "--from", "15%"]
        words += ["--to", "35%"]
        if options.bench not in (None, BENCH):
            words += ["--bench", options.bench]
        return "castsugar " + " ".join(_quoted(word) for word in words)
    return next_of(options, conditions, rule, found)


def _quoted(word: str) -> str:
    return f'"{word}"' if " " in word else word


def _which(database: Any, items: list[str], vary: str) -> int:
    """Return the position of the ingredient that runs."""
    from castsugar.errors import InputError, unknown_name

    names = [database.find(item).name for item in items]
    if len(items) < 2:
        raise InputError("a sweep needs a recipe of at least two ingredients")
    wanted = database.find(vary).name
    if wanted not in names:
        raise unknown_name(
            "ingredient of the recipe", vary, items, database.offered(vary, items)
        )
    return names.index(wanted)


def _values(options: argparse.Namespace) -> Any:
    """Return the shares of the ingredient that runs."""
    import numpy as np

    from castsugar import plausible
    from castsugar.errors import InputError

    low, high, step = (
        plausible.read(text, name, where=where).value
        for text, name, where in (
            (options.low, "share of the mix", "--from"),
            (options.high, "share of the mix", "--to"),
            (options.step, "step of a sweep", "--step"),
        )
    )
    if not low < high < 1.0:
        raise InputError(
            f"--from {options.low} --to {options.high} is no range; give 0 <= from < "
            "to < 100 %"
        )
    count = int((high - low) / step + 1e-9) + 1
    if count > MOST:
        raise InputError(f"{count:,} mixes in one sweep; at most {MOST:,}")
    return low + step * np.arange(count)
