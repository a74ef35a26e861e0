"""The smallest change of a mix, its cook or its throat that keeps every limit."""

from __future__ import annotations

import itertools
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from castsugar.errors import CastsugarError
from castsugar.evaluated import rows_of
from castsugar.frozen import dataclass
from castsugar.limits import judge_rows
from castsugar.mix.weighing import item_name
from castsugar.report import numbers
from castsugar.report.next_step import ABOVE, SOFT, STIFF, Change, rule_of
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

if TYPE_CHECKING:
    from castsugar.asked import Question
    from castsugar.limits import Limit
    from castsugar.mix.mix import Mix
    from castsugar.report.mixes import Mixes

#: Step of a share that is tried, and how far. [%]
_STEP, _FAR = 0.5, 15.0

#: How much wider a throat may get; warmer and colder cooks that are tried. [K]
_WIDEST, _COOKS = 1.4, (2.0, 4.0, -2.0, -4.0)

#: What a part of a recipe may be.
OXIDIZER, SUGAR, SYRUP = "oxidizer", "fuel", "syrup"

#: Rule of :mod:`castsugar.report.next_step` -> what gives, and what takes.
_MOVES = {ABOVE: (OXIDIZER, SUGAR), STIFF: (SUGAR, SYRUP), SOFT: (SYRUP, SUGAR)}


def with_change(
    found: Mixes, question: Question, limits: Sequence[Limit], show: Shown
) -> Mixes:
    """Return mixes with the smallest change of the only one that keeps every limit."""
    if len(found.mixes) != 1 or not found.judged:
        return found
    rule = rule_of(found.judged[0], found.rows[0])
    change = Trials(question, limits, found.mixes[0], show).smallest(rule)
    return replace(found, change=change)


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """Changes of a mix of a bench that are tried, with all draws."""

    question: Question
    limits: Sequence[Limit]
    mix: Mix
    show: Shown  # units of words, and of the steps of a throat

    def smallest(self, rule: str) -> Change | None:
        """Return the first change that keeps every limit, by the rule that applies."""
        return next(self._passing(rule), None)

    def on_scale(self, batch: float, step: float) -> Change | None:
        """Return the nearest other mix in steps of a scale that keeps every limit.

        Batch and step in kg.
        """
        shares = dict(self.mix.recipe)
        steps = {name: round(x * batch / step) for name, x in shares.items()}
        largest = max(shares, key=lambda name: shares[name])
        steps[largest] += round(batch / step) - sum(steps.values())
        near = {name: count * step / batch for name, count in steps.items()}
        change = changed_shares(near)
        same = max(abs(near[name] - shares[name]) for name in near) < 1e-9
        if same or not self.keep([recipe_of(change)])[0]:
            return None
        words = f"{change.words}, in steps of {1e3 * step:g} g on {1e3 * batch:g} g,"
        return Change(words, change.typed)

    def _passing(self, rule: str) -> Iterator[Change]:
        if rule == ABOVE:
            yield from self._wider_throat()
        if rule in _MOVES:
            yield from self._moved(*_MOVES[rule])
        if rule == STIFF:
            yield from self._other_cook()

    def keep(
        self, recipes: Sequence[str], question: Question | None = None
    ) -> list[bool]:
        """Return which recipes keep every limit, perhaps under another question."""
        asked = question or self.question
        try:
            rows = rows_of(asked, asked.weigh(recipes), self.limits, windows=False)
        except CastsugarError:
            return [False] * len(recipes)
        judged = judge_rows(self.limits, rows)
        kept: list[bool] = np.logical_and.reduce([x.kept for x in judged]).tolist()
        return kept

    def _moved(self, giver: str, taker: str) -> Iterator[Change]:
        """Yield steps from one kind of part to another, the smallest first."""
        shares = dict(self.mix.recipe)
        names = {self._kind(name): name for name in reversed(shares)}
        give, take = names.get(giver), names.get(taker)
        if give is None or take is None:
            return
        what, tried = f"more {take}" if taker == SYRUP else f"less {give}", []
        for count in range(1, int(min(_FAR, 100.0 * shares[give]) / _STEP + 1e-9) + 1):
            moved = 0.01 * _STEP * count
            new = {give: max(shares[give] - moved, 0.0), take: shares[take] + moved}
            change = changed_shares(shares | new)
            words = f"{_STEP * count:g} % {what}: {change.words}"
            tried.append(Change(words, change.typed))
        yield from itertools.compress(tried, self.keep([*map(recipe_of, tried)]))

    def _kind(self, name: str) -> str:
        """Return whether a part is a syrup, an oxidizer, a fuel or something else."""
        known = self.question.database
        if item_name(known, name) in known.syrups:
            return SYRUP
        return str(getattr(known.find(name), "role", SUGAR))

    def _same(self) -> list[str]:
        return [recipe_of(changed_shares(dict(self.mix.recipe)))]

    def _other_cook(self) -> Iterator[Change]:
        """Yield other cooks, held at one temperature, that pass.

        Never one above which the cautions warn.
        """
        from castsugar.bench.kitchen import learn
        from castsugar.kitchen.heat import WARM, Cook

        kitchen, asked = self.question.kitchen, self.question
        if kitchen is None or len({*kitchen.cook.temperatures}) > 1:
            return
        now, long = kitchen.cook.pour_temperature, kitchen.cook.duration
        for kelvin in (now + more for more in _COOKS if now + more <= WARM):
            cook = Cook.hold(kelvin, long)
            other = learn(asked.shelf.bench, cook, asked.database).kitchen
            if self.keep(self._same(), replace(asked, kitchen=other))[0]:
                text = self.show.typed("temperature", to_celsius(kelvin))
                text = text.replace("\u00b0", "")
                typed = f"{text} {numbers.tidy(long / 60.0):g} min"
                yield Change(f"a cook at {text}", {"cook": typed})

    def _wider_throat(self) -> Iterator[Change]:
        """Yield the narrowest wider throat that passes."""
        from castsugar.bench.motor import resized

        asked, bench, show = self.question, self.question.shelf.bench, self.show
        motor = asked.motor
        own = None if bench is None else bench.motor
        if motor is None or bench is None or own is None:
            return
        step = 0.1 if show.system == SI else 0.005
        now = show.number("length", 1e3 * motor.throat_diameter)
        widths = np.arange(np.floor(now / step + 1e-9) + 1, _WIDEST * now / step) * step

        def passes(width: float) -> bool:
            table = own | {"throat": 1e-3 * show.back("length", width)}
            try:
                other = resized(motor, replace(bench, motor=table))
            except CastsugarError:  # wider than the core
                return False
            return self.keep(self._same(), replace(asked, motor=other))[0]

        tried = widths.tolist()
        while tried and not passes(tried[-1]):  # wider than the core, or too soft
            tried = tried[: len(tried) // 2]
        if tried:
            width = tried[bisect_left(tried, True, key=passes)]
            text = f"{numbers.tidy(width):g} {show.unit('length')}"
            yield Change(f"a throat of {text}", {"throat": text})


def changed_shares(shares: Mapping[str, float]) -> Change:
    """Return other shares of the parts, in words as people say them."""
    parts = [[name, f"{numbers.tidy(100.0 * x):g}"] for name, x in shares.items()]
    words = "/".join(numbers.typed(float(text)) for _, text in parts)
    return Change(words, {"parts": parts})


def recipe_of(change: Change) -> str:
    """Return the recipe of changed shares."""
    return " ".join(f"{name}:{amount}" for name, amount in change.typed["parts"])
