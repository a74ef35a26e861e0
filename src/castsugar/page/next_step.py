"""What to do next at a point: the first rule that applies, with a value that passes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar.errors import CastsugarError
from castsugar.kitchen.heat import WARM, Cook
from castsugar.limits import BROKEN, PEAK, POUR, SOLIDS, judge_rows
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import item_name
from castsugar.page.state import State
from castsugar.report import numbers
from castsugar.report.mix_words import ratio
from castsugar.units import to_celsius

if TYPE_CHECKING:
    from castsugar.page.answer import Point
    from castsugar.page.desk import Asked, Desk

P95 = "peak_pressure_p95_MPa"

#: Step of a share that is tried, and how far. [%]
_STEP, _FAR = 0.5, 15.0

#: Step of a throat that is tried [mm], and how much wider it may get.
_THROAT, _WIDEST = 0.1, 1.4

#: Warmer and colder cooks that are tried. [K]
_COOKS = (2.0, 4.0, -2.0, -4.0)

ABOVE, UNKNOWN, STIFF, SOFT, OTHER, OPEN, ALL = (
    "a wider throat or less nitrate",
    "burn 3 strands of this mix",
    "more syrup, else another cook temperature",
    "less syrup",
    "castsugar search",
    "state limits in the bench, or take another mix",
    "weigh it",
)


def rule_of(one: Point) -> str:
    """Return the first rule that applies, in words."""
    broken = {x.column for x in one.judged if x.verdict == BROKEN}
    row = one.row
    if {PEAK, P95} & broken:
        held = one.held(PEAK, P95)
        limit = math.nan if held is None else held.limit
        return ABOVE if row[PEAK] > limit else UNKNOWN
    for column, rule in ((POUR, STIFF), (SOLIDS, SOFT)):
        if column in broken:
            return rule
    if broken or any(x.status == "DO NOT" for x in one.screen.findings):
        return OTHER
    return (
        ALL
        if one.judged and all(x.verdict != "not computed" for x in one.judged)
        else OPEN
    )


def next_of(desk: Desk, state: State, one: Point) -> dict[str, Any]:
    """Return the rule with the value that just passes, and a state to try it."""
    rule = rule_of(one)
    found: tuple[str, dict[str, Any]] | None = None
    if rule == ABOVE:
        found = _wider(desk, state) or _moved(one, state, "oxidizer", "sugar")
    elif rule == UNKNOWN:
        return {"text": f"{rule} at {_pressures(one)}", "state": None}
    elif rule == STIFF:
        found = _moved(one, state, "sugar", "syrup") or _cooked(desk, state, one)
    elif rule == SOFT:
        found = _moved(one, state, "syrup", "sugar")
    elif rule == ALL:
        found = _weighed(one, state)
    if found is None:
        return {
            "text": rule if rule == ALL else f"{rule}; castsugar search",
            "state": None,
        }
    return {"text": f"{found[0]} passes all. Then: weigh it.", "state": found[1]}


def _pressures(one: Point) -> str:
    """Return three pressures around the expected one, as people say them."""
    peak, show = float(one.row[PEAK]), one.show
    if not math.isfinite(peak):
        peak = one.asked.allowable
    told = [show.bare("pressure", part * peak, 2) for part in (0.5, 0.75, 1.0)]
    return f"{numbers.listed(told)} {show.unit('pressure')}"


def _keeps(asked: Asked, mixes: Sequence[Mix]) -> list[bool]:
    """Return which mixes keep every limit."""
    rows = asked.rows([*mixes], windows=False)
    judged = judge_rows(asked.limits, rows)
    return [all(bool(x.kept[i]) for x in judged) for i in range(len(rows))]


def _state(state: State, parts: Sequence[tuple[str, float]]) -> dict[str, Any]:
    told = [[name, f"{numbers.tidy(100.0 * x):g}"] for name, x in parts]
    return {**state.typed, "parts": told}


def _moved(
    one: Point, state: State, giver: str, taker: str
) -> tuple[str, dict[str, Any]] | None:
    """Return the smallest step from one part to another that passes."""
    names = {_kind(one, name): name for name, _ in reversed(one.mix.recipe)}
    if giver not in names or taker not in names:
        return None
    give, take, shares = names[giver], names[taker], dict(one.mix.recipe)
    most = min(_FAR, 100.0 * shares[give])
    steps = [_STEP * k for k in range(1, int(most / _STEP + 1e-9) + 1)]
    tried = []
    for step in steps:
        own = shares | {give: max(shares[give] - 0.01 * step, 0.0)}
        tried.append([*(own | {take: shares[take] + 0.01 * step}).items()])
    texts = [" ".join(f"{n}:{100.0 * x:.6f}" for n, x in own) for own in tried]
    if not texts:
        return None
    try:
        kept = _keeps(one.asked, one.asked.question.weigh(texts))
    except CastsugarError:
        return None
    if True not in kept:
        return None
    place = kept.index(True)
    shown = "/".join(numbers.typed(numbers.tidy(100.0 * x)) for _, x in tried[place])
    way = f"more {take}" if taker == "syrup" else f"less {give}"
    return f"{steps[place]:g} % {way} ({shown})", _state(state, tried[place])


def _kind(one: Point, name: str) -> str:
    """Return what a part is: oxidizer, syrup, sugar or something else."""
    known = one.asked.question.database
    item = item_name(known, name)
    if item in known.syrups:
        return "syrup"
    role = getattr(known.find(name), "role", "fuel")
    return "sugar" if role == "fuel" else str(role)


def _cooked(desk: Desk, state: State, one: Point) -> tuple[str, dict[str, Any]] | None:
    """Return a cook at another temperature that passes."""
    kitchen = one.asked.question.kitchen
    if kitchen is None or len({*kitchen.cook.temperatures}) > 1:
        return None
    now, long = kitchen.cook.pour_temperature, kitchen.cook.duration
    for more in _COOKS:
        if now + more > WARM:
            continue
        cook = Cook.hold(now + more, long)
        asked = desk.asked(replace(state.settings, cook=cook))
        if _keeps(asked, [one.mix])[0]:
            typed = {"cook": f"{numbers.tidy(to_celsius(now + more)):g} C"}
            minutes = {"minutes": f"{numbers.tidy(long / 60.0):g}"}
            return (
                f"a cook at {one.show.typed('temperature', to_celsius(now + more))}",
                {
                    **state.typed,
                    **typed,
                    **minutes,
                },
            )
    return None


def _wider(desk: Desk, state: State) -> tuple[str, dict[str, Any]] | None:
    """Return the narrowest wider throat that passes."""
    motor = desk.asked(state.settings).question.motor
    if motor is None:
        return None
    now = 1e3 * motor.throat_diameter
    first = math.floor(now / _THROAT + 1e-9)

    def passes(count: int) -> bool:
        throat = 1e-3 * _THROAT * (first + count)
        try:
            asked = desk.asked(replace(state.settings, throat=throat))
            return _keeps(asked, asked.question.weigh([state.recipe]))[0]
        except CastsugarError:
            return False

    low, high = 0, max(int((_WIDEST - 1.0) * now / _THROAT), 1)
    while high > low and not passes(high):  # a throat wider than the core is none
        high = (low + high) // 2
    if high == low:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle, high)
    told = f"{numbers.tidy(_THROAT * (first + high)):g} mm"
    return f"a throat of {told}", {**state.typed, "throat": told}


def _weighed(one: Point, state: State) -> tuple[str, dict[str, Any]] | None:
    """Return the nearest recipe in steps of the scale; None if it is in steps."""
    batch, step = one.asked.doubts.batch, one.asked.scale_step
    shares = dict(one.mix.recipe)
    steps = {name: round(x * batch / step) for name, x in shares.items()}
    largest = max(shares, key=lambda name: shares[name])
    steps[largest] += round(batch / step) - sum(steps.values())
    near = {name: count * step / batch for name, count in steps.items()}
    if max(abs(near[n] - shares[n]) for n in shares) < 1e-9:
        return None
    text = " ".join(f"{n}:{100.0 * x:.6f}" for n, x in near.items())
    (mix,) = one.asked.question.weigh([text])
    if not _keeps(one.asked, [mix])[0]:
        return None
    told = f"{ratio(mix)}, in steps of {1e3 * step:g} g on {1e3 * batch:g} g,"
    return told, _state(state, [*near.items()])
