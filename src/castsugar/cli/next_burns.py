"""``castsugar next``: what to measure next, and a plan of burns ready to weigh."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import Once, add_bench_option, stated_world
from castsugar.cli.conditions import stated_conditions
from castsugar.cli.output import add_output_options
from castsugar.cli.search import NO
from castsugar.cli.search_task import task_asked
from castsugar.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from castsugar.bench.world import World
    from castsugar.costs import Costs
    from castsugar.mix.mix import Mix
    from castsugar.optimize.task import Task

#: What an answer takes from the bench.
_USES = frozenset({"lots", "kitchen", "motor"})

#: Largest batch of strands that is proposed [kg].
_STRAND_BATCH = 0.1

_EXAMPLES = """\
Kitchen measurements, strands and firings in one list, by what each is expected
to gain in the choice of the recipe for its time and grams. The mixes come from
the [search] table of the bench file: its ingredients, bounds and limits; times
and grams from [costs]. Exit code 1: no mix keeps the limits.

examples:
  castsugar next
  castsugar next --full
  castsugar next --bench bench.toml --plan 3
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "next",
        help="what to measure next: pan, cup, strands, a firing; what tells most",
        description="Say what to measure next, in kitchen and motor.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "bench", metavar="BENCH", nargs="?", action=Once, help="as --bench"
    )
    parser.add_argument(
        "--plan",
        type=int,
        metavar="K",
        help="plan K burns, one after the other, each with what to weigh",
    )
    parser.add_argument("--seed", type=int, metavar="N", help="of the draws")
    add_bench_option(parser)
    kinds = ("full", "json", "markdown", "page", "units")
    add_output_options(parser, *kinds)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print what to measure next; 1 if no mix keeps the limits."""
    from castsugar.costs import Costs

    world = stated_world(options)
    task = task_asked(options, world, stated_conditions(options, world.bench))
    if not task.requirements:
        raise InputError(
            f"{world.bench.path}: no limit is stated, so no measurement could change "
            "the choice; add one to [limits], or a [motor.case]"
        )
    costs = Costs(world.bench.costs)
    if options.plan is None:
        return _listed(options, world, task, costs)
    return _planned(options, world, task, costs)


def _listed(options: argparse.Namespace, world: World, task: Task, costs: Costs) -> int:
    """Print the one list."""
    from castsugar.optimize.next_measurement import what_next
    from castsugar.report.next_measurement import Listed, next_parts, next_screen

    measured = {one["kind"] for one in world.bench.kitchen.get("measured") or ()}
    agenda = what_next(
        task,
        costs=costs,
        measured=measured,
        scale=(world.bench.scale or {}).get("accuracy"),
    )
    mixes = [agenda.best, *(one.recipe for one in agenda.offers if one.recipe)]
    found = Listed(
        agenda=agenda,
        costs=costs,
        syrup=_syrup(world, agenda.best),
        batch=task.space.batch or _STRAND_BATCH,
        **_beside(options, world, task, mixes, task.space.batch or _STRAND_BATCH),
    )
    told = _told(options, world, task, found.batch)
    screen, parts = partial(next_screen, found), partial(next_parts, found)
    answer(options, Answer(command="next", screen=screen, parts=parts, told=told))
    return 0 if agenda.kept else NO


def _planned(
    options: argparse.Namespace, world: World, task: Task, costs: Costs
) -> int:
    """Print burns, one after the other."""
    from castsugar.optimize.next_burns import propose
    from castsugar.report.next_burns import Proposed, next_parts, next_screen

    proposal = propose(task, options.plan, costs)
    batch = min(task.space.batch or _STRAND_BATCH, _STRAND_BATCH)
    mixes = [burn.option.recipe for burn in proposal.burns]
    found = Proposed(
        proposal=proposal,
        costs=costs,
        batch=batch,
        scale_step=task.space.scale_step,
        **_beside(options, world, task, mixes, batch),
    )
    told = _told(options, world, task, batch)
    screen, parts = partial(next_screen, found), partial(next_parts, found)
    answer(options, Answer(command="next_plan", screen=screen, parts=parts, told=told))
    return 0 if proposal.candidates.kept else NO


#: What cautions are about.
_TOPICS = ("weigh", "kitchen", "motor", "firing")


def _beside(
    options: argparse.Namespace,
    world: World,
    task: Task,
    mixes: Sequence[Mapping[str, float]],
    batch: float,
) -> dict[str, Any]:
    """Return what both screens say beside their numbers."""
    from castsugar.bench.search import search_asked
    from castsugar.report.cautions import chosen
    from castsugar.report.search_words import Asked

    motor = task.settings.motor
    typed = search_asked(world.bench, world.database, motor=motor).typed
    say = units_of(options).rule
    facts, cautions = _facts(world, task, batch), world.database.cautions
    return {
        "asked": Asked(
            file=Path(world.bench.path).name, typed={t: n for n, t in typed.items()}
        ),
        "grains": 0 if motor is None else getattr(motor.grain, "segments", 0),
        "seed": task.effort.seed,
        "cautions": chosen(cautions, facts, _TOPICS, say=say),
        "bench": options.bench,
        "bench_said": options.bench_said,
        "invented": world.invented_for(_weighed(world, mixes), uses=_USES),
    }


def _facts(world: World, task: Task, batch: float) -> dict[str, Any]:
    """Return what cautions are chosen by."""
    from castsugar.report.cautions import motor_facts, pan_facts

    pan = pan_facts(batch=batch, bench=world.bench)
    return {**pan, **motor_facts(task.settings.motor)}


def _told(
    options: argparse.Namespace, world: World, task: Task, batch: float
) -> dict[str, Any]:
    """Return what a document says beside its parts."""
    facts = _facts(world, task, batch)
    return {
        "version": world.database.version,
        "conditions": stated_conditions(options, world.bench).to_dict(),
        "cautions": [c.text for c in world.database.cautions_for(_TOPICS, facts)],
    }


def _syrup(world: World, recipe: Mapping[str, float]) -> dict[str, float]:
    """Return what 100 ml of the syrup of a mix weigh, and what a point of solids adds.

    In g; empty for a mix without one.
    """
    from castsugar.kitchen.suspension import syrup_density
    from castsugar.kitchen.validity import ICE_POINT

    syrup = next(iter(_weighed(world, [recipe])[0].syrups), None)
    if syrup is None or syrup.dry_solids >= 1.0:
        return {}
    solids, room = syrup.dry_solids, 20.0 + ICE_POINT
    here, above = (
        0.1 * float(syrup_density(solids + more, room)) for more in (0.0, 0.01)
    )
    return {"solids": solids, "grams": here, "point": above - here}


def _weighed(world: World, recipes: Sequence[Mapping[str, float]]) -> list[Mix]:
    """Return proposed mixes, from the lots at hand."""
    from castsugar.mix.mix import Mix

    return [
        Mix.weigh(
            recipe,
            lots={n: lot for n, lot in world.lots.items() if n in recipe},
            database=world.database,
        )
        for recipe in recipes
    ]
