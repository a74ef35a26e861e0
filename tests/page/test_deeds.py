"""What the page has done for it: commands as processes of their own.

Exact: what runs, what is refused and what is left is known. Commands are a script that
does as it is told, but for two of castsugar itself.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from castsugar.errors import InputError
from castsugar.page import deeds as deeds_module
from castsugar.page.deeds import Deeds
from castsugar.page.desk import Page

pytestmark = pytest.mark.exact

WAITING = "import time; time.sleep(60)\n"
STUBBORN = "import signal; signal.signal(15, signal.SIG_IGN)\nopen('on', 'w')\n"


class Run(NamedTuple):
    """The deeds of a page, the words and the processes of its commands."""

    deeds: Deeds
    words: list[list[str]]
    began: list[subprocess.Popen[bytes]]

    def start(self, kind: Any = "weigh", mass: Any = None, **state: Any) -> Any:
        """Start a deed of the base with some boxes changed."""
        own = self.deeds.page.start() | state
        return self.deeds.start({"kind": kind, "state": own, "mass": mass})

    def end(self, kind: str = "weigh", **more: Any) -> dict[str, Any]:
        """Start one and return what comes of it."""

        async def ended() -> str:
            return "".join([piece async for piece in self.start(kind, **more)])

        told: dict[str, Any] = json.loads(asyncio.run(ended()))
        return told

    def left(self, enough: Callable[[], bool] = lambda: True) -> None:
        """Start one, and go when its process runs and that is enough."""

        async def begun() -> None:
            told = self.start()
            while await anext(told) and not enough():
                pass
            await told.aclose()

        asyncio.run(begun())


@pytest.fixture
def fake(bench: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Run]:
    """Return a function: script -> deeds whose commands are that script.

    It finds the path of the page that it is to write behind ``--page``.
    """
    run = Run(Deeds(Page(bench)), [], [])
    monkeypatch.setattr(deeds_module, "_LOOK", 0.02)

    def made(script: str) -> Run:
        real = subprocess.Popen

        def popen(command: list[str], **more: Any) -> Any:
            run.words.append(command)
            own = [sys.executable, "-c", script, *command[3:]]
            run.began.append(real(own, **more))
            return run.began[-1]

        monkeypatch.setattr(deeds_module.subprocess, "Popen", popen)
        return run

    return made


PAGE = "import sys\nw = sys.argv\nopen(w[w.index('--page') + 1], 'w').write('made')\n"


def test_document(fake: Callable[[str], Run]) -> None:
    """Its page is kept under a name that nobody guesses."""
    run = fake(PAGE)
    told = run.end()
    recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
    assert told["text"] == f"The weigh sheet is ready. Mix: {recipe}."
    ((name, page),) = run.deeds.made.items()
    assert (told["open"], page) == (f"/made/{name}", b"made")
    assert len(name) == 32  # 24 bytes in base 64
    bench = ["weigh", recipe, "--grains", "4", "--bench", "bench.toml", "--page"]
    assert run.words[0][:-1] == [sys.executable, "-m", "castsugar", *bench]
    assert not Path(run.words[0][-1]).parent.exists()


def test_who_leaves_ends_it(fake: Callable[[str], Run]) -> None:
    """What runs is ended, what was written is gone, and another may begin."""
    run = fake(WAITING)
    for count in (1, 2):
        run.left()
        assert len(run.began) == count
        assert run.began[-1].returncode == -signal.SIGTERM
        assert not Path(run.words[-1][-1]).parent.exists()


def test_one_that_does_not_listen(
    fake: Callable[[str], Run], bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is ended all the same."""
    monkeypatch.setattr(deeds_module, "_PATIENCE", 0.1)
    run = fake(STUBBORN + WAITING)
    run.left(bench.with_name("on").exists)
    assert run.began[0].returncode == -signal.SIGKILL


def test_second_at_once(fake: Callable[[str], Run]) -> None:
    """Refused while the first runs."""
    run = fake(WAITING)

    async def both() -> None:
        first, second = run.start(), run.start()  # two tabs in the same moment
        await anext(first)
        with pytest.raises(InputError, match="something is being done already"):
            run.start()
        assert "being done already" in await anext(second)
        await first.aclose()

    asyncio.run(both())
    assert len(run.words) == 1


@pytest.mark.parametrize(
    ("script", "error"),
    [
        ("import sys; print('castsugar: no pan', file=sys.stderr); exit(2)", "no pan"),
        ("exit(3)", "code 3"),
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
    assert fake(script).end() == {"text": error}


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
    run.end(cook="121 C 9 min")
    words = run.words[0]
    assert words[words.index("--cook") + 1] == "121 C 9 min"


@pytest.mark.parametrize(
    ("box", "named"),
    [
        ({"throat": "9 mm"}, "made from: throat = 9 mm[.]"),
        ({"pour_viscosity_Pa_s-at_most": "12"}, "pour viscosity, .* = 12[.]"),
        ({"throat": "9 mm", "grains": "3"}, "from: grains = 3; throat = 9 mm[.]"),
    ],
)
@pytest.mark.parametrize("kind", ["weigh", "record", "batch", "search"])
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
        fake(PAGE).start("search", cook="121 C 8 min")


@pytest.mark.parametrize("kind", [None, "", "rm", 5, ["weigh"], {"a": 1}, "--help"])
def test_no_kind(fake: Callable[[str], Run], kind: Any) -> None:
    """Nothing but the four can be had done."""
    run = fake(PAGE)
    with pytest.raises(InputError, match="a deed is one of"):
        run.start(kind)
    assert run.words == []


def test_read_only_makes_no_batch(bench: Path) -> None:
    """The others keep nothing, so they stay."""
    page = Page(bench, read_only=True)
    with pytest.raises(InputError, match=r"one of weigh, record, search$"):
        Deeds(page).start({"kind": "batch", "state": page.start()})


def test_no_base(fake: Callable[[str], Run], bench: Path) -> None:
    """A record needs something to change from."""
    lines = bench.read_text("utf-8").splitlines(keepends=True)
    kept = [one for one in lines if not one.startswith(('"base" =', '"red" ='))]
    assert len(lines) - len(kept) == 2
    bench.write_text("".join(kept), "utf-8")
    run = fake(PAGE)
    run.deeds.page.reload()
    with pytest.raises(InputError, match="no base to change from"):
        run.start("record")


def test_few_are_kept(
    fake: Callable[[str], Run], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest documents are forgotten."""
    monkeypatch.setattr(deeds_module, "_KEPT", 2)
    run = fake(PAGE)
    opened = [run.end()["open"].removeprefix("/made/") for _ in range(3)]
    assert list(run.deeds.made) == opened[1:]


def test_long_talk_holds_nothing_up(fake: Callable[[str], Run]) -> None:
    """More than a pipe takes, and its last line is what is told."""
    run = fake("import sys\nsys.stderr.write('x' * 300_000 + '\\nno')\nexit(2)")
    assert run.end()["text"] == "no"


@pytest.mark.parametrize("mass", [None, "", "200", "1e9 kg", "-3 g", ["200 g"]])
def test_batch_of_no_mass(fake: Callable[[str], Run], mass: Any) -> None:
    """A batch has a mass."""
    run = fake(PAGE)
    with pytest.raises(InputError):
        run.start("batch", mass)
    assert run.words == []


# ----------------------------------------------------------------------------
# The commands of castsugar themselves


@pytest.mark.slow
def test_real_sheet_and_record(bench: Path) -> None:
    """Both make a page; neither says where on this machine it was made."""
    run = Run(Deeds(Page(bench)), [], [])
    there = sorted(bench.parent.rglob("*"))
    parts = [["KNO3", "60"], ["powdered sugar", "17"], ["corn syrup", "23"]]
    for kind in ("weigh", "record"):
        told = run.end(kind, parts=parts)
        document = run.deeds.made[told["open"].removeprefix("/made/")].decode()
        assert document.lower().startswith("<!doctype html>")
        for path in (bench.parent, sys.prefix, Path.home()):
            assert f"{path}{os.sep}" not in document
        assert "castsugar-" not in document  # the folder of a deed
        assert "<script" not in document
    assert sorted(bench.parent.rglob("*")) == there


@pytest.mark.slow
def test_real_batch(bench: Path) -> None:
    """Its record has the recipe and the mass that was asked for."""
    run = Run(Deeds(Page(bench)), [], [])
    told = run.end("batch", mass="300 g")
    (made,) = (bench.parent / "batches").iterdir()
    assert made.stem in told["text"]
    shown = subprocess.run(
        [sys.executable, "-m", "castsugar", "batch", "show", made.stem],
        cwd=bench.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    assert re.search(r"together +300\.0", shown.stdout)
