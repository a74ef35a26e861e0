"""Worked examples of the guides to uncertainty, as far as the motor uses them."""

from __future__ import annotations

import numpy as np
import pytest

from castsugar import Hardware
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.burn_model import blend_law
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import BurnKnowledge
from castsugar.motor.peak_pressure import LawShifts, Spread, peak_pressure
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
    # The peak of a law with n = 0 is a product; its logarithm is the sum of those of
    # density, throat area, burning area and c*, each of unit size here times 1 %.
    law = BurnLaw(
        name="flat",
        bands=(Band(low=1e5, high=1e7, rate=5e-3, exponent=0.0),),
        log_rate_u=0.0,
    )
    motor = Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055
        ),
        throat_diameter=0.006,
        burning=BurnKnowledge(law=blend_law([], borrowed=law)),
    ).motor(density=1800.0, characteristic_velocity=900.0)
    count = 400_000
    still = LawShifts(log_rate=np.zeros(count), exponent=np.zeros(count))
    spread = Spread(
        density=0.01, throat_diameter=0.005, area=0.01, characteristic_velocity=0.01
    )
    found = peak_pressure(motor, law, still, spread=spread)
    total = np.log(found.draws / found.pressure) / 0.01
    # 0.01 at a million draws (the check value); here 1.6 times that.
    assert total.std() == pytest.approx(2.00, abs=0.016)
    low, high = np.quantile(total, [0.025, 0.975])
    assert low == pytest.approx(-3.92, abs=0.03)
    assert high == pytest.approx(3.92, abs=0.03)
