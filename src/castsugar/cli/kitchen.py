"""``castsugar kitchen``: does it pour, set, scorch, go sticky; what was measured."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from castsugar.asked import weigh_recipes
from castsugar.cli import kitchen_measure
from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import (
    add_bench_option,
    add_syrup_options,
    read_shelf,
    world_of,
)
from castsugar.cli.kitchen_options import (
    add_kitchen_options,
    asked_kitchen,
    read_learnt,
)
from castsugar.cli.output import add_output_options, write_picture
from castsugar.cli.quantities import in_si, quantity
from castsugar.constants import DENSITY_RATIO_U
from castsugar.errors import InputError, ValidityError

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.bench.world import World
    from castsugar.kitchen.handling import Grain, Handling, Store
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.mix import Mix
    from castsugar.plot.sheet import Drawing
    from castsugar.report.limit_words import Judged
    from castsugar.report.mixes import Mixes
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown

_EXAMPLES = """\
examples:
  castsugar kitchen judge base
  castsugar kitchen judge "KNO3:60 sugar:20 corn syrup:20" --cook "119 C" \\
      --minutes 8
  castsugar kitchen flow-out --how
  castsugar kitchen brine --mass "60 g" --loose "52 ml" --tapped "46 ml" \\
      --temperature "20 C" --save
  castsugar kitchen parameters
Exit code 1: a measurement contradicts what is believed, and is not saved.
"""


def add_parser(commands: Any) -> None:
    """Add the command with its sub-commands."""
    parser = commands.add_parser(
        "kitchen",
        description="Judge recipes in the kitchen, and learn from measurements.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.set_defaults(run=lambda options: _nothing_asked())
    inner = parser.add_subparsers(dest="what", metavar="WHAT")
    judge = inner.add_parser(
        "judge",
        help="how recipes pour, set and keep after a cook",
        description="Judge recipes after a cook. Nothing is burned; see evaluate.",
        allow_abbrev=False,
    )
    judge.add_argument(
        "recipes",
        nargs="+",
        metavar="RECIPE",
        help="one or more recipes, or names of [recipes]",
    )
    judge.add_argument(
        "--water-lost",
        type=quantity("--water-lost"),
        metavar="SHARE",
        help="share of the recipe's water that is known to leave; drying and boiling "
        "decide without it",
    )
    conditions = judge.add_argument_group("conditions")
    add_bench_option(conditions)
    add_syrup_options(conditions)
    add_kitchen_options(conditions)
    drawn = {
        "viscosity": "the viscosity against the temperature of the bulk",
        "water": "the water against the minutes of the cook",
    }
    add_output_options(judge, pictures=drawn)
    judge.set_defaults(run=run_judge)
    show = inner.add_parser(
        "parameters",
        help="the uncertain numbers, and what is known about them",
        description="Show what a kitchen knows about its parameters.",
        allow_abbrev=False,
    )
    add_bench_option(show)
    add_output_options(show)
    show.set_defaults(run=run_parameters, cook=None, minutes=None)
    kitchen_measure.add_parsers(inner)


def _nothing_asked() -> int:
    raise InputError(
        "kitchen needs to know what: judge RECIPE, parameters, pan-weight, "
        "bulk-density, brine, clear-point, ball-fall, flow-out or boiling-water; see "
        "castsugar kitchen --help"
    )


def run_judge(options: argparse.Namespace) -> int:
    """Judge recipes and say what becomes of them."""
    from castsugar.assumptions import kitchen_assumptions
    from castsugar.bench.kitchen import grain_of, store_of
    from castsugar.data.load import load_database
    from castsugar.mix.basis import basis
    from castsugar.report import kitchen as words
    from castsugar.report import kitchen_belief as believed
    from castsugar.report.cautions import chosen, mix_facts, pan_facts
    from castsugar.report.kitchen_handling import Handled
    from castsugar.report.mixes import Mixes

    database = load_database()
    shelf, world = read_shelf(options), world_of(options)
    kitchen = asked_kitchen(options, database, in_si(options.water_lost))
    mixes = weigh_recipes(database, options.recipes, shelf=shelf)
    stated = _stated_ratio(shelf.bench)
    rows = [row | stated for row in kitchen_rows(mixes, kitchen)]
    facts = pan_facts(kitchen=kitchen, bench=shelf.bench, rows=rows)
    facts |= mix_facts(rows, mixes)
    shares = contributions_of(mixes, kitchen)
    grain, store = grain_of(shelf.bench), store_of(shelf.bench)
    each = tuple(_handled(mix, kitchen, grain, store) for mix in mixes)
    handled = Handled(each=each, grain=grain, kitchen=kitchen, stated=bool(stated))
    syrup = database.syrups[kitchen.syrup]
    uses = {"lots", "kitchen"}
    say = units_of(options).rule
    found = Mixes(
        mixes=tuple(mixes),
        rows=tuple(rows),
        judged=_judged(world, kitchen, mixes, rows),
        conditions=partial(words.cook_words, kitchen),
        notes=tuple(kitchen_assumptions(kitchen)),
        cautions=chosen(database.cautions, facts, ("kitchen",), say=say),
        bench=options.bench or "",
        invented=world.invented_for(mixes, uses=uses) if world is not None else (),
        next=_next(mixes, shares, kitchen),
    )

    def screen(show: Shown) -> Screen:
        least = believed.least_sure(shares, kitchen.belief, syrup, show)
        return words.judge_screen(found, handled, show, facts=facts, least=least)

    def paper(show: Shown) -> Screen:
        if not shares:
            return screen(show)
        from castsugar.plot.export import shown

        caption = "How it thickens as it cools"
        figure = shown(_drawings(options, found, kitchen)["viscosity"], caption)
        return replace(screen(show), sheet=(figure,))

    given = Answer(
        command="kitchen",
        screen=screen,
        paper=paper,
        parts=lambda: words.judge_parts(found, shares, handled),
        told={
            "version": database.version,
            "conditions": cook_conditions(kitchen),
            "assumptions": list(found.notes),
            "cautions": [c.text for c in database.cautions_for("kitchen", facts)],
        },
        basis=partial(basis, mixes, kitchen=kitchen),
        rows=rows,
        fields=words.JUDGED_FIELDS,
    )
    answer(options, given)
    _draw(options, found, kitchen)
    return 0


def _stated_ratio(bench: Bench | None) -> dict[str, float]:
    """Return the density ratio that the motor states, as it stands in a row."""
    motor = (bench.motor or {}) if bench is not None else {}
    ratio, spread = (motor.get(f"density_ratio{end}") for end in ("", "_spread"))
    if ratio is None:
        return {}
    u = ratio * (DENSITY_RATIO_U if spread is None else spread)
    return {"density_ratio": ratio, "density_ratio_u": u}


def _handled(mix: Mix, kitchen: Kitchen, grain: Grain, store: Store) -> Handling | None:
    """Return what to expect of a mix; None without a model."""
    from castsugar.kitchen.handling import handling

    try:
        return handling(mix, kitchen, grain, store)
    except ValidityError:
        return None


def _draw(options: argparse.Namespace, found: Mixes, kitchen: Kitchen) -> None:
    """Write the pictures that were asked for."""
    if not options.picture:
        return
    from castsugar.kitchen.pot import pot_of

    if kitchen.too_hot or all(pot_of(mix, kitchen).gap[0] for mix in found.mixes):
        raise InputError("--picture: no mix has a model in the kitchen; leave it out")
    drawings = _drawings(options, found, kitchen)
    for name, file in options.picture.items():
        write_picture(options, file, drawings[name])


def _drawings(
    options: argparse.Namespace, found: Mixes, kitchen: Kitchen
) -> dict[str, Drawing]:
    """Return the pictures of the pan."""
    from castsugar.plot.pot import pan_drawings
    from castsugar.report.mix_words import by_name

    return pan_drawings(
        by_name(found.mixes),
        kitchen,
        show=units_of(options),
        invented=bool(found.invented),
    )


def _next(mixes: Sequence[Mix], shares: Mapping[str, float], kitchen: Kitchen) -> str:
    """Return what to do next: measure what the pour hangs on most, and is assumed."""
    from castsugar.kitchen.pot import pot_of
    from castsugar.report.kitchen_belief import measurement_of
    from castsugar.report.mix_words import recipe_argument

    if kitchen.too_hot:
        return "castsugar cautions kitchen"
    if not shares:
        return f"castsugar evaluate {recipe_argument(mixes[0])}"
    first = next(p for p in (pot_of(m, kitchen) for m in mixes) if not p.gap[0])
    if first.plain:
        return f"castsugar kitchen {measurement_of(shares, kitchen.belief)} --how"
    # What runs out tells of the liquid of sucrose and syrup only.
    others = {n: share for n, share in shares.items() if n != "liquid_factor"}
    measurement = measurement_of(others, kitchen.belief)
    if measurement == "flow-out":
        return f"castsugar evaluate {recipe_argument(mixes[0])}"
    return f"castsugar kitchen {measurement} --how"


def kitchen_rows(mixes: Sequence[Mix], kitchen: Kitchen) -> list[dict[str, Any]]:
    """Return the kitchen's table with the bands of its numbers."""
    from castsugar.kitchen.pour_table import kitchen_intervals, kitchen_table
    from castsugar.report.field import INTERVAL

    table = kitchen_table(mixes, kitchen).to_dict("records")
    bands = kitchen_intervals(mixes, kitchen)
    return [
        {str(k): v for k, v in row.items()} | {k + INTERVAL: b for k, b in own.items()}
        for row, own in zip(table, bands, strict=True)
    ]


def contributions_of(mixes: Sequence[Mix], kitchen: Kitchen) -> dict[str, float]:
    """Return what moves the pour of the first mix with a model; empty without one."""
    from castsugar.kitchen.foresight import contributions
    from castsugar.kitchen.pot import pot_of

    if kitchen.too_hot:
        return {}
    pots = (pot_of(mix, kitchen) for mix in mixes)
    known = next((pot for pot in pots if not pot.gap[0]), None)
    return {} if known is None else contributions(known, kitchen)


def cook_conditions(kitchen: Kitchen) -> dict[str, Any]:
    """Return how it was cooked, units in the keys."""
    from castsugar.units import to_celsius

    cook = kitchen.cook
    return {
        "cook_minutes": cook.duration / 60.0,
        "pour_temperature_C": to_celsius(cook.pour_temperature),
        "hottest_bulk_C": to_celsius(cook.hottest),
        "air_pressure_Pa": kitchen.air_pressure,
        "draws": kitchen.draws,
        "seed": kitchen.seed,
    }


def _judged(
    world: World | None,
    kitchen: Kitchen,
    mixes: Sequence[Mix],
    rows: Sequence[Mapping[str, Any]],
) -> tuple[tuple[Judged, ...], ...]:
    """Hold every mix against the limits of the bench that a kitchen can judge."""
    from castsugar.columns import COLUMN
    from castsugar.kitchen.pour_table import cook
    from castsugar.limits import Requirement, chance_column, judge, limits_of
    from castsugar.mix.blends import of_mixes
    from castsugar.report.limit_words import by_mix

    stated = world.bench.limits if world is not None else {}
    needs = [
        Requirement(column=column, **limit)
        for column, limit in stated.items()
        if COLUMN[column].group == "kitchen"
    ]
    wanted = [chance for need in needs for chance in need.chances()]
    said = cook(of_mixes(mixes), kitchen, window=False, chances=wanted).chances()
    columns = {key: [row[key] for row in rows] for key in rows[0] if key in COLUMN}
    columns |= {chance_column(*one): found.tolist() for one, found in said.items()}
    return by_mix(judge(limits_of(needs), columns), len(rows))


def run_parameters(options: argparse.Namespace) -> int:
    """Show the parameters of a kitchen."""
    from castsugar.assumptions import kitchen_assumptions
    from castsugar.data.load import load_database
    from castsugar.mix.basis import basis
    from castsugar.report import kitchen_belief as words

    database, world = load_database(), world_of(options)
    if world is None or not world.bench.kitchen.get("cook"):
        options.cook = "119 C 10 min"
    learnt = read_learnt(options, database)
    mix = kitchen_measure.shown_mix(world)
    found = words.Believed(
        learnt=learnt,
        syrup=database.syrups[learnt.kitchen.syrup],
        mix=mix,
        shares=contributions_of([mix], learnt.kitchen),
        invented=world.invented_for([mix], uses={"kitchen"}) if world else (),
        bench=options.bench or "",
    )
    told = words.parameters_parts(found)
    given = Answer(
        command="kitchen_parameters",
        screen=partial(words.parameters_screen, found),
        parts=lambda: told,
        told={
            "version": database.version,
            "conditions": cook_conditions(learnt.kitchen),
            "assumptions": kitchen_assumptions(learnt.kitchen),
            "cautions": [],
        },
        basis=partial(basis, [mix], kitchen=learnt.kitchen),
        rows=told["parameters"],
        fields=words.PARAMETER_FIELDS,
    )
    answer(options, given)
    return 1 if learnt.calibration.contradictions else 0
