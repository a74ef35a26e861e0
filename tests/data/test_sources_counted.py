"""How much is taken of each source, and how the software is cited."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest
import yaml

import castsugar as cs

# Exact: the files are counted here, and again by what README was made with.
pytestmark = pytest.mark.exact

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "species_data"


@pytest.fixture(scope="module")
def counting() -> ModuleType:
    """Return the script that counts."""
    spec = importlib.util.spec_from_file_location("counting", DATA / "count_sources.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_readme_has_the_table(counting: ModuleType) -> None:
    """The table in README of the data is what the script prints now."""
    assert counting.table() in (DATA / "README.md").read_text("utf-8")


def test_nothing_is_copied_whole(counting: ModuleType) -> None:
    """Of a source under copyright few numbers, as README says."""
    tables, products = counting.count_tables(), counting.count_products()
    bound = {
        key
        for key, source in cs.load_database().sources.items()
        if source.kind not in ("derived", "memory", "common practice")
    }
    text = (DATA / "sources.csv").read_text("utf-8")
    closed = {k for k in bound if re.search(rf"^{k},.*copyright", text, re.MULTILINE)}
    assert len(closed) > 10
    assert max(tables[key] for key in closed) == 36
    assert max(products[key] for key in closed) == 25


def test_count_of_one_source_by_hand(counting: ModuleType) -> None:
    """Enthalpy, uncertainty and density of one row, as read in the file."""
    # dextrose monohydrate: a density of the supplier's guide, and nothing else of it.
    assert counting.count_tables()["supplier-guide"] == 1
    # Three records of premixes.csv have one fraction each of the specification.
    assert counting.count_tables()["powdered-sugar-specification"] == 3


def test_citation_file() -> None:
    """CITATION.cff has what CFF 1.2.0 asks for, this version and no invented person."""
    # Citation File Format 1.2.0 (Druskat et al., 2021): cff-version, message, title and
    # authors are required; an entity has a name, a person has family-names.
    told = yaml.safe_load((ROOT / "CITATION.cff").read_text("utf-8"))
    assert told["cff-version"] == "1.2.0"
    assert {"message", "title", "authors", "type", "version", "license"} <= set(told)
    assert told["authors"] == [{"name": "castsugar developers"}]
    assert (told["title"], told["version"]) == ("castsugar", cs.__version__)
    assert (told["type"], told["license"]) == ("software", "MIT")
    allowed = {
        "abstract authors cff-version commit contact date-released doi identifiers "
        "keywords license license-url message preferred-citation references "
        "repository repository-artifact repository-code title type url version"
    }
    assert set(told) <= set(" ".join(allowed).split())
