"""One process at a time changes the files of a folder: records, bench file.

The lock is one of the operating system. Of a folder of records it lies on a file
``.castsugar-lock`` that stays there; of a single file it lies on the folder itself, so
that nothing is left beside it (on Windows on the same kind of file). It ends with its
process, however that ends, so that there is no stale lock and nothing to guess about.
Where a file system has no locks, the work goes on without; the caller still looks
whether the record changed under its hands.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from castsugar.errors import InputError

NAME = ".castsugar-lock"

#: How long to wait for another process, and between two looks. [s]
PATIENCE, _PAUSE = 10.0, 0.02

#: Another process holds it; a file system that has no locks says anything else.
_HELD = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)

if sys.platform == "win32":
    import msvcrt

    def _take(handle: int) -> None:
        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _take(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


@contextlib.contextmanager
def locked(path: Path, *, patience: float = PATIENCE) -> Iterator[None]:
    """Hold the lock of a folder of records, or of a file in any folder.

    It is held once: do not take it again inside, nor for a file beside the first.

    Parameters
    ----------
    path : pathlib.Path
        A folder, or a file that is there or not; a link counts as its file.
    patience : float
        [s]

    Raises
    ------
    InputError
        If another process holds it for longer than `patience` [s], or the folder
        cannot be written.
    """
    path = path.resolve()
    whole = path.is_dir()
    folder = path if whole else path.parent
    try:
        if whole or sys.platform == "win32":
            handle = os.open(folder / NAME, os.O_CREAT | os.O_RDWR, 0o666)
        else:
            handle = os.open(folder, os.O_RDONLY)
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}") from None
    try:
        _wait(handle, folder, patience)
        yield
    finally:
        with contextlib.suppress(OSError):
            os.close(handle)  # gives it back


def _wait(handle: int, folder: Path, patience: float) -> None:
    """Take the lock as soon as it is free."""
    end = time.monotonic() + patience
    while True:
        try:
            _take(handle)
        except OSError as error:
            if error.errno not in _HELD:
                return
        else:
            return
        if time.monotonic() >= end:
            raise InputError(
                f"{folder}: another process has been writing for {patience:g} s; "
                "nothing was added; end it and try again"
            )
        time.sleep(_PAUSE)
