"""Is the band of a forecast honest? Firings drawn from what it says it does not know.

A part of ``benchmarks/validation/forecast.py``, limits three standard errors wider. The
truth comes from the priors of the model and an independent simulator; no source
outside the project.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import forecast_worlds as worlds

#: Motors of a simulation.
COUNT = 60


@pytest.mark.exact
@pytest.mark.simulation
@pytest.mark.parametrize("seed", [3])
def test_so_many_firings_lie_in_their_bands(seed: int) -> None:
    """95 of 100 peaks and impulses, 92 to 98 asked of 200, and 95 below the p95."""
    found = worlds.judged(COUNT, seed)
    off = 3.0 * math.sqrt(0.05 * 0.95 / COUNT)
    for name in worlds.RESULTS:
        assert found.inside[name].mean() > 0.95 - off, name
        # Nor are the bands so wide that nothing could lie outside.
        scatter = float(np.std(np.log(found.ratio[name])))
        half = 0.5 * float(np.median(np.log(found.width[name])))
        assert half < 3.0 * scatter, name
    assert found.below_limit.mean() > 0.95 - off


@pytest.mark.slow
@pytest.mark.exact
def test_a_forecast_and_its_firing_are_of_one_motor() -> None:
    """Four motors: true over foreseen within twice the half width of the band."""
    found = worlds.judged(4, 1)
    for name in worlds.RESULTS:
        assert (abs(found.ratio[name] - 1.0) < found.width[name] - 1.0).all(), name
