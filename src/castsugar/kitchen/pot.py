"""Many recipes in the pot, as weighed, and the chain from recipe to flow."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.kitchen import liquid, slurry, solubility, water
from castsugar.kitchen.boiling import after_boiling, takes
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.parameters import Values

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
        same = np.where(self.chloride, 1.0, slurry.CHLORIDE / slurry.NITRATE)
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
    limit = solubility.sucrose_solubility(temperature)
    dissolved = np.minimum(rows["sucrose"], takes(left, solids, limit, values))
    whole, chloride = rows["nitrate"], rows["chloride"]
    salty = solubility.dissolved_salt(temperature, chloride)
    crystal = np.where(chloride, slurry.CHLORIDE, slurry.NITRATE)
    in_water = np.minimum(whole, values.nitrate_dissolved * salty * left)
    undissolved = rows["sucrose"] - dissolved
    sugar_up, water_up = slurry.expansions(temperature)
    thin = sugar_up * (
        dissolved * slurry.DISSOLVED_SUCROSE + solids * slurry.SYRUP_SOLIDS
    )
    thin = thin + left * (slurry.BOUND_WATER * water_up)
    thin = thin + in_water * slurry.DISSOLVED_NITRATE
    stiff = undissolved / slurry.SUCROSE + rows["grains_volume"]
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
    rows = _rows(pot, np.ndim(values.packing))
    sugars = held.dissolved + held.syrup_solids
    whole = sugars + held.water
    share = held.syrup_solids / np.maximum(sugars, 1e-12)
    grade = np.clip(rows["syrup_viscosity_grade"] + values.syrup_grade, *SYRUP_GRADE)
    solids = np.minimum(sugars / np.maximum(whole, 1e-12), 1.0)
    log = liquid.mixed_log_viscosity(solids, temperature, share, grade)
    thickened = slurry.relative_viscosity(held.crowding)
    flows = (held.crowding < 1.0) & (whole > 1e-9)
    return np.where(flows, values.liquid_factor * np.exp(log) * thickened, np.inf)


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
