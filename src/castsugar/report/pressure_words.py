"""Where the doubt of a peak pressure comes from, in words: one line, and all of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed
from castsugar.report.screen import Annex, Block, Paragraph, Table
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.motor.pressure_doubt import (
        BatchScatter,
        OnePressure,
        PressureDoubt,
        StepToMotor,
    )
    from castsugar.motor.scatter import Scatter

#: Causes that the one line names; the others are its rest.
_NAMED = 3

_DOUBT = (
    "± is one standard uncertainty of the peak of the next batch, in % of it; p95 lies "
    "about 1.64 of them, together, above the best estimate. Of the variance {assumed} "
    "% rest on widths that were assumed."
)


def doubt_line(doubt: PressureDoubt) -> str:
    """Say in one line where most of the doubt comes from."""
    first, others = doubt.causes[:_NAMED], doubt.causes[_NAMED:]
    named = [f"{one.name} {_whole(one.percent)}" for one in first]
    rest = math.hypot(*(one.percent for one in others))
    return (
        f"Pressure ± {_whole(doubt.percent)} %: {', '.join(named)}, rest "
        f"{_whole(rest)}; {numbers.percent(doubt.assumed)} % assumed"
    )


def _whole(percent: float) -> str:
    return numbers.at_place(percent, 0)


def _percent(share: float, place: int = 0) -> str:
    """Write a share in per cent, to a place of them."""
    return numbers.at_place(100.0 * share, place)


def _stated(share: float) -> str:
    """Write a share as somebody stated it, in per cent."""
    return numbers.typed(numbers.tidy(100.0 * share))


def assumed_widths(known: Scatter) -> str:
    """Say which widths of the scatter of burn rates nobody stated; empty for none.

    Examples
    --------
    >>> from castsugar.motor.scatter import WIDTHS, Scatter
    >>> every = dict.fromkeys(WIDTHS[3:], 0.02)
    >>> assumed_widths(Scatter(stated=tuple(every), **every))
    'scatter of burn rates, assumed: batch 6 %, strands to motor 4 ± 5 %, surface 6 %'
    """
    told = []
    for name, width in known.assumed().items():
        middle = f"{_stated(known.strands_to_motor)} ± " if "motor" in name else ""
        label = name.removesuffix("_u").replace("_", " ")
        told.append(f"{label} {middle}{_stated(width)} %")
    return f"scatter of burn rates, assumed: {', '.join(told)}" if told else ""


def batch_words(known: BatchScatter) -> str:
    """Say what the scatter between batches is, and where it comes from."""
    if known.learnt:
        middle, low, high = (
            _percent(x, -1) for x in (known.middle, known.low, known.high)
        )
        return (
            f"Scatter between batches, learnt from {known.batches} batches: {middle} % "
            f"({low} to {high})."
        )
    middle = _stated(known.middle)
    if known.stated:
        return f"Scatter between batches stated as {middle} %; you cooked no mix twice."
    return (
        f"Scatter between batches taken as {middle} % (assumed, {_percent(known.low)} "
        f"to {_percent(known.high)} %); you cooked no mix twice."
    )


def step_words(step: StepToMotor) -> str:
    """Say how strands stand against motors."""
    told = f"{_percent(step.value)} ± {_percent(step.u)} %"
    if not step.firings:
        return f"Strands are taken to read {told} low against motors (assumed)."
    count = numbers.count(step.firings, "firing")
    return f"Strands read {told} low against motors (what is assumed, and {count})."


def one_pressure_words(single: OnePressure, show: Shown) -> str:
    """Say what is done with strands that burned at one pressure."""
    at = f"at {show.amount('pressure', 1e-6 * single.pressure)}"
    return used_words(single.strands, at, (single.exponent, single.exponent_u))


def used_words(strands: int, where: str, exponent: tuple[float, float]) -> str:
    """Say that strands are used, burned where, and which exponent with its u."""
    n, u = (numbers.at_place(x, -2) for x in exponent)
    count = numbers.count(strands, "strand")
    return f"{count} {where}: used; n taken as {n} ± {u}."


def doubt_annex(
    names: Sequence[str], doubts: Sequence[PressureDoubt | None], show: Shown
) -> Iterator[Annex]:
    """Yield where the doubt of the pressure of each mix comes from."""
    known = [(n, d) for n, d in zip(names, doubts, strict=False) if d is not None]
    if not known:
        return
    blocks: list[Block] = []
    for name, doubt in known:
        rows = [
            (
                _full(one.name, doubt),
                numbers.at_place(one.percent, -1),
                numbers.percent(one.share),
                "assumed" if one.assumed else "",
            )
            for one in doubt.causes
        ]
        whole = ("together", numbers.at_place(doubt.percent, -1), "100", "")
        heads = (name if len(known) > 1 else "", "± % of it", "% of variance", "width")
        blocks.append(Table(heads=heads, rows=(*rows, whole), left=frozenset({0, 3})))
        if doubt.single is not None:
            blocks.append(Paragraph(one_pressure_words(doubt.single, show)))
    told = known[0][1]
    blocks.append(Paragraph(_DOUBT.format(assumed=numbers.percent(told.assumed))))
    said = f"{batch_words(told.batch)} {step_words(told.to_motor)}"
    blocks.append(Paragraph(said))
    yield Annex("Where the doubt of the peak pressure comes from", tuple(blocks))


def _full(name: str, doubt: PressureDoubt) -> str:
    """Return a cause, of the mix with whether it was burned."""
    how = "by what was burned of it" if doubt.measured else "not measured"
    return f"mix, {how}" if name == "mix" else name


PARTS: dict[str, Part] = {
    "pressure_doubts": Part(
        meaning="where the doubt of each peak pressure comes from, the largest first",
        fields=keyed(
            ("mix", TEXT, "name"),
            ("cause", TEXT, "of the doubt"),
            ("pressure_percent", "fraction", "standard uncertainty of the pressure"),
            ("variance_percent", "fraction", "share of the variance of its logarithm"),
            ("assumed", TEXT, "yes if its width was taken from no data of yours"),
        ),
        many=True,
        needed=False,
    ),
    "batch_scatter": Part(
        meaning="scatter between batches: percent, its band, how many batches taught "
        "it, whether it was stated",
        needed=False,
    ),
}


def doubt_parts(
    names: Sequence[str], doubts: Sequence[PressureDoubt | None]
) -> dict[str, Any]:
    """Return what a document says of it; nothing without a motor."""
    known = [(n, d) for n, d in zip(names, doubts, strict=False) if d is not None]
    if not known:
        return {}
    batch = known[0][1].batch
    return {
        "pressure_doubts": [
            {
                "mix": name,
                "cause": one.name,
                "pressure_percent": one.percent,
                "variance_percent": 100.0 * one.share,
                "assumed": "yes" if one.assumed else "no",
            }
            for name, doubt in known
            for one in doubt.causes
        ],
        "batch_scatter": {
            "percent": 100.0 * batch.middle,
            "low_percent": 100.0 * batch.low,
            "high_percent": 100.0 * batch.high,
            "batches": batch.batches,
            "stated": batch.stated,
        },
    }
