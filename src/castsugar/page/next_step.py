"""What to do next: the first rule that applies, and the smallest change that passes."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from castsugar.errors import CastsugarError
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import WARM
from castsugar.limits import BROKEN, NOT_COMPUTED, PEAK, POUR, SOLIDS, judge_rows
from castsugar.mix.weighing import item_name
from castsugar.page.boxes import State
from castsugar.page.desk import Page
from castsugar.report import numbers
from castsugar.report.limit_words import P95
from castsugar.report.point import Point
from castsugar.units import to_celsius

#: Step of a share that is tried, and how far. [%]
_STEP, _FAR = 0.5, 15.0

#: How much wider a throat may get.
_WIDEST = 1.4

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

#: A state of the page as typed; a change in words, and the state that tries it.
Typed = dict[str, Any]
Way = Callable[[], tuple[str, Typed] | None]


def rule_of(one: Point) -> str:
    """Return the first rule that applies to a mix.

    The expected peak above what is allowed before the 95 % line alone; pouring before
    setting.
    """
    broken = {x.column for x in one.judged if x.verdict == BROKEN}
    if {PEAK, P95} & broken:
        held = one.held(PEAK, P95)
        expected = float(one.row[PEAK])
        return ABOVE if held is None or expected > held.limit else UNKNOWN
    for column, rule in ((POUR, STIFF), (SOLIDS, SOFT)):
        if column in broken:
            return rule
    if broken or any(x.status == "DO NOT" for x in one.screen.findings):
        return OTHER
    known = [x.verdict != NOT_COMPUTED for x in one.judged]
    return ALL if known and all(known) else OPEN


def next_of(page: Page, state: State, one: Point, *, whole: bool) -> dict[str, Any]:
    """Return the first rule that applies, and the state that tries it, if any.

    Nothing is tried while a hand moves: then it is not `whole`.
    """
    rule, tried = rule_of(one), _Trials(page, state, one)
    ways: dict[str, tuple[Way, ...]] = {
        ABOVE: (tried.wider_throat, partial(tried.moved, OXIDIZER, SUGAR)),
        STIFF: (partial(tried.moved, SUGAR, SYRUP), tried.other_cook),
        SOFT: (partial(tried.moved, SYRUP, SUGAR),),
        ALL: (tried.on_scale,),
    }
    own = ways.get(rule, ()) if whole else ()
    found = next(filter(None, (way() for way in own)), None)
    if found is not None:
        then = _weigh(page.state(found[1]))
        text = f"{found[0]} passes all. Then: {then}."
        return {"text": text, "state": found[1], "weigh": then == ALL}
    text = _weigh(state) if rule == ALL else rule
    if rule == UNKNOWN:
        text += f" at {_pressures(one)}"
    elif own and rule != ALL:
        text += f"; {OTHER}"
    return {"text": text, "state": None, "weigh": text == ALL}


def _weigh(state: State) -> str:
    """Return what to do with a mix that passes: the sheet knows the bench file only."""
    own = ", ".join(state.own)
    return f"put {own} into the bench file, and {ALL}" if own else ALL


def _pressures(one: Point) -> str:
    """Return three pressures up to the expected one, as people say them."""
    peak, show = float(one.row[PEAK]), one.show
    told = [show.bare("pressure", part * peak, 2) for part in (0.5, 0.75, 1.0)]
    return f"{numbers.listed(told)} {show.unit('pressure')}"


@dataclass(frozen=True, slots=True, eq=False)
class _Trials:
    """Changes that are tried at a state of the page."""

    page: Page
    state: State
    one: Point

    @property
    def shares(self) -> dict[str, float]:
        """Share of each part of the recipe."""
        return dict(self.one.found.mixes[0].recipe)

    def keeps(self, *typed: Typed) -> list[bool]:
        """Return which states of the same settings keep every limit, all draws.

        None does where one cannot be: a throat wider than the core, say.
        """
        try:
            states = [self.page.state(one) for one in typed]
            asked = self.page.asked(states[0].settings)
            mixes = asked.question.weigh([one.recipe for one in states])
            rows = asked.rows(mixes, windows=False)
        except CastsugarError:
            return [False] * len(typed)
        judged = judge_rows(asked.limits, rows)
        kept: list[bool] = np.logical_and.reduce([x.kept for x in judged]).tolist()
        return kept

    def moved(self, giver: str, taker: str) -> tuple[str, Typed] | None:
        """Return the smallest step from one kind of part to another that passes."""
        names = {self._kind(name): name for name in reversed(self.shares)}
        if giver not in names or taker not in names:
            return None
        give, take, shares = names[giver], names[taker], self.shares
        tried = []
        for count in range(1, int(min(_FAR, 100.0 * shares[give]) / _STEP + 1e-9) + 1):
            less = max(shares[give] - 0.01 * _STEP * count, 0.0)
            more = shares[take] + 0.01 * _STEP * count
            tried.append(self._with(shares | {give: less, take: more}))
        kept = self.keeps(*tried) if tried else []
        if True not in kept:
            return None
        place = kept.index(True)
        what = f"more {take}" if taker == SYRUP else f"less {give}"
        shown = _shown(tried[place])
        return f"{_STEP * (place + 1):g} % {what} ({shown})", tried[place]

    def _kind(self, name: str) -> str:
        """Return whether a part is a syrup, an oxidizer, a fuel or something else."""
        known = self.page.world.database
        if item_name(known, name) in known.syrups:
            return SYRUP
        return str(getattr(known.find(name), "role", SUGAR))

    def on_scale(self) -> tuple[str, Typed] | None:
        """Return the nearest recipe in steps of the scale; None if it is one."""
        asked, shares = self.page.asked(self.state.settings), self.shares
        batch, step = asked.doubts.batch, asked.scale_step
        steps = {name: round(x * batch / step) for name, x in shares.items()}
        largest = max(shares, key=lambda name: shares[name])
        steps[largest] += round(batch / step) - sum(steps.values())
        near = {name: count * step / batch for name, count in steps.items()}
        typed = self._with(near)
        if max(abs(near[name] - shares[name]) for name in near) < 1e-9:
            return None
        told = f"in steps of {1e3 * step:g} g on {1e3 * batch:g} g,"
        return (f"{_shown(typed)}, {told}", typed) if self.keeps(typed)[0] else None

    def other_cook(self) -> tuple[str, Typed] | None:
        """Return the nearest cook, held at one temperature, that passes.

        Never one above which the cautions warn.
        """
        kitchen = self.page.asked(self.state.settings).question.kitchen
        if kitchen is None or len({*kitchen.cook.temperatures}) > 1:
            return None
        now, long = kitchen.cook.pour_temperature, kitchen.cook.duration / 60.0
        for kelvin in (now + more for more in _COOKS if now + more <= WARM):
            text = self.one.show.typed("temperature", to_celsius(kelvin))
            text = text.replace("\u00b0", "")
            typed = self._changed(cook=text, minutes=f"{numbers.tidy(long):g}")
            if self.keeps(typed)[0]:
                return f"a cook at {text}", typed
        return None

    def wider_throat(self) -> tuple[str, Typed] | None:
        """Return the narrowest wider throat that passes, in steps of its slider."""
        motor = self.page.asked(self.state.settings).question.motor
        if motor is None:
            return None
        box = self.page.boxes[self.state.units]["throat"]
        step = (box.slider or (0.0, 0.0, 1.0))[2]
        now = self.one.show.number("length", 1e3 * motor.throat_diameter)
        first = math.floor(now / step + 1e-9) + 1
        counts = range(first, int(_WIDEST * now / step) + 1)
        tried = [
            self._changed(throat=f"{numbers.tidy(step * count):g} {box.unit}")
            for count in counts
        ]

        def passes(typed: Typed) -> bool:
            return self.keeps(typed)[0]

        while tried and not passes(tried[-1]):  # wider than the core, or too soft
            tried = tried[: len(tried) // 2]
        if not tried:
            return None
        found = tried[bisect_left(tried, True, key=passes)]
        return f"a throat of {found['throat']}", found

    def _changed(self, **texts: str) -> Typed:
        return {**self.state.typed, **texts}

    def _with(self, shares: dict[str, float]) -> Typed:
        told = [[name, f"{numbers.tidy(100.0 * x):g}"] for name, x in shares.items()]
        return {**self.state.typed, "parts": told}


def _shown(typed: Typed) -> str:
    return "/".join(numbers.typed(float(text)) for _, text in typed["parts"])
