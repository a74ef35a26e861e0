"""Linear propagation with correlated inputs, on the guide's own example."""

from __future__ import annotations

import math

import numpy as np
import pytest

from castsugar.numerics import variance

# JCGM 100:2008, H.2, table H.2: five sets of simultaneous readings.
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPERES = [19.663, 19.639, 19.640, 19.685, 19.678]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


@pytest.mark.published
def test_resistance_and_reactance() -> None:
    """R, X and Z of a circuit element with their uncertainties."""
    readings = np.array([VOLTS, np.array(MILLIAMPERES) * 1e-3, RADIANS])
    v, i, phi = readings.mean(axis=1)
    covariance = np.cov(readings) / readings.shape[1]  # of the means
    cosine, sine, z = math.cos(phi), math.sin(phi), v / i
    values = np.array([z * cosine, z * sine, z])
    jacobian = np.array(
        [
            [cosine / i, -z * cosine / i, -z * sine],
            [sine / i, -z * sine / i, z * cosine],
            [1 / i, -z / i, 0.0],
        ]
    )
    # The guide: 127.732, 219.847, 254.260 ohm; u 0.071, 0.295, 0.236; tolerance 0.001.
    np.testing.assert_allclose(values, [127.732, 219.847, 254.260], atol=0.001)
    u = np.sqrt(variance(jacobian, covariance))
    np.testing.assert_allclose(u, [0.071, 0.295, 0.236], atol=0.001)


@pytest.mark.published
def test_gauge_block() -> None:
    """JCGM 100:2008, H.1: 25, 9.7, 2.9 and 16.7 nm make 32 nm (31.7 rounded)."""
    parts = np.diag(np.array([25.0, 9.7, 2.9, 16.7]) ** 2)
    assert math.sqrt(variance(np.ones(4), parts)) == pytest.approx(32.0, abs=0.5)
