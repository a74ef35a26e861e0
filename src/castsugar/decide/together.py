"""Many searches side by side, their questions put to the problem in one batch.

A search is a generator: it yields an :class:`Ask` and is sent an :class:`Answer`.
A batch for all of them costs little more than one for one of them.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.ledger import Ledger

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ask:
    """Mixes to evaluate, and rows of them to differentiate.

    Attributes
    ----------
    fractions : ndarray, shape (n, k)
    region : int
    slopes : tuple of int
        Rows whose derivatives are of use, where the problem knows them.
    """

    fractions: FloatArray
    region: int
    slopes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """Columns (n, c), and derivatives (rows asked for, c, k) or None."""

    values: FloatArray
    slopes: FloatArray | None

    def split(self, rows: int, slopes: int) -> tuple[Answer, Answer]:
        """Return the answers to the first rows and slopes, and to the rest."""
        known = self.slopes
        return (
            Answer(
                values=self.values[:rows],
                slopes=None if known is None else known[:slopes],
            ),
            Answer(
                values=self.values[rows:],
                slopes=None if known is None else known[slopes:],
            ),
        )


Search = Generator[Ask, Answer, T]


def together(ledger: Ledger, searches: Sequence[Search[T]]) -> list[T]:
    """Run searches in step until all have returned; return their results in order."""
    results: dict[int, T] = {}
    asks: dict[int, Ask] = {}
    answers: dict[int, Answer | None] = dict.fromkeys(range(len(searches)))
    while answers:
        for index, answer in answers.items():
            try:
                # The first send to a generator starts it and must carry None.
                asks[index] = searches[index].send(answer)  # type: ignore[arg-type]
            except StopIteration as end:
                results[index] = end.value
        answers = dict(_answered(ledger, asks))
        asks = {}
    return [results[index] for index in range(len(searches))]


def _answered(ledger: Ledger, asks: dict[int, Ask]) -> list[tuple[int, Answer | None]]:
    """Put all questions in one batch."""
    if not asks:
        return []
    fractions = np.vstack([a.fractions for a in asks.values()])
    regions = np.concatenate(
        [np.full(len(a.fractions), a.region) for a in asks.values()]
    )
    values = ledger.ask(fractions, regions)
    wanted = [a.fractions[list(a.slopes)] for a in asks.values()]
    rows = np.vstack(wanted)
    slopes = ledger.derivatives(rows) if len(rows) else None
    found: list[tuple[int, Answer | None]] = []
    start = slope = 0
    for index, ask in asks.items():
        stop, until = start + len(ask.fractions), slope + len(ask.slopes)
        part = None if slopes is None else slopes[slope:until]
        found.append((index, Answer(values=values[start:stop], slopes=part)))
        start, slope = stop, until
    return found
