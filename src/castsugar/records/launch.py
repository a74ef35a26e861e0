"""Whether the grains of a batch may be fired on a day: as measured, as stored.

The rules only ever forbid or warn; that none does is no claim that a firing is safe.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.bench.motor import hardware_of
from castsugar.constants import COVERAGE
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.frozen import dataclass
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.firing.law_doubts import SIZE_DOUBT
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.peak_causes import peak_causes, worst
from castsugar.motor.pressure_table import burn_law_of, peaks_of_batch
from castsugar.motor.real_grain import RealGrain, RealGrains
from castsugar.motor.strands import Strand
from castsugar.readings.strand_files import read_strands
from castsugar.records.batch import Batch
from castsugar.records.prediction import cast, foresee, relative, thaw

#: Water that a grain may take up in storage, as a share of its mass, where nobody
#: states another. Common practice, no source.
UPTAKE = 0.002

#: Days after which grains count as stored too long. Common practice, no source.
LONGEST = 90

#: How far the day may lie from the temperatures of the strands [K]: room for a
#: thermometer and for the middle of a grain. Common practice, no source.
AROUND = 10.0

#: Grains lighter or heavier than this are not those that were cast. Common practice,
#: no source.
_LIGHTEST, _HEAVIEST = 0.5, 1.5

#: Voids of a grain above which it is looked at, and above which it is not fired: pores
#: join, and burn inside. Common practice, no source.
VOIDS = 0.07, 0.10

#: How much less dense than its sisters a grain may be, likewise. Common practice, no
#: source.
LIGHTER = 0.02, 0.03

FIRE_NOT, LOOK, UNKNOWN, KEPT = "do not fire", "look", "not known", "kept"


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What is known of the grains on the day. SI units."""

    date: str
    #: Now, and as cast. [kg]
    mass: float | None = None
    cast_mass: float | None = None
    temperature: float | None = None  # of the grains [K]
    humidity: float | None = None  # highest of the store, relative, 0 to 1
    accuracy: float = 5e-5  # standard uncertainty of one weighing [kg]
    #: Water that the grains may have taken up, as a share of their mass.
    uptake: float = UPTAKE
    #: Each as measured, keys of records.record.GRAIN.
    grains: tuple[Mapping[str, float], ...] = ()
    size_u: float = SIZE_DOUBT  # standard uncertainty of each of their sizes [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule and what it says of the day."""

    #: batch, mass, storage, humidity, temperature, voids, sisters, fit, peak or
    #: pressure.
    name: str
    verdict: str  # "do not fire", "look", "not known" or "kept"
    #: What was found and what is allowed, SI; NaN for none.
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    why: str = ""  # what the verdict rests on where numbers do not say it
    source: str = "common practice, no source"  # of the limit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """What is said of the grains of a batch on a day."""

    day: Day
    rules: tuple[Rule, ...]
    grains: RealGrains | None = None  # as measured
    #: Largest burning area over that of the throat, of the grains as measured and as
    #: drawn; NaN where unknown. [-]
    kn_max: float = math.nan
    kn_drawn: float = math.nan


def card_of(batch: Batch, day: Day, database: Database) -> Card:
    """Return what every rule says.

    Raises
    ------
    InputError
        For a day before the batch was made, and for grains that cannot be those.
    """
    bench = thaw(batch.made.bench, batch.path.parent)
    rules = [
        _batch(batch),
        _mass(day),
        _stored(batch, day),
        _humid(batch, day),
        _warm(batch, bench, day),
    ]
    drawn, why = _drawn(batch, bench, day, database)
    grains = measured(batch, day, database, drawn)
    motor = drawn
    if grains is not None:
        rules += _dense(grains)
        fit, motor = _fit(grains, drawn)
        rules.append(fit)
        why = why or "these grains do not fit"
    else:
        rules.append(Rule(name="voids", verdict=UNKNOWN, why="no --grain was measured"))
    if any(one.name == "fit" and one.verdict == FIRE_NOT for one in rules):
        why = why or "the grains are not those that the motor burns"
        rules.append(Rule(name="pressure", verdict=UNKNOWN, why=why))
    else:
        rules += _pressed(batch, bench, motor, why, database)
    return Card(
        day=day,
        rules=tuple(rules),
        grains=grains,
        kn_max=math.nan if motor is None or motor is drawn else motor.kn_max,
        kn_drawn=math.nan if drawn is None else drawn.kn_max,
    )


def allowed_gain(day: Day) -> float:
    r"""Return what grains may have gained. [kg]

    :math:`1.96 \sqrt 2 u + w m`: the 95 % band of the difference of two weighings (JCGM
    100:2008, 5.1.2, from memory), and the stated uptake of water.
    """
    return COVERAGE * math.sqrt(2.0) * day.accuracy + day.uptake * (
        day.cast_mass or 0.0
    )


def _batch(batch: Batch) -> Rule:
    """Judge what the record says of the batch."""
    if not batch.is_sound:
        why = f"what was made was corrected: {batch.set_aside[1]}"
    elif batch.outcome == "discarded":
        why = "the batch was discarded"
    else:
        return Rule(name="batch", verdict=KEPT, source="the record")
    return Rule(name="batch", verdict=FIRE_NOT, why=why, source="the record")


def _mass(day: Day) -> Rule:
    """Judge what the grains gained or lost."""
    source = "two weighings (JCGM 100) and the stated uptake (common practice)"
    rule = partial(Rule, name="mass", source=source)
    if day.mass is None or day.cast_mass is None:
        missing = "weighed today" if day.mass is None else "weighed when they were cast"
        return rule(verdict=UNKNOWN, why=f"the grains were not {missing}")
    ratio = day.mass / day.cast_mass
    if not _LIGHTEST <= ratio <= _HEAVIEST:
        raise InputError(
            f"the grains weigh {1e3 * day.mass:.4g} g today, and weighed "
            f"{1e3 * day.cast_mass:.4g} g when cast: these are not the same grains; "
            "give all by --mass or --grain, and the same as cast by --cast-mass"
        )
    gain, most = day.mass - day.cast_mass, allowed_gain(day)
    verdict = FIRE_NOT if gain > most else LOOK if gain < -most else KEPT
    return rule(verdict=verdict, value=gain, low=-most, high=most)


def _stored(batch: Batch, day: Day) -> Rule:
    """Judge how long the grains were stored."""
    made, now = map(datetime.date.fromisoformat, (batch.made.date, day.date))
    if now < made:
        raise InputError(
            f"--date is {day.date}, and {batch.id} was made on {batch.made.date}; give "
            "the day of the firing"
        )
    days = (now - made).days
    verdict = LOOK if days > LONGEST else KEPT
    return Rule(name="storage", verdict=verdict, value=float(days), high=float(LONGEST))


def _humid(batch: Batch, day: Day) -> Rule:
    """Judge the air of the store."""
    limit = batch.predictions.get("storage_humidity_max_percent", math.nan) / 100.0
    source = "the kitchen model: above it the grain draws water"
    rule = partial(Rule, name="humidity", high=limit, source=source)
    if day.humidity is None or math.isnan(limit):
        why = "no humidity was given" if day.humidity is None else "no kitchen model"
        return rule(verdict=UNKNOWN, why=why)
    return rule(verdict=LOOK if day.humidity > limit else KEPT, value=day.humidity)


def _warm(batch: Batch, bench: Bench | None, day: Day) -> Rule:
    """Judge the temperature by those at which strands were burned."""
    low, high = strand_temperatures(batch, bench)
    value = math.nan if day.temperature is None else day.temperature
    if math.isnan(value) or math.isnan(low):
        why = "no temperature of the grains was given"
        if not math.isnan(value):
            why = "no strands of this batch or its bench have a temperature"
        return Rule(name="temperature", verdict=UNKNOWN, value=value, why=why)
    low, high = low - AROUND, high + AROUND
    verdict = KEPT if low <= value <= high else FIRE_NOT
    return Rule(name="temperature", verdict=verdict, value=value, low=low, high=high)


def strand_temperatures(batch: Batch, bench: Bench | None) -> tuple[float, float]:
    """Return lowest and highest temperature of the strands behind a batch. [K]

    Those of the batch, else those that the burning-rate laws of its bench rest on; NaN
    where none are known or can be read.
    """
    own = [(link.path, link.mix) for link in batch.strand_files()]
    frozen, rest = batch.made.bench, []
    if bench is not None and frozen is not None:
        rest = [(bench.path.parent / name, "") for name in frozen.strands]
    for files in (own, rest):
        found = [s.temperature for path, mix in files for s in _strands(path, mix)]
        known = [t for t in found if t is not None]
        if known:
            return min(known), max(known)
    return math.nan, math.nan


def _strands(path: Path, mix: str) -> list[Strand]:
    """Return strands of a file, of one mix if named; none if it cannot be read."""
    try:
        found = read_strands(path)
    except CastsugarError:
        return []
    return [s for s in found if mix in ("", s.mix)]


# ----------------------------------------------------------------------------
# Grains as measured, the motor with them in it, and its pressure.


def measured(
    batch: Batch, day: Day, database: Database, motor: Hardware | None = None
) -> RealGrains | None:
    """Return the grains as measured, held against their mix as cast; None without.

    Raises
    ------
    CastsugarError
        For a grain that is denser than its mix, or a mix that cannot be cast.
    """
    if not day.grains:
        return None
    bench = thaw(batch.made.bench, batch.path.parent)
    mix = cast(batch.made, bench, database, water_lost=batch.made.water_lost)
    drawn = None if motor is None else motor.grain
    ends = drawn.burning_ends if isinstance(drawn, HollowCylinder) else 2
    grains = tuple(
        RealGrain(
            shape=HollowCylinder(
                outer_diameter=one["outer_m"],
                core_diameter=one["core_m"],
                segment_length=one["length_m"],
                burning_ends=ends,
            ),
            mass=one["mass_kg"],
        )
        for one in day.grains
    )
    return RealGrains(
        grains=grains, solid=mix.density, size_u=day.size_u, mass_u=day.accuracy
    )


def _drawn(
    batch: Batch, bench: Bench | None, day: Day, database: Database
) -> tuple[Hardware | None, str]:
    """Return the motor of the record at the temperature of the day, or why not."""
    if bench is None or bench.motor is None:
        return None, "the record keeps no motor"
    try:
        motor = hardware_of(with_strands(bench, batch), database)
    except CastsugarError as error:
        return None, str(error)
    if day.temperature is not None:
        motor = replace(motor, grain_temperature=day.temperature, hottest_grain=None)
    return motor, ""


def with_strands(bench: Bench, batch: Batch) -> Bench:
    """Return a bench that knows the strands of a batch, too; not those that changed."""
    frozen, motor = batch.made.bench, bench.motor
    if frozen is None or motor is None:
        return bench
    gone = {line for line, _, _ in batch.changed_files()}
    seen = set(frozen.strands.values())
    masses = " ".join(f"{n}:{1e3 * m:.10g}" for n, m in batch.made.masses.items())
    laws = list(motor["burn_law"])
    for link in batch.strand_files():
        strands = _strands(link.path, link.mix)
        if not strands or link.line in gone or link.sha256 in seen:
            continue
        seen.add(link.sha256)
        told = {name: any(getattr(s, name) for s in strands) for name in _TOLD}
        laws.append(
            {
                "recipe": masses,
                "strands": relative(link.path, bench.path.parent),
                "mix": link.mix,
                "batch": "" if told["batch"] else batch.id,
                "process": "" if told["process"] else batch.made.process,
                "degraded": 0.0 if told["degraded"] else batch.degraded,
                "date": "",
                "entry": f"batch {batch.id} line {link.line}",
            }
        )
    return replace(bench, motor={**motor, "burn_law": laws})


#: What a file of strands may say of them itself.
_TOLD = ("batch", "process", "degraded")


def _own_name(batch: Batch, motor: Hardware) -> str:
    """Return what the batch is called in what was burned; empty if none of it was."""
    links = batch.strand_files()
    found = [s for link in links for s in _strands(link.path, link.mix)]
    name = (found[-1].batch or batch.id) if found else ""
    return name if name in {one.batch for one in motor.burning.evidence} else ""


def _dense(grains: RealGrains) -> Iterator[Rule]:
    """Judge the voids of the worst grain, and how it differs from its sisters."""
    worst = int(grains.shares.argmin())
    voids, why = 1.0 - float(grains.shares[worst]), f"grain {worst + 1}"
    end = voids + COVERAGE * float(grains.shares_u[worst])
    yield _graded("voids", voids, VOIDS, why, end)
    if len(grains.grains) > 1:
        yield _graded("sisters", grains.lighter, LIGHTER, why)


def _graded(
    name: str, value: float, limits: tuple[float, float], why: str, end: float = 0.0
) -> Rule:
    """Judge a value by where one looks and where one does not fire.

    `end`: of its band; one that reaches the second limit is looked at.
    """
    look, most = limits
    if value > most:
        return Rule(name=name, verdict=FIRE_NOT, value=value, high=most, why=why)
    verdict = LOOK if value > look or end > most else KEPT
    return Rule(name=name, verdict=verdict, value=value, high=look, why=why)


def _fit(grains: RealGrains, drawn: Hardware | None) -> tuple[Rule, Hardware | None]:
    """Judge whether the grains fit the motor; return it with them in it."""
    rule = partial(Rule, name="fit", source="[motor] of the record")
    if drawn is None:
        return rule(verdict=UNKNOWN, why="the record keeps no motor"), None
    if not isinstance(drawn.grain, HollowCylinder):
        why = "[motor.grain] is a table of areas, not a hollow cylinder"
        return rule(verdict=UNKNOWN, why=why), drawn
    try:
        motor = grains.loaded(drawn)
    except InputError as error:
        return rule(verdict=FIRE_NOT, why=str(error)), None
    count, segments = len(grains.grains), drawn.grain.segments
    if count != segments:
        why = (
            f"{count} {'grain' if count == 1 else 'grains'} measured, and the motor "
            f"has {segments} segments: give all that are fired together"
        )
        return rule(verdict=FIRE_NOT, why=why), motor
    if drawn.case is None or drawn.case.inner_diameter is None:
        return rule(verdict=UNKNOWN, why="the bore of the case is not stated"), motor
    return rule(verdict=KEPT), motor


def _pressed(
    batch: Batch,
    bench: Bench | None,
    motor: Hardware | None,
    why: str,
    database: Database,
) -> Iterator[Rule]:
    """Judge the expected peak and its 95 % value, of this batch if it burned. [Pa]"""
    source = "allowed pressure of the case, unproved; the model of this version"
    rule = partial(Rule, name="pressure", source=source)
    if motor is None:
        yield rule(verdict=UNKNOWN, why=why)
        return
    made, of = batch.made, "the next batch"
    try:
        row, _ = foresee(made, bench, database, water_lost=made.water_lost, motor=motor)
        mix = cast(made, bench, database, water_lost=made.water_lost)
        peaks = [1e6 * float(row[f"peak_pressure{x}_MPa"]) for x in ("", "_p95")]
        if (name := _own_name(batch, motor)) and not math.isnan(peaks[0]):
            of, velocity = "this batch", row["characteristic_velocity_m_s"]
            peaks = peaks_of_batch(motor, mix, velocity, name, (0.5, 0.95))
    except CastsugarError as error:
        yield rule(verdict=UNKNOWN, why=str(error))
        return
    allowed = motor.allowable
    if math.isnan(peaks[0]) or math.isnan(allowed):
        why = str(row.get("burn_law_origin") or "no pressure is told")
        if not math.isnan(peaks[0]):
            why = "no allowed pressure of the case is stated"
        yield rule(verdict=UNKNOWN, why=why)
        return
    for name, value in zip(("peak", "pressure"), peaks, strict=True):
        verdict = FIRE_NOT if value > allowed else KEPT
        yield rule(name=name, verdict=verdict, value=value, high=allowed, why=of)
    if peaks[0] <= allowed:
        yield _raised(motor, mix, row, peaks)


def _raised(
    motor: Hardware, mix: Mix, row: Mapping[str, Any], peaks: Sequence[float]
) -> Rule:
    """Judge what can raise the peak, see :mod:`castsugar.motor.peak_causes`. [Pa]"""
    names = ("peak_pressure_MPa", "peak_pressure_p95_MPa")
    own = dict(row) | dict(zip(names, (1e-6 * p for p in peaks), strict=True))
    causes = peak_causes(motor, burn_law_of(of_mixes([mix]), motor), own)
    found, verdict = worst(causes), FIRE_NOT
    if found is None:
        verdict = LOOK
        found = next((one for one in causes if one.warns), None)
    if found is None:
        verdict, told = KEPT, [one for one in causes if math.isfinite(one.middle)]
        found = max(told, key=lambda one: one.pressure[0])
    return Rule(
        name="causes",
        verdict=verdict,
        value=found.pressure[1 if found.forbids else 0],
        high=motor.allowable,
        why=found.name,
        source="factors on the expected peak; no measurement on these mixes",
    )
