"""What is no regular file, or too large, or out of reach: one line, at once."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from castaways import as_nobody, public_folder

from castsugar import InputError
from castsugar.bench.bench import read_bench
from castsugar.files import paths, reading
from castsugar.readings.recordings import read_trace
from castsugar.readings.strand_files import read_strands
from castsugar.records.folder import read_batch

# Exact: what is read is what was written; the system's own words for what it refuses.
pytestmark = pytest.mark.exact

READERS = [read_bench, read_strands, read_trace, read_batch, reading.sha256_of]

posix = pytest.mark.skipif(os.name == "nt", reason="not so there")


def _fifo(folder: Path) -> Path:
    os.mkfifo(folder / "x")
    return folder / "x"


def _loop(folder: Path) -> Path:
    (folder / "x").symlink_to(folder / "x")
    return folder / "x"


def _socket(folder: Path) -> Path:
    with socket.socket(socket.AF_UNIX) as one, contextlib.chdir(folder):
        one.bind("x")
    return folder / "x"


def _huge(folder: Path) -> Path:
    """Three gigabytes that take no room."""
    with (folder / "x").open("wb") as stream:
        stream.truncate(3_000_000_000)
    return folder / "x"


#: What is no file to read -> how it is called.
ODD: list[tuple[Callable[[Path], Path], str]] = [
    (lambda folder: folder, "it is a folder"),
    (lambda folder: folder / "none", "No such file"),
    (lambda folder: folder / "\0", "a character that no name may hold"),
    (lambda folder: folder / "a\ud800", "a character that no name may hold"),
    (lambda folder: folder / ("n" * 5000), "File name too long"),
    (lambda _: Path("/dev/zero"), "it is a device"),
    (_fifo, "it is a pipe"),
    (_socket, "cannot be read"),
    (_loop, "Too many levels of symbolic links"),
    (_huge, "has 3,000,000,000 bytes; allowed"),
]


@posix
@pytest.mark.parametrize("read", READERS)
@pytest.mark.parametrize(("odd", "words"), ODD)
def test_odd_files(
    read: Callable[[Path], object],
    odd: Callable[[Path], Path],
    words: str,
    tmp_path: Path,
) -> None:
    """Every reader says in one line what is wrong; none waits for a pipe."""
    with pytest.raises(InputError) as caught:
        read(odd(tmp_path))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@posix
def test_files_that_may_not_be_read() -> None:
    """A closed file, and a file in a closed folder."""
    with public_folder() as folder:
        closed = folder / "closed"
        closed.mkdir()
        for path in (folder / "a", closed / "a"):
            path.write_text("")
            path.chmod(0)
        closed.chmod(0)
        with as_nobody(folder):
            for path in (folder / "a", closed / "a"):
                with pytest.raises(InputError, match="Permission denied"):
                    reading.read_bytes(path)
            with pytest.raises(InputError, match="Permission denied"):
                paths.status(closed / "a")
        closed.chmod(0o755)


def test_a_file_of_the_largest_size(tmp_path: Path) -> None:
    """The limit itself is allowed, one byte more is not."""
    path = tmp_path / "x"
    path.write_bytes(b"12345")
    assert reading.read_bytes(path, 5) == b"12345"
    with pytest.raises(InputError, match="has 5 bytes; allowed 4"):
        reading.read_bytes(path, 4)


@pytest.mark.skipif(sys.platform != "linux", reason="no such files")
def test_a_file_whose_size_is_not_known() -> None:
    """The system's own tables say 0 bytes and hold more."""
    with pytest.raises(InputError, match="has more than 4 bytes"):
        reading.read_bytes(Path("/proc/self/status"), 4)


def test_what_a_link_leads_to(tmp_path: Path) -> None:
    assert paths.status(tmp_path / "none") is None
    assert paths.status(tmp_path / "none" / "below") is None
    (tmp_path / "file").write_text("")
    assert paths.status(tmp_path / "file" / "below") is None
    assert paths.is_folder(tmp_path)
    assert not paths.is_folder(tmp_path / "file")
    assert paths.real(tmp_path / "none" / ".." / "a") == paths.real(tmp_path) / "a"
