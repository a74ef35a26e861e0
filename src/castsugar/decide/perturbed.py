"""Batches of one recipe as they may turn out: weighed, damp, of another syrup.

Everything is a sum over items by mass, so that a syrup with other solids is the same
syrup and some water (more or less), and one of another dextrose equivalent a step from
one grade to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.decide.conditions import Doubts
from castsugar.decide.inputs import (
    Input,
    Scores,
    doubt_key,
    enthalpy_input,
    enthalpy_u,
    identity,
)
from castsugar.decide.portions import (
    GRADE,
    SyrupDoubt,
    grade_key,
    item_of,
    neighbours,
    solids_key,
)
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import Constituent, Item, weigh_items

#: Liquids among the ingredients that are neither syrup nor water: never damp powders.
_LIQUIDS = ("glycerol",)

#: Dry solids stay between these.
_SOLIDS = (0.5, 0.995)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recipe:
    """A mix, ready to be weighed many times.

    Attributes
    ----------
    mix : Mix
    identity, batch : str
        Of the mix with its data, and of what is weighed alone.
    names : tuple of str
        Items that are weighed, by catalogue name.
    shares : ndarray, shape (k,)
        Their mass fractions.
    items : tuple of Item
        Those, then water, then neighbour grades of syrups.
    damp : ndarray of bool, shape (k,)
        Which of them are powders.
    syrups : tuple
    doubts : Doubts
    """

    mix: Mix
    identity: str
    batch: str
    names: tuple[str, ...]
    shares: FloatArray
    items: tuple[Item, ...]
    damp: tuple[bool, ...]
    syrups: tuple[SyrupDoubt, ...]
    doubts: Doubts

    @classmethod
    def of(cls, mix: Mix, doubts: Doubts) -> Recipe:
        """Take a mix apart."""
        names = tuple(dict.fromkeys(c.origin for c in mix.weighed))
        uses = {s.name: s for s in mix.syrups}
        parts = [[c for c in mix.weighed if c.origin == name] for name in names]
        shares = np.array([sum(c.mass_fraction for c in own) for own in parts])
        items = [
            item_of(own, share, uses.get(name))
            for name, own, share in zip(names, parts, shares.tolist(), strict=True)
        ]
        items += weigh_items(load_database(), ["water"], {}, {})
        syrups = []
        for place, name in enumerate(names):
            if name not in uses:
                continue
            nearby = neighbours(uses[name]) if doubts.dextrose_equivalent else ()
            grades = (len(items), len(items) + 1) if nearby else None
            items += nearby
            syrups.append(SyrupDoubt(use=uses[name], place=place, grades=grades))
        damp = tuple(
            name not in uses and _is_powder(name, own)
            for name, own in zip(names, parts, strict=True)
        )
        return cls(
            mix=mix,
            identity=identity(mix),
            batch=identity(mix, data=False),
            names=names,
            shares=shares / shares.sum(),
            items=tuple(items),
            damp=damp,
            syrups=tuple(syrups),
            doubts=doubts,
        )

    def inputs(self) -> list[Input]:
        """Return what is uncertain about it, kitchen and motor left out."""
        d, label = self.doubts, self.mix.name
        found = [
            Input(
                key=self._weighing(name),
                kind="weighing",
                label=f"weighed mass of {name} in {label}",
                uncertainty=1e3 * d.weighing,
                unit="g",
                origin="stated, or common practice",
            )
            for name in self.names
        ]
        found += [
            Input(
                key=f"moisture|{name}",
                kind="moisture",
                label=f"moisture of {name}",
                uncertainty=100.0 * d.moisture,
                unit="%",
                half=True,
                origin="stated, or common practice",
            )
            for name, damp in zip(self.names, self.damp, strict=True)
            if damp
        ]
        found += [
            Input(
                key=grade_key(s.use.name),
                kind="syrup",
                label=f"dextrose equivalent of {s.use.name}",
                uncertainty=d.dextrose_equivalent,
                unit="DE",
                origin="stated, or common practice",
            )
            for s in self.syrups
            if s.grades is not None
        ]
        if d.enthalpies:
            # Water is among the items: what damp powders bring is drawn too.
            used = [c.ingredient for item in self.items for c in item.constituents]
            found += [enthalpy_input(i) for i in used if i.composition]
        return found

    def solids(self) -> list[Input]:
        """Return the doubts of dry solids that no kitchen measured."""
        return [
            Input(
                key=solids_key(s.use.name),
                kind="syrup",
                label=f"dry solids of {s.use.name}",
                uncertainty=100.0 * s.use.dry_solids_uncertainty,
                unit="%",
                origin="the syrup's row, or a stated value",
            )
            for s in self.syrups
            if s.use.dry_solids < 1.0
        ]

    def weighed(self, scores: Scores, rows: int) -> FloatArray:
        """Return mass fractions of the items and of water, (rows, k + 1)."""
        d = self.doubts
        parts = np.repeat(self.shares[None], rows, axis=0)
        water = np.zeros(rows)
        for place, name in enumerate(self.names):
            wrong = scores.get(self._weighing(name))
            if wrong is not None:
                parts[:, place] += wrong * d.weighing / d.batch
        parts = np.maximum(parts, 0.0)
        for place, name in enumerate(self.names):
            wet = scores.get(f"moisture|{name}")
            if self.damp[place] and wet is not None:
                brought = np.minimum(d.moisture * np.abs(wet), 1.0) * parts[:, place]
                parts[:, place] -= brought
                water += brought
        whole = np.column_stack([parts, water])
        return whole / whole.sum(axis=1, keepdims=True)

    def one_step(self, step: float) -> FloatArray:
        """Return the recipe with one scale step more of one item, (k, k + 1)."""
        parts = self.shares + np.eye(len(self.names)) * step / self.doubts.batch
        whole = np.column_stack([parts, np.zeros(len(parts))])
        return whole / whole.sum(axis=1, keepdims=True)

    def pot(self, weighed: FloatArray) -> Blends:
        """Return the batches with their syrups as stated, for the kitchen."""
        count = len(self.names) + 1
        return self._blends(self.items[:count], weighed, self._lost(len(weighed)))

    def cast(
        self,
        weighed: FloatArray,
        scores: Scores,
        *,
        solids: FloatArray | None = None,
        water_lost: FloatArray | None = None,
        browned: float | None = None,
    ) -> Blends:
        """Return the batches as cast.

        Parameters
        ----------
        weighed : ndarray, shape (rows, k + 1)
        scores : mapping
        solids : ndarray, shape (rows,), optional
            Dry solids of every syrup off the stated ones, in standard uncertainties;
            each syrup's own score by default.
        water_lost : ndarray, shape (rows,), optional
        browned : float, optional
            Degraded share of the sugar; that of the mix by default.
        """
        rows = len(weighed)
        shares = np.zeros((rows, len(self.items)))
        count = len(self.names)
        shares[:, : count + 1] = weighed
        zero = np.zeros(rows)
        for s in self.syrups:
            share, stated = weighed[:, s.place], s.use.dry_solids
            own = scores.get(solids_key(s.use.name), zero) if solids is None else solids
            # A syrup that its lot states to hold no water at all stays dry.
            u = s.use.dry_solids_uncertainty if stated < 1.0 else 0.0
            wanted = np.clip(stated + u * own, *_SOLIDS) if u else stated
            factor = wanted / stated
            shares[:, s.place] = share * factor
            shares[:, count] += share * (1.0 - factor)
            if s.grades is not None:
                grade = scores.get(grade_key(s.use.name), zero)
                move = self.doubts.dextrose_equivalent * grade / (2.0 * GRADE)
                shares[:, s.grades[0]] = -move * share * factor
                shares[:, s.grades[1]] = move * share * factor
        lost = self._lost(rows) if water_lost is None else water_lost
        found = self._blends(self.items, shares, lost, browned)
        return replace(found, enthalpy=found.enthalpy + _enthalpy(found, scores, rows))

    def _lost(self, rows: int) -> FloatArray:
        return np.full(rows, self.mix.water_lost)

    def _weighing(self, name: str) -> str:
        return f"weighing|{self.batch}|{name}"

    def _blends(
        self,
        items: tuple[Item, ...],
        shares: FloatArray,
        water_lost: FloatArray,
        browned: float | None = None,
    ) -> Blends:
        start = replace(
            of_mixes([self.mix]),
            names=(self.mix.name,) * len(shares),
            items=items,
            shares=shares,
        )
        brown = self.mix.browned if browned is None else browned
        return start.cast_again(water_lost, browned=np.full(len(shares), brown))


def _is_powder(name: str, own: Sequence[Constituent]) -> bool:
    """Return whether an item may be damp: of the catalogue, and not a liquid."""
    wet = all(c.ingredient.role == "water" for c in own)
    known = all(c.ingredient.catalogued for c in own)
    return known and not wet and name not in _LIQUIDS


def _enthalpy(blends: Blends, scores: Scores, rows: int) -> FloatArray:
    """Return the enthalpy that wrong enthalpies of formation add. [J/kg]"""
    added = np.zeros(rows)
    for column, ingredient in enumerate(blends.ingredients):
        score = scores.get(doubt_key(ingredient))
        if score is not None:
            added += blends.moles[:, column] * enthalpy_u(ingredient) * score
    return added
