"""Writes recipes and limits of the page into the bench file, and takes them back."""

from __future__ import annotations

import difflib
from typing import Any

from castsugar.bench.bench import LARGEST, check_bench
from castsugar.bench.editing import with_value
from castsugar.data.records import plain
from castsugar.errors import InputError
from castsugar.files.reading import decoded
from castsugar.files.writing import update, write_text
from castsugar.page.boxes import BoxError, State
from castsugar.page.desk import Page

Told = dict[str, Any]


class ChangedElsewhere(InputError):
    """The file is not the one that the page knows."""

    def __init__(self) -> None:
        super().__init__("changed elsewhere: reload")


class Saver:
    """Writes into the opened bench, keeping what was there beside it as ``.bak``."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._written: list[tuple[bytes, bytes]] = []

    def save(self, asked: Told) -> Told:
        """Show what would be written, or write it if `sure`."""
        page, path, before = self.page, self.page.path, self.page.world.bench.text
        if asked.get("hash") != page.hash or page.changed:
            raise ChangedElsewhere
        after = check_bench(path, self._changed(before, asked)).text
        if asked.get("sure") is not True:
            both = difflib.ndiff(before.splitlines(), after.splitlines())
            return {"diff": "\n".join(line for line in both if line[0] in "-+")}

        def changed(data: bytes | None) -> bytes:
            if data is None or decoded(path, data) != before:
                raise ChangedElsewhere
            write_text(path.with_name(path.name + ".bak"), data, force=True)
            found.append(data)
            return after.encode("utf-8")

        found: list[bytes] = []
        new = update(path, changed, largest=LARGEST)
        self._written.append((found[-1], new))
        return self._told()

    def _told(self) -> Told:
        self.page.reload()
        return {"hash": self.page.hash, "undo": bool(self._written)}

    def _changed(self, text: str, asked: Told) -> str:
        """Return the text with the recipe, or the limits, of a state."""
        state = self.page.state(asked.get("state"))
        if asked.get("kind") == "recipe":
            return with_value(text, "recipes", [self._name(asked)], state.recipe)
        if asked.get("kind") == "limits":
            return self._with_limits(text, state)
        raise InputError("what is saved is a recipe or the limits")

    def _name(self, asked: Told) -> str:
        """Return a name; not that of something else, or of a recipe with a process."""
        typed, world = asked.get("name"), self.page.world
        name = " ".join(typed.split()) if isinstance(typed, str) else ""
        others = [*world.bench.premixes, *world.database.known_names()]
        if not 0 < len(name) <= 60 or not name.isprintable():
            raise BoxError("name", "name: give the recipe a name of 1 to 60 characters")
        if name in world.bench.processes:
            why = "states how it is made; change it in the file"
            raise BoxError("name", f"{name!r} {why}")
        if plain(name) in map(plain, others):
            why = "is the name of an ingredient; call the recipe otherwise"
            raise BoxError("name", f"{name!r} {why}")
        return name

    def _with_limits(self, text: str, state: State) -> str:
        """Return a text with the limits that the page moved."""
        boxes, before = self.page.boxes[state.units], text
        for key, value in state.settings:
            if key in boxes and boxes[key].place[:1] == ("limits",):
                whole = isinstance(value, float) and value.is_integer()
                number = int(value) if whole else value
                text = with_value(text, "limits", boxes[key].place[1:], number)
        if text == before:
            raise InputError("no limit differs from the bench file; nothing to save")
        return text

    def undo(self, asked: Told) -> Told:
        """Put the bytes back that the last saving found, and so on."""
        if not self._written:
            raise InputError("nothing was saved from here")
        old, new = self._written[-1]

        def restored(data: bytes | None) -> bytes:
            if data != new:
                raise ChangedElsewhere
            return old

        update(self.page.path, restored, largest=LARGEST)
        self._written.pop()
        return self._told()
