"""Change the text of a bench file: comments, order and line ends of the user stay.

A file is taken apart at its headers, and only the part that is changed is read and
written anew: what lies between two headers keeps its bytes, wherever the entries of an
array of tables stand.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from castsugar.bench.bench import LARGEST, Bench, check_bench
from castsugar.bench.schema import Entry, entries
from castsugar.errors import InputError
from castsugar.files.reading import decoded
from castsugar.files.writing import update


def toml_text(entry: Mapping[str, Any]) -> str:
    """Write a table as TOML.

    Raises
    ------
    InputError
        For a value that TOML cannot hold, or text that is not UTF-8.
    """
    import tomlkit

    try:
        text = tomlkit.dumps(dict(entry))
        text.encode("utf-8")
    except (TypeError, ValueError) as error:
        raise InputError(f"this entry cannot be written as TOML: {error}") from None
    return text


def with_block(text: str, head: str, entry: Mapping[str, Any], remark: str = "") -> str:
    """Return a text with one more ``[[head]]`` at its end, a remark beside the head.

    Raises
    ------
    InputError
        For a value that TOML cannot hold.
    """
    end = _line_end(text)
    block = f"[[{head}]]{f'  # {remark}' if remark else ''}\n" + toml_text(entry)
    if text:
        text += end if text.endswith("\n") else 2 * end
    return text + block.replace("\n", end)


def append_measurement(path: Path, entry: Mapping[str, Any]) -> Bench:
    """Add a measurement at the end of a bench file; comments and order stay.

    The file is made if it does not exist, and replaced as a whole or not at all. Of two
    processes at once both add.

    Raises
    ------
    InputError
    """

    def appended(before: bytes | None) -> bytes:
        text = check_bench(path, decoded(path, before or b"")).text
        text = with_block(text, "kitchen.measured", entry)
        return check_bench(path, text).text.encode("utf-8")

    return check_bench(path, decoded(path, update(path, appended, largest=LARGEST)))


def block_remark(text: str, head: str, index: int) -> str:
    """Return the comment beside the head of a ``[[head]]``, counted from 0."""
    parts, place = _block(text, head, index)
    return str(_table(_parsed(parts[place]), head)[0].trivia.comment)


def without_block(text: str, head: str, index: int) -> str:
    """Return a text without a ``[[head]]``, and without a blank line above it.

    What follows its last key, comments of the next table say, stays.
    """
    parts, place = _block(text, head, index)
    rest = ""
    for key, item in reversed(_table(_parsed(parts[place]), head)[0].value.body):
        if key is not None:
            break
        rest = item.as_string() + rest
    above = re.sub(r"(\A|(?<=\n))[^\S\n]*\n\Z", "", "".join(parts[:place]))
    return above + rest + "".join(parts[place + 1 :])


def key_remark(text: str, table: str, key: str) -> str:
    """Return the comment beside a key; empty without one."""
    for _, _, document in _documents(text, table):
        if key in _table(document, table):
            return str(_table(document, table)[key].trivia.comment)
    return ""


def without_key(text: str, table: str, key: str) -> str:
    """Return a text without a key, its comment included."""
    for parts, place, document in _documents(text, table):
        if key in _table(document, table):
            del _table(document, table)[key]
            return _joined(parts, place, document)
    return text


def with_key(text: str, table: str, line: str) -> str:
    """Return a text with the line of a key: in the place of the old one, else first.

    Raises
    ------
    LookupError
        If the table has no line of its own to put it under.
    """
    import tomlkit

    ((key, item),) = tomlkit.parse(line).body
    for parts, place, document in _documents(text, table):
        if key in _table(document, table):
            _table(document, table)[key] = item
            return _joined(parts, place, document)
    for parts, place, document in _documents(text, table, headed=True):
        head, end = _table(document, table).trivia, _line_end(text)
        head.trail = f"{head.trail}{line}{end}" if head.trail else f"{end}{line}"
        return _joined(parts, place, document)
    raise LookupError(table)


# ----------------------------------------------------------------------------
# A text in parts, each from a header to before the next one.


def _line_end(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _cut(text: str) -> tuple[list[Entry], list[str]]:
    """Return the headers and the parts, of which the first is above all headers."""
    heads = [entry for entry in entries(text) if entry.is_head]
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    rows = re.split(r"(?<=\n)", text.removeprefix(mark))
    edges = [0, *(head.line - 1 for head in heads), len(rows)]
    first, *others = ("".join(rows[a:b]) for a, b in itertools.pairwise(edges))
    return heads, [mark + first, *others]


def _block(text: str, head: str, index: int) -> tuple[list[str], int]:
    """Return the parts, and which of them is a ``[[head]]``."""
    heads, parts = _cut(text)
    of_array = [(entry.path, entry.index) for entry in heads]
    return parts, 1 + of_array.index((tuple(head.split(".")), index))


def _documents(
    text: str, table: str, *, headed: bool = False
) -> Iterator[tuple[list[str], int, Any]]:
    """Yield the parts, with each that may hold keys of a table: where, and as read."""
    wanted = tuple(table.split("."))
    heads, parts = _cut(text)
    for place, path in enumerate([(), *(head.path for head in heads)]):
        if path == wanted or not (headed or path):
            document = _parsed(parts[place])
            if _table(document, table) is not None:
                yield parts, place, document


def _parsed(part: str) -> Any:
    import tomlkit

    return tomlkit.parse(part.removeprefix("\ufeff"))


def _table(document: Any, dotted: str) -> Any:
    """Return a table of a document, by its dotted name; None if it is not there."""
    for name in dotted.split("."):
        document = document.get(name)
        if document is None:
            return None
    return document


def _joined(parts: list[str], place: int, document: Any) -> str:
    """Return the text with one part as it is now."""
    mark = "\ufeff" if parts[place].startswith("\ufeff") else ""
    return "".join([*parts[:place], mark + document.as_string(), *parts[place + 1 :]])
