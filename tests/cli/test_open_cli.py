"""`castsugar open`: bad input in one line, and its end by Ctrl-C and by SIGTERM.

Exact: exit codes and lines are known.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from castsugar.bench.example import write_example
from castsugar.cli import open_page
from castsugar.cli.main import main
from castsugar.page import serve

pytestmark = pytest.mark.exact

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with an example bench."""
    write_example(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(capsys: Capture, *words: str) -> str:
    """Return the one line of bad input."""
    assert main(["open", "--no-browser", *words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "Traceback" not in told.err
    return told.err.strip().splitlines()[-1]


def test_port_taken(capsys: Capture) -> None:
    """What to do is said."""
    with serve.bound(0) as own:
        own.listen()
        port = str(own.getsockname()[1])
        line = refused(capsys, "--port", port)
    assert line.startswith(f"castsugar: --port {port} cannot be had")
    assert "leave --port out" in line


@pytest.mark.parametrize("port", ["99999", "x", "", "8.5", "\u0664"])
def test_no_port(capsys: Capture, port: str) -> None:
    """No number, or none that is a port."""
    assert refused(capsys, "--port", port).startswith("castsugar: --port is ")


def test_bench_missing(capsys: Capture, here: Path) -> None:
    """Named and not there; not named and not there."""
    assert "nowhere.toml" in refused(capsys, "nowhere.toml")
    (here / "bench.toml").unlink()
    assert "needs a bench file" in refused(capsys)


def test_bench_broken(capsys: Capture, here: Path) -> None:
    """Its line is said."""
    (here / "bench.toml").write_text("[recipes]\n'a' = \n", "utf-8")
    assert "line 2" in refused(capsys)


class Served:
    """Stands for the server."""

    def __init__(self) -> None:
        self.page: Any = None

    def __call__(self, page: Any, own: Any, **more: Any) -> None:
        self.page = page


@pytest.mark.slow
def test_not_writable(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """Opened read-only, and it is said; the same as asked for."""
    served = Served()
    monkeypatch.setattr(serve, "run", served)
    assert main(["open"]) == 0
    assert served.page.read_only is False
    assert main(["open", "--read-only"]) == 0
    assert served.page.read_only is True
    assert "cannot be written" not in capsys.readouterr().err
    monkeypatch.setattr(open_page.os, "access", lambda *_: False)
    assert main(["open"]) == 0
    assert served.page.read_only is True
    assert "cannot be written to; opened read-only" in capsys.readouterr().err


@pytest.mark.parametrize(("found", "lines"), [(True, 0), (False, 1)])
def test_no_browser(monkeypatch: pytest.MonkeyPatch, found: bool, lines: int) -> None:
    """One line says so."""
    said: list[str] = []
    monkeypatch.setattr(serve.webbrowser, "open_new_tab", lambda address: found)
    serve._shown("http://127.0.0.1:1/#x", said.append)
    assert said == ["No browser was found: open the link above."][:lines]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sent", "codes"),
    [(signal.SIGINT, {0}), (signal.SIGTERM, {0, -signal.SIGTERM})],
)
def test_end(here: Path, tmp_path: Path, sent: signal.Signals, codes: set[int]) -> None:
    """The link alone on the first line; at the end no folder is left, no traceback."""
    room = tmp_path / "temporary"
    room.mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "castsugar", "open", "--no-browser"],
        cwd=here,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(room)},
    )
    try:
        assert process.stdout is not None
        link = process.stdout.readline().strip()
        assert link.startswith("http://127.0.0.1:")
        _asked(link)
        process.send_signal(sent)
        rest, talk = process.communicate(timeout=20)
    finally:
        process.kill()
        process.wait()
    assert process.returncode in codes
    assert rest == ""
    assert talk.strip() == "castsugar: Ctrl-C ends it"
    assert list(room.iterdir()) == []


def _asked(link: str) -> None:
    """Get the page, so that the server is surely up."""
    from urllib.request import urlopen

    with urlopen(link.partition("#")[0], timeout=20) as found:
        assert found.status == 200
