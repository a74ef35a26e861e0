"""Inside its range every function gives numbers; outside it names the range."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import castsugar as cs
from castsugar.constants import ICE_POINT as C
from castsugar.data.load import load_database
from castsugar.kitchen import glass, heat, liquid, solubility, suspension, water

pytestmark = pytest.mark.exact

Function = Callable[[float], Any]


def _at(function: Callable[[Any], Any]) -> Function:
    """Return a function of C instead of K."""
    return lambda celsius: function(celsius + C)


#: What -> function of one argument, its range, and how much is outside.
RANGES: dict[str, tuple[Function, float, float, float]] = {
    "saturation_pressure": (_at(water.saturation_pressure), 1, 200, 0.01),
    "air_pressure": (water.air_pressure, -500, 5000, 0.1),
    "water_activity": (water.water_activity, 0, 1, 1e-6),
    "boiling_temperature x": (water.boiling_temperature, 0, 0.8, 1e-6),
    "boiling_temperature p": (
        lambda kpa: water.boiling_temperature(0.2, 1e3 * kpa),
        50,
        110,
        0.01,
    ),
    "boiling_mole_fraction": (_at(water.boiling_mole_fraction), 1, 200, 0.01),
    "log_viscosity w": (lambda w: liquid.log_viscosity(w, 370.0), 0, 1, 1e-6),
    "log_viscosity DE": (
        lambda de: liquid.log_viscosity(0.8, 370.0, 1.0, de),
        20,
        110,
        0.01,
    ),
    "syrup_density": (lambda w: suspension.syrup_density(w, 293.15), 0.5, 0.95, 1e-6),
    "packing_of_powder": (
        lambda ratio: suspension.packing_of_powder(ratio * 1000.0, 1000.0),
        0.35,
        0.8,
        1e-6,
    ),
    "sucrose_solubility": (_at(solubility.sucrose_solubility), 0, 185, 0.01),
    "salt_solubility": (_at(solubility.salt_solubility), 0, 160, 0.01),
    "chloride solubility": (
        _at(lambda t: solubility.salt_solubility(t, "potassium chloride")),
        0,
        160,
        0.01,
    ),
    "syrup_glass_transition": (glass.syrup_glass_transition, 5, 100, 0.01),
    "glass_transition": (glass.glass_transition, 0, 0.6, 1e-6),
    "degradation_rate": (_at(heat.degradation_rate), -20, 200, 0.01),
    "nitrate_deliquescence": (_at(glass.nitrate_deliquescence), 0, 50, 0.01),
    "crystal_limit": (_at(glass.crystal_limit), 0, 50, 0.01),
    "humidity_limit": (_at(lambda t: glass.humidity_limit(0.6, t)), 0, 50, 0.01),
}

#: Functions that are bounded on one side only: function, a value outside, the range.
HALF: dict[str, tuple[Callable[[], Any], str]] = {
    "log_thickening": (
        lambda: suspension.log_thickening(-1e-6, 1.87),
        "covers 0 to inf",
    ),
    # Of dry sucrose the glass of the fit stands at 335 K.
    "log_viscosity T": (
        lambda: liquid.log_viscosity(1.0, 335.0 + 19.9),
        "above the glass transition is 19.9 K; the model covers 20 to inf K",
    ),
}


@pytest.mark.parametrize("name", RANGES)
def test_finite_inside(name: str) -> None:
    """Exact: no NaN, nothing infinite, edges included, one by one as in an array."""
    function, low, high, _ = RANGES[name]
    for value in np.linspace(low, high, 41):
        assert np.isfinite(np.asarray(function(float(value)))).all(), value


@pytest.mark.parametrize("name", RANGES)
def test_refused_outside(name: str) -> None:
    """Exact: just below and just above are refused, and the range is named."""
    function, low, high, step = RANGES[name]
    words = f"covers {low:g} to {high:g}"
    for value in (low - step, high + step, math.nan):
        with pytest.raises(cs.ValidityError, match=words):
            function(value)


@pytest.mark.parametrize("name", HALF)
def test_refused_below(name: str) -> None:
    """Exact: the same for ranges without an upper end."""
    function, words = HALF[name]
    with pytest.raises(cs.ValidityError, match=words):
        function()


#: Those that take plain numbers only.
_PLAIN = ("air_pressure", "boiling_temperature p", "crystal_limit", "humidity_limit")
ARRAYS = [
    name
    for name in RANGES
    if name not in _PLAIN and not name.startswith(("two_size", "packing_of"))
]


@pytest.mark.parametrize("name", ARRAYS)
def test_arrays_are_their_elements(name: str) -> None:
    """Exact: kernels broadcast, and one bad element is enough to refuse."""
    function, low, high, step = RANGES[name]
    values = np.linspace(low, high, 12).reshape(3, 4)
    many: Any = function  # the kernels take arrays
    found = np.asarray(many(values))
    assert found.shape == (3, 4)
    each = [float(np.asarray(function(float(v)))) for v in values.flat]
    np.testing.assert_allclose(found.ravel(), each, rtol=1e-13)
    values[1, 2] = high + step
    with pytest.raises(cs.ValidityError):
        many(values)


def test_log_viscosity_joins_its_two_equations() -> None:
    """Exact: published below 73 %, glass-scaled from 77 % or 105 C on, else between."""
    for celsius in (20.0, 60.0, 90.0):
        t = celsius + C
        thin = liquid.log_viscosity(0.72, t)
        assert float(thin) == pytest.approx(
            float(liquid.log_published(0.72, t)), rel=1e-12
        )
        for w in (0.77, 0.9):
            if w * 100 - celsius < 60:  # far above its glass
                assert float(liquid.log_viscosity(w, t)) == pytest.approx(
                    float(liquid.log_glass_scaled(w, t)), rel=1e-12
                )
        two = [
            float(f(0.75, t)) for f in (liquid.log_published, liquid.log_glass_scaled)
        ]
        assert min(two) <= float(liquid.log_viscosity(0.75, t)) <= max(two)
    hot = liquid.log_viscosity(0.65, 110.0 + C)
    wanted = float(liquid.log_glass_scaled(0.65, 110.0 + C))
    assert float(hot) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize(
    ("solids", "celsius"),
    [(0.30, 106.0), (0.30, -1.0), (1.0, 10.0), (0.9, 400.0)],
)
def test_log_viscosity_refuses_what_no_equation_covers(
    solids: float, celsius: float
) -> None:
    """Exact: thin above 105 C, ice, below the glass, beyond any pan."""
    with pytest.raises(cs.ValidityError, match="covers"):
        liquid.log_viscosity(solids, celsius + C)


def test_unknown_salt_is_a_name_error() -> None:
    """The error tree of castsugar, not a bare KeyError."""
    with pytest.raises(cs.CastsugarError):
        solubility.salt_solubility(300.0, "salt")


def test_the_series_is_that_of_the_catalogue() -> None:
    """Exact: grades of the acid-converted syrups as in the data, and glucose."""
    syrups = sorted(
        (s for s in load_database().syrups.values() if s.acid_series),
        key=lambda s: s.dextrose_equivalent,
    )
    held = [
        (
            s.dextrose_equivalent,
            s.dp1_fraction,
            s.dp2_fraction,
            s.dp3_fraction,
            s.dp4plus_fraction,
        )
        for s in syrups
    ]
    assert [*held, (100.0, 1.0, 0.0, 0.0, 0.0)] == list(liquid.ACID_SERIES)


def test_chains_of_an_odd_syrup_are_its_viscosity_grade() -> None:
    """Exact: high maltose syrup flows as its chains say, not as its 42 DE."""
    syrup = load_database().syrups["high maltose syrup"]
    shares = (
        syrup.dp1_fraction,
        syrup.dp2_fraction,
        syrup.dp3_fraction,
        syrup.dp4plus_fraction,
    )
    wanted = sum(k * share for k, share in zip(liquid.CHAINS, shares, strict=True))
    got = liquid.grade_logs(np.asarray(syrup.viscosity_dextrose_equivalent))
    assert float(got) == pytest.approx(wanted, abs=0.1)
