"""What boils away: where the liquid of a pot stops to boil at the heat of the cook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.frozen import dataclass
from castsugar.kitchen import solubility, water
from castsugar.kitchen.parameters import Values

#: Columns of a pot, ready to meet draws on the last axis.
Rows = Mapping[str, FloatArray]


#: Where nitrate is scarce, water is looked at in so many steps over so many decades.
_STEPS, _DECADES = 60, 4.0

#: Where boiling ends between two of them: of ln of the water or the pressure; most
#: tries.
_ENOUGH, _MOST = 1e-14, 60

#: Salt per water that is taken at most: more than dissolves anywhere here.
_MOST_SALT = 20.0


def takes(
    left: FloatArray, solids: FloatArray, solubility_: FloatArray, loss: FloatArray
) -> FloatArray:
    """Return the sucrose that the water takes beside the syrup's solids.

    Solubility x water / (1 + a solids / water).
    """
    hindered = left + loss * solids
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
    soluble = solubility.sucrose_solubility(hottest)
    limit = solubility.salted(soluble, full, chloride)
    boiling = water.boiling_mole_fraction(hottest, against, *_norrish(rows))
    scarce = rows["nitrate"] < full * dried
    if not scarce.any():
        return _left_with(rows, solids, dried, values, boiling, limit)
    # With scarce nitrate: first down to where it is saturated, then as above.
    known = {
        "solids": solids,
        "hindered": values.solubility_loss,
        "soluble": soluble,
        "vapour": np.log(water.saturation_pressure(hottest) / pressure),
    }
    held = _quiet_from({**rows, **known}, dried, scarce)
    below = np.where(scarce, np.minimum(rows["nitrate"] / full, dried), dried)
    quiet = scarce & (held >= below)
    if quiet.all():
        return held
    ends = _left_with(rows, solids, below, values, boiling, limit)
    return np.where(quiet, held, ends)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scarce:
    """Pots, one by one, whose nitrate is all dissolved in what drying left; (pots,)."""

    nitrate: FloatArray
    chloride: BoolArray
    sucrose: FloatArray
    solids: FloatArray
    per_solids: FloatArray
    norrish: FloatArray
    damping: FloatArray
    hindered: FloatArray
    soluble: FloatArray  # sucrose in water without salt
    vapour: FloatArray  # ln of that of water over the pressure of the air
    dried: FloatArray

    def take(self, part: NDArray[Any]) -> _Scarce:
        """Return some of the pots."""
        return _Scarce(
            **{one.name: getattr(self, one.name)[part] for one in fields(self)}
        )

    def excess(self, left: FloatArray) -> FloatArray:
        """Return ln of vapour pressure over the air's, with so much water left."""
        salt = np.minimum(self.nitrate / np.maximum(left, 1e-12), _MOST_SALT)
        limit = solubility.salted(self.soluble, salt, self.chloride)
        saturated = takes(left, self.solids, limit, self.hindered)
        sugars = np.minimum(self.sucrose, saturated) / water.SUCROSE
        sugars = sugars + self.solids * self.per_solids
        share = sugars / (sugars + np.maximum(left, 1e-300) / water.WATER)
        salty = water.log_salt_activity(salt, self.chloride)
        sweet = water.log_activity(share, self.norrish, self.damping)
        return np.asarray(sweet + salty + self.vapour)

    def quiet_from(self) -> FloatArray:
        """Return the first water, from what drying left down, that does not boil.

        0 where it boils all the way. Looked for in steps, because with sugar that is
        not dissolved more than one water may do; then between two of them.
        """
        found = np.zeros_like(self.dried)
        over = self.excess(self.dried)
        quiet = over <= 0.0
        found[quiet] = self.dried[quiet]
        left, over = np.flatnonzero(~quiet), over[~quiet]
        pots, ended = self.take(left), []
        for step in range(1, _STEPS + 1):
            if not left.size:
                break
            low = pots.dried * 10.0 ** (-_DECADES * step / _STEPS)
            under = pots.excess(low)
            quiet = under <= 0.0
            if quiet.any():
                ended.append((left[quiet], low[quiet], over[quiet], under[quiet]))
                left, pots, under = left[~quiet], pots.take(~quiet), under[~quiet]
            over = under
        if ended:
            left, dry, over, under = map(np.concatenate, zip(*ended, strict=True))
            wet = dry * 10.0 ** (_DECADES / _STEPS)
            found[left] = self.take(left).between(wet, dry, over, under)
        return found

    def between(
        self, wet: FloatArray, dry: FloatArray, over: FloatArray, under: FloatArray
    ) -> FloatArray:
        """Return where boiling ends between two waters: that which boils no more.

        By the rule of false position on ln of the water, the end that stays weighed
        half each time (Illinois; from memory).
        """
        a, b = np.log(wet), np.log(dry)
        found, rows, pots = b.copy(), np.arange(len(b)), self
        last = np.zeros(len(b))
        for _ in range(_MOST):
            x = b - under * (b - a) / (under - over)
            at = pots.excess(np.exp(x))
            boils = at > 0.0
            found[rows] = x
            over = np.where(boils, at, np.where(last < 0.0, 0.5 * over, over))
            under = np.where(boils, np.where(last > 0.0, 0.5 * under, under), at)
            a, b = np.where(boils, x, a), np.where(boils, b, x)
            last = np.where(boils, 1.0, -1.0)
            going = (np.abs(at) > _ENOUGH) & (a - b > _ENOUGH)
            if not going.any():
                break
            if not going.all():
                a, b, over, under, last = (v[going] for v in (a, b, over, under, last))
                rows, pots = rows[going], pots.take(going)
        return np.exp(found)


def _quiet_from(
    known: Mapping[str, Any], dried: FloatArray, scarce: BoolArray
) -> FloatArray:
    """Return :meth:`_Scarce.quiet_from` of scarce pots, of others what drying left."""
    known = {one.name: known[one.name] for one in fields(_Scarce)[:-1]}
    flat = {k: np.broadcast_to(v, scarce.shape)[scarce] for k, v in known.items()}
    held = np.array(np.broadcast_to(dried, scarce.shape))
    held[scarce] = _Scarce(**flat, dried=held[scarce]).quiet_from()
    return held


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
    dissolved = np.minimum(
        rows["sucrose"], takes(dried, solids, limit, values.solubility_loss)
    )
    held = dissolved / water.SUCROSE + solids * per_solids
    quiet = (x <= 0.0) | (held >= wanted * dried)
    most = (rows["sucrose"] / water.SUCROSE + solids * per_solids) / wanted
    saturated = dissolved < rows["sucrose"]
    saturated |= takes(most, solids, limit, values.solubility_loss) < rows["sucrose"]
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
