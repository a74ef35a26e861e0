"""Limits held at drawn mixes: kept or broken, with what share of the draws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from castsugar.comparison.draws import Draws
from castsugar.comparison.evidence import DERIVED, MEASURED, STATED, law_standing
from castsugar.comparison.uncertain_inputs import Conditions
from castsugar.frozen import dataclass
from castsugar.limits import Limit, LimitVerdict, Requirement, judge_rows, limits_of
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.pressure_table import components_of, origin_of

#: What a verdict on pressure may rest on: nothing that the user burned; and on which
#: burn laws it needs no words.
BORROWED_RATE, FIRM = "borrowed burning rate", (MEASURED, STATED)

_PRESSED = ("peak_pressure", "pressure_margin_percent")


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedLimit:
    """A limit in the unit of its column, and how every mix stands to it.

    `probability` is the share of the draws that must keep it; None: the best estimate
    decides. `standings` has a verdict for each mix.
    """

    column: str
    sense: str
    value: float
    probability: float | None
    standings: tuple[LimitVerdict, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values: the limit, and each mix in order."""
        return {
            "key": self.column,
            "sense": self.sense,
            "limit": self.value,
            "probability": self.probability,
            "mixes": [
                {
                    "judged": one.value,
                    "verdict": one.verdict,
                    "margin_percent": 100.0 * one.margin,
                    "share_of_draws": one.share,
                    "ground": one.ground,
                    "reason": one.reason,
                }
                for one in self.standings
            ],
        }


def judge_limits(
    requirements: Sequence[Requirement],
    draws: Draws,
    rows: Sequence[Mapping[str, Any]],
) -> tuple[JudgedLimit, ...]:
    """Hold every mix against every limit, as a search does.

    See :func:`castsugar.limits.judge`; beside it what a comparison knows: the share of
    its draws that keep a limit, and what a pressure rests on. `rows` are those of the
    table, one a mix, with the quantiles that the limits ask for.
    """
    outlook = draws.outlook
    grounds = _grounds(outlook.mixes, outlook.conditions)
    judged = judge_rows(limits_of(requirements), rows)
    return tuple(
        JudgedLimit(
            column=one.limit.key,
            sense=one.limit.sense,
            value=one.limit.value,
            probability=one.limit.probability,
            standings=tuple(
                replace(
                    standing,
                    share=_share(draws, one.limit, mix),
                    ground=grounds[mix] if one.limit.key.startswith(_PRESSED) else "",
                )
                for mix, standing in enumerate(one)
            ),
        )
        for one in judged
    )


def _grounds(mixes: Sequence[Mix], conditions: Conditions) -> list[str]:
    """Return what the pressure of each mix rests on, where it was not burned itself."""
    motor = conditions.motor
    if motor is None:
        return [""] * len(mixes)
    parts = components_of(of_mixes(mixes))
    origins = [origin_of(motor.burning, own) for own in parts]
    ground = {DERIVED: "{}", **dict.fromkeys(FIRM, "")}
    return [ground.get(law_standing(o), BORROWED_RATE).format(o) for o in origins]


def _share(draws: Draws, limit: Limit, mix: int) -> float:
    """Return the share of draws that keep a limit; one that failed does not."""
    drawn = draws.values.get(limit.key) if limit.probability is None else None
    if drawn is None or np.isnan(drawn[:, mix]).all():
        return math.nan
    with np.errstate(invalid="ignore"):
        return float(np.mean(limit.slack(drawn[:, mix]) >= 0.0))
