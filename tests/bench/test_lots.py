"""Lots in a bench file: what they become, and one clear line for every fault."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from castsugar import Cook, InputError, Mix, load_database
from castsugar.bench.bench import check_bench
from castsugar.bench.kitchen import learn
from castsugar.bench.lots import LABEL_SOLIDS_UNCERTAINTY, lots_of, volume_solids

pytestmark = pytest.mark.exact

#: Invented bags and bottles.
LOTS = """\
[lots."bag A"]
ingredient = "KNO3"
assay = "99.2 %"
moisture = "0.3 %"
moisture_u = "0.05 %"
date = 2026-05-01
source = "weighed, oven 2 h at 105 C"

[lots."bottle 3"]
ingredient = "corn syrup"
solids = "80 %"
solids_u = "0.5 %"
dextrose_equivalent = 42
"""

OTHER = """
[lots."bag B"]
ingredient = "saltpeter"
"""


def found(text: str, **options):
    return lots_of(check_bench(Path("bench.toml"), text), load_database(), **options)


def test_lots_become_what_a_mix_is_weighed_of() -> None:
    """By hand: 60 g hold 0.18 g moisture and 59.82 g dry; 40 g syrup 8 g water."""
    lots = found(LOTS)
    assert set(lots) == {"potassium nitrate", "light corn syrup"}
    lot, record = lots["potassium nitrate"]
    assert (lot.assay, lot.moisture) == (0.992, 0.003)
    assert (record.name, record.date) == ("bag A", "2026-05-01")
    assert record.uncertainty == {"moisture": 0.0005}
    assert record.source == "weighed, oven 2 h at 105 C"
    mix = Mix.weigh(
        {"KNO3": 60, "corn syrup": 40}, lots={k: lot for k, (lot, _) in lots.items()}
    )
    assert mix.water_as_weighed == pytest.approx(0.0818, abs=1e-12)
    nitrate = [c for c in mix.weighed if c.ingredient.name == "potassium nitrate"]
    assert nitrate[0].mass_fraction == pytest.approx(0.5982 * 0.992, abs=1e-12)


def test_assay_is_of_the_dry_matter() -> None:
    """A certificate states assay 99.9 % of the dried salt beside 0.3 % of water.

    By hand: 100 g hold 0.3 g water and 99.7 g dry, of it 99.6003 g nitrate. Inert
    parts are of the dry matter too, those of a syrup of its dry solids.
    """
    text = LOTS.replace("99.2 %", "99.9 %")
    text = text.replace('solids_u = "0.5 %"', 'inert = "1 %"')
    lots = {item: lot for item, (lot, _) in found(text).items()}
    by_name = {}
    for c in Mix.weigh({"KNO3": 100}, lots={"KNO3": lots["potassium nitrate"]}).weighed:
        by_name[c.ingredient.name] = c.mass_fraction
    assert by_name == pytest.approx(
        {"potassium nitrate": 0.997 * 0.999, "water": 0.003, "inert matter": 0.000997}
    )
    syrup = Mix.weigh({"corn syrup": 1}, lots={"corn syrup": lots["light corn syrup"]})
    catalogue = load_database().syrups["light corn syrup"].ash_fraction
    assert syrup.inert_fraction == pytest.approx(0.8 * (0.01 + catalogue))


def test_a_date_may_be_text() -> None:
    text = LOTS.replace("2026-05-01", '"spring of 2026"')
    assert found(text)["potassium nitrate"][1].date == "spring of 2026"


@pytest.mark.parametrize(
    ("marks", "name"),
    [
        (("true", None), "bag A"),
        ((None, "true"), "bag B"),
        (("false", None), "bag B"),
        (("false", "true"), "bag B"),
        (("false", "false"), None),
    ],
)
def test_of_several_lots_the_one_in_use(marks, name) -> None:
    first, second = (f"in_use = {mark}\n" if mark else "" for mark in marks)
    text = f'[lots."bag A"]\ningredient = "KNO3"\n{first}{OTHER}{second}'
    lots = found(text)
    assert [record.name for _, record in lots.values()] == ([name] if name else [])


def test_a_wanted_lot_comes_before_the_one_in_use() -> None:
    text = LOTS.replace('"KNO3"', '"KNO3"\nin_use = true') + OTHER
    assert found(text, wanted=["bag B"])["potassium nitrate"][1].name == "bag B"


def test_doubt_about_what_the_recipe_does_not_hold_is_no_error() -> None:
    assert set(found(LOTS + OTHER, only=["light corn syrup"])) == {"light corn syrup"}


@pytest.mark.parametrize("solids", [0.6, 0.729, 0.77, 0.85])
def test_label_in_millilitres_inverts_the_density(solids) -> None:
    """1/rho = w v + (1 - w) 1.0018e-3; the label holds w rho per volume."""
    density = 1.0 / (solids * 0.6285e-3 + (1.0 - solids) * 1.0018e-3)
    assert volume_solids(solids * density, 0.6285e-3) == pytest.approx(solids, 1e-12)


def label(carbohydrate: str, serving: str, more: str = "") -> str:
    return (
        f'[lots.b]\ningredient = "corn syrup"\nlabel_carbohydrate = "{carbohydrate}"\n'
        f'label_serving = "{serving}"\n{more}'
    )


@pytest.mark.parametrize(
    ("text", "solids"),
    [
        (label("78 g", "100 g"), 0.78),
        # 30 g in 30 ml of 1.35 g/ml: 30 / 40.5
        (label("30 g", "30 ml", 'label_density = "1.35 g/ml"'), 30 / 40.5),
        # k = 1 g/ml: 1.0018 / (1 - (0.6285 - 1.0018)) = 1.0018 / 1.3733
        (label("30 g", "30 ml"), 1.0018 / 1.3733),
    ],
)
def test_label_to_solids(text, solids) -> None:
    lot, record = found(text)["light corn syrup"]
    assert lot.dry_solids == pytest.approx(solids, rel=1e-12)
    assert record.from_label
    assert record.uncertainty["solids"] == LABEL_SOLIDS_UNCERTAINTY


@pytest.mark.published
def test_label_of_the_nutrient_table() -> None:
    """USDA FoodData Central 19350 (syrups, corn, light), as read for the catalogue.

    76.8 g carbohydrate, 0.2 g ash, 22.81 g water in 100 g: the neglected ash is what
    the label misses, within its rounding.
    """
    lot, _ = found(label("76.8 g", "100 g"))["light corn syrup"]
    assert lot.dry_solids == pytest.approx(1.0 - 0.2281, abs=0.005)


BAD = [
    ('[lots."a"]\nassay = "99 %"\n', "line 1: [lots.a] ingredient is missing"),
    ('[lots.a]\ningredient = "KNO4"\n', "line 2: [lots.a] ingredient - unknown"),
    ('[lots.a]\ningredient = "KNO3"\nmoistur = "1 %"\n', "did you mean 'moisture'"),
    ('[lots.a]\ningredient = "KNO3"\nmoisture = 0.3\nsolids = "80 %"\n', "line 4"),
    ('[lots.a]\ningredient = "KNO3"\nsolids = "80 %"\n', "is no syrup; it takes assay"),
    (
        '[lots.a]\ningredient = "corn syrup"\nmoisture = "1 %"\n',
        "is a syrup; it takes solids",
    ),
    ('[lots.a]\ningredient = "corn syrup"\nsolids = "20 %"\n', "allowed 50 to 100 %"),
    ('[lots.a]\ningredient = "KNO3"\nassay = "100 %"\ninert = "1 %"\n', "exceed 1"),
    ('[lots.a]\ningredient = "KNO3"\nmoisture_u = "1 %"\n', "needs moisture"),
    ('[lots.a]\ningredient = "KNO3"\nin_use = "yes"\n', "true or false"),
    ('[lots.a]\ningredient = "KNO3"\ndate = 5\n', "must be text"),
    ('[lots]\na = "KNO3"\n', 'written [lots."a"]'),
    ("lots = 3\n", "must be a table"),
    (
        '[lots.a]\ningredient = "corn syrup"\nlabel_carbohydrate = "30 g"\n',
        "needs label_serving; give that too: label_serving = '100 g'",
    ),
    (
        '[lots.a]\ningredient = "corn syrup"\nlabel_serving = "30 g"\n',
        "needs label_carbohydrate",
    ),
    (label("30 g", "30 ml", 'solids = "80 %"'), "and solids are both given"),
    (label("30 g", "two spoons"), "write a mass or a volume"),
    (label("30 g", "0 ml"), "is 0 ml; allowed"),
    (label("30 g", "0 g"), "is 0 g; allowed"),
    (label("30 g", "31 g"), None),
    (label("30 g", "20 g"), "is 150 %; allowed 50 to 100 %; check the"),
    (label("78 g", "100 g", 'label_density = "1.4 g/ml"'), "needs a serving in ml"),
    (LOTS + OTHER, "'bag A', 'bag B' and none says in_use"),
    (
        LOTS.replace('"KNO3"', '"KNO3"\nin_use = true') + OTHER + "in_use = true\n",
        "are all in use",
    ),
    ('[scale]\nstep = "1 g"\ncapacity = "0.5 g"\n', "line 3: [scale] capacity is"),
    ('[pan]\nvolume = "0 l"\n', "line 2: [pan] volume is 0"),
    ('[pan]\nresidu_pan = "4 g"\n', "did you mean 'residue_pan'"),
    (
        '[casting]\nstrand_side = "5 mm"\nstrand_diameter = "5 mm"\n',
        "strand_side and strand_diameter are both given",
    ),
    ('[casting]\ndelay_length = "0 mm"\n', "delay_length is 0"),
]


@pytest.mark.parametrize(("text", "says"), BAD)
def test_faults_are_one_line_with_file_and_line(text, says) -> None:
    if says is None:
        assert found(text)
        return
    with pytest.raises(InputError) as caught:
        found(text)
    message = str(caught.value)
    assert message.startswith("bench.toml, line ")
    assert "\n" not in message
    assert says in message


def test_unknown_wanted_lots_are_named() -> None:
    with pytest.raises(InputError, match=r"no lot 'bag C'; it has 'bag A'"):
        found(LOTS, wanted=["bag C"])
    with pytest.raises(InputError, match="weigh from one"):
        found(LOTS + OTHER, wanted=["bag A", "bag B"])


@pytest.mark.parametrize(
    ("typed", "dry", "spread"),
    [
        ("not stated", 0.90, 0.08),
        ("above 100 um", 0.97, 0.03),
        ("20-50 um", 0.88, 0.06),
        ("milled", 0.80, 0.08),
        # 1 - exp(-0.63 x 70^0.37); the spread between those of 35 and 100 um.
        ("70 um", 0.9520, 0.0402),
        ("0.07 mm", 0.9520, 0.0402),
    ],
)
def test_the_grind_of_nitrate(typed: str, dry: float, spread: float) -> None:
    """A word or a median size; the kitchen takes it for dry powder and for fines."""
    text = LOTS.replace("assay =", f'grind = "{typed}"\nassay =')
    grind = found(text)["potassium nitrate"][1].grind
    assert grind is not None
    assert (grind.dry, grind.spread) == pytest.approx((dry, spread), abs=2e-4)
    bench = check_bench(Path("bench.toml"), text)
    learnt = learn(bench, Cook.hold(392.15, 600.0), load_database())
    belief = learnt.kitchen.belief
    assert float(belief.central().dry_packing) == pytest.approx(grind.dry)
    coarse = grind.size is not None and grind.size > 25e-6
    assert float(belief.central().fines_gain) == (0.5 if coarse else 0.0)
    assert ("fines_gain" in belief.used) == coarse


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ('"millled"', "did you mean 'milled'? allowed: not stated"),
        ('"70"', "or a median size: '70 um'"),
        ('"5 mm"', "covers 1 to 1000 um"),
        ("12", "must be text"),
    ],
)
def test_a_grind_that_is_none(typed: str, words: str) -> None:
    """File, line, what is allowed; a sugar has no grind."""
    text = LOTS.replace("assay =", f"grind = {typed}\nassay =")
    with pytest.raises(InputError, match=re.escape(words)) as caught:
        found(text)
    assert "line 3" in str(caught.value)
    with pytest.raises(InputError, match="only nitrate has"):
        found(LOTS.replace("solids = ", 'grind = "milled"\nsolids = '))
