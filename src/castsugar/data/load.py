"""Load the CSV files of ``species_data`` into records."""

from __future__ import annotations

import functools
import itertools
import math
import re
from collections.abc import Container, Iterable, Mapping, Sequence
from pathlib import Path

from castsugar.checks import shown
from castsugar.data import csv_reader, refused
from castsugar.data.csv_reader import Row, read_rows, read_text
from castsugar.data.records import (
    FUEL_KINDS,
    NOT_READ,
    READ,
    ROLES,
    STATUSES,
    UNBURNT,
    Alternative,
    Caution,
    Facts,
    Ingredient,
    Premix,
    Source,
    Syrup,
    parse_formula,
    plain,
)
from castsugar.errors import DataError, InputError, UnknownNameError, unknown_name
from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# Load the sources and the cautions.

CAUTION_STATUSES = (READ, NOT_READ, "common practice")
LEVELS = ("general", "caution", "strong", "stop")

#: What people have in the kitchen and the catalogue does not hold (what brown sugar is:
#: common knowledge of the kitchen, no source).
_BROWN = (
    "it is sucrose with molasses and 2 to 4 % water, which differ from bag to bag; use "
    "white sugar, or weigh it as 'powdered sugar' only if its water and its molasses "
    "are measured and stated as moisture and inert of its lot"
)
_NOT_HELD = {
    plain(name)
    for name in ("brown sugar", "light brown sugar", "dark brown sugar", "muscovado")
}

#: A line of a screen less its marker; what a slot in it may hold, and how wide that is.
SHORT_WIDTH = 76
CAUTION_SLOTS = ("value", "limit")
_SLOTS_ONLY = "may hold {value} and {limit}, and only where a quantity decides"
_SLOT, _SLOT_WIDTH = re.compile(r"\{([^}]*)\}"), 9
TOPICS = (
    "all",
    "evaluate",
    "kitchen",
    "weigh",
    "firing",
    "justify",
    "motor",
    "storage",
    "delay",
)


def load_sources(folder: Path) -> dict[str, Source]:
    """Read the sources."""
    sources: dict[str, Source] = {}
    for row in read_rows(folder / "sources.csv", csv_reader.SOURCES):
        key = row.required("key")
        csv_reader.unique(sources, key, key, row)
        sources[key] = Source(
            key=key,
            kind=row.required("kind"),
            citation=row.required("citation"),
            doi_or_url=row.text("doi_or_url"),
            note=row.text("note"),
        )
    return sources


def load_cautions(folder: Path, sources: dict[str, Source]) -> tuple[Caution, ...]:
    """Read the cautions."""
    rows = read_rows(folder / "cautions.csv", csv_reader.CAUTIONS)
    return tuple(_caution(row, sources) for row in rows)


def _caution(row: Row, sources: dict[str, Source]) -> Caution:
    """Make one caution of a row of ``cautions.csv``."""
    topics = row.names("topic")
    if not topics or not set(topics) <= set(TOPICS):
        raise row.fail("topic", f"must list some of {', '.join(TOPICS)}")
    quantity = row.text("quantity")
    if quantity:
        row.required("operator")
        row.number("limit")
    short = row.required("short")
    slots = set(_SLOT.findall(short))
    if slots and not (quantity and slots <= set(CAUTION_SLOTS)):
        raise row.fail("short", _SLOTS_ONLY)
    if len(_SLOT.sub("x" * _SLOT_WIDTH, short)) > SHORT_WIDTH:
        raise row.fail("short", f"must fit {SHORT_WIDTH} characters")
    return Caution(
        key=row.required("key"),
        topics=topics,
        quantity=quantity,
        operator=row.text("operator", ("", ">", ">=", "<", "=")),
        limit=row.optional("limit"),
        unit=row.text("unit"),
        level=row.text("level", LEVELS),
        short=short,
        text=row.required("text"),
        source=csv_reader.source(row, "source", sources),
        status=row.text("status", CAUTION_STATUSES),
    )


# ----------------------------------------------------------------------------
# Where the data files lie: in the installed package, or beside the sources.


@functools.cache
def data_folder() -> Path:
    """Return the folder ``species_data``.

    A wheel carries it inside the package; an editable install and a checkout have it
    two levels above the package.

    Raises
    ------
    DataError
        If neither place holds it.
    """
    package = Path(__file__).resolve().parents[1]
    places = (package.parents[1] / "species_data", package / "species_data")
    for place in places:
        if (place / "sources.csv").is_file():
            return place
    raise DataError(
        "the folder species_data was not found in the package or beside it; "
        "reinstall castsugar"
    )


#: The sets of combustion products that are shipped, the default first.
PRODUCT_SETS = {"nasa-1993": "products.yaml", "nasa-2002": "products-2002.yaml"}


def products_file(name: str = "nasa-1993", folder: Path | None = None) -> Path:
    """Return the path of a set of combustion products."""
    return (folder or data_folder()) / PRODUCT_SETS[name]


def data_version(folder: Path | None = None) -> str:
    """Return the version of the data files."""
    return read_text((folder or data_folder()) / "version.txt").strip()


def code_and_data(folder: Path | None = None) -> str:
    """Return what two installations must share to compute the same, in words.

    The version of castsugar, and a print of every byte of its data.
    """
    from hashlib import sha256
    from importlib import metadata

    found = sha256()
    for path in sorted((folder or data_folder()).iterdir()):
        if path.suffix in {".csv", ".yaml", ".txt"}:
            found.update(path.name.encode() + b"\0" + path.read_bytes())
    return f"castsugar {metadata.version('castsugar')}, data {found.hexdigest()[:12]}"


# ----------------------------------------------------------------------------
# Load the CSV files of ``species_data`` into records.

Item = Ingredient | Syrup | Premix


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Database:
    """The shipped data: ingredients, syrups, premixes, sources, cautions, burn laws.

    Attributes
    ----------
    folder : pathlib.Path
        Where the files were read from.
    version : str
        Version of the data files.
    ingredients, syrups, premixes : dict
        Records by name.
    sources : dict
        Sources by key.
    cautions : tuple of Caution
        Rules in the order of the file.
    burn_laws : dict
        Published burn laws by name.
    """

    folder: Path
    version: str
    ingredients: dict[str, Ingredient]
    syrups: dict[str, Syrup]
    premixes: dict[str, Premix]
    sources: dict[str, Source]
    cautions: tuple[Caution, ...]
    burn_laws: dict[str, BurnLawRecord]
    _index: dict[str, Item]

    def find(self, name: str) -> Item:
        """Return the ingredient, syrup or premix of that name or alias.

        Case, spaces and hyphens do not matter.

        Raises
        ------
        InputError
            For what is no text, an ingredient of the caller among it.
        RefusedError
            For what is out of scope, with the reason.
        UnknownNameError
            With the nearest known names.
        """
        if isinstance(name, Ingredient):
            raise InputError(
                f"{name.name!r} is an ingredient of yours, taken by evaluate, "
                "performance and equilibrium alone; give a name of the catalogue here"
            )
        if not isinstance(name, str):
            raise InputError(f"a name is {shown(name)}; give one of the catalogue")
        item = self.named(name)
        if item is None:
            refused.check_name(name)
            if plain(name) in _NOT_HELD:
                raise UnknownNameError(f"{name!r} is not in the catalogue: {_BROWN}")
            refused.check_misspelt(name, self.known_names())
            raise unknown_name(
                "ingredient", name, self.known_names(), self.offered(name)
            )
        return item

    def named(self, name: str) -> Item | None:
        """Return what has a name or alias; None for one that nothing has."""
        return self._index.get(plain(name))

    def offered(self, name: str, known: Iterable[str] | None = None) -> list[str]:
        """Return the names that may be suggested for one that is not known.

        No oxidizer for a word that does not say nitrate: a wrong guess there is the
        one that matters.

        Parameters
        ----------
        name : str
            As typed.
        known : iterable of str, optional
            Names and aliases to choose from; all by default.
        """
        names = self.known_names() if known is None else list(known)
        if "nitrate" in name.lower():
            return names
        return [n for n in names if not self._oxidizes(n)]

    def _oxidizes(self, name: str) -> bool:
        item = self._index.get(plain(name))
        return isinstance(item, Ingredient) and item.role == "oxidizer"

    def known_names(self) -> list[str]:
        """All names and aliases."""
        items: list[Item] = list(self.ingredients.values())
        items += [*self.syrups.values(), *self.premixes.values()]
        return [n for item in items for n in (item.name, *item.aliases)]

    def cautions_for(
        self, topic: str | Sequence[str], facts: Facts | None = None
    ) -> list[Caution]:
        """Return the cautions that apply to one of some topics, as in the file."""
        topics = [topic] if isinstance(topic, str) else topic
        known = facts or {}
        return [c for c in self.cautions if c.applies(topics, known)]


def load_database(folder: str | Path | None = None) -> Database:
    """Load and validate the data files.

    Parameters
    ----------
    folder : path, optional
        Another folder with files of the same shape; the shipped one by default
        (read once, then remembered: its records cannot be changed).

    Returns
    -------
    Database

    Raises
    ------
    DataError
        Names file, line, column and value of the first fault.

    Examples
    --------
    >>> database = load_database()
    >>> database.find("KNO3").name, database.find("table sugar").name
    ('potassium nitrate', 'sucrose')
    """
    return _load(Path(folder) if folder is not None else data_folder())


@functools.lru_cache(maxsize=4)
def _load(folder: Path) -> Database:
    sources = load_sources(folder)
    ingredients, ingredient_rows = _ingredients(folder, sources)
    syrup_rows = list(read_rows(folder / "syrups.csv", csv_reader.SYRUPS))
    syrups = [_syrup(row, sources) for row in syrup_rows]
    premixes, premix_rows = _premixes(folder, sources, ingredients)
    items: list[Item] = [*ingredients.values(), *syrups, *premixes]
    return Database(
        folder=folder,
        version=data_version(folder),
        ingredients=ingredients,
        syrups={s.name: s for s in syrups},
        premixes={p.name: p for p in premixes},
        sources=sources,
        cautions=load_cautions(folder, sources),
        burn_laws=load_burn_laws(folder, sources, ingredients),
        _index=_index(items, [*ingredient_rows, *syrup_rows, *premix_rows]),
    )


def _index(items: list[Item], rows: list[Row]) -> dict[str, Item]:
    """Map every name and alias to its record; no name may mean two things."""
    index: dict[str, Item] = {}
    for item, row in zip(items, rows, strict=True):
        for name in dict.fromkeys(plain(n) for n in (item.name, *item.aliases)):
            csv_reader.unique(index, name, item.name, row)
            index[name] = item
    return index


def _ingredients(
    folder: Path, sources: dict[str, Source]
) -> tuple[dict[str, Ingredient], list[Row]]:
    """Read the ingredients with their alternatives."""
    rivals: dict[str, list[Alternative]] = {}
    rival_rows = list(
        read_rows(folder / "enthalpy_alternatives.csv", csv_reader.ALTERNATIVES)
    )
    for row in rival_rows:
        rivals.setdefault(row.required("ingredient"), []).append(
            Alternative(
                name=row.required("alternative"),
                enthalpy_of_formation=1e3 * row.number("enthalpy_of_formation_kJ_mol"),
                enthalpy_uncertainty=1e3 * row.optional("enthalpy_uncertainty_kJ_mol"),
                status=row.text("status", STATUSES),
                source=csv_reader.source(row, "source", sources),
                note=row.text("note"),
            )
        )
    ingredients: dict[str, Ingredient] = {}
    rows = list(read_rows(folder / "ingredients.csv", csv_reader.INGREDIENTS))
    for row in rows:
        name = row.required("name")
        csv_reader.unique(ingredients, name, name, row)
        ingredients[name] = _ingredient(row, sources, tuple(rivals.get(name, ())))
    for row in rival_rows:
        if row.required("ingredient") not in ingredients:
            raise row.fail("ingredient", "is not a name in ingredients.csv")
    return ingredients, rows


def _ingredient(
    row: Row, sources: dict[str, Source], rivals: tuple[Alternative, ...]
) -> Ingredient:
    """Make one ingredient of a row of ``ingredients.csv``."""
    formula = row.text("formula")
    role = row.text("role", ROLES)
    if not formula and role not in UNBURNT:
        raise row.fail("formula", "is empty; only inert matter may lack a formula")
    try:
        composition = parse_formula(formula) if formula else ()
    except InputError:
        raise row.fail("formula", "is not readable, for example C6H14O6") from None
    csv_reader.elements(row, composition)
    return Ingredient(
        name=row.required("name"),
        aliases=row.names("aliases"),
        formula=composition,
        role=role,
        fuel_kind=_fuel_kind(row, role),
        enthalpy_of_formation=1e3
        * row.number("enthalpy_of_formation_kJ_mol", -20000.0, 1000.0),
        enthalpy_uncertainty=1e3 * row.number("enthalpy_uncertainty_kJ_mol", 0.0),
        status=row.text("enthalpy_status", STATUSES),
        source=csv_reader.source(row, "enthalpy_source", sources),
        density=row.number("density_kg_m3", 100.0, 30000.0),
        density_status=row.text("density_status", STATUSES),
        density_source=csv_reader.source(row, "density_source", sources),
        alternatives=rivals,
        note=row.text("note"),
        catalogued=True,
    )


def _fuel_kind(row: Row, role: str) -> str:
    """Return what kind of fuel a row is; empty if it is none."""
    if role == "fuel":
        return row.text("fuel_kind", FUEL_KINDS)
    if row.text("fuel_kind"):
        raise row.fail("fuel_kind", f"belongs to a fuel; this is role {role}")
    return ""


def _syrup(row: Row, sources: dict[str, Source]) -> Syrup:
    """Make one syrup of a row of ``syrups.csv``."""
    shares = {
        name: row.number(name, 0.0, 1.0)
        for name in (
            "fructose_fraction",
            "dp1_fraction",
            "dp2_fraction",
            "dp3_fraction",
            "dp4plus_fraction",
            "ash_fraction",
        )
    }
    csv_reader.sums_to_one(row, "dp1_fraction", sum(shares.values()))
    return Syrup(
        name=row.required("name"),
        aliases=row.names("aliases"),
        dextrose_equivalent=row.number("dextrose_equivalent", 1.0, 100.0),
        dry_solids_fraction=row.number("dry_solids_fraction", 0.5, 1.0),
        dry_solids_uncertainty=row.number("dry_solids_uncertainty", 0.0, 0.2),
        dp4plus_chain_length=row.number("dp4plus_chain_length", 4.0, 200.0),
        solids_specific_volume=1e-3
        * row.number("solids_specific_volume_cm3_g", 0.5, 0.8),
        viscosity_dextrose_equivalent=row.number(
            "viscosity_dextrose_equivalent", 1.0, 120.0
        ),
        acid_series=row.text("acid_series", ("yes", "no")) == "yes",
        status=row.text("status", STATUSES),
        source=csv_reader.source(row, "source", sources),
        note=row.text("note"),
        **shares,
    )


def _premixes(
    folder: Path, sources: dict[str, Source], ingredients: dict[str, Ingredient]
) -> tuple[list[Premix], list[Row]]:
    """Read the premixes and the first row of each."""
    groups: dict[str, list[Row]] = {}
    for row in read_rows(folder / "premixes.csv", csv_reader.PREMIXES):
        if row.required("component") not in ingredients:
            raise row.fail("component", "is not a name in ingredients.csv")
        row.text("status", STATUSES)
        csv_reader.source(row, "source", sources)
        groups.setdefault(row.required("premix"), []).append(row)
    premixes = []
    for name, rows in groups.items():
        parts = [(r.text("component"), r.number("mass_fraction", 0.0)) for r in rows]
        csv_reader.sums_to_one(rows[0], "mass_fraction", sum(p for _, p in parts))
        premixes.append(
            Premix(
                name=name,
                aliases=rows[0].names("aliases"),
                components=tuple(parts),
                status=rows[0].text("status"),
                source=rows[0].text("source"),
                note=rows[0].text("note"),
            )
        )
    return premixes, [rows[0] for rows in groups.values()]


#: What the rows of one law must have in common.
_SHARED = (
    "mix",
    "fuel",
    "oxidizer_percent",
    "status",
    "source",
)

#: A law whose tested pressures are not known.
_UNKNOWN_PRESSURES = (0.0, math.inf)

PressureBand = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnLawRecord:
    """A published burn law: one or more rows of ``burn_laws.csv``."""

    name: str
    mix: str  # what was burned, in words
    fuel: str  # a name in ``ingredients.csv``
    oxidizer_fraction: float  # by mass [-]
    #: Low, high, rate at 1 MPa, exponent: pressure bands that rise and touch; 0 and
    #: infinity where the tested pressures are not known. [Pa], [Pa], [m/s], [-]
    bands: tuple[PressureBand, ...]
    #: Whether the source was read: "published, read" or "published, not read".
    status: str
    source: str  # as everywhere in the species data
    note: str = ""  # of its first row


def load_burn_laws(
    folder: Path, sources: Mapping[str, Source], fuels: Container[str]
) -> dict[str, BurnLawRecord]:
    """Read the burn laws, by name.

    Parameters
    ----------
    fuels : container of str
        Names of the ingredients.

    Raises
    ------
    DataError
        A bad cell, bands that do not rise or touch, rows of a law that disagree.
    """
    groups: dict[str, list[Row]] = {}
    for row in read_rows(folder / "burn_laws.csv", csv_reader.BURN_LAWS):
        groups.setdefault(row.required("name"), []).append(row)
    return {name: _law(name, rows, sources, fuels) for name, rows in groups.items()}


def _law(
    name: str,
    rows: Sequence[Row],
    sources: Mapping[str, Source],
    fuels: Container[str],
) -> BurnLawRecord:
    """Make one law of its rows."""
    first = rows[0]
    for row in rows[1:]:
        for column in _SHARED:
            if row.text(column) != first.text(column):
                raise row.fail(
                    column,
                    f"differs from {first.text(column)!r} in line {first.line}; the "
                    f"bands of {name!r} must agree",
                )
    if first.required("fuel") not in fuels:
        raise first.fail("fuel", "is not a name in ingredients.csv")
    bands = [_band(row, alone=len(rows) == 1) for row in rows]
    for (below, above), row in zip(itertools.pairwise(bands), rows[1:], strict=True):
        if above[0] != below[1]:
            raise row.fail(
                "band_low_MPa",
                f"is not the upper end {below[1] / 1e6:g} of the band before; bands "
                "must rise and touch",
            )
    return BurnLawRecord(
        name=name,
        mix=first.required("mix"),
        fuel=first.text("fuel"),
        oxidizer_fraction=1e-2 * first.number("oxidizer_percent", 40.0, 90.0),
        bands=tuple(bands),
        status=first.text("status", (READ, NOT_READ)),
        source=csv_reader.source(first, "source", sources),
        note=first.text("note"),
    )


def _band(row: Row, *, alone: bool) -> PressureBand:
    """Make one band of a row; both ends may be empty where it is the only one."""
    low, high = _UNKNOWN_PRESSURES
    if not (alone and row.text("band_low_MPa") == row.text("band_high_MPa") == ""):
        low = 1e6 * row.number("band_low_MPa", 0.0, 100.0)
        high = 1e6 * row.number("band_high_MPa", 0.0, 100.0)
    if not low < high:
        raise row.fail(
            "band_high_MPa", f"is not above the lower end {low / 1e6:g} of the band"
        )
    exponent = row.number("exponent", -2.0, 1.0)
    if exponent == 1.0:
        raise row.fail("exponent", "is not below 1: no pressure would be stable")
    rate = 1e-3 * row.number("rate_at_1MPa_mm_s", 0.1, 100.0)
    return low, high, rate, exponent
