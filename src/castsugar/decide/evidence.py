"""What stands behind a comparison: every number that went in, and where it is from.

Floor 5.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from castsugar.blends import of_mixes
from castsugar.burning import burn_law_of
from castsugar.database import Database, Ingredient
from castsugar.decide.inputs import SYRUP_SOLIDS, enthalpy_u
from castsugar.decide.outlook import Outlook
from castsugar.kitchen.parameters import NAMES, OF_SYRUP, find
from castsugar.kitchen.settings import Kitchen
from castsugar.mix import Mix
from castsugar.motor.hardware import Hardware
from castsugar.motor.law import burn_rate
from castsugar.species_sets import shipped_species
from castsugar.syrups import SOLIDS_UNCERTAINTY

#: How a number came to be: by the user's own measurement; from a source that can be
#: read; of something else than the mix or kitchen at hand; by calculation from
#: published numbers; without a source.
MEASURED, PUBLISHED, BORROWED = "measured", "published", "borrowed"
DERIVED, ASSUMED, STATED = "derived", "assumed", "stated"
STANDINGS = (MEASURED, STATED, PUBLISHED, DERIVED, BORROWED, ASSUMED)

#: Status of a row of the data files -> standing.
_STATUS = {
    "measured": PUBLISHED,
    "fitted": PUBLISHED,
    "estimated": DERIVED,
    "assumed": ASSUMED,
    "from memory": PUBLISHED,
}


#: First word of the origin of a burn law -> standing.
_LAWS = {
    "measured": MEASURED,
    "stated": STATED,
    "borrowed": BORROWED,
    "nearest": BORROWED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One number behind a comparison.

    Attributes
    ----------
    subject : str
        What it is the value of.
    value, uncertainty : float
        NaN where there is none; the uncertainty is standard, on the scale that `unit`
        names.
    unit : str
    standing : str
        Of :data:`STANDINGS`.
    source : str
        Key of the sources of the database, or words where it is none of them.
    note : str
        How it is known, in the words of its row; rival values.
    """

    subject: str
    value: float
    uncertainty: float
    unit: str
    standing: str
    source: str
    note: str = ""


def evidence_of(outlook: Outlook, database: Database) -> tuple[Evidence, ...]:
    """Return everything that mixes under conditions rest on.

    Parameters
    ----------
    outlook : Outlook
    database : Database
        For the sources.
    """
    conditions = outlook.conditions
    found = _ingredients(outlook.mixes)
    found += _syrups(outlook.mixes, database)
    table = conditions.species or shipped_species()
    found.append(
        Evidence(
            subject="combustion products: heat capacity, enthalpy, entropy",
            value=math.nan,
            uncertainty=math.nan,
            unit="",
            standing=PUBLISHED,
            source="nasa-tp-2002-211556"
            if "2002" in table.data_set
            else "nasa-tm-4513",
            note=f"product set {table.data_set}, reference pressure 1 bar",
        )
    )
    if conditions.kitchen is not None:
        found += _kitchen(
            conditions.kitchen, syrup=any(m.syrups for m in outlook.mixes)
        )
    if conditions.motor is not None:
        found += _motor(outlook.mixes, conditions.motor)
    return tuple(found)


def standing_of(status: str, source: str) -> str:
    """Return the standing of a row of the data files.

    Examples
    --------
    >>> standing_of("measured", "crc-handbook"), standing_of("assumed", "user")
    ('published', 'assumed')
    """
    if source in ("common-practice", "derived-convention", "from-memory"):
        return ASSUMED
    return _STATUS.get(status, ASSUMED)


def _ingredients(mixes: Sequence[Mix]) -> list[Evidence]:
    """Return enthalpies of formation and densities, each once."""
    used: dict[tuple[str, float], Ingredient] = {}
    for mix in mixes:
        for part in mix.cast:
            one = part.ingredient
            used.setdefault((one.name, one.enthalpy_of_formation), one)
    found = []
    solids = [one for one in used.values() if one.name.startswith(SYRUP_SOLIDS)]
    found += _solids(solids[0], len(solids)) if solids else []
    for one in used.values():
        if one in solids:
            continue
        if one.composition:
            found.append(_enthalpy(one))
        found.append(
            Evidence(
                subject=f"density of {one.name}",
                value=one.density,
                uncertainty=math.nan,
                unit="kg/m3",
                standing=standing_of(one.density_status, one.density_source),
                source=one.density_source,
                note=one.density_status,
            )
        )
    return found


def _solids(one: Ingredient, count: int) -> list[Evidence]:
    """Return what is taken of the saccharides of a syrup, all at once."""
    standing = standing_of(one.status, one.source)
    return [
        Evidence(
            subject=f"enthalpies of formation of {SYRUP_SOLIDS}",
            value=math.nan,
            uncertainty=1e-3 * SOLIDS_UNCERTAINTY,
            unit="kJ/kg",
            standing=standing,
            source=one.source,
            note=f"{one.status}; {count} saccharides by chain length",
        ),
        Evidence(
            subject=f"density of {SYRUP_SOLIDS}",
            value=one.density,
            uncertainty=math.nan,
            unit="kg/m3",
            standing=standing_of(one.density_status, one.density_source),
            source=one.density_source,
            note=one.density_status,
        ),
    ]


def _enthalpy(one: Ingredient) -> Evidence:
    """Return the enthalpy of formation of an ingredient, its rivals in the note."""
    rivals = [
        f"{a.name}: {1e-3 * a.enthalpy_of_formation:.5g} kJ/mol ({a.source})"
        for a in one.alternatives
        if a.enthalpy_of_formation != one.enthalpy_of_formation
    ]
    return Evidence(
        subject=f"enthalpy of formation of {one.name}",
        value=1e-3 * one.enthalpy_of_formation,
        uncertainty=1e-3 * enthalpy_u(one) or math.nan,
        unit="kJ/mol",
        standing=standing_of(one.status, one.source),
        source=one.source,
        note="; rival ".join([one.status, *rivals]),
    )


def _syrups(mixes: Sequence[Mix], database: Database) -> list[Evidence]:
    """Return dry solids and grade of every syrup, as it stands in the mixes."""
    found: dict[tuple[str, float, float], Evidence] = {}
    for mix in mixes:
        for use in mix.syrups:
            row = database.syrups[use.name]
            usual = use.dry_solids == row.dry_solids_fraction
            found[use.name, use.dry_solids, use.grade] = Evidence(
                subject=f"dry solids of {use.name}",
                value=100.0 * use.dry_solids,
                uncertainty=100.0 * use.dry_solids_uncertainty,
                unit="%",
                standing=standing_of(row.status, row.source) if usual else STATED,
                source=row.source if usual else "stated by you",
                note=f"dextrose equivalent {use.grade:g}",
            )
    return list(found.values())


def _kitchen(kitchen: Kitchen, *, syrup: bool) -> Iterable[Evidence]:
    """Return the parameters of the kitchen."""
    belief = kitchen.belief
    spreads = belief.spreads().tolist()
    middles = belief.central()
    for name, spread, origin in zip(NAMES, spreads, belief.origins, strict=True):
        if name in OF_SYRUP and not syrup:
            continue
        parameter = find(name)
        scale = "" if parameter.scale == "plain" else f"{parameter.scale} scale"
        unit = " ".join(
            u for u in (parameter.unit, scale and f"(u on the {scale})") if u
        )
        measured = origin.startswith("measured")
        yield Evidence(
            subject=f"kitchen: {parameter.label}",
            value=float(getattr(middles, name)),
            uncertainty=spread,
            unit=unit,
            standing=MEASURED
            if measured
            else STATED
            if origin.startswith("stated")
            else ASSUMED,
            source="your kitchen measurements" if measured else origin,
        )


def _motor(mixes: Sequence[Mix], motor: Hardware) -> Iterable[Evidence]:
    """Return burn laws and what is stated of the motor."""
    for mix in mixes:
        law = burn_law_of(of_mixes([mix]), motor, mixes=[mix])
        first = law.origin.split(":")[0].split(" ")[0]
        yield Evidence(
            subject=f"burn rate of {mix.name} at {law.centre / 1e6:.3g} MPa",
            value=1e3 * float(burn_rate(law, law.centre)),
            uncertainty=law.log_rate_u,
            unit="mm/s (u relative)",
            standing=_LAWS.get(first, DERIVED),
            source=law.origin.removeprefix("borrowed: "),
            note="never from thermochemistry",
        )
    yield Evidence(
        subject="throat diameter",
        value=1e3 * motor.throat_diameter,
        uncertainty=1e3 * motor.throat_diameter * motor.spread.throat_diameter,
        unit="mm",
        standing=STATED,
        source="stated by you, [motor]",
    )
    if motor.case is not None:
        yield Evidence(
            subject="pressure that the case may hold",
            value=1e-6 * motor.allowable,
            uncertainty=math.nan,
            unit="MPa",
            standing=STATED,
            source="stated by you, [motor.case]",
            note="nobody has proved it",
        )
