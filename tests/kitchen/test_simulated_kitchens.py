"""A tenth of ``benchmarks/validation/kitchen.py``: bands hold simulated truths."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from types import ModuleType

import pytest

PATH = Path(__file__).parents[2] / "benchmarks" / "validation" / "kitchen.py"
COUNT = 40


@pytest.fixture(scope="module")
def study() -> ModuleType:
    """The script of the study, imported from where it lies."""
    spec = importlib.util.spec_from_file_location("kitchen_study", PATH)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.exact
@pytest.mark.simulation
@pytest.mark.parametrize("row", ["nothing", "flow-out", "all"])
def test_bands_hold_the_truth(study: ModuleType, row: str) -> None:
    """95 of 100, less three standard errors of 40; a band of everything holds it, too.

    So the middle width says that something is learnt where all is measured.
    """
    held, wide = study.bands_of(study.truths_of(COUNT), study.ROWS[row])
    least = 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / COUNT)
    for mix, found in held.items():
        assert sum(found) / COUNT >= least, mix
    widths = sorted(wide["60/17/23"])
    known = sum(width < math.log(10.0) for width in widths)
    assert (known >= COUNT // 2) == (row == "all")
