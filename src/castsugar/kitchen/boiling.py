"""What boils away: where the liquid of a pot stops to boil at the heat of the cook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.kitchen import solubility, water
from castsugar.kitchen.parameters import Values

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


def salt_taken(
    values: Values, temperature: FloatArray, chloride: NDArray[Any]
) -> FloatArray:
    """Return the salt that the water of a pot takes at most, per mass of water."""
    nitrate = values.nitrate_dissolved * solubility.salt_solubility(temperature)
    if not np.any(chloride):
        return nitrate
    dummy = solubility.salt_solubility(temperature, "potassium chloride")
    return np.where(chloride, values.chloride_dissolved * dummy, nitrate)


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
    full = salt_taken(values, hottest, chloride)
    against = pressure / water.salt_activity(full, chloride)
    limit = solubility.salted(solubility.sucrose_solubility(hottest), full, chloride)
    boiling = water.boiling_mole_fraction(hottest, against, *_norrish(rows))
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
    per_solids = rows["per_solids"]

    def boils(left: FloatArray) -> BoolArray:
        salt = np.minimum(nitrate / np.maximum(left, 1e-12), _MOST_SALT)
        against = pressure / water.salt_activity(salt, rows["chloride"])
        x = water.boiling_mole_fraction(hottest, against, *_norrish(rows))
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
    per_solids = rows["per_solids"]
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


def _norrish(rows: Rows) -> tuple[FloatArray, FloatArray]:
    """Return the constants of the activity of water, by the moles of the recipe."""
    return rows["norrish"], rows["damping"]
