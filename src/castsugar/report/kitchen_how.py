"""How a kitchen measurement is made: a protocol on one screen, a sheet to write on.

Common practice, no source, where nothing else is said; what a reading is used for
stands in :mod:`castsugar.kitchen.measurements`.
"""

from __future__ import annotations

from typing import Any

from castsugar.frozen import dataclass
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
        tells="a little of how your ground nitrate packs, 10 minutes; brine tells more",
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
    "brine": Protocol(
        tells="how densely your ground nitrate packs in syrup, 20 minutes and a night",
        needs="a cylinder of {cylinder}, a scale, water, a folded towel; no sugar",
        steps=(
            "Stir more nitrate into warm water than dissolves, cool, let it stand 12 h "
            "in the room where you measure; crystals must remain. That is the brine.",
            "Stir {mass} of the dry ground nitrate with {brine} of brine to a smooth "
            "paste, a drop of dish soap against bubbles; pour it into the cylinder, "
            "rinse with brine.",
            "Let it settle until it stays: minutes if coarse, 2 h if fine, a night if "
            "milled. Read the volume of the bed: loose.",
            "Tap 200 times on the towel, again until it stays. Read it: tapped.",
            "If the bed shrinks for hours, the brine was not saturated: do it again. "
            "Of several runs give the means, and --runs.",
            "Potassium chloride: the same in its own brine, and say --salt. Discard "
            "it all in plenty of water.",
        ),
        amounts={
            "cylinder": ("volume", 100.0),
            "mass": ("mass", 60.0),
            "brine": ("volume", 35.0),
        },
        readings=("mass", "loose", "tapped", "temperature", "runs"),
        typed='castsugar kitchen brine --mass "60 g" --loose "52 ml" --tapped "46 ml" '
        '--temperature "20 C"',
    ),
    "clear point": Protocol(
        tells="how much nitrate the syrup dissolves, 45 minutes, on a water bath",
        needs="a small glass with a lid, a pot of water, no flame, goggles, a torch, "
        "a scale of {scale}, a thermometer",
        steps=(
            "Weigh glass, lid and spatula with {liquid} of plain syrup (A), or of 10 "
            "parts syrup and 4 sugar, dissolved (B). Never the liquid of a cook.",
            "Hang it in water of {bath}; the thermometer stands in the glass.",
            "Stir in fine nitrate, {portion} at a time, near the end {last}, 3 min "
            "each, until crystals stay for 10 min against the torch.",
            "Note all that you added, the last portion, the temperature.",
            "Weigh the glass with everything again: what is missing is water.",
            "Never heat it further, never let it dry; it scalds and sticks. Discard it "
            "in plenty of water. Two liquids tell more than one twice.",
        ),
        amounts={
            "scale": ("mass", 0.1),
            "liquid": ("mass", 20.0),
            "bath": ("temperature", 85.0),
            "portion": ("mass", 0.5),
            "last": ("mass", 0.1),
        },
        readings=("liquid", "mass", "added", "portion", "temperature", "lost"),
        typed='castsugar kitchen clear-point --liquid A --mass "20 g" --added "5.1 g" '
        '--portion "0.1 g" --temperature "85 C" --lost "0.1 g"',
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
    "boiling water": Protocol(
        tells="what your thermometer, or the dial of the plate, is off, 10 minutes",
        needs="a small pot of plain water, the thermometer of your cook; no mix near",
        steps=(
            "Say your altitude, or the pressure of the air, in [kitchen].",
            "Boil plain water briskly; hold the thermometer as deep as in a mix, "
            "touching neither bottom nor wall.",
            "Read it when it stays for a minute: that is the reading.",
            "The dial of a thermostat: turn it up until the water just boils, and read "
            "that. Cook by the one that you read here.",
            "It tells what is off near {boil}; up to a pour it may be {drift} more.",
        ),
        amounts={
            "boil": ("temperature", 100.0),
            "drift": ("temperature difference", 1.0),
        },
        readings=("reading",),
        typed='castsugar kitchen boiling-water --reading "98.5 C"',
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
            "Hold a spatula with it upright: the thickest layer that stays is --layer.",
            "Repeat it with a fresh cup, and once with twice the syrup: thin and "
            "crowded mixes together tell the law. Dissolve all of it in water after.",
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
