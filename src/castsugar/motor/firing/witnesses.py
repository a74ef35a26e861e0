r"""Thrust over pressure against an ideal nozzle: two sensors that watch each other.

.. math:: y = \ln \frac{F}{p A_t(w) C_{F,ideal}(\epsilon, p / p_a)}

of a sound recording is one constant, the logarithm of the nozzle efficiency, whatever
the grain did. A sensor at its limit, a slow one, a blocked line, a zero that moves:
each bends it. Thresholds come from an earlier study, which is not kept here (2,000
simulated sound firings, then a second fleet and three recordings of motors); how often
each test finds what, on firings of a third simulator, is printed by
``benchmarks/validation``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.motor.firing.alarms import ALARM, NOT_TOLD, UNUSUAL, Alarm
from castsugar.motor.firing.channel import Channel, crossings
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.nozzle import (
    SEPARATES,
    USUAL_EXPONENT,
    exit_pressure_ratio,
    thrust_coefficient,
)

#: Exponent of the exhaust that gives the thrust of this library's own flows of
#: nitrate-sugar mixes to +0.5/-0.9 %, 3 to 7 MPa; and that of the highest ideal thrust,
#: for the limit that no nozzle passes.
EXPONENT, HIGHEST_EXPONENT = USUAL_EXPONENT, 1.118

#: Expansion that is assumed where the exit is not known; the mean is then not told.
ASSUMED_EXPANSION = 6.0

#: Blocks of the burning, the fewest that must count, and what makes one count: shares
#: of the peaks that thrust and pressure stand at, and the share of the ambient pressure
#: that the exit of a full nozzle stands at.
BLOCKS, FEWEST_BLOCKS = 40, 10
THRUST_SHARE, PRESSURE_SHARE, FLOWS_FULL = 0.5, 0.4, 0.45

#: Nozzle efficiencies beyond these are an alarm; beyond what is held of nozzles before
#: a firing (:data:`castsugar.motor.efficiency.MEDIANS`) unusual. The upper limit works
#: because real nozzles stay below 0.97 (assumed).
MEAN_ALARM: Final = (0.80, 1.01)
MEAN_USUAL: Final = (0.82, 0.97)

#: |slope of y on ln F| times the standard deviation of ln F. Sound: 1.6 % beyond.
TREND = 0.018

#: Root mean square of y about a line in time, noise taken out: unusual, alarm. Two
#: sound recordings of motors show 0.010 to 0.022.
WOBBLE_UNUSUAL, WOBBLE = 0.007, 0.025

#: A smaller wobble that one cause explains to this share is an alarm, too: a pressure
#: that stands still where the thrust rises (its slope on ln F is 1, to so much), or one
#: that is late by this time [s] or more. Our rule, set
#: on 400 simulated sound firings (1 beyond) and 200 clipped ones.
WOBBLE_SEEN, EXPLAINED, LATE = 0.004, 0.5, 0.004
_STANDS_STILL: Final = (0.6, 1.5)

#: The burning between 20 % of the peak of the pressure is as long as that between the
#: matching thrust, and starts with it: time [s], samples, share of the burn time.
CROSSING = 0.2
LENGTH: Final = (0.010, 2.5, 0.006)
START: Final = (0.012, 3.0, 0.008)

#: How well (ln) the matching thrust is known: where the nozzle flows full, and where it
#: does not. A start on a slope slower than this [s] is not told.
MATCHING, MATCHING_APART, SLOW_START = 0.03, 0.10, 0.030


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quotient:
    """The quotient in the blocks that count."""

    #: Middle of each [s]; how fast ln of its pressure rises, (blocks,). [1/s]
    time: FloatArray
    rise: FloatArray
    thrust: FloatArray  # mean of each, (blocks,) [N]
    log: FloatArray  # ln of thrust over ideal thrust, (blocks,)
    noise: FloatArray  # standard deviation of it by the noise of the sensors, (blocks,)
    efficiency: float  # exp of the mean
    highest: float  # the same against the highest ideal thrust

    @property
    def slope(self) -> float:
        """Return the slope of the logarithm on that of the thrust."""
        x = np.log(self.thrust)
        x = x - x.mean()
        square = float((x**2).sum())
        return float((x * self.log).sum()) / square if square > 0.0 else 0.0

    @property
    def trend(self) -> float:
        """Return that slope times the standard deviation of ln of the thrust."""
        return self.slope * float(np.std(np.log(self.thrust)))

    @property
    def wobble(self) -> float:
        """Return the root mean square about a line in time, noise taken out."""
        left = self._about_line()[0] / len(self.log)
        return math.sqrt(max(left - float(np.mean(self.noise**2)), 0.0))

    def _about_line(self, *more: FloatArray) -> tuple[float, float]:
        """Return the squares about a line in time and more, and the last factor."""
        t = self.time - self.time.mean()
        base = np.stack([np.ones_like(t), t, *more], axis=1)
        found = np.linalg.lstsq(base, self.log, rcond=None)[0]
        return float(((self.log - base @ found) ** 2).sum()), float(found[-1])

    def explained(self) -> tuple[str, float]:
        """Return what explains the wobble, and its share: "limit" or "slow"."""
        whole = self._about_line()[0]
        x = np.log(self.thrust)
        best = ("limit", 0.0)
        for level in np.quantile(x, np.arange(0.1, 0.95, 0.05)):
            left, slope = self._about_line(np.maximum(x - level, 0.0))
            share = 1.0 - left / whole
            if share > best[1] and _STANDS_STILL[0] < slope < _STANDS_STILL[1]:
                best = ("limit", share)
        left, late = self._about_line(self.rise)
        share = 1.0 - left / whole
        return ("slow", share) if late > LATE and share > best[1] else best


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """Pressure and thrust of one firing, and the nozzle between them.

    A throat that is not known is taken as 1 m2: only the mean hangs on it.
    """

    pressure: Channel
    thrust: Channel
    ambient: float
    areas: tuple[float, float]
    exit_area: float | None

    def expansion(self, share: float) -> float:
        """Return exit over throat area where a share of the mass has left."""
        if self.exit_area is None:
            return ASSUMED_EXPANSION
        return max(self.exit_area / self.throat(share), 1.0)

    def throat(self, share: float) -> float:
        """Return the throat area where a share of the mass has left. [m2]"""
        return self.areas[0] + share * (self.areas[1] - self.areas[0])

    def coefficient(self, pressure: FloatArray | float, share: float) -> FloatArray:
        """Return the ideal thrust coefficient, off the wall where it must be."""
        return thrust_coefficient(
            np.maximum(pressure, self.ambient),
            self.ambient,
            exponent=EXPONENT,
            ratio=self.expansion(share),
            separation=SEPARATES,
        )


def pair_of(pressure: Channel, thrust: Channel, stand: Stand) -> Pair:
    """Return the two sensors with the nozzle of the stand."""
    areas, wide = (1.0, 1.0), None
    if stand.throat_diameter is not None:
        areas = stand.throat_areas()
        if stand.exit_diameter is not None:
            wide = 0.25 * math.pi * stand.exit_diameter**2
    return Pair(
        pressure=pressure,
        thrust=thrust,
        ambient=stand.ambient_pressure,
        areas=areas,
        exit_area=wide,
    )


def quotient_of(pair: Pair) -> Quotient | None:
    """Return the quotient in the blocks that count; None with fewer than 10."""
    p, f, b = pair.pressure, pair.thrust, pair.pressure.burning
    edges = np.linspace(b.start, b.end, BLOCKS + 1)
    middle = 0.5 * (edges[1:] + edges[:-1])
    at = np.searchsorted(p.time, edges)
    made = np.concatenate(([0.0], np.cumsum(_block_sums(p.value, at))))
    share = 0.5 * (made[1:] + made[:-1]) / made[-1]
    wide = np.array([pair.expansion(s) for s in share])
    ratio = exit_pressure_ratio(wide, EXPONENT)
    counts = np.maximum(np.diff(at), 1)
    mean_p, mean_f = (_block_sums(c.value, at) / counts for c in (p, f))
    absolute = np.maximum(mean_p + pair.ambient, 0.1 * pair.ambient)
    inside = crossings(p.time, p.steady, *(2 * (PRESSURE_SHARE * p.steady_peak,)))
    kept = (
        (np.diff(at) > 0)
        & (mean_f > THRUST_SHARE * f.steady_peak)
        & (mean_p > PRESSURE_SHARE * p.steady_peak)
        & (edges[:-1] >= inside[0])
        & (edges[1:] <= inside[1])
        & (absolute * ratio > FLOWS_FULL * pair.ambient)
    )
    if kept.sum() < FEWEST_BLOCKS:
        return None
    area = np.array([pair.throat(s) for s in share])
    ideal, high = (
        area * absolute
        * thrust_coefficient(absolute, pair.ambient, exponent=k, ratio=wide)
        for k in (EXPONENT, HIGHEST_EXPONENT)
    )  # fmt: skip
    log = np.log(mean_f[kept] / ideal[kept])
    noise = np.hypot(f.rest_noise / mean_f[kept], p.rest_noise / absolute[kept])
    return Quotient(
        time=middle[kept],
        rise=np.gradient(np.log(np.maximum(absolute, pair.ambient)), middle)[kept],
        thrust=mean_f[kept],
        log=log,
        noise=noise / np.sqrt(counts[kept]),
        efficiency=float(np.exp(log.mean())),
        highest=float(np.exp(np.log(mean_f[kept] / high[kept]).mean())),
    )


def _block_sums(values: FloatArray, at: np.ndarray) -> FloatArray:
    """Return the sum of the samples of each block."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    return np.diff(total[at])


# ----------------------------------------------------------------------------
# What the quotient says.


def pressure_by_thrust(pair: Pair) -> FloatArray | None:
    """Return the pressure over ambient that the thrust tells; None without a quotient.

    By the vacuum thrust of the full nozzle and the middle nozzle efficiency. [Pa]
    """
    found = quotient_of(pair)
    if found is None:
        return None
    wide, area = pair.expansion(0.5), pair.throat(1.0)
    z = float(exit_pressure_ratio(wide, EXPONENT))
    far = 1e6 * pair.ambient
    vacuum = float(thrust_coefficient(far, 0.0, exponent=EXPONENT, ratio=wide))
    share = math.exp(float(np.median(found.log)))
    push = np.interp(pair.pressure.time, pair.thrust.time, pair.thrust.value)
    p = (push / (share * area) + wide * pair.ambient) / vacuum
    attached = p * z > SEPARATES * pair.ambient
    return np.asarray(np.where(attached, p, p * attached) - pair.ambient)


def judge_pair(pair: Pair, stand: Stand) -> tuple[Alarm, ...]:
    """Return what the two sensors say of each other."""
    found = quotient_of(pair)
    if found is None:
        why = (
            "fewer than 10 of 40 parts of the burning hold enough thrust and pressure, "
            "with the nozzle flowing full, to hold the sensors against each other"
        )
        return (_not_told("mean", why),)
    return (
        *_mean(pair, found, stand),
        *_trend(found),
        *_wobble(found),
        *_times(pair, found.efficiency),
    )


def _not_told(test: str, why: str) -> Alarm:
    return Alarm(
        test=test, sensor="both", level=NOT_TOLD, value=math.nan, limit=math.nan,
        text=why,
    )  # fmt: skip


def _mean(pair: Pair, found: Quotient, stand: Stand) -> Iterator[Alarm]:
    """Say if the thrust is not that of any nozzle at this pressure."""
    if pair.exit_area is None:
        missing = (
            "no throat" if stand.throat_diameter is None else "no exit of the nozzle"
        )
        yield _not_told("mean", f"{missing}: thrust and pressure are not held together")
        return
    wider = 1.96 * _expansion_doubt(pair, stand)
    (low, high), (few, many) = MEAN_ALARM, MEAN_USUAL
    share = found.efficiency
    too_high = found.highest > high * (1.0 + wider)
    level = ALARM if too_high or share < low * (1.0 - wider) else UNUSUAL
    if level == UNUSUAL and few <= share <= many:
        return
    up = share > few
    points = (
        "the pressure reads low or the thrust high, or the throat is wider than stated"
        if up
        else "the pressure reads high or the thrust low, the throat is narrower than "
        "stated, or the nozzle is a poor one"
    )
    yield Alarm(
        test="mean", sensor="both", level=level, value=share, limit=high if up else low,
        text=f"the thrust is {share:.2f} of that of an ideal nozzle at this pressure "
        f"(small nozzles have 0.82 to 0.97): {points}",
    )  # fmt: skip


def _expansion_doubt(pair: Pair, stand: Stand) -> float:
    """Return what the doubt of the expansion adds to ln of the efficiency."""
    if stand.exit_diameter is None or stand.throat_diameter is None:
        return 0.0
    u = 2.0 * math.hypot(
        stand.exit_u / stand.exit_diameter, stand.throat_u / stand.throat_diameter
    )
    p = pair.pressure
    mean = p.impulse() / p.burning.lasting + pair.ambient
    wide = pair.expansion(0.5)
    ends = thrust_coefficient(
        mean,
        pair.ambient,
        exponent=EXPONENT,
        ratio=np.array([max(wide * (1 - u), 1.0), wide * (1 + u)]),
    )
    return abs(float(np.log(ends[1] / ends[0]))) / 2.0


def _trend(found: Quotient) -> Iterator[Alarm]:
    """Say if one sensor falls behind the other as the load rises."""
    if abs(found.trend) <= TREND:
        return
    sensor, other = (
        ("pressure", "thrust") if found.trend > 0 else ("thrust", "pressure")
    )
    yield Alarm(
        test="trend", sensor=sensor, level=ALARM, value=found.trend, limit=TREND,
        text=f"the {sensor} falls behind the {other} where both are high",
    )  # fmt: skip


def _wobble(found: Quotient) -> Iterator[Alarm]:
    """Say if the quotient keeps to no line in time, and why if one cause does."""
    wobble = found.wobble
    cause, share = found.explained()
    if wobble > WOBBLE_SEEN and share > EXPLAINED:
        test, words = _CAUSES[cause]
        yield Alarm(
            test=test, sensor="pressure", level=ALARM, value=share, limit=EXPLAINED,
            text=words,
        )  # fmt: skip
    if wobble > WOBBLE_UNUSUAL:
        yield Alarm(
            test="wobble", sensor="pressure" if found.trend > 0.0 else "thrust",
            level=ALARM if wobble > WOBBLE else UNUSUAL, value=wobble, limit=WOBBLE,
            text=f"pressure and thrust do not keep step ({100 * wobble:.2g} % about a "
            "line)",
        )  # fmt: skip


_CAUSES = {
    "limit": (
        "clip",
        "the pressure stands still where the thrust rises",
    ),
    "slow": (
        "lag",
        "the pressure comes after the thrust",
    ),
}


def _times(pair: Pair, efficiency: float) -> Iterator[Alarm]:
    """Say if the pressure starts later, or lasts longer, than its thrust."""
    p, f = pair.pressure, pair.thrust
    level = CROSSING * p.steady_peak
    first, last = crossings(p.time, p.steady, level, level)
    push = [
        efficiency
        * float(pair.coefficient(level + pair.ambient, share))
        * (level + pair.ambient)
        * pair.throat(share)
        for share in (0.0, 1.0)
    ]
    full = exit_pressure_ratio(pair.expansion(0.5), EXPONENT)
    attached = (level + pair.ambient) * float(full) >= SEPARATES * pair.ambient
    u = MATCHING if attached else MATCHING_APART
    start, end = crossings(f.time, f.steady, *push)
    low, high = (
        crossings(f.time, f.steady, *(part * x for x in push))
        for part in (1 - u, 1 + u)
    )
    doubt = [0.5 * abs(b - a) for a, b in zip(low, high, strict=True)]
    interval = float(np.median(np.diff(p.time)))
    lasting = p.burning.lasting
    yield from _late(first - start, doubt[0], interval, lasting)
    longer = (last - first) - (end - start)
    most = _most(LENGTH, interval, lasting) + math.hypot(*doubt)
    if not math.isfinite(longer):
        yield _not_told("length", "the thrust never stands at the matching level")
    elif abs(longer) > most:
        more = "longer" if longer > 0 else "shorter"
        yield Alarm(
            test="length", sensor="pressure", level=ALARM, value=longer, limit=most,
            text=f"the pressure lasts {abs(longer):.2g} s {more} than its thrust",
        )  # fmt: skip


def _most(limits: tuple[float, float, float], interval: float, lasting: float) -> float:
    """Return what two times may differ by. [s]"""
    seconds, samples, share = limits
    return max(seconds, samples * interval) + share * lasting


def _late(
    late: float, doubt: float, interval: float, lasting: float
) -> Iterator[Alarm]:
    """Say if the pressure starts apart from its thrust."""
    most = _most(START, interval, lasting) + doubt
    if not math.isfinite(late) or doubt > SLOW_START:
        yield _not_told(
            "start", "the pressure rises too slowly to hold the starts apart"
        )
    elif abs(late) > most:
        order = "after" if late > 0 else "before"
        yield Alarm(
            test="start", sensor="pressure" if late > 0 else "thrust", level=ALARM,
            value=late, limit=most,
            text=f"the pressure starts {abs(late):.2g} s {order} its thrust",
        )  # fmt: skip
