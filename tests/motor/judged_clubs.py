"""What the model of burn rates makes of the worlds of ``tests/support/clubs.py``."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import ndtr, ndtri

from castsugar.bench.imported import burned_elsewhere
from castsugar.constants import REFERENCE_TEMPERATURE
from castsugar.motor.burn_evidence import PUBLISHED, Burned, places_of
from castsugar.motor.burn_model import BurnModel
from castsugar.readings.shared_strands import SharedStrand, rounded
from support import clubs
from support.clubs import Kind, Pot, World

#: What the model is given of a world.
GIVEN = {
    "nothing": (),
    "a published law": ("published",),
    "imported": ("clubs",),
    "own": ("own",),
    "own and imported": ("own", "clubs"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """What was said of peaks, (worlds,) each.

    `width` is ln(p95 / p50); `below`: the true peak is below the p95; `inside` the
    central 95 %; `score`: ln of the density of the true ln peak.
    """

    width: np.ndarray
    below: np.ndarray
    inside: np.ndarray
    score: np.ndarray


def judged(given: str, kind: Kind, worlds: range, seed: int) -> Judged:
    """Judge worlds by their numbers: each has a seed of its own."""
    rows = []
    for number in worlds:
        world = clubs.drawn(np.random.default_rng([seed, number]), kind)
        rows.append(_judged(model_of(world, GIVEN[given]), world))
    width, below, inside, score = (np.array(c) for c in zip(*rows, strict=True))
    return Judged(width=width, below=below, inside=inside, score=score)


def model_of(world: World, given: tuple[str, ...]) -> BurnModel:
    """Return the model that knows some parts of a world."""
    evidence: list[Burned] = []
    if "own" in given:
        evidence += [_own(pot, number) for number, pot in enumerate(world.own)]
    if "clubs" in given:
        shared = [
            one for n, pot in enumerate(world.clubs, 1) for one in _shared(pot, n)
        ]
        evidence += burned_elsewhere(shared, REFERENCE_TEMPERATURE, 0.0)
    if "published" in given:
        evidence.append(
            Burned(
                name="a law of 65/35",
                fractions=_fractions(clubs.DRY),
                kind=PUBLISHED,
                pressure=clubs.ENDS,
                rate=world.published,
                log_rate_u=clubs.PUBLISHED,
                exponent_u=0.05,
            )
        )
    return BurnModel(evidence)


def _fractions(mix: np.ndarray) -> dict[str, float]:
    return {n: x for n, x in zip(clubs.NAMES, mix.tolist(), strict=True) if x}


def _own(pot: Pot, number: int) -> Burned:
    return Burned(
        name="the user's mix",
        fractions=_fractions(pot.mix),
        batch=f"own {number}",
        pressure=pot.pressure,
        rate=pot.rate,
    )


def _shared(pot: Pot, number: int) -> list[SharedStrand]:
    """Return strands of a club as they are shared."""
    shares = {n: rounded(100.0 * x) for n, x in _fractions(pot.mix).items()}
    return [
        SharedStrand(
            licence="CC0-1.0",
            bench=f"{pot.club:016x}",
            batch=number,
            process="cooked syrup",
            numbers={
                "degraded_sugar_percent": 0.0,
                "pressure_MPa": rounded(1e-6 * p),
                "burn_rate_mm_s": rounded(1e3 * r),
            },
            shares=shares,
        )
        for p, r in zip(pot.pressure.tolist(), pot.rate.tolist(), strict=True)
    ]


#: ln(p / 2.5 MPa) at which the chance of a peak is reckoned; a spline in between.
_AT = np.linspace(-4.0, 3.7, 24)


def _judged(model: BurnModel, world: World) -> tuple[float, bool, bool, float]:
    """Return width, below, inside and score of the next batch, by the plain formula.

    A peak stays below p exactly if ln r(p) + ln S < ln p.
    """
    chance = _chances(model, world.mix)
    score = CubicSpline(_AT, ndtri(np.clip(chance, 1e-12, 1.0 - 1e-12)))
    fine = np.linspace(_AT[0], _AT[-1], 2000)
    low, p50, p95, high = (
        np.interp(ndtri(level), np.maximum.accumulate(score(fine)), fine, right=np.inf)
        for level in (0.025, 0.5, 0.95, 0.975)
    )
    true = math.log(world.peak / clubs.REFERENCE)
    at = min(max(true, _AT[0]), _AT[-1])
    density = math.exp(-0.5 * float(score(at)) ** 2) / math.sqrt(2.0 * math.pi)
    density *= max(float(score(at, 1)), 1e-6)
    told = math.log(max(density, 1e-4))
    width = float(p95 - p50) if np.isfinite(p95) else math.inf
    return width, bool(true <= p95), bool(low <= true <= high), told


def _chances(model: BurnModel, mix: np.ndarray) -> np.ndarray:
    """Return the chance of a peak below each pressure."""
    rows, size = model.rows, len(_AT)
    known, foreign = rows.aligned(mix, clubs.NAMES)
    assert not foreign.any()
    places = places_of(
        np.repeat(known, size, axis=0), _AT, batch=len(rows.batches), motor=True
    )
    means, own = model.joint(places)
    variances = np.diagonal(own, axis1=1, axis2=2)
    variances = variances + model.scatter.firing**2 + clubs.SUPPLY_U**2
    room = _AT + math.log(clubs.REFERENCE) - clubs.LOG_SUPPLY - means
    return np.asarray(model.weights @ ndtr(room / np.sqrt(variances)))


def narrowed(before: Judged, after: Judged) -> np.ndarray:
    """Return the share by which ln(p95 / p50) shrank; 0 where neither has a p95."""
    told = np.isfinite(before.width)
    gone = 1.0 - after.width / np.where(told, before.width, 1.0)
    return np.where(told, gone, np.where(np.isfinite(after.width), 1.0, 0.0))
