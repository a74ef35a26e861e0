"""The scripts of the benchmarks still run; what they measure is read by people."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

SPEED = Path(__file__).parents[1] / "benchmarks" / "speed" / "run.py"


@pytest.mark.slow
@pytest.mark.frozen
def test_speed_is_still_measured() -> None:
    """The quick form ends well, with both solvers in one run."""
    words = [sys.executable, str(SPEED), "--quick"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "ratio per case" in done.stdout
    assert "Growth with the number of gases" in done.stdout
