"""The what-if panel: which neighbours of two mixes remain under limits that move.

Python writes the panel as it stands under the limits given; a script moves it. Without
the script its fallback says the same as a table.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from importlib import resources
from typing import Any

from castsugar.arrays import IntArray
from castsugar.columns import COLUMN
from castsugar.comparison.neighbours import (
    SET_RATIO,
    MovingLimit,
    MovingLimits,
    Neighbourhood,
    best,
    moving_limits,
)
from castsugar.limits import Limit
from castsugar.report.blocks.model import Cell, Panel, Paragraph, Table
from castsugar.report.search_picture import PLAIN
from castsugar.report.search_words import Asked
from castsugar.report.svg.canvas import escaped
from castsugar.report.what_if_figure import STYLE, picture
from castsugar.report.what_if_words import (
    ANY,
    CAVEAT,
    ENDED,
    ENDS,
    HOPELESS,
    NAMES,
    PSI,
    STUCK,
    UNITS,
    best_words,
    count_words,
    member_names,
    member_words,
    percents_of,
    plain,
    recipe_words,
    sets_of,
    stay_words,
    stop_words,
    title_of,
    value_words,
    why_off,
)

#: Its anchor: all its ids begin so, and its script looks for them.
KEY = "what-if"

_STANDS = ("remains", "ruled out", "not computed")
_TONES = ("good", "bad", "open")


def what_if(
    around: Neighbourhood,
    limits: Sequence[Limit] | None = None,
    *,
    asked: Asked = PLAIN,
) -> Panel:
    """Return the panel for the mixes around two.

    Three sliders: highest peak pressure, highest pour viscosity, lowest c*. A mix
    remains if it keeps all three and every limit that stays; see
    :func:`castsugar.comparison.neighbours.standing`.

    Parameters
    ----------
    around : Around
    limits : sequence of Limit, optional
        Where the sliders start; those on other columns stay. The limits of the outcome
        by default.
    asked : Asked
        Ingredients as typed.

    Returns
    -------
    Panel
        The same bytes for the same input.
    """
    given = around.outcome.found.goal.limits if limits is None else limits
    dials = moving_limits(around, given)
    states = dials.states()
    return Panel(
        html=_html(around, dials, states, asked),
        data=json.dumps(_data(around, dials, asked), separators=(",", ":")),
        script=resources.files("castsugar.report")
        .joinpath("what_if.js")
        .read_text("utf-8"),
        style=resources.files("castsugar.report")
        .joinpath("what_if.css")
        .read_text("utf-8")
        + STYLE,
        fallback=_fallback(around, dials, states, asked),
        key=KEY,
    )


def _html(
    around: Neighbourhood, dials: MovingLimits, states: IntArray, asked: Asked
) -> str:
    """Return the panel where its limits start."""
    chosen = best(states, dials.velocity.values)
    drawn = picture(around, states, chosen, (around.base.name, around.new.name, asked))
    rows = [_slider(around, place, dial) for place, dial in enumerate(dials.each)]
    said = [
        ("count", "strong", count_words(states)),
        ("best", "", best_words(around, dials, states, asked)),
        *((f"member-{k}", "", member_words(around, dials, k)) for k in (0, 1)),
    ]
    lines = [
        '<div class="what-if">',
        '<div class="what-if-picture card">',
        drawn.rstrip(),
        "</div>",
        '<div class="what-if-side">',
        "<fieldset>",
        "<legend>Move a limit</legend>",
        *rows,
        f'<button type="button" id="{KEY}-reset">Back to the limits given</button>',
        "</fieldset>",
        '<div class="what-if-said" aria-live="polite">',
        *(_paragraph(name, tone, text) for name, tone, text in said),
        "</div>",
        "</div>",
        '<div class="what-if-notes">',
        *(_paragraph("", "", text) for text in [*stay_words(around, dials), CAVEAT]),
        "</div>",
        "</div>",
    ]
    return "\n".join(lines)


def _paragraph(name: str, tone: str, text: str) -> str:
    """Return a paragraph; its id if the script changes it."""
    key = f' id="{KEY}-{name}"' if name else ""
    kind = f' class="what-if-{tone}"' if tone else ""
    return f"<p{key}{kind}>{escaped(text)}</p>"


def _slider(around: Neighbourhood, place: int, dial: MovingLimit) -> str:
    """Return one slider with label, output, and why it does not work."""
    name = f"{KEY}-slider-{place}"
    why = why_off(around, place, dial)
    told = escaped(stop_words(place, dial.stops[dial.start]))
    off = "" if dial.works else " disabled"
    noted = f' aria-describedby="{KEY}-why-{place}"' if why else ""
    lines = [
        '<div class="what-if-slider">',
        f'<label for="{name}">{escaped(title_of(place, dial))}</label>',
        f'<output id="{KEY}-output-{place}" for="{name}">{told}</output>',
        f'<input type="range" id="{name}" min="0" max="{len(dial.stops) - 1}" step="1" '
        f'value="{dial.start}" aria-valuetext="{told}"{noted}{off}>',
    ]
    if why:
        lines.append(
            f'<p class="what-if-why" id="{KEY}-why-{place}">{escaped(why)}</p>'
        )
    return "\n".join([*lines, "</div>"])


def _data(around: Neighbourhood, dials: MovingLimits, asked: Asked) -> dict[str, Any]:
    """Return what the script reads."""
    found: dict[str, Any] = {
        "names": [asked.name(name) for name in around.names],
        "both": list(member_names(around)),
        "percents": [[_number(x) for x in row] for row in percents_of(around)],
        "others": "".join(str(code) for code in dials.others.tolist()),
        "stuck": STUCK,
        "hopeless": HOPELESS,
        "dials": [_dial(place, dial) for place, dial in enumerate(dials.each)],
    }
    if SET_RATIO in around.columns:
        found["set"] = [_number(x) for x in sets_of(around)]
        found["set_name"] = COLUMN[SET_RATIO].label
    return found


def _dial(place: int, dial: MovingLimit) -> dict[str, Any]:
    """Return one limit for the script."""
    end = ENDS[place]
    values = dial.values.tolist()
    if end is not None:
        values = [min(v, end) if v == v else v for v in values]
    return {
        "name": NAMES[place],
        "column": dial.column,
        "sign": 1 if dial.sense == "<=" else -1,
        "unit": UNITS[place],
        "psi": PSI if place == 0 else None,
        "endless": end,
        "ends": ENDED[place],
        "any": ANY[place],
        "needed": place == 2,
        "start": dial.start,
        "stops": [None if s is None else _number(s) for s in dial.stops],
        "values": [_number(v) for v in values] if dial.column else [None] * len(values),
    }


def _number(value: float) -> float | int | None:
    """Return a number as JSON writes it shortest; None where there is none."""
    if math.isnan(value):
        return None
    return int(value) if value == int(value) else value


def _fallback(
    around: Neighbourhood, dials: MovingLimits, states: IntArray, asked: Asked
) -> tuple[Paragraph | Table, ...]:
    """Return what stands for the panel on paper and in text."""
    chosen = best(states, dials.velocity.values)
    count = len(around.fractions)
    members = [(f"{name}", count + k) for k, name in enumerate(member_names(around))]
    rows = [("highest c* that remains", chosen)] if chosen is not None else []
    shown = [k for k in (2, 0, 1) if dials.each[k].column]
    heads = ("", "mix", *(f"{NAMES[k]} [{UNITS[k]}]" for k in shown))
    ratios = sets_of(around) if SET_RATIO in around.columns else []
    heads += (COLUMN[SET_RATIO].label,) if ratios else ()
    table = Table(
        heads=(*heads, "stands"),
        rows=tuple(
            (
                Cell(text=name),
                Cell(text=recipe_words(around, place, asked)),
                *(
                    Cell(text=_cell(k, float(dials.each[k].values[place])))
                    for k in shown
                ),
                *((Cell(text=_ratio(ratios[place])),) if ratios else ()),
                Cell(text=_STANDS[states[place]], tone=_TONES[states[place]]),
            )
            for name, place in [*rows, *members]
        ),
        caption=f"Near the two mixes: {_limits_words(dials)}",
        words=(1, len(heads)),
    )
    lines = [
        count_words(states),
        *([] if rows else [best_words(around, dials, states, asked)]),
    ]
    lines += [*stay_words(around, dials), CAVEAT]
    told = [Paragraph(text=text) for text in lines]
    return (told[0], table, *told[1:])


def _limits_words(dials: MovingLimits) -> str:
    """Return the limits given in words."""
    pairs = ((k, d) for k, d in enumerate(dials.each) if d.column)
    words = []
    for place, dial in pairs:
        stop = dial.stops[dial.start]
        bound = "at least" if dial.sense == ">=" else "at most"
        text = f"{bound} {value_words(place, stop)}" if stop is not None else ANY[place]
        words.append(f"{title_of(place, dial).split(' ', 1)[1]}: {text}")
    return "; ".join(words)


def _cell(place: int, value: float) -> str:
    """Return a value without its unit, a word where it has none."""
    end = ENDS[place]
    if math.isnan(value) or (end is not None and value >= end):
        return value_words(place, value)
    return plain(value)


def _ratio(value: float) -> str:
    """Return a set ratio."""
    return "not computed" if math.isnan(value) else f"{value:.2f}"
