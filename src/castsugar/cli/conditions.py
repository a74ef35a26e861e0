"""Options that every computing command shares: pressures, flow, data, water."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

from castsugar.cli.bench_option import (
    Shelf,
    add_syrup_options,
    read_shelf,
    weigh_recipes,
    world_of,
)
from castsugar.cli.kitchen_options import kitchen_assumptions, read_kitchen
from castsugar.cli.motor_options import motor_assumptions
from castsugar.cli.quantities import (
    add_old_spelling,
    dest,
    exit_pressure,
    in_si,
    quantity,
    read,
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
    from castsugar.mix.mix import Mix
    from castsugar.mix.weighing import Lot
    from castsugar.motor.hardware import Hardware
    from castsugar.report.mixes import Mixes
    from castsugar.report.sweep import Many
    from castsugar.thermo.species import SpeciesTable
    from castsugar.units import Quantity

_REAL_MOTORS = (
    "small motors deliver clearly less than this; a firing with pressure and "
    "propellant mass measures how much"
)

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


@dataclass(frozen=True, slots=True)
class Shared:
    """The shared options, read."""

    conditions: Conditions
    water_lost: float | None
    alternatives: dict[str, str]
    data: str
    uncertainty: bool
    kitchen: Kitchen | None
    motor: Hardware | None
    shelf: Shelf
    database: Database

    @property
    def pressure(self) -> Quantity:
        """In the chamber."""
        return self.conditions.pressure

    @property
    def leaving(self) -> Quantity | None:
        """Pressure at the exit; None for the chamber only."""
        return self.conditions.exit_pressure

    @property
    def flow(self) -> str:
        """How the products expand."""
        return self.conditions.nozzle_flow

    @property
    def species(self) -> SpeciesTable:
        """The product set asked for."""
        from castsugar.rows import species_set

        return species_set(self.data)

    def for_table(self, mixes: int) -> Shared:
        """Return them for a table of so many mixes: a large one takes few draws."""
        from castsugar.draw_set import draws_of

        kitchen, motor = self.kitchen, self.motor
        if kitchen is not None:
            kitchen = kitchen.changed(draws=draws_of(mixes, kitchen.draws))
        if motor is not None:
            motor = replace(motor, draws=draws_of(mixes, motor.draws))
        return replace(self, kitchen=kitchen, motor=motor)

    def draws_words(self, mixes: int) -> str:
        """Say that a table takes few draws; empty if it takes all, or none."""
        from castsugar.draw_set import DRAWS, FEW_DRAWS, MANY

        if mixes <= MANY or (self.kitchen is None and self.motor is None):
            return ""
        return f"{FEW_DRAWS} of {DRAWS:,} draws, for more than {MANY} mixes"

    def evaluate_options(self) -> dict[str, Any]:
        """Return the options as those of :func:`castsugar.evaluate`."""
        return {
            **self.conditions.options(),
            "data_uncertainty": self.uncertainty,
            "kitchen": self.kitchen,
            "motor": self.motor,
            "species": self.species,
        }

    def weigh(self, recipes: Sequence[str]) -> list[Mix]:
        """Read recipes as typed, weighed as the options say."""
        return weigh_recipes(
            self.database,
            list(recipes),
            water_lost=self.water_lost or 0.0,
            alternatives=self.alternatives,
            shelf=self.shelf,
        )

    def told(self, found: Mixes | Many, more: Sequence[str] = ()) -> dict[str, Any]:
        """Return what a document says beside the numbers; `more` was assumed, too."""
        return {
            "version": self.database.version,
            **self.to_dict(),
            "assumptions": [*found.notes, *more],
            "cautions": list(found.cautions_in_full),
        }

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        syrup = self.syrup
        return {
            "conditions": self.conditions.to_dict(),
            "water_lost": self._water_lost(),
            "enthalpy_alternatives": self.alternatives,
            "product_set": self.data,
            "syrup_dry_solids": syrup and syrup.dry_solids,
            "syrup_dextrose_equivalent": syrup and syrup.dextrose_equivalent,
        }

    @property
    def syrup(self) -> Lot | None:
        """What is stated about every syrup."""
        return self.shelf.syrup

    def lots_for(self, database: Database, items: Sequence[str]) -> dict[str, Lot]:
        """Return the lots of ingredients, by catalogue name."""
        return self.shelf.of(database, [items])[0]

    def _water_lost(self) -> float | None:
        """Return the share that is stated; None if the kitchen decides."""
        if self.water_lost is None and self.kitchen is None:
            return 0.0
        return self.water_lost

    def pressures_text(self) -> str:
        """Say the pressures, as typed beside SI."""
        text = f"chamber {self.pressure.echo()} ({self.pressure.value / 1e6:.4g} MPa)"
        if self.leaving is not None:
            text += (
                f"; optimum expansion to {self.leaving.echo()} "
                f"({self.leaving.value / 1e3:.4g} kPa)"
            )
        return text

    def assumptions(self) -> list[str]:
        """Say what was assumed, one line each."""
        from castsugar.thermo.flow import FLOWS

        lost = self._water_lost()
        leaves = "what drying and boiling take" if lost is None else f"{100 * lost:g} %"
        exits = self.leaving is not None
        lines = [
            self.pressures_text(),
            *([f"flow {self.flow}: {FLOWS[self.flow]}"] if exits else []),
            f"{leaves} of the recipe's water leaves before the cast; the rest takes "
            "part in the burning",
            "ingredients at 25 C; ideal gas; condensed products without volume, as "
            f"warm and as fast as the gas; products {self.data}",
        ]
        if self.syrup is not None:
            lines.append(f"syrup at hand: {_lot_text(self.syrup)}")
        lots = self.shelf.lots.items()
        lines += [f"lot of {name}: {_lot_text(lot)}" for name, lot in lots]
        if self.kitchen is not None:
            lines += kitchen_assumptions(self.kitchen)
        if self.motor is not None:
            lines += motor_assumptions(self.motor)
        rivals = self.alternatives.items()
        lines += [f"enthalpy of {name}: rival value {rival}" for name, rival in rivals]
        if self.uncertainty:
            lines.append(
                "± is one standard uncertainty of the data alone: other product set "
                "and enthalpies of formation"
            )
        return [*lines, _REAL_MOTORS]


def _lot_text(lot: Lot) -> str:
    """Say what is stated about a bag or bottle."""
    parts = (
        (lot.assay, 100, "assay {:g} % (dry basis)"),
        (lot.moisture or None, 100, "{:g} % water"),
        (lot.inert or None, 100, "{:g} % inert (dry basis)"),
        (lot.dry_solids, 100, "{:g} % dry solids"),
        (lot.dextrose_equivalent, 1, "dextrose equivalent {:g}"),
    )
    return ", ".join(
        words.format(scale * stated)
        for stated, scale, words in parts
        if stated is not None
    )


def read_conditions(options: argparse.Namespace, database: Database) -> Shared:
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
    return Shared(
        conditions=stated_conditions(options, shelf.bench),
        water_lost=lost,
        alternatives=found,
        data=options.data,
        uncertainty=options.uncertainty,
        kitchen=seeded(read_kitchen(options, database, lost), options),
        motor=seeded(None if world is None else world.motor, options),
        shelf=shelf,
        database=database,
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
    from castsugar.comparison.uncertain_inputs import Doubts

    world = world_of(options)
    scale: dict[str, Any] = (world.bench.scale if world else None) or {}
    search: dict[str, Any] = (world.bench.search if world else None) or {}

    def stated(option: str, known: float | None, default: str) -> float:
        typed = getattr(options, dest(option), None)
        if typed is None and known is not None:
            return known
        return float((typed or read(option, default)).value)

    step = stated("--scale-step", scale.get("step"), STEP)
    batch = stated("--batch", search.get("batch"), BATCH)
    if step > batch:
        raise InputError(
            f"the scale step is {1e3 * step:g} g, the batch {1e3 * batch:g} g; it must "
            "be at least one step"
        )
    accuracy = scale.get("accuracy") or 0.5 * step
    return step, Doubts(weighing=min(accuracy, 0.2 * batch), batch=batch)
