"""What ``castsugar next`` answers: mixes to burn strands of, and what that buys."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from castsugar.optimize.next_strands import Doubt, NextMix, Proposal
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part
from castsugar.report.mix_words import grams_row, share_key
from castsugar.report.screen import (
    BENCH,
    Annex,
    Block,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.search_words import Asked
from castsugar.report.shown import SI, Shown

#: What the mixes are for.
ABOUT = (
    "Mixes whose strands would tell most about the burning rate, not mixes to put into "
    "a motor. A burning rate is measured, never computed; these recipes only say where "
    "measuring helps most."
)

_CRITERIA = {
    "I": "least mean variance of ln r over the mixes that matter (I-optimal)",
    "D": "least joint uncertainty of the model's coefficients (D-optimal)",
}
_ORDERS = {1: "linear in the shares", 2: "shares and products of pairs"}

_COLUMNS = (
    "Standard uncertainties. Model: where the model of the burning rate lies. One "
    "grain: what the pressure band is made with: the model, how far single mixes stray "
    "from it, scatter, and a surcharge outside the measured mixes."
)
_RISES = (
    "It may rise before 3 mixes are measured: until then each mix is taken to burn as "
    "the nearest measured one."
)

#: Ingredients that get a column of their own.
_MOST_COLUMNS = 4

PARTS: dict[str, Part] = {
    "file": Part(meaning="name of the bench file"),
    "seed": Part(meaning="of the draws"),
    "about": Part(meaning="what the mixes are for"),
    "known_now": Part(meaning="what the model of the burning rate is, in words"),
    "mixture_model": Part(meaning="whether it is a mixture model"),
    "criterion": Part(meaning="I: least mean variance; D: corners first"),
    "order": Part(meaning="of the model: 1 linear, 2 with products of pairs"),
    "reference_pressure_MPa": Part(meaning="at which ln r is modelled, absolute"),
    "between_mixes_ln_rate": Part(meaning="what the model leaves between mixes"),
    "batch_g": Part(meaning="mass of the batch of each mix"),
    "mixes": Part(meaning="the most telling first: shares, masses, uncertainty after"),
    "strands": Part(meaning="pressures to burn at, strands at each, what they fix"),
    "uncertainty_before": Part(meaning="standard uncertainties of ln r and n, now"),
    "uncertainty_after": Part(meaning="the same after all mixes"),
    "requirements_kept": Part(meaning="whether a mix keeps the limits"),
    "recipes_considered": Part(meaning="mixes over which the uncertainty is meant"),
    "recipes_looked_at": Part(meaning="mixes of the space"),
    "notes": Part(meaning="what else to know"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """Proposed mixes with everything that a screen says of them.

    `batch` is the mass of the batch of each mix [kg], `scale_step` the smallest step
    of the scale [kg], `bench_said` how the file was found if nobody typed it.
    """

    proposal: Proposal
    asked: Asked
    batch: float
    seed: int
    cautions: Chosen
    scale_step: float | None = None
    bench: str = BENCH
    bench_said: str = ""
    invented: tuple[str, ...] = ()


def next_screen(found: Proposed, show: Shown) -> Screen:
    """Return what next answers."""
    proposal, plan = found.proposal, found.proposal.plan
    count = len(proposal.mixes)
    what = "1 mix" if count == 1 else f"{count} mixes"
    said = found.bench_said or f"({found.asked.file})"
    where = "in the motor" if plan.from_motor else "of the search"
    low, high, middle = (
        show.amount("pressure", 1e-6 * p, 2)
        for p in (plan.low, plan.high, plan.expected)
    )
    return Screen(
        command="next",
        title=f"next: {what} to burn strands of {said}",
        findings=tuple(_findings(found)),
        conditions=f"Of each burn {plan.at_low} strands at {low} and {plan.at_high} at "
        f"{high}, absolute: around {middle}, the pressure {where}.",
        blocks=(
            _table(found, show),
            Paragraph(
                "For strands, not for a motor; only in a strand burner that was tested "
                "with water well above the higher pressure."
            ),
        ),
        least_sure=_least_sure(found),
        cautions=found.cautions.lines,
        cautions_count=len(found.cautions.lines) + found.cautions.rest,
        next=_next(found),
        invented=found.invented,
        bench=found.asked.file,
        annexes=tuple(_annexes(found, show)),
    )


def _findings(found: Proposed) -> Iterator[Finding]:
    """Yield what the strands buy."""
    proposal = found.proposal
    now, then = proposal.before, proposal.after
    if not proposal.candidates.kept:
        yield Finding("REFUSED", f"{numbers.capitalized(proposal.notes[0])}.")
    values = {"before_ln_rate": now.grain_u, "after_ln_rate": then.grain_u}
    if not math.isfinite(now.grain_u):
        text = (
            "Nothing is measured yet: after these strands the burning rate of a new "
            f"grain is known to {_share(then.grain_u)} %, mean over"
        )
    else:
        text = (
            "These strands take the uncertainty of the burning rate of a new grain "
            f"from {_share(now.grain_u)} to {_share(then.grain_u)} %, mean over"
        )
    count = len(proposal.candidates.fractions)
    which = "mixes of the space"
    if count < proposal.candidates.looked_at:
        which = "mixes that keep the other limits"
    yield Finding("RESULT", f"{text} {count} {which}.", values)


def _table(found: Proposed, show: Shown) -> Table:
    """Return the mixes with what goes on the scale, and what each buys."""
    mixes = found.proposal.mixes
    parts = list(dict.fromkeys(name for mix in mixes for name in mix.recipe))
    columns = len(parts) <= _MOST_COLUMNS
    blank = [""] * (len(parts) if columns else 1)
    rows = [("now", *blank, *_doubts(found.proposal.before))]
    for place, mix in enumerate(mixes, start=1):
        again = f", {mix.replicate_of} again" if mix.replicate_of else ""
        own = mix.masses(found.batch)
        told = {n: _weighed(found, mass, show) for n, mass in own.items()}
        cells = [told.get(name, numbers.DASH) for name in parts]
        if not columns:
            cells = [", ".join(f"{found.asked.name(n)} {x}" for n, x in told.items())]
        rows.append((f"{place}{again}", *cells, *_doubts(mix.doubt)))
    heads = ["\n".join(found.asked.name(name).rsplit(" ", 1)) for name in parts]
    if not columns:
        heads = [f"on your scale, {show.amount('mass', 1e3 * found.batch)} each"]
    return Table(
        heads=("mix", *heads, "model,\n%", "one\ngrain, %"),
        rows=tuple(rows),
        left=frozenset({0} if columns else {0, 1}),
        spare=max(len(rows) - 6, 0),
        of="mixes",
    )


def _weighed(found: Proposed, mass: float, show: Shown) -> str:
    """Write a mass in steps of the scale."""
    if show.system != SI:
        return show.amount("mass", 1e3 * mass, 4)
    return show.step_of(1e3 * mass, 1e3 * (found.scale_step or 1e-4))


def _doubts(doubt: Doubt) -> tuple[str, str]:
    return _share(doubt.model_u), _share(doubt.grain_u)


def _share(u: float) -> str:
    """Write a standard uncertainty of ln r as per cent of the rate."""
    return numbers.factor(100.0 * math.expm1(u)) if math.isfinite(u) else numbers.DASH


def _least_sure(found: Proposed) -> str:
    """Say where the model is known worst, now and then."""
    now, then = found.proposal.before, found.proposal.after
    text = f"the model at {_mix(found, then.worst)}: {_share(then.worst_u)} % then"
    if dict(now.worst) == dict(then.worst):
        return f"{text}, {_share(now.worst_u)} % now"
    return f"{text}; now at {_mix(found, now.worst)}: {_share(now.worst_u)} %"


def _mix(found: Proposed, recipe: Mapping[str, float]) -> str:
    return ", ".join(
        f"{found.asked.name(name)} {numbers.typed(100.0 * x)}"
        for name, x in recipe.items()
    )


def _next(found: Proposed) -> str:
    """Return the command that weighs the first of the mixes."""
    plan, first = found.proposal.plan, found.proposal.mixes[0]
    recipe = " ".join(
        f"{found.asked.name(name)}:{numbers.typed(share)}"
        for name, share in first.percents.items()
    )
    bench = "" if found.bench == BENCH else f" --bench {found.bench}"
    return f'castsugar weigh "{recipe}"{bench} --strands {plan.at_low + plan.at_high}'


def _annexes(found: Proposed, show: Shown) -> Iterator[Annex]:
    """Yield how the mixes were chosen, and what the strands fix."""
    proposal, plan = found.proposal, found.proposal.plan
    scatter = "as yours do" if plan.scatter_measured else "assumed"
    doubts = [proposal.before, *(mix.doubt for mix in proposal.mixes)]
    exponents = ", ".join(numbers.factor(doubt.exponent_u) for doubt in doubts)
    blocks: list[Block] = [
        Paragraph(_COLUMNS),
        Paragraph(
            f"If strands scatter by {_share(plan.scatter)} % ({scatter}), they fix the "
            f"exponent n of a mix to {numbers.factor(plan.exponent_u)}, standard "
            f"uncertainty. Of the model's n, now and after each mix: {exponents}."
        ),
    ]
    known = [x.grain_u for x in doubts if math.isfinite(x.grain_u)]
    if known != sorted(known, reverse=True):
        blocks.append(Paragraph(_RISES))
    yield Annex("What the strands buy", tuple(blocks))
    middle = show.amount("pressure", 1e-6 * proposal.reference_pressure)
    lines = [
        ABOUT,
        f"Known now: {proposal.knowledge}.",
        f"Criterion: {_CRITERIA[proposal.criterion]}; model: "
        f"{_ORDERS[proposal.order]}, which leaves {_share(proposal.between)} % between "
        f"mixes; ln r at {middle}.",
        f"{proposal.candidates.looked_at} recipes of the space were looked at; seed "
        f"{found.seed}.",
        *(f"{numbers.capitalized(note)}." for note in proposal.notes),
    ]
    yield Annex("How they were chosen", (Listing(tuple(lines)),))


# ----------------------------------------------------------------------------
# JSON.


def next_parts(found: Proposed) -> dict[str, Any]:
    """Return what the JSON of next holds."""
    proposal, plan = found.proposal, found.proposal.plan
    return {
        "file": found.asked.file,
        "seed": found.seed,
        "about": ABOUT,
        "known_now": proposal.knowledge,
        "mixture_model": proposal.modelled,
        "criterion": proposal.criterion,
        "order": proposal.order,
        "reference_pressure_MPa": 1e-6 * proposal.reference_pressure,
        "between_mixes_ln_rate": proposal.between,
        "batch_g": 1e3 * found.batch,
        "mixes": [_mix_row(n, m, found) for n, m in enumerate(proposal.mixes, 1)],
        "strands": {
            "low_pressure_MPa": 1e-6 * plan.low,
            "high_pressure_MPa": 1e-6 * plan.high,
            "expected_pressure_MPa": 1e-6 * plan.expected,
            "expected_in_motor": plan.from_motor,
            "strands_at_low": plan.at_low,
            "strands_at_high": plan.at_high,
            "scatter_ln_rate": plan.scatter,
            "scatter_measured": plan.scatter_measured,
            "exponent_standard_uncertainty": plan.exponent_u,
        },
        "uncertainty_before": _doubt_row(proposal.before),
        "uncertainty_after": _doubt_row(proposal.after),
        "requirements_kept": proposal.candidates.kept,
        "recipes_considered": len(proposal.candidates.fractions),
        "recipes_looked_at": proposal.candidates.looked_at,
        "notes": list(proposal.notes),
    }


def _mix_row(place: int, mix: NextMix, found: Proposed) -> dict[str, Any]:
    return {
        "mix": place,
        "replicate_of": mix.replicate_of,
        "recipe": {share_key(n): x for n, x in mix.percents.items()},
        "masses": grams_row(mix.masses(found.batch)),
        "uncertainty_after": _doubt_row(mix.doubt),
    }


def _doubt_row(doubt: Doubt) -> dict[str, Any]:
    return {
        "model_ln_rate": doubt.model_u,
        "new_grain_ln_rate": doubt.grain_u,
        "exponent": doubt.exponent_u,
        "largest_ln_rate": doubt.worst_u,
        "largest_at": {share_key(n): 100.0 * s for n, s in doubt.worst.items()},
    }
