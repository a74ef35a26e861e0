"""Recipes, scale, limits and search of a bench file, checked key by key."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from castsugar import plausible, units
from castsugar.bench.conditions import typed_values
from castsugar.bench.schema import (
    INVENTED,
    Key,
    Place,
    Table,
    check_range,
    key,
    needed,
    read_table,
)
from castsugar.bench.tables import FLOWS
from castsugar.columns import (
    CHANGE,
    COLUMN,
    COLUMNS,
    COST,
    DELIVERED,
    IMPULSE,
    NEVER,
    RENAMED,
    SYRUP,
    WEIGHTED,
    no_aim,
)
from castsugar.costs import ASSUMED, GRAM
from castsugar.errors import InputError, nearest_names
from castsugar.frozen import dataclass
from castsugar.mix.mix import PROCESSES
from castsugar.mix.text import parse_recipe
from castsugar.plausible import range_of_limit

# ----------------------------------------------------------------------------
# The keys of the tables that a search reads: scale, limits, search itself.

#: Keys of the columns that can be searched for: those with numbers that a mix decides.
SEARCHABLE = tuple(
    c.key
    for c in COLUMNS
    if c.decimals is not None and c.group not in ("row", "uncertainty")
)

#: Of these less is better in a trade-off unless the user says "most": what presses on
#: the case, heats it or clogs the nozzle, what is thick or crowded, what is spoilt, and
#: the temperature from which a mix pours. Of all others, more: also of temperatures
#: that are good to be high (pours up to, boils at, glass of the binder).
LESS_IS_BETTER = frozenset(
    [
        "flame_temperature_K",
        "throat_temperature_K",
        "exit_temperature_K",
        "condensed_mass_fraction",
        "undissolved_sugar_percent",
        "relative_solids_pour",
        "pour_viscosity_Pa_s",
        "pour_viscosity_p10_Pa_s",
        "pour_viscosity_p90_Pa_s",
        "pour_window_low_C",
        "sugar_degraded_percent",
        "kn_max",
        "peak_pressure_MPa",
        "peak_pressure_p95_MPa",
        COST,
        SYRUP,
        CHANGE,
    ]
)

#: Goals in words: which way, and the column.
GOALS = {
    "most total impulse": ("maximise", IMPULSE),
    "cheapest per N s": ("minimise", COST),
    "least syrup that pours": ("minimise", SYRUP),
}

#: Before the name of a recipe.
_LEAST_CHANGE = "least change from "

#: All of them.
GOAL_WORDS = ", ".join([*map(repr, GOALS), f"'{_LEAST_CHANGE}NAME' of a recipe"])

#: Columns that only a search has, the weighted sum aside.
_OWN = (DELIVERED, IMPULSE, COST, SYRUP, CHANGE)

#: The word that stands for what the case of [motor] may hold.
CASE = "case"

#: Step of a scale that nobody stated: it shows tenths of a gram. Common practice, no
#: source. [kg]
SCALE_STEP = 1e-4

#: Keys of [search] that stand in [conditions] now; still read.
_CONDITIONS = {"pressure": "pressure", "exit_pressure": "pressure", "flow": ""}

#: The word of the ingredient that takes up what the others leave.
REST = "balance"

#: How bounds are written.
BOUNDS = "'55 % to 70 %', '1 %' for a fixed share, or 'balance' for what takes the rest"


class Recipes(Table, head="[recipes]", used="every command that takes a recipe"):
    """what you make: names of your own, each a recipe or a table of mix and process"""

    mix: str = needed("the recipe", "KNO3:65 sucrose:35")
    process: str = key("how it is made", "melted dry", default="", choices=PROCESSES)


class Premixes(Table, head="[premixes]", used="every command that takes a recipe"):
    """blends that you keep ready: names of your own, each with its parts"""


class Scale(Table, head="[scale]", used="weigh, search, compare, justify and batch"):
    """your scale"""

    step: float = needed("its smallest step", "0.1 g", "step of the scale")
    accuracy: float = key(
        "standard uncertainty of one weighing", "0.1 g", "uncertainty of weighing"
    )
    capacity: float = key(
        "its largest load, vessel included", "500 g", "capacity of the scale"
    )
    vessel: float = key("what is weighed into, empty", "60 g", "vessel")


class Limit(Table, head="[limits.COLUMN]", used="every command that judges a mix"):
    """what a mix must keep, by column; castsugar init --explain limits.COLUMN lists"""

    at_most: Any = key(
        "largest value, in the unit of the column, or 'case'", 10, kind="number or text"
    )
    at_least: Any = key(
        "smallest value, in the unit of the column", 0.95, kind="number or text"
    )
    probability: float = key(
        "share of the draws that must keep it", "80 %", "probability of a limit"
    )


class Cost(Table, head='[costs."WHAT"]', used="next"):
    """what a measurement costs you: under its name, or that of a gram of mix"""

    time: float = key("minutes of work; what a gram counts", "20 min", "time of work")
    mass: float = key("mix that is used up", "100 g", "mass used up")


@dataclass(frozen=True, kw_only=True)
class Search(
    Table, head="[search]", used="search; compare and justify for its cook and batch"
):
    """what castsugar search looks for"""

    maximise: str = key("the column of which most is best", "density_impulse_kg_s_m3")
    minimise: str = key(
        "the column of which least is best",
        "peak_pressure_MPa",
        instead_of="maximise",
    )
    goal: str = key(
        f"what people want, in place of a column: {GOAL_WORDS}",
        "least change from base",
        instead_of="maximise",
    )
    weights: Any = key("column = weight, of a weighted sum")
    pressure: float = key(
        "former place of [conditions] pressure", "1000 psi", "chamber pressure"
    )
    exit_pressure: float = key(
        "former place of [conditions] exit", "1 atm", "exit pressure"
    )
    flow: str = key("former place of [conditions] nozzle_flow", "frozen", choices=FLOWS)
    batch: float = key("mass of what is weighed", "200 g", "batch")
    cook: str = key("temperature and time, or points of both", "119 C 8 min")
    minutes: float = key(
        "minutes at the temperature of the cook", 8, "minutes", needs=("cook",)
    )
    water_lost: float = key(
        "share of the water that leaves, without a kitchen",
        "40 %",
        "water lost",
        instead_of="cook",
    )
    seed: int = key("names the random numbers", 1, kind="whole")
    draws: int = key("draws of kitchen and motor", 200, "draws", kind="whole")
    ratios: Any = key(
        "a fixed ratio, or one with >= or <=", ["sucrose:corn syrup = 0.8"], default=()
    )
    front: Any = key(
        "a trade-off of two columns", ["specific_impulse_s", "peak_pressure_MPa"]
    )
    robust: bool = key("for sloppy batches", True, default=False)
    syrup_solids_spread: float = key(
        "dry solids of the syrup in a sloppy batch", "2 %", "spread of dry solids"
    )
    moisture_spread: float = key(
        "moisture of the powders in a sloppy batch", "0.2 %", "spread of moisture"
    )
    cook_temperature_spread: float = key(
        "temperature of the cook from batch to batch, in kelvin",
        1,
        "spread of the cook temperature",
    )
    cook_time_spread: float = key(
        "time of the cook from batch to batch", "30 s", "spread of the cook time"
    )
    ingredients: Any = needed(f"[search.ingredients] with names and bounds: {BOUNDS}")
    choices: Any = key("slot = names of alternatives")
    stock: Any = key("ingredient = mass at hand")


# ----------------------------------------------------------------------------
# Check the tables that a search reads, as far as no catalogue is needed.
#
# :mod:`castsugar.bench.search` then looks the names of ingredients up.

T = TypeVar("T")

#: Names of rows that a search shows beside the user's own mixes.
_TAKEN = re.compile(r"best|percents|weighable|robust|runner [0-9]+")


def read_premixes(raw: Any, place: Place) -> dict[str, str]:
    """Check the blends: names that may stand in a recipe, their parts as text."""
    found = _texts(raw, place)
    for name, parts in found.items():
        if set(name) & set(":;,=%"):
            raise place.fail(name, "has a sign in its name that a recipe uses itself")
        parse_recipe(parts, where=str(place.fail(name, "")).rstrip())
    return found


def with_premixes(recipe: str, premixes: Mapping[str, str]) -> str:
    """Return a recipe with the parts of each premix in its place.

    As typed if it holds none. What comes twice then is added up.

    Examples
    --------
    >>> with_premixes("dry:80 corn syrup:20", {"dry": "KNO3:3 sugar:1"})
    'KNO3:60 sugar:20 corn syrup:20'
    """
    typed = parse_recipe(recipe)
    known = {name.casefold(): parts for name, parts in premixes.items()}
    if not any(name.casefold() in known for name, _ in typed.parts):
        return recipe
    amounts: dict[str, float] = {}
    for name, amount in typed.parts:
        parts = {name: 1.0}
        if name.casefold() in known:
            parts = parse_recipe(known[name.casefold()]).to_dict()
        whole = math.fsum(parts.values())
        for one, part in parts.items():
            amounts[one] = amounts.get(one, 0.0) + amount * part / whole
    label = f"{typed.name}=" if typed.name else ""
    return label + " ".join(
        f"{one}:{amount:.12f}".rstrip("0").rstrip(".")
        for one, amount in amounts.items()
    )


def _texts(raw: Any, place: Place) -> dict[str, str]:
    """Check a table of the user's names, each with a recipe as text."""
    found = {}
    for name, recipe in _without_flag(_named(raw, place)).items():
        if not isinstance(recipe, str):
            raise place.fail(name, f"is {recipe!r}; it must be a recipe in quotes")
        found[name] = recipe
    return found


def read_recipes(raw: Any, place: Place) -> dict[str, str]:
    """Check the table of recipes: names of the user's own, recipes as text."""
    for name, entry in _without_flag(_named(raw, place)).items():
        if _TAKEN.fullmatch(name):
            raise place.fail(
                name, "is a name that a search gives itself; call your mix otherwise"
            )
        if isinstance(entry, Mapping):
            read_table(_without_flag(entry), Recipes, _Recipe(place, name))
    found = recipes_of(raw)
    return _texts(dict(raw) | found, place)


@dataclass(frozen=True, slots=True)
class _Recipe:
    """A table in the place of a recipe; its keys stand where its name does."""

    place: Place
    name: str

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error about one key of it."""
        return self.place.fail(self.name, f"{key} {fault}".lstrip())


def _without_flag(raw: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in raw.items() if k != INVENTED or not isinstance(v, bool)}


def recipes_of(named: Mapping[str, Any]) -> dict[str, str]:
    """Return the recipe of each name, of a table of recipes that was checked."""
    both = {k: v["mix"] if isinstance(v, Mapping) else v for k, v in named.items()}
    return {name: text for name, text in both.items() if isinstance(text, str)}


def processes_of(named: Mapping[str, Any]) -> dict[str, str]:
    """Return the process of each name that states one."""
    tables = {k: v for k, v in named.items() if isinstance(v, Mapping)}
    return {
        name: table["process"] for name, table in tables.items() if "process" in table
    }


def read_scale(raw: Any, place: Place) -> dict[str, Any]:
    """Check the table of the scale; `accuracy` is half a step where none is stated.

    `step_unit` is the unit of the step, as typed: what the scale shows.

    Raises
    ------
    InputError
        Also for a vessel with which nothing could be weighed.
    """
    found = read_table(raw, Scale, place)
    found["step_unit"] = units.parse(str(raw["step"]), "mass").unit
    if found["accuracy"] is None:
        found["accuracy"] = 0.5 * found["step"]
    capacity, vessel = found["capacity"], found["vessel"]
    if capacity and vessel and capacity - vessel < found["step"]:
        raise place.fail(
            "vessel",
            f"is {1e3 * vessel:g} g, and the scale holds {1e3 * capacity:g} g: nothing "
            "could be weighed into it; give a lighter one",
        )
    if capacity is not None and capacity < found["step"]:
        raise place.fail(
            "capacity",
            f"is {1e3 * capacity:g} g, below the step; give the largest load",
        )
    return found


def read_costs(raw: Any, place: Place) -> dict[str, dict[str, float]]:
    """Check the costs: names of :data:`castsugar.costs.ASSUMED`, times and masses."""
    found = {}
    for name, entry in _without_flag(_named(raw, place)).items():
        if name not in ASSUMED:
            raise place.fail(
                name, f"is nothing to measure; {_near(name, tuple(ASSUMED))}"
            )
        found[name] = read_table(entry, Cost, place.inner(name))
        if name == GRAM and found[name]["mass"] is not None:
            raise place.fail(name, "has a mass; give the time that a gram counts")
    return found


def read_limits(raw: Any, place: Place) -> dict[str, dict[str, Any]]:
    """Check the limits: numbers in the unit of the column, or the word "case"."""
    found: dict[str, dict[str, Any]] = {}
    for typed, entry in _named(raw, place).items():
        column, factor = _today(typed, SEARCHABLE, typed, place)
        if column not in SEARCHABLE:
            raise place.fail(typed, f"is no column; {_near(typed, SEARCHABLE)}")
        if column in found:
            raise place.fail(typed, f"is {column!r}, which is limited too; give one")
        inner = place.inner(typed)
        found[column] = _limit(read_table(entry, Limit, inner), column, factor, inner)
    return found


def _limit(
    limit: dict[str, Any], column: str, factor: float, place: Place
) -> dict[str, Any]:
    """Read the sides of a limit; `factor` times a number is in the unit of today."""
    for side in ("at_most", "at_least"):
        if isinstance(limit[side], float):
            limit[side] *= factor
        if isinstance(limit[side], str):
            limit[side] = _typed_limit(limit[side], column, side, place)
        if isinstance(limit[side], float):
            check_range(limit[side], side, range_of_limit(column), place)
    if limit["at_most"] is None and limit["at_least"] is None:
        raise place.fail("", "has no number; give at_most or at_least")
    return limit


def _today(
    typed: str, known: tuple[str, ...], key: str, place: Place
) -> tuple[str, float]:
    """Return a column under its name of today, and what an old value is times.

    An old name gets a remark.
    """
    if typed in known or typed not in RENAMED:
        return typed, 1.0
    now = RENAMED[typed]
    scaled = "" if now.factor == 1.0 else f", its values times {now.factor:g}"
    words = f"names {typed!r}, now {now.key!r}{scaled}: write that"
    plausible.remark(str(place.fail(key, words)), plausible.OLD_NAME)
    return now.key, now.factor


def _typed_limit(typed: str, column: str, side: str, place: Place) -> float | str:
    """Read a limit that is text: a pressure with its unit, or "case"."""
    unit = COLUMN[column].unit
    if unit not in units.UNITS["pressure"]:
        raise place.fail(
            side,
            f"is {typed!r}; write a number without quotes, in the unit of the column "
            "(only a pressure may carry another)",
        )
    if typed.strip() == CASE:
        if side == "at_most":
            return CASE
        raise place.fail(side, f"is {CASE!r}; a case limits what is at_most")
    try:
        value = units.parse(typed, "pressure").value
    except InputError as error:
        raise place.fail(
            side, f"- {error}; or {CASE!r} for what the case of [motor] may hold"
        ) from None
    return units.convert(value, "pressure", unit)


def read_search(raw: Any, place: Place) -> dict[str, Any]:
    """Check the table of the search; names of ingredients are not looked up.

    Returns
    -------
    dict
        Keys of :class:`Search`: quantities in SI; `ingredients` as name to one share or
        (lowest, highest); `choices` as slot to names; `stock` as name to mass [kg];
        `front` as pairs of column and whether more is better; `cook` and `minutes` as
        texts for :func:`castsugar.kitchen.heat.parse_cook`. `typed` holds what is
        stated of pressure, exit and flow, quantities as typed.
    """
    found = read_table(raw, Search, place)
    found["typed"] = typed_values(raw, _CONDITIONS)
    _check_objective(found, place)
    if found["minutes"] is not None:
        found["minutes"] = f"{found['minutes']!r}"
    spreads = [name for name in found if name.endswith("_spread")]
    for name in spreads if not found["robust"] else ():
        if found[name] is not None:
            raise place.fail(name, "says nothing without robust = true; add that")
    if found["front"] is not None:
        found["front"] = _front(found, place)
    found["ingredients"] = _table(found, "ingredients", place, _bounds)
    rest = [n for n, share in (raw.get("ingredients") or {}).items() if share == REST]
    if len(rest) > 1:
        raise place.inner("ingredients").fail(
            rest[1], f"is the balance, as is {rest[0]!r}; only one can take the rest"
        )
    found["choices"] = _table(found, "choices", place, _alternatives)
    found["stock"] = _table(found, "stock", place, _mass)
    return found


def _check_objective(found: dict[str, Any], place: Place) -> None:
    """Check the objective and its weights; `near` is the recipe to stay near to."""
    found["near"] = _goal(found, place)
    way = "minimise" if found["minimise"] is not None else "maximise"
    objective = found[way]
    if objective is not None:
        known = (*SEARCHABLE, *_OWN, WEIGHTED)
        found[way] = objective = _column(objective, known, way, place)
        _check_aim(objective, way == "maximise", way, place)
    if found["weights"] is not None:
        if objective != WEIGHTED:
            raise place.fail("weights", f"need maximise = {WEIGHTED!r}")
        found["weights"] = _weights(found["weights"], place)
        for column, weight in found["weights"].items():
            _check_aim(column, (weight > 0.0) == (way == "maximise"), "weights", place)
    elif objective == WEIGHTED:
        raise place.fail(way, "is a weighted sum; add weights = { column = 1.0 }")


def _goal(found: dict[str, Any], place: Place) -> str:
    """Put a goal in words where its column goes; return the recipe it names."""
    words = " ".join((found["goal"] or "").split())
    if not words:
        return ""
    if found["minimise"] is not None:
        raise place.fail("goal", "and minimise are both stated; leave one out")
    if words.startswith(_LEAST_CHANGE):
        found["minimise"] = CHANGE
        return words.removeprefix(_LEAST_CHANGE)
    if words not in GOALS:
        hot = re.search("pressure|rate", words)
        why = f"no goal: {NEVER}" if hot else f"no goal; allowed: {GOAL_WORDS}"
        raise place.fail("goal", f"is {found['goal']!r}, {why}")
    way, column = GOALS[words]
    found[way] = column
    return ""


def _weights(raw: Any, place: Place) -> dict[str, float]:
    """Read the weights of a sum of columns."""
    inner = place.inner("weights")
    weights, known = _named(raw, inner), (*SEARCHABLE, *_OWN)
    read = read_table(weights, dict.fromkeys(weights, Key(kind="number")), inner)
    found = {}
    for typed, weight in read.items():
        column, factor = _today(typed, known, typed, inner)
        if column not in known:
            raise inner.fail(typed, f"is no column; {_near(typed, known)}")
        found[column] = weight / factor
    if not any(found.values()):
        raise inner.fail("", "has no weight but 0; weigh at least one column")
    return found


def _front(found: dict[str, Any], place: Place) -> tuple[tuple[str, bool], ...]:
    """Read the two columns of a trade-off, each with its better way."""
    if len(found["front"]) != 2:
        raise place.fail("front", f"has {len(found['front'])} columns; give two")
    known = (*SEARCHABLE, *_OWN, *([WEIGHTED] if found["weights"] else []))
    pairs = []
    for entry in found["front"]:
        word, _, rest = entry.strip().partition(" ")
        column = rest.strip() if word in ("least", "most") else entry.strip()
        column = _column(column, known, "front", place)
        less = column in LESS_IS_BETTER if word != "most" else False
        pairs.append((column, word != "least" and not less))
    if pairs[0][0] == pairs[1][0]:
        raise place.fail("front", f"names {pairs[0][0]!r} twice; give two columns")
    for column, more in pairs:
        _check_aim(column, more, "front", place)
    return tuple(pairs)


def _check_aim(column: str, more: bool, key: str, place: Place) -> None:
    if why := no_aim(column, more=more):
        raise place.fail(key, f"- {why}")


def _column(typed: str, known: tuple[str, ...], key: str, place: Place) -> str:
    """Return a column under its name of today."""
    column, _ = _today(typed, known, key, place)
    if column not in known:
        raise place.fail(key, f"names {column!r}, no column; {_near(column, known)}")
    return column


def _near(name: str, known: tuple[str, ...]) -> str:
    """Say which names are meant perhaps, of old ones too; all if none is near."""
    old = {key: now.key for key, now in RENAMED.items() if now.key in known}
    near = [old.get(one, one) for one in nearest_names(name, [*known, *old])]
    near = list(dict.fromkeys(near))
    if near:
        return f"did you mean {' or '.join(map(repr, near))}?"
    return f"allowed: {', '.join(known)}"


def _table(
    found: dict[str, Any], key: str, place: Place, read: Callable[[Any, str, Place], T]
) -> dict[str, T]:
    """Read an inner table whose names are the user's."""
    inner = place.inner(key)
    raw = _named(found[key] if found[key] is not None else {}, inner)
    return {name: read(value, name, inner) for name, value in raw.items()}


def _named(raw: Any, place: Place) -> Mapping[str, Any]:
    """Check that something is a table, and that its names can be shown."""
    if not isinstance(raw, Mapping):
        raise place.fail("", "must be a table")
    for name in raw:
        if not name.strip() or not name.isprintable():
            raise place.fail("", f"has the name {name!r}; use letters and digits")
    return raw


def _bounds(raw: Any, name: str, place: Place) -> float | tuple[float, float]:
    """Read a share, or a lowest and a highest one."""
    if raw == REST:
        return (0.0, 1.0)
    parts = re.split(r"\s+to\s+", raw.strip()) if isinstance(raw, str) else []
    if len(parts) not in (1, 2) or not all("%" in part for part in parts):
        raise place.fail(name, f"is {raw!r}; write {BOUNDS}")
    try:
        values = [units.parse(part, "fraction").value for part in parts]
    except InputError as error:
        raise place.fail(name, f"- {error}; bounds look like {BOUNDS}") from None
    return values[0] if len(values) == 1 else (values[0], values[1])


def _alternatives(raw: Any, name: str, place: Place) -> tuple[str, ...]:
    read = read_table({name: raw}, {name: Key(kind="texts")}, place)
    return read[name]


def _mass(raw: Any, name: str, place: Place) -> float:
    return float(
        read_table({name: raw}, {name: Key(range="mass at hand")}, place)[name]
    )
