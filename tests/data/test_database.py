"""The shipped data files: what is in them, and that nobody edited them unseen."""

from __future__ import annotations

import csv
import importlib
import math
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import Database
from castsugar.constants import ATOMIC_MASSES

TABLES = (
    "ingredients",
    "enthalpy_alternatives",
    "syrups",
    "premixes",
    "cautions",
    "burn_laws",
)


@pytest.fixture(scope="module")
def database() -> Database:
    """The shipped database."""
    return cs.load_database()


def rows(folder: Path, table: str) -> list[dict[str, str]]:
    """Read a table without the library's own reader."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.exact
def test_counts(database: Database) -> None:
    """Enough ingredients, and one record a row: none lost, none read twice."""
    # Exact: the contract asks for 18 ingredients or more; records = rows of the file.
    assert len(database.ingredients) >= 18
    assert len(database.ingredients) == len(rows(database.folder, "ingredients"))
    assert len(database.syrups) == len(rows(database.folder, "syrups"))
    assert len(database.sources) == len(rows(database.folder, "sources"))
    assert len(database.cautions) == len(rows(database.folder, "cautions"))
    rivals = sum(len(i.alternatives) for i in database.ingredients.values())
    assert rivals == len(rows(database.folder, "enthalpy_alternatives"))
    premixes = {r["premix"] for r in rows(database.folder, "premixes")}
    assert set(database.premixes) == premixes
    bands = [band for law in database.burn_laws.values() for band in law.bands]
    assert len(bands) == len(rows(database.folder, "burn_laws"))


@pytest.mark.exact
def test_every_source_key_is_a_source(database: Database) -> None:
    """Each cell of each source column is a key of sources.csv."""
    # Exact: set inclusion, counted without the loader.
    keys = {r["key"] for r in rows(database.folder, "sources")}
    used = {
        cell
        for table in TABLES
        for row in rows(database.folder, table)
        for column, cell in row.items()
        if column.endswith("source")
    }
    assert len(used) > 10
    assert used <= keys
    assert all(s.citation for s in database.sources.values())


# Frozen, 2026-11-25: table, column, filled cells, sum. A guard against edits: a data
# row that is changed on purpose changes one line here.
SUMS = [
    ("ingredients", "enthalpy_of_formation_kJ_mol", 23, -32714.03),
    ("ingredients", "enthalpy_uncertainty_kJ_mol", 23, 378.44),
    ("ingredients", "density_kg_m3", 23, 41284.5),
    ("enthalpy_alternatives", "enthalpy_of_formation_kJ_mol", 10, -13449.9),
    ("enthalpy_alternatives", "enthalpy_uncertainty_kJ_mol", 5, 25.1),
    ("syrups", "dextrose_equivalent", 9, 497.3),
    ("syrups", "dry_solids_fraction", 9, 7.049),
    ("syrups", "dry_solids_uncertainty", 9, 0.06),
    ("syrups", "fructose_fraction", 9, 0.986),
    ("syrups", "dp1_fraction", 9, 2.254158),
    ("syrups", "dp2_fraction", 9, 1.465288),
    ("syrups", "dp3_fraction", 9, 0.877671),
    ("syrups", "dp4plus_fraction", 9, 3.414283),
    ("syrups", "dp4plus_chain_length", 9, 52.803),
    ("syrups", "ash_fraction", 9, 0.0026),
    ("syrups", "solids_specific_volume_cm3_g", 9, 5.6735),
    ("syrups", "viscosity_dextrose_equivalent", 9, 529.3),
    ("premixes", "mass_fraction", 3, 1.0),
    ("cautions", "limit", 17, 44265.5),
    ("burn_laws", "oxidizer_percent", 13, 845.0),
    ("burn_laws", "band_low_MPa", 11, 31.224),
    ("burn_laws", "band_high_MPa", 11, 62.788),
    ("burn_laws", "rate_at_1MPa_mm_s", 13, 99.417),
    ("burn_laws", "exponent", 13, 3.425),
]


@pytest.mark.frozen
@pytest.mark.parametrize(("table", "column", "count", "total"), SUMS)
def test_column_sum(
    database: Database, table: str, column: str, count: int, total: float
) -> None:
    """Filled cells and sum of each numeric column."""
    cells = [r[column] for r in rows(database.folder, table) if r[column]]
    assert len(cells) == count
    # A sum of decimals with up to six places; 1e-9 is far below one of them.
    assert math.fsum(map(float, cells)) == pytest.approx(total, abs=1e-9)


@pytest.mark.frozen
def test_no_numeric_column_is_unguarded(database: Database) -> None:
    """Every column of numbers has a line in SUMS."""
    guarded = {(table, column) for table, column, _, _ in SUMS}
    for table in TABLES:
        found = rows(database.folder, table)
        for column in found[0]:
            cells = [r[column] for r in found if r[column]]
            if cells and all(_is_number(c) for c in cells):
                assert (table, column) in guarded


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


# Exact: the decisions of the contract (kJ/mol) and the density of the nitrate.
DECIDED = {
    "potassium nitrate": (-494.6, 0.6),
    "sodium nitrate": (-467.9, 0.5),
    "sucrose": (-2226.1, 3.0),
    "dextrose": (-1273.3, 1.2),
    "water": (-285.83, 0.04),
    "sorbitol": (-1353.7, 18.0),
    "erythritol": (-900.3, 10.2),
    "maltose monohydrate": (-2537.0, 10.0),
}


@pytest.mark.exact
@pytest.mark.parametrize("name", DECIDED)
def test_decided_enthalpies(database: Database, name: str) -> None:
    """Defaults are those decided, kJ of the file become J."""
    item = database.ingredients[name]
    value, doubt = DECIDED[name]
    assert item.enthalpy_of_formation == pytest.approx(1e3 * value, rel=1e-12)
    assert item.enthalpy_uncertainty == pytest.approx(1e3 * doubt, rel=1e-12)
    # "its uncertainty covers the rival", where both claim to be the same solid and
    # are measured: sorbitol by 17.7 of 18, erythritol by 10.2 of 10.2 kJ/mol.
    if name in ("sorbitol", "erythritol"):
        (rival,) = item.alternatives
        gap = abs(rival.enthalpy_of_formation - item.enthalpy_of_formation)
        assert gap <= item.enthalpy_uncertainty * (1 + 1e-9)


@pytest.mark.exact
def test_names_and_aliases(database: Database) -> None:
    """Case, spaces and hyphens do not matter; all names lead somewhere."""
    # Exact: the rule of species_data/README.md.
    nitrate = database.ingredients["potassium nitrate"]
    for name in ("KNO3", "kno3", "Salt-Peter", " POTASSIUM  NITRATE ", "nitre"):
        assert database.find(name) is nitrate
    assert database.find("icing sugar") is database.premixes["powdered sugar"]
    assert database.find("confectioner’s sugar").name == "powdered sugar"
    assert database.find("Corn Syrup") is database.syrups["light corn syrup"]
    for name in database.known_names():
        assert name in (i := database.find(name)).aliases or name == i.name


@pytest.mark.exact
def test_records_cannot_be_changed(database: Database) -> None:
    """Ingredients are frozen and hashable, own ones as well."""
    own = cs.Ingredient(
        name="mine", formula={"C": 6, "H": 14, "O": 6}, enthalpy_of_formation=-1.4e6
    )
    same = cs.Ingredient(name="mine", formula="C6H14O6", enthalpy_of_formation=-1.4e6)
    assert own == same
    assert hash(own) == hash(same)
    with pytest.raises(AttributeError):
        own.name = "other"
    with pytest.raises(AttributeError):
        database.ingredients["sucrose"].density = 1.0


@pytest.mark.exact
def test_loading_twice_gives_the_same_record(database: Database) -> None:
    """The shipped files are read once; the folder can be named as text."""
    assert cs.load_database() is database
    other = cs.load_database(str(database.folder))
    assert other.ingredients == database.ingredients
    assert database.version == (database.folder / "version.txt").read_text().strip()
    # The README beside the data repeats the version (its own words).
    readme = (database.folder / "README.md").read_text("utf-8")
    assert f"Data version: {database.version}\n" in readme


# Exact: design section 6 names these triggers and the general caution.
TRIGGERS = [
    ("kitchen", "bulk_temperature", 130.0, "bulk-above-130"),
    ("kitchen", "bulk_temperature", 150.0, "bulk-above-150"),
    ("weigh", "batch_mass", 250.0, "batch-above-250"),
    ("weigh", "batch_mass", 500.0, "batch-above-500"),
    ("motor", "propellant_mass", 125.0, "propellant-above-125"),
    ("motor", "installed_mass", 1500.0, "mass-above-1500"),
    ("motor", "total_impulse", 320.0, "impulse-above-320"),
    ("motor", "total_impulse", 40960.0, "impulse-above-40960"),
]


@pytest.mark.exact
@pytest.mark.parametrize(("topic", "quantity", "limit", "key"), TRIGGERS)
def test_caution_applies_above_its_limit(
    database: Database, topic: str, quantity: str, limit: float, key: str
) -> None:
    """A caution comes above its limit, not at it, not without the fact."""
    above = {c.key for c in database.cautions_for(topic, {quantity: limit * 1.001})}
    at = {c.key for c in database.cautions_for(topic, {quantity: limit})}
    without = {c.key for c in database.cautions_for(topic)}
    assert key in above
    assert key not in at
    assert key not in without
    assert "general" in without


@pytest.mark.exact
def test_cautions_are_reachable(database: Database) -> None:
    """Topics and quantities are a closed list: a misspelt one would stay silent."""
    # Exact: the words of species_data/README.md and of the commands of the contract.
    topics = {"all", "evaluate", "kitchen", "weigh", "storage", "motor", "firing"}
    topics.add("delay")
    quantities = {
        "bulk_temperature": "C",
        "wall_temperature": "C",
        "batch_mass": "g",
        "sealed_container": "",
        "water_as_cast": "percent",
        "inert_fraction": "percent",
        "casing_plastic": "",
        "grain_temperature": "C",
        "propellant_mass": "g",
        "installed_mass": "g",
        "total_impulse": "N s",
        "pressure_amplification": "",
    }
    first = database.cautions[0]
    assert (first.key, first.topics, first.level) == ("general", ("all",), "general")
    for caution in database.cautions:
        assert set(caution.topics) <= topics | {"justify"}
        assert len(caution.text) <= 240
        if caution.quantity:
            assert caution.unit == quantities[caution.quantity]
            assert math.isfinite(caution.limit)


@pytest.mark.exact
def test_atomic_masses_are_canteras() -> None:
    """Both solvers weigh alike."""
    # Exact: Cantera's g/mol over 1000; one rounding of the division.
    cantera = importlib.import_module("cantera")
    for element, mass in ATOMIC_MASSES.items():
        theirs = cantera.Element(element).weight / 1e3
        assert mass == pytest.approx(theirs, rel=1e-15)
