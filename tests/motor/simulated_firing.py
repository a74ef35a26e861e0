"""Firings of a known law, as a stand would record them. Invented motors, no data."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from castsugar.motor.nozzle import Nozzle
from castsugar.motor.trace import Motor, Propellant, Trace, fire

AMBIENT = 101325.0

#: Standard acceleration of free fall, exact by definition (CGPM 1901). [m/s2]
GRAVITY = 9.80665


def known_law(rate: float = 5e-3, exponent: float = 0.35) -> BurnLaw:
    """Return a law without doubt; the rate is that at 1 MPa."""
    band = Band(low=1e4, high=1e8, rate=rate, exponent=exponent)
    return BurnLaw(name="known", bands=(band,), log_rate_u=0.0)


def known_motor(
    *, throat: float = 8e-3, velocity: float = 850.0, core: float = 12e-3
) -> Motor:
    """Return a small motor with a core burner whose pressure doubles and more."""
    return Motor(
        grain=HollowCylinder(
            outer_diameter=32e-3,
            core_diameter=core,
            segment_length=100e-3,
            segments=1,
            burning_ends=1,
        ),
        nozzle=Nozzle(throat_diameter=throat, exponent=1.13),
        propellant=Propellant(density=1800.0, characteristic_velocity=velocity),
        ambient_pressure=AMBIENT,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensors:
    """What a recording adds to the truth: noise and drift over the peak, bits, lag.

    `drift` creeps evenly over the record; `jump` comes at once, at a random time of
    the burning, up or down.
    """

    noise: float = 0.0
    drift: float = 0.0
    bits: int = 0
    rate: float = 1000.0
    lag: float = 0.0
    gain: float = 1.0
    jump: float = 0.0


#: The sensors of the coverage studies.
USUAL = Sensors(noise=0.01, drift=0.02, bits=12, rate=400.0, lag=3e-3)


def recorded(
    trace: Trace, sensors: Sensors, rng: np.random.Generator, *, thrust: bool = True
) -> Recorded:
    """Record a firing: quiet, burning, quiet; pressure over ambient, and thrust."""
    lead, tail = 0.5, 0.5 + trace.burn_time
    time = np.arange(0.0, lead + trace.burn_time + tail, 1.0 / sensors.rate)
    found = []
    for course, rest in ((trace.pressure, AMBIENT), (trace.thrust, 0.0)):
        over = np.interp(time - lead, trace.time, course - rest, left=0.0, right=0.0)
        found.append(_sensed(over, time, sensors, rng))
    return Recorded(time=time, pressure=found[0], thrust=found[1] if thrust else None)


def _sensed(
    over: np.ndarray, time: np.ndarray, sensors: Sensors, rng: np.random.Generator
) -> np.ndarray:
    peak = float(over.max())
    burning = time[over > 0.0]
    if sensors.lag > 0.0:
        over = _lagged(over, 1.0 / (sensors.rate * sensors.lag))
    value = sensors.gain * over
    value = value + sensors.noise * peak * rng.standard_normal(over.shape)
    value = value + sensors.drift * peak * (time / time[-1] - 0.3)
    if sensors.jump:
        at = rng.uniform(burning[0], burning[-1])
        value = value + rng.choice([-1.0, 1.0]) * sensors.jump * peak * (time > at)
    if sensors.bits:
        step = 2.0 * peak / 2**sensors.bits
        value = step * np.round(value / step)
    return np.asarray(value)


def _lagged(values: np.ndarray, share: float) -> np.ndarray:
    """Return a first-order lag; its integral is that of the values."""
    keep = np.exp(-share)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], values))


def fired(motor: Motor, law: BurnLaw) -> Trace:
    """Return the true course."""
    return fire(motor, law)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A propellant and a nozzle that are known exactly: r = rate (p / 1 MPa)^n."""

    rate: float = 5e-3
    exponent: float = 0.35
    velocity: float = 850.0
    density: float = 1800.0
    thrust_coefficient: float = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What the user states: sizes, and how sure they are (standard uncertainties)."""

    grain: Grain
    throat: float = 8e-3
    throat_after: float | None = 8.1e-3
    size_u: float = 1e-4
    sensors: Sensors = USUAL


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A true firing, from a mass balance of its own."""

    time: np.ndarray
    pressure: np.ndarray
    thrust: np.ndarray
    mass: float

    @property
    def burn_time(self) -> float:
        return float(self.time[-1])

    @property
    def total_impulse(self) -> float:
        return float(np.trapezoid(self.thrust, self.time))

    @property
    def specific_impulse(self) -> float:
        return self.total_impulse / (self.mass * GRAVITY)


def course(
    grain: Grain, throats: tuple[float, float], known: Known, points: int = 1500
) -> Course:
    """Return a firing whose throat area grows straight with the burnt mass.

    What is made leaves: rho A_b a p^n = A_t p / c*, so that
    p = (a rho c* A_b / A_t)^(1/(1-n)); t is the integral of dx / r. Nothing of the
    project but the area and the volume of the grain.
    """
    web = np.linspace(0.0, grain.web, points)
    left = np.asarray(grain.volume_left(web))
    before, after = (0.25 * math.pi * d**2 for d in throats)
    area = before + (after - before) * (1.0 - left / grain.volume)
    n = known.exponent
    a = known.rate / 1e6**n
    made = a * known.density * known.velocity * np.asarray(grain.area(web)) / area
    pressure = made ** (1.0 / (1.0 - n))
    slowness = 1.0 / (a * pressure**n)
    steps = 0.5 * (slowness[1:] + slowness[:-1]) * np.diff(web)
    return Course(
        time=np.r_[0.0, np.cumsum(steps)],
        pressure=pressure,
        thrust=known.thrust_coefficient * area * pressure,
        mass=known.density * grain.volume,
    )


def resized(grain: Grain, changes: tuple[float, float, float]) -> Grain:
    """Return a grain with other sizes: outer, core, length; an area table's web."""
    if isinstance(grain, HollowCylinder):
        outer, core, length = changes
        return replace(
            grain,
            outer_diameter=grain.outer_diameter + outer,
            core_diameter=grain.core_diameter + core,
            segment_length=grain.segment_length + length,
        )
    assert isinstance(grain, AreaTable)
    factor = 1.0 + changes[0] / grain.web
    return replace(grain, webs=tuple(factor * x for x in grain.webs))


def drawn(
    setup: Setup, known: Known, rng: np.random.Generator
) -> tuple[Recorded, Stand, Course]:
    """Draw a true motor about what is stated, fire it, and record it.

    Throats (each measurement by itself), grain sizes, air pressure, weighed mass and
    both calibrations are off by normal errors of the default uncertainties of `Stand`.
    A throat that is not measured after the firing does not grow.
    """
    stated = Stand(propellant_mass=1.0, throat_diameter=setup.throat)
    z = rng.standard_normal(9)
    true_grain = resized(setup.grain, tuple(setup.size_u * z[:3]))
    before = setup.throat + stated.throat_u * z[3]
    after = before
    if setup.throat_after is not None:
        after = setup.throat_after + stated.throat_u * z[4]
    ambient = AMBIENT + stated.ambient_u * z[5]
    true = course(true_grain, (before, after), known)
    gains = 1.0 + 0.01 * z[6:8]
    lead, rate = 0.5, setup.sensors.rate
    time = np.arange(0.0, 2.0 * lead + 2.0 * true.burn_time, 1.0 / rate)
    readings = [
        _sensed(
            np.interp(time - lead, true.time, values, left=0.0, right=0.0),
            time,
            replace(setup.sensors, gain=float(gain)),
            rng,
        )
        for values, gain in zip(
            (true.pressure - ambient, true.thrust), gains, strict=True
        )
    ]
    stand = replace(
        stated,
        propellant_mass=true.mass * (1.0 + stated.mass_u * z[8]),
        throat_after=setup.throat_after,
    )
    record = Recorded(time=time, pressure=readings[0], thrust=readings[1])
    return record, stand, true
