"""Both archives, built once for all workers; an environment that holds the wheel."""

from __future__ import annotations

import os
import py_compile
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock

ROOT = Path(__file__).resolve().parents[2]


def once(
    factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]
) -> Path:
    """Return a folder that is made by the first worker that asks for it."""
    base = factory.getbasetemp()
    base = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folder = base / name
    with FileLock(base / f"{name}.lock"):
        if not (folder / "made").exists():
            folder.mkdir()
            make(folder)
            (folder / "made").touch()
    return folder


def archives(factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return the wheel and the source archive."""
    folder = once(factory, "archives", _build)
    (wheel,), (archive,) = folder.glob("*.whl"), folder.glob("*.tar.gz")
    return wheel, archive


def _build(folder: Path) -> None:
    py_compile.compile(__file__)  # a cache to be left out, whatever the environment
    words = [sys.executable, "-m", "build", "--no-isolation", "-o", str(folder)]
    subprocess.run([*words, str(ROOT)], check=True, capture_output=True)


def environment(factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the programs of an environment that holds the wheel.

    The checkout is not in it. Its dependencies are those of the tests: no network.
    """
    wheel, _ = archives(factory)

    def make(folder: Path) -> None:
        words = [sys.executable, "-m", "venv", "--without-pip", str(folder / "env")]
        subprocess.run(words, check=True, capture_output=True)
        place = {"base": str(folder / "env"), "platbase": str(folder / "env")}
        own = Path(sysconfig.get_path("purelib", "venv", place))
        # A path alone: what is editable in the folder is not followed from there.
        (own / "tests.pth").write_text(sysconfig.get_path("purelib"), "utf-8")
        python = sysconfig.get_path("scripts", "venv", place) + "/python"
        pip = [sys.executable, "-m", "pip", "--python", python, "install", "-q"]
        words = [*pip, "--no-deps", "--no-index", str(wheel)]
        subprocess.run(words, check=True, capture_output=True)

    return next((once(factory, "installed", make) / "env").glob("bin"))
