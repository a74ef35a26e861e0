"""From what is put on the scale to pure substances: premixes, syrups, lots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from castsugar import syrups
from castsugar.checks import number
from castsugar.data import refused
from castsugar.data.load import Database
from castsugar.data.records import Ingredient, Premix, Syrup
from castsugar.errors import InputError, ValidityError, unknown_name
from castsugar.syrups import SyrupUse

#: Shares of a lot that refer to its dry matter, not to what is weighed.
DRY_BASIS = ("assay", "inert")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """What is known about the bag or bottle at hand, instead of the default.

    Parameters
    ----------
    moisture : float
        Mass fraction of water, as it is weighed.
    inert : float
        Fraction of the dry matter that makes no gas (ash, salt, anti-caking agent).
    assay : float, optional
        Fraction of the dry matter that is the named substance; its rest is inert.
    dry_solids : float, optional
        Of a syrup: mass fraction of dry solids.
    dextrose_equivalent : float, optional
        Of a glucose syrup.
    dry_solids_uncertainty : float, optional
        Standard uncertainty of stated dry solids; 0.005 if not said.
    """

    moisture: float = 0.0
    inert: float = 0.0
    assay: float | None = None
    dry_solids: float | None = None
    dextrose_equivalent: float | None = None
    dry_solids_uncertainty: float | None = None

    def __post_init__(self) -> None:
        """Check that every share is a fraction and that they leave room."""
        shares = {
            "moisture": self.moisture,
            "inert": self.inert,
            "assay": self.assay,
            "dry_solids": self.dry_solids,
            "dry_solids_uncertainty": self.dry_solids_uncertainty,
        }
        for name, value in shares.items():
            if value is not None and not 0.0 <= number(value, f"lot {name}") <= 1.0:
                raise InputError(
                    f"lot {name} is {value:g}; it must lie between 0 and 1"
                )
        if self.dextrose_equivalent is not None:
            number(self.dextrose_equivalent, "lot dextrose_equivalent")
        total = self.inert + (self.assay or 0.0)
        if total > 1.0 + 1e-9:
            raise InputError(
                f"lot assay and inert part sum to {total:g} of the dry matter; "
                "they must not exceed 1"
            )

    @property
    def inert_of_dry(self) -> float:
        """Fraction of the dry matter that is inert."""
        return self.inert if self.assay is None else 1.0 - self.assay


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
        if lot is not None:  # its moisture is stated, so the default one goes
            inner = [(i, share) for i, share in inner if i.role != "water"]
            dry = sum(share for _, share in inner)
            inner = [(i, share / dry) for i, share in inner]
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


def syrup_use(
    database: Database, item: str | Ingredient, fraction: float, lot: Lot | None
) -> SyrupUse | None:
    """Return what an item is as a syrup; None if it is none.

    Parameters and errors as for :func:`expand`.
    """
    found = _resolve(database, item)
    if not isinstance(found, Syrup):
        return None
    lot = lot or Lot()
    solids, doubt = found.dry_solids_fraction, found.dry_solids_uncertainty
    if lot.dry_solids is not None:
        solids, doubt = lot.dry_solids, syrups.STATED_SOLIDS_UNCERTAINTY
        if lot.dry_solids_uncertainty is not None:
            doubt = lot.dry_solids_uncertainty
    grade, flows = found.dextrose_equivalent, found.viscosity_dextrose_equivalent
    if lot.dextrose_equivalent is not None:
        grade = flows = lot.dextrose_equivalent
    return SyrupUse(
        name=found.name,
        mass_fraction=fraction,
        dry_solids=solids,
        dry_solids_uncertainty=doubt,
        grade=grade,
        viscosity_grade=flows,
    )


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
        refused.check_name(item.name)
        refused.check_composition(item.name, item.composition)
        return item
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
    dry = 1.0 - lot.moisture
    inert = dry * lot.inert_of_dry
    scaled = [(ingredient, (dry - inert) * share) for ingredient, share in parts]
    return [
        *scaled,
        (database.ingredients["water"], lot.moisture),
        (database.ingredients["inert matter"], inert),
    ]


def _syrup(
    database: Database, syrup: Syrup, lot: Lot | None
) -> list[tuple[Ingredient, float]]:
    """Return the saccharides, water and ash of a syrup."""
    lot = lot or Lot()
    if lot.moisture or lot.assay is not None:
        raise InputError(
            f"lot of {syrup.name!r} gives moisture or assay; a syrup takes dry solids, "
            "dextrose equivalent and inert part instead"
        )
    solids = syrup.dry_solids_fraction if lot.dry_solids is None else lot.dry_solids
    if not 0.5 <= solids <= 1.0:
        raise ValidityError(
            f"dry solids of {syrup.name!r} are {solids:g}; allowed 0.5 to 1 "
            "(mass fraction)"
        )
    graded = syrup
    if lot.dextrose_equivalent is not None:
        graded = syrups.grade(database, syrup, lot.dextrose_equivalent)
    ash = (graded.ash_fraction + lot.inert_of_dry) * solids
    sugars = solids - ash
    if sugars <= 0.0:
        raise InputError(
            f"lot of {syrup.name!r}: inert part {ash:g} is not below the dry solids "
            f"{solids:g}"
        )
    total = sum(share for _, share in syrups.saccharides(graded))
    parts = [(s, sugars * share / total) for s, share in syrups.saccharides(graded)]
    return [
        *parts,
        (database.ingredients["water"], 1.0 - solids),
        (database.ingredients["inert matter"], ash),
    ]
