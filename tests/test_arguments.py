"""What Python callers hand over: mixes in any form, numbers, options."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar.kitchen import calibration

# Exact: the same mix in three forms is the same mix; wrong types are refused as every
# other bad input: what, got, allowed, do.
pytestmark = pytest.mark.exact

MAPPING = {"KNO3": 65, "sucrose": 35}
TEXT, PERCENT = "KNO3:65 sucrose:35", "KNO3:65% sucrose:35%"
FORMS = [MAPPING, TEXT, PERCENT, cs.parse_recipe(TEXT), cs.Mix.weigh(MAPPING)]
COOK = cs.Cook.hold(392.15, 480.0)
KITCHEN = cs.Kitchen(cook=COOK, draws=50)
SYRUP = "KNO3:60 sucrose:20 corn syrup:20"


@pytest.mark.parametrize("form", FORMS, ids=lambda f: type(f).__name__)
def test_what_means_a_mix_is_one(form: object) -> None:
    """Wherever one mix is taken."""
    wanted = cs.Mix.weigh(MAPPING)
    flame = cs.equilibrium(wanted).temperature
    assert cs.equilibrium(form).temperature == flame
    assert cs.performance(form).states[0].temperature == flame
    assert cs.evaluate(form)["flame_temperature_K"].tolist() == [flame]
    found, same = cs.sensitivities(form), cs.sensitivities(wanted)
    assert (found.by_mass == same.by_mass).all()
    table = cs.kitchen_table(form, KITCHEN)
    assert table["density_kg_m3"].tolist() == [pytest.approx(wanted.density)]
    change = cs.justify(form, MAPPING, draws=100, confirm=False)
    assert change.cells["flame_temperature_K"].difference.interval == (0.0, 0.0)


def test_many_in_any_form() -> None:
    """Lists and generators, forms mixed; labels and texts are the names."""
    table = cs.evaluate(FORMS)
    assert np.ptp(table["flame_temperature_K"]) < 1e-9
    assert table["name"].tolist()[:2] == ["KNO3:65 sucrose:35", TEXT]
    assert cs.evaluate(f"mine={TEXT}")["name"].tolist() == ["mine"]
    lazy = cs.evaluate(form for form in FORMS)
    assert lazy["flame_temperature_K"].equals(table["flame_temperature_K"])
    assert len(cs.kitchen_table([MAPPING, SYRUP], KITCHEN)) == 2
    found = cs.compare([MAPPING, TEXT], draws=100)
    assert found.cells[1]["specific_impulse_s"].verdict == "cannot tell"


def test_kitchen_measurements_take_recipes() -> None:
    """As text, like the command line."""
    options = {"batch": 0.2, "lost": 2e-3}
    by_text = cs.kitchen.pan_weight(SYRUP, COOK, **options)
    by_mix = cs.kitchen.pan_weight(cs.Mix.weigh(SYRUP), COOK, **options)
    assert (by_text.observed, by_text.spread) == (by_mix.observed, by_mix.spread)
    assert calibration.viscosity_band(KITCHEN, SYRUP) == calibration.viscosity_band(
        KITCHEN, cs.Mix.weigh(SYRUP)
    )


def test_a_search_takes_tried_mixes_in_any_form() -> None:
    """They stand beside the answer under their names."""
    space = {"KNO3": (0.6, 0.7), "sucrose": (0.3, 0.4)}
    tried = dict(zip("abcde", FORMS, strict=True))
    found = cs.search(space, objective="density_kg_m3", tried=tried, confirm=False)
    values = {row["density_kg_m3"] for name, row in found.rows.items() if name in tried}
    assert len(values) == 1


NO_MIX = [
    (3, "mix is 3; give a Mix"),
    (None, "mix is None; give a Mix"),
    ([3], "mix 1 is 3; give a Mix"),
    ([MAPPING, ("KNO3", 65)], r"mix 2 is the tuple \('KNO3', 65\); give a Mix"),
    ("base", "mix: 'base' has no ':'"),
    ([TEXT, "base"], "mix 2: 'base' has no ':'"),
    ("1000 psi", "mix: '1000 psi' has no ':'"),
    ([TEXT, "KNO3:65 sucrse:35"], "mix 2: unknown ingredient 'sucrse'; did you mean"),
    (b"KNO3:65", "mix is b'KNO3:65'; give a Mix"),
    ([b"KNO3:65"], "mix 1 is b'KNO3:65'; give a Mix"),
    ({"base": MAPPING}, "amount of 'base' is the dict"),
]


@pytest.mark.parametrize(("given", "told"), NO_MIX, ids=str)
def test_what_means_no_mix_is_told(given: object, told: str) -> None:
    """With its place among several, and what would do."""
    for call in (cs.evaluate, lambda m: cs.kitchen_table(m, KITCHEN), cs.compare):
        with pytest.raises(cs.CastsugarError, match=told):
            call(given)
    if not isinstance(given, list):
        for call in (cs.equilibrium, cs.performance, cs.sensitivities):
            with pytest.raises(cs.CastsugarError, match=told):
                call(given)
        with pytest.raises(cs.CastsugarError, match=told.replace("mix", "base", 1)):
            cs.justify(given, MAPPING)


MISSPELT = [
    (lambda: cs.search({}, presure=1e6), "search has no option 'presure'.*'pressure'"),
    (lambda: cs.search({}, limit=[]), "search has no option 'limit'.*'limits'"),
    (lambda: cs.evaluate(TEXT, preasure=1e6), "evaluate has no option.*'pressure'"),
    (lambda: cs.performance(TEXT, flows="frozen"), "performance .*mean 'flow'"),
    (lambda: cs.equilibrium(TEXT, temprature=1e3), "equilibrium .*mean 'temperature'"),
    (lambda: cs.sensitivities(TEXT, spezies=None), "sensitivities .*mean 'species'"),
    (lambda: cs.compare([TEXT], drws=100), "compare .*mean 'draws'"),
    (lambda: cs.justify(TEXT, TEXT, claim=()), "justify .*mean 'claims'"),
    (lambda: cs.kitchen_table(TEXT, kichen=KITCHEN), "kitchen_table .*mean 'kitchen'"),
    (lambda: cs.blend(["KNO3"], np.ones((1, 1)), lot={}), "blend .*mean 'lots'"),
    (lambda: cs.Mix.weigh(MAPPING, nmae="x"), "weigh .*mean 'name'"),
    (lambda: cs.evaluate(TEXT, xyzzy=1), "no option 'xyzzy'; it takes mixes, pressure"),
]


@pytest.mark.parametrize(("call", "told"), MISSPELT, ids=[t for _, t in MISSPELT])
def test_a_misspelt_option_names_the_nearest(call, told: str) -> None:
    """An InputError in place of Python's own."""
    with pytest.raises(cs.InputError, match=told):
        call()


SUGAR = {"name": "mine", "formula": "C6H14O6", "enthalpy_of_formation": -1e6}
SPACE = {"KNO3": (0.6, 0.7), "sucrose": (0.3, 0.4)}


def ingredient(**change: object) -> cs.Ingredient:
    """A good one with one value changed."""
    return cs.Ingredient(**(SUGAR | change))


def hardware(**change: object) -> cs.Hardware:
    """A good motor with one value changed."""
    grain = cs.motor.HollowCylinder(
        outer_diameter=0.036, core_diameter=0.014, segment_length=0.062
    )
    known = {
        "grain": grain,
        "throat_diameter": 0.008,
        "burning": cs.motor.BurnModel(),
    }
    return cs.Hardware(**(known | change))


# The call, and words that say what was got and what is allowed.
WRONG_TYPES = [
    # Amounts.
    (lambda: cs.Mix.weigh({"KNO3": "65"}), "amount of 'KNO3' is '65'; give a plain"),
    (lambda: cs.Mix.weigh({"KNO3": True}), "amount of 'KNO3' is True; give a plain"),
    (lambda: cs.Mix.weigh({"KNO3": np.bool_(1)}), "amount of 'KNO3' is the bool"),
    (lambda: cs.Mix.weigh({"KNO3": None}), "amount of 'KNO3' is None; give a plain"),
    (lambda: cs.Mix.weigh({"KNO3": [65]}), "amount of 'KNO3' is the list"),
    (lambda: cs.Mix.weigh({"KNO3": np.ones(2)}), "amount of 'KNO3' is the ndarray"),
    (lambda: cs.Mix.weigh({3: 65}), "recipe names 3; give names of the catalogue"),
    (
        lambda: cs.Mix.weigh([("KNO3", 65)]),
        "recipe is the list .*; give a Mapping",
    ),
    (lambda: cs.Mix.weigh(MAPPING, water_lost="2 %"), "water_lost is '2 %'"),
    (lambda: cs.Mix.weigh(MAPPING, lots={"KNO3": 0.01}), "lot of 'KNO3' is 0.01; give"),
    (
        lambda: cs.Mix.weigh(MAPPING, database="mine"),
        "database is 'mine'; give a Data",
    ),
    (lambda: cs.Lot(moisture="1 %"), "lot moisture is '1 %'"),
    (lambda: cs.Lot(dextrose_equivalent="42 DE"), "dextrose_equivalent is '42 DE'"),
    # Own substances.
    (lambda: ingredient(formula=""), "formula of 'mine' is empty"),
    (lambda: ingredient(formula={}), "formula of 'mine' is empty"),
    (lambda: ingredient(formula=6), "formula of 'mine' is 6; write it as 'C6H14O6'"),
    (lambda: ingredient(formula={"C": "6"}), "atoms of C of 'mine' is '6'"),
    (lambda: ingredient(formula={"C": True}), "atoms of C of 'mine' is True"),
    (lambda: ingredient(density=np.nan), "density of 'mine' is nan .*left out"),
    (lambda: ingredient(density=np.inf), "density of 'mine' is inf .*finite"),
    (lambda: ingredient(density="1500"), "density of 'mine' is '1500'; .* in kg/m3"),
    (lambda: ingredient(enthalpy_of_formation="-1 MJ"), "'-1 MJ'; .* in J/mol"),
    (lambda: ingredient(enthalpy_uncertainty="1"), "uncertainty of the enthalpy"),
    (lambda: ingredient(name=3), "no name but 3"),
    # Conditions.
    (
        lambda: cs.evaluate(TEXT, pressure="1000 psi"),
        "pressure is '1000 psi'; .* in Pa",
    ),
    (lambda: cs.evaluate(TEXT, pressure=["7e6"]), "pressure is '7e6'"),
    (lambda: cs.evaluate(TEXT, pressure=[[7e6]]), "pressure is the list"),
    (lambda: cs.evaluate(TEXT, pressure=None), "pressure is None"),
    (lambda: cs.evaluate(TEXT, pressure=True), "pressure is True"),
    (lambda: cs.evaluate(TEXT, pressure=np.nan), "chamber pressure is nan"),
    (lambda: cs.evaluate(TEXT, exit_pressure="1 atm"), "exit pressure is '1 atm'"),
    (
        lambda: cs.evaluate([TEXT, TEXT], exit_pressure=np.full(3, 1e5)),
        "exit pressure is the ndarray .*; give a plain number in Pa",
    ),
    (lambda: cs.evaluate(TEXT, exit_pressure=[1e5]), "exit pressure is the list"),
    (lambda: cs.evaluate(TEXT, flow=1), "flow is 1; allowed: equilibrium"),
    (
        lambda: cs.evaluate(TEXT, kitchen="119 C"),
        "kitchen is '119 C'; give a Kitchen",
    ),
    (
        lambda: cs.evaluate(TEXT, motor={}),
        "motor is the dict .*; give a Hardware",
    ),
    (
        lambda: cs.evaluate(TEXT, species="2002"),
        "species is '2002'; give a Species",
    ),
    (lambda: cs.equilibrium(TEXT, pressure="7 MPa"), "pressure is '7 MPa'"),
    (lambda: cs.equilibrium(TEXT, temperature="1700 K"), "temperature is '1700 K'"),
    (lambda: cs.performance(TEXT, pressure="7 MPa"), "pressure is '7 MPa'"),
    (lambda: cs.sensitivities(TEXT, exit_pressure="1 atm"), "exit pressure is '1 atm'"),
    (lambda: cs.kitchen_table(TEXT, None), "kitchen is None; give a Kitchen"),
    (
        lambda: cs.kitchen_table(TEXT, "119 C"),
        "kitchen is '119 C'; give a Kitchen",
    ),
    (lambda: cs.Conditions(pressure="7 MPa"), "chamber pressure is '7 MPa'"),
    (lambda: cs.Conditions(exit_pressure=None), "exit pressure is None"),
    (
        lambda: cs.Conditions(kitchen="119 C"),
        "kitchen is '119 C'; give a Kitchen",
    ),
    (lambda: cs.Doubts(batch="200 g"), "batch is '200 g'; give a plain number in kg"),
    (lambda: cs.Doubts(moisture="1 %"), "uncertainty of moisture is '1 %'"),
    # Decisions.
    (lambda: cs.compare([TEXT, TEXT], draws="many"), "draws is 'many'; give a whole"),
    (lambda: cs.compare([TEXT, TEXT], draws=150.5), "draws is 150.5; give a whole"),
    (lambda: cs.compare([TEXT, TEXT], seed=True), "seed is True; give a whole"),
    (lambda: cs.compare([TEXT, TEXT], draws=100, baseline=True), "baseline is True"),
    (lambda: cs.compare([TEXT, TEXT], scale_step="0.1 g"), "scale_step is '0.1 g'"),
    (lambda: cs.compare([TEXT], conditions={}), "conditions is the dict"),
    (
        lambda: cs.justify(TEXT, TEXT, doubts=0.1),
        "doubts is 0.1; give a Doubts",
    ),
    (lambda: cs.search(SPACE, pressure="7 MPa"), "chamber pressure is '7 MPa'"),
    (lambda: cs.search(SPACE, water_lost="20 %"), "water_lost is '20 %'"),
    (
        lambda: cs.search(SPACE, kitchen="119 C"),
        "kitchen is '119 C'; give a Kitchen",
    ),
    (lambda: cs.search(SPACE | {"water": "1 %"}), "share of 'water' is '1 %'"),
    (lambda: cs.search(SPACE | {"water": (0, "1 %")}), "share of 'water' is '1 %'"),
    (lambda: cs.search(SPACE | {"water": (0, 1, 2)}), "share of 'water' is the tuple"),
    (
        lambda: cs.search(["KNO3", "sucrose"]),
        "ingredients is the list .*; give a Mapp",
    ),
    (lambda: cs.search(SPACE | {3: 0.1}), "a name is 3; give one of the catalogue"),
    (
        lambda: cs.search(SPACE | {ingredient(): 0.1}),
        "'mine' is an ingredient of yours",
    ),
    (lambda: cs.load_database().find(3), "a name is 3; give one of the catalogue"),
    (lambda: cs.blend([3], np.ones((1, 1))), "a name is 3; give one of the catalogue"),
    (lambda: cs.search(SPACE, batch="200 g"), "batch is '200 g'"),
    (lambda: cs.search(SPACE, batch=0.2, stock={"KNO3": "1 kg"}), "'1 kg'; .* in kg"),
    (
        lambda: cs.search(SPACE, tried=[MAPPING]),
        "tried is the list .*; give a Mapping",
    ),
    (
        lambda: cs.search(SPACE, limits=["T < 1500 K"]),
        "limit is 'T < 1500 K'; give a R",
    ),
    (lambda: cs.search(SPACE, effort=3), "effort is 3; give an Effort"),
    (lambda: cs.search(SPACE, sloppiness=True), "sloppiness is True"),
    (
        lambda: cs.search(
            SPACE, objective="weighted sum", weights={"density_kg_m3": "1"}
        ),
        "weight of density_kg_m3 is '1'",
    ),
    (lambda: cs.justify(TEXT, TEXT, limits=["cooler"]), "limit is 'cooler'"),
    (lambda: cs.justify(TEXT, TEXT, claims=["cooler"]), "claim is 'cooler'"),
    (
        lambda: cs.Requirement(column="relative_solids_20C", at_least="1"),
        "relative_solids_20C is '1'",
    ),
    # A cook, a kitchen, a motor.
    (lambda: cs.Cook.hold("119 C", 480.0), "point of the cook is '119 C'"),
    (lambda: cs.Cook.hold(392.15, "8 min"), "duration of a cook is '8 min'"),
    (lambda: cs.Kitchen(cook="119 C"), "cook is '119 C'; give a Cook"),
    (lambda: cs.Kitchen(cook=COOK, belief="x"), "belief is 'x'; give a Belief"),
    (lambda: cs.Kitchen(cook=COOK, air_pressure="1 atm"), "air_pressure is '1 atm'"),
    (lambda: cs.Kitchen(cook=COOK, water_lost="20 %"), "water_lost is '20 %'"),
    (lambda: hardware(throat_diameter="8 mm"), "throat diameter is '8 mm'"),
    (lambda: hardware(grain="x"), "grain is 'x'; give a HollowCylinder"),
    (lambda: hardware(burning="x"), "burning is 'x'; give a BurnModel"),
    (lambda: hardware(case="pvc"), "case is 'pvc'; give a Case"),
    (lambda: hardware(efficiency="90 %"), "efficiency is '90 %'; give a plain"),
    (lambda: hardware(draws="many"), "draws is 'many'; give a whole number"),
    (lambda: cs.motor.Case(rated_pressure="1000 psi"), "rated pressure .* '1000 psi'"),
    # Many at once.
    (lambda: cs.blend("KNO3", np.ones((1, 1))), "items is 'KNO3'; give a list"),
    (lambda: cs.blend(["KNO3"], [["all"]]), "fractions is the list"),
    (lambda: cs.blend(["KNO3"], [[np.nan]]), "must be 0 or more and sum to 1"),
]


@pytest.mark.parametrize(("call", "told"), WRONG_TYPES, ids=[t for _, t in WRONG_TYPES])
def test_a_wrong_type_is_told(call, told: str) -> None:
    """What, got, allowed, do; never a TypeError from inside."""
    with pytest.raises(cs.InputError, match=told):
        call()


def test_numbers_of_any_kind_are_numbers() -> None:
    """Of numpy, whole or not; a density that is left out stays unknown."""
    wanted = cs.Mix.weigh({"KNO3": 65.0, "sucrose": 35.0})
    for kind in (int, np.int64, np.float32, np.float64, lambda x: np.array(float(x))):
        assert cs.Mix.weigh({"KNO3": kind(65), "sucrose": kind(35)}).cast == wanted.cast
    pressures = np.array([5e6, 7e6])
    table = cs.evaluate([TEXT, TEXT], pressure=pressures)
    assert table["flame_temperature_K"].is_monotonic_increasing
    own = ingredient()
    assert np.isnan(own.density)
    assert np.isnan(cs.evaluate({"KNO3": 65, own: 35})["density_kg_m3"][0])
    assert replace(own, note="again") == own
    assert ingredient(formula=(("C", 6), ("H", 14), ("O", 6))) == own
