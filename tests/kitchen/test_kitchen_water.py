"""The water that is burnt is the water that the kitchen leaves."""

from __future__ import annotations

import numpy as np
import pytest
from kitchen_checks.pots import kitchen, retail, weigh

import castsugar as cs
from castsugar import COLUMNS
from castsugar.kitchen.parameters import unmeasured
from castsugar.kitchen.pot import water_at_start
from castsugar.kitchen.verdict import judge

pytestmark = pytest.mark.exact

RULES = kitchen(119.0, 10.0, draws=20)

BURNT = (
    "flame_temperature_K",
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "water_as_cast_percent",
    "density_kg_m3",
    "oxygen_balance_percent",
)


def _lost(mix: cs.Mix, table: object, row: int = 0) -> float:
    """Return the share of water that left, from the water as cast.

    w = W (1 - l) / (1 - W l), W as weighed: l = (W - w) / (W (1 - w)).
    """
    cast = table.water_as_cast_percent[row] / 100.0  # type: ignore[attr-defined]
    weighed = mix.water_as_weighed
    return (weighed - cast) / (weighed * (1.0 - cast))


def test_thermo_burns_what_the_kitchen_leaves() -> None:
    """Exact: the row is that of the same mix, cast by hand with the kitchen's loss."""
    mixes = [weigh(60, 20, 20), weigh(60, 15, 25), weigh(65, 20, 15)]
    verdict = judge(retail([(60, 20, 20), (60, 15, 25), (65, 20, 15)]), RULES)
    table = cs.evaluate(mixes, kitchen=RULES)
    by_hand = [
        mix.with_water_lost(float(lost))
        for mix, lost in zip(mixes, verdict.water_lost, strict=True)
    ]
    wanted = cs.evaluate(by_hand)
    for key in BURNT:
        np.testing.assert_allclose(table[key], wanted[key], rtol=1e-10, err_msg=key)
    # 1 - exp(-600 s / 3000 s): below its boiling temperature it only dries.
    assert _lost(mixes[0], table) == pytest.approx(1.0 - np.exp(-0.2), rel=1e-9)
    assert list(table.status) == ["ok"] * 3


def test_drier_burns_hotter() -> None:
    """Exact: water is inert ballast, so a longer cook burns hotter."""
    flames = [
        cs.evaluate(weigh(60, 20, 20), kitchen=kitchen(119.0, m)).flame_temperature_K[0]
        for m in (1.0, 10.0, 40.0)
    ]
    assert flames[0] < flames[1] < flames[2]


def test_a_mix_keeps_the_loss_that_it_states() -> None:
    """Exact: its pan was weighed, so drying is not guessed on top."""
    mix = weigh(60, 20, 20, water_lost=0.3)
    shares = np.array([[0.6, 0.2, 0.2]])
    many = cs.blend(["KNO3", "sucrose", "corn syrup"], shares, water_lost=0.3)
    for table in (cs.kitchen_table(mix, RULES), cs.kitchen_table(many, RULES)):
        assert _lost(mix, table) == pytest.approx(0.3, rel=1e-12)
    stated = cs.kitchen_table(weigh(60, 20, 20), RULES.changed(water_lost=0.3))
    own = cs.kitchen_table(mix, RULES)
    assert own.pour_viscosity_Pa_s[0] == pytest.approx(
        stated.pour_viscosity_Pa_s[0], rel=1e-12
    )


@pytest.mark.parametrize("lost", [0.0, 0.15, 1.0])
def test_the_kitchen_may_state_the_loss(lost: float) -> None:
    """Exact: it overrides drying, and what a mix states."""
    rules = RULES.changed(water_lost=lost)
    mixes = [weigh(60, 20, 20), weigh(60, 20, 20, water_lost=0.5)]
    table = cs.kitchen_table(mixes, rules)
    for row, mix in enumerate(mixes):
        assert _lost(mix, table, row) == pytest.approx(lost, abs=1e-12)


def test_measured_syrup_is_the_syrup_that_burns() -> None:
    """Exact: two standard uncertainties of 2 % make 81 % of 77 % solids."""
    rules = RULES.changed(belief=unmeasured({"syrup_solids": (2.0, 0.1)}))
    mix = weigh(60, 20, 20)
    table = cs.kitchen_table(mix, rules)
    assert table.water_as_weighed_percent[0] == pytest.approx(20.0 * 0.19, rel=1e-9)
    drier = weigh(60, 20, 20, lots={"corn syrup": cs.Lot(dry_solids=0.81)})
    lost = 1.0 - np.exp(-0.2)
    wanted = cs.evaluate(drier.with_water_lost(lost))
    for given in (mix, cs.blend(["KNO3", "sucrose", "corn syrup"], [[0.6, 0.2, 0.2]])):
        got = cs.evaluate(given, kitchen=rules)
        for key in ("water_as_cast_percent", "flame_temperature_K"):
            # The lot's ash is a share of its solids, here of the first ones.
            assert got[key][0] == pytest.approx(wanted[key][0], rel=2e-5), key
    assert (
        table.pour_viscosity_Pa_s[0]
        > cs.kitchen_table(mix, RULES).pour_viscosity_Pa_s[0]
    )


def test_another_syrup_is_not_the_measured_one() -> None:
    """Exact: what was learnt about one syrup says nothing about another."""
    rules = RULES.changed(belief=unmeasured({"syrup_solids": (2.0, 0.1)}))
    recipe = {"KNO3": 60, "sucrose": 20, "42 DE syrup": 20}
    other = cs.Mix.weigh(recipe)
    one, two = cs.kitchen_table(other, rules), cs.kitchen_table(other, RULES)
    for key in ("water_as_cast_percent", "pour_viscosity_Pa_s", "relative_solids_20C"):
        assert one[key][0] == pytest.approx(two[key][0], rel=1e-12), key


def test_two_syrups_have_one_water() -> None:
    """Exact: kitchen and thermo agree on the water of a mix with two syrups."""
    rules = RULES.changed(belief=unmeasured({"syrup_solids": (2.0, 0.0)}))
    mix = cs.Mix.weigh({"KNO3": 60, "sucrose": 20, "corn syrup": 10, "42 DE syrup": 10})
    table = cs.kitchen_table(mix, rules)
    # What the kitchen reckons with: measured syrup and the other one, half and half.
    plain = cs.kitchen_table(mix, RULES)
    drier = table.water_as_weighed_percent[0] < plain.water_as_weighed_percent[0]
    stiffer = table.relative_solids_20C[0] > plain.relative_solids_20C[0]
    assert drier == stiffer


def test_a_lot_without_water_has_none_in_the_kitchen() -> None:
    """Exact: dried syrup and dry sugar make no liquid."""
    mix = weigh(60, 20, 20, lots={"corn syrup": cs.Lot(dry_solids=1.0)})
    row = cs.kitchen_table(mix, RULES).iloc[0]
    assert row.water_as_cast_percent == 0.0
    assert row.undissolved_sugar_percent == pytest.approx(20.0, rel=1e-9)
    # Fox: 1 / Tg = sum of w / Tg, no water: 62 and 81.3 C, about 71 C.
    assert row.binder_glass_transition_C > 62.0


def test_same_syrup_under_two_names_is_one() -> None:
    """Exact: alias and name are the same bottle."""
    named = cs.Mix.weigh({"KNO3": 60, "sucrose": 20, "light corn syrup": 20})
    one, two = (cs.kitchen_table(m, RULES) for m in (named, weigh(60, 20, 20)))
    for key in (
        "water_as_cast_percent",
        "pour_viscosity_p90_Pa_s",
        "relative_solids_20C",
    ):
        assert one[key][0] == pytest.approx(two[key][0], rel=1e-9), key


def test_the_kitchen_knows_its_syrup_by_any_name() -> None:
    """Exact: a measured syrup may be named by an alias."""
    belief = unmeasured({"syrup_solids": (2.0, 0.1)})
    by_name = RULES.changed(belief=belief)
    by_alias = by_name.changed(syrup="corn syrup")
    mix = weigh(60, 20, 20)
    assert cs.kitchen_table(mix, by_alias).water_as_cast_percent[0] == pytest.approx(
        cs.kitchen_table(mix, by_name).water_as_cast_percent[0], rel=1e-12
    )


def test_a_measured_thermometer_moves_what_is_central() -> None:
    """Exact: a bulk 5 K hotter than the reading is a cook at 5 K more (stated loss)."""
    rules = kitchen(105.0, draws=20, water_lost=0.0)
    off = rules.changed(belief=unmeasured({"thermometer": (5.0, 0.0)}))
    sure = kitchen(110.0, draws=20, water_lost=0.0)
    sure = sure.changed(belief=unmeasured({"thermometer": (0.0, 0.0)}))
    one, two = (cs.kitchen_table(weigh(60, 20, 20), k).iloc[0] for k in (off, sure))
    for key in ("pour_viscosity_Pa_s", "undissolved_sugar_percent"):
        assert one[key] == pytest.approx(two[key], rel=1e-9), key
    assert one.relative_solids_pour == pytest.approx(two.relative_solids_pour, rel=1e-9)


@pytest.mark.parametrize(
    ("recipe", "missing"),
    [
        ({"KNO3": 65, "xylitol": 35}, "xylitol"),
        ({"KNO3": 65, "dextrose": 35}, "dry dextrose"),
        ({"KNO3": 65, "mannitol": 35}, "mannitol"),
        ({"KNO3": 65, "isomalt": 35}, "isomalt: no viscosity data"),
        ({"NaNO3": 65, "sucrose": 35}, "sodium nitrate"),
        ({"KNO3": 60, "sucrose": 20, "corn syrup": 19, "glycerol": 1}, "glycerol"),
    ],
)
def test_no_model_is_said(recipe: dict[str, float], missing: str) -> None:
    """Never the sucrose model for another sugar; the rest of the row is fine."""
    mix = cs.Mix.weigh(recipe)
    row = cs.evaluate(mix, kitchen=RULES).iloc[0]
    assert f"kitchen not computed: no model for {missing}" in row["flags"]
    assert row.flow_class == "not computed"
    assert row.status == "ok"
    keys = [c.key for c in COLUMNS if c.group == "kitchen" and c.key != "flow_class"]
    keys.remove("sugar_degraded_percent")  # of the cook, not of the mix
    assert all(np.isnan(row[key]) for key in keys)
    bare = cs.evaluate(mix).iloc[0]
    assert row.flame_temperature_K == pytest.approx(bare.flame_temperature_K, rel=1e-12)


def test_without_a_kitchen_nothing_is_said() -> None:
    """No kitchen asked for: NaN and 'not asked', no flags, no water lost."""
    row = cs.evaluate(weigh(60, 20, 20)).iloc[0]
    assert row.flow_class == "not asked"
    assert np.isnan(row.pour_viscosity_Pa_s)
    assert row.water_as_cast_percent == pytest.approx(4.6, rel=1e-9)


def test_the_pot_holds_the_water_of_the_mix() -> None:
    """Exact: 23 % of the syrup, from either side."""
    mix = weigh(60, 20, 20)
    start = float(water_at_start(retail((60, 20, 20)), unmeasured().central())[0])
    assert mix.water_as_weighed == pytest.approx(start, rel=1e-12)
    assert start == pytest.approx(0.046, rel=1e-12)
