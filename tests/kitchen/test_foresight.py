"""What a kitchen measurement would tell: a normal update in closed form, no jam."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from castsugar.kitchen import Belief, Cook, Kitchen, bulk_density, unmeasured
from castsugar.kitchen.foresight import (
    READINGS,
    SOLIDS_BY_DENSITY,
    chances,
    draws_of,
    removed,
    syrup_density,
    weights,
)
from castsugar.kitchen.measurements import PACKING
from castsugar.kitchen.parameters import NAMES, PARAMETERS
from castsugar.kitchen.pot import pot_of
from castsugar.mix.mix import Mix

pytestmark = pytest.mark.exact

COUNT = 2048
POWDER = bulk_density(mass=0.0675, volume=5e-5)


def only(name: str) -> Belief:
    """Return a belief in which one parameter alone is uncertain."""
    found = unmeasured()
    for one in PARAMETERS:
        if one.name != name:
            found = found.with_value(one.name, one.middle, 0.0, one.origin)
    return found


def test_a_reading_updates_as_two_normals_do() -> None:
    """Packing 0.63 +- 0.04, read +- 0.015: mean and chance by hand, every reading.

    Posterior of a normal mean (Gelman et al., Bayesian Data Analysis, ch. 2): weight
    k = s^2 / (s^2 + e^2) on the reading, variance k e^2.
    """
    values = only("packing").draw(COUNT, 1)
    weighted = weights(POWDER, values)
    assert weighted.shape == (READINGS, COUNT)
    np.testing.assert_allclose(weighted.sum(axis=1), 1.0, rtol=1e-12)
    own, error = 0.04, PACKING
    k = own**2 / (own**2 + error**2)
    level = (np.arange(READINGS) + 0.5) / READINGS
    read = 0.63 + np.hypot(own, error) * ndtri(level)
    mean = 0.63 + k * (read - 0.63)
    np.testing.assert_allclose(weighted @ values.packing, mean, atol=0.004)
    above = (values.packing >= 0.66)[None]
    by_hand = ndtr((mean - 0.66) / np.sqrt(k * error**2))
    np.testing.assert_allclose(chances(above, weighted)[:, 0], by_hand, atol=0.06)
    # The mean over the readings is the chance of today.
    assert chances(above, weighted).mean() == pytest.approx(above.mean(), abs=0.01)
    assert removed(values.packing, weighted) == pytest.approx(k, abs=0.05)


def test_what_tells_nothing_removes_nothing() -> None:
    values = only("drying_time").draw(COUNT, 1)
    weighted = weights(POWDER, values)
    np.testing.assert_allclose(weighted, 1.0 / COUNT, rtol=1e-9)
    assert removed(values.drying_time, weighted) == pytest.approx(0.0, abs=1e-9)


def test_a_jam_is_no_reading() -> None:
    """Half of the draws jam: half of the readings are none, and teach nothing."""
    values = only("packing").draw(COUNT, 1)

    def jams(known: object) -> np.ndarray:
        return np.where(known.packing > 0.63, np.inf, known.packing)  # type: ignore[attr-defined]

    weighted = weights(replace(POWDER, predict=jams), values)
    alike = np.ptp(weighted, axis=1) < 1e-12
    assert alike.sum() == READINGS // 2
    assert np.all(weighted[~alike][:, values.packing > 0.63] == 0.0)
    always = weights(replace(POWDER, predict=lambda _: np.inf), values)
    np.testing.assert_allclose(always, 1.0 / COUNT)


def test_the_density_of_a_syrup_tells_its_solids_alone() -> None:
    """Of a syrup of 80 +- 2 % a reading of +- 0.6 % leaves 0.6 of 2.09 of the sd."""
    mix = Mix.weigh({"potassium nitrate": 0.6, "light corn syrup": 0.4})
    u = float(pot_of(mix).syrup_solids_u[0])
    values = unmeasured().draw(COUNT, 1)
    weighted = weights(syrup_density(mix), values)
    k = u**2 / (u**2 + SOLIDS_BY_DENSITY**2)
    assert removed(values.syrup_solids, weighted) == pytest.approx(k, abs=0.05)
    for name in NAMES[1:]:
        assert removed(getattr(values, name), weighted) < 0.05


def test_the_columns_are_those_of_the_verdict() -> None:
    """Shares of the draws are the chances that the table tells."""
    kitchen = Kitchen(cook=Cook.hold(392.15, 480.0))
    mix = Mix.weigh(
        {"potassium nitrate": 0.6, "powdered sugar": 0.17, "light corn syrup": 0.23}
    )
    pot = pot_of(mix, kitchen)
    found = draws_of(pot, kitchen, measured=True)
    assert found.columns["pour_viscosity_Pa_s"].shape == (1, kitchen.draws)
    assert np.isfinite(found.order).all()
