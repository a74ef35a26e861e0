"""Paths of the user's: what the system says about one becomes one line."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path

from castsugar.errors import InputError

#: What a thing that is neither file nor folder is called.
_KINDS = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


@contextlib.contextmanager
def explained(path: Path, done: str) -> Iterator[None]:
    """Turn what the system refuses into one line: `path` cannot be `done`.

    Raises
    ------
    InputError
    """
    try:
        yield
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"{path} cannot be {done}: {why}") from None


def usable(path: Path) -> Path:
    """Return a path that a system takes: no zero byte, no half of a character.

    Raises
    ------
    InputError
    """
    try:
        raw = os.fsencode(path)
    except UnicodeEncodeError:
        raw = b"\0"
    if b"\0" in raw:
        raise InputError(
            f"{str(path)!r} is no name of a file: it holds a character that no name "
            "may hold; take it out"
        )
    return path


def real(path: Path) -> Path:
    """Return what a path leads to, links followed; nothing need be there.

    Raises
    ------
    InputError
    """
    with explained(path, "reached"):
        return Path(os.path.realpath(usable(path)))


def status(path: Path) -> os.stat_result | None:
    """Return what the system knows of a path, links followed; None if nothing is there.

    Raises
    ------
    InputError
        A link that leads to itself, a folder that may not be looked into, a name that
        is too long.
    """
    with explained(path, "reached"):
        try:
            return os.stat(usable(path))
        except (FileNotFoundError, NotADirectoryError):
            return None


def is_folder(path: Path) -> bool:
    """Return whether a path leads to a folder; errors as for :func:`status`."""
    found = status(path)
    return found is not None and stat.S_ISDIR(found.st_mode)


def why_no_file(mode: int) -> str:
    """Return why something is no regular file; empty if it is one."""
    if stat.S_ISREG(mode):
        return ""
    if stat.S_ISDIR(mode):
        return "it is a folder; give the name of a file"
    name = next((name for test, name in _KINDS if test(mode)), "something else")
    return f"it is {name}; give the name of a regular file"
