"""``castsugar batch export`` and ``import``: what leaves, what comes, what it does.

Benches, strands and batches here are invented.
"""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from castsugar import load_database
from castsugar.bench.example import example_files
from castsugar.bench.imported import FOLDER, OWN
from castsugar.cli import batch_sharing as command
from castsugar.cli.main import main
from castsugar.readings import shared_strands
from castsugar.readings.shared_strands import HEAD, from_text, to_text

# Exact: what was written must come back; verdicts and words by what was put in.
pytestmark = pytest.mark.exact

BENCH = """\
[recipes]
secret_house_mix = "KNO3:60 powdered sugar:20 corn syrup:20"
[kitchen]
cook = "119 C"
minutes = 10
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "80 mm"
"""
LAW = """\
[[motor.burn_law]]
recipe = "secret_house_mix"
strands = "strands_of_anna.csv"
"""
STRANDS = """\
length (mm),time (s),pressure (MPa),temperature (C),batch,date,note
50,9.0,1,20,Anna in May,2026-05-03,poured by Anna
50,7.1,2,20,Anna in May,2026-05-03,
50,5.3,4,,Anna in May,2026-05-03,bag of Smith & Sons
50,9.4,1,25,Anna in June,2026-06-07,
"""
LATER = """\
length (mm),time (s),pressure (MPa)
50,8.2,1.5
50,6.0,3
"""
SECRETS = ("anna", "secret", "house", "smith", "2026", "may", "june", "csv", "/")


def made(folder: Path, text: str = BENCH + LAW, strands: str = STRANDS) -> Path:
    """Return a folder with a bench of its own."""
    folder.mkdir()
    (folder / "bench.toml").write_text(text, "utf-8")
    (folder / "strands_of_anna.csv").write_text(strands, "utf-8")
    return folder


@pytest.fixture
def anna(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Be in the folder of a bench with strands of two batches."""
    folder = made(tmp_path / "anna")
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def ben(tmp_path: Path) -> Path:
    """Return a bench that burned nothing."""
    return made(tmp_path / "ben", BENCH)


def exported(capsys: pytest.CaptureFixture[str], *more: str) -> str:
    """Return what the bench of this folder shares."""
    capsys.readouterr()
    assert main(["batch", "export", "--licence", "CC-BY-4.0", *more]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], words: list[str]) -> list[str]:
    """Return the lines with which a task is refused."""
    capsys.readouterr()
    assert main(["batch", *words]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert "Traceback" not in err
    return err.splitlines()


def row_of(recipe: str, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """Return the row of a recipe."""
    capsys.readouterr()
    assert main(["evaluate", recipe, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["mixes"][0]
    return found if "burn_law_origin" in found else found["row"]


# ----------------------------------------------------------------------------
# What leaves.


def test_what_is_shared(anna: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Rates are length over time, by hand; batches are numbers; 20 C is 293.15 K."""
    lines = exported(capsys).splitlines()
    shares = ["light_corn_syrup", "potassium_nitrate", "powdered_sugar"]
    assert lines[0].split(",") == [*HEAD, *(f"{n}_mass_percent" for n in shares)]
    bench = (anna / OWN).read_text("utf-8").strip()
    assert re.fullmatch("[0-9a-f]{16}", bench)
    start = f"CC-BY-4.0,{bench}"
    assert lines[1:] == [
        f"{start},1,cooked syrup,0,,298.15,1,5.31915,20,60,20",
        f"{start},2,cooked syrup,0,,293.15,1,5.55556,20,60,20",
        f"{start},2,cooked syrup,0,,293.15,2,7.04225,20,60,20",
        f"{start},2,cooked syrup,0,,,4,9.43396,20,60,20",
    ]


def test_nothing_in_it_tells_whose_it_is(
    anna: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No name, note, date or path in the bytes; every cell is one of a closed form."""
    main(["batch", "export", "--licence", "CC0-1.0", "-o", "out.txt"])
    text = Path("out.txt").read_text("utf-8")
    for secret in (*SECRETS, str(anna).lower(), "batches"):
        assert secret not in text.lower(), secret
    number = r"-?[0-9.]+(e[+-][0-9]+)?"
    for line in text.splitlines()[1:]:
        assert re.fullmatch(
            rf"CC0-1\.0,[0-9a-f]{{16}},[0-9]+,cooked syrup(,({number})?)+", line
        ), line


def test_a_bench_keeps_its_name_and_two_differ(
    anna: Path, ben: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twice the same bytes; another bench has another name; order is not that of time.

    The same strands in another order of the file are the same bytes, too.
    """
    first = exported(capsys)
    assert exported(capsys) == first
    head, *rows = STRANDS.splitlines()
    (anna / "strands_of_anna.csv").write_text("\n".join([head, *rows[::-1]]), "utf-8")
    assert exported(capsys) == first
    other = made(ben.parent / "other")
    again = exported(capsys, "--bench", str(other / "bench.toml"))
    names = {text.splitlines()[1].split(",")[1] for text in (first, again)}
    assert len(names) == 2


@pytest.mark.slow
def test_strands_of_closed_batches_are_shared_once(
    anna: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the water that was predicted of them; those in the bench file, too."""
    new = ["batch", "new", "secret_house_mix", "--batch", "200 g", "--date"]
    assert main([*new, "2026-05-02", "--note", "for Anna"]) == 0
    Path("later.csv").write_text(LATER, "utf-8")
    assert main(["batch", "add", "2026-05-02-1", "--strands", "later.csv"]) == 0
    before = exported(capsys)
    assert len(before.splitlines()) == 5  # still open
    assert main(["batch", "close", "2026-05-02-1", "--outcome", "used"]) == 0
    rows = exported(capsys).splitlines()[1:]
    assert len(rows) == 6
    wet = [row.split(",") for row in rows if row.split(",")[5]]
    assert [cells[8] for cells in wet] == ["6.09756", "8.33333"]
    record = json.loads(Path("batches/2026-05-02-1.jsonl").read_text().splitlines()[0])
    water = record["predictions"]["water_as_cast_percent"]
    assert {cells[5] for cells in wet} == {f"{water:.6g}"}


@pytest.mark.slow
def test_what_is_invented_stays(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The example; entries with the mark; files that say so; nothing is drawn."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    told = refused(capsys, ["export", "--licence", "CC0-1.0"])
    assert "invented (motor.burn_law[0]: strands.csv" in told[0]
    marked = made(tmp_path / "marked", BENCH + LAW + "invented = true\n")
    called = made(tmp_path / "called", strands="# Invented\n" + STRANDS)
    for folder in (marked, called):
        bench = str(folder / "bench.toml")
        words = ["export", "--licence", "CC0-1.0", "--bench", bench]
        assert "strands that you burned" in refused(capsys, words)[0]
        assert not (folder / OWN).exists()


def test_export_is_refused(
    anna: Path, ben: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without strands, without a bench, without a licence, over a file."""
    words = ["export", "--licence", "CC0-1.0"]
    told = refused(capsys, [*words, "--bench", str(ben / "bench.toml")])
    assert "got no strands" in told[0]
    assert "needs a bench file" in refused(capsys, [*words, "--no-bench"])[0]
    for typed, said in (([], "--licence"), (["--licence", "MIT"], "'MIT'")):
        with pytest.raises(SystemExit, match="2"):
            main(["batch", "export", *typed])
        assert said in capsys.readouterr().err
    Path("there.csv").write_text("mine", "utf-8")
    assert "exists already" in refused(capsys, [*words, "-o", "there.csv"])[0]
    (anna / OWN).write_text("Anna's bench", "utf-8")
    assert "16 hexadecimal digits" in refused(capsys, words)[0]


# ----------------------------------------------------------------------------
# What comes.


def test_round_trip_is_exact(
    anna: Path,
    ben: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What a bench shares lies byte by byte beside another one, and reads the same."""
    text = exported(capsys)
    monkeypatch.chdir(ben)
    Path("from_anna.csv").write_text(text, "utf-8")
    assert main(["batch", "import", "from_anna.csv"]) == 0
    (kept,) = (ben / FOLDER).iterdir()
    assert kept.read_text("utf-8") == text
    assert kept.name == f"{text.splitlines()[1].split(',')[1]}.csv"
    strands, faults = from_text(text, "x", load_database())
    assert not faults
    assert to_text(strands) == text
    assert from_text(to_text(strands), "x", load_database()) == (strands, ())


@pytest.mark.slow
def test_an_import_is_said_and_never_called_yours(
    anna: Path,
    ben: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Origin, check and band before, with it and after its file is gone.

    A borrowed law of another mix leaves a wider band; strands of the user's stay
    theirs.
    """
    text = exported(capsys)
    monkeypatch.chdir(ben)
    recipe = "secret_house_mix"
    before = row_of(recipe, capsys)
    assert before["burn_law_origin"] == "assumed: nothing was burned"
    Path("bench.toml").write_text(
        BENCH + '[[motor.burn_law]]\nborrowed = "sucrose 65/35"\n', "utf-8"
    )
    borrowed = row_of(recipe, capsys)
    Path("bench.toml").write_text(BENCH, "utf-8")
    Path("a.csv").write_text(text, "utf-8")
    assert main(["batch", "import", "a.csv"]) == 0
    assert "4 strands of 1 other bench" in capsys.readouterr().out
    now = row_of(recipe, capsys)
    said = "imported: strands of 1 other bench, none of yours"
    assert now["burn_law_origin"] == said
    wide = [
        float(row["peak_pressure_p95_MPa"]) / float(row["peak_pressure_MPa"])
        for row in (now, borrowed, before)
    ]
    assert wide == sorted(wide)
    assert wide[0] < 0.9 * wide[1]
    assert now.get("peak_pressure_p95_this_batch_MPa") is None
    capsys.readouterr()
    assert main(["check", "--full"]) == 1
    told = capsys.readouterr().out
    assert "imported: 4 strands of 1 other bench, not yours." in told
    assert "between benches: 14 % is taken" in told
    main(["evaluate", recipe])
    told = capsys.readouterr().out
    assert "your strands" not in told
    far = str(
        row_of("KNO3:66 powdered sugar:20 corn syrup:14", capsys)["burn_law_origin"]
    )
    assert far.startswith(
        "imported: strands of 1 other bench, none of yours, nearest 6 % of"
    )
    Path("bench.toml").write_text(BENCH + LAW, "utf-8")
    Path("strands_of_anna.csv").write_text(LATER, "utf-8")
    own = str(row_of(recipe, capsys)["burn_law_origin"])
    assert own.startswith("measured: KNO3:60")
    assert own.endswith("; 1 other bench, imported")
    main(["evaluate", recipe])
    told = " ".join(capsys.readouterr().out.split())
    assert told.count("your strands and those of 1 other bench (imported)") <= 1
    Path("bench.toml").write_text(BENCH, "utf-8")
    shutil.rmtree(FOLDER)
    assert row_of(recipe, capsys) == before


@pytest.mark.slow
def test_nothing_counts_twice(
    anna: Path,
    ben: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The same file again, a later export of a bench, the same strands renamed."""
    text = exported(capsys)
    bench = text.splitlines()[1].split(",")[1]
    with (anna / "strands_of_anna.csv").open("a", encoding="utf-8") as stream:
        stream.write("50,5.0,5,20,Anna in June,2026-06-07,\n")
    later = exported(capsys)
    monkeypatch.chdir(ben)
    for name, content in (("a.csv", text), ("b.csv", later)):
        Path(name).write_text(content, "utf-8")
    assert main(["batch", "import", "a.csv"]) == 0
    row = row_of("secret_house_mix", capsys)
    assert main(["batch", "import", "a.csv"]) == 0
    assert "as before" in capsys.readouterr().out
    assert row_of("secret_house_mix", capsys) == row
    assert main(["batch", "import", "b.csv"]) == 0
    assert "5 strands, CC-BY-4.0, instead of 4" in capsys.readouterr().out
    (kept,) = Path(FOLDER).iterdir()
    assert kept.read_text("utf-8") == later
    Path("c.csv").write_text(text.replace(bench, "0123456789abcdef"), "utf-8")
    told = refused(capsys, ["import", "c.csv"])
    assert f"strands that bench {bench} has, too" in told[0]
    assert [*Path(FOLDER).iterdir()] == [kept]


def test_own_strands_do_not_come_back(
    anna: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By their name, and by their readings under another name."""
    text = exported(capsys)
    Path("mine.csv").write_text(text, "utf-8")
    bench = text.splitlines()[1].split(",")[1]
    renamed = text.replace(bench, "0123456789abcdef")
    Path("renamed.csv").write_text(renamed, "utf-8")
    for name in ("mine.csv", "renamed.csv"):
        told = refused(capsys, ["import", name])
        assert "got your own strands" in told[0]
        assert told[-1] == "castsugar: nothing written"
    assert not Path(FOLDER).exists()
    Path(FOLDER).mkdir()
    (Path(FOLDER) / "mine.csv").write_text(text, "utf-8")
    capsys.readouterr()
    assert main(["evaluate", "secret_house_mix"]) == 2
    assert "your own strands" in capsys.readouterr().err


GOOD = """\
licence,bench,batch,process,degraded_sugar_percent,water_as_cast_percent,\
strand_temperature_K,pressure_MPa,burn_rate_mm_s,potassium_nitrate_mass_percent,\
sucrose_mass_percent
CC0-1.0,00112233445566ff,1,cooked syrup,0,1.5,293.15,1,5.5,65,35
CC0-1.0,00112233445566ff,1,cooked syrup,0,,,4,9.5,65,35
"""

#: What is changed in the good file, and what is said: where, got, allowed.
FAULTS = {
    ("CC0-1.0,00112233445566ff,1,cooked syrup,0,1.5", "MIT,00112233445566ff,1,cooked "
     "syrup,0,1.5"): ["line 2, column licence: got 'MIT'; allowed: CC0-1.0"],
    ("00112233445566ff", "Anna"): ["line 2, column bench: got 'Anna'; allowed: 16"],
    (",1,cooked syrup,0,1.5", ",one,cooked syrup,0,1.5"): ["column batch: got 'one'"],
    (",1,cooked syrup,0,1.5", f",{'9' * 5000},cooked syrup,0,1.5"): [
        "allowed: 1 to 999999"
    ],
    ("cooked syrup,0,1.5", "baked,0,1.5"): ["column process: got 'baked'; allowed:"],
    ("293.15,1,5.5", "293.15,psi,5.5"): ["column pressure_MPa: got 'psi'; allowed: a"],
    ("293.15,1,5.5", "20,1,5.5"): ["column strand_temperature_K: got '20'; allowed:"],
    ("293.15,1,5.5", "293.15,1,nan"): ["column burn_rate_mm_s: got 'nan'; allowed:"],
    ("293.15,1,5.5", "293.15,1,0x1"): ["column burn_rate_mm_s: got '0x1'; allowed:"],
    ("293.15,1,5.5", "293.15,,=1+1"): [
        "line 2, column pressure_MPa: got ''",
        "line 2, column burn_rate_mm_s: got '=1+1'",
    ],
    ("4,9.5,65,35", "4,9.5,65,34"): ["got 99 in all; allowed: 100 within 0.01"],
    ("4,9.5,65,35", "4,9.5,64,36"): ["line 3, column batch: got 1 for another"],
    ("4,9.5,65,35", "4,9.5,65"): ["line 3: got 10 cells; allowed: 11"],
    ("sucrose_mass", "moonshine_mass"): ["column 'moonshine_mass_percent': not known"],
    ("burn_rate_mm_s", "burn_rate_in_s"): ["got 'burn_rate_in_s'; allowed: 'burn_rate"],
    (GOOD.partition("\n")[2], ""): ["has no strand, only its header"],
    (GOOD, GOOD.replace(",", ";")): ["line 1: got cells separated by semicolon; all"],
    (GOOD, ""): ["line 1: column 1: got ''; allowed: 'licence'"],
    ("CC0-1.0,0011", 'CC0-1.0,"0011'): ["no CSV"],
    ("potassium_nitrate_mass", "charcoal_mass"): ["composition is refused"],
}  # fmt: skip


@pytest.mark.parametrize("change", FAULTS)
def test_every_fault_is_a_line_and_nothing_is_written(
    change: tuple[str, str], ben: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    """Each line says file, place, what was got, what is allowed, what to do; once."""
    monkeypatch.chdir(ben)
    assert change[0] in GOOD
    Path("x.csv").write_text(GOOD.replace(*change), "utf-8")
    told = refused(capsys, ["import", "x.csv"])
    assert all(line.startswith("castsugar: x.csv") for line in told[:-1])
    for said, line in zip(FAULTS[change], told, strict=False):
        assert said in line
        whole = line.removesuffix(" (1 more: line 3)")
        assert whole.endswith("correct it, or ask for another export")
    assert told[-1] == "castsugar: nothing written"
    assert not Path(FOLDER).exists()


def test_a_good_file_and_what_is_no_file(
    ben: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file that the faults are put into is taken; a fault of many rows is one."""
    monkeypatch.chdir(ben)
    assert "cannot be read" in refused(capsys, ["import", "none.csv"])[0]
    Path("many.csv").write_text(GOOD + 30 * "x\n", "utf-8")
    told = refused(capsys, ["import", "many.csv"])
    assert len(told) == 2
    assert told[0].endswith("another export (29 more: line 5, 6, 7, ...)")
    Path("x.csv").write_text(GOOD, "utf-8")
    assert "needs a bench file" in refused(capsys, ["import", "x.csv", "--no-bench"])[0]
    assert main(["batch", "import", "x.csv"]) == 0
    (kept,) = Path(FOLDER).iterdir()
    kept.write_text(GOOD.replace("5.5,", "5.5.5,"), "utf-8")
    capsys.readouterr()
    assert main(["evaluate", "secret_house_mix"]) == 2
    told = capsys.readouterr().err
    assert "column burn_rate_mm_s: got '5.5.5'" in told
    assert "leaves it out" in told


def test_words_of_the_command_are_those_of_the_form() -> None:
    assert command.LICENCES == shared_strands.LICENCES


def test_strands_of_the_example_are_not_shared(
    anna: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a word that calls them invented, they are known by their readings."""
    rows = [x for x in example_files()["strands.csv"].splitlines() if x[:1] != "#"]
    (anna / "strands_of_anna.csv").write_text("\n".join(rows) + "\n", "utf-8")
    law = LAW + 'mix = "60/20/20"\n'
    (anna / "bench.toml").write_text(BENCH + law, "utf-8")
    (line,) = refused(capsys, ["export", "--licence", "CC0-1.0"])
    assert "invented" in line


@pytest.mark.slow
def test_a_bench_ten_times_as_fast_is_named(
    anna: Path,
    ben: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A unit typed wrong elsewhere is a MISFIT here; a fifth slower is none."""
    text = exported(capsys)
    strands, _ = from_text(text, "a.csv", load_database())
    shutil.copy(anna / "strands_of_anna.csv", ben)
    (ben / "bench.toml").write_text(BENCH + LAW, "utf-8")
    monkeypatch.chdir(ben)
    for factor, told in ((0.8, False), (10.0, True)):
        bench = ("0" if told else "1") * 16
        moved = [
            replace(
                one,
                bench=bench,
                numbers={**one.numbers, "burn_rate_mm_s": factor * one.reading[1]},
            )
            for one in strands
        ]
        Path("other.csv").write_text(to_text(moved), "utf-8")
        assert main(["batch", "import", "other.csv"]) == 0
        capsys.readouterr()
        assert main(["evaluate", "secret_house_mix", "--no-confirm"]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert (f"Imported strands of bench {bench}" in out) == told
        Path(FOLDER, f"{bench}.csv").unlink()
