"""What those who cook such mixes know, and what a prototype of the chain gave."""

from __future__ import annotations

import numpy as np
import pytest
from kitchen_checks.pots import (
    CONFECTIONER,
    MEDIANS,
    PROTOTYPE,
    central,
    kitchen,
    pot_of,
    relative_solids_20C,
    retail,
    weigh,
)

import castsugar as cs
from castsugar.constants import ICE_POINT
from castsugar.kitchen.glass import set_word
from castsugar.kitchen.suspension import CLASS_NAMES, flow_class

C = ICE_POINT
THICK = CLASS_NAMES.index("thick")

#: Tests of this kind compare with common practice, no source.
practice = pytest.mark.published


@practice
def test_thick_at_105_pours_at_119() -> None:
    """Common practice, no source: 60/20/20, little water lost."""
    assert [_word(celsius) for celsius in (105.0, 118.0, 119.0, 120.0)] == [
        "thick",
        "pours",
        "pours",
        "pours",
    ]


def _word(celsius: float) -> str:
    eta, crowding = central(retail((60, 20, 20), loss=0.05), celsius)
    return CLASS_NAMES[int(flow_class(eta, crowding)[0])]


@practice
def test_table_says_so_too() -> None:
    """Common practice, no source: the middle of the draws, with stated water."""
    mix = weigh(60, 20, 20)
    cold, hot = (
        cs.kitchen_table(mix, kitchen(t, water_lost=0.05)).iloc[0] for t in (105, 119)
    )
    assert CLASS_NAMES.index(cold.flow_class) >= THICK
    assert hot.flow_class == "pours"
    assert hot.pours_probability > 0.5 > cold.pours_probability


@practice
def test_ten_minutes_are_no_worse_than_thick() -> None:
    """Common practice, no source: little water leaves, and the mix is still spooned."""
    row = cs.kitchen_table(weigh(60, 20, 20), kitchen()).iloc[0]
    assert CLASS_NAMES.index(row.flow_class) <= THICK
    assert 10.0 < 100.0 * (1.0 - row.water_as_cast_percent / 4.6) < 30.0


@practice
@pytest.mark.parametrize("celsius", [105.0, 119.0, 135.0, 150.0])
def test_dry_mix_has_no_liquid(celsius: float) -> None:
    """Common practice, no source: 65/35 without water melts at about 186 C."""
    row = cs.kitchen_table(weigh(65, 35, 0), kitchen(celsius)).iloc[0]
    assert row.flow_class == "no flow"
    assert row.pours_probability == 0.0
    assert row.undissolved_sugar_percent == pytest.approx(35.0, abs=1e-9)
    assert np.isnan(row.liquid_boils_C)
    assert np.isinf(row.pour_viscosity_Pa_s)
    assert "no liquid: below the melting range of sugar" in row["flags"]


@practice
@pytest.mark.parametrize("celsius", [105.0, 119.0])
def test_more_syrup_is_thinner(celsius: float) -> None:
    """Common practice, no source: syrup is what makes a mix pour."""
    rows = [(60, 40 - s, s) for s in range(12, 31, 3)]
    eta, crowding = central(retail(rows, loss=0.0), celsius)
    # Where both jam, crowding still tells.
    assert (np.diff(crowding) < 0.0).all()
    flowing = eta[np.isfinite(eta)]
    assert len(flowing) > 4
    assert (np.diff(flowing) < 0.0).all()


@practice
def test_overheating_early_degrades_the_sugar() -> None:
    """Common practice, no source: what browned early does not come back."""
    minutes = np.array([0.0, 5.0, 10.0, 15.0])
    times = tuple(60.0 * minutes)
    peak = cs.Cook(times, (100 + C, 145 + C, 145 + C, 119 + C))
    calm = cs.Cook(times, (100 + C, 119 + C, 119 + C, 119 + C))
    brown, fine = (
        cs.kitchen_table(weigh(60, 20, 20), cs.Kitchen(cook=c)).iloc[0]
        for c in (peak, calm)
    )
    assert brown.sugar_degraded_percent > 5.0
    assert "browned sugar is not in the energy" in brown["flags"]
    assert fine.sugar_degraded_percent < 2.0
    assert "degraded" not in fine["flags"]
    assert brown.water_as_cast_percent < fine.water_as_cast_percent


@practice
def test_wetted_mix_stiffens_as_it_boils_down() -> None:
    """Common practice, no source: the hotter, the less water stays, the stiffer."""
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35, "water": 20})
    rows = [
        cs.kitchen_table(mix, kitchen(t)).iloc[0] for t in (110.0, 115.0, 120.0, 150.0)
    ]
    water = [row.water_as_cast_percent for row in rows]
    assert (np.diff(water) < 0.0).all()
    assert (np.diff([row.pour_viscosity_Pa_s for row in rows]) > 0.0).all()
    assert rows[0].pours_probability > 0.9
    # As weighed it boils where a 64 % sugar solution full of nitrate does.
    assert rows[0].liquid_boils_C == pytest.approx(110.0, abs=3.0)


#: Solids over packing at 20 C with no loss, and after 25 % of the water has left.
SETTING = {
    (60, 20, 20): (1.05, 1.11),
    (65, 15, 20): (1.05, 1.10),
    (60, 25, 15): (1.18, 1.22),
    (60, 15, 25): (0.93, 1.00),
    (55, 20, 25): (0.94, 1.01),
    (55, 15, 30): (0.82, 0.90),
}


@pytest.mark.frozen
@pytest.mark.parametrize("parts", list(SETTING), ids=str)
def test_set_ratio(parts: tuple[int, int, int]) -> None:
    """A prototype of the chain, its volumes slightly different: within 0.03."""
    for loss, wanted in zip((0.0, 0.25), SETTING[parts], strict=True):
        got = float(relative_solids_20C(retail(parts), loss, PROTOTYPE)[0])
        assert got == pytest.approx(wanted, abs=0.03), loss


@practice
def test_words_of_setting() -> None:
    """Common practice, no source: 60/20/20 sets, 55/15/30 stays putty."""
    words = [
        set_word(float(relative_solids_20C(retail(p), 0.0, MEDIANS)[0]))
        for p in ((60, 20, 20), (60, 15, 25), (55, 15, 30))
    ]
    assert words == ["firm", "pliable", "stays soft"]


J = np.inf

#: Recipe -> viscosity at 105 and 119 C with retail syrup, no loss [Pa s].
VISCOSITY = {
    (60, 20, 20): (13.6, 3.8),
    (60, 15, 25): (3.5, 1.5),
    (60, 25, 15): (J, 79.0),
    (55, 20, 25): (3.4, 1.4),
    (55, 25, 20): (15.0, 4.1),
    (65, 15, 20): (12.0, 4.8),
    (65, 20, 15): (J, 61.0),
    (70, 15, 15): (J, 54.0),
}


@pytest.mark.frozen
@pytest.mark.parametrize("parts", list(VISCOSITY), ids=str)
def test_prototype_without_loss(parts: tuple[int, int, int]) -> None:
    """The same chain written before: 15 %, its extrapolation differs slightly.

    Those of 50 Pa s and more at 119 C are ours, with less sugar dissolved.
    """
    held = retail(parts, 0.0)
    for celsius, wanted in zip((105.0, 119.0), VISCOSITY[parts], strict=True):
        eta, crowding = (float(v[0]) for v in central(held, celsius, PROTOTYPE))
        if np.isfinite(wanted):
            # Close to jamming (r > 0.9) the square amplifies the volumes threefold.
            assert eta == pytest.approx(wanted, rel=0.15 if crowding < 0.9 else 0.20)
        else:
            assert crowding > 0.99


@pytest.mark.frozen
@pytest.mark.parametrize(
    ("celsius", "wanted"),
    [
        (95, 40),
        (100, 23),
        (105, 14),
        (110, 8.3),
        (115, 5.3),
        (119, 3.8),
        (124, 2.8),
        (130, 2.1),
    ],
)
def test_prototype_against_temperature(celsius: float, wanted: float) -> None:
    """60/20/20, no loss."""
    eta, _ = central(retail((60, 20, 20), 0.0), celsius, PROTOTYPE)
    assert float(eta[0]) == pytest.approx(wanted, rel=0.15)


@pytest.mark.frozen
@pytest.mark.parametrize(
    ("parts", "cold", "hot"),
    [
        ((60, 20, 20), 142.0, 28.7),
        ((60, 15, 25), 20.0, 7.9),
        ((55, 20, 25), 21.0, 6.4),
        ((55, 25, 20), 171.0, 32.7),
        ((65, 15, 20), 118.0, 23.0),
    ],
)
def test_prototype_of_confectioners_syrup(
    parts: tuple[int, int, int], cold: float, hot: float
) -> None:
    """42 DE, 80.3 % solids, no loss; those above 25 Pa s at 119 C are ours."""
    held = pot_of(parts, loss=0.0, **CONFECTIONER)
    for celsius, wanted in ((105.0, cold), (119.0, hot)):
        eta, _ = central(held, celsius, PROTOTYPE)
        assert float(eta[0]) == pytest.approx(wanted, rel=0.15)


@pytest.mark.frozen
def test_prototype_of_lost_water() -> None:
    """60/20/20: 15 % of the water gone makes 3.8 Pa s 10.5, and 13.6 Pa s 60."""
    held = retail((60, 20, 20), loss=0.15)
    for celsius, wanted in ((119.0, 10.5), (105.0, 60.0)):
        eta, _ = central(held, celsius, PROTOTYPE)
        assert float(eta[0]) == pytest.approx(wanted, rel=0.15)


@pytest.mark.frozen
@pytest.mark.parametrize(
    ("solids", "printed", "digit"),
    [
        (60, 103.0, 0.1),
        (70, 105.3, 0.1),
        (80, 110.2, 0.1),
        (85, 114.9, 0.1),
        (87, 117.7, 0.1),
        (90, 123.3, 0.1),
        (92, 128, 1),
        (95, 140, 1),
        (97, 154, 1),
        (98.2, 171, 1),
    ],
)
def test_prototype_of_boiling(solids: float, printed: float, digit: float) -> None:
    """The same equation, printed before: rounding, and 0.3 C for its vapour curve."""
    from castsugar.kitchen import water

    share = water.sugar_mole_fraction(100.0 - solids, solids)
    got = float(water.boiling_temperature(share)) - C
    assert got == pytest.approx(printed, abs=0.3 + digit / 2)


@pytest.mark.frozen
def test_prototype_of_density() -> None:
    """60/20/20 as weighed: 0.5 %, other volumes of syrup solids."""
    row = cs.kitchen_table(weigh(60, 20, 20), kitchen(water_lost=0.0)).iloc[0]
    assert row.density_kg_m3 == pytest.approx(1800.0, rel=0.005)
