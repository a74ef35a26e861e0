"""Write a result to a file: whole or not at all, and never over another by accident."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from castsugar.errors import InputError


def refuse_existing(names: Sequence[str | None], *, force: bool) -> None:
    """Refuse files that exist before any work is done for them."""
    for name in names:
        if name is not None and Path(name).exists() and not force:
            raise _exists(Path(name))


def _exists(path: Path) -> InputError:
    """Build the error for a file that is there already."""
    return InputError(
        f"{path} exists already; choose another name or add --force to replace it"
    )


def _umask() -> int:
    """Return the permissions that new files of this user do not get."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def write_text(path: Path, text: str, *, force: bool = False) -> None:
    """Write text to a file by way of a temporary file beside it.

    Parameters
    ----------
    path : pathlib.Path
    text : str
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    InputError
        If the file exists (without `force`) or cannot be written.
    """
    if path.exists() and not force:
        raise _exists(path)
    path = path.resolve()  # a link stays a link, its file is replaced
    try:
        mode = path.stat().st_mode & 0o7777 if path.exists() else 0o666 & ~_umask()
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(text)
            Path(temporary).chmod(mode)
            Path(temporary).replace(path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}") from None
