"""Many mixes at once are the same mixes as one by one; lattices; uncertainties."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import castsugar as cs
from castsugar import numerics
from castsugar.mix.blends import of_mixes

pytestmark = pytest.mark.exact

ITEMS = ["KNO3", "powdered sugar", "corn syrup", "red iron oxide"]
SHARES = np.array(
    [[0.60, 0.20, 0.20, 0.0], [0.65, 0.34, 0.0, 0.01], [0.5, 0.25, 0.25, 0.0]]
)
COLUMNS = (
    "elements",
    "enthalpy",
    "density",
    "oxidizer_fuel_ratio",
    "oxygen_balance",
    "water_as_weighed",
    "water_as_cast",
)


@pytest.mark.parametrize("water_lost", [0.0, 0.3, 1.0])
def test_blend_is_weighing_each_row(water_lost: float) -> None:
    """Exact: the same sums, as a matrix product instead of one by one."""
    many = cs.blend(ITEMS, SHARES, water_lost=water_lost)
    each = of_mixes(
        [
            cs.Mix.weigh(
                dict(zip(ITEMS, row, strict=True)),
                basis="fraction",
                water_lost=water_lost,
            )
            for row in SHARES
        ]
    )
    for name in COLUMNS:
        np.testing.assert_allclose(
            getattr(many, name), getattr(each, name), rtol=1e-12, err_msg=name
        )
    assert many.flags == each.flags


def test_blend_takes_lots_and_alternatives() -> None:
    """Lots and rival enthalpies mean what they mean for one mix."""
    lots = {"corn syrup": cs.Lot(dry_solids=0.8)}
    rivals = {"sucrose": "glass"}
    many = cs.blend(ITEMS[:3], SHARES[:1, :3], lots=lots, alternatives=rivals)
    one = cs.Mix.weigh(
        dict(zip(ITEMS[:3], SHARES[0, :3], strict=True)), lots=lots, alternatives=rivals
    )
    assert many.enthalpy[0] == pytest.approx(one.enthalpy, rel=1e-12)
    assert many.water_as_cast[0] == pytest.approx(one.water_as_cast, rel=1e-12)


@pytest.mark.parametrize(
    ("items", "shares", "words"),
    [
        (["KNO3"], [[0.5]], "sum to 1"),
        (["KNO3", "sucrose"], [[1.2, -0.2]], "0 or more"),
        (["KNO3", "sucrose"], [[1.0]], "shape"),
        (["water"], [[1.0]], "nothing is left"),
    ],
)
def test_bad_shares(items: list[str], shares: list[list[float]], words: str) -> None:
    """Shares that are no mix are refused."""
    with pytest.raises(cs.InputError, match=words):
        cs.blend(items, np.array(shares), water_lost=1.0 if items == ["water"] else 0.0)


def test_unknown_item_is_refused() -> None:
    """The catalogue's own errors come through."""
    with pytest.raises(cs.UnknownNameError, match="sucrose"):
        cs.blend(["KNO3", "sucrse"], np.array([[0.6, 0.4]]))
    with pytest.raises(cs.RefusedError):
        cs.blend(["KNO3", "sulfur"], np.array([[0.6, 0.4]]))


def test_evaluate_takes_blends() -> None:
    """Exact: the same columns go to the same solver."""
    many = cs.evaluate(cs.blend(ITEMS, SHARES))
    mixes = [cs.Mix.weigh(dict(zip(ITEMS, row, strict=True))) for row in SHARES]
    each = cs.evaluate(mixes)
    for key in ("flame_temperature_K", "characteristic_velocity_m_s"):
        np.testing.assert_allclose(many[key], each[key], rtol=1e-12)


def test_triangle_counts() -> None:
    """Exact: (n + 1)(n + 2) / 2 points for a step of 1/n; 5,151 for 1 %."""
    for step, count in ((1.0, 3), (0.5, 6), (0.01, 5151)):
        points = numerics.triangle(step)
        assert len(points) == count
        np.testing.assert_allclose(points.sum(axis=1), 1.0, atol=1e-12)
        assert len({tuple(p) for p in points.round(9)}) == count


def test_fixed_parts_take_their_share() -> None:
    """Exact: 2 % fixed leave 98 % for the triangle."""
    shares = numerics.with_fixed(numerics.triangle(0.5), 0.98, [0.02])
    np.testing.assert_allclose(shares.sum(axis=1), 1.0, atol=1e-12)
    assert set(shares[:, 3]) == {0.02}


def test_sweep_keeps_the_ratio_of_the_others() -> None:
    """Exact: from 60/20/20 to 70 %, the rest 15/15."""
    np.testing.assert_allclose(
        numerics.along([0.6, 0.3, 0.1], 0, [0.6, 0.8]),
        [[0.6, 0.3, 0.1], [0.8, 0.15, 0.05]],
        atol=1e-15,
    )


@pytest.mark.slow
def test_a_batch_is_its_mixes_in_every_wing() -> None:
    """Weighed as items or mix by mix: the same rows, cooked and confirmed, too."""
    many = cs.blend(ITEMS[:3], SHARES[::2, :3])
    each = of_mixes([many.mix(row) for row in range(len(many))])
    assert each.mixes[0].recipe[0] == ("potassium nitrate", 0.6)
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=20)
    one = cs.evaluate(many, kitchen=kitchen, confirm=True)
    two = cs.evaluate(each, kitchen=kitchen, confirm=True)
    assert set(one["confirmation"]) == {"confirmed"}
    # What the solvers differ by is rounding, and so is what that differs by.
    noise = [key for key in one if key.startswith("difference")]
    pd.testing.assert_frame_equal(
        one.drop(columns=noise), two.drop(columns=noise), rtol=1e-9, atol=1e-9
    )
