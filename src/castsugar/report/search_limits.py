"""Limits of a search in words: how near, what holds, what a little more buys."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from castsugar import units
from castsugar.limits import Limit
from castsugar.optimize.search import Outcome
from castsugar.optimize.shadow_prices import (
    AGREEMENT,
    Found,
    LimitState,
    Price,
    RowState,
)
from castsugar.optimize.space import SCOPE
from castsugar.report.search_amounts import (
    bound,
    bound_text,
    boundless,
    change_text,
    exact,
    few,
    in_units,
    kept,
    units_of,
    with_unit,
)
from castsugar.report.search_words import (
    Asked,
    allowed_pressure,
    filled,
    guards_case,
    label_of,
    recipe_text,
    unit_of,
)
from castsugar.report.strand_units import short

#: Widths of the table: label, value, limit, slack, state.
_WIDTHS = (40, 10, 15, 8, 7)

_SMALL_MOVES = (
    "Prices are those of small moves; the further a limit moves, the sooner another "
    "one takes over."
)

_ROUGH = (
    "Take the prices as rough: here they explain the slope of the objective only in "
    "part ({left} % is left over), so the mix sits at a kink or the search stopped a "
    "little short of the top."
)

_PRESSURE = (
    "A pressure limit keeps the case whole. Loosen it only with a case that may hold "
    "more{yours}; a larger throat lowers the pressure instead."
)


def limit_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the table of limits, each that binds with its price below it."""
    found = outcome.found
    if not found.limits and not found.rows:
        return ["Limits", *filled("None was set, and no bound is reached.")]
    head = _line("Limits", "value", "limit", "slack", "binds?")
    lines = [head] if found.limits else []
    for state in found.limits:
        lines += _state_lines(state, asked)
        if state.binding and kept(state.limit, state.value):
            lines += filled(limit_price(state, found, asked), "      ")
    if found.rows:
        lines += [""] if lines else []
        lines.append("Bounds, ratios and purchases that bind")
    for row in found.rows:
        lines += filled(asked.renamed(row.name), "    ", "  ")
        if found.violation <= 0.0 and not row.name.endswith(" at least 0 %"):
            lines += filled(row_price(row, found), "      ")
    return [*lines, *_price_notes(found), *_case_lines(outcome, asked)]


def _price_notes(found: Found) -> list[str]:
    """Say how far prices carry, and how well they are known."""
    prices = [s.price for s in found.limits] + [r.price for r in found.rows]
    lines: list[str] = []
    if any(price is not None for price in prices):
        lines += ["", *filled(_SMALL_MOVES)]
    if found.stationarity > AGREEMENT and found.violation <= 0.0:
        left = few(100.0 * found.stationarity, 1)
        lines += filled(_ROUGH.format(left=left), "    ", "  ! ")
    return lines


def _line(*cells: str) -> str:
    """Return one line of the table."""
    label, *rest = zip(cells, _WIDTHS, strict=True)
    text = f"{label[0]:<{label[1]}}" + "".join(f" {c:>{w - 1}}" for c, w in rest)
    return text.rstrip()


def _state_lines(state: LimitState, asked: Asked) -> list[str]:
    """Return the line of a limit, and one more in the user's own unit of pressure."""
    column, limit = state.limit.column, state.limit
    unit = unit_of(column)
    label = label_of(column) + (f", {unit}" if unit else "")
    over = not kept(limit, state.value)
    word = "BROKEN" if over else "yes" if state.binding else "no"
    left = "0" if word == "yes" else few(state.slack, 2)
    if boundless(column, state.value):
        left = "-"
    cells = (exact(column, state.value), bound(limit), left, word)
    lines = []
    if len(label) + 3 > _WIDTHS[0]:
        lines, label = filled(label, "    ", "  "), "  "
    lines.append(_line(f"  {label}", *cells))
    for other in asked.pressures()[1:] if column.startswith("peak_p") else ():
        value, most = (
            short(units.convert(1e6 * x, "pressure", other))
            for x in (state.value, limit.value)
        )
        value = boundless(column, state.value) or value
        told = f"{bound(limit).rpartition(' ')[0]} {most}"
        lines.append(_line(f"    in {other}", value, told, "", ""))
    return lines


def limit_price(state: LimitState, found: Found, asked: Asked) -> str:
    """Say what moving a binding limit a little buys."""
    limit = state.limit
    if state.price is None:
        return _unpriced(found)
    step, told, also = _step(limit, asked)
    way, other = ("more", "less") if limit.sense == "<=" else ("less", "more")
    words = f"{told} {way}{also}", f"{told} {other}"
    return _priced(state.price, found, limit.sign * step, words)


def row_price(row: RowState, found: Found) -> str:
    """Say what loosening a bound, ratio or purchase by a percentage point buys."""
    if row.name.endswith(SCOPE):
        return "What lies beyond is none of a nitrate-sugar mix, and is not looked at."
    if row.price is None:
        return _unpriced(found)
    words = "a percentage point of the mix looser", "as much tighter"
    return _priced(row.price, found, 0.01, words)


def _step(limit: Limit, asked: Asked) -> tuple[float, str, str]:
    """Return a step to quote a price for, in words: 1 %, or a round number below."""
    column, size = limit.column, abs(limit.value)
    if limit.logarithmic:
        told = ", ".join(units_of(column, 0.01 * size, asked))
        return 0.01 * size, "1 %", f" ({told})"
    step = 10.0 ** math.floor(math.log10(0.05 * size)) if size else 0.01
    return step, with_unit(few(step, 1), column), ""


def _unpriced(found: Found) -> str:
    """Say why something that binds has no price."""
    if math.isnan(found.stationarity):
        return "What more of it buys is not known: the search did not get that far."
    return "Moving it alone buys nothing: what else binds here holds the mix too."


def _priced(price: Price, found: Found, step: float, words: tuple[str, str]) -> str:
    """Say a price for a step; both sides where they differ."""

    def told(slope: float) -> str:
        change = slope * step
        return change_text(found.goal.objective, change, found.objective)

    looser, tighter = words
    text = opened(f"{looser} buys about {told(price.multiplier)}")
    if price.confirmed:
        return f"{text}."
    if math.isnan(price.searched):
        return f"{text}, by the slopes there; not tried by searching again."
    sides = [
        f"{word} {verb} about {told(sign * slope)}"
        for word, verb, sign, slope in (
            (looser, "buys", 1.0, price.relaxed),
            (tighter, "changes it by", -1.0, price.tightened),
        )
        if not math.isnan(slope)
    ]
    joined = "; ".join(sides)
    why = "the sides differ: something else begins or ceases to bind here"
    if len(sides) < 2:
        why = "the other side could not be searched"
    return f"{opened(joined)} ({why})."


def opened(text: str) -> str:
    """Return a sentence with a capital letter."""
    return text[:1].upper() + text[1:]


def _case_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Say that a pressure limit is no knob, where one holds the mix back."""
    held = [s.limit for s in outcome.found.limits if s.binding]
    if not any(guards_case(limit) for limit in held):
        return []
    most = 1e-6 * allowed_pressure(outcome)
    told = in_units("peak_pressure_MPa", most, asked)
    yours = f" than {told}, what yours may hold" if most > 0.0 else ""
    return filled(_PRESSURE.format(yours=yours), "    ", "  ! ")


def infeasible_lines(outcome: Outcome, asked: Asked) -> list[str]:
    """Say how far the least violating mix is off, and which single limit would do."""
    found = outcome.found
    lines = ["What it breaks"]
    for state in found.limits:
        limit, value = state.limit, state.value
        if kept(limit, value):
            continue
        text = f"{label_of(limit.column)}: {in_units(limit.column, value, asked)}"
        side = "above" if limit.sense == "<=" else "below"
        off = ""
        if not boundless(limit.column, value):
            off = with_unit(few(abs(state.slack), 2), limit.column)
        text += f", {off} {side} the limit ({bound_text(limit)})".replace("  ", " ")
        lines += filled(text, "    ", "  - ")
    if found.status == "infeasible":
        lines += ["", *_relaxing(outcome, asked)]
    return lines


def _relaxing(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the single limits of which each, moved, leaves a mix."""
    found = outcome.found
    if not found.relaxations:
        return [
            "What would help",
            *filled(
                "No single limit was found that leaves a mix when it moves alone: "
                "loosen two or more, or widen the bounds of the ingredients."
            ),
        ]
    lines = ["What would help: one of these, the smallest move first"]
    for each in found.relaxations:
        told = _outward_text(each.limit, each.value, asked)
        word = "at most" if each.limit.sense == "<=" else "at least"
        mix = recipe_text(found.ingredients, each.fractions, asked)
        text = (
            f"{label_of(each.limit.column)}: {word} {told} instead of "
            f"{short(each.limit.value)}; then for example {mix}"
        )
        lines += filled(text, "    ", "  - ")
        lines += _beyond_case(outcome, each.limit, each.value, asked)
    return lines


def _outward_text(limit: Limit, value: float, asked: Asked) -> str:
    """Write where a limit has to move to, rounded so that it is enough."""
    text = with_unit(short(outward(limit, value)), limit.column)
    if not limit.column.startswith("peak_pressure"):
        return text
    more = [
        f"{short(outward(limit, units.convert(1e6 * value, 'pressure', unit)))} {unit}"
        for unit in asked.pressures()[1:]
    ]
    return text + "".join(f" ({one})" for one in more)


def _beyond_case(
    outcome: Outcome, limit: Limit, value: float, asked: Asked
) -> list[str]:
    """Warn of a relaxed pressure limit that the case may not hold."""
    most = 1e-6 * allowed_pressure(outcome)
    if not limit.column.startswith("peak_pressure"):
        return []
    if math.isnan(most):
        text = "only if your case may hold that; the bench does not say"
    elif value > most:
        told = in_units("peak_pressure_MPa", most, asked)
        text = f"NOT with this case: it may hold {told}. Change the motor instead"
    else:
        return []
    return filled(f"{text}.", "      ", "    ! ")


def outward(limit: Limit, value: float) -> float:
    """Round a relaxed limit to four digits, never tighter than it is.

    Examples
    --------
    >>> outward(Limit(column="a", sense="<=", value=1.0), 4.02711)
    4.028
    >>> outward(Limit(column="a", sense=">=", value=1.0), 0.763347)
    0.7633
    """
    if value == 0.0 or not math.isfinite(value):
        return value
    exact_value = Decimal(repr(value))
    unit = Decimal(1).scaleb(exact_value.adjusted() - 3)
    way = ROUND_CEILING if limit.sense == "<=" else ROUND_FLOOR
    return float(exact_value.quantize(unit, rounding=way))
