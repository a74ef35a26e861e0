"""From the motor table of a bench file to a Hardware with its burn laws."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.motor.burn_law import REFERENCE_PRESSURE, Band, BurnLaw, borrowed_law
from castsugar.motor.burn_model import MeasuredMix, blend_law
from castsugar.motor.case import Case, Material
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from castsugar.motor.hardware import SPREAD, BurnKnowledge, Hardware
from castsugar.motor.peak_pressure import Spread
from castsugar.motor.pressure_table import SAME_MIX, differs
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
) -> tuple[BurnKnowledge, float | None]:
    """Return the burn laws, and the temperature of the strands if all state one."""
    borrowed = [e for e in entries if "borrowed" in e]
    if borrowed:
        if len(entries) > 1:
            raise InputError(
                f"{bench.path}, line {borrowed[0]['line']}: a borrowed burn law stands "
                "alone; leave it out where a mix was measured"
            )
        law = borrowed_law(database, borrowed[0]["borrowed"])
        law = replace(law, invented=bench.invented_in(borrowed[0]["entry"]))
        return BurnKnowledge(law=blend_law([], borrowed=law)), law.temperature
    recipes, alike = _by_mix(entries, bench, database)
    found = []
    for of_mix in alike:
        with _in_line(of_mix[-1], bench):
            found.append(_law(of_mix, bench))
    laws = [law for law, _ in found]
    components = tuple(dict.fromkeys(name for parts in recipes for name in parts))
    mixes = [
        MeasuredMix(
            name=law.name,
            fractions=tuple(parts.get(c, 0.0) for c in components),
            law=law,
            cautions=cautions,
        )
        for parts, (law, cautions) in zip(recipes, found, strict=True)
    ]
    known = BurnKnowledge(
        law=blend_law(mixes, reference_pressure=_centre(laws)),
        components=components,
    )
    temperatures = [law.temperature for law in laws if law.temperature is not None]
    every = len(temperatures) == len(laws)
    return known, math.fsum(temperatures) / len(laws) if every else None


def _by_mix(
    entries: list[dict[str, Any]], bench: Bench, database: Database
) -> tuple[list[dict[str, float]], list[list[dict[str, Any]]]]:
    """Return the mixes that were measured, and the entries of each."""
    recipes: list[dict[str, float]] = []
    alike: list[list[dict[str, Any]]] = []
    for entry in entries:
        with _in_line(entry, bench):
            parts = _recipe(entry["recipe"], database)
        for known, of_mix in zip(recipes, alike, strict=True):
            if differs(known, parts) < SAME_MIX:
                of_mix.append(entry)
                break
        else:
            recipes.append(parts)
            alike.append([entry])
    return recipes, alike


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


def _law(
    entries: Sequence[Mapping[str, Any]], bench: Bench
) -> tuple[BurnLaw, tuple[str, ...]]:
    """Return the burn law of one mix, and the cautions of its fit.

    Strands in several files, or under several names in one, are strands of the mix.
    """
    first = entries[0]
    if len(entries) > 1 and not all("strands" in e for e in entries):
        said = " and ".join(e.get("strands", "a stated rate") for e in entries)
        raise InputError(
            f"{said} both say how {first['recipe']!r} burns (line {first['line']} and "
            "here); strands may lie in several files, a stated rate stands alone"
        )
    if "strands" not in first:
        return _stated(first, bench), ()
    found = [_strands(entry, bench) for entry in entries]
    refuse_twice([strands for _, strands in found])
    name = found[0][0] or first["recipe"]
    result = analyse_mix(name, [s for _, strands in found for s in strands])
    if result.law is None:
        files = " and ".join(dict.fromkeys(e["strands"] for e in entries))
        raise InputError(f"{files}: no burn law for {name!r}: {result.reason}")
    invented = [
        f"{entry['entry']}: {entry['strands']}"
        for entry, (_, strands) in zip(entries, found, strict=True)
        if bench.invented_in(entry["entry"]) or any(s.invented for s in strands)
    ]
    return replace(result.law, invented=tuple(invented)), result.cautions


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


def _centre(laws: list[BurnLaw]) -> float:
    """Return the pressure in the middle of what was measured. [Pa]"""
    return math.exp(math.fsum(math.log(law.centre) for law in laws) / len(laws))
