"""``castsugar map``: all mixes of three ingredients, judged and on one picture."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.asked import recipe_texts
from castsugar.cli.conditions import read_conditions
from castsugar.cli.many import (
    add_many_options,
    answer_many,
    next_of,
    picture_notes,
    said_of_bench,
)
from castsugar.cli.picture_options import (
    Ranges,
    add_picture_options,
    read_contours,
    read_zoom,
)
from castsugar.data.load import Database
from castsugar.errors import InputError
from castsugar.mix import refusals
from castsugar.mix.text import parse_recipe

if TYPE_CHECKING:
    from castsugar.arrays import FloatArray
    from castsugar.asked import Question
    from castsugar.plot.sheet import Drawing
    from castsugar.report.shown import Shown
    from castsugar.report.sweep import Many

#: What --zoom knows beside three ranges.
_PARTS = {
    "search": "the bounds of [search.ingredients] in the bench",
    "kept": "around the mixes that keep all limits",
}

#: Fixed parts are the same within so much of the whole. [mass fraction]
_SAME = 0.005

#: Parts of the smallest step, of 0.05 %.
_FINEST = 2000

# ----------------------------------------------------------------------------
# Read steps, fixed parts and marks of a map.


def read_step(text: str) -> float:
    """Read a step as a fraction; it must divide 1."""
    step = plausible.read(text, "step of a map", where="--step").value
    if abs(1.0 / step - round(1.0 / step)) > 1e-6:
        parts = {2**a * 5**b for a in range(11) for b in range(5)}
        short = [100.0 / count for count in parts if count <= _FINEST]
        near = sorted(short, key=lambda one: abs(math.log(one / (100.0 * step))))
        raise InputError(
            f"--step {text!r} does not divide 100 %; near it are {near[0]:.6g}% and "
            f"{near[1]:.6g}%"
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
    name: str = "",
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
    off = [n for n, share in wanted.items() if abs(shares.get(n, 0.0) - share) > _SAME]
    if strange or off:
        raise InputError(
            f"--mark {text!r} does not lie on this map: {', '.join(strange + off)} "
            "differ from its three ingredients and fixed parts"
        )
    a, b, c = (shares.get(n, 0.0) / total for n in names)
    return name or recipe.name or recipe.text, (a, b, c)


# ----------------------------------------------------------------------------
# ``castsugar map``: the whole triangle of three ingredients on one picture.

_EXAMPLES = """\
examples:
  castsugar map KNO3 "powdered sugar" "corn syrup" --step 2% --picture map.svg
  castsugar map KNO3 sucrose water --with "red iron oxide:1%" --csv map.csv
  castsugar map KNO3 "powdered sugar" "corn syrup" --show peak_pressure \\
      --zoom "50-65 5-35 10-35" --contours "3 4 5" --picture zoom.png
  castsugar map KNO3 sorbitol sucrose --show flame_temperature \\
      --mark "mine=KNO3:65 sorbitol:35" --picture flame.svg
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "map",
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
    add_picture_options(parser, _PARTS)
    add_many_options(parser, "map")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compute the triangle and write what was asked for."""
    from castsugar.cli.choice import check_asked, read_column
    from castsugar.data.load import load_database
    from castsugar.mix.blends import Rule, Triangle

    database = load_database()
    conditions = read_conditions(options, database)
    column = read_column(options.show)
    check_asked([column], conditions.kitchen, conditions.motor)
    step = read_step(options.step)
    contours = read_contours(options.contours)
    fixed = read_fixed(database, options.fixed, options.ingredients)
    total = 1.0 - sum(fixed.values())
    zoom = read_zoom(options.zoom, _PARTS, total)
    points = Triangle(step=step, total=total, fixed=tuple(fixed.values()))
    items = (*options.ingredients, *fixed)
    wanted = zip(*recipe_texts(options.mark, conditions.shelf.bench), strict=True)
    corners = options.ingredients
    given = [
        read_mark(database, text, corners, fixed, total, name) for text, name in wanted
    ]
    if zoom == "search":
        zoom = _search_ranges(conditions, corners)
    rule = Rule(
        items=items,
        points=points,
        water_lost=conditions.water_lost or 0.0,
        lots=conditions.lots_for(database, items),
        alternatives=conditions.alternatives,
    )

    def more(found: Many) -> dict[str, Any]:
        title = (
            f"map: {len(found):,} mixes of {', '.join(items)} in steps of "
            f"{100.0 * step:.6g} %"
        )
        return {
            "title": title + said_of_bench(options),
            "columns": (column,),
            "next": next_of(options, conditions, rule, found),
        }

    def draw(found: Many, show: Shown) -> Drawing:
        from castsugar.plot.maps import Map, map_drawing
        from castsugar.plot.spread import Mark

        motor = conditions.motor
        marks = [
            Mark(name=name, shares=at, words=f"{name}: {_percents(at, total)}")
            for name, at in given
        ]
        made = Map(
            found=found,
            column=column,
            corners=(corners[0], corners[1], corners[2]),
            shares=points.shares(),
            total=total,
            fixed="".join(f", with {name} {100 * s:g} %" for name, s in fixed.items()),
            marks=marks,
            measured=_measured(conditions, corners, fixed),
            allowed=math.nan if motor is None else 1e-6 * motor.allowable,
            contours=contours,
            zoom=zoom,
        )
        return map_drawing(made, picture_notes(found, show), show)

    return answer_many(options, conditions, rule, more, draw)


# ----------------------------------------------------------------------------
# What is known of a bench for its picture.


def _search_ranges(conditions: Question, corners: list[str]) -> Ranges:
    """Return the bounds of a search for three ingredients.

    Raises
    ------
    InputError
        If the bench has none.
    """
    bench, find = conditions.shelf.bench, conditions.database.find
    search = None if bench is None else bench.search
    search = {"ingredients": {}, "choices": {}} if search is None else search
    known = {
        find(name).name: share
        for name, share in search["ingredients"].items()
        if name not in search["choices"]
    }
    found = [known.get(find(corner).name) for corner in corners]
    a, b, c = (one if isinstance(one, tuple) else (0.0, 0.0) for one in found)
    if not all(high > low for low, high in (a, b, c)):
        raise InputError(
            f"--zoom search: no bounds of {', '.join(corners)} in [search.ingredients] "
            "of a bench file; give three ranges, for example '50-65 5-35 10-35'"
        )
    return a, b, c


def _measured(
    conditions: Question, corners: list[str], fixed: dict[str, float]
) -> FloatArray:
    """Return the mixes that were burned and lie on the map, as shares of the three."""
    import numpy as np

    find, motor = conditions.database.find, conditions.motor
    names = [find(corner).name for corner in corners]
    others = {find(name).name: share for name, share in fixed.items()}
    found = []
    for one in () if motor is None else motor.burning.evidence:
        mix = {find(name).name: share for name, share in one.fractions.items()}
        rest = {n: s for n, s in mix.items() if n not in names}
        off = [abs(rest.get(n, 0.0) - others.get(n, 0.0)) for n in {*rest, *others}]
        if one.measured and max(off, default=0.0) <= _SAME:
            found.append([mix.get(name, 0.0) for name in names])
    shares = np.array(found, dtype=float).reshape(-1, 3)
    return np.unique(shares / shares.sum(axis=1, keepdims=True), axis=0)


def _percents(shares: tuple[float, float, float], total: float) -> str:
    """Write shares of the three in percent of the whole: 60/20/20 %."""
    from castsugar.report import numbers

    told = (numbers.typed(numbers.tidy(round(100.0 * total * s, 1))) for s in shares)
    return f"{'/'.join(told)} %"
