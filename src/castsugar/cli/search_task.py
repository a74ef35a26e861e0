"""From a bench file to the task of a search: bench and optimizer meet here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from castsugar import plausible
from castsugar.cli.conditions import seeded
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    import argparse

    from castsugar.bench.search import SearchConditions
    from castsugar.bench.world import World
    from castsugar.conditions import Conditions
    from castsugar.kitchen.heat import Cook
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.motor.hardware import Hardware
    from castsugar.optimize.task import Task


def task_asked(options: argparse.Namespace, world: World, stated: Conditions) -> Task:
    """Return what the bench file asks for, with --seed."""
    from dataclasses import replace

    from castsugar.bench.search import search_conditions

    conditions = search_conditions(world.bench)
    motor = seeded(world.motor, options)
    if motor is not None and conditions.draws:
        motor = replace(motor, draws=conditions.draws)
    return task_of(
        world,
        kitchen=seeded(_kitchen(world, conditions), options),
        motor=motor,
        conditions=stated,
        seed=options.seed,
    )


def _kitchen(world: World, conditions: SearchConditions) -> Kitchen | None:
    """Return the kitchen of the bench file; None without a cook."""
    from castsugar.kitchen.heat import parse_cook

    cook = None
    if conditions.cook is not None:
        cook = parse_cook(conditions.cook, conditions.minutes)
    elif not world.bench.kitchen.get("cook") or conditions.water_lost is not None:
        return None
    learnt = world.learnt(cook)
    for outcome in learnt.calibration.contradictions:
        remark(f"castsugar: {world.bench.path}: {outcome.sentence()}")
    kitchen = learnt.kitchen
    _hold_cooks(world, kitchen.cook)
    return kitchen.changed(draws=conditions.draws or kitchen.draws)


def _hold_cooks(world: World, own: Cook) -> None:
    """Remark on a search that cooks otherwise than the kitchen of its file."""
    from castsugar.kitchen.heat import parse_cook
    from castsugar.report.shown import Shown

    table = world.bench.kitchen
    if not table.get("cook"):
        return
    usual = parse_cook(table["cook"], table["minutes"])
    if (own.times, own.temperatures) == (usual.times, usual.temperatures):
        return
    here, there = (Shown(world.units).cook(cook) for cook in (own, usual))
    plausible.remark(
        f"[search]: {here}; [kitchen]: {there}, by which other commands judge; change "
        "one of them"
    )


def task_of(
    world: World,
    *,
    kitchen: Kitchen | None = None,
    motor: Hardware | None = None,
    conditions: Conditions | None = None,
    seed: int | None = None,
) -> Task:
    """Return the search that a bench file asks for.

    `kitchen` is built of :func:`castsugar.bench.search.search_conditions`, `motor` is
    that of the same file. Conditions are those of the file unless given; a seed given
    goes before that of the file, and 0 stands where there is neither.

    Raises
    ------
    InputError
        File, line, table and key, in the words that were typed; also if no mix is in
        the space, with the limits that contradict.
    """
    from castsugar.bench.conditions import conditions_of
    from castsugar.bench.search import search_asked
    from castsugar.errors import InputError
    from castsugar.optimize.multistart import Effort
    from castsugar.optimize.settings import Settings
    from castsugar.optimize.space import Space
    from castsugar.optimize.task import Sloppiness, Task

    if seed is not None and seed < 0:
        raise InputError(f"the seed is {seed}; it must be 0 or more")
    asked = search_asked(world.bench, world.database, motor=motor)
    stated = asked.conditions
    known = conditions or conditions_of(world.bench)
    leaving = known.exit_pressure
    if leaving is None:
        raise InputError(
            "--exit-pressure is none; a search needs one, for example '1 atm'"
        )
    if kitchen is not None and stated.water_lost is not None:
        raise world.bench.place("search").fail(
            "water_lost", "is for a search without a kitchen; leave one of them out"
        )
    number = next((s for s in (seed, stated.seed) if s is not None), 0)
    with asked.placed():
        space = Space(**asked.space)
        space.regions()  # an empty space is best refused here
        return Task(
            space=space,
            settings=Settings(
                items=space.columns,
                pressure=known.pressure.value,
                exit_pressure=leaving.value,
                flow=known.nozzle_flow,
                water_lost=stated.water_lost or 0.0,
                kitchen=kitchen,
                motor=motor,
                lots={i: lot for i, lot in world.lots.items() if i in space.columns},
            ),
            requirements=asked.limits,
            tried=asked.tried,
            prices=asked.prices,
            sloppiness=(
                None if asked.sloppiness is None else Sloppiness(**asked.sloppiness)
            ),
            effort=Effort(seed=number),
            **asked.goal,
        )
