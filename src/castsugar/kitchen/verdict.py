"""What a kitchen says about many mixes: flow, window, setting, storage, with bands."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.draw_set import FEW_DRAWS
from castsugar.kitchen import casting, glass, suspension, water
from castsugar.kitchen.boiling import Rows, salt_taken
from castsugar.kitchen.heat import HOTTEST, Cook, Cooks, degradation_rate
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.kitchen.pot import (
    Pot,
    Slurry,
    at_pour,
    columns,
    poured,
    standing,
    unfrozen,
    viscosity,
    water_at_start,
    water_left,
)
from castsugar.kitchen.solubility import melting_point
from castsugar.kitchen.sugars import HOTTEST as HOTTEST_MELT
from castsugar.kitchen.sugars import MAJOR, MARGIN, MELTS, SUGARS, Setting, settings
from castsugar.kitchen.validity import ICE_POINT
from castsugar.numerics import smooth_quantiles

# ----------------------------------------------------------------------------
# The pour window: at which temperatures a mix pours without breaking its sugar.

#: Temperatures looked at [K], and halvings of the distance between them.
GRID = np.arange(90.0, 150.1, 5.0) + ICE_POINT
_HALVINGS = 6

#: Where the cook ends, of all rows or of each. [K]
Ends = float | FloatArray

#: Which rows pour when the cook ends there.
Pours = Callable[[Ends, NDArray[np.intp]], BoolArray]


def pour_window(
    pours: Pours, rows: NDArray[np.intp], hottest: float, grid: FloatArray = GRID
) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest temperature of the first stretch that pours.

    Parameters
    ----------
    pours : callable
        Of a temperature [K], or one a row, and row numbers, says which of those rows
        pour.
    rows : ndarray of int, shape (count,)
        Which are asked.
    hottest : float
        Where the sugar's limit lies; nothing above counts. [K]
    grid : ndarray
        Temperatures looked at, rising: a window between two of them is missed. [K]

    Returns
    -------
    low, high : ndarray, shape (count,)
        [K], within 1/64 of a step of the grid; NaN where there is no window between
        its lowest temperature and the limit.
    """
    if hottest < grid[0]:
        nothing = np.full(len(rows), np.nan)
        return nothing, nothing.copy()
    top = min(hottest, float(grid[-1]))
    grid = np.append(grid[top > grid], top)
    fine = np.zeros((len(rows), grid.size), dtype=bool)
    going = np.arange(len(rows))
    for column, t in enumerate(grid.tolist()):
        if not going.size:
            break
        fine[going, column] = pours(t, rows[going])
        ended = fine[going].any(axis=1) & ~fine[going, column]
        going = going[~ended]
    some = fine.any(axis=1)
    first = fine.argmax(axis=1)
    broken = ~fine & (np.arange(grid.size) > first[:, None])
    last = np.where(broken.any(axis=1), broken.argmax(axis=1) - 1, grid.size - 1)
    before = np.flatnonzero(some & (first > 0))
    after = np.flatnonzero(some & (last < grid.size - 1))
    outside = np.concatenate([grid[first[before] - 1], grid[last[after] + 1]])
    inside = np.concatenate([grid[first[before]], grid[last[after]]])
    ends = _halved(pours, rows[np.concatenate([before, after])], outside, inside)
    low, high = grid[first], grid[last]
    low[before], high[after] = np.split(ends, [before.size])
    return np.where(some, low, np.nan), np.where(some, high, np.nan)


def _halved(
    pours: Pours, rows: NDArray[np.intp], outside: FloatArray, inside: FloatArray
) -> FloatArray:
    """Halve the distance between temperatures that pour and ones that do not."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (outside + inside)
        fine = pours(middle, rows)
        inside = np.where(fine, middle, inside)
        outside = np.where(fine, outside, middle)
    return inside


def _moved(cook: Cook, ends: Ends) -> Cook | Cooks:
    """Return a cook moved to where it ends: one for all rows, or one each."""
    if isinstance(ends, float):
        return cook.ending_at(ends)
    each, place = np.unique(ends, return_inverse=True)
    return Cooks.of([cook.ending_at(end) for end in each.tolist()]).take(place)


def degradation_limit(cook: Cook, limit: float) -> float:
    """Return the end temperature at which a cook, shifted as a whole, reaches a limit.

    Parameters
    ----------
    cook : Cook
        Its shape is kept.
    limit : float
        Share of degraded sugar.

    Returns
    -------
    float
        [K], between 40 and 200 C.

    Examples
    --------
    >>> round(degradation_limit(Cook.hold(392.15, 600.0), 0.02) - 273.15)
    122
    """
    target = -np.log1p(-limit)
    times, temperatures = cook.nodes()
    shifts = temperatures - cook.pour_temperature
    low, high = 40.0 + ICE_POINT, 200.0 + ICE_POINT
    for _ in range(50):
        middle = 0.5 * (low + high)
        at = np.clip(middle + shifts, ICE_POINT, 200.0 + ICE_POINT)
        if float(np.sum(times * degradation_rate(at))) > target:
            high = middle
        else:
            low = middle
    return float(low)


# ----------------------------------------------------------------------------
# What a kitchen says about many mixes: flow, window, setting, storage, with bands.

#: Rows that are drawn together: their arrays fit the cache.
BLOCK = 64

#: Shares of the draws after which rows that are decided are asked no more.
_ASKED = (0.0, 0.54, 1.0)

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
    """What the kitchen says; arrays over mixes, NaN where there is no model.

    Attributes
    ----------
    gap : tuple of str
        Why nothing is said about a mix; empty where something is.
    water_lost : ndarray
        Share of the recipe's water that leaves, central.
    boils : ndarray
        Where the liquid starts to boil, water as weighed; NaN above 160 C. [K]
    undissolved : ndarray
        Sucrose crystals at the pour, per mass as weighed, central.
    crowding : ndarray
        Solids over packing at the pour, central.
    viscosity : ndarray, shape (3, n)
        p10, p50, p90 at the pour; infinite where it jams. [Pa s]
    classes : ndarray, shape (n, 5)
        Probability of each of :data:`castsugar.kitchen.suspension.CLASSES`.
    window : ndarray, shape (2, n)
        Temperatures between which it is more likely than not that the mix pours while
        the sugar keeps its limit; NaN without. [K]
    relative_solids_20C : ndarray
        Solids over packing at 20 C.
    glass : ndarray
        Glass transition of the binder as cast, before it crystallises. [K]
    humidity : ndarray
        Of the air, above which the grain gains water. [%]
    degraded : ndarray
        Share of degraded sugar; an index.
    settings : tuple of Setting
        How other sugars set, and what to mind in the mould.
    tap : bool
        Whether the mould is tapped or vibrated while it is filled.
    chances : dict
        (What, level) that was asked for to what so many of the draws stay below, (n,).
    """

    gap: tuple[str, ...]
    water_lost: FloatArray
    boils: FloatArray
    undissolved: FloatArray
    crowding: FloatArray
    viscosity: FloatArray
    classes: FloatArray
    window: FloatArray
    relative_solids_20C: FloatArray
    glass: FloatArray
    humidity: FloatArray
    degraded: FloatArray
    settings: tuple[Setting, ...]
    tap: bool
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
    kitchen : Kitchen
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


def windows(pot: Pot, kitchen: Kitchen, asked: BoolArray) -> FloatArray:
    """Return the pour windows of the rows that are asked, NaN elsewhere, (2, n). [K]

    By the first draws, :data:`castsugar.draw_set.FEW_DRAWS` at most.
    """
    edges = np.full((2, len(pot)), np.nan)
    if kitchen.too_hot:
        return edges
    model = np.array([not why for why in pot.gap], dtype=bool)
    for mine in (True, False):
        rows = np.flatnonzero(asked & model & (pot.measured_syrup == mine))
        if rows.size:
            known = kitchen.belief if mine else kitchen.belief.of_another_syrup()
            few = known.draw(min(kitchen.draws, FEW_DRAWS), kitchen.seed)
            edges[:, rows] = pouring_window(pot.take(rows), few, kitchen)
    return edges


#: Ends of a 95 % band.
ENDS = (0.025, 0.975)


def intervals(pot: Pot, kitchen: Kitchen) -> dict[str, FloatArray]:
    """Return the 95 % bands of what the draws move, each of shape (2, n).

    Parameters
    ----------
    pot : Pot
        n rows.
    kitchen : Kitchen

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
        for block in _blocks(rows):
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
    for rows in _blocks(np.arange(count)):
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


def pouring_window(
    pot: Pot,
    values: Values,
    kitchen: Kitchen,
    *,
    level: float = 0.5,
    thickest: float = suspension.POURS_BELOW,
    grid: FloatArray = GRID,
) -> tuple[FloatArray, FloatArray]:
    """Return the temperatures between which every row pours often enough.

    The cook is moved as a whole, as in :meth:`Cook.ending_at`, and keeps the limit of
    the sugar.

    Parameters
    ----------
    pot : Pot
        n rows with a model.
    values : Values
    kitchen : Kitchen
    level : float
        Share of the draws that must pour.
    thickest : float
        Viscosity from which nothing pours. [Pa s]
    grid : ndarray
        As for :func:`pour_window`. [K]

    Returns
    -------
    low, high : ndarray, shape (n,)
        As of :func:`pour_window`. [K]
    """

    def fine(temperature: Ends, rows: NDArray[np.intp]) -> BoolArray:
        cook = _moved(kitchen.cook, temperature)
        found = np.array(
            np.broadcast_to(np.ravel(cook.hottest <= HOTTEST + 1e-9), len(rows))
        )
        some = np.flatnonzero(found)
        asked = (pot.take(rows[some]), values, cook.take(some), kitchen.air_pressure)
        found[some] = _pours_often(*asked, thickest=thickest, level=level)
        return found

    limit = degradation_limit(kitchen.cook, kitchen.degradation_limit)
    browns, top = pot.browning(), min(limit, float(grid[-1]))
    low, high = np.full((2, len(pot)), np.nan)
    jammed = _jammed(pot, values, top, level)
    plain = np.flatnonzero((browns == 1.0) & ~jammed)
    melts = np.flatnonzero(browns < 1.0)
    if plain.size:
        low[plain], high[plain] = pour_window(fine, plain, limit, grid)
    if melts.size:
        tops = hottest_pour(pot, kitchen)

        def below(temperature: Ends, rows: NDArray[np.intp]) -> BoolArray:
            some = temperature <= tops[rows] + 1e-9
            kept = rows[some]
            if kept.size:
                at = (
                    temperature if isinstance(temperature, float) else temperature[some]
                )
                liquid = _liquid_at(pot.take(kept), values, kitchen, at)
                some[some] = liquid & fine(at, kept)
            return some

        low[melts], end = pour_window(below, melts, float(grid[-1]), grid)
        edge = float(np.max(np.diff(grid))) / 2**_HALVINGS
        high[melts] = np.where(tops[melts] - end <= edge, tops[melts], end)
    return low, high


def _jammed(pot: Pot, values: Values, hottest: float, level: float) -> BoolArray:
    """Say which rows are too crowded even with all their water at the hottest.

    They pour nowhere: with less water or heat less dissolves. Not told where fines
    pack between the grains: what dissolves may leave them more crowded.
    """
    found = np.zeros(len(pot), dtype=bool)
    if pot.fines_ratio > 1.0:
        return found
    for part in _blocks(np.arange(len(pot))):
        some = pot.take(part)
        wet = water_at_start(some, values)
        held = standing(some, values, wet, hottest + values.thermometer)
        found[part] = suspension.pours(0.0, held.crowding).mean(axis=1) < level
    return found


def hottest_pour(pot: Pot, kitchen: Kitchen) -> FloatArray:
    """Return above which temperature no row pours, (n,): its sugar breaks there. [K]

    Of sucrose and syrup that of :func:`degradation_limit`, of sugars that melt 130 C;
    between them by their shares.
    """
    limit = degradation_limit(kitchen.cook, kitchen.degradation_limit)
    return limit + (1.0 - pot.browning()) * (HOTTEST_MELT - limit)


def _liquid_at(
    pot: Pot, values: Values, kitchen: Kitchen, temperature: Ends
) -> BoolArray:
    """Say which rows would still be liquid a margin below a pour temperature."""
    melts = np.zeros(len(pot))
    for name in MELTS:
        there = getattr(pot, name) > 0.0
        melts = np.where(there, np.maximum(melts, melting_point(name)), melts)
    # Half of the draws are no colder than their median.
    middle = temperature + float(np.median(values.thermometer)) - MARGIN
    found = middle >= melts
    cook = _moved(kitchen.cook, temperature)
    for part in _blocks(np.flatnonzero(~found)):
        some, at = pot.take(part), cook.take(part)
        left = water_left(some, values, at, kitchen.air_pressure)
        cold = at.pour_temperature + values.thermometer - MARGIN
        held = standing(some, values, left, cold)
        found[part] = unfrozen(some, values, held).mean(axis=1) >= 0.5
    return found


def pour_chance(
    pot: Pot,
    values: Values,
    cook: Cook | Cooks,
    pressure: float,
    thickest: float = suspension.POURS_BELOW,
) -> FloatArray:
    """Return the share of the draws in which every row pours after the cook, (n,).

    Arguments as for :func:`castsugar.kitchen.pot.poured` and :func:`pouring_window`.
    """
    found = np.empty(len(pot))
    for part in _blocks(np.arange(len(pot))):
        drawn = poured(pot.take(part), values, cook.take(part), pressure)
        found[part] = suspension.pours(*drawn, thickest).mean(axis=1)
    return found


def _pours_often(
    pot: Pot,
    values: Values,
    cook: Cook | Cooks,
    pressure: float,
    *,
    thickest: float,
    level: float,
) -> BoolArray:
    """Say in which rows so large a share of the draws pours, by no more than tell."""
    draws = np.size(values.packing)
    asked = _ASKED if len(pot) >= BLOCK else (0.0, 1.0)  # few rows cost as many calls
    cuts = [int(share * draws) for share in asked]
    sure = np.zeros(len(pot))
    left = np.arange(len(pot))
    for first, end in itertools.pairwise(cuts):
        if left.size and end > first:
            part, at = values.take(slice(first, end)), cook.take(left)
            share = pour_chance(pot.take(left), part, at, pressure, thickest)
            sure[left] += np.rint(share * (end - first))
            least, most = sure[left] / draws, (sure[left] + draws - end) / draws
            left = left[(least < level) & (most >= level)]
    return sure / draws >= level


def _blocks(rows: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Cut rows into blocks by index."""
    return [rows[i : i + BLOCK] for i in range(0, len(rows), BLOCK)]


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
    low, high = (np.full(len(pot), t) for t in _BOILS)
    for _ in range(30):
        middle = 0.5 * (low + high)
        liquid = standing(pot, values, held, middle)
        activity = _activity(pot, values, liquid, middle)
        under = activity * water.saturation_pressure(middle) < pressure
        low, high = np.where(under, middle, low), np.where(under, high, middle)
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
