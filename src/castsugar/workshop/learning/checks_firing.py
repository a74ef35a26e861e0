"""Firings, held against what was foreseen of them on the day.

What one firing shows of c*, throat and burn law it shows in its peak, its burn time and
its impulse alike: of every firing one comparison counts, the peak pressure if it can be
compared, else the delivered c*.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.motor.hardware import Hardware
from castsugar.workshop.bench import Bench
from castsugar.workshop.learning.checks import COVERAGE, is_discarded
from castsugar.workshop.learning.checks_motor import Found, motor_that_day, skip
from castsugar.workshop.learning.fired import Fired
from castsugar.workshop.learning.tally import Check

VELOCITY, PEAK = "delivered c*", "peak pressure"

#: Where 95 % of a normal lie below.
_UPPER = 1.644854

_NO_EFFICIENCY = (
    "no c* efficiency was known, so that the ideal c* stands in the prediction; not "
    "counted"
)

#: A peak above its band is a miss whatever was known: the ideal c*, or that of another
#: motor, does not excuse it.
_ABOVE = "above its band, which always counts as a miss"

_ONE = "hangs together with the peak or c* of the same firing; shown, not counted"

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
        believed = _believed(known)
        peak = _peak(fired, sure=believed is not None)
        velocity = _velocity(fired, known, believed, why)
        told = isinstance(peak, Check) and peak.counts
        if told and isinstance(velocity, Check) and velocity.counts:
            velocity = replace(velocity, counts=False, note=_ONE)
        yield velocity
        if peak is not None:
            yield peak
        yield from _others(fired, sure=believed is not None)


def _elsewhere(fired: Fired) -> Iterator[Found]:
    """Skip a firing in another motor, but for a peak above its band.

    The band is that of the motor as it is now.
    """
    why = "foreseen with another bench file, which the record does not keep"
    yield skip(fired.batch, f"firing {fired.link.path.name}", why)
    peak = _peak(fired, sure=False)
    if isinstance(peak, Check) and peak.above:
        yield peak


def _peak(fired: Fired, *, sure: bool) -> Found | None:
    """Hold the peak pressure; above its band it counts, whatever was known."""
    found = _result(fired, "peak_pressure", "MPa")
    if isinstance(found, str):
        return skip(fired.batch, PEAK, found) if found else None
    peak = _check(fired, PEAK, "MPa", found)
    if peak.above:
        return replace(peak, note=_ABOVE)
    return peak if sure else replace(peak, counts=False, note=_NO_EFFICIENCY)


def _others(fired: Fired, *, sure: bool) -> Iterator[Found]:
    """Hold burn time and impulse; neither counts."""
    for quantity, name, unit, shown in _OTHERS:
        found = _result(fired, name, unit)
        if isinstance(found, str):
            if found:
                yield skip(fired.batch, quantity, found)
            continue
        check = _check(fired, quantity, shown, found)
        yield replace(check, counts=False, note=_ONE if sure else _NO_EFFICIENCY)


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


def _believed(known: tuple[Bench, Hardware] | None) -> float | None:
    return known[1].efficiency if known is not None else None


def _velocity(
    fired: Fired,
    known: tuple[Bench, Hardware] | None,
    believed: float | None,
    why: str,
) -> Found:
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
    predicted = delivered / efficiency * (believed or 1.0)
    spread = known[1].spread.characteristic_velocity
    reading = _relative(row, "characteristic_velocity_efficiency", "")
    step = COVERAGE * math.hypot(spread, reading)
    return Check(
        batch=fired.batch.id,
        quantity=VELOCITY,
        unit="m/s",
        predicted=predicted,
        low=predicted * math.exp(-step),
        high=predicted * math.exp(step),
        measured=delivered,
        counts=believed is not None,
        note="" if believed is not None else _NO_EFFICIENCY,
        discarded=is_discarded(fired.batch),
    )


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
        return "nothing was foreseen" if name == "peak_pressure" else ""
    down, up = _ends(fired, name)
    if math.isnan(down) or math.isnan(up):
        return "no band was kept, and it cannot be found again"
    reading = _relative(row, name, unit)
    high = predicted * math.exp(COVERAGE * math.hypot(up, reading))
    if row.get(f"{name}_at_least") and not measured > high:
        return "a lower limit only"
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
        best = float(frozen.get("chamber_pressure_MPa", math.nan))
        high = float(frozen.get("chamber_pressure_p95_MPa", math.nan))
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
