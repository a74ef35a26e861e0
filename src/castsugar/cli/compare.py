"""``castsugar compare``: mixes side by side, with intervals and verdicts."""

from __future__ import annotations

import argparse
from typing import Any

from castsugar.cli.comparing import (
    Comparing,
    add_comparing_options,
    read_comparing,
)
from castsugar.cli.documents import asked_of, deliver_document
from castsugar.cli.interrupt import INTERRUPTED, held_back, unconfirmed

_EXAMPLES = """\
Every mix is held against the first one (or --baseline). "cannot tell" is an
answer: the difference is smaller than what is known. All mixes meet the same
drawn world, so that what they share cancels.

examples:
  castsugar compare "KNO3:65 sucrose:35" "KNO3:65 sorbitol:35"
  castsugar compare base "KNO3:60 powdered sugar:17 corn syrup:23" \\
      --bench bench.toml
  castsugar compare "KNO3:60 sugar:20 corn syrup:20" \\
      "KNO3:60 sugar:15 corn syrup:25" --cook "119 C" --minutes 8 \\
      --page compare.html
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "compare",
        help="mixes side by side: what differs for certain, and what cannot be told",
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
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Compare and print; 3 if a mix did not converge."""
    from castsugar.errors import InputError

    if len(options.recipes) < 2:
        raise InputError(
            "one recipe cannot be compared; give two or more (castsugar evaluate looks "
            "at one)"
        )
    asked_for = read_comparing(options, options.recipes)
    baseline = _baseline(options, [m.name for m in asked_for.mixes])

    from castsugar.comparison.compare import compare
    from castsugar.report.change.beside import comparison_document, comparison_rows

    conditions = asked_for.conditions
    comparison = compare(
        asked_for.mixes,
        baseline=baseline,
        conditions=conditions,
        doubts=asked_for.doubts,
        scale_step=asked_for.scale_step,
        draws=asked_for.draws,
        seed=asked_for.seed,
    )
    with held_back() as hold:
        with hold.work():
            rows = conditions.rows(asked_for.mixes, confirm=options.confirm)
        notes = [*unconfirmed(rows), *_notes(asked_for)]
        asked = asked_of(asked_for, topics=["evaluate"], rows=rows, notes=notes)
        document = comparison_document(comparison, rows, asked)
        deliver_document(options, document, comparison_rows(comparison, rows, asked))
    if unconfirmed(rows):
        return INTERRUPTED
    failed = any(str(r["status"]).startswith("no convergence") for r in rows)
    return 3 if failed else 0


def _notes(asked_for: Comparing) -> list[str]:
    """Say what is in the bench file and not used here."""
    if asked_for.bench is None or not asked_for.bench.limits:
        return []
    return ["limits are not judged here; castsugar justify holds a change against them"]


def _baseline(options: argparse.Namespace, names: list[str]) -> int:
    """Return which mix is the baseline: by name, recipe as typed, number or letter."""
    from castsugar.errors import InputError
    from castsugar.report.layout import letters

    wanted = options.baseline
    if wanted is None:
        return 0
    if wanted in options.recipes:
        return options.recipes.index(wanted)
    if names.count(wanted) == 1:
        return names.index(wanted)
    short, known = letters(len(names)), wanted.strip()
    if known.isdigit() and 1 <= int(known) <= len(names):
        return int(known) - 1
    if known.upper() in short:
        return short.index(known.upper())
    told = ", ".join(f"{s} {name!r}" for s, name in zip(short, names, strict=True))
    raise InputError(
        f"the baseline is {wanted!r}; give the letter of a mix, its number (1 to "
        f"{len(names)}) or its name where no other has it: {told}"
    )
