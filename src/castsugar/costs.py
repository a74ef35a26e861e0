"""What a measurement costs: minutes of work and grams of mix, stated or assumed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import field
from typing import Final

from castsugar.frozen import dataclass


@dataclass(frozen=True, slots=True)
class Prices:
    """Prices of ingredients, each per kilogram, in one currency.

    Attributes
    ----------
    currency : str
        How it is called in the answer.
    per_kg : mapping of str to float
        Catalogue name to price. [1/kg]

    Examples
    --------
    >>> prices = Prices("EUR", {"potassium nitrate": 6.0, "sucrose": 2.0})
    >>> prices.of({"potassium nitrate": 65.0, "sucrose": 35.0})
    4.6
    """

    currency: str
    per_kg: Mapping[str, float]

    def of(self, recipe: Mapping[str, float]) -> float:
        """Return what a recipe costs; NaN where a price is missing. [1/kg]"""
        parts = [self.per_kg.get(n, math.nan) * x for n, x in recipe.items()]
        return math.fsum(parts) / math.fsum(recipe.values())


#: What can be measured or burned.
PAN_WEIGHT, BULK_DENSITY, BALL_FALL = "pan weight", "bulk density", "ball fall"
BRINE, CLEAR_POINT = "brine", "clear point"
FLOW_OUT, SYRUP_DENSITY, FINER_SCALE = "flow-out", "syrup density", "finer scale"
NEW_BATCH, FURTHER = "new batch", "further strands"
FIRED, FILMED = "firing", "filmed firing"

#: What a gram of mix counts, in time.
GRAM = "gram"


@dataclass(frozen=True, slots=True)
class Cost:
    """Time of work [s] and mass of mix that is used up [kg]."""

    time: float
    mass: float = 0.0


#: What is assumed where nothing is stated: common practice, no source. Of strands a pot
#: to cook, cast, cut and burn; further ones of a batch that is kept need no pot; a
#: firing takes the grains of a motor, a site, an evening, without a gauge an hour less.
#: Kitchen measurements as long as their protocols say.
ASSUMED: Final[Mapping[str, Cost]] = {
    PAN_WEIGHT: Cost(1200.0),
    BULK_DENSITY: Cost(600.0),
    BRINE: Cost(1200.0),
    CLEAR_POINT: Cost(2700.0),
    BALL_FALL: Cost(900.0),
    SYRUP_DENSITY: Cost(900.0),
    FLOW_OUT: Cost(1800.0, 0.2),
    FINER_SCALE: Cost(1200.0),
    NEW_BATCH: Cost(7200.0, 0.1),
    FURTHER: Cost(2400.0),
    FIRED: Cost(21600.0, 0.3),
    FILMED: Cost(18000.0, 0.3),
    GRAM: Cost(6.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Time of work [s] and money that may be spent; infinite where nothing limits.

    `prices` are those of the money; what the mixes of a measurement cost is all of it.
    """

    time: float = math.inf
    money: float = math.inf
    prices: Prices | None = None

    @property
    def limited(self) -> bool:
        """Whether there is one at all."""
        return self.time < math.inf or self.money < math.inf

    def price(self, cost: Cost, recipe: Mapping[str, float]) -> float:
        """Return what the mix of a measurement costs; 0 where nothing is priced."""
        if self.prices is None or not cost.mass:
            return 0.0
        return cost.mass * self.prices.of(recipe)

    def fitting(self, wanted: Iterable[tuple[Cost, Mapping[str, float]]]) -> list[bool]:
        """Say which of some measurements fit, each beside those before that do.

        Examples
        --------
        >>> budget = Budget(time=100.0)
        >>> budget.fitting([(Cost(60.0), {}), (Cost(50.0), {}), (Cost(40.0), {})])
        [True, False, True]
        """
        time, money, fits = self.time, self.money, []
        for cost, recipe in wanted:
            price = self.price(cost, recipe)
            fits.append(cost.time <= time and price <= money)
            if fits[-1]:
                time, money = time - cost.time, money - price
        return fits


@dataclass(frozen=True, slots=True)
class Costs:
    """Costs by name: what is stated, over :data:`ASSUMED`.

    Examples
    --------
    >>> costs = Costs({"pan weight": {"time": 600.0}})
    >>> costs.of("pan weight"), costs.minutes("flow-out")
    (Cost(time=600.0, mass=0.0), 50.0)
    """

    stated: Mapping[str, Mapping[str, float | None]] = field(default_factory=dict)

    def of(self, name: str) -> Cost:
        """Return what one costs."""
        known, said = ASSUMED[name], self.stated.get(name, {})
        time, mass = said.get("time"), said.get("mass")
        return Cost(
            time=known.time if time is None else time,
            mass=known.mass if mass is None else mass,
        )

    def minutes(self, name: str) -> float:
        """Return what one costs with its grams counted as time. [min]"""
        cost = self.of(name)
        return (cost.time + 1e3 * cost.mass * self.of(GRAM).time) / 60.0
