"""How a kitchen measurement is made: a protocol on one screen, a sheet to write on.

Common practice, no source, where nothing else is said; what a reading is used for
stands in :mod:`castsugar.kitchen.measurements`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from castsugar.report.cautions import Chosen
from castsugar.report.document import Part
from castsugar.report.screen import Blanks, Finding, Listing, Screen
from castsugar.report.shown import Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """How one kind of measurement is made; {a} in a step is a quantity.

    `amounts` maps slots to kind and value, in the unit of the kind; `readings` are what
    is written down, as the options are called; `typed` is the command afterwards, with
    readings of an example.
    """

    tells: str
    needs: str
    steps: tuple[str, ...]
    amounts: dict[str, tuple[str, float]]
    readings: tuple[str, ...]
    typed: str


_HOT = '--recipe "KNO3:60 sugar:20 corn syrup:20" --cook "119 C" --minutes 8'

PROTOCOLS = {
    "pan weight": Protocol(
        tells="how fast your pan dries the mix, 20 minutes",
        needs="a scale of {scale} or finer, the pan, a thermometer, a clock",
        steps=(
            "Weigh pan, spoon and everything that stays in it, empty.",
            "Weigh the ingredients in; note the mass of the mix.",
            "Cook as you always do; note the temperature in the bulk and the minutes.",
            "Take it off the heat and weigh pan, spoon and mix again, still hot, on a "
            "board that keeps the scale cool.",
            "Lost is the mass before less the mass after: water, and nothing else if "
            "nothing was spilled.",
        ),
        amounts={"scale": ("mass", 0.1)},
        readings=("batch", "lost", "cook", "minutes"),
        typed=f'castsugar kitchen pan-weight {_HOT} --batch "200 g" --lost "2.2 g"',
    ),
    "bulk density": Protocol(
        tells="how densely your ground nitrate packs, 10 minutes, cold",
        needs="a straight cup of {cup} or more, a scale, a ruler to strike off",
        steps=(
            "Take the nitrate alone, dry and ground as for a batch; never a mix.",
            "Find the volume of the cup: grams of cold water are millilitres.",
            "Dry the cup, fill it loosely, tap it 200 times on a folded towel, fill up "
            "while it sinks.",
            "Strike off level with the ruler, without pressing.",
            "Weigh the cup, and take off the empty cup.",
            "Do it three times; the middle one counts.",
        ),
        amounts={"cup": ("volume", 50.0)},
        readings=("mass", "volume"),
        typed='castsugar kitchen bulk-density --mass "69 g" --volume "50 ml"',
    ),
    "ball fall": Protocol(
        tells="solids and grade of your syrup together, 15 minutes, cold",
        needs="a steel ball of {ball}, a clear straight cup at least 3 balls wide",
        steps=(
            "Fill the cup with plain syrup, no nitrate; let bubbles rise.",
            "Wait until a thermometer in it does not move; note the temperature.",
            "Mark two heights, {fall} apart, the upper one well below the surface.",
            "Wet the ball with syrup and let it sink in the middle.",
            "Take the time from mark to mark.",
            "Three balls, the middle time counts; below 5 s take a smaller ball or "
            "colder syrup.",
        ),
        amounts={"ball": ("length", 3.0), "fall": ("length", 50.0)},
        readings=("ball", "cup", "fall", "time", "temperature"),
        typed='castsugar kitchen ball-fall --ball "3 mm" --cup "40 mm" --fall "50 mm" '
        '--time "12 s" --temperature "25 C"',
    ),
    "flow-out": Protocol(
        tells="how thick your mix is at the pour: the one that tells most, 30 minutes",
        needs="a metal cup, a tube of about {tube} in its bottom, a clock, a measure",
        steps=(
            "First without nitrate: weigh 0.943 of its mass as ground potassium "
            "chloride, the same volume, into the pan, and say --salt.",
            "Cook as you always do; warm cup and tube to the same temperature.",
            "Close the tube, fill the cup, note the height of the mix over the outlet.",
            "Open; take the time that a marked volume takes to run out.",
            "The head is the mean of the heights before and after.",
            "Repeat it once with a fresh cup; dissolve all of it in water afterwards.",
        ),
        amounts={"tube": ("length", 8.0)},
        readings=("tube-diameter", "tube-length", "head", "volume", "time"),
        typed=f'castsugar kitchen flow-out {_HOT} --tube-diameter "8 mm" '
        '--tube-length "30 mm" --head "60 mm" --volume "50 ml" --time "300 s" '
        '--salt "potassium chloride"',
    ),
}


def how_screen(kind: str, cautions: Chosen, show: Shown) -> Screen:
    """Return how a measurement is made: `kind` is a key of :data:`PROTOCOLS`."""
    one = PROTOCOLS[kind]
    needs, *steps = _told(one, show)
    numbered = tuple(f"{place}  {step}" for place, step in enumerate(steps, 1))
    return Screen(
        command="kitchen",
        title=f"How to measure: {kind}",
        findings=(Finding("RESULT", f"Tells {one.tells}."),),
        conditions=f"You need {needs}.",
        blocks=(Listing(numbered),),
        cautions=cautions.lines,
        cautions_count=cautions.count,
        next=one.typed,
        sheet=(Blanks((*one.readings, "date")),),
    )


def _told(one: Protocol, show: Shown) -> list[str]:
    """Return what is needed and the steps, with their quantities."""
    told = {slot: show.typed(*amount) for slot, amount in one.amounts.items()}
    return [text.format(**told) for text in (one.needs, *one.steps)]


PROTOCOL_PARTS = {
    "tells": Part(meaning="what the measurement is for"),
    "needs": Part(meaning="what it takes"),
    "steps": Part(meaning="in their order"),
    "readings": Part(meaning="what is written down: the options of the command"),
}


def how_parts(kind: str) -> dict[str, Any]:
    """Return a protocol as plain values."""
    one = PROTOCOLS[kind]
    needs, *steps = _told(one, Shown())
    told = {"tells": one.tells, "needs": needs, "steps": steps}
    return told | {"readings": list(one.readings)}
