"""Drawn batches of one recipe in the pot, one row a draw."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.inputs import Input, Scores
from castsugar.decide.perturbed import Recipe
from castsugar.kitchen.parameters import (
    NAMES,
    OF_SYRUP,
    Kitchen,
    Values,
    find,
    values_of,
)
from castsugar.kitchen.pot import pots_of, poured, standing, water_at_start, water_left
from castsugar.kitchen.pour_table import browned_of
from castsugar.kitchen.verdict import ROOM, humidity


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cooking:
    """Drawn batches out of the pot; NaN where there is no model, shape (rows,).

    Attributes
    ----------
    viscosity, set_ratio, humidity : ndarray
        [Pa s], [-]; relative humidity above which a grain draws water [%]
    water_lost : ndarray
    solids : ndarray
        Dry solids of the syrup off the stated ones, in standard uncertainties.
    """

    viscosity: FloatArray
    set_ratio: FloatArray
    humidity: FloatArray
    water_lost: FloatArray
    solids: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InPot:
    """A recipe on a kitchen's stove.

    Attributes
    ----------
    recipe : Recipe
    kitchen : Kitchen
    gap : str
        Why there is no model.
    measured : bool
        Whether its syrup is the one that the kitchen was measured with.
    browned : float
        Degraded share of its sugar.
    stated_loss : float
        Share of the water that is known to leave; NaN where the kitchen decides.
    """

    recipe: Recipe
    kitchen: Kitchen
    gap: str
    measured: bool
    browned: float
    stated_loss: float

    @classmethod
    def of(cls, recipe: Recipe, kitchen: Kitchen) -> InPot:
        """Put a recipe on the stove."""
        pot = pots_of(None, recipe.pot(recipe.weighed({}, 1)), kitchen)
        gap = pot.gap[0] or ("too hot" if kitchen.too_hot else "")
        return cls(
            recipe=recipe,
            kitchen=kitchen,
            gap=gap,
            measured=bool(pot.measured_syrup[0]),
            browned=float(browned_of(pot, kitchen)[0]),
            stated_loss=float(pot.stated_loss[0]),
        )

    def inputs(self) -> list[Input]:
        """Return what is uncertain about kitchen and syrup."""
        used = bool(self.recipe.syrups)
        names = NAMES if not self.gap else OF_SYRUP[:1]
        belief = self.kitchen.belief
        if not self.measured:
            belief = belief.of_another_syrup()
        spreads = dict(zip(NAMES, belief.spreads().tolist(), strict=True))
        origins = dict(zip(NAMES, belief.origins, strict=True))
        found = []
        for name in names:
            if name in OF_SYRUP and not used:
                continue
            parameter = find(name)
            of = f" ({self._syrup})" if name in OF_SYRUP else ""
            scale = "" if parameter.scale == "plain" else f" ({parameter.scale} scale)"
            found.append(
                Input(
                    key=self._key(name),
                    kind="syrup" if name in OF_SYRUP else "kitchen",
                    label=f"{parameter.label}{of}",
                    uncertainty=spreads[name],
                    unit=f"{parameter.unit}{scale}".strip(),
                    origin=origins[name],
                )
            )
        return found

    def cooked(self, weighed: FloatArray, scores: Scores) -> Cooking:
        """Cook batches, (rows, k + 1)."""
        rows = len(weighed)
        values = self._values(scores, rows)
        solids = values.syrup_solids[:, 0]
        if self.gap:
            gone = np.full(rows, np.nan)
            stated = self.stated_loss
            lost = np.full(
                rows, self.recipe.mix.water_lost if math.isnan(stated) else stated
            )
            return Cooking(
                viscosity=gone,
                set_ratio=gone,
                humidity=gone,
                water_lost=lost,
                solids=solids,
            )
        kitchen = self.kitchen
        pot = pots_of(None, self.recipe.pot(weighed), kitchen)
        start = water_at_start(pot, values)
        left = water_left(pot, values, kitchen.cook, kitchen.air_pressure)
        with np.errstate(invalid="ignore", divide="ignore"):
            lost = np.where(start > 0.0, 1.0 - left / start, 0.0)
        eta, _ = poured(pot, values, kitchen.cook, kitchen.air_pressure)
        cold = standing(pot, values, left, np.asarray(ROOM))
        return Cooking(
            viscosity=eta[:, 0],
            set_ratio=cold.crowding[:, 0],
            humidity=humidity(pot, values, cold)[:, 0],
            water_lost=np.clip(lost[:, 0], 0.0, 1.0),
            solids=solids,
        )

    @property
    def _syrup(self) -> str:
        return " + ".join(sorted(s.use.name for s in self.recipe.syrups))

    def _key(self, name: str) -> str:
        own = name in OF_SYRUP and not self.measured
        return f"kitchen|{name}|{self._syrup}" if own else f"kitchen|{name}"

    def _values(self, scores: Scores, rows: int) -> Values:
        """Return the parameters, (rows, 1) each, so that rows meet rows."""
        belief = self.kitchen.belief
        if not self.measured:
            belief = belief.of_another_syrup()
        zero = np.zeros(rows)
        normals = np.stack([scores.get(self._key(n), zero) for n in NAMES], axis=-1)
        return values_of((belief.mean + normals @ belief.root().T)[:, None, :])
