"""Simulated kitchens: what is believed of the pour before and after measurements.

Run ``python benchmarks/validation/kitchen.py [KITCHENS]``; it takes about ten minutes
of one core and prints what stands in ``kitchen.md``. The truth of a kitchen is drawn
from the priors of all parameters, by a generator of its own; its readings are made from
that truth as a user would read them, in grams, millilitres and seconds, with the errors
of the methods. Then the 95 % band of the pour viscosity of two recipes is held against
the truth; a mix that truly jams is covered by a band that ends in a jam. Stress rows
draw the truth elsewhere.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import datetime
import math
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import partial

import numpy as np

from castsugar import Cook, Kitchen
from castsugar.errors import CastsugarError
from castsugar.kitchen import (
    calibration,
    foresight,
    measurements,
    solubility,
    viscometry,
)
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.parameters import PARAMETERS, Values, unmeasured, values_of
from castsugar.kitchen.pot import pot_of, poured, water_at_start, water_left
from castsugar.mix.mix import Mix

#: Kitchens, and the seed: fixed before the run.
COUNT, SEED = 400, 24

COOK = Cook.hold(392.15, 600.0)
AIR = 101325.0


def _mix(nitrate: float, sugar: float, syrup: float) -> Mix:
    return Mix.weigh({"KNO3": nitrate, "sucrose": sugar, "corn syrup": syrup})


#: Recipes whose pour is asked, and a thin one for a flow-out beside the first.
ASKED = {"60/20/20": _mix(60, 20, 20), "60/17/23": _mix(60, 17, 23)}
FIRST, THIN = ASKED["60/20/20"], _mix(45, 15, 40)

#: What a law of suspensions says of ln of the thickening, by crowding.
Law = Callable[[float], float]


class Truth:
    """A true kitchen, its pots, and the readings that it gives."""

    def __init__(self, inner: np.ndarray, law: Law | None, seed: int) -> None:
        """Take the parameters; `law` in place of the exponent's."""
        self.values: Values = values_of(inner)
        self.law, self.seed = law, seed

    def viscosity(self, mix: Mix, *, dummy: bool = False) -> float:
        """Return the true viscosity at the pour; infinite where it jams. [Pa s]"""
        pot = pot_of(mix).as_dummy() if dummy else pot_of(mix)
        if self.law is None:
            return float(poured(pot, self.values, COOK, AIR)[0][0])
        bare = self.values.changed(law_exponent=np.asarray(0.0))
        eta, crowding = (float(x[0]) for x in poured(pot, bare, COOK, AIR))
        return eta * math.exp(self.law(crowding)) if crowding < 1.0 else math.inf

    def read(self, kind: str, rng: np.random.Generator) -> list[Measurement]:
        """Return what was measured of one kind; nothing where nothing ran out."""
        return _READ[kind](self, rng)


# ----------------------------------------------------------------------------
# Readings, as a user makes them.


def _brine(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Read two volumes of a bed; their mean lies 0.02 off the slurry's packing."""
    packing = float(truth.values.packing) + rng.normal(0.0, 0.02)
    mass = 60.0 + rng.normal(0.0, math.hypot(0.1, 0.39))  # scale; 1 K of solubility
    loose, tapped = (
        mass / (2.109 * share * packing) + rng.normal(0.0, 0.7)
        for share in (0.94, 1.06)
    )
    return [
        measurements.brine(
            mass=0.06, loose=1e-6 * loose, tapped=1e-6 * tapped, temperature=293.15
        )
    ]


def _bulk(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Weigh a cup of 50 ml."""
    dry = float(truth.values.packing * truth.values.dry_packing)
    mass = (dry + rng.normal(0.0, measurements.PACKING)) * 2.109 * 50.0
    return [measurements.bulk_density(mass=1e-3 * mass, volume=50e-6)]


#: Liquids of a clear point.
LIQUIDS = ({"corn syrup": 1.0}, {"corn syrup": 10.0, "sucrose": 4.0})


def _clear(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Clear two liquids: portions and scale of 0.1 g, thermometer of 1 K."""
    return [_clear_of(truth, rng, liquid) for liquid in LIQUIDS]


def _clear_of(
    truth: Truth, rng: np.random.Generator, liquid: dict[str, float]
) -> Measurement:
    """Clear one liquid."""
    known = truth.values
    pot = pot_of(Mix.weigh(liquid))
    start = 20.0 * float(water_at_start(pot, known)[0])
    lost = abs(rng.normal(0.0, 0.1))
    water = start - lost
    sugars = (20.0 - start) / water
    share = math.log(float(known.nitrate_dissolved)) + float(known.nitrate_carried)
    share += float(known.nitrate_trend) * (sugars - measurements.POUR_SUGARS)
    kelvin = 358.15 + rng.normal(0.0, 1.0)
    takes = math.exp(share) * water * float(solubility.salt_solubility(kelvin))
    takes *= math.exp(rng.normal(0.0, 0.02))  # the judgement of the eye
    added = 0.1 * math.ceil(takes / 0.1 + rng.uniform(-0.5, 0.5))
    read = max(lost + rng.normal(0.0, 0.1), 0.0)
    return measurements.clear_point(
        liquid,
        mass=0.02,
        added=1e-3 * max(added, 0.1),
        portion=1e-4,
        temperature=358.15,
        lost=1e-3 * read,
    )


def _pan(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Weigh 200 g before and after to 0.1 g, 5 % of the loss on the spoon."""
    pot = pot_of(FIRST)
    start = water_at_start(pot, truth.values)[0]
    lost = 200.0 * float(start - water_left(pot, truth.values, COOK, AIR)[0])
    read = lost + rng.normal(0.0, math.hypot(0.1 * math.sqrt(2.0), 0.05 * lost))
    return [measurements.pan_weight(FIRST, COOK, batch=0.2, lost=1e-3 * max(read, 0.0))]


def _solids(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Weigh a cup of syrup: its solids within 0.006."""
    one = foresight.syrup_density(FIRST)
    true = float(np.asarray(one.predict(truth.values)))
    return [replace(one, observed=true + rng.normal(0.0, one.spread))]


def _ball(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Time a ball of 3 mm through 50 mm."""
    one = foresight.any_ball_fall("light corn syrup")
    true = float(np.ravel(one.predict(truth.values))[0])
    return [replace(one, observed=true + rng.normal(0.0, viscometry.BALL))]


def _flow(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Time the dummy of the first recipe."""
    return _flow_of(truth, rng, FIRST)


def _flows(truth: Truth, rng: np.random.Generator) -> list[Measurement]:
    """Time a thin dummy, then the crowded one."""
    return _flow_of(truth, rng, THIN) + _flow_of(truth, rng, FIRST)


def _flow_of(truth: Truth, rng: np.random.Generator, mix: Mix) -> list[Measurement]:
    eta = truth.viscosity(mix, dummy=True)
    read = rng.normal(0.0, viscometry.FLOW_OUT)
    if not eta * math.exp(read) < 500.0:  # nobody waits for more
        return []
    one = foresight.any_flow_out(mix, COOK, air_pressure=AIR)
    return [replace(one, observed=math.log(eta) + read)]


_READ: dict[str, Callable[[Truth, np.random.Generator], list[Measurement]]] = {
    "brine": _brine,
    "clear point, two liquids": _clear,
    "bulk density": _bulk,
    "pan weight": _pan,
    "syrup density": _solids,
    "ball fall": _ball,
    "flow-out": _flow,
    "two flow-outs": _flows,
}

#: What is measured in a row.
ROWS: dict[str, tuple[str, ...]] = {
    "nothing": (),
    **{kind: (kind,) for kind in _READ},
    "brine, clear point": ("brine", "clear point, two liquids"),
    "and pan, density, ball": (
        *("brine", "clear point, two liquids"),
        *("pan weight", "syrup density", "ball fall"),
    ),
    "and flow-out": (
        *("brine", "clear point, two liquids"),
        *("pan weight", "syrup density", "ball fall", "flow-out"),
    ),
    "all": tuple(kind for kind in _READ if kind != "flow-out"),
}


# ----------------------------------------------------------------------------
# Kitchens, and how they are covered.

#: The nine laws whose spread is the prior of the exponent, at a packing of 0.62; see
#: the tests of the packing. Names from memory of Krieger & Dougherty and others.
_TOP = 0.62


def _laws() -> list[Law]:
    def boyer(r: float) -> float:
        away = r / (1.0 - r)
        friction = 0.32 + 0.38 / (1.0 + 0.005 * away**2)
        return math.log(1.0 + 2.5 * r * _TOP / (1.0 - r) + friction * away**2)

    def morris(r: float) -> float:
        away = r / (1.0 - r)
        return math.log(1.0 + 2.5 * _TOP * away + 0.1 * away**2)

    def power(n: float) -> Law:
        return lambda r: -n * math.log(1.0 - r)

    def squared(a: float) -> Law:
        return lambda r: 2.0 * math.log(1.0 + a * r / (1.0 - r))

    powers = [power(n) for n in (2.0, 2.5 * _TOP, 3.2 * _TOP, 4.0 * _TOP)]
    squares = [squared(a) for a in (0.75, 1.25 * _TOP, 1.75 * _TOP)]
    return [*powers, *squares, boyer, morris]


def drawn(rng: np.random.Generator, shifts: dict[str, float]) -> np.ndarray:
    """Return a truth on the scales of the parameters; shifts in standard deviations."""
    prior = unmeasured()
    scores = rng.standard_normal(len(PARAMETERS))
    for place, one in enumerate(PARAMETERS):
        scores[place] = shifts.get(one.name, scores[place])
    return prior.mean + prior.spreads() * scores


def truths_of(
    count: int, *, law: bool = False, shifts: dict[str, float] | None = None
) -> list[Truth]:
    """Return kitchens: with a law drawn of the nine, or with parameters held off."""
    found = []
    for number in range(count):
        rng = np.random.default_rng([SEED, 1000, number])
        inner = drawn(rng, shifts or {})
        mine = _laws()[int(rng.integers(9))] if law else None
        found.append(Truth(inner, mine, number))
    return found


def learnt_of(truth: Truth, kinds: tuple[str, ...]) -> Kitchen:
    """Return what a kitchen knows after its readings."""
    read: list[Measurement] = []
    for number, kind in enumerate(_READ):
        if kind in kinds:
            rng = np.random.default_rng([SEED, truth.seed, number])
            try:
                read += truth.read(kind, rng)
            except CastsugarError:  # refused at once: the user does not measure it
                continue
    return calibration.calibrate(Kitchen(cook=COOK), read).kitchen


Held = dict[str, list[bool]]
Wide = dict[str, list[float]]


def bands_of(truths: list[Truth], kinds: tuple[str, ...]) -> tuple[Held, Wide]:
    """Return of every mix whether bands hold the truth, and ln of how wide they are."""
    held: Held = {asked: [] for asked in ASKED}
    wide: Wide = {asked: [] for asked in ASKED}
    for truth in truths:
        known = learnt_of(truth, kinds)
        for asked, mix in ASKED.items():
            low, ten, _, ninety, high = calibration.viscosity_band(known, mix)
            held[asked].append(bool(low <= truth.viscosity(mix) <= high))
            wide[asked].append(math.log(ninety) - math.log(ten))
    return held, wide


def row_of(name: str, truths: list[Truth], kinds: tuple[str, ...]) -> None:
    """Print how many bands hold the truth, and how wide the middle one is."""
    held, wide = bands_of(truths, kinds)
    cells = []
    for asked in ASKED:
        share = float(np.mean(held[asked]))
        error = math.sqrt(share * (1.0 - share) / len(truths))
        width = float(np.median(wide[asked]))
        cells.append(f"{100 * share:.1f} +- {100 * error:.1f}")
        cells.append(f"{math.exp(0.5 * width):.1f}" if width < 99.0 else "jams")
    print(f"| {name} | {' | '.join(cells)} |", flush=True)


def precisions(count: int) -> None:
    """Print how far a brine and a clear point read off the truth."""
    print("\n| reading | mean off | standard deviation |\n| --- | --- | --- |")
    cases = {
        f"clear point {letter}, water of the syrup to {said}, ln": partial(
            _clear_off, place, half
        )
        for half, said in ((0.5, "1 point"), (0.25, "half a point"))
        for place, letter in enumerate("AB")
    } | {"brine, packing": _brine_off}
    for name, off in cases.items():
        each = []
        for truth in truths_of(count):
            rng = np.random.default_rng([SEED, truth.seed, 77])
            with suppress(CastsugarError):  # refused at once
                each.append(off(truth, rng))
        mean, spread = np.nanmean(each), np.nanstd(each)
        print(f"| {name} | {mean:+.3f} | {spread:.3f} |", flush=True)


def _clear_off(
    place: int, half: float, truth: Truth, rng: np.random.Generator
) -> float:
    """Return ln of read over true share; NaN where a portion is a tenth of all."""
    solids = np.asarray(half * rng.standard_normal())
    truth.values = truth.values.changed(syrup_solids=solids)
    one = _clear_of(truth, rng, LIQUIDS[place])
    stated = truth.values.changed(syrup_solids=np.asarray(0.0))
    true = float(np.ravel(one.predict(stated))[0])
    return one.observed - true if true > math.log(0.15) else math.nan


def _brine_off(truth: Truth, rng: np.random.Generator) -> float:
    """Return the packing that was read less the true one."""
    return _brine(truth, rng)[0].observed - float(truth.values.packing)


#: What is measured, step by step, where every reading is what is believed.
STEPS: dict[str, tuple[str, ...]] = {
    "nothing": (),
    "brine, clear point": ("brine", "clear point, two liquids"),
    "and pan, density, ball": ROWS["and pan, density, ball"],
    "and flow-out": ROWS["and flow-out"],
    "and a thin flow-out": (*ROWS["and pan, density, ball"], "two flow-outs"),
}

#: Spread of ln of the drying time where the batch on its pan is known.
KNOWN_PAN = 0.55


def middling() -> None:
    """Print quantiles of the pour after readings that are as expected."""
    prior = unmeasured({"drying_time": (3000.0, KNOWN_PAN)})
    middle = Truth(prior.mean, None, 0)
    print("\n| | " + " | ".join(f"{asked}, Pa s | <= 10" for asked in ASKED) + " |")
    print("|" + " --- |" * 5)
    for name, kinds in STEPS.items():
        read = []
        for kind in kinds:
            for one in middle.read(kind, np.random.default_rng(1)):
                expected = float(np.ravel(np.asarray(one.predict(middle.values)))[0])
                read.append(replace(one, observed=expected))
        known = calibration.calibrate(Kitchen(cook=COOK, belief=prior), read).kitchen
        cells = []
        for mix in ASKED.values():
            _, low, mid, high, _ = calibration.viscosity_band(known, mix)
            values = known.belief.draw(known.draws, known.seed)
            eta = poured(pot_of(mix, known), values, COOK, AIR)[0][0]
            told = f"{high:.3g}" if high < 1e4 else "jams"
            cells.append(f"{low:.2g} / {mid:.3g} / {told} | {np.mean(eta <= 10.0):.2f}")
        print(f"| {name} | {' | '.join(cells)} |", flush=True)


#: Truths that the priors do not expect, all measured.
STRESS: dict[str, dict[str, float]] = {
    "packing two deviations low": {"packing": -2.0},
    "nitrate dissolves two deviations more": {"nitrate_dissolved": 2.0},
    "liquid two deviations thicker": {"liquid_factor": 2.0},
    "thermometer 4 K off": {"thermometer": 2.0},
}


def main() -> None:
    """Print everything."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    start = time.process_time()
    print("# Simulated kitchens: the pour before and after measurements\n")
    print(
        f"{datetime.date.today().isoformat()}, {count} kitchens a row, seed {SEED}; "
        f"119 C, 10 min; {count // 2} where a parameter is held off.\n"
    )
    heads = " | ".join(f"{asked}, % held | p10 to p90, x/:" for asked in ASKED)
    print(f"| measured | {heads} |\n|" + " --- |" * 5)
    truths = truths_of(count)
    for name, kinds in ROWS.items():
        row_of(name, truths, kinds)
    drawn_law = truths_of(count, law=True)
    row_of("all, law of the truth one of nine", drawn_law, ROWS["all"])
    for name, shifts in STRESS.items():
        row_of(f"all, {name}", truths_of(count // 2, shifts=shifts), ROWS["all"])
    precisions(count)
    middling()
    print(f"\n{(time.process_time() - start) / 60.0:.1f} minutes of one core.")


if __name__ == "__main__":
    main()
