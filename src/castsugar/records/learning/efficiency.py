"""The c* efficiency, from all firings of closed batches."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from castsugar import units
from castsugar.errors import CastsugarError, InputError
from castsugar.motor.firing.faults import HIGHEST_EFFICIENCY, LOWEST_EFFICIENCY
from castsugar.motor.firing.quantities import Measured
from castsugar.records.batch import Batch
from castsugar.records.learning.material import FileFault, file_fault
from castsugar.records.record import Link
from castsugar.static_test import StaticTest

# ----------------------------------------------------------------------------
# Put results of several occasions together: the random-effects weighted mean.


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """A mean over occasions.

    Attributes
    ----------
    value, u : float
        Mean and its standard uncertainty.
    scatter : float
        Standard deviation between the occasions, beyond their own uncertainties.
    shared : float
        Part of `u` that all occasions have in common, which no number of them reduces.
    statistic, probability : float
        Q, and how likely so large a one is if there is no scatter between the
        occasions; NaN for one.
    """

    value: float
    u: float
    scatter: float
    shared: float
    count: int
    statistic: float
    probability: float

    @property
    def next_u(self) -> float:
        """Standard uncertainty of one more occasion, its own reading left out."""
        return math.hypot(self.u, self.scatter)


def combined(
    values: Sequence[float], own: Sequence[float], shared: Sequence[float] = ()
) -> Combined:
    r"""Return the random-effects weighted mean.

    .. math::
        w_i = 1/u_i^2, \; \bar y = \sum w_i y_i / \sum w_i, \;
        Q = \sum w_i (y_i - \bar y)^2

        \tau^2 = \max\left(0, \frac{Q - (k - 1)}
        {\sum w_i - \sum w_i^2 / \sum w_i}\right), \;
        w_i^* = 1 / (u_i^2 + \tau^2)

    R. DerSimonian, N. Laird, Meta-analysis in clinical trials, Controlled Clinical
    Trials 7 (1986) 177-188 (from memory). The mean goes with w*, its variance is
    1 / sum w*. Q of k occasions without scatter is chi-square with k - 1 degrees of
    freedom. What the occasions share is weighted alike and added at the end.

    Parameters
    ----------
    values, own : sequence of float
        Results and the standard uncertainties that belong to one occasion alone.
    shared : sequence of float
        Standard uncertainties from causes that all occasions share; none by default.

    Raises
    ------
    InputError
        Without values, or with an uncertainty that is not above 0.

    Examples
    --------
    >>> one = combined([0.9], [0.02])
    >>> one.value, one.u, one.scatter
    (0.9, 0.02, 0.0)
    """
    from scipy.stats import chi2

    y, u = np.asarray(values, dtype=float), np.asarray(own, dtype=float)
    common = np.asarray(shared, dtype=float) if len(shared) else np.zeros_like(y)
    if not y.size:
        raise InputError("nothing to combine; give at least one value")
    if not (np.all(u > 0.0) and np.all(np.isfinite(u)) and np.all(np.isfinite(y))):
        raise InputError(
            "a value or its uncertainty cannot be used; both must be finite, the "
            "uncertainty above 0"
        )
    w = 1.0 / u**2
    q = float(w @ (y - w @ y / w.sum()) ** 2)
    room = float(w.sum() - (w**2).sum() / w.sum())
    more = max(0.0, (q - (y.size - 1)) / room) if y.size > 1 else 0.0
    star = 1.0 / (u**2 + more)
    together = float(star @ common / star.sum())
    return Combined(
        value=float(star @ y / star.sum()),
        u=math.hypot(1.0 / math.sqrt(star.sum()), together),
        scatter=math.sqrt(more),
        shared=together,
        count=int(y.size),
        statistic=q if y.size > 1 else math.nan,
        probability=float(chi2.sf(q, y.size - 1)) if y.size > 1 else math.nan,
    )


# ----------------------------------------------------------------------------
# The c* efficiency, from all firings of closed batches.

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
    efficiency : Combined or None
        None if no firing tells one.
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
