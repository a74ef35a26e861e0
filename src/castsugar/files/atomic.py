"""Files of a folder that come whole or not at all, whenever the process is killed.

Everything is written to a temporary file of the same folder first, and sent to the
disk, before it gets its name in one step. What a killed process leaves behind starts
with a dot, is never listed, and is swept away once it is an hour old.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import time
from pathlib import Path

#: What this module leaves behind when it is killed.
_LEFTOVER = re.compile(r"\.castsugar-.*\.(tmp|claim)")

#: Age from which a leftover belongs to no running process [s].
_OLD = 3600.0

#: On some systems a file that is being read cannot be replaced: try again.
_TRIES, _PAUSE = 20, 0.05


def write_temporary(folder: Path, data: bytes, mode: int | None = None) -> Path:
    """Write a temporary file, whole and on the disk.

    Parameters
    ----------
    folder : pathlib.Path
    data : bytes
    mode : int, optional
        Its permissions; those of any new file by default.

    Raises
    ------
    OSError
        Nothing is left behind.
    """
    path = folder / f".castsugar-{secrets.token_hex(8)}.tmp"
    try:
        with path.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if mode is not None:
            path.chmod(mode)
    except BaseException:
        remove(path)
        raise
    return path


def name_new(temporary: Path, path: Path) -> bool:
    """Give a temporary file its name if that is free; return whether it was.

    A second name for the same file is an error if the name is taken, in one step. Where
    the file system has no second names, a claim beside it keeps others away.
    """
    try:
        os.link(temporary, path)
    except FileExistsError:
        return False
    except OSError:
        return _claim_and_rename(temporary, path)
    remove(temporary)
    return True


def _claim_and_rename(temporary: Path, path: Path) -> bool:
    """Do the same without second names: who makes the claim may take the name."""
    claim = path.with_name(f".castsugar-{path.name}.claim")
    try:
        os.close(os.open(claim, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
    except FileExistsError:
        return False
    try:
        if path.exists():
            return False
        temporary.rename(path)
    finally:
        remove(claim)
    return True


def replace(temporary: Path, path: Path) -> None:
    """Put a temporary file in the place of another, in one step."""
    for left in reversed(range(_TRIES)):
        try:
            os.replace(temporary, path)
            return
        except PermissionError:
            if not left:
                raise
            time.sleep(_PAUSE)


def remove(path: Path) -> None:
    """Remove a file; one that stays harms nobody."""
    with contextlib.suppress(OSError):
        path.unlink()


def sync_folder(folder: Path) -> None:
    """Send the names of a folder to the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def sweep(folder: Path) -> None:
    """Remove what killed processes left behind."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if _LEFTOVER.fullmatch(entry.name):
                with contextlib.suppress(OSError):
                    if time.time() - entry.stat().st_mtime > _OLD:
                        remove(Path(entry.path))
