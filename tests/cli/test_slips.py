"""Slips that a person types: one line each, which says what to do."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from castsugar.cli.main import main
from castsugar.comparison.claims import parse_claim
from castsugar.kitchen.heat import parse_cook

# Exact: exit codes; words against words; 250 F is 394.26 K by the definition of the
# degree Fahrenheit, (F + 459.67) 5/9.
pytestmark = pytest.mark.exact

STRANDS = "length (mm),time (s),{}\n50,12,100\n50,10,200\n50,9,300\n"
SHOT = "time (s),{}\n" + "".join(f"{i / 10},{i % 7}\n" for i in range(60))


@pytest.fixture(autouse=True)
def there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def line(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(words) == 2
    done = capsys.readouterr()
    assert done.out == ""
    assert done.err.count("\n") == 1
    return done.err


STAND = ["--throat", "8 mm", "--propellant-mass", "100 g"]


@pytest.mark.parametrize("name", ["book.xlsx", "book.csv"])
@pytest.mark.parametrize("first", [b"PK\x03\x04\x14\0", b"\xd0\xcf\x11\xe0\xa1\xb1"])
@pytest.mark.parametrize("words", [["burnrate"], ["firing", *STAND]])
def test_a_spreadsheet_is_no_csv(
    words: list[str], first: bytes, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path(name).write_bytes(first + bytes(200))
    said = line([words[0], name, *words[1:]], capsys)
    assert f"{name} is a spreadsheet" in said
    assert "save the sheet as CSV" in said


@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", "KNO3:60", "sugar:20", "corn", "syrup:20"],
        ["evaluate", "KNO3:60%", "sugar:40%"],
        ["compare", "KNO3:60", "sugar:20", "corn syrup:20"],
        ["kitchen", "judge", "KNO3:60", "sugar:40", "--cook", "119 C 8 min"],
        ["weigh", "KNO3:60", "sugar:40", "--batch", "200 g"],
        ["justify", "KNO3:60", "sugar:40", "KNO3:65", "sugar:35"],
        ["sweep", "KNO3:60", "sugar:40", "--vary", "KNO3"],
    ],
)
def test_a_recipe_without_quotes(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert "put the recipe in quotes" in line(words, capsys)


def test_recipes_in_quotes_and_labels_are_no_parts_of_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = ["evaluate", "KNO3:65 sucrose:35", "KNO3:1", "--no-confirm"]
    assert main(words) == 0
    assert main(["evaluate", "a=KNO3:1", "b=sucrose:1", "--no-confirm"]) == 0


@pytest.mark.parametrize("unit", ["psi", "PSI", "(psi)", "bar"])
def test_a_column_that_is_only_a_unit_is_asked_which(
    unit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = unit.strip("()").lower()
    Path("s.csv").write_text(STRANDS.format(unit), "utf-8")
    Path("f.csv").write_text(SHOT.format(unit), "utf-8")
    for words in (["burnrate", "s.csv"], ["firing", "f.csv", *STAND]):
        said = line(words, capsys)
        assert f"'pressure ({plain}g)' for gauge" in said
        assert f"'pressure ({plain}a)' for absolute" in said


def test_a_unit_that_says_its_kind_is_taken(
    capsys: pytest.CaptureFixture[str],
) -> None:
    outputs = []
    for title in ("psig", "pressure (psig)", "psia"):
        Path("s.csv").write_text(STRANDS.format(title), "utf-8")
        assert main(["burnrate", "s.csv", "--json"]) == 0
        outputs.append(json.loads(capsys.readouterr().out))
        assert outputs[-1].pop("files_read").keys() == {"s.csv"}
    assert outputs[0] == outputs[1] != outputs[2]


def test_a_second_column_of_another_sensor_is_left_alone() -> None:
    from castsugar.readings.recordings import read_trace

    rows = "".join(f"{i / 10},{i % 7},{i}\n" for i in range(60))
    Path("f.csv").write_text("time (s),pressure (psig),psi\n" + rows, "utf-8")
    assert read_trace("f.csv").pressure_unit == "psi"


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("pours better", "lower pour viscosity"),
        ("Pours  worse", "higher pour viscosity"),
        ("less pressure", "lower pressure"),
        ("more impulse", "higher specific impulse"),
        ("sets firmer", "higher set ratio"),
        ("sets softer", "lower relative solids"),
        ("burns cooler", "lower flame temperature"),
    ],
)
def test_claims_in_plain_words(said: str, meant: str) -> None:
    assert parse_claim(said) == parse_claim(meant)


@pytest.mark.parametrize(
    "text", ["250F 8 min", "250 F 8 min", "250 F for 8min", "250F 480 s"]
)
def test_a_cook_with_its_time(text: str) -> None:
    cook = parse_cook(text)
    assert cook.duration == pytest.approx(480.0)
    assert cook.pour_temperature == pytest.approx((250.0 + 459.67) * 5.0 / 9.0)


@pytest.mark.parametrize("name", ["brown sugar", "Brown-Sugar", "dark brown sugar"])
def test_brown_sugar_is_told_for_what_it_is(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = line(["evaluate", f"KNO3:60 {name}:40"], capsys)
    assert "molasses" in said
    assert "birch" not in said
