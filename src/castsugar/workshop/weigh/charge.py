"""A recipe in catalogue names with the lots it is weighed from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from castsugar.data.load import Database
from castsugar.data.records import Syrup
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.mix import refusals
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import Lot, catalogue_shares, item_name
from castsugar.workshop.bench import Bench
from castsugar.workshop.lots import LotRecord, lots_of
from castsugar.workshop.schema import Place
from castsugar.workshop.search_names import placed

#: Liquids of the catalogue that are no syrup.
LIQUIDS = frozenset({"water", "glycerol"})

#: Kinds of lines in the order of weighing; see :mod:`castsugar.workshop.weigh.sheet`.
KINDS = ("syrup", "liquid", "minor", "powder", "oxidizer")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charge:
    """What is weighed, as shares of the mix as weighed.

    Attributes
    ----------
    name : str
        Of the recipe: its name in the bench file, its label, or itself.
    shares : dict of str to float
        Catalogue name to mass fraction, as is: each with the water of its lot.
    typed : dict of str to str
        Catalogue name to the name that the user typed.
    lots : dict of str to Lot
    records : dict of str to LotRecord
    database : Database
    """

    name: str
    shares: dict[str, float]
    typed: dict[str, str]
    lots: dict[str, Lot]
    records: dict[str, LotRecord]
    database: Database

    @property
    def dummy(self) -> bool:
        """Whether a salt stands in for the oxidizer."""
        return refusals.is_dummy(self.mix().weighed)

    def mix(
        self,
        masses: Mapping[str, float] | None = None,
        *,
        name: str = "",
        water_lost: float = 0.0,
    ) -> Mix:
        """Return the mix of some masses in the pan; of the shares by default."""
        parts = self.shares if masses is None else masses
        held = {item for item, mass in parts.items() if mass > 0.0}
        return Mix.put_together(
            parts,
            name=name or self.name,
            water_lost=water_lost,
            lots={item: lot for item, lot in self.lots.items() if item in held},
            database=self.database,
        )

    def kind(self, item: str) -> str:
        """Return which of :data:`KINDS` an item is."""
        found = self.database.find(item)
        if isinstance(found, Syrup):
            return "syrup"
        if found.name in LIQUIDS:
            return "liquid"
        role = getattr(found, "role", "fuel")
        if role == "oxidizer":
            return "oxidizer"
        return "minor" if role in ("catalyst", "inert") else "powder"

    def find(self, typed: str, where: str) -> str:
        """Return the catalogue name of something that the recipe holds.

        Raises
        ------
        InputError
        """
        name = item_name(self.database, typed)
        if name in self.shares:
            return name
        near = nearest_names(typed, self.database.offered(typed, self.typed.values()))
        hint = f"did you mean {near[0]!r}?" if near else "it holds "
        hint += "" if near else ", ".join(self.typed.values())
        raise InputError(f"{where}: {typed!r} is not in the recipe; {hint}")


def read_charge(
    text: str,
    bench: Bench | None,
    database: Database,
    *,
    wanted: Iterable[str] = (),
) -> Charge:
    """Read a recipe as typed, or by its name in [recipes], with its lots.

    Parameters
    ----------
    text : str
    bench : Bench or None
    database : Database
    wanted : iterable of str
        Names of lots to weigh from, whatever the file says is in use.

    Raises
    ------
    InputError, UnknownNameError, RefusedError, ValidityError
    """
    listed = list(wanted)
    name, shares, typed = _read(text, bench, database)
    if bench is None:
        if listed:
            raise InputError(f"--lot {listed[0]!r} needs --bench FILE with its [lots]")
        return Charge(
            name=name,
            shares=shares,
            typed=typed,
            lots={},
            records={},
            database=database,
        )
    found = lots_of(bench, database, wanted=listed, only=shares)
    for lot in listed:
        if lot not in [record.name for _, record in found.values()]:
            raise InputError(
                f"--lot {lot!r} is {bench.lots[lot]['ingredient']!r}, which the recipe "
                f"does not hold ({', '.join(typed.values())})"
            )
    return Charge(
        name=name,
        shares=shares,
        typed=typed,
        lots={item: lot for item, (lot, _) in found.items()},
        records={item: record for item, (_, record) in found.items()},
        database=database,
    )


def _read(
    text: str, bench: Bench | None, database: Database
) -> tuple[str, dict[str, float], dict[str, str]]:
    """Return name, shares and typed names of a recipe."""
    recipes = bench.recipes if bench else {}
    if text in recipes and bench is not None:
        with placed(Place(bench.path, bench.text, "recipes"), text):
            _, shares, typed = _shares(recipes[text], database, "")
        return text, shares, typed
    if ":" not in text and recipes and bench is not None:
        near = nearest_names(text, list(recipes))
        hint = f"did you mean {near[0]!r}?" if near else "it has " + ", ".join(recipes)
        raise InputError(f"{bench.path} has no recipe {text!r} in [recipes]; {hint}")
    return _shares(text, database, "recipe")


def _shares(
    text: str, database: Database, where: str
) -> tuple[str, dict[str, float], dict[str, str]]:
    recipe = parse_recipe(text, where=where)
    try:
        Mix.weigh(recipe, database=database)  # refuses
        names = {item_name(database, item): item for item, _ in recipe.parts}
        shares = catalogue_shares(database, recipe.parts)
    except CastsugarError as error:
        raise type(error)(f"{where}: {error}" if where else str(error)) from None
    typed = {name: item for name, item in names.items() if name in shares}
    return recipe.name or recipe.text, shares, typed
