"""What is believed about the eight parameters together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.kitchen.parameters import (
    NAMES,
    OF_SYRUP,
    PARAMETERS,
    PLACE,
    Values,
    find,
    values_of,
)

#: Largest spread that can be stated.
WIDEST = 1.0e3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """What is believed about all parameters together.

    Attributes
    ----------
    mean : ndarray, shape (8,)
        On the scales of the normals.
    covariance : ndarray, shape (8, 8)
    origins : tuple of str
        Where each comes from.
    """

    mean: FloatArray
    covariance: FloatArray
    origins: tuple[str, ...]

    def central(self) -> Values:
        """Return the medians."""
        return values_of(self.mean)

    def spreads(self) -> FloatArray:
        """Return the standard deviations on the scales of the normals."""
        return np.sqrt(np.diag(self.covariance))

    def root(self) -> FloatArray:
        """Return the symmetric square root of the covariance, which may be singular."""
        size, vectors = np.linalg.eigh(self.covariance)
        return vectors * np.sqrt(np.maximum(size, 0.0)) @ vectors.T

    def draw(self, count: int, seed: int) -> Values:
        """Return seeded draws, spread evenly (Latin hypercube), shape (count,)."""
        rng = np.random.default_rng(seed)
        even = np.stack([rng.permutation(count) for _ in NAMES], axis=1)
        normals = ndtri((even + rng.random((count, len(NAMES)))) / count)
        return values_of(self.mean + normals @ self.root().T)

    def with_value(self, name: str, value: float, spread: float, origin: str) -> Belief:
        """Return the same with one parameter stated by the user, independent.

        Belief
        ----------
        name : str
        value : float
            Physical. [SI]
        spread : float
            Standard deviation on the parameter's scale (of ln x for a log scale).
        origin : str

        Raises
        ------
        InputError, UnknownNameError
        """
        parameter = find(name)
        inside = parameter.low <= value <= parameter.high
        if not (inside and 0.0 <= spread <= WIDEST):
            raise InputError(
                f"{name} is {value:g} with spread {spread:g}; allowed "
                f"{parameter.low:g} to {parameter.high:g} {parameter.unit}".rstrip()
                + f" and a spread of 0 to {WIDEST:g}"
            )
        place = PLACE[name]
        mean, covariance = self.mean.copy(), self.covariance.copy()
        mean[place] = float(parameter.inward(value))
        covariance[place, :] = covariance[:, place] = 0.0
        covariance[place, place] = spread**2
        origins = tuple(origin if i == place else o for i, o in enumerate(self.origins))
        return Belief(mean=mean, covariance=covariance, origins=origins)

    def of_another_syrup(self) -> Belief:
        """Return the same for a syrup that was not the one measured."""
        result = self
        for name in OF_SYRUP:
            p = find(name)
            result = result.with_value(name, p.middle, p.spread, p.origin)
        return result

    def interval(self, name: str) -> tuple[float, float, float]:
        """Return p10, p50 and p90 of one parameter, physical."""
        parameter, place = find(name), PLACE[name]
        spread = self.spreads()[place] * float(ndtri(0.9))
        low, middle, high = (
            float(parameter.outward(self.mean[place] + step))
            for step in (-spread, 0.0, spread)
        )
        return low, middle, high


def unmeasured(
    overrides: Mapping[str, tuple[float, float]] | None = None,
) -> Belief:
    """Return what is believed before any measurement.

    Belief
    ----------
    overrides : mapping, optional
        Name to (value, spread) that the user states instead; see
        :meth:`Belief.with_value`.

    Examples
    --------
    >>> float(unmeasured().central().packing)
    0.64
    """
    middles = np.array([float(p.inward(p.middle)) for p in PARAMETERS])
    spreads = np.array([p.spread for p in PARAMETERS])
    result = Belief(
        mean=middles,
        covariance=np.diag(spreads**2),
        origins=tuple(p.origin for p in PARAMETERS),
    )
    for name, (value, spread) in (overrides or {}).items():
        result = result.with_value(name, value, spread, "stated by the user")
    return result
