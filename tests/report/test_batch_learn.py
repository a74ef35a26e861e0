"""Screens, pages and documents of `batch` and `learn`, on the example bench.

The example's batches are invented; shapes and words are checked, not numbers.
"""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import jsonschema
import pytest

import castsugar as cs
from castsugar import static_test
from castsugar.bench.example import write_example
from castsugar.cli.main import main
from castsugar.motor.firing.expectation import expect
from castsugar.records.learning import learnt
from castsugar.records.learning.checks import Inflation
from castsugar.records.learning.learnt import Forecast
from castsugar.report import batch, batch_card, batch_list, learn_data
from castsugar.report.document import schema_of
from castsugar.report.screen import STATUSES

# Exact: shapes, schemas, words; the one number is a share of water by hand.
pytestmark = pytest.mark.exact

MIX = "KNO3:60 powdered sugar:17 corn syrup:23"
ID = "2026-05-16-1"
WHERE = ["--bench", "bench.toml"]
STAND = ["--throat", "8 mm", "--throat-after", "8.2 mm", "--propellant-mass", "368 g"]
CARD = ["batch", "card", ID, "--date", "2026-05-23", *WHERE]
GRAINS = [
    *("--grain", "35.9 mm x 14.1 mm x 61.8 mm 91.2 g"),
    *("--grain", "36.0 mm x 14.0 mm x 62.1 mm 92.4 g"),
    *("--grain", "35.9 mm x 14.2 mm x 62.0 mm 90.9 g"),
    *("--grain", "35.9 mm \N{MULTIPLICATION SIGN} 14 mm x 61.7 mm  91.6 g"),
]

#: Command, document and its parts.
SCREENS = {
    "new": ["batch", "new", "base", "--batch", "200 g", *WHERE],
    "show": ["batch", "show", ID, *WHERE],
    "list": ["batch", "list", *WHERE],
    "card": [*CARD, "--mass", "366 g", "--temperature", "12 C"],
    "bad card": [*CARD, "--mass", "372 g", "--temperature", "45 C"],
    "real card": [*CARD, *GRAINS, "--temperature", "12 C", "--humidity", "40 %"],
    "learn": ["learn", *WHERE],
}
DOCUMENTS = {
    "new": ("batch_shown", batch.PARTS),
    "show": ("batch_shown", batch.PARTS),
    "list": ("batches", batch_list.PARTS),
    "card": ("batch_card", batch_card.PARTS),
    "bad card": ("batch_card", batch_card.PARTS),
    "real card": ("batch_card", batch_card.PARTS),
    "learn": ("learn", learn_data.PARTS),
}

#: Cards that the acceptance of all commands does not ask for.
CARDS = ("bad card", "real card")

#: Units that a US screen does not show, after a number.
SI = re.compile(r"\d (MPa|kPa|mm|g|kg|°C|K|m/s|N|N s)\b")

#: What the rules themselves say, and what a person typed.
ALLOWED = re.compile(
    r"(beyond|than) (125|250|500) g|beyond 320 N s|lost [\d.]+ g|sugar, 1 kg"
)


@pytest.fixture(scope="module", autouse=True)
def _example(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Make the batch of the walk-through, and close it."""
    folder = tmp_path_factory.mktemp("example")
    with contextlib.chdir(folder), pytest.MonkeyPatch.context() as patch:
        patch.setattr(static_test, "expect", partial(expect, draws=20))
        write_example(Path())
        day = ["--date", "2026-05-16", *WHERE]
        add = ["batch", "add", ID, *day]
        assert main(["batch", "new", MIX, "--batch", "485.8 g", *day]) == 0
        pan = ["--measured", "kind=pan-weight lost=4.6 g", "--grain-mass", "368 g"]
        assert main([*add, *pan, "--observe", "smooth", "--flow", "pours"]) == 0
        assert main([*add, "--strands", "strands-new.csv"]) == 0
        assert main([*add, "--firing", "shot.csv", *STAND]) == 0
        assert main(["batch", "close", ID, *day, "--outcome", "used"]) == 0
        yield


def said(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(words) == 0
    return capsys.readouterr().out


@pytest.mark.slow
@pytest.mark.parametrize("name", CARDS)
def test_a_screen(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """24 lines of 80, statuses in order, one closing line, Next last."""
    text = said([*SCREENS[name], "--units", "us"], capsys)
    lines = text.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    assert lines[-1].startswith("Next: castsugar ")
    words = [w for line in lines for w in STATUSES if line.startswith(f"{w}  ")]
    assert words == sorted(words, key=list(STATUSES).index)
    assert words
    assert sum(line.startswith("! ") for line in lines) <= 3
    assert text.count("more: castsugar cautions") == 1
    assert not SI.search(ALLOWED.sub("", text))


@pytest.mark.parametrize("name", CARDS)
@pytest.mark.slow
def test_everything_fits_and_is_whole(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--full` within 80 columns; nothing is cropped; Markdown has a title."""
    lines = said([*SCREENS[name], "--full"], capsys).splitlines()
    assert max(map(len, lines[:-1])) <= 80
    assert "…" not in "".join(lines)
    assert said([*SCREENS[name], "--markdown"], capsys).startswith("# ")


@pytest.mark.parametrize("name", CARDS)
@pytest.mark.slow
def test_a_document(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    what, parts = DOCUMENTS[name]
    document = json.loads(said([*SCREENS[name], "--json"], capsys))
    jsonschema.validate(document, schema_of(what, parts))
    assert set(parts) <= set(document)
    heads = said([*SCREENS[name], "--csv"], capsys).splitlines()[0].split(",")
    assert not [h for h in heads if h.endswith("_kg")]


@pytest.mark.slow
def test_what_was_added(capsys: pytest.CaptureFixture[str]) -> None:
    new = said([*SCREENS["new"], "--date", "2026-06-01", "--json"], capsys)
    words = ["batch", "add", json.loads(new)["id"], "--observe", "pale", *WHERE]
    document = json.loads(said([*words, "--json"], capsys))
    jsonschema.validate(document, schema_of("batch_added", batch.ADDED_PARTS))
    assert document["events"][0]["text"] == "pale"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["new", "show", "card", "real card", "learn"])
def test_a_page(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Boxes to tick and blanks to fill in, and a place for the signature."""
    path = Path(f"{name}.html")
    said([*SCREENS[name], "--page", str(path), "--units", "us"], capsys)
    page = path.read_text("utf-8")
    told = re.sub(r"<style>.*?</style>", "", page, flags=re.S)
    assert not SI.search(ALLOWED.sub("", re.sub(r"<[^>]+>", " ", told)))
    assert ("signature" in page) is (name != "learn")
    assert ("<svg" in page) is (name == "learn")
    if name == "new":
        assert page.count('class="box"') == 3
        for blank in ("cup empty, oz", "pan scraped, oz", "bulk at the pour, °F"):
            assert f"<dt>{blank}</dt>" in page
        assert page.count("as cast, oz") == 4  # grains of the example's motor


@pytest.mark.slow
def test_bands_that_are_too_narrow_are_said(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line where a factor is above 1; every factor in the full answer and JSON."""
    found = tuple(
        Inflation(quantity=quantity, count=n, factor=factor)
        for quantity, n, factor in (("water lost", 5, 1.437), ("strand rate", 3, 1.0))
    )
    monkeypatch.setattr(learnt, "inflations", lambda _: found)
    text = said(SCREENS["learn"], capsys)
    assert "CAUTION      Uncertainties were stated too small: water lost x 1.4." in text
    assert "strand rate x" not in text
    rows = said([*SCREENS["learn"], "--full"], capsys).splitlines()
    assert [line.split()[-4:] for line in rows if " x 1." in line][1:] == [
        ["lost", "5", "x", "1.4"],
        ["rate", "3", "x", "1.0"],
    ]
    document = json.loads(said([*SCREENS["learn"], "--json"], capsys))
    assert [f["factor"] for f in document["inflation_factors"]] == [1.437, 1.0]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("by_rate", "now", "words"),
    [
        (4.24e6, 4.24e6, "now predicted 4.24: the rest"),
        (3.90e6, 3.70e6, "now predicted 3.70: the rest"),
        (
            4.24e6,
            4.05e6,
            "now predicted 4.05 (to 4.24 by the burning rate, from there by c*): the",
        ),
    ],
)
def test_a_forecast_says_what_moved_it(
    by_rate: float,
    now: float,
    words: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where rate and c* both moved it, each says by how much."""
    found = Forecast(
        batch=ID,
        file="shot.csv",
        predicted=3.9e6,
        by_rate=by_rate,
        now=now,
        measured=4.49e6,
    )
    monkeypatch.setattr(learnt, "forecasts_of", lambda *_: (found,))
    text = " ".join(said(SCREENS["learn"], capsys).split())
    assert f"CHANGES {ID}, MPa: peak predicted 3.90, measured 4.49, {words}" in text


@pytest.mark.slow
def test_a_forecast_moves_towards_its_firing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """With the c* efficiency held it ends between the old one and the firing."""
    document = json.loads(said([*SCREENS["learn"], "--json"], capsys))
    (row,) = document["forecasts"]
    before, by_rate, measured = (
        row[f"{key}_MPa"] for key in ("predicted", "by_rate", "measured")
    )
    assert measured < by_rate < before


@pytest.mark.slow
def test_the_card_forbids(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 372 - 368 = 4 g gained; 0.2 % of 368 g is 0.736 g, the scale adds less.

    The strands were burned at 20 °C: 45 °C is 25 K away.
    """
    text = " ".join(said(SCREENS["bad card"], capsys).split())
    assert (
        "DO NOT fire: the grains gained 4.00 g (368.0 g as cast, 372.0 g now)" in text
    )
    assert "DO NOT fire: grains at 45.0 °C; strands were burned" in text
    quiet = [*CARD, "--mass", "368.2 g", "--temperature", "20 C", "--humidity", "40 %"]
    text = said(quiet, capsys)
    assert "DO NOT" not in text
    assert text.count("CAUTION") == 1
    assert "This batch was closed as used" in text


@pytest.mark.slow
def test_the_card_of_real_grains(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 91.2 g over pi/4 (35.9^2 - 14.1^2) 61.8 mm3 is 1724 kg/m3.

    Largest areas pi (d L + (D^2 - d^2)/2 + (L - 2 d)^2/6) over 16 pi mm2: 402.
    """
    document = json.loads(said([*SCREENS["real card"], "--json"], capsys))
    first, *_ = document["grains"]
    assert first["density_kg_m3"] == pytest.approx(1724.0, abs=0.5)
    low, high = first["density_ratio_percent_interval"]
    assert low < first["density_ratio_percent"] < high
    both = first["voids_percent"] + first["density_ratio_percent"]
    assert both == pytest.approx(100.0)
    sizes = (35.9, 14.1, 61.8), (36.0, 14.0, 62.1), (35.9, 14.2, 62.0), (35.9, 14, 61.7)
    areas = (d * x + (o**2 - d**2) / 2 + (x - 2 * d) ** 2 / 6 for o, d, x in sizes)
    assert document["kn_max"] == pytest.approx(sum(areas) / 16.0, rel=1e-4)
    share, low, high = document["density_ratio_percent"]
    assert low < share < high
    text = " ".join(said(SCREENS["real card"], capsys).split())
    assert "4 grains: 95.27 % of theoretical density (94.59 to 95.96)" in text
    assert "peak pressure p95 of this batch" in text
    assert "DO NOT" not in text
    full = said([*SCREENS["real card"], "--full"], capsys)
    assert "95.2 (93.9 to 96.6)" in full


@pytest.mark.slow
def test_the_card_refuses_real_grains(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 86 g over pi/4 (35.9^2 - 14^2) 62 mm3 is 1616 of 1808 kg/m3."""
    light = [w.replace("90.9 g", "86 g").replace("14.2 mm", "14 mm") for w in GRAINS]
    text = " ".join(said([*CARD, *light], capsys).split())
    assert "DO NOT fire: grain 3 has 10.6 % voids, 10.0 % are allowed: above 10" in text
    assert "DO NOT fire: grain 3 is 6.3" in text
    text = " ".join(said([*CARD, *GRAINS[:6]], capsys).split())
    assert "DO NOT fire: 3 grains measured, and the motor has 4 segments" in text
    # A pressure of other grains than are fired would mislead.
    assert "peak pressure expected" not in text
    assert "CANNOT TELL" in text


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["--grain", "36 mm x 14 mm x 62 mm"], "OUTER x CORE x LENGTH MASS; write"),
        (["--grain", "36 mm x 62 mm 91 g"], "OUTER x CORE x LENGTH MASS; write"),
        (["--grain", ""], "OUTER x CORE x LENGTH MASS; write"),
        (["--grain", "36 x 14 mm x 62 mm 91 g"], "outer diameter: length '36' has no"),
        (["--grain", "36 mm x 14 mm x 62 mm 91"], "propellant mass: mass '91' has no"),
        (["--grain", "14 mm x 36 mm x 62 mm 91 g"], "the core is 36 mm, the grain onl"),
        ([*GRAINS, "--mass", "366 g"], "--mass and --grain both weigh the grains"),
        ([*GRAINS, "--grain-uncertainty", "6 mm"], "allowed 0 to 5 mm"),
        (GRAINS[:2], "the grains weigh 91.2 g today, and weighed 368 g when cast"),
        (
            ["--cast-mass", "99 g", "--grain", "36 mm x 14 mm x 62 mm 99 g"],
            "would be 1",
        ),
        (["--mass", "366"], "has no unit"),
        (["--mass", "36 g"], "not the same grains"),
        (["--temperature", "12"], "has no unit"),
        (["--date", "2026-05-01"], "was made on"),
        (["--humidity", "120 %"], "--humidity"),
        (["--uptake", "50 %"], "--uptake"),
    ],
)
def test_a_wrong_card(
    words: list[str], what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main([*CARD, *words]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert what in printed.err
    assert printed.err.count("\n") == 1


@pytest.mark.slow
def test_grains_weigh_no_more_than_the_pan(
    capsys: pytest.CaptureFixture[str],
) -> None:
    new = said([*SCREENS["new"], "--date", "2026-06-02", "--json"], capsys)
    words = ["batch", "add", json.loads(new)["id"], "--grain-mass", "300 g", *WHERE]
    assert main(words) == 2
    assert "had only 198.5 g in the pan" in capsys.readouterr().err


@pytest.mark.slow
def test_what_python_prints_is_short() -> None:
    (first, *_), _ = cs.records.read_batches(Path("batches"))
    assert repr(first).startswith(f"Batch({ID}, used: KNO3:60")
    assert len(repr(first)) < 120
