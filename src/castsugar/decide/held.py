"""Limits at drawn mixes: kept or broken, with what share of the draws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.conditions import Conditions
from castsugar.decide.evidence_record import MEASURED, STATED, law_standing
from castsugar.decide.problem import Limit
from castsugar.decide.requirement import Requirement
from castsugar.decide.table import MOTOR_DRAWS, chance_column
from castsugar.decide.uncertainty import Draws
from castsugar.kitchen.pour_table import cook
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.pressure_table import BEYOND, burn_law_of, drive, untold

KEPT, BROKEN, NOT_COMPUTED = "kept", "broken", "not computed"

#: What a verdict on pressure may rest on, and on which burn laws it does not.
BORROWED_RATE, FIRM = "borrowed burn rate", (MEASURED, STATED)

_POUR, _PEAK = "pour_viscosity_Pa_s", "chamber_pressure_MPa"
_PRESSED = ("chamber_pressure", "pressure_margin")

#: A limit counts as kept within this share of it, as in a search.
_ROUNDING = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One mix at one limit.

    Attributes
    ----------
    value : float
        What is held against the limit: the quantile that its probability asks for, or
        the best estimate; in the unit of the column, NaN if it was not computed.
    verdict : str
        "kept", "broken" or "not computed".
    share : float
        Of the draws of the comparison that keep a limit without a probability; NaN for
        one with a probability, and for a column that is not drawn.
    margin : float
        Distance to the limit over the limit, below 0 where it is broken; NaN for a
        limit of 0.
    ground : str
        "borrowed burn rate" where a pressure rests on strands of another mix or on a
        published law; else empty.
    reason : str
        Why a limit on the pressure is not computed; else empty.
    """

    value: float
    verdict: str
    share: float
    margin: float
    ground: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A limit, and how every mix stands to it.

    Attributes
    ----------
    column : str
    sense : str
        "<=" or ">=".
    value : float
        [unit of the column]
    probability : float or None
        Share of the draws that must keep it; None: the best estimate decides.
    standings : tuple of Standing
        One a mix.
    """

    column: str
    sense: str
    value: float
    probability: float | None
    standings: tuple[Standing, ...]


def held_of(
    requirements: Sequence[Requirement],
    draws: Draws,
    rows: Sequence[Mapping[str, Any]],
) -> tuple[Held, ...]:
    """Hold every mix against every limit, as a search does.

    A limit with a probability is held against the quantile of the kitchen's or the
    motor's own draws, so that search, map and record say the same; one without against
    the best estimate.

    Parameters
    ----------
    requirements : sequence of Requirement
    draws : Draws
        Of the comparison: mixes, conditions, and the shares of draws.
    rows : sequence of mappings
        Rows of the table, one a mix: best estimates.
    """
    outlook = draws.outlook
    chances = [chance for need in requirements for chance in need.chances()]
    quantiles = quantiles_of(outlook.mixes, outlook.conditions, chances, rows)
    grounds = _grounds(outlook.mixes, outlook.conditions)
    found = []
    for need in requirements:
        for limit in need.limits():
            standings = []
            for mix, row in enumerate(rows):
                column = quantiles.get(limit.column)
                best = float(row[need.column]) if column is None else column[mix]
                drawn = draws.values.get(need.column) if column is None else None
                own = None if drawn is None else drawn[:, mix]
                standing = _standing(limit, best, own)
                if need.column.startswith(_PRESSED):
                    why = untold(row) if standing.verdict == NOT_COMPUTED else ""
                    standing = replace(standing, ground=grounds[mix], reason=why)
                standings.append(standing)
            found.append(
                Held(
                    column=need.column,
                    sense=limit.sense,
                    value=limit.value,
                    probability=need.probability,
                    standings=tuple(standings),
                )
            )
    return tuple(found)


def quantiles_of(
    mixes: Sequence[Mix],
    conditions: Conditions,
    chances: Sequence[tuple[str, float]],
    rows: Sequence[Mapping[str, Any]],
) -> dict[str, list[float]]:
    """Return quantiles of pour viscosity and peak pressure, one a mix.

    Parameters
    ----------
    mixes : sequence of Mix
    conditions : Conditions
    chances : sequence of (column, level)
        What the limits ask for.
    rows : sequence of mappings
        With the ideal c* of each mix.

    Returns
    -------
    dict
        By the names of :func:`castsugar.decide.table.chance_column`.
    """

    def levels(column: str) -> tuple[float, ...]:
        return tuple(dict.fromkeys(level for name, level in chances if name == column))

    found: dict[str, list[float]] = {}
    blends = of_mixes(mixes)
    kitchen, motor = conditions.kitchen, conditions.motor
    if kitchen is not None:
        own = levels(_POUR)
        said = cook(list(mixes), blends, kitchen, window=False, levels=own)
        blends = said.blends
        for level, values in zip(own, said.verdict.further, strict=True):
            found[chance_column(_POUR, level)] = values.tolist()
    if motor is not None and (own := levels(_PEAK)):
        velocity = [float(row["characteristic_velocity_m_s"]) for row in rows]
        driven = drive(
            blends,
            replace(motor, draws=max(motor.draws, MOTOR_DRAWS)),
            characteristic_velocity=np.array(velocity),
            mixes=mixes,
            levels=own,
        )
        for level, values in zip(own, driven.peaks.further, strict=True):
            mega = np.where(values > BEYOND, np.inf, 1e-6 * values)
            found[chance_column(_PEAK, level)] = mega.tolist()
    return found


def _grounds(mixes: Sequence[Mix], conditions: Conditions) -> list[str]:
    """Return what the pressure of each mix rests on, where it is nothing measured."""
    motor = conditions.motor
    if motor is None:
        return [""] * len(mixes)
    origins = [burn_law_of(of_mixes([m]), motor, mixes=[m]).origin for m in mixes]
    return ["" if law_standing(o) in FIRM else BORROWED_RATE for o in origins]


def _standing(limit: Limit, value: float, drawn: FloatArray | None) -> Standing:
    """Hold one mix against one limit."""
    share = math.nan
    if drawn is not None and not np.isnan(drawn).all():
        share = _share(drawn, limit)
    if math.isnan(value):
        return Standing(value=value, verdict=NOT_COMPUTED, share=share, margin=math.nan)
    left = float(limit.slack(np.asarray(value)))
    return Standing(
        value=value,
        verdict=KEPT if left >= -_ROUNDING * abs(limit.value) else BROKEN,
        share=share,
        margin=left / abs(limit.value) if limit.value else math.nan,
    )


def _share(values: FloatArray, limit: Limit) -> float:
    """Return the share of draws that keep a limit; one that failed does not."""
    with np.errstate(invalid="ignore"):
        return float(np.mean(limit.slack(values) >= 0.0))
