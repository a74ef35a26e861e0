"""What the speed benchmark measures; every function returns plain numbers."""

from __future__ import annotations

import importlib.metadata
import json
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import region
from region import Mixes

import castsugar as cs
from castsugar.arrays import FloatArray, IntArray
from castsugar.confirmation import MOST_KELVIN, MOST_PPM
from castsugar.errors import ConvergenceError
from castsugar.rows import characteristic_velocity
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.second_opinion import flow
from castsugar.thermo.second_opinion.composition import Composer, composer
from castsugar.thermo.solver import charge_of
from castsugar.thermo.species import SpeciesTable

Numbers = dict[str, Any]

#: Draws of the second route's cases, of the growth and of the single mixes.
SEED_CASES, SEED_GROWTH, SEED_SINGLE = 1, 2, 3

_IMPORT = """
import time
start = time.perf_counter()
import castsugar as cs
ready = time.perf_counter()
cs.evaluate(cs.Mix.weigh({"KNO3": 65, "sucrose": 35}))
print(ready - start, time.perf_counter() - start)
"""


def machine() -> Numbers:
    """Return processor and versions; no name of the machine."""
    return {
        "processor": _processor(),
        "system": f"{platform.system()} {platform.machine()}",
        "python": platform.python_version(),
        **{p: importlib.metadata.version(p) for p in ("numpy", "cantera", "castsugar")},
        "threads": 1,
    }


def memory(count: int) -> Numbers:
    """Return the peak memory of one batch, in a fresh process."""
    script = Path(__file__).with_name("memory.py")
    return dict(json.loads(_fresh(str(script), str(count))))


def start_up(repeats: int) -> Numbers:
    """Return the time of the import and of the first answer, in fresh processes."""
    _fresh("-c", _IMPORT)  # compiled files and disk cache
    times = np.array(
        [[float(t) for t in _fresh("-c", _IMPORT).split()] for _ in range(repeats)]
    )
    middle = np.median(times, axis=0)
    return {
        "processes": repeats,
        "import_ms": 1e3 * float(middle[0]),
        "import_and_first_mix_ms": 1e3 * float(middle[1]),
    }


def one_mix(repeats: int) -> Numbers:
    """Return the latency of one mix through `evaluate`, each time another mix."""
    drawn = region.random(repeats + 1, SEED_SINGLE)
    mixes = [drawn.weighed(row) for row in range(drawn.count)]
    cs.evaluate(mixes.pop(), confirm=False)
    times = [_seconds(lambda mix=mix: cs.evaluate(mix, confirm=False)) for mix in mixes]
    return {
        "calls": repeats,
        "median_ms": 1e3 * float(np.median(times)),
        "max_ms": 1e3 * max(times),
    }


def routes(table: SpeciesTable, rounds: int, cases: int) -> tuple[Numbers, Numbers]:
    """Time the batch and the second route in turns; return both findings.

    The turns let both see the same machine, whose speed varies.
    """
    mixes = region.grid()
    found = region.solve(table, mixes)  # the warm-up
    rng = np.random.default_rng(SEED_CASES)
    rows = np.sort(rng.choice(np.flatnonzero(~found.cold), cases, replace=False))
    same = mixes.take(rows)
    region.solve(table, same)
    second = _Second(table)
    second.run(mixes, rows[:1])
    second.clear()
    shuffled = mixes.take(rng.permutation(mixes.count))
    whole, mixed, alone = [], [], []
    for part in np.array_split(rng.permutation(rows), rounds):
        whole.append(_seconds(lambda: region.solve(table, mixes)))
        mixed.append(_seconds(lambda: region.solve(table, shuffled)))
        alone.append(_seconds(lambda: region.solve(table, same)))
        second.run(mixes, part)
    return (
        _batch_numbers(mixes, found, whole, mixed),
        second.numbers(found, np.median(whole) / mixes.count, np.median(alone) / cases),
    )


def growth_with_mixes(table: SpeciesTable, counts: list[int]) -> list[Numbers]:
    """Return the time per mix of batches of several sizes."""
    region.solve(table, region.random(100, SEED_GROWTH))
    result = []
    for count in counts:
        mixes = region.random(count, SEED_GROWTH)
        repeats = max(1, min(20, 30_000 // count))
        time_s = _median(lambda mixes=mixes: region.solve(table, mixes), repeats)
        result.append(
            {
                "mixes": count,
                "runs": repeats,
                "time_s": time_s,
                "per_mix_us": 1e6 * time_s / count,
            }
        )
    return result


def growth_with_gases(
    table: SpeciesTable, counts: list[int], repeats: int
) -> list[Numbers]:
    """Return time and error of the 5,151 mixes with the most abundant gases only."""
    mixes = region.grid()
    names = region.by_abundance(table, mixes)
    full = region.solve(table, mixes)
    tables = [region.with_gases(table, names[:n]) for n in [*counts, len(names)]]
    errors = [_differences(region.solve(own, mixes), full) for own in tables]
    times = [  # in turns, as the machine's speed varies
        [_seconds(lambda own=own: region.solve(own, mixes)) for own in tables]
        for _ in range(repeats)
    ]
    return [
        {
            "gases": len(own.gas.names),
            "condensed_phases": len(own.phase.names),
            "runs": repeats,
            "time_s": float(time_s),
            "per_mix_us": 1e6 * float(time_s) / mixes.count,
            "largest_flame_temperature_error_K": kelvin,
            "largest_characteristic_velocity_error_ppm": ppm,
        }
        for own, time_s, (kelvin, ppm) in zip(
            tables, np.median(times, axis=0), errors, strict=True
        )
    ]


class _Second:
    """The Cantera route, one mix after the other, as `confirm=True` calls it."""

    def __init__(self, table: SpeciesTable) -> None:
        self.table = table
        self.clear()

    def clear(self) -> None:
        """Forget what was timed."""
        self.seconds: list[float] = []  # of the cases that it solves
        self.inside: list[float] = []  # the part of it within Cantera's own calls
        self.solves = 0
        self.found: dict[int, tuple[float, float]] = {}
        self.seconds_failed: list[float] = []

    def run(self, mixes: Mixes, rows: IntArray) -> None:
        """Solve some mixes; only the route itself is timed."""
        for row in rows:
            own, charge = charge_of(mixes.weighed(int(row)), self.table)
            solver = composer(own)
            clock = _Clock(solver)
            before, start = solver.solves, time.perf_counter()
            try:
                solved = flow.solve(
                    own, charge, region.PRESSURE, region.EXIT_PRESSURE, "equilibrium"
                )
            except ConvergenceError:
                self.seconds_failed.append(time.perf_counter() - start)
                continue
            finally:
                clock.stop()
            self.seconds.append(time.perf_counter() - start)
            self.inside.append(clock.seconds)
            self.solves += solver.solves - before
            velocity = solved.characteristic_velocity or np.nan
            self.found[int(row)] = (solved.chamber.temperature, velocity)

    def numbers(self, ours: Flow, in_batch_s: float, alone_s: float) -> Numbers:
        """Return time per case, ratios, and how well the two routes agree.

        Cases on which this route fails, the slowest of all, count in no ratio.
        """
        rows = np.array(sorted(self.found), dtype=np.intp)
        kelvin = ours.chamber.temperature[rows] - [self.found[r][0] for r in rows]
        velocity = characteristic_velocity(ours.chamber, ours.throat)[rows]
        ppm = np.abs(1e6 * (velocity / [self.found[r][1] for r in rows] - 1.0))
        disputed = (ppm > MOST_PPM) | (np.abs(kelvin) > MOST_KELVIN)
        mean, middle = float(np.mean(self.seconds)), float(np.median(self.seconds))
        failed = self.seconds_failed
        return {
            "cases": len(rows) + len(failed),
            "seed": SEED_CASES,
            "solved": len(rows),
            "failed": len(failed),
            "failed_mean_ms": 1e3 * float(np.mean(failed)) if failed else None,
            "cantera_mean_ms": 1e3 * mean,
            "cantera_median_ms": 1e3 * middle,
            "cantera_tp_solves_per_case": self.solves / len(rows),
            "cantera_ms_per_tp_solve": 1e3 * sum(self.seconds) / self.solves,
            "cantera_own_mean_ms": 1e3 * float(np.mean(self.inside)),
            "cantera_own_median_ms": 1e3 * float(np.median(self.inside)),
            "ratio_of_own_mean_in_5151": float(np.mean(self.inside)) / in_batch_s,
            "ratio_of_own_median_in_5151": float(np.median(self.inside)) / in_batch_s,
            "batch_us_per_case_in_5151": 1e6 * in_batch_s,
            "batch_us_per_case_alone": 1e6 * alone_s,
            "ratio_of_mean_in_5151": mean / in_batch_s,
            "ratio_of_median_in_5151": middle / in_batch_s,
            "ratio_of_mean_alone": mean / alone_s,
            "ratio_of_median_alone": middle / alone_s,
            "disputed": int(disputed.sum()),
            "disputed_with_two_throats": int(ours.two_throats[rows[disputed]].sum()),
            "agreed_largest_flame_temperature_difference_K": float(
                np.abs(kelvin[~disputed]).max()
            ),
            "agreed_largest_characteristic_velocity_difference_ppm": float(
                ppm[~disputed].max()
            ),
            "largest_characteristic_velocity_difference_ppm": float(ppm.max()),
        }


class _Clock:
    """Adds up the time within Cantera's calls, without our tests of the results."""

    def __init__(self, solver: Composer) -> None:
        self.seconds = 0.0
        self._solver = solver
        self._call = solver._equilibrate
        solver._equilibrate = self._timed  # type: ignore[method-assign]

    def stop(self) -> None:
        """Leave the solver as it was."""
        del self._solver._equilibrate

    def _timed(self, mixed: object, solver: str) -> None:
        start = time.perf_counter()
        try:
            self._call(mixed, solver)
        finally:
            self.seconds += time.perf_counter() - start


def _batch_numbers(
    mixes: Mixes, found: Flow, times: list[float], shuffled: list[float]
) -> Numbers:
    """Return the findings on the 5,151 mixes."""
    stations = (found.chamber, found.throat, found.leaving)
    residual = np.fmax.reduce([s.residual for s in stations])
    wrong = ~found.cold & ((found.lost > 0) | ~(residual < 1.0))
    return {
        "mixes": mixes.count,
        "cold": int(found.cold.sum()),
        "failed": int(wrong.sum()),
        "largest_residual_over_limit": float(np.nanmax(residual)),
        "runs": len(times),
        "min_s": min(times),
        "median_s": float(np.median(times)),
        "min_us_per_mix": 1e6 * min(times) / mixes.count,
        "median_us_per_mix": 1e6 * float(np.median(times)) / mixes.count,
        "shuffled_median_s": float(np.median(shuffled)),
        "shuffled_median_us_per_mix": 1e6 * float(np.median(shuffled)) / mixes.count,
    }


def _differences(one: Flow, other: Flow) -> tuple[float, float]:
    """Return the largest differences of flame temperature [K] and c* [ppm]."""
    kelvin = np.abs(one.chamber.temperature - other.chamber.temperature)
    velocities: list[FloatArray] = [
        characteristic_velocity(f.chamber, f.throat) for f in (one, other)
    ]
    ppm = 1e6 * np.abs(velocities[0] / velocities[1] - 1.0)
    return float(np.nanmax(kelvin)), float(np.nanmax(ppm))


def _median(action: Callable[[], object], repeats: int) -> float:
    """Return the median time of an action. [s]"""
    return float(np.median([_seconds(action) for _ in range(repeats)]))


def _seconds(action: Callable[[], object]) -> float:
    """Return the time of one action. [s]"""
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def _fresh(*arguments: str) -> str:
    """Return what a fresh interpreter prints."""
    return subprocess.run(
        [sys.executable, *arguments], check=True, capture_output=True, text=True
    ).stdout


def _processor() -> str:
    """Return the processor's model as far as it can be read."""
    path = Path("/proc/cpuinfo")
    if path.is_file():
        for line in path.read_text("utf-8", "replace").splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    return platform.processor() or platform.machine()
