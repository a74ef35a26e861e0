"""What to do next about a mix: the first rule that applies, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from castsugar.frozen import dataclass
from castsugar.limits import BROKEN, NOT_COMPUTED, PEAK, POUR, SOLIDS
from castsugar.report import numbers
from castsugar.report.limit_words import P95, Judged
from castsugar.report.screen import Finding
from castsugar.report.shown import Shown

#: The rules, in the order in which they are asked; empty: another mix.
ABOVE = "a wider throat or less nitrate"
UNKNOWN = "burn 3 strands of this mix"
STIFF = "more syrup, else another cook temperature"
SOFT = "less syrup"
OTHER = ""
OPEN = "state limits in the bench, or take another mix"
ALL = "weigh it"


@dataclass(frozen=True, slots=True)
class Change:
    """What is changed of a mix or a bench, in words and as it is typed.

    `typed` holds `parts` (pairs of name and amount), `cook` or `throat`.
    """

    words: str
    typed: Mapping[str, Any]


def limit_on(judged: Sequence[Judged], *columns: str) -> Judged | None:
    """Return the limit on one of the columns, a broken one first."""
    own = [one for one in judged if one.column in columns]
    return min(own, key=lambda one: one.verdict != BROKEN, default=None)


def rule_of(
    judged: Sequence[Judged], row: Mapping[str, Any], findings: Iterable[Finding] = ()
) -> str:
    """Return the first rule that applies to a mix, by its limits and findings.

    The expected peak above what is allowed before the 95 % line alone; pouring before
    setting.
    """
    broken = {x.column for x in judged if x.verdict == BROKEN}
    if {PEAK, P95} & broken:
        limit = limit_on(judged, PEAK, P95)
        return ABOVE if limit is None or row[PEAK] > limit.limit else UNKNOWN
    for column, rule in ((POUR, STIFF), (SOLIDS, SOFT)):
        if column in broken:
            return rule
    if broken or any(x.status == "DO NOT" for x in findings):
        return OTHER
    known = [x.verdict != NOT_COMPUTED for x in judged]
    return ALL if known and all(known) else OPEN


def advice(rule: str, row: Mapping[str, Any], show: Shown) -> str:
    """Return what a rule says about a mix, in words; empty: another mix."""
    if rule != UNKNOWN:
        return rule
    told = [show.bare("pressure", x * float(row[PEAK]), 2) for x in (0.5, 0.75, 1.0)]
    return f"{rule} at {numbers.listed(told)} {show.unit('pressure')}"
