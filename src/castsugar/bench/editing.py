"""Change the text of a bench file: comments, order and line ends of the user stay.

A file is taken apart at its headers, and only the part that is changed is read and
written anew: what lies between two headers keeps its bytes, wherever the entries of an
array of tables stand.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from castsugar.bench.bench import LARGEST, Bench, check_bench
from castsugar.bench.schema import Entry, entries
from castsugar.errors import InputError
from castsugar.files.reading import decoded
from castsugar.files.writing import update
from castsugar.frozen import dataclass


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
    (part,) = _parts(text, head, index)
    return str(part.table.trivia.comment)


def without_block(text: str, head: str, index: int) -> str:
    """Return a text without a ``[[head]]``, and without a blank line above it.

    What follows its last key, comments of the next table say, stays.
    """
    (part,) = _parts(text, head, index)
    after = _tail(part.table) + part.after
    return re.sub(r"(\A|(?<=\n))[^\S\n]*\n\Z", "", part.before) + after


def key_remark(text: str, table: str, key: str) -> str:
    """Return the comment beside a key; empty without one."""
    holding = (part.table for part in _parts(text, table) if key in part.table)
    return next((str(found[key].trivia.comment) for found in holding), "")


def without_key(text: str, table: str, key: str) -> str:
    """Return a text without a key, its comment included."""
    for part in _parts(text, table):
        if key in part.table:
            del part.table[key]
            return part.whole()
    return text


def with_value(text: str, table: str, keys: Sequence[str], value: Any) -> str:
    """Return a text with a value of a table set; comments stay.

    Parameters
    ----------
    keys : sequence of str
        Of the value in the table: one, or the way through tables inside it, inline or
        under headers of their own.
    """
    end = _line_end(text)
    for part in _parts(text, table):
        if keys[0] in part.table:
            _set(part.table, keys, value)
            return part.whole()
    if len(keys) > 1:
        return with_value(text, f"{table}.{keys[0]}", keys[1:], value)
    line = toml_text({keys[0]: value}).replace("\n", end)
    for part in _parts(text, table):
        return _behind_last(part, line, end)
    gap = end if text.endswith("\n") or not text else 2 * end
    return text + gap + f"[{table}]{end}" + line


def _set(table: Any, keys: Sequence[str], value: Any) -> None:
    """Set a value on its way through inline tables."""
    for key in keys[:-1]:
        table = table[key]
    table[keys[-1]] = value


def _behind_last(part: _Part, line: str, end: str) -> str:
    """Return the text with a line behind the last key of a part."""
    whole, after = str(part.document.as_string()), _tail(part.table)
    kept = whole.removesuffix(after)
    kept += "" if kept.endswith("\n") else end
    return part.before + kept + line + after + part.after


def _tail(table: Any) -> str:
    """Return what follows the last key of a table: comments of the next one, say."""
    found = ""
    for key, item in reversed(table.value.body):
        if key is not None:
            break
        found = item.as_string() + found
    return found


# ----------------------------------------------------------------------------
# A text in parts, each from a header to before the next one.


def _line_end(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


@dataclass(frozen=True, slots=True)
class _Part:
    """What stands from one header to the next, with what is before and after."""

    before: str
    document: Any
    table: Any
    after: str

    def whole(self) -> str:
        """Return the text with this part as it is now."""
        return self.before + str(self.document.as_string()) + self.after


def _parts(text: str, table: str, index: int = 0) -> Iterator[_Part]:
    """Yield the parts that hold keys of a table: under its header, or above all."""
    import tomlkit

    mark, path = "\ufeff" * text.startswith("\ufeff"), tuple(table.split("."))
    rows = re.split(r"(?<=\n)", text.removeprefix(mark))
    heads = [Entry(1, (), 0), *(entry for entry in entries(text) if entry.is_head)]
    edges = itertools.pairwise([*(head.line - 1 for head in heads), len(rows)])
    for head, (start, end) in zip(heads, edges, strict=True):
        if head.path not in ((), path) or head.index != index:
            continue
        document = tomlkit.parse("".join(rows[start:end]))
        found: Any = document
        for name in path:
            found = None if found is None else found.get(name)
        if found is not None:
            before, after = mark + "".join(rows[:start]), "".join(rows[end:])
            found = found[0] if isinstance(found, list) else found
            yield _Part(before, document, found, after)
