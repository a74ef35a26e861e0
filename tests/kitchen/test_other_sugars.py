"""Sorbitol, erythritol and dextrose in the pot."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kitchen_checks.pots import AIR, MEDIANS, hold, kitchen

import castsugar as cs
from castsugar.comparison.draws import draw
from castsugar.constants import ICE_POINT as C
from castsugar.kitchen import kitchen_intervals, pot, solubility, water
from castsugar.kitchen.handling import handling
from castsugar.kitchen.inverse import pour_heat
from castsugar.kitchen.parameters import unmeasured
from castsugar.kitchen.sugars import SUGARS
from castsugar.kitchen.verdict import judge
from castsugar.kitchen.viscometry import flow_out
from castsugar.limits import Limit, judge_rows
from castsugar.mix.blends import of_mixes
from castsugar.report.limit_words import by_mix, findings_of_many
from castsugar.report.shown import Shown

pytestmark = pytest.mark.exact

NUMBERS = (
    "relative_solids_pour",
    "pour_viscosity_Pa_s",
    "pour_viscosity_p10_Pa_s",
    "pours_probability",
    "pour_window_low_C",
    "pour_window_high_C",
    "binder_glass_transition_C",
    "sugar_degraded_percent",
    "water_as_cast_percent",
    "storage_humidity_max_percent",
)


def _row(recipe: str, celsius: float = 119.0, **more: object) -> dict[str, object]:
    table = cs.kitchen_table(recipe, kitchen(celsius, 5.0, **more))
    return dict(table.iloc[0])


@pytest.mark.published
@pytest.mark.parametrize(
    ("celsius", "wanted"), [(100, 48.0), (110, 24.0), (120, 13.0), (130, 7.3)]
)
def test_sorbitol_as_worked_by_hand(celsius: float, wanted: float) -> None:
    """Fitted elsewhere with packing 0.62 and 0.5 % water: within a factor of 1.5."""
    row = _row("KNO3:65 sorbitol:35", celsius)
    low, middle, high = (
        float(row[f"pour_viscosity{part}_Pa_s"])  # type: ignore[arg-type]
        for part in ("_p10", "", "_p90")
    )
    assert wanted / 1.5 < middle < wanted * 1.5
    # The band is a factor of 3 or wider on both sides.
    assert middle / low > 3.0
    assert high / middle > 3.0


@pytest.mark.published
def test_sorbitol_is_thick_up_to_125_degrees() -> None:
    """Common practice, no source: a thick, spoonable to slowly pouring slurry."""
    words = [_row("KNO3:65 sorbitol:35", t)["flow_class"] for t in (105.0, 115.0)]
    assert words == ["thick", "thick"]
    chances = [_row("KNO3:65 sorbitol:35", t)["pours_probability"] for t in (120, 125)]
    assert all(0.3 < float(chance) < 0.6 for chance in chances)  # type: ignore[arg-type]


TRACES = [
    ("KNO3:65 sorbitol:35", "KNO3:65 sorbitol:34.9999 sucrose:0.0001"),
    ("KNO3:65 sorbitol:35", "KNO3:65 sorbitol:34.9999 corn syrup:0.0001"),
    ("KNO3:65 sorbitol:35", "KNO3:65 sorbitol:34.9999 erythritol:0.0001"),
    ("KNO3:65 sorbitol:35", "KNO3:65 sorbitol:34.9999 dextrose:0.0001"),
    ("KNO3:65 erythritol:35", "KNO3:65 erythritol:34.9999 sorbitol:0.0001"),
    ("KNO3:65 erythritol:35", "KNO3:65 erythritol:34.9999 sucrose:0.0001"),
    (
        "KNO3:60 sugar:17 corn syrup:23",
        "KNO3:60 sugar:16.9999 corn syrup:23 sorbitol:0.0001",
    ),
    (
        "KNO3:60 sugar:17 corn syrup:23",
        "KNO3:60 sugar:16.9999 corn syrup:23 dextrose:0.0001",
    ),
    (
        "KNO3:60 sugar:17 corn syrup:23",
        "KNO3:60 sugar:16.9999 corn syrup:23 erythritol:0.0001",
    ),
    (
        "KNO3:60 dextrose:20 corn syrup:20",
        "KNO3:60 dextrose:19.9999 corn syrup:20 sorbitol:0.0001",
    ),
    ("KNO3:20 sucrose:20 water:60", "KNO3:20 sucrose:19.9999 water:60 sorbitol:0.0001"),
]


@pytest.mark.parametrize(("one", "two"), TRACES)
@pytest.mark.parametrize("celsius", [104.0, 122.0])
def test_a_trace_of_another_sugar_moves_nothing(
    one: str, two: str, celsius: float
) -> None:
    """Exact: a millionth of the mix moves less than a part in a thousand."""
    before, after = _row(one, celsius), _row(two, celsius)
    # Without any liquid the humidity is that of the crystals, with some that of it.
    wetted = "syrup" in two and "syrup" not in one
    for key in NUMBERS[:-1] if wetted else NUMBERS:
        got, wanted = (float(row[key]) for row in (after, before))  # type: ignore[arg-type]
        assert got == pytest.approx(wanted, rel=1e-3, abs=2e-3, nan_ok=True), key


def test_measured_syrup_does_not_narrow_sorbitol() -> None:
    """Exact: what is measured of the liquid of sucrose says nothing of another."""
    tight = unmeasured({"liquid_factor": (3.0, 0.05)})
    loose = unmeasured()
    wide, same = (
        cs.kitchen_table("KNO3:65 sorbitol:35", kitchen(119.0, 5.0, belief=b)).iloc[0]
        for b in (loose, tight)
    )
    for key in ("pour_viscosity_p10_Pa_s", "pour_viscosity_p90_Pa_s"):
        assert same[key] == pytest.approx(wide[key], rel=1e-9), key
    syrup = "KNO3:60 sugar:17 corn syrup:23"
    moved = cs.kitchen_table(syrup, kitchen(119.0, 5.0, belief=tight)).iloc[0]
    before = cs.kitchen_table(syrup, kitchen(119.0, 5.0)).iloc[0]
    assert moved.pour_viscosity_Pa_s > 2.0 * before.pour_viscosity_Pa_s


MOLES = st.floats(0.0, 2.0)


@settings(derandomize=True)
@given(MOLES, MOLES, MOLES, st.floats(280.0, 400.0))
def test_what_is_molten_is_on_its_liquidus(
    others: float, sorbitol: float, erythritol: float, kelvin: float
) -> None:
    """Exact: no more than the liquidus of all that is liquid, and no less if left."""
    liquid = solubility.molten(
        *(np.asarray(v) for v in (others, sorbitol, erythritol, kelvin))
    )
    whole = others + float(sum(liquid))
    names, given_ = ("sorbitol", "erythritol"), (sorbitol, erythritol)
    for name, held, part in zip(names, given_, liquid, strict=True):
        most = float(solubility.liquidus(kelvin, name)) * whole
        assert float(part) <= held + 1e-12
        assert float(part) == pytest.approx(min(held, most), rel=1e-9, abs=1e-12)


@settings(derandomize=True)
@given(st.floats(1.34, 6.5), st.floats(0.0, 1.0), st.floats(0.02, 0.999))
def test_boiling_finds_the_activity_of_any_sugar(
    norrish: float, damped: float, activity: float
) -> None:
    """Exact: the mole fraction found has the activity that was asked for."""
    damping = damped * water.DAMPING
    kelvin = 390.0
    pressure = activity * water.saturation_pressure(kelvin)
    x = water.boiling_mole_fraction(kelvin, pressure, norrish, damping)
    got = water.water_activity(x, norrish, damping)
    assert float(got) == pytest.approx(activity, rel=1e-9)


def test_wet_sorbitol_boils_down_in_balance() -> None:
    """Exact: activity x vapour pressure is the air's over what stays."""
    held = pot.pot_of(cs.Mix.weigh("KNO3:0.001 sorbitol:60 water:40"))
    left = pot.water_left(held, MEDIANS, hold(125.0, 1e-3), AIR)
    sugar = SUGARS["sorbitol"]
    moles = 0.6 / 1.00001 / sugar.molar_mass
    x = moles / (moles + float(left[0]) / water.WATER)
    activity = float(water.water_activity(x, sugar.norrish, 0.0))
    pressure = activity * float(water.saturation_pressure(125.0 + C))
    assert pressure == pytest.approx(AIR, rel=1e-3)


@pytest.mark.slow
def test_window_of_sorbitol() -> None:
    """Exact: from 5 K above where it freezes, to 130 C, in any company."""
    thin = "KNO3:50 sorbitol:50"
    row = _row(thin)
    assert row["pour_window_low_C"] == pytest.approx(103.0, abs=0.3)
    assert row["pour_window_high_C"] == pytest.approx(130.0, abs=1e-9)
    wet = _row("KNO3:50 sorbitol:49 water:1", water_lost=0.0)
    # 2 % of the sorbitol is water: 90.8 C and 5 K.
    assert wet["pour_window_low_C"] == pytest.approx(95.8, abs=0.5)
    found = pour_heat(cs.Mix.weigh(thin), kitchen(119.0, 5.0))
    assert found.limit == pytest.approx(130.0 + C)


def test_no_pour_below_the_melting_range() -> None:
    """Exact: crystals of sorbitol at 90 C, of erythritol at 110 C."""
    for recipe, celsius in (
        ("KNO3:65 sorbitol:35", 90.0),
        ("KNO3:65 erythritol:35", 110.0),
    ):
        row = _row(recipe, celsius)
        assert row["pours_probability"] == 0.0
        assert row["undissolved_sugar_percent"] == pytest.approx(35.0)
        assert "no liquid: below the melting range of sugar" in str(row["flags"])


def test_polyols_do_not_brown() -> None:
    """Exact: the index is that of the sugars that brown, diluted by those that melt."""
    index = 100.0 * hold(119.0, 5.0).degraded()
    assert _row("KNO3:65 sorbitol:35")["sugar_degraded_percent"] == 0.0
    half = _row("KNO3:60 sorbitol:20 sucrose:20")["sugar_degraded_percent"]
    assert half == pytest.approx(index / 2.0)
    assert _row("KNO3:60 sucrose:40")["sugar_degraded_percent"] == index


SETS = {
    "KNO3:65 sorbitol:35": "setting: firm enough to handle when cold",
    "KNO3:65 sorbitol:30 water:5": "setting: stays soft",
    "KNO3:65 erythritol:35": "erythritol shrinks by 10 to 14 %",
    "KNO3:60 dextrose:20 corn syrup:20": "setting: cannot be told",
}


def test_a_limit_on_solids_is_not_judged_by_crystals_of_sorbitol() -> None:
    """The reason is that of the sugar, also where draws are asked for."""
    limit = Limit(column="relative_solids_20C", sense=">=", value=0.95)
    (found,) = judge_rows([limit], [_row("KNO3:65 sorbitol:35")])
    assert found[0].verdict == "not computed"
    assert found[0].reason == "sorbitol sets by its own crystals"
    asked = [("relative_solids_20C", 0.2)]
    held = pot.pots_of(
        of_mixes([cs.Mix.weigh("KNO3:65 sorbitol:35"), cs.Mix.weigh("KNO3:1 sugar:1")]),
        kitchen(),
    )
    quantiles = judge(held, kitchen(), chances=asked).chances[asked[0]]
    assert np.isnan(quantiles).tolist() == [True, False]


@pytest.mark.parametrize("recipe", SETS)
def test_no_ratio_but_words(recipe: str) -> None:
    """Where other sugars decide, no solids over packing; nor a band of it."""
    row = _row(recipe, water_lost=0.0)
    assert SETS[recipe] in str(row["flags"])
    assert np.isnan(row["relative_solids_20C"])  # type: ignore[call-overload]
    (band,) = kitchen_intervals(recipe, kitchen(119.0, 5.0))
    assert np.isnan(band["relative_solids_20C"]).all()
    some = _row("KNO3:60 sugar:30 sorbitol:10")["relative_solids_20C"]
    assert np.isfinite(some)  # type: ignore[call-overload]


def test_hydrate_brings_its_water() -> None:
    """Exact: dextrose with 9.09 % of water is the hydrate."""
    one = judge(pot.pot_of(cs.Mix.weigh("KNO3:65 dextrose monohydrate:35")), kitchen())
    wet = 35.0 * 18.015 / 198.17
    recipe = {"KNO3": 65, "dextrose": 35 - wet, "water": wet}
    two = judge(pot.pot_of(cs.Mix.weigh(recipe)), kitchen())
    np.testing.assert_allclose(one.viscosity, two.viscosity, rtol=1e-9)
    assert one.gap == two.gap == ("",)


def test_flow_out_of_another_liquid_is_refused() -> None:
    """What runs out belongs to the liquid of sucrose and syrup."""
    with pytest.raises(cs.InputError, match="another sugar than sucrose and syrup"):
        flow_out(
            "potassium chloride:61 sorbitol:39",
            hold(119.0),
            tube_diameter=8e-3,
            tube_length=0.05,
            head=0.06,
            volume=5e-5,
            time=20.0,
        )


def test_damp_air_wets_sorbitol_without_end() -> None:
    """No number below the limit of its crystals, no end above it."""
    told = handling(cs.Mix.weigh("KNO3:65 sorbitol:35"), kitchen())
    found = {rh: share for rh, days, share in told.gains if days == 30.0}
    assert sorted(found) == [45.0, 60.0, 75.0]
    assert np.isnan([found[45.0], found[60.0]]).all()
    assert found[75.0] == np.inf
    assert told.limit == pytest.approx(66.4, abs=0.1)
    sugar = handling(cs.Mix.weigh("KNO3:60 sugar:20 corn syrup:20"), kitchen())
    assert all(np.isfinite(share) for _, _, share in sugar.gains)


def test_a_comparison_tells_no_ratio_either() -> None:
    """Exact: the draws of a comparison are those of the table, NaN included."""
    found = draw(
        [cs.Mix.weigh("KNO3:65 sorbitol:35")],
        conditions=cs.Conditions(kitchen=kitchen()),
        doubts=cs.Doubts.none(),
    )
    assert np.isnan(found.values["relative_solids_20C"]).all()
    assert np.isfinite(np.median(found.values["pour_viscosity_Pa_s"]))


def test_each_mix_has_its_own_reason() -> None:
    """Two sugars that set by crystals of their own: none is told the other's."""
    mixes = [
        cs.Mix.weigh(f"KNO3:65 {sugar}:35") for sugar in ("sorbitol", "erythritol")
    ]
    limit = Limit(column="relative_solids_20C", sense=">=", value=0.9)
    rows = cs.evaluate(mixes, kitchen=kitchen(119.0, 5.0)).to_dict("records")
    judged = by_mix(judge_rows([limit], rows), len(rows))
    found = findings_of_many(("A", "B"), judged, rows, Shown())
    told = [one.text for one in found]
    assert len(told) == 2
    for name, sugar, text in zip("AB", ("sorbitol", "erythritol"), told, strict=True):
        assert f"of {name}: " in text
        assert sugar in text
