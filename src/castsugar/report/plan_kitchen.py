"""What a plan answers that is cooked: minutes to a water, the heat that pours."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from castsugar.kitchen.heat import FACTOR, HOTTEST, LONGEST
from castsugar.kitchen.inverse import Drying, PourHeat
from castsugar.kitchen.parameters import POUR_RANGE, Kitchen
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, INTERVAL, Field, Row, chosen, fields
from castsugar.report.limit_words import POUR
from castsugar.report.plan import Planned, screen_of
from castsugar.report.screen import Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown
from castsugar.units import to_celsius

#: A cook and what it does: the table of both answers.
COOKED: tuple[Field, ...] = (
    *fields(
        ("bulk_C", "heat", "temperature", "bulk temperature at the pour"),
        ("minutes", "minutes", "number", "from the start of the cook to the pour"),
    ),
    *chosen(
        (
            "water_as_cast_percent",
            "pours_probability",
            POUR,
            "relative_solids_20C",
            "sugar_degraded_percent",
        )
    ),
)

_CHANCE, _BROWN = "pours_probability", "sugar_degraded_percent"
_WATER = "water_as_cast_percent"

WATER_PARTS: dict[str, Part] = {
    "left_percent": Part(meaning="water asked for, of what is left of the mix"),
    "water_as_weighed_percent": Part(meaning="before the cook"),
    "water_at_once_percent": Part(meaning="as soon as it is hot"),
    "minutes": Part(meaning="of the cook; null if no time does; with its 95 % band"),
    "minutes_interval": Part(meaning="null at the upper end: longer than a day"),
    "your_cook": Part(meaning="the same of the cook as planned", fields=COOKED),
    "forward_water_percent": Part(meaning="what the kitchen says after these minutes"),
    "cooks": Part(meaning="that leave this water", fields=COOKED, many=True),
}

HEAT_PARTS: dict[str, Part] = {
    "probability": Part(meaning="share of the draws that must pour"),
    "viscosity_at_most_Pa_s": Part(meaning="what pours is no thicker"),
    "pour_from_C": Part(meaning="null: nowhere"),
    "pour_to_C": Part(meaning="null: nowhere"),
    "best_C": Part(meaning="where it pours most often"),
    "best_probability": Part(meaning="in which share of the draws"),
    "limit_C": Part(meaning="above, the sugar degrades beyond its limit, or no model"),
    "pours_down_to_C": Part(meaning="cooked as planned, it may cool to this"),
    "pours_off_the_heat_min": Part(
        meaning="so long, cooked as planned; null without the mass of the pan"
    ),
    "forward_probability": Part(meaning="what the kitchen says, poured at that heat"),
    "cooks": Part(meaning="at these heats", fields=COOKED, many=True),
}


# ----------------------------------------------------------------------------
# plan water.


def water_parts(found: Drying, rows: Sequence[Row], planned: Row) -> dict[str, Any]:
    """Return the numbers of ``plan water``.

    First of the rows is the cook asked for, `planned` is the one as it stands.
    """
    known = found.cook is not None
    return {
        "left_percent": 100.0 * found.left,
        "water_as_weighed_percent": 100.0 * found.at_start,
        "water_at_once_percent": 100.0 * found.at_once,
        "minutes": found.time / 60.0,
        "minutes_interval": [end / 60.0 for end in found.band],
        "your_cook": planned,
        "forward_water_percent": rows[0][_WATER] if known else math.nan,
        "cooks": list(rows),
    }


def water_screen(
    found: Drying,
    rows: Sequence[Row],
    planned: Row,
    kitchen: Kitchen,
    asked: Planned,
    show: Shown,
) -> Screen:
    """Return how long until so much water is left; rows as for :func:`water_parts`."""
    left = numbers.typed(numbers.tidy(100.0 * found.left))
    told = [*_minutes(found, rows, kitchen, show)]
    blocks: list[Block] = []
    if rows:
        if found.cook is not None:
            told += _meanwhile(rows[0], planned, kitchen, show)
        blocks.append(_table(rows, show, leave=_WATER))
        blocks.append(Paragraph(f"Each row leaves {left} % water.", spare=True))
    return screen_of(
        asked, show, f"{asked.name} until {left} % water is left", told, blocks
    )


def _minutes(
    found: Drying, rows: Sequence[Row], kitchen: Kitchen, show: Shown
) -> Iterator[Finding]:
    """Yield the minutes, or why there are none; and that the kitchen says so, too."""
    left = numbers.typed(numbers.tidy(100.0 * found.left))
    heat = _degrees(kitchen.cook.pour_temperature, show)
    if found.cook is None:
        yield Finding("REFUSED", _never(found, left, heat))
        return
    planned, time = kitchen.cook.duration / 60.0, found.time / 60.0
    told, band = _span(found)
    more = numbers.significant(abs(time - planned), 2)
    word = "longer" if time > planned else "shorter"
    how = f"at {heat}"
    if len(set(kitchen.cook.temperatures)) > 1:
        how = f"of your cook, held on at {heat}," if time > planned else "of your cook"
    text = f"{told} min ({band}) {how} leave {left} % water: "
    values = {"minutes": time, "left_percent": 100.0 * found.left}
    yield Finding("RESULT", f"{text}{more} min {word} than your cook.", values)
    back = numbers.significant(rows[0][_WATER], 3)
    minutes = numbers.typed(numbers.tidy(rows[0]["minutes"]))
    text = f"Forward: cooked {minutes} min, kitchen judge gives back {back} % water."
    yield Finding("RESULT", text, {_WATER: rows[0][_WATER]})


def _span(found: Drying) -> tuple[str, str]:
    """Write the minutes and their band."""
    time, low, high = (60.0**-1 * x for x in (found.time, *found.band))
    told, first, last = numbers.with_band(time, low, high, "more than a day")
    return told, f"{'at once' if low == 0.0 else first} to {last}"


def _never(found: Drying, left: str, heat: str) -> str:
    """Say why no time does."""
    once, last = (
        numbers.significant(100.0 * x) for x in (found.at_once, found.at_last)
    )
    if found.at_once <= found.left:
        return (
            f"No time leaves {left} % water at {heat}: it boils down to {once} % as "
            "soon as it is hot. Cook colder."
        )
    hours = numbers.typed(LONGEST / 3600.0)
    return f"No time leaves {left} % water at {heat}: {hours} h leave {last} %."


def _meanwhile(
    row: Row, planned: Row, kitchen: Kitchen, show: Shown
) -> Iterator[Finding]:
    """Yield what becomes of the sugar and of the pour by then."""
    brown, limit = row[_BROWN], 100.0 * kitchen.degradation_limit
    if brown > limit:
        text = f"By then {FIELDS[_BROWN].text(row, show)} % of the sugar is degraded "
        text += f"(an index, known to a factor of {numbers.typed(FACTOR)}), more than "
        text += f"{numbers.typed(limit)} %: colder and longer browns less."
        yield Finding("CAUTION", text, {_BROWN: brown})
    told, band = FIELDS[POUR].cells(row, show)
    text = f"By then it pours in {numbers.of_100(row[_CHANCE])} of 100 draws"
    text += f", median {told} Pa s ({band})" if math.isfinite(row[POUR]) else " (jams)"
    text += f"; after your cook in {numbers.of_100(planned[_CHANCE])}."
    yield Finding("RESULT", text, {_CHANCE: row[_CHANCE], POUR: row[POUR]})


# ----------------------------------------------------------------------------
# plan heat.


def heat_parts(
    found: PourHeat, rows: Sequence[Row], kitchen: Kitchen
) -> dict[str, Any]:
    """Return the numbers of ``plan heat``; first of the rows is the heat to pour at."""
    return {
        "probability": found.probability,
        "viscosity_at_most_Pa_s": found.thickest,
        "pour_from_C": to_celsius(found.low),
        "pour_to_C": to_celsius(found.high),
        "best_C": to_celsius(found.best),
        "best_probability": found.chance,
        "limit_C": to_celsius(found.limit),
        "pours_down_to_C": to_celsius(found.down_to),
        "pours_off_the_heat_min": minutes_to_pour(found, kitchen),
        "forward_probability": rows[0][_CHANCE] if rows else math.nan,
        "cooks": list(rows),
    }


def heat_screen(
    found: PourHeat, rows: Sequence[Row], kitchen: Kitchen, asked: Planned, show: Shown
) -> Screen:
    """Return which heat pours often enough."""
    share = numbers.of_100(found.probability)
    blocks = [_table(rows, show)]
    title = f"heat at which {asked.name} pours in {share} of 100 draws"
    return screen_of(asked, show, title, [*_heats(found, rows, kitchen, show)], blocks)


def _heats(
    found: PourHeat, rows: Sequence[Row], kitchen: Kitchen, show: Shown
) -> Iterator[Finding]:
    """Yield where it pours, or where most; and that the kitchen says so, too."""
    first = f"{_bare(rows[0]['bulk_C'], show)} {show.unit('temperature')}"
    minutes = numbers.typed(numbers.tidy(kitchen.cook.duration / 60.0))
    yield _window(found, rows[0], minutes, show)
    if not math.isnan(found.down_to):
        warm, cold = kitchen.cook.pour_temperature, found.down_to
        text = f"Cooked at {_degrees(warm, show)} as planned, it "
        if cold > POUR_RANGE[0]:
            fall = show.amount("temperature difference", warm - cold, 2)
            text += f"may cool by {fall} before it pours too seldom"
            text += _off_the_heat(found, kitchen)
        else:
            text += f"still pours at {_degrees(cold, show)}, the coldest modelled."
        yield Finding("RESULT", text, {"pours_down_to_C": to_celsius(cold)})
    text = f"Forward: cooked {minutes} min at {first}, kitchen judge gives back "
    text += f"{numbers.of_100(rows[0][_CHANCE])} of 100 draws."
    yield Finding("RESULT", text, {_CHANCE: rows[0][_CHANCE]})


def _off_the_heat(found: PourHeat, kitchen: Kitchen) -> str:
    """Say how long that takes off the heat, where the pan is known."""
    time = minutes_to_pour(found, kitchen)
    if math.isnan(time):
        return "."
    return f": {numbers.significant(time, 2)} min off the heat in your pan."


def minutes_to_pour(found: PourHeat, kitchen: Kitchen) -> float:
    """Return how long a mix pours off the heat; NaN without pan_mass."""
    pan = kitchen.cook.pan
    if pan is None or math.isnan(found.down_to):
        return math.nan
    return pan.time_to_cool(kitchen.cook.pour_temperature, found.down_to) / 60.0


def _window(found: PourHeat, first: Row, minutes: str, show: Shown) -> Finding:
    """Say between which heats it pours, or that it does nowhere."""
    thick, best = show.bound("viscosity", found.thickest), _degrees(found.best, show)
    share, most = (numbers.of_100(x) for x in (found.probability, found.chance))
    if math.isnan(found.low):
        coldest, limit = (_degrees(t, show) for t in (POUR_RANGE[0], found.limit))
        text = f"Nowhere from {coldest} to {limit} does it pour in {share} of 100 draws"
        text += f" (below {thick}): "
        text += (
            f"most, {most}, at {best}. Measure, or " if found.chance else "in none. "
        )
        text += "change the mix." if found.chance else "Change the mix."
        return Finding("REFUSED", text, {"best_probability": found.chance})
    low = _bare(first["bulk_C"], show)
    high = _degrees(found.high - 0.05, show)  # to a tenth, downwards
    text = f"Pour at {low} to {high}: there it pours in {share} of 100 draws or more "
    text += f"(below {thick}), the whole cook of {minutes} min as hot; most, {most}, "
    text += f"at {best}."
    if found.high > HOTTEST - 0.1:
        text += " Hotter there is no model."
    elif found.high > found.limit - 0.1:
        text += " Hotter, the sugar degrades beyond its limit."
    return Finding("RESULT", text, {"pour_from_C": first["bulk_C"]})


def _degrees(kelvin: float, show: Shown) -> str:
    """Write a bulk temperature, to a tenth of a degree."""
    return f"{_bare(to_celsius(kelvin), show)} {show.unit('temperature')}"


def _bare(celsius: float, show: Shown) -> str:
    tenths = round(show.number("temperature", celsius), 1)
    return numbers.typed(numbers.tidy(tenths))


def _table(rows: Sequence[Row], show: Shown, leave: str = "") -> Table:
    """Return cooks going down, each with what it does."""
    heads = {
        "bulk_C": f"poured\nat, {show.unit('temperature')}",
        "minutes": "cooked,\nmin",
        _WATER: "water,\n%",
        _CHANCE: "pours\nof 100",
        POUR: "viscosity\nPa s",
        _BROWN: "sugar\ndegraded, %",
    }
    told = [one for one in COOKED if one.key not in (leave, "relative_solids_20C")]
    lines, names = [], []
    for one in told:
        names.append(heads[one.key])
        if one.key in ("minutes", POUR) and any(one.key + INTERVAL in r for r in rows):
            names.append("\n95 % band")
    for row in rows:
        cells: list[str] = []
        for one in told:
            value, band = _cells(one, row, show)
            cells += (
                [value, band]
                if one.key + INTERVAL in rows[0]
                and one.key
                in (
                    "minutes",
                    POUR,
                )
                else [value]
            )
        lines.append(tuple(cells))
    return Table(
        heads=tuple(names),
        rows=tuple(lines),
        left=frozenset(),
        drop=(5, 4),
        spare=max(len(lines) - 3, 0),
    )


def _cells(one: Field, row: Row, show: Shown) -> tuple[str, str]:
    """Return a value and its band; minutes to a tenth, their band as it is known."""
    if one.key == "bulk_C":
        return _bare(row["bulk_C"], show), ""
    if one.key != "minutes":
        told, band = one.cells(row, show)
        return told, "" if band == f"{told} to {told}" else band
    told = numbers.typed(numbers.tidy(row["minutes"]))
    low, high = one.band(row)
    if math.isnan(low):
        return told, ""
    _, first, last = numbers.with_band(row["minutes"], low, high, "a day")
    return told, f"{'at once' if low == 0.0 else first} to {last}"
