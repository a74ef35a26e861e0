"""Whether the grains of a batch may be fired on a day: mass, storage, temperature.

The rules only ever forbid or warn; that none does is no claim that a firing is safe.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from castsugar.bench.bench import Bench
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.motor.strands import Strand
from castsugar.readings.strand_files import read_strands
from castsugar.records.batch import Batch
from castsugar.records.prediction import allowed_pressure, foresee, thaw

#: Water that a grain may take up in storage, as a share of its mass, where nobody
#: states another. Common practice, no source.
UPTAKE = 0.002

#: Days after which grains count as stored too long. Common practice, no source.
LONGEST = 90

#: How far the day may lie from the temperatures of the strands [K]: room for a
#: thermometer and for the middle of a grain. Common practice, no source.
AROUND = 10.0

#: Factor of a 95 % band (normal distribution); two weighings make a difference.
_COVERAGE, _WEIGHINGS = 1.959964, 2

#: Grains lighter or heavier than this are not those that were cast. Common practice,
#: no source.
_LIGHTEST, _HEAVIEST = 0.5, 1.5

FIRE_NOT, LOOK, UNKNOWN, KEPT = "do not fire", "look", "not known", "kept"


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What is known of the grains on the day. SI units.

    Attributes
    ----------
    mass, cast_mass : float or None
        Now, and as cast. [kg]
    temperature : float or None
        Of the grains. [K]
    humidity : float or None
        Highest of the store, relative, 0 to 1.
    accuracy : float
        Standard uncertainty of one weighing. [kg]
    uptake : float
        Water that the grains may have taken up, as a share of their mass.
    """

    date: str
    mass: float | None = None
    cast_mass: float | None = None
    temperature: float | None = None
    humidity: float | None = None
    accuracy: float = 5e-5
    uptake: float = UPTAKE


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule and what it says of the day.

    Attributes
    ----------
    name : str
        batch, mass, storage, humidity, temperature or pressure.
    verdict : str
        "do not fire", "look", "not known" or "kept".
    value, low, high : float
        What was found and what is allowed, SI; NaN for none.
    why : str
        What the verdict rests on where numbers do not say it.
    source : str
        Of the limit.
    """

    name: str
    verdict: str
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    why: str = ""
    source: str = "common practice, no source"


def rules_of(batch: Batch, day: Day, database: Database) -> tuple[Rule, ...]:
    """Return what every rule says.

    Raises
    ------
    InputError
        For a day before the batch was made, and for grains that cannot be those.
    """
    bench = thaw(batch.made.bench, batch.path.parent)
    return (
        _batch(batch),
        _mass(day),
        _stored(batch, day),
        _humid(batch, day),
        _warm(batch, bench, day),
        _pressed(batch, bench, day, database),
    )


def allowed_gain(day: Day) -> float:
    r"""Return what grains may have gained. [kg]

    :math:`1.96 \sqrt 2 u + w m`: the 95 % band of the difference of two weighings (JCGM
    100:2008, 5.1.2, from memory), and the stated uptake of water.
    """
    scale = _COVERAGE * math.sqrt(_WEIGHINGS) * day.accuracy
    return scale + day.uptake * (day.cast_mass or 0.0)


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
            f"--mass is {1e3 * day.mass:.4g} g, and the grains weighed "
            f"{1e3 * day.cast_mass:.4g} g when cast: these are not the same grains; "
            "give both masses of the same grains (--cast-mass)"
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


def _pressed(batch: Batch, bench: Bench | None, day: Day, database: Database) -> Rule:
    """Judge the peak pressure at the temperature of the day. [Pa]"""
    source = "allowed pressure of the case, unproved; the model of this version"
    rule = partial(Rule, name="pressure", source=source)
    if bench is None or bench.motor is None:
        return rule(verdict=UNKNOWN, why="the record keeps no motor")
    if day.temperature is not None:
        told = {**bench.motor, "grain_temperature": day.temperature}
        bench = replace(bench, motor=told)
    try:
        row, _ = foresee(batch.made, bench, database, water_lost=batch.made.water_lost)
    except CastsugarError as error:
        return rule(verdict=UNKNOWN, why=str(error))
    high = float(row.get("peak_pressure_p95_MPa", math.nan))
    margin = float(row.get("pressure_margin_percent", math.nan))
    if math.isnan(high) or math.isnan(margin):
        why = str(row.get("burn_law_origin") or "no pressure is told")
        return rule(verdict=UNKNOWN, why=why)
    verdict = FIRE_NOT if margin < 0.0 else KEPT
    return rule(verdict=verdict, value=1e6 * high, high=1e6 * allowed_pressure(row))
