"""Checks of motor and firing of closed batches, and the alarms that they raise."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from castsugar.bench.bench import Bench, read_bench
from castsugar.bench.motor import hardware_of
from castsugar.constants import COVERAGE
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.files.reading import sha256_of
from castsugar.frozen import dataclass
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.delivered import efficiencies_in_use
from castsugar.motor.firing.quantities import AT_LEAST
from castsugar.motor.hardware import Hardware
from castsugar.motor.law_of_mix import tested
from castsugar.motor.pressure_table import compositions
from castsugar.motor.strands import Strand
from castsugar.readings.strand_files import read_strands
from castsugar.records.batch import Batch
from castsugar.records.learning.checks import Check, Skipped, is_discarded
from castsugar.records.learning.firings import Fired, frozen_firing
from castsugar.records.learning.material import file_fault
from castsugar.records.prediction import allowed_pressure, bound_of, mix_of, thaw
from castsugar.records.record import Link

# ----------------------------------------------------------------------------
# Strands of a batch, held against the burn law of the day they were made.

RATE = "strand rate"

#: Fewest strands whose own scatter is used.
_OWN_SCATTER = 3

Found = Check | Skipped


def motor_that_day(batch: Batch, database: Database) -> tuple[Bench, Hardware] | None:
    """Return bench file and motor as they were when a batch was made.

    None if the record keeps no motor.

    Raises
    ------
    CastsugarError
        If files of strands that its burn law came from are not as they were.
    """
    frozen = batch.made.bench
    bench = thaw(frozen, batch.path.parent)
    if frozen is None or bench is None or bench.motor is None:
        return None
    for name, wanted in frozen.strands.items():
        if sha256_of(bench.path.parent / name) != wanted:
            raise InputError(f"{name}, from which the burn law came, has changed since")
    return bench, hardware_of(bench, database)


def strand_checks(
    batches: Sequence[Batch], database: Database, *, changed: bool = False
) -> Iterator[Found]:
    """Hold the strands of batches against the burn law known on the day.

    The same strands that several batches link are one comparison, that of the first.
    """
    seen: dict[tuple[str, str], str] = {}
    for batch in batches:
        for link in batch.strand_files():
            fault = file_fault(link)
            if fault == "missing" or (fault and not changed):
                yield skip(batch, RATE, f"{link.path.name} is {fault}")
                continue
            same = link.sha256, link.mix
            if same in seen:
                why = f"the same strands as those of {seen[same]}; they count once"
                yield skip(batch, RATE, why)
                continue
            try:
                found = _strands(batch, link, database)
            except CastsugarError as error:
                found = skip(batch, RATE, str(error))
            if isinstance(found, Check):
                seen[same] = batch.id
            yield found


def skip(batch: Batch, quantity: str, why: str) -> Skipped:
    """Say why something is not compared."""
    return Skipped(batch=batch.id, quantity=quantity, why=why)


def _strands(batch: Batch, link: Link, database: Database) -> Found:
    """Hold the strands of one file against the law of the day, at their pressures."""
    known = motor_that_day(batch, database)
    if known is None:
        return skip(batch, RATE, "no burn law was known")
    hardware = known[1]
    frozen = batch.made.bench
    assert frozen is not None  # motor_that_day found one
    if link.sha256 in frozen.strands.values():
        return skip(batch, RATE, "the burn law of that day came from these strands")
    strands = [s for s in read_strands(link.path) if s.mix == link.mix]
    if not strands:
        return skip(batch, RATE, f"{link.path.name} has no mix {link.mix!r}")
    mix = mix_of(batch.made, batch.path.parent, database)
    return _beside(batch, strands, mix, hardware)


def _beside(
    batch: Batch, strands: Sequence[Strand], mix: Mix, hardware: Hardware
) -> Check:
    r"""Compare the geometric mean of the rates with what was known of the next batch.

    To the doubt of the model comes the scatter of these strands over root N:
    :math:`u^2 = u_{model}^2 + s^2 / N`, s that of the model or, if larger, their own.
    """
    model, made = hardware.burning, compositions(of_mixes([mix]))
    known = partial(made.rates, model, motor=False)
    p = np.array([s.pressure for s in strands])
    usual = hardware.strand_temperature
    warmer = np.array([(s.temperature or usual) - usual for s in strands])
    expected = np.array([known(one).mean[0] for one in p])
    expected = expected + hardware.temperature_sensitivity * warmer
    off = np.log([s.rate for s in strands]) - expected
    count = len(strands)
    scatter = math.sqrt(model.weights @ np.square(model.widths.strand))
    if count >= _OWN_SCATTER:
        scatter = max(scatter, float(np.std(off, ddof=1)))
    middle = math.exp(float(np.log(p).mean()))
    step = COVERAGE * math.hypot(known(middle).u[0], scatter / math.sqrt(count))
    low, high = tested(model)
    outside = float(np.min(p)) < low or float(np.max(p)) > high
    predicted = 1e3 * math.exp(float(expected.mean()))
    return Check(
        batch=batch.id,
        quantity=RATE,
        unit="mm/s",
        predicted=predicted,
        low=predicted * math.exp(-step),
        high=predicted * math.exp(step),
        measured=predicted * math.exp(float(off.mean())),
        note="beyond the pressures that burned" if outside else "",
        discarded=is_discarded(batch),
    )


# ----------------------------------------------------------------------------
# Firings, held against what was foreseen of them on the day.
#
# What one firing shows of c*, throat and burn law it shows in its peak, its burn time
# and its impulse alike: of every firing one comparison counts, the peak pressure if it
# can be compared, else the delivered c*.

VELOCITY, PEAK = "delivered c*", "peak pressure"

#: Where 95 % of a normal lie below.
_UPPER = 1.644854

#: A peak above its band is a miss, even if it was another motor.
_ABOVE = "above its band, which always counts as a miss"

_ONE = "of one firing only its peak counts, or else its c*"

#: Quantity, its key in results and expected bands, its unit in keys, on the page:
#: shown beside what counts.
_OTHERS = (
    ("burn time", "burn_time", "s", "s"),
    ("total impulse", "total_impulse", "N_s", "N s"),
)


def firing_checks(firings: Sequence[Fired], database: Database) -> Iterator[Found]:
    """Hold firings against what was foreseen on the day.

    Peak pressure, burn time and impulse are those that the record of the firing froze.
    The band of the pressure is frozen, too (from the 95 % value of the batch); those of
    the other two come from the motor that the record froze, by this version's model.
    """
    for fired in firings:
        if "motor" in fired.link.options:
            yield from _elsewhere(fired)
            continue
        try:
            known = motor_that_day(fired.batch, database)
        except CastsugarError as error:
            known, why = None, str(error)
        else:
            why = "no motor was known"
        peak = _peak(fired)
        velocity = _velocity(fired, known, why)
        if isinstance(peak, Check) and isinstance(velocity, Check):
            velocity = replace(velocity, counts=False, note=_ONE)
        yield velocity
        if peak is not None:
            yield peak
        yield from _others(fired)


def _elsewhere(fired: Fired) -> Iterator[Found]:
    """Skip a firing in another motor, but for a peak above its band.

    The band is that of the motor as it is now.
    """
    why = "predicted with another bench file, which the record does not keep"
    yield skip(fired.batch, f"firing {fired.link.path.name}", why)
    peak = _peak(fired)
    if isinstance(peak, Check) and peak.above:
        yield replace(peak, note=_ABOVE)


def _peak(fired: Fired) -> Found | None:
    """Hold the peak pressure."""
    found = _result(fired, "peak_pressure", "MPa")
    if isinstance(found, str):
        return skip(fired.batch, PEAK, found) if found else None
    return _check(fired, PEAK, "MPa", found)


def _others(fired: Fired) -> Iterator[Found]:
    """Hold burn time and impulse; neither counts."""
    for quantity, name, unit, shown in _OTHERS:
        found = _result(fired, name, unit)
        if isinstance(found, str):
            if found:
                yield skip(fired.batch, quantity, found)
            continue
        check = _check(fired, quantity, shown, found)
        yield replace(check, counts=False, note=_ONE)


def _check(fired: Fired, quantity: str, unit: str, found: Mapping[str, float]) -> Check:
    return Check(
        batch=fired.batch.id,
        quantity=quantity,
        unit=unit,
        predicted=found["predicted"],
        low=found["low"],
        high=found["high"],
        measured=found["measured"],
        discarded=is_discarded(fired.batch),
    )


def _velocity(fired: Fired, known: tuple[Bench, Hardware] | None, why: str) -> Found:
    """Hold the delivered c* against the ideal one times the efficiency of the day."""
    if fired.why_not:
        return skip(fired.batch, VELOCITY, fired.why_not)
    if known is None:
        return skip(fired.batch, VELOCITY, why)
    row = fired.link.results
    delivered = float(row.get("characteristic_velocity_m_s", math.nan))
    efficiency = float(row.get("characteristic_velocity_efficiency", math.nan))
    if not delivered > 0.0 or not efficiency > 0.0:
        return skip(fired.batch, VELOCITY, "the record of the day has no c*")
    hardware = known[1]
    used = efficiencies_in_use(hardware).characteristic_velocity
    predicted = delivered / efficiency * used.value
    spread = hardware.spread.characteristic_velocity
    reading = _relative(row, "characteristic_velocity_efficiency", "")
    step = COVERAGE * math.hypot(spread, used.u, reading)
    found = {
        "predicted": predicted,
        "low": predicted * math.exp(-step),
        "high": predicted * math.exp(step),
        "measured": delivered,
    }
    return _check(fired, VELOCITY, "m/s", found)


def _relative(row: Any, name: str, unit: str) -> float:
    """Return the relative uncertainty of a result that a record froze; 0 if unknown."""
    end = f"_{unit}" if unit else ""
    value = float(row.get(f"{name}{end}", math.nan))
    u = float(row.get(f"{name}_uncertainty{end}", math.nan))
    return u / value if value > 0.0 and u > 0.0 else 0.0


def _result(fired: Fired, name: str, unit: str) -> dict[str, float] | str:
    """Return predicted, band and measured; why not, or nothing to say.

    A measurement that is a lower limit is one if it lies above the band already.
    """
    row = fired.link.results
    measured = float(row.get(f"{name}_{unit}", math.nan))
    predicted = float(row.get(f"expected_{name}_{unit}", math.nan))
    if not measured > 0.0:
        return ""
    if not predicted > 0.0:
        return "nothing was predicted" if name == "peak_pressure" else ""
    down, up = _ends(fired, name)
    if math.isnan(down) or math.isnan(up):
        return "no band was kept, and it cannot be found again"
    reading = _relative(row, name, unit)
    high = predicted * math.exp(COVERAGE * math.hypot(up, reading))
    bound = bound_of(row, name)
    if bound and not (bound == AT_LEAST and measured > high):
        return f"{bound} only"
    return {
        "predicted": predicted,
        "low": predicted * math.exp(-COVERAGE * math.hypot(down, reading)),
        "high": high,
        "measured": measured,
    }


def _ends(fired: Fired, name: str) -> tuple[float, float]:
    """Return the standard uncertainty of ln of a prediction, downward and upward."""
    if name == "peak_pressure" and "motor" not in fired.link.options:
        frozen = fired.batch.predictions
        best = float(frozen.get("peak_pressure_MPa", math.nan))
        high = float(frozen.get("peak_pressure_p95_MPa", math.nan))
        if best > 0.0 and high > best:
            u = math.log(high / best) / _UPPER
            return u, u
    expected = fired.test.expected if fired.test is not None else None
    if expected is None:
        return math.nan, math.nan
    best = float(getattr(expected.best, name))
    low, high = expected.bands[name]
    down = math.log(best / low) / _UPPER if 0.0 < low < best else 0.0
    return down, math.log(high / best) / _UPPER if high > best else 0.0


# ----------------------------------------------------------------------------
# Peaks above what was foreseen, or above what the case may hold: said first.


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """A firing whose peak was too high. Pressures are absolute. [Pa]"""

    batch: str
    file: str
    measured: float
    #: Upper end of the 95 % band; NaN if it did not lie above it, or has none.
    band_high: float
    #: What the case may hold; NaN if it did not lie above it, or is unknown.
    allowed: float


def alarms_of(
    firings: Sequence[Fired],
    others: Sequence[Batch],
    hardware: Hardware | None,
    database: Database,
) -> tuple[Alarm, ...]:
    """Return the firings whose peak was too high, those of open batches too.

    Parameters
    ----------
    firings : sequence of Fired
        Read already.
    others : sequence of Batch
        Whose firings were not read; the results of the day are taken.
    hardware : Hardware or None
        Where a record keeps no case of its own.
    """
    read = {f.link.sha256 for f in firings}
    rest = [
        frozen_firing(batch, link, "")
        for batch in others
        for link in batch.firings()
        if link.sha256 not in read
    ]
    found = (_alarm(f, hardware, database) for f in (*firings, *rest))
    return tuple(alarm for alarm in found if alarm is not None)


def _alarm(fired: Fired, hardware: Hardware | None, database: Database) -> Alarm | None:
    """Return whether one firing was too high."""
    measured = float(fired.link.results.get("peak_pressure_MPa", math.nan))
    high = _band_high(fired, database) if fired.batch.is_sound else math.nan
    allowed = _allowed(fired.batch, fired.link, hardware, database)
    above, over = measured > high, 1e6 * measured > allowed
    if not (above or over):
        return None
    return Alarm(
        batch=fired.batch.id,
        file=fired.link.path.name,
        measured=1e6 * measured,
        band_high=1e6 * high if above else math.nan,
        allowed=allowed if over else math.nan,
    )


def _band_high(fired: Fired, database: Database) -> float:
    """Return the upper end of the band of a peak; NaN without one. [MPa]"""
    for found in firing_checks([fired], database):
        if isinstance(found, Check) and found.quantity == PEAK:
            return found.high
    return math.nan


def _allowed(
    batch: Batch, link: Link, hardware: Hardware | None, database: Database
) -> float:
    """Return what the case may hold: of the motor fired, of that day, or now. [Pa]"""
    if "motor" in link.options:
        try:
            bench = read_bench(batch.path.parent / link.options["motor"])
            return float(hardware_of(bench, database).allowable)
        except CastsugarError:
            return math.nan
    allowed = allowed_pressure(batch.predictions)
    if not math.isnan(allowed):
        return 1e6 * allowed
    return float(hardware.allowable) if hardware is not None else math.nan
