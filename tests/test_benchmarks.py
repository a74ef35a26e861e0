"""The scripts of the benchmarks still run; what they measure is read by people."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
SPEED = BENCHMARKS / "speed" / "run.py"


@pytest.mark.frozen
@pytest.mark.parametrize(
    "script",
    sorted(BENCHMARKS.glob("*/*.py")),
    ids=lambda path: "/".join(path.parts[-2:]),
)
def test_what_a_script_takes_is_there(script: Path) -> None:
    """Every name that a script imports from castsugar; none is run."""
    for node in ast.walk(ast.parse(script.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "")[:9] == "castsugar":
            module = importlib.import_module(str(node.module))
            for one in node.names:
                if not hasattr(module, one.name):
                    importlib.import_module(f"{node.module}.{one.name}")


@pytest.mark.simulation
@pytest.mark.frozen
def test_speed_is_still_measured() -> None:
    """The quick form ends well, with both solvers in one run."""
    words = [sys.executable, str(SPEED), "--quick"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "ratio per case" in done.stdout
    assert "Growth with the number of gases" in done.stdout
