"""What firings of closed batches teach: efficiencies, and a burn rate each."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from castsugar import units
from castsugar.errors import CastsugarError
from castsugar.frozen import dataclass
from castsugar.motor.efficiency import Efficiencies, Reading, learn_efficiencies
from castsugar.motor.firing.faults import HIGHEST_EFFICIENCY, LOWEST_EFFICIENCY
from castsugar.motor.firing.quantities import Measured
from castsugar.records.batch import Batch
from castsugar.records.learning.material import FileFault, file_fault
from castsugar.records.prediction import RATE_KEYS, SHARED_KEY, bound_of
from castsugar.records.record import Link
from castsugar.static_test import Rate, StaticTest

#: Reduce a recording of a batch: path, options as typed, batch.
Reduce = Callable[[Path, Mapping[str, Any], Batch], StaticTest]

#: Share by which the grains may weigh more than their batch: two scales differ.
_SCALES = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fired:
    """One firing."""

    batch: Batch
    link: Link
    test: StaticTest | None  # reduced again; None where the frozen results stand
    why_frozen: str  # why it could not be read anew; empty if it could
    #: Delivered over ideal c*, and over the ideal thrust coefficient.
    velocity: Measured | None
    nozzle: Measured | None
    rate: Rate | None  # None where the trace shows no burn law
    doubts: tuple[str, ...]  # what looks like a fault of measuring
    accepted: str = ""  # why it counts all the same; empty if nobody said so

    @property
    def name(self) -> str:
        """How it is called."""
        return f"{self.batch.id} {self.link.path.name}"

    @property
    def alarms(self) -> tuple[str, ...]:
        """Names of the tests of its recording that raised an alarm."""
        kept = str(self.link.results.get("alarms", ""))
        told = kept if self.test is None else self.test.alarm_names
        return tuple(told.split(", ")) if told else ()

    @property
    def why_not(self) -> str:
        """Why its c* efficiency cannot be a motor's; empty if it can.

        A firing that was filmed tells none, and teaches its burning rate alone.
        """
        heavy = _too_heavy(self.batch, self.link)
        return heavy or ("" if self.link.is_filmed else _why_not(self.velocity))

    @property
    def left_out(self) -> str:
        """Why nothing is learnt from it; empty if something is."""
        why = self.why_not
        if why and self.doubts:
            return f"{why} ({self.doubts[0]})"
        return why or ("" if self.accepted else "; ".join(self.doubts))

    @property
    def reading(self) -> Reading | None:
        """What it tells of the pair of efficiencies; None if nothing."""
        if self.velocity is None or self.left_out:
            return None
        told = {
            "characteristic_velocity": self.velocity.value,
            "characteristic_velocity_u": self.velocity.u / self.velocity.value,
        }
        if self.nozzle is not None and not _why_not(self.nozzle):
            told["nozzle"] = self.nozzle.value
            told["nozzle_u"] = self.nozzle.u / self.nozzle.value
        return Reading(name=self.name, **told)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FiredLearnt:
    """What the firings teach."""

    firings: tuple[Fired, ...]
    efficiencies: Efficiencies  # from those firings that teach
    faults: tuple[FileFault, ...]
    #: Recordings that a second line links, and the first that does; counted once.
    twice: tuple[tuple[str, str], ...] = ()


def learn_firings(
    batches: Sequence[Batch],
    reduce: Reduce,
    *,
    changed: bool = False,
    accepted: Mapping[str, str] | None = None,
) -> FiredLearnt:
    """Read all firings, and learn from those that are sound or accepted.

    Every recording is reduced again, so that a better model reads it anew; where that
    fails, or the recording has changed, the results that the record froze are taken.

    Parameters
    ----------
    changed : bool
        Whether recordings that changed since are read anew, too.
    accepted : mapping of str to str, optional
        Batch, or batch and recording, to the reason why a doubted firing counts.
    """
    read = read_firings(batches, reduce, changed=changed)
    reasons = accepted or {}
    firings = []
    for one in read.firings:
        reason = reasons.get(one.name) or reasons.get(one.batch.id, "")
        firings.append(replace(one, accepted=reason) if one.doubts else one)
    told = [reading for f in firings if (reading := f.reading) is not None]
    return replace(read, firings=tuple(firings), efficiencies=learn_efficiencies(told))


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
                faults.append(FileFault.of(batch, link, fault, done))
    return FiredLearnt(
        firings=tuple(found),
        efficiencies=learn_efficiencies(),
        faults=tuple(faults),
        twice=tuple(twice),
    )


def _again(batch: Batch, link: Link, reduce: Reduce) -> Fired:
    """Reduce a firing again."""
    try:
        test = reduce(link.path, link.options, batch)
    except CastsugarError as error:
        return frozen_firing(batch, link, str(error))
    return Fired(
        batch=batch,
        link=link,
        test=test,
        why_frozen="",
        velocity=test.characteristic_velocity_efficiency,
        nozzle=test.nozzle_efficiency,
        rate=test.rate,
        doubts=test.doubts,
    )


def frozen_firing(batch: Batch, link: Link, why: str) -> Fired:
    """Take the results of the day."""
    row = link.results
    doubt = str(row.get("look_again", ""))
    p, r, u = (float(row.get(key, math.nan)) for key in RATE_KEYS)
    shared = float(row.get(SHARED_KEY, 0.0))
    return Fired(
        batch=batch,
        link=link,
        test=None,
        why_frozen=why,
        velocity=_frozen(row, "characteristic_velocity_efficiency"),
        nozzle=_frozen(row, "nozzle_efficiency"),
        rate=Rate(pressure=1e6 * p, value=1e-3 * r, u=u, shared=shared)
        if p > 0.0
        else None,
        doubts=(doubt,) if doubt else (),
    )


def _frozen(row: Mapping[str, Any], name: str) -> Measured | None:
    """Return a result of the day; None where it told none."""
    value = float(row.get(name, math.nan))
    u = float(row.get(f"{name}_uncertainty", math.nan))
    if math.isnan(value):
        return None
    parts = {"all": u} if u > 0.0 else {}
    return Measured(value=value, parts=parts, bound=bound_of(row, name))


def _why_not(found: Measured | None) -> str:
    if found is None:
        return "no c* efficiency: pressure, throat or ideal c* is missing"
    if found.bound:
        return f"its c* efficiency is known to be {found.bound} a value only"
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
