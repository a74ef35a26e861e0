"""From a good mix to the best one nearby: models of columns, steps within reach.

A trust-region method on quadratic models (A. R. Conn, K. Scheinberg & L. N. Vicente,
*Introduction to Derivative-Free Optimization*, SIAM 2009, from memory). The points for
the next model are asked for around the expected step, in the batch that tries it. Where
columns have kinks, models from several places nearby count together, so that a ridge
between two branches is seen from both sides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.judge import Judge, standing
from castsugar.decide.region import Region
from castsugar.decide.rivals import Board, Stand
from castsugar.decide.subproblem import Surroundings, best_step
from castsugar.decide.together import Answer, Ask, Search
from castsugar.decide.walk import Look, Walk

#: Reach of a plain look: widest and least. [coordinates]
_WIDEST, _LEAST = 0.05, 1e-3

#: Reach of the look that confirms an end.
_CONFIRM = 1e-2

#: A step or reach below this ends the search. [coordinates]
_DONE = 1e-8

#: An expected gain below this, of the objective's size, ends it too.
_GAIN = 1e-11

#: Most steps.
_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How a search goes on.

    Attributes
    ----------
    radius : float
        Reach of the first step. [coordinates of the region]
    gain : float
        Expected gain, of the objective's size, below which it ends.
    confirm : bool
        Whether an end is confirmed by a look from several places.
    board : Board, optional
        Where searches of the same goal write what they reached: one that is needless
        gives up.
    """

    radius: float = 0.1
    gain: float = _GAIN
    confirm: bool = True
    board: Board | None = None


#: The manner of a search on its own.
ALONE = Manner()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Polished:
    """Where a search ended.

    Attributes
    ----------
    fractions : ndarray, shape (k,)
    values : ndarray, shape (c,)
    region : int
    objective, violation : float
        As the judge sees them.
    steps : int
    converged : bool
    """

    fractions: FloatArray
    values: FloatArray
    region: int
    objective: float
    violation: float
    steps: int
    converged: bool


def polish(
    region: Region,
    number: int,
    judge: Judge,
    start: FloatArray,
    *,
    manner: Manner = ALONE,
) -> Search[Polished]:
    """Search the best mix near a start; a generator for :func:`together`.

    Parameters
    ----------
    region : Region
    number : int
        Of the region in the ledger.
    judge : Judge
    start : ndarray, shape (k,)
    manner : Manner
    """
    z = region.coordinates(region.mixes(region.coordinates(start)))
    walk = Walk(region=region, judge=judge, z=z, radius=manner.radius)
    look = Look.plain(z, min(manner.radius, _WIDEST))
    done = not (yield from _look(walk, number, look)) or region.dimension == 0
    while not done and walk.steps < _STEPS:
        walk.steps += 1
        done = yield from _step(walk, number, manner)
    objective, violation = standing(walk.outputs)
    if manner.board is not None and not walk.gave_up:
        manner.board.end(float(violation), float(objective))
    return Polished(
        fractions=region.mixes(walk.z),
        values=walk.values,
        region=number,
        objective=float(objective),
        violation=float(violation),
        steps=walk.steps,
        converged=done and bool(walk.pieces) and not walk.gave_up,
    )


def _ask(walk: Walk, number: int, points: FloatArray, slopes: range) -> Ask:
    return Ask(fractions=walk.region.mixes(points), region=number, slopes=tuple(slopes))


def _look(walk: Walk, number: int, look: Look) -> Search[bool]:
    """Stand at the centre of a look."""
    answer = yield _ask(walk, number, look.points, range(len(look.places)))
    return walk.arrive(look, answer)


def _step(walk: Walk, number: int, manner: Manner) -> Search[bool]:
    """Try the best steps of two reaches; return whether the search is at its end."""
    near = walk.surroundings(walk.radius)
    full = best_step(near)
    length = float(np.abs(full).max(initial=0.0)) * walk.radius
    gain = _expected_gain(walk, near, full)
    if _gives_up(walk, number, manner, gain):
        return True
    # What is beyond a limit by a hair still wants a step to restore it, however short.
    kept = standing(walk.outputs)[1] <= 0.0
    short, least = (_DONE, manner.gain) if kept else (1e-3 * _DONE, _GAIN)
    if length < short or gain < least:
        return (not manner.confirm) or (yield from _confirm(walk, number))
    look = _next_look(walk, walk.z + walk.radius * full, length)
    tries = np.vstack([_other_steps(walk, near, full), look.points])
    start = len(tries) - len(look)
    slopes = range(start, start + len(look.places))
    answer = yield _ask(walk, number, tries, slopes)
    merits = walk.merit(walk.judge.outputs(answer.values))
    before = float(walk.merit(walk.outputs))
    best = int(np.argmin(merits))
    if not merits[best] < before - 1e-14 * max(abs(before), 1.0):
        return (yield from _disappointed(walk, number, length))
    there = Answer(values=answer.values[start:], slopes=answer.slopes)
    ratio = (before - merits[start]) / max(gain, 1e-300)
    # A lucky point of the look is worth a detour only where the step itself failed.
    good = best == start or ratio > 0.3 or (ratio > 0.0 and best > start)
    if good and walk.arrive(look, there):
        _stretch(walk, length, ratio)
        return False
    if best < start:
        walk.radius *= (0.25, 0.5)[best]
    yield from _look(walk, number, _next_look(walk, tries[best], walk.radius))
    return False


def _gives_up(walk: Walk, number: int, manner: Manner, gain: float) -> bool:
    """Say whether another search of the same goal makes this one needless."""
    if manner.board is None:
        return False
    objective, violation = standing(walk.outputs)
    stand = Stand(
        region=number,
        fractions=walk.region.mixes(walk.z),
        violation=float(violation),
        objective=float(objective),
        steps=walk.steps,
        gain=gain,
    )
    if walk.entry is None:
        walk.entry = manner.board.enter()
    walk.gave_up = manner.board.needless(walk.entry, stand)
    return walk.gave_up


def _other_steps(walk: Walk, near: Surroundings, full: FloatArray) -> FloatArray:
    """Return a step of a quarter of the reach, and one by one model or half as far."""
    inner = 0.25 * best_step(walk.surroundings(0.25 * walk.radius))
    other = best_step(near.first()) if len(walk.pieces) > 1 else 0.5 * full
    return walk.z + walk.radius * np.stack([inner, other])


def _next_look(walk: Walk, z: FloatArray, length: float) -> Look:
    """Return how to look around the next place."""
    if walk.kinky:
        return Look.sampling(z, float(np.clip(length, 1e-6, _CONFIRM)))
    return Look.plain(z, float(np.clip(0.2 * length, _LEAST, _WIDEST)))


def _expected_gain(walk: Walk, near: Surroundings, w: FloatArray) -> float:
    """Return what a step gains by the models; raise the weight if it must pay."""
    objective, violation = near.standing(np.zeros_like(w))
    after, left = near.standing(w)
    restored = violation - left
    if restored > 1e-12 and after > objective:
        paying = 2.0 * (after - objective) / restored
        walk.weight = min(max(walk.weight, paying), 1e8)
    return (objective - after) + walk.weight * restored


def _confirm(walk: Walk, number: int) -> Search[bool]:
    """Where the models call the mix best: look from several places nearby.

    A kink makes a smooth model believe in an optimum that is none.
    """
    least = walk.reach <= 0.1 * _CONFIRM
    if len(walk.pieces) > 1 and (least or not walk.kinky):
        return True
    smaller = 0.1 * walk.reach / 0.03 if len(walk.pieces) > 1 else _CONFIRM
    yield from _look(walk, number, Look.sampling(walk.z, min(smaller, _CONFIRM)))
    if not walk.kinky:
        near = walk.surroundings(_CONFIRM)
        if _expected_gain(walk, near, best_step(near)) < 10.0 * _GAIN:
            return True
    walk.radius = _CONFIRM
    return False


def _disappointed(walk: Walk, number: int, length: float) -> Search[bool]:
    """Nothing better was found: step less far, and look from several places."""
    walk.radius = 0.25 * min(walk.radius, length)
    if walk.radius < _DONE:
        return True
    yield from _look(walk, number, Look.sampling(walk.z, walk.radius))
    return False


def _stretch(walk: Walk, length: float, ratio: float) -> None:
    """Choose the next reach after a success."""
    if ratio < 0.3:
        walk.radius = 0.5 * length
    elif length > 0.9 * walk.radius:
        walk.radius = min(2.0 * walk.radius, 1.0)
    walk.radius = max(walk.radius, 4.0 * _DONE)
