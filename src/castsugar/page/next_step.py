"""What to do next, in words, with the state of the page that tries it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from castsugar import advice
from castsugar.advice import OXIDIZER, SUGAR, SYRUP, Bound, Parts
from castsugar.kitchen.heat import Cook
from castsugar.limits import PEAK
from castsugar.mix.mix import Mix
from castsugar.page.desk import Desk
from castsugar.page.state import State
from castsugar.report import numbers
from castsugar.report.point import Point
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

Told = tuple[str, dict[str, Any]]


def next_of(desk: Desk, state: State, one: Point) -> dict[str, Any]:
    """Return the first rule that applies, and the state that tries it, if any."""
    rule, mix = advice.rule_of(one), one.found.mixes[0]
    found: Told | None = None
    if rule == advice.UNKNOWN:
        return {"text": f"{rule} at {_pressures(one)}", "state": None, "weigh": False}
    if rule == advice.ABOVE:
        found = _throat(desk, state) or _moved(desk, state, mix, OXIDIZER, SUGAR)
    elif rule == advice.STIFF:
        found = _moved(desk, state, mix, SUGAR, SYRUP) or _cooked(desk, state, mix)
    elif rule == advice.SOFT:
        found = _moved(desk, state, mix, SYRUP, SUGAR)
    elif rule == advice.ALL:
        found = _on_scale(desk, state, mix)
    if found is None:
        more = (
            ""
            if rule in (advice.ALL, advice.OTHER, advice.OPEN)
            else "; castsugar search"
        )
        return {"text": rule + more, "state": None, "weigh": rule == advice.ALL}
    text = f"{found[0]} passes all. Then: weigh it."
    return {"text": text, "state": found[1], "weigh": True}


def _bound(desk: Desk, state: State, **settings: Any) -> Bound:
    asked = desk.asked(replace(state.settings, **settings))
    return Bound(asked.question, asked.limits)


def _pressures(one: Point) -> str:
    """Return three pressures up to the expected one, as people say them."""
    peak, show = float(one.row[PEAK]), one.show
    top = peak if math.isfinite(peak) else one.allowed
    told = [show.bare("pressure", part * top, 2) for part in (0.5, 0.75, 1.0)]
    return f"{numbers.listed(told)} {show.unit('pressure')}"


def _with(state: State, parts: Parts) -> dict[str, Any]:
    told = [[name, f"{numbers.tidy(100.0 * x):g}"] for name, x in parts]
    return {**state.typed, "parts": told}


def _shares(parts: Parts) -> str:
    return "/".join(numbers.typed(numbers.tidy(100.0 * x)) for _, x in parts)


def _moved(desk: Desk, state: State, mix: Mix, giver: str, taker: str) -> Told | None:
    """Return the smallest step from one part to another that passes."""
    found = advice.moved(_bound(desk, state), mix, giver, taker)
    if found is None:
        return None
    step, give, take, parts = found
    what = f"more {take}" if taker == SYRUP else f"less {give}"
    return f"{step:g} % {what} ({_shares(parts)})", _with(state, parts)


def _on_scale(desk: Desk, state: State, mix: Mix) -> Told | None:
    """Return the nearest recipe that the scale can weigh."""
    asked = desk.asked(state.settings)
    batch, step = asked.doubts.batch, asked.scale_step
    parts = advice.on_scale(_bound(desk, state), mix, batch, step)
    if parts is None:
        return None
    told = f"{_shares(parts)}, in steps of {1e3 * step:g} g on {1e3 * batch:g} g,"
    return told, _with(state, parts)


def _cooked(desk: Desk, state: State, mix: Mix) -> Told | None:
    """Return a cook at another temperature that passes, where it is held at one."""
    kitchen = desk.asked(state.settings).question.kitchen
    if kitchen is None or len({*kitchen.cook.temperatures}) > 1:
        return None
    now, long = kitchen.cook.pour_temperature, kitchen.cook.duration
    found = advice.other_cook(
        lambda t: _bound(desk, state, cook=Cook.hold(t, long)), mix, now
    )
    if found is None:
        return None
    text = (
        Shown(state.units).typed("temperature", to_celsius(found)).replace("\u00b0", "")
    )
    typed = {"cook": text, "minutes": f"{numbers.tidy(long / 60.0):g}"}
    return f"a cook at {text}", {**state.typed, **typed}


def _throat(desk: Desk, state: State) -> Told | None:
    """Return the narrowest wider throat that passes."""
    motor = desk.asked(state.settings).question.motor
    if motor is None:
        return None
    found = advice.wider_throat(
        lambda throat: _bound(desk, state, throat=throat),
        state.recipe,
        motor.throat_diameter,
    )
    if found is None:
        return None
    show = Shown(state.units)
    size = numbers.tidy(show.number("length", 1e3 * found))
    size = size if show.system == SI else math.ceil(1e3 * size) / 1e3
    text = f"{size:g} {show.unit('length')}"
    return f"a throat of {text}", {**state.typed, "throat": text}
