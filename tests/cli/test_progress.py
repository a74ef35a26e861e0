"""What a terminal shows beside long work: a clock by hand, a console into a text."""

from __future__ import annotations

import argparse
import io
import time

import pytest
from rich.console import Console

from castsugar.cli import progress
from castsugar.cli.progress import PATIENCE, Progress
from castsugar.cli.screen import remark

# Exact: the times are given.
pytestmark = pytest.mark.exact


class Clock:
    """Seconds that run when the test says so."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def screen() -> io.StringIO:
    return io.StringIO()


@pytest.fixture
def line(clock: Clock, screen: io.StringIO) -> Progress:
    def console() -> Console:
        return Console(file=screen, force_terminal=True, width=80, color_system=None)

    return Progress("search", console, clock)


def test_quick_work_shows_nothing(
    line: Progress, clock: Clock, screen: io.StringIO
) -> None:
    clock.now += 0.99 * PATIENCE
    line.tick()
    line.clear()
    assert screen.getvalue() == ""


def test_work_without_a_count_shows_seconds(
    line: Progress, clock: Clock, screen: io.StringIO
) -> None:
    clock.now += 12.0
    line.tick()
    assert "search, 12 s" in screen.getvalue()
    assert "\u2501" not in screen.getvalue()  # no bar
    line.clear()
    assert screen.getvalue().endswith("\x1b[2K")  # the line is wiped


def test_half_done_after_60_s_leaves_60(
    line: Progress, clock: Clock, screen: io.StringIO
) -> None:
    line.count(0, 10, "mixes")
    clock.now += 60.0
    line.count(5, 10, "mixes")
    line.tick()
    assert "5 of 10 mixes, about 60 s left" in screen.getvalue()
    assert 9 <= screen.getvalue().count("\u2501") <= 20


def test_other_work_is_timed_anew(
    line: Progress, clock: Clock, screen: io.StringIO
) -> None:
    line.count(5, 10, "mixes")
    clock.now += 60.0
    line.count(0, 8, "draws")
    clock.now += 4.0
    line.count(2, 8, "draws")
    line.tick()
    assert "2 of 8 draws, about 12 s left" in screen.getvalue()


def test_what_is_printed_takes_it_away_for_a_while(
    line: Progress, clock: Clock, screen: io.StringIO
) -> None:
    clock.now += 10.0
    line.tick()
    line.clear()
    shown = screen.getvalue()
    clock.now += 0.5 * PATIENCE
    line.tick()
    assert screen.getvalue() == shown
    clock.now += PATIENCE
    line.tick()
    assert "search, 13 s" in screen.getvalue()


@pytest.mark.parametrize(
    ("terminal", "json", "term", "seen"),
    [
        (True, False, "xterm", True),
        (False, False, "xterm", False),
        (True, True, "xterm", False),
        (True, False, "dumb", False),
    ],
)
def test_only_a_person_at_a_terminal_sees_it(
    terminal: bool,
    json: bool,
    term: str,
    seen: bool,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """As a command runs: a thread draws, a remark has its line for itself."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: terminal, raising=False)
    monkeypatch.setenv("TERM", term)
    monkeypatch.setattr(progress, "PATIENCE", 0.0)
    monkeypatch.setattr(progress, "_PERIOD", 0.01)
    drawn: list[str] = []
    monkeypatch.setattr(Progress, "tick", lambda self: drawn.append("line"))
    monkeypatch.setattr(Progress, "clear", lambda self: drawn.append("gone"))
    with progress.shown(argparse.Namespace(command="map", json=json)):
        end = time.monotonic() + 20.0
        while seen and "line" not in drawn and time.monotonic() < end:
            time.sleep(0.01)
        remark("wrote a.csv")
    assert ("line" in drawn) == seen
    assert (drawn[-1:] == ["gone"]) == seen
    assert drawn.count("gone") == 2 * seen
    assert capsys.readouterr().err == "wrote a.csv\n"
