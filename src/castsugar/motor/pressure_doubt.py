r"""Where the doubt of a peak pressure comes from, and how much of it was assumed.

With S the pressure per burn rate a motor stands at ln P = ln r(P) + ln S, so a step in
ln r or ln S moves ln P by 1/(1 - n) of it, and variances add:

.. math:: u^2(\ln P) = \frac{u^2(\ln r) + u^2(\ln S)}{(1 - n)^2}

u(ln r) is split by asking the model of burn rates for less and less: the next batch in
a motor, the recipe in a motor, strands of the recipe, strands at a tested pressure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import (
    FIRING,
    STATED,
    STRANDS,
    Burned,
    places_of,
)
from castsugar.motor.burn_model import MIX, NEXT, Asked, BurnModel
from castsugar.motor.hardware import Hardware
from castsugar.motor.law_of_mix import exponent_of
from castsugar.motor.pressure_table import (
    components_of,
    compositions,
    own_of,
    repeats,
)
from castsugar.motor.scatter import CENTRE, CENTRE_MIX, LOG_SPREADS, MOST_BATCH
from castsugar.motor.single_pressure import is_one_pressure

#: What the doubt comes from.
BATCH, RECIPE, TO_MOTOR, FIRINGS, EXPONENT = (
    "next batch",
    "mix",
    "strands to motor",
    "firing to firing",
    "exponent",
)
THROAT, DENSITY, SUPPLY = "throat", "density", "area, c*, grain temperature"

#: Half a step in ln p for the exponent at the peak.
_ASIDE: Final = 0.05

#: Eight in ten of a normal lie within so many standard deviations.
_EIGHTY: Final = 1.2815515655446004


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One cause of the doubt of a peak pressure."""

    name: str
    #: Standard uncertainty of the pressure by it alone. [% of the pressure]
    percent: float
    share: float  # of the variance of ln P
    #: Whether its width was taken from nowhere but the table of usual ones.
    assumed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchScatter:
    """How far batches of one mix scatter in ln r, as it is used."""

    #: Learnt: the median of what the batches leave, and 95 % of it. Else what was
    #: stated or assumed, and eight in ten of that.
    middle: float
    low: float
    high: float
    batches: int  # batches of mixes that were cooked more than once; 0: there is none
    stated: bool  # whether the user stated it

    @property
    def learnt(self) -> bool:
        """Whether a mix was cooked twice."""
        return self.batches > 0


@dataclass(frozen=True, slots=True, kw_only=True)
class StepToMotor:
    """By how much a motor burns faster than strands (ln), and how sure that is.

    `firings`: how many were burned; without any it is what was held beforehand.
    """

    value: float
    u: float
    firings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePressure:
    """Strands that burned at one pressure [Pa], and the exponent that is taken."""

    strands: int
    pressure: float
    exponent: float
    exponent_u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureDoubt:
    """Where the doubt of the peak pressure of one mix comes from."""

    #: Standard uncertainty of the peak of the next batch. [% of the pressure]
    percent: float
    causes: tuple[Cause, ...]  # the largest first; their variances add up to the whole
    batch: BatchScatter
    to_motor: StepToMotor
    measured: bool = True  # whether the mix itself was burned
    #: If all strands of the mix burned at one pressure.
    single: OnePressure | None = None

    @property
    def assumed(self) -> float:
        """Return the share of the variance that rests on assumed widths."""
        return math.fsum(one.share for one in self.causes if one.assumed)


def pressure_doubt(hardware: Hardware, mix: Mix, pressure: float) -> PressureDoubt:
    """Return where the doubt of the peak pressure of a mix comes from.

    Parameters
    ----------
    mix : Mix
        As cast.
    pressure : float
        Its peak, the best estimate. [Pa]
    """
    blends = of_mixes([mix])
    made = compositions(blends)
    model = hardware.burning
    own = own_of(model, components_of(blends)[0])

    def asked(p: float, of: str, motor: bool) -> tuple[float, float]:
        found = made.rates(model, p, of, motor=motor)
        return float(found.mean[0]), float(found.u[0]) ** 2

    burning = _of_the_rate(asked, pressure, _nearest(model, pressure))
    assumed = _assumed(model, own)
    parts = {name: (value, assumed[name]) for name, value in burning.items()}
    parts |= {name: (u**2, False) for name, u in _of_the_supply(hardware).items()}
    steep = 1.0 / (1.0 - _exponent(asked, pressure))
    total = math.fsum(value for value, _ in parts.values())
    causes = [
        Cause(
            name=name,
            percent=100.0 * steep * math.sqrt(value),
            share=value / total,
            assumed=taken,
        )
        for name, (value, taken) in parts.items()
    ]
    return PressureDoubt(
        percent=100.0 * steep * math.sqrt(total),
        causes=tuple(sorted(causes, key=lambda one: -one.share)),
        batch=batch_scatter(model),
        to_motor=step_to_motor(model),
        measured=any(one.measured for one in own),
        single=one_pressure(model, own, Asked(process=made.processes[0])),
    )


_Asks = Callable[[float, str, bool], tuple[float, float]]


def _of_the_rate(asked: _Asks, pressure: float, near: float) -> dict[str, float]:
    """Return the variance of ln r by cause.

    What strands do not hold of a motor counts as their step only as far as the recipe
    is known no better in a motor than by strands: firings may have told more.
    """
    whole = asked(pressure, NEXT, True)[1]
    grains = asked(pressure, MIX, True)[1]
    recipe = min(asked(pressure, MIX, False)[1], grains)
    tested = min(asked(near, MIX, False)[1], recipe)
    strands = asked(pressure, NEXT, False)[1] - asked(pressure, MIX, False)[1]
    return {
        BATCH: strands,
        FIRINGS: max(whole - grains - strands, 0.0),
        TO_MOTOR: grains - recipe,
        EXPONENT: recipe - tested,
        RECIPE: tested,
    }


def _of_the_supply(hardware: Hardware) -> dict[str, float]:
    """Return the standard uncertainties of ln S."""
    each = hardware.spread.log_supply(hardware.temperature_sensitivity, hardware.warmer)
    throat, density = each["throat_diameter"], each["density"]
    rest = math.sqrt(max(hardware.supply_u**2 - throat**2 - density**2, 0.0))
    return {THROAT: throat, DENSITY: density, SUPPLY: rest}


def _exponent(asked: _Asks, pressure: float) -> float:
    """Return the exponent of the law at a pressure."""
    ends = [asked(pressure * math.exp(x), NEXT, True)[0] for x in (-_ASIDE, _ASIDE)]
    return (ends[1] - ends[0]) / (2.0 * _ASIDE)


def _nearest(model: BurnModel, pressure: float) -> float:
    """Return the tested pressure nearest to one; that of the centre without any."""
    every = [one.pressure for one in model.evidence]
    if not every:
        return CENTRE
    known = np.concatenate(every)
    return float(known[np.argmin(np.abs(np.log(known / pressure)))])


def _assumed(model: BurnModel, own: Sequence[Burned]) -> dict[str, bool]:
    """Say of each cause whether its width is an assumed one.

    What the strands of a mix leave open of it is the batch that they came from.
    """
    stated = model.scatter.stated
    batch = not (repeats(model) or "batch" in stated)
    surface = "surface" not in stated and all(one.kind != STATED for one in own)
    fired = any(one.kind == FIRING for one in model.evidence)
    return {
        BATCH: batch,
        RECIPE: batch if any(one.measured for one in own) else surface,
        TO_MOTOR: not fired and "strands_to_motor_u" not in stated,
        FIRINGS: "firing" not in stated,
        EXPONENT: True,
    }


def step_to_motor(model: BurnModel) -> StepToMotor:
    """Return by how much motors burn faster than strands, as firings leave it."""
    names, mixes = model.rows.over([CENTRE_MIX, CENTRE_MIX])
    pair = places_of(mixes, 0.0, motor=[True, False])
    value, u = model.mixed(*model.apart(pair, names))
    fired = sum(one.kind == FIRING for one in model.evidence)
    return StepToMotor(value=value, u=u, firings=fired)


def one_pressure(
    model: BurnModel, own: Sequence[Burned], asked: Asked
) -> OnePressure | None:
    """Return what strands of one mix at one pressure leave to the model."""
    strands = [one for one in own if one.kind == STRANDS]
    if not strands:
        return None
    every = np.concatenate([one.pressure for one in strands])
    if not is_one_pressure(every):
        return None
    mix = strands[0].shares
    shares = np.array([list(mix.values())])
    n, u = exponent_of(model, shares, tuple(mix), asked)
    return OnePressure(
        strands=len(every),
        pressure=float(np.exp(np.log(every).mean())),
        exponent=n,
        exponent_u=u,
    )


# ----------------------------------------------------------------------------
# The scatter between batches.


def batch_scatter(model: BurnModel) -> BatchScatter:
    """Return how far batches scatter: learnt once a mix was cooked twice."""
    count, known = repeats(model), model.scatter.batch
    if count:
        ends = _quantiles(model.widths.between, model.weights, (0.5, 0.025, 0.975))
    else:
        aside = math.exp(_EIGHTY * LOG_SPREADS["batch"])
        ends = [min(known * by, MOST_BATCH) for by in (1.0, 1.0 / aside, aside)]
    return BatchScatter(
        middle=ends[0],
        low=ends[1],
        high=ends[2],
        batches=count,
        stated="batch" in model.scatter.stated,
    )


def _quantiles(
    values: FloatArray, weights: FloatArray, levels: tuple[float, ...]
) -> list[float]:
    order = np.argsort(values)
    below = np.cumsum(weights[order]) - 0.5 * weights[order]
    return [float(np.interp(level, below, values[order])) for level in levels]
