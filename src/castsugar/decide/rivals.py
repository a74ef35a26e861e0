"""Searches of the same goal that know of each other: who need not go on."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.starts import apart

#: Two searches this close are in the same basin. [share of the mix]
_CLOSE = 0.01

#: Steps after which a search may be behind, and how many times the expected gain of its
#: next step it may still hope for.
_PATIENCE, _HOPE = 8, 100.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stand:
    """Where a search stands.

    Attributes
    ----------
    region : int
    fractions : ndarray, shape (k,)
    violation, objective : float
        Scaled, to be minimised.
    steps : int
        Made so far.
    gain : float
        Expected of the next.
    """

    region: int
    fractions: FloatArray
    violation: float
    objective: float
    steps: int
    gain: float


@dataclass(slots=True, kw_only=True)
class Board:
    """Where each search stands, and the best that has come to its end."""

    stands: dict[int, Stand] = field(default_factory=dict)
    best: float = np.inf

    def enter(self) -> int:
        """Return the number of a new search."""
        return len(self.stands)

    def needless(self, number: int, stand: Stand) -> bool:
        """Write down where a search stands; say whether it need not go on.

        It need not where a better one is in the same basin, or where an ended one is so
        far ahead that the next steps cannot reach it.
        """
        self.stands[number] = stand
        own = (stand.violation, stand.objective, number)
        for other, rival in self.stands.items():
            ahead = (rival.violation, rival.objective, other) < own
            if not ahead or rival.region != stand.region or other == number:
                continue
            if float(apart(stand.fractions, rival.fractions)) < _CLOSE:
                return True
        hoped = stand.objective - _HOPE * max(stand.gain, 0.0)
        return stand.steps > _PATIENCE and hoped > self.best

    def end(self, violation: float, objective: float) -> None:
        """Write down where a search ended."""
        if violation <= 0.0:
            self.best = min(self.best, objective)
