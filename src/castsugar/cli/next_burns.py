"""``castsugar next``: what to measure next, and a plan of burns ready to weigh."""

from __future__ import annotations

import argparse
import itertools
import math
from dataclasses import replace
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
    from castsugar.costs import Budget, Costs
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
  castsugar next --minutes 120
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "next",
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
    parser.add_argument(
        "--minutes",
        type=float,
        metavar="N",
        help="minutes of work at most: list or plan what fits",
    )
    parser.add_argument(
        "--money",
        metavar="'N EUR'",
        help="money for mix at most, by the prices of the bench: what fits",
    )
    parser.add_argument("--seed", type=int, metavar="N", help="of the draws")
    add_bench_option(parser)
    add_output_options(parser, without=("csv",))
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
    costs, budget = Costs(world.bench.costs), _budget(options, task)
    if options.plan is None:
        return _listed(options, world, task, (costs, budget))
    return _planned(options, world, task, (costs, budget))


#: Minutes of work that are planned at most: a year of them.
_MOST_MINUTES = 525_600


def _budget(options: argparse.Namespace, task: Task) -> Budget:
    """Return what may be spent.

    Raises
    ------
    InputError
        One line: no amount above 0; another currency; a price that is missing.
    """
    from castsugar.costs import Budget

    if options.minutes is not None and not 0.0 < options.minutes <= _MOST_MINUTES:
        raise InputError(
            f"--minutes is {options.minutes:g}; allowed is a number above 0 and up "
            f"to {_MOST_MINUTES:,}"
        )
    limit = Budget(time=60.0 * (options.minutes or math.inf))
    if options.money is None:
        return limit
    prices = task.prices
    missing = [n for n in task.space.columns if not prices or n not in prices.per_kg]
    if prices is None or missing:
        raise InputError(
            "--money needs a price of every ingredient; none is stated of "
            f"{', '.join(missing)}: add price to its lot, or to [prices]"
        )
    number, _, currency = options.money.strip().partition(" ")
    try:
        money = float(number)
    except ValueError:
        money = math.nan
    if not 0.0 < money < math.inf or currency.strip() != prices.currency:
        raise InputError(
            f"--money is {options.money!r}; write an amount above 0 and the currency "
            f"of the prices: '5 {prices.currency}'"
        )
    return replace(limit, money=money, prices=prices)


def _fitting(
    wanted: Sequence[tuple[str, Mapping[str, float]]], costs: Costs, budget: Budget
) -> list[bool]:
    """Say which kinds with their mixes fit; InputError if none does."""
    fits = budget.fitting((costs.of(kind), recipe) for kind, recipe in wanted)
    if wanted and not any(fits):
        least = min(costs.of(kind).time for kind, _ in wanted) / 60.0
        told = f"the shortest takes {least:g} min"
        if budget.prices is not None:
            price = min(budget.price(costs.of(kind), mix) for kind, mix in wanted)
            told += f", the cheapest {price:.3g} {budget.prices.currency} of mix"
        raise InputError(
            f"nothing that could be measured fits: {told}; give more with --minutes or "
            "--money"
        )
    return fits


def _listed(
    options: argparse.Namespace,
    world: World,
    task: Task,
    spend: tuple[Costs, Budget],
) -> int:
    """Print the one list."""
    costs, budget = spend
    from castsugar.optimize.next_measurement import what_next
    from castsugar.report.next_measurement import Listed, next_parts, next_screen

    measured = {one["kind"] for one in world.bench.kitchen.get("measured") or ()}
    agenda = what_next(
        task,
        costs=costs,
        measured=measured,
        scale=(world.bench.scale or {}).get("accuracy"),
    )
    counted = [one for one in agenda.offers if not one.reason]
    kinds = [(one.kind, one.recipe or agenda.best) for one in counted]
    fits = _fitting(kinds, costs, budget)
    beyond = tuple(one for one, fit in zip(counted, fits, strict=True) if not fit)
    offers = tuple(one for one in agenda.offers if one not in beyond)
    agenda = replace(agenda, offers=offers)
    mixes = [agenda.best, *(one.recipe for one in agenda.offers if one.recipe)]
    found = Listed(
        agenda=agenda,
        costs=costs,
        beyond=beyond,
        budget=budget,
        syrup=_syrup(world, agenda.best),
        batch=task.space.batch or _STRAND_BATCH,
        **_beside(options, world, task, mixes, task.space.batch or _STRAND_BATCH),
    )
    told = _told(options, world, task, found.batch)
    screen, parts = partial(next_screen, found), partial(next_parts, found)
    given = Answer(command="next", screen=screen, parts=parts, told=told)
    answer(options, replace(given, basis=task.settings.basis))
    return 0 if agenda.kept else NO


def _planned(
    options: argparse.Namespace,
    world: World,
    task: Task,
    spend: tuple[Costs, Budget],
) -> int:
    """Print burns, one after the other, as far as they fit."""
    costs, budget = spend
    from castsugar.optimize.next_burns import propose
    from castsugar.report.next_burns import Proposed, next_parts, next_screen

    proposal = propose(task, options.plan, costs)
    kinds = [(burn.option.kind, burn.option.recipe) for burn in proposal.burns]
    fits = _fitting(kinds, costs, budget)
    # What each buys is said after those before it: the list ends where one is too much.
    count = len(list(itertools.takewhile(bool, fits)))
    if kinds and not count:
        raise InputError(
            f"the first burn, {kinds[0][0]}, does not fit; give more with --minutes or "
            "--money"
        )
    proposal = replace(proposal, burns=proposal.burns[:count])
    batch = min(task.space.batch or _STRAND_BATCH, _STRAND_BATCH)
    mixes = [burn.option.recipe for burn in proposal.burns]
    found = Proposed(
        proposal=proposal,
        costs=costs,
        budget=budget,
        batch=batch,
        scale_step=task.space.scale_step,
        **_beside(options, world, task, mixes, batch),
    )
    told = _told(options, world, task, batch)
    screen, parts = partial(next_screen, found), partial(next_parts, found)
    given = Answer(command="next_plan", screen=screen, parts=parts, told=told)
    answer(options, replace(given, basis=task.settings.basis))
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
    from castsugar.constants import ICE_POINT
    from castsugar.kitchen.suspension import syrup_density

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
