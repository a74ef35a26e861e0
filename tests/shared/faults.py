"""Faults of the system on purpose: a call that a writer makes fails, or is its last."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

#: What writing and locking ask of the system.
CALLS: tuple[tuple[Any, str], ...] = (
    (os, "open"),
    (os, "fstat"),
    (os, "fsync"),
    (os, "link"),
    (os, "replace"),
    (os, "unlink"),
    (os, "scandir"),
    (Path, "open"),
    (Path, "unlink"),
    (Path, "chmod"),
    (Path, "mkdir"),
    (Path, "rename"),
)
if sys.platform != "win32":
    import fcntl

    CALLS = (*CALLS, (fcntl, "flock"))


class Fuse:
    """Lets `left` calls pass, then fails or kills the process, before or after one."""

    def __init__(self, left: int, act: Callable[[], None], *, after: bool) -> None:
        self.left, self.act, self.after, self.burnt = left, act, after, False

    def wrap(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **words: Any) -> Any:
            self.left -= 1
            now = self.left < 0 and not self.burnt
            self.burnt |= now
            if now and not self.after:
                self.act()
            try:
                return real(*args, **words)
            finally:
                if now and self.after:
                    self.act()

        return call


def fail() -> None:
    """Fail as a broken disk does."""
    raise OSError(errno.EIO, "invented fault")


def arm(fuse: Fuse, setter: Callable[[Any, str, Any], None]) -> None:
    """Put a fuse into every call."""
    for owner, name in CALLS:
        setter(owner, name, fuse.wrap(getattr(owner, name)))
    # A close that fails has closed all the same.
    late = Fuse(fuse.left, fuse.act, after=True)
    setter(os, "close", late.wrap(os.close))


def no_locks(code: int) -> Callable[..., None]:
    """Return a lock of the system that says what a file system without locks says."""

    def flock(*_: Any) -> None:
        raise OSError(code, "no locks here")

    return flock
