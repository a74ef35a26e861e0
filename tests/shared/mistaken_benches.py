"""Benches of users that do not exist, from a drawn truth, and mistakes in them.

What is burned, fired and weighed follows the truth with the errors of measuring. A
mistake changes what is typed. Its class is fixed here, by what else the bench states.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import castsugar as cs
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate_columns
from castsugar.plausible import collected

#: Of all that is drawn: fixed before the run.
SEED = 28

Bench = dict[str, Any]
Rng = np.random.Generator

# ----------------------------------------------------------------------------
# Sound benches. Strands, firings and grains follow a drawn truth.

KINDS = ("bare", "strands", "firings", "batches", "kitchen")

#: Truth: rate at 2.5 MPa [mm/s] and its ln spread, batch, strand, firing, step to the
#: motor; the last ones as common practice has them.
_RATE, _BATCH, _STRAND, _FIRING, _STEP = (9.0, 0.2), 0.05, 0.02, 0.02, (0.04, 0.04)

#: ln of what the typed sizes, density and c* are off together: 0.3 % in a diameter,
#: 0.5 in density.
_SIZES = 0.012

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
        "length_unit": "mm", "time_unit": "s", "pressure_unit": "MPa", "note": "",
        "strands": [], "firings": [], "scatter": {}, "process": "melted dry",
        "rated": 6.0, "ball_fall": "12 s", "pan_lost": "1.8 g",
        "borrowed": "", "stated": 0.0,
    }  # fmt: skip
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
        density = ratio * float(_row(bench, motor=False)["density_kg_m3"][0])
        mass = 1e3 * density * _volume(bench) * math.exp(_small(rng, _SIZES))
        bench["grain_mass"] = round(mass, 1)
    p95 = 6.0 * (1.0 - 0.01 * margin_of(bench))
    bench["rated"] = round(p95 / (1.0 - float(rng.uniform(0.1, 0.5))), 2)
    bench["proof"] = round(2.5 * bench["rated"] * float(rng.uniform(1.0, 1.15)), 1)
    return bench


def _small(rng: Rng, u: float) -> float:
    return float(u * rng.standard_normal())


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
        "ends": 2, "throat": 1.0, "density_ratio": round(100.0 * ratio, 1),
        "grain_temperature": 20, "strands_at": 20, "sensitivity": 0.0015,
        "efficiency": None,
    }  # fmt: skip
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
    made *= math.exp(_small(rng, _SIZES))
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
    parts += [*_motor_text(b), *_burned_text(b)]
    if b["scatter"]:
        told = "\n".join(f'{name} = "{x} %"' for name, x in b["scatter"].items())
        parts.append(f"[scatter]\n{told}")
    path = folder / "bench.toml"
    path.write_text("\n".join([*parts, ""]), "utf-8")
    heads = (f"{n} ({b[f'{n}_unit']})" for n in ("length", "time", "pressure"))
    lines = [f"# {b['note']}"] if b["note"] else []
    lines.append(",".join([*heads, "temperature (C),batch,date,mix"]))
    lines += [
        f"{x[0]:.4g},{x[1]:.4g},{x[2]:.4g},{b['strands_at']},{x[3]},{x[4]},base"
        for x in b["strands"]
    ]
    (folder / "strands.csv").write_text("\n".join([*lines, ""]), "utf-8")
    return cs.bench.read(path)


def _motor_text(b: Bench) -> list[str]:
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
    return motor


def _burned_text(b: Bench) -> list[str]:
    found = []
    if b["borrowed"]:
        found.append(f'[[motor.burn_law]]\nborrowed = "{b["borrowed"]}"')
    elif b["stated"]:
        found.append(
            f'[[motor.burn_law]]\nrecipe = "base"\nrate = "{b["stated"]:.4g} mm/s"\n'
            'pressure = "1 MPa"\nexponent = 0.32\nrate_spread = "10 %"\n'
            "exponent_spread = 0.05"
        )
    if b["strands"]:
        found.append('[[motor.burn_law]]\nrecipe = "base"\nstrands = "strands.csv"')
    return found + [
        f'[[motor.firing]]\nrecipe = "base"\npressure = "{f["pressure"]:.4g} MPa"\n'
        f'rate = "{f["rate"]:.4g} mm/s"\nc_star_efficiency = "{f["c_star"]:.4g} %"\n'
        f'nozzle_efficiency = "{f["nozzle"]:.4g} %"\nbatch = "{f["batch"]}"\n'
        "date = 2026-06-01"
        for f in b["firings"]
    ]


# ----------------------------------------------------------------------------
# What castsugar says.


def margin_of(bench: Bench) -> float:
    """Return the pressure margin [points]; -inf where there is none, NaN if refused."""
    try:
        found = float(_row(bench)["pressure_margin_percent"][0])
    except CastsugarError:
        return math.nan
    return -math.inf if math.isnan(found) else found


def _row(bench: Bench, *, motor: bool = True) -> Any:
    """Return the columns of the mix of a bench."""
    with tempfile.TemporaryDirectory() as folder, collected():
        world = write(bench, Path(folder))
        given = world.conditions | {"kitchen": world.kitchen}
        given |= {"motor": world.motor} if motor else {}
        return evaluate_columns([world.mix("base")], confirm=False, **given)


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

#: Which second statements a kind of bench has.
_STATED = {
    "bare": (),
    "strands": ("example", "dates"),
    "firings": ("kn", "fired", "pair", "example", "dates"),
    "batches": ("batch", "example", "dates"),
    "kitchen": ("mass", "example", "dates"),
}

#: Of values outside the usual ranges, or of no motor at all.
BEYOND = ("beyond",)


@dataclass(frozen=True)
class Mistake:
    """A kind of mistake: what it does, in which entry, and what else states the fact.

    `make` changes a bench; it returns how far that moves the ln of the fact.
    """

    name: str
    entry: str
    make: Callable[[Bench, Rng], float]
    told_by: tuple[str, ...] = ()
    of: tuple[str, ...] = KINDS

    def class_of(self, bench: Bench, moved: float) -> str:
        """Return the class of one: fixed by what is stated, and by its size."""
        known = {*_STATED[bench["kind"]]} & {*self.told_by}
        if any(abs(moved) >= 4.0 * TELLS[one] for one in known):
            return CONTRADICTED
        return IMPLAUSIBLE if self.told_by == BEYOND else INVISIBLE


def _scaled(key: str, low: float, high: float, power: float = 1.0) -> Any:
    def make(bench: Bench, rng: Rng) -> float:
        factor = float(rng.uniform(low, high))
        bench[key] *= factor
        return power * math.log(factor)

    return make


def _put(key: str, *values: Any) -> Any:
    def make(bench: Bench, rng: Rng) -> float:
        bench[key] = values[int(rng.integers(len(values)))]
        return 0.0

    return make


def _fewer(bench: Bench, rng: Rng) -> float:
    had = bench["segments"]
    bench["segments"] = int(rng.integers(1, had))
    return math.log(bench["segments"] / had)


def _inhibited(bench: Bench, rng: Rng) -> float:
    # The largest Kn moves; the mean one, web for web, does not.
    bench["ends"] = int(rng.integers(0, 2))
    return 0.0


def _slow(low: float, high: float, *, pots: int = 9) -> Any:
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
    return float(_column(0, float(rng.uniform(0.6, 0.85)))(bench, rng))


_OTHERS = ("p 1", "2026-05-02")


def _example(bench: Bench, rng: Rng) -> float:
    """Leave the strands of the example, mostly without the line that says so."""
    with tempfile.TemporaryDirectory() as folder:
        cs.bench.write_example(Path(folder))
        lines = (Path(folder) / "strands.csv").read_text("utf-8").split("\n")[3:]
    name = ("60/20/20", "58/14/28", "66/20/14")[int(rng.integers(3))]
    rows = [line.split(",") for line in lines if line.endswith(name)]
    bench["strands"] = [
        [float(a), float(b), float(p.replace("ambient", "0.101325")), *_OTHERS]
        for a, b, p, *_ in rows
    ]
    bench["note"] = "INVENTED" if rng.uniform() < 0.3 else ""
    return 1.0


def _one_pot(bench: Bench, rng: Rng) -> float:
    for row in bench["strands"]:
        row[3] = "pot 1"
    return 0.0


def _sensor(low: float, high: float) -> Any:
    # The pressure of every firing is read low: c* falls, the nozzle rises.
    def make(bench: Bench, rng: Rng) -> float:
        factor = float(rng.uniform(low, high))
        for one in bench["firings"]:
            one["pressure"] *= factor
            one["c_star"] *= factor
            one["nozzle"] /= factor
        return math.log(factor)

    return make


def _late(bench: Bench, rng: Rng) -> float:
    # A slow sensor lengthens every firing.
    factor = float(rng.uniform(0.75, 0.95))
    for one in bench["firings"]:
        one["rate"] *= factor
    return math.log(factor)


def _width(name: str, *values: float) -> Any:
    def make(bench: Bench, rng: Rng) -> float:
        bench["scatter"][name] = values[int(rng.integers(len(values)))]
        return 0.0

    return make


def _rated(low: float, high: float, *, proof: bool) -> Any:
    def make(bench: Bench, rng: Rng) -> float:
        if proof:
            bench["proof"] *= float(rng.uniform(low, high))
        else:
            bench["proof"] = 0.0
        bench["rated"] *= float(rng.uniform(low, high))
        return 0.0

    return make


def _column(place: int, factor: float) -> Any:
    def make(bench: Bench, rng: Rng) -> float:
        for row in bench["strands"]:
            row[place] *= factor
        return math.log(factor)

    return make


_BARE, _OWN, _FIRED = KINDS[:1], KINDS[1:], ("firings",)
_ANY, _SIZE, _KN = ("fired", "batch"), ("kn", "mass"), ("kn",)
_THROAT, _RATED, _LAW = "motor.throat", "motor.case.rated_pressure", "motor.burn_law"
_DENSE, _DELIVERED = "motor.density_ratio", "motor.measured_efficiency"
_LENT = ("erythritol 65/35", "sorbitol 65/35 single")
_STEP_TO = "strands_to_motor"
_by, _to = _scaled, _put

#: Name, entry, what it does, which second statements tell of it, in which benches: of
#: the motor, of what burned, of firings, of lots and kitchen. Two come in this order.
_ROWS: tuple[tuple[Any, ...], ...] = (
    ("throat typed too large", _THROAT, _by("throat", 1.05, 1.4, -2.0), _KN),
    ("throat in another unit", _THROAT, _by("throat", 10.0, 25.4, -2.0), BEYOND),
    ("too few grains", "motor.grain.segments", _fewer, _SIZE),
    ("ends typed as inhibited", "motor.grain.burning_ends", _inhibited, _KN),
    ("grain typed too short", "motor.grain.length", _by("length", 0.5, 0.9), _SIZE),
    ("density ratio too low", _DENSE, _by("density_ratio", 0.9, 0.97), _SIZE),
    ("density ratio of another kind", _DENSE, _by("density_ratio", 0.55, 0.8), BEYOND),
    ("case rated too high, no proof", _RATED, _rated(1.1, 1.6, proof=False)),
    ("rating in another unit", _RATED, _rated(10, 14.5, proof=False), BEYOND),
    ("rating and proof in another unit", "motor.case.proof_pressure",
     _rated(10, 14.5, proof=True), BEYOND),
    ("efficiency far too low", _DELIVERED, _to("efficiency", 62.0, 66.0, 70.0), BEYOND),
    ("efficiency of another motor", _DELIVERED, _to("efficiency", 78.0, 82.0, 86.0), (),
     KINDS[:2]),
    ("grain temperature in another unit", "motor.grain_temperature",
     _to("grain_temperature", -34, -29, -25), BEYOND),
    ("temperature sensitivity in percent", "motor.temperature_sensitivity",
     _to("sensitivity", 0.15), BEYOND),
    ("scorched batch of strands", _LAW, _slow(0.6, 0.8, pots=1), _ANY, _OWN),
    ("wet powder in the strands", _LAW, _slow(0.8, 0.92, pots=1), _ANY, _OWN),
    ("strands of another process", _LAW, _slow(0.65, 0.85), ("fired",), _OWN),
    ("strand length typed too small", _LAW, _short, ("fired",), _OWN),
    ("stale strands, of an older lot", _LAW, _stale, ("fired", "dates"), _OWN),
    ("strands of the example", _LAW, _example, ("example",), _OWN),
    ("batches taken as one", _LAW, _one_pot, (), ("batches",)),
    ("strand temperature", _LAW, _to("strands_at", 35, 42, 48), (), _OWN),
    ("strand times in another unit", _LAW, _to("time_unit", "min"), BEYOND, _OWN),
    ("strand lengths in another unit", _LAW, _column(0, 1 / 25.4), BEYOND, _OWN),
    ("strand pressures in another unit", _LAW, _column(2, 10.0), BEYOND, _OWN),
    ("borrowed law of another mix", _LAW, _to("borrowed", *_LENT), (), _BARE),
    ("stated law of another mix", _LAW, _by("stated", 0.6, 0.85), (), _BARE),
    ("scatter too small by ten", "scatter.batch", _width("batch", 0.5, 0.6, 0.8),
     BEYOND),
    ("step to motors of another sign", f"scatter.{_STEP_TO}",
     _width(_STEP_TO, -30.0, -20.0, -15.0), BEYOND, _OWN),
    ("clipped pressure sensor", "motor.firing", _sensor(0.65, 0.92), ("pair",), _FIRED),
    ("slow sensor", "motor.firing", _late, ("kn", "fired"), _FIRED),
    ("syrup on another basis", 'lots."bottle"', _to("solids", 62.0, 88.0)),
    ("wet nitrate stated in another unit", 'lots."bag"', _to("moisture", 12.0, 25.0),
     BEYOND),
    ("wet nitrate", 'lots."bag"', _to("moisture", 2.0, 4.0)),
    ("weighed loss of another pan", "kitchen.measured",
     _to("pan_lost", "0.4 g", "6 g"), (), ("kitchen",)),
    ("grains weighed without one", "motor.grain_mass", _by("grain_mass", 0.5, 0.85),
     ("mass",), ("kitchen",)),
)  # fmt: skip
MISTAKES = tuple(Mistake(*row) for row in _ROWS)
