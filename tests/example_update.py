"""Make the invented readings of the example scenario anew: strands and a recording.

Run ``python tests/example_update.py`` after a change here; ``tests/cli/test_init.py``
holds the shipped files against what this makes. Nothing in them was ever measured:
power laws chosen by hand, the plain balance of the motor in the example's bench file,
and scatter from a seeded generator.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from castsugar.motor.grain import HollowCylinder
from castsugar.motor.nozzle import Nozzle

EXAMPLE = Path(__file__).parents[1] / "src" / "castsugar" / "bench" / "example"

#: Mix -> burn rate at 1 MPa [mm/s] and exponent. That of the mix that was fired lies
#: where ln r and n, linear in the shares of the first three, put it (4.11 and 0.277),
#: a little slower.
LAWS = {
    "60/20/20": (4.4, 0.28),
    "58/14/28": (3.7, 0.27),
    "66/20/14": (4.9, 0.29),
    "60/17/23": (4.0, 0.275),
    "delay": (2.6, 0.22),
}

#: File -> seed, what it is, its mixes, pressures [MPa] (0: in open air).
STRANDS = {
    "strands.csv": (
        1,
        "Strands of three mixes (parts of KNO3/powdered sugar/corn syrup).",
        ("60/20/20", "58/14/28", "66/20/14"),
        (0.0, 1.0, 2.0, 4.0, 7.0),
    ),
    "strands-new.csv": (
        2,
        "Strands cast beside the grains of the first batch of 60/17/23.",
        ("60/17/23",),
        (0.0, 1.0, 3.0, 7.0),
    ),
    "delay.csv": (
        3,
        "Strands of a delay mix: open air and chamber pressure.",
        ("delay",),
        (0.0, 2.0, 4.0),
    ),
}

#: c* that the invented motor delivers [m/s]: 0.92 of the ideal one.
DELIVERED = 828.0


def strands(name: str) -> str:
    """Return a file of strands: two at each pressure, 2 % scatter."""
    seed, what, mixes, pressures = STRANDS[name]
    rng = np.random.default_rng(seed)
    lines = [
        f"# INVENTED, for the Tarnholt rocket club, which does not exist. {what}",
        f"# A power law for each mix, 2 % scatter, seed {seed}; nobody burned these.",
        "length_mm,time_s,pressure_MPa,temperature_C,mix",
    ]
    for mix in mixes:
        rate, exponent = LAWS[mix]
        for pressure in pressures:
            for _ in range(2):
                absolute = pressure or 0.101325
                scatter = math.exp(0.02 * rng.standard_normal())
                time = 50.0 / (rate * absolute**exponent * scatter)
                shown = f"{pressure:g}" if pressure else "ambient"
                lines.append(f"50,{time:.1f},{shown},20,{mix}")
    return "\n".join(lines) + "\n"


def shot() -> str:
    """Return the recording of a firing that never was: 500 Hz, noise, drift, steps.

    The motor of the example with a throat of 8.1 mm (it wore from 8 to 8.2 mm), the law
    of the mix 60/17/23 and a c* of :data:`DELIVERED`.
    """
    since, pressure, thrust = _fired()
    time = np.arange(0.0, since[-1] + 2.0, 2e-3)
    rng = np.random.default_rng(4)
    columns = []
    for course, rest, step in ((1e-6 * pressure, 0.101325, 0.002), (thrust, 0.0, 0.1)):
        over = np.interp(time - 0.6, since, course - rest, left=0.0, right=0.0)
        lagged = lfilter([0.2], [1.0, -0.8], over)
        noise = 0.004 * rng.standard_normal(time.shape) + 0.003 * time
        columns.append(step * np.round((lagged + over.max() * noise) / step))
    lines = [
        "# INVENTED, for the Tarnholt rocket club, which does not exist.",
        "# A static test of 4 grains of 60/17/23 that nobody fired: the trace of the",
        "# motor in bench.toml by castsugar's own model, with noise, lag and drift.",
        "time (s),pressure (MPa gauge),thrust (N)",
    ]
    lines += [
        f"{a:.3f},{b:.3f},{c:.1f}" for a, b, c in zip(time, *columns, strict=True)
    ]
    return "\n".join(lines) + "\n"


def _fired() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, pressures and thrusts: at each web p = (rho c* Kn a)^(1/(1-n))."""
    rate, n = LAWS["60/17/23"]
    a = 1e-3 * rate / 1e6**n
    grain = HollowCylinder(
        outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=4
    )
    nozzle = Nozzle(
        throat_diameter=0.0081, exit_diameter=0.018, exponent=1.13, efficiency=0.9
    )
    throat = nozzle.throat_area

    def standing(web: np.ndarray) -> np.ndarray:
        made = 1720.0 * DELIVERED * a * grain.area(web) / throat
        return np.asarray(made ** (1.0 / (1.0 - n)))

    even = np.linspace(0.0, grain.web, 101)
    edges = np.unique(np.r_[even, grain.breakpoints])
    nodes, weights = np.polynomial.legendre.leggauss(8)
    width = np.diff(edges)[:, None]
    rates = a * standing(edges[:-1, None] + width * 0.5 * (nodes + 1.0)) ** n
    time = np.r_[0.0, np.cumsum((0.5 * width * weights / rates).sum(axis=1))]
    pressure = standing(edges)
    force = nozzle.thrust_coefficient(pressure, 101325.0) * pressure * throat
    return time, pressure, force


def files() -> dict[str, str]:
    """Return every made file: name to content."""
    return {name: strands(name) for name in STRANDS} | {"shot.csv": shot()}


if __name__ == "__main__":
    for name, text in files().items():
        (EXAMPLE / name).write_text(text, "utf-8", newline="\n")
