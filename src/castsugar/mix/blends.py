"""Many cast mixes as columns: what the solvers and the table need of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar import numerics
from castsugar.arrays import FloatArray, IntArray
from castsugar.checks import named_options, one_of, shown
from castsugar.constants import ELEMENTS
from castsugar.data.load import Database, load_database
from castsugar.data.records import Ingredient
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import PROCESSES, Mix
from castsugar.mix.weighing import Constituent, Item, Lot, item_with_solids, weigh_items

#: What all rows share.
_OF_ALL = ("ingredients", "items", "process")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blends:
    """Cast mixes, one row each.

    Attributes
    ----------
    names : tuple of str
    elements : ndarray, shape (n, 7)
        [mol/kg], in the order of :data:`castsugar.constants.ELEMENTS`.
    enthalpy, density : ndarray, shape (n,)
        [J/kg], [kg/m3]
    oxidizer_fuel_ratio, oxygen_balance : ndarray, shape (n,)
        [-], [%]
    water_as_weighed, water_as_cast : ndarray, shape (n,)
        Mass fractions.
    flags : tuple of tuple of str
    ingredients : tuple of Ingredient
        All pure substances that occur.
    moles : ndarray, shape (n, ingredients)
        Amount of each in the cast mix; 0 for inert matter. [mol/kg]
    water_lost : ndarray, shape (n,)
        Fraction of the mix's own water that left.
    browned : ndarray, shape (n,)
        Degraded share of the sugar; as :attr:`castsugar.mix.mix.Mix.browned`.
    items : tuple of Item
        What was weighed; empty if the blends were made of Mix objects.
    shares : ndarray, shape (n, items)
        Mass fractions of the items, as weighed.
    mixes : tuple of Mix
        What the rows were made of; empty if items were weighed.
    process : str
        How all of them are made, if items were weighed; else each mix says its own.
    """

    names: tuple[str, ...]
    elements: FloatArray
    enthalpy: FloatArray
    density: FloatArray
    oxidizer_fuel_ratio: FloatArray
    oxygen_balance: FloatArray
    water_as_weighed: FloatArray
    water_as_cast: FloatArray
    flags: tuple[tuple[str, ...], ...]
    ingredients: tuple[Ingredient, ...]
    moles: FloatArray
    water_lost: FloatArray
    browned: FloatArray
    items: tuple[Item, ...]
    shares: FloatArray
    mixes: tuple[Mix, ...] = ()
    process: str = ""

    def __len__(self) -> int:
        return len(self.names)

    @property
    def outside(self) -> NDArray[np.bool_]:
        """Which rows are out of scope by what burns in them, (n,)."""
        burns = [refusals.fuel_shares(item.constituents) for item in self.items]
        parts = self.shares @ np.array(burns, dtype=float).reshape(-1, 2)
        by_mass, by_fuel = refusals.excesses(parts[:, 0], parts[:, 1])
        return np.asarray(np.maximum(by_mass, by_fuel) > refusals.ROUNDING)

    def weighed(self, row: int) -> list[Constituent]:
        """Return the pure substances of one row as weighed, item by item."""
        return [
            replace(c, mass_fraction=share * c.mass_fraction)
            for item, share in zip(self.items, self.shares[row].tolist(), strict=True)
            for c in item.constituents
            if share > 0.0
        ]

    def mix(self, row: int) -> Mix:
        """Return one row as a mix of its own."""
        if self.mixes:
            return self.mixes[row]
        weighed = weighing.merged(self.weighed(row))
        lost = float(self.water_lost[row])
        cast = weighing.dried(weighed, lost)
        elements, enthalpy = weighing.charge(cast)
        pairs = zip(self.items, self.shares[row].tolist(), strict=True)
        used = [(item, share) for item, share in pairs if share > 0.0]
        return Mix(
            name=self.names[row],
            recipe=tuple((item.constituents[0].origin, share) for item, share in used),
            syrups=tuple(
                replace(item.syrup, mass_fraction=share)
                for item, share in used
                if item.syrup is not None
            ),
            weighed=tuple(weighed),
            cast=tuple(cast),
            water_lost=lost,
            elements=elements,
            enthalpy=enthalpy,
            browned=float(self.browned[row]),
            process=self.process,
        )

    @property
    def processes(self) -> tuple[str, ...]:
        """How each row is made, as :attr:`castsugar.mix.mix.Mix.process`."""
        if self.mixes:
            return tuple(mix.process for mix in self.mixes)
        return (self.process,) * len(self)

    def take(self, part: slice) -> Blends:
        """Return some of the rows."""
        kept = {
            f.name: getattr(self, f.name)
            if f.name in _OF_ALL
            else getattr(self, f.name)[part]
            for f in fields(self)
        }
        return Blends(**kept)

    @classmethod
    def joined(cls, parts: Sequence[Blends]) -> Blends:
        """Return rows of the same items again as one."""
        kept: dict[str, Any] = {}
        for f in fields(cls):
            each = [getattr(part, f.name) for part in parts]
            if f.name in _OF_ALL:
                kept[f.name] = each[0]
            elif isinstance(each[0], tuple):
                kept[f.name] = tuple(one for rows in each for one in rows)
            else:
                kept[f.name] = np.concatenate(each)
        return cls(**kept)

    def cast_again(
        self,
        water_lost: FloatArray,
        solids: Mapping[str, float] | None = None,
        *,
        browned: FloatArray | None = None,
    ) -> Blends:
        """Return the same weighed recipes after another loss of water.

        Parameters
        ----------
        water_lost : ndarray, shape (n,)
        solids : mapping, optional
            Catalogue name of a syrup to other dry solids.
        browned : ndarray, shape (n,), optional
            As it was by default.

        Raises
        ------
        InputError
            If the blends were made of Mix objects: cast those again instead.
        """
        if not self.items:
            raise InputError("blends of Mix objects are cast again by their mixes")
        items = self.items
        if solids:
            items = tuple(item_with_solids(item, solids) for item in items)
        brown = self.browned if browned is None else browned
        made = _cast(self.names, items, self.shares, water_lost, brown)
        return replace(made, process=self.process)

    def where(self, chosen: NDArray[np.bool_], other: Blends) -> Blends:
        """Return the rows chosen of these blends, and the rest of others like them."""
        kept: dict[str, Any] = {}
        for f in fields(self):
            one, two = getattr(self, f.name), getattr(other, f.name)
            if f.name in _OF_ALL:
                kept[f.name] = one
            elif isinstance(one, tuple):
                if not one:
                    continue
                rows = zip(chosen, one, two, strict=True)
                kept[f.name] = tuple(a if mine else b for mine, a, b in rows)
            else:
                mask = chosen if one.ndim == 1 else chosen[:, None]
                kept[f.name] = np.where(mask, one, two)
        return Blends(**kept)


def of_mixes(mixes: Sequence[Mix]) -> Blends:
    """Return mixes as columns."""
    ingredients = tuple(dict.fromkeys(c.ingredient for mix in mixes for c in mix.cast))
    place = {ingredient: i for i, ingredient in enumerate(ingredients)}
    moles = np.zeros((len(mixes), len(ingredients)))
    for row, mix in enumerate(mixes):
        for c in mix.cast:
            if c.ingredient.composition:
                moles[row, place[c.ingredient]] += (
                    c.mass_fraction / c.ingredient.molar_mass
                )

    def column(name: str) -> FloatArray:
        return np.array([getattr(m, name) for m in mixes], dtype=float)

    return Blends(
        names=tuple(m.name for m in mixes),
        elements=np.array([m.elements for m in mixes]).reshape(-1, len(ELEMENTS)),
        enthalpy=column("enthalpy"),
        density=column("density"),
        oxidizer_fuel_ratio=column("oxidizer_fuel_ratio"),
        oxygen_balance=column("oxygen_balance"),
        water_as_weighed=column("water_as_weighed"),
        water_as_cast=column("water_as_cast"),
        flags=tuple(m.flags for m in mixes),
        ingredients=ingredients,
        moles=moles,
        water_lost=column("water_lost"),
        browned=column("browned"),
        items=(),
        shares=np.zeros((len(mixes), 0)),
        mixes=tuple(mixes),
    )


@named_options
def blend(  # noqa: PLR0913 - keyword-only options
    items: Sequence[str],
    fractions: FloatArray,
    *,
    water_lost: float = 0.0,
    lots: Mapping[str, Lot] | None = None,
    alternatives: Mapping[str, str] | None = None,
    process: str = "",
    database: Database | None = None,
) -> Blends:
    """Cast many mixes of the same items at once.

    Parameters
    ----------
    items : sequence of str
        Names or aliases of the catalogue.
    fractions : ndarray, shape (n, items)
        Mass fractions as weighed; rows sum to 1 within 1e-6.
    water_lost : float
        Fraction of the mix's own water that leaves.
    lots, alternatives, process, database
        As for :meth:`castsugar.mix.mix.Mix.weigh`.

    Returns
    -------
    Blends
        Equal to weighing each row alone.

    Raises
    ------
    InputError
        For fractions below 0 or that do not sum to 1.
    RefusedError
        For a row whose fuel is not sugars, polyols and syrups, and for an ingredient
        that is none of the catalogue's.

    Examples
    --------
    >>> import numpy as np
    >>> shares = np.array([[0.65, 0.35], [0.60, 0.40]])
    >>> blends = blend(["KNO3", "sucrose"], shares)
    >>> blends.oxidizer_fuel_ratio.round(3)
    array([1.857, 1.5  ])
    """
    made = put_together(
        items,
        fractions,
        water_lost=water_lost,
        lots=lots,
        alternatives=alternatives,
        database=database,
    )
    if process:
        made = replace(made, process=one_of("process", process, PROCESSES))
    for item in made.items:
        refusals.check_catalogued("blend", item.constituents)
    for row in np.flatnonzero(made.outside).tolist():
        refusals.check_mix(made.names[row], made.weighed(row))
    return made


def put_together(
    items: Sequence[str],
    fractions: FloatArray,
    *,
    water_lost: float = 0.0,
    lots: Mapping[str, Lot] | None = None,
    alternatives: Mapping[str, str] | None = None,
    database: Database | None = None,
) -> Blends:
    """Cast as :func:`blend` does, without a look at what the fuel is."""
    weighing.check_water_lost(water_lost)
    shares = _checked(items, fractions)
    data = database or load_database()
    weighing.check_named_once(data, items)
    found = weigh_items(data, items, lots or {}, alternatives or {})
    names = tuple(_name(items, row) for row in shares.tolist())
    lost, none = np.full(len(shares), water_lost), np.zeros(len(shares))
    return _cast(names, found, shares, lost, none)


def _checked(items: Sequence[str], fractions: FloatArray) -> FloatArray:
    """Return mass fractions, once they are some."""
    if isinstance(items, str):
        raise InputError(f"items is {items!r}; give a list of names, ['KNO3', ...]")
    try:
        shares = np.asarray(fractions, dtype=float)
    except (TypeError, ValueError):
        raise InputError(
            f"fractions is {shown(fractions)}; give numbers, a row a mix"
        ) from None
    if shares.ndim != 2 or shares.shape[1] != len(items):
        raise InputError(
            f"fractions have shape {shares.shape}; expected (mixes, {len(items)})"
        )
    sums = np.abs(shares.sum(axis=1) - 1.0) <= 1e-6
    if not ((shares >= 0.0).all() and sums.all()):
        raise InputError("mass fractions must be 0 or more and sum to 1 in every row")
    return shares


def _cast(
    names: tuple[str, ...],
    items: tuple[Item, ...],
    shares: FloatArray,
    water_lost: FloatArray,
    browned: FloatArray,
) -> Blends:
    """Cast weighed items."""
    everything = [c.ingredient for item in items for c in item.constituents]
    ingredients = tuple(dict.fromkeys(everything))
    place = {ingredient: i for i, ingredient in enumerate(ingredients)}
    parts = np.zeros((len(items), len(ingredients)))
    for index, item in enumerate(items):
        for c in item.constituents:
            parts[index, place[c.ingredient]] += c.mass_fraction
    weighed = shares @ parts
    water = np.array([i.role == "water" for i in ingredients])
    cast = np.where(water, (1.0 - water_lost[:, None]) * weighed, weighed)
    total = cast.sum(axis=1, keepdims=True)
    if (total <= 0.0).any():
        raise InputError("nothing is left after the water; add other ingredients")
    return Blends(
        names=names,
        water_lost=water_lost,
        browned=browned,
        items=items,
        shares=shares,
        **_columns(ingredients, weighed, cast / total, browned),
    )


def _columns(
    ingredients: tuple[Ingredient, ...],
    weighed: FloatArray,
    cast: FloatArray,
    browned: FloatArray,
) -> dict[str, Any]:
    """Compute every column from mass fractions of pure substances."""
    inert = np.array([not i.composition for i in ingredients])
    mass = np.array([1.0 if not i.composition else i.molar_mass for i in ingredients])
    moles = np.where(inert, 0.0, cast / mass)
    atoms = np.array(
        [[i.composition.get(e, 0.0) for e in ELEMENTS] for i in ingredients]
    )
    formation = np.array([i.enthalpy_of_formation for i in ingredients])
    elements = moles @ atoms

    def share(role: str, fractions: FloatArray) -> FloatArray:
        kept = np.array([i.role == role for i in ingredients])
        return fractions[:, kept].sum(axis=1)

    oxidizer, fuel = share("oxidizer", cast), share("fuel", cast)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = oxidizer / fuel
    return {
        "elements": elements,
        "enthalpy": moles @ formation,
        "density": 1.0 / (cast @ np.array([1.0 / i.density for i in ingredients])),
        "oxidizer_fuel_ratio": ratio,
        "oxygen_balance": weighing.oxygen_balance(list(elements.T)),
        "water_as_weighed": share("water", weighed),
        "water_as_cast": share("water", cast),
        "flags": _flags(ingredients, cast, share("inert", cast), browned),
        "ingredients": ingredients,
        "moles": moles,
    }


def _flags(
    ingredients: Sequence[Ingredient],
    cast: FloatArray,
    inert: FloatArray,
    browned: FloatArray,
) -> tuple[tuple[str, ...], ...]:
    """Return the flags of every row, worked out once for rows that are alike."""
    above = inert > weighing.INERT_FLAG, browned > weighing.BROWNED_FLAG
    alike = np.column_stack([cast > 0.0, *above])
    _, first, own = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    each = [weighing.mix_flags(ingredients, cast[k], float(browned[k])) for k in first]
    return tuple(each[k] for k in own.ravel().tolist())


def _name(items: Sequence[str], shares: Sequence[float]) -> str:
    """Name a mix by its percents."""
    return " ".join(
        f"{item}:{100 * share:.6g}%"
        for item, share in zip(items, shares, strict=True)
        if share > 0.0
    )


#: Which of the mixes.
Some = slice | IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Triangle:
    """All mixes of three ingredients in even steps, beside what is fixed."""

    step: float  # a whole fraction of 1
    total: float = 1.0  # share of the mix that the three have [mass fraction]
    fixed: tuple[float, ...] = ()  # shares of the others [mass fraction]

    def __len__(self) -> int:
        along = round(1.0 / self.step)
        return (along + 1) * (along + 2) // 2

    def shares(self, part: Some = slice(None)) -> FloatArray:
        """Return the shares of the three among themselves, (mixes, 3)."""
        return numerics.triangle(self.step, part)

    def fractions(self, part: Some = slice(None)) -> FloatArray:
        """Return mass fractions of the whole, (mixes, items)."""
        return numerics.with_fixed(self.shares(part), self.total, self.fixed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Mixes of a recipe in which the share of one ingredient runs."""

    recipe: tuple[float, ...]  # mass fractions
    index: int  # which of them runs
    values: tuple[float, ...]  # its shares [mass fraction]

    def __len__(self) -> int:
        return len(self.values)

    def fractions(self, part: Some = slice(None)) -> FloatArray:
        """Return mass fractions of the whole, (mixes, items)."""
        return numerics.along(
            self.recipe, self.index, np.array(self.values)[part].tolist()
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """Which mixes there are, and how they are cast."""

    items: tuple[str, ...]  # names or aliases of the catalogue
    points: Triangle | Line
    #: As for mix.blends.blend.
    water_lost: float = 0.0
    lots: Mapping[str, Lot] = field(default_factory=dict)
    alternatives: Mapping[str, str] = field(default_factory=dict)
    process: str = ""

    def blends(
        self, part: Some = slice(None), database: Database | None = None
    ) -> Blends:
        """Return all mixes, or some by index.

        On a line every mix is looked at, as for :func:`castsugar.mix.blends.blend`; a
        triangle has corners that are no mixes of this family.
        """
        fractions = self.points.fractions(part)
        given: dict[str, Any] = {
            "water_lost": self.water_lost,
            "lots": self.lots,
            "alternatives": self.alternatives,
            "database": database,
        }
        if isinstance(self.points, Line):
            return blend(self.items, fractions, process=self.process, **given)
        return put_together(self.items, fractions, **given)
