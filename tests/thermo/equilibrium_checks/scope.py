"""Random mixes of everything that may be weighed, and what they are burnt under."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

import castsugar as cs
from castsugar import Blends

NITRATES = ("potassium nitrate", "sodium nitrate")
FUELS = (
    *("sucrose", "dextrose", "dextrose monohydrate", "fructose", "maltose"),
    *("maltose monohydrate", "sorbitol", "mannitol", "xylitol", "erythritol"),
    *("isomalt", "maltodextrin", "corn syrup", "42 DE syrup", "high maltose syrup"),
)
#: At most 3 % of a mix.
OTHERS = ("graphite", "carbon black", "charcoal", "glycerol", "starch")
NAMES = (*NITRATES, *FUELS, *OTHERS, "water", "red iron oxide", "inert matter")

#: Pressures to which the mixes expand [Pa]; the last is colder than any fit.
EXITS = (101325.0, 20e3, 1e3)


def shares(count: int, seed: int) -> np.ndarray:
    """Mass fractions of :data:`NAMES` of seeded random mixes.

    One or both nitrates, of all that burns 0 to 100 % in one half of the mixes, 40 to
    85 % in the other; one to three fuels; up to 25 % water, 5 % iron oxide, 3 % other
    fuels (less beside little sugar), 2 % inert matter, each in a part of the mixes.
    """
    rng = np.random.default_rng(seed)

    def some(most: float, part: float) -> np.ndarray:
        return rng.uniform(0.0, most, count) * (rng.random(count) < part)

    water, iron = some(0.25, 0.6), some(0.05, 0.4)
    other, inert = some(0.03, 0.3), some(0.02, 0.15)
    anywhere = rng.random(count) < 0.5
    nitrate = np.where(
        anywhere, rng.uniform(0.0, 1.0, count), rng.uniform(0.4, 0.85, count)
    )
    rest = 1.0 - water - iron - other - inert
    potash = np.choose(rng.integers(0, 3, count), [1.0, 0.0, rng.random(count)])
    weights = rng.exponential(size=(count, len(FUELS)))
    rank = np.argsort(np.argsort(rng.random(weights.shape), axis=1), axis=1)
    weights[rank >= rng.integers(1, 4, count)[:, None]] = 0.0
    weights /= weights.sum(axis=1, keepdims=True)
    fuel = rest * (1.0 - nitrate)
    other = np.minimum(other, 0.07 * fuel)  # a tenth of what burns is the limit
    others = np.zeros((count, len(OTHERS)))
    others[np.arange(count), rng.integers(0, len(OTHERS), count)] = other
    found = np.column_stack(
        [
            rest * nitrate * potash,
            rest * nitrate * (1.0 - potash),
            fuel[:, None] * weights,
            others,
            water,
            iron,
            inert,
        ]
    )
    return found / found.sum(axis=1, keepdims=True)


def pressures(count: int, seed: int) -> np.ndarray:
    """Chamber pressures from 0.1 to 10 MPa, even in the logarithm. [Pa]"""
    return 10.0 ** np.random.default_rng(seed).uniform(5.0, 7.0, count)


def blends(rows: np.ndarray) -> Blends:
    """The mixes of rows of :func:`shares`."""
    return cs.blend(list(NAMES), rows)


def described(row: np.ndarray) -> str:
    """A row of :func:`shares` in words, exact enough to be typed in again."""
    parts = zip(NAMES, row, strict=True)
    return " ".join(f"{name}:{share:.17g}" for name, share in parts if share)


FLOWS = ("equilibrium", "no-solidification", "frozen")

#: Below this temperature no fit of the product file holds [K].
COLDEST_FIT = 300.0


@dataclass(frozen=True)
class Outcome:
    """What became of random rows in one flow.

    `reasons` has the status of every row without convergence; `unflagged` counts exits
    below :data:`COLDEST_FIT` that no flag tells of.
    """

    ok: int
    cold: int
    reasons: list[str]
    below_the_fits: int
    unflagged: int


def outcome(count: int, seed: int, flow: str) -> Outcome:
    """Evaluate the random rows of a seed, a third of them to each of :data:`EXITS`."""
    rows, chambers = shares(count, seed), pressures(count, seed + 1)
    status, flags, exits = [], [], []
    for leaving, part in zip(EXITS, np.array_split(np.arange(count), 3), strict=True):
        # Chambers that hardly differ from the exit are put half as high again.
        high = np.where(chambers[part] < 1.2 * leaving, 1.5, 1.0) * chambers[part]
        table = cs.evaluate(
            blends(rows[part]), pressure=list(high), exit_pressure=leaving, flow=flow
        )
        status += list(table["status"])
        flags += list(table["flags"])
        exits += list(table["exit_temperature_K"])
    below = [flag for flag, t in zip(flags, exits, strict=True) if t < COLDEST_FIT]
    return Outcome(
        ok=status.count("ok"),
        cold=status.count("cold"),
        reasons=[text for text in status if text not in ("ok", "cold")],
        below_the_fits=len(below),
        unflagged=sum("exit below" not in flag for flag in below),
    )
