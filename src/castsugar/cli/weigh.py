"""``castsugar weigh``: from the grains to be cast to what goes on the scale."""

from __future__ import annotations

import argparse
import math
import shlex
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.asked import Question, Shelf, doubts_of
from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.conditions import add_nozzle_options, stated_conditions
from castsugar.cli.kitchen_options import read_kitchen
from castsugar.cli.output import add_output_options, command_text
from castsugar.cli.quantities import in_si, quantity
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.mix import Mix
    from castsugar.report.weigh import Told
    from castsugar.weigh.charge import Charge
    from castsugar.weigh.correction import Conditions
    from castsugar.weigh.result import Weighing
    from castsugar.weigh.sheet import Sheet

#: The water that leaves does not come into this: a kitchen of few draws will do.
_CAST_DRAWS = 20

_EXAMPLES = """\
RECIPE is "name:amount name:amount ...", or the name of a recipe in [recipes].
What a line weighs is as is: with the water of its lot, and with the syrup that
stays in its cup. Nothing is ever taken out of a mix: a correction only adds.

examples:
  castsugar weigh "KNO3:60 powdered sugar:20 corn syrup:20" --batch "200 g"
  castsugar weigh "KNO3:60 powdered sugar:20 corn syrup:20" --batch "200 g" \\
      --cook "119 C" --minutes 8 --scale-step "0.1 g"
  castsugar weigh "KNO3:60 powdered sugar:20 corn syrup:20" --batch "200 g" \\
      --actual "KNO3=121 g" --at-most "250 g"
  castsugar weigh base --bench bench.toml --grains 4 --strands 3 --delays 2 \\
      --pans 2 --page sheet.html
With a bench file its tables [motor.grain], [casting], [scale], [pan], [lots]
and [kitchen] are used. Exit code 1: a correction cannot be made.
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "weigh",
        description="Say what to weigh for some castings, or for a batch.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    for name, usual, words in (
        (
            "--grains",
            None,
            "grains of the motor: one a segment (default all of the bench)",
        ),
        ("--strands", None, "strands to burn (default 3 beside grains)"),
        ("--delays", None, "delay columns (default 0)"),
        ("--pans", 1, "cook it in N pans alike, each computed anew (default 1)"),
    ):
        parser.add_argument(name, type=int, default=usual, metavar="N", help=words)
    for name, words in (
        ("--batch", "mass on the scale instead, '200 g', all pans together"),
        ("--scale-step", "smallest step of the scale (default that of [scale], 0.1 g)"),
        (
            "--at-most",
            "largest mass on the scale in one pan, for the sheet and a correction",
        ),
    ):
        parser.add_argument(name, type=quantity(name), metavar="MASS", help=words)
    for name, shape, words in (
        (
            "--actual",
            "NAME=MASS",
            "what the scale showed for one pan, 'KNO3=301.2 g'; may be repeated",
        ),
        (
            "--lot",
            "NAME",
            "weigh from this lot of [lots], whatever is in use; may be repeated",
        ),
    ):
        parser.add_argument(
            name, action="append", default=[], metavar=shape, help=words
        )
    conditions.add_argument(
        "--cook",
        metavar="PROFILE",
        help="as for castsugar kitchen, '119 C' with --minutes: what water leaves "
        "(default that of [kitchen])",
    )
    conditions.add_argument(
        "--minutes", metavar="N", help="how long the temperature is held"
    )
    conditions.add_argument(
        "--water-lost",
        type=quantity("--water-lost"),
        metavar="SHARE",
        help="share of the recipe's water that leaves, instead of a cook's",
    )
    add_nozzle_options(conditions)
    page = "write a sheet to weigh by and to sign, and one of checks, HTML"
    add_output_options(parser, page=page)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the sheet, correct it, print it."""
    from castsugar.data.load import load_database
    from castsugar.report.weigh import weigh_screen
    from castsugar.report.weigh_data import LINES, line_rows, weigh_parts
    from castsugar.weigh.charge import one_grain, read_charge
    from castsugar.weigh.result import weighing

    database, world = load_database(), world_of(options)
    bench = world.bench if world else None
    charge = read_charge(options.recipe, bench, database, wanted=options.lot)
    question = shared_of(options, world, database)
    motor = question.motor
    if question.kitchen is not None:
        batch = _sheet(options, charge, question).in_pan
        question = replace(question, kitchen=question.kitchen.holding(batch))
    found = weighing(
        _sheet(options, charge, question),
        conditions_of(question, world),
        actual=read_masses(options.actual, charge, "--actual", "="),
        at_most=in_si(options.at_most),
        grain_volume=one_grain(motor.grain)[0] if motor is not None else None,
    )
    told = _told(options, question, world, found)
    given = Answer(
        command="weigh",
        screen=partial(weigh_screen, found, told),
        paper=partial(weigh_screen, found, told, paper=True),
        parts=partial(weigh_parts, found, told.mixes.judged[0]),
        told={
            "version": database.version,
            "conditions": question.conditions.to_dict(),
            "assumptions": list(told.mixes.notes),
            "cautions": [caution.text for caution in told.cautions],
        },
        basis=partial(question.basis, [found.sheet.mix]),
        rows=line_rows(found),
        fields=LINES,
    )
    answer(options, given)
    return 0 if found.answer else 1


# ----------------------------------------------------------------------------
# What is asked.


def shared_of(
    options: argparse.Namespace, world: World | None, database: Database
) -> Question:
    """Return pressures, kitchen, motor and lots."""
    lost = in_si(options.water_lost)
    bench = world.bench if world else None
    return Question(
        conditions=stated_conditions(options, bench),
        water_lost=lost,
        alternatives={},
        data="nasa-1993",
        uncertainty=False,
        kitchen=read_kitchen(options, database, lost),
        motor=world.motor if world else None,
        shelf=Shelf(bench=bench),
        database=database,
    )


def mix_as_cast(charge: Charge, kitchen: Kitchen | None, lost: float) -> Mix:
    """Return the mix with the water that leaves: none without a kitchen model."""
    from castsugar.kitchen.pour_table import as_cast

    mix = charge.mix()
    if kitchen is None:
        return mix.with_water_lost(lost)
    return as_cast(mix, replace(kitchen, draws=_CAST_DRAWS))


def _sheet(options: argparse.Namespace, charge: Charge, question: Question) -> Sheet:
    """Return the sheet of the castings or of the batch asked for."""
    from castsugar.weigh.charge import STRANDS, equipment_of, pieces_of, sizes_of
    from castsugar.weigh.sheet import plan

    plausible.checked("pans", options.pans, plausible.said_at("--pans"))
    counts = (options.grains, options.strands, options.delays)
    motor, bench = question.motor, question.shelf.bench
    step = options.scale_step
    equipment = equipment_of(bench, in_si(step), step.unit if step else "g")
    make = partial(
        plan,
        charge,
        equipment,
        mix=mix_as_cast(charge, question.kitchen, question.water_lost or 0.0),
        density_ratio=density_ratio_of(charge, question),
        pans=options.pans,
    )
    if options.batch is not None:
        if any(count is not None for count in counts):
            raise InputError(
                "--batch and --grains, --strands or --delays are both given; give one"
            )
        return make(batch=options.batch.value)
    grains = options.grains
    if all(count is None for count in counts):
        if bench is None:
            raise InputError("what is to be cast? give --batch '200 g'")
        if bench.motor is None:
            return make(batch=doubts_of(bench)[1].batch)
        grains = bench.motor["grain"].get("segments", 1)
    usual = STRANDS if grains else 0
    pieces = pieces_of(
        motor.grain if motor is not None else None,
        sizes_of(bench),
        grains=grains or 0,
        strands=usual if options.strands is None else options.strands,
        delays=options.delays or 0,
    )
    return make(pieces=pieces)


def conditions_of(question: Question, world: World | None) -> Conditions:
    """Return under what a weighing is judged."""
    from castsugar.limits import limits_of
    from castsugar.weigh.correction import Conditions

    return Conditions(
        **question.conditions.options(),
        water_lost=question.water_lost or 0.0,
        kitchen=question.kitchen,
        motor=question.motor,
        limits=limits_of(world.limits) if world is not None else (),
    )


def density_ratio_of(charge: Charge, question: Question) -> float:
    """Return how dense the casting will be over one without voids.

    As the motor states it, else as it flows in the kitchen, else as usual.
    """
    from castsugar.motor.hardware import DENSITY_RATIO

    motor, kitchen = question.motor, question.kitchen
    if motor is not None and motor.density_ratio is not None:
        return motor.density_ratio
    if kitchen is not None:
        from castsugar.kitchen.pour_table import casting_of

        ratio, _ = casting_of(charge.mix(), kitchen)
        if math.isfinite(ratio):
            return ratio
    return DENSITY_RATIO


def read_masses(
    words: Sequence[str], charge: Charge, option: str, between: str
) -> dict[str, float]:
    """Read masses of what a recipe holds, by catalogue name. [kg]

    `between` stands between name and mass, as the option has it.
    """
    found: dict[str, float] = {}
    for word in words:
        name, sign, typed = word.partition(between)
        if not (sign and name.strip() and typed.strip()):
            raise InputError(
                f"{option} {word!r} is not of the form NAME{between}MASS; write for "
                f"example 'KNO3{between}301.2 g'"
            )
        item = charge.find(name.strip(), option)
        if item in found:
            raise InputError(
                f"{option} names {charge.typed[item]!r} twice; give one mass for it"
            )
        where = f"{option} {word!r}"
        found[item] = plausible.read(typed, "mass on the scale", where=where).value
    return found


# ----------------------------------------------------------------------------
# What is said beside the sheet.


def _told(
    options: argparse.Namespace,
    question: Question,
    world: World | None,
    found: Weighing,
) -> Told:
    """Return what a screen says beside the weighing: the mix judged, cautions, next."""
    from castsugar.evaluated import conditions_line
    from castsugar.limits import judge_rows, limits_of
    from castsugar.report.cautions import chosen, motor_facts, pan_facts
    from castsugar.report.limit_words import by_mix
    from castsugar.report.mixes import Mixes, next_step
    from castsugar.report.weigh import Told

    sheet, base = found.sheet, found.judged[0]
    total = found.correction.total if found.correction is not None else sheet.total
    facts = pan_facts(
        batch=max(total, sheet.total),
        kitchen=question.kitchen,
        bench=question.shelf.bench,
    ) | motor_facts(question.motor, [base.values])
    applying = tuple(question.database.cautions_for(["weigh"], facts))
    # The mass in the pan is a finding, and so is what forbids the work.
    rest = [c for c in applying if c.quantity != "batch_mass" and c.level != "stop"]
    stops = [c for c in applying if c.level in ("stop", "general")]
    say = units_of(options).rule
    limits = limits_of(found.conditions.limits)
    mix = sheet.charge.mix()
    asked = {
        "kitchen": question.kitchen,
        "motor": question.motor,
        "casting": sheet.pieces,
    }
    uses = {"lots", "scale", "pan", *(table for table, own in asked.items() if own)}
    mixes = Mixes(
        mixes=(mix,),
        rows=(base.row,),
        judged=by_mix(judge_rows(limits, [base.row]), 1) if limits else ((),),
        conditions=partial(conditions_line, question, options.bench or ""),
        notes=tuple(assumptions_of(question, sheet)),
        cautions=chosen(rest, facts, ["weigh"], say=say),
        bench=options.bench or "",
        bench_said=options.bench_said,
        invented=world.invented_for([mix], uses=uses) if world is not None else (),
    )
    if question.motor is not None:
        from castsugar.motor.peak_causes import causes_of

        mixes = replace(mixes, causes=causes_of(question.motor, (mix,), (base.row,)))
    broken = any(one.verdict == "broken" for one in mixes.judged[0])
    return Told(
        mixes=mixes,
        cautions=applying,
        stops=chosen(stops, facts, ["weigh"], say=say).lines,
        next=next_step(mixes, units_of(options), ())
        if broken
        else _next(options, sheet),
    )


def _next(options: argparse.Namespace, sheet: Sheet) -> str:
    """Return the command that writes the page; beside it, that of the record."""
    if options.page is None:
        return f"{command_text(options.words)} --page sheet.html"
    mass = f"{1e3 * sheet.total:.10g} g"
    words = ["castsugar", "batch", "new", options.recipe, "--batch", mass]
    given = {"--cook": options.cook, "--minutes": options.minutes}
    given["--water-lost"] = options.water_lost.text if options.water_lost else None
    given["--bench"] = None if options.bench_said else options.bench
    for name, value in given.items():
        words += [] if value is None else [name, value]
    return shlex.join(words + (["--no-bench"] if options.no_bench else []))


def cast_assumptions(question: Question, sheet: Sheet) -> list[str]:
    """Say what was assumed of scale, pan and casting, one line each."""
    from castsugar.assumptions import kitchen_assumptions
    from castsugar.weigh.charge import sizes_of

    equipment = sheet.equipment
    said = [
        "amounts of the recipe are as weighed: each line with the water of its lot, "
        "without what stays in the cup"
    ]
    if question.kitchen is not None:
        said += kitchen_assumptions(question.kitchen)
    elif question.water_lost:
        said.append(
            f"{100.0 * question.water_lost:.3g} % of the recipe's water "
            "leaves, as you say"
        )
    else:
        said.append(
            "no water leaves: say --cook '119 C' --minutes 8, or --water-lost '15 %'"
        )
    usual = {
        "step": f"scale in steps of {1e3 * equipment.step:g} g",
        "residue_pan": f"{1e3 * equipment.residue_pan:g} g stay in pan and tools",
    }
    if sheet.cups:
        usual["residue_cup"] = f"{1e3 * equipment.residue_cup:g} g stay in a cup"
    taken = [usual[name] for name in equipment.assumed if name in usual]
    sizes = sizes_of(question.shelf.bench).assumed
    kinds = (piece.kind for piece in sheet.pieces)
    taken += [f"size of a {kind}" for kind in kinds if kind.split()[0] in sizes]
    said += [
        f"{what}: common practice, no source; state yours in [scale], [pan], [casting]"
        for what in taken
    ]
    said.append(
        f"casting at {100.0 * sheet.density_ratio:.3g} % of theoretical density, "
        f"{sheet.density:.0f} kg/m3; shrinking on cooling not modelled"
    )
    return said


def assumptions_of(question: Question, sheet: Sheet) -> list[str]:
    """Say all that was assumed: how it is cast, and how it burns."""
    from castsugar.assumptions import motor_assumptions

    said = cast_assumptions(question, sheet)
    if sheet.charge.dummy:
        return said
    said.append(f"c* ideal, flow {question.flow}, at {question.pressure.echo()}")
    if question.motor is not None:
        said += motor_assumptions(question.motor)
    return said
