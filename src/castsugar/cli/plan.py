"""``castsugar plan``: questions that weighing and the kitchen answer, turned round."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.cli import plan_kitchen
from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.output import add_output_options
from castsugar.cli.plan_words import (
    beside,
    command_of,
    invented,
    question,
    said,
    titled,
)
from castsugar.cli.quantities import in_si, quantity
from castsugar.cli.weigh import (
    assumptions_of,
    cast_assumptions,
    conditions_of,
    density_ratio_of,
    mix_as_cast,
    read_masses,
    shared_of,
)
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.asked import Question
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.report.plan import Planned
    from castsugar.report.shown import Shown
    from castsugar.weigh.charge import Charge, Equipment
    from castsugar.weigh.inverse import Castings
    from castsugar.weigh.sheet import Sheet

_EXAMPLES = """\
Every answer is held against the command that says the same forward: castsugar
weigh for masses, castsugar kitchen judge for water and flow.

examples:
  castsugar plan pieces base --batch "500 g"
  castsugar plan pieces base --batch "500 g" --grains 3 --delays 2
  castsugar plan water base --left "3 %"
  castsugar plan heat base --probability "55 %"
  castsugar plan correct base --batch "200 g" --extra "corn syrup: 6 g"
  castsugar plan pans base --batch "500 g"
Exit code 1: it cannot be had, and why.
"""

#: Options of the weigh sheet that are said again, and those of a cook.
_WEIGHED = ("--scale-step", "--lot", "--cook", "--minutes", "--water-lost")


def add_parser(commands: Any) -> None:
    """Add the command with its questions."""
    parser = commands.add_parser(
        "plan",
        description="Ask from what you want back to what you do.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.set_defaults(run=lambda options: _nothing_asked())
    inner = parser.add_subparsers(dest="what", metavar="WHAT")
    _add_pieces(inner)
    plan_kitchen.add_parsers(inner)
    _add_correct(inner)
    _add_pans(inner)


def _nothing_asked() -> int:
    raise InputError(
        "plan needs a question: pieces, water, heat, correct or pans, each with a "
        "RECIPE; see castsugar plan --help"
    )


def _weighed(
    inner: Any, name: str, run: Callable[[argparse.Namespace], int], words: str
) -> tuple[Any, Any]:
    """Add a question about a batch: the parser, and the group of its conditions."""
    parser = question(inner, name, run, words)
    parser.add_argument(
        "--batch",
        type=quantity("--batch"),
        required=True,
        metavar="MASS",
        help="mass on the scale, '500 g', of all pans together",
    )
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    conditions.add_argument(
        "--scale-step",
        type=quantity("--scale-step"),
        metavar="MASS",
        help="smallest step of the scale (default that of [scale], 0.1 g)",
    )
    conditions.add_argument(
        "--lot",
        action="append",
        default=[],
        metavar="NAME",
        help="weigh from this lot of [lots], whatever is in use; may be repeated",
    )
    add_kitchen_options(conditions)
    conditions.add_argument(
        "--water-lost",
        type=quantity("--water-lost"),
        metavar="SHARE",
        help="share of the recipe's water that leaves, instead of a cook's",
    )
    add_output_options(parser)
    return parser, conditions


def _add_pieces(inner: Any) -> None:
    words = "how many grains, strands and delay columns a batch gives"
    parser, _ = _weighed(inner, "pieces", run_pieces, words)
    for name, what in (
        ("--grains", "grains to cast (default: as many as the batch gives)"),
        (
            "--strands",
            "strands to cast (default 3 beside such grains, else what the rest gives)",
        ),
        (
            "--delays",
            "delay columns to cast (default 0; with both others stated, what the rest "
            "gives)",
        ),
    ):
        parser.add_argument(name, type=int, metavar="N", help=what)


def _add_correct(inner: Any) -> None:
    words = "what to add after something got too much"
    parser, _ = _weighed(inner, "correct", run_correct, words)
    parser.add_argument(
        "--extra",
        action="append",
        required=True,
        metavar="NAME:MASS",
        help="what got too much, by how much, 'corn syrup: 6 g'; may be repeated",
    )
    parser.add_argument(
        "--at-most",
        type=quantity("--at-most"),
        metavar="MASS",
        help="largest mass on the scale",
    )


def _add_pans(inner: Any) -> None:
    words = "what goes into each of several pans, and what splitting does"
    parser, _ = _weighed(inner, "pans", run_pans, words)
    parser.add_argument(
        "--pans",
        type=int,
        metavar="N",
        help="pans alike (default: the fewest with no more than 250 g in one)",
    )


# ----------------------------------------------------------------------------
# Questions to the weigh sheet.


class _Batch:
    """A batch as asked for: what is weighed, on what, under what."""

    def __init__(self, options: argparse.Namespace) -> None:
        from castsugar.data.load import load_database
        from castsugar.weigh.charge import equipment_of, read_charge

        self.options, self.world = options, world_of(options)
        self.database: Database = load_database()
        bench = self.world.bench if self.world else None
        self.charge: Charge = read_charge(
            options.recipe, bench, self.database, wanted=options.lot
        )
        self.question: Question = shared_of(options, self.world, self.database)
        step = options.scale_step
        self.equipment: Equipment = equipment_of(
            bench, in_si(step), step.unit if step else "g"
        )
        self.mix: Mix = mix_as_cast(
            self.charge, self.question.kitchen, self.question.water_lost or 0.0
        )
        self.ratio = density_ratio_of(self.charge, self.question)

    def sheet(self, pans: int = 1) -> Sheet:
        """Return the weigh sheet of the batch in so many pans."""
        from castsugar.weigh.sheet import plan

        return plan(
            self.charge,
            self.equipment,
            mix=self.mix,
            batch=self.options.batch.value,
            density_ratio=self.ratio,
            pans=pans,
        )

    def castings(self, batch: float, **counts: int | None) -> Castings:
        """Return what a pan gives of so much on the scale [kg]."""
        from castsugar.weigh.charge import sizes_of
        from castsugar.weigh.inverse import castings

        motor = self.question.motor
        return castings(
            self.charge,
            self.equipment,
            mix=self.mix,
            batch=batch,
            sizes=sizes_of(self.question.shelf.bench),
            grain=motor.grain if motor is not None else None,
            counts=counts,
            density_ratio=self.ratio,
        )

    def told(
        self, sheet: Sheet, total: float, words: Sequence[str], *, burns: bool = False
    ) -> Planned:
        """Return what stands beside the answer.

        `words` are those to go on with; `burns`: it tells how the mix burns, too.
        """
        from castsugar.report.cautions import chosen
        from castsugar.report.plan import Planned

        question, facts = self.question, self._facts(total)
        say = units_of(self.options).rule
        uses = {"lots", "scale", "pan", "casting"}
        uses |= {"kitchen"} if question.kitchen is not None else set()
        uses |= {"motor"} if question.motor is not None else set()
        return Planned(
            name=titled(self.charge.name),
            conditions=partial(self._conditions, sheet),
            assumed=tuple(
                (assumptions_of if burns else cast_assumptions)(question, sheet)
            ),
            cautions=chosen(self.database.cautions, facts, ["weigh"], say=say),
            next=command_of(self.options, words),
            invented=invented(self.world, self.charge.mix(), uses),
            **beside(self.options),
        )

    def basis(self) -> dict[str, Any]:
        """Return what the answer rests on."""
        return self.question.basis([self.mix])

    def document(self, told: Planned, total: float) -> dict[str, Any]:
        """Return version, conditions, assumptions and cautions of the document."""
        facts = self._facts(total)
        return {
            "version": self.database.version,
            "conditions": self.question.conditions.to_dict(),
            "assumptions": list(told.assumed),
            "cautions": [c.text for c in self.database.cautions_for(["weigh"], facts)],
        }

    def _facts(self, total: float) -> dict[str, float]:
        """Return what is known of one pan with so much on the scale [kg]."""
        from castsugar.report.cautions import motor_facts, pan_facts

        question, rows = self.question, [{"density_kg_m3": self.mix.density}]
        facts = pan_facts(
            batch=total, kitchen=question.kitchen, bench=question.shelf.bench
        )
        return facts | motor_facts(question.motor, rows)

    def _conditions(self, sheet: Sheet, show: Shown) -> str:
        """Say what is cast, and with which water."""
        dense = show.amount("density", sheet.density)
        kitchen, lost = self.question.kitchen, self.question.water_lost
        text = f"Cast at {show.share(sheet.density_ratio)} of theoretical density, "
        text += f"{dense}; "
        if kitchen is not None:
            return text + show.cook(kitchen.cook)
        return text + (f"water lost {show.share(lost)}" if lost else "no water leaves")


def run_pieces(options: argparse.Namespace) -> int:
    """Say what a batch gives."""
    from castsugar.report import plan as words

    asked = _Batch(options)
    counts = {n: getattr(options, n) for n in ("grains", "strands", "delays")}
    found = asked.castings(options.batch.value, **counts)
    names = {kind: name for name, kind in _kinds().items()}
    forward = ["weigh", options.recipe]
    for one in found.pieces:
        forward += [f"--{names[one.kind]}", str(one.count)]
    if found.count("grain") and not found.count("strand"):
        forward += ["--strands", "0"]
    if not found.pieces:
        forward += ["--batch", options.batch.text]
    total = found.sheet.total
    sheet = replace(found.sheet, pieces=found.pieces)
    told = asked.told(sheet, total, [*forward, *said(options, _WEIGHED)])
    motor = asked.question.motor
    segments = getattr(motor.grain, "segments", 0) if motor is not None else 0
    given = Answer(
        command="plan_pieces",
        screen=partial(words.pieces_screen, found, told, segments=segments),
        parts=partial(words.pieces_parts, found),
        told=asked.document(told, total),
        basis=asked.basis,
        rows=words.piece_rows(found),
        fields=words.PIECES,
    )
    answer(options, given)
    return 0 if found.enough else 1


def _kinds() -> Mapping[str, str]:
    from castsugar.weigh.inverse import KINDS

    return KINDS


def run_correct(options: argparse.Namespace) -> int:
    """Say what to add after a slip."""
    from castsugar.limits import judge_rows, limits_of
    from castsugar.report import plan as words
    from castsugar.report.limit_words import by_mix
    from castsugar.report.weigh_data import LINES, line_rows
    from castsugar.weigh.inverse import sheet_again, weighed_with
    from castsugar.weigh.result import weighing

    asked = _Batch(options)
    sheet = asked.sheet()
    typed = [x if ":" in x else x.replace("=", ":", 1) for x in options.extra]
    extra = read_masses(typed, asked.charge, "--extra", ":")
    done = weighing(
        sheet,
        conditions_of(asked.question, asked.world),
        actual=weighed_with(sheet, extra),
        at_most=in_si(options.at_most),
    )
    correction = done.correction
    if correction is None:  # something is always weighed
        raise InputError("--extra is empty; give what got too much")
    again, off = sheet_again(sheet, correction)
    found = words.Mended(extra=extra, weighing=done, again=again, off=off)
    mass = f"{1e3 * again.total:.10g} g"
    forward = ["weigh", options.recipe, "--batch", mass, *said(options, _WEIGHED)]
    told = asked.told(sheet, correction.total, forward, burns=True)
    limits = limits_of(done.conditions.limits)
    row = done.judged[0].row
    judged = by_mix(judge_rows(limits, [row]), 1)[0] if limits else ()
    given = Answer(
        command="plan_correct",
        screen=partial(words.correct_screen, found, told),
        parts=partial(words.correct_parts, found, judged),
        told=asked.document(told, correction.total),
        basis=asked.basis,
        rows=line_rows(done),
        fields=LINES,
    )
    answer(options, given)
    return 0 if correction.possible else 1


def run_pans(options: argparse.Namespace) -> int:
    """Say what goes into each pan."""
    from castsugar.motor.pressure_doubt import batch_scatter
    from castsugar.report import plan as words
    from castsugar.weigh.inverse import fewest_pans, in_pans

    asked = _Batch(options)
    if options.pans is not None:
        plausible.checked("pans", options.pans, plausible.said_at("--pans"))
    one = asked.sheet()
    fewest = fewest_pans(one)
    pans = options.pans or fewest
    if not pans:
        raise InputError(
            "no number of pans leaves 250 g or less in one: what stays in cup and pan "
            "is too much, or the scale too coarse; see [pan] and [scale], or say --pans"
        )
    each, motor = in_pans(one, pans), asked.question.motor
    found = words.InPans(
        one=one,
        each=each,
        grains=None
        if motor is None
        else (_grains(asked, one.total), _grains(asked, each.total)),
        scatter=batch_scatter(motor.burning) if motor is not None else None,
        fewest=fewest,
        typed=options.pans is not None,
    )
    forward = ["weigh", options.recipe, "--batch", options.batch.text]
    forward += ["--pans", str(pans), *said(options, _WEIGHED)]
    told = asked.told(each, each.total, forward)
    given = Answer(
        command="plan_pans",
        screen=partial(words.pans_screen, found, told),
        parts=partial(words.pans_parts, found),
        told=asked.document(told, each.total),
        basis=asked.basis,
        rows=words.pan_rows(found),
        fields=words.PANS,
    )
    answer(options, given)
    return 0


def _grains(asked: _Batch, batch: float) -> int:
    """Return the whole grains of one pan, nothing beside them."""
    return asked.castings(batch, strands=0, delays=0).count("grain")
