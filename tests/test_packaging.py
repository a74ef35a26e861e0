"""Wheel, source archive and checkout all find their data, from another folder."""

from __future__ import annotations

import configparser
import os
import runpy
import subprocess
import sys
import tarfile
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest
from installed import archives

import castsugar as cs

# Exact: the number of ingredients is that of the checkout. Building takes seconds: the
# backend is hatchling of the test extra, without a network.
pytestmark = [pytest.mark.exact, pytest.mark.slow]

ROOT = Path(__file__).resolve().parents[1]

PROGRAM = """
import castsugar as cs
database = cs.load_database()
mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
state = cs.equilibrium(mix, temperature=1500.0)
print(cs.__file__)
print(database.folder)
print(len(database.ingredients), database.version, f"{state.amount('K2CO3(L)'):.4f}")
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Build both archives and unpack them: kind to the folder with the package.

    `archive` is the source archive as built: running what is unpacked makes caches.
    """
    folder = tmp_path_factory.mktemp("built")
    wheel, archive = archives(tmp_path_factory)
    with zipfile.ZipFile(wheel) as opened:
        opened.extractall(folder / "wheel")
    with tarfile.open(archive) as opened:
        opened.extractall(folder / "sdist", filter="data")
    (source,) = (folder / "sdist").iterdir()
    return {
        "wheel": folder / "wheel",
        "sdist": source / "src",
        "checkout": ROOT / "src",
        "archive": archive,
    }


@pytest.mark.parametrize("kind", ["wheel", "sdist", "checkout"])
def test_data_is_found(built: dict[str, Path], kind: str, tmp_path: Path) -> None:
    """Each form loads its own database and its own products."""
    place = built[kind]
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        check=True,
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(place)},
    )
    module, data, line = done.stdout.splitlines()
    assert Path(module).is_relative_to(place)
    # Its own data: inside the package in a wheel, beside src otherwise.
    own = place / "castsugar" if kind == "wheel" else place.parent
    assert Path(data) == own / "species_data"
    here = cs.load_database()
    state = cs.equilibrium(
        cs.Mix.weigh({"KNO3": 65, "sucrose": 35}), temperature=1500.0
    )
    amount = f"{state.amount('K2CO3(L)'):.4f}"
    assert line == f"{len(here.ingredients)} {here.version} {amount}"


def test_wheel_holds_what_it_should(built: dict[str, Path]) -> None:
    """All modules, templates, all data, the type marker, the command; no tests."""
    wheel = built["wheel"]
    package = Path(cs.__file__).parent
    kinds = (".py", ".html", ".js", ".css")
    modules = {
        p.relative_to(package) for p in package.rglob("*.*") if p.suffix in kinds
    }
    packed = {p.relative_to(wheel / "castsugar") for p in wheel.rglob("castsugar/**/*")}
    assert modules <= packed
    assert Path("report/templates/page.html") in packed
    data = {Path("species_data") / p.name for p in (ROOT / "species_data").glob("*.*")}
    assert data <= packed
    example = (package / "bench" / "example").glob("*.*")
    examples = {p.relative_to(package) for p in example}
    assert Path("bench/example/bench.toml") in examples
    assert examples <= packed
    assert Path("py.typed") in packed
    assert {p.name for p in wheel.iterdir()} == {
        "castsugar",
        f"castsugar-{cs.__version__}.dist-info",
    }
    scripts = configparser.ConfigParser()
    scripts.read(wheel / f"castsugar-{cs.__version__}.dist-info" / "entry_points.txt")
    assert scripts["console_scripts"]["castsugar"] == "castsugar.cli.main:main"


def test_metadata(built: dict[str, Path]) -> None:
    """Name, licence, oldest Python and the cap on Cantera."""
    folder = built["wheel"] / f"castsugar-{cs.__version__}.dist-info"
    found = Parser().parsestr((folder / "METADATA").read_text("utf-8"))
    assert (found["Name"], found["Version"]) == ("castsugar", cs.__version__)
    assert (found["License-Expression"], found["Requires-Python"]) == ("MIT", ">=3.11")
    needs = [n for n in found.get_all("Requires-Dist") or [] if "extra" not in n]
    names = {n.split(">")[0].split("<")[0].strip() for n in needs}
    assert names == {
        "numpy",
        "scipy",
        "pandas",
        "tomlkit",
        "shtab",
        "matplotlib",
        "mpltern",
        "rich",
        "jinja2",
        "filelock",
        "starlette",
        "uvicorn",
        "contourpy",
        "cantera",
    }
    (cantera,) = (n for n in needs if n.startswith("cantera"))
    assert "<4" in cantera


def typed(project: Path, wheel: Path) -> subprocess.CompletedProcess[str]:
    """Type-check a user's project strictly against what the wheel holds."""
    words = ["--strict", "--follow-imports=silent", "--config-file", os.devnull]
    cache = ["--cache-dir", str(project.parent / "cache")]
    return subprocess.run(
        [sys.executable, "-m", "mypy", *words, *cache, project.name],
        check=False,
        capture_output=True,
        text=True,
        cwd=project.parent,
        env=os.environ | {"MYPYPATH": str(wheel)},
    )


def test_a_user_s_project_type_checks(built: dict[str, Path], tmp_path: Path) -> None:
    """Types travel: README's functions check strictly, a wrong use is found."""
    # All of the dependencies' lowest and newest versions, in environments of their own:
    # benchmarks/validation/packaging.py.
    pytest.importorskip("mypy")
    text = (ROOT / "tests" / "user_project" / "analysis.py").read_text("utf-8")
    project = tmp_path / "analysis.py"
    project.write_text(text, "utf-8")
    done = typed(project, built["wheel"])
    assert done.returncode == 0, done.stdout
    wrong = text.replace("found.main_species(0.5)", "found.main_species('much')")
    assert wrong != text
    project.write_text(wrong, "utf-8")
    done = typed(project, built["wheel"])
    assert done.returncode == 1
    assert 'incompatible type "str"; expected "float"' in done.stdout


def test_a_user_s_project_runs(tmp_path: Path) -> None:
    """What type-checks does something, too."""
    names = runpy.run_path(str(ROOT / "tests" / "user_project" / "analysis.py"))
    told = names["report"](tmp_path)
    assert "flame_temperature_K: lower" in told  # sorbitol burns cooler than sucrose
    assert told.endswith(cs.__version__)
    assert (tmp_path / "pour.png").stat().st_size > 10_000


def test_source_archive_is_complete(built: dict[str, Path]) -> None:
    """Licence, README, data and tests travel with the sources; no caches do."""
    with tarfile.open(built["archive"]) as opened:
        packed = {Path(*Path(n).parts[1:]) for n in opened.getnames()}
    names = ("LICENSE", "README.md", "DEVELOPERS.md", "pyproject.toml")
    assert {Path(name) for name in names} <= packed
    tests = {p.relative_to(ROOT) for p in (ROOT / "tests").rglob("*.py")}
    assert tests <= packed
    assert list((ROOT / "tests/shared/__pycache__").glob("installed.*.pyc"))
    assert not [p for p in packed if "__pycache__" in p.parts]
