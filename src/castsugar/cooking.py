"""Mixes into the pot: what the kitchen says about each, as columns. Floor 4.

Works without Cantera; :func:`castsugar.evaluate` adds how the mixes burn.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.blends import Blends, of_mixes
from castsugar.columns import COLUMNS
from castsugar.expand import Constituent
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.parameters import find
from castsugar.kitchen.pot import SYRUP_SOLIDS, Pot
from castsugar.kitchen.settings import Kitchen
from castsugar.kitchen.validity import ICE_POINT, FloatArray
from castsugar.kitchen.verdict import Verdict, judge
from castsugar.mix import Mix
from castsugar.syrups import SyrupUse

if TYPE_CHECKING:
    import pandas as pd

#: Fuels that stay grains in the pot: they do not dissolve.
GRAINS = ("starch", "graphite", "carbon black", "charcoal")

#: Degraded sugar [%] from which a row is flagged, and how.
_BROWN = ((5.0, "sugar degraded above 5 %: browns"), (2.0, "sugar degraded above 2 %"))

#: Masses that the pot sorts the constituents into; the last is a volume.
_SORTS = ("nitrate", "sucrose", "syrup", "water", "grains", "grains_volume")

Columns = dict[str, Any]


def kitchen_table(
    mixes: Mix | Iterable[Mix] | Blends, kitchen: Kitchen
) -> pd.DataFrame:
    """Return what a kitchen says about mixes: name, water, density, kitchen columns.

    Parameters
    ----------
    mixes : Mix, iterable of Mix, or Blends
    kitchen : Kitchen

    Returns
    -------
    pandas.DataFrame
        One row a mix. A mix without a model keeps its row, with NaN and the reason in
        `flags`.

    Notes
    -----
    Needs no Cantera: nothing is burnt.
    """
    import pandas as pd

    listed = None if isinstance(mixes, Blends) else _listed(mixes)
    blends = mixes if isinstance(mixes, Blends) else of_mixes(listed or [])
    said = cook(listed, blends, kitchen)
    blends = said.blends
    columns: Columns = {
        "name": list(blends.names),
        "water_as_weighed_percent": 100.0 * blends.water_as_weighed,
        "water_as_cast_percent": 100.0 * blends.water_as_cast,
        "density_kg_m3": blends.density,
        **said.columns(),
        "flags": said.flags(),
    }
    return pd.DataFrame(columns, columns=[c.key for c in COLUMNS if c.key in columns])


def _listed(mixes: Mix | Iterable[Mix]) -> list[Mix]:
    return [mixes] if isinstance(mixes, Mix) else list(mixes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cooked:
    """What came out of the pot.

    Attributes
    ----------
    mixes : list of Mix, or None
        Cast with the water that the kitchen leaves; None if Blends were given.
    blends : Blends
    verdict : Verdict
    """

    mixes: list[Mix] | None
    blends: Blends
    verdict: Verdict

    def columns(self) -> Columns:
        """Return the kitchen columns of the contract."""
        return _columns(self.verdict)

    def flags(self) -> list[str]:
        """Return what is special about each row, in mix and kitchen."""
        both = zip(self.blends.flags, _flags(self.verdict), strict=True)
        return ["; ".join([*own, *more]) for own, more in both]


def cook(mixes: list[Mix] | None, blends: Blends, kitchen: Kitchen) -> Cooked:
    """Judge mixes, and cast them again with the water that the kitchen leaves.

    The dry solids of the syrup that was measured become those of the kitchen, so that
    thermochemistry sees the same water. A mix whose `water_lost` is above 0 keeps it:
    its loss is known. Mixes without a kitchen model are left as they are.
    """
    pot = pots_of(mixes, blends, kitchen)
    verdict = judge(pot, kitchen)
    told = np.array([not why for why in verdict.gap], dtype=bool)
    lost = np.where(told, verdict.water_lost, blends.water_lost)
    if mixes is None:
        solids = _solids([i.syrup for i in blends.items if i.syrup], kitchen)
        again = blends.cast_again(lost, solids)
        return Cooked(mixes=None, blends=again, verdict=verdict)
    cast = []
    for mix, share, fine in zip(mixes, lost, told, strict=True):
        if fine:
            solids = _solids(mix.syrups, kitchen)
            mix = mix.with_syrup_solids(solids) if solids else mix
            mix = mix.with_water_lost(min(max(float(share), 0.0), 1.0))
        cast.append(mix)
    return Cooked(mixes=cast, blends=of_mixes(cast), verdict=verdict)


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
        if s.name == kitchen.syrup and s.dry_solids < 1.0
    }


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
    names = [" + ".join(sorted({u.name for u in uses})) for uses in syrups]
    return Pot(
        **{name: sorts[:, i].copy() for i, name in enumerate(_SORTS)},
        syrup_solids=np.array([s.dry_solids for s in known]),
        syrup_solids_u=np.array([s.dry_solids_uncertainty for s in known]),
        syrup_grade=np.array([s.grade for s in known]),
        syrup_viscosity_grade=np.array([s.viscosity_grade for s in known]),
        stated_loss=stated,
        measured_syrup=np.array([n in ("", kitchen.syrup) for n in names], dtype=bool),
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
        elif ingredient.name in GRAINS or ingredient.role in ("catalyst", "inert"):
            masses["grains"] += share
            masses["grains_volume"] += share / ingredient.density
        else:
            gap = gap or f"no model for {ingredient.name}"
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


def not_asked(count: int) -> Columns:
    """Return the kitchen columns of rows for which no kitchen was given."""
    keys = [c.key for c in COLUMNS if c.group == "kitchen"]
    columns: Columns = {key: np.full(count, np.nan) for key in keys}
    columns["flow_class"] = ["not asked"] * count
    return columns


def _columns(verdict: Verdict) -> Columns:
    """Return the kitchen columns of the contract."""
    told = np.array([not why for why in verdict.gap], dtype=bool)
    low, middle, high = verdict.viscosity
    window = verdict.window - ICE_POINT
    degraded = 100.0 * verdict.degraded
    return {
        "liquid_boils_C": verdict.boils - ICE_POINT,
        "undissolved_sugar_percent": 100.0 * verdict.undissolved,
        "solids_over_packing": verdict.crowding,
        "pour_viscosity_Pa_s": middle,
        "pour_viscosity_p10_Pa_s": low,
        "pour_viscosity_p90_Pa_s": high,
        "flow_class": verdict.flow_class,
        "pours_probability": np.where(told, verdict.pours, np.nan),
        "pour_window_low_C": window[0],
        "pour_window_high_C": window[1],
        "set_ratio": verdict.set_ratio,
        "binder_glass_transition_C": verdict.glass - ICE_POINT,
        "sugar_degraded_percent": np.full(len(told), degraded),
        "storage_humidity_max_percent": verdict.humidity,
    }


def _flags(verdict: Verdict) -> list[list[str]]:
    """Return what is special about each row."""
    degraded = 100.0 * verdict.degraded
    brown = [text for limit, text in _BROWN if degraded > limit][:1]
    found = []
    for row, why in enumerate(verdict.gap):
        if why:
            found.append([f"kitchen not computed: {why}"])
            continue
        own = list(brown)
        if np.isinf(verdict.viscosity[0, row]) and verdict.undissolved[row] > 0.0:
            dry = verdict.water_lost[row] == 0.0 and np.isnan(verdict.boils[row])
            own += ["no liquid: below the melting range of sugar"] if dry else []
        found.append(own)
    return found
