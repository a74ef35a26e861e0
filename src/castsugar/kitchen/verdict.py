"""What a kitchen says about many mixes: flow, window, setting, storage, with bands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.constants import ICE_POINT
from castsugar.frozen import dataclass
from castsugar.kitchen import casting, glass, suspension, water
from castsugar.kitchen.boiling import Rows, salt_taken
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.kitchen.pot import (
    Pot,
    Slurry,
    at_pour,
    blocks,
    columns,
    standing,
    viscosity,
    water_at_start,
    water_left,
)
from castsugar.kitchen.pour_window import windows
from castsugar.kitchen.sugars import MAJOR, SUGARS, Setting, settings
from castsugar.numerics import bisected, smooth_quantiles

# ----------------------------------------------------------------------------
# What a kitchen says about many mixes: flow, window, setting, storage, with bands.

#: Temperature at which a grain sets and is stored [K].
ROOM = 20.0 + ICE_POINT
_AT_ROOM = np.asarray(ROOM)

#: Between these the boiling temperature is sought [K].
_BOILS = (60.0 + ICE_POINT, 160.0 + ICE_POINT)

_SINGLE = (
    "water_lost",
    "boils",
    "undissolved",
    "crowding",
    "relative_solids_20C",
    "glass",
    "humidity",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdict:
    """What the kitchen says; arrays over mixes, NaN where there is no model."""

    gap: tuple[str, ...]  # why nothing is said about a mix; empty where something is
    water_lost: FloatArray  # share of the recipe's water that leaves, central
    #: Where the liquid starts to boil, water as weighed; NaN above 160 C. [K]
    boils: FloatArray
    #: Sucrose crystals at the pour, per mass as weighed, central.
    undissolved: FloatArray
    crowding: FloatArray  # solids over packing at the pour, central
    #: p10, p50, p90 at the pour; infinite where it jams, (3, n). [Pa s]
    viscosity: FloatArray
    classes: FloatArray  # probability of each of kitchen.suspension.CLASSES, (n, 5)
    #: Temperatures between which it is more likely than not that the mix pours while
    #: the sugar keeps its limit; NaN without, (2, n). [K]
    window: FloatArray
    relative_solids_20C: FloatArray  # solids over packing at 20 C
    #: Glass transition of the binder as cast, before it crystallises. [K]
    glass: FloatArray
    humidity: FloatArray  # of the air, above which the grain gains water [%]
    degraded: FloatArray  # share of degraded sugar; an index
    settings: tuple[Setting, ...]  # how other sugars set, and what to mind in the mould
    tap: bool  # whether the mould is tapped or vibrated while it is filled
    #: (What, level) that was asked for to what so many of the draws stay below, (n,).
    chances: Mapping[Chance, FloatArray]

    def __str__(self) -> str:
        lines = []
        for row, (why, pours) in enumerate(zip(self.gap, self.pours, strict=True)):
            eta, solids = self.viscosity[1, row], self.relative_solids_20C[row]
            thick = f"{float(f'{eta:.1g}'):g} Pa s" if np.isfinite(eta) else "jams"
            told = f"pours in {100.0 * pours:.0f} of 100 draws, median {thick}; "
            told += f"relative solids at 20 °C {solids:.3g}"
            lines.append(f"{row + 1}: {why or told}")
        more = [f"{len(lines) - 10} more"] if len(lines) > 10 else []
        return "\n".join(lines[:10] + more)

    @property
    def pours(self) -> FloatArray:
        """Probability that the mix pours (is runny or pours)."""
        return self.classes[:, : suspension.POURS + 1].sum(axis=1)

    @property
    def density_ratio(self) -> tuple[FloatArray, FloatArray]:
        """Density of the castings over that without voids, as they flow, and its u."""
        return casting.density_ratio(self.classes, tap=self.tap)

    @property
    def flow_class(self) -> list[str]:
        """The class in the middle of the draws."""
        middle = (np.cumsum(self.classes, axis=1) < 0.5 - 1e-12).sum(axis=1)
        return [
            "not computed" if why else suspension.CLASS_NAMES[i]
            for i, why in zip(middle, self.gap, strict=True)
        ]


def judge(
    pot: Pot,
    kitchen: Kitchen,
    *,
    window: bool = True,
    boils: bool = True,
    chances: Sequence[Chance] = (),
) -> Verdict:
    """Say how mixes cook, pour, set and keep.

    Parameters
    ----------
    pot : Pot
        n rows.
    window : bool
        Whether the pour window is sought (about 25 pours more).
    boils : bool
        Whether the boiling point is.
    chances : sequence of (str, float)
        Further quantiles, smooth in the mix: ("viscosity", 0.85), or of
        "relative_solids_20C".

    Every row stands on its own; draws are shared.
    """
    count = len(pot)
    gap = tuple(why or _too_hot(kitchen) for why in pot.gap)
    told = np.array([not why for why in gap], dtype=bool)
    single = {name: np.full(count, np.nan) for name in _SINGLE}
    asked = tuple(dict.fromkeys((*_STANDARD, *chances)))
    quantiles = {one: np.full(count, np.nan) for one in asked}
    classes = np.zeros((count, len(suspension.CLASSES)))
    for mine in (True, False):
        rows = np.flatnonzero(told & (pot.measured_syrup == mine))
        if not rows.size:
            continue
        known = kitchen.belief if mine else kitchen.belief.of_another_syrup()
        values, part = known.draw(kitchen.draws, kitchen.seed), pot.take(rows)
        middle = known.central()
        for name, found in _central(part, middle, kitchen).items():
            single[name][rows] = found
        if boils:
            start = water_at_start(part, middle)
            single["boils"][rows] = boiling(part, middle, start, kitchen.air_pressure)
        below, classes[rows] = _bands(part, values, kitchen, asked)
        for one in asked:
            quantiles[one][rows] = below[one]
    edges = windows(pot, kitchen, told & window)
    return Verdict(
        gap=gap,
        viscosity=np.array([quantiles[one] for one in _STANDARD]),
        chances={one: quantiles[one] for one in chances},
        classes=classes,
        window=edges,
        degraded=kitchen.cook.degraded() * pot.browning(),
        settings=settings(pot.shares(), single["glass"]),
        tap=kitchen.tap,
        **single,
    )


#: Ends of a 95 % band.
ENDS = (0.025, 0.975)


def intervals(pot: Pot, kitchen: Kitchen) -> dict[str, FloatArray]:
    """Return the 95 % bands of what the draws move, each of shape (2, n).

    Parameters
    ----------
    pot : Pot
        n rows.

    Returns
    -------
    dict
        `viscosity` [Pa s] and `crowding` at the pour, `relative_solids_20C`,
        `humidity` [%], as in :class:`Verdict`; NaN where there is no model.
    """
    found = {name: np.full((2, len(pot)), np.nan) for name in _BANDED}
    if kitchen.too_hot:
        return found
    told = np.array([not why for why in pot.gap], dtype=bool)
    for mine in (True, False):
        rows = np.flatnonzero(told & (pot.measured_syrup == mine))
        known = kitchen.belief if mine else kitchen.belief.of_another_syrup()
        values = known.draw(kitchen.draws, kitchen.seed)
        for block in blocks(rows):
            drawn = drawn_columns(pot.take(block), values, kitchen)
            for name, array in drawn.items():
                found[name][:, block] = smooth_quantiles(array, ENDS)
    return found


_BANDED = ("viscosity", "crowding", "relative_solids_20C", "humidity")


def drawn_columns(pot: Pot, values: Values, kitchen: Kitchen) -> dict[str, FloatArray]:
    """Return what draws say of rows with a model, as in :func:`intervals`.

    Each of shape (n, draws).
    """
    left = water_left(pot, values, kitchen.cook, kitchen.air_pressure)
    hot = kitchen.cook.pour_temperature + values.thermometer
    held = standing(pot, values, left, hot)
    cold = standing(pot.at_rest(), values, left, _AT_ROOM)
    return {
        "viscosity": viscosity(pot, values, held, hot),
        "crowding": held.crowding,
        "relative_solids_20C": set_ratio(pot, cold),
        "humidity": humidity(pot, values, cold),
    }


def _too_hot(kitchen: Kitchen) -> str:
    """Return why a cook has no verdict."""
    if not kitchen.too_hot:
        return ""
    hottest = kitchen.cook.hottest - ICE_POINT
    return f"no verdict above 150 C bulk temperature, the cook reaches {hottest:g} C"


def _central(pot: Pot, values: Values, kitchen: Kitchen) -> dict[str, FloatArray]:
    """Return what needs no draws, at the medians of the parameters."""
    cook, air = kitchen.cook, kitchen.air_pressure
    start = water_at_start(pot, values)
    left = water_left(pot, values, cook, air)
    with np.errstate(invalid="ignore", divide="ignore"):
        lost = np.where(start > 0.0, 1.0 - left / start, 0.0)
    hot = standing(pot, values, left, cook.pour_temperature + values.thermometer)
    cold = standing(pot.at_rest(), values, left, _AT_ROOM)
    return {
        "water_lost": lost,
        "undissolved": hot.undissolved / (1.0 - start + left),
        "crowding": hot.crowding,
        "relative_solids_20C": set_ratio(pot, cold),
        "glass": _glass(pot, left, hot.syrup_solids),
        "humidity": humidity(pot, values, cold),
    }


#: Quantiles of the viscosity that every verdict tells.
BAND = (0.1, 0.5, 0.9)

#: What is drawn and how often it stays below: a quantile that can be asked for.
Chance = tuple[str, float]

_STANDARD: tuple[Chance, ...] = tuple(("viscosity", level) for level in BAND)
_SOLIDS = "relative_solids_20C"


def _bands(
    pot: Pot, values: Values, kitchen: Kitchen, asked: Sequence[Chance]
) -> tuple[dict[Chance, FloatArray], FloatArray]:
    """Return the quantiles asked for, and the probability of every class."""
    count = len(pot)
    quantiles = {one: np.empty(count) for one in asked}
    classes = np.empty((count, len(suspension.CLASSES)))
    cold = any(name == _SOLIDS for name, _ in asked)
    for rows in blocks(np.arange(count)):
        part = pot.take(rows)
        left = water_left(part, values, kitchen.cook, kitchen.air_pressure)
        eta, crowding = at_pour(part, values, kitchen.cook, left)
        drawn = {"viscosity": eta}
        if cold:
            rest = standing(part.at_rest(), values, left, _AT_ROOM)
            drawn[_SOLIDS] = set_ratio(part, rest)
        index = suspension.flow_class(eta, crowding)
        for which in range(len(suspension.CLASSES)):
            classes[rows, which] = (index == which).mean(axis=1)
        for name, own in drawn.items():
            levels = [level for one, level in asked if one == name]
            for level, found in zip(levels, smooth_quantiles(own, levels), strict=True):
                quantiles[name, level][rows] = found
    return quantiles, classes


def boiling(pot: Pot, values: Values, held: FloatArray, pressure: float) -> FloatArray:
    """Return where the liquid of a pot boils; NaN where it does not below 160 C. [K]

    Activity of dissolved sugars and nitrate times the vapour pressure, against the air.

    Parameters
    ----------
    pot, values
        Single values only.
    held : ndarray, shape (n,)
        Water, per mass as weighed.
    pressure : float
        [Pa]
    """

    def still(temperature: FloatArray) -> BoolArray:
        liquid = standing(pot, values, held, temperature)
        activity = _activity(pot, values, liquid, temperature)
        return activity * water.saturation_pressure(temperature) < pressure

    lowest, highest = (np.full(len(pot), t) for t in _BOILS)
    _, high = bisected(still, lowest, highest, 30)
    wet = (held > 1e-9) & (high < _BOILS[1] - 0.01)
    return np.where(wet, high, np.nan)


def _activity(
    pot: Pot, values: Values, held: Slurry, temperature: FloatArray
) -> FloatArray:
    """Return the activity of water over what the liquid holds."""
    rows = columns(pot, values)
    chloride = rows["chloride"]
    full = salt_taken(values, temperature, chloride)
    salt = np.minimum(full, rows["nitrate"] / np.maximum(held.water, 1e-12))
    share = _sugar_share(rows, held)
    sugars = water.water_activity(share, rows["norrish"], rows["damping"])
    return sugars * water.salt_activity(salt, chloride)


def _sugar_share(rows: Rows, held: Slurry) -> FloatArray:
    """Return the mole fraction of sugars in the liquid; 1 where there is no water."""
    masses, dissolved = np.maximum(held.water, 1e-12), held.dissolved
    for name, mass in held.others.items():
        dissolved = dissolved + mass * (water.SUCROSE / SUGARS[name].molar_mass)
    return water.sugar_mole_fraction(
        masses, dissolved, held.syrup_solids, rows["syrup_grade"]
    )


def _glass(pot: Pot, left: FloatArray, solids: FloatArray) -> FloatArray:
    """Return the glass transition of all sugar with the water; NaN without sugar."""
    parts = {**pot.sugars(), "syrup": solids}
    dry = {name: np.full(len(pot), SUGARS[name].glass) for name in SUGARS}
    dry["sucrose"] = np.full(len(pot), glass.SUCROSE)
    dry["syrup"] = glass.syrup_glass_transition(np.clip(pot.syrup_grade, 5.0, 100.0))
    sugars = sum(parts.values())
    with np.errstate(invalid="ignore", divide="ignore"):
        blend = glass.dry_blend(
            np.stack([parts[name] for name in parts], axis=-1),
            np.stack([dry[name] for name in parts], axis=-1),
        )
        wet = left / (sugars + left)
    fine = (sugars > 1e-9) & (wet <= 0.6)
    value = glass.glass_transition(
        np.where(fine, wet, 0.0), np.where(fine, blend, 300.0)
    )
    return np.where(fine, value, np.nan)


def humidity(pot: Pot, values: Values, cold: Slurry) -> FloatArray:
    """Return the humidity above which the set grain gains water. [%]"""
    activity = _activity(pot, values, cold, _AT_ROOM)
    others: FloatArray = sum(cold.others.values(), np.zeros(()))
    liquid = (cold.syrup_solids > 1e-9) | (cold.water > 1e-9) | (others > 1e-9)
    crystals = _like(cold, crystal_activity(pot))
    return glass.humidity_limit(np.where(liquid, activity, np.nan), crystals=crystals)


def crystal_activity(pot: Pot) -> FloatArray:
    """Return the activity of water over saturated solutions of the sugars, (n,).

    The mean of its logarithm over the masses of those that crystallise.
    """
    sugars = pot.sugars()
    del sugars["syrup"]
    whole = np.maximum(sum(sugars.values()), 1e-300)
    base = glass.SUCROSE_ACTIVITY
    log = sum(
        sugars[name] / whole * np.log(sugar.activity / base)
        for name, sugar in SUGARS.items()
    )
    return base * np.exp(log)


def set_ratio(pot: Pot, cold: Slurry) -> FloatArray:
    """Return the solids over packing at 20 C; NaN where other sugars decide."""
    shares = pot.shares()
    others = _like(cold, sum((shares[n] for n in SUGARS), np.zeros(len(pot))))
    return np.where(others < MAJOR, cold.crowding, np.nan)


def _like(held: Slurry, column: FloatArray) -> FloatArray:
    """Return a column of a pot, ready to meet what stands in it."""
    return column[:, None] if held.crowding.ndim > 1 else column
