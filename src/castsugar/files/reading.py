"""Read the user's files: regular ones only, none larger than its kind may be.

A pipe or a device may never end, and a huge file would fill the memory before anything
could be said about it.
"""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import os
from collections.abc import Iterable, Iterator
from contextvars import ContextVar
from io import BufferedReader, TextIOWrapper
from pathlib import Path

from castsugar.errors import InputError
from castsugar.files.paths import explained, usable, why_no_file

#: Largest file of any kind [bytes]; a recording of an hour at 1 kHz has 80 million.
LARGEST = 100_000_000

#: Do not wait for somebody to write into a pipe; bytes as they are.
_FLAGS = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


#: Where what is read is noted: name as it was asked for to its SHA-256.
_noting: ContextVar[dict[str, str] | None] = ContextVar("noting", default=None)


@contextlib.contextmanager
def noted() -> Iterator[dict[str, str]]:
    """Note every file that is read, by its name and the SHA-256 of its bytes then."""
    found: dict[str, str] = {}
    token = _noting.set(found)
    try:
        yield found
    finally:
        _noting.reset(token)


def _note(path: Path, stream: BufferedReader) -> None:
    """Note a file that is being read, once."""
    found = _noting.get()
    if found is not None and (name := path.as_posix()) not in found:
        found[name] = hashlib.file_digest(stream, "sha256").hexdigest()
        stream.seek(0)


@contextlib.contextmanager
def opened(path: Path, largest: int = LARGEST) -> Iterator[BufferedReader]:
    """Open a regular file of at most `largest` bytes.

    Raises
    ------
    InputError
        For anything else, and where the system refuses.
    """
    with explained(path, "read"):
        handle = os.open(usable(path), _FLAGS)
        try:
            found = os.fstat(handle)
            if why := why_no_file(found.st_mode):
                raise InputError(f"{path} cannot be read: {why}")
            if found.st_size > largest:
                raise _too_large(path, f"{found.st_size:,}", largest)
            with os.fdopen(handle, "rb", closefd=False) as stream:
                _note(path, stream)
                yield stream
        finally:
            os.close(handle)


def read_bytes(path: Path, largest: int = LARGEST) -> bytes:
    """Return what a file holds; errors as for :func:`opened`."""
    with opened(path, largest) as stream:
        data = stream.read(largest + 1)
    if len(data) > largest:  # it grew, or its size is not known beforehand
        raise _too_large(path, f"more than {largest:,}", largest)
    return data


def read_text(path: Path, largest: int = LARGEST) -> str:
    """Return a file as text, a byte-order mark kept; errors as for :func:`opened`."""
    return decoded(path, read_bytes(path, largest))


#: What a byte-order mark says of a text.
_MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}

#: Share of zero bytes, in every other place, that makes a text UTF-16. Our rule.
_ZEROS = 0.4


def encoding_of(parts: Iterable[bytes]) -> str:
    r"""Return the encoding of a text that comes in parts.

    A byte-order mark decides, then zero bytes in every other place (UTF-16), then
    whether it is UTF-8 throughout; else it is cp1252, which holds what Latin-1 prints.

    Examples
    --------
    >>> encoding_of([b"\xb5s"]), encoding_of(["\xb5s".encode()])
    ('cp1252', 'utf-8')
    """
    decoder = codecs.getincrementaldecoder("utf-8")()
    first = True
    try:
        for part in parts:
            if first and (known := _marked(part)):
                return known
            first = False
            decoder.decode(part)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _marked(part: bytes) -> str:
    """Return the encoding that the first bytes show; empty for none."""
    for mark, encoding in _MARKS.items():
        if part.startswith(mark):
            return encoding
    for places, encoding in ((part[1::2], "utf-16-le"), (part[::2], "utf-16-be")):
        if places.count(0) > _ZEROS * len(places):
            return encoding
    return ""


@contextlib.contextmanager
def opened_text(path: Path, largest: int = LARGEST) -> Iterator[TextIOWrapper]:
    """Open a text in whatever encoding; every line end is read as a newline.

    A byte that means nothing becomes U+FFFD, which no number holds.

    Raises
    ------
    InputError
        As :func:`opened`; for a spreadsheet.
    """
    with opened(path, largest) as stream:
        refuse_spreadsheet(path, stream.read(len(_SHEETS[0])))
        stream.seek(0)
        encoding = encoding_of(iter(lambda: stream.read(1 << 20), b""))
        stream.seek(0)
        yield TextIOWrapper(stream, encoding, errors="replace")


#: How the files of a spreadsheet program begin: a zip archive, the older binary form.
_SHEETS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def refuse_spreadsheet(path: Path, data: bytes) -> None:
    """Refuse the first bytes of a spreadsheet where text is wanted.

    Raises
    ------
    InputError
    """
    if data.startswith(_SHEETS):
        raise InputError(
            f"{path} is a spreadsheet (xlsx, ods or xls), not text: save the sheet as "
            "CSV (File, Save as, file type CSV, UTF-8) and give that file"
        )


def decoded(path: Path, data: bytes) -> str:
    """Return the bytes of a file as text.

    Raises
    ------
    InputError
        For a spreadsheet and for a byte that is not UTF-8.
    """
    refuse_spreadsheet(path, data)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8"
        ) from None


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file; errors as for :func:`opened`."""
    with opened(path) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _too_large(path: Path, size: str, largest: int) -> InputError:
    return InputError(
        f"{path} has {size} bytes; allowed {largest:,}. Is it the right file? "
        "Otherwise cut it"
    )
