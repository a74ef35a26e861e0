"""Options of every command that asks the kitchen: cook and minutes."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from castsugar.cli.bench_option import world_of
from castsugar.cli.screen import remark
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.kitchen.calibration import Learnt
    from castsugar.kitchen.heat import Cook
    from castsugar.kitchen.parameters import Kitchen


def add_kitchen_options(parser: argparse._ActionsContainer) -> None:
    """Add the options to a command."""
    parser.add_argument(
        "--cook",
        metavar="PROFILE",
        help="bulk temperature of the cook, '119 C' with --minutes, or points of time "
        "and temperature: '0 min 25 C, 6 min 105 C, 14 min 119 C'; the mix is poured "
        "at the last",
    )
    parser.add_argument(
        "--minutes", metavar="N", help="how long the temperature is held"
    )


def read_cook(options: argparse.Namespace) -> Cook | None:
    """Read the cook as typed; None without one."""
    if options.cook is None and options.minutes is None:
        return None
    from castsugar.kitchen.heat import parse_cook

    if options.cook is None:
        raise InputError("--minutes needs --cook, for example --cook '119 C'")
    return parse_cook(options.cook, options.minutes, where="--cook")


def read_learnt(options: argparse.Namespace, database: Database) -> Learnt:
    """Return the kitchen that the options describe, and what its bench file taught."""
    from castsugar.bench.kitchen import learn

    world = world_of(options)
    if world is None:
        return learn(None, read_cook(options), database)
    return world.learnt(read_cook(options))


def read_kitchen(
    options: argparse.Namespace, database: Database, water_lost: float | None
) -> Kitchen | None:
    """Return the kitchen, or None if none was asked for; see :func:`asked_kitchen`."""
    world = world_of(options)
    if read_cook(options) is None and (world is None or world.kitchen is None):
        return None
    return asked_kitchen(options, database, water_lost)


def asked_kitchen(
    options: argparse.Namespace, database: Database, water_lost: float | None
) -> Kitchen:
    """Return the kitchen, and remark on measurements that were set aside.

    `water_lost` is what the user states; it overrules drying and boiling.
    """
    learnt = read_learnt(options, database)
    for outcome in learnt.calibration.contradictions:
        remark(f"castsugar: {options.bench}: {outcome.sentence()}")
    return learnt.kitchen.changed(water_lost=water_lost)
