"""From the tables of a bench file to what a search is asked, in catalogue names."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field, fields
from typing import Any

from castsugar import units
from castsugar.bench.bench import Bench
from castsugar.bench.lots import prices_of
from castsugar.bench.schema import Place
from castsugar.bench.search_tables import CASE, SCALE_STEP, Search
from castsugar.columns import COLUMN
from castsugar.costs import Prices
from castsugar.data.load import Database
from castsugar.data.records import plain
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import parse_cook
from castsugar.limits import YOURS, Requirement, rated
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_ratio, parse_recipe
from castsugar.motor.hardware import Hardware

# ----------------------------------------------------------------------------
# The limits of a bench file, as numbers.


def limits_of_bench(bench: Bench, motor: Hardware | None) -> tuple[Requirement, ...]:
    """Return the limits of a bench file, that of the case always among them.

    Parameters
    ----------
    motor : Hardware or None
        The motor of the file.

    Raises
    ------
    InputError
        For "case" without a case; a limit that cannot be one.
    """
    found, allowed, case = [], math.nan, ""
    if motor is not None:
        allowed, case = motor.allowable, motor.whose
    for column in bench.limits:
        whose = case if bench.limits[column]["at_most"] == CASE else YOURS
        limit = _limit(bench, column, motor)
        with bench.place("limits").named(column):
            found.append(Requirement(column=column, whose=whose, **limit))
    return rated(found, allowed, case)


def _limit(bench: Bench, column: str, motor: Hardware | None) -> dict[str, Any]:
    """Return a limit with what the case may hold in the place of its word."""
    limit = dict(bench.limits[column])
    if limit["at_most"] == CASE:
        allowed = math.nan if motor is None else motor.allowable
        if math.isnan(allowed):
            raise bench.place(f"limits.{column}").fail(
                "at_most", f"is {CASE!r}, but no case is known; add [motor.case]"
            )
        limit["at_most"] = units.convert(allowed, "pressure", COLUMN[column].unit)
    return limit


# ----------------------------------------------------------------------------
# Names of ingredients in a bench file, as typed, and in the catalogue's own words.


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
        place = self.bench.place("search.ingredients")
        for name, share in table["ingredients"].items():
            chosen = name in table["choices"]
            item = name if chosen else self._add(name, place, name, share)
            if isinstance(share, tuple):
                bounds[item] = share
            else:
                fixed[item] = share
        place = self.bench.place("search.choices")
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

    def _add(
        self, typed: str, place: Place, key: str, share: tuple[float, float] | float
    ) -> str:
        """Return the catalogue name of an ingredient that is new to the space."""
        highest = share[1] if isinstance(share, tuple) else share
        with place.named(key):
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
        place = self.bench.place("search")
        with place.named("ratios"):
            *names, sense, number = parse_ratio(text)
        one, other = (self.find(name, place, "ratios") for name in names)
        return f"{one}:{other} {sense} {number}"

    def masses(self, table: Mapping[str, Any]) -> dict[str, float]:
        """Return the masses at hand by slot or catalogue name."""
        place = self.bench.place("search.stock")
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
    with bench.place("recipes").named(name):
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


# ----------------------------------------------------------------------------
# From the tables of a bench file to what a search is asked, in catalogue names.
#
# Plain values only: rooms of one floor do not know each other, so whoever may import
# both (``castsugar.cli.search_task``) makes a task of them.


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchConditions:
    """How a search cooks and draws; known before a kitchen is built."""

    #: For kitchen.heat.parse_cook; "119 C 8 min" comes apart.
    cook: str | None
    minutes: str | None
    #: Share of the water that leaves, where there is no kitchen.
    water_lost: float | None
    draws: int | None  # of kitchen and motor
    seed: int | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SearchAsked:
    """What a bench file asks of a search, in catalogue names and SI."""

    bench: Bench
    conditions: SearchConditions
    #: `bounds`, `fixed`, `ratios`, `choices`, `purchases`, `batch`, `scale_step` of a
    #: space of mixes.
    space: dict[str, Any]
    #: Those of `objective`, `maximise`, `weights`, `front` and `near` that are stated.
    goal: dict[str, Any]
    limits: tuple[Requirement, ...]
    #: Name of a mix that the user made to mass fractions.
    tried: dict[str, dict[str, float]]
    prices: Prices | None
    #: `weighing` [kg], `syrup_solids`, `moisture`, `cook_temperature` [K], `cook_time`
    #: [s] as far as stated; None if no robust optimum is asked for.
    sloppiness: dict[str, float] | None
    typed: dict[str, str]  # catalogue name to the name that the user typed

    @contextmanager
    def placed(self) -> Iterator[None]:
        """Put file, line and table before every error, and speak as the user typed.

        Raises
        ------
        InputError
            For every :class:`CastsugarError` inside.
        """
        try:
            yield
        except CastsugarError as error:
            message = self._spoken(str(error))
            place, key = self._place(message)
            raise place.fail(key, f"- {message}") from None

    def _spoken(self, message: str) -> str:
        """Return a message with catalogue names as the user typed them."""
        if not self.typed:
            return message
        names = sorted(self.typed, key=len, reverse=True)
        either = "|".join(map(re.escape, names))
        return re.sub(
            rf"(?<!\w)(?:{either})(?!\w)", lambda found: self.typed[found[0]], message
        )

    def _place(self, message: str) -> tuple[Place, str]:
        """Return the table and key that a message is about, as far as it tells."""
        words = re.findall(r"\w+", message)
        about = next((word for word in words if word in self.bench.limits), "")
        if about:
            return self.bench.place("limits"), about
        for name in _search(self.bench)["ingredients"]:
            if message.startswith(f"bounds of '{name}' "):
                return self.bench.place("search.ingredients"), name
        return self.bench.place("search"), ""


def search_conditions(bench: Bench) -> SearchConditions:
    """Return how the search of a bench file cooks and draws.

    Raises
    ------
    InputError
        If the file has no [search] table, or a value of it cannot be used.
    """
    table = _search(bench)
    if table["cook"] is not None:
        with bench.place("search").named("cook"):
            parse_cook(table["cook"], table["minutes"])
    shared = set(Search.KEYS) & {f.name for f in fields(SearchConditions)}
    return SearchConditions(**{key: table[key] for key in shared})


def search_asked(
    bench: Bench, database: Database, *, motor: Hardware | None = None
) -> SearchAsked:
    """Return what a bench file asks of a search.

    Parameters
    ----------
    motor : Hardware, optional
        The motor of the file, for limits that say "case".

    Raises
    ------
    InputError
        File, line, table and key, in the words that were typed.
    """
    table = _search(bench)
    conditions = search_conditions(bench)
    names = Names(bench=bench, database=database)
    bounds, fixed = names.ingredients(table)
    stock = names.masses(table)
    if stock and table["batch"] is None:
        raise bench.place("search").fail(
            "stock", "needs the mass of the batch: add batch = '200 g'"
        )
    step = None
    if table["batch"] is not None:
        step = bench.scale["step"] if bench.scale else SCALE_STEP
    mixes = {name: tried_mix(bench, database, name) for name in bench.recipes}
    tried = {name: mix for name, mix in mixes.items() if mix}
    return SearchAsked(
        bench=bench,
        conditions=conditions,
        space={
            "bounds": bounds,
            "fixed": fixed,
            "ratios": tuple(names.ratio(text) for text in table["ratios"]),
            "choices": names.choices,
            "purchases": stock,
            "batch": table["batch"],
            "scale_step": step,
        },
        goal=_goal(table) | _near(bench, table["near"], tried),
        limits=limits_of_bench(bench, motor),
        tried=tried,
        prices=prices_of(bench, database),
        sloppiness=_sloppiness(bench),
        typed=names.typed,
    )


def _search(bench: Bench) -> dict[str, Any]:
    if bench.search is None:
        raise InputError(
            f"{bench.path} has no [search] table; add one with [search.ingredients], "
            "names and bounds of what may be weighed"
        )
    return bench.search


def _goal(table: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is stated of objective, weights and front."""
    found: dict[str, Any] = {}
    for key in ("maximise", "minimise"):
        if table[key] is not None:
            found |= {"objective": table[key], "maximise": key == "maximise"}
    for key in ("weights", "front"):
        if table[key] is not None:
            found[key] = table[key]
    return found


def _near(bench: Bench, typed: str, tried: Mapping[str, Any]) -> dict[str, str]:
    """Return the recipe to stay near to; nothing where none is named."""
    if not typed:
        return {}
    if typed not in tried:
        near = nearest_names(typed, list(tried))
        hint = f"did you mean {near[0]!r}?" if near else "add it to [recipes]"
        raise bench.place("search").fail(
            "goal", f"names {typed!r}, no recipe of [recipes]; {hint}"
        )
    return {"near": typed}


def _sloppiness(bench: Bench) -> dict[str, float] | None:
    """Return what is stated of sloppy batches; None if nobody asks for them."""
    table = _search(bench)
    if not table["robust"]:
        return None
    names = ("syrup_solids", "moisture", "cook_temperature", "cook_time")
    stated = {name: table[f"{name}_spread"] for name in names}
    stated["weighing"] = bench.scale["accuracy"] if bench.scale else None
    return {key: value for key, value in stated.items() if value is not None}
