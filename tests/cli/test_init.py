"""castsugar init: a whole example or nothing, and every table of the bench file."""

from __future__ import annotations

import importlib.util
import os
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from faults import Fuse

from castsugar import InputError, load_database, parse_recipe
from castsugar.bench import example
from castsugar.bench.bench import TABLES, check_bench
from castsugar.bench.explain import DECLARED, explain
from castsugar.bench.lots import lots_of
from castsugar.bench.schema import Key, Place, Table, read_table
from castsugar.bench.tables import STATABLE, Kitchen
from castsugar.cli.main import main
from castsugar.columns import COLUMN
from castsugar.kitchen.parameters import BESIDE, OF_SYRUP, PARAMETERS
from castsugar.limits import DRAWN, searchable
from castsugar.plausible import RANGES, collected, range_of_limit
from castsugar.readings.strand_files import read_strands

# Exact: what is written against what is shipped and made.
pytestmark = pytest.mark.exact

FILES = example.example_files()


def _maker() -> ModuleType:
    """Load the script that makes the invented readings."""
    path = Path(__file__).parents[1] / "example_update.py"
    spec = importlib.util.spec_from_file_location("example_update", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_writes_all_files_as_shipped(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Into a folder that is not there yet; nothing else is left in it."""
    folder = tmp_path / "a" / "b"
    assert main(["init", str(folder)]) == 0
    assert {p.name: p.read_text("utf-8") for p in folder.iterdir()} == FILES
    printed = " ".join(capsys.readouterr().out.split())
    assert "all INVENTED" in printed
    assert all(name in printed for name in FILES)


def test_here_is_the_default(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without DIR the files go here, beside whatever else is here."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "notes.txt").write_text("mine", "utf-8")
    assert main(["init"]) == 0
    assert {p.name for p in tmp_path.iterdir()} == {*FILES, "notes.txt"}
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert lines[-1] == "Next: castsugar check"


def test_overwrites_nothing_and_names_all(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two of the files are there: one line names both; nothing is written."""
    for name in ("strands.csv", "bench.toml"):
        (tmp_path / name).write_text("mine", "utf-8")
    assert main(["init", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith("castsugar: bench.toml, strands.csv exist already in")
    assert "--force" in said
    assert {p.name for p in tmp_path.iterdir()} == {"strands.csv", "bench.toml"}
    assert (tmp_path / "bench.toml").read_text("utf-8") == "mine"
    assert main(["init", str(tmp_path), "--force"]) == 0
    assert (tmp_path / "bench.toml").read_text("utf-8") == FILES["bench.toml"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process")
@pytest.mark.parametrize("last", range(1, len(FILES) + 1))
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_killed_it_leaves_no_folder(last: int, tmp_path: Path) -> None:
    """The process ends while the k-th file is sent to the disk."""
    child = os.fork()
    if child == 0:
        fuse = Fuse(last - 1, lambda: os._exit(7), after=False)
        os.fsync = fuse.wrap(os.fsync)
        main(["init", str(tmp_path / "my-bench")])
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7
    assert [p for p in tmp_path.rglob("*") if p.is_dir()] == []
    assert all(p.name.startswith(".castsugar-") for p in tmp_path.iterdir())
    assert len([*tmp_path.iterdir()]) == last


def test_bad_folders_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file, an empty name, and a folder of the name of a file: one line each."""
    (tmp_path / "file").write_text("", "utf-8")
    (tmp_path / "taken" / "shot.csv").mkdir(parents=True)
    for words in (["file"], [""], ["taken"], ["taken", "--force"]):
        given = [str(tmp_path / w) if w and w[0] != "-" else w for w in words]
        assert main(["init", *given]) == 2
        assert capsys.readouterr().err.count("\n") == 1
    assert {p.name for p in (tmp_path / "taken").iterdir()} == {"shot.csv"}


def test_every_file_says_that_it_is_invented() -> None:
    """In its first line; and nothing there is a name of this machine."""
    for name, text in FILES.items():
        assert "INVENTED" in text.split("\n")[0], name
        assert "\r" not in text


def test_recording_is_small() -> None:
    """The recording stays below 60 kB."""
    assert len(FILES["shot.csv"]) < 60_000


def test_bench_file_has_every_table() -> None:
    """Every table of the schema; recipes, lots and measurements pass their checks."""
    bench = check_bench(Path("bench.toml"), FILES["bench.toml"])
    assert set(tomllib.loads(bench.text)) == set(TABLES)
    database = load_database()
    for recipe in bench.recipes.values():
        for name, _ in parse_recipe(recipe).parts:
            database.find(name)
    # Two bottles of syrup, one in use.
    lots = {record.name for _, record in lots_of(bench, database).values()}
    assert lots == {"bag A", "sugar, 1 kg", "bottle 3"}
    assert len(bench.kitchen["measured"]) == 3


def test_commented_keys_are_keys() -> None:
    """What is commented out may be let in: each such line passes the check."""
    text = FILES["bench.toml"]
    for line in re.findall(
        r"^# ((?:front|robust|ratios|measured_eff)\w* = .*)$", text, re.M
    ):
        used = text.replace(f"# {line}", line)
        assert used != text
        check_bench(Path("bench.toml"), used)


def test_commented_alternatives_are_valid() -> None:
    """A label instead of solids; a choice of sugars; a stock: as the comments say."""
    text = FILES["bench.toml"]
    for old, new in (
        ('"powdered sugar" = "5 % to 35 %"', '"sugar" = "5 % to 35 %"'),
        ("# [search.choices]\n# sugar", "[search.choices]\nsugar"),
        ("# [search.stock]\n# ", "[search.stock]\n"),
        (
            'solids = "77 %"\n',
            'label_carbohydrate = "78 g"\nlabel_serving = "100 g"\n',
        ),
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    bench = check_bench(Path("bench.toml"), text)
    assert bench.search is not None
    assert bench.search["choices"] == {"sugar": ("powdered sugar", "sucrose")}


@pytest.mark.parametrize("name", [n for n in FILES if n.endswith(".csv")])
def test_readings_are_those_that_the_script_makes(name: str) -> None:
    """Shipped against made anew: equal but for the last digit, in case of rounding."""
    made = _maker().files()[name].splitlines()
    shipped = FILES[name].splitlines()
    assert len(made) == len(shipped)
    for a, b in zip(made, shipped, strict=True):
        if a != b:
            cells = zip(a.split(","), b.split(","), strict=True)
            for x, y in cells:
                assert x == y or abs(float(x) - float(y)) <= 0.11, (a, b)


def test_strands_of_every_law_are_there(tmp_path: Path) -> None:
    """Each [[motor.burn_law]] finds its mix in its file."""
    example.write_example(tmp_path)
    motor = check_bench(tmp_path / "bench.toml", FILES["bench.toml"]).motor
    assert motor is not None
    for law in motor["burn_law"]:
        text = (tmp_path / law["strands"]).read_text("utf-8")
        assert f",{law['mix']}\n" in text
        assert read_strands(tmp_path / law["strands"])


def test_link_is_not_followed_unseen(tmp_path: Path) -> None:
    """A dangling link of a file's name counts as a file that is there."""
    if os.name == "nt":
        pytest.skip("links need rights there")
    (tmp_path / "bench.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(InputError, match=r"bench\.toml exists already"):
        example.write_example(tmp_path)
    assert not (tmp_path / "elsewhere.toml").exists()
    assert main(["init", str(tmp_path), "--force"]) == 0
    assert (tmp_path / "bench.toml").is_symlink()
    assert (tmp_path / "elsewhere.toml").read_text("utf-8") == FILES["bench.toml"]


# --- what a key means ----------------------------------------------------------------

PLACE = Place(Path("bench.toml"), "", "")


@pytest.fixture(scope="module")
def known() -> Iterator[None]:
    """What is known of all tables, keys and columns is put together once."""
    module = sys.modules[explain.__module__]
    with pytest.MonkeyPatch.context() as patch:
        for name in ("_known", "_columns"):
            told = tuple(getattr(module, name)())
            patch.setattr(module, name, lambda told=told: told)
        yield


def stem(table: type[Table]) -> str:
    """Return the name of a table, without a name of the user's own in it."""
    return re.sub(r'["\[\]]|\.[A-Z"]+\]$', "", table.HEAD.partition(" ")[0])


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize("table", DECLARED)
def test_every_table_and_key_is_explained(table: type[Table]) -> None:
    said = " ".join(explain(stem(table)).split())
    assert f"{table.HEAD}: {table.__doc__}" in said
    assert all(name in said for name in table.KEYS)
    for name, key in table.KEYS.items():
        check_explained(table, name, key)


def check_explained(table: type[Table], name: str, key: Key) -> None:
    """Its example is read without a complaint; a few lines say what it means."""
    assert key.about
    if key.kind != "table":
        with collected() as remarks:
            read_table({name: key.example}, {name: replace(key, needs=())}, PLACE)
        assert remarks == []
    said = explain(f"{stem(table)}.{name}")
    assert f"{name}, in {table.HEAD}" in said
    assert key.about in " ".join(said.split())
    for block in said.split("\n\n"):
        assert block.count("\n") <= 12
        assert max(map(len, block.split("\n"))) < 80


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize("column", searchable())
def test_every_column_of_a_limit_is_explained(column: str, tmp_path: Path) -> None:
    """What it means, its unit, and a line that the reader of bench files takes."""
    said = explain(f"limits.{column}")
    assert max(map(len, said.splitlines())) < 80
    told = " ".join(said.split())
    assert COLUMN[column].meaning in told
    assert f"unit {COLUMN[column].unit or 'none'}" in told
    line = f"{column} = {{ at_most = NUMBER }}"
    assert line in told
    value = RANGES[range_of_limit(column)].soft_high
    line = line.replace("NUMBER", f"{value:f}")
    check_bench(tmp_path / "b.toml", f"[limits]\n{line}\n")
    assert ('probability = "' in told) == (column in DRAWN)
    assert column in re.findall(r"\w+", explain("limits.COLUMN"))


def test_a_key_is_explained_on_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    """By table and name, or by what it means; the limits are those of the reader."""
    for typed in ("throat", "motor.throat", "throat_diameter", "motor.throat_diameter"):
        assert main(["init", "--explain", typed]) == 0
        said = capsys.readouterr().out
        assert said.startswith("throat, in [motor]: throat diameter\n")
        for words in ('throat = "8 mm"', "0.3 to 200 mm", "1 to 50 mm", "must be"):
            assert words in said
    assert "  left out  100 % is taken\n" in explain("motor.nozzle_efficiency")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--explain", "throt"], "did you mean 'throat'"),
        (["--explain", "motr"], "did you mean 'motor'"),
        (["--explain", "motor.throt"], "did you mean 'motor.throat'"),
        (["--explain", ""], "tables: conditions, units, kitchen"),
        (["here", "--explain", "throat"], "leave out DIR"),
    ],
)
def test_what_cannot_be_explained(
    words: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["init", *words]) == 2
    found = capsys.readouterr().err
    assert said in found
    assert found.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def commented() -> list[tuple[str, str, str]]:
    """Return table, key and comment of every key of the example that has one."""
    found, head = [], ""
    for line in FILES["bench.toml"].split("\n"):
        if match := re.match(r"\[+([a-z_.]+)", line):
            head = match[1].strip(".")
        if match := re.match(r"(?:# )?(\w+) = [^#]*[^# ]\s+# (.*)$", line):
            found.append((head, match[1], match[2]))
    return found


def test_comments_of_the_example_say_what_the_keys_mean() -> None:
    """Up to the first colon or semicolon; what follows there is about the example."""
    assert len(commented()) > 25
    for head, name, comment in commented():
        meanings = [
            table.KEYS[name].about
            for table in DECLARED
            if name in table.KEYS and stem(table).startswith(head)
        ]
        said = re.split("[:;]", comment)[0].strip()
        if meanings:  # else a name of the user's own
            assert any(said in one for one in meanings), (name, said, meanings)


def test_parameters_of_the_kitchen_are_keys() -> None:
    """All of the pour but fines and syrup, with the meaning that the kitchen has."""
    left = {"fines_gain", *BESIDE, *OF_SYRUP}
    known = {p.name: p.label for p in PARAMETERS if p.name not in left}
    keys = Kitchen.KEYS
    assert {name: keys[name].about for name in STATABLE} == known
