"""The bench file: what is accepted, and one clear line for what is not."""

from __future__ import annotations

from pathlib import Path

import pytest

import castsugar as cs
from castsugar.cli.measure_keys import OPTIONS
from castsugar.workshop import files
from castsugar.workshop.bench import (
    MEASUREMENTS,
    append_measurement,
    check_bench,
    read_bench,
)

pytestmark = pytest.mark.exact  # text against text

GOOD = """\
# my kitchen
[kitchen]
altitude = "300 m"   # above the sea
cook = "119 C"
minutes = 8

[kitchen.packing]
value = 0.62
spread = 0.02

[[kitchen.measured]]
kind = "pan weight"
recipe = "KNO3:60 sugar:20 corn syrup:20"
cook = "119 C"
minutes = 10
batch = "200 g"
lost = "1.4 g"

[[kitchen.measured]]
kind = "bulk density"
mass = "63 g"
volume = "50 ml"
"""

PATH = Path("bench.toml")


def test_good_file() -> None:
    """Values in SI, measurements in their order."""
    bench = check_bench(PATH, GOOD)
    assert bench.kitchen["altitude"] == pytest.approx(300.0)
    assert bench.kitchen["packing"]["spread"] == 0.02
    kinds = [m["kind"] for m in bench.kitchen["measured"]]
    assert kinds == ["pan weight", "bulk density"]
    assert bench.kitchen["measured"][0]["lost"] == pytest.approx(1.4e-3)
    assert bench.motor is None


def test_empty_file_means_nothing_measured() -> None:
    """An empty bench is a bench."""
    assert check_bench(PATH, "").kitchen["measured"] == []


BAD = [
    ("[kitchn]\n", 1, "did you mean [kitchen]"),
    ("x = 1\n", 1, "[x] is not known"),
    (GOOD.replace("altitude =", "altitud ="), 3, "did you mean 'altitude'"),
    (GOOD.replace('"300 m"', "300"), 3, "has no unit"),
    (GOOD.replace('"300 m"', '"0,3 m"'), 3, "decimal comma"),
    (GOOD.replace('"300 m"', "true"), 3, "number with its unit in quotes"),
    (GOOD.replace("minutes = 8", 'minutes = "8"'), 5, "without quotes"),
    (GOOD.replace("spread = 0.02", ""), 7, "spread is missing"),
    (GOOD.replace('kind = "pan weight"', 'kind = "pan wight"'), 12, "'pan weight'"),
    (GOOD.replace('kind = "bulk density"\n', ""), 19, "allowed: pan weight"),
    (GOOD.replace('mass = "63 g"', 'mass = "-63 g"'), 21, "below zero"),
    (GOOD.replace('mass = "63 g"', 'mas = "63 g"'), 21, "did you mean 'mass'"),
    (GOOD.replace('cook = "119 C"\nminutes = 8', "cook = 119"), 4, "text in quotes"),
    (GOOD.replace("cook =", 'air_pressure = "980 mbar"\ncook =', 1), 3, "give one"),
    ("[kitchen]\nmeasured = 3\n", 2, "[[kitchen.measured]]"),
    ("[motor]\n", 1, "throat is missing"),
]


@pytest.mark.parametrize(("text", "line", "words"), BAD)
def test_bad_file(text: str, line: int, words: str) -> None:
    """File, line, table, what was got and what is allowed, on one line."""
    for variant in (text, text.replace("\n", "\r\n")):
        with pytest.raises(cs.InputError) as caught:
            check_bench(PATH, variant)
        message = str(caught.value)
        assert words in message
        assert message.startswith(f"bench.toml, line {line}:")
        assert "\n" not in message


def test_syntax_error_names_the_line() -> None:
    """The reader's own complaint, with the file."""
    with pytest.raises(cs.InputError, match=r"bench\.toml is not valid TOML.*line 2"):
        check_bench(PATH, "[kitchen]\ncook = \n")


def test_files_that_are_none(tmp_path: Path) -> None:
    """Missing, a folder, not UTF-8, far too big: one line each."""
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe[kitchen]")
    big = tmp_path / "big.toml"
    big.write_text("#" * 5_000_000)
    for path, words in (
        (tmp_path / "none.toml", "cannot be read"),
        (tmp_path, "cannot be read"),
        (odd, "not UTF-8"),
        (big, "allowed"),
    ):
        with pytest.raises(cs.InputError, match=words):
            read_bench(path)


def test_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    """Some editors write one."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, encoding="utf-8-sig")
    assert read_bench(path).kitchen["minutes"] == 8


ENTRY = {
    "kind": "bulk density",
    "mass": "64 g",
    "volume": "50 ml",
    "note": 'quotes " and \\ and\nlines, \u00e4',
}


def test_append_keeps_every_byte_before(tmp_path: Path) -> None:
    """Comments and order stay; what was written reads back."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")
    bench = append_measurement(path, ENTRY)
    assert path.read_text("utf-8").startswith(GOOD)
    assert bench.kitchen["measured"][-1]["note"] == ENTRY["note"]
    assert read_bench(path).kitchen["measured"][2]["mass"] == pytest.approx(0.064)
    assert list(tmp_path.iterdir()) == [path]


def test_append_makes_a_file(tmp_path: Path) -> None:
    """The first measurement starts the file."""
    path = tmp_path / "new.toml"
    append_measurement(path, ENTRY)
    assert len(read_bench(path).kitchen["measured"]) == 1


def test_append_refuses_what_would_not_read_back(tmp_path: Path) -> None:
    """Nothing is written then."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")
    with pytest.raises(cs.InputError, match="is missing"):
        append_measurement(path, {"kind": "bulk density", "mass": "1 g"})
    assert path.read_text("utf-8") == GOOD


def test_append_is_whole_or_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failure at the last step leaves the old file and no other."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.Path, "replace", fail)
    with pytest.raises(cs.InputError, match="No space left"):
        append_measurement(path, ENTRY)
    assert path.read_text("utf-8") == GOOD
    assert list(tmp_path.iterdir()) == [path]


def test_options_are_the_keys_of_the_file() -> None:
    """Each measurement is asked for on the command line by the same names."""
    assert set(OPTIONS) == set(MEASUREMENTS)
    for kind, keys in MEASUREMENTS.items():
        asked = {name: required for name, required, _ in OPTIONS[kind]}
        wanted = {n: k.required for n, k in keys.items() if n != "kind"}
        assert asked == wanted, kind
