"""Writes recipes and limits of the page into the bench file, and takes them back."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.bench.bench import LARGEST, check_bench
from castsugar.bench.editing import with_value
from castsugar.data.records import plain
from castsugar.errors import InputError
from castsugar.files.reading import decoded
from castsugar.files.writing import update, write_text
from castsugar.page.state import BoxError, State

if TYPE_CHECKING:
    from castsugar.page.live import Page

_ELSEWHERE = "changed elsewhere: reload"


class ChangedElsewhere(InputError):
    """The file is not the one that the page knows."""


class Saver:
    """Writes into the opened bench, keeping what was there beside it as ``.bak``."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._written: list[tuple[bytes, bytes]] = []

    def save(self, asked: dict[str, Any]) -> dict[str, Any]:
        """Show what would be written, or write it if `sure`."""
        page, path = self.page, self.page.path
        if asked.get("hash") != page.hash or page.changed:
            raise ChangedElsewhere(_ELSEWHERE)
        before = page.text
        after = check_bench(path, self._changed(before, asked)).text
        if asked.get("sure") is not True:
            return _lines(before, after)
        self._write(path, before, after)
        page.reload()
        return {"hash": page.hash, "undo": True}

    def _changed(self, text: str, asked: dict[str, Any]) -> str:
        state = self.page.state(asked.get("state"))
        if asked.get("kind") == "recipe":
            name = _name(asked)
            self._check_name(name)
            return with_value(text, "recipes", [name], state.recipe)
        if asked.get("kind") == "limits":
            return _with_limits(text, state)
        raise InputError("what is saved is a recipe or the limits")

    def _check_name(self, name: str) -> None:
        """Refuse a name of something else, and that of a recipe with a process."""
        world, why = self.page.world, ""
        known = world.database.known_names()
        if name in world.bench.processes:
            why = "states how it is made; change it in the file"
        elif plain(name) in map(plain, [*world.bench.premixes, *known]):
            why = "is the name of an ingredient; call the recipe otherwise"
        if why:
            raise BoxError("name", f"{name!r} {why}")

    def _write(self, path: Path, before: str, after: str) -> None:
        def changed(data: bytes | None) -> bytes:
            if data is None or decoded(path, data) != before:
                raise ChangedElsewhere(_ELSEWHERE)
            write_text(path.with_name(path.name + ".bak"), data, force=True)
            found.append(data)
            return after.encode("utf-8")

        found: list[bytes] = []
        new = update(path, changed, largest=LARGEST)
        self._written.append((found[-1], new))

    def undo(self, asked: dict[str, Any]) -> dict[str, Any]:
        """Put the bytes back that the last saving found, and so on."""
        if not self._written:
            raise InputError("nothing was saved from here")
        old, new = self._written[-1]

        def restored(data: bytes | None) -> bytes:
            if data != new:
                raise ChangedElsewhere(_ELSEWHERE)
            return old

        update(self.page.path, restored, largest=LARGEST)
        self._written.pop()
        self.page.reload()
        return {"hash": self.page.hash, "undo": bool(self._written)}


def _name(asked: dict[str, Any]) -> str:
    name = asked.get("name")
    told = " ".join(name.split()) if isinstance(name, str) else ""
    if not 0 < len(told) <= 60 or not told.isprintable():
        raise BoxError("name", "name: give the recipe a name of 1 to 60 characters")
    return told


def _with_limits(text: str, state: State) -> str:
    """Return a text with the limits that the page moved."""
    if not state.settings.limits:
        raise InputError("no limit differs from the bench file; nothing to save")
    for key, value in state.settings.limits:
        number = (
            int(value) if isinstance(value, float) and value.is_integer() else value
        )
        text = with_value(text, "limits", [*key.split("-")], number)
    return text


def _lines(before: str, after: str) -> dict[str, Any]:
    """Return the lines that go, and those that come."""
    found = [*difflib.ndiff(before.splitlines(), after.splitlines())]
    return {
        "before": "\n".join(line[2:] for line in found if line.startswith("- ")),
        "after": "\n".join(line[2:] for line in found if line.startswith("+ ")),
    }
