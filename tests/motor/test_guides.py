"""Worked examples of the guides to uncertainty, as far as the motor uses them."""

from __future__ import annotations

import numpy as np
import pytest

from castsugar.motor.peak_pressure import Spread
from castsugar.motor.strand_fit import student


@pytest.mark.published
def test_coverage_factor_of_the_gauge_block() -> None:
    """JCGM 100:2008, H.1: 16 degrees of freedom, 99 %: k = 2.92; 32 nm become 93 nm."""
    factor = student(0.99, 16)
    assert factor == pytest.approx(2.92, abs=0.005)
    assert 32.0 * factor == pytest.approx(93.0, abs=0.5)


@pytest.mark.published
def test_sum_of_four_normals() -> None:
    """JCGM 101:2008, 9.2.2: four standard normals add up to u = 2.00, 95 % +-3.92."""
    # Density, throat area, burning area and c* make a product; its logarithm is the sum
    # of four, each of unit size here times 1 %.
    spread = Spread(
        density=0.01, throat_diameter=0.005, area=0.01, characteristic_velocity=0.01
    )
    assert spread.supply_u(0.0) == pytest.approx(0.02, rel=1e-12)
    drawn = spread.drawn(0.0, 100_000, seed=1)
    total = np.sum(list(drawn.values()), axis=0) / 0.01
    # 0.01 at a million draws (the check value).
    assert total.std() == pytest.approx(2.00, abs=0.016)
    low, high = np.quantile(total, [0.025, 0.975])
    assert low == pytest.approx(-3.92, abs=0.03)
    assert high == pytest.approx(3.92, abs=0.03)
