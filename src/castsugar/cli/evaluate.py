"""``castsugar evaluate``: what mixes do, held against the limits of the bench."""

from __future__ import annotations

import argparse
import itertools
import shlex
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.asked import Question
from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.conditions import (
    add_condition_options,
    doubts_of,
    read_conditions,
)
from castsugar.cli.interrupt import exit_code, held_back, unconfirmed, write_pictures
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.motor_options import (
    add_cause_options,
    check_cause_options,
    stated_sizes,
)
from castsugar.cli.output import add_output_options
from castsugar.cli.proving import (
    add_proof_options,
    check_proof_options,
    proofs_of,
    write_certificates,
)
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.cli.interrupt import Hold
    from castsugar.evaluated import Wanted
    from castsugar.limits import Limit
    from castsugar.mix.mix import Mix
    from castsugar.motor.fired_mixes import Firing
    from castsugar.motor.hardware import Hardware
    from castsugar.plot.sheet import Drawing
    from castsugar.proof import Proof
    from castsugar.report.mixes import Mixes
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown

Rows = list[dict[str, Any]]

#: Topics of the cautions of a command that is not evaluate.
_TOPICS = {"justify": ("justify", "evaluate")}

_EXAMPLES = """\
A recipe is "name:amount name:amount ...", all parts by mass or all percent; a
label may lead: "mine=KNO3:65 sucrose:35". The names: castsugar ingredients.
Pressures need a unit (psi, psig, MPa, bar, barg, kPa, atm, Pa); a bare unit is
absolute. Exit code 0 also where a limit is broken: justify and search say no.

examples:
  castsugar evaluate "KNO3:65 sucrose:35" --pressure "1000 psi"
  castsugar evaluate "KNO3:60 sugar:20 corn syrup:20" "KNO3:65 sucrose:35"
  castsugar evaluate "KNO3:60 sugar:20 corn syrup:20" --water-lost 0.2 --csv
  castsugar evaluate "KNO3:65 sorbitol:35" --alternative "sorbitol=polyol cycle"
  castsugar evaluate base --full --picture firing.svg
  castsugar evaluate "KNO3:65 sucrose:35" --prove
  castsugar evaluate base --full --crack "20 %" --debond "5 %"
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "evaluate",
        description="Say what recipes do, and whether they keep your limits.",
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
    add_cause_options(conditions)
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="solve every mix again with Cantera (default: up to 20 mixes)",
    )
    add_proof_options(parser)
    drawn = {
        "trace": "pressure and thrust against time, with a motor",
        "throat": "the throat against time",
    }
    add_output_options(parser, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Evaluate the recipes and print the answer."""
    from castsugar.data.load import load_database

    question = read_conditions(options, load_database())
    check_cause_options(options, question.motor)
    check_proof_options(options, len(options.recipes))
    if options.picture and question.motor is None:
        raise InputError("--picture draws a firing; add --bench FILE with a [motor]")
    mixes = question.weigh(options.recipes)
    from castsugar.limits import limits_of

    world = world_of(options)
    limits = limits_of(world.limits) if world is not None else ()
    with held_back() as hold:
        rows = _evaluated(options, question, mixes, limits, hold)
        from castsugar.evaluated import drawn_bands, evaluated, fire_rows

        fired = fire_rows(question, mixes, rows)
        drawn = None
        if world is not None and not unconfirmed(rows):
            drawn = drawn_bands(question, mixes, doubts_of(options)[1])
        more = (limits, fired, drawn)
        wanted = wanted_of(options, rows)
        found = evaluated(question, mixes, rows, more, wanted)
        if wanted.annexes:
            from castsugar.smallest_change import with_change

            found = with_change(found, question, limits, units_of(options))
        with hold.work():
            proofs = proofs_of(options, question, mixes, rows)
        trace = partial(trace_of, options, question, found, fired)
        given = _answer(question, found, trace, proofs)
        known = partial(question.basis, mixes, drawn=drawn is not None)
        answer(options, replace(given, basis=known))
        write_certificates(options, proofs)
        drawn_by = {
            "trace": trace,
            "throat": partial(throat_of, options, found, fired),
        }
        complete = write_pictures(options, hold, drawn_by)
    return exit_code(rows, complete=complete)


def _answer(
    question: Question,
    found: Mixes,
    trace: Callable[[], Drawing],
    proofs: Sequence[Proof | None],
) -> Answer:
    """Return what is said in every form; a page has the picture of the firings too."""
    from castsugar.report.field import FIELDS
    from castsugar.report.fired import FIRING
    from castsugar.report.mixes import evaluate_screen, mixes_parts

    def screen(show: Shown) -> Screen:
        made = evaluate_screen(found, show)
        if not proofs:
            return made
        from castsugar.report.proof import proof_findings

        told = proof_findings(found.names, found.rows, proofs)
        return replace(made, findings=(*made.findings, *told))

    def paper(show: Shown) -> Screen:
        made = screen(show)
        if question.motor is None or not any(found.causes):
            return made
        from castsugar.plot.export import shown
        from castsugar.report.screen import Annex

        caption = "Pressure and thrust against time"
        pictures = Annex(caption, (shown(trace(), caption),))
        return replace(made, annexes=(pictures, *made.annexes))

    fields = [*FIELDS.values()]
    if not question.uncertainty:
        fields = [f for f in fields if "_u_" not in f.key]
    return Answer(
        command="evaluate",
        screen=screen,
        paper=paper,
        parts=partial(mixes_parts, found),
        told=question.told(found),
        rows=found.rows,
        fields=(*fields, *(FIRING if question.motor is not None else ())),
    )


# ----------------------------------------------------------------------------
# The numbers.


def _evaluated(
    options: argparse.Namespace,
    question: Question,
    mixes: list[Mix],
    limits: Sequence[Limit],
    hold: Hold,
) -> Rows:
    """Return the rows of the mixes; Ctrl-C leaves those that are not confirmed yet."""
    from castsugar.asked import MOST_CONFIRMED
    from castsugar.confirmation import UnconfirmedError
    from castsugar.evaluation import evaluate_columns
    from castsugar.limits import chances_of
    from castsugar.rows import records

    confirm = options.confirm
    if confirm is None:
        confirm = len(mixes) <= MOST_CONFIRMED
    try:
        with hold.work():
            given = question.evaluate_options() | {"chances": chances_of(limits)}
            columns = evaluate_columns(mixes, confirm=confirm, **given)
    except UnconfirmedError as stopped:
        columns = stopped.columns
    return records(columns)


def _as_before(options: argparse.Namespace) -> str:
    """Return options that another command needs to speak of the same mix."""
    told = " --no-bench" if getattr(options, "no_bench", False) else ""
    for word, after in itertools.pairwise([*options.words, ""]):
        name, sign, value = word.partition("=")
        if name in ("--cook", "--minutes", "--water-lost"):
            told += f" {name} {shlex.quote(value if sign else after)}"
    return told


def wanted_of(options: argparse.Namespace, rows: Rows) -> Wanted:
    """Return what a command shows of mixes, and how the bench file was named."""
    from castsugar.evaluated import Wanted

    return Wanted(
        rule=units_of(options).rule,
        topics=_TOPICS.get(options.command, ("evaluate",)),
        annexes=bool(options.full or options.markdown or options.page),
        species=bool(options.json),
        sizes=stated_sizes(options),
        batch=doubts_of(options)[1].batch if "batch" in vars(options) else None,
        notes=tuple(unconfirmed(rows)),
        bench=options.bench or "",
        bench_said=options.bench_said,
        bench_option=_as_before(options),
    )


# ----------------------------------------------------------------------------
# The picture of a firing.


def trace_of(
    options: argparse.Namespace,
    question: Question,
    found: Mixes,
    fired: Sequence[Firing | None],
) -> Drawing:
    """Return the picture of the firings; InputError if no mix could be driven."""
    from castsugar.assumptions import motor_assumptions
    from castsugar.comparison.change import pressure_bands
    from castsugar.plot.fired import trace_drawing
    from castsugar.report.mix_words import by_name

    motor, names = question.motor, [*by_name(found.mixes)]
    assert motor is not None
    bands, peaks = [], {}
    told = pressure_bands(found.mixes, found.rows, motor)
    for name, one, firing in zip(names, told, fired, strict=True):
        expected = one.expected
        if expected is not None and firing is not None:
            expected = replace(expected, course=firing.course())
            peaks[name] = firing.limit
        bands.append(replace(one, name=name, expected=expected))
    return trace_drawing(
        bands,
        allowed=motor.allowable,
        peaks=peaks,
        thrust=thrust_words(motor),
        notes=motor_assumptions(motor)[:1],
        show=units_of(options),
        invented=bool(found.invented),
    )


def throat_of(
    options: argparse.Namespace, found: Mixes, fired: Sequence[Firing | None]
) -> Drawing:
    """Return the picture of the throats; InputError if no mix could be driven."""
    from castsugar.plot.fired import growth_drawing
    from castsugar.report.mix_words import by_name

    told = zip(by_name(found.mixes), fired, strict=True)
    known = {name: one for name, one in told if one is not None}
    if not known:
        raise InputError("--picture throat: no mix could be driven")
    drawing: Drawing = growth_drawing(
        known, show=units_of(options), invented=bool(found.invented)
    )
    return drawing


def thrust_words(motor: Hardware) -> str:
    """Say whether the thrust of a motor is ideal, or with which losses."""
    velocity = motor.efficiency is not None
    nozzle = motor.nozzle_stated or motor.efficiencies.nozzle.count > 0
    if velocity == nozzle:
        return "delivered" if nozzle else "ideal, no losses"
    return "ideal nozzle, delivered c*" if velocity else "delivered nozzle, ideal c*"
