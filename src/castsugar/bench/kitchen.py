"""From the kitchen table of a bench file to a Kitchen that has learnt from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar.bench.bench import Bench
from castsugar.bench.lots import lots_of
from castsugar.bench.tables import STATABLE
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.kitchen import calibration, measurements, viscometry
from castsugar.kitchen.calibration import Learnt
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.kitchen.measurements import Measurement, boiling_water
from castsugar.kitchen.packing import GRINDS, POWDERED, Grind
from castsugar.kitchen.pan import INTERVAL, ROOM, Pan
from castsugar.kitchen.parameters import Belief, Kitchen, unmeasured
from castsugar.kitchen.water import air_pressure
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe

if TYPE_CHECKING:
    from castsugar.kitchen.handling import Grain, Store


def learn(bench: Bench | None, cook: Cook | None, database: Database) -> Learnt:
    """Return the kitchen of a bench file, its measurements used in their order.

    Parameters
    ----------
    bench : Bench or None
        Without one nothing was measured.
    cook : Cook or None
        The one asked for; the file's own by default.

    Raises
    ------
    InputError
        If no cook is known, or a value of the file cannot be used.
    """
    table = bench.kitchen if bench else {}
    air, pan, grind = _air(table), pan_of(bench), _grind(bench, database)
    kitchen = Kitchen(
        cook=replace(cook or _own_cook(bench), pan=pan),
        belief=_ground(_stated(bench), grind),
        air_pressure=air,
        syrup=_syrup(bench, database),
        invented=bench.invented_in("kitchen") if bench else (),
        grain=grind.size,
        tap=bool(table.get("tap")),
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


def store_of(bench: Bench | None) -> Store:
    """Return where the grains of a bench file are kept."""
    from castsugar.kitchen.handling import Store

    table = bench.kitchen if bench else {}
    humidity = table.get("room_humidity")
    return Store(
        humidity=None if humidity is None else 100.0 * humidity,
        bag=table.get("bag_area_m2"),
        gel=table.get("silica_gel") or 0.0,
    )


def grain_of(bench: Bench | None) -> Grain:
    """Return the grain that is cast: that of [motor.grain] where it is a cylinder."""
    from castsugar.kitchen.handling import Grain

    shape = ((bench.motor or {}) if bench else {}).get("grain") or {}
    if "outer" not in shape:
        return Grain()
    return Grain(outer=shape["outer"], core=shape["core"], length=shape["length"])


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
    values = {k: v for k, v in entry.items() if k not in _BESIDE}
    if entry["kind"] in _COLD:
        return _COLD[entry["kind"]](**values, label=label)
    if entry["kind"] == "boiling water":
        return boiling_water(**values, air_pressure=air, label=label)
    if entry["kind"] == "clear point":
        mix = _liquid(values.pop("liquid"), values.pop("syrup"), database)
        return measurements.clear_point(mix, **values, label=label)
    recipe = parse_recipe(entry["recipe"], where="recipe")
    mix = Mix.weigh(recipe, name=recipe.text, database=database)
    cook = parse_cook(entry["cook"], entry["minutes"])
    cook = replace(cook, pan=_used_pan(entry, pan))
    if entry["kind"] == "pan weight":
        return measurements.pan_weight(
            mix, cook, **values, air_pressure=air, label=label
        )
    return viscometry.flow_out(mix, cook, **values, air_pressure=air, label=label)


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


#: Keys of a measurement that say in which pan it was made.
_IN_THE_PAN = ("pan_diameter", "stirring_interval")

#: Keys of a measurement that are no arguments of it.
_BESIDE = (
    "kind",
    "date",
    "note",
    "recipe",
    "cook",
    "minutes",
    "layer",
    "bore",
    *_IN_THE_PAN,
)

#: Measurements that need no mix.
_COLD: dict[str, Callable[..., Measurement]] = {
    "bulk density": measurements.bulk_density,
    "brine": measurements.brine,
    "ball fall": viscometry.ball_fall,
}


def _liquid(typed: str, syrup: str, database: Database) -> Mix:
    """Return the liquid of a clear point: one of the protocol, or a recipe."""
    if typed.strip().upper() in measurements.LIQUIDS:
        name = typed.strip().upper()
        parts = dict(zip((syrup, "sucrose"), measurements.LIQUIDS[name], strict=True))
        parts = {one: part for one, part in parts.items() if part}
        return Mix.weigh(parts, name=f"liquid {name}", database=database)
    if ":" not in typed:
        raise InputError(
            f"liquid is {typed!r}; allowed are A (plain syrup), B (10 syrup to 4 "
            "sugar), or what you weighed: 'corn syrup:10 sugar:4 water:1'"
        )
    recipe = parse_recipe(typed, where="liquid")
    mix = Mix.weigh(recipe, name=recipe.text, database=database)
    used = {one.name for one in mix.syrups} - {database.find(syrup).name}
    if used:
        other = next(iter(used))
        raise InputError(f"liquid holds {other!r}, syrup is {syrup!r}; say which")
    return mix


def _check_syrup(
    entry: Mapping[str, Any], kitchen: Kitchen, database: Database
) -> None:
    """Refuse what was measured in another syrup than the kitchen's."""
    if "syrup" not in entry:
        return
    name = database.find(entry["syrup"]).name
    if name != kitchen.syrup:
        raise InputError(
            f"it was done in {name!r}, the kitchen's syrup is {kitchen.syrup!r}; "
            'write the one that you use as syrup = "..." into [kitchen]'
        )


def _grind(bench: Bench | None, database: Database) -> Grind:
    """Return the grind of the nitrate that is weighed."""
    lots = bench.lots if bench is not None else {}
    if bench is None or not any(lot["grind"] for lot in lots.values()):
        return GRINDS["not stated"]
    used = lots_of(bench, database, only=["potassium nitrate"])
    stated = [record.grind for _, record in used.values()]
    return next((one for one in stated if one), GRINDS["not stated"])


def _ground(belief: Belief, grind: Grind) -> Belief:
    """Return the belief with what a grind says of dry powder and of fines."""
    if grind.size is None:
        return belief
    told = "the grind of the nitrate that its lot states"
    belief = belief.with_value("dry_packing", grind.dry, grind.spread, f"guess: {told}")
    if grind.size <= POWDERED:
        return belief
    half = f"guess: half of what ideally mixed spheres gain, by {told}"
    return belief.with_value("fines_gain", 0.5, 0.5, half)


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
