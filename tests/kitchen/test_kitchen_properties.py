"""What holds for every recipe: directions, probabilities, order of the band."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kitchen_checks.pots import central, kitchen, retail, weigh

import castsugar as cs
from castsugar.constants import ICE_POINT as C
from castsugar.kitchen.parameters import NAMES, PARAMETERS, Parameter, unmeasured
from castsugar.kitchen.solubility import sucrose_solubility
from castsugar.kitchen.suspension import CLASS_NAMES, CLASSES, flow_class
from castsugar.kitchen.verdict import judge

pytestmark = pytest.mark.exact

QUICK = settings(derandomize=True)

#: Nitrate, sucrose and syrup; shares of the rest.
NITRATE, SYRUP = st.floats(45.0, 75.0), st.floats(0.1, 1.0)
CELSIUS, LOSS = st.floats(85.0, 150.0), st.floats(0.0, 0.9)


def _parts(nitrate: float, syrup: float) -> tuple[float, float, float]:
    rest = 100.0 - nitrate
    return nitrate, rest * (1.0 - syrup), rest * syrup


def _falls(thin: np.ndarray, stiff: np.ndarray) -> bool:
    """Whether the first is thinner; two that jam are not told apart."""
    return bool(((thin < stiff) | (np.isinf(thin) & np.isinf(stiff))).all())


@QUICK
@given(NITRATE, SYRUP, CELSIUS, LOSS, st.floats(0.5, 20.0))
def test_viscosity_falls_with_temperature(
    nitrate: float, syrup: float, celsius: float, loss: float, step: float
) -> None:
    """Exact: heat thins the liquid and dissolves more, at a stated loss."""
    held = retail(_parts(nitrate, syrup), loss)
    hot = min(celsius + step, 150.0)
    if hot > celsius:
        assert _falls(central(held, hot)[0], central(held, celsius)[0])


@QUICK
@given(NITRATE, SYRUP, CELSIUS, LOSS, st.floats(0.02, 0.5))
def test_viscosity_falls_with_syrup_for_sugar(
    nitrate: float, syrup: float, celsius: float, loss: float, step: float
) -> None:
    """Exact: syrup brings water and leaves fewer crystals (loss up to 50 %)."""
    more = min(syrup + step, 1.0)
    if more > syrup:
        rows = retail([_parts(nitrate, syrup), _parts(nitrate, more)], loss * 0.5)
        eta, crowding = central(rows, celsius)
        assert _falls(eta[1:], eta[:1])
        assert crowding[1] < crowding[0]


@QUICK
@given(NITRATE, SYRUP, CELSIUS, LOSS, st.floats(0.01, 0.5))
def test_viscosity_rises_with_lost_water(
    nitrate: float, syrup: float, celsius: float, loss: float, step: float
) -> None:
    """Exact: less water is a thicker liquid and more crystals."""
    parts, more = _parts(nitrate, syrup), min(loss + step, 1.0)
    wet, dry = (central(retail(parts, share), celsius) for share in (loss, more))
    assert _falls(wet[0], dry[0])
    assert wet[1] < dry[1]


RECIPE = st.tuples(
    st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0)
).filter(lambda p: sum(p[:3]) > 0.05)


@QUICK
@given(parts=RECIPE, celsius=CELSIUS, minutes=st.floats(0.1, 60.0))
def test_probabilities_and_band(
    parts: tuple[float, ...], celsius: float, minutes: float
) -> None:
    """Exact: any pot, from all nitrate to all water but a little."""
    rules = kitchen(celsius, minutes, draws=40)
    found = judge(retail([parts, (60, 20, 20, 0)]), rules, window=False)
    np.testing.assert_allclose(found.classes.sum(axis=1), 1.0, atol=1e-12)
    assert (found.classes >= 0.0).all()
    np.testing.assert_allclose(found.pours, found.classes[:, :2].sum(axis=1))
    low, middle, high = found.viscosity
    assert not np.isnan(found.viscosity).any()
    assert (low > 0.0).all()
    assert ((low <= middle) & (middle <= high)).all()
    # The class in the middle pours just when half of the draws do.
    for word, share in zip(found.flow_class, found.pours, strict=True):
        assert (CLASS_NAMES.index(word) <= 1) == (share >= 0.5 - 1e-9)
    for name in (
        "water_lost",
        "undissolved",
        "crowding",
        "relative_solids_20C",
        "humidity",
    ):
        assert np.isfinite(getattr(found, name)).all(), name
    assert ((found.water_lost >= 0.0) & (found.water_lost <= 1.0)).all()
    assert ((found.undissolved >= 0.0) & (found.undissolved <= 1.0 + 1e-12)).all()
    assert ((found.humidity >= 0.0) & (found.humidity <= 100.0)).all()


def test_table_shows_the_verdict() -> None:
    """Exact: probability and class of the table are those of the draws."""
    mixes = [weigh(60, 20, 20), weigh(60, 15, 25), weigh(60, 25, 15)]
    rules = kitchen(115.0, 5.0)
    table = cs.kitchen_table(mixes, rules)
    found = judge(retail([(60, 20, 20), (60, 15, 25), (60, 25, 15)]), rules)
    np.testing.assert_allclose(table.pours_probability, found.pours, atol=1e-12)
    assert list(table.flow_class) == found.flow_class
    np.testing.assert_allclose(table.pour_viscosity_Pa_s, found.viscosity[1], rtol=1e-9)
    np.testing.assert_allclose(table.pour_window_low_C, found.window[0] - C)


def test_classes_meet_their_limits() -> None:
    """Exact: viscosity up to a limit, crowding below one; the stiffer word counts."""
    for index, (name, thickest, fullest, _) in enumerate(CLASSES[:-1]):
        assert int(flow_class(thickest, 0.0)) == index, name
        assert int(flow_class(thickest * (1.0 + 1e-9), 0.0)) == index + 1, name
        assert int(flow_class(0.1, fullest)) == index + 1, name
        assert int(flow_class(0.1, fullest - 1e-9)) == index, name
    assert int(flow_class(np.inf, 0.5)) == len(CLASSES) - 1
    assert CLASS_NAMES[int(flow_class(5.0, 0.96))] == "tamp"


def test_same_seed_same_bytes_other_seed_other_draws() -> None:
    """Exact: results are a function of the inputs, seed included."""
    mix = weigh(60, 20, 20)
    one, two = (cs.kitchen_table(mix, kitchen(115.0)) for _ in range(2))
    assert one.to_csv() == two.to_csv()
    other = cs.kitchen_table(mix, kitchen(115.0, seed=2))
    assert other.pour_viscosity_p10_Pa_s[0] != one.pour_viscosity_p10_Pa_s[0]
    # Draws only: what is central does not move with the seed.
    assert other.relative_solids_20C[0] == one.relative_solids_20C[0]
    # Evenly spread draws are steady: seeds differ by a few per cent.
    ratio = other.pour_viscosity_Pa_s[0] / one.pour_viscosity_Pa_s[0]
    assert ratio == pytest.approx(1.0, abs=0.25)


def test_draws_have_the_medians_and_spreads() -> None:
    """Exact: evenly spread draws lie below the median by half."""
    belief = unmeasured()
    drawn, middle = belief.draw(1000, 3), belief.central()
    for name in ("packing", "nitrate_dissolved", "drying_time", "liquid_factor"):
        share = (getattr(drawn, name) < getattr(middle, name)).mean()
        assert share == pytest.approx(0.5, abs=0.01), name
    assert np.std(drawn.packing) == pytest.approx(0.04, rel=0.03)
    assert np.std(np.log(drawn.liquid_factor)) == pytest.approx(0.53, rel=0.03)


def test_no_doubt_no_band() -> None:
    """Exact: with every spread at 0 the band closes on the central value."""
    middle = unmeasured().central()
    sure = unmeasured({n: (float(getattr(middle, n)), 0.0) for n in NAMES})
    rules = kitchen(119.0, 1.0, belief=sure, water_lost=0.0)
    row = cs.kitchen_table(weigh(60, 20, 20), rules).iloc[0]
    wanted = float(central(retail((60, 20, 20), 0.0), 119.0)[0][0])
    for key in ("pour_viscosity_p10_Pa_s", "pour_viscosity_Pa_s"):
        assert row[key] == pytest.approx(wanted, rel=1e-9)
    assert row.pour_viscosity_p90_Pa_s == pytest.approx(wanted, rel=1e-9)
    assert row.pours_probability == 1.0


@pytest.mark.parametrize("parameter", PARAMETERS, ids=lambda p: p.name)
def test_every_limit_of_a_parameter_can_be_stated(parameter: Parameter) -> None:
    """Exact: what is allowed works, and a row comes out without NaN."""
    for value in (parameter.low, parameter.high):
        stated = unmeasured({parameter.name: (value, 0.0)})
        got = float(getattr(stated.central(), parameter.name))
        assert got == pytest.approx(value, rel=1e-9)
        rules = kitchen(119.0, 2.0, belief=stated, draws=20)
        row = cs.kitchen_table(weigh(60, 20, 20), rules).iloc[0]
        assert row.flow_class in CLASS_NAMES
        assert not np.isnan(row.pour_viscosity_Pa_s)
    with pytest.raises(cs.InputError, match=parameter.name):
        unmeasured({parameter.name: (parameter.high * 1.01 + 0.01, 0.1)})
    with pytest.raises(cs.InputError, match="spread of 0 to 1000"):
        unmeasured({parameter.name: (parameter.high, -0.1)})


def test_solubility_of_sucrose_is_one_rising_curve() -> None:
    """Exact: table, hot table and liquidus meet at 100 and at 145 C."""
    celsius = np.linspace(0.0, 185.0, 1851)
    taken = sucrose_solubility(celsius + C)
    assert (np.diff(taken) > 0.0).all()
    for joint in (100.0, 145.0):
        below, above = sucrose_solubility(np.array([joint - 1e-9, joint + 1e-9]) + C)
        assert above == pytest.approx(below, rel=1e-9)
