"""What a bench file tells of burn rates: their scatter, and what was burned."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from castsugar import plausible
from castsugar.bench.bench import Bench
from castsugar.bench.imported import burned_elsewhere, read_imported
from castsugar.bench.schema import Place
from castsugar.constants import REFERENCE_TEMPERATURE
from castsugar.data.load import Database
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix import refusals
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.burn_evidence import FIRING, Burned, published
from castsugar.motor.burn_evidence import stated as stated_law
from castsugar.motor.burn_law import REFERENCE_PRESSURE, Band, BurnLaw, borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.efficiency import Reading
from castsugar.motor.hardware import TEMPERATURE_SENSITIVITY
from castsugar.motor.scatter import Scatter
from castsugar.motor.strand_model import burned_by_batch
from castsugar.motor.strands import Strand, analyse_mix
from castsugar.readings.strand_files import (
    check_batches,
    read_strands,
    stand_in,
    stated,
)
from castsugar.readings.tables import is_invented

#: Shares of two recipes closer than this are rounding: they are one mix. [-]
_ROUNDING = 1e-6

#: A name that reads as parts, such as 58/14/28, and how far rounding takes it off. [%]
_PART, _NAMED = re.compile(r"[0-9]+(?:\.[0-9]+)?"), 1.5
_RATIO = re.compile(rf"{_PART.pattern}(?: ?[/:] ?{_PART.pattern})+")

#: Standard uncertainty (ln) of an efficiency where a firing states none. Assumed.
_READING_U = 0.02


def scatter_of(bench: Bench | None) -> Scatter:
    """Return the scatter of burn rates, what the file does not state as assumed."""
    values = {} if bench is None else bench.scatter
    return Scatter(**values, stated=tuple(values))


#: Files of strands that were read, by their names: entries share them.
Files = dict[str, tuple[Strand, ...]]


def strands_of(
    entry: Mapping[str, Any], bench: Bench, files: Files | None = None
) -> tuple[str, list[Strand]]:
    """Return the strands of one burn law, and what their mix is called in their file.

    `files` holds those that were read already, and takes this one.

    Batch, process, degraded share and date are those of the file, else of the entry;
    the process, if neither states one, that of [kitchen].

    Raises
    ------
    InputError
        A mix that the file does not hold; an entry that says otherwise than the file.
    DataError
        As for :func:`castsugar.readings.strand_files.read_strands`.
    """
    path = bench.path.parent / entry["strands"]
    known, file = {} if files is None else files, entry["strands"]
    if file not in known:
        known[file] = read_strands(path)
    strands = known[file]
    names = list(dict.fromkeys(s.mix for s in strands))
    listed = ", ".join(map(repr, names))
    wanted = entry["mix"] or (names[0] if len(names) == 1 else "")
    if not wanted and len(names) > 1:
        raise InputError(f"{path} holds {listed}; say which by mix = ...")
    if wanted not in names:
        raise InputError(f"{path} has no mix {wanted!r}; it holds {listed}")
    keys = ("batch", "process", "degraded", "date")
    chosen = stated(
        [s for s in strands if s.mix == wanted], **{key: entry[key] for key in keys}
    )
    usual = bench.kitchen["process"]
    return wanted, [replace(s, process=s.process or usual) for s in chosen]


# ----------------------------------------------------------------------------
# Entries of the motor as evidence.

#: The entries of each mix with their strands.
_Seen = dict[tuple[tuple[str, float], ...], list[tuple[Place, list[Strand]]]]


def burning_of(
    bench: Bench, database: Database, files: Files | None = None
) -> tuple[BurnModel, float | None]:
    """Return what is known of burn rates, and the temperature of the strands.

    None if not all of them state one. [K] `files` as for :func:`strands_of`.

    Raises
    ------
    CastsugarError
        For entries, or files that they name, that cannot be used.
    """
    evidence: list[Burned] = []
    seen: _Seen = {}
    files = {} if files is None else files
    for place, entry in _entries(bench, "burn_law"):
        with place.named():
            evidence += _evidence(entry, bench, database, (place, seen, files))
    for place, entry in _entries(bench, "firing"):
        with place.named():
            evidence.append(_fired(entry, place.index, bench, database))
    for alike in seen.values():
        _refuse_twice(alike)
    every = [s for alike in seen.values() for _, strands in alike for s in strands]
    temperatures = [s.temperature for s in every]
    known = [t for t in temperatures if t is not None]
    dated = bool(known) and len(known) == len(temperatures)
    at = math.fsum(known) / len(known) if dated else None
    if others := read_imported(bench, database):
        stated = (bench.motor or {}).get("temperature_sensitivity")
        sensitivity = TEMPERATURE_SENSITIVITY if stated is None else float(stated)
        evidence += burned_elsewhere(others, at or REFERENCE_TEMPERATURE, sensitivity)
    usual = bench.kitchen["process"]
    return BurnModel(evidence, scatter_of(bench), process=usual), at


def readings_of(firings: Sequence[Mapping[str, Any]] | None) -> list[Reading]:
    """Return what firings tell of the efficiencies; those that tell none are left."""
    found = []
    for number, entry in enumerate(firings or (), 1):
        c_star, c_star_u = _told_of(entry, "c_star_efficiency")
        nozzle, nozzle_u = _told_of(entry, "nozzle_efficiency")
        if not (math.isnan(c_star) and math.isnan(nozzle)):
            found.append(
                Reading(
                    name=f"[[motor.firing]] {number}",
                    characteristic_velocity=c_star,
                    characteristic_velocity_u=c_star_u,
                    nozzle=nozzle,
                    nozzle_u=nozzle_u,
                )
            )
    return found


def _told_of(entry: Mapping[str, Any], name: str) -> tuple[float, float]:
    """Return an efficiency and its uncertainty; NaN where none is told."""
    value, u = entry[name], entry[f"{name}_u"]
    if value is None:
        return math.nan, math.nan
    return float(value), _READING_U if u is None else float(u)


def _evidence(
    entry: Mapping[str, Any],
    bench: Bench,
    database: Database,
    noted: tuple[Place, _Seen, Files],
) -> list[Burned]:
    """Return what one entry says of burn rates; its strands and file are noted."""
    invented = bench.invented_in(entry["entry"])
    if "borrowed" in entry:
        law = borrowed_law(database, entry["borrowed"])
        record = database.burn_laws[law.name]
        share = record.oxidizer_fraction
        parts = {"potassium nitrate": share, record.fuel: 1.0 - share}
        return [published(replace(law, invented=invented), parts)]
    parts = _burning_shares(entry, database)
    if "strands" not in entry:
        law = replace(_stated(entry), invented=invented)
        return [replace(stated_law(law, parts), process=_process(entry, bench))]
    name, strands = strands_of(entry, bench, noted[2])
    for said in (other_recipe(name, parts), _other_rows(noted, strands, parts)):
        if said:  # a line of the bench file might be one that is not written yet
            plausible.remark(f"{entry['strands']} line {strands[0].line}: {said}")
    name = name or entry["recipe"]
    made_up = invented or any(s.invented for s in strands)
    return burned_by_batch(
        name,
        parts,
        strands,
        entry["strands"],
        cautions=analyse_mix(name, strands).cautions,
        invented=(f"{entry['entry']}: {entry['strands']}",) if made_up else (),
    )


def other_recipe(name: str, parts: Mapping[str, float]) -> str:
    """Say that the name of strands reads as another recipe; empty if not."""
    shown = [float(x) for x in _PART.findall(name)] if _RATIO.fullmatch(name) else []
    if not math.fsum(shown) or len(shown) != len(parts):
        return ""
    own = [100.0 * x for x in parts.values()]
    named = [100.0 * x / math.fsum(shown) for x in shown]
    if max(abs(x - y) for x, y in zip(own, named, strict=True)) < _NAMED:
        return ""
    told = "/".join(f"{x:.3g}" for x in own)
    return f"strands called {name!r} are taken for the recipe {told}"


def _other_rows(
    noted: tuple[Place, _Seen, Files], strands: list[Strand], parts: Mapping[str, float]
) -> str:
    """Note strands by their recipe; say that another has the same; empty if not."""

    def rows(of: Sequence[Strand]) -> set[tuple[Any, ...]]:
        return {(s.mix, s.line, s.length, s.time) for s in of}

    (place, seen, _), recipe = noted, tuple(sorted(parts.items()))
    lists = [entries for key, entries in seen.items() if key != recipe]
    others = [rows(one) for entries in lists for _, one in entries]
    seen.setdefault(recipe, []).append((place, strands))
    if not any(rows(strands) & other for other in others):
        return ""
    return "these strands are those of another recipe too; they burned as one mix"


def _refuse_twice(entries: Sequence[tuple[Place, list[Strand]]]) -> None:
    """Refuse an entry of a mix whose strands are all among those of another.

    Raises
    ------
    InputError
        File and line of both; of two with the same strands the later is too many.
    """
    for (place, one), (other, more) in itertools.permutations(reversed(entries), 2):
        if stand_in(one, more):
            raise place.fail(
                "",
                f"all its strands, of {Path(one[0].file).name}, are among those of the "
                f"entry in line {other.line()}, of {Path(more[0].file).name}, and "
                "would count twice; take this entry out",
            )


def _process(entry: Mapping[str, Any], bench: Bench) -> str:
    return str(entry["process"] or bench.kitchen["process"])


def _fired(
    entry: Mapping[str, Any], index: int, bench: Bench, database: Database
) -> Burned:
    """Return one firing; without the name of a batch it is a batch of its own."""
    file = bench.path.parent / entry["source"]
    invented = bench.invented_in(entry["entry"])
    if entry["source"] and (invented or (file.is_file() and is_invented(file))):
        invented = (f"{entry['entry']}: {entry['source']}",)
    return Burned(
        name=entry["recipe"],
        fractions=_burning_shares(entry, database),
        kind=FIRING,
        batch=entry["batch"] or f"firing {index + 1}",
        pressure=np.array([entry["pressure"]]),
        rate=np.array([entry["rate"]]),
        log_rate_u=entry["rate_u"],
        shared_u=entry["rate_u_shared"],
        process=_process(entry, bench),
        degraded=entry["degraded"],
        source=entry["source"],
        invented=invented,
    )


def _burning_shares(entry: Mapping[str, Any], database: Database) -> dict[str, float]:
    """Return a recipe as catalogue names and mass fractions."""
    recipe = parse_recipe(entry["recipe"], where="recipe")
    refusals.check_burns("recipe", Mix.weigh(recipe, database=database).weighed)
    return catalogue_shares(database, recipe.parts)


def _stated(entry: Mapping[str, Any]) -> BurnLaw:
    """Return a law that the user states."""
    n, p = entry["exponent"], entry["pressure"]
    u = math.log1p(entry["rate_spread"])
    rate = entry["rate"] * (REFERENCE_PRESSURE / p) ** n
    return BurnLaw(
        name=entry["recipe"],
        bands=(Band(low=0.0, high=math.inf, rate=rate, exponent=n),),
        log_rate_u=u,
        covariance=((u**2, 0.0), (0.0, entry["exponent_spread"] ** 2)),
        centre=p,
        origin="stated",
        status="assumed",
        source=entry["source"],
    )


# ----------------------------------------------------------------------------
# A batch is one pot: of one mix, by one process, its strands burned before its grains.


@dataclass(frozen=True, slots=True)
class _Pot:
    """What an entry tells of a batch: by one of its strands, or by its firing."""

    place: Place
    batch: str
    recipe: str
    shares: Mapping[str, float]
    process: str
    date: str
    strand: str = ""


def check_pots(bench: Bench, database: Database, files: Files) -> None:
    """Refuse what cannot be of the batches that the motor of a file names.

    `files` as for :func:`strands_of`.

    Raises
    ------
    InputError
        File and line: a batch of two mixes or of two processes; a strand that burned
        after the grains of its batch; a recipe or strands that cannot be read.
    """
    told = list(_told(bench, database, files))
    first: dict[str, _Pot] = {}
    for one in told:
        known = first.setdefault(one.batch, one)
        names = {*one.shares, *known.shares}
        off = [abs(one.shares.get(n, 0.0) - known.shares.get(n, 0.0)) for n in names]
        mixed = max(off) > _ROUNDING
        if mixed or one.process != known.process:
            here, there = (x.recipe if mixed else x.process for x in (one, known))
            raise one.place.fail(
                "batch",
                f"{one.batch!r} is {here!r}, and {there!r} in line "
                f"{known.place.line()}; a batch is one mix made by one process: give "
                "each a batch name of its own",
            )
    for fired in (one for one in told if one.date and not one.strand):
        for burned in (one for one in told if one.strand and one.batch == fired.batch):
            if burned.date > fired.date:
                raise fired.place.fail(
                    "date",
                    f"is {fired.date}, and {burned.strand}, of the same batch "
                    f"{fired.batch!r}, burned on {burned.date}: strands of a batch "
                    "burn before its grains; correct a date, or a batch",
                )


def _told(bench: Bench, database: Database, files: Files) -> Iterator[_Pot]:
    """Yield what is told of each batch that has a name."""
    for place, entry in _entries(bench, "burn_law"):
        if "strands" in entry:
            with place.named():
                shares = _shares(entry, database)
                strands = strands_of(entry, bench, files)[1]
                check_batches(strands)
            for s in filter(lambda s: s.batch, strands):
                name = f"the strand of {entry['strands']} line {s.line}"
                yield _Pot(
                    place, s.batch, entry["recipe"], shares, s.process, s.date, name
                )
    for place, entry in _entries(bench, "firing"):
        with place.named():
            shares = _shares(entry, database)
        if batch := entry["batch"]:
            process = _process(entry, bench)
            yield _Pot(place, batch, entry["recipe"], shares, process, entry["date"])


def _entries(bench: Bench, name: str) -> Iterator[tuple[Place, Mapping[str, Any]]]:
    """Yield the entries of a kind of the motor, with their places in the file."""
    entries = (bench.motor or {}).get(name) or ()
    for index, entry in enumerate(entries):
        yield bench.place(f"motor.{name}", index), entry


def _shares(entry: Mapping[str, Any], database: Database) -> dict[str, float]:
    recipe = parse_recipe(entry["recipe"], where="recipe")
    return catalogue_shares(database, recipe.parts)
