"""Peaks above what was foreseen, or above what the case may hold: said first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.motor.hardware import Hardware
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.batches.record import Link
from castsugar.workshop.bench import read_bench
from castsugar.workshop.learning.checks_firing import PEAK, firing_checks
from castsugar.workshop.learning.fired import Fired, frozen_firing
from castsugar.workshop.learning.tally import Check
from castsugar.workshop.motor_bench import hardware_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """A firing whose peak was too high. Pressures are absolute. [Pa]

    Attributes
    ----------
    batch, file : str
    measured : float
    band_high : float
        Upper end of the 95 % band; NaN if it did not lie above it, or has none.
    allowed : float
        What the case may hold; NaN if it did not lie above it, or is unknown.
    """

    batch: str
    file: str
    measured: float
    band_high: float
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
    database : Database
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
    """Return what the case may hold: of the motor fired, that of the day, or now. [Pa]

    The record of a batch keeps the 95 % value of the pressure and its margin to what
    is allowed, (allowed - p95) / allowed.
    """
    if "motor" in link.options:
        try:
            bench = read_bench(batch.path.parent / link.options["motor"])
            return float(hardware_of(bench, database).allowable)
        except CastsugarError:
            return math.nan
    row = batch.predictions
    high = float(row.get("chamber_pressure_p95_MPa", math.nan))
    margin = float(row.get("pressure_margin", math.nan))
    if math.isfinite(high) and math.isfinite(margin) and margin < 1.0:
        return 1e6 * high / (1.0 - margin)
    return float(hardware.allowable) if hardware is not None else math.nan


def sentences(alarms: Sequence[Alarm]) -> Iterator[str]:
    """Yield what is to be said of every firing, in words."""
    for alarm in alarms:
        over = []
        if math.isfinite(alarm.band_high):
            over.append(f"above its 95 % band (up to {1e-6 * alarm.band_high:.3g} MPa)")
        if math.isfinite(alarm.allowed):
            over.append(
                f"above what the case may hold ({1e-6 * alarm.allowed:.3g} MPa)"
            )
        yield (
            f"Batch {alarm.batch}, {alarm.file}: the peak was "
            f"{1e-6 * alarm.measured:.3g} MPa, {' and '.join(over)}. Do not fire this "
            "case again before you know why."
        )
