"""Mistakes in a bench file that make a motor look safer: are they remarked on?

Run ``python benchmarks/validation/register.py [SHARE]``; it takes less than 15 minutes
of two cores and prints what stands in ``register.md``. Benches of five kinds, all
invented, are written from a truth that is drawn: what is burned and fired follows it
with the errors of measuring. Then single mistakes and pairs of them are made in what
is typed. A mistake is silent if it raises the pressure margin by more than
:data:`RISE` points against the sound bench, and the default screen of ``evaluate``
(24 lines) has no remark that it did not have before.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import copy
import datetime
import functools
import io
import itertools
import math
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

import castsugar as cs
from castsugar.bench.open_points import check
from castsugar.cli.main import main
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate_columns
from castsugar.plausible import collected

#: Sound benches, those of them in which mistakes are made, single ones and pairs in
#: each; the seed; the rise of the margin that counts [points]: fixed before the run.
SOUND, FAULTED, SINGLES, PAIRS, SEED, RISE = 500, 100, 5, 20, 28, 5.0

#: Most sound benches with a remark, and most silent pairs of the first class. [-]
MOST_ALARMS, MOST_PAIRS = 0.05, 0.01

Bench = dict[str, Any]
Rng = np.random.Generator

# ----------------------------------------------------------------------------
# Sound benches. Strands, firings and grains follow a drawn truth.

KINDS = ("bare", "strands", "firings", "batches", "kitchen")

#: Truth: rate at 2.5 MPa [mm/s] and its ln spread, batch, strand, firing, step to the
#: motor; the last ones as common practice has them.
_RATE, _BATCH, _STRAND, _FIRING, _STEP = (9.0, 0.2), 0.05, 0.02, 0.02, (0.04, 0.04)

#: Density without voids [kg/m3] and c* [m/s] of such mixes, for drawing sizes.
_DENSITY, _VELOCITY = 1812.0, 902.0


def sound(number: int) -> Bench:
    """Return a bench as its user would state it, without a mistake."""
    rng = np.random.default_rng([SEED, number])
    kind = KINDS[number % len(KINDS)]
    nitrate = round(float(rng.uniform(59, 64)), 1)
    syrup = round(float(rng.uniform(17, 22)), 1)
    recipe = f"KNO3:{nitrate} powdered sugar:{100 - nitrate - syrup:.1f}"
    bench: Bench = {
        "kind": kind,
        "recipe": f"{recipe} corn syrup:{syrup}",
        "lot_date": "2026-04-10",
        "moisture": round(float(rng.uniform(0.1, 0.4)), 2),
        "solids": round(float(rng.uniform(76, 80)), 1),
        "strands": [],
        "length_unit": "mm",
        "time_unit": "s",
        "pressure_unit": "MPa",
        "note": "",
        "firings": [],
        "scatter": {},
        "process": "melted dry",
        "rated": 6.0,
        "ball_fall": "12 s",
        "pan_lost": "1.8 g",
        "borrowed": "",
        "stated": 0.0,
    }
    if kind == "bare":
        # A published law, or one of a club's notes, in turn.
        lent = number // len(KINDS) % 2 == 0
        bench |= {"recipe": "KNO3:65 sucrose:35", "process": "cooked syrup"}
        bench |= {"borrowed": "sucrose 65/35"} if lent else {"stated": 8.3}
    ratio = float(rng.uniform(0.93, 0.97))
    rate = _RATE[0] * math.exp(_RATE[1] * rng.standard_normal())
    law = (8.3 if kind == "bare" else rate, float(rng.uniform(0.25, 0.42)))
    _motor(bench, rng, law, ratio)
    if kind != "bare":
        for batch in range({"batches": 3}.get(kind, 1)):
            _strands(bench, rng, law, f"pot {batch + 1}")
    if kind == "firings":
        for count in range(2):
            _firing(bench, rng, law, ratio, f"pot {count + 2}")
    if kind == "kitchen":
        mass = 1e6 * ratio * _true_density(bench) * _volume(bench)
        bench["grain_mass"] = round(1e-3 * mass * math.exp(_small(rng, 0.005)), 1)
    p95 = 6.0 * (1.0 - 0.01 * margin_of(bench))
    bench["rated"] = round(p95 / (1.0 - float(rng.uniform(0.1, 0.5))), 2)
    bench["proof"] = round(2.5 * bench["rated"] * float(rng.uniform(1.0, 1.15)), 1)
    return bench


def _small(rng: Rng, u: float) -> float:
    return float(u * rng.standard_normal())


def _true_density(bench: Bench) -> float:
    """Return the density without voids of what is cast. [kg/m3]"""
    with tempfile.TemporaryDirectory() as folder, collected():
        world = write(bench, Path(folder))
        columns = evaluate_columns(
            [world.mix("base")],
            **world.conditions,
            kitchen=world.kitchen,
            confirm=False,
        )
    return float(columns["density_kg_m3"][0])


def _volume(bench: Bench) -> float:
    """Return the volume of the grains. [m3]"""
    outer, core = (1e-3 * bench[name] for name in ("outer", "core"))
    area = 0.25 * math.pi * (outer**2 - core**2)
    return area * 1e-3 * bench["length"] * bench["segments"]


def _kn(bench: Bench) -> float:
    """Return the mean burning area over the throat area."""
    web = 0.5e-3 * (bench["outer"] - bench["core"])
    return _volume(bench) / web / (0.25e-6 * math.pi * bench["throat"] ** 2)


def _motor(bench: Bench, rng: Rng, law: tuple[float, float], ratio: float) -> None:
    """Draw sizes, the throat for a pressure of 2 to 4 MPa."""
    outer = round(float(rng.uniform(28, 50)), 1)
    bench |= {
        "outer": outer,
        "core": round(outer * float(rng.uniform(0.46, 0.52)), 1),
        "length": round(outer * float(rng.uniform(1.4, 1.8)), 1),
        "segments": int(rng.integers(2, 4)),
        "ends": 2,
        "throat": 1.0,
        "density_ratio": round(100.0 * ratio, 1),
        "grain_temperature": 20,
        "sensitivity": 0.0015,
        "efficiency": None,
        "strands_at": 20,
    }
    wanted = float(rng.uniform(2.5, 4.0)) * (0.6 if bench["kind"] == "bare" else 1.0)
    rate = 1e-3 * law[0] * (wanted / 2.5) ** law[1]
    kn = 1e6 * wanted / (ratio * _DENSITY * _VELOCITY * 0.93 * rate)
    # Narrower ports have a start peak, of which castsugar warns.
    widest = bench["core"] / 1.5
    bench["throat"] = round(min(math.sqrt(_kn(bench) / kn), widest), 1)
    bench["exit"] = round(bench["throat"] * math.sqrt(float(rng.uniform(4, 8))), 1)


def _strands(bench: Bench, rng: Rng, law: tuple[float, float], batch: str) -> None:
    """Burn ten strands of a new batch."""
    off = _small(rng, _BATCH)
    for pressure in (0.101, 1.0, 2.0, 4.0, 7.0):
        for _ in range(2):
            rate = law[0] * (pressure / 2.5) ** law[1]
            rate *= math.exp(off + _small(rng, _STRAND))
            bench["strands"].append([50.0, 50.0 / rate, pressure, batch, "2026-05-02"])


def _firing(
    bench: Bench, rng: Rng, law: tuple[float, float], ratio: float, batch: str
) -> None:
    """Fire a new batch in the motor of the bench, as a recording tells it."""
    step = _STEP[0] + _small(rng, _STEP[1]) + _small(rng, _BATCH)
    efficiency = 0.93 * math.exp(_small(rng, 0.02))
    factor = math.exp(step + _small(rng, _FIRING))
    made = ratio * _DENSITY * _VELOCITY * efficiency * _kn(bench)
    # p = made * r(p), r a power law: solved in closed form, in MPa and mm/s.
    pressure = (1e-9 * made * law[0] * factor / 2.5 ** law[1]) ** (1 / (1 - law[1]))
    bench["firings"].append(
        {
            "pressure": pressure * math.exp(_small(rng, 0.01)),
            "rate": law[0] * factor * (pressure / 2.5) ** law[1]
            * math.exp(_small(rng, 0.015)),
            "c_star": 100.0 * efficiency * math.exp(_small(rng, 0.015)),
            "nozzle": 100.0 * 0.93 * math.exp(_small(rng, 0.015)),
            "batch": batch,
        }
    )  # fmt: skip


def write(bench: Bench, folder: Path) -> Any:
    """Write a bench file and its strands; return the world that is read of it."""
    b = bench
    parts = [
        f'[recipes]\nbase = {{ mix = "{b["recipe"]}", process = "{b["process"]}" }}',
        f'[lots."bag"]\ningredient = "KNO3"\nmoisture = "{b["moisture"]} %"\n'
        f"date = {b['lot_date']}",
        f'[lots."bottle"]\ningredient = "corn syrup"\nsolids = "{b["solids"]} %"\n'
        f'solids_u = "0.5 %"\ndate = {b["lot_date"]}',
    ]
    if b["kind"] == "kitchen":
        parts.append(
            '[kitchen]\ncook = "119 C 8 min"\n[[kitchen.measured]]\nkind = "ball fall"'
            '\nball = "3 mm"\ncup = "40 mm"\nfall = "50 mm"\ntemperature = "25 C"\n'
            f'time = "{b["ball_fall"]}"\n[[kitchen.measured]]\nkind = "pan weight"\n'
            f'recipe = "base"\nbatch = "200 g"\nlost = "{b["pan_lost"]}"\n'
            'cook = "119 C"\nminutes = 8'
        )
    motor = [
        f'[motor]\nthroat = "{b["throat"]:.5g} mm"\nexit = "{b["exit"]:.5g} mm"',
        f'density_ratio = "{b["density_ratio"]:.4g} %"',
        f'grain_temperature = "{b["grain_temperature"]} C"',
        f"temperature_sensitivity = {b['sensitivity']}",
    ]
    if b["efficiency"]:
        motor.append(f'measured_efficiency = "{b["efficiency"]} %"')
    if b.get("grain_mass"):
        motor.append(f'grain_mass = "{b["grain_mass"]} g"')
    motor.append(
        f'[motor.grain]\nouter = "{b["outer"]:.5g} mm"\ncore = "{b["core"]:.5g} mm"\n'
        f'length = "{b["length"]:.5g} mm"\nsegments = {b["segments"]}\n'
        f"burning_ends = {b['ends']}\n[motor.case]\n"
        f'rated_pressure = "{b["rated"]:.5g} MPa"'
    )
    if b.get("proof"):
        motor.append(f'proof_pressure = "{b["proof"]:.5g} MPa"\nderating = "80 %"')
    if b["borrowed"]:
        motor.append(f'[[motor.burn_law]]\nborrowed = "{b["borrowed"]}"')
    elif b["stated"]:
        motor.append(
            f'[[motor.burn_law]]\nrecipe = "base"\nrate = "{b["stated"]:.4g} mm/s"\n'
            'pressure = "1 MPa"\nexponent = 0.32\nrate_spread = "10 %"\n'
            "exponent_spread = 0.05"
        )
    if b["strands"]:
        motor.append('[[motor.burn_law]]\nrecipe = "base"\nstrands = "strands.csv"')
    motor += [
        f'[[motor.firing]]\nrecipe = "base"\npressure = "{f["pressure"]:.4g} MPa"\n'
        f'rate = "{f["rate"]:.4g} mm/s"\nc_star_efficiency = "{f["c_star"]:.4g} %"\n'
        f'nozzle_efficiency = "{f["nozzle"]:.4g} %"\nbatch = "{f["batch"]}"\n'
        "date = 2026-06-01"
        for f in b["firings"]
    ]
    if b["scatter"]:
        told = "\n".join(f'{name} = "{x} %"' for name, x in b["scatter"].items())
        motor.append(f"[scatter]\n{told}")
    path = folder / "bench.toml"
    path.write_text("\n".join([*parts, *motor, ""]), "utf-8")
    units = (b["length_unit"], b["time_unit"], b["pressure_unit"])
    heads = [f"{n} ({u})" for n, u in zip(("length", "time", "pressure"), units)]  # noqa: B905
    rows = [
        f"{x[0]:.4g},{x[1]:.4g},{x[2]:.4g},{b['strands_at']},{x[3]},{x[4]},base"
        for x in b["strands"]
    ]
    lines = [",".join([*heads, "temperature (C),batch,date,mix"]), *rows, ""]
    lines = [f"# {b['note']}", *lines] if b["note"] else lines
    (folder / "strands.csv").write_text("\n".join(lines), "utf-8")
    return cs.bench.read(path)


# ----------------------------------------------------------------------------
# What castsugar says.

#: Words that begin a remark; BROKEN and KEPT are of limits.
_ALARMS = (
    "EXAMPLE",
    "DO NOT",
    "REFUSED",
    "MISFIT",
    "OUTSIDE",
    "CAUTION",
    "CANNOT TELL",
)
_WORDS = re.compile(rf"({'|'.join(_ALARMS)})(?::|  )\s*(.*)")


def margin_of(bench: Bench) -> float:
    """Return the pressure margin [points]; -inf where there is none, NaN if refused."""
    with tempfile.TemporaryDirectory() as folder, collected():
        try:
            world = write(bench, Path(folder))
            columns = evaluate_columns(
                [world.mix("base")],
                **world.conditions,
                kitchen=world.kitchen,
                motor=world.motor,
                confirm=False,
            )
        except CastsugarError:
            return math.nan
    found = float(columns["pressure_margin_percent"][0])
    return -math.inf if math.isnan(found) else found


def remarks_of(bench: Bench) -> set[str]:
    """Return the remarks of the default screen, without their numbers."""
    out = io.StringIO()
    with tempfile.TemporaryDirectory() as folder:
        try:
            with collected():
                write(bench, Path(folder))
        except CastsugarError:
            return {"refused"}
        words = ["evaluate", "base", "--no-confirm", "--bench", f"{folder}/bench.toml"]
        with redirect_stdout(out), redirect_stderr(io.StringIO()):
            code = main(words)
    if code == 2:
        return {"refused"}
    screen = out.getvalue().split("\n")
    if code or len(screen) > 25:
        raise RuntimeError(f"exit code {code}, {len(screen)} lines")
    found = (_WORDS.match(line) for line in screen)
    said = (f"{one[1]} {one[2]}" for one in found if one)
    return {re.sub(r"[0-9][0-9.]*", "#", line)[:45] for line in said}


# ----------------------------------------------------------------------------
# Mistakes. Each changes what is typed, and returns how far it moves the ln of its fact.

CONTRADICTED, IMPLAUSIBLE, INVISIBLE = "contradicted", "implausible", "invisible"
CLASSES = (CONTRADICTED, IMPLAUSIBLE, INVISIBLE)

#: Second statements of a fact, and the joint standard uncertainty (ln) of both: a
#: mistake is contradicted where its bench has one and it is at least four of these:
#: a test at two of them, itself off by one, sees 98 % of what is as large.
#: kn: of firings: rate 2 %, pressure 1.5, c* 2, area 2, density 1.5, throat 1.
#: mass: of the grains: their sizes 2 %, density 2, scale 0.5.
#: fired: strands beside firings: a batch each 6 %, step to the motor 5, firing 2.5.
#: batch: one of three batches of a mix: 6 % each, strands 1.
#: pair: c* beside nozzle of one firing, whose product holds: 2 % each.
#: example, dates: told by identity.
TELLS = {
    "kn": 0.042,
    "mass": 0.029,
    "fired": 0.102,
    "batch": 0.075,
    "pair": 0.03,
    "example": 1e-6,
    "dates": 1e-6,
}


def tells(bench: Bench) -> set[str]:
    """Return the second statements that a kind of bench has."""
    return {
        "bare": set(),
        "strands": {"example", "dates"},
        "firings": {"kn", "fired", "pair", "example", "dates"},
        "batches": {"batch", "example", "dates"},
        "kitchen": {"mass", "example", "dates"},
    }[bench["kind"]]


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """A kind of mistake: what it does, in which entry, and what else states the fact.

    `beyond`: its values lie outside the usual ranges, or are no motor at all.
    """

    name: str
    entry: str
    make: Callable[[Bench, Rng], float]
    told_by: tuple[str, ...] = ()
    beyond: bool = False
    of: tuple[str, ...] = KINDS

    def class_of(self, bench: Bench, moved: float) -> str:
        """Return the class of one: fixed by what is stated, and by its size."""
        known = tells(bench) & set(self.told_by)
        if any(abs(moved) >= 4.0 * TELLS[one] for one in known):
            return CONTRADICTED
        return IMPLAUSIBLE if self.beyond else INVISIBLE


def _scaled(key: str, low: float, high: float, power: float = 1.0) -> Any:
    """Return what multiplies a value."""

    def make(bench: Bench, rng: Rng) -> float:
        factor = float(rng.uniform(low, high))
        bench[key] *= factor
        return power * math.log(factor)

    return make


def _put(key: str, *values: Any, moved: float = 0.0) -> Any:
    """Return what writes one of some values."""

    def make(bench: Bench, rng: Rng) -> float:
        bench[key] = values[int(rng.integers(len(values)))]
        return moved

    return make


def _fewer(bench: Bench, rng: Rng) -> float:
    had = bench["segments"]
    bench["segments"] = int(rng.integers(1, had))
    return math.log(bench["segments"] / had)


def _inhibited(bench: Bench, rng: Rng) -> float:
    """Leave ends out: the largest Kn moves, the mean one, web for web, does not."""
    bench["ends"] = int(rng.integers(0, 2))
    return 0.0


def _slow(low: float, high: float, *, pots: int = 9) -> Any:
    """Return what makes strands slower, those of the first pots."""

    def make(bench: Bench, rng: Rng) -> float:
        factor = float(rng.uniform(low, high))
        for row in bench["strands"]:
            if int(row[3].split()[1]) <= pots:
                row[1] /= factor
        return math.log(factor)

    return make


def _stale(bench: Bench, rng: Rng) -> float:
    moved = float(_slow(0.65, 0.9)(bench, rng))
    for row in bench["strands"]:
        row[4] = "2025-06-14"
    return moved


def _short(bench: Bench, rng: Rng) -> float:
    factor = float(rng.uniform(0.6, 0.85))
    for row in bench["strands"]:
        row[0] *= factor
    return math.log(factor)


def _example(bench: Bench, rng: Rng) -> float:
    """Leave the strands of the example, mostly without the line that says so."""
    with tempfile.TemporaryDirectory() as folder:
        cs.bench.write_example(Path(folder))
        lines = (Path(folder) / "strands.csv").read_text("utf-8").split("\n")[3:]
    cells = [line.split(",") for line in lines if line.strip()]
    name = ("60/20/20", "58/14/28", "66/20/14")[int(rng.integers(3))]
    bench["strands"] = [
        [
            float(c[0]),
            float(c[1]),
            0.101325 if c[2] == "ambient" else float(c[2]),
            "p 1",
        ]
        + ["2026-05-02"]
        for c in cells
        if c[4] == name
    ]
    bench["note"] = "INVENTED" if rng.uniform() < 0.3 else ""
    return 1.0


def _one_pot(bench: Bench, rng: Rng) -> float:
    for row in bench["strands"]:
        row[3] = "pot 1"
    return 0.0


def _sensor(low: float, high: float) -> Any:
    """Return what reads the pressure of every firing low: c* falls, nozzle rises."""

    def make(bench: Bench, rng: Rng) -> float:
        factor = float(rng.uniform(low, high))
        for one in bench["firings"]:
            one["pressure"] *= factor
            one["c_star"] *= factor
            one["nozzle"] /= factor
        return math.log(factor)

    return make


def _late(bench: Bench, rng: Rng) -> float:
    """Let a slow sensor lengthen every firing."""
    factor = float(rng.uniform(0.75, 0.95))
    for one in bench["firings"]:
        one["rate"] *= factor
    return math.log(factor)


def _width(name: str, *values: float) -> Any:
    def make(bench: Bench, rng: Rng) -> float:
        bench["scatter"][name] = values[int(rng.integers(len(values)))]
        return 0.0

    return make


_BURNED = ("strands", "firings", "batches", "kitchen")
_ANY = ("fired", "batch")

MISTAKES = (
    # Of the motor.
    Mistake(name="throat typed too large", entry="motor.throat", told_by=("kn",),
            make=_scaled("throat", 1.05, 1.4, -2.0)),
    Mistake(name="throat in another unit", entry="motor.throat", beyond=True,
            make=_scaled("throat", 10.0, 25.4, -2.0)),
    Mistake(name="too few grains", entry="motor.grain.segments",
            told_by=("kn", "mass"), make=_fewer),
    Mistake(name="ends typed as inhibited", entry="motor.grain.burning_ends",
            told_by=("kn",), make=_inhibited),
    Mistake(name="grain typed too short", entry="motor.grain.length",
            told_by=("kn", "mass"), make=_scaled("length", 0.5, 0.9)),
    Mistake(name="density ratio too low", entry="motor.density_ratio",
            told_by=("kn", "mass"), make=_scaled("density_ratio", 0.9, 0.97)),
    Mistake(name="density ratio of another kind", entry="motor.density_ratio",
            beyond=True, make=_scaled("density_ratio", 0.55, 0.8)),
    Mistake(name="case rated too high, no proof", entry="motor.case.rated_pressure",
            make=lambda b, r: (b.update(proof=0.0), _scaled("rated", 1.1, 1.6)(b, r))[1]),
    Mistake(name="rating in another unit", entry="motor.case.rated_pressure",
            beyond=True,
            make=lambda b, r: (b.update(proof=0.0), _scaled("rated", 10, 14.5)(b, r))[1]),
    Mistake(name="rating and proof in another unit", entry="motor.case.proof_pressure",
            beyond=True,
            make=lambda b, r: (_scaled("proof", 10, 14.5)(b, r),
                               _scaled("rated", 10, 14.5)(b, r))[0]),
    Mistake(name="efficiency far too low", entry="motor.measured_efficiency",
            beyond=True, make=_put("efficiency", 62.0, 66.0, 70.0)),
    Mistake(name="efficiency of another motor", entry="motor.measured_efficiency",
            make=_put("efficiency", 78.0, 82.0, 86.0), of=("bare", *_BURNED[:1])),
    Mistake(name="grain temperature in another unit", entry="motor.grain_temperature",
            beyond=True, make=_put("grain_temperature", -34, -29, -25)),
    Mistake(name="temperature sensitivity in percent", beyond=True,
            entry="motor.temperature_sensitivity", make=_put("sensitivity", 0.15)),
    # Of what was burned.
    Mistake(name="scorched batch of strands", entry="motor.burn_law", told_by=_ANY,
            make=_slow(0.6, 0.8, pots=1), of=_BURNED),
    Mistake(name="wet powder in the strands", entry="motor.burn_law", told_by=_ANY,
            make=_slow(0.8, 0.92, pots=1), of=_BURNED),
    Mistake(name="strands of another process", entry="motor.burn_law",
            told_by=("fired",), make=_slow(0.65, 0.85), of=_BURNED),
    Mistake(name="strand length typed too small", entry="motor.burn_law",
            told_by=("fired",), make=_short, of=_BURNED),
    Mistake(name="stale strands, of an older lot", entry="motor.burn_law",
            told_by=("fired", "dates"), make=_stale, of=_BURNED),
    Mistake(name="strands of the example", entry="motor.burn_law",
            told_by=("example",), make=_example, of=_BURNED),
    Mistake(name="batches taken as one", entry="motor.burn_law", make=_one_pot,
            of=("batches",)),
    Mistake(name="strand temperature", entry="motor.burn_law",
            make=_put("strands_at", 35, 42, 48), of=_BURNED),
    Mistake(name="strand times in another unit", entry="motor.burn_law", beyond=True,
            make=_put("time_unit", "min", moved=-4.1), of=_BURNED),
    Mistake(name="strand lengths in another unit", entry="motor.burn_law", beyond=True,
            make=lambda b, r: [x.__setitem__(0, x[0] / 25.4) for x in b["strands"]]
            and -3.2, of=_BURNED),
    Mistake(name="strand pressures in another unit", entry="motor.burn_law",
            beyond=True, make=lambda b, r: [x.__setitem__(2, x[2] * 10.0)
                                            for x in b["strands"]] and -0.9,
            of=_BURNED),
    Mistake(name="borrowed law of another mix", entry="motor.burn_law",
            make=_put("borrowed", "erythritol 65/35", "sorbitol 65/35 single"),
            of=("bare",)),
    Mistake(name="stated law of another mix", entry="motor.burn_law",
            make=_scaled("stated", 0.6, 0.85), of=("bare",)),
    Mistake(name="scatter too small by ten", entry="scatter.batch", beyond=True,
            make=_width("batch", 0.5, 0.6, 0.8)),
    Mistake(name="step to motors of another sign", entry="scatter.strands_to_motor",
            beyond=True, make=_width("strands_to_motor", -30.0, -20.0, -15.0),
            of=_BURNED),
    # Of firings.
    Mistake(name="clipped pressure sensor", entry="motor.firing", told_by=("pair",),
            make=_sensor(0.65, 0.92), of=("firings",)),
    Mistake(name="slow sensor", entry="motor.firing", told_by=("kn", "fired"),
            make=_late, of=("firings",)),
    # Of lots and kitchen.
    Mistake(name="syrup on another basis", entry='lots."bottle"',
            make=_put("solids", 62.0, 88.0)),
    Mistake(name="wet nitrate stated in another unit", entry='lots."bag"', beyond=True,
            make=_put("moisture", 12.0, 25.0)),
    Mistake(name="wet nitrate", entry='lots."bag"', make=_put("moisture", 2.0, 4.0)),
    Mistake(name="weighed loss of another pan", entry="kitchen.measured",
            make=_put("pan_lost", "0.4 g", "6 g"), of=("kitchen",)),
    Mistake(name="grains weighed without one", entry="motor.grain_mass",
            told_by=("mass",), make=_scaled("grain_mass", 0.5, 0.85), of=("kitchen",)),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a bench with mistakes in it."""

    names: tuple[str, ...]
    entries: tuple[str, ...]
    kind: str
    is_class: str
    rise: float
    silent: bool
    shown: bool = True


@dataclass(kw_only=True)
class World:
    """What became of one sound bench, and of those with mistakes made of it."""

    kind: str
    alarms: set[str]
    margin: float
    seconds: float = 0.0
    outcomes: list[Outcome] = field(default_factory=list)


def _chosen(number: int, count: int, pairs: int) -> Iterator[tuple[Mistake, ...]]:
    """Yield the mistakes of a bench: single ones in turn, pairs by chance."""
    kind, turn = KINDS[number % len(KINDS)], number // len(KINDS)
    known = [one for one in MISTAKES if kind in one.of]
    for place in range(count):
        yield (known[(turn * count + place) % len(known)],)
    rng = np.random.default_rng([SEED, number, 2])
    for _ in range(pairs):
        one, other = rng.choice(len(known), 2, replace=False)
        yield known[min(one, other)], known[max(one, other)]


def judged(number: int, singles: int, pairs: int) -> World:
    """Make a bench and mistakes in it, and see what is said of them."""
    began = time.process_time()
    bench = sound(number)
    usual = remarks_of(bench)
    margin = margin_of(bench) if singles else 0.0
    found = World(kind=bench["kind"], alarms=usual, margin=margin)
    levers = _levers(number % len(KINDS)) if singles else set()
    for place, mistakes in enumerate(_chosen(number, singles, pairs)):
        rng = np.random.default_rng([SEED, number, 3, place])
        wrong, classes = copy.deepcopy(bench), set()
        for one in mistakes:
            classes.add(one.class_of(bench, one.make(wrong, rng)))
        rise = margin_of(wrong) - found.margin
        entries = tuple(one.entry for one in mistakes)
        silent = rise > RISE and not remarks_of(wrong) - usual
        outcome = Outcome(
            names=tuple(one.name for one in mistakes),
            entries=entries,
            kind=found.kind,
            is_class=next(c for c in CLASSES if c in classes),
            rise=rise,
            silent=silent,
            shown=any(e.startswith(x) for e in entries for x in levers),
        )
        found.outcomes.append(outcome)
    found.seconds = time.process_time() - began
    return found


@functools.cache
def _levers(number: int) -> set[str]:
    """Return the entries whose leverage ``check`` shows on a bench of a kind."""
    bench = sound(number)
    with tempfile.TemporaryDirectory() as folder, collected():
        told = check(write(bench, Path(folder)))
    return {one.entry for one in getattr(told, "levers", ())}


# ----------------------------------------------------------------------------
# The table.


def _row(*cells: object) -> None:
    print("| " + " | ".join(str(cell) for cell in cells) + " |")


def _head(*cells: str) -> None:
    print()
    _row(*cells)
    _row(*("---" for _ in cells))


def run(share: float = 1.0) -> None:
    """Print the tables."""
    total, faulted = round(share * SOUND), round(share * FAULTED)
    size = [(SINGLES, PAIRS) if i < faulted else (0, 0) for i in range(total)]
    with ProcessPoolExecutor(2) as pool:
        worlds = list(pool.map(judged, range(total), *zip(*size, strict=True)))
    every = [one for world in worlds for one in world.outcomes]
    print("# Mistakes that make a motor look safer\n")
    cpu = sum(world.seconds for world in worlds)
    print(f"{datetime.date.today()}, seed {SEED}, {cpu:.0f} s CPU\n")
    print(
        f"{len(worlds)} sound benches; in {faulted} of them mistakes. Raised: the "
        f"margin rises by more than {RISE:g} points; silent: the default screen has no "
        "remark that the sound bench has not; shown: of the silent ones, those whose "
        "entry `check` shows with its leverage."
    )
    alarms = [world for world in worlds if world.alarms]
    told = Counter(a for world in alarms for a in world.alarms)
    by_kind = Counter(world.kind for world in alarms)
    print(
        f"\nSound benches with a remark: {len(alarms)} of {len(worlds)} "
        f"({100.0 * len(alarms) / len(worlds):.1f} %, at most {100 * MOST_ALARMS:g}): "
        + (", ".join(f"{k} {n}" for k, n in by_kind.items()) or "none")
    )
    for words, count in told.most_common(8):
        print(f"* {count}: {words}")
    _head("class", "mistakes", "made", "raised", "silent", "shown", "allowed silent")
    allowed = {
        (CONTRADICTED, 1): "0",
        (CONTRADICTED, 2): "< 1 %",
        (IMPLAUSIBLE, 1): "0",
    }
    for count, name in itertools.product((1, 2), CLASSES):
        own = [o for o in every if len(o.names) == count and o.is_class == name]
        _row(name, ("single", "pair")[count - 1], *_counts(own),
             allowed.get((name, count), "counted"))  # fmt: skip
    _head("mistake", "class", "made", "raised", "silent", "shown")
    for one, name in itertools.product(MISTAKES, CLASSES):
        own = [o for o in every if o.names == (one.name,) and o.is_class == name]
        if own:
            _row(one.name, name, *_counts(own))
    _remaining(every)


def _counts(own: list[Outcome]) -> tuple[int, ...]:
    silent = [one for one in own if one.silent]
    raised = sum(one.rise > RISE for one in own)
    return len(own), raised, len(silent), sum(one.shown for one in silent)


def _remaining(every: list[Outcome]) -> None:
    """Print what stays silent though it is contradicted or implausible."""
    print("\nSilent though contradicted or implausible:\n")
    left = [o for o in every if o.silent and o.is_class != INVISIBLE]
    for one in left:
        names = " and ".join(one.names)
        print(f"* {one.kind}, {one.is_class}: {names}: +{one.rise:.1f} points")
    if not left:
        print("* none")


if __name__ == "__main__":
    run(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)
