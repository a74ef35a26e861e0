"""Listing 5,000 records of batches: a cold process, beside reading the bytes alone.

OMP_NUM_THREADS=1 python benchmarks/speed/batches.py
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from castsugar.columns import COLUMNS
from castsugar.records.folder import add_events, new_batch
from castsugar.records.record import Event, FrozenBench, Made

COUNT = 5000
DAY = "2026-05-02"


def write(folder: Path) -> None:
    """Write invented records of about 5 kB each."""
    made = Made(
        date=DAY,
        recipe="KNO3:65 sucrose:35",
        name="",
        fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
        batch=0.2,
        planned={"potassium nitrate": 0.13, "sucrose": 0.07},
        pressure=6.9e6,
        bench=FrozenBench(
            file="../bench.toml", sha256="0" * 64, kitchen="#" * 1000, motor="#" * 1500
        ),
        predictions={c.key: 1.0 / 3.0 if c.decimals else "ok" for c in COLUMNS},
    )
    seen = {"text": "smooth", "temperature_K": 391.15, "flow_class": "pours"}
    events = [
        Event(kind="observed", date=DAY, values=seen),
        Event(kind="closed", date=DAY, values={"outcome": "used"}),
    ]
    data = add_events(new_batch(folder, made).path, events).path.read_bytes()
    for number in range(2, COUNT + 1):
        name = f"{DAY}-{number}"
        text = data.replace(f"{DAY}-1".encode(), name.encode())
        (folder / f"{name}.jsonl").write_bytes(text)


def cold(code: str, *words: str) -> float:
    """Return the shortest time of three cold processes. [s]"""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", code, *words], check=True, capture_output=True
        )
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder)
        plain = cold(
            "import sys, pathlib\n"
            "for p in pathlib.Path(sys.argv[1]).glob('*.jsonl'): p.read_bytes()",
            name,
        )
        listed = cold(
            "import sys; from castsugar.cli.main import main; "
            "sys.exit(main(['batch', 'list', '--dir', sys.argv[1]]))",
            name,
        )
    print(f"{COUNT} records: cold list {listed:.2f} s, bytes alone {plain:.2f} s")
    print(f"ratio {listed / plain:.1f}")


if __name__ == "__main__":
    main()
