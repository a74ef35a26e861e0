"""``castsugar sweep``: one ingredient runs, the others keep their ratio."""

from __future__ import annotations

import argparse
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option, recipe_texts
from castsugar.cli.conditions import add_condition_options, read_conditions
from castsugar.cli.interrupt import INTERRUPTED, held_back, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options, heat_words
from castsugar.cli.many import Rows, add_many_options, evaluate_many, write_table
from castsugar.cli.motor_options import motor_words
from castsugar.cli.output import remarked, show

if TYPE_CHECKING:
    from castsugar.columns import Column

_EXAMPLES = """\
examples:
  castsugar sweep "KNO3:65 sucrose:35" --vary KNO3 --picture sweep.svg
  castsugar sweep "KNO3:60 sugar:20 corn syrup:20" --vary "corn syrup" \\
      --from 10% --to 35% --csv syrup.csv
  castsugar sweep "KNO3:65 sorbitol:35" --vary KNO3 --uncertainty \\
      --show flame_temperature --show characteristic_velocity \\
      --picture rivals.svg
"""

#: Most mixes in one sweep.
MOST = 20001


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "sweep",
        help="one ingredient against the rest, as a chart and a table",
        description="Let one ingredient of a recipe run; the others keep their ratio.\n"
        "The second solver is not asked.",
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
        help="what the chart shows; may be repeated (default flame_temperature and "
        "characteristic_velocity)",
    )
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions)
    add_kitchen_options(conditions)
    add_many_options(parser, "chart")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compute the sweep and write what was asked for."""
    from castsugar import numerics
    from castsugar.cli.choice import add_window, check_asked, read_column
    from castsugar.data.load import load_database
    from castsugar.mix.blends import blend
    from castsugar.mix.text import parse_recipe
    from castsugar.report.charts import sweep_chart

    database = load_database()
    conditions = read_conditions(options, database)
    shown = options.show or ["flame_temperature", "characteristic_velocity"]
    columns = [read_column(name) for name in shown]
    check_asked(columns, conditions.kitchen, conditions.motor)
    typed = recipe_texts([options.recipe], conditions.shelf.bench)[0][0]
    recipe = parse_recipe(typed, where="recipe")
    items = [name for name, _ in recipe.parts]
    index = _which(database, items, options.vary)
    values = _values(options)
    whole = sum(amount for _, amount in recipe.parts)
    base = [amount / whole for _, amount in recipe.parts]
    blends = blend(
        items,
        numerics.along(base, index, values),
        water_lost=conditions.water_lost or 0.0,
        lots=conditions.lots_for(database, items),
        alternatives=conditions.alternatives,
        database=database,
    )
    share = f"{items[index]}_mass_percent"
    conditions = conditions.for_table(len(blends))
    with held_back() as hold:
        rows, complete = evaluate_many(blends, conditions, options.workers, hold)
        rows = [
            {share: 100.0 * float(value)} | row
            for value, row in zip(values, rows, strict=True)
        ]
        if conditions.kitchen is not None:
            add_window(rows)
        write_table(options, rows)
        notes = conditions.picture_notes(columns)
        notes += [] if complete else ["INCOMPLETE: interrupted"]
        draw = partial(sweep_chart, rows, share, columns, options.recipe, notes)
        drawn = write_pictures(options, hold, {"chart": draw})
        text = _summary(rows, share, columns, complete=complete)
        text += conditions.draws_words(len(blends))
        text = remarked(options, text) + heat_words(conditions.kitchen, database)
        text += motor_words(conditions.motor, columns, rows, blends, database)
        show(options, text)
    return 0 if complete and drawn else INTERRUPTED


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


def _summary(rows: Rows, share: str, columns: list[Column], *, complete: bool) -> str:
    """Return a short table of the sweep, at most 12 rows."""
    from castsugar.report.kitchen import column_text

    stride = max(1, -(-len(rows) // 12))
    shown = columns[:2]
    head = f"  {share.replace('_mass_percent', ', %'):<22}"
    lines = [head + "".join(f"{c.label[:26]:>28}" for c in shown)]
    for row in rows[::stride]:
        cells = "".join(
            f"{column_text(c, row[c.key]) + ' ' + c.unit:>28}" for c in shown
        )
        remark = "" if row["status"] == "ok" else f"  {row['status']}"
        lines.append(f"  {row[share]:<22.6g}{cells}{remark}")
    if not complete:
        lines.append("INCOMPLETE: interrupted; the rows left say so in their status")
    return "\n".join([*lines, "second solver not asked", ""])
