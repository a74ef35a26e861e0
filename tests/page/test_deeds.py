"""What the page has done for it: commands as processes of their own.

Exact: what runs, what is refused and what is left is known. Commands are a script that
does as it is told, but for two of castsugar itself.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from castsugar.errors import InputError
from castsugar.page import deeds as deeds_module
from castsugar.page.deeds import Deeds
from castsugar.page.desk import Page

pytestmark = pytest.mark.exact

#: Seconds until something has surely happened, and between two looks.
PATIENCE, LOOK = 60.0, 0.02

SLOW = "import sys, time; print('half way', file=sys.stderr, flush=True)\n"
WAITING = SLOW + "time.sleep(60)"
STUBBORN = "import signal; signal.signal(15, signal.SIG_IGN)\n" + WAITING


class Run(NamedTuple):
    """A page, its deeds, and the words of the commands that were started."""

    page: Page
    deeds: Deeds
    words: list[list[str]]

    def start(self, kind: str = "weigh", **state: Any) -> dict[str, Any]:
        """Start a deed of the base with some boxes changed."""
        own = self.page.start() | state
        return self.deeds.start(self.page, {"kind": kind, "state": own, "more": {}})

    def end(self, kind: str = "weigh", **state: Any) -> dict[str, Any]:
        """Start one and wait for what comes of it."""
        name = self.start(kind, **state)["id"]
        return wait(lambda: self.deeds.state(name), lambda told: not told["running"])


def wait(look: Callable[[], Any], enough: Callable[[Any], bool] = bool) -> Any:
    """Return what is seen as soon as it is enough."""
    until = time.monotonic() + PATIENCE
    while not enough(seen := look()):
        assert time.monotonic() < until, seen
        time.sleep(LOOK)
    return seen


@pytest.fixture
def deeds() -> Iterator[Deeds]:
    """Return deeds that are ended after the test."""
    made = Deeds()
    yield made
    made.close()


@pytest.fixture
def fake(
    bench: Path, deeds: Deeds, monkeypatch: pytest.MonkeyPatch
) -> Callable[[str], Run]:
    """Return a function: script -> deeds whose commands are that script.

    It finds the path of the page that it is to write behind ``--page``.
    """
    words: list[list[str]] = []

    def made(script: str) -> Run:
        real = subprocess.Popen

        def popen(command: list[str], **more: Any) -> Any:
            words.append(command)
            return real([sys.executable, "-c", script, *command[3:]], **more)

        monkeypatch.setattr(deeds_module.subprocess, "Popen", popen)
        return Run(Page(bench), deeds, words)

    return made


PAGE = "import sys\nw = sys.argv\nopen(w[w.index('--page') + 1], 'w').write('made')\n"


def test_document(fake: Callable[[str], Run]) -> None:
    """Its page is kept under a name that nobody guesses; asked twice, the same."""
    run = fake(PAGE)
    started = run.start()
    told = wait(lambda: run.deeds.state(started["id"]), lambda x: not x["running"])
    assert (
        told["text"]
        == "The weigh sheet is ready. Mix: KNO3:60 powdered sugar:20 corn syrup:20."
    )
    assert run.deeds.state(started["id"]) == told
    assert list(run.deeds.made.values()) == [b"made"]
    name = told["open"].removeprefix("/made/")
    assert name in run.deeds.made
    assert len(name) == len(started["id"]) == 32  # 24 bytes in base 64
    assert run.words[0][:4] == [sys.executable, "-m", "castsugar", "weigh"]


def test_command_of_a_sheet(fake: Callable[[str], Run]) -> None:
    """For the grains of the bench, from the bench of the folder."""
    run = fake(PAGE)
    run.end()
    recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
    assert run.words[0][3:-2] == [
        *("weigh", recipe, "--grains", "4", "--bench", "bench.toml")
    ]


def test_progress_and_stop(fake: Callable[[str], Run]) -> None:
    """The last line while it runs; stopped, it is gone and says so."""
    run = fake(WAITING)
    name = run.start()["id"]
    said = wait(lambda: run.deeds.state(name), lambda told: told["said"])
    assert said["running"] is True
    assert said["said"] == "half way"
    assert said["seconds"] >= 0.0
    assert run.deeds.stop(name) == {"running": False}
    told = run.deeds.state(name)
    assert told["error"] == "stopped; nothing was written"
    assert run.deeds.stop(name) == {"running": False}
    assert run.deeds.state(name) == told


def test_one_that_does_not_listen(
    fake: Callable[[str], Run], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is ended all the same."""
    monkeypatch.setattr(deeds_module, "_PATIENCE", 0.1)
    run = fake(STUBBORN)
    name = run.start()["id"]
    wait(lambda: run.deeds.state(name)["said"])
    run.deeds.stop(name)
    process = run.deeds.process
    assert process is not None
    assert process.returncode == -signal.SIGKILL


def test_second_at_once(fake: Callable[[str], Run]) -> None:
    """Refused while the first runs, let in when it has ended."""
    run = fake(WAITING)
    name = run.start()["id"]
    with pytest.raises(InputError, match="something is being done already"):
        run.start()
    assert len(run.words) == 1
    run.deeds.stop(name)
    run.deeds.stop(run.start()["id"])
    assert len(run.words) == 2


@pytest.mark.parametrize(
    ("script", "error"),
    [
        ("import sys; print('castsugar: no pan', file=sys.stderr); exit(2)", "no pan"),
        ("exit(3)", "it ended with code 3"),
        (
            "import sys; print('\\x1b[31mred\\x1b[0m\\r', file=sys.stderr); exit(70)",
            "red",
        ),
    ],
)
def test_command_that_fails(
    fake: Callable[[str], Run], script: str, error: str
) -> None:
    """Its last line, without its name and its colours."""
    told = fake(script).end()
    assert told["error"] == error


@pytest.mark.parametrize(
    ("code", "text"),
    [
        (0, ""),
        (1, " Not what was asked of the change is supported."),
    ],
)
def test_record_of_both_answers(
    fake: Callable[[str], Run], code: int, text: str
) -> None:
    """A "no" is an answer too, with its page."""
    run = fake(f"{PAGE}exit({code})")
    told = run.end("record", parts=[["KNO3", "65"], ["sucrose", "35"]])
    ready = "The record is ready: it says what the numbers support."
    assert told["text"] == f"{ready}{text} Mix: KNO3:65 sucrose:35."
    assert told["open"].startswith("/made/")
    assert run.words[0][3:6] == ["justify", "base", "KNO3:65 sucrose:35"]


def test_cook_is_passed_on(fake: Callable[[str], Run]) -> None:
    """What a command can be told is told."""
    run = fake(PAGE)
    run.end(cook="121 C")
    words = run.words[0]
    assert words[words.index("--cook") + 1] == "121 C"
    assert words[words.index("--minutes") + 1] == "8"


@pytest.mark.parametrize(
    ("box", "named"),
    [
        ({"throat": "9 mm"}, "made from: throat 9 mm[.]"),
        ({"grains": "3"}, "made from: grains 3[.]"),
        (
            {"pour_viscosity_Pa_s-at_most": "12"},
            "made from: pour viscosity, at most 12[.]",
        ),
        ({"throat": "9 mm", "grains": "3"}, "made from: throat 9 mm; grains 3[.]"),
    ],
)
@pytest.mark.parametrize("kind", ["weigh", "record", "amounts", "batch", "search"])
def test_moved_on_the_page(
    fake: Callable[[str], Run], kind: str, box: dict[str, Any], named: str
) -> None:
    """A command reads the bench file: what it would not know of is refused."""
    run = fake(PAGE)
    with pytest.raises(InputError, match=named):
        run.start(kind, **box)
    assert run.words == []


def test_cook_of_a_search(fake: Callable[[str], Run]) -> None:
    """A search takes that of the file."""
    with pytest.raises(InputError, match="cook of the bench file"):
        fake(PAGE).start("search", cook="121 C")


@pytest.mark.parametrize("kind", [None, "", "rm", 5, ["weigh"], {"a": 1}, "--help"])
def test_no_kind(fake: Callable[[str], Run], kind: Any) -> None:
    """Nothing but the four can be had done."""
    run = fake(PAGE)
    with pytest.raises(InputError, match="a deed is one of"):
        run.start(kind)
    assert run.words == []


def test_read_only_makes_no_batch(page: Page) -> None:
    """The others keep nothing, so they stay."""
    deeds = Deeds(read_only=True)
    with pytest.raises(InputError, match="a deed is one of weigh, record, search"):
        deeds.start(page, {"kind": "batch", "state": page.start()})
    deeds.close()


def test_no_base(fake: Callable[[str], Run], bench: Path) -> None:
    """A record needs something to change from."""
    lines = bench.read_text("utf-8").splitlines(keepends=True)
    kept = [one for one in lines if not one.startswith(('"base" =', '"red" ='))]
    assert len(lines) - len(kept) == 2
    bench.write_text("".join(kept), "utf-8")
    with pytest.raises(InputError, match="no base to change from"):
        fake(PAGE).start("record")


def test_few_are_kept(
    fake: Callable[[str], Run], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest documents are forgotten."""
    monkeypatch.setattr(deeds_module, "_KEPT", 2)
    run = fake(PAGE)
    opened = [run.end()["open"].removeprefix("/made/") for _ in range(3)]
    assert list(run.deeds.made) == opened[1:]


def test_close_leaves_nothing(fake: Callable[[str], Run]) -> None:
    """What runs is ended, what was written is gone."""
    run = fake(WAITING)
    run.start()
    process, room = run.deeds.process, Path(run.deeds.room.name)
    assert process is not None
    assert room.is_dir()
    run.deeds.close()
    assert process.poll() is not None
    assert not room.exists()


def test_long_talk_holds_nothing_up(fake: Callable[[str], Run]) -> None:
    """More than a pipe takes, and its last line is what is told."""
    run = fake("import sys\nsys.stderr.write('x' * 300_000 + '\\nno')\nexit(2)")
    assert run.end()["error"] == "no"


# ----------------------------------------------------------------------------
# The commands of castsugar themselves


@pytest.mark.slow
def test_real_sheet_and_record(bench: Path, deeds: Deeds) -> None:
    """Both make a page; neither says where on this machine it was made."""
    run = Run(Page(bench), deeds, [])
    there = sorted(bench.parent.rglob("*"))
    parts = [["KNO3", "60"], ["powdered sugar", "17"], ["corn syrup", "23"]]
    for kind in ("weigh", "record"):
        told = run.end(kind, parts=parts)
        assert "error" not in told, told
        room = deeds.room.name
        document = deeds.made[told["open"].removeprefix("/made/")].decode()
        assert document.lower().startswith("<!doctype html>")
        for path in (bench.parent, room, sys.prefix, Path.home()):
            assert f"{path}{os.sep}" not in document
        assert "<script" not in document
    assert sorted(bench.parent.rglob("*")) == there


@pytest.mark.parametrize("mass", [None, "", "200", "1e9 kg", "-3 g", ["200 g"]])
def test_batch_of_no_mass(fake: Callable[[str], Run], mass: Any) -> None:
    """A batch has the mass that was shown before."""
    run = fake(PAGE)
    asked = {"kind": "batch", "state": run.page.start(), "mass": mass}
    with pytest.raises(InputError):
        run.deeds.start(run.page, asked)
    assert run.words == []


@pytest.mark.slow
def test_real_batch_is_that_of_the_sheet(bench: Path, deeds: Deeds) -> None:
    """Its amounts are shown before anything is kept; then it has their sum."""
    run = Run(Page(bench), deeds, [])
    shown = run.end("amounts")
    assert not (bench.parent / "batches").exists()
    grams = [float(x) for x in re.findall(r"([0-9.]+) g", shown["text"])]
    assert grams[0] == pytest.approx(sum(grams[1:]), abs=0.051)
    assert shown["mass"] == f"{grams[0]:g} g"
    asked = {"kind": "batch", "state": run.page.start(), "mass": shown["mass"]}
    name = deeds.start(run.page, asked)["id"]
    told = wait(lambda: deeds.state(name), lambda one: not one["running"])
    assert "error" not in told, told
    (made,) = (bench.parent / "batches").iterdir()
    assert made.stem in told["text"]
    shown = subprocess.run(
        [sys.executable, "-m", "castsugar", "batch", "show", made.stem],
        cwd=bench.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    assert re.search(rf"together +{grams[0]:.1f}", shown.stdout)
