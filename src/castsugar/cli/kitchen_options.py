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


def _browned(kitchen: Kitchen) -> list[str]:
    """Say what a cook that browns the sugar leaves out, or that it leaves nothing."""
    from castsugar.mix.weighing import browned_flag, withheld

    share = kitchen.cook.degraded()
    why = withheld(share)
    text = f"performance not computed: {why}" if why else browned_flag(share)
    return [text] if text else []


def _of_grains(kitchen: Kitchen) -> list[str]:
    """Say what tapping and a fine grind change, and what has no model."""
    from castsugar.kitchen.packing import CLOTS

    lines = []
    if kitchen.tap:
        lines.append(
            f"the mould is tapped: grains pack {100.0 * (kitchen.tapped - 1.0):.2g} % "
            "closer while it fills; no ramming, no drill-driven stirrer in a hot mix"
        )
    if kitchen.grain is not None and kitchen.grain < CLOTS:
        lines.append(
            f"nitrate below {1e6 * CLOTS:g} um clots: that it packs less and has a "
            "yield stress is not modelled"
        )
    return lines


def kitchen_assumptions(kitchen: Kitchen) -> list[str]:
    """Say what was assumed about the kitchen, one line each."""
    from castsugar.units import to_celsius

    cook = kitchen.cook
    held = (
        f"{cook.duration / 60:g} min at {to_celsius(cook.pour_temperature):.4g} C"
        if len(set(cook.temperatures)) == 1
        else f"{cook.duration / 60:g} min, up to {to_celsius(cook.hottest):.4g} C, "
        f"poured at {to_celsius(cook.pour_temperature):.4g} C"
    )
    pan = "pan not known"
    if cook.pan is not None:
        pan = (
            f"{1e3 * cook.pan.batch:.4g} g in a pan of {1e3 * cook.pan.diameter:.4g} mm"
        )
    lines = [f"cook: {held}; {pan}; air {kitchen.air_pressure / 1e3:.4g} kPa"]
    measured = kitchen.belief.measured
    lines.append(
        f"kitchen: {measured} of {len(kitchen.belief.used)} parameters informed by "
        "measurements; "
        f"bands of {kitchen.draws} draws, seed {kitchen.seed}"
        if measured
        else "kitchen: nothing measured yet, pour viscosity known to a factor of 4 or "
        "worse; castsugar kitchen --help shows what to measure"
    )
    return lines + _of_grains(kitchen) + _browned(kitchen)
