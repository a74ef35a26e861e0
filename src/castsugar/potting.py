"""Recipes into the pot: which constituent is what to the kitchen."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.pot import Pot
from castsugar.kitchen.settings import Kitchen
from castsugar.mix import weighing
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SyrupUse
from castsugar.mix.weighing import Constituent

#: Fuels that stay grains in the pot: they do not dissolve.
GRAINS = ("starch", "graphite", "carbon black", "charcoal")

#: Sugars that the pot has no model for; they brown, sooner than sucrose (from memory).
BROWNS = (
    "dextrose",
    "dextrose monohydrate",
    "fructose",
    "maltose",
    "maltose monohydrate",
    "maltodextrin",
)

#: Masses that the pot sorts the constituents into; the last is a volume.
_SORTS = (
    *("nitrate", "chloride", "sucrose", "syrup"),
    *("water", "other_sugar", "grains", "grains_volume"),
)


def measured_syrup(kitchen: Kitchen) -> str:
    """Return the catalogue name of the syrup that the kitchen was measured with."""
    return weighing.item_name(load_database(), kitchen.syrup)


def pot_of(mix: Mix, kitchen: Kitchen | None = None) -> Pot:
    """Return one mix in the pot, as weighed; the kitchen says what is measured."""
    kitchen = kitchen or Kitchen(cook=Cook.hold(392.15, 60.0))
    return pots_of([mix], of_mixes([mix]), kitchen)


def pots_of(mixes: list[Mix] | None, blends: Blends, kitchen: Kitchen) -> Pot:
    """Put recipes into the pot, as weighed."""
    if mixes is None:
        sorts, syrups, gaps = _of_items(blends)
    else:
        sorted_ = [_sorted(mix.weighed, mix.syrups) for mix in mixes]
        sorts = np.array([row for row, _ in sorted_]).reshape(-1, len(_SORTS))
        gaps = [gap for _, gap in sorted_]
        syrups = [mix.syrups for mix in mixes]
    known = [_one_syrup(uses) for uses in syrups]
    stated = np.where(blends.water_lost > 0.0, blends.water_lost, np.nan)
    if kitchen.water_lost is not None:
        stated = np.full(len(blends), kitchen.water_lost)
    masses = dict(zip(_SORTS, sorts.T.copy(), strict=True))
    chloride = masses.pop("chloride")
    nothing = ~(sorts[:, :4].sum(axis=1) > 0.0)
    both = (chloride > 0.0) & (masses["nitrate"] > 0.0)
    gaps = [
        gap
        or ("neither nitrate nor sugar" if empty else "")
        or ("nitrate and its dummy in one pot" if mixed else "")
        for gap, empty, mixed in zip(gaps, nothing, both, strict=True)
    ]
    masses["nitrate"] = masses["nitrate"] + chloride
    measured = ("", measured_syrup(kitchen))
    names = [" + ".join(sorted({u.name for u in uses})) for uses in syrups]
    return Pot(
        **masses,
        chloride=chloride > 0.0,
        syrup_solids=np.array([s.dry_solids for s in known]),
        syrup_solids_u=np.array([s.dry_solids_uncertainty for s in known]),
        syrup_grade=np.array([s.grade for s in known]),
        syrup_viscosity_grade=np.array([s.viscosity_grade for s in known]),
        stated_loss=stated,
        measured_syrup=np.array([n in measured for n in names], dtype=bool),
        gap=tuple(gaps),
    )


def _of_items(
    blends: Blends,
) -> tuple[FloatArray, list[tuple[SyrupUse, ...]], list[str]]:
    """Sort the items of blends, then mix them by their shares."""
    syrups = [(i.syrup,) if i.syrup else () for i in blends.items]
    sorted_ = [
        _sorted(i.constituents, s) for i, s in zip(blends.items, syrups, strict=True)
    ]
    parts = np.array([row for row, _ in sorted_]).reshape(-1, len(_SORTS))
    used, gaps = [], []
    for row in blends.shares:
        present = np.flatnonzero(row > 0.0)
        uses = [(use, float(row[i])) for i in present for use in syrups[i]]
        used.append(tuple(replace(u, mass_fraction=share) for u, share in uses))
        gaps.append(next((sorted_[i][1] for i in present if sorted_[i][1]), ""))
    return blends.shares @ parts, used, gaps


def _sorted(
    constituents: Iterable[Constituent], syrups: Iterable[SyrupUse]
) -> tuple[list[float], str]:
    """Return the masses of :data:`_SORTS`, and why there is no model."""
    origins = {s.name for s in syrups}
    masses, gap = dict.fromkeys(_SORTS, 0.0), ""
    for c in constituents:
        share, ingredient = c.mass_fraction, c.ingredient
        if c.origin in origins:
            masses["syrup"] += share
        elif ingredient.role == "water":
            masses["water"] += share
        elif ingredient.name in ("potassium nitrate", "sucrose"):
            sort = "nitrate" if ingredient.role == "oxidizer" else "sucrose"
            masses[sort] += share
        elif ingredient.role == "dummy":
            masses["chloride"] += share
        elif ingredient.name in GRAINS or ingredient.role in ("catalyst", "inert"):
            masses["grains"] += share
            masses["grains_volume"] += share / ingredient.density
            if not math.isfinite(ingredient.density):
                gap = gap or f"no density for {ingredient.name}"
        else:
            gap = gap or f"no model for {ingredient.name}"
            masses["other_sugar"] += share if ingredient.name in BROWNS else 0.0
    return [masses[name] for name in _SORTS], gap


def _one_syrup(uses: Sequence[SyrupUse]) -> SyrupUse:
    """Return one syrup that stands for several; a default where there is none."""
    if len(uses) == 1:
        return uses[0]
    whole = sum(u.mass_fraction for u in uses)

    def mean(name: str, default: float) -> float:
        if not whole:
            return default
        total = sum(u.mass_fraction * float(getattr(u, name)) for u in uses)
        return total / whole

    return SyrupUse(
        name="",
        mass_fraction=whole,
        dry_solids=mean("dry_solids", 0.77),
        dry_solids_uncertainty=mean("dry_solids_uncertainty", 0.02),
        grade=mean("grade", 42.0),
        viscosity_grade=mean("viscosity_grade", 70.0),
    )
