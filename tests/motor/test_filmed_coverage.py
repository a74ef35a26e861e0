"""Do the bands of filmed firings hold the truth? Simulated motors with known truth.

A small part of ``benchmarks/validation/phone.py``, limits three standard errors wider.
The motors are those of ``tests/support``, which takes nothing from the project.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

from castsugar.motor.firing.frames import ENDS, SHORT

sys.path.insert(0, str(Path(__file__).parents[1]))
from shared.filmed import filmed

COUNT = 56


@pytest.mark.exact
@pytest.mark.slow
def test_bands_hold_the_truth() -> None:
    """93 to 97 % asked of 500; of 56 three standard errors of 95 % more."""
    found = filmed(23, COUNT)
    room = 3.0 * math.sqrt(0.95 * 0.05 / COUNT)
    for inside in ("time_inside", "pressure_inside", "rate_inside"):
        share = np.mean([getattr(one, inside) for one in found])
        assert 0.93 - room <= share <= 1.0, inside
    # Not wider than need be: a band twice as wide would hold them all the same.
    halved = [
        abs(one.pressure_off)
        <= 0.5 * math.log(one.pressure.interval[1] / one.pressure.value)
        for one in found
    ]
    assert np.mean(halved) < 0.68 + 2.0 * room
    for off, most in (("pressure_off", 0.09), ("rate_off", 0.06)):
        values = np.array([getattr(one, off) for one in found])
        assert abs(values.mean()) < 3.0 * most / math.sqrt(COUNT) + 0.01, off


@pytest.mark.exact
@pytest.mark.slow
@pytest.mark.parametrize(
    "wrong", [(-ENDS, 0.0), (ENDS, 0.0), (0.0, -ENDS), (0.0, ENDS)]
)
def test_a_wrong_end_stays_inside(wrong: tuple[float, float]) -> None:
    """Of every burn of 1.5 s and more, the frames' own doubt included."""
    found = [one for one in filmed(24, 24, wrong=wrong) if one.time.value >= SHORT]
    assert len(found) > 10
    assert all(one.time_inside for one in found)
