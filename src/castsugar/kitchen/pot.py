"""Recipes in the pot, and the chain from constituents to flow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, fields, replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.data.load import load_database
from castsugar.data.records import Ingredient
from castsugar.frozen import dataclass
from castsugar.kitchen import liquid, packing, solubility, suspension, water
from castsugar.kitchen.boiling import Rows, after_boiling, salt_taken, takes
from castsugar.kitchen.heat import Cook, Cooks
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.kitchen.sugars import (
    DRY_DEXTROSE,
    IN_MELT,
    MELTS,
    SUGARS,
    WITHOUT,
    dry_dextrose,
)
from castsugar.mix import weighing
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SyrupUse
from castsugar.mix.weighing import Constituent

# ----------------------------------------------------------------------------
# Many recipes in the pot, as weighed, and the chain from recipe to flow.

#: Limits of the dry solids of a drawn syrup.
SYRUP_SOLIDS = (0.5, 1.0)

#: Limits of the viscosity grade of a drawn syrup [DE].
SYRUP_GRADE = (20.0, 110.0)

#: Rows that are drawn together: their arrays fit the cache.
BLOCK = 64


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pot:
    """Recipes as weighed, one row each: arrays of shape (n,), mass fractions."""

    nitrate: FloatArray  # or the chloride that stands in for it
    chloride: NDArray[np.bool_]  # potassium chloride stands in: an inert dummy
    sucrose: FloatArray
    syrup: FloatArray  # whole
    water: FloatArray  # that is not the syrup's
    dextrose: FloatArray  # this and the next two: see kitchen.sugars
    sorbitol: FloatArray
    erythritol: FloatArray
    other_sugar: FloatArray  # without a model
    grains: FloatArray  # what does not dissolve: starch, pigment, inert matter
    grains_volume: FloatArray  # of those, per mass of mix [m3/kg]
    powdered: FloatArray  # of the sucrose, what is powdered
    syrup_solids: FloatArray  # dry solids of the syrup
    syrup_solids_u: FloatArray  # their standard uncertainty
    syrup_grade: FloatArray  # dextrose equivalent of the composition
    syrup_viscosity_grade: FloatArray  # the one that its viscosity shows
    #: Share of the water that is known to leave; NaN where the kitchen decides.
    stated_loss: FloatArray
    #: Whether the syrup is the one that the kitchen was measured with.
    measured_syrup: NDArray[np.bool_]
    gap: tuple[str, ...]  # why there is no model for a row; empty where there is one
    #: Size of the nitrate's grains over that of powdered sugar; 0: no grind is stated.
    fines_ratio: float = 0.0
    tapped: float = 1.0  # packing in the mould over that at rest; 1: nobody taps
    #: Whether sucrose and syrup are the only sugars with a model in any row.
    plain: bool = field(init=False)

    def __post_init__(self) -> None:
        """See which sugars there are."""
        plain = not any(getattr(self, name).any() for name in SUGARS)
        object.__setattr__(self, "plain", plain)

    def __len__(self) -> int:
        return len(self.gap)

    def sugars(self) -> dict[str, FloatArray]:
        """Return the sugars with a model, (n,) each; the syrup as its dry solids."""
        own = {name: getattr(self, name) for name in SUGARS}
        syrup = self.syrup * self.syrup_solids
        return {"sucrose": self.sucrose, "syrup": syrup, **own}

    def shares(self) -> dict[str, FloatArray]:
        """Return :meth:`sugars` over their sum; 0 where there is none."""
        sugars = self.sugars()
        whole = np.maximum(sum(sugars.values()), 1e-300)
        return {name: mass / whole for name, mass in sugars.items()}

    def browning(self) -> FloatArray:
        """Return which share of the sugars browns, (n,): all but those that melt."""
        melts = sum((getattr(self, name) for name in MELTS), np.zeros(len(self)))
        others = self.sucrose + self.syrup + self.dextrose + self.other_sugar
        return np.where(melts > 0.0, others / np.maximum(others + melts, 1e-300), 1.0)

    def as_dummy(self) -> Pot:
        """Return the pot with the same volume of chloride in place of nitrate."""
        same = np.where(self.chloride, 1.0, suspension.CHLORIDE / suspension.NITRATE)
        return replace(
            self, nitrate=same * self.nitrate, chloride=np.ones_like(self.chloride)
        )

    def at_rest(self) -> Pot:
        """Return the pot with its grains as they lie when nobody taps."""
        return replace(self, tapped=1.0)

    def take(self, rows: NDArray[np.intp]) -> Pot:
        """Return some of the rows."""
        kept = {name: getattr(self, name)[rows] for name in _COLUMNS}
        return replace(self, gap=tuple(self.gap[i] for i in rows), **kept)


#: Columns of a pot; the rest is no array.
_COLUMNS = tuple(
    f.name for f in fields(Pot) if "Float" in f.type or "np.bool" in f.type
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slurry:
    """What stands in the pot at one temperature; arrays of shape (n,) or (n, draws)."""

    #: Masses per mass as weighed: water left; crystals of sugar; dissolved sucrose; dry
    #: solids of the syrup.
    water: FloatArray
    undissolved: FloatArray
    dissolved: FloatArray
    syrup_solids: FloatArray
    #: Dissolved or molten masses of other sugars; empty where no row has them.
    others: Mapping[str, FloatArray]
    crowding: FloatArray  # volume fraction of grains over the maximum packing


def water_left(
    pot: Pot, values: Values, cook: Cook | Cooks, pressure: float
) -> FloatArray:
    """Return the water left at the end of a cook, per mass as weighed.

    What is stated leaves, and no more; otherwise drying, or boiling if it takes more.

    Parameters
    ----------
    pot : Pot
        n rows, all with a model.
    values : Values
        Single values, or arrays of shape (draws,).
    cook : Cook or Cooks
        One a row: with draws only.
    pressure : float
        Of the air. [Pa]

    Returns
    -------
    ndarray, shape (n,) or (n, draws)
    """
    rows = columns(pot, values)
    from_syrup, syrup = _syrup(rows, values)
    solids = _solids(pot, rows, syrup)
    start = rows["water"] + from_syrup
    lost = water.water_lost(cook.drying(), values.drying_time)
    hottest = cook.hottest + values.thermometer
    dried = (1.0 - lost) * start
    free = after_boiling(rows, solids, dried, values, hottest, pressure)
    free = np.maximum(free, start - cook.most_evaporated())
    stated = rows["stated_loss"]
    return np.where(np.isnan(stated), free, (1.0 - stated) * start)


def water_at_start(pot: Pot, values: Values) -> FloatArray:
    """Return the water as weighed, per mass; shapes as for :func:`water_left`."""
    rows = columns(pot, values)
    from_syrup, _ = _syrup(rows, values)
    return rows["water"] + from_syrup


def standing(
    pot: Pot,
    values: Values,
    left: FloatArray,
    temperature: FloatArray,
) -> Slurry:
    """Return what stands in the pot: what is dissolved, and how crowded the grains are.

    Parameters
    ----------
    pot, values
        As for :func:`water_left`.
    left : ndarray
        Water left, of :func:`water_left`.
    temperature : ndarray, shape (), (draws,) or (n, draws)
        True bulk temperature. [K]
    """
    rows = columns(pot, values)
    _, syrup = _syrup(rows, values)
    solids = _solids(pot, rows, syrup)
    whole, chloride = rows["nitrate"], rows["chloride"]
    crystal = np.where(chloride, suspension.CHLORIDE, suspension.NITRATE)
    in_water = np.minimum(whole, salt_taken(values, temperature, chloride) * left)
    pure = solubility.sucrose_solubility(temperature)
    limit = solubility.salted(pure, in_water / np.maximum(left, 1e-12), chloride)
    dissolved = np.minimum(
        rows["sucrose"], takes(left, solids, limit, values.solubility_loss)
    )
    undissolved = rows["sucrose"] - dissolved
    sugar_up, water_up = suspension.expansions(temperature)
    thin = sugar_up * (
        dissolved * suspension.DISSOLVED_SUCROSE + syrup * suspension.SYRUP_SOLIDS
    )
    thin = thin + left * (suspension.BOUND_WATER * water_up)
    sugar = undissolved / suspension.SUCROSE_DENSITY
    stiff = sugar + rows["grains_volume"]
    others = {}
    if not pot.plain:
        moles = (
            dissolved / water.SUCROSE + syrup * rows["syrup_grade"] / water.GRADE_MASS
        )
        others = _liquid_of(rows, left, moles, temperature)
        in_melt = sum(others[name] for name in MELTS) * IN_MELT
        in_water = np.minimum(whole, in_water + values.nitrate_dissolved * in_melt)
        for name, mass in others.items():
            one = SUGARS[name]
            up = 1.0 + one.expansion * (temperature - suspension.MEASURED_AT)
            thin = thin + mass * (one.volume * up)
            crystals = rows[name] - mass
            stiff = stiff + crystals / one.density
            undissolved = undissolved + crystals
    thin = thin + in_water * suspension.DISSOLVED_NITRATE
    stiff = stiff + (whole - in_water) / crystal
    packed = values.packing
    if pot.fines_ratio > 1.0 and np.any(rows["powdered"] > 0.0):
        fine = sugar * (rows["powdered"] / np.maximum(rows["sucrose"], 1e-12))
        voids = packing.voids_with_fines(
            fine / np.maximum(stiff, 1e-12), pot.fines_ratio
        )
        packed = packed + (1.0 - packed) * values.fines_gain * (1.0 - voids)
    return Slurry(
        water=left,
        undissolved=undissolved,
        dissolved=dissolved,
        syrup_solids=syrup,
        others=others,
        crowding=stiff / np.maximum(stiff + thin, 1e-12) / (packed * pot.tapped),
    )


def unfrozen(pot: Pot, values: Values, held: Slurry) -> BoolArray:
    """Say in which rows, and draws, all that melts in the pot is liquid."""
    rows = columns(pot, values)
    found = np.ones(held.crowding.shape, dtype=bool)
    for name in MELTS:
        if name in held.others:
            found &= held.others[name] >= rows[name]
    return found


def _liquid_of(
    rows: Rows, left: FloatArray, moles: FloatArray, temperature: FloatArray
) -> dict[str, FloatArray]:
    """Return what is dissolved or molten of the other sugars, beside moles of sugar.

    Dextrose as the water takes it, and it stays dissolved as it cools; sorbitol and
    erythritol in ideal solution with all that is liquid.
    """
    warm = np.maximum(temperature, solubility.SLOW)
    dextrose = np.minimum(rows["dextrose"], solubility.dextrose_solubility(warm) * left)
    mass = {name: SUGARS[name].molar_mass for name in SUGARS}
    held = left / water.WATER + moles + dextrose / mass["dextrose"]
    whole = [rows[name] / mass[name] for name in MELTS]
    parts = solubility.molten(held, whole[0], whole[1], temperature)
    found = {"dextrose": dextrose}
    for name, all_of_it, part in zip(MELTS, whole, parts, strict=True):
        found[name] = np.where(part < all_of_it, part * mass[name], rows[name])
    return found


def viscosity(
    pot: Pot, values: Values, held: Slurry, temperature: FloatArray
) -> FloatArray:
    """Return the viscosity of the suspension; infinite where it jams. [Pa s]

    Arguments as for :func:`standing`, with its result.
    """
    sugars = held.dissolved + held.syrup_solids
    for mass in held.others.values():
        sugars = sugars + mass
    whole = sugars + held.water
    share = held.syrup_solids / np.maximum(sugars, 1e-12)
    solids = np.minimum(sugars / np.maximum(whole, 1e-12), 1.0)
    thickening = _thickening(pot.syrup_viscosity_grade, values)
    log = liquid.mixed_log_viscosity(solids, temperature, share, thickening)
    factor = values.liquid_factor
    if held.others:
        shares = {n: m / np.maximum(sugars, 1e-12) for n, m in held.others.items()}
        log = log + liquid.others_in(solids, temperature, **shares)
        factor = factor * np.exp(_other_doubt(shares, values))
    log = log + suspension.log_thickening(held.crowding, values.law_exponent)
    flows = (held.crowding < 1.0) & (whole > 1e-9)
    return np.where(flows, factor * np.exp(log), np.inf)


def _other_doubt(shares: Mapping[str, FloatArray], values: Values) -> FloatArray:
    """Return what shares of other sugars change in ln of the factor on the liquid.

    Each share has the spread of its own liquid in place of what is believed of sucrose
    and syrup; measurements of those tell nothing of it.
    """
    own = sum(share * SUGARS[name].spread for name, share in shares.items())
    all_shares = sum(shares.values())
    return own * values.liquid_score - all_shares * np.log(values.liquid_factor)


def _thickening(grades: FloatArray, values: Values) -> FloatArray:
    """Return :func:`liquid.grade_logs` of every row's syrup; grades repeat.

    Where every row has values of its own, (n, 1), nothing repeats.
    """
    if np.ndim(values.syrup_grade) > 1:
        own = np.clip(grades[:, None] + values.syrup_grade, *SYRUP_GRADE)
        return liquid.grade_logs(own)
    each, place = np.unique(grades, return_inverse=True)
    if np.ndim(values.syrup_grade):
        each = each[:, None]
    drawn = np.clip(each + values.syrup_grade, *SYRUP_GRADE)
    return liquid.grade_logs(drawn)[place]


def poured(
    pot: Pot,
    values: Values,
    cook: Cook | Cooks,
    pressure: float,
) -> tuple[FloatArray, FloatArray]:
    """Return viscosity [Pa s] and crowding at the end of a cook.

    Arguments as for :func:`water_left` and :func:`standing`.
    """
    return at_pour(pot, values, cook, water_left(pot, values, cook, pressure))


def at_pour(
    pot: Pot, values: Values, cook: Cook | Cooks, left: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what :func:`poured` does, of the water that is left."""
    temperature = cook.pour_temperature + values.thermometer
    held = standing(pot, values, left, temperature)
    return viscosity(pot, values, held, temperature), held.crowding


def columns(pot: Pot, values: Values) -> dict[str, FloatArray]:
    """Return the columns of a pot, ready to meet draws on the last axis.

    With them `per_solids`, moles per mass of what never crystallises hot, and `norrish`
    and `damping` of the activity of water, by the moles of the recipe.
    """
    names = [name for name in _COLUMNS if name != "measured_syrup"]
    found = {name: getattr(pot, name) for name in names}
    found["per_solids"] = pot.syrup_grade / water.GRADE_MASS
    found["norrish"] = np.full(len(pot), water.NORRISH["sucrose"])
    found["damping"] = np.full(len(pot), water.DAMPING)
    if not pot.plain:
        found |= _activity_of(pot)
    if not np.ndim(values.packing):
        return found
    return {name: column[:, None] for name, column in found.items()}


def _activity_of(pot: Pot) -> dict[str, FloatArray]:
    """Return `norrish` and `damping` of a pot with other sugars, by their moles."""
    per_syrup = pot.syrup_grade / water.GRADE_MASS
    syrup = pot.syrup * pot.syrup_solids * per_syrup
    moles = {name: getattr(pot, name) / s.molar_mass for name, s in SUGARS.items()}
    whole = pot.sucrose / water.SUCROSE + syrup + sum(moles.values())
    share = {name: n / np.maximum(whole, 1e-300) for name, n in moles.items()}
    base = water.NORRISH["sucrose"]
    k = sum(x * (SUGARS[name].norrish - base) for name, x in share.items())
    damped = sum(x * (SUGARS[name].damped - 1.0) for name, x in share.items())
    return {"norrish": base + k, "damping": water.DAMPING * (1.0 + damped)}


def _solids(pot: Pot, rows: dict[str, FloatArray], syrup: FloatArray) -> FloatArray:
    """Return what never crystallises hot, and put its moles per mass into the rows."""
    if pot.plain:
        return syrup
    solids = syrup + sum(rows[name] for name in SUGARS)
    plain = rows["per_solids"]
    more = sum(rows[n] * (1.0 / s.molar_mass - plain) for n, s in SUGARS.items())
    rows["per_solids"] = plain + more / np.maximum(solids, 1e-300)
    return solids


def _syrup(
    rows: dict[str, FloatArray], values: Values
) -> tuple[FloatArray, FloatArray]:
    """Return water and dry solids that the syrup brings."""
    share = rows["syrup_solids"] + values.syrup_solids * rows["syrup_solids_u"]
    solids = rows["syrup"] * np.clip(share, *SYRUP_SOLIDS)
    return rows["syrup"] - solids, solids


def blocks(rows: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Cut rows into blocks by index."""
    return [rows[i : i + BLOCK] for i in range(0, len(rows), BLOCK)]


# ----------------------------------------------------------------------------
# Recipes into the pot: which constituent is what to the kitchen.

#: Fuels that stay grains in the pot: they do not dissolve.
GRAINS = ("starch", "graphite", "carbon black", "charcoal")

#: Sugars that the pot has no model for; they brown, sooner than sucrose (from memory).
BROWNS = (
    "fructose",
    "maltose",
    "maltose monohydrate",
    "maltodextrin",
)

#: The sugar whose grains are fines between those of the nitrate.
POWDERED = "powdered sugar"

#: Water in the crystals of dextrose monohydrate, which melt in it at 83 C.
HYDRATE_WATER = 18.015 / 198.17

#: Ingredients that are a sort of their own.
_NAMED = {"potassium nitrate": "nitrate", "sucrose": "sucrose"} | {n: n for n in SUGARS}

#: Masses that the pot sorts the constituents into; `grains_volume` is a volume.
_SORTS = (
    *("nitrate", "chloride", "sucrose", "syrup", *SUGARS),
    *("water", "other_sugar", "grains", "grains_volume", "powdered"),
)


def measured_syrup(kitchen: Kitchen) -> str:
    """Return the catalogue name of the syrup that the kitchen was measured with."""
    return weighing.item_name(load_database(), kitchen.syrup)


def pot_of(mix: Mix, kitchen: Kitchen | None = None) -> Pot:
    """Return one mix in the pot, as weighed; the kitchen says what is measured."""
    kitchen = kitchen or Kitchen(cook=Cook.hold(392.15, 60.0))
    return pots_of(of_mixes([mix]), kitchen)


def pots_of(blends: Blends, kitchen: Kitchen) -> Pot:
    """Put recipes into the pot, as weighed."""
    if blends.items:
        sorts, syrups, gaps = _of_items(blends)
    else:
        sorted_ = [_sorted(mix.weighed, mix.syrups) for mix in blends.mixes]
        sorts = np.array([row for row, _ in sorted_]).reshape(-1, len(_SORTS))
        gaps = [gap for _, gap in sorted_]
        syrups = [mix.syrups for mix in blends.mixes]
    known = [_one_syrup(uses) for uses in syrups]
    stated = np.where(blends.water_lost > 0.0, blends.water_lost, np.nan)
    if kitchen.water_lost is not None:
        stated = np.full(len(blends), kitchen.water_lost)
    masses = dict(zip(_SORTS, sorts.T.copy(), strict=True))
    chloride = masses.pop("chloride")
    nothing = ~(sorts[:, : 4 + len(SUGARS)].sum(axis=1) > 0.0)
    both = (chloride > 0.0) & (masses["nitrate"] > 0.0)
    gaps = [
        gap
        or ("neither nitrate nor sugar" if empty else "")
        or ("nitrate and its dummy in one pot" if mixed else "")
        for gap, empty, mixed in zip(gaps, nothing, both, strict=True)
    ]
    masses["nitrate"] = masses["nitrate"] + chloride
    solids = np.array([s.dry_solids for s in known])
    dry = dry_dextrose(masses, solids)
    gaps = [
        gap or (DRY_DEXTROSE if no else "") for gap, no in zip(gaps, dry, strict=True)
    ]
    measured = ("", measured_syrup(kitchen))
    names = [" + ".join(sorted({u.name for u in uses})) for uses in syrups]
    return Pot(
        **masses,
        chloride=chloride > 0.0,
        syrup_solids=solids,
        syrup_solids_u=np.array([s.dry_solids_uncertainty for s in known]),
        syrup_grade=np.array([s.grade for s in known]),
        syrup_viscosity_grade=np.array([s.viscosity_grade for s in known]),
        stated_loss=stated,
        measured_syrup=np.array([n in measured for n in names], dtype=bool),
        gap=tuple(gaps),
        fines_ratio=(kitchen.grain or 0.0) / packing.POWDERED,
        tapped=kitchen.tapped if kitchen.tap else 1.0,
    )


def _of_items(
    blends: Blends,
) -> tuple[FloatArray, list[tuple[SyrupUse, ...]], list[str]]:
    """Sort the items of blends, then mix them by their shares."""
    uses = [item.syrup for item in blends.items]
    sorted_ = [
        _sorted(item.constituents, (use,) if use else ())
        for item, use in zip(blends.items, uses, strict=True)
    ]
    parts = np.array([row for row, _ in sorted_]).reshape(-1, len(_SORTS))
    known: dict[bytes, tuple[dict[int, SyrupUse], str]] = {}  # by what is in the pot
    used, gaps = [], []
    for row, there in zip(blends.shares, blends.shares > 0.0, strict=True):
        key = there.tobytes()
        if key not in known:
            present = np.flatnonzero(there).tolist()
            gap = next((sorted_[i][1] for i in present if sorted_[i][1]), "")
            known[key] = {i: use for i in present if (use := uses[i])}, gap
        own, gap = known[key]
        several = (replace(u, mass_fraction=float(row[i])) for i, u in own.items())
        used.append(tuple(own.values() if len(own) < 2 else several))
        gaps.append(gap)
    return blends.shares @ parts, used, gaps


def _sorted(
    constituents: Iterable[Constituent], syrups: Iterable[SyrupUse]
) -> tuple[list[float], str]:
    """Return the masses of :data:`_SORTS`, and why there is no model."""
    origins = {s.name for s in syrups}
    masses, gap = dict.fromkeys(_SORTS, 0.0), ""
    for c in constituents:
        parts = {"syrup": 1.0} if c.origin in origins else _parts(c.ingredient)
        for sort, part in parts.items():
            masses[sort] += c.mass_fraction * part
        powdered = c.origin == POWDERED and "sucrose" in parts
        masses["powdered"] += c.mass_fraction if powdered else 0.0
        gap = gap or _missing(c.ingredient, parts)
    return [masses[name] for name in _SORTS], gap


def _parts(ingredient: Ingredient) -> dict[str, float]:
    """Return what of :data:`_SORTS` an ingredient is to the kitchen, per mass."""
    name, role = ingredient.name, ingredient.role
    if name in GRAINS or role in ("catalyst", "inert"):
        return {"grains": 1.0, "grains_volume": 1.0 / ingredient.density}
    if name == "dextrose monohydrate":
        return {"dextrose": 1.0 - HYDRATE_WATER, "water": HYDRATE_WATER}
    sort = _NAMED.get(name) or {"water": "water", "dummy": "chloride"}.get(role)
    sort = sort or ("other_sugar" if name in BROWNS else "")
    return {sort: 1.0} if sort else {}


def _missing(ingredient: Ingredient, parts: Mapping[str, float]) -> str:
    """Return why an ingredient has no model; empty where it has one."""
    name = ingredient.name
    if "grains" in parts and not math.isfinite(ingredient.density):
        return f"no density for {name}"
    if parts and "other_sugar" not in parts:
        return ""
    why = WITHOUT.get(name, "")
    return f"no model for {name}: {why}" if why else f"no model for {name}"


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
        viscosity_grade=mean("viscosity_grade", 62.0),
    )
