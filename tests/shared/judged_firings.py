"""Fleets of simulated firings held against the truth, and what is asked of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from firings import grain, recorded, stand

from castsugar.errors import InputError
from castsugar.motor.firing.alarms import ALARM, UNUSUAL
from castsugar.motor.firing.inference import infer_law
from castsugar.motor.firing.law_doubts import rivals_of
from castsugar.motor.firing.reduction import Reduction, reduce_recording
from support.firings import (
    FAULTED,
    FAULTS,
    GRAINS,
    Fault,
    Firing,
    fleet,
    free_volume,
    motor,
)

#: Firings a row, and the seeds: fixed before the run. A threshold may be moved once, by
#: what the first fleet shows; the second fleet is the one that counts.
CLEAN, STRUCK = 500, 250
SEEDS = {"setting": 2031, "counted": 4177}

SOUND = (*GRAINS, "spiky", "short rest", "long quiet", "two ports")
NAMES = (
    *("mean", "trend", "wobble", "length", "start"),
    *("recovery", "burst", "clip", "hum"),
)

#: Rows beside the faults: sound motors in other shapes.
SHAPES: dict[str, tuple[Sequence[str], Fault | None]] = {
    "clean": (SOUND, None),
    "faultless": (FAULTED, None),
    "clean, 30 a second": (("30 a second",), None),
    "clean, no separation": (GRAINS, motor(separation=0.0)),
    "clean, losses of momentum": (GRAINS, motor(loss="momentum")),
    "free volume 0.5": (("bates",), free_volume(0.5)),
    "free volume 3": (("bates",), free_volume(3.0)),
    "free volume 8": (("bates",), free_volume(8.0)),
}

#: Rows whose law is inferred, and those that are reduced without their thrust too.
LAWS = ("clean", "free volume", "clip", "crack", "debond", "late", "erosion", "soft")
ALONE = ("clean", "clip", "soft", "lag", "slag", "heat", "zero", "burst", "hum")

# ----------------------------------------------------------------------------
# One firing, judged.


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What was found of one firing, and by how much it is off.

    `off` has ln(found / true) and its standard uncertainty by result; `limits` the
    results that are only limits; `plain` what a bare integration finds.
    """

    kind: str
    refused: str = ""
    alarms: frozenset[str] = frozenset()
    unusual: frozenset[str] = frozenset()
    alone: frozenset[str] = frozenset()
    said: bool = True
    off: dict[str, tuple[float, float]] = field(default_factory=dict)
    limits: frozenset[str] = frozenset()
    plain: dict[str, float] = field(default_factory=dict)
    told: bool = False
    exponent: tuple[float, float, float] = (math.nan,) * 3
    rate: tuple[float, float] = (math.nan,) * 2
    lack_of_fit: float = math.nan


#: Results that the truth has under the same names.
RESULTS = (
    "characteristic_velocity",
    "total_impulse",
    "specific_impulse",
    "thrust_coefficient",
    "peak_pressure",
    "mean_pressure",
    "burn_time",
)


def judged(
    firing: Firing, *, law: bool = False, alone: bool = False, **stated: object
) -> Judged:
    """Reduce a firing and hold it against the truth; `stated` changes the stand."""
    kind = firing.motor.kind
    own = replace(stand(firing), **stated)
    try:
        found = reduce_recording(recorded(firing), own)
    except InputError as error:
        return Judged(kind=kind, refused=str(error))
    off = {}
    for name in RESULTS:
        result, true = found.results.get(name), getattr(firing.truth, name)
        if result is not None and not result.bound:
            off[name] = math.log(result.value / true), result.u / result.value
    limits = {name for name, result in found.results.items() if result.bound}
    more = _law(firing, found) if law else {}
    if alone:
        more |= _alone(firing)
    return Judged(
        kind=kind,
        alarms=_levels(found, ALARM),
        unusual=_levels(found, UNUSUAL),
        off=off,
        limits=frozenset(limits),
        plain=_plain(firing),
        **more,
    )


def _levels(found: Reduction, level: str) -> frozenset[str]:
    return frozenset(a.test for a in found.alarms if a.level == level)


def _law(firing: Firing, found: Reduction) -> dict[str, object]:
    drawn = grain(firing)
    try:
        law = infer_law(
            found,
            drawn,
            rivals=rivals_of(drawn),
            free_volume=firing.motor.stated.free_volume,
        )
    except InputError:
        return {}
    true = firing.truth
    return {
        "told": law.told,
        "exponent": (law.exponent, true.exponent, law.exponent_u),
        "rate": (math.log(law.rate / true.rate_at(law.centre)), law.log_rate_u),
        "lack_of_fit": law.lack_of_fit,
    }


def _alone(firing: Firing) -> dict[str, object]:
    """Return what the pressure alone gives; whether its limit is spoken of."""
    try:
        found = reduce_recording(recorded(firing, thrust=False), stand(firing))
    except InputError as error:
        return {"alone": frozenset({str(error)})}
    words = " ".join([*found.cautions, *(a.text for a in found.alarms)])
    return {"alone": _levels(found, ALARM), "said": "cannot be excluded" in words}


def _plain(firing: Firing) -> dict[str, float]:
    """Return ln of c* and peak over the true ones, by bare sums over the samples.

    The zero is a straight line through both rests; the burning lies between the first
    and the last sample above 5 % of the peak.
    """
    recording, stated = firing.recording, firing.motor.stated
    time, value = recording.time, recording.pressure
    count = max(int(0.3 * firing.motor.stand.sampling), 3)
    ends = np.median(value[:count]), np.median(value[-count:])
    over = value - np.interp(time, [time[0], time[-1]], ends)
    above = np.flatnonzero(over > 0.05 * over.max())
    inside = slice(above[0], above[-1] + 1)
    push = np.trapezoid(over[inside] + stated.ambient, time[inside])
    area = 0.125 * math.pi * (stated.throat**2 + stated.throat_after**2)
    velocity = area * push / stated.mass
    return {
        "characteristic_velocity": math.log(
            velocity / firing.truth.characteristic_velocity
        ),
        "peak_pressure": math.log(
            (over.max() + stated.ambient) / firing.truth.peak_pressure
        ),
    }


# ----------------------------------------------------------------------------
# Rows.

Row = list[Judged]


def row(work: tuple[str, str, int]) -> tuple[str, str, Row]:
    """Return all firings of one row of one fleet."""
    which, name, count = work
    kinds, fault = SHAPES.get(name) or (
        ("two ports",) if name == "blocked port" else FAULTED,
        FAULTS[name],
    )
    law = name.startswith(LAWS) and which == "counted"
    alone = name.startswith(ALONE) and which == "counted"
    firings = fleet(SEEDS[which], count, kinds, fault)
    return which, name, [judged(f, law=law, alone=alone) for f in firings]


def share(hits: Iterable[bool]) -> tuple[float, float]:
    """Return a share and its standard error, both in %."""
    found = np.array([*hits], bool)
    if not found.size:
        return math.nan, math.nan
    p = float(found.mean())
    return 100.0 * p, 100.0 * math.sqrt(p * (1.0 - p) / found.size)


def alarmed(judgement: Judged) -> bool:
    """Whether any alarm was given, or the recording refused."""
    return bool(judgement.alarms or judgement.refused)


#: 95 % point of a normal deviate, two-sided.
NORMAL = 1.959964


def covered(found: Row, name: str) -> list[bool]:
    """Return whether the 95 % intervals of a result hold the truth."""
    pairs = [j.off[name] for j in found if name in j.off]
    return [abs(math.expm1(-e)) <= NORMAL * u for e, u in pairs]


def exponents_covered(found: Row) -> list[bool]:
    """Return whether the 95 % intervals of n hold the truth, where n is told."""
    law = (j.exponent for j in found if j.told)
    return [abs(n - true) <= NORMAL * u for n, true, u in law]


def rates_covered(found: Row) -> list[bool]:
    """Return whether the 95 % intervals of the rate hold the truth."""
    rates = (j.rate for j in found if not math.isnan(j.rate[0]))
    return [abs(error) <= NORMAL * u for error, u in rates]


# ----------------------------------------------------------------------------
# What is asked.


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number with its standard error, and the limits that it must keep."""

    what: str
    value: float
    error: float = 0.0
    low: float = -math.inf
    high: float = math.inf
    unit: str = "%"

    def kept(self, errors: float = 0.0) -> bool:
        """Whether it keeps its limits, wider by so many standard errors."""
        room = errors * self.error
        return self.low - room <= self.value <= self.high + room


#: Faults -> least share with any alarm, %.
ASKED = {
    **dict.fromkeys(
        [
            *("clip 85 %", "clip 70 %", "soft 1.0", "soft 0.8", "thrust clip 85 %"),
            *("lag 50 ms", "lag 100 ms", "slag 0.1 s", "slag 0.2 s", "slag 0.4 s"),
            *("heat 5 %, 0.3 s", "heat 5 %, 1 s", "heat 10 %, 1 s"),
            *("burst 3", "burst 4", "burst 6", "burst 5 x 4"),
        ],
        95.0,
    ),
    "clip 95 %": 80.0,
    "lag 20 ms": 60.0,
}


#: Rows that the figures come from.
ROWS = (
    *("clean", "faultless", *ASKED, "hum 10 %", "crack 5 %"),
    *("free volume 0.5", "free volume 3", "free volume 8"),
    *("igniter 0.5 %", "igniter 1.1 %", "igniter 2.0 %"),
    *("path 0.25", "path 1", "path 4"),
)


def figures(rows: dict[str, Row]) -> Iterator[Figure]:
    """Yield all that is asked, with what was found in the rows."""
    clean = rows["clean"]
    for test in NAMES:
        yield _share(f"clean: {test}", (test in j.alarms for j in clean), high=4.0)
    yield _share("clean: any", map(alarmed, clean), high=9.0)
    for name, least in ASKED.items():
        yield _share(name, map(alarmed, rows[name]), low=least)
    yield from _silences(rows)
    yield from _covered(clean)
    yield from _volumes(rows)
    yield from _laws(rows)
    yield from _mended(rows)


def _share(
    what: str, hits: Iterable[bool], *, low: float = -math.inf, high: float = math.inf
) -> Figure:
    """Return a share in %; its standard error is not below that at a limit."""
    found = [*hits]
    value, error = share(found)
    for limit in (low, high):
        if found and 0.0 < limit < 100.0:
            error = max(error, math.sqrt(limit * (100.0 - limit) / len(found)))
    return Figure(what=what, value=value, error=error, low=low, high=high)


def _silences(rows: dict[str, Row]) -> Iterator[Figure]:
    """Yield what a clipped sensor must not tell, and pressure alone must say."""
    wanted = ("characteristic_velocity", "peak_pressure")
    told = [
        j.told or any(name in j.off for name in wanted)
        for j in rows["clip 85 %"]
        if not j.refused
    ]
    yield _share("clip 85 %: c*, peak or n told as good", told, high=0.0)
    silent = (
        not j.said
        for name, found in rows.items()
        if name.startswith(ALONE)
        for j in found
        if not j.refused
    )
    yield _share("pressure alone, no word on saturation", silent, high=0.0)


def _covered(clean: Row) -> Iterator[Figure]:
    """Yield how often the intervals of firings without an alarm hold the truth."""
    found = [j for j in clean if not alarmed(j)]
    for name in RESULTS:
        if name != "burn_time":
            what = f"clean: {name.replace('_', ' ')} covered"
            yield _share(what, covered(found, name), low=92.0, high=99.0)
    yield _share("clean: n covered", exponents_covered(found), low=90.0, high=99.0)
    for kind in ("end burner", "low end burner", "neutral"):
        told = (j.told for j in clean if j.kind == kind)
        yield _share(f"{kind}: n told", told, high=2.0)


def _volumes(rows: dict[str, Row]) -> Iterator[Figure]:
    """Yield what free volume does to rate and exponent."""
    for name in ("free volume 0.5", "free volume 3", "free volume 8"):
        rates = [100.0 * j.rate[0] for j in rows[name] if not math.isnan(j.rate[0])]
        yield _mean(f"{name}: ln r", rates, 0.3)
        found = [j.exponent[0] - j.exponent[1] for j in rows[name] if j.told]
        yield _mean(f"{name}: n", found, 0.04, unit="")
        hits = exponents_covered(rows[name])
        yield _share(f"{name}: n covered", hits, low=90.0, high=99.0)


def _mean(what: str, values: Sequence[float], most: float, unit: str = "%") -> Figure:
    error = float(np.std(values)) / math.sqrt(len(values))
    return Figure(
        what=what,
        value=float(np.mean(values)),
        error=error,
        low=-most,
        high=most,
        unit=unit,
    )


def _laws(rows: dict[str, Row]) -> Iterator[Figure]:
    """Yield what the lack of fit sees, and that no exponent is a wild one."""
    wild = (
        not -0.99 <= j.exponent[0] <= 0.9 for f in rows.values() for j in f if j.told
    )
    yield _share("n told outside -0.99 to 0.9", wild, high=0.0)
    cracked = (j.lack_of_fit > 6.0 for j in rows["crack 5 %"])
    yield _share("crack 5 %: Q > 6", cracked, low=95.0)
    yield _share("clean: Q > 6", (j.lack_of_fit > 6.0 for j in rows["clean"]), high=3.0)


def _mended(rows: dict[str, Row]) -> Iterator[Figure]:
    """Yield what corrections leave."""
    velocity = "characteristic_velocity"
    yield _median("slag 0.2 s: c*", off(rows["slag 0.2 s"], velocity), 2.0)
    held = covered(rows["heat 5 %, 1 s"], velocity)
    yield _share("heat 5 %, 1 s: c* covered", held, low=90.0)
    for size in ("0.5", "1.1", "2.0"):
        # The same motors with and without an igniter.
        pairs = zip(rows[f"igniter {size} %"], rows["faultless"], strict=True)
        moved = [
            100.0 * (a.off[velocity][0] - b.off[velocity][0])
            for a, b in pairs
            if velocity in a.off and velocity in b.off
        ]
        yield _median(f"igniter {size} %, stated: c* moves", moved, 0.3)
    for path in ("0.25", "1", "4"):
        held = covered(rows[f"path {path}"], velocity)
        yield _share(f"throat path {path}: c* covered", held, low=94.0)
    yield _median("hum 10 %: peak", off(rows["hum 10 %"], "peak_pressure"), 1.0)


def off(found: Row, name: str) -> list[float]:
    """Return ln of found over true, in %, where it is told."""
    return [100.0 * j.off[name][0] for j in found if name in j.off]


def _median(what: str, values: Sequence[float], most: float) -> Figure:
    """Return a median; its standard error is 1.25 times that of a mean (normal)."""
    mean = _mean(what, values, most)
    middle = float(np.median(values)) if values else math.nan
    return Figure(
        what=what, value=middle, error=1.2533 * mean.error, low=-most, high=most
    )
