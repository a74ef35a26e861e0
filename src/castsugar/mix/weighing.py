"""From what is put on the scale to pure substances and atoms."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias, TypeVar

from castsugar import checks
from castsugar.checks import number
from castsugar.constants import ATOMIC_MASSES, ELEMENTS
from castsugar.data import refused
from castsugar.data.load import Database
from castsugar.data.records import Ingredient, Premix, Syrup
from castsugar.errors import InputError, ValidityError, unknown_name
from castsugar.frozen import dataclass
from castsugar.mix import syrups
from castsugar.mix.syrups import SyrupUse

if TYPE_CHECKING:
    from castsugar.arrays import FloatArray


# ----------------------------------------------------------------------------
# From what is put on the scale to pure substances: premixes, syrups, lots.

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
        Of a glucose syrup. [DE]
    dry_solids_uncertainty : float, optional
        Standard uncertainty of stated dry solids; 0.005 if not said. [-]
    moisture_uncertainty, assay_uncertainty : float, optional
        Standard uncertainties of those, if stated. [-]
    invented : tuple of str
        Its entry, if that says of itself that nobody measured it.

    Raises
    ------
    InputError
        A fraction outside 0 to 1; assay and inert part that sum to more than 1.

    Examples
    --------
    >>> from castsugar import Mix
    >>> damp = Lot(moisture=0.003)
    >>> mix = Mix.weigh("KNO3:65 sucrose:35", lots={"KNO3": damp})
    >>> round(mix.water_as_weighed, 5)
    0.00195
    """

    moisture: float = 0.0
    inert: float = 0.0
    assay: float | None = None
    dry_solids: float | None = None
    dextrose_equivalent: float | None = None
    dry_solids_uncertainty: float | None = None
    moisture_uncertainty: float | None = None
    assay_uncertainty: float | None = None
    invented: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check that every share is a fraction and that they leave room."""
        shares = {
            "moisture": self.moisture,
            "inert": self.inert,
            "assay": self.assay,
            "dry_solids": self.dry_solids,
            "dry_solids_uncertainty": self.dry_solids_uncertainty,
            "moisture_uncertainty": self.moisture_uncertainty,
            "assay_uncertainty": self.assay_uncertainty,
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
        invented=lot.invented,
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
        if not item.catalogued:
            _check_own(item, database.named(item.name))
        return item
    return database.find(item)


def _check_own(item: Ingredient, known: Ingredient | Syrup | Premix | None) -> None:
    """Refuse an ingredient of the caller that would be read as another one's row."""
    if known is None:
        return
    other = "is bought as a mixture"
    if isinstance(known, Ingredient):
        enthalpy = known.enthalpy_of_formation
        if (item.composition, item.enthalpy_of_formation) == (
            known.composition,
            enthalpy,
        ):
            return
        other = f"has {known.formula_text} and {enthalpy:g}"
    own = f"{item.formula_text}, {item.enthalpy_of_formation:g} J/mol"
    raise InputError(
        f"an ingredient of yours ({own}) is called {item.name!r}, a name of "
        f"{known.name!r} of the catalogue, which {other}; give yours another name, "
        f"such as 'my {item.name}'"
    )


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


# ----------------------------------------------------------------------------
# The arithmetic of a recipe: amounts to fractions, water away, atoms counted.

#: Fractions that are meant to sum to 1 must do so within this.
FRACTION_TOLERANCE = 1e-4

#: Inert matter above this mass fraction is flagged (its heat capacity is ignored).
INERT_FLAG = 0.01

#: Names, aliases or ingredients to amounts by mass.
Amounts: TypeAlias = (
    Mapping[str, float] | Mapping[Ingredient, float] | Mapping[str | Ingredient, float]
)

#: Degraded share of the sugar from which its energy is in doubt, and above which no
#: performance is computed: common practice, no source. What the doubt means: sugar that
#: lost two waters or more (caramelan and on), 60 kJ per mole of water either way, the
#: water gone or still there: c* of 60/20/20 moves by -0.4 to +1.1 % at 30 %, estimated.
BROWNED_FLAG, BROWNED_MOST = 0.05, 0.20
BROWNED = f"sugar degraded above {100 * BROWNED_FLAG:g} %"

#: A number, or an array of numbers.
Number = TypeVar("Number", float, "FloatArray")


def oxygen_balance(amounts: Sequence[Number]) -> Number:
    """Return the oxygen balance of element amounts, in the order of ELEMENTS. [%]

    Of numbers or of arrays; see :attr:`castsugar.mix.mix.Mix.oxygen_balance`.
    """
    n = dict(zip(ELEMENTS, amounts, strict=True))
    needed = n["C"] * 2.0 + (n["H"] + n["K"] + n["Na"]) * 0.5 + n["Fe"] * 1.5
    return (n["O"] - needed) * (100.0 * ATOMIC_MASSES["O"])


def mix_flags(
    ingredients: Sequence[Ingredient], fractions: Iterable[float], browned: float = 0.0
) -> tuple[str, ...]:
    """Return what is special about a cast mix of given mass fractions."""
    parts = list(zip(ingredients, fractions, strict=True))
    present = [i for i, share in parts if share > 0.0]
    inert = sum(share for i, share in parts if i.role == "inert")
    found = []
    if any(not i.catalogued for i in present):
        found.append("reference only")
    if any(i.role == "dummy" for i in present):
        found.append("DUMMY: inert, no propellant")
    if inert > INERT_FLAG:
        found.append("inert matter above 1 %")
    if len({i.name for i in present if i.role == "oxidizer"}) > 1:
        found.append("potassium and sodium carbonate taken as separate phases")
    found += [text] if (text := browned_flag(browned)) else []
    return tuple(found)


def browned_flag(browned: float) -> str:
    """Say what the numbers of a cooked mix leave out; empty where it is little."""
    if not browned > BROWNED_FLAG:
        return ""
    return (
        f"{BROWNED}: browned sugar is not in the energy (30 % browned: c* -0.4 to +1.1 "
        "%) nor in pouring and setting, and its burn rate is unknown"
    )


def withheld(browned: float) -> str:
    """Say why nothing is computed of how a cooked mix burns; empty where it is.

    Parameters
    ----------
    browned : float
        Degraded share of its sugar; NaN after a cook that no model covers.
    """
    if math.isnan(browned):
        return (
            "cooked above 150 C, where no model tells the water that is left; cook "
            "cooler, or state the water that leaves"
        )
    if browned > BROWNED_MOST:
        return (
            f"{100.0 * browned:.0f} % of the sugar degraded (limit "
            f"{100 * BROWNED_MOST:g} %); neither energy nor burn rate of browned sugar "
            "is known; cook shorter or cooler"
        )
    return ""


def check_water_lost(water_lost: float) -> None:
    """Refuse a share of water that is not between 0 and 1."""
    if not 0.0 <= checks.number(water_lost, "water_lost") <= 1.0:
        raise InputError(
            f"water_lost is {water_lost:g}; it must lie between 0 (none leaves) and 1 "
            "(all leaves)"
        )


def fractions(recipe: Amounts, basis: str) -> dict[str | Ingredient, float]:
    """Check amounts and turn them into mass fractions."""
    if basis not in ("parts", "fraction"):
        raise InputError(f"basis is {basis!r}; allowed: 'parts', 'fraction'")
    checks.instance(recipe, Mapping, "recipe", optional=False)
    if not recipe:
        raise InputError("the recipe is empty; give for example {'KNO3': 65, ...}")
    amounts: dict[str | Ingredient, float] = {}
    for item, given in recipe.items():
        if not isinstance(item, str | Ingredient):
            raise InputError(
                f"the recipe names {checks.shown(item)}; give names of the "
                "catalogue, or an Ingredient"
            )
        amount = checks.number(given, f"amount of {shown(item)!r}")
        if not (math.isfinite(amount) and amount >= 0.0):
            raise InputError(
                f"amount of {shown(item)!r} is {amount}; it must be 0 or more"
            )
        amounts[item] = amount
    total = math.fsum(amounts.values())
    if total <= 0.0:
        raise InputError("all amounts are 0; at least one must be above 0")
    if basis == "fraction" and abs(total - 1.0) > FRACTION_TOLERANCE:
        raise InputError(
            f"mass fractions sum to {total:.6g}; they must sum to 1 within "
            f"{FRACTION_TOLERANCE:g}; use basis='parts' to rescale"
        )
    return {item: amount / total for item, amount in amounts.items() if amount > 0.0}


def shown(item: str | Ingredient) -> str:
    """Return how an item was called."""
    return item.name if isinstance(item, Ingredient) else item


def item_name(database: Database, item: str | Ingredient) -> str:
    """Return the catalogue name of an item; its own name if it is not found."""
    if isinstance(item, Ingredient):
        return item.name
    try:
        return database.find(item).name
    except LookupError:
        return item


def check_named_once(database: Database, items: Iterable[str | Ingredient]) -> None:
    """Refuse one ingredient under two names.

    Raises
    ------
    InputError
    """
    seen: dict[str, str] = {}
    for item in items:
        typed = shown(item)
        name = item_name(database, typed)
        if name in seen:
            raise InputError(
                f"{typed!r} comes twice (first as {seen[name]!r}, both are {name!r}); "
                "add the two amounts up and give each ingredient once"
            )
        seen[name] = typed


def catalogue_shares(
    database: Database, parts: Iterable[tuple[str, float]]
) -> dict[str, float]:
    """Return named amounts as mass fractions by catalogue name, without those of 0.

    Raises
    ------
    InputError
        For one ingredient under two names.
    """
    listed = list(parts)
    check_named_once(database, [item for item, _ in listed])
    whole = math.fsum(amount for _, amount in listed)
    return {item_name(database, i): amount / whole for i, amount in listed if amount}


def by_item(
    database: Database,
    given: Mapping[str, Lot],
    parts: Mapping[str | Ingredient, float],
) -> dict[str, Lot]:
    """Map catalogue names to lots; each must belong to an item of the recipe."""
    items = {item_name(database, i) for i in parts}
    found = {}
    for key, lot in given.items():
        checks.instance(lot, Lot, f"lot of {key!r}", optional=False)
        name = item_name(database, key)
        if name not in items:
            raise InputError(
                f"lot for {key!r}, which is not in the recipe "
                f"({', '.join(sorted(items))})"
            )
        if name in found:
            raise InputError(f"two lots are given for {name!r}; give one")
        found[name] = lot
    return found


def check_alternatives(rivals: Mapping[str, str], weighed: list[Constituent]) -> None:
    """Refuse an alternative for a substance that the mix does not hold."""
    names = {c.ingredient.name for c in weighed}
    for name in rivals:
        if name not in names:
            raise InputError(
                f"alternative enthalpy for {name!r}, which is not in the mix "
                f"({', '.join(sorted(names))})"
            )


def recipe_name(recipe: Amounts) -> str:
    """Return the recipe as a name."""
    return " ".join(f"{shown(i)}:{a:g}" for i, a in recipe.items())


def merged(constituents: list[Constituent]) -> list[Constituent]:
    """Add up the same substance from the same item; sort so that order is nothing."""
    totals: dict[tuple[str, str, Ingredient], Constituent] = {}
    for c in constituents:
        key = (c.ingredient.name, c.origin, c.ingredient)
        held = totals.get(key)
        more = held.mass_fraction if held else 0.0
        totals[key] = replace(c, mass_fraction=c.mass_fraction + more)
    return [totals[key] for key in sorted(totals, key=_order)]


def _order(key: tuple[str, str, Ingredient]) -> tuple[str, str, str, float]:
    """Order constituents by what they are, never by how they were listed."""
    name, origin, ingredient = key
    return name, origin, ingredient.formula_text, ingredient.enthalpy_of_formation


def dried(weighed: list[Constituent], water_lost: float) -> list[Constituent]:
    """Take the share `water_lost` of all water away and rescale to 1."""
    kept = [
        replace(c, mass_fraction=c.mass_fraction * (1.0 - water_lost))
        if c.ingredient.role == "water"
        else c
        for c in weighed
    ]
    kept = [c for c in kept if c.mass_fraction > 0.0]
    total = math.fsum(c.mass_fraction for c in kept)
    if total <= 0.0:
        raise InputError("nothing is left after the water; add other ingredients")
    return [replace(c, mass_fraction=c.mass_fraction / total) for c in kept]


def with_solids(
    weighed: Sequence[Constituent],
    syrups: Sequence[SyrupUse],
    solids: Mapping[str, float],
) -> list[Constituent]:
    """Return the pure substances with other dry solids of some syrups."""
    factors: dict[str, tuple[float, float]] = {}
    for syrup in syrups:
        wanted = solids.get(syrup.name, syrup.dry_solids)
        if not 0.5 <= wanted <= 1.0:
            raise InputError(
                f"dry solids of {syrup.name!r} are {wanted:g}; allowed 0.5 to 1"
            )
        was = syrup.dry_solids
        if was == 1.0 and wanted != 1.0:
            raise InputError(
                f"the lot of {syrup.name!r} states no water at all; give its dry solids"
            )
        wet = (1.0 - wanted) / (1.0 - was) if was < 1.0 else 1.0
        factors[syrup.name] = wanted / was, wet
    found = []
    for c in weighed:
        dry, wet = factors.get(c.origin, (1.0, 1.0))
        factor = wet if c.ingredient.role == "water" else dry
        found.append(replace(c, mass_fraction=c.mass_fraction * factor))
    return [c for c in found if c.mass_fraction > 0.0]


def share_of(constituents: tuple[Constituent, ...], role: str) -> float:
    """Return the mass fraction of all constituents of a role."""
    return math.fsum(c.mass_fraction for c in constituents if c.ingredient.role == role)


def charge(cast: list[Constituent]) -> tuple[tuple[float, ...], float]:
    """Return element amounts [mol/kg] and enthalpy [J/kg] of a cast mix."""
    amounts = dict.fromkeys(ELEMENTS, 0.0)
    enthalpy = 0.0
    for c in cast:
        if not c.ingredient.composition:
            continue
        moles = c.mass_fraction / c.ingredient.molar_mass
        enthalpy += moles * c.ingredient.enthalpy_of_formation
        for element, count in c.ingredient.composition.items():
            amounts[element] += moles * count
    return tuple(amounts[e] for e in ELEMENTS), enthalpy


# ----------------------------------------------------------------------------
# Items of a recipe: what is put on the scale, as pure substances per mass.


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One item of a recipe: its pure substances per mass, and what syrup it is."""

    constituents: tuple[Constituent, ...]
    syrup: SyrupUse | None


def item_with_solids(item: Item, solids: Mapping[str, float]) -> Item:
    """Return an item with the dry solids of its syrup changed."""
    if item.syrup is None or item.syrup.name not in solids:
        return item
    changed = with_solids(item.constituents, [item.syrup], solids)
    syrup = replace(item.syrup, dry_solids=solids[item.syrup.name])
    return Item(constituents=tuple(changed), syrup=syrup)


def weigh_items(
    data: Database,
    items: Sequence[str],
    lots: Mapping[str, Lot],
    alternatives: Mapping[str, str],
) -> tuple[Item, ...]:
    """Return the pure substances of each item."""
    known = by_item(data, lots, dict.fromkeys(items, 1.0))
    rivals = {item_name(data, key): value for key, value in alternatives.items()}
    found = []
    for item in items:
        lot = known.get(item_name(data, item))
        constituents = tuple(expand(data, item, 1.0, lot, rivals))
        syrup = syrup_use(data, item, 1.0, lot)
        found.append(Item(constituents=constituents, syrup=syrup))
    check_alternatives(rivals, [c for i in found for c in i.constituents])
    return tuple(found)
