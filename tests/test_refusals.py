"""What is refused, why, and what is offered instead."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import castsugar as cs
from castsugar.bench.bench import check_bench
from castsugar.bench.search import search_asked
from castsugar.data import refused
from castsugar.weigh import read_charge

# Exact: the list of the contract ("Refused by name, alias and composition") and the bad
# inputs of the contract; the messages say what, got, allowed, do.
pytestmark = pytest.mark.exact

BASE = {"KNO3": 65.0, "sucrose": 35.0}

OXIDIZERS = [cs.load_database().find(name) for name in ("KNO3", "NaNO3")]
SPACE = """\
[search]
maximise = "flame_temperature_K"
ratios = ["{}:sucrose >= 1"]
[search.ingredients]
KNO3 = "50 % to 70 %"
sucrose = "30 % to 50 %"
"""

REFUSED_NAMES = [
    ("potassium perchlorate", "perchlorates"),
    ("Potassium-Perchlorate", "perchlorates"),
    ("KClO4", "perchlorates"),
    ("kclo3", "chlorates"),
    ("ammonium perchlorate", "perchlorates"),
    ("sodium chlorate", "chlorates"),
    ("ammonium nitrate", "acid"),
    ("NH4NO3", "acid"),
    ("HNO3", "acid"),
    ("nitric acid", "acid"),
    ("sulfur", "sulfur"),
    ("sulphur", "sulfur"),
    ("aluminium", "metal"),
    ("Aluminum powder", "metal"),
    ("Al", "metal"),
    ("magnesium", "metal"),
    ("iron filings", "metal"),
    ("vinegar", "acid"),
    # One and more of every further class; spelt with spaces, hyphens, as formulas.
    ("potassium bromate", "bromates"),
    ("Ba(ClO3)2", "chlorates"),
    ("nitroglycerin", "explosive"),
    ("Nitro-Glycerine", "explosive"),
    ("nitrocellulose", "explosive"),
    ("TNT", "explosive"),
    ("rdx", "explosive"),
    ("HMX", "explosive"),
    ("PETN", "explosive"),
    ("erythritol tetranitrate", "explosive"),
    ("lead azide", "azides"),
    ("mercury fulminate", "fulminates"),
    ("lead styphnate", "styphnates"),
    ("picric acid", "picrates"),
    ("barium nitrate", "potassium and sodium"),
    ("strontium nitrate", "potassium and sodium"),
    ("calcium nitrate", "potassium and sodium"),
    ("magnesium nitrate", "potassium and sodium"),
    ("lead nitrate", "potassium and sodium"),
    ("silver nitrate", "potassium and sodium"),
    ("AgNO3", "potassium and sodium"),
    ("urea nitrate", "potassium and sodium"),
    ("guanidine nitrate", "potassium and sodium"),
    ("xylitol pentanitrate", "potassium and sodium"),
    ("potassium nitrite", "nitrites"),
    ("KNO2", "nitrites"),
    ("black powder", "energetic mix"),
    ("gunpowder", "energetic mix"),
    ("flash powder", "energetic mix"),
    ("thermite", "energetic mix"),
    ("potassium permanganate", "permanganates"),
    ("KMnO4", "permanganates"),
    ("potassium dichromate", "chromates"),
    ("hydrogen peroxide", "peroxides"),
    ("sodium persulfate", "persulfates"),
    ("charcoal-sulfur", "sulfur"),
    ("red phosphorus", "phosphorus"),
    ("boron", "metal"),
    ("barium carbonate", "poison"),
    ("citric acid", "acid"),
]

# A slip of the pen in such a name is no unknown word, and suggests nothing.
MISSPELT_REFUSED = [
    ("potassium permaganate", "potassium permanganate"),
    ("potasium clorate", "potassium chlorate"),
    ("amonium perclorate", "ammonium perchlorate"),
    ("alumnium", "aluminium"),
    ("gunpowdr", "gunpowder"),
]


@pytest.mark.parametrize(("typed", "meant"), MISSPELT_REFUSED)
def test_misspelt_names_of_refused_substances(typed: str, meant: str) -> None:
    """The refusal and its reason, never the nearest name of the catalogue."""
    words = f"'{typed}' looks like '{meant}', which is refused: "
    with pytest.raises(cs.RefusedError, match=words):
        cs.load_database().find(typed)
    for name in ("amonium nitrate", "nitroglicerin", "sulfer", "barium nitrat"):
        with pytest.raises(cs.RefusedError, match=f"'{name}' is refused: "):
            cs.load_database().find(name)


def test_no_name_of_the_catalogue_is_refused() -> None:
    """Nor names of textbook gases and of harmless things that sound alike."""
    harmless = ["nitrogen", "hydrogen", "oxygen", "methane", "air", "copper oxide"]
    harmless += ["sodium chloride", "sodium bicarbonate", "silica", "anhydride"]
    known = cs.load_database().known_names()
    for name in (*known, *harmless, "my potassium nitrate"):
        refused.check_name(name)
        refused.check_misspelt(name, known)


@pytest.mark.parametrize(("name", "reason"), REFUSED_NAMES)
def test_refused_by_name(name: str, reason: str) -> None:
    """By name and alias, with the reason, not as an unknown word."""
    with pytest.raises(cs.RefusedError, match=f"refused: .*{reason}"):
        cs.Mix.weigh({"KNO3": 65, name: 35})
    # The name alone is enough, whatever formula stands behind it.
    own = cs.Ingredient(name=name, formula="C", enthalpy_of_formation=0.0)
    with pytest.raises(cs.RefusedError):
        cs.Mix.weigh({"KNO3": 65, own: 35})


REFUSED_FORMULAS = [
    ("NH4ClO4", "Cl"),
    ("KClO4", "Cl"),
    ("NaCl", "Cl"),
    ("Al", "Al"),
    ("Mg", "Mg"),
    ("S", "it contains S"),
    ("C2H6S", "it contains S"),
    ("Si", "Si"),
    ("Fe", "Fe2O3"),
    ("FeO", "Fe2O3"),
    ("Fe3O4", "Fe2O3"),
    ("FeC5O5", "Fe2O3"),
    ("NH4NO3", "ammonium nitrate"),
    ("H4N2O3", "ammonium nitrate"),
    ("N4H8O6", "ammonium nitrate"),
    ("HNO3", "acid"),
    ("K", "metal"),
    ("Na", "metal"),
    # A trace more or less, of its own atoms or others, changes nothing.
    ("N2H4.0001O3", "ammonium nitrate"),
    ("N2H4.02O3", "ammonium nitrate"),
    ("N2H4O3C0.001", "ammonium nitrate"),
    ("N4H8.0001O6", "ammonium nitrate"),
    ("H0.999NO3", "acid"),
    ("H2.0001N2O6", "acid"),
    ("K1O0.001", "metal"),
    ("Fe2O3.001", "Fe2O3"),
    # Explosives of allowed elements: glycerol and erythritol nitrates, RDX, TNT.
    ("C3H5N3O9", "explosive"),
    ("C4H6N4O12", "explosive"),
    ("C3H6N6O6", "explosive"),
    ("C7H5N3O6", "explosive"),
    ("CH5N3O4", "urea"),
    ("CH6N4O3", "guanidine"),
    ("C6H3N3O7", "picrates"),
]


@pytest.mark.parametrize(("formula", "reason"), REFUSED_FORMULAS)
def test_refused_by_composition(formula: str, reason: str) -> None:
    """A harmless name does not help."""
    own = cs.Ingredient(name="my powder", formula=formula, enthalpy_of_formation=0.0)
    with pytest.raises(cs.RefusedError, match=f"'my powder' is refused: .*{reason}"):
        cs.Mix.weigh({"KNO3": 65, own: 35})


# Red iron oxide, textbook fuels; not far from a refused formula: urea, nitrogen oxide.
LET_IN = ["Fe2O3", "Fe4O6", "CH4", "H2", "O2", "N2", "C", "CH4N2O", "H2O", "N2O4"]


@pytest.mark.parametrize("formula", LET_IN)
def test_check_substances_are_let_in_and_flagged(formula: str) -> None:
    """Red iron oxide and textbook fuels pass; the mix carries the flag."""
    own = cs.Ingredient(name="my powder", formula=formula, enthalpy_of_formation=0.0)
    mix = cs.Mix.weigh({"KNO3": 65, own: 35})
    assert "reference only" in mix.flags
    assert "reference only" not in cs.Mix.weigh(BASE).flags


# Typed, and the name that must be offered first.
MISSPELT = [
    ("sucrse", "sucrose"),
    ("sorbitl", "sorbitol"),
    ("corn sirup", "corn syrup"),
    ("powderd sugar", "powdered sugar"),
    ("sodum nitrate", "sodium nitrate"),
    ("pottasium nitrate", "potassium nitrate"),
    ("iron oxide", "red iron oxide"),
    ("erythrytol", "erythritol"),
]


@pytest.mark.parametrize(("typed", "meant"), MISSPELT)
def test_nearest_name_is_offered(typed: str, meant: str) -> None:
    """A misspelt name gets the right one."""
    with pytest.raises(cs.UnknownNameError) as caught:
        cs.Mix.weigh({"KNO3": 65, typed: 35})
    text = str(caught.value)
    assert f"unknown ingredient {typed!r}" in text
    assert re.search(rf"did you mean {meant!r}", text)


@pytest.mark.parametrize("typed", ["potasium perchlorate", "perchlorate of potash"])
def test_no_one_letter_advice(typed: str) -> None:
    """Carbon's "C" occurs in nearly every word and is no help."""
    with pytest.raises(cs.CastsugarError) as caught:
        cs.Mix.weigh({"KNO3": 65, typed: 35})
    offered = re.findall(r"'([^']*)'", str(caught.value))
    assert not [n for n in offered if len(n) < 3]


# Near an oxidizer's name, alias or formula, by a letter; none says "nitrate".
NO_OXIDIZER = ["KNO", "KNO4", "KN03", "NaNO", "saltpeeter", "nitr", "potassium nitrat"]


@pytest.mark.parametrize("typed", NO_OXIDIZER)
def test_an_oxidizer_is_never_guessed(typed: str) -> None:
    """Not for a word without "nitrate" in it: in a recipe, a space, on the scale."""
    data = cs.load_database()
    names = [n for n in data.known_names() if data.find(n) in OXIDIZERS]
    assert len(names) > 8
    bench = check_bench(Path("b.toml"), SPACE.format(typed))
    for call in (
        lambda: cs.Mix.weigh({"sucrose": 65, typed: 35}),
        lambda: read_charge("KNO3:65 sugar:35", None, data).find(typed, "--actual"),
        lambda: search_asked(bench, data),
    ):
        with pytest.raises(cs.CastsugarError) as caught:
            call()
        offered = re.findall(r"mean '([^']*)'|or '([^']*)'", str(caught.value))
        assert not {n for pair in offered for n in pair} & set(names)


def test_a_word_with_nitrate_may_be_a_nitrate() -> None:
    """What holds "nitrate" is close enough to be told."""
    with pytest.raises(cs.UnknownNameError, match="mean 'potassium nitrate'"):
        cs.load_database().find("potasium nitrate")


def test_forbidden_words_are_refused_wherever_names_are_read() -> None:
    """In a ratio, as a lot, on the scale: the reason, never the nearest name."""
    data = cs.load_database()
    bench = check_bench(Path("b.toml"), SPACE.format("potassium chlorate"))
    charge = read_charge("KNO3:65 sugar:35", None, data)
    for call in (
        lambda: charge.find("potassium chlorate", "--actual"),
        lambda: search_asked(bench, data),
        lambda: data.find("potassium chlorate"),
    ):
        with pytest.raises(cs.CastsugarError, match="is refused: chlorates"):
            call()


def test_no_advice_is_better_than_bad_advice() -> None:
    """A word like nothing in the catalogue gets no suggestion, but the way on."""
    with pytest.raises(cs.UnknownNameError, match=r"'red gum'; castsugar ingredients"):
        cs.Mix.weigh({"KNO3": 65, "red gum": 35})


AMOUNTS = [
    ({}, "parts", "empty"),
    ({"KNO3": -1.0, "sucrose": 35.0}, "parts", "'KNO3' is -1"),
    ({"KNO3": 0.0, "sucrose": 0.0}, "parts", "all amounts are 0"),
    ({"KNO3": math.nan, "sucrose": 35.0}, "parts", "'KNO3' is nan"),
    ({"KNO3": math.inf, "sucrose": 35.0}, "parts", "'KNO3' is inf"),
    ({"KNO3": 0.65, "sucrose": 0.37}, "fraction", "sum to 1.02"),
    ({"KNO3": 0.65, "sucrose": 0.3502}, "fraction", "sum to 1.0002"),
    ({"KNO3": 65.0, "sucrose": 35.0}, "fraction", "sum to 100"),
    ({"KNO3": 65.0, "sucrose": 35.0}, "percent", "'percent'"),
    ({"water": 1.0, "sucrose": 0.0}, "parts", "after the water"),
]


@pytest.mark.parametrize(("recipe", "basis", "words"), AMOUNTS)
def test_amounts_that_make_no_mix(recipe: dict, basis: str, words: str) -> None:
    """Amounts are finite, not below zero, and fractions sum to 1."""
    with pytest.raises(cs.InputError, match=re.escape(words)):
        cs.Mix.weigh(recipe, basis=basis, water_lost=1.0)


def test_fraction_tolerance() -> None:
    """A sum within 1e-4 of 1 is accepted and scaled."""
    mix = cs.Mix.weigh({"KNO3": 0.65, "sucrose": 0.35009}, basis="fraction")
    assert sum(f for _, f in mix.recipe) == pytest.approx(1.0, abs=1e-15)


SUGAR = cs.load_database().ingredients["sucrose"]
# One ingredient under two names: by alias, by zero parts, by object, in another order.
TWO_NAMES = [
    ({"KNO3": 30, "potassium nitrate": 35, "sucrose": 35}, "'KNO3'"),
    ({"KNO3": 65, "saltpeter": 0, "sucrose": 35}, "'KNO3'"),
    ({"KNO3": 65, SUGAR: 20, "table sugar": 15}, "'sucrose'"),
    ({"KNO3": 65, "sugar": 20, SUGAR: 15}, "'sugar'"),
    ({"KNO3": 60, "corn syrup": 20, "light syrup": 20}, "'corn syrup'"),
    ({"KNO3": 60, "10X": 20, "icing sugar": 20}, "'10X'"),
]


@pytest.mark.parametrize(("recipe", "first"), TWO_NAMES)
def test_one_ingredient_has_one_name_in_a_recipe(recipe: dict, first: str) -> None:
    """As the same name twice: never added up silently."""
    with pytest.raises(cs.InputError, match=rf"twice \(first as {first}, both"):
        cs.Mix.weigh(recipe)
    names = [n for n in recipe if isinstance(n, str)]
    if len(names) == len(recipe):
        shares = np.full((1, len(names)), 1.0 / len(names))
        with pytest.raises(cs.InputError, match=rf"first as {first}"):
            cs.blend(names, shares)


def test_an_own_substance_needs_a_name_of_its_own() -> None:
    """Called like one of the catalogue, it would stand in the table as that one."""
    own = cs.Ingredient(name="saltpeter", formula="C", enthalpy_of_formation=0.0)
    with pytest.raises(cs.InputError, match="'saltpeter' comes twice"):
        cs.Mix.weigh(BASE | {own: 1.0})


@pytest.mark.parametrize("name", ["sucrose", "Table Sugar", "corn syrup", "KNO3"])
def test_an_own_substance_is_not_called_as_another(name: str) -> None:
    """Alone in a mix, too: its row would be read as the catalogue's."""
    own = cs.Ingredient(
        name=name, formula="C12H22O11", enthalpy_of_formation=-2.1e6, role="fuel"
    )
    with pytest.raises(cs.InputError, match=r"name of .* give yours another name"):
        cs.Mix.weigh({"sodium nitrate": 65, own: 35})


def test_an_own_substance_is_not_searched() -> None:
    """Said in words, by its name."""
    own = cs.Ingredient(
        name="my sugar", formula="C12H22O11", enthalpy_of_formation=-2.1e6
    )
    with pytest.raises(cs.InputError, match=r"^'my sugar' is an ingredient"):
        cs.search({"KNO3": (0.5, 0.7), own: "balance"})  # type: ignore[dict-item]


def test_an_own_substance_with_the_numbers_of_the_catalogue() -> None:
    """The same substance may be called what it is called."""
    known = cs.load_database().find("sucrose")
    own = cs.Ingredient(
        name="sugar",
        formula=known.formula,
        enthalpy_of_formation=known.enthalpy_of_formation,
    )
    mix = cs.Mix.weigh({"KNO3": 65, own: 35})
    assert mix.elements == pytest.approx(cs.Mix.weigh("KNO3:65 sucrose:35").elements)


@pytest.mark.parametrize(
    ("formula", "enthalpy", "unit"),
    [
        ("C6H12O6", -1273.3, "kJ/mol"),  # dextrose
        ("C6H12O6", -304.3, "kJ/mol"),  # and in kcal
        ("C12H22O11", -2226.1, "kJ/mol"),
        ("KNO3", -494.6, "kJ/mol"),
        ("Fe2O3", -824.2, "kJ/mol"),
        ("C6H12O6", -1.2733e9, "J/kmol"),
    ],
)
def test_an_enthalpy_in_another_unit(formula: str, enthalpy: float, unit: str) -> None:
    """No compound has so little or so much a mole of atoms; said in one line."""
    with pytest.raises(cs.InputError, match=f"Is it in {unit}") as caught:
        cs.Ingredient(name="x", formula=formula, enthalpy_of_formation=enthalpy)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("formula", "enthalpy"),
    [
        # NIST WebBook, from memory: ethylbenzene and toluene, liquid; acetylene.
        ("C8H10", -12.3e3),
        ("C7H8", 12.4e3),
        ("C2H2", 227.4e3),
        ("C", 716.7e3),  # a single atom of carbon, CODATA
        ("H2", 0.0),
        ({"N": 1.562, "O": 0.42}, -126.0),  # air
    ],
)
def test_enthalpies_that_there_are(formula: Any, enthalpy: float) -> None:
    """The least and the most of what is tabulated is taken."""
    cs.Ingredient(name="x", formula=formula, enthalpy_of_formation=enthalpy)


def test_one_lot_for_one_ingredient() -> None:
    """Nor may two lots of it be stated."""
    lots = {"KNO3": cs.Lot(moisture=0.01), "saltpeter": cs.Lot(moisture=0.02)}
    with pytest.raises(cs.InputError, match="two lots are given for 'potassium ni"):
        cs.Mix.weigh(BASE, lots=lots)


@pytest.mark.parametrize(
    "asked",
    [
        {"ingredients": {"KNO3": (0.5, 0.6), "saltpeter": (0.5, 0.7), "sugar": 0.4}},
        {"stock": {"KNO3": 0.1, "niter": 0.2}, "batch": 0.2},
        {"tried": {"mine": {"KNO3": 60, "niter": 5, "sucrose": 35}}},
    ],
)
def test_a_search_names_an_ingredient_once(asked: dict) -> None:
    """In its space, among what is at hand and in the mixes that were tried."""
    space = {"KNO3": (0.5, 0.7), "sucrose": (0.3, 0.5)}
    with pytest.raises(cs.InputError, match=r"comes twice \(first as 'KNO3'"):
        cs.search(**({"ingredients": space} | asked))


@pytest.mark.parametrize("lost", [-0.1, 1.1, math.nan])
def test_water_lost_is_a_fraction(lost: float) -> None:
    """Between none and all of the water, in both ways of saying it."""
    recipe = BASE | {"water": 5.0}
    with pytest.raises(cs.InputError, match="water_lost"):
        cs.Mix.weigh(recipe, water_lost=lost)
    with pytest.raises(cs.InputError, match="water_lost"):
        cs.Mix.weigh(recipe).with_water_lost(lost)


LOTS = [
    ({"moisture": -0.1}, "moisture is -0.1"),
    ({"assay": 1.2}, "assay is 1.2"),
    ({"inert": math.nan}, "inert is nan"),
    ({"assay": 0.9, "inert": 0.2}, "sum to 1.1 of the dry matter"),
]


@pytest.mark.parametrize(("values", "words"), LOTS)
def test_lot_shares_are_fractions(values: dict[str, float], words: str) -> None:
    """Shares of a lot lie between 0 and 1 and leave room for each other."""
    with pytest.raises(cs.InputError, match=re.escape(words)):
        cs.Lot(**values)


def test_lots_and_alternatives_belong_to_the_recipe() -> None:
    """What is stated about something absent is a slip, and is told."""
    lot = cs.Lot(moisture=0.01)
    with pytest.raises(cs.InputError, match=r"'water'.*not in the recipe"):
        cs.Mix.weigh(BASE, lots={"water": lot})
    with pytest.raises(cs.InputError, match="belong to syrups"):
        cs.Mix.weigh(BASE, lots={"sucrose": cs.Lot(dextrose_equivalent=42)})
    with pytest.raises(cs.InputError, match=r"'sorbitol'.*not in the mix"):
        cs.Mix.weigh(BASE, alternatives={"sorbitol": "polyol cycle"})
    with pytest.raises(cs.UnknownNameError, match=r"'glas'; did you mean 'glass'"):
        cs.Mix.weigh(BASE, alternatives={"sucrose": "glas"})


INGREDIENTS = [
    ({"name": " "}, "no name"),
    ({"formula": "(CH2)6"}, "brackets"),
    ({"formula": "kno3"}, "not readable"),
    ({"formula": "C0H4"}, "counts must be"),
    ({"formula": {"C": 0, "H": 4}}, "counts must be"),
    ({"formula": {"C": -1, "H": 4}}, "counts must be"),
    ({"formula": {"C": math.nan}}, "counts must be"),
    ({"density": 0.0}, "density"),
    ({"density": -1.0}, "density"),
    ({"role": "glue"}, "'glue'"),
    ({"enthalpy_of_formation": math.nan}, "finite"),
    ({"enthalpy_of_formation": math.inf}, "finite"),
]


@pytest.mark.parametrize(("change", "words"), INGREDIENTS)
def test_ingredient_that_is_none(change: dict, words: str) -> None:
    """Own ingredients are checked when they are made."""
    good = {"name": "mine", "formula": "C6H14O6", "enthalpy_of_formation": -1e6}
    cs.Ingredient(**good)
    with pytest.raises(cs.InputError, match=re.escape(words)):
        cs.Ingredient(**(good | change))
