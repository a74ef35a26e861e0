"""The product file: made by its script, right at 298.15 K, safe at pressure."""

from __future__ import annotations

import importlib
import importlib.util
import re
import shutil
from dataclasses import fields
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import castsugar as cs
from castsugar.thermo.species import read_species
from castsugar.thermo.species_arrays import array_file, read_arrays

PATH = cs.load_database().folder / "products.yaml"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    """The checked-in build script, imported from where it lies."""
    place = PATH.with_name("build_products.py")
    spec = importlib.util.spec_from_file_location("build_products", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.exact
def test_file_is_what_the_script_makes(script: ModuleType) -> None:
    """The shipped file comes out of the checked-in script, byte by byte."""
    # Exact: the same text, but for the number of the Cantera version that is read.
    version = re.compile(r"Cantera [0-9]+\.[0-9.]*[0-9]")
    made, shipped = script.build(), PATH.read_text("utf-8")
    assert version.search(shipped)
    assert version.sub("Cantera", made) == version.sub("Cantera", shipped)


@pytest.mark.exact
def test_text_of_the_file() -> None:
    """Each species: 1 bar, a source note; NO in quotes for YAML 1.1 readers."""
    text = PATH.read_text("utf-8")
    species = re.split(r"^- name: ", text, flags=re.MULTILINE)[1:]
    assert len(species) > 100
    for entry in species:
        assert "    reference-pressure: 1.0e5\n" in entry
        assert re.search(r'^  source: "nasa-tm-4513; code .+"$', entry, re.MULTILINE)
    assert '- name: "NO"\n' in text
    assert "- name: NO\n" not in text


# Exact: the list of the contract, section 3.
CONDENSED = """
    K2CO3(s) K2CO3(L) KOH(a) KOH(b) KOH(L) KCN(s) KCN(L) K2O(s) C(gr)
    Na2CO3(I) Na2CO3(L) NaOH(a) NaOH(L) Fe(a) FeO(s) FeO(L) Fe3O4(s)
"""
GASES = """
    H2 H2O CO CO2 N2 CH4 NH3 HCN H O OH O2 NO N K K2 KOH KCN KH KO K2O2H2 K2C2N2
    C2H4 C2H6 C3H8 Na NaOH Fe
"""


@pytest.mark.exact
def test_species_asked_for_are_there() -> None:
    """Gases and condensed phases that flames of this family can need."""
    table = read_species(PATH)
    assert set(GASES.split()) <= set(table.gas.names)
    assert set(CONDENSED.split()) <= set(table.phase.names)
    # Acetylene has two isomers, so its name carries a word.
    assert [n for n in table.gas.names if n.startswith("C2H2")]
    assert not [n for n in table.names if n.endswith("+")]


@pytest.mark.exact
def test_condensed_facts_have_a_source() -> None:
    """Each condensed phase: true density, its status and a known source."""
    keys = cs.load_database().sources
    condensed = PATH.read_text("utf-8").split("\ncondensed:\n")[1]
    entries = re.split(r"^- name: ", condensed, flags=re.MULTILINE)[1:]
    assert len(entries) >= 20
    for entry in entries:
        fields = dict(re.findall(r'^  ([a-z-]+): "?([^"\n]+)"?$', entry, re.MULTILINE))
        assert float(fields["density"]) > 100.0
        assert fields["density-status"] in ("measured", "from memory", "assumed")
        assert fields["density-source"] in keys


# Our species; number of the table in NIST-JANAF, 4th edition. Left out because newer
# evaluations moved them by more than the tolerance: NO (+1.0), Fe3O4 (+1.0 kJ/mol).
JANAF = [
    ("gases", "CO", "C-093"),
    ("gases", "CO2", "C-095"),
    ("gases", "CH4", "C-067"),
    ("gases", "HCN", "C-052"),
    ("gases", "H2O", "H-064"),
    ("gases", "OH", "H-038"),
    ("gases", "NH3", "H-083"),
    ("gases", "K", "K-005"),
    ("gases", "KOH", "H-012"),
    ("gases", "KCN", "C-072"),
    ("gases", "K2O2H2", "H-054"),
    ("condensed", "K2CO3(s)", "C-073"),
    ("condensed", "KOH(a)", "H-009"),
    ("condensed", "KCN(s)", "C-069"),
    ("condensed", "K2O(s)", "K-012"),
    ("condensed", "Na2CO3(I)", "C-090"),
    ("condensed", "NaOH(a)", "H-033"),
    ("condensed", "Fe2O3(s)", "Fe-030"),
]


@pytest.mark.published
@pytest.mark.parametrize(("section", "name", "number"), JANAF)
def test_enthalpy_of_formation_is_janafs(section: str, name: str, number: str) -> None:
    """H(298.15 K) of the fits against the NIST-JANAF tables, 1998."""
    janaf = pytest.importorskip("janaf")
    table = janaf.Table(number).df
    row = table.filter(table["T(K)"] == 298.15)
    published = row["delta-f H"].item()  # kJ/mol; elements are zero in both
    cantera = importlib.import_module("cantera")
    (species,) = (
        s for s in cantera.Species.list_from_file(str(PATH), section) if s.name == name
    )
    ours = species.thermo.h(298.15) / 1e6  # J/kmol
    # 0.5 kJ/mol: the fits and the tables are evaluations of different years (CH4 0.3,
    # OH 0.4, Fe2O3 0.2 kJ/mol apart); the potassium and sodium species agree to 0.1.
    assert ours == pytest.approx(published, abs=0.5)
    if "K" in name or "Na" in name:
        assert ours == pytest.approx(published, abs=0.1)


@pytest.mark.exact
def test_density_is_no_part_of_the_equilibrium() -> None:
    """What holds a condensed product holds it at 1 bar and at 6.9 MPa alike."""
    # Exact: for K2CO3(L) + H2O = 2 KOH + CO2 the constant of the gas,
    # x(KOH)^2 x(CO2) / x(H2O) (p / p0)^2, is the same at every pressure if, and only
    # if, the liquid has no volume. Its true volume, 73 cm3/mol, would
    # move it by exp(6.8e6 x 73e-6 / (8.314 x 1500)) = 4 %; the volume of a phase of
    # undeclared density, 138 m3/mol, would remove the liquid altogether.
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    constants = []
    for pressure in (1e5, 6.9e6):
        state = cs.equilibrium(mix, pressure=pressure, temperature=1500.0)
        assert state.amount("K2CO3(L)") > 0.5
        x = state.mole_fraction
        ratio = x("KOH") ** 2 * x("CO2") / x("H2O")
        constants.append(ratio * (pressure / 1e5) ** 2)
    # The certificate allows 1e-6 RT on each potential; four of them.
    assert constants[0] == pytest.approx(constants[1], rel=4e-6)


@pytest.mark.exact
@pytest.mark.parametrize("name", ["products.yaml", "products-2002.yaml"])
def test_the_array_file_holds_what_cantera_reads(name: str) -> None:
    """Every field; run species_data/build_arrays.py after a change.

    Names bit for bit; continued fits are solved for, so their last bits are those of
    the library of linear algebra that built them.
    """
    path = PATH.parent / name
    built, read = read_arrays(path), read_species(path)
    assert built is not None
    for of in ("gas", "phase"):
        for one in fields(getattr(read, of)):
            own, other = (getattr(getattr(t, of), one.name) for t in (built, read))
            assert type(own) is type(other)
            if isinstance(own, np.ndarray):
                np.testing.assert_allclose(own, other, rtol=1e-9, atol=0.0)
            else:
                assert own == other
    for key in ("reference_pressure", "elements", "data_set"):
        assert getattr(built, key) == getattr(read, key)
    np.testing.assert_allclose(built.transitions, read.transitions, rtol=1e-9)


@pytest.mark.exact
def test_arrays_of_other_bytes_count_for_nothing(tmp_path: Path) -> None:
    """A product file that was edited is read itself; so is one without arrays."""
    path = tmp_path / "products.yaml"
    text = PATH.read_text("utf-8")
    path.write_text(text, "utf-8")
    assert read_arrays(path) is None
    shutil.copy(array_file(PATH), array_file(path))
    assert read_arrays(path) is not None
    path.write_text(text + "# edited\n", "utf-8")
    assert read_arrays(path) is None
    path.write_text(text, "utf-8")
    array_file(path).write_bytes(array_file(PATH).read_bytes()[:-500])
    assert read_arrays(path) is None
