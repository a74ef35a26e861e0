"""The one writer: a file comes whole or not at all, whenever the process is killed.

Everything is written to a temporary file of the same folder first, and sent to the
disk, before it gets its name in one step. What a killed process leaves behind starts
with a dot, is never listed, and is swept away once it is an hour old.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import stat
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from castsugar.errors import InputError
from castsugar.files.locking import locked
from castsugar.files.paths import explained, is_folder, real, status, why_no_file
from castsugar.files.reading import LARGEST, read_bytes

#: What this module leaves behind when it is killed.
_LEFTOVER = re.compile(r"\.castsugar-.*\.(tmp|claim)")

#: Age from which a leftover belongs to no running process [s].
_OLD = 3600.0

#: On some systems a file that is being read cannot be replaced: try again.
_TRIES, _PAUSE = 20, 0.05


#: What is said where "-" is typed for the screen.
NO_DASH = "'-' is no file; leave it out: what is printed goes into a pipe as it is"


def refuse_unwritable(names: Mapping[str, str | None], *, force: bool) -> None:
    """Refuse files that could not be written before any work is done for them.

    Parameters
    ----------
    names : mapping of str to str or None
        Option to the name of its file; None where there is none.
    force : bool
        Whether a file that exists may be replaced.

    Raises
    ------
    InputError
        "-"; a file that exists (without `force`); what is no regular file; a folder
        that is not there or may not be written to; two options that name one file.
    """
    seen: dict[Path, str] = {}
    for option, name in names.items():
        if name is None:
            continue
        if not name:
            raise InputError(f"{option} is empty; give the name of a file")
        if name == "-":
            raise InputError(f"{option} -: {NO_DASH}")
        path = Path(name)
        _mode(path, force=force)
        target = real(path)
        if not is_folder(target.parent):
            raise InputError(
                f"{option} {name} cannot be written: the folder "
                f"{str(target.parent)!r} does not exist; make it, or choose another"
            )
        refuse_closed(target.parent)
        if target in seen:
            raise InputError(
                f"{seen[target]} and {option} both name {name!r}; give two files"
            )
        seen[target] = option


def refuse_closed(folder: Path) -> None:
    """Refuse a folder that could not be made or written to.

    Raises
    ------
    InputError
    """
    there = _nearest(folder)
    if not is_folder(there):
        raise InputError(f"{folder} cannot be written: {there} is no folder")
    ours = os.access in os.supports_effective_ids
    if not os.access(there, os.W_OK | os.X_OK, effective_ids=ours):
        raise InputError(
            f"{folder} cannot be written: no permission to write into {there}"
        )


def _nearest(folder: Path) -> Path:
    """Return the folder, or what is there of the way to it."""
    found = real(folder)
    while status(found) is None and found != found.parent:
        found = found.parent
    return found


def _mode(path: Path, *, force: bool) -> int | None:
    """Return the permissions of a file that may be replaced; None without a file."""
    found = status(path)
    if found is None:
        return None
    if why := why_no_file(found.st_mode):
        raise InputError(f"{path} cannot be written: {why}")
    if not force:
        raise _exists(path)
    return stat.S_IMODE(found.st_mode)


def _exists(path: Path) -> InputError:
    return InputError(
        f"{path} exists already; choose another name or add --force to replace it"
    )


def write_text(path: Path, text: str | bytes, *, force: bool = False) -> None:
    """Write text, or bytes as they are, to a file; of a link the file is written.

    Raises
    ------
    InputError
        If the file exists (without `force`), is no regular one or cannot be written.
    """
    with written_in_parts(path, force=force) as stream:
        stream.write(text if isinstance(text, bytes) else _encoded(text))


@contextlib.contextmanager
def written_in_parts(path: Path, *, force: bool = False) -> Iterator[BinaryIO]:
    """Open what becomes a file at the end, unless something is raised before.

    Raises
    ------
    InputError
        As for :func:`write_text`.
    """
    mode, target = _mode(path, force=force), real(path)
    with explained(path, "written"), _open_staged(target.parent, mode) as made:
        stream, temporary = made
        yield stream
        _sent(stream)
        if force:
            _replace(temporary, target)
        elif not _name(temporary, target):
            raise _exists(path)
        _sync(target.parent)


def _encoded(text: str) -> bytes:
    """Return text as UTF-8; of bytes that were no text when typed a "?" is left."""
    return text.encode("utf-8", "replace")


def write_new(path: Path, data: bytes) -> bool:
    """Write a file under a name that is free; return whether it was.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    with explained(path, "written"), _staged(path.parent, data) as made:
        named = _name(made, path)
        if named:
            _sync(path.parent)
        return named


def update(
    path: Path, change: Callable[[bytes | None], bytes], *, largest: int = LARGEST
) -> bytes:
    """Change a file under the lock of its folder, and return what it holds now.

    Of two processes at once both change it. Somebody who asks for no lock, an editor
    say, is seen as well: the file is looked at again right before it is replaced.

    Parameters
    ----------
    path : pathlib.Path
        A link stays a link, its file is replaced.
    change : function
        From what the file holds (None: there is none) to what it is to hold.
    largest : int
        [bytes]

    Raises
    ------
    InputError
        If the file cannot be read or written, or keeps changing; and whatever `change`
        raises. The file is as it was then.
    """
    target = real(path)
    with locked(target.parent):
        for _ in range(_TRIES):
            before = read_bytes(target, largest) if status(target) else None
            data = change(before)
            mode = _mode(target, force=True)
            with (
                explained(path, "written"),
                _staged(target.parent, data, mode) as made,
            ):
                if _exchange(made, target, before, largest):
                    _sync(target.parent)
                    return data
    raise InputError(f"{path} keeps changing; nothing was added; try again")


def _exchange(made: Path, target: Path, before: bytes | None, largest: int) -> bool:
    """Put a temporary file in the place of one that still is as it was."""
    if before is None:
        return _name(made, target)
    if not status(target) or read_bytes(target, largest) != before:
        return False
    _replace(made, target)
    return True


def write_together(folder: Path, texts: Mapping[str, str], *, force: bool) -> None:
    """Write files into a folder, which is made if it is not there: all or none.

    All are written beside the folder first; only then is it made and filled. Where an
    error ends that, what was new is taken away again; a file that was replaced stays
    so. A link stays a link, its file is written.

    Raises
    ------
    InputError
        If a file exists (without `force`), is no regular one or cannot be written.
    """
    targets = {real(folder / name): text for name, text in texts.items()}
    modes = {target: _mode(target, force=force) for target in targets}
    with explained(folder, "written"), contextlib.ExitStack() as stack:
        made = {
            target: stack.enter_context(
                _staged(_nearest(target.parent), _encoded(text), modes[target])
            )
            for target, text in targets.items()
        }
        undo = stack.enter_context(contextlib.ExitStack())
        for missing in _missing(folder):
            missing.mkdir()
            undo.callback(_remove_folder, missing)
        for target, temporary in made.items():
            if modes[target] is not None:
                _replace(temporary, target)
            elif _name(temporary, target):
                undo.callback(_remove, target)
            else:
                raise _exists(target)
        for parent in {target.parent for target in targets}:
            _sync(parent)
        undo.pop_all()


def _missing(folder: Path) -> list[Path]:
    """Return the folders that are to be made, the outermost first."""
    there, found = _nearest(folder), real(folder)
    return [p for p in reversed([found, *found.parents]) if there in p.parents]


def make_folder(folder: Path) -> None:
    """Make a folder if it is not there, with those it lies in.

    Raises
    ------
    InputError
    """
    with explained(folder, "written"):
        folder.mkdir(parents=True, exist_ok=True)


@contextlib.contextmanager
def _staged(folder: Path, data: bytes, mode: int | None = None) -> Iterator[Path]:
    """Write a temporary file, whole and on the disk; it is gone afterwards."""
    with _open_staged(folder, mode) as (stream, path):
        stream.write(data)
        _sent(stream)
        yield path


@contextlib.contextmanager
def _open_staged(
    folder: Path, mode: int | None = None
) -> Iterator[tuple[BinaryIO, Path]]:
    """Open a temporary file; it is gone afterwards."""
    _sweep(folder)
    path = folder / f".castsugar-{secrets.token_hex(8)}.tmp"
    try:
        with path.open("xb") as stream:
            if mode is not None:
                path.chmod(mode)
            yield stream, path
    finally:
        _remove(path)


def _sent(stream: BinaryIO) -> None:
    """Close a file that is whole and on the disk."""
    stream.flush()
    os.fsync(stream.fileno())
    stream.close()


def _name(temporary: Path, path: Path) -> bool:
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
    return True


def _claim_and_rename(temporary: Path, path: Path) -> bool:
    """Do the same without second names: who makes the claim may take the name."""
    claim = path.with_name(f".castsugar-{path.name}.claim")
    try:
        os.close(os.open(claim, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
    except FileExistsError:
        return False
    try:
        if os.path.lexists(path):
            return False
        temporary.rename(path)
    finally:
        _remove(claim)
    return True


def _replace(temporary: Path, path: Path) -> None:
    """Put a temporary file in the place of another, in one step."""
    for left in reversed(range(_TRIES)):
        try:
            os.replace(temporary, path)
            return
        except PermissionError:
            if not left:
                raise
            time.sleep(_PAUSE)


def _remove(path: Path) -> None:
    """Remove a file; one that stays harms nobody."""
    with contextlib.suppress(OSError):
        path.unlink()


def _remove_folder(path: Path) -> None:
    """Remove a folder that was made; one in which something lies stays."""
    with contextlib.suppress(OSError):
        path.rmdir()


def _sync(folder: Path) -> None:
    """Send the names of a folder to the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sweep(folder: Path) -> None:
    """Remove what killed processes left behind."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if _LEFTOVER.fullmatch(entry.name):
                with contextlib.suppress(OSError):
                    if time.time() - entry.stat().st_mtime > _OLD:
                        _remove(Path(entry.path))
