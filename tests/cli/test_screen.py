"""What reaches a screen: every encoding can show it, nothing in it steers."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from castsugar.cli import screen
from castsugar.cli.main import main

# Exact: characters against characters.
pytestmark = pytest.mark.exact

BASE = "KNO3:65 sucrose:35"


def shown(
    monkeypatch: pytest.MonkeyPatch, encoding: str, *words: str
) -> tuple[int, str]:
    """Return exit code and stdout of a command on a screen of this encoding."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    code = main(words)
    stream.flush()
    assert isinstance(stream.buffer, io.BytesIO)
    return code, stream.buffer.getvalue().decode(encoding)


@pytest.mark.parametrize(
    ("encoding", "wanted"),
    [
        ("utf-8", "\u221210 \u00b12 \u00e9 \u7cd6"),
        ("cp1252", "-10 \u00b12 \u00e9 ?"),
        ("cp850", "-10 \u00b12 \u00e9 ?"),
        ("cp437", "-10 \u00b12 \u00e9 ?"),
        ("ascii", "-10 +-2 ? ?"),
    ],
)
def test_spelling(monkeypatch: pytest.MonkeyPatch, encoding: str, wanted: str) -> None:
    """A minus stays a minus; what has no spelling becomes "?"."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    screen.spell_what_does_not_fit()
    screen.say("\u221210 \u00b12 \u00e9 \u7cd6")
    stream.flush()
    assert isinstance(stream.buffer, io.BytesIO)
    assert stream.buffer.getvalue().decode(encoding) == wanted


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii"])
def test_json_loses_nothing(monkeypatch: pytest.MonkeyPatch, encoding: str) -> None:
    """JSON escapes what ASCII lacks, so that no character is replaced."""
    label = "\u7cd6 \u2212 \u00e9"
    code, out = shown(
        monkeypatch, encoding, "evaluate", f"{label}={BASE}", "--json", "--no-confirm"
    )
    assert code == 0
    assert out.isascii()
    assert json.loads(out)["mixes"][0]["name"] == label


def in_a_process(
    words: list[str | bytes], changed: Mapping[str, str]
) -> subprocess.CompletedProcess[bytes]:
    """Run castsugar in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "castsugar", *words],
        capture_output=True,
        check=False,
        env=os.environ | changed,
    )


@pytest.mark.slow
def test_process_with_an_ascii_screen() -> None:
    """In the encoding that the environment asks for."""
    done = in_a_process(["evaluate", BASE, "--full"], {"PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (0, b"")
    assert re.search(rb"oxygen balance, % +-1[0-9]", done.stdout)


def test_error_line_on_an_ascii_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The line repeats what was typed, as far as the screen can show it."""
    stream = io.TextIOWrapper(io.BytesIO(), "ascii")
    monkeypatch.setattr(sys, "stderr", stream)
    assert main(["evaluate", "KNO3:65 s\u00fccrose:35"]) == 2
    stream.seek(0)
    assert "unknown ingredient 's?crose'; did you mean 'sucrose'" in stream.read()


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="words are not bytes here")
@pytest.mark.parametrize("more", [[], ["-o", "made.txt"], ["--json"]])
def test_bytes_that_are_no_text(tmp_path: Path, more: list[str]) -> None:
    """A label with a byte that is not UTF-8: one line, and no file."""
    made = [str(tmp_path / w) if w.startswith("made") else w for w in more]
    words = ["evaluate", b"caf\xe9=KNO3:65 sucrose:35", *made]
    done = in_a_process(words, {"PYTHONUTF8": "1"})
    assert (done.returncode, done.stdout, done.stderr.count(b"\n")) == (2, b"", 1)
    assert b"'caf\\udce9=KNO3:65 sucrose:35' is not text in utf-8" in done.stderr
    assert not list(tmp_path.iterdir())


#: Clears the screen; turns the order of what follows; rings; takes back a line.
STEERING = "\x1b[2J", "\u202e", "\x07", "\x9b2J", "\r", "\u2066"

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize("steering", STEERING)
@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", "KNO3:65 sux{}crose:35"],
        ["evaluate", BASE, "--pressure", "7 MPa{}x"],
        ["evaluate", BASE, "--no-such{}option"],
        ["eval{}uate"],
        ["evaluate", BASE, "--bench", "no{}such.toml"],
        ["batch", "show", "no{}such"],
    ],
)
def test_error_lines_do_not_steer(
    capsys: Capture, words: list[str], steering: str
) -> None:
    """What was typed is repeated with its steering characters written out."""
    code = ended([word.format(steering) for word in words])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.endswith("\n")
    assert err[:-1].isprintable()


def ended(words: list[str]) -> object:
    """Run a command; return its exit code."""
    try:
        return main(words)
    except SystemExit as stop:
        return stop.code


@pytest.mark.parametrize("kind", [[], ["--json"], ["--csv"], ["-o", "made.txt"]])
def test_results_do_not_steer(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: list[str]
) -> None:
    """A label is shown with its steering characters written out; a file alike."""
    monkeypatch.chdir(tmp_path)
    label = "a".join(STEERING)
    words = ["evaluate", f"{label}b={BASE}", "--no-confirm", "--exit-pressure", "none"]
    assert main([*words, *kind]) == 0
    out = capsys.readouterr().out
    if "-o" in kind:
        out = Path("made.txt").read_text("utf-8")
    assert out.replace("\n", "").isprintable()
    if "--json" in kind:
        assert json.loads(out)["mixes"][0]["name"] == f"{label}b".replace("\r", " ")


@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", "KNO3:65 {}:35"],
        ["evaluate", "{} = KNO3 65"],
        ["evaluate", BASE, "--pressure", "7 {}"],
        ["evaluate", BASE, "--{}"],
        ["evaluate", BASE, "--bench", "{}"],
        ["{}"],
        ["batch", "show", "{}"],
    ],
)
@pytest.mark.parametrize("piece", ["x", "x ", "'", "x' ", '" ', "\x1b"])
def test_error_lines_are_short(capsys: Capture, words: list[str], piece: str) -> None:
    """Ten thousand characters typed do not fill the screen; the advice stays."""
    code = ended([word.format(piece * (10_000 // len(piece))) for word in words])
    out, err = capsys.readouterr()
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert len(err) < 1200
    assert "..." in err


def test_short_pieces_stay_whole() -> None:
    """What is no longer than a line of a terminal is repeated as it is."""
    said = f"the syrup's grade {'4' * 79!r} isn't known; the bottle's label says it"
    assert screen.one_line(said) == said
