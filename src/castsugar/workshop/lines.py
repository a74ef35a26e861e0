"""On which line of a TOML text a key or a table stands.

The reader of the standard library says no lines. This scan knows headers, dotted and
quoted keys, and skips strings and arrays over several lines; it checks nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_KEY = re.compile(rf"\s*({_PART}(?:\s*\.\s*{_PART})*)\s*=")
_HEAD = re.compile(rf"\s*(\[\[?)\s*({_PART}(?:\s*\.\s*{_PART})*)\s*\]")


@dataclass(frozen=True, slots=True)
class Entry:
    """A header or a key: line from 1, full path, count in its array of tables."""

    line: int
    path: tuple[str, ...]
    index: int


def entries(text: str) -> Iterator[Entry]:
    """Yield every header and key of a text, in order."""
    counts: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    index, state = 0, _State()
    for number, line in enumerate(text.split("\n"), start=1):
        if state.open:
            state.read(line)
            continue
        head = _HEAD.match(line)
        if head:
            table, index = _parts(head[2]), 0
            if head[1] == "[[":
                index = counts.get(table, 0)
                counts[table] = index + 1
            yield Entry(number, table, index)
            continue
        key = _KEY.match(line)
        if key:
            yield Entry(number, (*table, *_parts(key[1])), index)
            state.read(line[key.end() :])


def _parts(dotted: str) -> tuple[str, ...]:
    """Return the names of a dotted key, quotes taken off."""
    return tuple(
        part[1:-1] if part[0] in "\"'" else part for part in re.findall(_PART, dotted)
    )


class _State:
    """Whether a value goes on: inside a long string, or inside brackets."""

    def __init__(self) -> None:
        self.quote, self.depth = "", 0

    @property
    def open(self) -> bool:
        """Whether the next line belongs to the value."""
        return bool(self.quote) or self.depth > 0

    def read(self, text: str) -> None:
        """Read one line, or the rest of one."""
        place = 0
        while place < len(text):
            if self.quote:
                end = text.find(self.quote, place)
                if end < 0:
                    return
                self.quote, place = "", end + 3
                continue
            place = self._step(text, place)

    def _step(self, text: str, place: int) -> int:
        """Read one token outside of long strings; return where the next starts."""
        mark = text[place]
        if mark == "#":
            return len(text)
        if text.startswith(('"""', "'''"), place):
            self.quote = mark * 3
            return place + 3
        if mark in "\"'":
            pattern = r'"(?:[^"\\]|\\.)*"' if mark == '"' else r"'[^']*'"
            found = re.compile(pattern).match(text, place)
            return found.end() if found else len(text)
        self.depth += (mark in "[{") - (mark in "]}")
        return place + 1
