"""What the page has done for it: commands, each a process, and writing into the bench.

A deed says what the command says, stands in nobody's way while it works, and ends when
nobody waits for it any more.
"""

from __future__ import annotations

import asyncio
import difflib
import json
import os
import re
import secrets
import shlex
import subprocess
import sys
import tempfile
from collections import OrderedDict
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from castsugar import plausible
from castsugar.bench.bench import LARGEST, check_bench
from castsugar.bench.editing import with_value
from castsugar.data.records import plain
from castsugar.errors import InputError
from castsugar.files.reading import decoded, read_bytes
from castsugar.files.writing import update, write_text
from castsugar.page.desk import Page, State, parts_of

#: Kinds of deeds; what those say that make a document.
KINDS = ("weigh", "record", "batch", "search")
_READY = {
    "weigh": "The weigh sheet is ready.",
    "record": "The record is ready: it says what the numbers support.",
}

_BUSY = "something is being done already; stop it or wait for it"

#: Documents that are kept, and the bytes of one at most.
_KEPT, _LARGEST = 20, 20_000_000

#: Seconds from one look at a deed to the next, and that it has to end by itself.
_LOOK, _PATIENCE = 0.3, 3.0

#: What a terminal is told beside the words.
_CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")

Told = dict[str, Any]


class Deeds:
    """The deeds of one page, one at a time; `made` holds documents by secret names."""

    def __init__(self, page: Page) -> None:
        self.page, self.busy = page, False
        self.made: OrderedDict[str, bytes] = OrderedDict()

    def start(self, asked: Told) -> AsyncIterator[str]:
        """Check a deed, and return its answer as JSON, blanks before it while it works.

        Who stops listening ends it.
        """
        kind, state = asked.get("kind"), self.page.state(asked.get("state"))
        kinds = [x for x in KINDS if not (self.page.read_only and x == "batch")]
        if kind not in kinds:
            raise InputError(f"a deed is one of {', '.join(kinds)}")
        if self.busy:
            raise InputError(_BUSY)
        if state.own:  # a command reads the bench file
            raise InputError(
                "not as in the bench file, which this is made from: "
                f"{'; '.join(state.own.values())}. Save the limits, put a throat or "
                "grains into the file, or go back to base"
            )
        words = command(kind, self.page, state, asked.get("mass"))
        return self._run(kind, state, [*words, "--bench", self.page.path.name])

    async def _run(
        self, kind: str, state: State, words: Sequence[str]
    ) -> AsyncIterator[str]:
        if self.busy:  # another tab was asked in the same moment
            yield json.dumps({"text": _BUSY})
            return
        self.busy = True
        with (
            tempfile.TemporaryDirectory(prefix="castsugar-") as room,
            tempfile.TemporaryFile() as answer,
            tempfile.TemporaryFile() as talk,
        ):
            paper = Path(room, "page.html")
            process = subprocess.Popen(
                [sys.executable, "-m", "castsugar", *words]
                + (["--page", str(paper)] if kind in _READY else []),
                cwd=self.page.path.parent,
                stdin=subprocess.DEVNULL,
                stdout=answer,
                stderr=talk,
                env=os.environ | {"NO_COLOR": "1", "COLUMNS": "80"},
                start_new_session=True,
            )
            try:
                while (code := process.poll()) is None:
                    yield " "
                    await asyncio.sleep(_LOOK)
                if code > 1:  # 1 is the code of "no", which is an answer
                    lines = ["", *map(str.strip, re.split(r"[\r\n]+", _text(talk)))]
                    said = next(filter(None, reversed(lines)), f"code {code}")
                    told = {"text": said.removeprefix("castsugar: ")}
                elif kind in _READY:
                    told = self._kept(kind, state, paper, no=code == 1)
                else:
                    told = _read(kind, _text(answer))
                yield json.dumps(told)
            finally:
                self.busy = False
                _ended(process)

    def _kept(self, kind: str, state: State, paper: Path, *, no: bool) -> Told:
        name = secrets.token_urlsafe(24)
        self.made[name] = read_bytes(paper, _LARGEST)
        while len(self.made) > _KEPT:
            self.made.popitem(last=False)
        not_kept = " Not what was asked of the change is supported." if no else ""
        text = f"{_READY[kind]}{not_kept} Mix: {state.recipe}."
        return {"text": text, "open": f"/made/{name}"}


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
    grains = page.boxes.get("grains")
    amount = ["--grains", grains.start] if grains else ["--batch", page.batch]
    return ["weigh", state.recipe, *amount, *state.cook]


def _ended(process: subprocess.Popen[bytes]) -> None:
    """End what runs, kindly at first."""
    process.terminate()
    try:
        process.wait(_PATIENCE)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _text(file: BinaryIO) -> str:
    file.seek(0)
    return _CODES.sub("", file.read(_LARGEST).decode("utf-8", "replace"))


def _read(kind: str, answer: str) -> Told:
    """Return what a batch or a search answered: a text, and the parts that it found."""
    if kind == "batch":  # its name, and what is grave
        said = re.findall(r"\A.*|^(?:DO NOT|BROKEN).*(?:\n {9}.*)*", answer, re.M)
        return {"text": ". ".join(" ".join(x.split()).rstrip(".") for x in said) + "."}
    told = json.loads(answer)
    said = [x["text"] for x in told["findings"][:2] if x["status"] != "EXAMPLE"]
    found: Told = {"text": " ".join(said) or told["reason"]}
    _, _, *words = shlex.split(told["next"])
    if told["feasible"] and ":" in "".join(words[:1]):
        found["found"] = parts_of(words[0])
    return found


# ----------------------------------------------------------------------------
# Recipes and limits into the bench file.


class ChangedElsewhere(InputError):
    """The file is not the one that the page knows."""

    def __init__(self) -> None:
        super().__init__("changed elsewhere: reload")


class Saver:
    """Writes into the opened bench, keeping what was there beside it as ``.bak``."""

    def __init__(self, page: Page) -> None:
        self.page, self._before = page, list[bytes]()

    def save(self, asked: Told) -> Told:
        """Show what would be written, or write it if `sure`."""
        before = self.page.world.bench.text
        after = check_bench(self.page.path, self._changed(before, asked)).text
        return self._written(after.encode("utf-8"), asked)

    def undo(self, asked: Told) -> Told:
        """Put the bytes back that the last saving found, and so on; shown before."""
        if not self._before:
            raise InputError("nothing was saved from here")
        told = self._written(self._before[-1], asked)
        if "diff" in told:
            return told
        del self._before[-2:]
        return told | {"undo": bool(self._before)}

    def _written(self, new: bytes, asked: Told) -> Told:
        """Write the file if `sure`, and if it is the one that the page knows."""
        page, before = self.page, self.page.world.bench.text
        if asked.get("hash") != page.hash or page.changed:
            raise ChangedElsewhere
        if asked.get("sure") is not True:
            after = decoded(page.path, new)
            both = difflib.ndiff(before.splitlines(), after.splitlines())
            return {"diff": "\n".join(line for line in both if line[0] in "-+")}

        def changed(data: bytes | None) -> bytes:
            if data is None or decoded(page.path, data) != before:
                raise ChangedElsewhere
            write_text(page.path.with_name(page.path.name + ".bak"), data, force=True)
            self._before.append(data)
            return new

        update(page.path, changed, largest=LARGEST)
        return page.reload() | {"undo": True}

    def _changed(self, text: str, asked: Told) -> str:
        """Return the text with the recipe, or the limits, of a state."""
        state, before = self.page.state(asked.get("state")), text
        if asked.get("kind") == "recipe":
            return with_value(text, "recipes", [self._name(asked)], state.recipe)
        if asked.get("kind") != "limits":
            raise InputError("what is saved is a recipe or the limits")
        for key, value in state.settings:
            if "-" in key:  # of a column and a side
                text = self.page.text_with(text, key, value)
        if text == before:
            raise InputError("no limit differs from the bench file; nothing to save")
        return text

    def _name(self, asked: Told) -> str:
        """Return a name; not that of something else, or of a recipe with a process."""
        typed, world = asked.get("name"), self.page.world
        name = " ".join(typed.split()) if isinstance(typed, str) else ""
        others = [*world.bench.premixes, *world.database.known_names()]
        if name in world.bench.processes:
            raise InputError(f"{name!r} states how it is made; change it in the file")
        if plain(name) in map(plain, others):
            why = "is the name of an ingredient; call the recipe otherwise"
            raise InputError(f"{name!r} {why}")
        return name
