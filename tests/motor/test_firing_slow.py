"""Slow and short recordings: reduced as far as they carry, and what is left out."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from castsugar.errors import InputError
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, Reduction, reduce_recording

sys.path.insert(0, str(Path(__file__).parents[1]))
from shared.firings import recorded, stand
from support.firings import Firing, draw
from support.firings import fired as fire_all

PEAK, LASTING = 2e6, 1.8
STAND = Stand(propellant_mass=0.1, throat_diameter=8e-3, throat_after=8e-3)


def reduced(rate: float, before: float) -> Reduction:
    """Reduce a plateau of 2 MPa for 1.8 s, so many samples a second, quiet before."""
    time = np.arange(-before, 6.0, 1.0 / rate)
    shape = np.interp(time, [0.0, 0.1, 1.7, 1.8], [0.0, 1.0, 1.0, 0.0])
    noise = 2e3 * np.random.default_rng(3).standard_normal(time.shape)
    return reduce_recording(Recorded(time=time, pressure=PEAK * shape + noise), STAND)


@pytest.mark.exact
@pytest.mark.parametrize(("before", "count"), [(0.14, 3), (0.24, 6), (0.33, 9)])
def test_a_zero_of_few_samples_is_wide_and_said(before: float, count: int) -> None:
    """30 a second: the zero is the mean of what there is, to 1 % of the peak."""
    few, usual = reduced(30.0, before), reduced(30.0, 1.0)
    zeros = [one.pressure.zero for one in (few, usual) if one.pressure is not None]
    assert abs(zeros[0].few - count) <= 1
    assert zeros[1].few == 0
    # Half of it counts, the other zero lies on the other side of the burning.
    assert zeros[0].uncertainty == pytest.approx(0.5 * 0.01 * PEAK, rel=0.1)
    assert zeros[0].uncertainty > 2.0 * zeros[1].uncertainty
    assert any("quiet samples before ignition, which tell" in c for c in few.cautions)
    assert not any("quiet samples before ignition" in c for c in usual.cautions)
    for name in ("mean_pressure", "characteristic_velocity"):
        assert few.results[name].u > usual.results[name].u


@pytest.mark.exact
def test_without_quiet_samples_no_zero() -> None:
    with pytest.raises(InputError, match=r"fewer than 3 quiet samples|starts during"):
        reduced(30.0, 0.05)


@pytest.mark.exact
def test_few_samples_tell_means_and_no_peak() -> None:
    """10 a second, 18 samples: the peak is a lower limit; at 5 a second nothing."""
    found, usual = reduced(10.0, 2.0), reduced(30.0, 2.0)
    assert found.pressure is not None
    assert found.pressure.is_sparse
    assert found.results["peak_pressure"].bound
    assert not found.results["mean_pressure"].bound
    assert not usual.results["peak_pressure"].bound
    assert any("samples lie within the burning" in c for c in found.cautions)
    with pytest.raises(InputError, match="at least 10 are needed: record faster"):
        reduced(5.0, 4.0)


@pytest.mark.exact
def test_a_slow_recording_may_blunt_its_peak() -> None:
    """Five samples of 30 a second take 0.13 s: a point above their median is doubt."""
    time = np.arange(-1.0, 6.0, 1.0 / 30.0)
    shape = np.interp(time, [0.0, 0.9, 1.8], [0.0, 1.0, 0.0])
    found = reduce_recording(Recorded(time=time, pressure=PEAK * shape), STAND)
    assert found.pressure is not None
    lost = PEAK * shape.max() - found.pressure.peak
    assert lost > 0.01 * PEAK
    assert found.results["peak_pressure"].parts["sampling"] == pytest.approx(lost)
    fast = np.arange(-1.0, 6.0, 1e-3)
    shape = np.interp(fast, [0.0, 0.9, 1.8], [0.0, 1.0, 0.0])
    fine = reduce_recording(Recorded(time=fast, pressure=PEAK * shape), STAND)
    assert fine.results["peak_pressure"].parts["sampling"] == 0.0


def slow(rate: float, before: float, count: int) -> list[Firing]:
    """Return simulated firings, so many samples a second after so long a rest."""
    kinds = ("bates", "core x3", "one end", "rod", "neutral", "end burner")
    motors = []
    for i in range(count):
        motor = draw(kinds[i % len(kinds)], np.random.default_rng([31, i]))
        own = replace(motor.stand, sampling=rate, before=before)
        motors.append(replace(motor, stand=own))
    return fire_all(motors)


@pytest.mark.exact
@pytest.mark.simulation
@pytest.mark.parametrize(
    ("rate", "before"), [(30.0, 1.0), (30.0, 0.3), (15.0, 1.0), (12.0, 1.0)]
)
def test_intervals_of_slow_recordings_hold_the_truth(
    rate: float, before: float
) -> None:
    """48 simulated firings: 95 %, less three standard errors; lower limits are."""
    found = slow(rate, before, 48)
    room = 3.0 * math.sqrt(0.95 * 0.05 / len(found))
    held: dict[str, list[bool]] = {}
    for firing in found:
        results = reduce_recording(recorded(firing), stand(firing)).results
        for name in ("burn_time", "mean_pressure", "characteristic_velocity",
                     "peak_pressure", "total_impulse"):  # fmt: skip
            one, true = results[name], getattr(firing.truth, name)
            low, high = one.interval
            kept = low <= true if one.bound else low <= true <= high
            held.setdefault(name, []).append(kept)
    for name, kept in held.items():
        assert np.mean(kept) >= 0.95 - room, name
