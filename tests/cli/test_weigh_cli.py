"""The weigh sheet on the command line: as a user types it, right and wrong."""

from __future__ import annotations

import csv
import io
import json
from html.parser import HTMLParser
from pathlib import Path

import pytest

from castsugar.cli.main import main

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


def test_grains_balance_and_cautions(capsys, bench) -> None:
    """Four grains below 500 g, five above: the strong caution comes with the fifth."""
    for grains, strong in ((4, False), (5, True)):
        words = ("base", "--bench", bench, "--grains", str(grains), "--delays", "2")
        found = as_json(capsys, *words)
        assert found["schema"] == "castsugar.weigh/1"
        total = found["mass_on_scale_g"]
        assert 400.0 < total < 560.0
        assert total == pytest.approx(sum(found["balance_g"].values()), abs=1e-6)
        lines = found["lines"]
        assert total == pytest.approx(sum(r["mass_to_weigh_g"] for r in lines))
        assert [p["count"] for p in found["pieces"]] == [grains, 3, 2]
        assert any("More than 500 g" in text for text in found["cautions"]) is strong
        assert any("More than 125 g of prop" in text for text in found["cautions"])
    text = ran(capsys, *words)
    assert "  >> More than 500 g" in text
    assert max(map(len, text.split("\n"))) <= 80
    assert "KNO3 from lot bag <A>: moisture 0.3 %" in text
    # more than the 300 g that the scale holds: in two halves
    nitrate = lines[-1]
    parts = [float(part) for part in nitrate["portions_g"].split(" + ")]
    assert len(parts) == 2
    assert sum(parts) == pytest.approx(nitrate["mass_to_weigh_g"], abs=1e-9)
    assert abs(parts[0] - parts[1]) < 0.11
    assert f"KNO3, in portions: {parts[0]:.1f} + {parts[1]:.1f} g." in text


def test_csv_has_one_row_a_line(capsys) -> None:
    text = ran(capsys, BASE, "--batch", "200 g", "--water-lost", "15 %", "--csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["ingredient"] for row in rows] == [
        "light corn syrup",
        "powdered sugar",
        "potassium nitrate",
    ]
    # in the pan 198.5 g: 39.7 + 1.5 in the cup, 39.7, 119.1
    assert [row["mass_to_weigh_g"] for row in rows] == ["41.2", "39.7", "119.1"]
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
    assert "weigh 41.9" in text
    assert "take 2.1 g off" in " ".join(text.split())
    out = ran(capsys, *words, "--at-most", "202 g", code=1)
    assert "Cannot be corrected: the batch would become 203.5 g" in out
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
    assert "more than you allow" in ran(capsys, *words, code=1)


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


def test_page_to_print(capsys, bench, tmp_path) -> None:
    page = tmp_path / "sheet.html"
    words = ("base", "--bench", bench, "--batch", "200 g", "--page", str(page))
    ran(capsys, *words)
    html = page.read_text("utf-8")
    reader = Reader()
    reader.feed(html)
    assert "bag <A>" in reader.text
    for text in ("actual g", "initials", "Batch and date", "Cautions", "119.1"):
        assert text in reader.text
    assert "script" not in reader.tags
    assert "Hot nitrate-sugar mixes burn people" in reader.text
    assert main(["weigh", *words]) == 2
    assert "exists already" in capsys.readouterr().err
    ran(capsys, *words, "--force")


BAD = [
    (["base", "--batch", "200 g"], "has no ':'"),
    ([BASE], "what is to be cast?"),
    ([BASE, "--grains", "4"], "needs the size of a grain"),
    ([BASE, "--batch", "200 g", "--strands", "2"], "are both given"),
    ([BASE, "--batch", "200"], "has no unit"),
    ([BASE, "--batch", "4 g"], "nothing is left to cast"),
    ([BASE, "--strands", "-2"], "--strands is -2"),
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


def test_same_input_same_bytes(capsys, bench) -> None:
    words = ("base", "--bench", bench, "--grains", "2")
    assert ran(capsys, *words) == ran(capsys, *words)


def test_a_mix_without_a_kitchen_model_keeps_its_sheet(capsys) -> None:
    """No viscosity limits it, no water is known to leave, and the page says so."""
    words = ("KNO3:65 sorbitol:35", "--batch", "200 g", "--cook", "119 C")
    text = ran(capsys, *words, "--minutes", "8")
    assert "kitchen not computed" in " ".join(text.split())
    assert "water that leaves (0 % of it)" in text


def flat(text: str) -> str:
    return " ".join(text.split())


def test_shares_are_those_of_what_is_weighed(capsys) -> None:
    """By hand, steps of 1 g, 50 g: 1.5 g stay in the cup, 48.5 g in the pan.

    60 / 20 / 20 % of it: 29.1, 9.7, 9.7 + 1.5 = 11.2; whole grams 29, 10, 11, of
    which 29, 10 and 9.5 are in the pan: 59.79, 20.62, 19.59 %.
    """
    words = (BASE, "--batch", "50 g", "--scale-step", "1 g", "--water-lost", "15 %")
    text = ran(capsys, *words)
    table = text[text.index("may be off") : text.index("together")].split("\n")
    shares = [line.split()[-4] for line in table if line[2:3].isdigit()]
    assert shares == ["19.59", "20.62", "59.79"]
    assert "'sheet' is the recipe exactly" in flat(text)
    top = text[: text.index("Where it goes")]
    assert "corn syrup: one step of the scale is 9.1 % of it" in flat(top)
    assert "finer scale" not in text[text.index("Where it goes") :].split("Mind")[0]


def test_before_heat_there_is_a_list_to_tick(capsys, bench, tmp_path) -> None:
    page = tmp_path / "sheet.html"
    words = ("base", "--bench", bench, "--batch", "200 g", "--page", str(page))
    text = flat(ran(capsys, *words))
    ticked = text.index("Before heat: tick every line")
    assert ticked < text.index("Heat comes last")
    between = text[ticked : text.index("Heat comes last")]
    assert between.count("[ ]") == 6
    for word in ("indirect electric", "second thermometer", "bucket of water"):
        assert word in between
    for word in ("face shield", "the way out", "nobody else"):
        assert word in between
    assert "what the case may hold [MPa] not stated" in text
    html = page.read_text("utf-8")
    assert "Before heat: tick every line" in html
    assert "--actual" not in html
    assert 2 * chr(0x2011) + "actual" in html


def test_the_case_stands_beside_the_pressure(capsys, tmp_path) -> None:
    """A rating is taken as it stands; the margin is (rating - 95 %) / rating."""
    path = tmp_path / "bench.toml"
    for rating, bursts in (("0.5 MPa", True), ("50 MPa", False)):
        case = f'[motor.case]\nrated_pressure = "{rating}"\n'
        path.write_text(BENCH + case, "utf-8")
        words = ("base", "--bench", str(path), "--batch", "200 g")
        found = as_json(capsys, *words)
        (mix,) = found["mixes"]
        holds = float(rating.split()[0])
        high = mix["peak_pressure_p95_MPa"]
        text = ran(capsys, *words)
        margin = f"{100.0 * (holds - high) / holds:.0f}"
        assert f"margin of the 95 % pressure [%] {margin}" in flat(text)
        top = text[: text.index("in steps of")]
        assert ("do not fire it" in flat(top.replace(">>", ""))) is bursts


def test_of_a_big_batch_taking_off_comes_first(capsys) -> None:
    """150 g instead of 119.1 make 251.5 g of 200: above 250; 125 g do not."""
    for mass, first in (("150 g", True), ("125 g", False)):
        words = (BASE, "--batch", "200 g", "--actual", f"KNO3={mass}")
        text = flat(ran(capsys, *words))
        off, add = text.index("off it again"), text.index("sheet g weighed g do g")
        assert (off < add) is first
        assert ("Rather than make so much" in text) is first


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
