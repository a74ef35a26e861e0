"""Mixes into the pot: what the kitchen says about each, as columns.

Works without Cantera; :func:`castsugar.evaluate` adds how the mixes burn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.checks import instance, named_options
from castsugar.columns import COLUMNS
from castsugar.constants import ICE_POINT
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import WARN
from castsugar.kitchen.parameters import Kitchen, find
from castsugar.kitchen.pot import (
    SYRUP_SOLIDS,
    Pot,
    measured_syrup,
    pots_of,
    water_at_start,
    water_left,
)
from castsugar.kitchen.pour_window import windows
from castsugar.kitchen.verdict import Verdict, intervals, judge
from castsugar.mix.basis import basis, stamped
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix, MixLike, as_mixes
from castsugar.mix.syrups import SyrupUse
from castsugar.mix.weighing import BROWNED_FLAG, BROWNED_MOST

if TYPE_CHECKING:
    import pandas as pd

Columns = dict[str, Any]


@named_options
def kitchen_table(
    mixes: MixLike | Iterable[MixLike] | Blends, kitchen: Kitchen
) -> pd.DataFrame:
    """Return what a kitchen says about mixes: name, water, density, kitchen columns.

    Parameters
    ----------
    mixes : Mix, recipe or recipe text, an iterable of these, or Blends
    kitchen : Kitchen

    Returns
    -------
    pandas.DataFrame
        One row a mix. A mix without a model keeps its row, with NaN and the reason in
        `flags`. Its ``attrs`` say cook, draws, seed, versions and sources.

    Notes
    -----
    Needs no Cantera: nothing is burnt.

    Valid for nitrate with sucrose, syrup and those sugars that have a model, up to
    150 C in the bulk; without measurements pour viscosities are known to a factor
    of 4. Source: equations that :func:`castsugar.cite` of the table names.

    Examples
    --------
    >>> from castsugar import Cook, Kitchen
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    >>> table = kitchen_table("KNO3:65 sucrose:20 corn syrup:15", kitchen)
    >>> table["flow_class"][0], round(table["water_as_cast_percent"][0], 1)
    ('no flow', np.float64(3.0))
    """
    import pandas as pd

    instance(kitchen, Kitchen, "kitchen", optional=False)
    given = mixes if isinstance(mixes, Blends) else of_mixes(as_mixes(mixes))
    said = cook(given, kitchen)
    blends = said.blends
    columns: Columns = {
        "name": list(blends.names),
        "water_as_weighed_percent": 100.0 * blends.water_as_weighed,
        "water_as_cast_percent": 100.0 * blends.water_as_cast,
        "density_kg_m3": blends.density,
        **said.columns(),
        "flags": said.flags(),
    }
    keys = [c.key for c in COLUMNS if c.key in columns]
    table = pd.DataFrame(columns, columns=keys)
    return stamped(table, basis(blends, kitchen=kitchen))


#: What has a band -> its column.
_BANDED = {
    "viscosity": "pour_viscosity_Pa_s",
    "crowding": "relative_solids_pour",
    "relative_solids_20C": "relative_solids_20C",
    "humidity": "storage_humidity_max_percent",
}

#: Of these, what quantiles can be asked of.
_ASKED = ("viscosity", "relative_solids_20C")


def kitchen_intervals(
    mixes: MixLike | Iterable[MixLike] | Blends, kitchen: Kitchen
) -> list[dict[str, tuple[float, float]]]:
    """Return the 95 % bands of kitchen columns, one mapping a mix.

    Parameters
    ----------
    mixes : Mix, recipe or recipe text, an iterable of these, or Blends
    kitchen : Kitchen

    Returns
    -------
    list of dict
        Key of a column to the ends of its band [unit of the column]: the central
        95 % of the kitchen's draws. Empty for a mix without a model.

    See Also
    --------
    kitchen_table : the best estimates.

    Examples
    --------
    >>> from castsugar import Cook, Kitchen
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    >>> band, = kitchen_intervals("KNO3:60 sucrose:20 corn syrup:20", kitchen)
    >>> low, high = band["relative_solids_20C"]
    >>> round(low, 1), round(high, 1)
    (1.0, 1.3)
    """
    instance(kitchen, Kitchen, "kitchen", optional=False)
    given = mixes if isinstance(mixes, Blends) else of_mixes(as_mixes(mixes))
    pot = pots_of(given, kitchen)
    found = intervals(pot, kitchen)
    return [
        {}
        if why or kitchen.too_hot
        else {_BANDED[n]: (float(b[0, i]), float(b[1, i])) for n, b in found.items()}
        for i, why in enumerate(pot.gap)
    ]


#: Nitrate of mixes that anybody casts, and what of it may be moisture. [mass fraction]
CASTABLE, _MOIST = (0.40, 0.85), 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cooked:
    """What came out of the pot."""

    pot: Pot  # as weighed
    blends: Blends  # cast with the water that the kitchen leaves
    verdict: Verdict

    def columns(self) -> Columns:
        """Return the kitchen columns of the contract."""
        return _columns(self.verdict)

    def chances(self) -> dict[tuple[str, float], FloatArray]:
        """Return the quantiles that were asked for, by column and level."""
        found = self.verdict.chances.items()
        return {(_BANDED[name], level): values for (name, level), values in found}

    def castable_windows(self, kitchen: Kitchen, burns: BoolArray) -> Columns:
        """Return the pour windows of what burns and has a castable share of nitrate.

        NaN for all others: not asked.
        """
        low, high = CASTABLE
        nitrate = self.pot.nitrate
        asked = burns & (nitrate >= low - _MOIST) & (nitrate <= high + _MOIST)
        return _window_columns(windows(self.pot, kitchen, asked))

    def flags(self) -> list[str]:
        """Return what is special about each row, in mix and kitchen."""
        both = zip(self.blends.flags, _flags(self.verdict), strict=True)
        return ["; ".join([*own, *more]) for own, more in both]


def as_cast(mix: Mix, kitchen: Kitchen) -> Mix:
    """Return a mix cast with the water that a kitchen leaves."""
    return cook(of_mixes([mix]), kitchen, window=False).blends.mixes[0]


def casting_of(mix: Mix, kitchen: Kitchen) -> tuple[float, float]:
    """Return how dense a casting is over one without voids, and its uncertainty."""
    verdict = cook(of_mixes([mix]), kitchen, window=False).verdict
    ratio, u = verdict.density_ratio
    return float(ratio[0]), float(u[0])


def cook(
    blends: Blends,
    kitchen: Kitchen,
    *,
    window: bool = True,
    boils: bool = True,
    chances: Sequence[tuple[str, float]] = (),
) -> Cooked:
    """Judge mixes, and cast them again with the water that the kitchen leaves.

    The dry solids of the syrup that was measured become those of the kitchen, so that
    thermochemistry sees the same water. A mix whose `water_lost` is above 0 keeps it:
    its loss is known. Mixes without a kitchen model lose what is stated, and no more.
    Each learns how far its sugar browned. `window` and `boils` as for
    :func:`castsugar.kitchen.verdict.judge`; `chances` are quantiles of columns,
    (column, level); those of other wings are left out.
    """
    pot = pots_of(blends, kitchen)
    drawn = {column: name for name, column in _BANDED.items() if name in _ASKED}
    asked = [(drawn[column], level) for column, level in chances if column in drawn]
    verdict = judge(pot, kitchen, window=window, boils=boils, chances=asked)
    told = np.array([not why for why in verdict.gap], dtype=bool)
    unsaid = np.where(np.isnan(pot.stated_loss), blends.water_lost, pot.stated_loss)
    lost = np.where(told, verdict.water_lost, unsaid)
    browned = browned_of(pot, kitchen)
    measured = told & pot.measured_syrup
    if blends.items:
        solids = _solids([i.syrup for i in blends.items if i.syrup], kitchen)
        again = blends.cast_again(lost, solids, browned=browned)
        if solids and not measured.all():
            again = again.where(measured, blends.cast_again(lost, browned=browned))
        return Cooked(pot=pot, blends=again, verdict=verdict)
    cast = []
    each = zip(blends.mixes, lost, browned, measured, strict=True)
    for mix, share, brown, mine in each:
        solids = _solids(mix.syrups, kitchen) if mine else {}
        mix = mix.with_syrup_solids(solids) if solids else mix
        mix = mix.with_water_lost(min(max(float(share), 0.0), 1.0))
        cast.append(replace(mix, browned=float(brown)))
    return Cooked(pot=pot, blends=of_mixes(cast), verdict=verdict)


def _window_columns(edges: FloatArray) -> Columns:
    """Return pour windows [K] as columns."""
    low, high = edges - ICE_POINT
    return {"pour_window_low_C": low, "pour_window_high_C": high}


def water_interval(mix: Mix, kitchen: Kitchen) -> tuple[float, float]:
    """Return the 95 % band of the water that leaves, as a share of the mix as weighed.

    Of the kitchen's draws; NaN for a mix without a model and for too hot a cook.
    """
    pot = pots_of(of_mixes([mix]), kitchen)
    if pot.gap[0] or kitchen.too_hot:
        return (math.nan, math.nan)
    mine = bool(pot.measured_syrup[0])
    known = kitchen.belief if mine else kitchen.belief.of_another_syrup()
    values = known.draw(kitchen.draws, kitchen.seed)
    start = water_at_start(pot, values)
    lost = start - water_left(pot, values, kitchen.cook, kitchen.air_pressure)
    low, high = (float(x) for x in np.quantile(lost, (0.025, 0.975)))
    return (low, high)


def browned_of(pot: Pot, kitchen: Kitchen) -> FloatArray:
    """Return what share of its sugar each recipe loses in the cook, (n,).

    An index, that of sucrose for every sugar and syrup; sorbitol and erythritol dilute
    it, 0 for polyols alone. NaN above 150 C where nobody states the water that leaves.
    """
    sugar = pot.sucrose + pot.syrup + pot.dextrose + pot.other_sugar
    browned = np.where(sugar > 0.0, kitchen.cook.degraded() * pot.browning(), 0.0)
    modelled = np.array([not why for why in pot.gap], dtype=bool)
    unknown = modelled & np.isnan(pot.stated_loss) & (browned <= BROWNED_MOST)
    return np.where(unknown, np.nan, browned) if kitchen.too_hot else browned


def _solids(syrups: Sequence[SyrupUse], kitchen: Kitchen) -> dict[str, float]:
    """Return the dry solids that the kitchen's measurements give a syrup."""
    shift = float(kitchen.belief.central().syrup_solids)
    if shift == find("syrup_solids").middle:
        return {}
    return {
        s.name: float(
            np.clip(s.dry_solids + shift * s.dry_solids_uncertainty, *SYRUP_SOLIDS)
        )
        for s in syrups
        if s.name == measured_syrup(kitchen) and s.dry_solids < 1.0
    }


def _columns(verdict: Verdict) -> Columns:
    """Return the kitchen columns of the contract."""
    told = np.array([not why for why in verdict.gap], dtype=bool)
    low, middle, high = verdict.viscosity
    degraded = 100.0 * verdict.degraded
    ratio, ratio_u = verdict.density_ratio
    return {
        "liquid_boils_C": verdict.boils - ICE_POINT,
        "undissolved_sugar_percent": 100.0 * verdict.undissolved,
        "relative_solids_pour": verdict.crowding,
        "pour_viscosity_Pa_s": middle,
        "pour_viscosity_p10_Pa_s": low,
        "pour_viscosity_p90_Pa_s": high,
        "flow_class": verdict.flow_class,
        "pours_probability": np.where(told, verdict.pours, np.nan),
        **_window_columns(verdict.window),
        "relative_solids_20C": verdict.relative_solids_20C,
        "binder_glass_transition_C": verdict.glass - ICE_POINT,
        "density_ratio": ratio,
        "density_ratio_u": ratio_u,
        "sugar_degraded_percent": np.where(told, degraded, np.nan),
        "storage_humidity_max_percent": verdict.humidity,
    }


def _flags(verdict: Verdict) -> list[list[str]]:
    """Return what is special about each row."""
    found = []
    for row, why in enumerate(verdict.gap):
        if why:
            found.append([f"kitchen not computed: {why}"])
            continue
        some = WARN < verdict.degraded[row] <= BROWNED_FLAG
        own = [f"sugar degraded above {100 * WARN:g} %"] if some else []
        own += verdict.settings[row].flags()
        if np.isinf(verdict.viscosity[0, row]) and verdict.undissolved[row] > 0.0:
            dry = verdict.water_lost[row] == 0.0 and np.isnan(verdict.boils[row])
            own += ["no liquid: below the melting range of sugar"] if dry else []
        found.append(own)
    return found
