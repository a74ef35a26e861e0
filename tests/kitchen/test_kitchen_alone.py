"""The kitchen works where Cantera is not installed."""

from __future__ import annotations

import subprocess
import sys

import pytest

pytestmark = pytest.mark.exact

PROGRAM = """
import sys
sys.modules["cantera"] = None  # any import of it fails
import castsugar as cs
mix = cs.Mix.weigh({"KNO3": 60, "sucrose": 20, "corn syrup": 20})
kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 60.0))
row = cs.kitchen_table(mix, kitchen).iloc[0]
sys.stdout.write(f"{row.flow_class} {row.water_as_cast_percent:.3f}")
assert sys.modules["cantera"] is None
assert not any(name.startswith("cantera.") for name in sys.modules)
"""


@pytest.mark.slow
def test_kitchen_table_without_cantera() -> None:
    """Exact: a fresh interpreter with Cantera blocked gives the same row."""
    from kitchen_checks.pots import kitchen, weigh

    import castsugar as cs

    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", PROGRAM],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    row = cs.kitchen_table(weigh(60, 20, 20), kitchen(119.0, 1.0)).iloc[0]
    assert done.stdout == f"{row.flow_class} {row.water_as_cast_percent:.3f}"
