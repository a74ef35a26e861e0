"""Motors, and the firing of many at once: the truth that a stand would record.

Nothing of the project is imported here, so that what it says of a firing is judged by
something else. The mass balance of a chamber with one pressure (Sutton & Biblarz,
*Rocket Propulsion Elements*, ch. 12, from memory),

.. math::
    \\frac{d(pV)}{RT \\, dt} = \\rho A_b r + \\dot m_i - \\frac{p A_t}{c^*} f(p/p_a),
    \\quad \\frac{dV}{dt} = A_b r, \\quad RT = (G c^*)^2,

is stepped for many motors at once: within a step p relaxes towards its equilibrium as
an exponential does. The grain is split into slices that light one after another and
burn out one after another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

Array = np.ndarray

ATMOSPHERE = 101325.0


# ----------------------------------------------------------------------------
# The grain: on any depth x its burning area is a0 + a1 x + a2 x2.


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """Equal cylinders in a row.

    `burns` is the surface that recedes: "core", "face" (length is the web), "outside"
    (down to an inhibited core), "both" (core and outside).
    """

    burns: str
    outer: float
    core: float
    length: float
    segments: int = 1
    ends: int = 0

    @property
    def web(self) -> float:
        wall = 0.5 * (self.outer - self.core)
        return {"face": self.length, "both": 0.5 * wall}.get(self.burns, wall)

    @property
    def coefficients(self) -> tuple[float, float, float]:
        """Return a0, a1, a2. [m2], [m], [-]"""
        outer, core, length, e = self.outer, self.core, self.length, self.ends
        one = {
            "face": (0.25 * outer**2, 0.0, 0.0),
            "both": ((outer + core) * length, 0.0, 0.0),
            "outside": (outer * length, -2.0 * length, 0.0),
            "core": (
                core * length + 0.25 * e * (outer**2 - core**2),
                2.0 * length - 2.0 * e * core,
                -3.0 * e,
            ),
        }[self.burns]
        a0, a1, a2 = (math.pi * self.segments * a for a in one)
        return a0, a1, a2

    def area(self, x: Array) -> Array:
        a0, a1, a2 = self.coefficients
        return a0 + a1 * x + a2 * x**2

    @property
    def volume(self) -> float:
        a0, a1, a2 = self.coefficients
        web = self.web
        return a0 * web + a1 * web**2 / 2.0 + a2 * web**3 / 3.0

    def resized(self, outer: float, core: float, length: float) -> Grain:
        """Return the grain with other sizes, each off by so much. [m]"""
        bored = self.burns != "face"
        return replace(
            self,
            outer=self.outer + outer,
            core=self.core + core if bored else 0.0,
            length=self.length + length,
        )


# ----------------------------------------------------------------------------
# A motor and the stand it is fired on: what is true, and what the user states.


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One sensor. Noise, drift and full scale as shares of the peak; lag in seconds."""

    noise: float = 0.0
    colour: float = 0.0
    drift: float = 0.0
    bend: float = 1.0
    lag: float = 0.0
    gain: float = 1.0
    bits: int = 0
    full_scale: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """How a firing is recorded.

    `before` is the quiet part in seconds, `after` that behind burnout in burn times (at
    least 0.4 s). `spikes`: one-sided, on 8 % of the resting samples, the first and the
    last among them, up to this share of the peak. `clock`: time is rounded to this.
    """

    sampling: float = 1000.0
    before: float = 1.0
    after: float = 2.0
    spikes: float = 0.0
    clock: float = 0.0
    pressure: Channel = field(default_factory=Channel)
    thrust: Channel = field(default_factory=Channel)
    second: Channel | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What the user measured beside the recording, with errors of the usual sizes."""

    throat: float
    throat_after: float
    exit_diameter: float
    mass: float
    grain: Grain
    free_volume: float
    igniter_mass: float
    ambient: float = ATMOSPHERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A true course on the fine clock of a sensor, before noise. [s], [Pa gauge], [N]

    `peak` and `push` are the true peaks, `start` and `lasting` the true burning.
    """

    time: Array
    pressure: Array
    thrust: Array
    second: Array | None
    peak: float
    push: float
    start: float
    lasting: float
    sampling: float

    @property
    def step(self) -> float:
        return float(self.time[1] - self.time[0])


ReadingFault = Callable[[Reading, np.random.Generator], Reading]


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """A motor with all that is true of it; SI.

    `rate` is that at 1 MPa, `velocity` the c* of the gas, which leaves through
    `discharge` of the throat area: c* = p A_t / mass flow is velocity / discharge. The
    throat is d0 (1 + growth w^path), w the burnt share. `loss` says what the nozzle
    efficiency multiplies: the "whole" thrust coefficient, or its "momentum" part.
    `separation`: the flow leaves the wall at this share of the ambient pressure.
    `crack` and `debond` add a share of area, `late` lights a share of the area at a
    share of the burn time, `erosion` adds a share of rate, gone at 20 % of the web.
    """

    grain: Grain
    throat: float
    rate: float
    exponent: float
    density: float = 1800.0
    velocity: float = 850.0
    free_volume: float
    kind: str = ""
    gamma: float = 1.13
    growth: float = 0.0
    path: float = 1.0
    discharge: float = 1.0
    expansion: float = 5.0
    efficiency: float = 0.92
    loss: str = "whole"
    separation: float = 0.4
    ambient: float = ATMOSPHERE
    spread: float = 0.02
    uneven: float = 0.0
    igniter_mass: float = 0.0
    igniter_time: float = 0.03
    igniter_ratio: float = 0.9
    crack: float = 0.0
    crack_from: float = 0.4
    debond: float = 0.0
    late: float = 0.0
    late_at: float = 0.0
    erosion: float = 0.0
    stand: Stand = field(default_factory=Stand)
    errors: tuple[float, ...] = (0.0,) * 8
    reading_fault: ReadingFault | None = None
    seed: int = 0

    @property
    def characteristic_velocity(self) -> float:
        """Return c* as a stand finds it. [m/s]"""
        return self.velocity / self.discharge

    @property
    def mass(self) -> float:
        return self.density * self.grain.volume

    @property
    def throat_area(self) -> float:
        return 0.25 * math.pi * self.throat**2

    @property
    def stated(self) -> Stated:
        """Return what a user measures: throats to 0.05 mm, sizes and exit to 0.1 mm,
        mass to 0.5 %, free volume to 10 %, igniter to 5 %.
        """
        z = self.errors
        return Stated(
            throat=self.throat + 5e-5 * z[0],
            throat_after=self.throat * (1.0 + self.growth) + 5e-5 * z[1],
            exit_diameter=self.throat * math.sqrt(self.expansion) + 1e-4 * z[2],
            mass=self.mass * (1.0 + 0.005 * z[3]),
            grain=self.grain.resized(1e-4 * z[4], 1e-4 * z[5], 1e-4 * z[6]),
            free_volume=self.free_volume * math.exp(0.1 * z[7]),
            igniter_mass=self.igniter_mass * (1.0 + 0.05 * z[7]),
        )

    def equilibrium(self, area: Array) -> Array:
        """Return the pressure at which made and leaving gas are equal. [Pa]

        p = (a rho c* A_b / A_t)^(1/(1-n)) (Sutton & Biblarz, ch. 12, from memory).
        """
        a = self.rate / 1e6**self.exponent
        kn = area / self.throat_area
        made = a * self.density * self.characteristic_velocity * kn
        return np.asarray(made ** (1.0 / (1.0 - self.exponent)))

    def quasi_steady_time(self) -> float:
        """Return the burn time if gas were made and gone at once. [s]"""
        x = np.linspace(0.0, self.grain.web, 401)
        rate = self.rate * (self.equilibrium(self.grain.area(x)) / 1e6) ** self.exponent
        return float(np.trapezoid(1.0 / rate, x))


# ----------------------------------------------------------------------------
# The nozzle: one-dimensional, one exponent (Sutton & Biblarz, ch. 3, from memory).


def mass_flow_factor(gamma: Array | float) -> Array:
    """Return G = k^(1/2) (2 / (k + 1))^((k + 1) / (2 (k - 1))). [-]"""
    k = np.asarray(gamma, float)
    return np.sqrt(k) * (2.0 / (k + 1.0)) ** (0.5 * (k + 1.0) / (k - 1.0))


def critical_ratio(gamma: Array | float) -> Array:
    """Return throat over chamber pressure of a choked flow. [-]"""
    k = np.asarray(gamma, float)
    return (2.0 / (k + 1.0)) ** (k / (k - 1.0))


def flow_share(back: Array, gamma: Array) -> Array:
    """Return the mass flow over that of a choked throat; `back` is p_a / p."""
    k = gamma
    x = np.clip(back, critical_ratio(k), 1.0)
    top = critical_ratio(k)

    def flux(x: Array) -> Array:
        inner = x ** (2.0 / k) - x ** ((k + 1.0) / k)
        return np.sqrt(np.maximum(inner, 0.0))

    return flux(x) / flux(top)


def expansion_at(x: Array, gamma: Array) -> Array:
    """Return the area over the throat's where the pressure is x of the chamber's."""
    k = gamma
    flux = np.sqrt(2.0 * k / (k - 1.0) * (x ** (2.0 / k) - x ** ((k + 1.0) / k)))
    return mass_flow_factor(k) / flux


def exit_ratio(expansion: Array, gamma: Array) -> Array:
    """Return p_e / p of a nozzle that flows full, by bisection of ln x."""
    low = np.full(np.shape(expansion), -14.0)
    high = np.log(critical_ratio(gamma)) + 0.0 * low
    for _ in range(60):
        middle = 0.5 * (low + high)
        wide = expansion_at(np.exp(middle), gamma) > expansion
        low, high = np.where(wide, middle, low), np.where(wide, high, middle)
    return np.exp(0.5 * (low + high))


def thrust_coefficients(
    full: Array, back: Array, gamma: Array, separation: Array
) -> tuple[Array, Array]:
    """Return the momentum and the pressure part of C_F.

    `full` is p_e / p of the full flow, `back` is p_a / p. Behind the point where the
    flow leaves the wall the pressure is ambient.
    """
    k = gamma
    x = np.minimum(np.maximum(full, separation * back), critical_ratio(k))
    momentum = mass_flow_factor(k) * np.sqrt(
        2.0 * k / (k - 1.0) * (1.0 - x ** ((k - 1.0) / k))
    )
    return momentum, (x - back) * expansion_at(x, k)


# ----------------------------------------------------------------------------
# The chamber: many motors, one loop over steps.

#: Slices of the grain that light in turn; one more lights late.
SLICES = 6
STEPS = 6000


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The true firing of one motor: absolute pressure, thrust, throat area, C_F,id.

    `made` and `left` are the masses of gas that grain and igniter made and that is
    gone or in the chamber at the end. [kg]
    """

    time: Array
    pressure: Array
    thrust: Array
    throat_area: Array
    ideal: Array
    made: float
    left: float


class _Fleet:
    """Arrays of many motors, shape (motors,) or (motors, slices)."""

    def __init__(self, motors: Sequence[Motor]) -> None:
        def of(name: str) -> Array:
            return np.array([getattr(m, name) for m in motors])

        self.n, self.rate, self.density = of("exponent"), of("rate"), of("density")
        self.gamma, self.velocity = of("gamma"), of("velocity")
        self.area, self.discharge = of("throat_area"), of("discharge")
        self.growth, self.path, self.ambient = of("growth"), of("path"), of("ambient")
        self.free, self.erosion = of("free_volume"), of("erosion")
        self.igniter = of("igniter_mass") * of("igniter_ratio")
        self.igniter_time = of("igniter_time")
        self.rt = (mass_flow_factor(self.gamma) * self.velocity) ** 2
        self.volume = np.array([m.grain.volume for m in motors])
        self.web = np.array([m.grain.web for m in motors])[:, None]
        self.coefficients = np.array([m.grain.coefficients for m in motors]).T
        self.crack, self.debond = of("crack")[:, None], of("debond")[:, None]
        self.crack_at = of("crack_from")[:, None] * self.web
        quasi = np.array([m.quasi_steady_time() for m in motors])
        late, order = of("late"), np.arange(SLICES)
        self.weights = np.column_stack([*((1.0 - late) / SLICES for _ in order), late])
        self.lit = np.column_stack(
            [*(of("spread") * j / (SLICES - 1) for j in order), of("late_at") * quasi]
        )
        # Which slice is thin has nothing to do with which lights first.
        turns = np.cos(math.pi * (0.5 + np.array([3, 0, 4, 1, 5, 2])) / SLICES)
        webs = 1.0 + of("uneven")[:, None] * np.r_[turns, 0.0]
        whole = (self.plain(self.web * webs) * self.weights).sum(axis=1)
        self.scale = (self.volume / whole)[:, None]
        self.limit = self._limits(self.web * webs)
        tail = (self.free + self.volume) / (
            mass_flow_factor(self.gamma) ** 2 * self.velocity * self.area
        )
        span = 1.12 * quasi * (1.0 + 2.0 * of("uneven")) + of("spread")
        span += (late > 0.0) * of("late_at") * quasi + 25.0 * tail
        self.step = span / STEPS

    def plain(self, x: Array) -> Array:
        """Return the volume that a sound grain has lost at a depth. [m3]"""
        a0, a1, a2 = (c[:, None] for c in self.coefficients)
        return x * (a0 + x * (a1 / 2.0 + x * a2 / 3.0))

    def burnt(self, x: Array) -> Array:
        """Return the volume that has burnt in each slice were it the whole grain."""
        found = self.plain(x)
        if self.crack.any():
            beyond = self.plain(np.maximum(x, self.crack_at)) - self.plain(
                self.crack_at
            )
            found = found + self.crack * beyond
        return self.scale * (1.0 + self.debond) * found

    def _limits(self, webs: Array) -> Array:
        """Return the depths at which the slices hold no propellant any more."""
        whole = self.scale * self.plain(webs)
        low, high = np.zeros_like(webs), webs
        for _ in range(60):
            middle = 0.5 * (low + high)
            over = self.burnt(middle) > whole
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        return high


def _stepped(f: _Fleet) -> tuple[Array, Array, Array, Array]:
    """Return pressures and burnt shares of all steps, and both masses."""
    count = len(f.n)
    p, x, gone = f.ambient.copy(), np.zeros(f.weights.shape), np.zeros(count)
    pressure, share = np.empty((STEPS + 1, count)), np.empty((STEPS + 1, count))
    pressure[0], share[0], left = p, 0.0, np.zeros(count)
    rate = f.rate / 1e6**f.n
    leaving = f.discharge * f.area / f.velocity
    for i in range(STEPS):
        now = i * f.step
        lasts = np.clip(f.igniter_time - now, 0.0, f.step) / f.step
        fresh = f.igniter / f.igniter_time * lasts
        burns = np.clip((now + f.step)[:, None] - f.lit, 0.0, f.step[:, None])
        faster = 1.0 + f.erosion[:, None] * np.maximum(1.0 - x / (0.2 * f.web), 0.0)
        middle = p
        for _ in range(2):
            depth = (rate * middle**f.n)[:, None] * faster * burns
            ahead = np.minimum(x + depth, f.limit)
            after = (f.weights * f.burnt(ahead)).sum(axis=1)
            made = after - gone
            room = f.free + 0.5 * (after + gone)
            wide = 1.0 + f.growth * (0.5 * (after + gone) / f.volume) ** f.path
            # Near the ambient pressure what leaves is taken as straight in p - p_a.
            base = np.where(middle < 1.8 * f.ambient, f.ambient, 0.0)
            steep = middle / np.maximum(middle - base, 1e-3 * f.ambient)
            out = leaving * wide**2 * flow_share(f.ambient / middle, f.gamma) * steep
            loss = f.rt * out / room
            k = np.maximum(loss + made / f.step / room, 1e-9)
            gain = f.rt / room * (f.density * made / f.step + fresh)
            aim = (gain + loss * base) / k
            rest = np.exp(-k * f.step)
            new = np.where(k > 1e-9, aim + (p - aim) * rest, p)
            middle = np.maximum(0.5 * (p + new), f.ambient)
        mean = aim * f.step + (p - aim) * (1.0 - rest) / k
        left += out * (mean - base * f.step)
        p, x, gone = np.maximum(new, f.ambient), ahead, after
        pressure[i + 1], share[i + 1] = p, gone / f.volume
    left += (p * (f.free + gone) - f.ambient * f.free) / f.rt
    if np.any(share[-1] < 1.0 - 1e-9) or np.any(
        p - f.ambient > 0.01 * (pressure.max(axis=0) - f.ambient)
    ):
        raise RuntimeError("a simulated motor has not burnt out: more time is needed")
    return pressure, share, f.density * gone + f.igniter, left


def courses(motors: Sequence[Motor]) -> list[Course]:
    """Fire motors together."""
    found: list[Course] = []
    for at in range(0, len(motors), 250):
        found += _together(motors[at : at + 250])
    return found


def _together(motors: Sequence[Motor]) -> list[Course]:
    f = _Fleet(motors)
    pressure, share, made, left = _stepped(f)
    wide = (1.0 + f.growth * share**f.path) ** 2
    area = f.area * wide
    expansion = np.array([m.expansion for m in motors])
    first = np.log(exit_ratio(expansion, f.gamma))
    grown = (1.0 + f.growth) ** 2
    slope = np.log(exit_ratio(np.maximum(expansion / grown, 1.001), f.gamma)) - first
    part = (wide - 1.0) / np.where(grown == 1.0, 1.0, grown - 1.0)
    full = np.exp(first + slope * part)
    back = f.ambient / pressure
    separation = np.array([m.separation for m in motors])
    momentum, push = thrust_coefficients(full, back, f.gamma, separation)
    eta = np.array([m.efficiency * m.discharge for m in motors])
    whole = np.array([m.loss == "whole" for m in motors])
    ideal = np.maximum(momentum + push, 0.0) * flow_share(back, f.gamma)
    lossy = np.maximum(eta * momentum + push, 0.0) * flow_share(back, f.gamma)
    thrust = np.where(whole, eta * ideal, lossy) * pressure * area
    return [
        Course(
            time=f.step[i] * np.arange(STEPS + 1),
            pressure=pressure[:, i],
            thrust=thrust[:, i],
            throat_area=area[:, i],
            ideal=ideal[:, i],
            made=float(made[i]),
            left=float(left[i]),
        )
        for i in range(len(motors))
    ]
