"""What the page has done for it: commands of castsugar, each a process of its own.

So a deed says what the command says, stands in nobody's way while it works, and ends
when it is told to.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shlex
import subprocess
import sys
import tempfile
import time
from collections import OrderedDict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from castsugar import plausible
from castsugar.asked import doubts_of
from castsugar.errors import InputError
from castsugar.files.reading import read_bytes
from castsugar.page.boxes import State, parts_of
from castsugar.page.desk import Page

#: Kinds of deeds; those that make a page; those on the way to something kept.
KINDS = ("weigh", "record", "amounts", "batch", "search")
_PAGED, _KEEPING = ("weigh", "record"), ("amounts", "batch")

#: Documents that are kept, and the bytes of one at most.
_KEPT, _LARGEST = 20, 20_000_000

#: Seconds that a deed has to end by itself when it is told to.
_PATIENCE = 3.0

#: What a terminal is told beside the words.
_CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")

Told = dict[str, Any]


class Deeds:
    """The deeds of one page, one at a time.

    Parameters
    ----------
    read_only : bool
        Nothing is kept: no batch.

    Attributes
    ----------
    made : dict of str to bytes
        Documents by names that nobody can guess.
    process : subprocess.Popen or None
        The last deed; `room` holds what it answers, says and draws.
    """

    def __init__(self, *, read_only: bool = False) -> None:
        self.made: OrderedDict[str, bytes] = OrderedDict()
        self.kinds = tuple(x for x in KINDS if not (read_only and x in _KEEPING))
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, page: Page, asked: Told) -> Told:
        """Start a deed."""
        kind, state = asked.get("kind"), page.state(asked.get("state"))
        if kind not in self.kinds:
            raise InputError(f"a deed is one of {', '.join(self.kinds)}")
        if self.process is not None and self.process.poll() is None:
            raise InputError("something is being done already; stop it or wait for it")
        if state.own:  # a command reads the bench file
            raise InputError(
                f"not as in the bench file, which this is made from: "
                f"{'; '.join(state.own)}. Save the limits, put a throat or grains into "
                "the file, or go back to base"
            )
        words = command(kind, page, state, asked.get("mass"))
        self.recipe = state.recipe
        self.close()
        self._run(kind, [*words, "--bench", page.path.name], page.path.parent)
        return {"id": self.name}

    def _run(self, kind: str, words: Sequence[str], folder: Path) -> None:
        self.kind, self.name, self.told = kind, secrets.token_urlsafe(24), Told()
        self.room = tempfile.TemporaryDirectory(prefix="castsugar-")
        (answer, self._answer), (talk, self._talk) = (
            tempfile.mkstemp(dir=self.room.name) for _ in "12"
        )
        self._page, self.began = Path(self.room.name, "page.html"), time.monotonic()
        paper = ["--page", str(self._page)] if kind in _PAGED else []
        self.process = subprocess.Popen(
            [sys.executable, "-m", "castsugar", *words, *paper],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=answer,
            stderr=talk,
            env=os.environ | {"NO_COLOR": "1", "COLUMNS": "80"},
            start_new_session=True,
        )
        os.close(answer)
        os.close(talk)

    def state(self, name: Any) -> Told:
        """Say how far a deed is, or what came of it."""
        process = self._known(name)
        code, seconds = process.poll(), time.monotonic() - self.began
        lines = ["", *map(str.strip, re.split(r"[\r\n]+", _text(self._talk)))]
        said = next(filter(None, reversed(lines)), "").removeprefix("castsugar: ")
        if code is None:
            return {"running": True, "seconds": seconds, "said": said}
        if code < 0:
            return {"running": False, "error": "stopped; nothing was written"}
        if code > 1:  # 1 is the code of "no", which is an answer
            return {"running": False, "error": said or f"it ended with code {code}"}
        self.told = self.told or {"running": False} | self._came_of(code)
        return self.told

    def _came_of(self, code: int) -> Told:
        told = read(self.kind, _text(self._answer), code)
        if self.kind in _PAGED:
            told["text"] += f" Mix: {self.recipe}."
            name = secrets.token_urlsafe(24)
            told["open"] = f"/made/{name}"
            self.made[name] = read_bytes(self._page, _LARGEST)
            while len(self.made) > _KEPT:
                self.made.popitem(last=False)
        return told

    def stop(self, name: Any) -> Told:
        """End a deed, kindly at first; InputError for one that is not known."""
        process = self._known(name)
        process.terminate()
        try:
            process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        return {"running": False}

    def close(self) -> None:
        """End what runs, and leave nothing behind."""
        if self.process is not None:
            self.stop(self.name)
            self.room.cleanup()
            self.process = None

    def _known(self, name: Any) -> subprocess.Popen[bytes]:
        if self.process is None or name != self.name:
            raise InputError("no such deed; start it again")
        return self.process


def _text(path: str) -> str:
    return _CODES.sub("", read_bytes(Path(path), _LARGEST).decode("utf-8", "replace"))


def command(kind: str, page: Page, state: State, mass: Any) -> list[str]:
    """Return the words of the command that does a deed; `mass` is that of a batch."""
    if kind == "search":
        if state.cook:
            raise InputError(
                "the search takes the cook of the bench file: put it there"
            )
        return ["search", "--json"]
    if kind == "record":
        if not page.base:
            todo = "put the mix you make into [recipes]"
            raise InputError(f"no base to change from: {todo}")
        return ["justify", page.base, state.recipe, *state.cook]
    if kind == "batch":
        read = plausible.read(str(mass), "batch", where="batch")
        return ["batch", "new", state.recipe, "--batch", read.text, *state.cook]
    grains = next(iter(page.boxes.values())).get("grains")
    usual = f"{1e3 * doubts_of(page.world.bench)[1].batch:.6g} g"
    amount = ["--grains", grains.start] if grains else ["--batch", usual]
    shown = ["--json"] if kind == "amounts" else []
    return ["weigh", state.recipe, *amount, *state.cook, *shown]


def read(kind: str, answer: str, code: int) -> Told:
    """Return what a command answered: a text, and what can be done with it."""
    if kind == "weigh":
        return {"text": "The weigh sheet is ready."}
    if kind == "record":
        no = " Not what was asked of the change is supported." if code else ""
        return {"text": f"The record is ready: it says what the numbers support.{no}"}
    if kind == "batch":
        return {"text": answer.partition("\n")[0].strip()}
    told = json.loads(answer)
    if kind == "amounts":
        lines = [f"{x['typed']} {x['mass_to_weigh_g']:g} g" for x in told["lines"]]
        mass = f"{told['mass_on_scale_g']:g} g"
        return {"text": f"{mass} in all: {', '.join(lines)}.", "mass": mass}
    said = [x["text"] for x in told["findings"][:2] if x["status"] != "EXAMPLE"]
    found: Told = {"text": " ".join(said) or told["reason"]}
    if told["feasible"] and told["next"].startswith("castsugar weigh "):
        found["found"] = parts_of(shlex.split(told["next"])[2])
    return found
