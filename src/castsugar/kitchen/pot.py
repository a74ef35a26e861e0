"""Recipes in the pot: what boils away, and the chain from constituents to flow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.data.load import load_database
from castsugar.kitchen import liquid, solubility, suspension, water
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.mix import weighing
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SyrupUse
from castsugar.mix.weighing import Constituent

# ----------------------------------------------------------------------------
# What boils away: where the liquid of a pot stops to boil at the heat of the cook.

#: Columns of a pot, ready to meet draws on the last axis.
Rows = Mapping[str, FloatArray]


#: Where nitrate is scarce, water is looked at in so many steps over so many decades,
#: and the step that stops to boil is halved so often.
_STEPS, _DECADES, _HALVINGS = 60, 4.0, 40

#: Salt per water that is taken at most: more than dissolves anywhere here.
_MOST_SALT = 20.0


def takes(
    left: FloatArray, solids: FloatArray, solubility_: FloatArray, values: Values
) -> FloatArray:
    """Return the sucrose that the water takes beside the syrup's solids.

    Solubility x water / (1 + a solids / water).
    """
    hindered = left + values.solubility_loss * solids
    return solubility_ * left * left / np.maximum(hindered, 1e-12)


def after_boiling(
    rows: Rows,
    solids: FloatArray,
    dried: FloatArray,
    values: Values,
    hottest: FloatArray,
    pressure: float,
) -> FloatArray:
    """Return the water that stays at the hottest of the cook, of what drying left.

    Water boils away until the sugars dissolved per water reach c* = X / (1 - X) / 18,
    X the mole fraction that boils there. With all sucrose dissolved that is at
    moles / c*. Where it is not, c(r) = sol / ((1 + a r) M) + r / M', r the solids per
    water, must reach c*: a quadratic in r, whose larger root is where boiling ends.
    """
    chloride = rows["chloride"]
    full = values.nitrate_dissolved * solubility.dissolved_salt(hottest, chloride)
    against = pressure / water.salt_activity(full, chloride)
    limit = solubility.salted(solubility.sucrose_solubility(hottest), full, chloride)
    boiling = water.boiling_mole_fraction(hottest, against)
    scarce = rows["nitrate"] < full * dried
    if not scarce.any():
        return _left_with(rows, solids, dried, values, boiling, limit)
    # With scarce nitrate: first down to where it is saturated, then as above.
    held = _quiet_from(rows, solids, dried, values, hottest, pressure)
    below = np.where(scarce, np.minimum(rows["nitrate"] / full, dried), dried)
    ends = _left_with(rows, solids, below, values, boiling, limit)
    return np.where(scarce & (held >= below), held, ends)


def _quiet_from(
    rows: Rows,
    solids: FloatArray,
    dried: FloatArray,
    values: Values,
    hottest: FloatArray,
    pressure: float,
) -> FloatArray:
    """Return the first water, from what drying left down, that does not boil.

    With all nitrate dissolved in it; 0 if it boils all the way.
    """
    nitrate = rows["nitrate"]
    pure = solubility.sucrose_solubility(hottest)
    per_solids = rows["syrup_grade"] / water.GRADE_MASS

    def boils(left: FloatArray) -> BoolArray:
        salt = np.minimum(nitrate / np.maximum(left, 1e-12), _MOST_SALT)
        x = water.boiling_mole_fraction(
            hottest, pressure / water.salt_activity(salt, rows["chloride"])
        )
        limit = solubility.salted(pure, salt, rows["chloride"])
        sugars = np.minimum(rows["sucrose"], takes(left, solids, limit, values))
        held = sugars / water.SUCROSE + solids * per_solids
        return np.asarray((x > 0.0) & (held * (1.0 - x) * water.WATER < x * left))

    if not boils(dried).any():
        return dried
    wet, dry = dried, np.zeros_like(dried)
    found = ~boils(dried)
    dry = np.where(found, dried, dry)
    for step in range(1, _STEPS + 1):
        left = dried * 10.0 ** (-_DECADES * step / _STEPS)
        quiet = ~boils(left) & ~found
        dry = np.where(quiet, left, dry)
        found = found | quiet
        wet = np.where(found, wet, left)
    for _ in range(_HALVINGS):
        middle = np.sqrt(wet * np.maximum(dry, 1e-300))
        boiling = boils(middle)
        wet = np.where(boiling & found, middle, wet)
        dry = np.where(~boiling & found, middle, dry)
    return dry


def _left_with(
    rows: Rows,
    solids: FloatArray,
    dried: FloatArray,
    values: Values,
    x: FloatArray,
    limit: FloatArray,
) -> FloatArray:
    """Return the water that stays where a mole fraction x of sugars boils.

    `limit` is the solubility of sucrose there.
    """
    if not np.any(x > 0.0):
        return dried
    wanted = np.maximum(x, 1e-9)
    wanted = wanted / ((1.0 - wanted) * water.WATER)
    per_solids = rows["syrup_grade"] / water.GRADE_MASS
    dissolved = np.minimum(rows["sucrose"], takes(dried, solids, limit, values))
    held = dissolved / water.SUCROSE + solids * per_solids
    quiet = (x <= 0.0) | (held >= wanted * dried)
    most = (rows["sucrose"] / water.SUCROSE + solids * per_solids) / wanted
    saturated = dissolved < rows["sucrose"]
    saturated |= takes(most, solids, limit, values) < rows["sucrose"]
    ends = most
    if saturated.any():
        last = _last_crossing(wanted, limit, per_solids, values.solubility_loss)
        with np.errstate(divide="ignore", invalid="ignore"):
            ends = np.where(saturated, np.where(last > 0.0, solids / last, 0.0), most)
    return np.where(quiet, dried, np.minimum(dried, ends))


def _last_crossing(
    wanted: FloatArray, limit: FloatArray, per_solids: FloatArray, loss: FloatArray
) -> FloatArray:
    """Return the solids per water from which a saturated liquid boils no more."""
    square, linear = loss * per_solids, per_solids - wanted * loss
    constant = limit / water.SUCROSE - wanted
    root = np.maximum(linear**2 - 4.0 * square * constant, 0.0)
    return (np.sqrt(root) - linear) / (2.0 * square)


# ----------------------------------------------------------------------------
# Many recipes in the pot, as weighed, and the chain from recipe to flow.

#: Limits of the dry solids of a drawn syrup.
SYRUP_SOLIDS = (0.5, 1.0)

#: Limits of the viscosity grade of a drawn syrup [DE].
SYRUP_GRADE = (20.0, 110.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pot:
    """Recipes as weighed, one row each; mass fractions of the whole.

    Attributes
    ----------
    nitrate, sucrose, syrup, water, other_sugar, grains : ndarray, shape (n,)
        Potassium nitrate, or the chloride that stands in for it; sucrose; whole syrup;
        water that is not the syrup's; sugars without a model; what does not dissolve
        (starch, pigment, inert matter).
    chloride : ndarray of bool, shape (n,)
        Whether potassium chloride stands in for the nitrate: an inert dummy.
    grains_volume : ndarray, shape (n,)
        Of those, per mass of mix. [m3/kg]
    syrup_solids, syrup_solids_u : ndarray, shape (n,)
        Dry solids of the syrup, and their standard uncertainty.
    syrup_grade, syrup_viscosity_grade : ndarray, shape (n,)
        Dextrose equivalent of the composition, and the one its viscosity shows.
    stated_loss : ndarray, shape (n,)
        Share of the water that is known to leave; NaN where the kitchen decides.
    measured_syrup : ndarray of bool, shape (n,)
        Whether the syrup is the one that the kitchen was measured with.
    gap : tuple of str
        Why there is no model for a row; empty where there is one.
    """

    nitrate: FloatArray
    chloride: NDArray[np.bool_]
    sucrose: FloatArray
    syrup: FloatArray
    water: FloatArray
    other_sugar: FloatArray
    grains: FloatArray
    grains_volume: FloatArray
    syrup_solids: FloatArray
    syrup_solids_u: FloatArray
    syrup_grade: FloatArray
    syrup_viscosity_grade: FloatArray
    stated_loss: FloatArray
    measured_syrup: NDArray[np.bool_]
    gap: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.gap)

    def as_dummy(self) -> Pot:
        """Return the pot with the same volume of chloride in place of nitrate."""
        same = np.where(self.chloride, 1.0, suspension.CHLORIDE / suspension.NITRATE)
        return replace(
            self, nitrate=same * self.nitrate, chloride=np.ones_like(self.chloride)
        )

    def take(self, rows: NDArray[np.intp]) -> Pot:
        """Return some of the rows."""
        kept = {
            f.name: getattr(self, f.name)[rows] for f in fields(self) if f.name != "gap"
        }
        return Pot(gap=tuple(self.gap[i] for i in rows), **kept)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slurry:
    """What stands in the pot at one temperature; arrays of shape (n,) or (n, draws).

    Attributes
    ----------
    water, undissolved, dissolved, syrup_solids : ndarray
        Masses per mass as weighed: water left; sucrose crystals; dissolved sucrose;
        dry solids of the syrup.
    crowding : ndarray
        Volume fraction of grains over the maximum packing.
    """

    water: FloatArray
    undissolved: FloatArray
    dissolved: FloatArray
    syrup_solids: FloatArray
    crowding: FloatArray


def water_left(pot: Pot, values: Values, cook: Cook, pressure: float) -> FloatArray:
    """Return the water left at the end of a cook, per mass as weighed.

    What is stated leaves, and no more; otherwise drying, or boiling if it takes more.

    Parameters
    ----------
    pot : Pot
        n rows, all with a model.
    values : Values
        Single values, or arrays of shape (draws,).
    cook : Cook
    pressure : float
        Of the air. [Pa]

    Returns
    -------
    ndarray, shape (n,) or (n, draws)
    """
    rows = _rows(pot, np.ndim(values.packing))
    from_syrup, solids = _syrup(rows, values)
    start = rows["water"] + from_syrup
    lost = water.water_lost(cook.drying(), values.drying_time)
    hottest = cook.hottest + values.thermometer
    dried = (1.0 - lost) * start
    free = after_boiling(rows, solids, dried, values, hottest, pressure)
    stated = rows["stated_loss"]
    return np.where(np.isnan(stated), free, (1.0 - stated) * start)


def water_at_start(pot: Pot, values: Values) -> FloatArray:
    """Return the water as weighed, per mass; shapes as for :func:`water_left`."""
    rows = _rows(pot, np.ndim(values.packing))
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
    temperature : ndarray, shape () or (draws,)
        True bulk temperature. [K]
    """
    rows = _rows(pot, np.ndim(values.packing))
    _, solids = _syrup(rows, values)
    whole, chloride = rows["nitrate"], rows["chloride"]
    salty = solubility.dissolved_salt(temperature, chloride)
    crystal = np.where(chloride, suspension.CHLORIDE, suspension.NITRATE)
    in_water = np.minimum(whole, values.nitrate_dissolved * salty * left)
    pure = solubility.sucrose_solubility(temperature)
    limit = solubility.salted(pure, in_water / np.maximum(left, 1e-12), chloride)
    dissolved = np.minimum(rows["sucrose"], takes(left, solids, limit, values))
    undissolved = rows["sucrose"] - dissolved
    sugar_up, water_up = suspension.expansions(temperature)
    thin = sugar_up * (
        dissolved * suspension.DISSOLVED_SUCROSE + solids * suspension.SYRUP_SOLIDS
    )
    thin = thin + left * (suspension.BOUND_WATER * water_up)
    thin = thin + in_water * suspension.DISSOLVED_NITRATE
    stiff = undissolved / suspension.SUCROSE_DENSITY + rows["grains_volume"]
    stiff = stiff + (whole - in_water) / crystal
    return Slurry(
        water=left,
        undissolved=undissolved,
        dissolved=dissolved,
        syrup_solids=solids,
        crowding=stiff / np.maximum(stiff + thin, 1e-12) / values.packing,
    )


def viscosity(
    pot: Pot, values: Values, held: Slurry, temperature: FloatArray
) -> FloatArray:
    """Return the viscosity of the suspension; infinite where it jams. [Pa s]

    Arguments as for :func:`standing`, with its result.
    """
    sugars = held.dissolved + held.syrup_solids
    whole = sugars + held.water
    share = held.syrup_solids / np.maximum(sugars, 1e-12)
    solids = np.minimum(sugars / np.maximum(whole, 1e-12), 1.0)
    thickening = _thickening(pot.syrup_viscosity_grade, values)
    log = liquid.mixed_log_viscosity(solids, temperature, share, thickening)
    thickened = suspension.relative_viscosity(held.crowding)
    flows = (held.crowding < 1.0) & (whole > 1e-9)
    return np.where(flows, values.liquid_factor * np.exp(log) * thickened, np.inf)


def _thickening(grades: FloatArray, values: Values) -> FloatArray:
    """Return :func:`liquid.grade_logs` of every row's syrup; grades repeat."""
    each, place = np.unique(grades, return_inverse=True)
    if np.ndim(values.syrup_grade):
        each = each[:, None]
    drawn = np.clip(each + values.syrup_grade, *SYRUP_GRADE)
    return liquid.grade_logs(drawn)[place]


def poured(
    pot: Pot,
    values: Values,
    cook: Cook,
    pressure: float,
) -> tuple[FloatArray, FloatArray]:
    """Return viscosity [Pa s] and crowding at the end of a cook.

    Arguments as for :func:`water_left` and :func:`standing`.
    """
    left = water_left(pot, values, cook, pressure)
    temperature = cook.pour_temperature + values.thermometer
    held = standing(pot, values, left, temperature)
    return viscosity(pot, values, held, temperature), held.crowding


def _rows(pot: Pot, draws: int) -> dict[str, FloatArray]:
    """Return the columns of a pot, ready to meet draws on the last axis."""
    names = [f.name for f in fields(pot) if f.name not in ("gap", "measured_syrup")]
    if not draws:
        return {name: getattr(pot, name) for name in names}
    return {name: getattr(pot, name)[:, None] for name in names}


def _syrup(
    rows: dict[str, FloatArray], values: Values
) -> tuple[FloatArray, FloatArray]:
    """Return water and dry solids that the syrup brings."""
    share = rows["syrup_solids"] + values.syrup_solids * rows["syrup_solids_u"]
    solids = rows["syrup"] * np.clip(share, *SYRUP_SOLIDS)
    return rows["syrup"] - solids, solids


# ----------------------------------------------------------------------------
# Recipes into the pot: which constituent is what to the kitchen.

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
        viscosity_grade=mean("viscosity_grade", 62.0),
    )
