"""What boils away: where the liquid of a pot stops to boil at the heat of the cook."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from castsugar.kitchen import solubility, water
from castsugar.kitchen.parameters import Values
from castsugar.kitchen.validity import FloatArray

#: Columns of a pot, ready to meet draws on the last axis.
Rows = Mapping[str, FloatArray]

#: Turns of the fixed point where nitrate is scarce; each halves the logarithm at least.
_TURNS = 60


def takes(
    left: FloatArray, solids: FloatArray, solubility_: FloatArray, values: Values
) -> FloatArray:
    """Return the sucrose that the water takes beside the syrup's solids.

    Solubility x water / (1 + a solids / water).
    """
    hindered = left + values.solubility_loss * solids
    result: FloatArray = solubility_ * left * left / np.maximum(hindered, 1e-12)
    return result


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
    full = values.nitrate_dissolved * solubility.salt_solubility(hottest)
    if np.all(rows["nitrate"] >= full * dried):
        against = pressure / water.nitrate_activity(full)
        return _left_with(rows, solids, dried, values, hottest, against)
    left = stays = dried
    moving = np.ones(np.shape(dried), dtype=bool)
    for turn in range(_TURNS):  # the less water, the more nitrate in it, till saturated
        salt = np.minimum(full, rows["nitrate"] / np.maximum(left, 1e-12))
        against = pressure / water.nitrate_activity(salt)
        found = _left_with(rows, solids, dried, values, hottest, against)
        if turn == 0 and np.all(found >= dried):
            return dried  # scarcer salt than this there is not, and still it is quiet
        before = left
        stays = np.where(moving, found, stays)
        left = np.where(moving, np.sqrt(np.maximum(found * left, 0.0)), left)
        moving &= np.abs(left - before) > 1e-13 * dried
        if not moving.any():
            break
    return stays


def _left_with(
    rows: Rows,
    solids: FloatArray,
    dried: FloatArray,
    values: Values,
    hottest: FloatArray,
    pressure: FloatArray,
) -> FloatArray:
    """Return the water that stays where sugar solution boils against a pressure."""
    x = water.boiling_mole_fraction(hottest, pressure)
    if not np.any(x > 0.0):
        return dried
    wanted = np.maximum(x, 1e-9)
    wanted = wanted / ((1.0 - wanted) * water.WATER)
    per_solids = rows["syrup_grade"] / water.GRADE_MASS
    limit = solubility.sucrose_solubility(hottest)
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
    result: FloatArray = np.where(quiet, dried, np.minimum(dried, ends))
    return result


def _last_crossing(
    wanted: FloatArray, limit: FloatArray, per_solids: FloatArray, loss: FloatArray
) -> FloatArray:
    """Return the solids per water from which a saturated liquid boils no more."""
    square, linear = loss * per_solids, per_solids - wanted * loss
    constant = limit / water.SUCROSE - wanted
    root = np.maximum(linear**2 - 4.0 * square * constant, 0.0)
    result: FloatArray = (np.sqrt(root) - linear) / (2.0 * square)
    return result
