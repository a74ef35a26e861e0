"""What ``castsugar weigh`` reads of its options and the bench file."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from castsugar.cli.quantities import in_si
from castsugar.cli.screen import remark

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.mix import Mix
    from castsugar.motor.hardware import Hardware
    from castsugar.weigh.charge import Charge
    from castsugar.weigh.correction import Conditions
    from castsugar.weigh.sheet import Sheet

#: The water that leaves does not come into this: a kitchen of few draws will do.
_CAST_DRAWS = 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setting:
    """The user's world, as far as a sheet needs it.

    Attributes
    ----------
    bench : Bench or None
    charge : Charge
    mix : Mix
        As cast.
    conditions : Conditions
    pressure_words : str
    """

    bench: Bench | None
    charge: Charge
    mix: Mix
    conditions: Conditions
    pressure_words: str

    @property
    def kitchen(self) -> Kitchen | None:
        """The kitchen, if there is a cook."""
        return self.conditions.kitchen

    @property
    def motor(self) -> Hardware | None:
        """The motor of the bench file."""
        return self.conditions.motor


def read_setting(options: argparse.Namespace, database: Database) -> Setting:
    """Read recipe, bench file, cook and pressure.

    Raises
    ------
    InputError
        And whatever the parts refuse.
    """
    from castsugar.cli.bench_option import world_of
    from castsugar.cli.conditions import stated_conditions
    from castsugar.weigh.charge import read_charge
    from castsugar.weigh.correction import Conditions

    world = world_of(options)
    bench = world.bench if world else None
    charge = read_charge(options.recipe, bench, database, wanted=options.lot)
    lost = in_si(options.water_lost)
    kitchen = _kitchen(options, world, database, lost)
    stated = stated_conditions(options, bench)
    return Setting(
        bench=bench,
        charge=charge,
        mix=_as_cast(charge, kitchen, lost or 0.0),
        conditions=Conditions(
            **stated.options(),
            water_lost=lost or 0.0,
            kitchen=kitchen,
            motor=world.motor if world else None,
        ),
        pressure_words=stated.pressure.echo(),
    )


def _kitchen(
    options: argparse.Namespace,
    world: World | None,
    database: Database,
    lost: float | None,
) -> Kitchen | None:
    """Return the kitchen of --cook, or of the cook in [kitchen]; None without."""
    from castsugar.bench.kitchen import learn
    from castsugar.cli.kitchen_options import read_cook

    cook = read_cook(options)
    own = world is not None and world.kitchen is not None
    if cook is None and not own:
        return None
    learnt = learn(None, cook, database) if world is None else world.learnt(cook)
    for outcome in learnt.calibration.contradictions:
        remark(f"castsugar: {options.bench}: {outcome.sentence()}")
    return learnt.kitchen.changed(water_lost=lost)


def _as_cast(charge: Charge, kitchen: Kitchen | None, lost: float) -> Mix:
    """Return the mix with the water that leaves: none without a kitchen model."""
    from castsugar.kitchen.pour_table import cook
    from castsugar.mix.blends import of_mixes

    mix = charge.mix()
    if kitchen is None:
        return mix.with_water_lost(lost)
    few = replace(kitchen, draws=_CAST_DRAWS)
    cooked = cook(of_mixes([mix]), few, window=False)
    return cooked.blends.mixes[0]


def make_sheet(options: argparse.Namespace, setting: Setting) -> Sheet:
    """Return the sheet of the castings or of the batch asked for.

    Raises
    ------
    InputError
    """
    from castsugar.errors import InputError
    from castsugar.motor.hardware import DENSITY_RATIO
    from castsugar.weigh.charge import STRANDS, equipment_of, pieces_of, sizes_of
    from castsugar.weigh.sheet import plan

    counts = (options.grains, options.strands, options.delays)
    equipment = equipment_of(setting.bench, in_si(options.scale_step))
    motor = setting.motor
    ratio = motor.density_ratio if motor is not None else DENSITY_RATIO
    if options.batch is not None:
        if any(count is not None for count in counts):
            raise InputError(
                "--batch and --grains, --strands or --delays are both given; give one"
            )
        return plan(
            setting.charge,
            equipment,
            mix=setting.mix,
            batch=options.batch.value,
            density_ratio=ratio,
        )
    if all(count is None for count in counts):
        raise InputError(
            "what is to be cast? give --grains 4 with a bench file, or --batch '200 g'"
        )
    usual = STRANDS if options.grains else 0
    pieces = pieces_of(
        motor.grain if motor is not None else None,
        sizes_of(setting.bench),
        grains=options.grains or 0,
        strands=usual if options.strands is None else options.strands,
        delays=options.delays or 0,
    )
    return plan(
        setting.charge,
        equipment,
        mix=setting.mix,
        pieces=pieces,
        density_ratio=ratio,
    )


def read_actual(words: Sequence[str], charge: Charge) -> dict[str, float]:
    """Read what the scale showed, by catalogue name. [kg]

    Raises
    ------
    InputError
    """
    from castsugar import plausible
    from castsugar.errors import InputError

    found: dict[str, float] = {}
    for word in words:
        name, equals, typed = word.partition("=")
        if not (equals and name.strip() and typed.strip()):
            raise InputError(
                f"--actual {word!r} is not of the form NAME=MASS; write for example "
                "'KNO3=301.2 g'"
            )
        item = charge.find(name.strip(), "--actual")
        if item in found:
            raise InputError(
                f"--actual names {charge.typed[item]!r} twice; give what the scale "
                "showed in the end"
            )
        where = f"--actual {word!r}"
        found[item] = plausible.read(typed, "mass on the scale", where=where).value
    return found


def assumptions(setting: Setting, sheet: Sheet) -> list[str]:
    """Say what was assumed, one line each."""
    from castsugar.cli.kitchen_options import kitchen_assumptions
    from castsugar.cli.motor_options import motor_assumptions

    equipment = sheet.equipment
    said = [
        "amounts of the recipe are as weighed: each line with the water of its lot, "
        "without what stays in the cup"
    ]
    if setting.kitchen is not None:
        said += kitchen_assumptions(setting.kitchen)
    elif setting.conditions.water_lost:
        said.append(
            f"{100.0 * setting.conditions.water_lost:.3g} % of the recipe's water "
            "leaves, as you say"
        )
    else:
        said.append(
            "no water leaves: say --cook '119 C' --minutes 8, or --water-lost '15 %'"
        )
    usual = {
        "step": f"scale in steps of {1e3 * equipment.step:g} g",
        "residue_cup": f"{1e3 * equipment.residue_cup:g} g of syrup stay in a cup",
        "residue_pan": f"{1e3 * equipment.residue_pan:g} g stay in pan and tools",
    }
    said += [
        f"{usual[name]}: common practice, no source; weigh yours for [scale] and [pan]"
        for name in equipment.assumed
        if name != "residue_cup" or sheet.cups
    ]
    said += _sizes(setting, sheet)
    said.append(
        f"casting at {100.0 * sheet.density_ratio:.3g} % of the density without voids, "
        f"{sheet.density:.0f} kg/m3; shrinking on cooling not modelled"
    )
    if setting.charge.dummy:
        return said
    flow = setting.conditions.flow
    said.append(f"c* ideal, flow {flow}, at {setting.pressure_words}")
    if setting.motor is not None:
        said += motor_assumptions(setting.motor)
    return said


def _sizes(setting: Setting, sheet: Sheet) -> list[str]:
    """Say which sizes nobody stated."""
    from castsugar.weigh.charge import sizes_of

    assumed = sizes_of(setting.bench).assumed
    return [
        f"size of a {piece.kind}: common practice, no source; state yours in [casting]"
        for piece in sheet.pieces
        if piece.kind.split()[0] in assumed
    ]
