"""What ``castsugar search`` answers: one recipe, what it keeps, what holds it back."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from castsugar.columns import CHANGE, COST, DELIVERED, IMPULSE
from castsugar.frozen import dataclass
from castsugar.limits import BROKEN
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import FIRING, STRANDS, between
from castsugar.motor.hardware import SPREAD
from castsugar.motor.peak_causes import Cause
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.region import ROUNDING
from castsugar.optimize.rounding import Weighable
from castsugar.optimize.shadow_prices import (
    INTERRUPTED_AFTER,
    LOOSER,
    Found,
    LimitState,
    Price,
    RowState,
)
from castsugar.optimize.space import SCOPE
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.field import FIELDS, Field, Row
from castsugar.report.limit_words import (
    P95,
    PEAK,
    POUR,
    Judged,
    finding_of,
    pouring,
    rests_on,
)
from castsugar.report.mix_words import composition, ratio, recipe_argument
from castsugar.report.peak_causes import cause_finding
from castsugar.report.screen import BENCH, Block, Finding, Paragraph, Screen, Table
from castsugar.report.search_words import (
    Asked,
    chance_of,
    endless,
    field_of,
    goal_words,
    guards_case,
    is_ideal,
    limit_name,
    limit_noun,
    losses_taken,
)
from castsugar.report.shown import Shown

#: Relative uncertainty of c* of any mix: common practice, no source (motor.hardware).
DOUBT = SPREAD.characteristic_velocity

_C_STAR = "characteristic_velocity_m_s"
_SOLIDS = "relative_solids_20C"

#: How names of rows end that say that an ingredient is not in it.
_NONE = " at least 0 %"

#: A gain below this share of the objective is none.
_NOTHING = 5e-6

#: How answers are rounded, in words.
_ROUNDED = {
    "percents": "whole percents",
    "weighable": "in steps of the scale",
    "best": "not rounded",
}

#: Groups of columns whose flags a limit already speaks of.
_PRESSED = ("95 % pressure", "do not fire it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """What a search found, with everything that a screen says of it.

    `mixes` and `judged` hold, by the name of a row of the outcome, its mix with the
    ingredients as typed, and its verdicts in the order of the limits; `conditions` says
    in units under what the numbers hold; `causes` is what can raise the peak of the
    answer; `bench_said` is how the file was found if nobody typed it.
    """

    outcome: Outcome
    asked: Asked
    mixes: Mapping[str, Mix]
    judged: Mapping[str, tuple[Judged, ...]]
    conditions: Callable[[Shown], str]
    cautions: Chosen
    causes: tuple[Cause, ...] = ()
    bench: str = BENCH
    bench_said: str = ""
    invented: tuple[str, ...] = ()

    @property
    def mix(self) -> Mix:
        """The recipe that is the answer."""
        return self.mixes[self.outcome.chosen]

    @property
    def objective(self) -> Field:
        """What was searched for."""
        return field_of(self.outcome.found.goal.objective)

    @property
    def sound(self) -> bool:
        """Whether the mix may be called a recipe."""
        return self.outcome.feasible and not self.outcome.refused

    def row(self, name: str) -> Row:
        """Return a row of the table with the objective, as the search counts it."""
        outcome = self.outcome
        made = rounded(outcome, name)
        own = outcome.found.values if name == "best" else None
        values = (made.values if made is not None else own) or {}
        values = values or outcome.tried_values.get(name) or {}
        goal = outcome.found.goal.objective
        known = dict(outcome.rows.get(name, {}))
        return known | ({self.objective.key: values[goal]} if goal in values else {})


def rounded(outcome: Outcome, name: str) -> Weighable | Found | None:
    """Return a recipe for the scale by the name of its row; None for other rows."""
    made = {"percents": outcome.percents, "weighable": outcome.weighable}
    if name == "robust" and outcome.robust is not None:
        return outcome.robust.made.of(outcome.robust.found)
    return made.get(name)


def search_screen(found: Searched, show: Shown) -> Screen:
    """Return what search answers."""
    return Screen(
        command="search",
        title=_title(found),
        findings=tuple(_findings(found, show)),
        conditions=found.conditions(show),
        blocks=tuple(_blocks(found, show)),
        least_sure=_least_sure(found),
        cautions=found.cautions.lines,
        cautions_count=len(found.cautions.lines) + found.cautions.rest,
        next=_next(found),
        invented=found.invented,
        bench=found.asked.file,
    )


def _title(found: Searched) -> str:
    goal = found.outcome.found.goal
    count = len(goal.limits)
    limits = {0: "no limits", 1: "the limit"}.get(count, f"the {count} limits")
    said = f" {found.bench_said}" if found.bench_said else f" of {found.asked.file}"
    return f"search: {goal_words(found.outcome)} within {limits}{said}"


# ----------------------------------------------------------------------------
# Findings.


def _findings(found: Searched, show: Shown) -> Iterator[Finding]:
    """Yield whether there is an answer, which, and what becomes of each limit."""
    outcome = found.outcome
    yield from _unfinished(outcome, found.asked)
    if found.sound:
        yield _found(found, show)
        yield from _robust(found, show)
    elif outcome.refused and outcome.found.violation <= 0.0:
        yield Finding(
            "REFUSED",
            f"{outcome.refused}. The mix is shown to explain, not to be made.",
        )
    else:
        yield _infeasible(found, show)
    yield from cause_finding((found.mix.name,), (found.causes,), show)
    row = found.row(outcome.chosen)
    decides = {state.limit.name for state in outcome.found.limits if state.binding}
    origin = rests_on(str(row.get("burn_law_origin") or ""))
    for one in found.judged.get(outcome.chosen, ()):
        told = finding_of(one, row, show, origin)
        if one.of.name in decides and told.status == "KEPT":
            told = Finding(
                told.status, f"{told.text} This limit decides the recipe.", told.values
            )
        yield told
    yield from _special(found, row)


def _unfinished(outcome: Outcome, asked: Asked) -> Iterator[Finding]:
    """Yield what the search did not get to."""
    found = outcome.found
    if found.status == "incomplete":
        text = f"Not finished: {found.reason}."
        if found.reason != INTERRUPTED_AFTER:
            text += (
                f" This is the best of the {len(found.trials)} mixes tried so far; a "
                "better one may exist."
            )
        yield Finding("CAUTION", text)
    for name in outcome.unjudged:
        yield Finding(
            "CAUTION",
            f"{asked.name(name)} was left out: no mix with it could be judged under "
            "these limits (kitchen judge says why).",
        )


def _found(found: Searched, show: Shown) -> Finding:
    """Say the recipe, what its rounding costs, and what goes on the scale."""
    outcome = found.outcome
    made = outcome.made
    how = _ROUNDED[outcome.rounding]
    if made is not None and made.loss > 0.0:
        share = made.loss / abs(outcome.found.objective or 1.0)
        how += f", costs {numbers.percent(share)} %"
    text = f"{composition(found.mix)} ({how})."
    masses = masses_of(outcome)
    if made is None and (step := outcome.task.space.scale_step) is not None:
        text += (
            f" No recipe near it in steps of {show.typed('mass', 1e3 * step)} keeps "
            "all limits: weigh a larger batch, or on a finer scale."
        )
    if masses:
        told = ", ".join(
            f"{found.asked.name(name)} {_weighed(outcome, mass, show)}"
            for name, mass in masses.items()
        )
        whole = show.amount("mass", 1e3 * sum(masses.values()))
        text += f" On your scale, {whole}: {told}."
    return Finding(
        "FOUND", text, {"loss": None if made is None else made.loss, "rounded": how}
    )


def _robust(found: Searched, show: Shown) -> Iterator[Finding]:
    """Yield whether a robust recipe pays, if one was asked for."""
    outcome, robust = found.outcome, found.outcome.robust
    if robust is None:
        return
    limits = outcome.found.goal.limits
    if not limits:
        yield Finding("RESULT", "No limits, so no gain from a robust mix.")
        return
    place = robust.nominal.shortest
    noun = limit_noun(limits[place], show)
    own, kept, asked = (
        numbers.of_100(float(x[place]))
        for x in (robust.nominal.share, robust.kept.share, robust.nominal.asked)
    )
    values = {
        "nominal": float(robust.nominal.share[place]),
        "robust": float(robust.kept.share[place]),
        "price": robust.price,
    }
    if robust.nominal.enough:
        text = (
            "No gain from a robust mix, keep the nominal: its batches keep every limit "
            f"as often as asked. Nearest is the {noun}: {own} of 100, asked {asked}."
        )
        yield Finding("RESULT", text, values)
    elif outcome.chosen == "robust":
        cost = robust.price / abs(outcome.found.objective or 1.0)
        text = (
            f"Robust: {kept} of 100 batches keep the {noun}, asked {asked}; of the "
            f"nominal {ratio(found.mixes[outcome.nominal])} {own}. It costs "
            f"{numbers.percent(cost)} %."
        )
        if not robust.kept.enough:
            text += (
                " No mix was found whose batches keep every limit as often as asked."
            )
        yield Finding("RESULT" if robust.kept.enough else "CAUTION", text, values)
    else:
        text = (
            "No mix was found whose batches keep every limit as often as asked: keep "
            f"the nominal. Of it {own} of 100 keep the {noun}, asked {asked}: weigh a "
            "larger batch, measure the syrup, or loosen that limit."
        )
        yield Finding("CAUTION", text, values)


def masses_of(outcome: Outcome) -> dict[str, float]:
    """Return what goes on the scale for the batch of the bench. [kg]

    Empty without a batch, and where the exact mix is no whole steps of the scale.
    """
    space, made = outcome.task.space, outcome.made
    if space.batch is None or (made is None and space.scale_step is not None):
        return {}
    if made is None:
        return {name: space.batch * share for name, share in outcome.recipe.items()}
    pairs = zip(outcome.found.ingredients, made.masses.tolist(), strict=True)
    return {name: mass for name, mass in pairs if mass > 0.0}


def _weighed(outcome: Outcome, mass: float, show: Shown) -> str:
    """Write a mass in steps of the scale, where its step is known."""
    step = outcome.task.space.scale_step
    if step is None or not _plain(numbers.tidy(show.span("mass", 1e3 * step))):
        return show.amount("mass", 1e3 * mass, 4)
    return show.step_of(1e3 * mass, 1e3 * step)


def _plain(step: float) -> bool:
    """Say whether a step is one that scales of the unit shown have: 0.05 oz."""
    return step > 0.0 and round(step, 3) == step


def _infeasible(found: Searched, show: Shown) -> Finding:
    """Say that no mix keeps the limits, what breaks, and which limit would do."""
    outcome = found.outcome
    state, off = _worst(outcome)
    none = "No mix keeps all limits"
    if outcome.found.status == "incomplete":
        none = "No mix tried so far keeps all limits"
    text = f"{none}; do not make the nearest, {composition(found.mix)}"
    if math.isfinite(off):
        kind = field_of(state.limit.column).kind
        by = f"{numbers.factor(show.span(kind, off))} {show.unit(kind)}".rstrip()
        text += f": it breaks the {limit_noun(state.limit, show)} by {by}"
    text += (
        f". {relaxing(found, show)}" if outcome.found.status == "infeasible" else "."
    )
    return Finding("REFUSED", text, {"violation": outcome.found.violation, "by": off})


def _worst(outcome: Outcome) -> tuple[LimitState, float]:
    """Return the limit that is broken most, and by how much; infinite: it jams."""
    states = [s for s in outcome.found.limits if s.slack < 0.0]
    states = states or list(outcome.found.limits)
    worst = max(states, key=lambda s: abs(s.slack) / (abs(s.limit.value) or 1.0))
    value = endless(worst.limit.column, worst.value)
    return worst, math.inf if math.isinf(value) else abs(worst.slack)


#: No case for such a pressure is made at a kitchen bench. [MPa]
_NO_CASE = 100.0


def relaxing(found: Searched, show: Shown) -> str:
    """Say which single limits, moved, would leave a mix."""
    told, motor = [], found.outcome.task.settings.motor
    allowed = math.nan if motor is None else 1e-6 * motor.allowable
    for each in found.outcome.found.relaxations:
        limit, kind = each.limit, field_of(each.limit.column).kind
        if kind == "pressure" and each.value > _NO_CASE:
            continue
        moved = numbers.outward(show.number(kind, each.value), up=limit.sense == "<=")
        text = f"the {limit_noun(limit, show)} to {moved} {show.unit(kind)}".rstrip()
        if guards_case(limit) and not each.value <= allowed:
            text += " (NOT with your case: change the motor)"
        told.append(text)
    if told:
        return f"Relax {' or '.join(told)}."
    return "No single limit, relaxed, leaves a mix: loosen two, or widen the bounds."


def _special(found: Searched, row: Row) -> Iterator[Finding]:
    """Yield what else is special about the mix: flags, an unsolved row."""
    judged = found.judged.get(found.outcome.chosen, ())
    pressed = any(one.column in (PEAK, P95) for one in judged)
    status = str(row.get("status", "ok"))
    if status != "ok":
        yield Finding("CANNOT TELL", f"This mix: {status}.")
    for flag in str(row.get("flags") or "").split("; "):
        if not flag or (pressed and any(word in flag for word in _PRESSED)):
            continue
        if "do not fire it" in flag:
            yield Finding("DO NOT", f"fire it: {flag.partition(':')[0]}.")
        else:
            yield Finding("CAUTION", f"This mix: {flag}.")
    verdict = str(row.get("confirmation") or "")
    if verdict.startswith("disputed"):
        yield Finding("CAUTION", f"Independent check (Cantera): {verdict}.")


# ----------------------------------------------------------------------------
# Blocks: beside the mixes of the bench, and what holds the recipe back.


def _blocks(found: Searched, show: Shown) -> Iterator[Block]:
    tried = found.outcome.task.tried
    beside = [*tried]
    if found.outcome.chosen == "robust":
        beside.insert(0, found.outcome.nominal)
    names = [found.outcome.chosen, *beside]
    rows = [found.row(name) for name in names]
    keys = _keys(found, rows)
    heads = [_head(field_of(key), show) for key in keys]
    broken = [
        any(one.verdict == BROKEN for one in found.judged.get(name, ()))
        for name in names
    ]
    word = "found" if found.sound else "nearest"
    labels = [f"{word} {ratio(found.mix)}"]
    labels += [
        name if name in tried else f"nominal {ratio(found.mixes[name])}"
        for name in beside
    ]
    lines = tuple(
        (label, *(_cell(found, k, name, show) for k in keys), "BROKEN" if bad else "")
        for label, name, bad in zip(labels, names, broken, strict=True)
    )
    yield Table(
        heads=("", *heads, ""),
        rows=lines,
        drop=tuple(range(len(keys) - 1, 3, -1)),
        left=frozenset({0, len(keys) + 1}),
        spare=max(len(lines) - 3, 0),
        of="mixes",
    )
    if len(rows) > 1 and _flat(rows):
        count = {2: "both"}.get(len(rows), f"all {len(rows)}")
        known = numbers.typed(100.0 * DOUBT)
        yield Paragraph(
            f"c* of {count} agrees within the {known} % it is known to: it "
            "does not choose between them; your limits do.",
            spare=True,
        )
    if said := losses_taken(found.outcome):
        yield Paragraph(said, spare=True)
    if found.sound:
        yield Paragraph(f"Held back by: {held_back(found, show)}")
        if said := no_trade_off(found):
            yield Paragraph(said, spare=True)


def _cell(found: Searched, key: str, name: str, show: Shown) -> str:
    """Write a value of a mix; of the objective with digits that tell mixes apart."""
    one, row = field_of(key), found.row(name)
    if key == "pours_probability":
        for limit in found.judged.get(name, ()):
            if limit.column == POUR and limit.probability is not None:
                return pouring(limit, row)
    value = row.get(one.key)
    if one.key != found.objective.key or value is None or not math.isfinite(value):
        return one.text(row, show)
    return show.bare(one.kind, value, 4)


def _keys(found: Searched, rows: Sequence[Row]) -> list[str]:
    """Return the columns of the table that hold a number."""
    limited = [limit.key for limit in found.outcome.found.goal.limits]
    limited = [k for k in limited if k not in (POUR, PEAK)]
    keys = [
        "pours_probability",
        P95,
        "pressure_margin_percent",
        _SOLIDS,
        *limited,
        found.objective.key if found.objective.key in FIELDS else "",
        _C_STAR,
        "specific_impulse_s",
    ]
    own = [
        key
        for key in dict.fromkeys(filter(None, keys))
        if any(not math.isnan(float(row.get(key, math.nan))) for row in rows)
    ]
    if found.objective.key not in FIELDS:
        own.append(found.outcome.found.goal.objective)
    return own


def _head(one: Field, show: Shown) -> str:
    """Return the head of a column, its unit below."""
    if one.key == "pours_probability":
        return "pours\nof 100"
    unit = show.unit(one.kind)
    return f"{one.short or one.named(show)}\n{unit}" if unit else one.short or one.label


def _flat(rows: Sequence[Row]) -> bool:
    """Say whether c* does not tell mixes apart."""
    known = [float(row.get(_C_STAR, math.nan)) for row in rows]
    return all(abs(one - known[0]) < DOUBT * known[0] for one in known)


def held_back(found: Searched, show: Shown) -> str:
    """Say which limits and bounds decide, and what loosening each a little buys."""
    outcome = found.outcome
    if outcome.found.goal.objective == CHANGE and outcome.found.objective < ROUNDING:
        return f"nothing: {outcome.task.near} keeps all limits as it is"
    told = [
        f"{limit_name(state.limit, show)} ({limit_buys(found, state, show)})"
        for state in outcome.found.limits
        if state.binding
    ]
    told += [
        f"{bound_name(found, row)} ({bound_buys(found, row, show)})"
        for row in outcome.found.rows
        if not row.name.endswith(_NONE)
    ]
    if outcome.found.edge:
        told.append(_edge_words(outcome.found.edge))
    if not told or outcome.found.kink:
        told.append(_top_words(found))
    return "; ".join(told)


def _edge_words(columns: Sequence[str]) -> str:
    """Say what is not known beyond the mix."""
    if all(column.startswith("peak_pressure") for column in columns):
        return "your strands end here: beyond, no pressure is told"
    labels = dict.fromkeys(field_of(column).label for column in columns)
    return f"the end of what is known: beyond, no {' and no '.join(labels)}"


def _top_words(found: Searched) -> str:
    """Say that the objective itself is at its best, and where nothing is left to take.

    At a kink a product of the flame, or a draw of a quantile, begins or ends.
    """
    outcome, goal = found.outcome.found, found.outcome.found.goal
    label = found.objective.short or found.objective.label
    none = [
        f"no {found.asked.renamed(row.name.removesuffix(_NONE))} is left to take out"
        for row in outcome.rows
        if row.name.endswith(_NONE)
    ]
    word = "highest" if goal.maximise else "lowest"
    bend = " at a kink, where its slope jumps" if outcome.kink else ""
    top = f"{label} is {word} here{bend}: every small step away loses"
    return "; ".join([*none, top])


def bound_name(found: Searched, row: RowState) -> str:
    """Return a bound, ratio or purchase in the words that were typed."""
    return found.asked.renamed(row.name).removesuffix(SCOPE)


def limit_buys(found: Searched, state: LimitState, show: Shown) -> str:
    """Say what a limit that is 10 % looser buys of the objective."""
    if guards_case(state.limit):
        return "what your case holds: change the motor, not the limit"
    told = _buys(found, state.price, state.limit.sign, show)
    return f"{numbers.typed(100.0 * LOOSER)} % looser {told}"


def bound_buys(found: Searched, row: RowState, show: Shown) -> str:
    """Say what a bound that is a percentage point looser buys of the objective."""
    if row.name.endswith(SCOPE):
        return "what lies beyond is no nitrate-sugar mix"
    told = _buys(found, row.price, 1.0, show)
    return f"a point looser {told}{_strands_there(found, row.price)}"


def _strands_there(found: Searched, price: Price | None) -> str:
    """Say whether a mix beyond a bound still lies between those that were burned."""
    motor, outcome = found.outcome.task.settings.motor, found.outcome.found
    if motor is None:
        return ""
    own = [x for x in motor.burning.evidence if x.kind in (STRANDS, FIRING)]
    mixes = [one.fractions for one in own]
    if not mixes or price is None or not price.mix:
        return "; strands there first"
    there = dict(zip(outcome.ingredients, price.mix, strict=True))
    if between(there, mixes):
        return ""
    here = between(outcome.recipe, mixes)
    return "; your strands end here" if here else "; strands there first"


def _buys(found: Searched, price: Price | None, sign: float, show: Shown) -> str:
    """Say what the step of a price buys, as a share of the objective."""
    if price is None:
        unknown = math.isnan(found.outcome.found.stationarity)
        return "buys what is not known" if unknown else "alone buys nothing"
    goal, best = found.outcome.found.goal, found.outcome.found.objective
    share = price.gain * sign * (1.0 if goal.maximise else -1.0) / abs(best or 1.0)
    about = "buys about" if price.rough else "buys"
    told = f"{numbers.percent(share)} %" if share > _NOTHING else "nothing"
    names = _named(found, price.then, show)
    if price.rough or price.holds or not names:
        return f"{about} {told}"
    return f"{about} {told}: then {' and '.join(names)} hold{'s' * (len(names) < 2)}"


def _named(found: Searched, names: Sequence[str], show: Shown) -> list[str]:
    """Return limits and rows of the space in the words of a sentence."""
    limits = {one.name: one for one in found.outcome.found.goal.limits}
    return [
        f"the {limit_noun(limits[name], show)}"
        if name in limits
        else found.asked.renamed(name).replace(_NONE, " at 0 %")
        for name in names
    ]


# ----------------------------------------------------------------------------
# A trade-off is worth a word only where what it changes is known that well.

#: Columns that are known as c* is.
_AS_C_STAR = (
    _C_STAR,
    "specific_impulse_s",
    "density_impulse_kg_s_m3",
    DELIVERED,
    IMPULSE,
    COST,
)


def no_trade_off(found: Searched) -> str:
    """Say that a front changes no more than what is in doubt; empty if it does."""
    front, wanted = found.outcome.front, found.outcome.task.front
    if front is None or wanted is None or len(front.first) < 2:
        return ""
    told = []
    pairs = zip(wanted, (front.first, front.second), strict=True)
    for (column, _), values in pairs:
        change = float(np.ptp(values) / (np.abs(values).max() or 1.0))
        if change < (doubt := _doubt(found, column)):
            told.append(
                f"{field_of(column).label} changes by {numbers.percent(change)} % over "
                "the whole front, and is known to "
                f"{numbers.typed(round(100.0 * doubt))} %"
            )
    return f"No trade-off worth having: {'; '.join(told)}." if told else ""


def _doubt(found: Searched, column: str) -> float:
    """Return to what share a column of the answer is known; 0 where that is not said.

    A pressure is as far in doubt as its 95 % end lies above its middle.
    """
    base = chance_of(column)[0]
    if base in _AS_C_STAR:
        return DOUBT
    if base != PEAK and base != P95:
        return 0.0
    row = found.row(found.outcome.chosen)
    middle, most = (float(row.get(key) or math.nan) for key in (PEAK, P95))
    return most / middle - 1.0 if most > middle else 0.0


# ----------------------------------------------------------------------------
# What is least sure, and what to do next.


def _least_sure(found: Searched) -> str:
    """Say which of the quantities that decide is known worst."""
    if is_ideal(found.outcome):
        return (
            "what a small motor delivers of this ideal impulse, clearly less: a firing "
            "tells, or state measured_efficiency in [motor]"
        )
    held = [s.limit for s in found.outcome.found.limits if s.binding]
    row = found.row(found.outcome.chosen)
    rate = f"the burning rate: {rests_on(str(row.get('burn_law_origin') or '?'))}"
    if any(guards_case(limit) for limit in held):
        return rate
    if any(limit.column.startswith(("pour_", "pours_")) for limit in held):
        return (
            "the pour viscosity, known to a factor, decides the recipe: castsugar "
            "kitchen flow-out narrows it"
        )
    if any(limit.column.startswith("relative_solids") for limit in held):
        return "whether it sets: a derived rule, untested; cast a small sample and wait"
    if found.outcome.task.settings.motor is not None:
        return rate
    return "what a motor delivers of these ideal numbers: a static test tells"


def _next(found: Searched) -> str:
    """Return the command to go on with."""
    bench = "" if found.bench == BENCH else f" --bench {found.bench}"
    if not found.sound:
        return f"castsugar search{bench} --full"
    recipe, motor = recipe_argument(found.mix), found.outcome.task.settings.motor
    if motor is None:
        return f"castsugar evaluate {recipe}{bench}"
    grains = getattr(motor.grain, "segments", 1)
    return f"castsugar weigh {recipe}{bench} --grains {grains}"
