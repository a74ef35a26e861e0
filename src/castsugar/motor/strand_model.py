"""What strands say of grains in a motor, and of the recipes that they are of."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.motor.burn_evidence import Burned, places_of
from castsugar.motor.burn_model import NEXT, SAME, Asked, BurnModel, Rates
from castsugar.motor.law_of_mix import exponent_of
from castsugar.motor.mix_difference import difference
from castsugar.motor.pressure_table import differs
from castsugar.motor.scatter import CENTRE, CENTRE_MIX, PROCESSES, Scatter
from castsugar.motor.strands import MixResult, Strand, StrandResults

#: What two mixes of a file are compared as.
RECIPES, BATCHES = "recipes", "batches"

#: Verdicts.
DIFFER, CANNOT_TELL = "differ", "cannot tell"

#: Two-sided quantile of a normal, 95 %.
_COVERAGE = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two mixes side by side."""

    #: Names of the mixes.
    first: str
    second: str
    #: RECIPES, or BATCHES where a recipe is not known or both have one: then nothing is
    #: said of recipes.
    of: str
    verdict: str  # DIFFER or CANNOT_TELL, of the recipes
    reason: str  # why recipes cannot be compared, else empty
    missing: tuple[str, ...]  # mixes whose recipe is not known
    pressure: float  # [Pa]
    #: Rate of the first recipe over that of the second, and 95 % of it; NaN for
    #: batches.
    ratio: float
    low: float
    high: float
    chance: float  # that the first recipe burns faster; NaN for batches
    #: The same of strands of the batches that burned.
    batch_ratio: float
    batch_low: float
    batch_high: float
    batches: tuple[int, int]  # how many of each
    strand: float  # scatter from strand to strand that is taken


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """A mix of the file: its model, and what of it burned there, batch by batch."""

    model: BurnModel
    burned: tuple[Burned, ...]

    @property
    def shares(self) -> Mapping[str, float]:
        return self.burned[0].shares

    @property
    def last(self) -> Burned:
        return self.burned[-1]

    @property
    def mix(self) -> tuple[FloatArray, tuple[str, ...]]:
        return np.array([list(self.shares.values())]), tuple(self.shares)

    def rates(self, pressure: float, of: str, *, motor: bool = True) -> Rates:
        """Return ln r of it, made as the last batch; see :class:`Asked`."""
        asked = Asked(of=of, motor=motor, process=self.last.process)
        return self.model.rates(*self.mix, pressure, asked, self.last.degraded)


class StrandModel:
    """The model of burn rates of strands alone.

    Mixes whose recipes are known share one model. A mix without one has a model of its
    own, at the centre of the prior: its strands then say what its batch does and how
    far the next may be from it, and nothing of another mix.

    Parameters
    ----------
    recipes : mapping
        Name of a mix to its mass fractions by catalogue name, where they are known.
    """

    def __init__(
        self,
        results: StrandResults,
        recipes: Mapping[str, Mapping[str, float]] | None = None,
        known: Scatter | None = None,
    ) -> None:
        self.results, self.recipes = results, dict(recipes or {})
        self.scatter = known or Scatter()

    def __repr__(self) -> str:
        return f"StrandModel({len(self.results.mixes)} mixes)"

    @functools.cached_property
    def together(self) -> BurnModel:
        """Return the model of the mixes whose recipes are known."""
        every = [b for one in self.results.mixes for b in self._burned(one.mix)]
        return BurnModel([b for b in every if b.name in self.recipes], self.scatter)

    @functools.cached_property
    def _mixes(self) -> dict[str, _Known]:
        found = {}
        for one in self.results.mixes:
            burned = self._burned(one.mix)
            own = one.mix in self.recipes
            model = self.together if own else BurnModel(burned, self.scatter)
            found[one.mix] = _Known(model, tuple(burned))
        return found

    def _burned(self, mix: str) -> list[Burned]:
        """Return the strands of each batch of a mix."""
        fractions = self.recipes.get(mix, CENTRE_MIX)
        return burned_by_batch(mix, fractions, self._result(mix).strands)

    def _result(self, mix: str) -> MixResult:
        return next(one for one in self.results.mixes if one.mix == mix)

    def batches(self, mix: str) -> tuple[str, ...]:
        """Return the names of the batches of a mix."""
        return tuple(one.batch for one in self._mixes[mix].burned)

    def model(self, mix: str) -> BurnModel:
        """Return the model that speaks of a mix."""
        return self._mixes[mix].model

    def grain(
        self, mix: str, pressure: float, of: str = NEXT
    ) -> tuple[float, float, float]:
        """Return the rate of a grain in a motor, and 95 % of it. [m/s]

        Parameters
        ----------
        pressure : float
            [Pa]
        of : str
            Of the next batch, or the name of one that burned.
        """
        rates = self._mixes[mix].rates(pressure, of)
        low, high = rates.band()
        return math.exp(float(rates.mean[0])), math.exp(low), math.exp(high)

    def exponent(self, mix: str) -> tuple[float, float]:
        """Return n of a mix at 2.5 MPa, and its standard uncertainty."""
        own = self._mixes[mix]
        return exponent_of(own.model, *own.mix, Asked())

    # ------------------------------------------------------------------------
    # Two mixes.

    def comparisons(self, pressure: float = CENTRE) -> tuple[Comparison, ...]:
        """Return every pair of mixes side by side, at a pressure [Pa]."""
        names = [one.mix for one in self.results.mixes]
        return tuple(
            self._compared(a, b, pressure) for a, b in itertools.combinations(names, 2)
        )

    def _compared(self, first: str, second: str, pressure: float) -> Comparison:
        one, other = self._mixes[first], self._mixes[second]
        missing = tuple(n for n in (first, second) if n not in self.recipes)
        reason = self._reason(first, second, missing)
        ratio = low = high = chance = math.nan
        verdict = CANNOT_TELL
        if not reason:
            found = difference(
                self.together,
                (one.shares, other.shares),
                pressure=pressure,
                processes=(one.last.process, other.last.process),
                degraded=(one.last.degraded, other.last.degraded),
            )
            ratio, low, high = map(math.exp, (found.mean, found.low, found.high))
            chance, verdict = found.chance, DIFFER if found.told else CANNOT_TELL
        apart, u = self._apart(one, other, pressure)
        return Comparison(
            first=first,
            second=second,
            of=BATCHES if reason else RECIPES,
            verdict=verdict,
            reason=reason,
            missing=missing,
            pressure=pressure,
            ratio=ratio,
            low=low,
            high=high,
            chance=chance,
            batch_ratio=math.exp(apart),
            batch_low=math.exp(apart - _COVERAGE * u),
            batch_high=math.exp(apart + _COVERAGE * u),
            batches=(len(one.burned), len(other.burned)),
            strand=float(one.model.weights @ one.model.widths.strand),
        )

    def _reason(self, first: str, second: str, missing: Sequence[str]) -> str:
        """Say why two recipes cannot be compared; empty where they can."""
        if missing:
            return f"no recipe of {' and '.join(map(repr, missing))} is known"
        if differs(self._mixes[first].shares, self._mixes[second].shares) < SAME:
            return "they are one recipe"
        return ""

    def _apart(
        self, one: _Known, other: _Known, pressure: float
    ) -> tuple[float, float]:
        """Return ln of the ratio of strands of the last batches, and its u."""
        last = (one.last, other.last)
        if one.model is not other.model:
            a, b = (k.rates(pressure, k.last.batch, motor=False) for k in (one, other))
            return float(a.mean[0] - b.mean[0]), math.hypot(a.u[0], b.u[0])
        model = one.model
        names, mixes = model.rows.over([burned.shares for burned in last])
        pair = places_of(
            mixes,
            math.log(pressure / CENTRE),
            batch=[model.rows.batches.index(burned.batch) for burned in last],
            process=[model.process_number(burned.process) for burned in last],
            degraded=[burned.degraded for burned in last],
        )
        return model.mixed(*model.apart(pair, names))


def burned_by_batch(
    name: str,
    fractions: Mapping[str, float],
    strands: Sequence[Strand],
    source: str = "",
    **more: Any,
) -> list[Burned]:
    """Return the strands of each batch: by its name, else one a file, mix and day.

    Parameters
    ----------
    name, fractions
        Of their mix, as for :class:`castsugar.motor.burn_evidence.Burned`.
    source : str
        Their file, if not as they say.
    **more
        What else each entry carries.
    """
    batches = pots(name, strands, source)
    return [
        Burned(
            name=name,
            fractions=fractions,
            batch=batch,
            pressure=np.array([s.pressure for s in own]),
            rate=np.array([s.rate for s in own]),
            process=own[0].process or PROCESSES[0],
            degraded=math.fsum(s.degraded for s in own) / len(own),
            source=source,
            **more,
        )
        for batch, own in batches.items()
    ]


def pots(
    name: str, strands: Sequence[Strand], source: str = ""
) -> dict[str, list[Strand]]:
    """Return the strands of one mix by their batch; as for :func:`burned_by_batch`."""
    batches: dict[str, list[Strand]] = {}
    for strand in strands:
        file = source or strand.file or "strands"
        unnamed = (file, name, strand.date, strand.process)
        batch = strand.batch or ", ".join(filter(None, unnamed))
        batches.setdefault(batch, []).append(strand)
    return batches
