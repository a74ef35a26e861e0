"""Static firings with known truth, as a stand would record them. Invented motors.

Nothing of the project is imported here, so that what it says of a firing is judged by
something else.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from support.motors import (
    ATMOSPHERE,
    Array,
    Channel,
    Course,
    Grain,
    Motor,
    Reading,
    Stand,
    courses,
    critical_ratio,
    expansion_at,
)

#: Standard acceleration of free fall, exact by definition (CGPM 1901). [m/s2]
GRAVITY = 9.80665


# ----------------------------------------------------------------------------
# What is recorded, and what is true.


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """Samples: time [s], pressure as read [Pa gauge], thrust [N], second pressure."""

    time: Array
    pressure: Array
    thrust: Array
    second: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What a reduction should find. SI; pressures absolute.

    Burn time and mean pressure are those between the 5 % crossings of the true pressure
    over ambient, the thrust coefficient too; `rate` is that at the mean pressure.
    `nozzle_efficiency` is the integral of F over that of p A_t C_F,id.
    """

    characteristic_velocity: float
    total_impulse: float
    peak_pressure: float
    mean_pressure: float
    mean_thrust: float
    specific_impulse: float
    thrust_coefficient: float
    exponent: float
    rate: float
    nozzle_efficiency: float
    burn_time: float

    def rate_at(self, pressure: float) -> float:
        return self.rate * (pressure / self.mean_pressure) ** self.exponent


@dataclass(frozen=True, slots=True, kw_only=True)
class Firing:
    motor: Motor
    recording: Recording
    truth: Truth


def _burning(course: Course, ambient: float) -> tuple[float, float]:
    """Return the 5 % crossings of the true pressure over ambient. [s]"""
    over = course.pressure - ambient
    above = np.flatnonzero(over > 0.05 * over.max())
    first, last = above[0], above[-1]
    level = 0.05 * over.max()
    rise = (level - over[first - 1]) / (over[first] - over[first - 1])
    fall = (over[last] - level) / (over[last] - over[last + 1])
    step = course.time[1]
    return float(step * (first - 1 + rise)), float(step * (last + fall))


def truth_of(motor: Motor, course: Course) -> Truth:
    """Return what is true of a firing."""
    start, end = _burning(course, motor.ambient)
    step = float(course.time[1])
    within = (course.time >= start) & (course.time <= end)
    mean = float(course.pressure[within].mean())
    push = course.pressure * course.throat_area * course.ideal
    impulse = float(np.trapezoid(course.thrust, dx=step))
    area = course.throat_area[within]
    coefficient = course.thrust[within].sum() / (course.pressure[within] @ area)
    return Truth(
        characteristic_velocity=motor.characteristic_velocity,
        total_impulse=impulse,
        peak_pressure=float(course.pressure.max()),
        mean_pressure=mean,
        mean_thrust=impulse / (end - start),
        specific_impulse=impulse / (motor.mass * GRAVITY),
        thrust_coefficient=float(coefficient),
        exponent=motor.exponent,
        rate=motor.rate * (mean / 1e6) ** motor.exponent,
        nozzle_efficiency=impulse / float(np.trapezoid(push, dx=step)),
        burn_time=end - start,
    )


def record(motor: Motor, course: Course, rng: np.random.Generator) -> Recording:
    """Record a firing: quiet, burning, quiet."""
    stand = motor.stand
    reading = _read(motor, course)
    if motor.reading_fault is not None:
        reading = motor.reading_fault(reading, rng)
    every = round(1.0 / (stand.sampling * reading.step))
    time = reading.time[::every]
    begun = (time - reading.start) / reading.lasting
    resting = (begun < -0.02) | (begun > 1.1)
    sensors = (
        (reading.pressure, stand.pressure, reading.peak),
        (reading.thrust, stand.thrust, reading.push),
        (reading.second, stand.second, reading.peak),
    )
    found = [
        None
        if values is None or channel is None
        else _sampled(values[::every], channel, peak, resting, stand.spikes, rng)
        for values, channel, peak in sensors
    ]
    if stand.clock:
        time = stand.clock * np.round(time / stand.clock)
    pressure, thrust, second = found
    assert pressure is not None
    assert thrust is not None
    return Recording(time=time, pressure=pressure, thrust=thrust, second=second)


def _read(motor: Motor, course: Course) -> Reading:
    """Return what the sensors feel, slowed down by their lines, at 2000 a second."""
    stand = motor.stand
    start, end = _burning(course, motor.ambient)
    step = 1.0 / (stand.sampling * math.ceil(2000.0 / stand.sampling))
    after = max(stand.after * (end - start), 0.4)
    time = np.arange(0.0, stand.before + end + after, step)
    since = time - stand.before
    over = np.interp(since, course.time, course.pressure - motor.ambient)
    push = np.interp(since, course.time, course.thrust)
    second = stand.second
    return Reading(
        time=time,
        pressure=_line(over, stand.pressure.lag / step),
        thrust=_line(push, stand.thrust.lag / step),
        second=None if second is None else _line(over, second.lag / step),
        peak=float(over.max()),
        push=float(push.max()),
        start=stand.before + start,
        lasting=end - start,
        sampling=stand.sampling,
    )


def _line(values: Array, steps: float) -> Array:
    """Return a course behind a line and a sensor: two equal lags in a row."""
    return lagged(lagged(values, 0.5 * steps), 0.5 * steps)


def lagged(values: Array, steps: float) -> Array:
    """Return a first-order lag of so many steps; its integral is that of the values."""
    if steps <= 0.0:
        return values
    keep = math.exp(-1.0 / steps)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], values))


def _sampled(
    values: Array,
    channel: Channel,
    peak: float,
    resting: Array,
    spikes: float,
    rng: np.random.Generator,
) -> Array:
    """Return samples with gain, drift, coloured noise, spikes and digits."""
    count, rho = len(values), channel.colour
    white = rng.standard_normal(count + 50)
    noise = lfilter([math.sqrt(1.0 - rho**2)], [1.0, -rho], white)[50:]
    drift = channel.drift * (np.arange(count) / count) ** channel.bend
    found = channel.gain * values + peak * (channel.noise * noise + drift)
    if spikes:
        chosen = resting & (rng.random(count) < 0.08)
        chosen[[0, -1]] = True
        sizes = rng.uniform(0.2, 1.0, count) * spikes * peak
        found = found + np.where(chosen, sizes, 0.0)
    if channel.bits:
        digit = channel.full_scale * peak / 2**channel.bits
        found = digit * np.round(found / digit)
    return np.asarray(found)


# ----------------------------------------------------------------------------
# Motors drawn at random. Every range is invented.

#: Kinds of grain, and habits of a stand; a habit takes one of the first four grains.
GRAINS = (
    "bates",
    "core x3",
    "core x3.6",
    "one end",
    "rod",
    "neutral",
    "end burner",
    "low end burner",
)
HABITS = ("spiky", "short rest", "long quiet", "two ports", "30 a second")
KINDS = (*GRAINS, *HABITS)

#: Where faults are tried: both channels well recorded, a nozzle that flows full.
FAULTED = ("bates", "core x3", "one end")

#: Outer over core diameter; length over outer diameter.
_RATIOS = {
    "bates": (2.1, 3.3),
    "core x3": (2.8, 3.2),
    "core x3.6": (3.4, 3.8),
    "one end": (1.7, 2.6),
    "rod": (1.7, 2.3),
    "neutral": (2.0, 3.0),
}
_LENGTHS = (2.2, 4.0)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def _grain(kind: str, web: float, rng: np.random.Generator) -> Grain:
    ratio = float(rng.uniform(*_RATIOS[kind]))
    wall = 2.0 * web if kind == "neutral" else web
    core = 2.0 * wall / (ratio - 1.0)
    outer = ratio * core
    if kind == "bates":
        length = 0.5 * (3.0 * outer + core) * float(rng.uniform(0.88, 1.2))
        count = int(rng.integers(1, 6))
        return Grain(
            burns="core", outer=outer, core=core, length=length, segments=count, ends=2
        )
    length = outer * float(rng.uniform(*_LENGTHS))
    burns = {"rod": "outside", "neutral": "both"}.get(kind, "core")
    ends = 1 if kind == "one end" else 0
    return Grain(burns=burns, outer=outer, core=core, length=length, ends=ends)


def _bored(kind: str, rng: np.random.Generator) -> Motor:
    """Return a motor with a core, of a size that people build."""
    while True:
        rate = _log_uniform(rng, 3.5e-3, 13e-3)
        web = rate * _log_uniform(rng, 0.9, 5.0)
        grain = _grain(kind, web, rng)
        motor = _matched(grain, rate, _log_uniform(rng, 2.2e6, 7.5e6), kind, rng)
        sound = 5e-3 < motor.throat < 20e-3 and grain.outer < 0.12
        port = grain.core if grain.burns == "core" else grain.outer
        if sound and motor.mass < 6.0 and port > 1.2 * motor.throat:
            return motor


def _solid(kind: str, rng: np.random.Generator) -> Motor:
    """Return an end burner."""
    low = kind == "low end burner"
    peak = _log_uniform(rng, *((2.9e5, 4.9e5) if low else (1e6, 2e6)))
    rate = _log_uniform(rng, *((1.5e-3, 3.5e-3) if low else (2.5e-3, 5.5e-3)))
    length = rate * float(rng.uniform(2.5, 8.0))
    sized = Grain(burns="face", outer=0.05, core=0.0, length=length)
    motor = _matched(sized, rate, peak, kind, rng)
    throat = _log_uniform(rng, 3.5e-3, 7e-3)
    grain = replace(sized, outer=0.05 * throat / motor.throat)
    free = motor.free_volume * grain.volume / sized.volume
    return replace(motor, grain=grain, throat=throat, free_volume=free)


def _matched(
    grain: Grain, rate: float, peak: float, kind: str, rng: np.random.Generator
) -> Motor:
    """Return a motor whose throat gives this pressure at the largest area."""
    exponent = float(rng.uniform(0.12, 0.48))
    if rng.random() < 0.2:
        exponent = float(rng.uniform(-0.08, 0.08))
    density = float(rng.uniform(1640.0, 1860.0))
    velocity = float(rng.uniform(745.0, 905.0))
    largest = float(grain.area(np.linspace(0.0, grain.web, 201)).max())
    throat_area = rate * density * velocity * largest / peak
    bore = 0.25 * math.pi * grain.core**2 * grain.length * grain.segments
    hollow = bore if grain.burns in ("core", "both") else 0.0
    gamma = float(rng.uniform(1.112, 1.148))
    full = np.array([float(rng.uniform(0.7, 1.3)) * ATMOSPHERE / (0.75 * peak)])
    full = np.minimum(full, 0.999 * critical_ratio(gamma))
    discharge = float(rng.uniform(0.955, 1.0))
    return Motor(
        kind=kind,
        grain=grain,
        throat=math.sqrt(4.0 * throat_area / math.pi),
        rate=rate * (1e6 / peak) ** exponent,
        exponent=exponent,
        density=density,
        velocity=velocity,
        gamma=gamma,
        discharge=discharge,
        free_volume=hollow + grain.volume * _log_uniform(rng, 0.08, 0.8),
        growth=float(rng.uniform(0.0, 0.015)) if rng.random() < 0.6 else 0.0,
        path=_log_uniform(rng, 0.3, 3.0),
        expansion=float(np.clip(expansion_at(full, np.array(gamma))[0], 1.3, 10.0)),
        efficiency=float(rng.uniform(0.87, 0.975)),
        separation=float(rng.uniform(0.35, 0.45)),
        ambient=ATMOSPHERE + 2e3 * float(rng.standard_normal()),
        spread=float(rng.uniform(0.005, 0.06)),
        uneven=float(rng.uniform(0.0, 0.03)),
    )


def _channel(rng: np.random.Generator) -> Channel:
    return Channel(
        noise=_log_uniform(rng, 5e-4, 5e-3),
        colour=float(rng.uniform(0.0, 0.7)),
        drift=0.004 * float(rng.standard_normal()),
        bend=_log_uniform(rng, 0.5, 2.0),
        lag=_log_uniform(rng, 3e-4, 3e-3),
        gain=1.0 + 0.01 * float(rng.standard_normal()),
        bits=int(rng.choice([10, 12, 14, 16])),
        full_scale=float(rng.uniform(1.3, 3.0)),
    )


def _stand(rng: np.random.Generator) -> Stand:
    return Stand(
        sampling=float(rng.choice([100, 125, 160, 200, 250, 320, 500, 640, 1000])),
        before=_log_uniform(rng, 0.5, 4.0),
        after=float(rng.uniform(1.5, 3.0)),
        clock=float(rng.choice([0.0, 0.0, 1e-4, 1e-3])),
        pressure=_channel(rng),
        thrust=_channel(rng),
    )


def _with_habit(kind: str, stand: Stand, rng: np.random.Generator) -> Stand:
    if kind == "spiky":
        return replace(stand, spikes=float(rng.uniform(0.03, 0.11)))
    if kind == "short rest":
        after = float(rng.uniform(0.1, 0.5))
        return replace(stand, before=float(rng.uniform(0.3, 0.6)), after=after)
    if kind == "long quiet":
        return replace(stand, before=27.0, after=float(rng.uniform(1.5, 6.0)))
    if kind == "two ports":
        return replace(stand, second=_channel(rng))
    if kind == "30 a second":
        return replace(stand, sampling=30.0)
    return stand


def draw(kind: str, rng: np.random.Generator) -> Motor:
    """Draw a motor of one of `KINDS`, its stand and the errors of measuring."""
    grain = str(rng.choice(GRAINS[:4])) if kind in HABITS else kind
    motor = (_solid if "end burner" in grain else _bored)(grain, rng)
    return replace(
        motor,
        kind=kind,
        stand=_with_habit(kind, _stand(rng), rng),
        errors=tuple(rng.standard_normal(8).tolist()),
        seed=int(rng.integers(2**62)),
    )


Fault = Callable[[Motor], Motor]


def fleet(
    seed: int, count: int, kinds: Sequence[str] = GRAINS, fault: Fault | None = None
) -> list[Firing]:
    """Return firings, the kinds in turn; the same motors whatever the fault."""
    sound, found = _drawn(seed, count, tuple(kinds))
    if fault is None:
        return _recorded(sound, found)
    struck = [fault(motor) for motor in sound]
    if [replace(motor, reading_fault=None) for motor in struck] == list(sound):
        return _recorded(struck, found)
    return fired(struck)


@functools.lru_cache(maxsize=1)
def _drawn(
    seed: int, count: int, kinds: tuple[str, ...]
) -> tuple[tuple[Motor, ...], list[Course]]:
    """Return sound motors and their courses, which faults of sensors share."""
    motors = tuple(
        draw(kinds[i % len(kinds)], np.random.default_rng([seed, i]))
        for i in range(count)
    )
    return motors, courses(motors)


def fired(motors: Sequence[Motor]) -> list[Firing]:
    """Fire and record motors."""
    return _recorded(motors, courses(motors))


def _recorded(motors: Sequence[Motor], found: Sequence[Course]) -> list[Firing]:
    return [
        Firing(
            motor=motor,
            recording=record(motor, course, np.random.default_rng(motor.seed)),
            truth=truth_of(motor, course),
        )
        for motor, course in zip(motors, found, strict=True)
    ]


# ----------------------------------------------------------------------------
# Faults: of a sensor on what it reads, of a motor on what it is.


def reading(fault: Callable[..., Reading], *sizes: float) -> Fault:
    """Return a fault of what is read."""

    def struck(true: Reading, rng: np.random.Generator) -> Reading:
        return fault(true, rng, *sizes)

    return lambda motor: replace(motor, reading_fault=struck)


def motor(**changes: float) -> Fault:
    """Return a fault of the motor."""
    return lambda sound: replace(sound, **changes)


def _since(true: Reading) -> Array:
    """Return the time since ignition in burn times."""
    return (true.time - true.start) / true.lasting


def clip(true: Reading, _: np.random.Generator, share: float) -> Reading:
    return replace(true, pressure=np.minimum(true.pressure, share * true.peak))


def clip_thrust(true: Reading, _: np.random.Generator, share: float) -> Reading:
    return replace(true, thrust=np.minimum(true.thrust, share * true.push))


def soft(true: Reading, _: np.random.Generator, share: float) -> Reading:
    level = share * true.peak
    return replace(true, pressure=level * np.tanh(true.pressure / level))


def gain(true: Reading, _: np.random.Generator, factor: float) -> Reading:
    return replace(true, pressure=factor * true.pressure)


def lag(true: Reading, _: np.random.Generator, seconds: float) -> Reading:
    return replace(true, pressure=lagged(true.pressure, seconds / true.step))


def slag(true: Reading, _: np.random.Generator, seconds: float) -> Reading:
    """From half of the burning on the port lets gas in, and out slowly."""
    keep = math.exp(-true.step / seconds)
    found, state = true.pressure.copy(), 0.0
    for i in np.flatnonzero(_since(true) > 0.5):
        state = max(found[i], state * keep + found[i] * (1.0 - keep))
        found[i] = state
    return replace(true, pressure=found)


def heat(
    true: Reading, rng: np.random.Generator, share: float, seconds: float
) -> Reading:
    """The zero grows with the time burnt, to a power, and falls back afterwards."""
    grown = np.clip(_since(true), 0.0, 1.0) ** rng.uniform(0.4, 1.6)
    behind = np.maximum(true.time - true.start - true.lasting, 0.0)
    moved = share * true.peak * grown * np.exp(-behind / seconds)
    return replace(true, pressure=true.pressure + moved)


def zero_step(true: Reading, rng: np.random.Generator, share: float) -> Reading:
    step = share * true.peak * (_since(true) > rng.uniform(0.35, 0.65))
    return replace(true, pressure=true.pressure + step)


def burst(
    true: Reading, rng: np.random.Generator, samples: float, times: float = 1
) -> Reading:
    """Some samples in a row stand out by 25 to 60 % of the peak."""
    found, sample = true.pressure.copy(), 1.0 / true.sampling
    for _ in range(int(times)):
        at = true.start + true.lasting * rng.uniform(0.15, 0.85)
        at = sample * (round(at / sample) - 0.5)
        inside = (true.time > at) & (true.time < at + samples * sample)
        found[inside] += true.peak * rng.uniform(0.25, 0.6)
    return replace(true, pressure=found)


def hum(true: Reading, rng: np.random.Generator, share: float) -> Reading:
    wave = np.sin(2.0 * math.pi * (50.0 * true.time + rng.random()))
    return replace(true, pressure=true.pressure + share * true.peak * wave)


def blocked_port(true: Reading, rng: np.random.Generator) -> Reading:
    """The second port leaks: it follows late, and holds what it has."""
    seconds = true.lasting * rng.uniform(0.1, 0.4)
    return replace(true, second=lagged(true.pressure, seconds / true.step))


def lets_go(true: Reading, rng: np.random.Generator) -> Reading:
    """The case opens: pressure and thrust are gone, the sensor rests deep below."""
    at = true.start + true.lasting * rng.uniform(0.3, 0.8)
    gone = np.exp(-np.maximum(true.time - at, 0.0) / 0.004)
    below = -rng.uniform(0.12, 0.25) * true.peak * (1.0 - gone)
    return replace(
        true, pressure=true.pressure * gone + below, thrust=true.thrust * gone
    )


def bursts_at_once(true: Reading, rng: np.random.Generator) -> Reading:
    """The case bursts within a tenth of a second of ignition."""
    gone = np.exp(
        -np.maximum(true.time - true.start - rng.uniform(0.05, 0.1), 0) / 4e-3
    )
    return replace(true, pressure=true.pressure * gone, thrust=true.thrust * gone)


def free_volume(times: float) -> Fault:
    """Return a chamber with this free volume over that of the grain."""
    return lambda sound: replace(sound, free_volume=times * sound.grain.volume)


def igniter(share: float) -> Fault:
    """Return a motor with an igniter of this share of the propellant mass."""
    return lambda sound: replace(sound, igniter_mass=share * sound.mass)


FAULTS: dict[str, Fault] = {
    **{f"clip {s} %": reading(clip, s / 100) for s in (95, 85, 70)},
    **{f"soft {s}": reading(soft, s) for s in (1.0, 0.8)},
    "thrust clip 85 %": reading(clip_thrust, 0.85),
    **{f"gain {s:+d} %": reading(gain, 1.0 + s / 100) for s in (6, 10, -10)},
    **{f"lag {s} ms": reading(lag, s / 1000) for s in (10, 20, 50, 100)},
    **{f"slag {s} s": reading(slag, s) for s in (0.1, 0.2, 0.4)},
    **{f"heat {s} %, 1 s": reading(heat, s / 100, 1.0) for s in (2, 5, 10)},
    **{f"heat 5 %, {s} s": reading(heat, 0.05, s) for s in (0.3, 4.0)},
    **{f"zero step {s} %": reading(zero_step, s / 100) for s in (3, 6)},
    **{f"burst {s}": reading(burst, s) for s in (3, 4, 6)},
    "burst 5 x 4": reading(burst, 5, 4),
    **{f"hum {s} %": reading(hum, s / 100) for s in (0.5, 1, 3, 10)},
    **{f"crack {s} %": motor(crack=s / 100) for s in (5, 10, 30)},
    "debond 35 %": motor(debond=0.35),
    "late 40 %": motor(late=0.4, late_at=0.2),
    "late 25 %": motor(late=0.25, late_at=0.1),
    **{f"erosion {s} %": motor(erosion=s / 100) for s in (5, 10, 30)},
    **{f"igniter {s} %": igniter(s / 100) for s in (0.5, 1.1, 2.0)},
    **{f"path {s}": motor(growth=0.015, path=s) for s in (0.25, 1, 4)},
    "blocked port": reading(blocked_port),
    "lets go": reading(lets_go),
    "bursts at once": reading(bursts_at_once),
}
