"""The lines of a long text file, some thousand at a time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from castsugar.errors import DataError
from castsugar.files.reading import opened

#: Bytes read at once: many lines for pandas, little memory.
BLOCK = 1 << 20

#: Longest line [characters].
LONGEST = 8_000


def read_blocks(path: Path) -> Iterator[tuple[list[int], list[str]]]:
    """Yield lines that hold something, whole ones, with their numbers from 1.

    Comments (#) and blank lines are left out.

    Raises
    ------
    InputError
        A file that cannot be read or is too large.
    DataError
        Bytes that are no text, a line that is no row.
    """
    file, first = path.name or str(path), 1
    with opened(path) as stream:
        while raw := stream.read(BLOCK) + stream.readline(LONGEST + 1):
            text = _decoded(raw, file, first)
            numbers, texts = [], []
            for number, line in enumerate(text.split("\n"), start=first):
                if len(line) > LONGEST:
                    raise DataError(
                        f"{file} line {number}: more than {LONGEST:,} characters; no "
                        "row of a recording is so long"
                    )
                start = line.lstrip()
                if start and start[0] != "#":
                    numbers.append(number)
                    texts.append(line)
            if texts:
                yield numbers, texts
            first += text.count("\n")


def _decoded(raw: bytes, file: str, first: int) -> str:
    """Return bytes as text with plain line ends; `first` is the line they start in."""
    if b"\r" in raw:
        raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    zero = raw.find(b"\0")
    try:
        text = raw.decode("utf-8-sig" if first == 1 else "utf-8")
    except UnicodeDecodeError as error:
        line = first + raw.count(b"\n", 0, error.start)
        raise DataError(
            f"{file} line {line}: a byte is not UTF-8; save the file as UTF-8"
        ) from None
    if zero >= 0:
        line = first + raw.count(b"\n", 0, zero)
        raise DataError(
            f"{file} line {line}: a zero byte, which no text holds; cut the damaged "
            "lines off, or save the file as UTF-8"
        )
    return text
