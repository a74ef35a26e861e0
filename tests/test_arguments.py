"""What Python callers hand over: mixes in any form, numbers, options."""

from __future__ import annotations

import numpy as np
import pytest

import castsugar as cs
from castsugar import measuring

# Exact: the same mix in three forms is the same mix; wrong types are refused as every
# other bad input (design 3: what, got, allowed, do).
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
    assert table["flame_temperature_K"].nunique() == 1
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
    by_text = measuring.pan_weight(SYRUP, COOK, **options)
    by_mix = measuring.pan_weight(cs.Mix.weigh(SYRUP), COOK, **options)
    assert (by_text.observed, by_text.spread) == (by_mix.observed, by_mix.spread)
    assert measuring.viscosity_band(KITCHEN, SYRUP) == measuring.viscosity_band(
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
    ([b"KNO3:65"], "mix 1 is b'KNO3:65'; give a Mix"),
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
