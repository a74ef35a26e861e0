"""From the scale to the cast mix: atoms, enthalpy, oxygen, density, water."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import castsugar as cs
from castsugar.constants import ATOMIC_MASSES, ELEMENTS
from castsugar.kitchen.pour_table import cook
from castsugar.mix.blends import blend, of_mixes

pytestmark = pytest.mark.exact

BASE = {"KNO3": 65.0, "sucrose": 35.0}

# Molar masses from the atomic masses, g/mol: KNO3 39.0983 + 14.007 + 3 x 15.999 =
# 101.1023; C12H22O11 12 x 12.011 + 22 x 1.008 + 11 x 15.999 = 342.297; H2O 18.015.
KNO3, SUCROSE, WATER = 101.1023e-3, 342.297e-3, 18.015e-3  # kg/mol


def atoms(mix: cs.Mix) -> dict[str, float]:
    """Moles of each element per kilogram."""
    return dict(zip(ELEMENTS, mix.elements, strict=True))


def test_atoms_and_enthalpy_by_hand() -> None:
    """65/35 nitrate and sugar, per kilogram."""
    mix = cs.Mix.weigh(BASE)
    salt, sugar = 0.65 / KNO3, 0.35 / SUCROSE
    expected = {
        "C": 12 * sugar,
        "H": 22 * sugar,
        "O": 3 * salt + 11 * sugar,
        "N": salt,
        "K": salt,
        "Na": 0.0,
        "Fe": 0.0,
    }
    assert atoms(mix) == pytest.approx(expected, rel=1e-12)
    assert expected["K"] == pytest.approx(6.42913, abs=1e-5)  # 650 / 101.1023
    # -494.6 and -2226.1 kJ/mol: 6.42913 x -494.6 + 1.02250 x -2226.1 = -5456.0 kJ/kg.
    assert mix.enthalpy == pytest.approx(salt * -494.6e3 + sugar * -2226.1e3, rel=1e-12)
    assert mix.enthalpy == pytest.approx(-5456.0e3, abs=100.0)


# (O - 2 C - H/2 - K/2 - Na/2 - 3/2 Fe) x 15.999 g/mol over the molar mass, in percent:
# KNO3 (3 - 1/2) / 101.1023; sucrose (11 - 24 - 11) / 342.297; NaNO3 the same 2.5 over
# 84.994; water 1 - 1; graphite -2 over 12.011; Fe2O3 3 - 3; 65/35 weighs the first two.
BALANCES = [
    ({"KNO3": 1}, 39.56),
    ({"sucrose": 1}, -112.18),
    (BASE, 0.65 * 39.5614 - 0.35 * 112.1761),
    ({"NaNO3": 1}, 47.06),
    ({"water": 1}, 0.0),
    ({"graphite": 1}, -266.41),
    ({"Fe2O3": 1}, 0.0),
]


@pytest.mark.parametrize(("recipe", "percent"), BALANCES)
def test_oxygen_balance(recipe: dict[str, float], percent: float) -> None:
    """Oxygen balance worked by hand, printed to two decimals."""
    assert cs.Mix.put_together(recipe).oxygen_balance == pytest.approx(
        percent, abs=0.005
    )


def test_oxidizer_fuel_ratio_leaves_water_out() -> None:
    """65/35 is 1.857, with any water beside it, before and after drying."""
    for extra in ({}, {"water": 10.0}, {"inert": 2.0}):
        for lost in (0.0, 0.5, 1.0):
            mix = cs.Mix.weigh(BASE | extra, water_lost=lost)
            assert mix.oxidizer_fuel_ratio == pytest.approx(65 / 35, rel=1e-12)
    assert cs.Mix.weigh({"sucrose": 1}).oxidizer_fuel_ratio == 0.0


def test_ratio_without_fuel() -> None:
    """Nitrate over nothing is infinite; nothing over nothing is no number."""
    assert cs.Mix.weigh({"KNO3": 1}).oxidizer_fuel_ratio == math.inf
    assert math.isnan(cs.Mix.weigh({"water": 1}).oxidizer_fuel_ratio)


def test_density_of_additive_volumes() -> None:
    """65/35: 1 / (0.65/2109 + 0.35/1580.5) = 1888.0 kg/m3."""
    mix = cs.Mix.weigh(BASE)
    assert mix.density == pytest.approx(1 / (0.65 / 2109 + 0.35 / 1580.5), rel=1e-12)
    assert mix.density == pytest.approx(1888.0, abs=0.05)
    unknown = cs.Ingredient(name="dust", formula="C", enthalpy_of_formation=0.0)
    assert math.isnan(cs.Mix.weigh({"KNO3": 1, unknown: 1}).density)


NAMES = ("KNO3", "NaNO3", "sucrose", "dextrose", "sorbitol", "water", "Fe2O3", "inert")
WET = (*NAMES, "corn syrup", "powdered sugar", "42 DE syrup")
RECIPES = st.dictionaries(
    st.sampled_from(WET), st.floats(1e-3, 1e3), min_size=1, max_size=len(WET)
)


@settings(derandomize=True)
@given(recipe=RECIPES, scale=st.floats(1e-6, 1e6), data=st.data())
def test_parts_have_no_scale_and_no_order(
    recipe: dict[str, float], scale: float, data: st.DataObject
) -> None:
    """Parts in grams or pounds, typed in any order, are the same mix."""
    # Property: only ratios count; a few roundings of 1.1e-16 each.
    mix = cs.Mix.weigh(recipe)
    order = data.draw(st.permutations(list(recipe)))
    other = cs.Mix.weigh({name: scale * recipe[name] for name in order})
    assert other.elements == pytest.approx(mix.elements, rel=1e-12, abs=1e-300)
    assert other.enthalpy == pytest.approx(mix.enthalpy, rel=1e-12)
    assert other.density == pytest.approx(mix.density, rel=1e-12)
    assert [c.ingredient.name for c in other.cast] == [
        c.ingredient.name for c in mix.cast
    ]


@settings(derandomize=True)
@given(recipe=RECIPES, lost=st.floats(0.0, 1.0))
def test_nothing_is_lost_but_water(recipe: dict[str, float], lost: float) -> None:
    """Atoms and mass are kept for any loss of water."""
    if set(recipe) <= {"water"}:
        recipe = recipe | {"KNO3": 1.0}
    wet = cs.Mix.weigh(recipe)
    cast = cs.Mix.weigh(recipe, water_lost=lost)
    gone = lost * wet.water_as_weighed  # kg of water per kg weighed
    # Conservation: cast mix x yield + water that left = what was weighed.
    for element in ELEMENTS:
        count = {"H": 2, "O": 1}.get(element, 0)
        kept = atoms(cast)[element] * cast.cast_yield
        left = count * gone / WATER
        assert kept + left == pytest.approx(atoms(wet)[element], rel=1e-12, abs=1e-12)
    # The mass counted from the atoms and the inert matter is the whole kilogram.
    for mix in (wet, cast):
        mass = sum(ATOMIC_MASSES[e] * n for e, n in atoms(mix).items())
        assert mass + mix.inert_fraction == pytest.approx(1.0, abs=1e-12)
        assert sum(c.mass_fraction for c in mix.cast) == pytest.approx(1, abs=1e-12)
    assert cast.cast_yield + gone == pytest.approx(1.0, abs=1e-12)
    # Water as cast by itself: what stayed over what is left of the whole.
    stayed = (1.0 - lost) * wet.water_as_weighed / (1.0 - gone)
    assert cast.water_as_cast == pytest.approx(stayed, abs=1e-12)
    assert cast.water_as_weighed == pytest.approx(wet.water_as_weighed, abs=1e-15)


def test_water_by_hand() -> None:
    """60/20/20 water, half of it gone: 0.9 kg left, 0.1 kg of it water."""
    mix = cs.Mix.weigh({"KNO3": 60, "sucrose": 20, "water": 20}, water_lost=0.5)
    assert mix.cast_yield == pytest.approx(0.9, abs=1e-15)
    assert mix.water_as_weighed == pytest.approx(0.2, abs=1e-15)
    assert mix.water_as_cast == pytest.approx(0.1 / 0.9, abs=1e-15)
    same = cs.Mix.weigh({"KNO3": 60, "sucrose": 20, "water": 20}).with_water_lost(0.5)
    assert same.elements == mix.elements
    assert same.enthalpy == mix.enthalpy
    assert same.water_lost == 0.5


def test_powdered_sugar_is_what_its_row_says() -> None:
    """Sucrose 0.966, starch 0.030, water 0.004 by mass (reference 4.5)."""
    mix = cs.Mix.weigh({"powdered sugar": 1})
    found = {c.ingredient.name: c.mass_fraction for c in mix.weighed}
    assert found == pytest.approx({"sucrose": 0.966, "starch": 0.03, "water": 0.004})


def test_lots_by_hand() -> None:
    """Assay and moisture of the bags at hand."""
    # Nitrate 99.0 % of the dry matter with 0.5 % water: 1 % of the dry matter is inert.
    # Sugar 2 % wet.
    lots = {
        "saltpeter": cs.Lot(assay=0.99, moisture=0.005),
        "sucrose": cs.Lot(moisture=0.02),
    }
    mix = cs.Mix.weigh(BASE, lots=lots)
    assert atoms(mix)["K"] == pytest.approx(0.65 * 0.995 * 0.99 / KNO3, rel=1e-12)
    assert atoms(mix)["C"] == pytest.approx(12 * 0.35 * 0.98 / SUCROSE, rel=1e-12)
    assert mix.water_as_weighed == pytest.approx(0.65 * 0.005 + 0.35 * 0.02, rel=1e-12)
    assert mix.inert_fraction == pytest.approx(0.65 * 0.995 * 0.01, rel=1e-12)
    # Without an assay, the inert part is what is stated: 3 % of the sugar.
    mix = cs.Mix.weigh(BASE, lots={"sugar": cs.Lot(inert=0.03)})
    assert mix.inert_fraction == pytest.approx(0.35 * 0.03, rel=1e-12)
    assert mix.flags == ("inert matter above 1 %",)
    # Syrup of 75 % solids: the rest is water.
    recipe = {"KNO3": 65, "corn syrup": 35}
    mix = cs.Mix.weigh(recipe, lots={"light syrup": cs.Lot(dry_solids=0.75)})
    assert mix.water_as_weighed == pytest.approx(0.35 * 0.25, rel=1e-12)


def test_alternative_enthalpy_by_hand() -> None:
    """A rival value moves the enthalpy by its difference and nothing else."""
    # Sorbitol 182.172 g/mol, -1336 instead of -1353.7 kJ/mol: 0.35 / 0.182172 x 17700.
    recipe = {"KNO3": 65, "sorbitol": 35}
    default = cs.Mix.weigh(recipe)
    rival = cs.Mix.weigh(recipe, alternatives={"glucitol": "polyol cycle"})
    gain = rival.enthalpy - default.enthalpy
    assert gain == pytest.approx(0.35 / 0.182172 * 17.7e3, rel=1e-9)
    assert rival.elements == default.elements
    (sorbitol,) = (c for c in rival.cast if c.ingredient.name == "sorbitol")
    assert (sorbitol.ingredient.status, sorbitol.ingredient.source) == (
        "estimated",
        "derived-solution-cycle",
    )


def test_plain_values() -> None:
    """to_dict and to_frame carry units in their names and sum to the whole."""
    mix = cs.Mix.weigh({"KNO3": 60, "corn syrup": 40}, name="pan 1", water_lost=0.25)
    plain = mix.to_dict()
    assert plain["name"] == "pan 1"
    assert plain["recipe_mass_fraction"] == {"KNO3": 0.6, "corn syrup": 0.4}
    assert plain["water_lost"] == 0.25
    # Syrup holds 23 % water: 9.2 % of the mix, 6.9 of 97.7 parts after a quarter left.
    assert plain["water_as_weighed_percent"] == pytest.approx(9.2, rel=1e-12)
    assert plain["water_as_cast_percent"] == pytest.approx(690 / 97.7, rel=1e-12)
    frame = mix.to_frame()
    assert frame["mass_fraction_as_cast"].sum() == pytest.approx(1.0, abs=1e-12)
    assert set(frame["origin"]) == {"potassium nitrate", "light corn syrup"}


def test_a_mix_keeps_how_it_is_made() -> None:
    """Through drying, another syrup and a cook; nothing else moves."""
    plain = cs.Mix.weigh("KNO3:60 sucrose:20 corn syrup:20")
    mix = cs.Mix.weigh("KNO3:60 sucrose:20 corn syrup:20", process="melted dry")
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=20)
    cooked = cook(of_mixes([mix]), kitchen, window=False).blends.mixes[0]
    solids = {"light corn syrup": 0.8}
    made = (mix, mix.with_water_lost(0.5), mix.with_syrup_solids(solids), cooked)
    assert {one.process for one in made} == {"melted dry"}
    parts = np.array([[0.6, 0.2, 0.2], [0.7, 0.2, 0.1]])
    many = blend(["KNO3", "sucrose", "corn syrup"], parts, process="melted dry")
    again = cook(many, kitchen, window=False).blends
    assert again.processes == ("melted dry",) * 2
    part = again.where(np.array([True, False]), again).take(slice(1, 2))
    assert part.mix(0).process == "melted dry"
    assert of_mixes([mix, plain]).processes == ("melted dry", "")
    assert cooked.water_lost > 0.0
    assert plain.process == ""
    assert plain.to_dict() == mix.to_dict()


def test_a_process_that_is_none() -> None:
    words = r"process is 'melted'; did you mean 'melted dry'\? allowed: cooked syrup, "
    with pytest.raises(cs.InputError, match=words):
        cs.Mix.weigh(BASE, process="melted")
