"""Edits of the text of a bench file that leave everything else as it is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from castsugar.workshop import lines
from castsugar.workshop.bench import toml_text

#: What a line ends with that castsugar wrote and may replace.
WRITTEN = "written by castsugar learn"


def line_end(text: str) -> str:
    """Return how the lines of a text end."""
    return "\r\n" if "\r\n" in text else "\n"


def with_block(text: str, head: str, entry: Mapping[str, Any], remark: str = "") -> str:
    """Return a text with one more ``[[table]]`` at its end, a remark beside its head.

    Raises
    ------
    InputError
        For a value that TOML cannot hold.
    """
    end = line_end(text)
    if text and not text.endswith("\n"):
        text += end
    block = f"[[{head}]]{f'  # {remark}' if remark else ''}\n" + toml_text(entry)
    return text + (end if text else "") + block.replace("\n", end)


def key_line(text: str, table: str, key: str) -> int:
    """Return the line (from 1) of a key; 0 if it is not there."""
    wanted = (*table.split("."), key)
    return next((e.line for e in lines.entries(text) if e.path == wanted), 0)


def head_line(text: str, table: str) -> int:
    """Return the line (from 1) of the header of a table; 0 if it has none."""
    rows = text.split("\n")
    wanted = tuple(table.split("."))
    for entry in lines.entries(text):
        is_head = rows[entry.line - 1].lstrip().startswith("[")
        if entry.path == wanted and is_head:
            return entry.line
    return 0


def is_ours(text: str, line: int) -> bool:
    """Whether castsugar wrote a line."""
    return WRITTEN in text.split("\n")[line - 1].partition("#")[2]


def with_line(text: str, new: str, *, after: int = 0, instead: int = 0) -> str:
    """Return a text with a line put after another one, or in the place of one."""
    rows = text.split("\n")
    ending = "\r" if line_end(text) == "\r\n" else ""
    if instead:
        rows[instead - 1] = new + ("\r" if rows[instead - 1].endswith("\r") else "")
    else:
        if not rows[after - 1].endswith("\r"):
            ending = "" if after < len(rows) else ending
        rows.insert(after, new + ending)
    return "\n".join(rows)


def block_lines(text: str, head: str) -> list[tuple[int, int]]:
    """Return first and last line (from 1) of every ``[[table]]``, keys included."""
    wanted = tuple(head.split("."))
    rows = text.split("\n")
    found: list[tuple[int, int]] = []
    inside = False
    for entry in lines.entries(text):
        if rows[entry.line - 1].lstrip().startswith("["):
            inside = entry.path == wanted
            if inside:
                found.append((entry.line, entry.line))
        elif inside:
            found[-1] = found[-1][0], entry.line
    return found


def without_lines(text: str, first: int, last: int) -> str:
    """Return a text without some lines (from 1), and one blank line above them."""
    rows = text.split("\n")
    start = first - 1
    if start > 0 and not rows[start - 1].strip():
        start -= 1
    return "\n".join(rows[:start] + rows[last:])
