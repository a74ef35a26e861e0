"""From the motor table of a bench file to a Hardware with its burn laws."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np

from castsugar.bench.bench import Bench
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.motor.burn_evidence import Burned, published, stated
from castsugar.motor.burn_law import REFERENCE_PRESSURE, Band, BurnLaw, borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case, Material
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from castsugar.motor.hardware import SPREAD, Hardware
from castsugar.motor.peak_pressure import Spread
from castsugar.motor.strands import Strand, analyse_mix
from castsugar.readings.strand_files import read_strands, refuse_twice

_MILLI = 1e-3

#: Words in the name of a material that make a case plastic.
PLASTICS = frozenset(
    [
        "plastic",
        "pvc",
        "cpvc",
        "upvc",
        "abs",
        "pla",
        "petg",
        "pet",
        "hdpe",
        "pe",
        "pp",
        "nylon",
        "polyamide",
        "acrylic",
        "pmma",
        "polycarbonate",
        "polypropylene",
        "polyethylene",
        "resin",
    ]
)


def hardware_of(bench: Bench, database: Database) -> Hardware:
    """Return the motor that a bench file describes.

    Raises
    ------
    InputError
        If the file has no [motor] table, or a value of it cannot be used.
    DataError
        For a file of strands.
    """
    table = bench.motor
    if table is None:
        raise InputError(
            f"{bench.path} has no [motor] table; add one with throat, [motor.grain] "
            "and [[motor.burn_law]]"
        )
    try:
        return _hardware(table, bench, database)
    except CastsugarError as error:
        text = str(error)
        if text.startswith(str(bench.path)) or "line " in text:
            raise
        raise InputError(f"{bench.path}, [motor]: {text}") from None


def _hardware(table: Mapping[str, Any], bench: Bench, database: Database) -> Hardware:
    measured = table["measured_efficiency"]
    burning, strands_at = _burning(table["burn_law"], bench, database)
    options: dict[str, Any] = {
        "grain": _grain(table["grain"]),
        "throat_diameter": table["throat"],
        "burning": burning,
        "exit_diameter": table["exit"],
        "nozzle_efficiency": table["nozzle_efficiency"],
        "thrust_coefficient": table["thrust_coefficient"],
        "case": _case(table["case"]),
        "efficiency": measured if measured is not None else table["efficiency"],
        "efficiency_measured": measured is not None,
        "spread": _spread(table),
        "invented": sizes_invented(bench),
    }
    for name in (
        "density_ratio",
        "grain_temperature",
        "temperature_sensitivity",
        "ambient_pressure",
        "installed_mass",
    ):
        if table[name] is not None:
            options[name] = table[name]
    if strands_at is not None:
        options["strand_temperature"] = strands_at
    return Hardware(**options)


def sizes_invented(bench: Bench) -> tuple[str, ...]:
    """Return what is invented of the motor, burn laws left out."""
    found = bench.invented_in("motor")
    return tuple(name for name in found if "burn_law" not in name)


def _spread(table: Mapping[str, Any]) -> Spread:
    """Return the uncertainties that the table states, the usual ones otherwise."""

    def stated(name: str, usual: float) -> float:
        value = table[name]
        return usual if value is None else float(value)

    throat = SPREAD.throat_diameter
    if table["throat_spread"] is not None:
        throat = table["throat_spread"] / table["throat"]
    return Spread(
        density=stated("density_ratio_spread", SPREAD.density),
        throat_diameter=throat,
        area=stated("area_spread", SPREAD.area),
        characteristic_velocity=stated("c_star_spread", SPREAD.characteristic_velocity),
        temperature=stated("grain_temperature_spread", SPREAD.temperature),
    )


def _grain(table: Mapping[str, Any]) -> Grain:
    if "web_mm" in table:
        port = table["port"]
        return AreaTable(
            webs=tuple(_MILLI * x for x in table["web_mm"]),
            areas=tuple(_MILLI**2 * a for a in table["area_mm2"]),
            port_area=math.nan if port is None else 0.25 * math.pi * port**2,
        )
    for name in ("segments", "burning_ends"):
        if table[name] != int(table[name]):
            raise InputError(f"{name} is {table[name]:g}; it must be a whole number")
    return HollowCylinder(
        outer_diameter=table["outer"],
        core_diameter=table["core"],
        segment_length=table["length"],
        segments=int(table["segments"]),
        burning_ends=int(table["burning_ends"]),
    )


def _case(table: Mapping[str, Any] | None) -> Case | None:
    if table is None:
        return None
    words = set(re.split(r"[^a-z]+", table["material"].lower()))
    plastic = table["plastic"] or bool(words & PLASTICS)
    if plastic and table["wall"] is not None and table["derating"] is None:
        raise InputError(
            "a plastic wall softens in a firing: give derating in [motor.case], its "
            "strength hot over cold, or a rated_pressure of your own"
        )
    derating = 1.0 if table["derating"] is None else table["derating"]
    material = None
    if table["yield_strength"] is not None or table["ultimate_strength"] is not None:
        material = Material(
            name=table["material"],
            yield_strength=table["yield_strength"],
            ultimate_strength=table["ultimate_strength"],
            plastic=plastic,
        )
    return Case(
        rated_pressure=table["rated_pressure"],
        proof_pressure=table["proof_pressure"],
        inner_diameter=table["inner_diameter"],
        thickness=table["wall"],
        material=material,
        safety_factor=table["safety_factor"],
        derating=derating,
        plastic=plastic,
    )


def _burning(
    entries: list[dict[str, Any]], bench: Bench, database: Database
) -> tuple[BurnModel, float | None]:
    """Return what is known of burn rates, and the temperature of the strands.

    None if not all of them state one.
    """
    evidence: list[Burned] = []
    seen: list[list[Strand]] = []
    for entry in entries:
        with _in_line(entry, bench):
            evidence += _evidence(entry, bench, database, seen)
    refuse_twice(seen)
    strands = [s.temperature for file in seen for s in file]
    known = [t for t in strands if t is not None]
    every = bool(strands) and len(known) == len(strands)
    return BurnModel(evidence), math.fsum(known) / len(known) if every else None


def _evidence(
    entry: Mapping[str, Any], bench: Bench, database: Database, seen: list[list[Strand]]
) -> list[Burned]:
    """Return what one entry says of burn rates; strands are noted in `seen`."""
    if "borrowed" in entry:
        law = borrowed_law(database, entry["borrowed"])
        law = replace(law, invented=bench.invented_in(entry["entry"]))
        return [published(law, _published_mix(database, law.name))]
    parts = _recipe(entry["recipe"], database)
    if "strands" not in entry:
        return [stated(_stated(entry, bench), parts)]
    name, strands = _strands(entry, bench)
    seen.append(strands)
    return _burned(name or entry["recipe"], parts, strands, entry, bench)


def _published_mix(database: Database, name: str) -> dict[str, float]:
    record = database.burn_laws[name]
    share = record.oxidizer_fraction
    return {"potassium nitrate": share, record.fuel: 1.0 - share}


def _burned(
    name: str,
    parts: Mapping[str, float],
    strands: Sequence[Strand],
    entry: Mapping[str, Any],
    bench: Bench,
) -> list[Burned]:
    """Return the strands of each batch; without names they are of one."""
    result = analyse_mix(name, strands)
    made_up = bench.invented_in(entry["entry"]) or any(s.invented for s in strands)
    invented = (f"{entry['entry']}: {entry['strands']}",) if made_up else ()
    return [
        Burned(
            name=name,
            fractions=parts,
            batch=f"{entry['strands']}, {name}",
            pressure=np.array([s.pressure for s in strands]),
            rate=np.array([s.rate for s in strands]),
            source=entry["strands"],
            cautions=result.cautions,
            invented=invented,
        )
    ]


@contextmanager
def _in_line(entry: Mapping[str, Any], bench: Bench) -> Iterator[None]:
    """Say the line of a burn law before what is wrong with it."""
    try:
        yield
    except CastsugarError as error:
        where = f"{bench.path}, line {entry['line']}: [[motor.burn_law]]"
        raise InputError(f"{where}: {error}") from None


def _recipe(text: str, database: Database) -> dict[str, float]:
    """Return a recipe as catalogue names and mass fractions."""
    recipe = parse_recipe(text, where="recipe")
    refusals.check_burns("recipe", Mix.weigh(recipe, database=database).weighed)
    return weighing.catalogue_shares(database, recipe.parts)


def _strands(entry: Mapping[str, Any], bench: Bench) -> tuple[str, list[Strand]]:
    """Return the strands that one entry names, and what the mix is called there."""
    path = bench.path.parent / entry["strands"]
    strands = read_strands(path)
    names = list(dict.fromkeys(s.mix for s in strands))
    wanted = entry["mix"] or (names[0] if len(names) == 1 else "")
    chosen = [s for s in strands if s.mix == wanted]
    if not wanted and len(names) > 1:
        raise InputError(
            f"{path} holds {', '.join(map(repr, names))}; say which by mix = ..."
        )
    if not chosen:
        raise InputError(
            f"{path} has no mix {wanted!r}; it holds {', '.join(map(repr, names))}"
        )
    return wanted, chosen


def _stated(entry: Mapping[str, Any], bench: Bench) -> BurnLaw:
    """Return a law that the user states."""
    n, p = entry["exponent"], entry["pressure"]
    u = math.log1p(entry["rate_spread"])
    band = Band(
        low=0.0,
        high=math.inf,
        rate=entry["rate"] * (REFERENCE_PRESSURE / p) ** n,
        exponent=n,
    )
    return BurnLaw(
        name=entry["recipe"],
        bands=(band,),
        log_rate_u=u,
        covariance=((u**2, 0.0), (0.0, entry["exponent_spread"] ** 2)),
        centre=p,
        origin="stated",
        status="assumed",
        source=entry["source"],
        invented=bench.invented_in(entry["entry"]),
    )
