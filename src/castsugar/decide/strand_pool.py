"""Mixes burned and mixes to choose from, in common components."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.decide.starts import apart
from castsugar.decide.strand_candidates import Candidates
from castsugar.decide.task import Task

#: Mixes whose fractions differ by less are one.
SAME = 1e-6

#: New mixes differ by this share of the mass, or by this part of the widest difference
#: where that is less (assumed: nearer ones are replicates in all but name).
_APART, _SHARE = 0.03, 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pool:
    """Mixes burned and mixes to choose from, in components that hold both.

    Attributes
    ----------
    columns : tuple of str
        Of the space.
    components : tuple of str
        Of the mixes below: those of the measured mixes, then further ones of the space;
        without those that no mix holds.
    names : tuple of str
        Of the measured mixes.
    measured : ndarray, shape (m, q)
    mixes : ndarray, shape (n, q)
        Of the space.
    repeatable : ndarray, shape (r, q)
        Those of `measured` that the space has all ingredients for.
    new : ndarray of int, shape (c,)
        Those of `mixes` that a test of its own is worth: apart from measured ones and
        from each other, the farthest out first. All, if none is.
    """

    columns: tuple[str, ...]
    components: tuple[str, ...]
    names: tuple[str, ...]
    measured: FloatArray
    mixes: FloatArray
    repeatable: FloatArray
    new: NDArray[np.int64]

    @classmethod
    def of(cls, task: Task, candidates: Candidates, count: int) -> Pool:
        """Return the mixes of a task, for `count` new ones."""
        columns, motor = task.space.columns, task.settings.motor
        burned: tuple[str, ...] = ()
        shares = np.empty((0, 0))
        names: tuple[str, ...] = ()
        if motor is not None and motor.burning.law.mixes:
            burned = motor.burning.components
            shares = np.array([m.fractions for m in motor.burning.law.mixes])
            names = tuple(m.name for m in motor.burning.law.mixes)
        components = tuple(dict.fromkeys([*burned, *columns]))
        measured = _placed(shares, burned, components)
        mixes = _placed(candidates.fractions, columns, components)
        used = np.flatnonzero(np.vstack([measured, mixes]).max(axis=0) > 0.0)
        inside = np.array([c in columns for c in components])
        fitting = measured[:, ~inside].max(axis=1, initial=0.0) <= SAME
        return cls(
            columns=columns,
            components=tuple(components[i] for i in used),
            names=names,
            measured=measured[:, used],
            mixes=mixes[:, used],
            repeatable=measured[fitting][:, used],
            new=_new(mixes, measured, count),
        )

    def recipe(self, mix: FloatArray) -> dict[str, float]:
        """Return a mix by name, in the order of the components."""
        pairs = zip(self.components, mix.tolist(), strict=True)
        return {name: share for name, share in pairs if share > 0.0}


def _placed(
    fractions: FloatArray, names: tuple[str, ...], components: tuple[str, ...]
) -> FloatArray:
    """Return fractions of some names as fractions of all components."""
    found = np.zeros((len(fractions), len(components)))
    for place, name in enumerate(names):
        found[:, components.index(name)] = fractions[:, place]
    return found


def _new(mixes: FloatArray, measured: FloatArray, count: int) -> NDArray[np.int64]:
    """Return mixes apart from measured ones and each other, farthest out first."""
    middle = mixes.mean(axis=0)
    order = np.argsort(-apart(middle, mixes).round(9), kind="stable")
    wide = 2.0 * float(apart(middle, mixes).max())
    for share in (1.0, 0.5, 0.25, 0.0):
        found = _spaced(mixes, measured, order, share * min(_APART, _SHARE * wide))
        if len(found) >= count:
            break
    return np.array(found or order, dtype=np.int64)


def _spaced(
    mixes: FloatArray, measured: FloatArray, order: NDArray[np.int64], space: float
) -> list[int]:
    """Return the first mixes of an order that keep a distance."""
    taken, found = [*measured], list[int]()
    for index in order.tolist():
        mix = mixes[index]
        if not taken or apart(mix, np.array(taken)).min() > max(space - SAME, SAME):
            taken.append(mix)
            found.append(index)
    return found
