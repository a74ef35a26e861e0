"""What stands behind a comparison: every number that went in, and where it is from."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.data.load import Database
from castsugar.data.records import Ingredient
from castsugar.decide.evidence_record import (
    PUBLISHED,
    STANDINGS,
    STATED,
    Evidence,
    standing_of,
)
from castsugar.decide.evidence_world import (
    doubt_evidence,
    kitchen_evidence,
    motor_evidence,
)
from castsugar.decide.inputs import SYRUP_SOLIDS, enthalpy_u
from castsugar.decide.outlook import Outlook
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SOLIDS_UNCERTAINTY
from castsugar.rows import shipped_species

__all__ = ["STANDINGS", "Evidence", "evidence_of"]


def evidence_of(outlook: Outlook, database: Database) -> tuple[Evidence, ...]:
    """Return everything that mixes under conditions rest on.

    Parameters
    ----------
    outlook : Outlook
    database : Database
        For the sources.
    """
    conditions = outlook.conditions
    damp = [database.ingredients["water"]] if outlook.doubts.moisture > 0.0 else []
    found = _ingredients(outlook.mixes, damp)
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
        syrup = any(mix.syrups for mix in outlook.mixes)
        found += kitchen_evidence(conditions.kitchen, syrup=syrup)
    if conditions.motor is not None:
        found += motor_evidence(outlook.mixes, conditions.motor)
    found += doubt_evidence(outlook.doubts)
    return tuple(found)


def _ingredients(mixes: Sequence[Mix], more: Sequence[Ingredient]) -> list[Evidence]:
    """Return enthalpies of formation and densities, each once; more of them last."""
    used: dict[tuple[str, float], Ingredient] = {}
    for one in [*(part.ingredient for mix in mixes for part in mix.cast), *more]:
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
