"""Limits at drawn mixes: kept or broken, with what share of the draws. Floor 5."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from castsugar.decide.problem import Limit
from castsugar.decide.requirement import Requirement
from castsugar.decide.uncertainty import Draws
from castsugar.decide.vertices import FloatArray
from castsugar.quantile import smooth_quantile

KEPT, BROKEN, NOT_COMPUTED = "kept", "broken", "not computed"


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
        Of the draws that keep it; NaN for a column that is not drawn.
    margin : float
        Distance to the limit over the limit, below 0 where it is broken; NaN for a
        limit of 0.
    """

    value: float
    verdict: str
    share: float
    margin: float


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
    """Hold every mix against every limit.

    Parameters
    ----------
    requirements : sequence of Requirement
    draws : Draws
    rows : sequence of mappings
        Rows of the table, one a mix: best estimates.
    """
    return tuple(
        Held(
            column=need.column,
            sense=limit.sense,
            value=limit.value,
            probability=need.probability,
            standings=tuple(
                _standing(need, limit, draws, row, mix) for mix, row in enumerate(rows)
            ),
        )
        for need in requirements
        for limit in need.limits()
    )


def _standing(
    need: Requirement, limit: Limit, draws: Draws, row: Mapping[str, Any], mix: int
) -> Standing:
    """Hold one mix against one limit."""
    best = float(row[need.column])
    drawn = draws.values.get(need.column)
    own = None if drawn is None else drawn[:, mix]
    known = own is not None and bool(np.isfinite(own).any() or np.isinf(own).any())
    share = _share(own, limit) if own is not None and known else math.nan
    if need.probability is None or own is None or not known:
        value = best
        kept = float(limit.slack(np.asarray(best))) >= 0.0
    else:
        level = need.probability if limit.sense == "<=" else 1.0 - need.probability
        value = float(smooth_quantile(own[None], level)[0])
        kept = share >= need.probability
    if math.isnan(value):
        return Standing(
            value=math.nan, verdict=NOT_COMPUTED, share=share, margin=math.nan
        )
    left = float(limit.slack(np.asarray(value)))
    return Standing(
        value=value,
        verdict=KEPT if kept else BROKEN,
        share=share,
        margin=left / abs(limit.value) if limit.value else math.nan,
    )


def _share(values: FloatArray, limit: Limit) -> float:
    """Return the share of draws that keep a limit; one that failed does not."""
    with np.errstate(invalid="ignore"):
        return float(np.mean(limit.slack(values) >= 0.0))
