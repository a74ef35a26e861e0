r"""What a burn is worth before it is made: by what it may change, and by doubt removed.

Of targets T (ln r of grains in the motor) and outcomes Y means and covariances are
known. An outcome with variance v moves the means of T by z k and lowers their variances
by k squared, z normal and

.. math:: k = cov(T, Y) / \sqrt{v}

so that what it will be worth is an average over z. (Value of information: P. I.
Frazier, W. B. Powell & S. Dayanik, *INFORMS J. Comput.* 21 (2009) 599, from memory.)
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.special import ndtr

#: Points over which z is averaged.
_NODES = 9

#: What the share of the variance that a burn removes counts, and how far below the
#: worst mix it counts if none keeps the limit; in points of mass. Ours: of the rules
#: tried in simulated workshops the best.
DOUBT, NONE_KEEPS = 0.05, 5.0

#: A worth that is none, and by which share two count as alike.
_NOTHING, _ALIKE = 1e-12, 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stakes:
    """What hangs on burn rates, and what could be burned."""

    mean: FloatArray  # of ln r of the targets: mixes at the pressure of the limit, (n,)
    #: Of targets, then outcomes, without what every grain or outcome has by itself, (n
    #: + m, n + m).
    covariance: FloatArray
    #: Variance that no burn lowers: of the batch and the firing to come, (n,).
    own: FloatArray
    noise: FloatArray  # variance that each outcome has by itself, (m,)
    cost: FloatArray  # (m,)
    objective: FloatArray  # more is better, in points of mass, (n,)
    room: FloatArray  # what ln r must stay below; infinite without a limit, (n,)
    room_u: float = 0.0  # its standard uncertainty
    #: Standard deviations between mean and limit that are asked for.
    score: float = 1.6449

    @property
    def variance(self) -> FloatArray:
        """Return the variance of ln r of a grain to come, (n,)."""
        n = len(self.mean)
        return np.asarray(np.maximum(np.diag(self.covariance)[:n], 0.0) + self.own)

    def slack(self, mean: FloatArray, variance: FloatArray) -> FloatArray:
        """Return how far the limit is kept, for means and variances (..., n)."""
        high = mean + self.score * np.sqrt(variance + self.room_u**2)
        return np.asarray(self.room - high)

    def utility(self, mean: FloatArray, variance: FloatArray) -> FloatArray:
        """Return the best objective of a mix that keeps the limit, (...)."""
        each = self.objective
        kept = self.slack(mean, variance) >= 0.0
        return np.asarray(np.where(kept, each, each.min() - NONE_KEEPS).max(axis=-1))

    @property
    def best(self) -> int | None:
        """Return the present optimum; the mix nearest to the limit if none keeps it.

        None without a limit.
        """
        if np.isposinf(self.room).all():
            return None
        slack = self.slack(self.mean, self.variance)
        kept = slack >= 0.0
        if kept.any():
            return int(np.argmax(np.where(kept, self.objective, -np.inf)))
        return int(np.argmax(slack))

    def _levers(self) -> FloatArray:
        """Return k of every outcome, (m, n)."""
        n = len(self.mean)
        total = np.diag(self.covariance)[n:] + self.noise
        known = np.maximum(total, _NOTHING)[:, None]
        return np.asarray(self.covariance[n:, :n] / np.sqrt(known))

    def gains(self) -> FloatArray:
        """Return what each outcome is expected to add to the utility, (m,).

        Bad news alone adds nothing, and counts as nothing.
        """
        mean, left, share = self.foreseen()
        now = float(self.utility(self.mean, self.variance))
        found = self.utility(mean, left) @ share - now
        return np.asarray(np.where(found > 1e-9, found, 0.0))

    def foreseen(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return means (m, z, n) and variances (m, 1, n) after outcomes at nodes z.

        And how much each node counts, (z,).
        """
        z, share = np.polynomial.hermite_e.hermegauss(_NODES)
        k = self._levers()
        mean = self.mean + k[:, None] * z[:, None]
        left = np.maximum(self.variance - k**2, self.own)[:, None]
        return np.asarray(mean), np.asarray(left), np.asarray(share / share.sum())

    def chance(self, mean: FloatArray, variance: FloatArray) -> FloatArray:
        """Return how surely the limit is kept, for means and variances (..., n)."""
        doubt = np.sqrt(variance + self.room_u**2)
        return np.asarray(ndtr((self.room - mean) / doubt))

    def shares(self) -> FloatArray:
        """Return the share of the variance that each outcome removes, (m,).

        At the present optimum; of the mean over all mixes without a limit.
        """
        removed, variance, best = self._levers() ** 2, self.variance, self.best
        if best is None:
            return np.asarray(removed.mean(axis=1) / variance.mean())
        return self.removed(best)

    def removed(self, mix: int) -> FloatArray:
        """Return the share of the variance at a mix that each outcome removes, (m,)."""
        return np.asarray(self._levers()[:, mix] ** 2 / self.variance[mix])

    def worth(self) -> FloatArray:
        """Return what each outcome is worth for its cost, (m,)."""
        return np.asarray((self.gains() + DOUBT * self.shares()) / self.cost)

    def after(self, outcome: int) -> Stakes:
        """Return what is at stake after an outcome as expected: means stay."""
        place = len(self.mean) + outcome
        column = self.covariance[:, place]
        total = column[place] + self.noise[outcome]
        left = self.covariance - np.outer(column, column) / max(total, _NOTHING)
        return replace(self, covariance=left)


def most_telling(stakes: Stakes, count: int) -> list[int]:
    """Return outcomes, each worth most after those before it.

    What is worth nothing is left out, so there may be fewer. One may come again: as a
    batch more, where batches scatter by themselves.
    """
    found: list[int] = []
    for _ in range(count):
        worth = stakes.worth()
        most = float(worth.max(initial=0.0))
        if most <= _NOTHING:
            break
        found.append(int(np.flatnonzero(worth >= most * (1.0 - _ALIKE))[0]))
        stakes = stakes.after(found[-1])
    return found
