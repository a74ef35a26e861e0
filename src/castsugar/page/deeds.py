"""What the page has done for it: commands of castsugar, each a process of its own.

So a deed says what the command says, stands in nobody's way while it works, and ends
when it is told to.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import subprocess
import sys
import tempfile
import time
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.errors import InputError
from castsugar.files.reading import read_bytes
from castsugar.page.state import cook_text

if TYPE_CHECKING:
    from castsugar.page.live import Page
    from castsugar.page.state import State

#: Documents that are kept, and the bytes of one at most.
_KEPT, _LARGEST = 20, 20_000_000

#: What a terminal is told beside the words.
_CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")

#: Leaves this kind of answer with the code of "no", which is an answer.
_NO = 1


@dataclass(eq=False)
class Deed:
    """One command that runs, or ran.

    Attributes
    ----------
    kind : str
    process : subprocess.Popen
    folder : Path
        Where it says and writes things.
    began : float
        [s]
    """

    kind: str
    process: subprocess.Popen[bytes]
    folder: Path
    began: float

    def said(self, name: str) -> str:
        """Return what it wrote so far."""
        text = (self.folder / name).read_bytes().decode("utf-8", "replace")
        return _CODES.sub("", text)

    @property
    def last(self) -> str:
        """The last line of its talk."""
        lines = re.split(r"[\r\n]+", self.said("talk"))
        return next((line.strip() for line in reversed(lines) if line.strip()), "")


class Deeds:
    """The deeds of one page.

    Attributes
    ----------
    made : dict of str to bytes
        Documents by names that nobody can guess.
    """

    def __init__(self) -> None:
        self.made: OrderedDict[str, bytes] = OrderedDict()
        self._running: dict[str, Deed] = {}
        self._room = tempfile.TemporaryDirectory(prefix="castsugar-")

    def start(
        self, page: Page, asked: dict[str, Any], read_only: bool = False
    ) -> dict[str, Any]:
        """Start a deed.

        Raises
        ------
        InputError
            A kind that is none, one that writes where nothing may be written, and
            settings that the command would not know of.
        """
        kind, state = asked.get("kind"), page.state(asked.get("state"))
        if kind not in _WORDS:
            raise InputError(f"a deed is one of {', '.join(_WORDS)}")
        if kind == "batch" and read_only:
            raise InputError("opened read-only: no batch is kept")
        if any(deed.process.poll() is None for deed in self._running.values()):
            raise InputError("something is being done already; stop it or wait for it")
        _check_settings(kind, state)
        folder = Path(tempfile.mkdtemp(dir=self._room.name))
        words = [*_WORDS[kind](page, state), "--bench", str(page.path)]
        if kind in _PAGED:
            words += ["--page", str(folder / "page.html")]
        name = secrets.token_urlsafe(24)
        self._running[name] = Deed(kind, _process(words, folder, page), folder, _now())
        return {"id": name, "command": " ".join(["castsugar", *words[:2]])}

    def state(self, name: str) -> dict[str, Any]:
        """Say how far a deed is, or what came of it.

        Raises
        ------
        InputError
        """
        deed = self._deed(name)
        code = deed.process.poll()
        seconds = _now() - deed.began
        if code is None:
            return {"running": True, "seconds": seconds, "said": deed.last}
        told = {"running": False, "seconds": seconds, "ok": code in (0, _NO)}
        if code not in (0, _NO):
            stopped = "stopped; nothing was written" if code < 0 else deed.last
            return told | {"error": stopped or f"it ended with code {code}"}
        return told | self._came_of(deed, code)

    def _came_of(self, deed: Deed, code: int) -> dict[str, Any]:
        if deed.kind == "search":
            return _found(deed)
        first = deed.said("answer").strip().splitlines()
        said = {"record": _VERDICTS[code], "weigh": "The weigh sheet is ready."}
        told: dict[str, Any] = {"text": said.get(deed.kind) or " ".join(first[:3])}
        page = deed.folder / "page.html"
        if page.is_file():
            told["open"] = f"/made/{self._keep(read_bytes(page, _LARGEST))}"
            page.unlink()
        return told

    def _keep(self, document: bytes) -> str:
        name = secrets.token_urlsafe(24)
        self.made[name] = document
        while len(self.made) > _KEPT:
            self.made.popitem(last=False)
        return name

    def stop(self, name: str) -> dict[str, Any]:
        """End a deed.

        Raises
        ------
        InputError
        """
        deed = self._deed(name)
        if deed.process.poll() is None:
            deed.process.terminate()
            deed.process.wait(timeout=10)
        return {"running": False}

    def close(self) -> None:
        """End what runs, and leave nothing behind."""
        for name in self._running:
            self.stop(name)
        self._room.cleanup()

    def _deed(self, name: str) -> Deed:
        if name not in self._running:
            raise InputError("no such deed; start it again")
        return self._running[name]


def _now() -> float:
    return time.monotonic()


def _process(words: Sequence[str], folder: Path, page: Page) -> subprocess.Popen[bytes]:
    own = os.environ | {"NO_COLOR": "1", "COLUMNS": "80"}
    with (folder / "answer").open("wb") as answer, (folder / "talk").open("wb") as talk:
        return subprocess.Popen(
            [sys.executable, "-m", "castsugar", *words],
            cwd=page.path.parent,
            stdin=subprocess.DEVNULL,
            stdout=answer,
            stderr=talk,
            env=own,
        )


# ----------------------------------------------------------------------------
# The words of each command.


def _cook(state: State) -> list[str]:
    """Return the cook, where it is not that of the bench."""
    cook = state.settings.cook
    return [] if cook is None else ["--cook", cook_text(cook)]


def _weigh(page: Page, state: State) -> list[str]:
    grains = page.desk.start["grains"]
    amount = ["--grains", grains] if grains else ["--batch", "200 g"]
    return ["weigh", state.recipe, *amount, *_cook(state)]


def _record(page: Page, state: State) -> list[str]:
    base = page.base
    if not base:
        raise InputError("no base to change from: put the mix you make into [recipes]")
    return ["justify", base, state.recipe, *_cook(state)]


def _batch(page: Page, state: State) -> list[str]:
    return ["batch", "new", state.recipe, *_cook(state)]


def _search(page: Page, state: State) -> list[str]:
    if state.settings.cook is not None:
        raise InputError("the search takes the cook of the bench file: put it there")
    return ["search", "--json"]


_WORDS = {"weigh": _weigh, "record": _record, "batch": _batch, "search": _search}

#: Those that make a page.
_PAGED = ("weigh", "record")

_VERDICTS = {
    0: "The numbers support the change.",
    1: "The numbers do not support the change: the record says why.",
}


def _check_settings(kind: str, state: State) -> None:
    """Refuse what is set on the page alone: a command reads the bench file."""
    own = state.settings
    moved = [
        *(["throat"] if own.throat is not None else []),
        *(["grains"] if own.grains is not None else []),
        *(["limits"] if own.limits else []),
    ]
    if moved:
        raise InputError(
            f"{' and '.join(moved)} differ from the bench file, which this is made "
            "from: save the limits, put a throat or grains into the file, or go back "
            "to base"
        )


def _found(deed: Deed) -> dict[str, Any]:
    """Return what a search found, as parts of a recipe."""
    told = json.loads(deed.said("answer"))
    text = " ".join(x["text"] for x in told["findings"][:2] if x["status"] != "EXAMPLE")
    recipe = (told.get("chosen") or {}).get("recipe")
    if not told["feasible"] or not recipe:
        return {"text": text or told["reason"], "found": None}
    names = {v: k for k, v in told["ingredients_as_typed"].items()}
    parts = [
        [name, f"{recipe[key]:.6g}"]
        for item, name in names.items()
        if (key := f"{item.replace(' ', '_')}_mass_percent") in recipe
    ]
    return {"text": text, "found": parts}
