"""What ``castsugar next`` answers: one list of what to measure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Any

from castsugar import costs as names
from castsugar.costs import Budget, Costs
from castsugar.frozen import dataclass
from castsugar.limits import PEAK, POUR
from castsugar.optimize.next_burns import STRANDS_EACH, Recipe
from castsugar.optimize.next_measurement import PRICE, Agenda, Held, Offer
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part, part, read_parts
from castsugar.report.field import TEXT, keyed
from castsugar.report.mix_words import share_key
from castsugar.report.next_burns import budget_words
from castsugar.report.screen import (
    BENCH,
    Annex,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
    notes,
)
from castsugar.report.search_words import Asked
from castsugar.report.shown import Shown

#: Kind -> how a line of the list calls it.
CALLED = {
    names.PAN_WEIGHT: "pan weight",
    names.BULK_DENSITY: "bulk density of the nitrate",
    names.BRINE: "nitrate settled in brine",
    names.CLEAR_POINT: "clear point of the syrup",
    names.BALL_FALL: "ball fall in the syrup",
    names.SYRUP_DENSITY: "syrup density",
    names.FLOW_OUT: "flow-out of the dummy",
    names.FINER_SCALE: "a scale ten times finer",
    names.NEW_BATCH: "strands of a new batch",
    names.FURTHER: "more strands of a batch",
    names.FILMED: "firing filmed by phone",
    names.FIRED: "firing with a gauge",
}

#: Kinds that tell of the burning rate; all others tell of the pour.
BURNS = (names.NEW_BATCH, names.FURTHER, names.FILMED, names.FIRED)

#: So many are said in runnable words.
FIRST = 3

#: Gains below this are none to a person [points of mass].
_NONE = 5e-4

#: One side decides if the other gains less than this share of it.
_ALONE = 0.1

_ABOUT = (
    "Gain: what is expected to be added to what the chosen recipe is worth, in points "
    "of mass on the way from the worst recipe of the space to the best. A limit takes "
    f"off {numbers.factor(PRICE)} points where it is broken as often as it allows, and "
    "in proportion. Better: of 100 outcomes so many would change the choice for the "
    "better."
)

_ALONE_EACH = (
    "Each is looked at alone. Not counted: what a kitchen measurement tells of water "
    "and so of the pressure; what a firing tells of efficiencies; what strands teach "
    "of the scatter between batches. A weighing that is off by a step moves a recipe "
    "by less than a whole per cent: a finer scale counts for the pan weight alone."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A list with everything that a screen says of it.

    `batch` is the mass of a batch that is cooked or burned [kg], `grains` how many go
    into the motor (0: not known), `solids` those of the syrup and its density [kg/m3]
    per point around them; `bench_said` is how the file was found if nobody typed it.
    """

    agenda: Agenda
    asked: Asked
    costs: Costs
    batch: float
    seed: int
    cautions: Chosen
    grains: int = 0
    bench: str = BENCH
    bench_said: str = ""
    invented: tuple[str, ...] = ()
    beyond: tuple[Offer, ...] = ()
    budget: Budget = field(default_factory=Budget)
    syrup: Mapping[str, float] = field(default_factory=dict)

    @property
    def counted(self) -> list[Offer]:
        """Those with a gain that was computed, the first first."""
        return [one for one in self.agenda.offers if not one.reason]

    @property
    def judged(self) -> list[Offer]:
        """The same with those that do not fit."""
        return [*self.counted, *self.beyond]

    def text(self, recipe: Recipe) -> str:
        """Return a recipe as a command takes it."""
        return " ".join(
            f"{self.asked.name(name)}:{numbers.typed(100.0 * share)}"
            for name, share in recipe.items()
        )

    def mix(self, recipe: Recipe) -> str:
        """Return a mix in one line, as it was typed."""
        return ", ".join(
            f"{self.asked.name(name)} {numbers.typed(100.0 * x)}"
            for name, x in recipe.items()
        )


def next_screen(found: Listed, show: Shown) -> Screen:
    """Return what next answers."""
    counted = found.counted
    assumed = [one.kind for one in counted if one.kind not in found.costs.stated]
    origin = "assumed, yours go into [costs]" if assumed else "as stated"
    gram = numbers.factor(found.costs.of(names.GRAM).time)
    first = [f"{n}  {_todo(found, one, show)}" for n, one in _first(found)]
    blocks = (
        _table(found, show),
        _spent(found),
        notes(first) if first else None,
        _left_out(found),
    )
    return Screen(
        command="next",
        title=f"next: what to measure next {found.bench_said or found.asked.file}",
        findings=tuple(_findings(found)),
        conditions=f"Sorted by gain an hour; times and grams {origin}; a gram counts "
        f"{gram} s.",
        blocks=tuple(block for block in blocks if block),
        cautions=found.cautions.lines,
        cautions_count=found.cautions.count,
        next=_next(found),
        invented=found.invented,
        bench=found.asked.file,
        annexes=tuple(_annexes(found, show)),
    )


def _first(found: Listed) -> list[tuple[int, Offer]]:
    """Return those that are said in words."""
    return list(enumerate(found.counted[:FIRST], start=1))


# ----------------------------------------------------------------------------
# What decides.


def _most(found: Listed, *, burns: bool) -> float:
    """Return the largest gain of the burns, or of the kitchen."""
    mine = [one.gain for one in found.judged if (one.kind in BURNS) == burns]
    return max(mine, default=0.0)


def _findings(found: Listed) -> Iterator[Finding]:
    """Yield what decides the recipe, and how surely it keeps what."""
    agenda = found.agenda
    if not agenda.kept:
        yield Finding(
            "REFUSED",
            f"None of {agenda.looked_at} mixes of the space keeps the limits that no "
            "measurement decides: relax one before you measure.",
        )
    kitchen, burns = _most(found, burns=False), _most(found, burns=True)
    held = numbers.listed([_held(one) for one in agenda.held])
    best = "Best within the limits now" if agenda.keeps else "No mix keeps all. Nearest"
    if not agenda.kept:
        best = "Best but for those"
    text = f"{_decides(found, kitchen, burns)}. {best}: {found.mix(agenda.best)}"
    text += f"; {held}." if held else "."
    status = "RESULT" if agenda.keeps else "CANNOT TELL"
    values = {"kitchen_gain_points": kitchen, "burns_gain_points": burns}
    yield Finding(status, text, values)


def _decides(found: Listed, kitchen: float, burns: float) -> str:
    """Say which side decides the recipe, and what is not judged at all."""
    agenda = found.agenda
    if not agenda.pours and kitchen < _NONE:
        return (
            "No mix is known to pour and set as asked, and no measurement is expected "
            "to change that: more syrup, another cook or a looser limit first"
        )
    if max(kitchen, burns) < _NONE:
        return "Nothing of the list is expected to change the recipe"
    sides = {one.kind in BURNS for one in found.judged}
    if sides == {True}:
        return "The burning rate decides; the pour is not judged"
    if sides == {False}:
        return "The pour decides; the burning rate is not judged"
    if burns < _ALONE * kitchen:
        return "The pour decides, the burning rate does not: the kitchen first"
    if kitchen < _ALONE * burns:
        return "The burning rate decides, the pour does not: burn first"
    return "Pour and burning rate both decide"


#: Column of a limit that a measurement may decide -> what a mix does that keeps it.
_HELD = {POUR: "pours", PEAK: "pressure kept", "relative_solids_20C": "sets"}


def _held(one: Held) -> str:
    """Say how surely a limit is kept."""
    what = _HELD[one.column]
    chance, asked = numbers.of_100(one.chance), numbers.of_100(one.asked)
    return f"{what} in {chance} of 100 (asked {asked})"


# ----------------------------------------------------------------------------
# The list.


def _table(found: Listed, show: Shown) -> Table:
    """Return the list with what each costs and gains."""
    rows = []
    for place, one in enumerate(found.counted, start=1):
        cost = found.costs.of(one.kind)
        rows.append(
            (
                f"{place} {CALLED[one.kind]}",
                _points(one.gain),
                numbers.of_100(one.better) if one.better > 0.0 else "0",
                numbers.typed(numbers.three(cost.time / 60.0)),
                show.bare("mass", 1e3 * cost.mass) if cost.mass else "0",
                _points(one.per_hour),
            )
        )
    heads = (
        "",
        "gain,\npoints",
        "better,\nof 100",
        "time,\nmin",
        show.headed("mass", "mass").replace(", ", ",\n"),
        "gain\nan hour",
    )
    spare = max(len(rows) - FIRST, 0)
    return Table(heads=heads, rows=tuple(rows), spare=spare, of="measurements")


def _points(gain: float) -> str:
    """Write a gain: two digits, none below what a person would weigh."""
    return "0" if gain < _NONE else numbers.factor(gain)


def _spent(found: Listed) -> Paragraph | None:
    """Say what all of them take of what may be spent, and what does not fit."""
    taken = [
        (found.costs.of(one.kind), one.recipe or found.agenda.best)
        for one in found.counted
    ]
    told = budget_words(found.budget, taken)
    if not told:
        return None
    if found.beyond:
        left = ", ".join(CALLED[one.kind] for one in found.beyond)
        told = f"{told[:-1]}; does not fit: {left}."
    return Paragraph(told)


def _left_out(found: Listed) -> Paragraph | None:
    """Say of what no gain was computed, and why."""
    told: dict[str, list[str]] = {}
    for one in found.agenda.offers:
        if one.reason:
            told.setdefault(one.reason, []).append(CALLED[one.kind])
    if not told:
        return None
    each = "; ".join(f"{', '.join(kinds)} ({why})" for why, kinds in told.items())
    return Paragraph(f"No gain computed: {each}.", spare=True)


def _todo(found: Listed, one: Offer, show: Shown) -> str:
    """Say in runnable words what to do."""
    how = f"castsugar kitchen {one.kind.replace(' ', '-')} --how"
    if one.kind in _KITCHEN:
        mass = show.amount("mass", 1e3 * found.batch)
        return f"{_KITCHEN[one.kind].format(mass=mass)}: {how}"
    if one.kind == names.SYRUP_DENSITY:
        return _density(found, show)
    if one.kind == names.FINER_SCALE:
        return "Weigh the pan on a scale ten times finer than yours, before and after."
    plan = found.agenda.plan
    low, high = (show.amount("pressure", 1e-6 * p, 2) for p in (plan.low, plan.high))
    each = f"{STRANDS_EACH} strands at {low} and {STRANDS_EACH} at {high}"
    if one.kind == names.FURTHER:
        return f"Burn {each}, absolute, of batch {one.batch}: castsugar burnrate --help"
    if one.kind == names.NEW_BATCH:
        return f"Cook a batch, burn {each}, absolute: {_weigh(found, one)}"
    how = "film it" if one.kind == names.FILMED else "record its pressure"
    return f"Fire it and {how}: {_weigh(found, one)}"


_KITCHEN = {
    names.PAN_WEIGHT: "Weigh pan and mix before and after you cook {mass}",
    names.BULK_DENSITY: "Weigh a tapped cup of your ground nitrate",
    names.BRINE: "Let your ground nitrate settle in its own brine, then tap it",
    names.CLEAR_POINT: "Stir nitrate into plain syrup on a water bath until it stays",
    names.BALL_FALL: "Time a steel ball that sinks in the cold syrup",
    names.FLOW_OUT: "Time the inert dummy (chloride, no nitrate) out of a cup",
}


def _density(found: Listed, show: Shown) -> str:
    """Say what a cup of syrup weighs, and where the solids go."""
    known = found.syrup
    room = show.amount("temperature", 20.0, 2)
    text = f"Weigh 100 ml of the syrup at {room}"
    if known:
        grams = show.amount("mass", known["grams"], 4)
        point = show.amount("mass", known["point"], 2)
        solids = numbers.percent(known["solids"])
        text += f": {grams} says {solids} % solids, {point} more a point"
    return f"{text}; write solids and solids_u into [lots]."


def _weigh(found: Listed, one: Offer) -> str:
    """Return the command that weighs a burn."""
    bench = "" if found.bench == BENCH else f" --bench {found.bench}"
    more = f" --strands {2 * STRANDS_EACH}"
    if one.kind in (names.FILMED, names.FIRED):
        more = f" --grains {found.grains}" if found.grains else ""
    return f'castsugar weigh "{found.text(one.recipe)}"{bench}{more}'


def _next(found: Listed) -> str:
    """Return the command of the first."""
    bench = "" if found.bench == BENCH else f" --bench {found.bench}"
    first = next(iter(found.counted), None)
    if first is not None and first.kind in _KITCHEN:
        return f"castsugar kitchen {first.kind.replace(' ', '-')} --how"
    if first is not None and first.kind in BURNS and first.kind != names.FURTHER:
        return f"castsugar next{bench} --plan {FIRST}"
    return f"castsugar check{bench}"


def _annexes(found: Listed, show: Shown) -> Iterator[Annex]:
    """Yield every one in words, and how the gains were computed."""
    told = [f"{CALLED[one.kind]}: {_todo(found, one, show)}" for one in found.counted]
    yield Annex("All of them in words", (Listing(tuple(told)),))
    doubts = [
        f"{CALLED[one.kind]} {numbers.percent(one.share)} %" for one in found.counted
    ]
    removed = (
        "Of the doubt at the best recipe each removes (of ln r; of the ranks of the "
        f"pour viscosity): {', '.join(doubts)}."
    )
    stated = [kind for kind in CALLED if kind in found.costs.stated]
    costs = (
        f"Costs stated in [costs]: {', '.join(stated)}; the rest is assumed."
        if stated
        else "All costs are assumed: common practice. State yours, for example [costs] "
        '"flow-out" = { time = "40 min", mass = "150 g" }.'
    )
    yield Annex(
        "How the gains were computed",
        tuple(Paragraph(text) for text in (_ABOUT, _ALONE_EACH, removed, costs)),
    )


# ----------------------------------------------------------------------------
# JSON.


def _rows(found: Listed, *_: Any) -> list[dict[str, Any]]:
    rows = []
    for one in found.agenda.offers:
        cost, told = found.costs.of(one.kind), not one.reason
        rows.append(
            {
                "kind": one.kind,
                "batch": one.batch,
                "gain_points": one.gain if told else None,
                "better_probability": one.better if told else None,
                "doubt_removed_percent": 100.0 * one.share if told else None,
                "time_min": cost.time / 60.0,
                "mass_g": 1e3 * cost.mass,
                "cost_min": one.minutes,
                "gain_points_per_h": one.per_hour if told else None,
                "cost_stated": one.kind in found.costs.stated,
                "reason": one.reason,
                "to_do": _todo(found, one, Shown()) if told else "",
                "recipe": _percents(one.recipe),
            }
        )
    return rows


def _percents(recipe: Recipe) -> dict[str, float]:
    return {share_key(name): 100.0 * share for name, share in recipe.items()}


_FIELDS = keyed(
    ("kind", TEXT, "as in [costs] of the bench file"),
    ("batch", TEXT, "the kept one that further strands are of; else empty"),
    ("gain_points", "number", "added to what the choice is worth, in points of mass"),
    ("better_probability", "number", "that it changes the choice for the better"),
    ("doubt_removed_percent", "number", "of the doubt at the best mix"),
    ("time_min", "number", "of work"),
    ("mass_g", "number", "that is used up"),
    ("cost_min", "number", "with the mass counted as time"),
    ("gain_points_per_h", "number", "by which the list is sorted"),
    ("reason", TEXT, "why no gain is computed; else empty"),
    ("to_do", TEXT, "in words"),
)

PARTS: dict[str, Part] = {
    "file": part("name of the bench file", "asked.file"),
    "seed": part("of the mixes that were looked at", "seed"),
    "best_mix": part(
        "best within the limits now, or nearest to them",
        lambda found: _percents(found.agenda.best),
    ),
    "best_keeps_the_limits": part("whether it does", "agenda.keeps"),
    "limits_in_doubt": part(
        "chance that it keeps each limit that a measurement could decide; that asked",
        lambda found: {
            one.column: {"kept_probability": one.chance, "asked_probability": one.asked}
            for one in found.agenda.held
        },
    ),
    "gram_counts_s": part(
        "time that a gram counts", lambda found: found.costs.of(names.GRAM).time
    ),
    "objective_per_point": part(
        "what a point is worth, in the unit of the objective", "agenda.points"
    ),
    "measurements": part(
        "the first first; those without a computed gain last", _rows, _FIELDS
    ),
    "does_not_fit": part(
        "kinds that take more than is left of --minutes or --money",
        lambda found: [one.kind for one in found.beyond],
    ),
    "requirements_kept": part(
        "whether a mix keeps the limits that no measurement decides", "agenda.kept"
    ),
    "recipes_looked_at": part("mixes of the space", "agenda.looked_at"),
}


def next_parts(found: Listed) -> dict[str, Any]:
    """Return what the JSON of next holds."""
    return read_parts(PARTS, found)
