"""``castsugar compare``: mixes side by side, with intervals and verdicts."""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer
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
    from castsugar.report.compare import Compared

_EXAMPLES = """\
Every mix is held against the first one (or --baseline). "cannot tell" is an
answer: the difference is smaller than what is known. All mixes meet the same
drawn world, so that what they share cancels.

examples:
  castsugar compare "KNO3:65 sucrose:35" "KNO3:65 sorbitol:35"
  castsugar compare base "KNO3:60 powdered sugar:17 corn syrup:23"
  castsugar compare "KNO3:60 sugar:20 corn syrup:20" \\
      "KNO3:60 sugar:15 corn syrup:25" --cook "119 C" --minutes 8 \\
      --page compare.html
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "compare",
        description="Compare recipes with a baseline.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipes",
        nargs="+",
        metavar="RECIPE",
        help="two or more recipes, or names of [recipes]",
    )
    parser.add_argument(
        "--baseline",
        metavar="NAME",
        help="which one to hold the others against: name, number or letter (B)",
    )
    add_comparing_options(parser)
    drawn = {"differences": "the differences with their intervals"}
    add_output_options(parser, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compare and print; 3 if a mix did not converge."""
    if len(options.recipes) < 2:
        raise InputError(
            "one recipe cannot be compared; give two or more (castsugar evaluate looks "
            "at one)"
        )
    asked = read_comparing(options, options.recipes)
    baseline = _baseline(options, [m.name for m in asked.mixes])

    from castsugar.comparison.compare import compare

    comparison = compare(asked.mixes, baseline=baseline, **asked.given)
    with held_back() as hold:
        with hold.work():
            rows = _rows(asked)
        found = compared(asked, comparison, rows)
        answer(options, _answer(asked, found))
        draw = partial(drawing, asked, comparison, bool(found.found.invented))
        complete = write_pictures(options, hold, {"differences": draw})
    return exit_code(rows, complete=complete)


def _rows(asked: Comparing) -> list[dict[str, Any]]:
    """Return the rows of the table, with the quantiles that the limits ask for."""
    from castsugar.limits import chances_of, limits_of

    chances = chances_of(limits_of(asked.limits))
    confirm = asked.options.confirm
    return asked.conditions.rows(asked.mixes, confirm=confirm, chances=chances)


def _answer(asked: Comparing, found: Compared) -> Answer:
    """Return what is said in every form."""
    from castsugar.report.compare import compare_parts, compare_rows, compare_screen

    screen, parts = partial(compare_screen, found), partial(compare_parts, found)
    rows, fields = compare_rows(found)
    made = delivered(asked, "compare", screen, parts, found)
    return replace(made, rows=rows, fields=fields)


def _baseline(options: argparse.Namespace, names: list[str]) -> int:
    """Return which mix is the baseline: by name, recipe as typed, number or letter."""
    from castsugar.report.mixes import letter

    wanted = options.baseline
    if wanted is None:
        return 0
    if wanted in options.recipes:
        return options.recipes.index(wanted)
    if names.count(wanted) == 1:
        return names.index(wanted)
    short, known = [letter(i) for i in range(len(names))], wanted.strip()
    if known.isdigit() and 1 <= int(known) <= len(names):
        return int(known) - 1
    if known.upper() in short:
        return short.index(known.upper())
    told = ", ".join(f"{s} {name!r}" for s, name in zip(short, names, strict=True))
    raise InputError(
        f"the baseline is {wanted!r}; give the letter of a mix, its number (1 to "
        f"{len(names)}) or its name where no other has it: {told}"
    )
