"""From what is put on the scale to pure substances: premixes, syrups, lots."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from castsugar import scope
from castsugar.database import Database, Ingredient, Premix, Syrup
from castsugar.errors import InputError, ValidityError, unknown_name

#: Enthalpies of formation of dissolved saccharides [J/mol]: glucose at infinite
#: dilution, water, and the heat of hydrolysis of a glycosidic bond. Goldberg & Tewari,
#: J. Phys. Chem. Ref. Data 18 (1989) 809 (glucose, from memory); CODATA (water);
#: hydrolysis of maltose -4.5 +- 0.5 kJ/mol, from memory.
GLUCOSE_IN_WATER = -1262.2e3
WATER = -285.83e3
HYDROLYSIS = -4.5e3

#: Isomerisation of dissolved glucose to fructose [J/mol], from memory.
ISOMERISATION = 2.8e3

#: Standard uncertainty of the enthalpy of syrup solids [J/kg]: a concentrated syrup
#: is not infinitely dilute (0 to 20 J/g).
SOLIDS_UNCERTAINTY = 2.0e4

_STATUS, _SOURCE = "estimated", "derived-solution-cycle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """What is known about the bag or bottle at hand, instead of the default.

    Parameters
    ----------
    moisture : float
        Mass fraction of water, as it is weighed.
    inert : float
        Mass fraction that makes no gas (ash, salt, anti-caking agent).
    assay : float, optional
        Mass fraction of the named substance; the rest, less moisture, is inert.
    dry_solids : float, optional
        Of a syrup: mass fraction of dry solids.
    dextrose_equivalent : float, optional
        Of a glucose syrup.
    """

    moisture: float = 0.0
    inert: float = 0.0
    assay: float | None = None
    dry_solids: float | None = None
    dextrose_equivalent: float | None = None

    def __post_init__(self) -> None:
        """Check that every share is a fraction and that they leave room."""
        shares = {
            "moisture": self.moisture,
            "inert": self.inert,
            "assay": self.assay,
            "dry_solids": self.dry_solids,
        }
        for name, value in shares.items():
            if value is not None and not 0.0 <= value <= 1.0:
                raise InputError(
                    f"lot {name} is {value:g}; it must lie between 0 and 1"
                )
        total = self.moisture + self.inert + (self.assay or 0.0)
        if total > 1.0 + 1e-9:
            raise InputError(
                f"lot assay, moisture and inert part sum to {total:g}; "
                "they must not exceed 1"
            )

    @property
    def inert_share(self) -> float:
        """Mass fraction of inert matter."""
        if self.assay is None:
            return self.inert
        return max(1.0 - self.assay - self.moisture, self.inert)


@dataclass(frozen=True, slots=True, kw_only=True)
class Constituent:
    """A pure substance in a mix, and the item of the recipe that brought it."""

    ingredient: Ingredient
    mass_fraction: float
    origin: str


def expand(
    database: Database,
    item: str | Ingredient,
    fraction: float,
    lot: Lot | None,
    alternatives: Mapping[str, str],
) -> list[Constituent]:
    """Return the pure substances of one recipe item.

    Parameters
    ----------
    database : Database
    item : str or Ingredient
        A name or alias, or an ingredient of the caller's own.
    fraction : float
        Mass fraction of the item in the mix as weighed.
    lot : Lot or None
        Overrides for the item.
    alternatives : mapping
        Ingredient name to the name of an alternative enthalpy.

    Raises
    ------
    UnknownNameError, RefusedError, InputError, ValidityError
    """
    found = _resolve(database, item)
    if isinstance(found, Syrup):
        parts = _syrup(database, found, lot)
    elif isinstance(found, Premix):
        inner = [(database.ingredients[n], share) for n, share in found.components]
        parts = _with_lot(database, inner, lot, found.name)
    else:
        parts = _with_lot(database, [(found, 1.0)], lot, found.name)
    return [
        Constituent(
            ingredient=choose(ingredient, alternatives),
            mass_fraction=fraction * share,
            origin=found.name,
        )
        for ingredient, share in parts
        if share > 0.0
    ]


def choose(ingredient: Ingredient, alternatives: Mapping[str, str]) -> Ingredient:
    """Return the ingredient with the alternative enthalpy asked for, if any."""
    wanted = alternatives.get(ingredient.name)
    if wanted is None:
        return ingredient
    for rival in ingredient.alternatives:
        if rival.name == wanted:
            return replace(
                ingredient,
                enthalpy_of_formation=rival.enthalpy_of_formation,
                enthalpy_uncertainty=rival.enthalpy_uncertainty,
                status=rival.status,
                source=rival.source,
            )
    names = [a.name for a in ingredient.alternatives]
    raise unknown_name(f"alternative of {ingredient.name}", wanted, names)


def _resolve(database: Database, item: str | Ingredient) -> Ingredient | Syrup | Premix:
    """Look an item up; refuse what is out of scope."""
    if isinstance(item, Ingredient):
        scope.check_name(item.name)
        scope.check_composition(item.name, item.composition)
        return item
    scope.check_name(item)
    return database.find(item)


def _with_lot(
    database: Database,
    parts: list[tuple[Ingredient, float]],
    lot: Lot | None,
    name: str,
) -> list[tuple[Ingredient, float]]:
    """Add moisture and inert matter of a lot to dry substances."""
    if lot is None:
        return parts
    if lot.dry_solids is not None or lot.dextrose_equivalent is not None:
        raise InputError(
            f"lot of {name!r} gives dry solids or dextrose equivalent; these belong to "
            "syrups. Give moisture, assay or inert instead"
        )
    rest = 1.0 - lot.moisture - lot.inert_share
    scaled = [(ingredient, rest * share) for ingredient, share in parts]
    return [
        *scaled,
        (database.ingredients["water"], lot.moisture),
        (database.ingredients["inert matter"], lot.inert_share),
    ]


def _syrup(
    database: Database, syrup: Syrup, lot: Lot | None
) -> list[tuple[Ingredient, float]]:
    """Return the saccharides, water and ash of a syrup."""
    lot = lot or Lot()
    solids = syrup.dry_solids_fraction if lot.dry_solids is None else lot.dry_solids
    if not 0.5 <= solids <= 1.0:
        raise ValidityError(
            f"dry solids of {syrup.name!r} are {solids:g}; allowed 0.5 to 1 "
            "(mass fraction)"
        )
    graded = syrup
    if lot.dextrose_equivalent is not None:
        graded = grade(database, syrup, lot.dextrose_equivalent)
    ash = graded.ash_fraction * solids + lot.inert_share
    sugars = solids - ash
    total = sum(share for _, share in saccharides(graded))
    parts = [(s, sugars * share / total) for s, share in saccharides(graded)]
    return [
        *parts,
        (database.ingredients["water"], 1.0 - solids),
        (database.ingredients["inert matter"], ash),
    ]


def grade(database: Database, syrup: Syrup, dextrose_equivalent: float) -> Syrup:
    """Return a syrup with the saccharides of another dextrose equivalent.

    Interpolates between the grades of the acid-conversion series.

    Raises
    ------
    ValidityError
        Outside the grades of the series.
    """
    series = sorted(
        (s for s in database.syrups.values() if s.acid_series),
        key=lambda s: s.dextrose_equivalent,
    )
    low, high = series[0].dextrose_equivalent, series[-1].dextrose_equivalent
    if not low <= dextrose_equivalent <= high:
        raise ValidityError(
            f"dextrose equivalent {dextrose_equivalent:g} of {syrup.name!r} is outside "
            f"the grades known, {low:g} to {high:g}"
        )
    after = next(s for s in series if s.dextrose_equivalent >= dextrose_equivalent)
    before = series[max(series.index(after) - 1, 0)]
    span = after.dextrose_equivalent - before.dextrose_equivalent
    part = (dextrose_equivalent - before.dextrose_equivalent) / span if span else 0.0

    def between(name: str) -> float:
        a, b = float(getattr(before, name)), float(getattr(after, name))
        return a + part * (b - a)

    return replace(
        syrup,
        dextrose_equivalent=dextrose_equivalent,
        fructose_fraction=0.0,
        dp1_fraction=between("dp1_fraction"),
        dp2_fraction=between("dp2_fraction"),
        dp3_fraction=between("dp3_fraction"),
        dp4plus_fraction=between("dp4plus_fraction"),
        dp4plus_chain_length=between("dp4plus_chain_length"),
    )


def saccharides(syrup: Syrup) -> list[tuple[Ingredient, float]]:
    """Return the sugars of a syrup with their mass fractions of the dry solids."""
    volume = syrup.solids_specific_volume
    chains = (
        (1.0, syrup.dp1_fraction),
        (2.0, syrup.dp2_fraction),
        (3.0, syrup.dp3_fraction),
        (syrup.dp4plus_chain_length, syrup.dp4plus_fraction),
    )
    found = [(saccharide(n, volume), share) for n, share in chains if share > 0.0]
    if syrup.fructose_fraction > 0.0:
        fructose = saccharide(1.0, volume, fructose=True)
        found.append((fructose, syrup.fructose_fraction))
    return found


@functools.lru_cache(maxsize=64)
def saccharide(
    chain_length: float, specific_volume: float, *, fructose: bool = False
) -> Ingredient:
    """Return a dissolved saccharide of n glucose units, C6n H10n+2 O5n+1.

    The enthalpy is n times that of dissolved glucose, less the water and the heat of
    hydrolysis of the n - 1 bonds.
    """
    n = chain_length
    bonds = n - 1.0
    enthalpy = n * GLUCOSE_IN_WATER - bonds * (WATER + HYDROLYSIS)
    if fructose:
        enthalpy += ISOMERISATION
    kind = "fructose" if fructose else f"DP{n:g}"
    substance = Ingredient(
        name=f"syrup solids {kind}",
        formula={"C": 6 * n, "H": 10 * n + 2, "O": 5 * n + 1},
        enthalpy_of_formation=enthalpy,
        enthalpy_uncertainty=math.nan,
        density=1.0 / specific_volume,
        density_status=_STATUS,
        density_source=_SOURCE,
        status=_STATUS,
        source=_SOURCE,
        catalogued=True,
    )
    return replace(
        substance, enthalpy_uncertainty=SOLIDS_UNCERTAINTY * substance.molar_mass
    )
