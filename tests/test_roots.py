"""One root, one maximum: scipy.optimize finds them at the same places."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from castsugar.numerics import maximum, root

RNG = np.random.default_rng(20261130)
CENTRES = RNG.uniform(-3.0, 3.0, 200)
SHAPES = RNG.choice([0.2, 1.0, 3.0, 5.0], 200)
BELOW, ABOVE = RNG.uniform(0.01, 5.0, (2, 200))


def counted(
    function: Callable[[float], float], calls: list[float]
) -> Callable[[float], float]:
    def with_note(x: float) -> float:
        calls.append(x)
        return function(x)

    return with_note


@pytest.mark.published
def test_roots_are_those_of_scipy() -> None:
    """scipy.optimize.brentq, flat and steep crossings; not more calls than its."""
    ours: list[float] = []
    theirs: list[float] = []
    for centre, power, below, above in zip(CENTRES, SHAPES, BELOW, ABOVE, strict=True):

        def rising(x: float, centre: float = centre, power: float = power) -> float:
            off = x - centre
            crossing = math.copysign(abs(off) ** power, off)
            return crossing + 0.1 * (math.exp(x) - math.exp(centre))

        ends = (centre - below, centre + above)
        found = root(counted(rising, ours), *ends, within=1e-10)
        wanted = brentq(counted(rising, theirs), *ends, xtol=1e-10)
        assert abs(found - wanted) < 2e-10
    assert len(ours) < 1.1 * len(theirs)


@pytest.mark.published
def test_maxima_are_those_of_scipy() -> None:
    """scipy.optimize.minimize_scalar, bounded; not more calls than its."""
    ours: list[float] = []
    theirs: list[float] = []
    for centre, below, above in zip(CENTRES, BELOW, ABOVE, strict=True):

        def hump(x: float, centre: float = centre) -> float:
            return math.exp(-(abs(x - centre) ** 1.5))

        ends = (centre - below, centre + above)
        found = maximum(counted(hump, ours), *ends, within=1e-7)
        minimum = minimize_scalar(
            lambda x, of=hump: -counted(of, theirs)(x),
            bounds=ends,
            method="bounded",
            options={"xatol": 1e-7},
        )
        assert abs(found - minimum.x) < 3e-7
    assert len(ours) < 1.1 * len(theirs)


@pytest.mark.exact
def test_a_root_at_an_end_and_none_between() -> None:
    """x at 0: the end itself. x + 1 above 0: no change of sign, said."""
    assert root(lambda x: x, 0.0, 2.0, within=1e-9) == pytest.approx(0.0, abs=1e-9)
    assert root(lambda x: x, -2.0, 0.0, within=1e-9) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="no change of sign between 0 and 1"):
        root(lambda x: x + 1.0, 0.0, 1.0, within=1e-9)
    # Largest at an end: the place is as near to it as was asked.
    assert maximum(lambda x: x, 0.0, 1.0, within=1e-6) == pytest.approx(1.0, abs=4e-6)
