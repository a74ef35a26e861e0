"""One process at a time changes the files of a folder: records, bench file.

The lock is that of the system, on a file ``.castsugar-lock`` of the folder, which is
gone afterwards; it ends with its process, however that ends. Where the file system has
no locks, a file ``.castsugar-soft-lock`` says who works. What a killed process of this
machine leaves of it is recognised; what one of another machine leaves has to be deleted
by hand, and the complaint names it.
"""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from castsugar.errors import InputError
from castsugar.files.paths import explained, is_folder

if TYPE_CHECKING:
    from filelock import BaseFileLock

NAME, SOFT_NAME = ".castsugar-lock", ".castsugar-soft-lock"

#: How long to wait for another process, and between two looks. [s]
PATIENCE, _PAUSE = 10.0, 0.02

#: What file systems without locks say.
_NO_LOCKS = tuple(
    getattr(errno, name)
    for name in ("ENOSYS", "ENOLCK", "EOPNOTSUPP", "ENOTSUP", "EINVAL", "ENOTTY")
    if hasattr(errno, name)
)


@contextlib.contextmanager
def locked(folder: Path, *, patience: float = PATIENCE) -> Iterator[None]:
    """Hold the lock of a folder; do not take it again inside.

    Raises
    ------
    InputError
        If another process holds it for longer than `patience` [s], or the folder
        cannot be written.
    """
    if not is_folder(folder):  # the lock would make it
        raise InputError(f"{folder} cannot be written: there is no such folder")
    with explained(folder, "written"):
        lock = _taken(folder, patience)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            if Path(lock.lock_file).name == NAME:
                # Who waits looks whether the name is still there, and asks again.
                (folder / NAME).unlink()
        with contextlib.suppress(OSError):
            lock.release()


def _taken(folder: Path, patience: float) -> BaseFileLock:
    """Take the lock of the system, or the soft one where it has none."""
    from filelock import FileLock, SoftFileLock, Timeout

    lock: BaseFileLock
    todo = ""
    try:
        try:
            lock = FileLock(folder / NAME, patience, fallback_to_soft=False)
            lock.acquire(poll_interval=_PAUSE)
        except (NotImplementedError, OSError) as error:
            if getattr(error, "errno", None) not in _NO_LOCKS:
                raise
            todo = f"; if none is left on any machine, delete {folder / SOFT_NAME}"
            lock = SoftFileLock(folder / SOFT_NAME, patience)
            lock.acquire(poll_interval=_PAUSE)
    except Timeout:
        raise InputError(
            f"{folder}: another process has been writing for {patience:g} s; nothing "
            f"was added; end it and try again{todo}"
        ) from None
    return lock
