"""What to expect of a mix in words: pan, minutes to pour, cooling, cracks, damp."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from castsugar.constants import ICE_POINT
from castsugar.frozen import dataclass
from castsugar.kitchen import casting, uptake
from castsugar.kitchen.handling import DOSE, MOST_GAIN, Grain, Handling
from castsugar.kitchen.pan import ROOM
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.sugars import MIND, SHRINKS
from castsugar.kitchen.uptake import DAYS
from castsugar.report import numbers
from castsugar.report.screen import Annex, Block, Paragraph, Table
from castsugar.report.shown import Shown

_MONTH, _FACTOR = DAYS[-1], numbers.typed(uptake.FACTOR)

#: Where nitrate changes its crystal form [K].
_ARREST = 128.0 + ICE_POINT

_CRACKS = {
    "rubbery": "rubbery in the room, no crack is expected on slow cooling",
    "between": "stiff in the room: cool slowly, look for cracks",
    "brittle": "brittle in the room: cool slowly, pull the rod warm, do not drop it, "
    "inspect it with a torch",
}


def month_gains(found: Handling) -> str:
    """Say what a grain gains in a month; of unknown air, at each humidity told."""
    told = [(rh, share) for rh, days, share in found.gains if days == _MONTH]
    limit = numbers.typed(float(round(found.limit)))
    if any(math.isnan(share) for _, share in told):
        return f"draws water without end above {limit} % humidity"
    shares = [_share(share) for _, share in told]
    airs = [numbers.typed(numbers.tidy(rh)) for rh, _ in told]
    if len(told) == 1 and math.isinf(told[0][1]):
        return f"at {airs[0]} % humidity it draws water without end"
    if any(math.isnan(share) for _, share in told):
        limit = numbers.typed(numbers.tidy(round(found.limit)))
        return f"above {limit} % humidity it draws water without end"
    return (
        f"in a month at {', '.join(airs)} % humidity it gains {', '.join(shares)} % "
        f"water (factor {_FACTOR})"
    )


def damp_column(handled: Sequence[Handling | None]) -> tuple[str, list[str]]:
    """Return a humidity, and what each mix gains in a month of it in percent.

    That of the store, or the middle one of those that are told.
    """
    airs = next((list(one.gains) for one in handled if one is not None), [])
    asked = sorted({rh for rh, *_ in airs}) or [math.nan]
    humidity = asked[len(asked) // 2]
    cells = [
        numbers.DASH if one is None else _share(one.gain(humidity, _MONTH))
        for one in handled
    ]
    return numbers.typed(numbers.tidy(humidity)), cells


def _share(share: float) -> str:
    """Write a gain in percent."""
    if math.isnan(share):
        return numbers.DASH
    if math.isinf(share):
        return "no end"
    return numbers.significant(100.0 * share, 2)


def pour_time(found: Handling) -> str:
    """Say how long it pours off the heat; empty where the pan is not known."""
    if math.isnan(found.pourable):
        return ""
    if found.pourable == 0.0:
        return "off the heat at once too thick"
    return f"off the heat for {_minutes(found.pourable)} min"


def _minutes(seconds: float) -> str:
    return numbers.significant(seconds / 60.0, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Handled:
    """What to expect of the mixes of a screen, None without a model.

    `grain` is the one that is cast, `kitchen` the one that cooks; `stated`: how dense
    it is stands in the bench, not how it flows.
    """

    each: tuple[Handling | None, ...]
    grain: Grain
    kitchen: Kitchen
    stated: bool = False

    def annexes(
        self, names: Sequence[str], rows: Sequence[Mapping[str, Any]], show: Shown
    ) -> Iterator[Annex]:
        """Yield what is expected in the pan, after the pour and in the store."""
        known = [i for i, one in enumerate(self.each) if one is not None]
        if len(self.each) > 1 and known:
            yield Annex("What to expect", (self._side_by_side(names, known, show),))
            return
        for one, row in zip(self.each, rows, strict=True):
            if one is not None:
                yield Annex("Your pan", (_labelled(_pan_lines(one, self, show)),))
                cast = _cast_lines(one, self, row, show)
                yield Annex("After the pour", (_labelled(cast),))
                yield Annex("In the store", (*_store(one, self.grain, show),))

    def _side_by_side(
        self, names: Sequence[str], known: Sequence[int], show: Shown
    ) -> Table:
        """Return several mixes going down."""
        humidity, damp = damp_column(self.each)
        lines = []
        for place in known:
            one = self.each[place]
            assert one is not None
            lines.append(
                (
                    names[place],
                    show.bare("temperature", one.wall - ICE_POINT),
                    _minutes(one.pourable),
                    _minutes(one.cooling[1]),
                    numbers.significant(100.0 * one.shrinkage, 2),
                    one.cracks or numbers.DASH,
                    damp[place],
                )
            )
        heads = (
            "",
            f"wall at\nleast, {show.unit('temperature')}",
            "pours off\nheat, min",
            "hand-warm\nin tube, min",
            "shrinks\n%",
            "binder\nin the room",
            f"month at {humidity} %\ngains, %",
        )
        return Table(heads=heads, rows=tuple(lines), left=frozenset((0, 5)))


def _labelled(lines: Iterator[tuple[str, str]]) -> Table:
    """Return sentences one below the other, each with what it is about."""
    return Table(heads=("", ""), rows=tuple(lines), left=frozenset({0, 1}))


def _pan_lines(
    found: Handling, asked: Handled, show: Shown
) -> Iterator[tuple[str, str]]:
    """Yield layer, wall, heater, dose and minutes."""
    pan, cook = asked.kitchen.cook.pan, asked.kitchen.cook
    if pan is None:
        yield (
            "not known",
            "batch and pan_diameter in [kitchen] narrow the drying and tell "
            "how hot the wall gets; pan_mass tells how long it pours off the heat",
        )
        return
    wide = show.typed("length", 1e3 * pan.diameter)
    batch = show.typed("mass", 1e3 * pan.batch)
    turned = numbers.typed(numbers.tidy(pan.interval))
    yield (
        "layer",
        f"{batch} in a pan of {wide}: {numbers.significant(found.layer, 2)} kg/m², "
        f"turned every {turned} s: {numbers.factor(pan.layer)} times as long to dry as "
        "a usual layer",
    )
    above = show.amount("temperature difference", found.wall - cook.hottest, 2)
    rate = show.amount("temperature difference", 60.0 * found.rate, 2)
    how = f"while it warms by {rate} a minute" if found.rate else "while it is held"
    wall = show.amount("temperature", found.wall - ICE_POINT)
    yield (
        "wall",
        f"at least {wall} {how}, {above} above the bulk; unstirred spots, coils "
        "and the swing of a thermostat are hotter",
    )
    if found.wall >= _ARREST:
        arrest = show.typed("temperature", _ARREST - ICE_POINT)
        yield (
            arrest,
            "nitrate changes its crystal form: a thermometer rests "
            "there for minutes while the plate keeps pushing; that is no boil",
        )
    yield from _heater_lines(found, asked.kitchen, show)


def _heater_lines(
    found: Handling, kitchen: Kitchen, show: Shown
) -> Iterator[tuple[str, str]]:
    """Yield what the heater can do, what a dose does, how long it pours."""
    pan, hot = kitchen.cook.pan, kitchen.cook.pour_temperature - ICE_POINT
    assert pan is not None
    heat = show.amount("temperature", hot)
    if not math.isnan(found.warming):
        yield (
            "heater",
            f"at {numbers.typed(numbers.tidy(pan.watts or 0.0))} W it takes "
            f"{_minutes(found.warming)} min to {heat}, and "
            f"{_minutes(found.boiling)} min to boil off the water that leaves",
        )
    dose = show.typed("mass", 1e3 * DOSE * pan.batch)
    drop = show.amount("temperature difference", found.dose[0], 2)
    again = ""
    if math.isinf(found.dose[1]):
        again = ", which the heater does not make up for"
    elif not math.isnan(found.dose[1]):
        again = f"; {numbers.significant(found.dose[1], 2)} s of heating make it good"
    bare = "" if pan.mass else ", the pan left out (give pan_mass)"
    yield "dose", f"{dose} dry mix, cold, takes {drop} off the pan{again}{bare}"
    if math.isnan(found.pourable):
        yield "to pour", "minutes off the heat: not computed without pan_mass"
        return
    constant = numbers.significant(pan.cooling_time / 60.0, 2)
    yield (
        "to pour",
        f"{pour_time(found)}: pan and mix cool with a time constant of "
        f"{constant} min; two readings a minute apart measure yours",
    )


def _cast_lines(
    found: Handling, asked: Handled, row: Mapping[str, Any], show: Shown
) -> Iterator[tuple[str, str]]:
    """Yield mould, cooling, shrinkage, cracks and voids."""
    warm = f"{show.bare('temperature', 60.0, 2)} to {show.typed('temperature', 80.0)}"
    cook, grain = asked.kitchen.cook, asked.grain
    room = ROOM if cook.pan is None else cook.pan.room
    skins = [
        casting.contact_temperature(cook.pour_temperature, room, wall) - ICE_POINT
        for wall in ("steel", "paper")
    ]
    chill = [show.amount("temperature", skin, 2) for skin in skins]
    yield (
        "mould",
        f"warm metal moulds and rods to {warm} in an oven "
        "before there is mix near it: cold metal chills the skin to "
        f"{chill[0]} at once, paper and plastic to {chill[1]}",
    )
    outer = show.typed("length", 1e3 * grain.outer)
    end = show.typed("temperature", casting.HAND_WARM - ICE_POINT)
    times = [numbers.significant(t / 60.0, 2) for t in found.cooling]
    yield (
        "cooling",
        f"a grain of {outer} is hand-warm ({end}) after {times[0]} min in still air, "
        f"{times[1]} min in a tube (± {numbers.typed(100 * casting.DOUBT)} %); leave "
        "the rod until then, setting takes longer than cooling",
    )
    shrinks = numbers.significant(100.0 * found.shrinkage, 2)
    across = numbers.significant(100.0 * found.shrinkage / 3.0, 1)
    text = f"it shrinks by {shrinks} % of its volume, {across} % across: it grips the "
    text += "rod and leaves the tube; look for a gap at the wall, a path for the flame"
    yield "shrinkage", SHRINKS + MIND if math.isnan(found.shrinkage) else text
    if found.cracks:
        glass = show.amount("temperature", found.glass - ICE_POINT, 2)
        text = f"binder turns to glass at {glass}: {_CRACKS[found.cracks]}"
        yield "cracks", text
    ratio, u = (100.0 * row[key] for key in ("density_ratio", "density_ratio_u"))
    told, doubt = numbers.with_uncertainty(ratio, u)
    whose = "as you say for the motor" if asked.stated else "as it flows"
    origin = "" if asked.stated else " (common practice, no source)"
    yield (
        "voids",
        f"{whose} a grain has {told} ± {doubt} % of the theoretical density"
        f"{origin}; calipers and scale tell yours, no water or oil "
        "displacement: below 0.90 of it, above 1.01, or 0.03 below its sisters do not "
        "fire it, dissolve and discard",
    )


def _store(found: Handling, grain: Grain, show: Shown) -> Iterator[Block]:
    """Yield what a grain gains, and how long a bag keeps it."""
    if any(math.isnan(share) for *_, share in found.gains):
        yield Paragraph(
            "How fast it draws water is not known: diffusion was measured in sucrose. "
            f"Above {round(found.limit)} % humidity there is no end. Weigh it after "
            "casting and before use."
        )
        return
    airs = dict.fromkeys(rh for rh, *_ in found.gains)
    rows = tuple(
        (
            numbers.typed(numbers.tidy(rh)),
            *(_share(found.gain(rh, days)) for days in DAYS),
        )
        for rh in airs
    )
    heads = ("humidity\n%", "gains in a\nday, %", "\nweek, %", "\nmonth, %")
    yield Table(heads=heads, rows=rows, left=frozenset())
    outer = show.typed("length", 1e3 * grain.outer)
    most, limit = (
        numbers.typed(numbers.tidy(x)) for x in (100.0 * MOST_GAIN, round(found.limit))
    )
    text = (
        f"Water gained by a grain of {outer}, bare on all faces (factor {_FACTOR}); "
        f"above {limit} % humidity without end. 1 % of water costs 25 K of flame "
        "temperature and softens the skin. Weigh it after casting and before use: "
        f"{most} % more is a grain to dry or discard."
    )
    yield Paragraph(text)
    if not math.isnan(found.bag_days[0]):
        yield Paragraph(_bag(found, most))


def _bag(found: Handling, most: str) -> str:
    """Say how long a bag keeps a grain."""
    if math.isinf(found.bag_days[0]):
        return "In the bag it gains nothing: the air outside is no wetter."
    fast, slow = (numbers.significant(days, 2) for days in found.bag_days)
    return (
        f"In the bag {most} % takes {fast} to {slow} days (a guess; weigh the sealed "
        "bag monthly)."
    )
