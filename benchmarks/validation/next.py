"""Simulated workshops: one list against strands alone, and rules for what to burn.

Run ``python benchmarks/validation/next.py [WORLDS]``; it takes about half an hour of
one core and prints what stands in ``next.md``. In the first table a workshop has a
kitchen drawn from what is believed of kitchens, and burn rates drawn about a straight
trend; it measures what
:func:`castsugar.optimize.next_measurement.what_next` puts first, reads the truth with
the error of the method, learns, and asks again until its time is spent. Then the mix
that is chosen is judged by the truth. The rival spends the same time on strands.

In the second it has burnt three mixes, and burns three batches more by a rule; rates
are straight, or bend strongly (``tests/shared/burn_workshops.py``).
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import datetime
import functools
import math
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from scipy.special import ndtr

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.shared import burn_workshops
from tests.shared.burn_workshops import CORNERS, LATTICE

from castsugar import Hardware, Requirement, costs
from castsugar.costs import Costs
from castsugar.kitchen import Cook, Kitchen, calibrate, foresight, measurements
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.parameters import values_of
from castsugar.kitchen.pot import pot_of, poured
from castsugar.mix.mix import Mix
from castsugar.motor.burn_evidence import FIRING, STRANDS, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize import next_burns, next_measurement
from castsugar.optimize.next_measurement import PRICE, Agenda, Offer, what_next
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Task

#: Worlds, and the seed: fixed before the run.
COUNT, SEED = 100, 23


#: Time that a workshop has [min], and the least gain an hour for which it measures.
BUDGET, LEAST = 420.0, 0.05

NAMES = ("potassium nitrate", "powdered sugar", "light corn syrup")
SPACE = Space(
    bounds=dict(zip(NAMES, ((0.57, 0.64), (0.12, 0.28), (0.15, 0.28)), strict=True))
)
#: The mixes of this space are always the same: found once.
_found = functools.cache(functools.partial(next_burns.whole_percents, SPACE))
next_burns.whole_percents = lambda _, count, seed: _found(count, seed)

THICK, SURE, KNOWN = 10.0, 0.85, (0.6, 0.2, 0.2)
COOK = Cook.hold(392.15, 480.0)

#: Rates: batches, firings and strands stray so far; motors burn so much faster.
BATCH, FIRED, STRAND, TO_MOTOR = 0.06, 0.025, 0.025, 0.04


@dataclass(slots=True)
class Workshop:
    """A truth, and what was learnt of it."""

    seed: int
    rating: float
    rng: np.random.Generator = field(init=False)
    burned: list[Burned] = field(default_factory=list)
    read: list[Measurement] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Draw the truth."""
        self.rng = rng = np.random.default_rng([self.seed, SEED])
        belief = Kitchen(cook=COOK).belief
        self.truth = values_of(rng.multivariate_normal(belief.mean, belief.covariance))
        self.level = -4.8 + rng.normal(0.0, 0.15)
        self.exponent = rng.normal(0.38, 0.05)
        self.to_motor = rng.normal(TO_MOTOR, 0.05)
        self.slope = np.array([1.0, 0.0, -1.0]) + rng.normal(0.0, 1.5, 3)
        self.burn(np.array(KNOWN), fired=False)

    truth: object = field(init=False)
    level: float = field(init=False)
    exponent: float = field(init=False)
    to_motor: float = field(init=False)
    slope: np.ndarray = field(init=False)

    def log_rate(self, mix: np.ndarray, pressure: float) -> float:
        """Return the true ln r of strands."""
        straight = self.level + (mix - KNOWN) @ self.slope
        return float(straight + self.exponent * math.log(pressure / 2.5e6))

    def burn(self, mix: np.ndarray, *, fired: bool, u: float = 0.0) -> None:
        """Burn strands of a new batch at two pressures, or fire its grains."""
        p = np.array([3e6] if fired else [2e6, 2e6, 4e6, 4e6])
        own = self.rng.normal(0.0, BATCH)
        noise = math.hypot(FIRED, u) if fired else STRAND
        shift = self.to_motor if fired else 0.0
        y = [self.log_rate(mix, x) + shift + own for x in p]
        name = f"{len(self.burned)}"
        self.burned.append(
            Burned(
                name=name,
                batch=name,
                fractions=dict(zip(NAMES, mix.tolist(), strict=True)),
                pressure=p,
                rate=np.exp(y + self.rng.normal(0.0, noise, len(p))),
                kind=FIRING if fired else STRANDS,
                log_rate_u=u,
            )
        )

    def task(self) -> Task:
        """Return what is asked, with what was learnt."""
        hardware = Hardware(
            grain=HollowCylinder(
                outer_diameter=0.036,
                core_diameter=0.014,
                segment_length=0.062,
                segments=3,
            ),
            throat_diameter=0.008,
            case=Case(rated_pressure=self.rating),
            burning=BurnModel(self.burned),
        )
        kitchen = calibrate(Kitchen(cook=COOK, draws=512), self.read).kitchen
        pours = Requirement(
            column="pour_viscosity_Pa_s", at_most=THICK, probability=SURE
        )
        peak = Requirement(
            column="peak_pressure_MPa", at_most=1e-6 * self.rating, probability=0.95
        )
        return Task(
            space=SPACE,
            settings=Settings(items=SPACE.columns, kitchen=kitchen, motor=hardware),
            requirements=(pours, peak),
        )

    def measure(self, offer: Offer, task: Task) -> None:
        """Make a measurement of the truth."""
        if offer.kind in (costs.NEW_BATCH, costs.FIRED, costs.FILMED):
            mix = np.array([offer.recipe.get(name, 0.0) for name in NAMES])
            u = {costs.FIRED: 0.015, costs.FILMED: 0.04}.get(offer.kind, 0.0)
            self.burn(mix, fired=offer.kind != costs.NEW_BATCH, u=u)
            return
        mix = Mix.weigh(offer.recipe)
        one = {
            costs.PAN_WEIGHT: lambda: measurements.pan_weight(
                mix, COOK, batch=0.2, lost=0.0
            ),
            costs.BULK_DENSITY: lambda: measurements.bulk_density(
                mass=0.0675, volume=5e-5
            ),
            costs.BRINE: foresight.any_brine,
            costs.CLEAR_POINT: lambda: foresight.any_clear_point(NAMES[2]),
            costs.BALL_FALL: lambda: foresight.any_ball_fall(NAMES[2]),
            costs.SYRUP_DENSITY: lambda: foresight.syrup_density(mix),
            costs.FLOW_OUT: lambda: foresight.any_flow_out(
                mix, COOK, air_pressure=101325.0
            ),
        }[offer.kind]()
        true = float(np.ravel(one.predict(values_of_one(self.truth)))[0])
        if math.isfinite(true):
            seen = true + one.spread * self.rng.normal()
            self.read.append(replace(one, observed=seen))

    def score(self, task: Task, agenda: Agenda) -> tuple[float, bool, float]:
        """Return what the chosen mix is worth in truth, if it pours, if it bursts."""
        mixes = next_measurement._mixes(task, Costs())
        at = mixes.pool.recipes.index(agenda.best)
        mix = mixes.pool.fractions[at]
        pot = pot_of(Mix.weigh(agenda.best))
        eta = poured(pot, values_of_one(self.truth), COOK, 101325.0)[0]
        pours = bool(np.ravel(eta)[0] <= THICK)
        true = self.log_rate(mix, self.rating) + self.to_motor
        doubt = math.sqrt(BATCH**2 + FIRED**2 + mixes.stakes.room_u**2)
        bursts = float(ndtr((true - mixes.stakes.room[at]) / doubt))
        nitrate = 100.0 * mix[0]
        lost = PRICE * ((not pours) / (1.0 - SURE) + bursts / 0.05)
        return nitrate - lost, pours, bursts


def values_of_one(values: object) -> object:
    """Return a single truth as one draw."""
    names = values.__slots__  # type: ignore[attr-defined]
    return type(values)(**{n: np.atleast_1d(getattr(values, n)) for n in names})


def run(
    seed: int, rating: float, *, strands: bool
) -> tuple[float, bool, float, list[str]]:
    """Return how a workshop ends, and what it measured."""
    shop, left, made = Workshop(seed, rating), BUDGET, list[str]()
    while True:
        task = shop.task()
        agenda = what_next(task, measured=set(made))
        offers = [
            one
            for one in agenda.offers
            if not one.reason
            and one.minutes <= left
            and one.kind not in (costs.FINER_SCALE, costs.FURTHER)
            and (one.kind == costs.NEW_BATCH or not strands)
            and (strands or one.per_hour > LEAST)
        ]
        if not offers:
            return (*shop.score(task, agenda), made)
        shop.measure(offers[0], task)
        left -= offers[0].minutes
        made.append(offers[0].kind)


# ----------------------------------------------------------------------------
# Rules for what to burn.

#: Batches that are burned by a rule, and how far apart mixes tell of each other.
MORE, NEAR = 3, 0.05

#: How rates bend, by mass moved squared.
BENDS = {"straight": 0.0, "strong curve": 15.0}


def levers(shop: burn_workshops.Workshop) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return variance removed (options, mixes), and score and place of the best."""
    known = shop.stakes()
    slack = known.slack(known.mean, known.variance) / np.sqrt(known.variance)
    far = 0.5 * np.abs(LATTICE - LATTICE[known.best]).sum(axis=1)
    return known._levers() ** 2, slack, far


def near_the_limit(shop: burn_workshops.Workshop) -> np.ndarray:
    """Return the mix that lowers most doubt near the limit and the optimum."""
    removed, slack, far = levers(shop)
    return LATTICE[(removed @ np.exp(-0.5 * slack**2 - far / NEAR)).argmax()]


def mean_doubt(shop: burn_workshops.Workshop) -> np.ndarray:
    """Return the mix that lowers most of the mean doubt."""
    return LATTICE[levers(shop)[0].mean(axis=1).argmax()]


def optimum(shop: burn_workshops.Workshop) -> np.ndarray:
    """Return the mix that is best now, or nearest to the limit."""
    return LATTICE[levers(shop)[2].argmin()]


def burn_by(rule: str, shop: burn_workshops.Workshop) -> None:
    """Burn by a rule."""
    each = {
        "value of information (ours)": shop.most_telling,
        "least doubt near the limit": lambda: near_the_limit(shop),
        "least mean doubt": lambda: mean_doubt(shop),
        "current optimum, anew": lambda: optimum(shop),
        "random": lambda: shop.rng.choice(LATTICE),
    }
    if rule in each:
        for _ in range(MORE):
            shop.burn(each[rule]())
    elif rule == "three corners":
        for mix in CORNERS:
            shop.burn(mix)
    elif rule == "current optimum, three times":
        mix = optimum(shop)
        for _ in range(MORE):
            shop.burn(mix)
    elif rule == "one firing at the optimum":
        shop.burn(optimum(shop), fired=True)


RULES = (
    "value of information (ours)",
    "least doubt near the limit",
    "least mean doubt",
    "three corners",
    "current optimum, anew",
    "one firing at the optimum",
    "current optimum, three times",
    "random",
    "nothing",
)


def ends(rule: str, bend: float, count: int) -> np.ndarray:
    """Return worth and true chance above the case of every world, (count, 2)."""
    found = []
    for seed in range(count):
        shop = burn_workshops.Workshop(seed, bend)
        for mix in burn_workshops.KNOWN:
            shop.burn(mix)
        burn_by(rule, shop)
        found.append(shop.outcome())
    return np.array(found)


def rules(count: int) -> None:
    """Print how rules do against ours."""
    print("\n# What to burn next: rules\n")
    print(
        f"{count} worlds a row; three mixes known by a batch of four strands each, "
        "then three batches more, or one firing in their place. Worth: points of "
        "nitrate, less 40 times the true chance above the case; where no mix is known "
        "to keep it the worst less 5. Behind a difference its standard error, paired.\n"
    )
    print("| rule | worlds | worth | ours better by | chance above |")
    print("|" + " --- |" * 5)
    for world, bend in BENDS.items():
        ours = ends(RULES[0], bend, count)
        for rule in RULES:
            found = ours if rule == RULES[0] else ends(rule, bend, count)
            off = ours[:, 0] - found[:, 0]
            error = off.std(ddof=1) / math.sqrt(count)
            better = "" if rule == RULES[0] else f"{off.mean():+.2f} +- {error:.2f}"
            print(
                f"| {rule} | {world} | {found[:, 0].mean():.2f} | {better} | "
                f"{found[:, 1].mean():.3f} |",
                flush=True,
            )


def lists(count: int) -> None:
    """Print how one list and strands alone do."""
    print("# What to measure next: one list against strands alone\n")
    print(
        f"{datetime.date.today().isoformat()}, {count} worlds a row, seed {SEED}; "
        f"{BUDGET:g} minutes each, grams counted as time.\n"
    )
    print(
        "Worth: points of nitrate, less 13 where the mix does not pour in truth, less "
        "40 times the true chance above the case. Behind a difference its standard "
        "error, paired.\n"
    )
    print("| case, MPa | worth, list | worth, strands | list better by | pours | "
          "chance above | first of the list |")  # fmt: skip
    print("|" + " --- |" * 7)
    for rating in (20e6, 5e6):
        both = [
            [run(seed, rating, strands=only) for seed in range(count)]
            for only in (False, True)
        ]
        worth = np.array([[end[0] for end in ends] for ends in both])
        off = worth[0] - worth[1]
        pours = [np.mean([end[1] for end in ends]) for ends in both]
        above = [np.mean([end[2] for end in ends]) for ends in both]
        first = [end[3][0] if end[3] else "nothing" for end in both[0]]
        most = max(set(first), key=first.count)
        print(
            f"| {rating / 1e6:g} | {worth[0].mean():.2f} | {worth[1].mean():.2f} | "
            f"{off.mean():+.2f} +- {off.std(ddof=1) / math.sqrt(count):.2f} | "
            f"{pours[0]:.2f} / {pours[1]:.2f} | {above[0]:.3f} / {above[1]:.3f} | "
            f"{most} ({first.count(most)}) |",
            flush=True,
        )


def main() -> None:
    """Print both tables: how the list does in two kinds of worlds, and the rules."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    lists(count)
    rules(count)


if __name__ == "__main__":
    main()
