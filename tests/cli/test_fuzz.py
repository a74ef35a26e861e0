"""Mutated command lines, bench files and tables: an exit code and a line, no fault.

``python tests/cli/test_fuzz.py 812`` runs one case alone and shows what it prints, with
the traceback of a fault.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

from commands import EXAMPLES
from mutations import mutated_bytes, mutated_words

from castsugar.cli.main import main

# Exact: exit codes, and limits that any command of a hobbyist keeps.
pytestmark = [
    pytest.mark.exact,
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="counts memory as Linux does"),
]

CASES, IN_PROCESSES, SEED = 2000, 20, 1
GOOD_CODES = (0, 1, 2, 3, 130)
SECONDS, MEGABYTES = 20, 500

BATCH = "2026-05-02-1"

#: These take a second when nothing is wrong: fewer of them.
_DEAR = ("search", "compare", "justify", "learn", "map")

#: Commands that read a file of the world, each cheap.
READERS = {
    "bench.toml": (
        "evaluate base --bench bench.toml --no-confirm",
        "evaluate base --bench bench.toml --exit-pressure none --json",
        "kitchen judge base --bench bench.toml",
        "kitchen parameters --bench bench.toml",
        "weigh base --bench bench.toml --grains 4 --strands 3 --delays 2",
        'plan pieces base --bench bench.toml --batch "500 g"',
        'plan pans base --bench bench.toml --batch "500 g"',
        "plan water base --bench bench.toml --left '3 %'",
        "plan heat base --bench bench.toml --probability '55 %'",
        'batch new base --bench bench.toml --batch "200 g"',
        "next --bench bench.toml --plan 1",
    ),
    "strands.csv": (
        "burnrate strands.csv --at '4 MPa'",
        "burnrate strands.csv --picture strands.svg --csv",
        "evaluate base --bench bench.toml --no-confirm",
    ),
    "strands-new.csv": (f"batch add {BATCH} --strands strands-new.csv",),
    "delay.csv": (
        "burnrate delay.csv --json",
        "firing --delay --strands delay.csv --delay-time '6 s'"
        " --chamber-pressure '2 MPa' --burn-time '1.2 s'",
    ),
    "shot.csv": (
        "firing shot.csv --throat '8 mm' --propellant-mass '368 g'",
        "firing shot.csv --throat '8 mm' --bench bench.toml --picture shot.svg --csv",
        f"batch close {BATCH} --outcome used --firing shot.csv --throat '8 mm'",
    ),
    f"batches/{BATCH}.jsonl": (
        f"batch show {BATCH}",
        "batch list --json",
        f"batch add {BATCH} --observe pale",
        "learn --bench bench.toml --save",
    ),
}


@dataclass(frozen=True)
class Case:
    """What is typed, and the files that are not as in the world."""

    words: tuple[str, ...]
    files: Mapping[str, bytes]


@dataclass(frozen=True)
class Ended:
    """How a command ended; seconds of the processor."""

    code: int
    err: str
    seconds: float
    megabytes: float = 0.0


def case(number: int, world: Mapping[str, bytes]) -> Case:
    """Return a case; the same for the same number and world."""
    rng = random.Random(f"{SEED} {number}")
    if number % 2:
        line = rng.choice([line for line in LINES for _ in range(_weight(line))])
        return Case(mutated_words(rng, line, LINES), {})
    name = rng.choice(["bench.toml"] * 4 + list(READERS))
    data = world[name]
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        data = mutated_bytes(rng, data)
    line = shlex.split(rng.choice(READERS[name]))
    return Case(tuple(line), {name: data})


#: What the help texts give as examples, and the readers, as words behind the program.
#: `open` serves until it is stopped.
LINES = [
    tuple(shlex.split(line)[1:])
    for name, lines in EXAMPLES.items()
    if name != "open"
    for line in lines
] + [tuple(shlex.split(line)) for lines in READERS.values() for line in lines]


def _weight(line: Sequence[str]) -> int:
    return 1 if line[0] in _DEAR else 6


class TooLong(BaseException):
    """A command takes longer than it may."""


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise TooLong


@contextlib.contextmanager
def _limits() -> Iterator[None]:
    """Give what runs inside a time to end and a memory to keep to."""
    import resource

    page = os.sysconf("SC_PAGE_SIZE")
    used = int(Path("/proc/self/statm").read_text("ascii").split()[0]) * page
    before = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (used + MEGABYTES * 2**20, before[1]))
    for stop in (signal.SIGPROF, signal.SIGALRM):
        signal.signal(stop, _stop)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    signal.alarm(10 * SECONDS)  # asleep it spends nothing of the processor
    try:
        yield
    finally:
        signal.alarm(0)
        signal.setitimer(signal.ITIMER_PROF, 0)
        resource.setrlimit(resource.RLIMIT_AS, before)


def run_inside(words: Sequence[str]) -> Ended:
    """Run a command in this process; its screen lacks half of the characters."""
    screens = [io.TextIOWrapper(io.BytesIO(), "cp1252") for _ in range(2)]
    started = time.process_time()
    with contextlib.redirect_stdout(screens[0]), contextlib.redirect_stderr(screens[1]):
        try:
            with _limits():
                code = main(words)
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 1
        except TooLong:
            code = -signal.SIGPROF
    screens[1].seek(0)
    return Ended(code, screens[1].read(), time.process_time() - started)


#: Starts a command and says how it ended. A child counts the memory that its parent
#: holds when it starts: the parent must be a small process, not this one.
_STARTER = """
import os, subprocess, sys
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, usage = os.wait4(child.pid, 0)
code = os.waitstatus_to_exitcode(status)
print(code, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)
"""


def run_process(words: Sequence[str]) -> Ended:
    """Run a command in a process of its own; what it prints is thrown away."""
    with tempfile.TemporaryFile() as err:
        command = [sys.executable, "-m", "castsugar", *words]
        started = subprocess.run(
            [sys.executable, "-c", _STARTER, *command],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=err,
            text=True,
            timeout=10 * SECONDS,
            check=True,
        )
        err.seek(0)
        text = err.read().decode("utf-8", "replace")
    code, spent, megabytes = started.stdout.split()
    return Ended(int(code), text, float(spent), float(megabytes))


def fault(ended: Ended) -> str:
    """Say what is wrong with how a command ended; empty if nothing is."""
    last = (ended.err.splitlines() or [""])[-1]
    if ended.code not in GOOD_CODES:
        return f"exit code {ended.code}: {last}"
    if "Traceback" in ended.err or "Warning:" in ended.err:
        return f"a traceback or a warning: {last}"
    if ended.code == 2 and not last.startswith("castsugar: "):
        return f"bad input, but no line says so: {last}"
    if ended.seconds > SECONDS or ended.megabytes > MEGABYTES:
        return f"took {ended.seconds:.0f} s, {ended.megabytes:.0f} MB"
    return ""


def lay_out(world: Mapping[str, bytes], asked: Case, folder: Path) -> None:
    """Put the world with the files of a case into a folder, and nothing else."""
    shutil.rmtree(folder, ignore_errors=True)
    for name, data in {**world, **asked.files}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def made_world(folder: Path) -> dict[str, bytes]:
    """Return the files of the example and of a batch: name to content."""
    folder.mkdir()
    with contextlib.chdir(folder):
        for line in ("castsugar init", *EXAMPLES["batch"][:3]):
            assert run_inside(shlex.split(line)[1:]).code == 0
    paths = [path for path in folder.rglob("*") if path.is_file()]
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(paths)}


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Return the files that the commands find."""
    return made_world(tmp_path_factory.mktemp("made") / "world")


def told(number: int, asked: Case, what: str) -> str:
    """Say in a few lines which case failed, to be run again by hand."""
    files = f"  with another {', '.join(asked.files)}" if asked.files else ""
    typed = ascii(shlex.join(asked.words))[1:501]
    return f"case {number}: {what}\n  castsugar {typed}{files}"


def failures(
    numbers: Sequence[int], world: Mapping[str, bytes], folder: Path, *, alone: bool
) -> list[str]:
    """Run cases; return what failed."""
    found = []
    run = run_process if alone else run_inside
    for number in numbers:
        asked = case(number, world)
        lay_out(world, asked, folder)
        with contextlib.chdir(folder):
            what = fault(run(asked.words))
        if what:
            found.append(told(number, asked, what))
    return found


#: Parts of ten that the gate runs; the others when the command line is touched.
GATE = 1


@pytest.mark.parametrize(
    "part",
    [pytest.param(n, marks=[pytest.mark.simulation] * (n >= GATE)) for n in range(10)],
)
def test_in_one_process(part: int, world: dict[str, bytes], tmp_path: Path) -> None:
    """Exit codes that mean something, in time, without eating the memory."""
    numbers = range(part, CASES, 10)
    found = failures(numbers, world, tmp_path / "here", alone=False)
    assert not found, "\n" + "\n".join(found)


def test_in_processes(world: dict[str, bytes], tmp_path: Path) -> None:
    """Some of the same as real processes, with the memory that each took."""
    numbers = range(0, CASES, CASES // IN_PROCESSES)[:IN_PROCESSES]
    found = failures(numbers, world, tmp_path / "here", alone=True)
    assert not found, "\n" + "\n".join(found)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        files = made_world(Path(place) / "world")
        for text in sys.argv[1:]:
            asked = case(int(text), files)
            lay_out(files, asked, Path(place) / "here")
            sys.stdout.write(f"castsugar {shlex.join(asked.words)}\n")
            with contextlib.chdir(Path(place) / "here"):
                main(["--debug", *asked.words])
