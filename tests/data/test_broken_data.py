"""Damaged data files: each complaint names file, line and value."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import castsugar as cs
from castsugar.thermo.species import read_species

# Exact: the line is counted here, from the place where the text was changed.
pytestmark = pytest.mark.exact

SHIPPED = cs.load_database().folder


def damage(folder: Path, file: str, after: str, old: str, new: str) -> int:
    """Change the first `old` behind `after`, in one file; return its line."""
    path = folder / file
    text = path.read_text("utf-8")
    start = text.index(old, text.index(after))
    path.write_text(text[:start] + new + text[start + len(old) :], "utf-8")
    return text.count("\n", 0, start) + 1


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of species_data that may be damaged."""
    return Path(shutil.copytree(SHIPPED, tmp_path / "species_data"))


def test_undamaged_copy_loads(copy: Path) -> None:
    """The copy itself is fine, so that what fails below is the damage."""
    assert len(cs.load_database(copy).ingredients) >= 18
    assert "H2O" in read_species(copy / "products.yaml").names


# file, text before the cell, old, new, words that the complaint must hold.
TABLES = [
    ("ingredients.csv", "\nsucrose,", "-2226.1", "-2226x", ["'-2226x'", "a number"]),
    ("ingredients.csv", "\nsucrose,", "-2226.1", '"-2226,1"', ["'-2226,1'"]),
    ("ingredients.csv", "\nsucrose,", "-2226.1", "nan", ["'nan'"]),
    ("ingredients.csv", "\nsucrose,", "-2226.1", "-2226100", ["'-2226100'", "-20000"]),
    ("ingredients.csv", "\nsucrose,", ",3,", ",-3,", ["'-3'", "uncertainty"]),
    ("ingredients.csv", "\nsucrose,", "1580.5", "0", ["'0'", "density", "100"]),
    ("ingredients.csv", "\nsucrose,", "1580.5", "1.5805", ["'1.5805'", "100"]),
    ("ingredients.csv", "\nsucrose,", "1580.5", "", ["''", "density_kg_m3"]),
    ("ingredients.csv", "\nsucrose,", "crc-handbook", "crc-handbok",
     ["'crc-handbok'", "sources.csv", "did you mean 'crc-handbook'"]),
    ("ingredients.csv", "\nsucrose,", "measured", "guessed", ["'guessed'", "assumed"]),
    ("ingredients.csv", "\nsucrose,", "fuel", "feul", ["'feul'", "fuel"]),
    ("ingredients.csv", "\nsucrose,", "C12H22O11", "C12(H22)", ["'C12(H22)'"]),
    ("ingredients.csv", "\nsucrose,", "C12H22O11", "C12H22S11", ["element S"]),
    ("ingredients.csv", "\nsucrose,", "C12H22O11", "", ["formula", "is empty"]),
    ("ingredients.csv", "\nsucrose,", ",fuel", ",fuel,", ["14 cells", "13"]),
    ("ingredients.csv", "\nsucrose,", "fuel,sugar", "fuel,suger", ["'suger'", "sugar"]),
    ("ingredients.csv", "\nsucrose,", "fuel,sugar", "fuel,", ["''", "polyol"]),
    ("ingredients.csv", "\nwater,", "water,,", "water,sugar,", ["belongs to a fuel"]),
    ("ingredients.csv", "\ndextrose,", "dextrose", "sucrose", ["'sucrose'", "twice"]),
    ("ingredients.csv", "\ndextrose,", "glucose|", "KNO3|", ["'dextrose'", "twice"]),
    ("ingredients.csv", "", "density_kg_m3", "density_g_cm3",
     ["'density_kg_m3' is missing", "'density_g_cm3'"]),
    ("ingredients.csv", "", "density_kg_m3,", "", ["'density_kg_m3' is missing"]),
    ("ingredients.csv", "", "name,aliases", "aliases,name", ["in this order"]),
    ("enthalpy_alternatives.csv", "", "\nsorbitol", "\nsorbitl", ["'sorbitl'"]),
    ("enthalpy_alternatives.csv", "\nsorbitol", "-1336", "inf", ["'inf'"]),
    ("syrups.csv", "\nglucose syrup 36 DE", "0.12,", "0.13,", ["sum to 1.01"]),
    ("syrups.csv", "\nglucose syrup 36 DE", "0.795", "79.5", ["'79.5'", "1"]),
    ("syrups.csv", "\nglucose syrup 36 DE", "36 DE syrup", "24 DE syrup", ["twice"]),
    ("syrups.csv", "", "\nglucose syrup 36 DE", "\nglucose syrup 24 DE", ["twice"]),
    ("premixes.csv", "\npowdered", "0.966", "0.967", ["sum to 1.001"]),
    ("premixes.csv", ",0.966", "starch", "strach", ["'strach'"]),
    ("premixes.csv", ",0.030,", "estimated", "guessed", ["'guessed'"]),
    ("premixes.csv", ",0.030,", "powdered-sugar-spec", "nobody", ["'nobody"]),
    ("sources.csv", "", "\nnist-webbook", "\ncrc-handbook", ["'crc-handbook'"]),
    ("cautions.csv", "\ngeneral", "general,\"", "harmless,\"", ["'harmless'"]),
    ("cautions.csv", "\nbulk-above-130", ",>,", ",!,", ["'!'"]),
    ("cautions.csv", "\nbulk-above-130", ",130,", ",,", ["limit"]),
    ("cautions.csv", "\nbulk-above-130", "{limit}", "{most}", ["short", "{most}"]),
    ("cautions.csv", "\nbulk-above-130", "{limit}", "{limit}" * 6, ["short", "76"]),
    ("cautions.csv", "\nchildren", "pets", "{value}", ["short", "value"]),
    ("cautions.csv", "\nbulk-above-130", "evaluate", "evalaute", ["evalaute"]),
    ("burn_laws.csv", "\ndextrose 65/35", "2.572,5.930", "2.573,5.930",
     ["'2.573'", "band_low_MPa", "2.572", "touch"]),
    ("burn_laws.csv", "\nsucrose 65/35", "0.1,10", "10,0.1",
     ["band_high_MPa", "'0.1'"]),
    ("burn_laws.csv", "\nsucrose 65/35", "0.319", "1", ["'1'", "exponent", "below 1"]),
    ("burn_laws.csv", "\nsucrose 65/35", "8.26", "0", ["'0'", "rate_at_1MPa_mm_s"]),
    ("burn_laws.csv", "\nsucrose 65/35", "hobby-strand-value", "hobby-strand-valu",
     ["'hobby-strand-valu'", "did you mean 'hobby-strand-value'"]),
    ("burn_laws.csv", "\nsucrose 65/35", ",sucrose,", ",sucrse,",
     ["'sucrse'", "ingredients.csv"]),
    ("burn_laws.csv", "\nsucrose 65/35", "published, not read", "heard", ["'heard'"]),
    ("burn_laws.csv", ",0.779,2.572,", "hobby-strand-table", "hobby-strand-value",
     ["'hobby-strand-value'", "'hobby-strand-table' in line 3"]),
    ("burn_laws.csv", "\nerythritol 65/35", ",65,,,", ",65,1,,", ["band_high_MPa"]),
]  # fmt: skip


@pytest.mark.parametrize(("file", "after", "old", "new", "words"), TABLES)
def test_damaged_table(
    copy: Path, file: str, after: str, old: str, new: str, words: list[str]
) -> None:
    """One wrong cell: the complaint names file, line and value."""
    line = damage(copy, file, after, old, new)
    # Where the changed text starts with a line end, the cell lies on the next line.
    line += old.startswith("\n")
    with pytest.raises(cs.DataError) as caught:
        cs.load_database(copy)
    text = str(caught.value)
    assert re.search(rf"\b{re.escape(file)} line {line}\b", text)
    for word in words:
        assert word in text
    assert "\n" not in text


@pytest.mark.parametrize("file", ["syrups.csv", "sources.csv", "version.txt"])
def test_missing_file(copy: Path, file: str) -> None:
    """A missing file is named."""
    (copy / file).unlink()
    with pytest.raises(cs.DataError, match=re.escape(file)):
        cs.load_database(copy)


def test_file_in_another_encoding(copy: Path) -> None:
    """A spreadsheet that saves Latin-1 is told so."""
    path = copy / "ingredients.csv"
    path.write_bytes(path.read_bytes().replace(b"nitre|", b"nitr\xe9|", 1))
    with pytest.raises(cs.DataError, match=r"ingredients\.csv.*UTF-8"):
        cs.load_database(copy)


def test_spreadsheet_line_ends_and_mark_are_read(copy: Path) -> None:
    """A byte order mark and CRLF, as spreadsheets write them, change nothing."""
    path = copy / "ingredients.csv"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert cs.load_database(copy).ingredients == cs.load_database().ingredients


# text before the value, old, new, species, words that the complaint must hold.
PRODUCTS = [
    ('"K2CO3(s)"', "density: 2290.0", "density: 50.0", "K2CO3(s)", ["50", "100"]),
    ('"K2CO3(s)"', "  density: 2290.0\n", "", "K2CO3(s)", ["density", "100"]),
    ('"K2CO3(s)"', "density: 2290.0", "density: heavy", "K2CO3(s)", ["heavy"]),
    ('"K2CO3(s)"', '  substance: "K2CO3"\n', "", "K2CO3(s)", ["substance"]),
    ('name: "H2O"', "    reference-pressure: 1.0e5\n", "", "H2O",
     ["reference-pressure is missing", "1 bar"]),
    ('name: "H2O"', "pressure: 1.0e5", "pressure: 101325", "H2O", ["101325 Pa"]),
    # h/RT = ... + a5/T: 10 K more below 1000 K is a step of -0.01 at the join.
    ('name: "H2O"', "-30293.7267", "-30283.7267", "H2O", ["-0.01 at 1000 K", "h/RT"]),
    # s/R = ... + a6: 0.005 less below 1000 K is a step of +0.005 at the join.
    ('name: "H2O"', "-0.849032208", "-0.854032208", "H2O", ["0.005 at 1000", "s/R"]),
    ('name: "H2O"', "1000.0", "1100.0", "H2O", ["1100"]),
    ('name: "H2O"', "mol: -241.826", "mol: -285.83", "H2O", ["-285.83", "-241.8"]),
    ('name: "H2O"', "{H: 2, O: 1}", "{H: 2, S: 1}", "H2O", ["'S'"]),
    ('name: "H2O"', "{H: 2, O: 1}", "{H: -2, O: 1}", "H2O", ["-2"]),
    ('name: "CH2"', 'name: "CH2"', 'name: "CH"', "CH", ["'CH'", "twice"]),
]  # fmt: skip


@pytest.mark.parametrize(("after", "old", "new", "species", "words"), PRODUCTS)
def test_damaged_product(
    copy: Path, after: str, old: str, new: str, species: str, words: list[str]
) -> None:
    """One wrong entry: the complaint names file, line of the species, and value."""
    damage(copy, "products.yaml", after, old, new)
    path = copy / "products.yaml"
    lines = path.read_text("utf-8").splitlines()
    # The later one of two species of one name is the one too many.
    entry = max(i for i, x in enumerate(lines, 1) if x == f'- name: "{species}"')
    with pytest.raises(cs.DataError) as caught:
        read_species(path)
    text = str(caught.value)
    assert f"products.yaml line {entry}, species {species!r}" in text
    for word in words:
        assert word in text


UNREADABLE = [
    ("    - [4.19864056", "    - [heavy", "heavy"),
    ("temperature-ranges: [200.0", "temperature-ranges: [[200.0", "[[200.0"),
    ("  thermo:\n", "  thermos:\n", "thermo"),
]


@pytest.mark.parametrize(("old", "new", "value"), UNREADABLE)
def test_unreadable_products(copy: Path, old: str, new: str, value: str) -> None:
    """A file that is no YAML, or no species, is named with the line at fault."""
    line = damage(copy, "products.yaml", 'name: "H2O"', old, new)
    with pytest.raises(cs.DataError) as caught:
        read_species(copy / "products.yaml")
    text = str(caught.value)
    assert text.startswith("products.yaml")
    found = re.search(r"line (\d+)", text)
    # A parser may see an open bracket only on the next line, and a missing key only
    # at the head of its species, three lines above.
    assert found
    assert line - 3 <= int(found[1]) <= line + 1
    assert value in text
    assert "\n" not in text


def test_missing_product_file(tmp_path: Path) -> None:
    """A product file that is not there is named."""
    with pytest.raises(cs.DataError, match=r"products\.yaml"):
        read_species(tmp_path / "products.yaml")
