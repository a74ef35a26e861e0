"""Where entries of a bench file contradict one another, and which move the margin most.

A contradiction: two entries state one fact and do not agree. Each check holds what one
entry says against what another leads to expect, and says in one sentence what is off.
The limits are ours: common practice in measuring small motors, no source;
``benchmarks/validation/register.md`` counts what they see and how often they cry wolf.
"""

from __future__ import annotations

import datetime
import functools
import math
import statistics
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from castsugar.arrays import BoolArray
from castsugar.bench.burned import strands_of
from castsugar.bench.example import example_files
from castsugar.bench.world import World
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import FIRING, STRANDS
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.burn_widths import NAMES, Widths
from castsugar.motor.case import Case, allowable_pressure
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.strands import Strand

#: Standard deviations between a batch, or all firings, and what else burned.
_BATCH, _FIRED = 2.5, 2.3

#: The same for what burned first: nothing but what is usual stands against it.
_FIRST = 2.0

#: The same for all strands of another bench: of many one may lie far off by chance.
_OTHER = 3.0

#: ln of Kn by a firing over that of throat and grain, with a c* of the firing and
#: without one: rate 2 %, pressure 1.5, area 2, density 1.5, c* 2 or else 5.
_KN, _KN_ALONE = 0.08, 0.14

#: Delivered over ideal c*, where a firing tells none: 0.85 to 0.97 in small motors.
_EFFICIENCY: Final = 0.92

#: ln of weighed over reckoned mass of the grains, with a density ratio and without.
_MASS, _MASS_ALONE = 0.05, 0.08

#: ln of the efficiency of the nozzle over that of c*, of one recording: both lie
#: between 0.85 and 0.97, and a pressure read too low parts them twice.
_PAIR = 0.14

#: Strands so much older than the lots that are weighed tell of other lots.
_OLD = datetime.timedelta(days=180)


def contradictions(
    world: World, *, density: float, characteristic_velocity: float
) -> tuple[str, ...]:
    """Say what in a bench file contradicts something else that was entered.

    Parameters
    ----------
    density, characteristic_velocity : float
        Of a mix of the file: without voids, ideal. [kg/m3], [m/s]

    Returns
    -------
    tuple of str
        One sentence each, without a full stop; none without a [motor].

    Raises
    ------
    CastsugarError
        As for :attr:`castsugar.bench.world.World.motor`.
    """
    if world.bench.motor is None:
        return ()
    entries = world.bench.motor
    made, motor = density * characteristic_velocity, world.stated_motor
    strands = list(_strands(world))
    return (
        *_example(strands),
        *_kn(motor, entries["firing"] or (), made),
        *_pairs(entries["firing"] or ()),
        *_mass(motor, entries["grain_mass"], density),
        *_rates(motor.burning),
        *_dates(world, strands),
    )


# ----------------------------------------------------------------------------
# Throat, grain, density: by what firings and a scale tell of them.


def _counted(firings: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return those that nobody vouches for in so many words."""
    return [one for one in firings if not one["accepted"]]


def _kn(
    motor: Hardware, firings: Sequence[Mapping[str, Any]], made: float
) -> Iterator[str]:
    """Hold Kn of throat and grain against p / (rho c* r) of the firings."""
    area = 0.25 * math.pi * motor.throat_diameter**2
    stated = motor.grain.volume / motor.grain.web / area
    off, told = [], True
    for one in _counted(firings):
        delivered = one["c_star_efficiency"]
        told &= delivered is not None
        supply = made * motor.known_density_ratio * (delivered or _EFFICIENCY)
        off.append(math.log(one["pressure"] / (supply * one["rate"]) / stated))
    middle = statistics.fmean(off) if off else 0.0
    if abs(middle) > (_KN if told else _KN_ALONE):
        yield (
            f"throat and grain make a mean Kn of {stated:.0f}, pressure and rate of "
            f"the firings tell {stated * math.exp(middle):.0f}: throat, grains or "
            "density differ from what was fired"
        )


def _pairs(firings: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Hold the efficiencies of nozzle and c* of the firings against one another."""
    names = ("c_star_efficiency", "nozzle_efficiency")
    both = [[one[n] for n in names] for one in _counted(firings)]
    both = [pair for pair in both if None not in pair]
    middle = [statistics.fmean(column) for column in zip(*both, strict=True)]
    if both and abs(math.log(middle[1] / middle[0])) > _PAIR:
        way = "low" if middle[1] > middle[0] else "high"
        yield (
            f"firings tell {100.0 * middle[0]:.0f} % of the ideal c* and "
            f"{100.0 * middle[1]:.0f} % of the ideal thrust coefficient: their "
            f"pressure was read too {way}"
        )


def _mass(motor: Hardware, weighed: float | None, density: float) -> Iterator[str]:
    """Hold the weighed grains against their sizes and density."""
    if weighed is None:
        return
    reckoned = motor.grain.volume * motor.known_density_ratio * density
    limit = _MASS if motor.density_ratio is not None else _MASS_ALONE
    if abs(math.log(weighed / reckoned)) > limit:
        yield (
            f"the grains weigh {1e3 * weighed:.0f} g, by number, sizes and density "
            f"{1e3 * reckoned:.0f} g: one of these is wrong"
        )


# ----------------------------------------------------------------------------
# What burned: each batch, and all firings, against all else.


def _rates(burning: BurnModel) -> Iterator[str]:
    """Hold one's own batches of strands, and firings, against all else that burned.

    At the widths held beforehand: those that are learnt take an outlier for scatter.
    """
    model, rows = _held(burning), burning.rows
    if not len(rows.log_rate):
        return
    batch, fired = rows.places.batch, np.asarray(rows.places.motor, dtype=bool)
    strands = ~fired & (rows.strands > 0.0)
    if rows.elsewhere is not None:
        strands &= np.diagonal(rows.elsewhere) == 0.0
    if fired.any() and strands.any():
        yield from _apart(model, fired, "the firings", _FIRED)
    for number, name in enumerate(rows.batches):
        own = strands & (batch == number)
        alone = bool((own | (batch < 0)).all())
        if own.any():
            limit = _FIRST if alone else _BATCH
            yield from _apart(model, own, f"strands of {name!r}", limit)
    nameless = strands & (batch < 0)
    if nameless.any():
        limit = _FIRST if nameless.all() else _BATCH
        yield from _apart(model, nameless, "the strands", limit)
    yield from _others(model)


def _others(model: BurnModel) -> Iterator[str]:
    """Hold what each other bench burned against all else."""
    if model.rows.elsewhere is None:
        return
    within = model.rows.elsewhere == 2.0  # rows of one other bench
    first = [i for i, row in enumerate(within) if row.any() and not row[:i].any()]
    names = dict.fromkeys(one.bench for one in model.evidence if one.bench)
    for name, row in zip(names, first, strict=True):
        whose = f"imported strands of bench {name}"
        yield from _apart(model, within[row], whose, _OTHER)


def _held(burning: BurnModel) -> BurnModel:
    """Return the model at the widths that are held beforehand."""
    known = burning.scatter
    widths = {name: np.array([getattr(known, name)]) for name in NAMES}
    if burning.rows.elsewhere is not None:
        widths["bench"] = np.array([scatter.BENCH])
    at = Widths(**widths)
    return BurnModel(burning.evidence, known, at, process=burning.process)


def _apart(model: BurnModel, own: BoolArray, whose: str, limit: float) -> Iterator[str]:
    level, u = model.level_of(own)
    if abs(level) > limit * u:
        yield (
            f"{whose} burn at {math.exp(level):.2f} times the rate that all else leads "
            f"to expect, {abs(level) / u:.1f} standard uncertainties off: look at "
            "lengths, times, pressures, mix and batch"
        )


# ----------------------------------------------------------------------------
# Strands that are not of this bench, or no longer.


def _strands(world: World) -> Iterator[list[Strand]]:
    for entry in world.bench.motor["burn_law"] if world.bench.motor else ():
        if "strands" in entry:
            yield strands_of(entry, world.bench, world.files)[1]


def _example(every: Sequence[Sequence[Strand]]) -> Iterator[str]:
    """Find strands of the example, though nothing calls them invented."""
    found = [
        strands
        for strands in every
        if of_the_example(strands) and not any(one.invented for one in strands)
    ]
    if found:
        files = ", ".join(dict.fromkeys(Path(one[0].file).name for one in found))
        yield f"the strands of {files} are those of the example, which nobody burned"


def of_the_example(strands: Sequence[Strand]) -> bool:
    """Return whether all of some strands are those of the example bench."""
    return bool(strands) and _readings(strands) <= _burned_by_nobody()


def _readings(strands: Sequence[Strand]) -> Counter[tuple[float, float]]:
    """Return lengths and times as a spreadsheet keeps them."""
    return Counter((round(s.length, 5), round(s.time, 2)) for s in strands)


@functools.cache
def _burned_by_nobody() -> Counter[tuple[float, float]]:
    found: Counter[tuple[float, float]] = Counter()
    for name in ("strands.csv", "strands-new.csv"):
        lines = example_files()[name].splitlines()
        cells = (line.split(",") for line in lines if line[:1].isdigit())
        found.update((1e-3 * float(c[0]), float(c[1])) for c in cells)
    return found


def _dates(world: World, every: Sequence[Sequence[Strand]]) -> Iterator[str]:
    """Hold the dates of strands against those of the lots that are weighed."""
    dated = (world.bench.lots[record].get("date") for record in _in_use(world))
    lots = [datetime.date.fromisoformat(day) for day in dated if day]
    burned = [s.date for strands in every for s in strands if s.date]
    if not lots or not burned:
        return
    last = max(map(datetime.date.fromisoformat, burned))
    if max(lots) - last > _OLD:
        yield (
            f"the last strands burned on {last}, the lots were read on {max(lots)}: "
            "they burned of other lots; burn strands of these"
        )


def _in_use(world: World) -> list[str]:
    from castsugar.bench.lots import lots_of

    return [record.name for _, record in lots_of(world.bench, world.database).values()]


# ----------------------------------------------------------------------------
# How far the entries of a motor move its pressure margin, and what else tells of them.
#
# All that makes pressure enters as one product S = rho Kn c* r: a step in ln S moves
# ln p95 by the same slope, whichever entry it comes from. So one margin and one with
# another throat give the leverage of them all.

#: A plausible slip of each entry, in mm, %, K: a reading, a mark of a caliper. Ours.
_SLIPS: Final = {
    "throat": 0.1,
    "size": 0.5,
    "density ratio": 2.0,
    "rate": 10.0,
    "efficiency": 3.0,
    "temperature": 10.0,
    "pressure": 10.0,
}

#: ln of S between the two margins that give the slope.
_STEP: Final = 0.02

NOTHING: Final = "nothing else"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """What one entry does to the margin."""

    entry: str  # as in bench.open_points.Point
    slip: float  # by how much it may be off, in `unit`: "mm", "%", "K" or empty
    unit: str
    points: float  # by how much the pressure margin moves then [percentage points]
    told_by: str  # what else in the file tells of the same; NOTHING if nothing does

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        return {
            "entry": self.entry,
            "slip": self.slip,
            "unit": self.unit,
            "margin_points": self.points,
            "told_by": self.told_by,
        }


def levers(world: World) -> tuple[Lever, ...]:
    """Return what moves the pressure margin of the first recipe, by leverage.

    The most first; none without recipe, motor and case, or
    where the recipe has no margin.
    """
    motor, recipe = world.motor, next(iter(world.recipes), "")
    if motor is None or not recipe or motor.case is None:
        return ()
    try:
        peak = _p95(world, recipe, motor)
        nearer = motor.throat_diameter * math.exp(-0.5 * _STEP)
        moved = _p95(world, recipe, replace(motor, throat_diameter=nearer))
    except CastsugarError:
        return ()
    if not (math.isfinite(peak) and math.isfinite(moved)):
        return ()
    slope = math.log(moved / peak) / _STEP
    scale = 100.0 * peak / motor.allowable
    found = [
        Lever(entry=e, slip=by, unit=unit, points=scale * slope * step, told_by=told)
        for e, by, unit, step, told in _entries(world, motor)
    ]
    found.append(_rating(motor.case, scale))
    return tuple(sorted(found, key=lambda x: -x.points))


def _p95(world: World, recipe: str, motor: Hardware) -> float:
    """Return what 95 of 100 peaks stay below. [Pa]"""
    given = world.conditions | {"kitchen": world.kitchen, "motor": motor}
    columns = evaluate_columns([world.mix(recipe)], confirm=False, **given)
    return 1e6 * float(columns["peak_pressure_p95_MPa"][0])


def _rating(case: Case, scale: float) -> Lever:
    """Return the lever of what sets the allowed pressure; another limit may stop it.

    `scale` is the p95 in percent of what is allowed.
    """
    now, by = allowable_pressure(case), _SLIPS["pressure"]
    keys = {"rated": "rated_pressure", "proof": "proof_pressure"}
    key = keys.get(now.rule.partition(" ")[0], "thickness")
    more = replace(case, **{key: getattr(case, key) * (1.0 + 0.01 * by)})
    points = scale * (1.0 - now.pressure / allowable_pressure(more).pressure)
    entry = f"motor.case.{key.replace('thickness', 'wall')}"
    return Lever(entry=entry, slip=by, unit="%", points=points, told_by=NOTHING)


#: Entry, how much it may be off and in what unit, the step in ln S, what else tells.
_Entry = tuple[str, float, str, float, str]


def _entries(world: World, motor: Hardware) -> Iterator[_Entry]:
    """Yield what stands in the product S."""
    table = world.bench.motor or {}
    fired = "firings" if table.get("firing") else NOTHING
    weighed = "the grains' mass" if table.get("grain_mass") else fired
    by = _SLIPS["throat"]
    yield "motor.throat", by, "mm", 2e-3 * by / motor.throat_diameter, fired
    yield from _sizes(motor, weighed)
    if table.get("density_ratio") is not None:
        by = _SLIPS["density ratio"]
        yield "motor.density_ratio", by, "%", 0.01 * by, weighed
    if table.get("measured_efficiency") is not None:
        by = _SLIPS["efficiency"]
        yield "motor.measured_efficiency", by, "%", 0.01 * by, fired
    by = _SLIPS["temperature"]
    step = by * motor.temperature_sensitivity
    yield "motor.grain_temperature", by, "K", step, NOTHING
    by = _SLIPS["rate"]
    yield "motor.burn_law", by, "%", 0.01 * by, _burned(motor)


def _sizes(motor: Hardware, told: str) -> Iterator[_Entry]:
    """Yield the sizes of a grain of cylinders."""
    grain, kn = motor.grain, motor.kn_max
    if not isinstance(grain, HollowCylinder):
        return
    by = _SLIPS["size"]
    changed = {
        "outer": replace(grain, outer_diameter=grain.outer_diameter + 1e-3 * by),
        "core": replace(grain, core_diameter=grain.core_diameter + 1e-3 * by),
        "length": replace(grain, segment_length=grain.segment_length + 1e-3 * by),
        "segments": replace(grain, segments=grain.segments + 1),
    }
    for name, other in changed.items():
        wider = replace(motor, case=None, case_volume=None, grain=other)
        step = abs(math.log(wider.kn_max / kn))
        off = (1.0, "") if name == "segments" else (by, "mm")
        yield f"motor.grain.{name}", *off, step, told


def _burned(motor: Hardware) -> str:
    """Say what tells of the rate beside one batch of strands."""
    kinds = [one.kind for one in motor.burning.evidence]
    if FIRING in kinds and len(kinds) > 1:
        return "strands and firings"
    batches = {one.batch for one in motor.burning.evidence if one.kind == STRANDS}
    return "other batches" if len(batches) > 1 else NOTHING
