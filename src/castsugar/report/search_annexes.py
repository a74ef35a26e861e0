"""What a search says in full: shadow prices, Pareto front, robustness, evidence."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from castsugar.columns import COLUMNS
from castsugar.limits import Limit
from castsugar.motor.hardware import NOT_MODELLED
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.problem import MOVED, Judge
from castsugar.optimize.rounding import Weighable
from castsugar.optimize.shadow_prices import AGREEMENT, Found
from castsugar.optimize.task import Sloppiness
from castsugar.report import numbers
from castsugar.report.field import FIELDS, TEXT
from castsugar.report.limit_words import limit_cell, margin_cell
from castsugar.report.screen import Annex, Block, Listing, Paragraph, Table
from castsugar.report.search import (
    Searched,
    bound_buys,
    bound_name,
    limit_buys,
    no_trade_off,
)
from castsugar.report.search_words import (
    bare_text,
    bound_words,
    endless,
    field_of,
    limit_name,
    limit_noun,
    limit_words,
    value_text,
)
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.optimize.robust import Robust

#: Smallest gain that is worth a word, as a share of the objective.
_WORTH = 1e-4

#: Scaled slack down to which a trial counts as keeping a limit.
_NEARLY = 1e-9

#: Rows of the outcome in words.
_NAMES = {"best": "exact", "percents": "whole %", "weighable": "scale steps"}

_SEARCHED_AGAIN = (
    "Each price was searched again with that one limit so much looser, all others kept."
)
_LOSSES = "Not modelled: losses into walls and nozzle; they lower what every mix does."
_PEAK = (
    "What can raise the peak of a mix (start, erosive burning, crack, debond, hot day, "
    "throat deposit) is no part of a search: castsugar evaluate MIX --full."
)
_KITCHEN = (
    "Pour viscosity is known to a factor of about 4 until your kitchen is measured; "
    "whether a grain sets is a derived rule, untested."
)


def search_annexes(found: Searched, show: Shown) -> Iterator[Annex]:
    """Yield everything that a search knows beyond its screen."""
    outcome = found.outcome
    yield Annex("The exact optimum, and rounded", tuple(_rounded(found, show)))
    if blocks := tuple(_limits(found, show)):
        yield Annex("Limits, bounds and their shadow prices", blocks)
    if blocks := tuple(_ignored(found, show)):
        yield Annex("What the limits cost", blocks)
    yield Annex("All numbers", tuple(_numbers(found, show)))
    if outcome.found.runners_up:
        yield Annex("Runners-up that are really different", (_runners(found, show),))
    if outcome.front is not None:
        yield Annex("Pareto front", tuple(_front(found, show)))
    if outcome.robust is not None:
        yield Annex(
            "If batches miss the recipe", tuple(_robust(found, outcome.robust, show))
        )
    yield Annex("Evidence", tuple(_evidence(found, show)))
    yield Annex("Assumed", (Listing(tuple(_assumed(found))),))


# ----------------------------------------------------------------------------
# The mix.


def _rounded(found: Searched, show: Shown) -> Iterator[Block]:
    """Yield the shares: exact, in whole percents, in steps of the scale."""
    outcome = found.outcome
    best, space = outcome.found, outcome.task.space
    made = {"whole %": outcome.percents, "scale steps": outcome.weighable}
    known = {head: one for head, one in made.items() if one is not None}
    yield _beside(found, known, show)
    if best.violation > 0.0:
        return
    for head, one in known.items():
        yield Paragraph(f"In {head}: {_cost(outcome, one)}.")
    if outcome.no_rounding:
        yield Paragraph(f"Not rounded: {found.asked.renamed(outcome.no_rounding)}.")
    if space.batch is None:
        yield Paragraph("For grams give batch in [search].")
    for slot, option in best.choice.items():
        options = ", ".join(map(found.asked.name, space.options(slot)))
        yield Paragraph(f"{slot}: {found.asked.name(option)}, chosen among {options}.")


def _beside(found: Searched, known: Mapping[str, Weighable], show: Shown) -> Table:
    """Return shares, objective and limited columns of the exact and rounded mixes."""
    best = found.outcome.found
    shown: list[Found | Weighable] = [best, *known.values()]
    rows = []
    for place, name in enumerate(best.ingredients):
        shares = [float(one.fractions[place]) for one in shown]
        if any(shares):
            cells = [numbers.at_place(100.0 * x, -2) for x in shares]
            rows.append((f"{found.asked.name(name)}, %", *cells))
    goal = field_of(best.goal.objective)
    scores = (one.values[best.goal.objective] for one in shown)
    told = (show.bare(goal.kind, score, 5) for score in scores)
    rows.append((goal.headed(show), *told))
    for limit in best.goal.limits:
        column = limit.column
        told = (bare_text(column, one.values[column], show) for one in shown)
        rows.append((limit_words(limit, show), *told))
    return Table(heads=("", "exact", *known), rows=tuple(rows))


def _cost(outcome: Outcome, made: Weighable) -> str:
    """Say what rounding costs, or why the recipe is not offered."""
    if not made.feasible:
        return "no recipe near it keeps all limits, so none is offered"
    if made.refused:
        return f"none is offered: {made.refused}"
    share = made.loss / abs(outcome.found.objective or 1.0)
    if abs(share) <= 1e-6:
        return "costs nothing"
    if share > 0.0:
        return f"costs {numbers.percent(share)} % of the objective"
    told = numbers.percent(-share)
    return f"gains {told} %: the search had stopped a little short of the top"


# ----------------------------------------------------------------------------
# Limits.


def _limits(found: Searched, show: Shown) -> Iterator[Block]:
    """Yield limits with what is spared and what they cost, then bounds that decide."""
    outcome = found.outcome
    own = found.judged.get("best", ())
    rows = [
        (
            field_of(state.limit.column).headed(show),
            limit_cell(one, show),
            bare_text(state.limit.column, state.value, show),
            margin_cell(one),
            "decides" if state.binding else "",
            limit_buys(found, state, show) if state.binding else "",
        )
        for state, one in zip(outcome.found.limits, own, strict=True)
    ]
    if rows:
        yield Table(
            heads=("limit", "", "exact mix", "margin", "", "shadow price"),
            rows=tuple(rows),
            left=frozenset({0, 4, 5}),
            drop=(3,),
        )
    bounds = [
        (bound_name(found, row), bound_buys(found, row, show))
        for row in outcome.found.rows
    ]
    if bounds:
        yield Table(
            heads=("bound that decides", "shadow price"),
            rows=tuple(bounds),
            left=frozenset({0, 1}),
        )
    yield from _notes(outcome)


def _notes(outcome: Outcome) -> Iterator[Block]:
    """Yield how well the shadow prices are known."""
    found = outcome.found
    prices = [state.price for state in found.limits]
    known = [price for price in prices if price is not None]
    known += [row.price for row in found.rows if row.price is not None]
    if any(not price.rough for price in known):
        yield Paragraph(_SEARCHED_AGAIN)
    if any(price.rough for price in known):
        yield Paragraph(
            "buys about: not searched again, the slope at the optimum carried on."
        )
    if found.stationarity > AGREEMENT and found.violation <= 0.0:
        left = numbers.percent(found.stationarity)
        yield Paragraph(
            f"These prices leave {left} % of the slope unexplained: take them roughly."
        )


def _ignored(found: Searched, show: Shown) -> Iterator[Block]:
    """Yield the best of the mixes tried without all limits, and without each."""
    goal = found.outcome.found.goal
    if not goal.limits or found.outcome.found.violation > 0.0:
        return
    wanted: list[tuple[str, Limit | None]] = [("all limits", None)]
    held = [s.limit for s in found.outcome.found.limits if s.binding]
    if len(goal.limits) > 1:
        wanted += [(f"the {limit_name(limit, show)}", limit) for limit in held]
    rows = [
        (name, *row)
        for name, limit in wanted
        if (row := _without(found, limit, show)) is not None
    ]
    if not rows:
        yield Paragraph("No mix that was tried scores more: the limits cost nothing.")
        return
    yield Table(
        heads=("ignoring", "best mix tried", "gains", "but breaks"),
        rows=tuple(rows),
        left=frozenset({0, 1, 3}),
    )


def _without(
    found: Searched, limit: Limit | None, show: Shown
) -> tuple[str, str, str] | None:
    """Return mix, gain and what breaks if a limit, or all, were ignored."""
    best = found.outcome.found
    goal, trials = best.goal, best.trials
    judge = Judge.of(goal, tuple(best.values), trials.values)
    outputs = judge.outputs(trials.values)
    rows = (trials.region != MOVED) & np.isfinite(outputs).all(axis=1)
    others = [i for i, one in enumerate(goal.limits) if limit and one is not limit]
    rows &= (outputs[:, [1 + i for i in others]] >= -_NEARLY).all(axis=1)
    places = np.flatnonzero(rows)
    if not len(places):
        return None
    place = int(places[np.argmin(outputs[places, 0])])
    values = dict(zip(best.values, trials.values[place].tolist(), strict=True))
    gained = values[goal.objective] - best.objective
    gained *= (1.0 if goal.maximise else -1.0) / abs(best.objective or 1.0)
    if gained <= _WORTH:
        return None
    breaks = [
        f"{limit_name(one, show)}: {value_text(one.column, values[one.column], show)}"
        for one in goal.limits
        if one.slack(np.array([values[one.column]]))[0] < 0.0
    ]
    mix = found.asked.mix(best.ingredients, trials.fractions[place])
    return mix, f"{numbers.percent(gained)} %", "; ".join(breaks)


# ----------------------------------------------------------------------------
# Mixes beside the best.


def _numbers(found: Searched, show: Shown) -> Iterator[Block]:
    """Yield every number of the answer and of the mixes of the bench."""
    outcome = found.outcome
    exact = {"exact": "best"} if outcome.chosen != "best" else {}
    names = {"found": outcome.chosen} | {n: n for n in outcome.task.tried} | exact
    rows = [found.row(name) for name in names.values()]
    lines = []
    for column in COLUMNS:
        one = FIELDS[column.key]
        known = [row.get(one.key) for row in rows]
        if one.kind == TEXT or all(x is None or x != x for x in known):
            continue
        lines.append((one.headed(show), *(one.text(row, show) for row in rows)))
    yield Table(
        heads=("", *names),
        rows=tuple(lines),
        drop=tuple(range(len(names), 2, -1)),
    )
    told = [
        f"{name}: {flag}"
        for name, row in zip(names, rows, strict=True)
        for key in ("burn_law_origin", "flags")
        for flag in str(row.get(key) or "").split("; ")
        if flag
    ]
    if told:
        yield Listing(tuple(told))


def _runners(found: Searched, show: Shown) -> Table:
    """Return the runners-up."""
    best = found.outcome.found
    goal = field_of(best.goal.objective)
    return Table(
        heads=("mix", goal.headed(show), "of the best", "exchanged", ""),
        rows=tuple(
            (
                found.asked.mix(best.ingredients, runner.fractions),
                show.bare(goal.kind, runner.objective, 4),
                f"{numbers.percent(runner.objective / (best.objective or 1.0))} %",
                f"{numbers.percent(runner.distance)} %",
                "" if runner.polished else "of the lattice, not searched on",
            )
            for runner in best.runners_up
        ),
        left=frozenset({0, 4}),
    )


def _front(found: Searched, show: Shown) -> Iterator[Block]:
    """Yield the mixes of the Pareto front, from the best of the first column on."""
    front, wanted = found.outcome.front, found.outcome.task.front
    if front is None or wanted is None:
        return
    first, second = (column for column, _ in wanted)
    words = [f"{'more' if m else 'less'} {field_of(c).label}" for c, m in wanted]
    yield Paragraph(f"{words[0]} against {words[1]}.")
    if said := no_trade_off(found):
        yield Paragraph(said)
    if front.status == "incomplete":
        yield Paragraph(f"Not finished: {front.reason}. Others may be better in both.")
    if not len(front.fractions):
        yield Paragraph("No mix keeps the limits.")
        return
    yield Table(
        heads=(
            *(field_of(column).headed(show) for column, _ in wanted),
            "/".join(map(found.asked.name, found.outcome.found.ingredients)),
        ),
        rows=tuple(
            (
                _plain(first, float(front.first[place]), show),
                _plain(second, float(front.second[place]), show),
                "/".join(numbers.at_place(100.0 * x, -1) for x in mix.tolist()),
            )
            for place, mix in enumerate(front.fractions)
        ),
        left=frozenset({2}),
    )


def _plain(column: str, value: float, show: Shown) -> str:
    """Write a value without its unit, with digits that tell neighbours apart."""
    value = endless(column, value)
    one = field_of(column)
    return one.endless if math.isinf(value) else show.bare(one.kind, value, 4)


def _robust(found: Searched, robust: Robust, show: Shown) -> Iterator[Block]:
    """Yield what batches do to the nominal and to the robust recipe."""
    outcome, sloppy = found.outcome, found.outcome.task.sloppiness
    if sloppy is None:
        return
    yield Paragraph(_taken(found, robust, sloppy, show))
    nominal = outcome.recipe_of(outcome.nominal)
    other = outcome.recipe_of("robust")
    shown = [nominal, other] if robust.margins else [nominal]
    rows = [
        (
            f"{found.asked.name(n)}, %",
            *(numbers.at_place(100.0 * one.get(n, 0.0), -2) for one in shown),
        )
        for n in outcome.found.ingredients
        if any(n in one for one in shown)
    ]
    kept = [robust.nominal, robust.kept][: len(shown)]
    for place, limit in enumerate(outcome.found.goal.limits):
        asked = numbers.of_100(float(robust.nominal.asked[place]))
        shares = [numbers.of_100(float(one.share[place])) for one in kept]
        noun = limit_noun(limit, show)
        rows.append((f"of 100 batches keep the {noun} (asked {asked})", *shares))
    heads = ("", "nominal", "robust")[: 1 + len(shown)]
    yield Table(heads=heads, rows=tuple(rows))
    if not robust.margins:
        return
    cost = robust.price / abs(outcome.found.objective or 1.0)
    yield Paragraph(f"Robustness costs {numbers.percent(cost)} % of the objective.")
    if robust.found.status == "incomplete":
        yield Paragraph(f"Not finished: {robust.found.reason}.")
    own = {limit.name: limit for limit in robust.found.goal.limits}
    moved = [
        f"{field_of(x.column).named(show)} {bound_words(own[x.name], show)}"
        for x in outcome.found.goal.limits
        if x.name in own
    ]
    yield Paragraph(f"It was searched under tighter limits: {'; '.join(moved)}.")


def _taken(found: Searched, robust: Robust, sloppy: Sloppiness, show: Shown) -> str:
    """Say what batches were drawn with."""
    settings = found.outcome.task.settings
    told = [f"{show.amount('mass', 1e3 * sloppy.weighing, 2)} of every part"]
    if sloppy.syrup_solids is not None:
        told.append(f"{numbers.percent(sloppy.syrup_solids)} points of syrup solids")
    else:
        told.append("what lot or catalogue say of the syrup's solids")
    told.append(f"up to {numbers.percent(sloppy.moisture)} % of damp in powders")
    if settings.kitchen is not None:
        warm = show.span("temperature difference", sloppy.cook_temperature)
        unit = show.unit("temperature difference")
        told.append(
            f"{numbers.typed(numbers.tidy(warm))} {unit} and "
            f"{numbers.typed(sloppy.cook_time)} s of the cook"
        )
    return (
        f"Standard uncertainties taken: {', '.join(told)}; {robust.batches} batches of "
        "each recipe drawn. A limit without a probability is to be kept by 95 of 100; "
        "one with a probability by so many, kitchen and burn rates drawn, too."
    )


# ----------------------------------------------------------------------------
# Evidence.


def _evidence(found: Searched, show: Shown) -> Iterator[Block]:
    """Yield how it was searched, and what the independent check says."""
    outcome = found.outcome
    trials = outcome.found.trials
    lattice = Counter(trials.stage)["lattice"]
    yield Paragraph(
        f"{len(trials)} mixes tried, {lattice} on a lattice over the whole space, the "
        f"rest from several starts; seed {outcome.found.seed}. The space: "
        f"{_space(found, show)}."
    )
    more = {
        "Pareto front": outcome.front.trials if outcome.front else (),
        "robust mix": outcome.robust.found.trials if outcome.robust else (),
    }
    extra = [f"{len(one)} for the {what}" for what, one in more.items() if len(one)]
    if extra:
        yield Paragraph(f"Further {' and '.join(extra)}.")
    verdicts: dict[str, list[str]] = {}
    for name, row in outcome.rows.items():
        verdict = str(row.get("confirmation") or "not asked")
        verdicts.setdefault(verdict, []).append(_NAMES.get(name, name))
    for verdict, names in verdicts.items():
        whose = ", ".join(names)
        yield Paragraph(f"Independent check (Cantera): {verdict}: {whose}.")
    yield Paragraph(_LOSSES)
    if outcome.task.settings.kitchen is not None:
        yield Paragraph(_KITCHEN)
    if outcome.task.settings.motor is not None:
        yield Listing((*NOT_MODELLED, _PEAK))


def _space(found: Searched, show: Shown) -> str:
    """Say which mixes were allowed."""
    space, asked = found.outcome.task.space, found.asked

    def names(slot: str) -> str:
        return " or ".join(asked.name(option) for option in space.options(slot))

    shares = [
        f"{numbers.typed(100.0 * low)} to {numbers.typed(100.0 * high)} % {names(name)}"
        for name, (low, high) in space.bounds.items()
    ]
    shares += [
        f"{numbers.typed(100.0 * x)} % {names(n)}" for n, x in space.fixed.items()
    ]
    shares += [asked.renamed(text) for text in space.ratios]
    shares += [row.name for row in space.rows]
    shares += [
        f"no more than {show.typed('mass', 1e3 * mass)} of {asked.name(name)}"
        for name, mass in space.purchases.items()
    ]
    return ", ".join(shares)


def _assumed(found: Searched) -> Sequence[str]:
    settings = found.outcome.task.settings
    missing = [
        f"no {wing} was given: {what} is not part of the answer"
        for wing, what, given in (
            ("motor", "what pressure a mix makes", settings.motor),
            ("kitchen", "whether a mix pours and sets", settings.kitchen),
        )
        if given is None
    ]
    return [*missing, *found.asked.assumptions]
