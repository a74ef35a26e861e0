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
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.asked import doubts_of
from castsugar.errors import InputError
from castsugar.files.reading import read_bytes
from castsugar.page.boxes import parts_of

if TYPE_CHECKING:
    from castsugar.page.boxes import State
    from castsugar.page.live import Page

#: Documents that are kept, and the bytes of one at most.
_KEPT, _LARGEST = 20, 20_000_000

#: Seconds that a deed has to end by itself when it is told to.
_PATIENCE = 3.0

#: What a terminal is told beside the words.
_CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")

Told = dict[str, Any]


class Deed:
    """One command that runs, or ran; its room holds what it answers, says and draws."""

    def __init__(self, kind: str, words: Sequence[str], folder: Path) -> None:
        self.kind, self.began, self.told = kind, time.monotonic(), Told()
        self.name = secrets.token_urlsafe(24)
        self.room = tempfile.TemporaryDirectory(prefix="castsugar-")
        (answer, self._answer), (talk, self._talk) = (
            tempfile.mkstemp(dir=self.room.name) for _ in "12"
        )
        self.page = Path(self.room.name, "page.html")
        paper = ["--page", str(self.page)] if kind in _PAGED else []
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

    @property
    def answer(self) -> str:
        """What it answered, once it has ended."""
        return _text(self._answer)

    @property
    def last(self) -> str:
        """The last line of its talk."""
        lines = ["", *map(str.strip, re.split(r"[\r\n]+", _text(self._talk)))]
        return next(filter(None, reversed(lines)), "").removeprefix("castsugar: ")

    def stop(self) -> None:
        """End it, kindly at first."""
        self.process.terminate()
        try:
            self.process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


def _text(path: str) -> str:
    return _CODES.sub("", read_bytes(Path(path), _LARGEST).decode("utf-8", "replace"))


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
    deed : Deed or None
        The last.
    """

    def __init__(self, *, read_only: bool = False) -> None:
        self.made: OrderedDict[str, bytes] = OrderedDict()
        self.deed: Deed | None = None
        kept = ("amounts", "batch") if read_only else ()
        self._words = {kind: x for kind, x in _WORDS.items() if kind not in kept}

    def start(self, page: Page, asked: Told) -> Told:
        """Start a deed."""
        kind, state = asked.get("kind"), page.state(asked.get("state"))
        if not isinstance(kind, str) or kind not in self._words:
            raise InputError(f"a deed is one of {', '.join(self._words)}")
        if self.deed is not None and self.deed.process.poll() is None:
            raise InputError("something is being done already; stop it or wait for it")
        if state.own:  # a command reads the bench file
            raise InputError(
                f"not as in the bench file, which this is made from: "
                f"{'; '.join(state.own)}. Save the limits, put a throat or grains into "
                "the file, or go back to base"
            )
        words = [*self._words[kind](page, state, asked), "--bench", page.path.name]
        self.close()
        self.deed = Deed(kind, words, page.path.parent)
        return {"id": self.deed.name}

    def state(self, name: str) -> Told:
        """Say how far a deed is, or what came of it."""
        deed = self._deed(name)
        code, seconds = deed.process.poll(), time.monotonic() - deed.began
        if code is None:
            return {"running": True, "seconds": seconds, "said": deed.last}
        if not deed.told:
            deed.told = {"running": False} | self._came_of(deed, code)
        return deed.told

    def _came_of(self, deed: Deed, code: int) -> Told:
        if code < 0:
            return {"error": "stopped; nothing was written"}
        if code > 1:  # 1 is the code of "no", which is an answer
            return {"error": deed.last or f"it ended with code {code}"}
        told = _READ[deed.kind](deed.answer, code)
        if deed.kind in _PAGED:
            name = secrets.token_urlsafe(24)
            told["open"] = f"/made/{name}"
            self.made[name] = read_bytes(deed.page, _LARGEST)
            while len(self.made) > _KEPT:
                self.made.popitem(last=False)
        return told

    def stop(self, name: str) -> Told:
        """End a deed; InputError for one that is not known."""
        self._deed(name).stop()
        return {"running": False}

    def close(self) -> None:
        """End what runs, and leave nothing behind."""
        if self.deed is not None:
            self.deed.stop()
            self.deed.room.cleanup()
            self.deed = None

    def _deed(self, name: str) -> Deed:
        if self.deed is None or name != self.deed.name:
            raise InputError("no such deed; start it again")
        return self.deed


# ----------------------------------------------------------------------------
# The words of each command, and what is read of its answer.


def _weigh(page: Page, state: State, asked: Told) -> list[str]:
    """Return the words of a sheet: for the grains, else for a batch."""
    grains = page.start().get("grains")
    usual = doubts_of(page.world.bench)[1].batch
    amount = ["--grains", grains] if grains else ["--batch", f"{1e3 * usual:.6g} g"]
    return ["weigh", state.recipe, *amount, *state.cook]


def _amounts(page: Page, state: State, asked: Told) -> list[str]:
    """Return the words of the same sheet, to be read: what a batch would hold."""
    return [*_weigh(page, state, asked), "--json"]


def _batch(page: Page, state: State, asked: Told) -> list[str]:
    mass = plausible.read(str(asked.get("mass")), "batch", where="batch")
    return ["batch", "new", state.recipe, "--batch", mass.text, *state.cook]


def _record(page: Page, state: State, asked: Told) -> list[str]:
    if not page.base:
        raise InputError("no base to change from: put the mix you make into [recipes]")
    return ["justify", page.base, state.recipe, *state.cook]


def _search(page: Page, state: State, asked: Told) -> list[str]:
    if state.cook:
        raise InputError("the search takes the cook of the bench file: put it there")
    return ["search", "--json"]


_WORDS: dict[str, Callable[[Page, State, Told], list[str]]] = {
    "weigh": _weigh,
    "record": _record,
    "amounts": _amounts,
    "batch": _batch,
    "search": _search,
}

#: Those that make a page.
_PAGED = ("weigh", "record")


def _judged(answer: str, code: int) -> Told:
    do = (
        "do not support the change: the record says why"
        if code
        else "support the change"
    )
    return {"text": f"The numbers {do}."}


def _weighed(answer: str, code: int) -> Told:
    """Return what a batch would hold, before it is kept."""
    told = json.loads(answer)
    lines = [f"{x['typed']} {x['mass_to_weigh_g']:g} g" for x in told["lines"]]
    mass = f"{told['mass_on_scale_g']:g} g"
    return {"text": f"{mass} in all: {', '.join(lines)}.", "mass": mass}


def _found(answer: str, code: int) -> Told:
    """Return what a search found, as parts of a recipe: those that it would weigh."""
    told = json.loads(answer)
    said = [x["text"] for x in told["findings"][:2] if x["status"] != "EXAMPLE"]
    found: Told = {"text": " ".join(said) or told["reason"]}
    if told["feasible"] and told["next"].startswith("castsugar weigh "):
        found["found"] = parts_of(shlex.split(told["next"])[2])
    return found


_READ: dict[str, Callable[[str, int], Told]] = {
    "weigh": lambda answer, code: {"text": "The weigh sheet is ready."},
    "record": _judged,
    "amounts": _weighed,
    "batch": lambda answer, code: {"text": answer.partition("\n")[0].strip()},
    "search": _found,
}
