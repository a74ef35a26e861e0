"""CPU of the live page's answers along a drag, and its memory; prints, no limits.

python benchmarks/speed/page.py [ANSWERS]

200 answers along a path through the view, each beside one thermo solve; 20 regions
of the full lattice and 20 of the coarse one; 20 whole answers; then 2,000 answers
under changing settings (or ANSWERS) with the resident memory every 250; before all,
the time from the command to the first number, over the socket, of three servers. The
example bench, one thread. In brackets the milliseconds on a machine on which
`import numpy` takes 0.085 s of CPU. Linux and macOS (`resource`).
"""

from __future__ import annotations

import json
import math
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from castsugar.bench.example import write_example
from castsugar.evaluation import performance
from castsugar.page.answer import answered, region
from castsugar.page.desk import Page

#: Seconds of `import numpy` on the machine that the brackets are for.
SCALED_TO = 0.085

DRAG, REGIONS, WHOLE, MANY = 200, 20, 20, 2000


def path(start: dict[str, Any], count: int) -> Iterator[dict[str, Any]]:
    """Yield states along an ellipse through the view of the example."""
    for place in range(count):
        angle = 2.0 * math.pi * place / count
        nitrate, syrup = 58.0 + 4.0 * math.cos(angle), 22.0 + 9.0 * math.sin(angle)
        shares = (nitrate, 100.0 - nitrate - syrup, syrup)
        names = ("KNO3", "powdered sugar", "corn syrup")
        parts = [[n, f"{x:.2f}"] for n, x in zip(names, shares, strict=True)]
        yield start | {"parts": parts}


def timed(act: Callable[[], object]) -> float:
    """Return the CPU of a call. [s]"""
    before = time.process_time()
    act()
    return time.process_time() - before


def import_of_numpy() -> float:
    """Return the least CPU of five processes that import numpy. [s]"""
    found = []
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", "import numpy"], check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(
            after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        )
    return min(found)


def told(name: str, times: Sequence[float], solve: float, unit: float) -> None:
    """Print p50 and p95 of some calls, beside those of one solve."""
    ordered = sorted(times)
    p50, p95 = ordered[len(ordered) // 2], ordered[int(0.95 * (len(ordered) - 1))]
    scale = SCALED_TO / unit
    print(
        f"{name:26} p50 {1e3 * p50:6.1f} ms ({1e3 * scale * p50:6.1f})  "
        f"p95 {1e3 * p95:6.1f} ms ({1e3 * scale * p95:6.1f})  "
        f"{p50 / solve:5.1f} solves"
    )


def first_number(folder: Path) -> tuple[float, float]:
    """Return wall and CPU from the command to the first answer of a server. [s]"""
    command = [sys.executable, "-m", "castsugar", "open", "--no-browser"]
    begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    with subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as server:
        assert server.stdout is not None
        place, _, token = server.stdout.readline().decode().strip().partition("/#")
        headers = {"content-type": "application/json", "origin": place}
        headers["x-castsugar-token"] = token

        def asked(path: str, **body: Any) -> Any:
            data = json.dumps(body).encode()
            with urlopen(Request(f"{place}{path}", data, headers)) as answer:
                return json.load(answer)

        assert asked("/answer", state=asked("/bench")["start"])["rows"]
        wall = time.perf_counter() - begun
        server.send_signal(signal.SIGINT)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def resident() -> float:
    """Return the resident memory of this process; NaN where it is not told. [MB]"""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    except (OSError, ValueError):
        return math.nan
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    """Time and print."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else MANY
    with tempfile.TemporaryDirectory() as folder:
        write_example(Path(folder))
        for wall, cpu in sorted(first_number(Path(folder)) for _ in range(3)):
            print(f"first number after {wall:.2f} s, {cpu:.2f} s of CPU till the end")
        page = Page(Path(folder) / "bench.toml")
        run(page, many)


def run(page: Page, many: int) -> None:
    """Time one page."""
    start = page.start()
    mix = page.world.mix("base")
    answered(page, start, whole=False)
    region(page, start)
    answers, solves = [], []
    for state in path(start, DRAG):
        answers.append(timed(lambda one=state: answered(page, one, whole=False)))
        solves.append(timed(lambda: performance(mix)))
    solve, unit = sorted(solves)[len(solves) // 2], import_of_numpy()
    print(f"import numpy {unit:.3f} s; one thermo solve {1e3 * solve:.1f} ms")
    told(f"{DRAG} answers of a drag", answers, solve, unit)
    for coarse in (False, True):
        words = region(page, start, coarse=coarse)["words"].split(" shown")[0]
        drawn = [
            timed(lambda one=coarse: region(page, start, coarse=one))
            for _ in range(REGIONS)
        ]
        told(f"region of {words}", drawn, solve, unit)
    whole = [
        timed(lambda one=s: answered(page, one, whole=True)) for s in path(start, WHOLE)
    ]
    told("whole answers", whole, solve, unit)
    for count, state in enumerate(path(start, many)):
        if count % 250 == 0:
            print(f"after {count:5} answers {resident():6.1f} MB")
        cook = f"{115 + count % 100 / 10:g} C 8 min"
        answered(page, state | {"cook": cook}, whole=False)
    print(f"after {many:5} answers {resident():6.1f} MB")


if __name__ == "__main__":
    main()
