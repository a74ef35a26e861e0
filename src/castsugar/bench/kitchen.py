"""From the kitchen table of a bench file to a Kitchen that has learnt from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.bench.tables import STATABLE
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.kitchen import calibration, measurements
from castsugar.kitchen.calibration import Learnt
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.pan import INTERVAL, ROOM, Pan
from castsugar.kitchen.parameters import Belief, Kitchen, unmeasured
from castsugar.kitchen.water import air_pressure
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe


def learn(bench: Bench | None, cook: Cook | None, database: Database) -> Learnt:
    """Return the kitchen of a bench file, its measurements used in their order.

    Parameters
    ----------
    bench : Bench or None
        Without one nothing was measured.
    cook : Cook or None
        The one asked for; the file's own by default.
    database : Database

    Raises
    ------
    InputError
        If no cook is known, or a value of the file cannot be used.
    """
    table = bench.kitchen if bench else {}
    air, pan = _air(table), pan_of(bench)
    kitchen = Kitchen(
        cook=replace(cook or _own_cook(bench), pan=pan),
        belief=_stated(bench),
        air_pressure=air,
        syrup=_syrup(bench, database),
        invented=bench.invented_in("kitchen") if bench else (),
        **_given(table, ("degradation_limit",)),
    )
    measured = []
    for index, entry in enumerate(table.get("measured", []), start=1):
        try:
            one = measurement(entry, air, database, pan, label=f"no. {index}")
            name = f"kitchen.measured[{index - 1}]"
            made_up = bench is not None and bool(bench.invented_in(name))
            measured.append(replace(one, invented=made_up))
            _check_syrup(entry, kitchen, database)
        except CastsugarError as error:
            where = f"{bench.path if bench else ''}, measurement {index}: "
            where = "" if where.startswith("command line") else where
            raise InputError(f"{where}{entry['kind']}: {error}") from None
    return calibration.calibrate(kitchen, measured)


def pan_of(bench: Bench | None) -> Pan | None:
    """Return the pan of a bench file with its usual batch; None without its size."""
    table = bench.kitchen if bench else {}
    if table.get("pan_diameter") is None:
        return None
    rate = table["heating_rate"]
    return Pan(
        batch=table["batch"],
        diameter=table["pan_diameter"],
        interval=table["stirring_interval"] or INTERVAL,
        mass=table["pan_mass"],
        material=table["pan_material"] or "steel",
        watts=table["heater_watts"],
        rate=None if rate is None else rate / 60.0,
        room=table["room_temperature"] or ROOM,
    )


def measurement(
    entry: Mapping[str, Any],
    air: float,
    database: Database,
    pan: Pan | None = None,
    label: str = "",
) -> Measurement:
    """Return a measurement from the checked keys of its kind, made in a pan.

    Raises
    ------
    InputError
    """
    values = {
        k: v
        for k, v in entry.items()
        if k not in ("kind", "date", "note", "recipe", "cook", "minutes", *_IN_THE_PAN)
    }
    if entry["kind"] == "bulk density":
        return measurements.bulk_density(**values, label=label)
    if entry["kind"] == "ball fall":
        return measurements.ball_fall(**values, label=label)
    recipe = parse_recipe(entry["recipe"], where="recipe")
    mix = Mix.weigh(recipe, name=recipe.text, database=database)
    cook = parse_cook(entry["cook"], entry["minutes"])
    cook = replace(cook, pan=_used_pan(entry, pan))
    if entry["kind"] == "pan weight":
        return measurements.pan_weight(
            mix, cook, **values, air_pressure=air, label=label
        )
    return measurements.flow_out(mix, cook, **values, air_pressure=air, label=label)


#: Keys of a measurement that say in which pan it was made.
_IN_THE_PAN = ("pan_diameter", "stirring_interval")


def _used_pan(entry: Mapping[str, Any], pan: Pan | None) -> Pan | None:
    """Return the pan of a measurement: the kitchen's with what the entry says."""
    own = {k: entry[k] for k in _IN_THE_PAN if entry.get(k) is not None}
    if pan is None:
        if own:
            raise InputError(
                f"{next(iter(own))} needs pan_diameter and batch in [kitchen]: what "
                "one pan lost tells of another by mass over area"
            )
        return None
    return replace(
        pan,
        batch=entry.get("batch", pan.batch),
        diameter=own.get("pan_diameter", pan.diameter),
        interval=own.get("stirring_interval", pan.interval),
    )


def _check_syrup(
    entry: Mapping[str, Any], kitchen: Kitchen, database: Database
) -> None:
    """Refuse a ball that fell in another syrup than the kitchen's."""
    if entry["kind"] != "ball fall":
        return
    name = database.find(entry["syrup"]).name
    if name != kitchen.syrup:
        raise InputError(
            f"the ball fell in {name!r}, the kitchen's syrup is {kitchen.syrup!r}; "
            'write the one that you use as syrup = "..." into [kitchen]'
        )


def _given(table: Mapping[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    """Return those of the names that the table states."""
    return {n: table[n] for n in names if table.get(n) is not None}


def _air(table: Mapping[str, Any]) -> float:
    """Return the air pressure that the table states. [Pa]"""
    if table.get("air_pressure") is not None:
        return float(table["air_pressure"])
    if table.get("altitude") is not None:
        return air_pressure(table["altitude"])
    return STANDARD_ATMOSPHERE


def _own_cook(bench: Bench | None) -> Cook:
    """Return the cook of the file."""
    table = bench.kitchen if bench else {}
    if table.get("cook") is None:
        where = f" and {bench.path} has none in [kitchen]" if bench else ""
        raise InputError(
            f"no cook was given{where}; add --cook '119 C' --minutes 8, or points of "
            "time and temperature"
        )
    where = f"{bench.path if bench else ''}, [kitchen] cook"
    return parse_cook(table["cook"], table["minutes"], where=where)


def _stated(bench: Bench | None) -> Belief:
    """Return the prior belief with what the file states."""
    belief = unmeasured()
    if pan_of(bench) is not None:
        belief = belief.knowing_the_layer()
    for name in STATABLE:
        entry = bench.kitchen[name] if bench else None
        if entry is not None:
            try:
                made_up = bench is not None and bench.invented_in(f"kitchen.{name}")
                belief = belief.with_value(
                    name,
                    entry["value"],
                    entry["spread"],
                    entry["origin"] + (" (invented)" if made_up else ""),
                )
            except CastsugarError as error:
                where = f"{bench.path if bench else ''}, [kitchen.{name}]"
                raise InputError(f"{where}: {error}") from None
    return belief


def _syrup(bench: Bench | None, database: Database) -> str:
    """Return the catalogue name of the syrup that is measured."""
    wanted = bench.kitchen["syrup"] if bench else "corn syrup"
    name = database.find(wanted).name
    if name not in database.syrups:
        where = f"{bench.path if bench else ''}, [kitchen] syrup"
        raise InputError(f"{where} is {wanted!r}, which is no syrup")
    return name
