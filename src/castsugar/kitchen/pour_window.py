"""The pour window: at which temperatures mixes pour without breaking their sugar."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.constants import ICE_POINT
from castsugar.draw_set import FEW_DRAWS
from castsugar.kitchen import suspension
from castsugar.kitchen.heat import HOTTEST, Cook, Cooks, degradation_rate
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.kitchen.pot import (
    BLOCK,
    Pot,
    blocks,
    poured,
    standing,
    unfrozen,
    water_at_start,
    water_left,
)
from castsugar.kitchen.solubility import melting_point
from castsugar.kitchen.sugars import HOTTEST as HOTTEST_MELT
from castsugar.kitchen.sugars import MARGIN, MELTS
from castsugar.numerics import bisected

#: Temperatures looked at [K], and halvings of the distance between them.
GRID = np.arange(90.0, 150.1, 5.0) + ICE_POINT
_HALVINGS = 6

#: Where the cook ends, of all rows or of each. [K]
Ends = float | FloatArray

#: Which rows pour when the cook ends there.
Pours = Callable[[Ends, NDArray[np.intp]], BoolArray]

#: Shares of the draws after which rows that are decided are asked no more.
_ASKED = (0.0, 0.54, 1.0)


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
    plain, melts = np.flatnonzero(browns == 1.0), np.flatnonzero(browns < 1.0)
    plain = plain[~_jammed(pot.take(plain), values, top, level)]
    if plain.size:
        low[plain], high[plain] = pour_window(fine, plain, limit, grid)
    if melts.size:
        tops = hottest_pour(pot, kitchen)

        def below(temperature: Ends, rows: NDArray[np.intp]) -> BoolArray:
            found = np.zeros(len(rows), dtype=bool)
            cool = np.flatnonzero(temperature <= tops[rows] + 1e-9)
            flows = cool[fine(_of(temperature, cool), rows[cool])]
            at = _of(temperature, flows)
            found[flows] = _liquid_at(pot.take(rows[flows]), values, kitchen, at)
            return found

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
    for part in blocks(np.arange(len(pot))):
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
    for part in blocks(np.flatnonzero(~found)):
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
    for part in blocks(np.arange(len(pot))):
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


# ----------------------------------------------------------------------------
# Where a stretch of temperatures begins and ends.


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
    own = rows[np.concatenate([before, after])]
    ends, _ = bisected(lambda t: pours(t, own), inside, outside, _HALVINGS)
    low, high = grid[first], grid[last]
    low[before], high[after] = np.split(ends, [before.size])
    return np.where(some, low, np.nan), np.where(some, high, np.nan)


def _of(ends: Ends, some: NDArray[np.intp]) -> Ends:
    """Return the ends of some rows."""
    return ends if isinstance(ends, float) else ends[some]


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

    def kept(end: FloatArray) -> bool:
        at = np.clip(end + shifts, ICE_POINT, 200.0 + ICE_POINT)
        return not float(np.sum(times * degradation_rate(at))) > target

    return float(bisected(kept, 40.0 + ICE_POINT, 200.0 + ICE_POINT, 50)[0])
