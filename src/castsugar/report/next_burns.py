"""What ``castsugar next`` answers: what to burn, and what that buys."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from typing import Any

from castsugar.costs import FILMED, FIRED, FURTHER, NEW_BATCH, Budget, Cost, Costs
from castsugar.frozen import dataclass
from castsugar.optimize.next_burns import (
    STRANDS_EACH,
    Known,
    NextBurn,
    Proposal,
    Recipe,
    order_of_work,
)
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part, part, read_parts
from castsugar.report.mix_words import grams_row, share_key
from castsugar.report.screen import (
    BENCH,
    Annex,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
    Ticks,
)
from castsugar.report.search_words import Asked
from castsugar.report.shown import SI, Shown

#: What burns of the list are for.
ABOUT = (
    "What would tell most for its cost of the burning rate, not what flies best. A "
    "burning rate is measured, never computed; this list only says where measuring "
    "helps most."
)

_STRANDS = (
    "Strands are not for a motor; only in a strand burner that was tested with water "
    "well above the higher pressure."
)
_FIRING = (
    "Fire only what keeps every limit: castsugar evaluate says so of the mix, and "
    "strands of the same batch come first."
)

#: Kinds of burns, and what they are called.
BURNS = {
    NEW_BATCH: "strands of a new batch",
    FURTHER: "further strands of one that is kept",
    FILMED: "a firing filmed by phone",
    FIRED: "a firing with a gauge",
}

#: What is fired.
_FIRED = frozenset({FIRED, FILMED})

_WORTH = {
    True: "Worth: what a burn is expected to add to the best objective within the "
    "pressure limit, and the doubt that it removes at the best mix.",
    False: "Worth: the doubt that a burn removes, mean over the mixes; a pressure "
    "limit would say which of them matter.",
}

_COLUMNS = (
    "Rate: standard uncertainty of the rate of a grain of the next batch in the motor. "
    "p95: what 95 of 100 next batches of the best mix stay below. After each burn and "
    "those above it, if they come out as expected."
)

#: Ingredients that get a column of their own.
_MOST_COLUMNS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """A proposal with everything that a screen says of it.

    `batch` is the mass of the batch that is weighed [kg], `grains` how many go into the
    motor (0: not known), `scale_step` the smallest step of the scale [kg], `bench_said`
    how the file was found if nobody typed it.
    """

    proposal: Proposal
    asked: Asked
    batch: float
    seed: int
    cautions: Chosen
    grains: int = 0
    scale_step: float | None = None
    bench: str = BENCH
    bench_said: str = ""
    invented: tuple[str, ...] = ()
    costs: Costs = field(default_factory=Costs)
    budget: Budget = field(default_factory=Budget)

    @property
    def order(self) -> list[tuple[int, NextBurn]]:
        """The burns in the order of work, each with its place in the list, from 1.

        Random; but what is fired comes after the strands.
        """
        burns = self.proposal.burns
        drawn = [(i + 1, burns[i]) for i in order_of_work(len(burns), self.seed)]
        return sorted(drawn, key=lambda one: one[1].option.fired)

    def mix(self, recipe: Recipe) -> str:
        """Return a mix in one line, as it was typed."""
        return ", ".join(
            f"{self.asked.name(name)} {numbers.typed(100.0 * x)}"
            for name, x in recipe.items()
        )


def cost_words(costs: Costs, called: Mapping[str, str]) -> str:
    """Say what measurements cost, grams counted as time."""
    told = [
        f"{words} {numbers.typed(numbers.three(costs.minutes(kind)))}"
        for kind, words in called.items()
    ]
    assumed = [kind for kind in called if kind not in costs.stated]
    origin = "assumed; yours go into [costs]" if assumed else "as you stated them"
    return f"Costs, in minutes with the grams counted: {', '.join(told)} ({origin})."


def next_screen(found: Proposed, show: Shown) -> Screen:
    """Return what next answers."""
    proposal, plan = found.proposal, found.proposal.plan
    kinds = {burn.option.kind for burn in proposal.burns}
    where = "in the motor" if plan.from_motor else "of the search"
    low, high, middle = (
        show.amount("pressure", 1e-6 * p, 2)
        for p in (plan.low, plan.high, plan.expected)
    )
    what = numbers.count(len(proposal.burns), "burn")
    strands = Paragraph(_STRANDS) if kinds - _FIRED else None
    firing = Paragraph(_FIRING) if kinds & _FIRED else None
    table = _table(found, show) if proposal.burns else None
    taken = [(found.costs.of(b.option.kind), b.option.recipe) for b in proposal.burns]
    spent = budget_words(found.budget, taken)
    work = Paragraph(" ".join(filter(None, (_order(found), spent))))
    blocks = (table, work if work.text else None, strands, firing)
    return Screen(
        command="next",
        title=f"next: {what} that tell most {found.bench_said or found.asked.file}",
        findings=tuple(_findings(found, show)),
        conditions=f"Of each batch burn {STRANDS_EACH} strands at {low} and "
        f"{STRANDS_EACH} at {high}, absolute: around {middle}, the pressure {where}.",
        blocks=tuple(block for block in blocks if block),
        least_sure=_batches(proposal),
        cautions=found.cautions.lines,
        cautions_count=len(found.cautions.lines) + found.cautions.rest,
        next=_next(found),
        invented=found.invented,
        bench=found.asked.file,
        annexes=tuple(_annexes(found, show)),
        sheet=tuple(_ticks(found, show)),
    )


def _order(found: Proposed) -> str:
    """Say in which order to work, and why in that one; empty for one burn."""
    fired = sum(burn.option.fired for _, burn in found.order)
    if max(fired, len(found.order) - fired) < 2:
        return ""
    places = ", ".join(str(place) for place, _ in found.order)
    return (
        f"Pour in random order {places} (seed {found.seed}), lest the day's drift pass "
        "for the mix."
    )


def budget_words(budget: Budget, taken: Sequence[tuple[Cost, Recipe]]) -> str:
    """Say what measurements take of what may be spent; empty without a limit.

    Examples
    --------
    >>> budget_words(Budget(time=3600.0), [(Cost(1200.0), {}), (Cost(600.0), {})])
    'In all 30 of 60 min.'
    """
    told = []
    if budget.time < math.inf:
        minutes = sum(cost.time for cost, _ in taken) / 60.0
        told.append(
            f"{numbers.typed(minutes)} of {numbers.typed(budget.time / 60.0)} min"
        )
    if budget.money < math.inf and budget.prices is not None:
        money = sum(budget.price(*one) for one in taken)
        told.append(
            f"{numbers.significant(money, 3)} of {numbers.typed(budget.money)} "
            f"{budget.prices.currency}"
        )
    return f"In all {' and '.join(told)}." if told else ""


def _ticks(found: Proposed, show: Shown) -> Iterator[Ticks]:
    """Yield what is weighed for each burn, to tick on paper."""
    for place, burn in found.order:
        lines = tuple(
            f"{found.asked.name(name)} {_weighed(found, mass, show)}"
            for name, mass in _masses(found, burn).items()
        )
        if lines:
            yield Ticks(lines, title=f"{place} {_said(burn)}")


def _findings(found: Proposed, show: Shown) -> Iterator[Finding]:
    """Yield what the burns buy."""
    proposal = found.proposal
    now, then, mixes = proposal.before, proposal.after, proposal.candidates
    if not mixes.kept:
        yield Finding(
            "REFUSED",
            f"None of {mixes.looked_at} mixes of the space keeps all limits that do "
            "not hang on the burning rate: relax one before you cook. These are chosen "
            "from all of the space.",
        )
    if not proposal.burns:
        yield Finding("RESULT", "Nothing that could be burned would tell more.")
        return
    values = {"before_ln_rate": now.rate_u, "after_ln_rate": then.rate_u}
    status, end = "RESULT", "if they come out as expected."
    if not proposal.best:
        text = (
            "These burns take the uncertainty of the burning rate of a grain to come "
            f"from {_share(now)} to about {_share(then)} %, mean over "
            f"{len(mixes.recipes)} mixes, {end}"
        )
    else:
        values |= {"before_p95_MPa": 1e-6 * now.p95, "after_p95_MPa": 1e-6 * then.p95}
        limit = show.amount("pressure", 1e-6 * proposal.plan.limit)
        best = f"Best within {limit} now"
        if not proposal.best_keeps:
            status = "CANNOT TELL"
            best = f"No mix is known to stay below {limit}. Nearest"
        before, after = (
            "no limit" if math.isinf(p) else show.amount("pressure", 1e-6 * p)
            for p in (now.p95, then.p95)
        )
        text = (
            f"{best}: {found.mix(proposal.best)}. These burns take its 95 % pressure "
            f"from {before} to about {after}, {end}"
        )
        if proposal.best_keeps and any(burn.gain > 0.0 for burn in proposal.burns):
            text += " They may also bring a better mix within the limit."
    yield Finding(status, text, values)


def _table(found: Proposed, show: Shown) -> Table:
    """Return the burns with what goes on the scale, and what each buys."""
    burns, limited = found.proposal.burns, bool(found.proposal.best)
    parts = list(dict.fromkeys(name for b in burns for name in b.option.recipe))
    columns = len(parts) <= _MOST_COLUMNS
    blank = [""] * (len(parts) if columns else 1)
    rows = [("now", *blank, *_known(found.proposal.before, limited, show))]
    for place, burn in enumerate(burns, start=1):
        told = {n: _weighed(found, m, show) for n, m in _masses(found, burn).items()}
        cells = [told.get(name, numbers.DASH) for name in parts]
        if not columns:
            cells = [", ".join(f"{found.asked.name(n)} {x}" for n, x in told.items())]
        row = (f"{place} {_said(burn)}", *cells, *_known(burn.after, limited, show))
        rows.append(row)
    heads = ["\n".join(found.asked.name(name).rsplit(" ", 1)) for name in parts]
    if not columns:
        heads = [f"on your scale, {show.amount('mass', 1e3 * found.batch)} each"]
    pressure = [show.headed("p95", "pressure").replace(", ", ",\n")] if limited else []
    return Table(
        heads=("burn", *heads, "rate,\n%", *pressure),
        rows=tuple(rows),
        left=frozenset({0} if columns else {0, 1}),
        spare=max(len(rows) - 6, 0),
        of="burns",
    )


def _said(burn: NextBurn) -> str:
    """Say what a burn is."""
    if burn.option.batch:
        return f"strands of batch {burn.option.batch}"
    what = burn.option.kind if burn.option.fired else "batch"
    return f"{what}, {burn.again} again" if burn.again else what


def _masses(found: Proposed, burn: NextBurn) -> dict[str, float]:
    """Return what to weigh; nothing of a batch that is kept. [kg]"""
    if burn.option.kind == FURTHER:
        return {}
    return {name: found.batch * share for name, share in burn.option.recipe.items()}


def _weighed(found: Proposed, mass: float, show: Shown) -> str:
    """Write a mass in steps of the scale."""
    if show.system != SI:
        return show.amount("mass", 1e3 * mass, 4)
    return show.step_of(1e3 * mass, 1e3 * (found.scale_step or 1e-4))


def _known(known: Known, limited: bool, show: Shown) -> list[str]:
    high = show.bare("pressure", 1e-6 * known.p95)
    told = ["none" if math.isinf(known.p95) else high] if limited else []
    return [_share(known), *told]


def _share(known: Known) -> str:
    """Write a standard uncertainty of ln r as per cent of the rate."""
    return numbers.factor(100.0 * math.expm1(known.rate_u))


def _batches(proposal: Proposal) -> str:
    """Say what no burn of a new mix lowers, and what does."""
    scatter = proposal.scatter
    middle, low, high = (
        numbers.factor(100.0 * x) for x in (scatter.middle, scatter.low, scatter.high)
    )
    text = (
        "how far the next batch strays from its mix, which no burn takes away: "
        f"{middle} % ({low} to {high})"
    )
    if scatter.learnt:
        return f"{text}, learnt from {scatter.batches} batches"
    origin = "stated" if scatter.stated else "assumed"
    more = "two batches of one mix"
    if proposal.burned:
        more = f"two more batches of {proposal.burned[0]}"
    return (
        f"{text}, {origin}. You cooked no mix twice: {more} with 2 strands each would "
        "replace the assumption"
    )


def _next(found: Proposed) -> str:
    """Return the command that weighs the first that is to be cooked."""
    bench = "" if found.bench == BENCH else f" --bench {found.bench}"
    return next(_sheets(found), f"castsugar check{bench}")


def _sheets(found: Proposed) -> Iterator[str]:
    """Yield the command of the weigh sheet of each that is to be cooked."""
    bench = "" if found.bench == BENCH else f" --bench {found.bench}"
    for option in (burn.option for _, burn in found.order):
        if option.kind == FURTHER:
            continue
        recipe = " ".join(
            f"{found.asked.name(name)}:{numbers.typed(100.0 * share)}"
            for name, share in option.recipe.items()
        )
        more = f" --strands {2 * STRANDS_EACH}"
        if option.fired:
            more = f" --grains {found.grains}" if found.grains else ""
        yield f'castsugar weigh "{recipe}"{bench}{more}'


def _annexes(found: Proposed, show: Shown) -> Iterator[Annex]:
    """Yield how the burns were chosen."""
    proposal = found.proposal
    if sheets := tuple(_sheets(found)):
        yield Annex("Weigh sheets", (Listing(sheets),))
    middle = show.amount("pressure", 1e-6 * proposal.plan.expected)
    known = f"{len(proposal.burned)} mixes: {', '.join(proposal.burned)}"
    lines = [
        ABOUT,
        f"Burned so far: {known if proposal.burned else 'nothing'}.",
        _WORTH[bool(proposal.best)],
        cost_words(found.costs, BURNS),
        _COLUMNS,
        f"{2 * STRANDS_EACH} strands of a batch are enough: batches differ by more "
        f"than strands do. Strands are taken to tell the rate at {middle}.",
        f"{proposal.candidates.looked_at} recipes of the space were looked at, "
        f"{len(proposal.candidates.recipes)} weighed against each other; seed "
        f"{found.seed}.",
    ]
    yield Annex("How they were chosen", tuple(Paragraph(line) for line in lines))


# ----------------------------------------------------------------------------
# JSON.


def _plan_row(found: Proposed) -> dict[str, Any]:
    plan = found.proposal.plan
    return {
        "low_pressure_MPa": 1e-6 * plan.low,
        "high_pressure_MPa": 1e-6 * plan.high,
        "expected_pressure_MPa": 1e-6 * plan.expected,
        "expected_in_motor": plan.from_motor,
        "strands_at_low": STRANDS_EACH,
        "strands_at_high": STRANDS_EACH,
    }


def _burn_rows(found: Proposed) -> list[dict[str, Any]]:
    return [
        {
            "burn": place,
            "kind": burn.option.kind,
            "batch": burn.option.batch,
            "again": burn.again,
            "cost_min": found.costs.minutes(burn.option.kind),
            "expected_gain_points": burn.gain,
            "doubt_removed_percent": 100.0 * burn.share,
            "recipe": _percents(burn.option.recipe),
            "masses": grams_row(_masses(found, burn)),
            "known_after": _known_row(burn.after),
        }
        for place, burn in enumerate(found.proposal.burns, 1)
    ]


def _percents(recipe: Recipe) -> dict[str, float]:
    return {share_key(name): 100.0 * share for name, share in recipe.items()}


def _known_row(known: Known) -> dict[str, float]:
    return {"ln_rate_u": known.rate_u, "peak_pressure_p95_MPa": 1e-6 * known.p95}


def _scatter_row(found: Proposed) -> dict[str, Any]:
    scatter = found.proposal.scatter
    return {
        "ln_rate": scatter.middle,
        "low": scatter.low,
        "high": scatter.high,
        "repeated_batches": scatter.batches,
        "stated": scatter.stated,
    }


PARTS: dict[str, Part] = {
    "file": part("name of the bench file", "asked.file"),
    "seed": part("of the mixes that were looked at", "seed"),
    "burned": part("names of the mixes that were burned", "proposal.burned"),
    "batch_g": part("mass of each batch", lambda found: 1e3 * found.batch),
    "limit_MPa": part(
        "that a peak must stay below; null: none",
        lambda found: 1e-6 * found.proposal.plan.limit,
    ),
    "best_mix": part(
        "best within the limit now, or nearest to it; empty without a limit",
        lambda found: _percents(found.proposal.best),
    ),
    "best_keeps_the_limit": part("whether it does", "proposal.best_keeps"),
    "burns": part(
        "the most telling first: kind, shares, masses, what is then known", _burn_rows
    ),
    "order_of_work": part(
        "random, by `seed`: numbers of the burns",
        lambda found: [place for place, _ in found.order],
    ),
    "strands": part("pressures to burn at, strands of a batch at each", _plan_row),
    "known_now": part(
        "standard uncertainty of ln r, 95 % pressure of the best mix",
        lambda found: _known_row(found.proposal.before),
    ),
    "batch_scatter": part(
        "how far batches of one mix differ in ln r, and by what that is known",
        _scatter_row,
    ),
    "requirements_kept": part(
        "whether a mix keeps the limits that the burning rate does not decide",
        "proposal.candidates.kept",
    ),
    "recipes_looked_at": part("mixes of the space", "proposal.candidates.looked_at"),
}


def next_parts(found: Proposed) -> dict[str, Any]:
    """Return what the JSON of next holds."""
    return read_parts(PARTS, found)
