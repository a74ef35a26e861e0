"""``castsugar justify``: the record of a change of mix, with evidence."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar.cli.comparing import (
    Comparing,
    add_comparing_options,
    add_document_options,
    read_comparing,
)
from castsugar.cli.documents import asked_of, deliver_document
from castsugar.cli.interrupt import INTERRUPTED, NOT_DRAWN, Hold, held_back, unconfirmed

if TYPE_CHECKING:
    from castsugar.comparison.change import Change
    from castsugar.report.change.pictures import Pictures

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
    add_document_options(parser)
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
        missing["motor"] = "--motor, or [motor] to the bench file (--bench)"
    for need in asked_for.limits:
        group = COLUMN[need.column].group
        if group in missing:
            raise InputError(
                f"the limit on {need.column} needs a {group}; add {missing[group]}"
            )


def _pictures(asked_for: Comparing, change: Change, hold: Hold) -> Pictures:
    """Draw what belongs on the page."""
    from castsugar.cli.justify_pictures import pictures_of

    return pictures_of(asked_for, change, hold)
