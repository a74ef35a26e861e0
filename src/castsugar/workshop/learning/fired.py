"""The c* efficiency, from all firings of closed batches."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from castsugar import units
from castsugar.errors import CastsugarError
from castsugar.motor.firing.faults import HIGHEST_EFFICIENCY, LOWEST_EFFICIENCY
from castsugar.motor.firing.quantities import Measured
from castsugar.static_test import StaticTest
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.batches.record import Link
from castsugar.workshop.learning.combine import Combined, combined
from castsugar.workshop.learning.material import FileFault, file_fault

#: Reduce a recording of a batch: path, options as typed, batch.
Reduce = Callable[[Path, Mapping[str, Any], Batch], StaticTest]

#: Parts of the doubt that all firings share: the data of the ideal value, and a sensor
#: whose calibration is off in every firing alike.
SHARED = ("data of the ideal value", "calibration")

#: Share by which the grains may weigh more than their batch: two scales differ.
_SCALES = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fired:
    """One firing.

    Attributes
    ----------
    batch : Batch
    link : Link
    test : StaticTest or None
        Reduced again; None where the frozen results stand.
    why_frozen : str
        Why it could not be read anew; empty if it could.
    efficiency, own_u, shared_u : float
        Delivered over ideal c*; NaN where the firing tells none.
    why_not : str
        Why it does not count for the efficiency; empty if it does.
    """

    batch: Batch
    link: Link
    test: StaticTest | None
    why_frozen: str
    efficiency: float
    own_u: float
    shared_u: float
    why_not: str

    @property
    def name(self) -> str:
        """How it is called."""
        return f"{self.batch.id} {self.link.path.name}"

    @property
    def u(self) -> float:
        """Standard uncertainty of the efficiency."""
        return math.hypot(self.own_u, self.shared_u)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FiredLearnt:
    """What the firings teach.

    Attributes
    ----------
    firings : tuple of Fired
    efficiency : Combined or None
        None if no firing tells one.
    faults : tuple of FileFault
    twice : tuple of (str, str)
        Recordings that a second line links, and the first that does; counted once.
    """

    firings: tuple[Fired, ...]
    efficiency: Combined | None
    faults: tuple[FileFault, ...]
    twice: tuple[tuple[str, str], ...] = ()


def learn_efficiency(
    batches: Sequence[Batch], reduce: Reduce, *, changed: bool = False
) -> FiredLearnt:
    """Combine the c* efficiencies of all firings.

    Every recording is reduced again, so that a better model reads it anew; where that
    fails, or the recording has changed, the results that the record froze are taken.

    Parameters
    ----------
    batches : sequence of Batch
    reduce : callable
    changed : bool
        Whether recordings that changed since are read anew, too.
    """
    read = read_firings(batches, reduce, changed=changed)
    told = [f for f in read.firings if not f.why_not]
    if not told:
        return read
    together = combined(
        [f.efficiency for f in told],
        [f.own_u for f in told],
        [f.shared_u for f in told],
    )
    return replace(read, efficiency=together)


def read_firings(
    batches: Sequence[Batch], reduce: Reduce, *, changed: bool = False
) -> FiredLearnt:
    """Read the firings of batches, nothing combined; a recording counts once."""
    found: list[Fired] = []
    faults: list[FileFault] = []
    seen: dict[str, str] = {}
    twice: list[tuple[str, str]] = []
    for batch in batches:
        for link in batch.firings():
            name = f"{batch.id}, line {link.line}: {link.path.name}"
            if link.sha256 in seen:
                twice.append((name, seen[link.sha256]))
                continue
            seen[link.sha256] = name
            fault = file_fault(link)
            if fault and not (fault == "changed" and changed):
                done, why = "the results of that day stand", f"the file is {fault}"
                why = "the file has changed since" if fault == "changed" else why
                found.append(frozen_firing(batch, link, why))
            else:
                done = "read as it is now"
                found.append(_again(batch, link, reduce))
            if fault:
                faults.append(_fault(batch, link, fault, done))
    return FiredLearnt(
        firings=tuple(found),
        efficiency=None,
        faults=tuple(faults),
        twice=tuple(twice),
    )


def _fault(batch: Batch, link: Link, fault: str, done: str) -> FileFault:
    return FileFault(
        batch=batch.id, line=link.line, path=link.path, fault=fault, done=done
    )


def _again(batch: Batch, link: Link, reduce: Reduce) -> Fired:
    """Reduce a firing again."""
    try:
        test = reduce(link.path, link.options, batch)
    except CastsugarError as error:
        return frozen_firing(batch, link, str(error))
    found = test.characteristic_velocity_efficiency
    why = _too_heavy(batch, link) or _why_not(found)
    shared = 0.0
    own = value = math.nan
    if found is not None:
        parts = found.parts
        shared = math.hypot(*(parts.get(name, 0.0) for name in SHARED))
        own = math.hypot(*(p for name, p in parts.items() if name not in SHARED))
        value = found.value
        if not own > 0.0:
            own, shared = found.u, 0.0
    return Fired(
        batch=batch,
        link=link,
        test=test,
        why_frozen="",
        efficiency=value,
        own_u=own,
        shared_u=shared,
        why_not=why,
    )


def _why_not(found: Measured | None) -> str:
    if found is None:
        return "no c* efficiency: pressure, throat or ideal c* is missing"
    if found.at_least:
        return "a lower limit only: the sensor was at its limit, or samples are missing"
    if not LOWEST_EFFICIENCY <= found.value <= HIGHEST_EFFICIENCY:
        return (
            f"a fault of measuring: {found.value:.3g} lies outside "
            f"{LOWEST_EFFICIENCY:g} to {HIGHEST_EFFICIENCY:g}; castsugar firing says "
            "where to look"
        )
    return "" if found.u > 0.0 else "its uncertainty is not known"


def _too_heavy(batch: Batch, link: Link) -> str:
    """Say if more propellant is said to have burned than was made."""
    text = link.options.get("propellant_mass")
    try:
        mass = units.parse(str(text), "mass", where="propellant mass").value
    except CastsugarError:
        return ""  # missing or not readable: the firing cannot be read anew either
    if mass <= batch.made.mass * (1.0 + _SCALES):
        return ""
    return (
        f"a fault of measuring: {1e3 * mass:.5g} g of propellant are said to have "
        f"burned, the batch had {1e3 * batch.made.mass:.5g} g"
    )


def frozen_firing(batch: Batch, link: Link, why: str) -> Fired:
    """Take the results of the day."""
    row = link.results
    value = float(row.get("characteristic_velocity_efficiency", math.nan))
    u = float(row.get("characteristic_velocity_efficiency_uncertainty", math.nan))
    limit = bool(row.get("characteristic_velocity_efficiency_at_least", 0.0))
    known = None
    if math.isfinite(value):
        parts = {"all": u} if u > 0.0 else {}
        known = Measured(value=value, parts=parts, at_least=limit)
    return Fired(
        batch=batch,
        link=link,
        test=None,
        why_frozen=why,
        efficiency=value,
        own_u=u,
        shared_u=0.0,
        why_not=_too_heavy(batch, link) or _why_not(known),
    )
