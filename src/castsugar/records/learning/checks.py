"""What was foreseen, held against what was measured: one check, and many."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.bench.bench import read_measurement
from castsugar.bench.kitchen import measurement
from castsugar.constants import COVERAGE
from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.frozen import dataclass
from castsugar.kitchen.calibration import compare
from castsugar.kitchen.heat import parse_cook
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.parameters import Belief
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.pressure_table import differs
from castsugar.records.batch import Batch, Spot
from castsugar.records.prediction import kitchen_of, thaw

# ----------------------------------------------------------------------------
# How many predictions came true, and what that says.

#: Probability of the bands.
LEVEL = 0.95

#: Below so many a good band and one that holds only four of five are not told apart:
#: even if all of n lie inside, the exact lower 95 % limit of the share,
#: 0.025**(1/n), is below 0.8 up to n = 16.
FEW = 17

#: A band whose ends lie further apart than this factor holds nearly anything.
WIDE = 10.0

#: Where 90 % of a normal lie below.
_NINE_OF_TEN = 1.281552

#: Chance below which too few inside is called more than bad luck.
ODD = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that was foreseen of a batch and measured later."""

    batch: str
    quantity: str
    unit: str
    #: predicted, low, high: as foreseen, and the 95 % band in which the measurement was
    #: to lie: the doubt of the prediction and that of the reading.
    predicted: float
    low: float
    high: float
    measured: float
    counts: bool = True  # whether it is a test of the band
    note: str = ""  # why not, or a remark
    discarded: bool = False  # whether the batch was discarded after it was measured
    ratio: bool = True  # whether the band is one of ratios, else of differences

    @property
    def above(self) -> bool:
        """Whether the measurement lies above the band."""
        return self.measured > self.high

    @property
    def inside(self) -> bool:
        """Whether the measurement lies within the band."""
        return self.low <= self.measured <= self.high

    @property
    def deviations(self) -> float:
        """By how many standard uncertainties it was missed; NaN with no end there.

        The band is that of a normal, of the logarithm or of the value, each side with
        its own width.
        """
        end = self.high if self.measured > self.predicted else self.low
        values = np.array([self.predicted, end, self.measured])
        if self.ratio and values.min() > 0.0:
            values = np.log(values)
        middle, end, measured = values
        width = abs(end - middle) / COVERAGE
        missed = abs(measured - middle)
        return float(missed / width) if 0.0 < width < math.inf else math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Skipped:
    """A measurement that no prediction of that day answers."""

    batch: str
    quantity: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How many lie inside."""

    count: int
    inside: int
    wide: int  # bands whose ends lie more than a factor WIDE apart
    expected: float  # of `count` bands of 95 %
    #: Chance that as few or fewer lie inside if the bands are what they say and the
    #: predictions independent (binomial); NaN without any.
    so_few: float
    #: Exact 95 % interval of the share inside (C. J. Clopper, E. S. Pearson, Biometrika
    #: 26 (1934) 404, from memory); NaN without any.
    share_low: float
    share_high: float

    @property
    def few(self) -> bool:
        """Whether there are too few to tell a good band from a poor one."""
        return self.count < FEW


def tally(checks: Sequence[Check]) -> Tally:
    """Count those that are tests of their bands.

    Examples
    --------
    >>> tally([]).count
    0
    """
    from scipy.stats import binom, binomtest

    counted = [c for c in checks if c.counts]
    n, k = len(counted), sum(c.inside for c in counted)
    if not n:
        gone = math.nan
        return Tally(
            count=0,
            inside=0,
            wide=0,
            expected=0.0,
            so_few=gone,
            share_low=gone,
            share_high=gone,
        )
    share = binomtest(k, n).proportion_ci(LEVEL, "exact")
    return Tally(
        count=n,
        inside=k,
        wide=sum(c.high > WIDE * c.low for c in counted),
        expected=LEVEL * n,
        so_few=float(binom.cdf(k, n, LEVEL)),
        share_low=float(share.low),
        share_high=float(share.high),
    )


# ----------------------------------------------------------------------------
# By how much the bands of a quantity are too narrow.

#: Comparisons of which a factor is shown, and the weight of what is believed before
#: them: as many comparisons with a band that is right. Ours.
_TOLD, _BELIEVED = 3, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Inflation:
    """By what factor the uncertainty of a quantity turned out too small."""

    quantity: str
    count: int  # comparisons that it comes from
    factor: float  # 1 where the bands were not too narrow


def inflations(checks: Sequence[Check]) -> tuple[Inflation, ...]:
    r"""Return a factor for every quantity that was compared often enough.

    .. math:: f = \max\left(1, \sqrt{\frac{8 + \sum z^2}{8 + n}}\right)

    with z of :attr:`Check.deviations`, of those checks that count.

    Examples
    --------
    >>> inflations([])
    ()
    """
    squares: dict[str, list[float]] = {}
    for check in checks:
        if check.counts and math.isfinite(check.deviations):
            squares.setdefault(check.quantity, []).append(check.deviations**2)
    return tuple(
        Inflation(
            quantity=quantity,
            count=len(z2),
            factor=max(
                1.0, math.sqrt((_BELIEVED + math.fsum(z2)) / (_BELIEVED + len(z2)))
            ),
        )
        for quantity, z2 in squares.items()
        if len(z2) >= _TOLD
    )


# ----------------------------------------------------------------------------
# Kitchen: what was foreseen of a batch, held against what was measured of it.

VISCOSITY, WATER = "pour viscosity", "water lost"

#: Share of the mass by which what was measured may differ from what was foreseen.
_SAME = 1e-3


class KitchenChecks:
    """Holds kitchen measurements against what was foreseen; learns each kitchen once.

    The viscosity and its band are those that the record froze. Of the water that
    leaves the record keeps no band: it comes from the kitchen table that the record
    froze, by the model of this version.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._beliefs: dict[str, tuple[Belief, float]] = {}
        self.checks: list[Check] = []
        self.skipped: list[Skipped] = []

    def add(self, batches: Sequence[Batch]) -> None:
        """Hold the measurements of batches against what was foreseen."""
        for batch in batches:
            for event in batch.standing:
                if event.kind != "measured":
                    continue
                kind = event.values["measurement"].get("kind")
                if kind not in ("flow-out", "pan weight"):
                    continue
                quantity = VISCOSITY if kind == "flow-out" else WATER
                try:
                    entry = read_measurement(
                        event.values["measurement"], Spot(batch.path, event.line)
                    )
                    why = self._foreign(batch, entry)
                    found = "" if why else self._held(batch, entry, quantity)
                except CastsugarError as error:
                    why, found = str(error), ""
                if isinstance(found, Check):
                    self.checks.append(found)
                else:
                    why = why or found
                    self.skipped.append(
                        Skipped(batch=batch.id, quantity=quantity, why=why)
                    )

    def _foreign(self, batch: Batch, entry: dict[str, object]) -> str:
        """Say why what was measured is not what was foreseen; empty if it is."""
        made = batch.made
        if not made.cook:
            return "no cook was stated, so nothing was predicted"
        if entry.get("salt", "potassium nitrate") != "potassium nitrate":
            return "measured with a salt that stands in for the nitrate"
        recipe = parse_recipe(str(entry["recipe"]), where="recipe")
        total = made.mass
        shares = {name: mass / total for name, mass in made.masses.items()}
        if differs(catalogue_shares(self._database, recipe.parts), shares) > _SAME:
            return "measured on another recipe"
        minutes = entry["minutes"]
        held = None if minutes is None else float(str(minutes))
        cooked = parse_cook(str(entry["cook"]), held)
        if cooked != parse_cook(made.cook, made.minutes):
            return "measured after another cook"
        return ""

    def _held(
        self, batch: Batch, entry: dict[str, object], quantity: str
    ) -> Check | str:
        """Hold one measurement against its prediction."""
        if quantity == VISCOSITY:
            return self._viscosity(batch, measurement(entry, 101325.0, self._database))
        belief, air = self._belief(batch)
        found = compare(belief, measurement(entry, air, self._database))
        return Check(
            batch=batch.id,
            quantity=WATER,
            unit="g",
            predicted=1e3 * found.expected,
            low=1e3 * max(found.low, 0.0),
            high=1e3 * found.high,
            measured=1e3 * found.observed,
            discarded=is_discarded(batch),
            ratio=False,
        )

    def _viscosity(self, batch: Batch, found: Measurement) -> Check | str:
        row = batch.predictions
        low, middle, high = (
            float(row.get(f"pour_viscosity{end}_Pa_s", math.nan))
            for end in ("_p10", "", "_p90")
        )
        if not (math.isfinite(low) and low > 0.0 and not math.isnan(high)):
            return "no pour viscosity was predicted"
        return Check(
            batch=batch.id,
            quantity=VISCOSITY,
            unit="Pa s",
            predicted=middle,
            low=end_of_band(low, middle, found.spread),
            high=end_of_band(high, middle, found.spread),
            measured=found.physical(found.observed),
            discarded=is_discarded(batch),
        )

    def _belief(self, batch: Batch) -> tuple[Belief, float]:
        """Return what was believed when a batch was made, and the air pressure."""
        frozen = batch.made.bench
        key = frozen.kitchen if frozen is not None else ""
        if key not in self._beliefs:
            bench = thaw(frozen, batch.path.parent)
            kitchen = kitchen_of(batch.made, bench, self._database)
            if kitchen is None:
                raise CastsugarError("no cook was stated, so nothing was predicted")
            self._beliefs[key] = kitchen.belief, kitchen.air_pressure
        return self._beliefs[key]


def is_discarded(batch: Batch) -> bool:
    """Whether a batch was discarded: it is compared, but teaches nothing."""
    return batch.outcome == "discarded"


def end_of_band(tenth: float, middle: float, reading: float = 0.0) -> float:
    r"""Return an end of a 95 % band from the frozen one-in-ten value of that side.

    ln eta is taken as normal on each side of its median (a split normal), and the
    error of the reading is added: :math:`1.96 \sqrt{(\ln(q/m)/1.28)^2 + u^2}`.
    """
    if math.isinf(tenth) or math.isinf(middle):
        return math.inf
    own = math.log(tenth / middle) / _NINE_OF_TEN
    step = COVERAGE * math.hypot(own, reading)
    return middle * math.exp(-step if tenth < middle else step)
