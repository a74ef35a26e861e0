"""The kitchen asked the other way round: how long until dry enough, which heat pours.

Nothing is modelled here: answers are sought in the water and the flow that the kitchen
gives for a cook, and hold there.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from castsugar.checks import instance, number
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.kitchen.curves import known_pot, water_share
from castsugar.kitchen.heat import HOTTEST, LONGEST, Cook
from castsugar.kitchen.parameters import POUR_RANGE, Kitchen, Values
from castsugar.kitchen.pot import Pot, standing, viscosity, water_at_start, water_left
from castsugar.kitchen.pour_window import hottest_pour, pour_chance, pouring_window
from castsugar.kitchen.suspension import POURS_BELOW, pours
from castsugar.kitchen.verdict import ENDS
from castsugar.mix.mix import Mix
from castsugar.numerics import bisected, smooth_quantile

#: Halvings of a time or a temperature: finer than any clock or thermometer.
_HALVINGS = 50

#: The shortest cook that is looked at [s]: what boils has left by then.
_SHORTEST = 1.0

# ----------------------------------------------------------------------------
# How long until so much water is left.


@dataclass(frozen=True, slots=True, kw_only=True)
class Drying:
    """How long a cook takes until so much water is left.

    Attributes
    ----------
    left : float
        Water asked for, as a share of what is left of the mix.
    at_start, at_once, at_last : float
        The same as weighed, as soon as it is hot, and after the longest cook.
        [-]
    time : float
        From the start of the cook to the pour; NaN if no cook leaves just that. [s]
    band : tuple of float
        Ends of the 95 % band of the time: 0 where it is as dry at once, infinite where
        a day does not do. [s]
    cook : Cook or None
        The one that takes this time.
    """

    left: float
    at_start: float
    at_once: float
    at_last: float
    time: float
    band: tuple[float, float]
    cook: Cook | None

    def __str__(self) -> str:
        told = f"{self.time / 60.0:.1f} min" if self.cook else "no time"
        return f"{told} until {100.0 * self.left:.3g} % water is left"


def drying_time(mix: Mix, kitchen: Kitchen, left: float) -> Drying:
    """Return how long the kitchen's cook takes until so much water is left.

    The cook goes on at its last temperature, or ends sooner. The time is that of the
    water which ``kitchen judge`` and the weigh sheet tell; the band is of the draws.

    Parameters
    ----------
    mix : Mix
    kitchen : Kitchen
        Drying and boiling decide: no loss of water may be stated.
    left : float
        Share of what is left of the mix, above 0.

    Returns
    -------
    Drying
        Time [s] with its 95 % band, and the cook that takes it.

    Raises
    ------
    InputError
        More water than the mix holds as weighed, or a loss that is stated.
    ValidityError
        For a mix or a cook without a model.

    Notes
    -----
    Valid for mixes and cooks with a kitchen model, up to 150 C. Source: as
    :func:`castsugar.kitchen.kitchen_table`; the drying time is assumed until a pan
    was weighed.

    Examples
    --------
    >>> from castsugar import Cook, Kitchen, Mix
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    >>> mix = Mix.weigh("KNO3:65 sucrose:20 corn syrup:15")
    >>> round(drying_time(mix, kitchen, 0.02).time / 60.0)
    28
    """
    instance(kitchen, Kitchen, "kitchen", optional=False)
    if not 0.0 < number(left, "water left", "as a share") <= 1.0:
        raise InputError(
            f"water left is {left:g}; give a share above 0: no cook takes all of it"
        )
    pot, known = known_pot(mix, kitchen)
    if not math.isnan(pot.stated_loss[0]):
        raise InputError(
            "the water that leaves is stated: no time changes it; leave it out"
        )
    start = 100.0 * float(water_at_start(pot, known.central())[0])
    if 100.0 * left >= start:
        raise InputError(
            f"no cook leaves {100.0 * left:.4g} % water: the mix holds {start:.4g} % "
            "as weighed; allowed is less than that"
        )
    central = _water(pot, known.central(), kitchen)
    drawn = _water(pot, known.draw(kitchen.draws, kitchen.seed), kitchen)
    time = _first(lambda t: float(central(t)) <= left)
    low, high = (
        _first(lambda t, q=q: float(smooth_quantile(drawn(t), q)) <= left)  # type: ignore[misc]
        for q in ENDS
    )
    known_time = _SHORTEST < time < math.inf
    return Drying(
        left=left,
        at_start=start / 100.0,
        at_once=float(central(_SHORTEST)),
        at_last=float(central(LONGEST)),
        time=time if known_time else math.nan,
        band=(low if low > _SHORTEST else 0.0, high),
        cook=kitchen.cook.lasting(time) if known_time else None,
    )


def _water(pot: Pot, values: Values, kitchen: Kitchen) -> Callable[[float], np.ndarray]:
    """Return what says how much water is left after a time [s]."""

    def after(time: float) -> np.ndarray:
        cook = kitchen.cook.lasting(time)
        return water_share(pot, values, cook, kitchen.air_pressure)

    return after


def _first(dry: Callable[[float], bool]) -> float:
    """Return the first time [s] that is dry; infinite where a day does not do."""
    if dry(_SHORTEST):
        return _SHORTEST
    if not dry(LONGEST):
        return math.inf
    ends = math.log(LONGEST), math.log(_SHORTEST)
    found, _ = bisected(lambda log: dry(math.exp(log)), *ends, _HALVINGS)
    return min(math.exp(found), LONGEST)


# ----------------------------------------------------------------------------
# Which heat pours.

#: Heats that are looked at, every kelvin [K].
_HEATS = np.arange(POUR_RANGE[0], HOTTEST + 0.5, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PourHeat:
    """At which bulk temperatures a mix pours in so many of the draws.

    Attributes
    ----------
    probability : float
        Share of the draws asked for.
    thickest : float
        What pours is no thicker. [Pa s]
    low, high : float
        Between these it pours, the whole cook moved there; NaN if nowhere. [K]
    best, chance : float
        Where it pours most often [K], and in which share of the draws.
    limit : float
        Above, the sugar degrades beyond its limit, or there is no model. [K]
    down_to : float
        Cooked as planned it may cool to this before it pours too seldom: NaN if it
        does so from the start. [K]
    """

    probability: float
    thickest: float
    low: float
    high: float
    best: float
    chance: float
    limit: float
    down_to: float

    def __str__(self) -> str:
        if math.isnan(self.low):
            return f"pours nowhere in {100.0 * self.probability:.3g} of 100 draws"
        return f"pours from {self.low:.1f} to {self.high:.1f} K"


def pour_heat(
    mix: Mix,
    kitchen: Kitchen,
    probability: float = 0.5,
    *,
    thickest: float = POURS_BELOW,
) -> PourHeat:
    """Return the bulk temperatures at which a mix pours often enough.

    Parameters
    ----------
    mix : Mix
    kitchen : Kitchen
        Its cook is moved as a whole, as for the pour window of ``kitchen judge``.
    probability : float
        Share of the kitchen's draws that must pour, above 0 and below 1.
    thickest : float
        Viscosity from which nothing pours. [Pa s]

    Returns
    -------
    PourHeat
        Temperatures [K] between which it pours, NaN if nowhere.

    Raises
    ------
    InputError
        A probability outside 0 to 1, a viscosity that is not above 0.
    ValidityError
        For a mix or a cook without a model.

    Notes
    -----
    Valid for mixes and cooks with a kitchen model, up to 150 C. Source: as
    :func:`castsugar.kitchen.kitchen_table`.

    Examples
    --------
    >>> from castsugar import Cook, Kitchen, Mix
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    >>> mix = Mix.weigh("KNO3:55 sucrose:20 corn syrup:25")
    >>> found = pour_heat(mix, kitchen)
    >>> round(found.low), round(found.high)
    (368, 398)
    """
    instance(kitchen, Kitchen, "kitchen", optional=False)
    if not 0.0 < number(probability, "probability", "as a share") < 1.0:
        raise InputError(f"probability is {probability:g}; give a share below 1")
    if not number(thickest, "largest viscosity", "Pa s") > 0.0:
        raise InputError(f"largest viscosity is {thickest:g} Pa s; give one above 0")
    pot, known = known_pot(mix, kitchen)
    values = known.draw(kitchen.draws, kitchen.seed)
    window = pouring_window(
        pot, values, kitchen, level=probability, thickest=thickest, grid=_HEATS
    )
    limit = min(float(hottest_pour(pot, kitchen)[0]), HOTTEST)
    heats = [*_HEATS[limit > _HEATS], max(limit, _HEATS[0])]
    chances = []
    for heat in heats:
        at = kitchen.cook.ending_at(float(heat))
        chance = pour_chance(pot, values, at, kitchen.air_pressure, thickest)
        chances.append(float(chance[0]))
    best = int(np.argmax(chances))
    low, high = (float(end[0]) for end in window)
    return PourHeat(
        probability=probability,
        thickest=thickest,
        low=low,
        high=high,
        best=float(heats[best]),
        chance=chances[best],
        limit=limit,
        down_to=_down_to(pot, values, kitchen, probability, thickest),
    )


def cools_to(pot: Pot, kitchen: Kitchen) -> float:
    """Return to what a mix may cool after its cook before it rather does not pour. [K]

    The coldest modelled at least; NaN where it does not pour from the start. The pot
    has one row, with a model.
    """
    known = kitchen.belief
    if not pot.measured_syrup[0]:
        known = known.of_another_syrup()
    values = known.draw(kitchen.draws, kitchen.seed)
    return _down_to(pot, values, kitchen, 0.5, POURS_BELOW)


def _down_to(
    pot: Pot, values: Values, kitchen: Kitchen, level: float, thickest: float
) -> float:
    """Return to what a mix may cool after its cook; the coldest modelled at least."""
    left = water_left(pot, values, kitchen.cook, kitchen.air_pressure)

    def fine(temperature: float) -> bool:
        true = temperature + values.thermometer
        held = standing(pot, values, left, true)
        thick = viscosity(pot, values, held, true)
        return float(pours(thick, held.crowding, thickest).mean()) >= level

    warm, cold = kitchen.cook.pour_temperature, POUR_RANGE[0]
    if not fine(warm):
        return math.nan
    if fine(cold):
        return cold
    return float(bisected(lambda t: fine(float(t)), warm, cold, _HALVINGS)[0])
