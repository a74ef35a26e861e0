"""Limits in words: what a verdict says of one mix, or of several side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from castsugar.frozen import dataclass
from castsugar.limits import BROKEN, KEPT, Judgement, Limit, LimitVerdict
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, TEXT, Row, keyed
from castsugar.report.numbers import capitalized
from castsugar.report.screen import Finding
from castsugar.report.shown import Shown

POUR, PEAK, P95 = "pour_viscosity_Pa_s", "peak_pressure_MPa", "peak_pressure_p95_MPa"
SOLIDS = "relative_solids_20C"
THIS_BATCH = "peak_pressure_p95_this_batch_MPa"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged(LimitVerdict):
    """One limit held at one mix; numbers in the unit of the column."""

    of: Limit

    @property
    def column(self) -> str:
        """Key of the column."""
        return self.of.key

    @property
    def limit(self) -> float:
        """The number that must be kept."""
        return self.of.value

    @property
    def probability(self) -> float | None:
        """Share of the draws that must keep it; None: the best estimate must."""
        return self.of.probability

    def bound(self, show: Shown) -> str:
        """Write the limit with its sense: "at most 10"."""
        sense = "at most" if self.of.sense == "<=" else "at least"
        return f"{sense} {show.limit(FIELDS[self.column].kind, self.limit)}"


def by_mix(
    judgements: Sequence[Judgement], count: int
) -> tuple[tuple[Judged, ...], ...]:
    """Return the verdicts of each of so many mixes."""
    return tuple(
        tuple(Judged(of=one.limit, **asdict(one[i])) for one in judgements)
        for i in range(count)
    )


# ----------------------------------------------------------------------------
# The cells of a table.


def limit_cell(one: Judged, show: Shown) -> str:
    """Write a limit: "at most 10 in 85 %"."""
    if one.probability is None:
        return one.bound(show)
    return f"{one.bound(show)} in {numbers.percent(one.probability)} %"


def margin_cell(one: Judged) -> str:
    """Write a margin: per cent, or a ratio where the value is known to a factor."""
    if not math.isfinite(one.value) or one.verdict not in (KEPT, BROKEN):
        return numbers.DASH
    if FIELDS[one.column].factor_of:
        return f"{numbers.factor(one.value / one.limit)} x"
    return f"{numbers.percent(one.margin)} %"


# ----------------------------------------------------------------------------
# The finding of one mix.


def finding_of(one: Judged, row: Row, show: Shown, origin: str = "") -> Finding:
    """Say what became of a limit at the mix of a row.

    `origin`: what the burning rate rests on, in words.
    """
    if one.verdict not in (KEPT, BROKEN):
        label = FIELDS[one.column].named(show)
        return Finding(
            "CANNOT TELL",
            f"{capitalized(label)}: {one.reason or 'not computed'}.",
        )
    status = "KEPT" if one.verdict == KEPT else "BROKEN"
    key = P95 if one.column == PEAK and one.probability == 0.95 else one.column
    values = {key: one.value, "limit": one.limit, "probability": one.probability}
    if one.column in (PEAK, P95) and not math.isnan(row.get(THIS_BATCH, math.nan)):
        values[THIS_BATCH] = row[THIS_BATCH]
    if one.column.startswith("peak_pressure") and status == "BROKEN":
        status = "DO NOT"
    return Finding(status, _sentence(one, row, show, origin), values)


def _sentence(one: Judged, row: Row, show: Shown, origin: str) -> str:
    """Return the sentence of a limit that was judged."""
    if one.column == POUR and one.probability is not None:
        return _pours(one, row, show)
    if one.column in (PEAK, P95):
        return _presses(one, row, show, origin)
    field = FIELDS[one.column]
    told, bound = field.text(row, show), limit_cell(one, show)
    if one.column == SOLIDS:
        from castsugar.kitchen.glass import set_word

        word = set_word(row[SOLIDS]).removeprefix("stays ")
        return f"Sets {word}: {field.named(show)} {told}, {bound}."
    return f"{capitalized(field.headed(show))} {told}, {bound}."


def _pours(one: Judged, row: Row, show: Shown) -> str:
    """Say how often a mix pours; its limit asks for so many of 100."""
    asked = numbers.percent(one.probability or 0.0)
    bound = show.bound("viscosity", one.limit)
    chance = row.get("pours_probability", math.nan)
    if one.limit == 10.0 and not math.isnan(chance):
        return (
            f"Pours in {pouring(one, row)} of 100 draws, your limit asks {asked} "
            f"(below {bound})."
        )
    value = show.bare("viscosity", one.value, 2) if math.isfinite(one.value) else "jams"
    return f"Pour viscosity: {asked} of 100 draws below {value}, your limit {bound}."


#: Short of the share that a limit asks for, told of a mix that breaks it by less.
_BELOW = 0.001


def pouring(one: Judged, row: Row) -> str:
    """Write in how many of 100 draws a mix pours, on its side of a limit.

    A limit is judged on a quantile that is smooth in the recipe, the share counts
    draws: next to the limit they may differ by one of 100.
    """
    share, asked = row.get("pours_probability", math.nan), one.probability or 0.0
    if one.verdict == KEPT and share < asked:
        return numbers.percent(asked)
    told = numbers.of_100(share)
    if one.verdict == BROKEN and (share >= asked or told == numbers.percent(asked)):
        return numbers.at_place(100.0 * min(share, asked - _BELOW), -1)
    return told


def _presses(one: Judged, row: Row, show: Shown, origin: str) -> str:
    """Say how high the pressure of the next batch goes, and that of this one."""
    whose = f"{one.of.whose} {show.bound('pressure', one.limit)}"
    rate = f" Burning rate: {origin}." if origin else ""
    told, share = show.bare("pressure", one.value), one.probability
    if share is None and one.column == PEAK:
        below = f"{told}, the best estimate"
    else:
        share = share or 0.95
        below = f"{numbers.percent(share)} of 100 next batches below {told}"
        rate = this_batch(row, show) + rate
    if one.verdict == BROKEN and math.isinf(one.value):
        none = no_upper_limit(share or 0.5)
        return f"fire it: {none}; {whose}. Burn strands of this mix.{rate}"
    if one.verdict == BROKEN:
        return f"fire it: {below}; {whose}.{rate}"
    peak = "Peak pressure"
    if share is None:
        peak += f": {below}"
    else:
        peak += f" {FIELDS[PEAK].text(row, show)}; {below}"
    return f"{peak}; {whose}, unproved: margin {numbers.percent(one.margin)} %.{rate}"


def no_upper_limit(share: float = 0.95) -> str:
    """Say that there is no pressure that such a share stays below."""
    of = numbers.percent(share)
    return f"no upper limit can be given that {of} of 100 next batches stay below"


def this_batch(row: Row, show: Shown) -> str:
    """Say what grains of the batch that burned last do; empty without one."""
    high = row.get(THIS_BATCH, math.nan)
    if not math.isfinite(high):
        return ""
    told = show.bare("pressure", high)
    return f" Grains of the batch that burned last: 95 of 100 below {told}."


# ----------------------------------------------------------------------------
# Findings of several mixes.


def findings_of_many(
    names: Sequence[str],
    judged: Sequence[Sequence[Judged]],
    rows: Sequence[Row],
    show: Shown,
) -> list[Finding]:
    """Say which of several mixes keep the limits; one finding a broken limit."""
    found: list[Finding] = []
    for k, first in enumerate(judged[0] if judged else ()):
        broken = [i for i, own in enumerate(judged) if own[k].verdict == BROKEN]
        unknown = [
            i for i, own in enumerate(judged) if own[k].verdict not in (KEPT, BROKEN)
        ]
        if broken:
            of = [(names[i], judged[i][k], rows[i]) for i in broken]
            found.append(_broken(first.column, of, show))
        found += _unknown([(names[i], judged[i][k]) for i in unknown], show)
    keeping = [
        names[i]
        for i, own in enumerate(judged)
        if own and all(one.verdict == KEPT for one in own)
    ]
    if keeping:
        verb = "keeps" if len(keeping) == 1 else "keep"
        which = all_limits(len(judged[0]))
        found.append(Finding("KEPT", f"{numbers.listed(keeping)} {verb} {which}."))
    return found


def _unknown(of: Sequence[tuple[str, Judged]], show: Shown) -> list[Finding]:
    """Say of a limit which mixes nobody can hold against it, by the reasons."""
    found = []
    for why in dict.fromkeys(one.reason for _, one in of):
        whose = numbers.listed([name for name, one in of if one.reason == why])
        label = capitalized(FIELDS[of[0][1].column].named(show))
        text = f"{label} of {whose}: {why or 'not computed'}."
        found.append(Finding("CANNOT TELL", text))
    return found


def _broken(column: str, of: Sequence[tuple[str, Judged, Row]], show: Shown) -> Finding:
    """Say of a limit which mixes break it: name, verdict and row of each."""
    whose = numbers.listed([name for name, _, _ in of])
    own = [one for _, one, _ in of]
    first, field = own[0], FIELDS[column]
    values = {name: one.value for name, one, _ in of}
    bound = show.limit(field.kind, first.limit)
    if column.startswith("peak_pressure"):
        p95 = numbers.listed([FIELDS[P95].text({P95: one.value}, show) for one in own])
        left = numbers.rated(100.0 * (1.0 - (first.probability or 0.95)))
        text = (
            f"fire {whose}: more than {left} of 100 next batches exceed "
            f"{first.of.whose}, {bound} {show.unit('pressure')} (p95: {p95})."
        )
        return Finding("DO NOT", text, values)
    if column == POUR and first.probability is not None:
        told = numbers.listed([pouring(one, row) for _, one, row in of])
        verb = "pours" if len(of) == 1 else "pour"
        asked = numbers.percent(first.probability)
        text = f"{whose} {verb} in {told} of 100 draws; you ask {asked}."
        return Finding("BROKEN", text, values)
    told = numbers.listed([field.text(row, show) for _, _, row in of])
    text = f"{capitalized(field.headed(show))} of {whose}: {told}, {first.bound(show)}."
    return Finding("BROKEN", text, values)


def all_limits(count: int) -> str:
    """Return what so many limits are called together."""
    return {1: "the limit", 2: "both limits"}.get(count, f"all {count} limits")


#: What a document says of limits, one a mix and limit.
LIMITS = Part(
    meaning="one a mix and limit; `limit` and `judged` in the unit of `key`",
    fields=keyed(
        ("mix", TEXT, "name"),
        ("key", TEXT, "column of the table"),
        ("sense", TEXT, "<= or >="),
        ("limit", "number", "what must be kept"),
        (
            "probability",
            "number",
            "share of the draws that must keep it; null: the best estimate",
        ),
        (
            "judged",
            "number",
            "what is held against it: the quantile of that probability",
        ),
        ("verdict", TEXT, "kept, broken or not computed"),
        ("margin_percent", "fraction", "what is left of the limit, in per cent of it"),
        ("reason", TEXT, "why not computed"),
    ),
    many=True,
)


def limit_rows(names: Sequence[str], judged: Sequence[Sequence[Judged]]) -> list[Any]:
    """Return verdicts as plain values, for JSON; values in the unit of the key."""
    return [
        {
            "mix": name,
            "key": one.column,
            "sense": one.of.sense,
            "limit": one.limit,
            "probability": one.probability,
            "judged": one.value,
            "verdict": one.verdict,
            "margin_percent": 100.0 * one.margin,
            "reason": one.reason,
        }
        for name, own in zip(names, judged, strict=bool(judged))
        for one in own
    ]


_BURNED = {"measured": "your strands", "fired": "your firing"}


def rests_on(origin: str) -> str:
    """Say what a burning rate rests on, from the column `burn_law_origin`.

    Examples
    --------
    >>> rests_on("measured: 60/20/20"), rests_on("assumed: nothing was burned")
    ('your strands', 'assumed, nothing was burned')
    >>> rests_on("model of 3 mixes: 1.2 % of the mass from 60/20/20")
    'model of 3 mixes, 1.2 % of the mass from 60/20/20'
    >>> rests_on("imported: strands of 3 other benches, none of yours")
    'strands of 3 other benches (imported), none of yours'
    """
    head, _, rest = origin.partition(": ")
    if head in _BURNED:
        others = rest.rpartition("; ")[2].removesuffix(", imported")
        beside = f" and those of {others} (imported)"
        return _BURNED[head] + beside * rest.endswith(", imported")
    if head == "imported":
        others, _, more = rest.partition(", ")
        return f"{others} (imported), {more}"
    if head.startswith(("model of", "assumed")):
        return f"{head}, {rest}"
    return origin
