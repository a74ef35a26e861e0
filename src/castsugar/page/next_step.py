"""What to do next: the first rule that applies, and the smallest change that passes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from castsugar.errors import CastsugarError
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import WARM, Cook
from castsugar.limits import BROKEN, NOT_COMPUTED, PEAK, POUR, SOLIDS, judge_rows
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import item_name
from castsugar.page.desk import PRESSURES, Desk
from castsugar.page.state import State, read_state
from castsugar.report import numbers
from castsugar.report.point import Point
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

#: Step of a share that is tried, and how far. [%]
_STEP, _FAR = 0.5, 15.0

#: Step of a throat that is tried [m], and how much wider it may get.
_THROAT, _WIDEST = 1e-4, 1.4

#: Warmer and colder cooks that are tried. [K]
_COOKS = (2.0, 4.0, -2.0, -4.0)

#: The rules, in the order in which they are asked.
ABOVE = "a wider throat or less nitrate"
UNKNOWN = "burn 3 strands of this mix"
STIFF = "more syrup, else another cook temperature"
SOFT = "less syrup"
OTHER = "castsugar search"
OPEN = "state limits in the bench, or take another mix"
ALL = "weigh it"

#: What a part of a recipe may be.
OXIDIZER, SUGAR, SYRUP = "oxidizer", "fuel", "syrup"

Parts = list[tuple[str, float]]

#: A change in words, and the state of the page that tries it.
Told = tuple[str, dict[str, Any]]


def rule_of(one: Point) -> str:
    """Return the first rule that applies to a mix.

    The expected peak above what is allowed before the 95 % line alone; pouring before
    setting.
    """
    broken = {x.column for x in one.judged if x.verdict == BROKEN}
    if {*PRESSURES} & broken:
        held = one.held(*PRESSURES)
        expected = float(one.row[PEAK])
        return ABOVE if held is None or expected > held.limit else UNKNOWN
    for column, rule in ((POUR, STIFF), (SOLIDS, SOFT)):
        if column in broken:
            return rule
    if broken or any(x.status == "DO NOT" for x in one.screen.findings):
        return OTHER
    known = [x.verdict != NOT_COMPUTED for x in one.judged]
    return ALL if known and all(known) else OPEN


def next_of(desk: Desk, state: State, one: Point) -> dict[str, Any]:
    """Return the first rule that applies, and the state that tries it, if any."""
    rule, tried = rule_of(one), _Trials(desk, state, one.found.mixes[0])
    ways: dict[str, tuple[Callable[[], Told | None], ...]] = {
        ABOVE: (tried.wider_throat, partial(tried.moved, OXIDIZER, SUGAR)),
        STIFF: (partial(tried.moved, SUGAR, SYRUP), tried.other_cook),
        SOFT: (partial(tried.moved, SYRUP, SUGAR),),
        ALL: (tried.on_scale,),
    }
    found = next(filter(None, (way() for way in ways.get(rule, ()))), None)
    if found is not None:
        then = weigh_words(read_state(found[1], desk.starts))
        text = f"{found[0]} passes all. Then: {then}."
        return {"text": text, "state": found[1], "weigh": then == ALL}
    more = {ABOVE: "; castsugar search", UNKNOWN: f" at {_pressures(one)}"}
    more |= dict.fromkeys((STIFF, SOFT), more[ABOVE])
    text = weigh_words(state) if rule == ALL else rule + more.get(rule, "")
    return {"text": text, "state": None, "weigh": text == ALL}


def weigh_words(state: State) -> str:
    """Return what to do with a mix that passes: the sheet knows the bench file only."""
    own = ", ".join(state.own)
    return f"put {own} into the bench file, and {ALL}" if own else ALL


def _pressures(one: Point) -> str:
    """Return three pressures up to the expected one, as people say them."""
    peak, show = float(one.row[PEAK]), one.show
    top = peak if math.isfinite(peak) else one.allowed
    told = [show.bare("pressure", part * top, 2) for part in (0.5, 0.75, 1.0)]
    return f"{numbers.listed(told)} {show.unit('pressure')}"


@dataclass(frozen=True, slots=True, eq=False)
class _Trials:
    """Changes that are tried at a mix and the settings of a state."""

    desk: Desk
    state: State
    mix: Mix

    def keeps(self, recipes: Sequence[str], **settings: Any) -> list[bool]:
        """Return which recipes keep every limit, all draws; none that cannot be made.

        `settings` are those that differ from the state.
        """
        try:
            asked = self.desk.asked(replace(self.state.settings, **settings))
            rows = asked.rows(asked.question.weigh(recipes), windows=False)
        except CastsugarError:  # a throat wider than the core, say
            return [False] * len(recipes)
        judged = judge_rows(asked.limits, rows)
        return [all(bool(x.kept[i]) for x in judged) for i in range(len(rows))]

    def moved(self, giver: str, taker: str) -> Told | None:
        """Return the smallest step from one kind of part to another that passes."""
        shares = dict(self.mix.recipe)
        names = {self._kind(name): name for name in reversed(shares)}
        if giver not in names or taker not in names:
            return None
        give, take = names[giver], names[taker]
        tried = [*_moves(shares, give, take)]
        kept = self.keeps([_text(parts) for _, parts in tried]) if tried else []
        if True not in kept:
            return None
        step, parts = tried[kept.index(True)]
        what = f"more {take}" if taker == SYRUP else f"less {give}"
        return f"{step:g} % {what} ({_shares(parts)})", self._with(parts)

    def _kind(self, name: str) -> str:
        """Return whether a part is a syrup, an oxidizer, a fuel or something else."""
        known = self.desk.world.database
        if item_name(known, name) in known.syrups:
            return SYRUP
        return str(getattr(known.find(name), "role", SUGAR))

    def on_scale(self) -> Told | None:
        """Return the nearest recipe in steps of the scale; None if it is one."""
        asked = self.desk.asked(self.state.settings)
        batch, step = asked.doubts.batch, asked.scale_step
        shares = dict(self.mix.recipe)
        steps = {name: round(x * batch / step) for name, x in shares.items()}
        largest = max(shares, key=lambda name: shares[name])
        steps[largest] += round(batch / step) - sum(steps.values())
        near = [(name, count * step / batch) for name, count in steps.items()]
        if max(abs(x - shares[name]) for name, x in near) < 1e-9:
            return None
        if not self.keeps([_text(near)])[0]:
            return None
        told = f"in steps of {1e3 * step:g} g on {1e3 * batch:g} g,"
        return f"{_shares(near)}, {told}", self._with(near)

    def other_cook(self) -> Told | None:
        """Return the nearest cook, held at one temperature, that passes.

        Never one above which the cautions warn.
        """
        kitchen = self.desk.asked(self.state.settings).question.kitchen
        if kitchen is None or len({*kitchen.cook.temperatures}) > 1:
            return None
        now, long = kitchen.cook.pour_temperature, kitchen.cook.duration
        for found in (now + more for more in _COOKS if now + more <= WARM):
            if self.keeps([self.state.recipe], cook=Cook.hold(found, long))[0]:
                show = Shown(self.state.units)
                text = show.typed("temperature", to_celsius(found)).replace(
                    "\u00b0", ""
                )
                typed = {"cook": text, "minutes": f"{numbers.tidy(long / 60.0):g}"}
                return f"a cook at {text}", {**self.state.typed, **typed}
        return None

    def wider_throat(self) -> Told | None:
        """Return the narrowest wider throat that passes, in steps of 0.1 mm."""
        motor = self.desk.asked(self.state.settings).question.motor
        if motor is None:
            return None
        now = motor.throat_diameter
        first = math.floor(now / _THROAT + 1e-9)

        def passes(count: int) -> bool:
            return self.keeps([self.state.recipe], throat=_THROAT * (first + count))[0]

        low, high = 0, max(int((_WIDEST - 1.0) * now / _THROAT), 1)
        while high > 0 and not passes(high):  # wider than the core, or too soft
            high //= 2
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if passes(middle) else (middle, high)
        if not high:
            return None
        show = Shown(self.state.units)
        size = numbers.tidy(show.number("length", 1e3 * _THROAT * (first + high)))
        size = size if show.system == SI else math.ceil(1e3 * size) / 1e3
        text = f"{size:g} {show.unit('length')}"
        return f"a throat of {text}", {**self.state.typed, "throat": text}

    def _with(self, parts: Parts) -> dict[str, Any]:
        told = [[name, f"{numbers.tidy(100.0 * x):g}"] for name, x in parts]
        return {**self.state.typed, "parts": told}


def _moves(
    shares: dict[str, float], give: str, take: str
) -> Iterator[tuple[float, Parts]]:
    """Yield ever larger steps, and the recipes that they make."""
    most = min(_FAR, 100.0 * shares[give])
    for count in range(1, int(most / _STEP + 1e-9) + 1):
        more = 0.01 * _STEP * count
        own = {give: max(shares[give] - more, 0.0), take: shares[take] + more}
        yield _STEP * count, [*(shares | own).items()]


def _text(parts: Parts) -> str:
    return " ".join(f"{name}:{100.0 * x:.8f}" for name, x in parts)


def _shares(parts: Parts) -> str:
    return "/".join(numbers.typed(numbers.tidy(100.0 * x)) for _, x in parts)
