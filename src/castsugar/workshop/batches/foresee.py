"""What is foreseen of a batch: its mix as cast, and its row of the table."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.data.load import Database
from castsugar.evaluation import evaluate
from castsugar.kitchen.heat import parse_cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.pour_table import cook
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import Lot
from castsugar.workshop.batches.frozen import thaw
from castsugar.workshop.batches.record import Made
from castsugar.workshop.bench import Bench
from castsugar.workshop.kitchen_bench import learn
from castsugar.workshop.lots import Lots, lots_of
from castsugar.workshop.motor_bench import hardware_of


def kitchen_of(made: Made, bench: Bench | None, database: Database) -> Kitchen | None:
    """Return the kitchen that a batch was cooked in; None without a cook.

    Raises
    ------
    InputError
    """
    if not made.cook:
        return None
    typed = parse_cook(made.cook, made.minutes, where="cook")
    return learn(bench, typed, database).kitchen


def used_lots(made: Made, bench: Bench | None, database: Database) -> Lots:
    """Return the lots that a batch was weighed from, by catalogue name.

    Those that the record names; while it names none, those in use.
    """
    if bench is None:
        return {}
    wanted = [str(lot["name"]) for lot in made.lots.values()]
    return lots_of(bench, database, wanted=wanted, only=made.planned)


def _weighed(
    made: Made, bench: Bench | None, database: Database, water_lost: float | None
) -> Mix:
    """Return the mix of the masses as made, with the water loss that is stated."""
    lots: Mapping[str, Lot] = {
        item: lot for item, (lot, _) in used_lots(made, bench, database).items()
    }
    return Mix.put_together(
        made.masses,
        name=made.name or made.recipe,
        water_lost=water_lost or 0.0,
        lots=lots,
        database=database,
    )


def cast(
    made: Made,
    bench: Bench | None,
    database: Database,
    *,
    water_lost: float | None = None,
) -> Mix:
    """Return the mix of a batch as cast, of the masses as made.

    Parameters
    ----------
    made : Made
    bench : Bench or None
    database : Database
    water_lost : float, optional
        Share of the recipe's water that leaves; by default what the kitchen says, and
        none without a cook.

    Raises
    ------
    CastsugarError
    """
    mix = _weighed(made, bench, database, water_lost)
    kitchen = kitchen_of(made, bench, database)
    if kitchen is None:
        return mix
    known = kitchen.changed(water_lost=water_lost)
    cooked = cook([mix], of_mixes([mix]), known, window=False)
    return cooked.mixes[0] if cooked.mixes else mix


def foresee(
    made: Made,
    bench: Bench | None,
    database: Database,
    *,
    water_lost: float | None = None,
) -> tuple[dict[str, Any], float]:
    """Return the row of a batch, and the share of its water that leaves.

    Parameters
    ----------
    made : Made
        Masses, cook and pressure; what it foresees is not looked at.
    bench, database, water_lost
        As for :func:`cast`.

    Raises
    ------
    CastsugarError
    """
    kitchen = kitchen_of(made, bench, database)
    motored = bench is not None and bench.motor is not None
    table = evaluate(
        [_weighed(made, bench, database, water_lost)],
        pressure=made.pressure,
        exit_pressure=STANDARD_ATMOSPHERE,
        kitchen=kitchen.changed(water_lost=water_lost) if kitchen else None,
        motor=hardware_of(bench, database) if bench and motored else None,
        confirm=True,
    )
    row = {str(k): _plain(v) for k, v in table.to_dict("records")[0].items()}
    lost = cast(made, bench, database, water_lost=water_lost).water_lost
    return row, lost


def _plain(value: Any) -> Any:
    """Return a number or a text; whatever numpy made of it."""
    return value.item() if hasattr(value, "item") else value


def mix_of(made: Made, folder: Path, database: Database) -> Mix:
    """Return the mix of a kept batch as cast, by the bench file of that day.

    Raises
    ------
    CastsugarError
    """
    bench = thaw(made.bench, folder)
    return cast(made, bench, database, water_lost=made.water_lost)
