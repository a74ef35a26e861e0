"""Flame temperatures of a map proved, wrong ones tried, certificates checked.

Run ``python benchmarks/validation/proofs.py [STEP]`` on two processes; 2 % takes five
minutes of CPU, 1 % thirteen. It prints what stands in ``proofs.md``. The mixes are
those of ``castsugar map KNO3 "powdered sugar" "corn syrup"`` that burn by the model.
The claims are the temperatures of the table. Wrong claims are 0.01 K off, at pressures
from 0.1 to 10 MPa, plateau mixes among them. Certificates are checked by a copy of
``check.py`` in a fresh environment with python-flint alone, which needs the package
index; some are of flames, some of what those expand to without solidification.
"""

from __future__ import annotations

import collections
import datetime
import json
import subprocess
import sys
import tempfile
import time
import venv
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "thermo"))

from equilibrium_checks import scope

import castsugar as cs
from castsugar.constants import DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.mix.blends import Rule, Triangle
from castsugar.proof import prove
from castsugar.rows import shipped_species
from castsugar.thermo.proof import check

#: Fixed before the run.
WITHIN, OFF, SEED = 1e-6, 0.01, 28
WRONG, SOME, CHECKED = 500, 200, 20
WORKERS = 2

#: Within this of the melting point a chamber is on its plateau [K].
PLATEAU = 1e-6

ITEMS = ("KNO3", "powdered sugar", "corn syrup")


class Claim(NamedTuple):
    """A temperature that somebody claims of a mix [K], at a pressure [Pa]."""

    mix: cs.Mix
    temperature: float
    pressure: float = DEFAULT_PRESSURE
    within: float = WITHIN
    exit_pressure: float | None = None


def status(claim: Claim) -> tuple[str, float]:
    """Return what became of a claim, and the CPU that it took [s]."""
    started = time.process_time()
    found = prove(
        claim.mix,
        temperature=claim.temperature,
        pressure=claim.pressure,
        within=claim.within,
        exit_pressure=claim.exit_pressure,
    )
    told = found.status
    if found.expansion is not None:
        told = found.expansion.status
    return told, time.process_time() - started


def statuses(claims: Sequence[Claim]) -> tuple[collections.Counter[str], float, float]:
    """Try claims on all workers; return counts, CPU and wall clock [s]."""
    started = time.perf_counter()
    with ProcessPoolExecutor(WORKERS) as executor:
        found = list(executor.map(status, claims, chunksize=8))
    counts = collections.Counter(text for text, _ in found)
    return counts, sum(cpu for _, cpu in found), time.perf_counter() - started


def burning(step: float) -> list[Claim]:
    """Return what the table says of the mixes of a map that burn."""
    blends = Rule(items=ITEMS, points=Triangle(step=step)).blends()
    table = cs.evaluate(blends, exit_pressure=None)
    flames = table["flame_temperature_K"].to_numpy()
    rows = np.flatnonzero(table["status"] == "ok")
    return [Claim(blends.mix(int(row)), float(flames[row])) for row in rows]


def on_plateau(claims: Sequence[Claim]) -> list[Claim]:
    """Return the claims at the melting point of potassium carbonate."""
    (melting,) = (
        limit
        for cold, _, limit in shipped_species().transitions
        if shipped_species().phase.names[cold] == "K2CO3(s)"
    )
    return [one for one in claims if abs(one.temperature - melting) < PLATEAU]


def narrow(claims: Sequence[Claim]) -> list[Claim]:
    """Return some claims with the narrowest band that may be asked for."""
    order = np.random.default_rng(SEED).permutation(len(claims))[:SOME]
    return [claims[place]._replace(within=1e-9) for place in order]


def of_catalogue() -> list[Claim]:
    """Return what the table says of random mixes of everything, 0.1 to 10 MPa."""
    pressures = scope.pressures(SOME, SEED)
    blends = scope.blends(scope.shares(SOME, SEED))
    table = cs.evaluate(blends, pressure=list(pressures), exit_pressure=None)
    flames = table["flame_temperature_K"].to_numpy()
    rows = np.flatnonzero(table["status"] == "ok")
    return [
        Claim(blends.mix(int(row)), float(flames[row]), float(pressures[row]))
        for row in rows
    ]


def expanded(claims: Sequence[Claim], plateau: Sequence[Claim]) -> list[Claim]:
    """Return plateau mixes and some others that expand to an atmosphere."""
    order = np.random.default_rng(SEED).permutation(len(claims))[:SOME]
    chosen = [*plateau, *(claims[place] for place in order)]
    return [one._replace(exit_pressure=STANDARD_ATMOSPHERE) for one in chosen]


def wrong(claims: Sequence[Claim], plateau: Sequence[Claim]) -> list[Claim]:
    """Return claims that are 0.01 K off, some with the widest band that is wrong."""
    draw = np.random.default_rng(SEED)
    chosen = [*plateau, *claims]
    order = [*range(len(plateau)), *draw.permutation(len(claims)) + len(plateau)]
    found = []
    for place in order[:WRONG]:
        one = chosen[place]
        pressure, right = one.pressure, one.temperature
        if place >= len(plateau):
            pressure = float(10.0 ** draw.uniform(5.0, 7.0))
            try:
                right = cs.equilibrium(one.mix, pressure=pressure).temperature
            except cs.ConvergenceError:  # cold at this pressure
                pressure = one.pressure
        off = OFF if draw.random() < 0.5 else -OFF
        within = float(draw.choice([WITHIN, 1e-3, 0.99 * OFF]))
        found.append(Claim(one.mix, right + off, pressure, within))
    return found


def checked(claims: Sequence[Claim], folder: Path) -> tuple[int, int]:
    """Return how many certificates a bare environment proves, and tampered ones."""
    draw = np.random.default_rng(SEED)
    venv.create(folder / "env", with_pip=True)
    python = folder / "env" / "bin" / "python"
    pip = [str(python), "-m", "pip", "install", "--quiet", "python-flint"]
    subprocess.run(pip, check=True)
    program = folder / "check.py"
    program.write_text(Path(check.__file__).read_text("utf-8"), "utf-8")
    for place in draw.permutation(len(claims))[:CHECKED]:
        one = claims[place]
        found = prove(
            one.mix, temperature=one.temperature, exit_pressure=STANDARD_ATMOSPHERE
        )
        certificate, after = found.certificate, found.expansion
        if after is not None and place % 2:
            certificate = after.certificate
        (folder / f"sound-{place}.json").write_text(json.dumps(certificate), "utf-8")
        claim = certificate["claim"]
        claim["temperature_K"] = repr(float(claim["temperature_K"]) + OFF)
        (folder / f"wrong-{place}.json").write_text(json.dumps(certificate), "utf-8")
    said = []
    for kind in ("sound", "wrong"):
        files = [str(path) for path in sorted(folder.glob(f"{kind}-*.json"))]
        run = [str(python), str(program), *files]
        lines = subprocess.run(run, capture_output=True, text=True, check=False).stdout
        said.append(lines.count(": proved"))
    return said[0], said[1]


def main() -> None:
    """Print what was proved."""
    step = float(sys.argv[1].rstrip("%")) / 100.0 if len(sys.argv) > 1 else 0.02
    claims = burning(step)
    plateau = on_plateau(claims)
    print(f"{datetime.date.today()}, map of {100 * step:g} %, {WORKERS} processes\n")
    print("| what is claimed | claims | proved | CPU s | wall s |")
    print("|---|---|---|---|---|")
    left: collections.Counter[str] = collections.Counter()
    for name, some in (
        (f"flame temperatures of the map, within {WITHIN:g} K", claims),
        ("those on a melting plateau among them", plateau),
        ("some of the map, within 1e-9 K", narrow(claims)),
        (
            "some of the map and the plateau, exit temperature",
            expanded(claims, plateau),
        ),
        ("random mixes of the catalogue, 0.1 to 10 MPa", of_catalogue()),
        (f"temperatures that are {OFF:g} K wrong", wrong(claims, plateau)),
    ):
        counts, cpu, wall = statuses(some)
        print(f"| {name} | {len(some)} | {counts['proved']} | {cpu:.0f} | {wall:.0f} |")
        if "wrong" not in name:
            left.update({text: n for text, n in counts.items() if text != "proved"})
    with tempfile.TemporaryDirectory() as folder:
        sound, tampered = checked(claims, Path(folder))
    print(f"\n{sound} of {CHECKED} certificates proved by check.py in a bare")
    print(f"environment; {tampered} of the same with a temperature {OFF:g} K off.")
    for text, count in left.most_common(20):
        print(f"* {count} {text}")


if __name__ == "__main__":
    main()
