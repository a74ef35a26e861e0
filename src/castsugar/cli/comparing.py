"""What ``compare`` and ``justify`` share: options, the bench file, documents."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.conditions import add_condition_options
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.output import add_output_options
from castsugar.cli.quantities import quantity, read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from castsugar.bench.bench import Bench
    from castsugar.cli.conditions import Shared as Read
    from castsugar.comparison.uncertain_inputs import Conditions, Doubts
    from castsugar.data.load import Database
    from castsugar.limits import Requirement
    from castsugar.mix.mix import Mix

#: Batch and step of the scale where nothing is stated.
BATCH, STEP = "200 g", "0.1 g"


def add_comparing_options(parser: argparse.ArgumentParser) -> None:
    """Add what both commands share."""
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions, uncertainty=False)
    add_kitchen_options(conditions)
    parser.add_argument(
        "--batch",
        type=quantity("--batch"),
        metavar="MASS",
        help=f"what is weighed (default '{BATCH}')",
    )
    parser.add_argument(
        "--scale-step",
        type=quantity("--scale-step"),
        metavar="MASS",
        help=f"smallest step of the scale (default '{STEP}')",
    )
    parser.add_argument(
        "--draws", type=int, metavar="N", help="of everything uncertain (default 2048)"
    )
    parser.add_argument(
        "--seed", type=int, metavar="N", help="of the draws (default 1)"
    )
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="solve every mix again with Cantera (default)",
    )
    add_output_options(parser, "json", "markdown", "page")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparing:
    """What was asked, read: the same for both commands."""

    options: argparse.Namespace
    database: Database
    bench: Bench | None
    read: Read
    mixes: tuple[Mix, ...]
    conditions: Conditions
    doubts: Doubts
    limits: tuple[Requirement, ...]
    scale_step: float
    draws: int
    seed: int


def read_comparing(options: argparse.Namespace, recipes: Sequence[str]) -> Comparing:
    """Read options, bench file and recipes.

    Raises
    ------
    CastsugarError
    """
    from castsugar.cli.conditions import read_conditions
    from castsugar.comparison.uncertain_inputs import Conditions
    from castsugar.data.load import load_database
    from castsugar.draw_set import DRAWS, SEED
    from castsugar.errors import InputError

    database = load_database()
    world = world_of(options)
    bench = world.bench if world is not None else None
    _from_bench(options, bench)
    read = read_conditions(options, database)
    if read.leaving is None:
        raise InputError(
            "--exit-pressure is none; a comparison needs one, for example '1 atm'"
        )
    mixes = _mixes(read, recipes, database)
    step, doubts = doubts_of(options)
    return Comparing(
        options=options,
        database=database,
        bench=bench,
        read=read,
        mixes=mixes,
        conditions=Conditions(
            **read.conditions.options(),
            kitchen=read.kitchen,
            motor=read.motor,
            species=read.species,
        ),
        doubts=doubts,
        limits=_limits(bench, read),
        scale_step=step,
        draws=_draws(options, DRAWS),
        seed=SEED if options.seed is None else options.seed,
    )


def _draws(options: argparse.Namespace, usual: int) -> int:
    """Return the draws asked for."""
    from castsugar import plausible

    if options.draws is None:
        return usual
    say = plausible.said_at("--draws")
    return int(plausible.checked("draws of a comparison", options.draws, say))


def _from_bench(options: argparse.Namespace, bench: Bench | None) -> None:
    """Let the bench file answer what no option does."""
    search: dict[str, Any] = (bench.search if bench else None) or {}
    if bench is None:
        return
    cooked = options.cook or options.minutes or bench.kitchen.get("cook")
    if not cooked and search.get("cook"):
        from castsugar.bench.search import search_conditions

        stated = search_conditions(bench)
        options.cook, options.minutes = stated.cook, stated.minutes
    if options.water_lost is None and search.get("water_lost") is not None:
        options.water_lost = read("--water-lost", str(search["water_lost"]))


def _mixes(read: Read, recipes: Sequence[str], database: Database) -> tuple[Mix, ...]:
    """Weigh the recipes, from the lots of the bench file."""
    from castsugar.cli.bench_option import weigh_recipes

    mixes = weigh_recipes(
        database,
        list(recipes),
        water_lost=read.water_lost or 0.0,
        alternatives=read.alternatives,
        shelf=read.shelf,
    )
    return tuple(mixes)


def doubts_of(options: argparse.Namespace) -> tuple[float, Doubts]:
    """Return the step of the scale, and what is doubted about a batch."""
    from castsugar.comparison.uncertain_inputs import Doubts
    from castsugar.errors import InputError

    world = world_of(options)
    scale: dict[str, Any] = (world.bench.scale if world else None) or {}
    search: dict[str, Any] = (world.bench.search if world else None) or {}
    step, typed = scale.get("step"), getattr(options, "scale_step", None)
    if typed is not None or step is None:
        step = (typed or read("--scale-step", STEP)).value
    batch, typed = search.get("batch"), getattr(options, "batch", None)
    if typed is not None or batch is None:
        batch = (typed or read("--batch", BATCH)).value
    if step > batch:
        raise InputError(
            f"the scale step is {1e3 * step:g} g, the batch {1e3 * batch:g} g; it must "
            "be at least one step"
        )
    accuracy = scale.get("accuracy") or 0.5 * step
    return step, Doubts(weighing=min(accuracy, 0.2 * batch), batch=batch)


def _limits(bench: Bench | None, read: Read) -> tuple[Requirement, ...]:
    """Return the limits of the bench file, and what the case may hold."""
    import math

    from castsugar.limits import rated

    if bench is None:
        return rated((), math.nan if read.motor is None else read.motor.allowable)
    from castsugar.bench.search import limits_of_bench

    return limits_of_bench(bench, read.motor)
