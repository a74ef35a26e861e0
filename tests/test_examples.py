"""The examples for figures of one's own run, and say what they miss."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

# Exact: a picture is there or not; what is in it is for eyes.
pytestmark = pytest.mark.exact

NAMES = ("ternary_figure",)

#: Runs a module in a Python that cannot find matplotlib.
WITHOUT = """
import runpy, sys
sys.modules["matplotlib"] = None
runpy.run_module("castsugar.examples.{name}", run_name="__main__")
"""


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder for what matplotlib keeps of its fonts."""
    return tmp_path_factory.mktemp("config")


def run(
    folder: Path, *words: str, config: Path | None = None
) -> subprocess.CompletedProcess[str]:
    """Run Python in a folder, warnings as errors, without a screen."""
    return subprocess.run(
        [sys.executable, "-W", "error", *words],
        cwd=folder,
        env={**os.environ, "MPLBACKEND": "Agg", "MPLCONFIGDIR": str(config or folder)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_draws_a_picture(name: str, tmp_path: Path, config: Path) -> None:
    """A PNG of some size that is not of one colour, under the name asked for."""
    image = pytest.importorskip("matplotlib.image")
    pytest.importorskip("mpltern")
    done = run(
        tmp_path, "-m", f"castsugar.examples.{name}", "figure.png", config=config
    )
    assert done.returncode == 0, done.stderr
    pixels = image.imread(tmp_path / "figure.png")
    assert min(pixels.shape[:2]) > 500
    assert 0.02 < (pixels[..., :3] < 0.9).any(axis=-1).mean() < 0.9


@pytest.mark.parametrize("name", NAMES)
def test_says_what_is_missing(name: str, tmp_path: Path) -> None:
    """Without matplotlib: one line that says what to install, exit 2, no file."""
    done = run(tmp_path, "-c", WITHOUT.format(name=name))
    assert done.returncode == 2
    assert done.stderr.strip() == (
        "matplotlib is missing; pip install 'castsugar[plot]'"
    )
    assert not list(tmp_path.glob("*.png"))


@pytest.mark.parametrize("name", NAMES)
def test_is_short(name: str) -> None:
    """An example is read in one go: less than 60 lines."""
    import castsugar.examples

    folder = Path(castsugar.examples.__file__).parent
    assert len((folder / f"{name}.py").read_text("utf-8").splitlines()) < 60
