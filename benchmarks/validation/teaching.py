"""What faulty static firings teach: how far a predicted p95 moves, fault by fault.

Run ``python benchmarks/validation/teaching.py``; it takes some minutes of CPU and
prints what stands in ``teaching.md``. Each simulated motor (``tests/support``, which
knows nothing of the project) has strands that burn by its true law. Its p95 of the peak
is told before the firing, and after it, as ``castsugar learn`` would: a firing with an
alarm or any other doubt teaches nothing, an unflagged one its efficiencies and its
rate. Before three sound firings none may lower the p95 by more than its own doubt.
"""

from __future__ import annotations

import datetime
import math
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))

import numpy as np

import castsugar as cs
from castsugar.errors import InputError
from castsugar.mix.blends import of_mixes
from castsugar.motor.burn_evidence import FIRING, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.efficiency import Reading, learn_efficiencies
from castsugar.motor.firing.faults import HIGHEST_EFFICIENCY, LOWEST_EFFICIENCY
from castsugar.motor.firing.reduction import reduce_recording
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import motor_rows
from castsugar.static_test import StaticTest, review
from shared.burning import PARTS, strands
from shared.firings import grain, recorded, stand
from support.firings import FAULTED, FAULTS, Firing, fleet
from support.motors import Motor

#: Fixed before the run; simulated motors a fault.
SEED, COUNT = 20, 12

#: Ideal c* of the mix, so that the p95 before and after rest on one number. [m/s]
IDEAL = 899.0

MIX = cs.Mix.weigh(PARTS)

#: Of the simulated motors: 5 % voids in that mix, 94 % of that c* at most. [kg/m3, m/s]
DENSITY, HIGHEST = 0.95 * MIX.density, 0.94 * IDEAL


@dataclass(frozen=True, slots=True)
class Taught:
    """One firing: refused, flagged or learnt; p95 after over before, and the guard."""

    what: str
    ratio: float = 1.0
    least: float = 0.0


def p95_of(hardware: Hardware) -> float:
    """Return what 95 of 100 peaks of the next batch stay below. [Pa]"""
    made = motor_rows(
        of_mixes([MIX]), hardware, characteristic_velocity=np.array([IDEAL])
    )
    return float(made.p95[0])


def hardware_of(firing: Firing) -> Hardware:
    """Return the motor as stated, with strands that burn by its true law."""
    own = strands(firing.motor.rate, firing.motor.exponent)
    return Hardware(
        grain=grain(firing),
        throat_diameter=firing.motor.stated.throat,
        exit_diameter=firing.motor.stated.exit_diameter,
        burning=BurnModel([own]),
    )


def learnt(hardware: Hardware, test: StaticTest) -> Hardware:
    """Return the motor after one sound firing, as its bench file would tell it."""
    velocity, nozzle, rate = (
        test.characteristic_velocity_efficiency,
        test.nozzle_efficiency,
        test.rate,
    )
    assert velocity is not None
    told = {
        "characteristic_velocity": velocity.value,
        "characteristic_velocity_u": velocity.u / velocity.value,
    }
    if nozzle is not None and not nozzle.bound:
        told |= {"nozzle": nozzle.value, "nozzle_u": nozzle.u / nozzle.value}
    own = learn_efficiencies([Reading(name="one", **told)])
    evidence = [*hardware.burning.evidence]
    if rate is not None:
        evidence.append(
            Burned(
                name="one",
                fractions=PARTS,
                pressure=np.array([rate.pressure]),
                rate=np.array([rate.value]),
                kind=FIRING,
                log_rate_u=rate.u,
            )
        )
    return replace(
        hardware,
        efficiencies=own,
        efficiency=min(own.characteristic_velocity.median, 1.0),
        efficiency_measured=True,
        efficiency_u=own.characteristic_velocity.next_u,
        firings=1,
        burning=BurnModel(evidence),
    )


def teach(firing: Firing) -> Taught:
    """Return what one firing does to the p95."""
    hardware = hardware_of(firing)
    try:
        reduced = reduce_recording(recorded(firing), stand(firing))
    except InputError:
        return Taught("refused")
    test = review(reduced, mix=MIX, hardware=hardware)
    velocity = test.characteristic_velocity_efficiency
    sound = velocity is not None and not velocity.bound and not test.doubts
    if not sound or not LOWEST_EFFICIENCY <= velocity.value <= HIGHEST_EFFICIENCY:
        return Taught("flagged")
    after = learnt(hardware, test)
    scatter = hardware.burning.scatter
    u = math.hypot(after.efficiency_u, scatter.firing, scatter.strands_to_motor_u)
    return Taught("taught", p95_of(after) / p95_of(hardware), math.exp(-1.96 * u))


def struck(work: tuple[str, int]) -> tuple[str, list[Taught]]:
    """Return what the firings of one fault teach."""
    name, count = work
    fault = FAULTS.get(name, lambda motor: motor)

    def of_mix(motor: Motor) -> Motor:
        velocity = min(motor.velocity, HIGHEST * motor.discharge)
        return fault(replace(motor, density=DENSITY, velocity=velocity))

    return name, [teach(one) for one in fleet(SEED, count, FAULTED, of_mix)]


def row(name: str, found: Sequence[Taught]) -> str:
    """Return one line of the table."""
    taught = [one for one in found if one.what == "taught"]
    cells = [name or "sound", len(found)]
    cells += [sum(one.what == what for one in found) for what in ("refused", "flagged")]
    if not taught:
        return f"| {' | '.join(map(str, [*cells, 0, '-', '-', '-']))} |"
    ratios = [one.ratio for one in taught]
    below = sum(one.ratio < one.least * (1.0 - 1e-9) for one in taught)
    moved = [f"{100 * (value - 1):+.1f}" for value in (np.median(ratios), min(ratios))]
    return f"| {' | '.join(map(str, [*cells, len(taught), *moved, below]))} |"


def main(argv: Sequence[str]) -> None:
    """Print the table."""
    count, start = int(argv[0]) if argv else COUNT, sum(os.times()[:4])
    print("# What faulty firings teach\n")
    print(
        f"Of {datetime.datetime.now(tz=datetime.UTC).date()}, seed {SEED}, {count} "
        "simulated motors a fault. A flagged firing teaches nothing: its p95 stays. Of "
        "those that teach, by how much the p95 moves; how many moved below the guard.\n"
    )
    heads = "fault | firings | refused | flagged | teach | p95 moves, median %"
    print(f"| {heads} | lowest % | below the guard |")
    print("|---|---|---|---|---|---|---|---|")
    # One port only is simulated here.
    names = ["", *(name for name in FAULTS if name != "blocked port")]
    with ProcessPoolExecutor(2) as pool:
        for name, found in pool.map(struck, [(name, count) for name in names]):
            print(row(name, found), flush=True)
    taken = sum(os.times()[:4]) - start
    print(f"\n{taken / 60:.1f} minutes of CPU on two processes.")


if __name__ == "__main__":
    main(sys.argv[1:])
