"""A record is recomputed: the same, tampered with, of elsewhere, or no record."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from castsugar.cli.audit import COMPUTING, words_of
from castsugar.cli.auditing import differences, told_in
from castsugar.cli.main import main
from castsugar.cli.output import command_text
from castsugar.errors import InputError

# Exact: what was changed in a record is what is found.
pytestmark = pytest.mark.exact

ASKED = "evaluate 'KNO3:65 sucrose:35' --no-confirm --pressure '6.9 MPa'"

Write = Callable[..., str]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return a record of one mix, without a bench."""
    file = tmp_path_factory.mktemp("record") / "record.json"
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(file.parent)
        assert main([*shlex.split(ASKED), "--json", "-o", file.name]) == 0
    found: dict[str, Any] = json.loads(file.read_text("utf-8"))
    return found


@pytest.fixture
def write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, made: dict[str, Any]
) -> Write:
    """Return what writes a changed record into the folder that we are in."""
    monkeypatch.chdir(tmp_path)

    def one(**changed: Any) -> str:
        text = json.dumps(made | changed)
        (tmp_path / "record.json").write_text(text, "utf-8")
        return "record.json"

    return one


def said(capsys: pytest.CaptureFixture[str], code: int, *words: str) -> str:
    """Audit, and return all that was printed, on one line."""
    capsys.readouterr()
    assert main(["audit", *words]) == code
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    if code == 2:
        assert told.out == ""
        assert len(told.err.splitlines()) == 1
    return " ".join((told.out + told.err).split())


def test_same(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    """A record that nobody touched is the same, and says how much was compared."""
    told = said(capsys, 0, write())
    document = json.loads(Path("record.json").read_text("utf-8"))
    found = [*told_in(document).values()]
    count, words = (sum(isinstance(x, kind) for x in found) for kind in (float, str))
    assert (count > 30, words > 10) == (True, True)
    assert f"same: all {count} numbers, in ten digits, and all {words} words" in told
    assert "ANOTHER" not in told


def test_tampered(
    write: Write, made: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """The place, both values and the change; the largest first; exit code 1."""
    mixes = json.loads(json.dumps(made["mixes"]))
    true = mixes[0]["characteristic_velocity_m_s"]
    mixes[0]["characteristic_velocity_m_s"] = true * 1.0002
    mixes[0]["density_kg_m3"] *= 1.00001
    told = said(capsys, 1, write(mixes=mixes))
    place = "mixes[0].characteristic_velocity_m_s"
    assert "differs: 2 of " in told
    assert f"largest: {place} {true * 1.0002:.10g} now {true:.10g} (-0.02 %)" in told
    found = json.loads(_json(capsys, "record.json"))
    assert found["same"] is False
    assert found["differing"][0]["place"] == place
    assert found["differing"][0]["now"] == true


def test_a_verdict_in_other_words(
    write: Write, made: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """A word that was changed is said before any number; sentences are not compared."""
    mixes = json.loads(json.dumps(made["mixes"]))
    mixes[0]["status"] = "cold"
    mixes[0]["density_kg_m3"] *= 2.0
    told = said(capsys, 1, write(mixes=mixes, assumptions=["none"]))
    word, number = "words; first: mixes[0].status cold now ok.", "numbers; largest: "
    assert told.index(word) < told.index(number)
    found = json.loads(_json(capsys, "record.json"))
    assert [one["place"] for one in found["differing"]] == ["mixes[0].density_kg_m3"]
    assert found["differing_words"] == [
        {"place": "mixes[0].status", "was": "cold", "now": "ok"}
    ]


def test_another_version_is_said_first(
    write: Write, made: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """In the title, and what of it; the same numbers are the same all the same."""
    record = write(versions=made["versions"] | {"castsugar": "0.1.0", "cantera": "3.1"})
    capsys.readouterr()
    assert main(["audit", record]) == 0
    first, *more = capsys.readouterr().out.splitlines()
    assert "ANOTHER VERSION" in first
    title = f"{first} {more[0]}"
    ours = made["versions"]
    assert "ANOTHER VERSION: castsugar 0.1.0, here " + ours["castsugar"] in title
    assert "cantera 3.1, here " + ours["cantera"] in title
    assert len(json.loads(_json(capsys, record))["other_versions"]) == 2


def _json(capsys: pytest.CaptureFixture[str], record: str) -> str:
    capsys.readouterr()
    main(["audit", record, "--json"])
    return capsys.readouterr().out


def test_the_last_digit_is_the_machine_s() -> None:
    """One unit of the tenth digit is the same number, two are not."""
    # Exact: of 920.8123456 the tenth digit is 1e-7.
    one = {"schema": "s", "x": 920.8123456}
    assert differences(one, {"schema": "s", "x": 920.8123457})[0] == ()
    assert len(differences(one, {"schema": "s", "x": 920.8123458})[0]) == 1


def test_a_number_that_is_gone_differs() -> None:
    """Null for a number, a key more, a key less: each is a difference."""
    was = {"schema": "s", "x": 1.0, "y": [1, 2], "flag": True, "name": "1"}
    now = {"schema": "s", "x": None, "y": [1], "z": 3.0, "flag": False, "name": "2"}
    found, count, words = differences(was, now)
    assert {one.place for one in found} == {"x", "y[1]", "z", "flag", "name"}
    assert (count, words) == (4, 2)
    with pytest.raises(InputError, match="its command makes t"):
        differences(was, now | {"schema": "t"})


REFUSED = {
    "another tool's": ({"schema": "other/2"}, "no record of castsugar"),
    "no schema": ({"schema": None}, "no record of castsugar"),
    "an older document": ({"schema": "castsugar.evaluate/1"}, "audits castsugar.eval"),
    "a newer version": (
        {"versions": {"castsugar": "99.1.0"}},
        "made by castsugar 99.1.0, this is",
    ),
    "no version": ({"versions": {}}, "does not say which castsugar"),
    "no command": ({"command": None}, "does not say the command"),
    "no castsugar": ({"command": "rm -r ."}, "none that is recomputed"),
    "writes a bench": ({"command": "castsugar init ."}, "none that is recomputed"),
    "writes a batch": ({"command": "castsugar batch list"}, "none that is recomputed"),
    "audits itself": (
        {"command": "castsugar audit record.json"},
        "none that is recomputed",
    ),
    "saves": (
        {
            "command": "castsugar kitchen pan-weight --recipe base --cook '119 C 8 min'"
            " --save"
        },
        "of the record is",
    ),
    "half a quote": ({"command": "castsugar evaluate 'KNO3"}, "none that is recomp"),
    "unknown words": ({"command": "castsugar evaluate --wrong"}, "is refused"),
    "a mix that is refused": (
        {"command": "castsugar evaluate 'NH4NO3:65 sucrose:35'"},
        "is refused now",
    ),
    "another document": (
        {"schema": "castsugar.sweep/2"},
        "its command makes castsugar",
    ),
    "a file that is gone": ({"files_read": {"gone.toml": "00"}}, "is missing here"),
    "no mapping of files": ({"files_read": [1]}, "does not say the command"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_audited(
    case: str, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, exit code 2."""
    changed, words = REFUSED[case]
    assert words in said(capsys, 2, write(**changed))


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"[]", b"3", b"\xff\xfe\x00", b"[" * 100_000, b"name,value\n1,2\n"],
)
def test_no_record_at_all(
    data: bytes,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What is no JSON object is refused in one line."""
    monkeypatch.chdir(tmp_path)
    Path("x.json").write_bytes(data)
    assert "x.json is no" in said(capsys, 2, "x.json")


def test_a_huge_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file larger than any record is not read."""
    monkeypatch.chdir(tmp_path)
    with open("x.json", "wb") as stream:
        stream.truncate(60_000_000)
    assert "allowed 50,000,000" in said(capsys, 2, "x.json")


def test_bench_that_changed_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Same numbers of a file with another comment: said, and exit code 0."""
    monkeypatch.chdir(tmp_path)
    assert main(["init", "."]) == 0
    assert main(["kitchen", "judge", "base", "--json", "-o", "record.json"]) == 0
    record = json.loads(Path("record.json").read_text("utf-8"))
    assert record["command"] == "castsugar kitchen judge base"
    assert "bench.toml" in record["files_read"]
    bench = Path("bench.toml")
    bench.write_text(bench.read_text("utf-8") + "# mine\n", "utf-8")
    told = said(capsys, 0, "record.json")
    assert "bench.toml has changed since the record was made" in told
    assert "same: all" in told


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("sweep base --csv out.csv --vary KNO3", "sweep base --vary KNO3"),
        ("map a b c --csv --step 4%", "map a b c --step 4%"),
        ("evaluate --csv base", "evaluate base"),
        ("map a b c --csv=out.csv --workers 2", "map a b c"),
        ("search --trials t.csv --cite --full", "search"),
    ],
)
def test_options_of_output_are_no_part_of_the_command(typed: str, kept: str) -> None:
    """Where a result goes and who computes it is left out."""
    assert command_text(shlex.split(typed)) == f"castsugar {kept}"


def test_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record whose command names files to write is cut to what computes."""
    monkeypatch.chdir(tmp_path)
    words = words_of(f"castsugar {ASKED} -o x --page y --csv --force --picture=z.svg")
    assert words == shlex.split(ASKED)
    for command in ("init", "batch", "learn", "completion", "audit", "open"):
        assert command not in COMPUTING
