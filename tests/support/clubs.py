"""Clubs that burn strands of their own, and a user beside them: truths and readings.

Nothing of the project is imported here, so that what it says of a peak is judged by
something else. One normal draw a world: burn rates of every strand of every club, of
the user's strands and of a motor with the user's next batch, by

    ln r = m0 + s.d + g(w) + x (n0 + t.d + h(w)) + q(x, w) + B + x N + F + noise

with x = ln(p / 2.5 MPa), d = w - 60/20/20, the widths drawn anew in each world from
what is held beforehand (medians and spreads below: assumed, no source; the step from
strands to motors is half of what composite propellants show, from memory). Every club
and the user have batches, sessions and strands of their own scatter, and a bench that
lies apart from the others by F. Invented; nobody burned anything.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

Array = np.ndarray

NAMES = ("potassium nitrate", "sucrose", "light corn syrup")
CENTRE = np.array([0.60, 0.20, 0.20])
TREND = np.array([1.0, 0.0, -1.0])

#: Median of a width of ln r, and the standard deviation of its logarithm.
WIDTHS = {
    "batch": (0.06, 0.8),
    "surface": (0.06, 0.6),
    "length": (0.06, 0.5),
    "session": (0.01, 0.7),
    "bend": (0.02, 0.7),
    "slope": (2.2, 0.7),
    "bench": (0.14, 0.85),
}
MOST = {"batch": 0.15, "bench": 0.33}

#: ln of the rate at the centre [m/s] and its doubt, the exponent and its doubt.
LEVEL, LEVEL_U = math.log(9e-3), 0.5
EXPONENT, EXPONENT_U = 0.40, 0.4 / math.sqrt(12.0)

#: The step from strands to motors, firing to firing, a published law.
TO_MOTOR, TO_MOTOR_U, FIRING, PUBLISHED = 0.04, 0.05, 0.025, 0.33

#: ln(p / 2.5 MPa) at which the truth of a motor is drawn; straight in between.
GRID = np.linspace(-4.0, 3.7, 40)

#: ln S of the motor: it stands at 4 MPa where everything is as held beforehand.
STANDS = 4e6
REFERENCE = 2.5e6
LOG_SUPPLY = (
    math.log(STANDS) - LEVEL - TO_MOTOR - EXPONENT * math.log(STANDS / REFERENCE)
)

#: Doubt of ln S: throat, density, c*.
SUPPLY_U = 0.03

#: Pressures that clubs burn strands at. [Pa]
PRESSURES = np.array([0.101325e6, 1e6, 2e6, 4e6, 7e6])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pot:
    """One batch and its strands: whose, of what, and what was read.

    `club` is -1 for the user. `pressure` [Pa] and `rate` [m/s], (n,) each.
    """

    club: int
    mix: Array
    pressure: Array
    rate: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """What was burned, and the peak that the user's next batch of `mix` makes. [Pa]

    `published` are rates [m/s] that a law says of dry 65/35 at 1 and 7 MPa.
    """

    mix: Array
    own: tuple[Pot, ...]
    clubs: tuple[Pot, ...]
    published: Array
    peak: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """Worlds: how many clubs, what is true of their benches, what the user burned.

    `bench`: how far benches lie apart; None: drawn. `wrong`: a club whose rates are so
    many times too high. `same`: all clubs burn the user's mix. `strands` of each of
    `batches` of the user's.
    """

    clubs: int = 20
    bench: float | None = None
    wrong: float = 1.0
    same: bool = False
    batches: int = 1
    strands: int = 5


#: A law is published of this: dry, 65/35.
DRY, ENDS = np.array([0.65, 0.35, 0.0]), np.array([1e6, 7e6])


def drawn(rng: np.random.Generator, kind: Kind) -> World:
    """Return one world."""
    widths = {n: _width(rng, n) for n in WIDTHS}
    if kind.bench is not None:
        widths["bench"] = kind.bench
    mix = rng.dirichlet(60.0 * CENTRE)
    pots = [(-1, mix, rng.choice(PRESSURES, kind.strands)) for _ in range(kind.batches)]
    for club in range(kind.clubs):
        for _ in range(rng.integers(1, 3)):
            burned = mix if kind.same else rng.dirichlet(60.0 * CENTRE)
            pots.append((club, burned, rng.choice(PRESSURES, 3, replace=False)))
    w = np.vstack(
        [np.repeat(m[None], len(p), axis=0) for _, m, p in pots]
        + [np.repeat(mix[None], len(GRID), axis=0), np.repeat(DRY[None], 2, axis=0)]
    )
    x = np.concatenate([*(np.log(p / REFERENCE) for *_, p in pots), GRID])
    x = np.concatenate([x, np.log(ENDS / REFERENCE)])
    surface = _surface(rng, w, x, widths)
    benches = widths["bench"] * rng.normal(size=kind.clubs + 1)
    benches[0] += math.log(kind.wrong) * bool(kind.wrong - 1.0)
    scatter = [_own(rng) for _ in range(kind.clubs + 1)]
    found, start = [], 0
    for club, burned, p in pots:
        part = slice(start, start + len(p))
        y = surface[part] + _batch(rng, x[part], scatter[club])
        # Rates are told as the user's bench would read them: it lies apart, too.
        y = y + (benches[club] - benches[-1]) * (club >= 0)
        y = y + _noise(rng, p, scatter[club])
        found.append(Pot(club=club, mix=burned, pressure=p, rate=np.exp(y)))
        start += len(p)
    motor = surface[start : start + len(GRID)] + _batch(rng, GRID, scatter[-1])
    motor = motor + TO_MOTOR + TO_MOTOR_U * rng.normal() + FIRING * rng.normal()
    published = surface[start + len(GRID) :] + PUBLISHED * rng.normal()
    return World(
        mix=mix,
        own=tuple(pot for pot in found if pot.club < 0),
        clubs=tuple(pot for pot in found if pot.club >= 0),
        published=np.exp(published),
        peak=_peak(motor, LOG_SUPPLY + SUPPLY_U * rng.normal()),
    )


def _width(rng: np.random.Generator, name: str) -> float:
    median, spread = WIDTHS[name]
    return min(median * math.exp(spread * rng.normal()), MOST.get(name, math.inf))


def _own(rng: np.random.Generator) -> dict[str, float]:
    """Return the scatter of one workshop: of its batches, sessions, strands."""
    found = {name: _width(rng, name) for name in ("batch", "session")}
    # The median of chi-square with 4 degrees of freedom is 3.357: 2.5 % in the middle.
    return found | {"strand": 0.025 * math.sqrt(3.3567 / rng.chisquare(4.0))}


def _batch(rng: np.random.Generator, x: Array, own: dict[str, float]) -> Array:
    return own["batch"] * rng.normal() + x * 0.02 * rng.normal()


def _noise(rng: np.random.Generator, p: Array, own: dict[str, float]) -> Array:
    """Return what strands of one pressure share, and what each has of its own."""
    each, of = np.unique(p, return_inverse=True)
    shared = own["session"] * rng.normal(size=len(each))
    return shared[of] + own["strand"] * rng.normal(size=len(p))


def _surface(
    rng: np.random.Generator, w: Array, x: Array, at: dict[str, float]
) -> Array:
    """Return ln r of recipes by strands of the user's bench, without any scatter."""
    d = w - CENTRE
    moved = 0.5 * ((w[:, None] - w[None]) ** 2).sum(axis=2)
    near = _matern(np.sqrt(moved) / at["length"])
    bend = _matern(np.abs(x[:, None] - x) / 0.9) * np.exp(-moved / (2.0 * 0.15**2))
    dot, lever = 0.5 * d @ d.T, np.outer(x, x)
    found = LEVEL_U**2 + at["slope"] ** 2 * dot + at["surface"] ** 2 * near
    found = found + lever * (EXPONENT_U**2 + 0.6**2 * dot + 0.03**2 * near)
    found = found + at["bend"] ** 2 * bend
    values, vectors = np.linalg.eigh(found)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return LEVEL + d @ TREND + EXPONENT * x + root @ rng.normal(size=len(x))


def _matern(a: Array) -> Array:
    a = math.sqrt(5.0) * a
    return (1.0 + a + a * a / 3.0) * np.exp(-a)


def _peak(log_rate: Array, log_supply: float) -> float:
    """Return the pressure at which a motor stands: the highest root. [Pa]

    100 MPa and more are beyond the grid, its upper end stands for them.
    """
    over = log_rate + log_supply - math.log(REFERENCE) - GRID
    stands = np.flatnonzero(over > 0.0)
    if not len(stands):
        return REFERENCE * math.exp(GRID[0])
    last = int(stands[-1])
    if last == len(GRID) - 1:
        return math.inf
    share = over[last] / (over[last] - over[last + 1])
    return REFERENCE * math.exp(GRID[last] + share * (GRID[last + 1] - GRID[last]))
