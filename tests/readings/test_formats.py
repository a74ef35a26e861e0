"""Files as loggers write them: each is read like its plain twin, or refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from castsugar.readings.recordings import Recording, read_trace
from castsugar.readings.strand_files import read_strands
from castsugar.readings.tables import is_invented

# Exact: an invented recording, written in many formats; the plain one is the source.
pytestmark = pytest.mark.exact

N = 24
MS = [125 * i for i in range(N)]
BAR = [0.0, 0.0, *[1.5 * i for i in range(N - 4)], 0.25, 0.0]
HEAD = "time (ms),pressure (bar)"
ROWS = [f"{t},{p}" for t, p in zip(MS, BAR, strict=True)]
PLAIN = "\n".join([HEAD, *ROWS]) + "\n"

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Return a function that writes a file and returns its path."""

    def written(text: str | bytes, name: str = "shot.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return path

    return written


def check_twin(found: Recording) -> None:
    """Hold a recording against the numbers that the plain file holds."""
    assert found.time.tolist() == [t / 1000 for t in MS]
    assert found.pressure is not None
    assert found.pressure.tolist() == [p * 1e5 for p in BAR]
    assert (found.pressure_kind, found.pressure_unit) == ("unstated", "bar")


ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]


@pytest.mark.parametrize("encoding", [*ENCODINGS, "latin-1"])
def test_the_bytes_of_a_file(write: Write, encoding: str) -> None:
    """A byte-order mark, zero bytes or what is no UTF-8 tell the encoding."""
    lines = [f"{HEAD},T (\xb0C)", *(f"{row},20" for row in ROWS)]
    text = "\n".join(lines)
    found = read_trace(write(text.encode(encoding)))
    check_twin(found)
    assert found.not_read == ("T (\xb0C)",)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_what_is_invented_stays_invented(write: Write, encoding: str) -> None:
    """A file that calls itself invented does so in each encoding; strands, too."""
    text = "# Invented: 20 \xb0C\nlength_mm,time_s,pressure_MPa\n50.8,6.35,1.5\n"
    path = write(text.encode(encoding))
    assert is_invented(path)
    [strand] = read_strands(path)
    assert (strand.length, strand.invented) == (0.0508, True)
