"""Options that every computing command shares: pressures, flow, data, water."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from castsugar.asked import Question
from castsugar.cli.bench_option import (
    add_syrup_options,
    read_shelf,
    world_of,
)
from castsugar.cli.kitchen_options import read_kitchen
from castsugar.cli.quantities import (
    add_old_spelling,
    dest,
    exit_pressure,
    in_si,
    quantity,
)
from castsugar.cli.screen import remark
from castsugar.constants import DEFAULT_FLOW
from castsugar.errors import InputError, unknown_name

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.comparison.uncertain_inputs import Doubts
    from castsugar.conditions import Conditions
    from castsugar.data.load import Database
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.motor.hardware import Hardware

Drawn = TypeVar("Drawn", "Kitchen", "Hardware")

#: Batch and step of the scale where nothing is stated.
BATCH, STEP = "200 g", "0.1 g"


def add_pressure_option(parser: argparse._ActionsContainer) -> None:
    """Add the pressure in the chamber; None leaves it to the bench file."""
    words = "chamber pressure with unit (default that of the bench, else '1000 psi')"
    typed = quantity("--pressure")
    parser.add_argument("--pressure", type=typed, metavar="PRESSURE", help=words)


def add_nozzle_options(parser: argparse._ActionsContainer) -> None:
    """Add pressure, exit pressure and nozzle flow."""
    add_pressure_option(parser)
    parser.add_argument(
        "--exit-pressure",
        type=exit_pressure,
        metavar="PRESSURE",
        help="pressure at the nozzle exit with unit (default that of the bench, else "
        "'1 atm'), or 'none' for the chamber only",
    )
    words = "no-solidification, equilibrium or frozen (default that of the bench, else "
    words += f"{DEFAULT_FLOW})"
    parser.add_argument("--nozzle-flow", metavar="KIND", help=words)
    add_old_spelling(parser, "--flow", "--nozzle-flow")


def stated_conditions(options: argparse.Namespace, bench: Bench | None) -> Conditions:
    """Return the conditions that hold for a command, and say where they are old.

    Raises
    ------
    InputError
    """
    from castsugar.conditions import resolve

    typed = {
        name: getattr(options, name, None)
        for name in ("pressure", "exit_pressure", "nozzle_flow")
    }
    if bench is None:
        return resolve(**typed)
    from castsugar.bench.conditions import conditions_of

    found = conditions_of(bench, **typed)
    for note in found.notes:
        remark(f"castsugar: {note}")
    return found


def add_condition_options(
    parser: argparse._ActionsContainer, *, uncertainty: bool = True
) -> None:
    """Add the options to a command."""
    add_nozzle_options(parser)
    parser.add_argument(
        "--water-lost",
        type=quantity("--water-lost"),
        metavar="SHARE",
        help="share of the recipe's water that leaves before the cast, 0 to 1 or in "
        "percent (default 0; with --cook, what drying and boiling take)",
    )
    add_syrup_options(parser)
    parser.add_argument(
        "--alternative",
        action="append",
        default=[],
        metavar="INGREDIENT=NAME",
        help="use a rival enthalpy of formation; may be repeated",
    )
    parser.add_argument(
        "--data",
        default="nasa-1993",
        metavar="SET",
        help="combustion products: nasa-1993 (default) or nasa-2002",
    )
    if not uncertainty:
        parser.set_defaults(uncertainty=False)
        return
    parser.add_argument(
        "--uncertainty",
        action="store_true",
        help="show what the data leave open: the other product set, and the "
        "enthalpies of formation",
    )


def read_conditions(options: argparse.Namespace, database: Database) -> Question:
    """Read the shared options as typed, those of the kitchen included."""
    from castsugar.data.load import PRODUCT_SETS

    shelf, world = read_shelf(options), world_of(options)
    if options.data not in PRODUCT_SETS:
        raise unknown_name("product set", options.data, PRODUCT_SETS)
    found = {}
    for word in options.alternative:
        name, equals, rival = word.partition("=")
        if not (equals and name.strip() and rival.strip()):
            raise InputError(
                f"--alternative {word!r} is not of the form INGREDIENT=NAME; write for "
                "example 'sorbitol=polyol cycle'"
            )
        found[name.strip()] = rival.strip()
    lost = in_si(options.water_lost)
    return Question(
        conditions=stated_conditions(options, shelf.bench),
        water_lost=lost,
        alternatives=found,
        data=options.data,
        uncertainty=options.uncertainty,
        kitchen=seeded(read_kitchen(options, database, lost), options),
        motor=seeded(None if world is None else world.motor, options),
        shelf=shelf,
        database=database,
        world=world,
    )


def seeded(drawn: Drawn | None, options: argparse.Namespace) -> Drawn | None:
    """Return a kitchen or a motor with the seed that was typed, if one was."""
    seed = getattr(options, "seed", None)
    if drawn is None or seed is None:
        return drawn
    if seed < 0:
        raise InputError(f"the seed is {seed}; it must be 0 or more")
    return replace(drawn, seed=seed)


def doubts_of(options: argparse.Namespace) -> tuple[float, Doubts]:
    """Return the step of the scale, and what is doubted about a batch."""
    from castsugar.asked import doubts_of as stated_doubts

    world = world_of(options)

    def typed(option: str) -> float | None:
        return in_si(getattr(options, dest(option), None))

    return stated_doubts(
        world.bench if world else None,
        step=typed("--scale-step"),
        batch=typed("--batch"),
    )
