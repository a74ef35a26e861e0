"""The weigh sheet on the command line: as a user types it, right and wrong."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import pytest

from castsugar.cli.main import main
from castsugar.report.document import schema_of
from castsugar.report.weigh_data import PARTS

pytestmark = pytest.mark.exact

BASE = "KNO3:60 powdered sugar:20 corn syrup:20"

#: An invented club's workshop: no real motor, bag or pan.
BENCH = f"""\
[recipes]
"base" = "{BASE}"
[scale]
step = "0.1 g"
capacity = "300 g"
[pan]
volume = "1.5 l"
residue_cup = "1.5 g"
residue_pan = "4 g"
[casting]
delay_diameter = "16 mm"
delay_length = "30 mm"
[lots."bag <A>"]
ingredient = "KNO3"
moisture = "0.3 %"
moisture_u = "0.05 %"
date = 2026-05-01
source = "weighed, oven 2 h at 105 C"
[lots."bag B"]
ingredient = "KNO3"
in_use = false
[kitchen]
cook = "119 C"
minutes = 8
[motor]
throat = "10 mm"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
segments = 4
[[motor.burn_law]]
recipe = "{BASE}"
rate = "3.6 mm/s"
pressure = "2 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.05
"""


@pytest.fixture
def bench(tmp_path: Path) -> str:
    path = tmp_path / "bench.toml"
    path.write_text(BENCH, encoding="utf-8")
    return str(path)


def ran(capsys, *words, code=0):
    assert main(["weigh", *words]) == code
    return capsys.readouterr().out


def as_json(capsys, *words, code=0):
    return json.loads(ran(capsys, *words, "--json", code=code))


@pytest.mark.slow
def test_grains_balance_and_cautions(capsys, bench) -> None:
    """Four grains below 500 g, five above: the strong caution comes with the fifth."""
    for grains, strong in ((4, False), (5, True)):
        words = ("base", "--bench", bench, "--grains", str(grains), "--delays", "2")
        found = as_json(capsys, *words)
        assert found["schema"] == "castsugar.weigh/2"
        total = found["mass_on_scale_g"]
        assert 400.0 < total < 560.0
        assert total == pytest.approx(sum(found["balance_g"].values()), abs=1e-6)
        lines = found["lines"]
        assert total == pytest.approx(sum(r["mass_to_weigh_g"] for r in lines))
        assert [p["count"] for p in found["pieces"]] == [grains, 3, 2]
        assert any("More than 500 g" in text for text in found["cautions"]) is strong
        assert any("More than 125 g of prop" in text for text in found["cautions"])
    assert found["findings"][0]["status"] == "DO NOT"
    assert found["findings"][0]["values"]["limit_g"] == 500.0
    text = ran(capsys, *words, "--full")
    assert any(line.startswith("DO NOT") for line in text.split("\n")[1:3])
    assert max(map(len, text.split("\n")[:-2])) <= 80  # but for Next
    assert "KNO3: bag <A>: 0.3 % moisture, weighed, oven" in text
    # more than the 300 g that the scale holds: in two halves
    nitrate = lines[-1]
    parts = [float(part) for part in nitrate["portions_g"].split(" + ")]
    assert len(parts) == 2
    assert sum(parts) == pytest.approx(nitrate["mass_to_weigh_g"], abs=1e-9)
    assert abs(parts[0] - parts[1]) < 0.11
    assert f"KNO3  {parts[0]:.1f} g + {parts[1]:.1f} g" in text


def test_csv_has_one_row_a_line(capsys) -> None:
    text = ran(capsys, BASE, "--batch", "200 g", "--water-lost", "15 %", "--csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["ingredient"] for row in rows] == [
        "light corn syrup",
        "powdered sugar",
        "potassium nitrate",
    ]
    # in the pan 198.5 g: 39.7 + 1.5 in the cup, 39.7, 119.1
    masses = [float(row["mass_to_weigh_g"]) for row in rows]
    assert masses == [41.2, 39.7, 119.1]
    assert [row["actual_g"] for row in rows] == ["", "", ""]


def test_corrections(capsys) -> None:
    """121.2 g KNO3 is 202 g in the pan: 40.4 sugar, 40.4 + 1.5 syrup."""
    words = (BASE, "--batch", "200 g", "--actual", "KNO3=121.2 g")
    found = as_json(capsys, *words)
    assert [row["in_the_end_g"] for row in found["lines"]] == [41.9, 40.4, 121.2]
    assert found["correction"]["or_take_off"] == {
        "ingredient": "potassium nitrate",
        "mass_g": 2.1,
    }
    text = ran(capsys, *words)
    assert "weigh 41.9 g" in text
    assert "take 2.1 g off" in flat(text)
    out = ran(capsys, *words, "--at-most", "202 g", code=1)
    assert "Cannot be corrected: the batch would become 203.5 g" in flat(out)
    every = ("--actual", "powdered sugar=39.7 g", "--actual", "corn syrup=41.2 g")
    found = as_json(capsys, *words, *every)
    assert found["correction"]["every_line_weighed"]
    assert [row["to_add_g"] for row in found["lines"]] == [0.7, 0.7, 0.0]
    assert [row["name"] for row in found["mixes"]] == [
        "sheet",
        "as weighed",
        "corrected",
    ]


def test_a_sheet_above_what_is_allowed_is_no(capsys, bench) -> None:
    words = ("base", "--bench", bench, "--grains", "4", "--at-most", "300 g")
    assert "more than the 300 g that you allow" in flat(ran(capsys, *words, code=1))


@pytest.mark.slow
def test_lot_on_demand(capsys, bench) -> None:
    words = ("base", "--bench", bench, "--batch", "200 g")
    for wanted, name in ((), "bag <A>"), (("--lot", "bag B"), "bag B"):
        found = as_json(capsys, *words, *wanted)
        assert [lot["name"] for lot in found["lots"]] == [name]


class Reader(HTMLParser):
    """Collects text and tags."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)

    def handle_data(self, data) -> None:
        self.text += data


@pytest.mark.slow
def test_page_to_print(capsys, bench, tmp_path) -> None:
    page = tmp_path / "sheet.html"
    words = ("base", "--bench", bench, "--batch", "200 g", "--page", str(page))
    ran(capsys, *words)
    html = page.read_text("utf-8")
    reader = Reader()
    reader.feed(html)
    assert "bag <A>" in reader.text
    for text in ("scale showed", "signature", "Ready to pour", "119.1 g"):
        assert text in reader.text
    assert "script" not in reader.tags
    assert "[ ]" not in reader.text
    assert "Hot mixes burn people and houses" in reader.text
    assert main(["weigh", *words]) == 2
    assert "exists already" in capsys.readouterr().err
    ran(capsys, *words, "--force")


BAD = [
    (["base", "--batch", "200 g"], "has no ':'"),
    ([BASE], "what is to be cast?"),
    ([BASE, "--grains", "4"], "needs the size of a grain"),
    ([BASE, "--grains", "9" * 400], "a number of 400 digits; allowed 0 to 10000"),
    ([BASE, "--batch", "200 g", "--strands", "2"], "are both given"),
    ([BASE, "--batch", "200"], "has no unit"),
    ([BASE, "--batch", "4 g"], "nothing is left to cast"),
    ([BASE, "--strands", "-2"], "--strands is -2"),
    ([BASE, "--batch", "200 g", "--pans", "0"], "--pans is 0"),
    ([BASE, "--batch", "10 g", "--pans", "2"], "nothing is left to cast"),
    ([BASE, "--batch", "200 g", "--actual", "KNO3"], "NAME=MASS"),
    ([BASE, "--batch", "200 g", "--actual", "KNO3=12"], "has no unit"),
    ([BASE, "--batch", "200 g", "--actual", "sucrose=12 g"], "not in the recipe"),
    ([BASE, "--batch", "200 g", "--actual", "KNO3=0 g"], "is 0 g; allowed"),
    (
        [BASE, *("--batch", "200 g", "--actual", "KNO3=1 g", "--actual", "niter=1 g")],
        "names 'KNO3' twice",
    ),
    ([BASE, "--batch", "200 g", "--lot", "bag"], "needs --bench"),
    ([BASE, "--batch", "200 g", "--scale-step", "0 g"], "is 0 g; allowed"),
    ([BASE, "--batch", "200 g", "--minutes", "8"], "--minutes needs --cook"),
    ([BASE, "--batch", "200 g", "--water-lost", "2"], "above 1"),
    ([BASE, "--batch", "200 g", "--pressure", "1000"], "has no unit"),
    ([BASE, "--batch", "200 g", "--bench", "none.toml"], "cannot be read"),
    ([BASE, "--batch", "200 g", "--bench", ""], "--bench is empty"),
    (["KNO3:60 aluminium:40", "--batch", "200 g"], "aluminium"),
    (["KNO3:1000 sucrose:1", "--batch", "20 g"], "less than a step"),
]


@pytest.mark.parametrize(("words", "says"), BAD)
def test_bad_input_is_one_line(capsys, words, says) -> None:
    assert main(["weigh", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert says in captured.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["bse"], "did you mean 'base'"),
        (["base", "--lot", "bag C"], "has no lot 'bag C'"),
        (["sucrose:1 dextrose:1", "--lot", "bag B"], "the recipe does not hold"),
        (["base", "--grains", "2"], "are both given"),
    ],
)
def test_bad_input_with_a_bench(capsys, bench, words, says) -> None:
    assert main(["weigh", *words, "--bench", bench, "--batch", "200 g"]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.slow
def test_same_input_same_bytes(capsys, bench) -> None:
    words = ("base", "--bench", bench, "--grains", "2")
    assert ran(capsys, *words) == ran(capsys, *words)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_a_mix_without_a_kitchen_model_keeps_its_sheet(capsys) -> None:
    """No viscosity limits it, no water is known to leave, and the screen says so."""
    words = ("KNO3:65 xylitol:35", "--batch", "200 g", "--cook", "119 C")
    text = flat(ran(capsys, *words, "--minutes", "8", "--full"))
    assert "kitchen not computed" in text
    assert "no model of this mix, so none is counted" in text


def test_coarse_lines_are_a_caution(capsys) -> None:
    """By hand, steps of 1 g, 50 g: 1.5 g stay in the cup, 48.5 g in the pan.

    60 / 20 / 20 % of it: 29.1, 9.7, 9.7 + 1.5 = 11.2; whole grams 29, 10, 11.
    """
    words = (BASE, "--batch", "50 g", "--scale-step", "1 g", "--water-lost", "15 %")
    text = ran(capsys, *words)
    rows = [line.split() for line in text.split("\n") if line[:3] in ("1  ", "3  ")]
    assert [row[-5] for row in rows] == ["11", "29"]
    assert "Corn syrup: one step of the scale is 9.1 % of it" in flat(text)


def test_pans_are_computed_anew(capsys) -> None:
    """By hand: of 200 g cast in two pans each keeps its own 1.5 g and 4 g.

    Water stays: a pan of 203.5 g casts 198 g; two pans of 104.5 g cast 99 g each.
    """
    one = as_json(capsys, BASE, "--batch", "203.5 g")
    two = as_json(capsys, BASE, "--batch", "209 g", "--pans", "2")
    assert one["mass_castable_g"] == pytest.approx(198.0)
    assert (two["pans"], two["mass_on_scale_g"]) == (2, 104.5)
    assert two["mass_castable_g"] == pytest.approx(99.0)
    assert "one of 2 pans alike: 209.0 g together" in ran(
        capsys, BASE, "--batch", "209 g", "--pans", "2"
    )


@pytest.mark.slow
def test_pieces_are_shared_by_the_pans(capsys, bench) -> None:
    """Half of what one pan casts, and once more what stays in cup and pan."""
    words = ("base", "--bench", bench, "--grains", "4", "--strands", "3")
    one, two = (as_json(capsys, *words, "--pans", n) for n in "12")
    assert two["balance_g"]["2 grains"] == pytest.approx(
        0.5 * one["balance_g"]["4 grains"], rel=1e-9
    )
    assert "1/2 of 3 strands" in two["balance_g"]
    shared = 1.0 - one["water_leaves_g"] / one["mass_in_pan_g"]
    more = 1.5 + 4.0 / shared  # of every pan, by hand
    gained = 2.0 * two["mass_on_scale_g"] - one["mass_on_scale_g"]
    assert gained == pytest.approx(more, abs=0.31)  # steps of 0.1 g, rounded up


@pytest.mark.slow
@pytest.mark.parametrize("what", [("--grains", "5"), ("--batch", "500 g")])
def test_the_advice_on_pans_is_enough(capsys, bench, what) -> None:
    """As many pans as the finding says keep each at 250 g or below; fewer do not.

    By hand: a batch of 500 g is two pans of just 250 g.
    """
    words = ("base", "--bench", bench, *what)
    said = flat(ran(capsys, *words))
    pans = int(said.partition(" pans (--pans ")[2].partition(")")[0])
    assert as_json(capsys, *words, "--pans", str(pans))["mass_on_scale_g"] <= 250.0
    assert as_json(capsys, *words, "--pans", str(pans - 1))["mass_on_scale_g"] > 250.0


def test_ounces_stand_in_steps_of_the_scale(capsys) -> None:
    """By hand: 7 oz in steps of 0.05 oz, no syrup; 60 % are 4.20 oz, 40 % 2.80 oz."""
    words = ("KNO3:60 sucrose:40", "--batch", "7 oz", "--scale-step", "0.05 oz")
    text = flat(ran(capsys, *words, "--units", "us"))
    for mass in ("1 sucrose 2.80 oz", "2 KNO3 4.20 oz", "together 7.00 oz"):
        assert mass in text
    # A scale of grams is read in grams: they head the column, for nothing is converted.
    other = ran(capsys, "KNO3:60 sucrose:40", "--batch", "200 g", "--units", "us")
    rows = [line.split() for line in other.split("\n")]
    assert ["1", "sucrose", "80.0", "±", "1.6"] in rows
    assert ["in", "this", "order", "g", "g"] in rows


@pytest.mark.slow
def test_the_screen_is_24_lines_of_80(capsys, tmp_path, monkeypatch) -> None:
    """On the example, as it is and corrected: statuses first, then table and ticks."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    capsys.readouterr()
    cast = ("--grains", "4", "--strands", "8", "--delays", "2")
    for words in (cast, ("--batch", "200 g", "--actual", "KNO3=121 g")):
        lines = ran(capsys, "base", *words, "--units", "us").rstrip("\n").split("\n")
        assert len(lines) <= 24
        assert max(len(line) for line in lines[:-1]) <= 80
        assert lines[0].endswith("(bench.toml)")
        assert lines[1].startswith("EXAMPLE")
        assert lines[2].startswith("BROKEN")
        assert sum(line.startswith("! ") for line in lines) <= 3
        assert lines[-2].endswith(" more: castsugar cautions")
        assert lines[-1].startswith("Next: castsugar ")
        text = " ".join(lines).replace("beyond 125 g", "").replace("sugar, 1 kg", "")
        assert not re.search(r"\d (MPa|kPa|mm|g|kg|°C|K|m/s|N|N s)\b", text)


@pytest.mark.slow
def test_the_mix_is_that_of_evaluate(capsys, tmp_path, monkeypatch) -> None:
    """Two commands, one value: nothing but the second solver differs."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    capsys.readouterr()
    (mine,) = as_json(capsys, "base", "--batch", "200 g")["mixes"]
    assert main(["evaluate", "base", "--no-confirm", "--json"]) == 0
    (other,) = json.loads(capsys.readouterr().out)["mixes"]
    for key in (
        "characteristic_velocity_m_s",
        "specific_impulse_s",
        "density_impulse_kg_s_m3",
        "flame_temperature_K",
        "pour_viscosity_Pa_s",
        "pours_probability",
        "peak_pressure_MPa",
        "peak_pressure_p95_MPa",
        "pressure_margin_percent",
    ):
        assert mine[key] == pytest.approx(other[key], rel=1e-9), key


@pytest.mark.slow
def test_the_document_is_as_its_schema_says(capsys, bench) -> None:
    words = ("base", "--bench", bench, "--batch", "200 g", "--actual", "KNO3=121 g")
    found = as_json(capsys, *words)
    jsonschema.validate(found, schema_of("weigh", PARTS))
    low, high = found["water_leaves_g_interval"]
    assert low < found["water_leaves_g"] < high


def test_before_heat_there_is_a_list_to_tick(capsys, bench, tmp_path) -> None:
    page = tmp_path / "sheet.html"
    words = ("base", "--bench", bench, "--batch", "200 g", "--page", str(page))
    text = ran(capsys, *words)
    assert flat(text).partition("Before heat")[2].count("[ ]") == 6
    html = page.read_text("utf-8")
    ticks = html[html.index('class="ticks"') : html.index('class="blanks"')]
    assert ticks.count("<li>") == 8
    for word in ("electric heat", "second thermometer", "Water within reach"):
        assert word in ticks


@pytest.mark.slow
def test_ready_to_pour(capsys, bench) -> None:
    """The pan at the pour: its start less the water that leaves, with its band."""
    words = ("base", "--bench", bench, "--batch", "200 g")
    found = as_json(capsys, *words)
    left = found["mass_in_pan_g"] - found["water_leaves_g"]
    low, high = (found["mass_in_pan_g"] - x for x in found["water_leaves_g_interval"])
    text = flat(ran(capsys, *words, "--full"))
    assert f"{left:.1f} g ({high:.1f} to {low:.1f})" in text
    assert text.count("common practice, no source") >= 3


@pytest.mark.slow
def test_the_case_stands_beside_the_pressure(capsys, tmp_path) -> None:
    """A rating is taken as it stands; the margin is (rating - 95 %) / rating."""
    path = tmp_path / "bench.toml"
    for rating, bursts in (("0.5 MPa", True), ("50 MPa", False)):
        case = f'[motor.case]\nrated_pressure = "{rating}"\n'
        path.write_text(BENCH + case, "utf-8")
        words = ("base", "--bench", str(path), "--batch", "200 g")
        found = as_json(capsys, *words)
        (limit,) = found["limits"]
        holds = float(rating.split()[0])
        high = found["mixes"][0]["peak_pressure_p95_MPa"]
        assert limit["judged"] == pytest.approx(high, rel=1e-9)
        assert limit["margin_percent"] == pytest.approx(100 * (holds - high) / holds)
        assert (found["findings"][0]["status"] == "DO NOT") is bursts


def test_of_a_big_batch_taking_off_comes_first(capsys) -> None:
    """150 g instead of 119.1 make 251.5 g of 200: above 250; 125 g do not."""
    for mass, first in (("150 g", True), ("125 g", False)):
        words = (BASE, "--batch", "200 g", "--actual", f"KNO3={mass}")
        text = flat(ran(capsys, *words))
        off, add = text.index("off it and ask again"), text.index("are on the scale")
        assert (off < add) is first
        assert ("Take off rather than make so much" in text) is first


def test_nothing_weighed_is_no_batch_and_no_line(capsys) -> None:
    for words, said in (
        (("--batch", "0 g"), "--batch is 0 g; allowed 0.1 to 10000 g"),
        (
            ("--batch", "9 g", "--actual", "KNO3=0 g"),
            "is 0 g; allowed 0.0001 to 10000 g",
        ),
    ):
        assert main(["weigh", BASE, *words]) == 2
        assert said in capsys.readouterr().err
