"""Paths as people type them: one line and exit code 2, before any work."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from castaways import as_nobody, public_folder

from castsugar.bench.example import write_example
from castsugar.cli.completion import _actions
from castsugar.cli.main import build_parser, main
from castsugar.cli.output import WRITTEN

# Exact: codes and lines are known.
pytestmark = [
    pytest.mark.exact,
    pytest.mark.skipif(os.name == "nt", reason="other paths there"),
]

MIX, OTHER = "KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"
HELD = ["--cook", "119 C", "--minutes", "8"]
DENSITY = ["kitchen", "bulk-density", "--mass", "69 g", "--volume", "50 ml"]
DELAY = [
    "firing", "--delay", "--strands", "delay.csv", "--delay-time", "6 s",
    "--chamber-pressure", "500 psi", "--burn-time", "1 s",
]  # fmt: skip
MAP = ["map", "KNO3", "sucrose", "water", "--step", "10%"]

#: Every command that writes a file, with the option that names it.
WRITING: list[tuple[list[str], str]] = [
    (["evaluate", MIX], "-o"),
    (["evaluate", MIX, "--bench", "bench.toml"], "--picture"),
    (["ballistics", MIX], "--page"),
    (["sweep", MIX, "--vary", "KNO3"], "--picture"),
    (["sweep", MIX, "--vary", "KNO3"], "--csv"),
    (MAP, "--picture"),
    (MAP, "--csv"),
    (["kitchen", "judge", MIX, *HELD], "-o"),
    (["kitchen", "parameters"], "-o"),
    (DENSITY, "-o"),
    (["burnrate", "strands.csv"], "-o"),
    (["burnrate", "strands.csv"], "--picture"),
    (["firing", "shot.csv"], "-o"),
    (["firing", "shot.csv"], "--picture"),
    (DELAY, "-o"),
    (["search", "bench.toml"], "-o"),
    (["search", "bench.toml"], "--picture"),
    (["search", "bench.toml"], "--trials"),
    (["compare", MIX, OTHER], "-o"),
    (["compare", MIX, OTHER], "--page"),
    (["justify", MIX, OTHER], "-o"),
    (["justify", MIX, OTHER], "--page"),
    (["weigh", MIX, "--batch", "200 g"], "-o"),
    (["weigh", MIX, "--batch", "200 g"], "--page"),
    (["batch", "new", MIX, "--batch", "200 g"], "-o"),
    (["batch", "list"], "-o"),
    (["batch", "show", "2026-05-02-1"], "-o"),
    (["learn", "--bench", "bench.toml"], "-o"),
    (["learn", "--bench", "bench.toml"], "--page"),
    (["ingredients"], "-o"),
]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in the folder of the example."""
    monkeypatch.chdir(tmp_path)
    write_example(tmp_path)
    return tmp_path


def refused(words: Sequence[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Return the one line that a command ends with."""
    assert main([*words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith("castsugar: ")
    return err


@pytest.mark.parametrize(("words", "option"), WRITING)
def test_unwritable_results_are_refused_before_the_work(
    words: list[str],
    option: str,
    bench: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whatever command, whatever option; nothing is loaded for it."""

    def worked(*_: object, **__: object) -> None:
        pytest.fail("something was done first")

    monkeypatch.setattr("castsugar.data.load_database", worked)
    monkeypatch.setattr("castsugar.bench.bench.read_bench", worked)
    os.mkfifo("pipe")
    for name, said in (
        ("none/x", "does not exist"),
        ("n" * 300, "File name too long"),
        (".", "it is a folder"),
        ("bench.toml", "exists already"),
        ("", "is empty"),
        ("-", "'-' is no file; leave it out"),
    ):
        assert said in refused([*words, option, name], capsys)
    for name, said in (("pipe", "it is a pipe"), ("/dev/null", "it is a device")):
        assert said in refused([*words, option, name, "--force"], capsys)
    assert not Path("batches").exists()


@pytest.mark.parametrize("kind", ["--csv", "--json", "--markdown"])
def test_a_dash_is_no_file_behind_what_is_printed_either(
    kind: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Printed it is without: one line, and no file of that name."""
    del bench
    assert "'-' is no file; leave it out" in refused(
        ["evaluate", MIX, kind, "-"], capsys
    )
    assert not Path("-").exists()


def test_every_file_option_is_known() -> None:
    """A file is read, or looked at before the work because it is to be written."""
    read = {"bench", "motor", "file", "strands", "firing"}
    found = {a.dest for a in _actions(build_parser()) if a.metavar == "FILE"}
    assert found - read <= {*WRITTEN, "picture"}
    assert not read & set(WRITTEN)
    assert len(found) > len(read)


#: Commands that read a bench file, up to its name.
READING = [
    ["evaluate", MIX, "--bench"],
    ["evaluate", MIX, *HELD, "--bench"],
    ["sweep", MIX, "--vary", "KNO3", "--bench"],
    ["kitchen", "judge", MIX, "--bench"],
    ["kitchen", "parameters", "--bench"],
    [*DENSITY, "--bench"],
    [*DENSITY, "--save", "--bench"],
    ["search"],
    ["compare", MIX, OTHER, "--bench"],
    ["justify", MIX, OTHER, "--bench"],
    ["weigh", MIX, "--batch", "200 g", "--bench"],
    ["batch", "new", MIX, "--batch", "200 g", "--bench"],
    ["learn", "--bench"],
    ["learn", "--save", "--bench"],
    ["burnrate"],
    ["firing"],
    ["firing", "shot.csv", "--bench"],
    ["firing", "--delay", "--strands"],
]  # fmt: skip


@pytest.mark.parametrize("words", READING)
def test_inputs_that_are_none(
    words: list[str], bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pipe, a device, a link to itself, a long name, a huge file: at once."""
    os.mkfifo("pipe")
    Path("loop").symlink_to("loop")
    with Path("huge").open("wb") as stream:
        stream.truncate(3_000_000_000)
    rest = DELAY[4:] if words[-1] == "--strands" else []
    for name in ("pipe", "/dev/zero", "loop", "n" * 300, "huge", "."):
        line = refused([*words, name, *rest], capsys)
        assert "cannot be" in line or "allowed" in line


@pytest.mark.parametrize(
    ("words", "name"),
    [
        *(
            (["evaluate", "base", "--bench", "bench.toml", "--no-confirm"], name)
            for name in ("a\\u0000b", "n" * 300, ".", "/dev/zero")
        ),
        (["justify", "base", MIX, "--bench", "bench.toml"], "/dev/zero"),
        (["batch", "new", "base", "--batch", "200 g", "--bench", "bench.toml"], "."),
        (["learn", "--bench", "bench.toml"], "a\\u0000b"),
        (["learn", "--bench", "bench.toml"], "/dev/zero"),
    ],
)
def test_strands_that_a_bench_file_names(
    words: list[str], name: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bench / "bench.toml"
    text = path.read_text("utf-8")
    assert 'strands = "strands.csv"' in text
    path.write_text(text.replace("strands.csv", name), "utf-8")
    if words[0] == "learn":
        made = ["batch", "new", MIX, "--batch", "200 g", "--no-bench"]
        assert main(made) == 0
        assert main(["batch", "close", _only_batch(), "--outcome", "used"]) == 0
        words = [*words, "--dir", "batches"]
    code = main(words)
    err = capsys.readouterr().err
    assert (code, "Traceback" in err) == (2 if words[0] != "learn" else code, False)


def _only_batch() -> str:
    (path,) = Path("batches").glob("*.jsonl")
    return path.name.removesuffix(".jsonl")


FOLDERS = [
    ["batch", "list", "--dir"],
    ["batch", "show", "2026-05-02-1", "--dir"],
    ["batch", "add", "2026-05-02-1", "--observe", "pale", "--dir"],
    ["batch", "new", MIX, "--batch", "200 g", "--dir"],
    ["learn", "--bench", "bench.toml", "--dir"],
    ["init"],
]


@pytest.mark.parametrize("words", FOLDERS)
def test_folders_that_are_none(
    words: list[str], bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("loop").symlink_to("loop")
    for name in ("loop", "loop/deeper", "n" * 300, "bench.toml", "bench.toml/deeper"):
        refused([*words, name], capsys)


def test_closed_folders(capsys: pytest.CaptureFixture[str]) -> None:
    """Without permission: nothing is read, nothing is written, one line each."""
    with public_folder() as folder:
        write_example(folder)
        path, shut = folder / "bench.toml", folder / "shut"
        shut.mkdir()
        cases = [
            ["evaluate", MIX, "-o", str(folder / "x")],
            ["evaluate", MIX, "-o", str(shut / "x")],
            [*DENSITY, "--bench", str(path), "--save"],
            [*DENSITY, "--bench", str(shut / "bench.toml")],
            ["learn", "--bench", str(path), "--save"],
            ["batch", "new", MIX, "--batch", "200 g", "--dir", str(folder / "b")],
            ["batch", "list", "--dir", str(shut)],
            ["init", str(folder / "c")],
            ["evaluate", "base", "--bench", str(shut / "bench.toml")],
            ["burnrate", str(shut / "strands.csv")],
        ]
        assert main([*DENSITY, "--bench", str(path)]) == 0  # loads what is needed
        assert main(["batch", "list", "--dir", str(folder / "b")]) in (1, 2)
        assert main(["learn", "--bench", str(path)]) == 1
        capsys.readouterr()
        shut.chmod(0)
        with as_nobody(folder):
            for words in cases:
                assert "ermission" in refused(words, capsys)
        assert not (folder / "b").exists()
        shut.chmod(0o755)


# --- the screen -----------------------------------------------------------------------


def _process(words: list[str], shell: str) -> subprocess.CompletedProcess[str]:
    """Run a command in a shell that does something to its output."""
    call = [sys.executable, "-m", "castsugar", *words]
    return subprocess.run(
        ["bash", "-o", "pipefail", "-c", f'"$@" {shell}', "bash", *call],
        capture_output=True,
        text=True,
        env={k: v for k, v in os.environ.items() if k != "PYTHONUNBUFFERED"},
        check=False,
    )


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is full")
@pytest.mark.parametrize(
    "words",
    [
        ["--version"],
        *(
            pytest.param(words, marks=pytest.mark.slow)
            for words in (
                ["--help"],
                [],
                ["ingredients", "--json"],
                ["completion", "bash"],
                ["evaluate", MIX, "--exit-pressure", "none"],
                ["batch", "list"],
                ["init"],
            )
        ),
    ],
)
@pytest.mark.parametrize("shell", [">/dev/full", ">&-"])
def test_output_that_is_full_or_closed(
    words: list[str], shell: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line and exit code 2; nothing is half there as if it were whole."""
    monkeypatch.chdir(tmp_path)
    done = _process(words, shell)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "printed" in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_disk_that_fills_up(unbuffered: str, tmp_path: Path) -> None:
    """The first 2 kB still find room: that is not the whole answer."""
    import resource

    def little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))

    with (tmp_path / "x").open("w") as out:
        done = subprocess.run(
            [sys.executable, "-m", "castsugar", "ingredients", "--json"],
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
            preexec_fn=little_room,
            check=False,
        )
    said = "castsugar: the result cannot be printed: File too large\n"
    assert (done.returncode, done.stderr) == (2, said)


@pytest.mark.slow
def test_complaints_that_nobody_hears() -> None:
    """With the error output closed the exit code is the same."""
    assert _process(["evaluate", "KNO3:60 suger:40"], "2>&-").returncode == 2
    done = _process(["ingredients", "sucrose"], "2>&-")
    assert (done.returncode, done.stdout[:7]) == (0, "sucrose")


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is full")
@pytest.mark.parametrize("shell", ["2>/dev/full", ">/dev/full 2>&1"])
def test_complaints_that_find_no_room(shell: str, tmp_path: Path) -> None:
    """Nor does it change the exit code that they cannot be written."""
    file = tmp_path / "x"
    assert _process(["evaluate", "KNO3:60 suger:40"], shell).returncode == 2
    assert _process(["evaluate"], shell).returncode == 2
    done = _process(["ingredients", "sucrose", "-o", str(file)], shell)
    assert done.returncode == 0
    assert file.read_text("utf-8").startswith("sucrose")


@pytest.mark.slow
def test_a_reader_that_leaves_early_costs_no_file(tmp_path: Path) -> None:
    """The page is written all the same, and the exit code stays 0."""
    page = tmp_path / "sheet.html"
    words = ["weigh", MIX, "--batch", "200 g", "--page", str(page)]
    done = _process(words, "| :")
    assert done.returncode == 0
    assert done.stderr == f"wrote {page}\n"
    assert page.read_text("utf-8").rstrip().endswith("</html>")
