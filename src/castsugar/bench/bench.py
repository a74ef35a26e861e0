"""The bench file: one TOML file that describes the user's world. Its only schema.

Its tables are :data:`TABLES`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import field, replace
from pathlib import Path
from typing import Any

from castsugar.bench.conditions import check_stated
from castsugar.bench.prices import PriceList, read_prices
from castsugar.bench.schema import INVENTED, Place, Table, Where, read_table
from castsugar.bench.search_tables import (
    Cost,
    Limit,
    Premixes,
    Recipes,
    Scale,
    Search,
    processes_of,
    read_costs,
    read_limits,
    read_premixes,
    read_recipes,
    read_scale,
    read_search,
    recipes_of,
    with_premixes,
)
from castsugar.bench.tables import (
    MEASUREMENTS,
    STATABLE,
    Areas,
    Borrowed,
    Case,
    Casting,
    Conditions,
    Cylinder,
    Firing,
    Kitchen,
    Lot,
    Motor,
    Pan,
    Scatter,
    Stated,
    StatedLaw,
    Strands,
    Units,
    read_conditions,
    read_lots,
    read_scatter,
)
from castsugar.errors import InputError, nearest_names
from castsugar.files.reading import read_text
from castsugar.frozen import dataclass
from castsugar.units import SHOWN_AS

#: Largest bench file that is read [bytes].
LARGEST = 4_000_000

#: Longest line [characters].
LONGEST_LINE = 8_000

#: Tables of the file; recipes, limits and lots hold names, each with such a table.
TABLES: dict[str, type[Table]] = {
    "conditions": Conditions,
    "units": Units,
    "kitchen": Kitchen,
    "motor": Motor,
    "scatter": Scatter,
    "premixes": Premixes,
    "recipes": Recipes,
    "scale": Scale,
    "limits": Limit,
    "search": Search,
    "costs": Cost,
    "prices": PriceList,
    "lots": Lot,
    "pan": Pan,
    "casting": Casting,
}


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """A bench file, checked: values in SI, absent tables empty."""

    path: Path
    text: str  # as it was read
    #: Keys of Kitchen; stated parameters as dicts, `measured` as a list of dicts with
    #: the keys of MEASUREMENTS.
    kitchen: dict[str, Any]
    #: Keys of bench.tables.Motor; `grain` and `case` as dicts, `burn_law` and `firing`
    #: as lists of dicts, the latter with the keys of bench.tables.Firing. None without
    #: the table.
    motor: dict[str, Any] | None
    #: Name of a mix that the user made to its recipe as typed, premixes taken apart.
    recipes: dict[str, str] = field(default_factory=dict)
    #: Name of such a mix to its process, where one is stated.
    processes: dict[str, str] = field(default_factory=dict)
    #: Those keys of bench.tables.Scatter that are stated.
    scatter: dict[str, float] = field(default_factory=dict)
    #: Keys of bench.search_tables.Scale. None without the table.
    scale: dict[str, Any] | None = None
    #: Column to the keys of bench.search_tables.Limit.
    limits: dict[str, dict[str, Any]] = field(default_factory=dict)
    #: Name of costs.ASSUMED to the keys of bench.search_tables.Cost; None where one is
    #: left out.
    costs: dict[str, dict[str, float]] = field(default_factory=dict)
    #: Ingredient as typed to price of a kilogram and currency.
    prices: dict[str, tuple[float, str]] = field(default_factory=dict)
    #: Keys of bench.search_tables.Search, as bench.search_tables.read_search says. None
    #: without the table.
    search: dict[str, Any] | None = None
    #: Name of a bag or bottle to the keys of bench.tables.Lot.
    lots: dict[str, dict[str, Any]] = field(default_factory=dict)
    #: Keys of bench.tables.Pan and of bench.tables.Casting. None without the table.
    pan: dict[str, Any] | None = None
    casting: dict[str, Any] | None = None
    #: Keys of bench.tables.Conditions, and `typed`. None without the table;
    #: bench.conditions.conditions_of says what holds.
    conditions: dict[str, Any] | None = None
    #: Name of a blend to its parts as typed.
    premixes: dict[str, str] = field(default_factory=dict)
    #: Keys of bench.tables.Units.
    units: dict[str, Any] = field(default_factory=lambda: {"show": SHOWN_AS[0]})
    #: Tables and entries that say ``invented = true``, in the order of the file:
    #: "scale", 'lots."bag A"', "kitchen.measured[0]", "motor.burn_law[2]".
    invented: tuple[str, ...] = ()

    def invented_in(self, entry: str) -> tuple[str, ...]:
        """Return those of `invented` that are an entry or lie in it."""
        inside = (f"{entry}.", f"{entry}[")
        names = self.invented
        return tuple(n for n in names if n == entry or n.startswith(inside))

    def recipe_text(self, typed: str) -> str:
        """Return the recipe of a name, or the one typed, premixes taken apart.

        Raises
        ------
        InputError
            For a typed recipe that is none.
        """
        name = typed.strip()
        if name in self.recipes:
            return self.recipes[name]
        return with_premixes(typed, self.premixes) if self.premixes else typed

    def process_of(self, typed: str) -> str:
        """Return how a mix is made: as its name in [recipes] says, else the kitchen."""
        return self.processes.get(typed.strip()) or str(self.kitchen["process"])

    def place(self, table: str, index: int = 0) -> Place:
        """Return where a table of the file stands."""
        return Place(self.path, self.text, table, index)

    def with_measurement(self, checked: dict[str, Any]) -> Bench:
        """Return the same bench with one measurement more, as it was checked."""
        measured = [*self.kitchen["measured"], checked]
        return replace(self, kitchen={**self.kitchen, "measured": measured})


def read_bench(path: Path) -> Bench:
    """Read and check a bench file.

    Raises
    ------
    InputError
        File, line, key, what was got, what is allowed, what to do.
    """
    return check_bench(path, read_text(path, LARGEST))


def check_bench(path: Path, text: str) -> Bench:
    """Check the text of a bench file; errors as for :func:`read_bench`."""
    raw, file = parsed(path, text), Place(path, text, "")
    for name in raw:
        if name not in TABLES:
            near = nearest_names(name, list(TABLES))
            hint = f"did you mean [{near[0]}]? " if near else ""
            allowed = ", ".join(f"[{table}]" for table in TABLES)
            raise InputError(
                f"{path}, line {file.line(name)}: [{name}] is not known; "
                f"{hint}allowed: {allowed}"
            )
    invented = tuple(_invented(raw, (), file))
    given: dict[str, Any] = {
        name: _READERS[name](table, file.inner(name))
        for name, table in ({"kitchen": {}} | raw).items()
    }
    bench = Bench(
        path,
        text,
        **({"motor": None} | given),
        processes=processes_of(raw.get("recipes", {})),
        invented=invented,
    )
    check_stated(bench)
    return bench


#: Tables whose keys are names of the user's own, or hold such.
_OWN_NAMES = frozenset({"recipes", "premixes", "ingredients", "choices", "stock"})


def _invented(raw: Any, names: tuple[str, ...], place: Place) -> Iterator[str]:
    """Take ``invented`` out of tables and entries; yield which said so."""
    flag = raw.get(INVENTED)
    if isinstance(flag, bool) and names:
        del raw[INVENTED]
        if flag:
            yield ".".join(names)
    elif flag is not None and names and not _OWN_NAMES & set(names):
        raise place.fail(INVENTED, f"is {flag!r}; it must be true or false")
    for key, held in raw.items():
        shown = f'"{key}"' if names == ("lots",) else key
        if isinstance(held, dict):
            yield from _invented(held, (*names, shown), place.inner(key))
        for index, entry in enumerate(held if isinstance(held, list) else []):
            if isinstance(entry, dict):
                inner = place.inner(key, index)
                yield from _invented(entry, (*names, f"{shown}[{index}]"), inner)


#: Tables whose entries have a recipe.
_WITH_RECIPE = (("kitchen", "measured"), ("motor", "burn_law"), ("motor", "firing"))


def parsed(path: Path, text: str) -> dict[str, Any]:
    """Read the TOML of a bench file; a recipe stands where its name was.

    Raises
    ------
    InputError
        For what is no TOML, and for a recipe that cannot be read.
    """
    raw, file = _toml(path, text), Place(path, text, "")
    premixes = read_premixes(raw.get("premixes", {}), file.inner("premixes"))
    if "recipes" in raw:
        place = file.inner("recipes")
        for name, recipe in read_recipes(raw["recipes"], place).items():
            taken = _taken_apart(recipe, premixes, name, place)
            if isinstance(raw["recipes"][name], dict):
                raw["recipes"][name]["mix"] = taken
            else:
                raw["recipes"][name] = taken
    named = raw.get("recipes", {})
    recipes, processes = recipes_of(named), processes_of(named)
    for table, array in _WITH_RECIPE:
        held = raw.get(table)
        entries = held.get(array) if isinstance(held, Mapping) else None
        for index, entry in enumerate(entries if isinstance(entries, list) else []):
            if isinstance(entry, dict) and isinstance(entry.get("recipe"), str):
                place = file.inner(f"{table}.{array}", index)
                typed = entry["recipe"].strip()
                entry["recipe"] = _recipe(entry["recipe"], recipes, premixes, place)
                if table == "motor" and typed in processes:
                    entry.setdefault("process", processes[typed])
    return raw


def _recipe(
    typed: str, known: Mapping[str, str], premixes: Mapping[str, str], place: Place
) -> str:
    """Return the recipe that an entry names, or has."""
    if typed.strip() in known:
        return known[typed.strip()]
    if known and ":" not in typed:
        near = nearest_names(typed, list(known))
        hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}"
        raise place.fail("recipe", f"is {typed!r}, no name in [recipes]; {hint}")
    return _taken_apart(typed, premixes, "recipe", place)


def _taken_apart(
    recipe: str, premixes: Mapping[str, str], key: str, place: Place
) -> str:
    if not premixes:
        return recipe
    with place.named(key):
        return with_premixes(recipe, premixes)


def _toml(path: Path, text: str) -> dict[str, Any]:
    """Read TOML; whatever is wrong with it becomes one line."""
    longest = max(map(len, text.split("\n")))
    if longest > LONGEST_LINE:
        raise InputError(
            f"{path} has a line of {longest:,} characters; allowed {LONGEST_LINE:,}"
        )
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line ([0-9]+)", str(error))
        line = text.split("\n")[int(found[1]) - 1] if found else ""
        if found and (fault := quotes(line)):
            raise InputError(f"{path}, line {found[1]}: {fault}") from None
        last = text.rstrip("\n").count("\n") + 1
        said = str(error).replace("at end of document", f"at the end, line {last}")
        raise InputError(f"{path} is not valid TOML: {said}") from None
    except RecursionError:
        raise InputError(f"{path} is not valid TOML: nested too deeply") from None
    except ValueError as error:
        raise InputError(f"{path} is not usable TOML: {error}") from None


#: Quotes of word processors and phones, and the straight one that is meant.
_CURLY = str.maketrans(dict.fromkeys("\u201c\u201d\u201e\u201f\u2033\u00ab\u00bb", '"'))
_CURLY |= str.maketrans(dict.fromkeys("\u2018\u2019\u201a\u201b", "'"))
_SETS = re.compile(r"\s*([^=#]+?)\s*=\s*([^#]*?)\s*(?:#.*)?")


def quotes(line: str) -> str:
    """Say what is wrong with the quotes of a line that is no TOML; empty if nothing is.

    Examples
    --------
    >>> quotes("throat = 8 mm")
    'the text 8 mm has no quotes; write throat = "8 mm"'
    """
    straight = line.translate(_CURLY).strip()
    if straight != line.strip():
        return f"curly quotes, as a word processor makes them; write {straight}"
    found = _SETS.fullmatch(line.strip())
    if found is None:
        return ""
    key, value = found[1], found[2]
    if value.count('"') == 1 and value[0] + value[-1] != "''":
        bare = value.strip('"')
        return f'one quote of {value} is missing; write {key} = "{bare}"'
    unquoted = value and not set(value) & set("\"'[]{}")
    if unquoted and not re.fullmatch(r"[-+0-9._eE]+|true|false", value):
        return f'the text {value} has no quotes; write {key} = "{value}"'
    return ""


def _kitchen(raw: Any, place: Place) -> dict[str, Any]:
    """Check the kitchen table with what it holds."""
    found = read_table(raw, Kitchen, place)
    for name in STATABLE:
        if found[name] is not None:
            found[name] = read_table(found[name], Stated, place.inner(name))
    found["measured"] = _entries(found["measured"], "measured", place, read_measurement)
    return found


def _motor(raw: Any, place: Place) -> dict[str, Any]:
    """Check the motor table with what it holds."""
    if isinstance(raw, Mapping) and set(raw) == {"firing"}:
        raise place.fail(
            "firing",
            "has no motor that was fired; add [motor] with throat, [motor.grain] and "
            "[[motor.burn_law]]",
        )
    found = read_table(raw, Motor, place)
    grain = found["grain"]
    shaped = isinstance(grain, Mapping) and any(
        key.startswith(("web", "area")) for key in grain
    )
    found["grain"] = read_table(
        grain, Areas if shaped else Cylinder, place.inner("grain")
    )
    if found["case"] is not None:
        found["case"] = read_table(found["case"], Case, place.inner("case"))
    found["burn_law"] = _entries(found["burn_law"], "burn_law", place, _burn_law)
    found["firing"] = _entries(found["firing"], "firing", place, _firing)
    return found


def _entries(
    raw: Any, name: str, place: Place, read: Callable[[Any, Place], dict[str, Any]]
) -> list[dict[str, Any]]:
    """Check an array of tables, entry by entry; empty where there is none."""
    entries = [] if raw is None else raw
    if not isinstance(entries, list):
        raise place.fail(name, f"must be written as [[{place.table}.{name}]]")
    return [read(entry, place.inner(name, i)) for i, entry in enumerate(entries)]


def _burn_law(raw: Any, place: Place) -> dict[str, Any]:
    """Check one way of saying how a mix burns."""
    keys: type[Table] = StatedLaw
    if isinstance(raw, Mapping):
        if not {"borrowed", "strands", "rate"} & set(raw):
            raise place.fail("", "needs one of strands, rate or borrowed")
        keys = Borrowed if "borrowed" in raw else keys
        keys = Strands if "strands" in raw else keys
    return _entry(raw, keys, place)


def _firing(raw: Any, place: Place) -> dict[str, Any]:
    return _entry(raw, Firing, place)


def _entry(raw: Any, keys: type[Table], place: Place) -> dict[str, Any]:
    """Check an entry of an array of tables; `line` and `entry` say where it stands."""
    name = f"{place.table}[{place.index}]"
    return read_table(raw, keys, place) | {"line": place.line(), "entry": name}


#: Table to what checks it.
_READERS: dict[str, Callable[[Any, Place], Any]] = {
    "conditions": read_conditions,
    "units": lambda raw, place: read_table(raw, Units, place),
    "premixes": read_premixes,
    "kitchen": _kitchen,
    "motor": _motor,
    "scatter": read_scatter,
    "recipes": read_recipes,
    "scale": read_scale,
    "limits": read_limits,
    "search": read_search,
    "costs": read_costs,
    "prices": read_prices,
    "lots": read_lots,
    "pan": lambda raw, place: read_table(raw, Pan, place),
    "casting": lambda raw, place: read_table(raw, Casting, place),
}


def read_measurement(raw: Any, place: Where) -> dict[str, Any]:
    """Check one measurement; its kind says which keys belong to it."""
    kind = raw.get("kind") if isinstance(raw, Mapping) else None
    if not isinstance(kind, str) or kind not in MEASUREMENTS:
        near = nearest_names(str(kind), list(MEASUREMENTS)) if kind else []
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise place.fail(
            "kind", f"is {kind!r}; {hint}allowed: {', '.join(MEASUREMENTS)}"
        )
    return read_table(raw, MEASUREMENTS[kind], place)
