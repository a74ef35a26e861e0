"""What to change at a mix: the first rule that applies, and the value that passes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from castsugar.errors import CastsugarError
from castsugar.evaluated import rows_of
from castsugar.kitchen.heat import WARM
from castsugar.limits import BROKEN, NOT_COMPUTED, PEAK, POUR, SOLIDS, judge_rows
from castsugar.mix.weighing import item_name

if TYPE_CHECKING:
    from castsugar.asked import Question
    from castsugar.limits import Limit
    from castsugar.mix.mix import Mix
    from castsugar.report.point import Point

#: Step of a share that is tried, and how far. [%]
_STEP, _FAR = 0.5, 15.0

#: Step of a throat that is tried [m], and how much wider it may get.
_THROAT, _WIDEST = 1e-4, 1.4

#: Warmer and colder cooks that are tried. [K]
_COOKS = (2.0, 4.0, -2.0, -4.0)

P95 = "peak_pressure_p95_MPa"

#: The rules, in the order in which they are asked.
ABOVE = "a wider throat or less nitrate"
UNKNOWN = "burn 3 strands of this mix"
STIFF = "more syrup, else another cook temperature"
SOFT = "less syrup"
OTHER = "castsugar search"
OPEN = "state limits in the bench, or take another mix"
ALL = "weigh it"

#: What a part of a recipe may be, for :func:`moved`.
OXIDIZER, SUGAR, SYRUP = "oxidizer", "fuel", "syrup"

Parts = list[tuple[str, float]]


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """A question with the limits that its mixes must keep."""

    question: Question
    limits: Sequence[Limit]

    def keeps(self, mixes: Sequence[Mix]) -> list[bool]:
        """Return which mixes keep every limit, all draws."""
        rows = rows_of(self.question, mixes, self.limits, windows=False)
        judged = judge_rows(self.limits, rows)
        return [all(bool(x.kept[i]) for x in judged) for i in range(len(rows))]

    def keeps_recipe(self, parts: Parts) -> bool:
        """Return whether a recipe of shares keeps every limit."""
        return self.keeps(self.question.weigh([_text(parts)]))[0]


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


def moved(
    asked: Bound, mix: Mix, giver: str, taker: str
) -> tuple[float, str, str, Parts] | None:
    """Return the smallest step from one kind of part to another that passes.

    Returns
    -------
    tuple or None
        The step [%], the names of giver and taker, the recipe in shares.
    """
    shares = dict(mix.recipe)
    names = {_kind(asked.question, name): name for name in reversed(shares)}
    if giver not in names or taker not in names:
        return None
    give, take = names[giver], names[taker]
    tried = [*_moves(shares, give, take)]
    try:
        mixes = asked.question.weigh([_text(parts) for _, parts in tried])
        kept = asked.keeps(mixes) if mixes else []
    except CastsugarError:
        return None
    if True not in kept:
        return None
    step, parts = tried[kept.index(True)]
    return step, give, take, parts


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


def _kind(question: Question, name: str) -> str:
    """Return whether a part is a syrup, an oxidizer, a fuel or something else."""
    known = question.database
    if item_name(known, name) in known.syrups:
        return SYRUP
    return str(getattr(known.find(name), "role", SUGAR))


def on_scale(asked: Bound, mix: Mix, batch: float, step: float) -> Parts | None:
    """Return the nearest recipe in steps of the scale, if it passes.

    None too for a recipe that is in steps already.

    Parameters
    ----------
    batch, step : float
        What is weighed, and the step of the scale. [kg]
    """
    shares = dict(mix.recipe)
    steps = {name: round(x * batch / step) for name, x in shares.items()}
    largest = max(shares, key=lambda name: shares[name])
    steps[largest] += round(batch / step) - sum(steps.values())
    near = [(name, count * step / batch) for name, count in steps.items()]
    if max(abs(x - shares[name]) for name, x in near) < 1e-9:
        return None
    return near if asked.keeps_recipe(near) else None


def other_cook(ask: Callable[[float], Bound], mix: Mix, now: float) -> float | None:
    """Return the nearest cook temperature that passes; None without one. [K]

    Never one above which the cautions warn.

    Parameters
    ----------
    ask : callable
        Returns the question at a temperature.
    mix : Mix
    now : float
        [K]
    """
    for more in _COOKS:
        if now + more <= WARM and ask(now + more).keeps([mix])[0]:
            return now + more
    return None


def wider_throat(
    ask: Callable[[float], Bound], recipe: str, now: float
) -> float | None:
    """Return the narrowest wider throat that passes, in steps of 0.1 mm. [m]

    Parameters
    ----------
    ask : callable
        Returns the question at a throat; one wider than the core raises.
    recipe : str
    now : float
        [m]
    """
    first = math.floor(now / _THROAT + 1e-9)

    def passes(count: int) -> bool:
        try:
            asked = ask(_THROAT * (first + count))
            return asked.keeps(asked.question.weigh([recipe]))[0]
        except CastsugarError:
            return False

    low, high = 0, max(int((_WIDEST - 1.0) * now / _THROAT), 1)
    while high > 0 and not passes(high):  # wider than the core, or too soft a burning
        high //= 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle, high)
    return _THROAT * (first + high) if high else None
