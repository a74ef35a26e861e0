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
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.asked import doubts_of
from castsugar.errors import InputError
from castsugar.files.reading import read_bytes
from castsugar.page.state import cook_text

if TYPE_CHECKING:
    from castsugar.page.live import Page
    from castsugar.page.state import State

#: Documents that are kept, and the bytes of one at most.
_KEPT, _LARGEST = 20, 20_000_000

#: Seconds that a deed has to end by itself when it is told to.
_PATIENCE = 3.0

#: What a terminal is told beside the words.
_CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")

Asked = Mapping[str, Any]

#: Leaves this kind of answer with the code of "no", which is an answer.
_NO = 1


class Deed:
    """One command that runs, or ran, and where it writes.

    Parameters
    ----------
    kind : str
    words : sequence of str
        Of the command.
    folder : Path
        Of the bench.
    room : Path
        Folder for what it answers, says and draws.
    """

    def __init__(
        self, kind: str, words: Sequence[str], folder: Path, room: Path
    ) -> None:
        self.kind, self.began, self.told = kind, time.monotonic(), dict[str, Any]()
        (answer, answered), (talk, said) = (tempfile.mkstemp(dir=room) for _ in "12")
        self._answer, self._talk = Path(answered), Path(said)
        self.page = self._answer.with_suffix(".html")
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
    def seconds(self) -> float:
        """How long it has been going."""
        return time.monotonic() - self.began

    @property
    def answer(self) -> str:
        """What it answered, once it has ended."""
        return _text(self._answer)

    @property
    def last(self) -> str:
        """The last line of its talk."""
        lines = re.split(r"[\r\n]+", _text(self._talk))
        line = next((one.strip() for one in reversed(lines) if one.strip()), "")
        return line.removeprefix("castsugar: ")

    def stop(self) -> None:
        """End it, kindly at first."""
        if self.process.poll() is not None:
            return
        self.process.terminate()
        try:
            self.process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


def _text(path: Path) -> str:
    return _CODES.sub("", read_bytes(path, _LARGEST).decode("utf-8", "replace"))


class Deeds:
    """The deeds of one page.

    Parameters
    ----------
    read_only : bool
        Nothing is kept: no batch.

    Attributes
    ----------
    made : dict of str to bytes
        Documents by names that nobody can guess.
    """

    def __init__(self, *, read_only: bool = False) -> None:
        self.made: OrderedDict[str, bytes] = OrderedDict()
        self._words = {
            kind: words
            for kind, words in _WORDS.items()
            if not (read_only and kind in ("amounts", "batch"))
        }
        self._known: OrderedDict[str, Deed] = OrderedDict()

    @cached_property
    def _room(self) -> tempfile.TemporaryDirectory[str]:
        """A folder for what deeds write, made by the first of them."""
        return tempfile.TemporaryDirectory(prefix="castsugar-")

    def start(self, page: Page, asked: dict[str, Any]) -> dict[str, Any]:
        """Start a deed."""
        kind, state = asked.get("kind"), page.state(asked.get("state"))
        if not isinstance(kind, str) or kind not in self._words:
            raise InputError(f"a deed is one of {', '.join(self._words)}")
        if any(deed.process.poll() is None for deed in self._known.values()):
            raise InputError("something is being done already; stop it or wait for it")
        _check_settings(state)
        words = [*self._words[kind](page, state, asked), "--bench", page.path.name]
        name, room = secrets.token_urlsafe(24), Path(self._room.name)
        self._known[name] = Deed(kind, words, page.path.parent, room)
        while len(self._known) > _KEPT:
            self._known.popitem(last=False)
        return {"id": name}

    def state(self, name: str) -> dict[str, Any]:
        """Say how far a deed is, or what came of it."""
        deed = self._deed(name)
        code = deed.process.poll()
        if code is None:
            return {"running": True, "seconds": deed.seconds, "said": deed.last}
        if not deed.told:
            deed.told = {"running": False, "seconds": deed.seconds}
            deed.told |= self._came_of(deed, code)
        return deed.told

    def _came_of(self, deed: Deed, code: int) -> dict[str, Any]:
        first = deed.answer.partition("\n")[0].strip()
        if code not in (0, _NO):
            stopped = "stopped; nothing was written" if code < 0 else deed.last
            return {"ok": False, "error": stopped or f"it ended with code {code}"}
        if deed.kind in _READ:
            return {"ok": True} | _READ[deed.kind](json.loads(deed.answer))
        said = {"record": _VERDICTS[code], "weigh": "The weigh sheet is ready."}
        told = {"ok": True, "text": said.get(deed.kind) or first}
        if deed.kind in _PAGED:
            name = secrets.token_urlsafe(24)
            told["open"] = f"/made/{name}"
            self.made[name] = read_bytes(deed.page, _LARGEST)
            while len(self.made) > _KEPT:
                self.made.popitem(last=False)
        return told

    def stop(self, name: str) -> dict[str, Any]:
        """End a deed; InputError for one that is not known."""
        self._deed(name).stop()
        return {"running": False}

    def close(self) -> None:
        """End what runs, and leave nothing behind."""
        for deed in self._known.values():
            deed.stop()
        if "_room" in vars(self):
            self._room.cleanup()

    def _deed(self, name: str) -> Deed:
        if name not in self._known:
            raise InputError("no such deed; start it again")
        return self._known[name]


# ----------------------------------------------------------------------------
# The words of each command.


def _cook(state: State) -> list[str]:
    """Return the cook, where it is not that of the bench."""
    cook = state.settings.cook
    return [] if cook is None else ["--cook", cook_text(cook)]


def _weigh(page: Page, state: State, asked: Asked) -> list[str]:
    """Return the words of a sheet: for the grains, else for a batch."""
    grains, usual = page.start["grains"], doubts_of(page.world.bench)[1].batch
    amount = ["--grains", grains] if grains else ["--batch", f"{1e3 * usual:.6g} g"]
    return ["weigh", state.recipe, *amount, *_cook(state)]


def _amounts(page: Page, state: State, asked: Asked) -> list[str]:
    """Return the words of the same sheet, to be read: what a batch would hold."""
    return [*_weigh(page, state, asked), "--json"]


def _batch(page: Page, state: State, asked: Asked) -> list[str]:
    mass = plausible.read(str(asked.get("mass")), "batch", where="batch")
    return ["batch", "new", state.recipe, "--batch", mass.text, *_cook(state)]


def _record(page: Page, state: State, asked: Asked) -> list[str]:
    base = page.base
    if not base:
        raise InputError("no base to change from: put the mix you make into [recipes]")
    return ["justify", base, state.recipe, *_cook(state)]


def _search(page: Page, state: State, asked: Asked) -> list[str]:
    if state.settings.cook is not None:
        raise InputError("the search takes the cook of the bench file: put it there")
    return ["search", "--json"]


_WORDS = {
    "weigh": _weigh,
    "record": _record,
    "amounts": _amounts,
    "batch": _batch,
    "search": _search,
}

#: Those that make a page.
_PAGED = ("weigh", "record")

_VERDICTS = {
    0: "The numbers support the change.",
    1: "The numbers do not support the change: the record says why.",
}


def _check_settings(state: State) -> None:
    """Refuse what is set on the page alone: a command reads the bench file."""
    if state.own:
        own = "; ".join(state.own)
        raise InputError(
            f"not as in the bench file, which this is made from: {own}. Save the "
            "limits, put a throat or grains into the file, or go back to base"
        )


def _found(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a search found, as parts of a recipe."""
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


def _weighed(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a batch would hold, before it is kept."""
    lines = [f"{x['typed']} {x['mass_to_weigh_g']:g} g" for x in told["lines"]]
    mass = f"{told['mass_on_scale_g']:g} g"
    return {"text": f"{mass} in all: {', '.join(lines)}.", "mass": mass}


#: Those whose document is read.
_READ = {"search": _found, "amounts": _weighed}
