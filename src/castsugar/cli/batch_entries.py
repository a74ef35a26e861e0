"""What is entered into the record of a batch: its making, events, firings."""

from __future__ import annotations

import argparse
import datetime
import hashlib
import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar import plausible, units
from castsugar.bench.bench import Bench, read_bench, read_measurement
from castsugar.bench.burned import other_recipe
from castsugar.bench.kitchen import measurement
from castsugar.bench.motor import hardware_of
from castsugar.checks import day
from castsugar.cli.conditions import stated_conditions
from castsugar.cli.filmed import film, refuse_stray
from castsugar.cli.firing_options import (
    add_stand_options,
    read_file,
    read_recorded,
    read_stand,
)
from castsugar.cli.quantities import in_si
from castsugar.data.load import Database, load_database
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.files.reading import sha256_of
from castsugar.kitchen.heat import parse_cook
from castsugar.mix.mix import PROCESSES
from castsugar.mix.text import Recipe, parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.firing.law_doubts import SIZE_DOUBT
from castsugar.readings.strand_files import read_strands
from castsugar.records.batch import Batch
from castsugar.records.folder import check_allowed
from castsugar.records.launch import UPTAKE, Day, measured
from castsugar.records.prediction import (
    foresee,
    freeze,
    keeps_motor,
    measurement_of,
    mix_of,
    read_actual,
    relative,
    results_of,
    thaw,
    used_lots,
)
from castsugar.records.record import GRAIN, Event, Made
from castsugar.report.document import versions
from castsugar.weigh.charge import equipment_of, read_charge
from castsugar.weigh.sheet import plan

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.motor.hardware import Hardware
    from castsugar.records.learning.checks import Check, Skipped
    from castsugar.records.learning.firings import Reduce
    from castsugar.static_test import StaticTest


# ----------------------------------------------------------------------------
# The date of an entry: as typed, or today.


def date_of(typed: str | None) -> str:
    """Return a date as 2026-05-02; today if none was typed.

    Raises InputError.
    """
    if typed is None:
        return datetime.date.today().isoformat()
    try:
        return day(typed)
    except InputError as error:
        raise InputError(f"--date {error}") from None


# ----------------------------------------------------------------------------
# A static test of a batch: reduced now, and again later from what the record keeps.


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    add_stand_options(parser)
    return parser


def stand_options(options: argparse.Namespace) -> dict[str, Any]:
    """Return the options about the stand that were typed, by name."""
    usual = vars(_parser().parse_args([]))
    return {
        name: getattr(options, name)
        for name, value in usual.items()
        if getattr(options, name) != value
    }


def again(kept: Mapping[str, Any]) -> argparse.Namespace:
    """Return the options of a kept firing as if they were typed now."""
    options = _parser().parse_args([])
    for name, value in kept.items():
        if name != "motor" and not hasattr(options, name):
            raise InputError(
                f"option {name!r} of a firing is not known to this version"
            )
        setattr(options, name, value)
    options.motor = kept.get("motor")
    return options


def reduce_firing(
    path: Path, kept: Mapping[str, Any], batch: Batch, database: Database
) -> StaticTest:
    """Reduce a recording of a batch.

    Parameters
    ----------
    path : pathlib.Path
        The recording; of no account for a firing that was filmed.
    kept : mapping
        Options of ``castsugar firing`` as typed, of a :class:`Link`; `motor` is the
        name of a bench file from the folder of the record.
    batch : Batch
        Gives the mix as cast, and the motor of that day where none is named.

    Raises CastsugarError.
    """
    from castsugar.cli.firing_options import read_size
    from castsugar.motor.firing.reduction import reduce_recording
    from castsugar.readings.recordings import check_order
    from castsugar.static_test import review

    options = again(kept)
    hardware = _hardware(kept, batch, database)
    if options.frames is not None:
        return film(options, hardware, mix_of(batch.made, batch.path.parent, database))
    recording = read_file(options, path)
    check_order(recording)
    stand = read_stand(options, hardware, recording)
    reduction = reduce_recording(read_recorded(options, recording, stand), stand)
    size = read_size(options)
    mix = mix_of(batch.made, batch.path.parent, database)
    return review(reduction, mix=mix, hardware=hardware, size_u=size)


def reducer(database: Database) -> Reduce:
    """Return what reduces a recording with the options that a record keeps."""
    return partial(reduce_firing, database=database)


def _hardware(
    kept: Mapping[str, Any], batch: Batch, database: Database
) -> Hardware | None:
    """Return the motor that a firing names, or that of the record."""
    folder = batch.path.parent
    if "motor" in kept:
        return hardware_of(read_bench(folder / kept["motor"]), database)
    try:
        bench = thaw(batch.made.bench, folder)
        if bench is None or bench.motor is None:
            return None
        return hardware_of(bench, database)
    except CastsugarError as error:
        raise type(error)(
            f"the motor kept in {batch.id}: {error}; --motor FILE names another bench "
            "file"
        ) from None


def _in_the_pan(typed: str, where: str, batch: Batch) -> float:
    """Return a mass of grains, no more than the batch had in the pan. [kg]"""
    return _cast_of(
        plausible.read(typed, "propellant mass", where=where).value, where, batch
    )


def _cast_of(mass: float, where: str, batch: Batch) -> float:
    """Return a mass of grains, no more than the batch had in the pan. [kg]"""
    if mass > batch.made.mass:
        raise InputError(
            f"{where} is {1e3 * mass:.4g} g, and {batch.id} had only "
            f"{1e3 * batch.made.mass:.4g} g in the pan; give what the grains of this "
            "batch weighed, or the batch that they are of"
        )
    return mass


def compared(batch: Batch) -> tuple[tuple[Check, ...], tuple[Skipped, ...]]:
    """Hold what was measured of a batch against what was predicted of it."""
    kinds = {event.kind for event in batch.standing}
    if not kinds & {"measured", "burned", "fired"}:
        return (), ()
    from castsugar.records.learning.firings import read_firings
    from castsugar.records.learning.learnt import compare_batches

    database = load_database()
    firings = read_firings([batch], reducer(database)).firings
    return compare_batches([batch], firings, database)


# ----------------------------------------------------------------------------
# ``castsugar batch card``: the grains on the day.


def day_of(options: argparse.Namespace, batch: Batch) -> Day:
    """Return what was typed of the grains on the day.

    Raises InputError.
    """

    def typed(name: str, quantity: str) -> float | None:
        text = getattr(options, name)
        if text is None:
            return None
        where = f"--{name.replace('_', '-')}"
        return plausible.read(text, quantity, where=where).value

    cast = typed("cast_mass", "propellant mass")
    uptake = typed("uptake", "water uptake")
    mass, grains = typed("mass", "propellant mass"), batch.grains
    if options.grain:
        if mass is not None:
            raise InputError("--mass and --grain both weigh the grains; leave one out")
        grains = read_grains(options.grain)
        mass = math.fsum(one["mass_kg"] for one in grains)
    bench = None if options.bench is None else read_bench(Path(options.bench))
    size = in_si(options.grain_uncertainty)
    return Day(
        date=date_of(options.date),
        mass=mass,
        cast_mass=batch.cast_mass if cast is None else cast,
        temperature=typed("temperature", "grain temperature"),
        humidity=typed("humidity", "humidity"),
        accuracy=equipment_of(bench).accuracy,
        uptake=UPTAKE if uptake is None else uptake,
        grains=grains,
        size_u=SIZE_DOUBT if size is None else size,
    )


def read_grains(typed: Sequence[str]) -> tuple[dict[str, float], ...]:
    """Read grains as "35.9 mm x 14.1 mm x 61.8 mm 91.2 g": outer, core, length, mass.

    Returns
    -------
    tuple of dict
        With the keys of :data:`castsugar.records.record.GRAIN`.

    Raises
    ------
    InputError
        Names what was typed.
    """
    found = []
    for text in typed:
        where = f"--grain {text!r}"
        sizes = re.split(r"\s*[x\u00d7]\s*", text.strip())
        # A unit ends before the mass begins.
        pieces = [
            *sizes[:-1],
            *re.split(r"(?<=[^\s\d])\s+(?=[\d.])", sizes[-1], maxsplit=1),
        ]
        if len(sizes) != 3 or len(pieces) != len(GRAIN):
            raise InputError(
                f"{where} is not of the form OUTER x CORE x LENGTH MASS; write for "
                "example '35.9 mm x 14.1 mm x 61.8 mm 91.2 g'"
            )
        one = {
            key: plausible.read(piece, name, where=f"{where}, {name}").value
            for (key, name), piece in zip(GRAIN.items(), pieces, strict=True)
        }
        if one["core_m"] >= one["outer_m"]:
            raise InputError(
                f"{where}: the core is {1e3 * one['core_m']:g} mm, the grain only "
                f"{1e3 * one['outer_m']:g} mm wide; give outer x core x length"
            )
        found.append(one)
    return tuple(found)


# ----------------------------------------------------------------------------
# ``castsugar batch add`` and ``close``: from what was typed to events.


def events_of(options: argparse.Namespace, batch: Batch) -> list[Event]:
    """Return the events that were typed, in the order in which they are kept.

    Raises
    ------
    CastsugarError
        If one cannot be used; nothing is kept then.
    """
    date = date_of(options.date)
    outcome = getattr(options, "outcome", None)
    closed = [] if outcome is None else [("closed", {"outcome": outcome})]
    for kind, values in closed:  # refused before anything else is looked at
        check_allowed(batch, Event(kind=kind, date=date, values=values))
    kept = [
        *_observed(options),
        *_measured(options, batch, date),
        *_cast(options, batch, date),
        *_burned(options, batch),
        *_fired(options, batch),
        *_corrected(options),
        *closed,
    ]
    if not kept:
        raise InputError(
            "nothing to add; give --observe, --measured, --grain, --grain-mass, "
            "--strands, --firing, --frames or --correct"
        )
    note = options.note or ""
    events = [Event(kind=k, date=date, note=note, values=v) for k, v in kept]
    check_allowed(batch, events[0])
    return events


Kept = tuple[str, dict[str, Any]]


def _observed(options: argparse.Namespace) -> Iterator[Kept]:
    told = (options.observe, options.temperature, options.pour_class)
    if all(value is None for value in told):
        return
    kelvin = None
    if options.temperature is not None:
        where = "--temperature"
        kelvin = units.parse(options.temperature, "temperature", where=where).value
        wrong = plausible.fault("observed temperature", kelvin)
        if wrong:  # an odd one stands in the warnings of the batch from now on
            raise InputError(f"{where} {wrong}")
    yield (
        "observed",
        {
            "text": options.observe or "",
            "temperature_K": kelvin,
            "flow_class": options.pour_class or "",
        },
    )


class _Typed:
    """The words of --measured, for messages."""

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that names the key."""
        return InputError(f"--measured: {key} {fault}")


def _measured(options: argparse.Namespace, batch: Batch, date: str) -> Iterator[Kept]:
    """Return kitchen measurements as typed; each is tried before it is kept."""
    from castsugar.cli.kitchen_measure import _minutes
    from castsugar.constants import STANDARD_ATMOSPHERE

    for typed in options.measured:
        entry = measurement_of(typed, batch, date)
        if isinstance(entry.get("minutes"), str):
            entry["minutes"] = _minutes(entry["minutes"])
        checked = read_measurement(entry, _Typed())
        try:
            measurement(checked, STANDARD_ATMOSPHERE, load_database())
        except CastsugarError as error:
            raise InputError(f"--measured {typed!r}: {error}") from None
        yield "measured", {"measurement": entry}


def _cast(options: argparse.Namespace, batch: Batch, date: str) -> Iterator[Kept]:
    """Return the grains as weighed, or as measured: then tried before they are kept."""
    if options.grain and options.grain_mass is not None:
        raise InputError("--grain and --grain-mass both weigh the grains; give one")
    if options.grain_mass is not None:
        mass = _in_the_pan(options.grain_mass, "--grain-mass", batch)
        yield "cast", {"mass_kg": mass}
    if options.grain:
        grains = read_grains(options.grain)
        _cast_of(math.fsum(one["mass_kg"] for one in grains), "--grain", batch)
        measured(batch, Day(date=date, grains=grains), load_database())
        yield "grains", {"grains": list(grains)}


def _burned(options: argparse.Namespace, batch: Batch) -> Iterator[Kept]:
    if options.strands is None:
        if options.strand_mix is not None:
            raise InputError("--strand-mix needs --strands, the file it is in")
        return
    path = Path(options.strands)
    strands = read_strands(path)
    names = list(dict.fromkeys(s.mix for s in strands))
    listed = ", ".join(map(repr, names))
    wanted = options.strand_mix
    if wanted is None:
        if len(names) > 1:
            raise InputError(
                f"{path} holds {listed}; say which is this batch by --strand-mix"
            )
        wanted = names[0]
    count = sum(s.mix == wanted for s in strands)
    if not count:
        raise InputError(f"{path} has no mix {wanted!r}; it holds {listed}")
    linked = _linked(path, batch)
    content = {(known.sha256, known.mix): known.line for known in batch.strand_files()}
    line = content.get((linked["sha256"], wanted))
    if line not in (None, options.correct):
        raise InputError(
            f"{path}: these strands stand in line {line} of batch {batch.id} already; "
            "they count once"
        )
    if said := other_recipe(wanted, batch.made.fractions):
        plausible.remark(f"{path}: {said}")
    yield "burned", {**linked, "mix": wanted, "strands": count}


def _fired(options: argparse.Namespace, batch: Batch) -> Iterator[Kept]:
    typed = stand_options(options)
    refuse_stray(argparse.Namespace(**vars(options) | {"file": options.firing}))
    if options.firing is None and options.frames is None:
        stray = next(iter(typed), "motor" if options.motor is not None else None)
        if stray is not None:
            raise InputError(
                f"--{stray.replace('_', '-')} needs --firing, a recording, or --frames"
            )
        return
    kept = dict(typed)
    folder, own = batch.path.parent, batch.made.bench
    if options.motor is not None and not keeps_motor(own, Path(options.motor), folder):
        kept["motor"] = relative(Path(options.motor), folder)
    if options.frames is not None:
        path = Path(f"frames {options.frames}")
        linked = {"file": path.name, "sha256": _sha256_of(batch, kept)}
    else:
        path = Path(options.firing)
        linked = _linked(path, batch)
    if "propellant_mass" in kept:  # else the stand says what is missing
        _in_the_pan(kept["propellant_mass"], "--propellant-mass", batch)
    results = results_of(reduce_firing(path, kept, batch, load_database()))
    yield "fired", {**linked, "options": kept, "results": results}


def _sha256_of(batch: Batch, kept: Mapping[str, Any]) -> str:
    """Return what tells a firing without a file from every other."""
    text = json.dumps([batch.id, dict(kept)], sort_keys=True)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _linked(path: Path, batch: Batch) -> dict[str, Any]:
    folder = batch.path.parent
    return {"file": relative(path, folder), "sha256": sha256_of(path)}


def _corrected(options: argparse.Namespace) -> Iterator[Kept]:
    if options.correct is not None:
        if not (options.note or "").strip():
            raise InputError("--correct needs --note: say what is wrong in that line")
        yield "corrected", {"line": options.correct}


# ----------------------------------------------------------------------------
# ``castsugar batch new``: from what was typed to a record.


def make(options: argparse.Namespace, world: World | None, folder: Path) -> Made:
    """Return a new batch to be kept, with what is predicted of it.

    Raises CastsugarError.
    """
    database, bench = load_database(), None if world is None else world.bench
    date = date_of(options.date)
    recipe, name = _recipe(options.recipe, bench)
    draft = Made(
        date=date,
        recipe=recipe.text,
        name=name,
        **_masses(options, recipe, bench, database),
        **_cook(options, bench),
        process=options.process or _usual_process(options.recipe, bench),
        pressure=stated_conditions(options, bench).pressure.value,
        bench=None if bench is None else freeze(bench, folder),
        versions=versions(database.version),
        note=options.note or "",
    )
    lots = {i: r.to_dict() for i, (_, r) in used_lots(draft, bench, database).items()}
    draft = replace(draft, lots=lots)
    row, share = foresee(draft, bench, database, water_lost=in_si(options.water_lost))
    return replace(draft, predictions=row, water_lost=share)


def _usual_process(typed: str, bench: Bench | None) -> str:
    return PROCESSES[0] if bench is None else bench.process_of(typed)


def _recipe(typed: str, bench: Bench | None) -> tuple[Recipe, str]:
    """Return a recipe as typed, or the one of the bench file with that name."""
    named = bench.recipes if bench is not None else {}
    if typed in named:
        found = parse_recipe(named[typed], where=f"recipe {typed!r}")
        return found, typed
    try:
        text = typed if bench is None else bench.recipe_text(typed)
        found = parse_recipe(text, where="recipe")
    except InputError as error:
        if ":" in typed:
            raise
        near = nearest_names(typed, list(named))
        hint = f"did you mean {near[0]!r}? " if near else ""
        known = ", ".join(map(repr, named)) or "none"
        raise InputError(f"{error}; {hint}recipes of the bench file: {known}") from None
    return found, found.name


def _masses(
    options: argparse.Namespace,
    recipe: Recipe,
    bench: Bench | None,
    database: Database,
) -> dict[str, Any]:
    """Return fractions, masses as the weigh sheet plans them, and those weighed."""
    from castsugar.mix.mix import Mix

    Mix.weigh(recipe, database=database)  # refuses
    fractions = catalogue_shares(database, recipe.parts)
    actual = read_actual(options.actual, fractions, database)
    if options.batch is not None:
        mass = options.batch.value
    elif set(actual) == set(fractions):
        mass = sum(actual.values())
    else:
        raise InputError(
            "no mass is given; add --batch '200 g', what all ingredients weigh "
            "together, or --actual for each of them"
        )
    charge = read_charge(options.recipe, bench, database)
    sheet = plan(charge, equipment_of(bench), mix=charge.mix(), batch=mass)
    cups = {line.name: line.cup for line in sheet.lines if line.cup > 0.0}
    for name, cup in cups.items():
        if name in actual and not actual[name] > cup:
            raise InputError(
                f"--actual: {1e3 * actual[name]:g} g of {name!r} cannot be: "
                f"{1e3 * cup:g} g stay in its cup; give the mass on the scale"
            )
    return {
        "fractions": fractions,
        "batch": sheet.total,
        "planned": {name: sheet.line(name).mass for name in fractions},
        "actual": actual,
        "cups": cups,
    }


def _cook(options: argparse.Namespace, bench: Bench | None) -> dict[str, Any]:
    text, minutes = options.cook, options.minutes
    if text is None:
        if minutes is not None:
            raise InputError("--minutes needs --cook, for example --cook '119 C'")
        table = bench.kitchen if bench is not None else {}
        return {"cook": table.get("cook") or "", "minutes": table.get("minutes")}
    cook = parse_cook(text, minutes, where="--cook")
    held = None if minutes is None else cook.duration / 60.0
    return {"cook": text, "minutes": held}
