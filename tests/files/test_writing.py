"""The one writer: whole or not at all, never over another, never over a device."""

from __future__ import annotations

import contextlib
import errno
import multiprocessing
import os
import signal
import socket
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from castaways import as_nobody, public_folder
from faults import Fuse, arm, fail, no_locks

from castsugar import InputError
from castsugar.files.locking import locked
from castsugar.files.writing import (
    refuse_closed,
    refuse_unwritable,
    update,
    write_new,
    write_text,
    write_together,
    written_in_parts,
)

# Exact: what is there afterwards is what was there before, or what was written.
pytestmark = pytest.mark.exact

posix = pytest.mark.skipif(os.name == "nt", reason="not so there")


def _left(folder: Path) -> dict[str, str]:
    """Return what lies in a folder, the lock's own file left out."""
    return {
        p.name: p.read_text("utf-8")
        for p in folder.iterdir()
        if p.name != ".castsugar-lock"
    }


# --- before the work ------------------------------------------------------------------


def _fifo(path: Path) -> None:
    os.mkfifo(path)


def _socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as one, contextlib.chdir(path.parent):
        one.bind(path.name)


def _device(path: Path) -> None:
    path.symlink_to("/dev/null")


@posix
@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_fifo, "it is a pipe"),
        (_socket, "it is a socket"),
        (_device, "it is a device"),
        (Path.mkdir, "it is a folder"),
    ],
)
def test_only_regular_files_are_replaced(
    make: Callable[[Path], None], words: str, force: bool, tmp_path: Path
) -> None:
    """With --force too; what was there stays what it was."""
    path = tmp_path / "x"
    make(path)
    kind = path.lstat().st_mode
    for work in (
        lambda: refuse_unwritable({"-o": str(path)}, force=force),
        lambda: write_text(path, "a", force=force),
        lambda: write_together(tmp_path, {"x": "a", "y": "b"}, force=force),
    ):
        with pytest.raises(InputError, match=words):
            work()
    with pytest.raises(InputError, match=f"{words}|No such device"):
        update(path, lambda _: b"a")
    assert path.lstat().st_mode == kind
    assert os.listdir(tmp_path) == ["x"]


#: Names that cannot be written, in a folder with a file "there" -> the complaint.
UNWRITABLE = [
    ("", "-o is empty"),
    ("there", "there exists already"),
    ("there/below.csv", "does not exist"),
    ("none/x.csv", r"the folder '.*none' does not exist"),
    ("n" * 300, "File name too long"),
    ("loop", "Too many levels"),
    ("loop/x.csv", "Too many levels"),
    (".", "it is a folder"),
    ("a\0b", "a character that no name may hold"),
]


@posix
@pytest.mark.parametrize(("name", "words"), UNWRITABLE)
def test_refused_before_the_work(
    name: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("there").write_text("mine")
    Path("loop").symlink_to("loop")
    with pytest.raises(InputError, match=words) as caught:
        refuse_unwritable({"-o": name}, force=False)
    assert "\n" not in str(caught.value)
    assert Path("there").read_text() == "mine"


def test_two_options_of_one_file(tmp_path: Path) -> None:
    """However the file is spelled."""
    names = {"-o": str(tmp_path / "a"), "--page": str(tmp_path / "." / "a")}
    with pytest.raises(InputError, match=r"-o and --page both name .*give two files"):
        refuse_unwritable(names, force=True)
    refuse_unwritable(names | {"--page": str(tmp_path / "b")}, force=True)
    refuse_unwritable({"-o": None}, force=False)


@posix
def test_a_closed_folder_is_refused_before_the_work() -> None:
    with public_folder() as folder:
        open_ = folder / "open"
        open_.mkdir()
        open_.chmod(0o777)
        with as_nobody(folder):
            with pytest.raises(InputError, match="no permission to write"):
                refuse_unwritable({"-o": str(folder / "x")}, force=False)
            with pytest.raises(InputError, match="no permission to write"):
                refuse_closed(folder / "batches" / "deeper")
            refuse_unwritable({"-o": str(open_ / "x")}, force=False)
            refuse_closed(open_ / "batches" / "deeper")


# --- whole or not at all --------------------------------------------------------------


def _over(folder: Path) -> None:
    write_text(folder / "old", "new", force=True)


def _fresh(folder: Path) -> None:
    write_text(folder / "fresh", "new")


def _in_parts(folder: Path) -> None:
    with written_in_parts(folder / "fresh") as stream:
        stream.write(b"n")
        stream.write(b"ew")


def _numbered(folder: Path) -> None:
    assert write_new(folder / "fresh", b"new")


def _changed(folder: Path) -> None:
    update(folder / "old", lambda before: b"new" if before else b"")


@pytest.mark.parametrize("work", [_over, _fresh, _in_parts, _numbered, _changed])
def test_a_fault_at_any_call(work: Callable[[Path], None], tmp_path: Path) -> None:
    """One line; old or new, never half, nothing beside."""
    for count in range(80):
        folder = tmp_path / str(count)
        folder.mkdir()
        (folder / "old").write_text("old", "utf-8")
        fuse = Fuse(count, fail, after=False)
        with pytest.MonkeyPatch.context() as patch:
            arm(fuse, patch.setattr)
            with contextlib.suppress(InputError):
                work(folder)
        left = _left(folder)
        assert {*left.values()} <= {"old", "new"}
        assert "old" in left
        beside = {*left} - {"old", "fresh"}  # only where removing it failed
        assert all(name.startswith(".castsugar-") for name in beside)
        if not fuse.burnt:
            assert "new" in left.values()
            break
    else:
        pytest.fail("never ran through")
    assert count > 5


def test_what_ends_between_two_parts_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "old").write_text("old", "utf-8")
    stopped = pytest.raises(KeyboardInterrupt)
    with stopped, written_in_parts(tmp_path / "old", force=True) as stream:
        stream.write(b"n")
        raise KeyboardInterrupt
    assert _left(tmp_path) == {"old": "old"}


@pytest.mark.parametrize("deep", ["", "a/b"])
def test_together_all_or_none(deep: str, tmp_path: Path) -> None:
    """Whatever fails: no file, and no folder that was made for them."""
    texts = {"one": "1", "two": "2"}
    for count in range(80):
        folder = tmp_path / str(count)
        folder.mkdir()
        fuse = Fuse(count, fail, after=False)
        failed = False
        with pytest.MonkeyPatch.context() as patch:
            arm(fuse, patch.setattr)
            try:
                write_together(folder / deep, texts, force=False)
            except InputError:
                failed = True
        left = {p.name for p in folder.rglob("*")} - {"a", "b"}
        if failed:
            assert not left & {*texts}
            assert deep == "" or not (folder / "a").exists()
        else:
            named = _left(folder / deep).items()  # a temporary file may have stayed
            assert {n: t for n, t in named if n[0] != "."} == texts
        if not fuse.burnt:
            break
    else:
        pytest.fail("never ran through")
    assert count > 5


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_together_killed(tmp_path: Path) -> None:
    """No folder before all is on the disk; never half a file."""
    for count in range(80):
        folder = tmp_path / str(count)
        folder.mkdir()
        child = os.fork()
        if child == 0:
            try:
                arm(Fuse(count, lambda: os._exit(7), after=False), setattr)
                write_together(folder / "a", {"one": "1", "two": "2"}, force=False)
            finally:
                os._exit(0)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        staged = [p for p in folder.iterdir() if p.name != "a"]
        if (folder / "a").exists():
            files = [*staged, *(folder / "a").iterdir()]
            assert {p.read_text("utf-8") for p in files} <= {"1", "2"}
        if code == 0:
            assert not staged
            break
    else:
        pytest.fail("never ran through")
    assert count > 5


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process")
@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize(
    "work",
    [
        _over,
        *(
            pytest.param(w, marks=pytest.mark.slow)
            for w in (_fresh, _numbered, _changed)
        ),
    ],
)
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_killed_at_any_call(
    work: Callable[[Path], None], after: bool, tmp_path: Path
) -> None:
    """Old or new, never half; what is left beside starts with a dot."""
    for count in range(80):
        folder = tmp_path / str(count)
        folder.mkdir()
        (folder / "old").write_text("old", "utf-8")
        child = os.fork()
        if child == 0:
            try:
                arm(Fuse(count, lambda: os._exit(7), after=after), setattr)
                work(folder)
            finally:
                os._exit(0)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        for path in folder.iterdir():
            whole = path.read_text("utf-8") in ("old", "new")
            assert whole or path.name.startswith(".castsugar-")
        if code == 0:
            break
    else:
        pytest.fail("never ran through")
    assert count > 5


def test_not_over_a_file_that_came_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the look and the writing another program makes the file."""
    path, real = tmp_path / "x", os.fsync

    def fsync(handle: int) -> None:
        path.write_text("theirs")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(InputError, match="exists already"):
        write_text(path, "ours")
    assert path.read_text() == "theirs"


def test_an_editor_that_asks_for_no_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it saves between the look and the replacing is kept: the work is redone."""
    path, real, saved = tmp_path / "x", os.fsync, []
    path.write_text("a")

    def fsync(handle: int) -> None:
        if not saved:
            saved.append("b")
            path.write_text("ab")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    assert update(path, lambda before: (before or b"") + b"c") == b"abc"
    assert path.read_text() == "abc"


def test_a_file_that_never_rests(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, real = tmp_path / "x", os.fsync
    path.write_text("")

    def fsync(handle: int) -> None:
        with path.open("a") as stream:
            stream.write("b")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(InputError, match="keeps changing; nothing was added"):
        update(path, lambda before: b"mine")
    assert {*path.read_text()} == {"b"}


@posix
def test_links_stay_links(tmp_path: Path) -> None:
    """The file that one leads to is written; its permissions stay."""
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_text("old")
    real.chmod(0o600)
    link.symlink_to(real)
    write_text(link, "a", force=True)
    assert (link.is_symlink(), real.read_text()) == (True, "a")
    update(link, lambda before: b"b")
    assert (link.is_symlink(), real.read_text()) == (True, "b")
    write_together(tmp_path, {"link": "c"}, force=True)
    assert (link.is_symlink(), real.read_text()) == (True, "c")
    assert real.stat().st_mode & 0o777 == 0o600


def test_text_that_is_no_text(tmp_path: Path) -> None:
    """A byte that was no UTF-8 when typed leaves a question mark."""
    write_text(tmp_path / "x", "a\udcffb\n")
    assert (tmp_path / "x").read_bytes() == b"a?b\n"


def test_both_disk_and_folder_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bytes before the name, the folder after it."""
    told, real = [], os.fsync

    def fsync(handle: int) -> None:
        told.append((os.fstat(handle).st_ino, (tmp_path / "x").exists()))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    write_text(tmp_path / "x", "a")
    file, folder = (tmp_path / "x").stat().st_ino, tmp_path.stat().st_ino
    assert told == [(file, False), (folder, True)]


def test_leftovers_are_swept_once_they_are_old(tmp_path: Path) -> None:
    names = [".castsugar-0a.tmp", ".castsugar-x.claim"]
    for name in names:
        (tmp_path / name).write_text("half", "utf-8")
    write_text(tmp_path / "x", "a")
    assert all((tmp_path / name).exists() for name in names)  # perhaps in use
    old = time.time() - 2 * 3600.0
    for name in names:
        os.utime(tmp_path / name, (old, old))
    write_text(tmp_path / "y", "a")
    assert {*_left(tmp_path)} == {"x", "y"}


def test_without_second_names_a_claim_keeps_others_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_link(*_: object) -> None:
        raise OSError(errno.EPERM, "no hard links here")

    monkeypatch.setattr(os, "link", no_link)
    assert write_new(tmp_path / "x", b"a")
    assert not write_new(tmp_path / "x", b"b")
    (tmp_path / ".castsugar-y.claim").touch()
    assert not write_new(tmp_path / "y", b"b")
    assert _left(tmp_path) == {"x": "a", ".castsugar-y.claim": ""}


# --- the lock -------------------------------------------------------------------------


def test_a_lock_that_is_held_is_waited_for_and_then_named(tmp_path: Path) -> None:
    with (
        locked(tmp_path),
        pytest.raises(InputError, match="another process"),
        locked(tmp_path, patience=0.05),
    ):
        pass
    with locked(tmp_path, patience=0.05):
        pass
    assert _left(tmp_path) == {}


def _die_holding(folder: Path) -> None:
    with locked(folder):
        os.kill(os.getpid(), signal.SIGKILL)


@posix
@pytest.mark.parametrize("code", [None, errno.ENOLCK])
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_killed_process_leaves_no_lock(
    code: int | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither that of the system nor the soft one of this machine blocks anybody."""
    if code is not None:
        monkeypatch.setattr("fcntl.flock", no_locks(code))
    child = multiprocessing.get_context("fork").Process(
        target=_die_holding, args=(tmp_path,)
    )
    child.start()
    child.join(60)
    assert child.exitcode == -signal.SIGKILL
    assert (tmp_path / ".castsugar-soft-lock").exists() == (code is not None)
    with locked(tmp_path, patience=1.0):
        pass


@posix
def test_a_soft_lock_of_another_machine_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody can know whether its process lives: the file to delete is told."""
    monkeypatch.setattr("fcntl.flock", no_locks(errno.ENOLCK))
    soft = tmp_path / ".castsugar-soft-lock"
    soft.write_text("12345\nanother-machine\n")
    with (
        pytest.raises(InputError, match=r"on any machine, delete .*-soft-lock$"),
        locked(tmp_path, patience=0.1),
    ):
        pass
    soft.unlink()
    with locked(tmp_path, patience=0.1):
        assert soft.exists()
    assert not soft.exists()


def test_no_folder_is_made_for_a_lock(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"), locked(tmp_path / "none"):
        pass
    assert _left(tmp_path) == {}
