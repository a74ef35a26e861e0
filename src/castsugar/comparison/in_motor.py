"""Recipes in a motor: drawn batches, one row a draw, and how far recipes differ."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any, Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.comparison.uncertain_inputs import Doubts, Input, Recipe, Scores
from castsugar.draw_set import WIDTH
from castsugar.frozen import dataclass
from castsugar.mix.blends import Blends
from castsugar.motor.burn_evidence import coordinates, places_of
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.hardware import Castings, Hardware
from castsugar.motor.mix_difference import Difference, difference
from castsugar.motor.pressure_table import (
    batches_of,
    components_of,
    compositions,
    distance_of,
    motor_rows,
    origin_of,
    own_of,
    repeats,
    untold,
)
from castsugar.motor.scatter import CENTRE, EXPONENT_BATCH, PROCESSES
from castsugar.special import ndtr

#: Least and largest distance, in ln p, of the two pressures that give the exponent of a
#: recipe.
_ASIDE, _FAR = 0.5, 3.0

#: Of a variance, so that a root of the covariance of mixes that are alike exists.
_LEAST: Final = 1e-9

#: What the next batch and the next firing add: the same for all mixes that are
#: compared, so that a difference is one of recipes and not of the next two pots.
BATCH, BATCH_EXPONENT = "burn law|batch", "burn law|batch|exponent"
FIRING, TO_MOTOR = "burn law|firing", "burn law|strands to motor"

#: What all recipes share of a doubt is drawn for all at once: keys of these families
#: end in the identity of a recipe, and one recipe answers to the keys of others too.
RATE, EXPONENT, PROCESS = "burn law|rate|", "burn law|exponent|", "burn law|process|"
FAMILIES: Final = (RATE, EXPONENT, PROCESS)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Composition:
    """A recipe as the model of burn rates sees it."""

    shares: dict[str, float]
    process: str
    degraded: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InMotor:
    """A recipe in a motor: its burn law, and how firmly that is known."""

    hardware: Hardware
    made: Composition
    median: float  # peak pressure of the next batch, by formula as in the table [MPa]
    ends: tuple[float, float]  # its 95 % interval [MPa]
    amplification: float  # 1/(1 - n) there
    pressure: float  # where rates were burned; 2.5 MPa without [Pa]
    #: There: ln of m/s; of the law from there to the motor's pressure.
    log_rate: float
    exponent: float
    #: Key of a doubt to what one standard deviation of it does to both.
    loadings: dict[str, tuple[float, float]]
    inputs: tuple[Input, ...]
    withheld: str  # why no pressure is told; empty if one is

    def pressures(
        self, density: FloatArray, velocity: FloatArray, scores: Scores
    ) -> FloatArray:
        """Return the peak pressure of every row; infinite where none is stable. [MPa]

        NaN in every row where none is told.

        Parameters
        ----------
        density, velocity : ndarray, shape (rows,)
            Without voids [kg/m3]; ideal c* [m/s].
        """
        zero = np.zeros(len(density))
        if self.withheld:
            return np.full(len(density), np.nan)
        rate, exponent = self.log_rate + zero, self.exponent + zero
        for key, (of_rate, of_exponent) in self.loadings.items():
            score = scores.get(key, zero)
            moved = of_rate * score
            if key == BATCH and WIDTH in scores:
                moved = _widths(self.hardware.burning, scores[WIDTH]) * score
            rate, exponent = rate + moved, exponent + of_exponent * score
        added = sum(
            (
                u * scores.get(f"motor|{n}", zero)
                for n, u in _spread(self.hardware).items()
            ),
            start=zero,
        )
        supply = self.hardware.supply(density, velocity)
        with np.errstate(over="ignore", invalid="ignore"):
            room = rate + supply.log_left(self.pressure) + added
            room -= math.log(self.pressure)
            found = self.pressure * np.exp(room / (1.0 - exponent))
        found = np.where(exponent < 1.0, found, np.inf)
        return np.asarray(np.where(np.isnan(room), np.nan, 1e-6 * found))


def _widths(model: BurnModel, scores: FloatArray) -> FloatArray:
    """Return the scatter between batches at scores of its own doubt, (rows,).

    Of the weighted points of the model, sorted by it: their tail is a heavy one. Where
    it is not drawn, its root mean square stands for it.
    """
    order = np.argsort(model.widths.between, kind="stable")
    reached = np.cumsum(model.weights[order])
    at = np.searchsorted(reached, ndtr(scores) * reached[-1])
    return model.widths.between[order[np.minimum(at, len(order) - 1)]]


# ----------------------------------------------------------------------------
# All recipes at once: what is known of their rates hangs together.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cast:
    """A recipe as cast in the middle of all doubts: one row, its ideal c* [m/s].

    `castings`: how dense its kitchen expects the grains.
    """

    recipe: Recipe
    blends: Blends
    velocity: FloatArray
    castings: Castings | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Known:
    """Rates and exponents of recipes, the step to a motor, the effect of processes.

    Of m terms the means, and a root of their covariance, (m, m): a column a key.
    """

    keys: list[str]
    means: FloatArray
    factor: FloatArray

    def size(self, key: str) -> float:
        """Return the standard uncertainty of a term."""
        return float(np.linalg.norm(self.factor[self.keys.index(key)]))

    def of(self, name: str) -> list[str]:
        """Return the terms of a recipe in a motor, the sum of which is its rate."""
        wanted = (f"{RATE}{name}", TO_MOTOR, f"{PROCESS}{name}")
        return [key for key in wanted if key in self.keys]

    def law(self, name: str) -> tuple[float, float, dict[str, tuple[float, float]]]:
        """Return rate, exponent and loadings of a recipe."""
        rate = [self.keys.index(key) for key in self.of(name)]
        slope = self.keys.index(f"{EXPONENT}{name}")
        of_rate = self.factor[rate].sum(axis=0).tolist()
        pairs = zip(self.keys, of_rate, self.factor[slope].tolist(), strict=True)
        loadings = {key: (a, b) for key, a, b in pairs if a or b}
        return float(self.means[rate].sum()), float(self.means[slope]), loadings


def in_motor(cast: Sequence[Cast], hardware: Hardware, doubts: Doubts) -> list[InMotor]:
    """Put recipes into a motor, their burn rates known together."""
    model = hardware.burning
    tables = [
        motor_rows(
            one.blends,
            hardware,
            characteristic_velocity=one.velocity,
            castings=one.castings,
            levels=(0.025, 0.975),
        )
        for one in cast
    ]
    made = [_composition(one.blends) for one in cast]
    names = [one.recipe.identity for one in cast]
    middle = float(model.rows.places.x.mean()) if len(model.rows.places) else 0.0
    at = np.log([float(table.estimate[0]) / CENTRE for table in tables])
    known = _together(model, dict(zip(names, made, strict=True)), middle, at)
    found = []
    for one, own, table in zip(cast, made, tables, strict=True):
        filled = hardware
        if one.castings is not None:
            ratio, u = one.castings
            filled = hardware.filled((float(ratio[0]), float(u[0])))
        rate, exponent, loadings = known.law(one.recipe.identity)
        loadings |= _scatter(model, middle)
        low, high = table.further[:, 0]
        inputs = (
            *_of_recipe(one.recipe, known, origin_of(model, own.shares)),
            *_of_scatter(model, known.size(TO_MOTOR)),
            *_of_motor(filled),
        )
        found.append(
            InMotor(
                hardware=filled,
                made=own,
                median=1e-6 * float(table.p50[0]),
                ends=(1e-6 * float(low), 1e-6 * float(high)),
                amplification=float(table.amplification[0]),
                pressure=CENTRE * math.exp(middle),
                log_rate=rate,
                exponent=exponent,
                loadings=loadings,
                inputs=tuple(i for i in inputs if doubts.counts(i.kind)),
                withheld=untold({"burn_law_origin": table.status[0]}),
            )
        )
    return found


def _composition(blends: Blends) -> Composition:
    made = compositions(blends)
    return Composition(
        shares=coordinates(components_of(blends)[0]),
        process=made.processes[0],
        degraded=float(made.degraded[0]),
    )


def _together(
    model: BurnModel, made: dict[str, Composition], middle: float, at: FloatArray
) -> _Known:
    """Return what is known of all recipes at once.

    Rates at the middle of what was burned, in ln(p / 2.5 MPa), and exponents from there
    to the pressure of each in the motor.
    """
    names, each = list(made), list(made.values())
    count = len(names)
    numbers = [model.process_number(one.process) for one in each]
    unlike = [i for i, number in enumerate(numbers) if number >= 0]
    step = np.clip(np.nan_to_num(at - middle), -_FAR, _FAR)
    step = np.where(np.abs(step) < _ASIDE, np.copysign(_ASIDE, step), step)
    who = np.array([*range(count), *range(count), 0, *unlike])
    components, fractions = model.rows.over([one.shares for one in each])
    places = places_of(
        fractions[who],
        middle + np.r_[np.zeros(count), step, np.zeros(1 + len(unlike))],
        motor=np.arange(len(who)) == 2 * count,
        process=[-1] * (2 * count + 1) + [numbers[i] for i in unlike],
        degraded=np.array([one.degraded for one in each])[who],
    )
    means, covariances = model.joint(places, components)
    middles = model.weights @ means
    off = means - middles
    total = np.einsum("h,hij->ij", model.weights, covariances)
    total = total + (off.T * model.weights) @ off
    turn = np.eye(len(who))
    turn[np.arange(count, len(who)), who[count:]] -= 1.0
    turn[count : 2 * count] /= step[:, None]
    turned = turn @ total @ turn.T
    size = np.sqrt(np.diag(turned))
    relative = turned / np.outer(size, size) + _LEAST * np.eye(len(who))
    keys = [f"{family}{name}" for family in (RATE, EXPONENT) for name in names]
    return _Known(
        keys=[*keys, TO_MOTOR, *(f"{PROCESS}{names[i]}" for i in unlike)],
        means=turn @ middles,
        factor=size[:, None] * np.linalg.cholesky(relative),
    )


# ----------------------------------------------------------------------------
# What is uncertain, by name.


def _scatter(model: BurnModel, middle: float) -> dict[str, tuple[float, float]]:
    """Return what the next batch and the next firing do to rate and exponent."""
    batch = math.sqrt(float(model.weights @ model.widths.between**2))
    return {
        BATCH: (batch, 0.0),
        BATCH_EXPONENT: (middle * EXPONENT_BATCH, EXPONENT_BATCH),
        FIRING: (model.scatter.firing, 0.0),
    }


def _of_recipe(recipe: Recipe, known: _Known, origin: str) -> Iterator[Input]:
    """Yield the doubts of one recipe, the step to a motor left out."""
    name = recipe.mix.name
    labels = {
        RATE: (f"burning rate ({name})", "motor", "relative"),
        EXPONENT: (f"pressure exponent ({name})", "motor", ""),
        PROCESS: (f"process, not that of most strands ({name})", "process", "relative"),
    }
    for family, (label, kind, unit) in labels.items():
        key = f"{family}{recipe.identity}"
        if key in known.keys:
            yield Input(
                key=key,
                kind=kind,
                label=label,
                uncertainty=known.size(key),
                unit=unit,
                origin=origin,
            )


def _of_scatter(model: BurnModel, to_motor: float) -> Iterator[Input]:
    """Yield the allowances for the next batch, the next firing, strands to motor."""
    batch = _scatter(model, 0.0)[BATCH][0]
    repeated = repeats(model)
    learnt = f"learnt from {repeated} batches of mixes cooked more than once"
    told = {
        BATCH: ("next batch", "batch", batch, "relative"),
        BATCH_EXPONENT: ("exponent of the next batch", "batch", EXPONENT_BATCH, ""),
        FIRING: ("firing to firing", "firing", model.scatter.firing, "relative"),
        TO_MOTOR: ("strands to motor", "motor", to_motor, "relative"),
    }
    stated = {BATCH: "batch", FIRING: "firing", TO_MOTOR: "strands_to_motor_u"}
    for key, (label, kind, u, unit) in told.items():
        origin = "assumed"
        if key == BATCH and repeated:
            origin = learnt
        elif stated.get(key) in model.scatter.stated:
            origin = "stated by you, [scatter]"
        elif key == TO_MOTOR and any(one.kind == "firing" for one in model.evidence):
            origin = "assumed, moved by your firings"
        yield Input(
            key=key, kind=kind, label=label, uncertainty=u, unit=unit, origin=origin
        )


def _of_motor(hardware: Hardware) -> Iterator[Input]:
    """Yield the doubts of the motor, the burn rate left out."""
    for name, u in _spread(hardware).items():
        yield Input(
            key=f"motor|{name}",
            kind="motor",
            label=f"motor: {name.replace('_', ' ')}",
            uncertainty=u,
            unit="relative, of the supply",
            origin="stated for the motor, or common practice",
        )


def _spread(hardware: Hardware) -> dict[str, float]:
    """Return what each doubt of the motor adds to ln of its pressure per burn rate."""
    found = hardware.spread.log_supply(
        hardware.temperature_sensitivity, hardware.warmer
    )
    if hardware.efficiency_measured:
        found["efficiency"] = hardware.efficiency_u
    return found


# ----------------------------------------------------------------------------
# Two recipes: which one makes more pressure, by formula. No draws, no seed.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Apart:
    """How far the burn rates of two recipes differ, the first less the second."""

    #: ln r of the recipes; of the next grain of each, with batch and firing.
    rate: Difference
    grains: Difference
    #: ln r of the recipes and ln of the pressure per burn rate: has the sign of the
    #: difference between the peaks.
    peak: Difference
    batches: tuple[int, int]  # how many of each were burned
    #: ln of the ratio of the rates of the batches that burned last; NaN without.
    seen: float
    #: How far each lies from the nearest mix that something is known of, as a share of
    #: the mass, and the name of that: empty where nothing was burned, and with 0 for
    #: one that itself is known.
    away: tuple[tuple[float, str], tuple[float, str]]
    #: Between batches and strands, as the model holds them.
    scatter: float
    strand: float
    unlike: tuple[str, ...]  # their processes if they are not the same, else empty

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        pairs = {"burn_rate": self.rate, "burn_rate_next_grains": self.grains}
        found: dict[str, Any] = {
            "decided_at_MPa": 1e-6 * self.rate.pressure,
            "batches_burned": list(self.batches),
            "processes": list(self.unlike),
        }
        for name, one in pairs.items():
            ends = [100.0 * math.expm1(y) for y in (one.mean, one.low, one.high)]
            found[f"{name}_difference_percent"] = ends[0]
            found[f"{name}_difference_percent_interval"] = ends[1:]
            found[f"probability_{name}_higher"] = one.chance
        return found


def apart(one: InMotor, base: InMotor, supply: tuple[float, float]) -> Apart:
    """Return how far two recipes differ at the expected pressure of the second.

    Parameters
    ----------
    supply : tuple of float
        Difference of ln of the pressure per burn rate, and its standard uncertainty.
    """
    model, made = base.hardware.burning, (one.made, base.made)
    asked = partial(
        difference,
        model,
        (made[0].shares, made[1].shares),
        pressure=1e6 * base.median,
        processes=(made[0].process, made[1].process),
        degraded=(made[0].degraded, made[1].degraded),
    )
    batches = [batches_of(model, m.shares, m.process) for m in made]
    logs = [
        model.rates(
            list(m.shares.values()),
            tuple(m.shares),
            1e6 * base.median,
            Asked(of=own[-1], motor=False, process=m.process),
            m.degraded,
        ).mean[0]
        if own
        else math.nan
        for own, m in zip(batches, made, strict=True)
    ]
    numbers = [model.process_number(m.process) for m in made]
    away = [_away(model, m.shares, m.process) for m in made]
    return Apart(
        rate=asked(),
        grains=asked(grains=True),
        peak=asked(added=supply),
        batches=(len(batches[0]), len(batches[1])),
        seen=float(logs[0] - logs[1]),
        away=(away[0], away[1]),
        scatter=math.sqrt(float(model.weights @ model.widths.between**2)),
        strand=math.sqrt(float(model.weights @ model.widths.strand**2)),
        unlike=tuple(PROCESSES[model.rows.usual if n < 0 else n] for n in numbers)
        if numbers[0] != numbers[1]
        else (),
    )


def _away(
    model: BurnModel, shares: dict[str, float], process: str
) -> tuple[float, str]:
    if not model.evidence:
        return math.nan, ""
    away, name = distance_of(model, shares)
    return 0.0 if own_of(model, shares, process) else away, name
