"""Names of ingredients in a bench file, as typed, and in the catalogue's own words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from castsugar.data.load import Database
from castsugar.data.records import plain
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.workshop.bench import Bench
from castsugar.workshop.schema import Place

_RATIO = re.compile(r"\s*(.+?)\s*:\s*(.+?)\s*(<=|>=)\s*(\S+)\s*")


@dataclass(slots=True, kw_only=True)
class Names:
    """The names of a space: what was typed, what it is in the catalogue."""

    bench: Bench
    database: Database
    typed: dict[str, str] = field(default_factory=dict)
    choices: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def ingredients(
        self, table: Mapping[str, Any]
    ) -> tuple[dict[str, tuple[float, float]], dict[str, float]]:
        """Return bounds and fixed parts by slot or catalogue name."""
        bounds: dict[str, tuple[float, float]] = {}
        fixed: dict[str, float] = {}
        place = self._place("search.ingredients")
        for name, share in table["ingredients"].items():
            chosen = name in table["choices"]
            item = name if chosen else self._add(name, place, name, share)
            if isinstance(share, tuple):
                bounds[item] = share
            else:
                fixed[item] = share
        place = self._place("search.choices")
        for slot, options in table["choices"].items():
            if slot not in table["ingredients"]:
                near = nearest_names(slot, table["ingredients"])
                hint = f"did you mean {near[0]!r}? " if near else ""
                raise place.fail(
                    slot, f"has no bounds; {hint}add it to [search.ingredients]"
                )
            share = table["ingredients"][slot]
            self.choices[slot] = tuple(
                self._add(o, place, slot, share) for o in options
            )
        for slot in self.choices:
            same = [n for pair in self.typed.items() for n in pair]
            if plain(slot) in map(plain, same):
                raise place.fail(
                    slot, "is a slot and an ingredient; call the slot otherwise"
                )
        return bounds, fixed

    def _place(self, table: str) -> Place:
        return Place(self.bench.path, self.bench.text, table)

    def _add(
        self, typed: str, place: Place, key: str, share: tuple[float, float] | float
    ) -> str:
        """Return the catalogue name of an ingredient that is new to the space."""
        highest = share[1] if isinstance(share, tuple) else share
        with placed(place, key):
            name = refusals.catalogue_name(self.database, typed)
            refusals.check_bound(self.database, name, highest)
        if name in self.typed:
            is_it = "" if typed == name else f" is {name!r}, which"
            before = self.typed[name]
            raise place.fail(
                key,
                f"- {typed!r}{is_it} is in the space already (as {before!r}); give "
                "it once",
            )
        self.typed[name] = typed
        return name

    def find(self, typed: str, place: Place, key: str) -> str:
        """Return the slot or catalogue name of something that the space holds."""
        for slot in self.choices:
            if plain(slot) == plain(typed):
                return slot
        name = weighing.item_name(self.database, typed)
        if name in self.typed:
            return name
        known = [*self.choices, *self.typed.values()]
        near = nearest_names(typed, self.database.offered(typed, known))
        hint = f"did you mean {near[0]!r}?" if near else f"it holds {', '.join(known)}"
        raise place.fail(key, f"- {typed!r} is not in [search.ingredients]; {hint}")

    def ratio(self, text: str) -> str:
        """Return a ratio in the names of the space."""
        place = self._place("search")
        found = _RATIO.fullmatch(text)
        if not found:
            raise place.fail(
                "ratios",
                f"- {text!r} is not understood; write 'sucrose:corn syrup >= 0.5'",
            )
        one, other = (self.find(name, place, "ratios") for name in found.groups()[:2])
        return f"{one}:{other} {found[3]} {found[4]}"

    def masses(self, table: Mapping[str, Any]) -> dict[str, float]:
        """Return the masses at hand by slot or catalogue name."""
        place = self._place("search.stock")
        found: dict[str, float] = {}
        for typed, mass in table["stock"].items():
            name = self.find(typed, place, typed)
            if name in found:
                raise place.fail(typed, "is in the table under another name; add up")
            found[name] = mass
        return found


def tried_mix(bench: Bench, database: Database, name: str) -> dict[str, float]:
    """Return a mix that the user made, in catalogue names and mass fractions.

    Empty for a dummy: it was never burnt.

    Raises
    ------
    InputError
        File, line and name of the mix.
    """
    with placed(Place(bench.path, bench.text, "recipes"), name):
        recipe = parse_recipe(bench.recipes[name])
        if recipe.name:
            raise InputError(
                f"the label {recipe.name!r} is one name too many; leave it out, the "
                "key is the name"
            )
        mix = Mix.weigh(recipe, database=database)
        refusals.check_catalogued(recipe.text, mix.weighed)
        if refusals.is_dummy(mix.weighed):
            return {}
        return weighing.catalogue_shares(database, recipe.parts)


@contextmanager
def placed(place: Place, key: str) -> Iterator[None]:
    """Put file, line, table and key before every error."""
    try:
        yield
    except CastsugarError as error:
        raise place.fail(key, f"- {error}") from None
